//! `pagewise program`: units through the production line.

mod ask;
mod text;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use clap::Args;
use serde::Serialize;

use super::Options;
use super::socket::SocketOptions;
use crate::output::{Answer, Exit};
use pagewise_base::fault::{Fault, Faults};
use pagewise_line::journal::Journal;
use pagewise_line::lock::{Confirmed, Lockable};
use pagewise_line::plan::Permissions;
use pagewise_line::progress::Progress;
use pagewise_line::units::{self, Unit};
use pagewise_line::{Ending, LineBus, Order, Socket, UnitReport, backup, program};
use pagewise_part::card::Catalogue;

/// Program parts: look, back up, write what differs, verify, record.
///
/// Reads only until it knows what sits there. Refuses foreign contents, keeps what the part held, writes page by page,
/// reads everything back, and logs the unit good only then. Interrupted at any moment, the same command goes on.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit code: 0 every unit is good, 1 a unit is not, 2 the input was bad and nothing was sent.\n\n\
    Writing replaces what a part holds. A lock cannot be undone by anything. The data sheet of the part decides; where \
    the work falls under electrical or product-safety rules, follow the local codes."
)]
pub struct Program {
    /// An image (.bin, .hex, .srec), a folder of images, or a manifest in JSON Lines with unit, file, sha256.
    #[arg(value_name = "IMAGE")]
    pub image: PathBuf,
    /// Only this unit; may be repeated. For a single image: its unit's name (default: the file's).
    #[arg(long = "unit", value_name = "NAME")]
    pub units: Vec<String>,
    /// Which part sits where.
    #[command(flatten)]
    pub socket: SocketOptions,
    /// The line's journal (default: line.jsonl in the working folder).
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
    /// A journal of an earlier time, which is read and not extended; may be repeated.
    #[arg(long, value_name = "FILE")]
    pub earlier: Vec<PathBuf>,
    /// Folder for what parts held before (default: backups in the working folder).
    #[arg(long, value_name = "FOLDER")]
    pub backups: Option<PathBuf>,
    /// Write parts that hold something else; it is lost but for the backup.
    #[arg(long)]
    pub overwrite: bool,
    /// Program units again that are logged good.
    #[arg(long)]
    pub again: bool,
    /// Do not ask the other device addresses who is there (by reading one byte of each).
    #[arg(long)]
    pub no_scan: bool,
    /// Contents of the identification page.
    #[arg(long, value_name = "FILE")]
    pub identification: Option<PathBuf>,
    /// Lock the identification page FOR EVER, after everything was verified. Asks for the unit's name.
    #[arg(long)]
    pub lock_identification: bool,
    /// The unit's name, in place of typing it when asked.
    #[arg(long, value_name = "UNIT", requires = "lock_identification")]
    pub confirm: Option<String>,
}

#[derive(Serialize)]
struct Body<'b> {
    part: &'b str,
    bus: &'b str,
    simulated: bool,
    device_address: u8,
    journal: String,
    journal_was_torn: bool,
    good: usize,
    not_good: usize,
    units: &'b [UnitReport],
}

/// Set by a request to stop; looked at between pages.
static STOP: AtomicBool = AtomicBool::new(false);

/// What is needed for every unit.
struct Line<'l> {
    catalogue: &'l Catalogue,
    socket: &'l Socket,
    backups: PathBuf,
    identification: Option<Vec<u8>>,
    /// Where each unit's simulated part keeps its memory.
    memories: Vec<Option<PathBuf>>,
}

