//! A real `pagewise program`, killed at random moments: no unit is called good that is not, and the same command goes
//! on.
#![cfg(unix)]

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use pagewise_line::SIMULATED;
use pagewise_line::journal::{Event, History, Journal, Site, Sought};
use pagewise_line::wanted::digest;
use pagewise_tests::draws::Draws;
use pagewise_tests::search::seed;
use pagewise_tests::tools;

const PART: &str = "24lc16b";
const CAPACITY: usize = 2048;
const IMAGE: usize = 1500;

struct Line {
    folder: tempfile::TempDir,
    units: BTreeMap<String, Vec<u8>>,
}

impl Line {
    fn new(draws: &mut Draws) -> Self {
        let folder = tempfile::tempdir().unwrap();
        for inner in ["units", "chips"] {
            fs::create_dir(folder.path().join(inner)).unwrap();
        }
        let mut units = BTreeMap::new();
        for name in ["TI-1", "TI-2", "TI-3"] {
            let bytes = draws.bytes(IMAGE);
            fs::write(folder.path().join("units").join(format!("{name}.bin")), &bytes).unwrap();
            units.insert(name.to_owned(), bytes);
        }
        Self { folder, units }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn command(&self) -> Command {
        let mut command = Command::new(tools::workspace_programs().join("pagewise"));
        command.arg("program").arg(self.path("units")).args(["--part", PART, "--scl-khz", "400"]);
        command.arg("--memory").arg(self.path("chips")).args(["--simulate", "--trouble", "real-time"]);
        command.arg("--journal").arg(self.path("line.jsonl")).arg("--backups").arg(self.path("backups"));
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        command
    }

    /// What the journal says of a unit with its image, as this part, in its own memory file.
    fn of<'j>(&self, journal: &'j Journal, unit: &str) -> History<'j> {
        let memory = journal.stored(&self.path("chips").join(format!("{unit}.bin")));
        let site = Site { bus: SIMULATED.into(), simulated: true, memory: Some(memory) };
        journal.of(&Sought { unit, sha256: &digest(&self.units[unit]), part: PART, site: &site, buses: &[] })
    }

    /// Units that the journal calls good; each of them has to be.
    fn good(&self) -> usize {
        let journal = Journal::open(&self.path("line.jsonl")).unwrap();
        let good = self.units.iter().filter(|(unit, _)| self.of(&journal, unit).good.is_some());
        good.inspect(|(unit, image)| {
            let memory = fs::read(self.path("chips").join(format!("{unit}.bin"))).unwrap();
            assert!(memory[..IMAGE] == image[..], "{unit} is called good, and its part does not hold the image");
            assert!(memory[IMAGE..].iter().all(|byte| *byte == 0xFF), "{unit}: bytes behind the image changed");
            let sha256 = self.of(&journal, unit).good.unwrap().part_sha256.clone();
            assert_eq!(sha256, Some(digest(&memory)), "{unit}");
        })
        .count()
    }

    /// Before the first byte is written, what was there is in a file that the journal names.
    fn backups_are_there(&self) {
        let journal = Journal::open(&self.path("line.jsonl")).unwrap();
        for record in journal.records().iter().filter(|record| record.event == Event::Begin) {
            let backup = fs::read(journal.find(record.backup.as_ref().unwrap())).unwrap();
            assert!(backup == [0xFF; CAPACITY], "{}: the first backup stays the backup", record.unit);
        }
        let untouched = |unit: &&String| {
            let history = self.of(&journal, unit);
            history.good.is_none() && history.open.is_none()
        };
        for unit in self.units.keys().filter(untouched) {
            let memory = fs::read(self.path("chips").join(format!("{unit}.bin"))).unwrap_or_default();
            assert!(memory.iter().all(|byte| *byte == 0xFF), "{unit} was written before its begin was recorded");
        }
    }
}

#[test]
fn killed_at_random_moments_no_unit_is_called_good_that_is_not() {
    let mut draws = Draws::new(seed());
    println!("PAGEWISE_SEED={:#x} for the images; the moments are the machine's", seed());
    let line = Line::new(&mut draws);
    // Building takes its time, which is not that of the line.
    tools::workspace_programs();
    let (mut kills, begun) = (0, Instant::now());
    while kills < 25 && line.good() < 3 && begun.elapsed() < Duration::from_secs(120) {
        let mut child = line.command().spawn().unwrap();
        std::thread::sleep(Duration::from_micros(draws.any() % 700_000));
        // SIGKILL; a child that has ended by itself is done.
        if child.try_wait().unwrap().is_none() {
            child.kill().unwrap();
            kills += 1;
        }
        child.wait().unwrap();
        line.good();
        line.backups_are_there();
    }
    let status = line.command().status().unwrap();
    assert_eq!((status.code(), line.good()), (Some(0), 3));
    line.backups_are_there();
    let journal = Journal::open(&line.path("line.jsonl")).unwrap();
    let begins = journal.records().iter().filter(|record| record.event == Event::Begin).count();
    println!("{kills} kills, {begins} begins for 3 units");
    assert!(kills >= 5 && begins > 3, "{kills} kills hit {begins} runs: too few to show anything");
}
