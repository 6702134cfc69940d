//! `pagewise bridge`: an unmodified Linux program on a simulated bus.
//!
//! With `--json` the report follows what the program itself prints: `device`, `program_exit` (its exit code, or 128 plus
//! the signal that ended it), `device_opened`, `supply_lost`, `transfers`, `hazards` (at most a hundred of a kind), each with
//! `hazard` (its name), `at_ns` (since the bus was made), `text`, `transfer` (its number) and `on_the_bus` (that transfer),
//! `hazard_counts` by name, and `told` (what the user should know of how the programs used the device).

mod chips;
pub(in crate::command) mod faults;
pub(in crate::command) mod library;
mod report;
pub(in crate::command) mod run;

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use pagewise_session::seen::Sighting;
use pagewise_simulator::TornModel;
use schemars::JsonSchema;
use serde::Serialize;

pub(in crate::command) use chips::absolute;

use super::{Options, values};
use crate::output::{Answer, Exit, Reader, Shape, answers};
use pagewise_base::fault::{Fault, Faults};

/// Run a Linux program on a simulated bus: it opens the device path as usual and finds the chips there.
///
/// The program runs unmodified, with a preload library before it (libpagewise_bridge.so); statically linked programs do not
/// see it. The bus is outside of the program: whatever it starts finds the same bus, clock, memory and write cycles, and
/// nothing is lost when it forks, becomes another program or is killed. Memory of a chip with an image is read from it and
/// put back when the device is closed, when the bus rests, on fsync() of the device, and at the end. The exit code is that
/// of the program; if it is 0, then 1 when a detector named a hazard. What the detectors saw goes to standard error.
#[derive(Debug, Args)]
pub struct Bridge {
    /// A chip on the bus: card or model file (*.json), its device address (default: all address pins at ground) and the
    /// image file that keeps its memory (default: erased, not kept). May be given several times.
    #[arg(long = "chip", value_name = "PART[@ADDRESS][=IMAGE]", required = true)]
    pub chips: Vec<String>,
    /// Path at which the program finds the bus.
    #[arg(long, value_name = "PATH", default_value = "/dev/i2c-1", value_parser = clap::builder::NonEmptyStringValueParser::new())]
    pub device: String,
    /// SCL rate in kHz.
    #[arg(long, value_name = "KHZ", default_value_t = 100, value_parser = clap::value_parser!(u32).range(1..=5000))]
    pub scl_khz: u32,
    /// Supply in volts.
    #[arg(long, value_name = "VOLTS", value_parser = values::millivolts, default_value = "3.3")]
    pub supply: u32,
    /// Tie the WP pin of every chip to the supply instead of ground.
    #[arg(long)]
    pub write_protect: bool,
    /// Virtual time: only bus traffic and the program's own sleeps move the clock, and sleeps return at once.
    #[arg(long)]
    pub virtual_time: bool,
    /// Also put memory into the images after every write, and not only when the bus rests for a moment.
    #[arg(long)]
    pub store_each_write: bool,
    /// Error number of a device address that is not acknowledged: what most adapters say, or what some say instead.
    #[arg(long, value_name = "ERRNO", value_enum, default_value_t = Nack::Enxio)]
    pub nack: Nack,
    /// Longest message of the adapter in bytes; longer ones are refused with EOPNOTSUPP.
    #[arg(long, value_name = "BYTES", value_parser = clap::value_parser!(u16).range(1..=8192))]
    pub longest_message: Option<u16>,
    /// The adapter refuses messages without bytes.
    #[arg(long)]
    pub no_empty_messages: bool,
    /// Seed of everything that is drawn: durations of write cycles, levels of open pins, contents of registers.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// A fault; may be repeated. nack=BYTE, flip=BYTE:MASK, lost-write=CYCLE, long-cycle=CYCLE:MS, stuck=OFFSET:MASK:VALUE,
    /// rest-flip=OFFSET:MASK, sda-low=FROM_MS:UNTIL_MS, scl-low=FROM_MS:UNTIL_MS, or a share: nack, flip, lie, long=1/100.
    #[arg(long = "fault", value_name = "FAULT")]
    pub faults: Vec<String>,
    /// Lose the supply so many milliseconds after the bus was made: a write cycle is torn, and the program is killed.
    #[arg(long, value_name = "MS", value_parser = milliseconds)]
    pub cut_ms: Option<f64>,
    /// What a torn write cycle leaves: old, new, prefix, subset, erased or unstable.
    #[arg(long, value_name = "MODEL", value_parser = torn, default_value = "prefix")]
    pub torn: TornModel,
    /// Write a line per transfer to this file.
    #[arg(long, value_name = "FILE")]
    pub trace: Option<PathBuf>,
    /// The preload library, if it is not the one beside this program, in ../lib, or inside it.
    #[arg(long, value_name = "FILE")]
    pub library: Option<PathBuf>,
    /// The program and its arguments, after `--`.
    #[arg(value_name = "PROGRAM", last = true)]
    pub program: Vec<OsString>,
}

/// Error numbers of a missing acknowledge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Nack {
    /// ENXIO for the device address, EIO for a later byte.
    Enxio,
    /// EREMOTEIO for both.
    Eremoteio,
    /// EIO for both.
    Eio,
}

fn milliseconds(text: &str) -> Result<f64, String> {
    let ms = text.parse().ok().filter(|ms: &f64| (0.0..=1e9).contains(ms));
    ms.ok_or_else(|| "write milliseconds, such as 12.5".to_owned())
}

/// A model of torn write cycles by its name.
pub(in crate::command) fn torn(name: &str) -> Result<TornModel, String> {
    let found = TornModel::ALL.into_iter().find(|model| model.name() == name);
    found.ok_or_else(|| format!("use {}", TornModel::ALL.map(TornModel::name).join(", ")))
}

#[derive(JsonSchema, Serialize)]
struct Body<'r> {
    device: &'r str,
    program_exit: u8,
    device_opened: bool,
    supply_lost: bool,
    transfers: u64,
    hazards: &'r [Sighting],
    hazard_counts: &'r BTreeMap<String, u64>,
    told: &'r [String],
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Bridge {
    /// Runs the command.
    ///
    /// # Errors
    /// No program, a part or address that cannot be, an image that does not fit or is in use, no preload library, a
    /// program that does not start; faults of the user's cards. No image is touched then.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let Some((program, arguments)) = self.program.split_first() else {
            let remedy = "write it after `--`: pagewise bridge --chip 24lc32a -- i2cprogram ...";
            return Err(Fault::of_file("bridge", "no program to run", remedy).into());
        };
        let chips = chips::read(&self.chips, || options.catalogue())?;
        let outcome = run::run(self, &chips, program, arguments)?;
        let exit = match outcome.exit {
            0 if !outcome.seen.hazards.is_empty() => Exit::Against,
            code => Exit::Program(code),
        };
        if options.reader() == Reader::Person {
            // Standard output belongs to the program.
            anstream::eprint!("{}", report::text(self, &outcome));
            return Ok(Answer::text(String::new(), exit));
        }
        let body = Body {
            device: &self.device,
            program_exit: outcome.exit,
            device_opened: outcome.seen.opened,
            supply_lost: outcome.cut,
            transfers: outcome.seen.transfers,
            hazards: &outcome.seen.hazards,
            hazard_counts: &outcome.seen.counts,
            told: &outcome.seen.told,
        };
        Ok(Answer::new(options.reader(), "bridge", exit, &body, String::new))
    }
}
