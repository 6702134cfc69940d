//! One stretch of a transfer, from a START to the next START or STOP, as an observer at the bus sees it.

use alloc::vec::Vec;

use crate::event::Note;
use crate::hazard::Hazard;

/// Bytes of a write that are kept for detectors and ledger.
pub(crate) const KEPT_BYTES: usize = 2048;

/// What happened since the last START.
#[derive(Debug, Clone, Default)]
pub(crate) struct Segment {
    open: bool,
    pub(crate) at_ns: u64,
    /// It began with a repeated START.
    pub(crate) repeated: bool,
    /// It ended with a repeated START.
    pub(crate) restarted: bool,
    /// Device address and R/W, once it was sent.
    pub(crate) control: Option<u8>,
    pub(crate) acked: bool,
    pub(crate) responders: Vec<usize>,
    /// Bytes written after the device address, the one that was not acknowledged included.
    pub(crate) raw: Vec<u8>,
    /// The last byte written was not acknowledged.
    pub(crate) refused: bool,
    /// Something was read.
    pub(crate) read: bool,
    pub(crate) conflict: bool,
    /// Why what was written here is lost, where a chip said so.
    pub(crate) lost_to: Option<Hazard>,
}

impl Segment {
    pub(crate) fn open(&mut self, at_ns: u64, repeated: bool) {
        self.open = true;
        self.at_ns = at_ns;
        self.repeated = repeated;
        self.restarted = false;
        self.control = None;
        self.acked = false;
        self.responders.clear();
        self.raw.clear();
        self.refused = false;
        self.read = false;
        self.conflict = false;
        self.lost_to = None;
    }

    pub(crate) fn is_open(&self) -> bool {
        self.open
    }

    pub(crate) fn close(&mut self) {
        self.open = false;
    }

    pub(crate) fn addressed(&mut self, control: u8, acked: bool, responders: &[usize]) {
        self.control = Some(control);
        self.acked = acked;
        self.responders.extend_from_slice(responders);
    }

    /// R/W = 1.
    pub(crate) fn is_read(&self) -> bool {
        self.control.is_some_and(|control| control & 1 == 1)
    }

    pub(crate) fn wrote(&mut self, byte: u8, acked: bool) {
        if self.raw.len() < KEPT_BYTES {
            self.raw.push(byte);
        }
        self.refused = !acked;
    }

    pub(crate) fn wrote_all(&mut self, bytes: &[u8]) {
        let room = KEPT_BYTES - self.raw.len();
        self.raw.extend_from_slice(&bytes[..room.min(bytes.len())]);
        self.refused = false;
    }

    /// What a chip said about the data of this segment.
    pub(crate) fn hear(&mut self, _chip: usize, note: Note) {
        self.lost_to = match note {
            Note::DataDropped { .. } => Some(Hazard::RestartAbort),
            Note::Protected { .. } => Some(Hazard::WriteProtect),
            Note::TooLowToWrite { .. } => Some(Hazard::Undervoltage),
            Note::ForbiddenAddress { .. } | Note::Secured { .. } => Some(Hazard::CapacityAlias),
            Note::BusyUndefined { .. } | Note::BusyRefused { .. } => Some(Hazard::BusyAccess),
            _ => self.lost_to,
        };
    }
}
