//! One unit through the line: look, plan, back up, write, verify, lock, record.

use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};

use embedded_hal::delay::DelayNs;
use pagewise_driver::Trust;

use super::backup::{self, Backup};
use super::difference::{count, differences};
use super::first_write::Belief;
use super::journal::{Event, Journal, Particulars, Record, Site, Sought, now};
use super::lock::{Confirmed, Lockable};
use super::look::{self, Look, hint};
use super::plan::{self, Permissions, Plan};
use super::progress::Progress;
use super::report::{Ending, Survey, UnitReport};
use super::units::Unit;
use super::wanted::digest;
use super::{Halt, LineBus, Socket, Step};

/// What to do to which unit.
pub struct Order<'o> {
    /// The unit.
    pub unit: &'o Unit,
    /// Where its part sits.
    pub socket: &'o Socket,
    /// All buses that the line works on, where there are several.
    pub buses: &'o [String],
    /// What a person says of the part and of the place.
    pub particulars: &'o Particulars,
    /// Folder of the backups.
    pub backups: &'o Path,
    /// What may be lost.
    pub permissions: Permissions,
    /// Contents of the identification page.
    pub identification: Option<&'o [u8]>,
    /// Lock it: what was typed as the unit's name.
    pub lock: Option<Confirmed>,
}

/// Takes one unit through the line.
///
/// The journal gets `begin` before the first byte is written and `good` after everything was read back; each is on the
/// disk before the line goes on.
pub fn program(order: Order<'_>, bus: &mut LineBus, journal: &Mutex<Journal>, progress: &Progress<'_>) -> UnitReport {
    let begun = bus.simulated_us();
    let site = bus.site(&held(journal));
    let mut run = Run::new(&order, site);
    let ended = run.go(order, bus, journal, progress);
    let mut report = run.report;
    if let (Some(from), Some(to)) = (begun, bus.simulated_us()) {
        report.simulated_us = Some(to - from);
    }
    if let Err(halt) = ended {
        report.result = halt.result;
        report.halt = Some(halt);
    }
    report
}

/// The report of a unit that is good already, if it is: nobody needs to fit its part.
#[must_use]
pub fn good_already(
    unit: &Unit,
    socket: &Socket,
    site: &Site,
    buses: &[String],
    journal: &Journal,
) -> Option<UnitReport> {
    let halt = already_good(&plan::sought(unit, socket, site, buses), journal)?;
    Some(UnitReport::not_begun(unit, site, halt))
}

fn already_good(sought: &Sought<'_>, journal: &Journal) -> Option<Halt> {
    let good = journal.of(sought).good?;
    let reason = format!("logged good at {}", good.at);
    let halt = Halt::refused(Step::Record, reason, "add --again to program it again");
    Some(Halt { result: Ending::AlreadyGood, ..halt })
}

/// The journal, for one step; whatever another thread did, it holds whole records.
fn held(journal: &Mutex<Journal>) -> MutexGuard<'_, Journal> {
    journal.lock().unwrap_or_else(PoisonError::into_inner)
}

struct Run {
    report: UnitReport,
    record: Record,
    site: Site,
}

impl Run {
    fn new(order: &Order<'_>, site: Site) -> Self {
        let unit = order.unit;
        let report = UnitReport::of(unit, &site);
        let record = Record {
            pagewise: env!("CARGO_PKG_VERSION").into(),
            event: Event::Begin,
            unit: unit.name.clone(),
            at: String::new(),
            begun_at: Some(now()),
            part: order.socket.card.id.clone(),
            simulated: site.simulated,
            particulars: order.particulars.clone(),
            bus: site.bus.clone(),
            memory: site.memory.clone(),
            device_address: order.socket.geometry.device_address(),
            image: unit.file.clone(),
            sha256: unit.wanted.sha256.clone(),
            wanted_sha256: None,
            backup: None,
            backup_sha256: None,
            part_sha256: None,
            pages_written: None,
            step: None,
            reason: None,
        };
        Self { report, record, site }
    }

    fn go(
        &mut self,
        order: Order<'_>,
        bus: &mut LineBus,
        journal: &Mutex<Journal>,
        progress: &Progress<'_>,
    ) -> Result<(), Halt> {
        let sought = plan::sought(order.unit, order.socket, &self.site, order.buses);
        if let Some(halt) = already_good(&sought, &held(journal)).filter(|_| !order.permissions.again) {
            return Err(halt);
        }
        self.report.note = held(journal).good_elsewhere(&sought);
        let prepared = self.prepare(&order, bus, journal, progress);
        let (look, plan) = prepared.inspect_err(|halt| self.end_badly(halt, journal))?;
        let wrote = self.carry_out(order, bus, journal, progress, &look, &plan);
        wrote.inspect_err(|halt| self.end_badly(halt, journal))
    }