impl Program {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with cards, images, manifest, journal, bus and confirmation. Nothing was sent then.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let units = units::read(&self.image, &self.units)?;
        let mut socket = self.socket.socket(&catalogue, &units)?;
        socket.scan = !self.no_scan;
        self.check(&units, &socket)?;
        let identification = self.read_identification(&socket)?;
        let path = self.journal.clone().unwrap_or_else(|| "line.jsonl".into());
        let backups = self.backups.clone().unwrap_or_else(|| "backups".into());
        if backups.exists() && !backups.is_dir() {
            let shown = backups.display().to_string();
            let reason = "is not a folder, and backups need one";
            return Err(Fault::of_file(&shown, reason, "name one with --backups").into());
        }
        // Nobody is to fit a part before the bus is known to be there, and is ours until the end.
        let bus = if self.socket.simulate { None } else { Some(self.socket.open(&catalogue, &socket, None)?) };
        let memories = self.memories(&units)?;
        let mut journal = self.journal(&path)?;
        let torn = journal.torn();
        ask::stop_on_signal(&STOP)?;
        let line = Line { catalogue: &catalogue, socket: &socket, backups, identification, memories };
        let reports = self.each(&line, &units, bus, &mut journal)?;
        let good = reports.iter().filter(|report| is_fine(report.result, units.len())).count();
        let exit = if good == units.len() { Exit::Usable } else { Exit::Against };
        let body = Body {
            part: &socket.card.id,
            bus: self.socket.bus_name(),
            simulated: self.socket.simulate,
            device_address: socket.geometry.device_address(),
            journal: path.display().to_string(),
            journal_was_torn: torn,
            good,
            not_good: units.len() - good,
            units: &reports,
        };
        Ok(Answer::new(options.reader(), "program", exit, &body, || {
            self.socket.marked(&text::render(&body, &socket, units.len()))
        }))
    }

    fn journal(&self, path: &Path) -> Result<Journal, Faults> {
        let mut journal = Journal::open(path)?;
        for earlier in self.earlier.iter().rev() {
            journal.read_earlier(earlier)?;
        }
        Ok(journal)
    }

    /// The images fit, and a confirmation can be meant for one unit only.
    fn check(&self, units: &[Unit], socket: &Socket) -> Result<(), Faults> {
        let mut faults = Faults::default();
        for unit in units {
            faults.0.extend(units::fits(unit, socket.capacity(), &socket.card.id).err());
        }
        if self.confirm.is_some() && units.len() > 1 {
            faults.0.push(Fault::of_file("--confirm", "names one unit, there are more", "name one with --unit"));
        }
        faults.or_ok(())
    }

    fn read_identification(&self, socket: &Socket) -> Result<Option<Vec<u8>>, Faults> {
        let lockable = Lockable::of(&socket.card, socket.pins);
        if lockable.is_none() && (self.lock_identification || self.identification.is_some()) {
            let reason = "has no lockable identification page with an address in its card";
            return Err(Fault::of_file(&socket.card.id, reason, "see `pagewise show`; the data sheet decides").into());
        }
        let (Some(path), Some(lockable)) = (&self.identification, lockable) else { return Ok(None) };
        let image = units::image(path)?;
        let image = image.image();
        let length = lockable.region.length_bytes();
        let bytes = image.flatten(length, 0xFF).map_err(|reason| {
            let shown = path.display().to_string();
            Fault::of_file(&shown, reason.to_string(), format!("the identification page has {length} bytes"))
        })?;
        Ok(Some(bytes))
    }

    /// `device` is the bus of hardware; a simulated part is made for each unit.
    fn each(
        &self,
        line: &Line<'_>,
        units: &[Unit],
        mut device: Option<LineBus>,
        journal: &mut Journal,
    ) -> Result<Vec<UnitReport>, Faults> {
        let mut reports: Vec<UnitReport> = Vec::new();
        for (unit, memory) in units.iter().zip(&line.memories) {
            let lock = self.confirmed(unit)?;
            if units.len() > 1 && !self.socket.simulate {
                if let Some(report) = reports.last() {
                    anstream::eprint!("{}", text::one_line(report));
                }
                if !ask::fitted(&unit.name, &STOP) {
                    break;
                }
            }
            let mut simulated = None;
            let bus = match &mut device {
                Some(bus) => bus,
                None => simulated.insert(self.socket.open(line.catalogue, line.socket, memory.as_deref())?),
            };
            let order = Order {
                unit,
                socket: line.socket,
                backups: &line.backups,
                permissions: Permissions { overwrite: self.overwrite, again: self.again },
                identification: line.identification.as_deref(),
                lock,
            };
            let report = program(order, bus, journal, &Progress::new(&unit.name, &STOP));
            let stopped = report.result == Ending::Stopped || STOP.load(Ordering::Relaxed);
            reports.push(report);
            if stopped {
                break;
            }
        }
        Ok(reports)
    }

    /// The memory file of each unit's simulated chip: the one named, or for several units one each in that folder.
    fn memories(&self, units: &[Unit]) -> Result<Vec<Option<PathBuf>>, Faults> {
        let Some(memory) = &self.socket.memory else { return Ok(vec![None; units.len()]) };
        if units.len() == 1 && !memory.is_dir() {
            return Ok(vec![Some(memory.clone())]);
        }
        let shown = memory.display().to_string();
        if !memory.is_dir() {
            let reason = "is no folder, and every unit has a chip of its own";
            return Err(Fault::of_file(&shown, reason, "name a folder for their memory files").into());
        }
        let paths: Vec<PathBuf> =
            units.iter().map(|unit| memory.join(backup::safe_name(&unit.name) + ".bin")).collect();
        for (index, path) in paths.iter().enumerate() {
            if paths[..index].contains(path) {
                let reason = format!("two units would share {}", path.display());
                return Err(Fault::of_file(&shown, reason, "program them one by one with --unit").into());
            }
        }
        Ok(paths.into_iter().map(Some).collect())
    }

    /// Locking needs the unit's name, typed.
    fn confirmed(&self, unit: &Unit) -> Result<Option<Confirmed>, Faults> {
        if !self.lock_identification {
            return Ok(None);
        }
        let typed = match &self.confirm {
            Some(typed) => typed.clone(),
            None => ask::unit_name(&unit.name),
        };
        let confirmed = Confirmed::by(&typed, &unit.name);
        confirmed.map(Some).ok_or_else(|| {
            let reason = format!("the lock was not confirmed: the unit's name is `{}`", unit.name);
            Fault::of_file("--lock-identification", reason, "type it exactly, or leave the lock out").into()
        })
    }
}

/// Where several units are asked for, one that is good already is fine.
fn is_fine(ending: Ending, units: usize) -> bool {
    ending == Ending::Good || (ending == Ending::AlreadyGood && units > 1)
}
