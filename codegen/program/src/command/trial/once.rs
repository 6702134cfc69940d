//! One run of the program on one part.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom};
use std::process::{Command, Stdio};

use pagewise_session::plan::{Chip, Plan};
use pagewise_session::seen::{Seen, Sighting};
use pagewise_session::{Ended, Session};
use pagewise_simulator::Faults;
use pagewise_simulator::door::{GIVEN, Given, TOLD, Told, VARIABLE};

use super::setting::{Bench, Setting};
use crate::command::bridge::run::{before, exit_code, not_started};
use pagewise_base::fault::Fault;

/// The most bytes of what a program said that are kept, from the end.
const SAID: u64 = 4096;

/// What a run of the program came to.
pub(super) struct Ran {
    /// Absent when it did not end in time.
    pub(super) exit: Option<u8>,
    /// The end of what it said.
    pub(super) said: String,
    pub(super) hazards: Vec<Sighting>,
    pub(super) transfers: u64,
    pub(super) now_ns: u64,
    /// Memory at the end, by the name of the rig; one without a name through the device.
    pub(super) memory: BTreeMap<String, Vec<u8>>,
    pub(super) readings: BTreeMap<(u8, Vec<u8>, usize), Vec<u8>>,
    pub(super) told: Vec<String>,
    /// Transfers of each bus, in the notation of programs, the time in front of each.
    pub(super) courses: Vec<Vec<String>>,
}

/// The plan of a session for this run.
pub(super) fn plan(bench: &Bench, part: usize, setting: &Setting) -> Plan {
    let part = &bench.parts[part];
    let bus = &bench.board.bus;
    Plan {
        device: bench.device.clone(),
        scl_hz: bus.scl_khz * 1000,
        supply_mv: bus.supply_mv,
        seed: setting.seed,
        virtual_time: true,
        chips: vec![Chip {
            model: part.model.clone(),
            straps: bench.straps(part, setting),
            contents: bench.contents.clone(),
            image: None,
        }],
        others: bus.other_addresses.clone(),
        adapter: setting.adapter.adapter(),
        faults: Faults::default(),
        cut: None,
        trace: None,
        store_each_write: false,
        keep_steps: false,
    }
}

/// A session with its programs.
pub(super) struct Stage<'b> {
    bench: &'b Bench,
    session: Session,
    folder: tempfile::TempDir,
    output: File,
}

/// How a program ended on a stage.
pub(super) enum End {
    Exit(u8),
    Cut,
    OutOfTime,
}

fn trouble(error: std::io::Error) -> Fault {
    Fault::of_file("trial", error.to_string(), "see that temporary files can be made")
}

impl<'b> Stage<'b> {
    pub(super) fn new(bench: &'b Bench, part: usize, setting: &Setting, plan: Plan) -> Result<Self, Fault> {
        let folder = tempfile::Builder::new().prefix("pagewise-trial-").tempdir().map_err(trouble)?;
        let chip = &plan.chips[0];
        let given = Given {
            scl_hz: plan.scl_hz,
            supply_mv: plan.supply_mv,
            seed: setting.seed,
            model: bench.parts[part].model.clone(),
            straps: chip.straps,
            contents: chip.contents.clone(),
            others: plan.others.clone(),
        };
        let text = serde_json::to_vec(&given).map_err(|error| trouble(error.into()))?;
        fs::write(folder.path().join(GIVEN), text).map_err(trouble)?;
        let output = File::options().read(true).append(true).create_new(true).open(folder.path().join("output"));
        let session = Session::new(plan).map_err(trouble)?;
        Ok(Self { bench, session, folder, output: output.map_err(trouble)? })
    }

    /// Runs a command until its end.
    pub(super) fn run(&mut self, command: &mut Command) -> Result<End, Fault> {
        let program = command.get_program().to_owned();
        before(command, &self.bench.library);
        command.env(VARIABLE, self.folder.path()).stdin(Stdio::null());
        command.stdout(self.output.try_clone().map_err(trouble)?).stderr(self.output.try_clone().map_err(trouble)?);
        let ended = self.session.run(command, Some(self.bench.limit)).map_err(|error| not_started(&program, &error))?;
        Ok(match ended {
            Ended::Exited(status) => End::Exit(exit_code(status)),
            Ended::Cut => End::Cut,
            Ended::OutOfTime => End::OutOfTime,
        })
    }

