//! What one step of a program did.

use alloc::vec::Vec;

use pagewise_simulator::{EventKind, Incident, Note};
use serde::Serialize;

use crate::program::{Action, Place};

/// Who drives SDA.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Who {
    /// The controller.
    Controller,
    /// The chip, or another device.
    Chip,
}

/// What was on the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case", tag = "is")]
pub enum BusEvent {
    /// START.
    Start,
    /// START without a STOP before it.
    Restart,
    /// STOP.
    Stop,
    /// Eight bits and an acknowledge bit.
    Byte {
        /// Its value.
        byte: u8,
        /// The byte after a START.
        address: bool,
        /// Who drives the eight bits.
        by: Who,
        /// The acknowledge bit was 0.
        acked: bool,
    },
}

/// What one step did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// What the program wanted.
    pub action: Action,
    /// Where that stands.
    pub place: Place,
    /// It was not done: the transfer had been refused before.
    pub skipped: bool,
    /// What was on the bus.
    pub bus: Vec<BusEvent>,
    /// What the chip noted.
    pub notes: Vec<Note>,
    /// What the detectors said.
    pub incidents: Vec<Incident>,
    /// What came is not what the program takes for granted.
    pub surprise: bool,
    /// Time after it.
    pub at_ns: u64,
}

impl Outcome {
    /// Whether something happened that one wants to look at: a detector, the chip's own doing, a surprise, a refusal.
    #[must_use]
    pub fn is_event(&self) -> bool {
        let refused = |event: &BusEvent| matches!(event, BusEvent::Byte { by: Who::Controller, acked: false, .. });
        !self.incidents.is_empty() || !self.notes.is_empty() || self.surprise || self.bus.iter().any(refused)
    }
}

/// How the program ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum End {
    /// By itself.
    Finished,
    /// It was given up.
    TooLong,
}

/// What an event of the simulator was on the bus.
pub(crate) fn on_the_bus(kind: EventKind) -> Option<BusEvent> {
    let byte = |byte, address, by, acked| Some(BusEvent::Byte { byte, address, by, acked });
    match kind {
        EventKind::Start => Some(BusEvent::Start),
        EventKind::RepeatedStart => Some(BusEvent::Restart),
        EventKind::Stop => Some(BusEvent::Stop),
        EventKind::Address { address, read, acked } => {
            byte(address << 1 | u8::from(read), true, Who::Controller, acked)
        }
        EventKind::Write { byte: sent, acked } => byte(sent, false, Who::Controller, acked),
        EventKind::Read { byte: sent, acked } => byte(sent, false, Who::Chip, acked),
        _ => None,
    }
}
