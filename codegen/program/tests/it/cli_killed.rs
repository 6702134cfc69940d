//! The program killed by the system (SIGKILL) at random moments: `measure`, also while it puts back, and `program` on several
//! sockets. Afterwards a part holds what it held, and a unit that is called good is good.
#![cfg(unix)]

use std::collections::BTreeSet;
use std::fs;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use pagewise_line::journal::{Event, Journal};

use crate::cli_support::command;
use crate::cli_support::line::{Line, image, over};

/// Moments from a seed, by the linear congruential generator of D. E. Knuth's MMIX.
struct Moments(u64);

impl Moments {
    fn new(seed: u64) -> Self {
        println!("seed {seed:#x} for the moments; where a run is then is the machine's");
        Self(seed)
    }

    fn below(&mut self, bound: u32) -> u32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as u32 % bound
    }
}

fn started(line: &Line, arguments: &[&str]) -> Child {
    let mut command = command(arguments);
    command.current_dir(line.folder.path());
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

/// SIGKILL after so long; `false`: it had ended by itself.
fn kill_after(mut child: Child, moment: Duration) -> bool {
    std::thread::sleep(moment);
    let alive = child.try_wait().unwrap().is_none();
    if alive {
        child.kill().unwrap();
    }
    child.wait().unwrap();
    alive
}

#[test]
fn a_killed_measurement_is_put_back() {
    let mut moments = Moments::new(0x13_0001);
    // Word addresses of one and two bytes, blocks, a part without write cycle; blank ones too.
    let kinds = [("24lc02b", 256), ("24lc16b", 2048), ("24lc32a", 4096), ("fm24c16b", 2048)];
    let (mut killed, mut changed, mut twice, begun) = (0, 0, 0, Instant::now());
    for (part, capacity) in kinds.into_iter().cycle() {
        if (killed >= 8 && changed >= 2) || begun.elapsed() > Duration::from_secs(100) {
            break;
        }
        let held = if moments.below(3) == 0 { vec![0xFF; capacity] } else { image(moments.below(256) as u8, capacity) };
        let line = Line::new(1);
        let simulated = ["measure", "--simulate", "--part", part, "--memory", "chip.bin"];
        // So many writes that most of the time goes into them.
        let writing = ["--may-write", "--scratch", "0:64", "--writes", "1000", "--saved"];
        let measure = |folder| started(&line, &[&simulated[..], &writing, &[folder]].concat());
        let restore = || started(&line, &[&simulated[..], &["--restore", "copy"]].concat());
        fs::write(line.path("chip.bin"), &held).unwrap();
        // How long it takes here and now.
        let start = Instant::now();
        assert!(measure("whole").wait().unwrap().code().is_some_and(|code| code < 2), "{part}");
        let lasts = start.elapsed();
        assert!(line.chip() == held, "{part}: left alone it changes the part");

        let moment = lasts * moments.below(1000) / 1000;
        killed += usize::from(kill_after(measure("copy"), moment));
        changed += usize::from(line.chip() != held);
        // The first note stands before the first write.
        let noted = fs::read(line.path("copy/measure.jsonl")).is_ok_and(|notes| notes.contains(&b'\n'));
        if noted {
            twice += usize::from(kill_after(restore(), lasts * moments.below(300) / 1000));
            assert!(restore().wait().unwrap().success(), "{part}, killed after {moment:?}");
        }
        assert!(line.chip() == held, "{part}, killed after {moment:?}: the part is not as before");
    }
    println!("{killed} killed, {changed} with the part changed, {twice} killed again while putting back");
    assert!(killed >= 8 && changed >= 2, "{killed} killed, {changed} with the part changed: too few to show anything");
}

#[test]
fn killed_with_several_sockets_every_unit_ends_good_exactly_once() {
    const UNITS: u8 = 7;
    let mut moments = Moments::new(0x13_0002);
    let line = Line::new(1);
    for folder in ["units", "chips"] {
        fs::create_dir(line.path(folder)).unwrap();
    }
    for seed in 1..=UNITS {
        fs::write(line.path("units").join(format!("TI-{seed}.bin")), image(seed, 700)).unwrap();
    }
    let call = ["program", "units", "--memory", "chips", "--sockets", "3", "--simulate", "--part", "24lc16b"];
    let real = ["--scl-khz", "400", "--trouble", "real-time"];
    let run = || started(&line, &[&call[..], &real].concat());
    // The units that were called good, one name for each record; the last line may be torn. Read without a lock, which a process
    // that another test starts would hold for a moment.
    let good = || -> Vec<String> {
        let text = fs::read_to_string(line.path("line.jsonl")).unwrap_or_default();
        let records = text.lines().filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok());
        records
            .filter(|record| record["event"] == "good")
            .map(|record| record["unit"].as_str().unwrap().into())
            .collect()
    };
    let (mut kills, begun) = (0, Instant::now());
    while kills < 20 && good().len() < usize::from(UNITS) && begun.elapsed() < Duration::from_secs(100) {
        kills += usize::from(kill_after(run(), Duration::from_millis(moments.below(700).into())));
        for unit in good() {
            let seed = unit.trim_start_matches("TI-").parse().unwrap();
            let chip = fs::read(line.path("chips").join(format!("{unit}.bin"))).unwrap();
            assert!(chip == over(&image(seed, 700), 2048), "{unit} is called good and is not");
        }
    }
    assert!(run().wait().unwrap().success());
    let named = good();
    assert_eq!(named.len(), usize::from(UNITS), "each unit is called good exactly once: {named:?}");
    assert_eq!(named.iter().collect::<BTreeSet<_>>().len(), named.len(), "{named:?}");
    // Opening it checks the digest of every line.
    let journal = Journal::open(&line.path("line.jsonl")).unwrap();
    let begins = journal.records().iter().filter(|record| record.event == Event::Begin).count();
    println!("{kills} kills, {begins} begins for {UNITS} units");
    assert!(kills >= 3 && begins > usize::from(UNITS), "{kills} kills hit {begins} runs: too few to show anything");
}
