//! What happens on the bus and inside the chips: the one event stream.

use core::fmt;

use crate::timing::TimingParameter;

/// A chip of a rig, in the order in which they were attached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ChipId(pub(crate) usize);

impl ChipId {
    /// Position in the order of attachment, from 0.
    #[must_use]
    pub const fn index(self) -> usize {
        self.0
    }
}

impl fmt::Display for ChipId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "chip {}", self.0)
    }
}

/// Level of a pin as the board wires it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Level {
    /// Tied to ground.
    Low,
    /// Tied to the supply.
    High,
    /// Not connected.
    Open,
}

impl Level {
    /// High for `true`, low for `false`.
    #[must_use]
    pub const fn from_bit(bit: bool) -> Self {
        if bit { Self::High } else { Self::Low }
    }
}

/// SDA or SCL.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Line {
    /// Data.
    Sda,
    /// Clock.
    Scl,
}

/// An address pin, or WP.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Pin {
    /// Address pin A`n`.
    Address(u8),
    /// Write protect.
    WriteProtect,
}

impl fmt::Display for Pin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Address(n) => write!(f, "A{n}"),
            Self::WriteProtect => f.write_str("WP"),
        }
    }
}

/// One event with its time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Event {
    /// START and STOP: the edge of SDA. A byte: the falling SCL before its first bit. Everything else: when it happened.
    pub at_ns: u64,
    /// What happened.
    pub kind: EventKind,
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub enum EventKind {
    /// START on a free bus.
    Start,
    /// START without a STOP before it.
    RepeatedStart,
    /// STOP.
    Stop,
    /// The byte after a START.
    Address {
        /// 7-bit device address.
        address: u8,
        /// R/W = 1.
        read: bool,
        /// Somebody answered.
        acked: bool,
    },
    /// A byte from the controller.
    Write {
        /// Its value.
        byte: u8,
        /// Acknowledged by a chip.
        acked: bool,
    },
    /// A byte from the chips.
    Read {
        /// Its value.
        byte: u8,
        /// Acknowledged by the controller.
        acked: bool,
    },
    /// The supply has a new value.
    Supply {
        /// In millivolts.
        mv: u32,
    },
    /// The WP pin of a chip was moved.
    WriteProtectPin {
        /// Whose.
        chip: ChipId,
        /// Its level.
        level: Level,
    },
    /// A timing limit was not kept (wire level).
    Timing {
        /// The chip whose limit it is; `None` for that of the bus mode.
        chip: Option<ChipId>,
        /// Which.
        parameter: TimingParameter,
        /// The limit.
        limit_ns: u32,
        /// What was measured.
        measured_ns: u64,
    },
    /// Something inside a chip.
    Chip {
        /// Which.
        chip: ChipId,
        /// What.
        note: Note,
    },
}

