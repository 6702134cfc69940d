//! Faults: an overlay that can be laid on a rig, looked at and taken away; the same at the same place each time.

use alloc::string::String;
use alloc::vec::Vec;

use crate::chip::disturb::CycleFault;
use crate::event::ChipId;
use crate::rng::Rng;
use crate::wire::Line;
use crate::world::World;

/// A probability: `hits` in `of`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Ratio {
    /// Cases in which it holds.
    pub hits: u32,
    /// Of so many; 0 means never.
    pub of: u32,
}

impl Ratio {
    /// Never.
    pub const NEVER: Self = Self { hits: 0, of: 1 };

    /// `hits` in `of`.
    #[must_use]
    pub const fn new(hits: u32, of: u32) -> Self {
        Self { hits, of }
    }

    /// Whether it holds at a place: always the same answer for the same seed and place.
    #[must_use]
    pub(crate) fn holds_at(self, seed: u64, place: u64) -> bool {
        self.hits > 0
            && self.of > 0
            && Rng::new(seed ^ place.wrapping_mul(0x9E37_79B9_7F4A_7C15)).below(u64::from(self.of))
                < u64::from(self.hits)
    }
}

impl Default for Ratio {
    fn default() -> Self {
        Self::NEVER
    }
}

/// One fault at one place. Bytes on the bus are counted from 0 since the faults were set, device addresses included;
/// faults of bytes act at the byte level, spikes at the wire level, all others at both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[non_exhaustive]
pub enum Fault {
    /// The chips miss this byte and do not acknowledge it.
    Nack {
        /// Its number.
        byte: u64,
    },
    /// Bits of this byte are flipped on the bus.
    Flip {
        /// Its number.
        byte: u64,
        /// Bits that flip.
        mask: u8,
    },
    /// A write cycle runs to its end and changes nothing.
    WriteDoesNotStick {
        /// Whose.
        chip: ChipId,
        /// Its number, counted from 0 over the life of the chip.
        cycle: u64,
    },
    /// A write cycle lasts longer than the part says.
    LongCycle {
        /// Whose.
        chip: ChipId,
        /// Its number, counted from 0 over the life of the chip.
        cycle: u64,
        /// Its duration; `u64::MAX` never ends.
        lasts_ns: u64,
    },
    /// Bits of a cell have flipped at rest, until it is written.
    RestFlip {
        /// Whose.
        chip: ChipId,
        /// Which byte.
        offset: u32,
        /// Bits that are flipped.
        mask: u8,
    },
    /// Bits of a cell are stuck, whatever is written.
    StuckBits {
        /// Whose.
        chip: ChipId,
        /// Which byte.
        offset: u32,
        /// Bits that are stuck.
        mask: u8,
        /// Their value.
        value: u8,
    },
    /// SDA is held low by something else for a while.
    SdaLow {
        /// From this time on.
        from_ns: u64,
        /// Until then.
        until_ns: u64,
    },
    /// A line has the other level for a moment (wire level only).
    Spike {
        /// Which line.
        line: Line,
        /// From this time on.
        at_ns: u64,
        /// For so long.
        lasts_ns: u64,
    },
    /// SCL is held low by something else for a while.
    SclLow {
        /// From this time on.
        from_ns: u64,
        /// Until then.
        until_ns: u64,
    },
}

/// What a fault did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "kebab-case"))]
#[non_exhaustive]
pub enum FaultKind {
    /// A byte was missed and not acknowledged.
    Nack,
    /// Bits were flipped on the bus.
    Flip,
    /// A write cycle changed nothing.
    WriteDoesNotStick,
    /// A write cycle lasted longer.
    LongCycle,
    /// A line was held low.
    LineHeld,
}

/// A fault that took effect.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct FaultHit {
    /// When.
    pub at_ns: u64,
    /// What.
    pub kind: FaultKind,
}

/// Faults by script and by seed.
///
/// ```
/// use pagewise_simulator::{Fault, Faults, Ratio};
///
/// // The third byte of the next transfer is not acknowledged; besides, one page in a hundred does not store.
/// let faults = Faults { script: vec![Fault::Nack { byte: 2 }], seed: 7, lie: Ratio::new(1, 100), ..Faults::default() };
/// assert_eq!(faults.nack, Ratio::NEVER);
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(default, deny_unknown_fields))]
pub struct Faults {
    /// Faults at chosen places.
    pub script: Vec<Fault>,
    /// Seed of the shares below.
    pub seed: u64,
    /// Share of bytes that are missed and not acknowledged, drawn per byte number.
    pub nack: Ratio,
    /// Share of bytes with a flipped bit, drawn per byte number.
    pub flip: Ratio,
    /// Share of pages that acknowledge writes and do not store them, drawn per page, so that a retry does not heal.
    pub lie: Ratio,
    /// Share of pages whose write cycles last twice as long, drawn per page.
    pub long: Ratio,
}

/// The script names a place that the rig does not have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownPlace(pub String);

