//! One run of the program on one part.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom};
use std::path::PathBuf;
use std::process::{Command, Stdio};

use pagewise_session::plan::{Chip, Plan};
use pagewise_session::seen::{Seen, Sighting};
use pagewise_session::{Ended, Session};
use pagewise_simulator::door::{Before, GIVEN, Given, TOLD, Told, VARIABLE};
use pagewise_simulator::{Cut, Event, EventKind, Faults, TornModel};

use super::setting::{Bench, Setting};
use crate::command::bridge::run::{before, exit_code, not_started};
use pagewise_base::fault::Fault;

/// The most bytes of what a program said that are kept, from the end.
const SAID: u64 = 4096;
/// So long the supply stays on after a program: longer than every write cycle.
const REST_NS: u64 = 1_000_000_000;
/// Stands in a command for what firmware under an emulator gets on its command line.
const PLACEHOLDER: &str = "{door}";

/// What a run of the program came to.
pub(super) struct Ran {
    /// Absent when it did not end in time.
    pub(super) exit: Option<u8>,
    /// The end of what it said.
    pub(super) said: String,
    pub(super) hazards: Vec<Sighting>,
    pub(super) transfers: u64,
    pub(super) now_ns: u64,
    /// Memory at the end, by the name of the rig.
    pub(super) memory: BTreeMap<String, Vec<u8>>,
    pub(super) readings: BTreeMap<(u8, Vec<u8>, usize), Vec<u8>>,
    pub(super) told: Vec<String>,
    /// Transfers of each bus, in the notation of programs, the time in front of each.
    pub(super) courses: Vec<Vec<String>>,
}

/// What a run is made of: a bus behind the device, and the same for whoever takes a chip from outside.
pub(super) struct Order {
    pub(super) plan: Plan,
    pub(super) given: Given,
}

/// What this run is made of.
pub(super) fn order(bench: &Bench, part: usize, setting: &Setting) -> Order {
    let part = &bench.parts[part];
    let bus = &bench.board.bus;
    let straps = bench.straps(part, setting);
    let given = Given {
        scl_hz: bus.scl_khz * 1000,
        supply_mv: bus.supply_mv,
        seed: setting.seed,
        model: part.model.clone(),
        straps,
        contents: bench.contents.clone(),
        others: bus.other_addresses.clone(),
        events: false,
        before: Vec::new(),
    };
    let plan = Plan {
        device: bench.device.clone(),
        scl_hz: given.scl_hz,
        supply_mv: given.supply_mv,
        seed: given.seed,
        virtual_time: true,
        chips: vec![Chip { model: given.model.clone(), straps, contents: given.contents.clone(), image: None }],
        others: given.others.clone(),
        adapter: setting.adapter.adapter(),
        faults: Faults::default(),
        cut: None,
        trace: None,
        store_each_write: false,
        keep_steps: false,
    };
    Order { plan, given }
}

/// A session with its programs.
pub(super) struct Stage<'b> {
    bench: &'b Bench,
    session: Session,
    given: Given,
    folder: tempfile::TempDir,
    output: File,
}

/// How a program ended on a stage.
pub(super) enum End {
    Exit(u8),
    Cut,
    OutOfTime,
}

impl End {
    /// The exit code; `None` without an end of its own.
    pub(super) fn code(self) -> Option<u8> {
        match self {
            Self::Exit(code) => Some(code),
            Self::Cut | Self::OutOfTime => None,
        }
    }
}

/// Memory at the end, by the name of the rig; that behind the device has none.
pub(super) fn memory(seen: &Seen, rigs: &[Told]) -> BTreeMap<String, Vec<u8>> {
    let behind = seen.memory.first().filter(|_| seen.opened).map(|bytes| (String::new(), bytes.clone()));
    // A rig without a name leaves the device its own.
    let name = |rig: &Told| if rig.name.is_empty() && seen.opened { "rig".to_owned() } else { rig.name.clone() };
    behind.into_iter().chain(rigs.iter().map(|rig| (name(rig), rig.memory.clone()))).collect()
}

fn trouble(error: std::io::Error) -> Fault {
    Fault::of_file("trial", error.to_string(), "see that temporary files can be made")
}

/// Where temporary files go: their path has to come through the options of an emulator as it is.
fn place() -> PathBuf {
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-".contains(c);
    Some(std::env::temp_dir()).filter(|path| path.to_string_lossy().chars().all(plain)).unwrap_or_else(|| "/tmp".into())
}

