//! Running the program on a session, with the preload library before it.

use std::env;
use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitStatus};

use pagewise_session::plan::{self, Adapter, Cut, Plan};
use pagewise_session::program::sees_nothing;
use pagewise_session::seen::Seen;
use pagewise_session::{Ended, Session};
use pagewise_simulator::{Level, Straps};

use super::chips::{Chip, absolute};
use super::{Bridge, Nack, faults, library};
use pagewise_base::fault::{Fault, Faults};

/// How the program ended and what was seen.
pub(super) struct Outcome {
    pub(super) exit: u8,
    /// The supply was lost.
    pub(super) cut: bool,
    pub(super) seen: Seen,
}

pub(super) fn run(bridge: &Bridge, chips: &[Chip], program: &OsStr, arguments: &[OsString]) -> Result<Outcome, Faults> {
    let library = library::find(bridge.library.as_deref())?;
    let plan = plan(bridge, chips)?;
    let refused = |error: std::io::Error| Fault::of_file("bridge", error.to_string(), "see that it can be used");
    let mut session = Session::new(plan).map_err(refused)?;
    let mut command = Command::new(program);
    command.args(arguments);
    before(&mut command, &library);
    let ended = session.run(&mut command, None).map_err(|error| not_started(program, &error))?;
    let mut seen = session.finish();
    if let Some(reason) = found(program).as_deref().and_then(sees_nothing) {
        seen.told.insert(0, format!("{}: {reason}", program.to_string_lossy()));
    }
    let (exit, cut) = match ended {
        Ended::Exited(status) => (exit_code(status), false),
        Ended::Cut | Ended::OutOfTime => (128 + 9, true),
    };
    Ok(Outcome { exit, cut, seen })
}

/// A program that cannot be started.
pub(in crate::command) fn not_started(program: &OsStr, error: &std::io::Error) -> Fault {
    Fault::of_file(&program.to_string_lossy(), format!("cannot be started: {error}"), "check its name")
}

/// The file of a program that is called by its name.
pub(in crate::command) fn found(program: &OsStr) -> Option<PathBuf> {
    let path = Path::new(program);
    if path.components().count() > 1 {
        return Some(path.to_owned());
    }
    let folders = env::var_os("PATH").unwrap_or_default();
    env::split_paths(&folders).map(|folder| folder.join(path)).find(|path| path.is_file())
}

fn plan(bridge: &Bridge, chips: &[Chip]) -> Result<Plan, Fault> {
    let chips = chips.iter().map(|chip| plan::Chip {
        model: chip.model.clone(),
        straps: Straps { a: chip.pins.map(Level::from_bit), wp: Level::from_bit(bridge.write_protect) },
        contents: Vec::new(),
        image: chip.image.as_deref().map(absolute),
    });
    let nack = match bridge.nack {
        Nack::Enxio => plan::Nack::Enxio,
        Nack::Eremoteio => plan::Nack::Eremoteio,
        Nack::Eio => plan::Nack::Eio,
    };
    Ok(Plan {
        device: absolute(Path::new(&bridge.device)),
        scl_hz: bridge.scl_khz * 1000,
        supply_mv: bridge.supply,
        seed: bridge.seed,
        virtual_time: bridge.virtual_time,
        chips: chips.collect(),
        others: Vec::new(),
        adapter: Adapter { nack, longest_message: bridge.longest_message, no_empty_messages: bridge.no_empty_messages },
        faults: faults::parse(&bridge.faults, bridge.seed)?,
        cut: bridge.cut_ms.map(|ms| Cut { at_ns: (ms * 1e6) as u64, torn: bridge.torn, draws: bridge.seed }),
        trace: bridge.trace.as_deref().map(absolute),
        store_each_write: bridge.store_each_write,
        keep_steps: false,
    })
}

/// Puts the library before whatever is preloaded already.
pub(in crate::command) fn before(command: &mut Command, library: &Path) {
    let mut value = library.as_os_str().to_owned();
    if let Some(more) = env::var_os("LD_PRELOAD").filter(|more| !more.is_empty()) {
        value.push(":");
        value.push(more);
    }
    command.env("LD_PRELOAD", value);
}

/// The program's exit code, or 128 plus the signal that ended it, as a shell says it.
pub(in crate::command) fn exit_code(status: ExitStatus) -> u8 {
    use std::os::unix::process::ExitStatusExt;
    match status.signal() {
        Some(signal) => 128 | signal as u8,
        None => status.code().unwrap_or(1) as u8,
    }
}