    /// Reads only, and decides.
    fn prepare(
        &mut self,
        order: &Order<'_>,
        bus: &mut LineBus,
        journal: &Mutex<Journal>,
        progress: &Progress<'_>,
    ) -> Result<(Look, Plan), Halt> {
        let look = look::look(bus, order.socket, progress)?;
        self.report.others.clone_from(&look.others);
        self.report.contents = Some(look.description.clone());
        let sought = plan::sought(order.unit, order.socket, &self.site, order.buses);
        let plan = plan::plan(&look, order.unit, order.socket, &sought, &held(journal), order.permissions)?;
        self.report.held = Some(plan.holds);
        self.report.resumed = plan.resume.is_some();
        self.report.pages_kept = plan.kept;
        self.report.pages_to_write = plan.pieces.len() as u32;
        Ok((look, plan))
    }

    fn carry_out(
        &mut self,
        order: Order<'_>,
        bus: &mut LineBus,
        journal: &Mutex<Journal>,
        progress: &Progress<'_>,
        look: &Look,
        plan: &Plan,
    ) -> Result<(), Halt> {
        let Order { unit, socket, backups, identification, lock, .. } = order;
        let kept = match &plan.resume {
            Some(resume) => resume.backup.clone(),
            None => save(backups, &unit.name, &look.contents)?,
        };
        self.report.backup = Some(kept.path.display().to_string());
        self.record.backup = Some(held(journal).stored(&kept.path));
        self.record.wanted_sha256 = Some(digest(&plan.after));
        self.record.backup_sha256 = Some(kept.sha256);
        self.note(Event::Begin, journal)?;
        if let Err(halt) = self.write(bus, socket, progress, look, plan) {
            self.survey(bus, socket, unit, look, progress);
            return Err(halt);
        }
        self.verify(bus, socket, progress, plan)?;
        self.second_region(bus, socket, journal, identification, lock)?;
        self.record.part_sha256 = self.report.part_sha256.clone();
        self.note(Event::Good, journal).map_err(|mut halt| {
            halt.reason = format!("written and verified, but not recorded, so not counted as good: {}", halt.reason);
            halt
        })
    }

    /// Writes what differs, piece by piece, and looks behind the first ones and into each range of the part.
    fn write(
        &mut self,
        bus: &mut LineBus,
        socket: &Socket,
        progress: &Progress<'_>,
        look: &Look,
        plan: &Plan,
    ) -> Result<(), Halt> {
        progress.begin(Step::Write, plan.pieces.iter().map(|(_, bytes)| bytes.len() as u64).sum());
        let mut belief = Belief { socket, now: look.contents.clone() };
        let mut last = 0;
        for (index, (offset, bytes)) in plan.pieces.iter().enumerate() {
            // Between two pages nothing is in flight: the place to stop.
            progress.advance(Step::Write, 0)?;
            let updated = match socket.writer(bus).update(*offset, bytes, &mut Trust::new()) {
                Ok(updated) => updated,
                Err(error) => {
                    let halt = write_error(&error, *offset, socket);
                    return Err(slower(&error, halt, &mut belief, bus, *offset, bytes));
                }
            };
            self.report.pages_written += u32::from(updated.written > 0);
            if belief.is_due(index, *offset, std::mem::replace(&mut last, *offset)) {
                belief.check(bus, *offset, bytes)?;
            } else {
                belief.wrote(*offset, bytes);
            }
            if index == 0 {
                belief.check_other_places(bus, *offset)?;
            }
            progress.advance(Step::Write, bytes.len() as u64)?;
        }
        Ok(())
    }

    /// Reads the whole part back: what was wanted, and that nothing else has changed.
    fn verify(&mut self, bus: &mut LineBus, socket: &Socket, progress: &Progress<'_>, plan: &Plan) -> Result<(), Halt> {
        let found = look::read_all(bus, socket, Step::Verify, progress)?;
        self.report.differences = differences(0, &plan.after, &found);
        self.report.part_sha256 = Some(digest(&found));
        if self.report.differences.is_empty() {
            return Ok(());
        }
        let reason = format!(
            "{} bytes in {} places are not as wanted, the first at 0x{:04X}",
            count(&self.report.differences),
            self.report.differences.len(),
            self.report.differences[0].offset
        );
        Err(Halt::failed(Step::Verify, reason, "take another part; this one is worn, broken or another one"))
    }