impl core::fmt::Display for UnknownPlace {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "fault at an unknown place: {}", self.0)
    }
}

impl core::error::Error for UnknownPlace {}

/// Faults on the bus, with their counter.
#[derive(Debug, Clone)]
pub(crate) struct BusFaults {
    faults: Faults,
    bytes: u64,
}

impl World {
    pub(crate) fn set_faults(&mut self, faults: Faults) -> Result<(), UnknownPlace> {
        for fault in &faults.script {
            self.check_place(fault)?;
        }
        self.settle();
        self.clear_faults();
        for chip in &mut self.chips {
            (chip.disturb.lie, chip.disturb.long, chip.disturb.seed) = (faults.lie, faults.long, faults.seed);
        }
        for fault in &faults.script {
            match *fault {
                Fault::WriteDoesNotStick { chip, cycle } => {
                    self.chips[chip.0].disturb.by_cycle.push((cycle, CycleFault::Lie));
                }
                Fault::LongCycle { chip, cycle, lasts_ns } => {
                    self.chips[chip.0].disturb.by_cycle.push((cycle, CycleFault::Lasts(lasts_ns)));
                }
                Fault::RestFlip { chip, offset, mask } => self.chips[chip.0].disturb.flip(offset, mask),
                Fault::StuckBits { chip, offset, mask, value } => {
                    self.chips[chip.0].disturb.stick(offset, mask, value);
                }
                _ => {}
            }
        }
        self.faults = Some(BusFaults { faults, bytes: 0 });
        self.load_line_faults();
        Ok(())
    }

    pub(crate) fn clear_faults(&mut self) {
        self.faults = None;
        for chip in &mut self.chips {
            chip.disturb.clear_faults();
        }
        self.clear_line_faults();
    }

    fn check_place(&self, fault: &Fault) -> Result<(), UnknownPlace> {
        let (chip, offset) = match *fault {
            Fault::WriteDoesNotStick { chip, .. } | Fault::LongCycle { chip, .. } => (chip, 0),
            Fault::RestFlip { chip, offset, .. } | Fault::StuckBits { chip, offset, .. } => (chip, offset),
            _ => return Ok(()),
        };
        match self.chips.get(chip.0) {
            None => Err(UnknownPlace(alloc::format!("{chip}, the rig has {}", self.chips.len()))),
            Some(c) if offset >= c.model.capacity => Err(UnknownPlace(alloc::format!(
                "offset 0x{offset:04X} of {chip}, which has {} bytes",
                c.model.capacity
            ))),
            Some(_) => Ok(()),
        }
    }

    /// The byte as it arrives (`None` if the chips miss it); counts bytes.
    pub(crate) fn faulty_byte(&mut self, byte: u8, may_be_missed: bool) -> Option<u8> {
        let Some(state) = &mut self.faults else { return Some(byte) };
        let number = state.bytes;
        state.bytes += 1;
        let faults = &state.faults;
        let missed = faults.script.iter().any(|f| matches!(f, Fault::Nack { byte } if *byte == number))
            || faults.nack.holds_at(faults.seed ^ 0x4E41, number);
        if missed && may_be_missed {
            self.hit(FaultKind::Nack);
            return None;
        }
        let scripted = faults.script.iter().find_map(|f| match f {
            Fault::Flip { byte, mask } if *byte == number => Some(*mask),
            _ => None,
        });
        let drawn = faults.flip.holds_at(faults.seed ^ 0x464C, number).then(|| 1 << (Rng::new(number).below(8)));
        match scripted.or(drawn) {
            Some(mask) => {
                self.hit(FaultKind::Flip);
                Some(byte ^ mask)
            }
            None => Some(byte),
        }
    }

    /// Until when a line is held low by a fault, if it is now.
    pub(crate) fn line_held_until(&self) -> Option<u64> {
        let script = &self.faults.as_ref()?.faults.script;
        let held = script.iter().filter_map(|fault| match *fault {
            Fault::SdaLow { from_ns, until_ns } | Fault::SclLow { from_ns, until_ns } => Some((from_ns, until_ns)),
            _ => None,
        });
        held.filter(|(from, until)| (*from..*until).contains(&self.now)).map(|(_, until)| until).max()
    }

    pub(crate) fn fault_script(&self) -> Option<Vec<Fault>> {
        Some(self.faults.as_ref()?.faults.script.clone())
    }

    /// Whether a fault pulls this line low now.
    pub(crate) fn holds_line(&self, line: Line) -> bool {
        let Some(state) = &self.faults else { return false };
        state.faults.script.iter().any(|fault| match *fault {
            Fault::SdaLow { from_ns, until_ns } if line == Line::Sda => (from_ns..until_ns).contains(&self.now),
            Fault::SclLow { from_ns, until_ns } if line == Line::Scl => (from_ns..until_ns).contains(&self.now),
            _ => false,
        })
    }

    pub(crate) fn hit(&mut self, kind: FaultKind) {
        self.fault_hits.push(FaultHit { at_ns: self.now, kind });
    }
}