/// What a chip has to say about itself: the raw material of the detectors.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub enum Note {
    /// A write cycle began.
    CycleStart {
        /// First byte of the page (for FRAM-like cells never emitted).
        page: u32,
        /// Bytes that will be programmed.
        bytes: u32,
        /// When it will end.
        ends_ns: u64,
    },
    /// The write cycle ended and memory changed.
    CycleEnd {
        /// First byte of the page.
        page: u32,
    },
    /// A data byte ran past the end of the page.
    PageWrap {
        /// Where it would have gone.
        meant: u32,
        /// Where it went.
        landed: u32,
        /// Page size in bytes.
        page: u32,
    },
    /// The word address had bits set that must be 0; nothing is promised of what follows.
    ForbiddenAddress {
        /// As sent.
        sent: u32,
    },
    /// A write was taken for the security command, which makes a range read-only once and for good.
    Secured {
        /// First byte of the range.
        offset: u32,
        /// Bytes that are read-only from the end of the write cycle on; 0 if the command changes nothing.
        bytes: u32,
    },
    /// WP moved too near to the STOP that starts a write cycle.
    WpTiming {
        /// Set-up or hold time.
        parameter: TimingParameter,
        /// The limit.
        limit_ns: u32,
        /// What was measured.
        measured_ns: u64,
    },
    /// The supply was below the power-on reset for too short a time; whether the chip starts is not promised.
    ShortlyOff {
        /// For so long.
        off_ns: u64,
        /// It should have been.
        min_ns: u64,
    },
    /// A START dropped latched data.
    DataDropped {
        /// Word address of the first byte dropped.
        offset: u32,
        /// Bytes dropped.
        bytes: u32,
    },
    /// The word address had bits above the capacity.
    CapacityAlias {
        /// As sent.
        sent: u32,
        /// As taken.
        taken: u32,
    },
    /// A write to FRAM-like memory ran past the end of the array and went on at 0.
    ArrayWrap,
    /// A sequential read wrapped.
    ReadRollover {
        /// Last byte before.
        from: u32,
        /// Next byte.
        to: u32,
    },
    /// The chip refused an access inside its write cycle.
    BusyRefused {
        /// R/W = 1.
        read: bool,
        /// Time left in the cycle.
        left_ns: u64,
    },
    /// The chip acknowledged an access inside its write cycle; what follows is undefined or lost.
    BusyUndefined {
        /// R/W = 1.
        read: bool,
    },
    /// A write to protected bytes was not stored.
    Protected {
        /// First byte meant to be written.
        offset: u32,
        /// Bytes not stored.
        bytes: u32,
        /// The rest of the same page write was stored.
        partly: bool,
        /// The data was acknowledged all the same.
        acked: bool,
    },
    /// A read began before the word address had been set since power-up.
    PointerUnset,
    /// The supply is below what reading needs; the chip was addressed and kept silent.
    TooLowToRead {
        /// The supply.
        mv: u32,
        /// The least for reading.
        min_mv: u32,
    },
    /// The supply is below what writing needs; the write was acknowledged and not stored.
    TooLowToWrite {
        /// The supply.
        mv: u32,
        /// The least for writing.
        min_mv: u32,
        /// First byte meant to be written.
        offset: u32,
        /// Bytes not stored.
        bytes: u32,
    },
    /// The supply is above what the part is made for; nothing is promised.
    TooHigh {
        /// The supply.
        mv: u32,
        /// The most for the part.
        max_mv: u32,
    },
    /// No speed grade covers this supply; the slowest one was taken.
    NoGrade {
        /// The supply.
        mv: u32,
        /// The grade taken.
        max_hz: u32,
    },
    /// SCL is faster than the grade at this supply.
    TooFast {
        /// SCL rate.
        scl_hz: u32,
        /// The grade.
        max_hz: u32,
    },
    /// SCL is slower than the floor of the part.
    TooSlow {
        /// SCL rate.
        scl_hz: u32,
        /// The floor.
        min_hz: u32,
    },
    /// A pin that matters is open and was drawn at random.
    PinFloats {
        /// Which.
        pin: Pin,
        /// The level drawn.
        level: bool,
    },
    /// The supply was lost inside a write cycle.
    Torn {
        /// First byte in danger.
        offset: u32,
        /// Bytes in danger.
        bytes: u32,
    },
    /// The supply came back.
    PowerUp,
    /// The supply went away.
    PowerDown,
    /// A wear unit reached half of its rated write cycles, or all of them.
    Worn {
        /// First byte of the unit.
        offset: u32,
        /// Write cycles so far.
        cycles: u64,
        /// Rated write cycles.
        rated: u64,
    },
    /// A START or STOP came inside a byte.
    ByteCut {
        /// The chip was driving.
        read: bool,
        /// Bits seen of it.
        bits: u8,
    },
    /// SCL was low for longer than the bus time-out; the bus logic was reset.
    TimedOut,
    /// The chip holds SDA low although the controller stopped clocking.
    HoldsSda,
}
