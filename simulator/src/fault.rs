//! Faults: an overlay that can be laid on a rig, looked at and taken away; the same at the same place each time.

use alloc::string::String;
use alloc::vec::Vec;

use crate::event::{ChipId, Line};
use crate::rng::Rng;

/// A probability: `hits` in `of`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    pub(crate) faults: Faults,
    pub(crate) bytes: u64,
}

#[cfg(test)]
mod tests {
    use super::Ratio;

    #[test]
    fn a_ratio_holds_in_so_many_cases_and_always_in_the_same() {
        let held = |ratio: Ratio, seed: u64| (0..10_000).filter(|place| ratio.holds_at(seed, *place)).count();
        for (hits, of, expected) in [(0, 1, 0), (0, 0, 0), (5, 0, 0), (1, 1, 10_000), (7, 5, 10_000)] {
            assert_eq!(held(Ratio::new(hits, of), 3), expected, "{hits} in {of}");
        }
        for (hits, of) in [(1_u32, 2), (1, 10), (3, 4)] {
            let (found, expected) = (held(Ratio::new(hits, of), 3), 10_000 * hits as usize / of as usize);
            assert!(found.abs_diff(expected) < 300, "{hits} in {of}: {found} of 10,000");
        }
        let half = Ratio::new(1, 2);
        let places = |seed: u64| (0..64).map(|place| half.holds_at(seed, place)).collect::<Vec<_>>();
        assert!(places(u64::MAX).contains(&true) && places(u64::MAX).contains(&false));
        assert!(places(1) == places(1) && places(1) != places(2) && places(1) != places(2 | 1 << 40));
    }
}
