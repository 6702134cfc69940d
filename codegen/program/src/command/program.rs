//! `pagewise program`: units through the production line.

mod ask;
mod decided;
mod rounds;
mod scanner;
mod text;

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::AtomicBool;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use super::socket::SocketOptions;
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::fault::{Fault, Faults};
use pagewise_line::journal::{Journal, Particulars};
use pagewise_line::linux::Device;
use pagewise_line::lock::{Confirmed, Lockable};
use pagewise_line::units::{self, Unit};
use pagewise_line::{Ending, Socket, UnitReport, backup};
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
    /// Unit names come from standard input, one a line, as a scanner types them; q or the end of input ends the line.
    #[arg(long, conflicts_with = "units")]
    pub scanner: bool,
    /// Simulated parts that are programmed at once. On hardware name as many buses with --bus.
    #[arg(long, value_name = "N", requires = "simulate", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=64))]
    pub sockets: u16,
    /// Begin with one unit, and with others only when it is good and its name has been typed to release them.
    #[arg(long)]
    pub first_article: bool,
    /// Begin no more units when so many are not good.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub stop_after: Option<u32>,
    /// The decision about the board: refuses parts outside it, and parts with a condition that is open.
    #[arg(long, value_name = "FILE")]
    pub decision: Option<PathBuf>,
    /// What is known of the parts and of the place, for the journal.
    #[command(flatten)]
    pub known: Known,
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

#[derive(JsonSchema, Serialize)]
struct Body<'b> {
    part: &'b str,
    bus: &'b str,
    buses: &'b [String],
    simulated: bool,
    device_address: u8,
    journal: String,
    journal_was_torn: bool,
    good: usize,
    not_good: usize,
    /// Why not every unit was begun.
    ended: Option<&'b str>,
    units: &'b [UnitReport],
}

