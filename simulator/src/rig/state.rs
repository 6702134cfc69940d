//! One chip seen from inside, for those who teach with it.

use alloc::vec::Vec;

use crate::chip::{Chip, Phase};
use crate::event::ChipId;
use crate::rig::Rig;

/// Where a chip is in a transfer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "kebab-case"))]
#[non_exhaustive]
pub enum ChipPhase {
    /// Not meant: waits for START.
    Idle,
    /// START seen: the next byte is a device address.
    DeviceAddress,
    /// Word-address bytes are missing.
    WordAddress {
        /// How many.
        left: u8,
    },
    /// Data bytes fill the page latch.
    Data,
    /// A data byte was refused.
    Refused,
    /// Drives bytes from the pointer.
    Read,
    /// Drives bytes of a second region.
    ReadRegion,
    /// Busy, and answered all the same: what comes and goes is undefined.
    Undefined,
    /// A command.
    Command,
}

/// Bytes that wait for their places in the array.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct LatchState {
    /// First byte of the page.
    pub page: u32,
    /// Size of the page in bytes.
    pub size: u32,
    /// Where the next byte goes.
    pub next: u32,
    /// Data bytes received, those that overwrote others included.
    pub received: u32,
    /// Offset and value of each byte, ascending.
    pub bytes: Vec<(u32, u8)>,
}

/// A write cycle that runs.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct CycleState {
    /// When it began, in nanoseconds of the rig's clock.
    pub starts_ns: u64,
    /// When it will end.
    pub ends_ns: u64,
    /// Offset and value of each byte that is programmed, ascending.
    pub bytes: Vec<(u32, u8)>,
}

/// What a chip knows at one moment. Contents of the array come from [`Rig::memory`].
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct ChipState {
    /// Where it is in a transfer.
    pub phase: ChipPhase,
    /// Levels of A0, A1, A2 as it reads them.
    pub pins: [bool; 3],
    /// Level of WP as it reads it.
    pub wp_high: bool,
    /// WP protects at this level.
    pub protects: bool,
    /// Its address pointer.
    pub pointer: u32,
    /// Whether the pointer has been set since power-up; it is drawn at random before that.
    pub pointer_set: bool,
    /// The page latch, while data bytes come in.
    pub latch: Option<LatchState>,
    /// The write cycle that runs.
    pub cycle: Option<CycleState>,
    /// Supply and power-up time let it answer.
    pub awake: bool,
}

impl Rig {
    /// One chip seen from inside, now.
    ///
    /// ```
    /// use pagewise_simulator::{ChipModel, ChipPhase, Rig, RigConfig, Straps};
    ///
    /// let rig = Rig::new(RigConfig::default());
    /// let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    /// let mut bus = rig.bus().steps();
    /// bus.start()?;
    /// assert!([0xA0, 0x00, 0x1F, 0xAB].into_iter().all(|byte| bus.send(byte)));
    /// let state = rig.chip_state(chip);
    /// let latch = state.latch.expect("data comes in");
    /// // The next byte goes to the start of the page.
    /// assert_eq!((state.phase, latch.bytes, latch.next), (ChipPhase::Data, vec![(0x1F, 0xAB)], 0x00));
    /// # Ok::<(), pagewise_simulator::BusError>(())
    /// ```
    ///
    /// # Panics
    ///
    /// If the chip is of another rig.
    #[must_use]
    pub fn chip_state(&self, chip: ChipId) -> ChipState {
        self.look(|world| state(&world.chips[chip.0], world.now))
    }
}

fn state(chip: &Chip, now: u64) -> ChipState {
    let phase = match chip.phase {
        Phase::Ignore => ChipPhase::Idle,
        Phase::Address => ChipPhase::DeviceAddress,
        Phase::Header { left, .. } => ChipPhase::WordAddress { left },
        Phase::Data => ChipPhase::Data,
        Phase::Refused => ChipPhase::Refused,
        Phase::Read => ChipPhase::Read,
        Phase::ReadRegion(_) => ChipPhase::ReadRegion,
        Phase::Garbage | Phase::Lost => ChipPhase::Undefined,
        Phase::Dummy | Phase::Security => ChipPhase::Command,
    };
    let filling = chip.phase == Phase::Data && !chip.is_fram();
    let latch = filling.then(|| LatchState {
        page: chip.latch.page,
        size: chip.latch.page_size(),
        next: chip.latch.next(),
        received: chip.latch.received,
        bytes: if chip.latch.received > 0 { chip.latch.bytes().collect() } else { Vec::new() },
    });
    let cycle = chip.cycle.map(|cycle| CycleState {
        starts_ns: cycle.starts_ns,
        ends_ns: cycle.ends_ns,
        bytes: chip.programming.bytes().collect(),
    });
    ChipState {
        phase,
        pins: chip.pins,
        wp_high: chip.wp_level,
        protects: chip.wp_active() && chip.model.write_protect.pin_range.len > 0,
        pointer: chip.pointer,
        pointer_set: chip.pointer_set,
        latch,
        cycle,
        awake: chip.supply_mv >= chip.model.supply.read_min_mv && now >= chip.ready_ns,
    }
}
