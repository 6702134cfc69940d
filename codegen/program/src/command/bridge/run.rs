//! Starting the program with the preload library before it.

use std::env;
use std::ffi::{OsStr, OsString};
use std::fs;
use std::path::Path;
use std::process::{Command, ExitStatus};

use serde_json::json;

use super::chips::{Chip, absolute};
use super::report::{self, Outcome};
use super::{Bridge, Nack, library};
use pagewise_base::fault::{Fault, Faults};

/// Where the library finds what this bus is made of.
const CONFIG: &str = "PAGEWISE_BRIDGE_CONFIG";

pub(super) fn run(bridge: &Bridge, chips: &[Chip], program: &OsStr, arguments: &[OsString]) -> Result<Outcome, Faults> {
    let library = library::find(bridge.library.as_deref())?;
    if let Some(trace) = &bridge.trace {
        fs::write(trace, "").map_err(|error| {
            Fault::of_file(&trace.display().to_string(), format!("cannot be written: {error}"), "check its folder")
        })?;
    }
    let temporary = |error: std::io::Error| Fault::of_file("bridge", format!("no temporary folder: {error}"), "");
    let folder = tempfile::Builder::new().prefix("pagewise-bridge-").tempdir().map_err(temporary)?;
    let (config, reports) = (folder.path().join("config.json"), folder.path().join("reports.jsonl"));
    fs::write(&config, configuration(bridge, chips, &reports).to_string()).map_err(temporary)?;
    let status = Command::new(program)
        .args(arguments)
        .env("LD_PRELOAD", preload(&library))
        .env(CONFIG, &config)
        .status()
        .map_err(|error| {
            Fault::of_file(&program.to_string_lossy(), format!("cannot be started: {error}"), "check its name")
        })?;
    let (opened, hazards) = report::read(&reports)?;
    Ok(Outcome { exit: exit_code(status), opened, hazards })
}

/// What the library reads; `simulator/bridge/src/config.rs` is the other side.
fn configuration(bridge: &Bridge, chips: &[Chip], reports: &Path) -> serde_json::Value {
    let chips: Vec<_> = chips
        .iter()
        .map(|chip| json!({ "model": chip.model, "pins": chip.pins, "image": chip.image.as_deref().map(absolute) }))
        .collect();
    json!({
        "device": bridge.device,
        "scl_hz": bridge.scl_khz * 1000,
        "supply_mv": bridge.supply,
        "write_protect": bridge.write_protect,
        "virtual_time": bridge.virtual_time,
        "store_each_write": bridge.store_each_write,
        "nack_is_eremoteio": bridge.nack == Nack::Eremoteio,
        "trace": bridge.trace.as_deref().map(absolute),
        "reports": reports,
        "chips": chips,
    })
}

/// The library before whatever is preloaded already.
fn preload(library: &Path) -> OsString {
    let mut value = library.as_os_str().to_owned();
    if let Some(more) = env::var_os("LD_PRELOAD").filter(|more| !more.is_empty()) {
        value.push(":");
        value.push(more);
    }
    value
}

/// The program's exit code, or 128 plus the signal that ended it, as a shell says it.
fn exit_code(status: ExitStatus) -> u8 {
    #[cfg(unix)]
    {
        use std::os::unix::process::ExitStatusExt;
        if let Some(signal) = status.signal() {
            return 128 | signal as u8;
        }
    }
    status.code().unwrap_or(1) as u8
}