    /// Runs the program of the trial.
    pub(super) fn program(&mut self) -> Result<End, Fault> {
        let mut command = Command::new(&self.bench.command[0]);
        self.run(command.args(&self.bench.command[1..]))
    }

    /// The supply comes back.
    pub(super) fn power_on(&mut self) {
        self.session.power_on();
    }

    /// The end of what the programs said.
    pub(super) fn said(&mut self) -> String {
        let mut bytes = Vec::new();
        let len = self.output.metadata().map_or(0, |meta| meta.len());
        // Only for a message: nothing is lost where it cannot be read.
        let _ = self.output.seek(SeekFrom::Start(len.saturating_sub(SAID)));
        let _ = self.output.read_to_end(&mut bytes);
        String::from_utf8_lossy(&bytes).trim().lines().last().unwrap_or_default().to_owned()
    }

    /// What was seen through the device, and what rigs of a door told.
    pub(super) fn finish(self) -> (Seen, Vec<Told>) {
        let told = fs::read_to_string(self.folder.path().join(TOLD)).unwrap_or_default();
        let told = told.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
        (self.session.finish(), told)
    }
}

/// A time as it stands in front of a line of a trace.
pub(super) fn us(ns: u64) -> String {
    format!("{}.{:03} us", ns / 1000, ns % 1000)
}

/// Runs the program once, without a cut.
pub(super) fn whole(bench: &Bench, part: usize, setting: &Setting) -> Result<Ran, Fault> {
    let mut stage = Stage::new(bench, part, setting, plan(bench, part, setting))?;
    let exit = match stage.program()? {
        End::Exit(code) => Some(code),
        End::Cut | End::OutOfTime => None,
    };
    let said = stage.said();
    let (seen, rigs) = stage.finish();
    if !seen.opened && rigs.is_empty() && part == 0 {
        let device = bench.device.display();
        let reason = format!("used no bus: it neither opened {device} nor took its chip from the environment");
        let name = bench.command[0].to_string_lossy().into_owned();
        let mut remedies = seen.told;
        remedies.push(format!("name the device with --device; it said: {said}"));
        return Err(Fault::of_file(&name, reason, remedies.join("; ")));
    }
    let mut ran = Ran {
        courses: vec![seen.lines().map(|(from_ns, line)| format!("{}  {line}\n", us(from_ns))).collect()],
        exit,
        said,
        hazards: seen.hazards,
        transfers: seen.transfers,
        now_ns: seen.now_ns,
        memory: BTreeMap::new(),
        readings: seen.readings,
        told: seen.told,
    };
    if seen.opened {
        ran.memory.insert(String::new(), seen.memory.into_iter().next().unwrap_or_default());
    }
    for rig in rigs {
        ran.transfers += rig.transfers.lines().count() as u64;
        ran.now_ns = ran.now_ns.max(rig.now_ns);
        let lines: Vec<&str> = rig.transfers.lines().collect();
        ran.courses.push(lines.iter().map(|line| format!("{}\n", line.trim())).collect());
        for (hazard, at_ns, text) in rig.hazards {
            let (transfer, on_the_bus) = under_way(&lines, at_ns);
            ran.hazards.push(Sighting { hazard, at_ns, text, transfer, on_the_bus });
        }
        let same = ran.memory.keys().filter(|name| name.split('#').next() == Some(&rig.name)).count();
        let name = if same == 0 { rig.name } else { format!("{}#{same}", rig.name) };
        ran.memory.insert(name, rig.memory);
    }
    Ok(ran)
}

/// The transfer of a trace that was under way at a time, or over last: its number from 1, and its line without the time.
fn under_way(lines: &[&str], at_ns: u64) -> (u64, String) {
    let begins = |line: &str| {
        let us: f64 = line.split_whitespace().next()?.parse().ok()?;
        Some((us * 1000.0) as u64)
    };
    let at = lines.iter().rposition(|line| begins(line).is_none_or(|begun| begun <= at_ns));
    at.map_or((0, String::new()), |at| {
        let line = lines[at];
        (at as u64 + 1, line.find(" S ").map_or(line, |from| &line[from + 1..]).to_owned())
    })
}