impl<'b> Stage<'b> {
    pub(super) fn new(bench: &'b Bench, order: Order) -> Result<Self, Fault> {
        let folder = tempfile::Builder::new().prefix("pagewise-trial-").tempdir_in(place()).map_err(trouble)?;
        let output = File::options().read(true).append(true).create_new(true).open(folder.path().join("output"));
        let session = Session::new(order.plan).map_err(trouble)?;
        let stage = Self { bench, session, given: order.given, folder, output: output.map_err(trouble)? };
        stage.give()?;
        Ok(stage)
    }

    /// Puts down what the next program takes its chip from.
    fn give(&self) -> Result<(), Fault> {
        let text = serde_json::to_vec(&self.given).map_err(|error| trouble(error.into()))?;
        fs::write(self.folder.path().join(GIVEN), text).map_err(trouble)
    }

    /// The next program finds the rigs as the last one left them, where it told its events: switched off after a while.
    pub(super) fn leave_rigs(&mut self) -> Result<(), Fault> {
        for Told { name, events, now_ns, .. } in self.told() {
            let cut = Cut { at_ns: now_ns + REST_NS, torn: TornModel::default(), draws: 0 };
            self.given.before.push(Before { name, events: on_the_bus(events), cut });
        }
        self.give()
    }

    /// What rigs of doors have told so far; several of one name are numbered.
    pub(super) fn told(&self) -> Vec<Told> {
        let told = fs::read_to_string(self.folder.path().join(TOLD)).unwrap_or_default();
        let mut rigs: Vec<Told> = told.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
        let mut names = BTreeMap::<String, usize>::new();
        for rig in &mut rigs {
            let number = names.entry(rig.name.clone()).or_default();
            if *number > 0 {
                rig.name += &format!("#{number}");
            }
            *number += 1;
        }
        rigs
    }

    /// Runs a command until its end.
    pub(super) fn run(&mut self, command: &mut Command) -> Result<End, Fault> {
        before(command, &self.bench.library);
        self.run_as_it_is(command)
    }

    fn run_as_it_is(&mut self, command: &mut Command) -> Result<End, Fault> {
        let program = command.get_program().to_owned();
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
        let all = &self.bench.command;
        let mut command = Command::new(&all[0]);
        if !all.iter().any(|word| word.to_string_lossy().contains(PLACEHOLDER)) {
            return self.run(command.args(&all[1..]));
        }
        // An emulator: it has its own clock, and the device is not meant for it.
        let word = format!("{VARIABLE}={}", self.folder.path().display());
        let words = all[1..].iter().map(|word_of| match word_of.to_str() {
            Some(text) => text.replace(PLACEHOLDER, &word).into(),
            None => word_of.clone(),
        });
        self.run_as_it_is(command.args(words.collect::<Vec<OsString>>()))
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

    /// What was seen through the device, and what rigs of doors told.
    pub(super) fn finish(self) -> (Seen, Vec<Told>) {
        let told = self.told();
        (self.session.finish(), told)
    }
}

/// What a part can notice of what happened.
pub(super) fn on_the_bus(events: Vec<Event>) -> Vec<Event> {
    events.into_iter().filter(|event| !matches!(event.kind, EventKind::Chip { .. })).collect()
}

/// A time as it stands in front of a line of a trace.
pub(super) fn us(ns: u64) -> String {
    format!("{}.{:03} us", ns / 1000, ns % 1000)
}

/// Runs the program once, without a cut.
pub(super) fn whole(bench: &Bench, part: usize, setting: &Setting) -> Result<Ran, Fault> {
    let mut stage = Stage::new(bench, order(bench, part, setting))?;
    let exit = stage.program()?.code();
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
        memory: memory(&seen, &rigs),
        courses: vec![seen.lines().map(|(from_ns, line)| format!("{}  {line}\n", us(from_ns))).collect()],
        exit,
        said,
        hazards: seen.hazards,
        transfers: seen.transfers,
        now_ns: seen.now_ns,
        readings: seen.readings,
        told: seen.told,
    };
    for rig in rigs {
        ran.transfers += rig.transfers.lines().count() as u64;
        ran.now_ns = ran.now_ns.max(rig.now_ns);
        let lines: Vec<&str> = rig.transfers.lines().collect();
        ran.courses.push(lines.iter().map(|line| format!("{}\n", line.trim())).collect());
        for (hazard, at_ns, text) in rig.hazards {
            let (transfer, on_the_bus) = under_way(&lines, at_ns);
            ran.hazards.push(Sighting { hazard, at_ns, text, transfer, on_the_bus });
        }
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