/// What is known of the parts and of the place, for the journal.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "For the journal")]
pub struct Known {
    /// Order code of the parts, as it stands on their reel.
    #[arg(long, value_name = "CODE", value_parser = text_of_a_label)]
    pub order_code: Option<String>,
    /// Lot of the parts.
    #[arg(long, value_name = "LOT", value_parser = text_of_a_label)]
    pub lot: Option<String>,
    /// Date code of the parts.
    #[arg(long, value_name = "CODE", value_parser = text_of_a_label)]
    pub date_code: Option<String>,
    /// Where they are programmed.
    #[arg(long, value_name = "NAME", value_parser = text_of_a_label)]
    pub station: Option<String>,
    /// Who programs them.
    #[arg(long, value_name = "NAME", value_parser = text_of_a_label)]
    pub operator: Option<String>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Known {
    fn particulars(&self) -> Particulars {
        let Self { order_code, lot, date_code, station, operator } = self.clone();
        Particulars { order_code, lot, date_code, station, operator }
    }
}

/// Something that stands on a label or a reel: not empty, one line, short.
fn text_of_a_label(text: &str) -> Result<String, String> {
    let text = text.trim();
    if text.is_empty() || text.chars().count() > 120 || text.chars().any(char::is_control) {
        return Err("give 1 to 120 characters without control characters".into());
    }
    Ok(text.to_owned())
}

/// Set by a request to stop; looked at between pages.
static STOP: AtomicBool = AtomicBool::new(false);

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
        self.check(&catalogue, &units, &socket)?;
        let identification = self.read_identification(&socket)?;
        let path = self.journal.clone().unwrap_or_else(|| "line.jsonl".into());
        let backups = self.backups.clone().unwrap_or_else(|| "backups".into());
        if backups.exists() && !backups.is_dir() {
            let shown = backups.display().to_string();
            let reason = "is not a folder, and backups need one";
            return Err(Fault::of_file(&shown, reason, "name one with --backups").into());
        }
        // Nobody is to fit a part before the bus is known to be there, and is ours until the end.
        let devices = self.socket.devices()?;
        let memories = self.memories(&units)?;
        if self.socket.simulate {
            // What cannot be simulated is told before anything is written down.
            let memory = memories.first().cloned().flatten();
            drop(self.socket.simulated(&catalogue, &socket, memory.as_deref())?);
        }
        let journal = self.journal(&path)?;
        let torn = journal.torn();
        ask::stop_on_signal();
        let buses = if self.socket.simulate { rounds::simulated(self.sockets.into()) } else { names(&devices) };
        let line = rounds::Line {
            catalogue: &catalogue,
            socket: &socket,
            backups,
            identification,
            particulars: self.known.particulars(),
            buses,
            several: units.len() > 1 || self.scanner,
            journal: Mutex::new(journal),
        };
        let known = units.len();
        let whole = if self.scanner { 0 } else { known as u64 };
        let jobs: Box<dyn Iterator<Item = rounds::Job> + '_> = if self.scanner {
            Box::new(self.scanned(&units))
        } else {
            Box::new(units.into_iter().zip(memories).map(|(unit, memory)| rounds::Job::new(unit, memory)))
        };
        let done = self.each(&line, jobs, devices, whole)?;
        let reports = &done.reports;
        let asked = if self.scanner { reports.len() } else { known };
        let good = reports.iter().filter(|report| is_fine(report.result, line.several)).count();
        let exit = if good == asked && done.ended.is_none() { Exit::Usable } else { Exit::Against };
        let body = Body {
            part: &socket.card.id,
            bus: &line.buses[0],
            buses: &line.buses,
            simulated: self.socket.simulate,
            device_address: socket.geometry.device_address(),
            journal: path.display().to_string(),
            journal_was_torn: torn,
            good,
            not_good: asked - good,
            ended: done.ended.as_deref(),
            units: reports,
        };
        Ok(Answer::new(options.reader(), "program", exit, &body, || {
            self.socket.marked(&text::render(&body, &socket, asked))
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
    fn check(&self, catalogue: &Catalogue, units: &[Unit], socket: &Socket) -> Result<(), Faults> {
        let mut faults = Faults::default();
        for unit in units {
            faults.0.extend(units::fits(unit, socket.capacity(), &socket.card.id).err());
        }
        faults.0.extend(self.foreign_order_code(catalogue, socket));
        if let Some(decision) = &self.decision {
            let code = self.known.order_code.as_deref();
            faults.0.extend(decided::refusals(decision, catalogue, &socket.card, code, &self.image, units));
        }
        if self.confirm.is_some() && (units.len() > 1 || self.scanner) {
            faults.0.push(Fault::of_file("--confirm", "names one unit, there are more", "name one with --unit"));
        }
        if self.scanner && self.socket.memory.as_ref().is_some_and(|memory| !memory.is_dir()) {
            let reason = "is not a folder, and every unit has a chip of its own";
            faults.0.push(Fault::of_file("--memory", reason, "name a folder for their memory files"));
        }
        faults.or_ok(())
    }

    /// An order code that another card knows as its own.
    fn foreign_order_code(&self, catalogue: &Catalogue, socket: &Socket) -> Option<Fault> {
        let code = self.known.order_code.as_deref()?;
        let other = catalogue.find(code).filter(|card| card.part_id() != socket.card.part_id())?;
        let reason = format!("`{code}` is the order code of {}, not of {}", other.id, socket.card.id);
        Some(Fault::of_file("--order-code", reason, "check the reel, or --part"))
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

    /// The memory file of each unit's simulated chip: the one named, or for several units one each in that folder.
    fn memories(&self, units: &[Unit]) -> Result<Vec<Option<PathBuf>>, Faults> {
        if self.scanner {
            return Ok(Vec::new());
        }
        let Some(memory) = &self.socket.memory else { return Ok(vec![None; units.len()]) };
        if units.len() == 1 && !memory.is_dir() {
            return Ok(vec![Some(memory.clone())]);
        }
        let shown = memory.display().to_string();
        if !memory.is_dir() {
            let reason = "is not a folder, and every unit has a chip of its own";
            return Err(Fault::of_file(&shown, reason, "name a folder for their memory files").into());
        }
        let paths: Vec<PathBuf> = units.iter().map(|unit| memory_of(memory, &unit.name)).collect();
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

/// The memory file of a unit in a folder of them.
fn memory_of(folder: &Path, unit: &str) -> PathBuf {
    folder.join(backup::safe_name(unit) + ".bin")
}

fn names(devices: &[Device]) -> Vec<String> {
    devices.iter().map(|device| device.path().to_owned()).collect()
}

/// Where several units are asked for, one that is good already is fine.
fn is_fine(ending: Ending, several: bool) -> bool {
    ending == Ending::Good || (ending == Ending::AlreadyGood && several)
}
