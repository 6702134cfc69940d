//! The detectors: each names one hazard from what the chips say and what an observer at the bus sees.
//!
//! A detector reports what it can be sure of; what only the ledger can know (bytes that went to a legal but wrong place)
//! is confirmed at [`crate::Rig::finish`].

mod address_width;
mod block_alias;
mod bus_timing;
mod busy_access;
mod capacity_alias;
mod floating_pin;
mod overclock;
mod overvoltage;
mod page_wrap;
mod read_rollover;
mod restart_abort;
mod stuck_bus;
mod torn_write;
mod undervoltage;
mod wear_out;
mod write_protect;
pub(crate) mod wrong_family;

use alloc::collections::BTreeSet;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

pub(crate) use busy_access::Access;

use crate::chip::Chip;
use crate::event::{ChipId, Note};
use crate::hazard::Hazard;
use crate::segment::Segment;
use crate::timing::TimingParameter;

/// A hazard that was seen.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Incident {
    /// When it became certain.
    pub at_ns: u64,
    /// The chip concerned, if it is one.
    pub chip: Option<ChipId>,
    /// Its name.
    pub hazard: Hazard,
    /// What happened, with the numbers.
    pub text: String,
}

/// All detectors with their memory.
#[derive(Debug, Clone, Default)]
pub(crate) struct Detectors {
    pub(crate) incidents: Vec<Incident>,
    once: BTreeSet<(Option<ChipId>, Hazard)>,
    limits: BTreeSet<(Option<ChipId>, TimingParameter)>,
    strong_pull_up: bool,
    conflicts: BTreeSet<u8>,
    width: address_width::AddressWidth,
    restart: restart_abort::RestartAbort,
    block: block_alias::BlockAlias,
    busy: busy_access::BusyAccess,
}

/// What a detector found, before it is booked.
pub(crate) struct Finding {
    pub(crate) chip: Option<ChipId>,
    pub(crate) at_ns: u64,
    pub(crate) hazard: Hazard,
    pub(crate) text: String,
}

impl Detectors {
    pub(crate) fn report(&mut self, found: Finding) {
        let Finding { chip, at_ns, hazard, text } = found;
        self.incidents.push(Incident { at_ns, chip, hazard, text });
    }

    /// A cause that only the ledger knew. A wrong width of the word address makes everything after it go astray: it stands
    /// before what else was seen of the chip since.
    pub(crate) fn report_cause(&mut self, found: Finding) {
        let first = self.incidents.iter().position(|incident| incident.chip == found.chip);
        let Some(first) = first.filter(|_| found.hazard == Hazard::AddressWidth) else { return self.report(found) };
        let Finding { chip, hazard, text, .. } = found;
        self.incidents.insert(first, Incident { at_ns: self.incidents[first].at_ns, chip, hazard, text });
    }

    /// Standing conditions are reported once per chip, not at every access.
    pub(crate) fn report_once(&mut self, found: Finding) {
        if self.once.insert((found.chip, found.hazard)) {
            self.report(found);
        }
    }

    /// Whether it was reported of a chip that its supply is too low.
    pub(crate) fn has_told_undervoltage(&self, chip: usize) -> bool {
        self.once.contains(&(Some(ChipId(chip)), Hazard::Undervoltage))
    }

    /// A note of a chip.
    pub(crate) fn hear(&mut self, name: &str, chip: ChipId, at_ns: u64, note: Note) {
        self.restart.hear(chip, at_ns, note);
        let found = page_wrap::text(note)
            .or_else(|| capacity_alias::text(note))
            .or_else(|| read_rollover::text(note))
            .or_else(|| write_protect::text(note))
            .or_else(|| torn_write::text(note))
            .or_else(|| wear_out::text(note))
            .or_else(|| busy_access::text(note))
            .or_else(|| stuck_bus::text(note));
        if let Some((hazard, text)) = found {
            self.report(Finding { chip: Some(chip), at_ns, hazard, text: format!("{name}: {text}") });
        }
        // What stands is told once, and its text made once.
        if undervoltage::concerns(note) && self.has_told_undervoltage(chip.0) {
            return;
        }
        let standing = floating_pin::text(note)
            .or_else(|| overclock::text(note))
            .or_else(|| undervoltage::text(note))
            .or_else(|| overvoltage::text(note));
        if let Some((hazard, text)) = standing {
            let found = Finding { chip: Some(chip), at_ns, hazard, text: format!("{name}: {text}") };
            if hazard == Hazard::FloatingPin { self.report(found) } else { self.report_once(found) }
        }
    }

    /// A timing limit of a chip, with its name, or of the bus mode was not kept. Each is reported once per chip.
    pub(crate) fn timing(
        &mut self,
        at_ns: u64,
        chip: Option<(ChipId, &str)>,
        parameter: TimingParameter,
        limit_ns: u32,
        measured_ns: u64,
    ) {
        let (id, name) = chip.unzip();
        if self.limits.insert((id, parameter)) {
            let (hazard, text) = bus_timing::text(name, parameter, limit_ns, measured_ns);
            self.report(Finding { chip: id, at_ns, hazard, text });
        }
    }

    /// A pull-up is stronger than the pins; reported once.
    pub(crate) fn pull_up(&mut self, at_ns: u64, ohm: u32, current_ua: u64, sink_ua: u64) {
        if !core::mem::replace(&mut self.strong_pull_up, true) {
            let text = bus_timing::pull_up(ohm, current_ua, sink_ua);
            self.report(Finding { chip: None, at_ns, hazard: Hazard::BusTiming, text });
        }
    }

    /// A device address was sent and answered or not.
    pub(crate) fn addressed(&mut self, segment: &Segment, chips: &[Chip]) {
        for found in self.restart.addressed(segment, chips, &mut self.width) {
            self.report(found);
        }
    }

    /// A START or STOP ended this segment.
    pub(crate) fn ended(&mut self, segment: &Segment, chips: &[Chip]) {
        for found in self.width.ended(segment, chips) {
            self.report(found);
        }
        for found in self.block.ended(segment, chips) {
            self.report(found);
        }
        for found in self.restart.ended(segment, chips) {
            self.report(found);
        }
    }

    /// Two devices answered one address.
    pub(crate) fn conflict(&mut self, at_ns: u64, chip: Option<ChipId>, address: u8, names: &[&str]) {
        if self.conflicts.insert(address) {
            let text = format!("device address 0x{address:02X} is answered by {}", names.join(" and "));
            self.report(Finding { chip, at_ns, hazard: Hazard::AddressConflict, text });
        }
    }

    /// A whole access by the controller is over, with what it was meant to do.
    pub(crate) fn accessed(&mut self, chip: usize, name: &str, access: &Access, refused: Option<u64>, at_ns: u64) {
        if let Some(found) = self.busy.accessed(chip, name, access, refused, at_ns) {
            self.report(found);
        }
    }

    /// Whether [`Detectors::accessed`] has anything to do for accesses that were not refused.
    pub(crate) fn awaits_access(&self) -> bool {
        self.busy.pending()
    }

    /// The program is over.
    pub(crate) fn finish(&mut self, at_ns: u64) {
        for found in self.restart.finish(at_ns).into_iter().chain(self.busy.finish(at_ns)).collect::<Vec<_>>() {
            self.report(found);
        }
    }

    pub(crate) fn clear(&mut self) {
        *self = Self::default();
    }
}
