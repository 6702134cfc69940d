//! What a replay finds.

use std::vec::Vec;

use crate::event::ChipId;
use crate::recording::decode::{BusByte, Role};

/// Differences that are kept; all are counted.
const KEPT: usize = 100;

/// A byte that the recording's first reads show, before anything was written there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Known {
    /// Which chip holds it.
    pub chip: ChipId,
    /// The second region that holds it, by its position in the model; `None` for the array.
    pub region: Option<usize>,
    /// Where.
    pub offset: u32,
    /// The byte.
    pub byte: u8,
}

/// A write cycle as the recording bounds it: the real chip was still busy at the last refusal, and no longer at the first
/// answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CycleSeen {
    /// Which chip.
    pub chip: ChipId,
    /// STOP that started it, in nanoseconds from the start of the recording.
    pub stop_ns: u64,
    /// Last time that the chip refused its address since.
    pub refused_ns: Option<u64>,
    /// First time that it acknowledged it again.
    pub answered_ns: Option<u64>,
}

/// Where a simulated chip answered differently from the real one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Difference {
    /// The byte: when it began.
    pub at_ns: u64,
    /// The byte as recorded.
    pub recorded: BusByte,
    /// What the simulated chips drove: the value of a byte read.
    pub value: u8,
    /// What they drove: the acknowledge bit of a byte written.
    pub acked: bool,
}

/// At which level a recording was replayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReplayLevel {
    /// Conditions and bytes.
    Byte,
    /// Edges of the lines.
    Wire,
}

/// What a replay found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordingReplay {
    /// At which level.
    pub level: ReplayLevel,
    /// STARTs.
    pub starts: u64,
    /// Acknowledge bits of devices that were compared.
    pub acknowledges: u64,
    /// Bytes driven by devices that were compared.
    pub bytes: u64,
    /// Bytes that the first reads show: taken into the simulated memory, then compared like others.
    pub known: Vec<Known>,
    /// Every write cycle with its bounds.
    pub cycles: Vec<CycleSeen>,
    /// Bytes that were read before anything had set the pointer: when each began. They are the chip's own business.
    pub unset: Vec<u64>,
    /// Answers that differ.
    pub differences: u64,
    /// The first hundred of them.
    pub first_differences: Vec<Difference>,
}

impl RecordingReplay {
    pub(crate) fn new(level: ReplayLevel) -> Self {
        Self {
            level,
            starts: 0,
            acknowledges: 0,
            bytes: 0,
            known: Vec::new(),
            cycles: Vec::new(),
            unset: Vec::new(),
            differences: 0,
            first_differences: Vec::new(),
        }
    }

    /// Counts and compares one byte with what the simulated chips drove.
    pub(crate) fn compare(&mut self, recorded: BusByte, value: u8, acked: bool) {
        let same = match recorded.role {
            Role::Read => {
                self.bytes += 1;
                value == recorded.value
            }
            Role::Address | Role::Written => {
                self.acknowledges += 1;
                acked == recorded.acked
            }
        };
        if same {
            return;
        }
        self.differences += 1;
        if self.first_differences.len() < KEPT {
            self.first_differences.push(Difference { at_ns: recorded.begin_ns, recorded, value, acked });
        }
    }
}