    fn second_region(
        &mut self,
        bus: &mut LineBus,
        socket: &Socket,
        journal: &Mutex<Journal>,
        contents: Option<&[u8]>,
        lock: Option<Confirmed>,
    ) -> Result<(), Halt> {
        let Some(lockable) = Lockable::of(&socket.card, socket.pins) else { return Ok(()) };
        let record = &self.record;
        let (unit, sha256, part) = (&record.unit, &record.sha256, &record.part);
        let locked_before = held(journal).of(&Sought { unit, sha256, part, site: &self.site, buses: &[] }).locked;
        if let Some(contents) = contents {
            lockable.fill(bus, socket, contents)?;
        }
        let Some(confirmed) = lock else { return Ok(()) };
        self.note(Event::LockBegin, journal)?;
        match lockable.lock(bus, socket, confirmed) {
            // An earlier run may have locked it and been killed before it could say so.
            Err(_) if locked_before => {}
            other => other?,
        }
        self.report.locked = true;
        self.note(Event::Locked, journal)
    }

    /// After a fault: what the part holds now, if it still answers.
    fn survey(&mut self, bus: &mut LineBus, socket: &Socket, unit: &Unit, look: &Look, progress: &Progress<'_>) {
        // A stop request is no reason not to look.
        let quiet = std::sync::atomic::AtomicBool::new(false);
        let _ = progress;
        let Ok(found) = look::read_all(bus, socket, Step::Write, &Progress::silent(&quiet)) else { return };
        let mut survey = Survey { as_wanted: 0, as_before: 0, neither: 0 };
        for (offset, bytes) in unit.wanted.pieces(socket.unit()) {
            let place = offset as usize..offset as usize + bytes.len();
            match &found[place.clone()] {
                is if is == bytes => survey.as_wanted += 1,
                is if *is == look.contents[place] => survey.as_before += 1,
                _ => survey.neither += 1,
            }
        }
        self.report.survey = Some(survey);
    }

    fn note(&mut self, event: Event, journal: &Mutex<Journal>) -> Result<(), Halt> {
        self.record.event = event;
        self.record.at = now();
        self.record.pages_written = (event != Event::Begin).then_some(self.report.pages_written);
        held(journal).append(self.record.clone()).map_err(|reason| {
            Halt::failed(Step::Record, format!("the journal cannot be written: {reason}"), "make room")
        })
    }

    fn end_badly(&mut self, halt: &Halt, journal: &Mutex<Journal>) {
        let event = match halt.result {
            Ending::Refused | Ending::AlreadyGood => Event::Refused,
            Ending::Stopped => Event::Stopped,
            Ending::Failed | Ending::Good => Event::Failed,
        };
        self.record.step = Some(halt.step.word().to_owned());
        self.record.reason = Some(halt.reason.clone());
        self.record.part_sha256 = None;
        // The answer on the terminal says what happened; the journal, which calls nothing good, may be full.
        let _ = self.note(event, journal);
    }
}

fn save(backups: &Path, unit: &str, contents: &[u8]) -> Result<Backup, Halt> {
    backup::save(backups, unit, contents)
        .map_err(|reason| Halt::failed(Step::Backup, reason, "nothing was written; name another folder with --backups"))
}

/// A part that does not answer in time may be another one, whose write cycle is longer: wait, and look at what it did.
fn slower(
    error: &super::socket::DriverError,
    halt: Halt,
    belief: &mut Belief<'_>,
    bus: &mut LineBus,
    offset: u32,
    bytes: &[u8],
) -> Halt {
    if !matches!(error, pagewise_driver::Error::WriteCycleOverrun { .. }) {
        return halt;
    }
    let patience = belief.socket.patience_us();
    bus.delay().delay_us(patience.saturating_mul(4));
    match belief.check(bus, offset, bytes) {
        Err(found) if found.hazard.is_some() => found,
        Err(_) => halt,
        Ok(()) => Halt::failed(
            Step::Write,
            format!("the write at 0x{offset:04X} took longer than {patience} us, though it was stored"),
            "a part with a longer write cycle sits there: read its marking",
        )
        .named("busy-access"),
    }
}

fn write_error(error: &super::socket::DriverError, offset: u32, socket: &Socket) -> Halt {
    use pagewise_driver::Error;
    let halt =
        |what: &str, remedy: &str| Halt::failed(Step::Write, format!("{what} at 0x{offset:04X}: {error}"), remedy);
    match error {
        Error::WriteProtected { .. } => {
            halt("the part refuses data", "WP is asserted, or this range is protected for good: check WP")
                .named("write-protect")
        }
        Error::WriteCycleOverrun { .. } => halt(
            "the part did not answer again after a write",
            "check contacts and supply; a part that is busy for longer than its write cycle is worn or broken",
        ),
        Error::NotAnswering { .. } => halt("the part stopped answering", hint(error, socket)),
        _ => halt("the bus failed", hint(error, socket)),
    }
}
