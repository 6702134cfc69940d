//! `pagewise bridge`: an unmodified Linux program on a simulated bus.
//!
//! With `--json` the report follows what the program itself prints: `device`, `program_exit` (its exit code, or 128 plus
//! the signal that ended it), `device_opened`, and `hazards`, each with `hazard` (its name), `at_ns` (since its process
//! opened the device) and `text`.

mod chips;
mod library;
mod report;
mod run;

use std::ffi::OsString;
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use serde::Serialize;

use super::{Options, values};
use crate::output::{Answer, Exit, Reader};
use pagewise_base::fault::{Fault, Faults};

/// Run a Linux program on a simulated bus: it opens the device path as usual and finds the chips there.
///
/// The program runs unmodified, with a preload library before it (libpagewise_bridge.so); statically linked programs do
/// not see it. Memory of a chip with an image is read from it and put back when the device is closed, when the program
/// ends, calls fsync() on the device or gets SIGUSR1. The exit code is that of the program; if it is 0, then 1 when a
/// detector named a hazard. What the detectors saw goes to standard error.
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
    /// Also put memory into the images after every write, so that a program that is killed loses nothing.
    #[arg(long)]
    pub store_each_write: bool,
    /// Error number of a device address that is not acknowledged: what most adapters say, or what some say instead.
    #[arg(long, value_name = "ERRNO", value_enum, default_value_t = Nack::Enxio)]
    pub nack: Nack,
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
}

#[derive(Serialize)]
struct Body<'r> {
    device: &'r str,
    program_exit: u8,
    device_opened: bool,
    hazards: &'r [report::Seen],
}

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
            0 if !outcome.hazards.is_empty() => Exit::Against,
            code => Exit::Program(code),
        };
        if options.reader() == Reader::Person {
            // Standard output belongs to the program.
            anstream::eprint!("{}", report::text(self, &outcome));
            return Ok(Answer { text: String::new(), exit });
        }
        let body = Body {
            device: &self.device,
            program_exit: outcome.exit,
            device_opened: outcome.opened,
            hazards: &outcome.hazards,
        };
        Ok(Answer::new(options.reader(), "bridge", exit, &body, String::new))
    }
}
