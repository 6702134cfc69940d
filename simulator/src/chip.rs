//! One chip, seen from its pins: conditions and bytes in, acknowledge bits and bytes out.
//!
//! The functions here are called by a front end (the byte-level bus or the wire level) in the order in which a real
//! chip would notice things: [`Chip::start`], [`Chip::receive`] for each byte it is sent, [`Chip::drive`] and
//! [`Chip::sent`] for each byte that is read from it, [`Chip::stop`]. The chip knows nothing of the program at the
//! other end.

pub(crate) mod array;
pub(crate) mod cycle;
mod data;
pub(crate) mod disturb;
pub(crate) mod latch;
pub(crate) mod power;
pub(crate) mod protect;
pub(crate) mod read;
mod region;
pub(crate) mod registers;
pub(crate) mod running;
mod security;
pub(crate) mod select;
pub(crate) mod torn;
pub(crate) mod wear;
mod wp;

use alloc::sync::Arc;
use alloc::vec::Vec;

use crate::event::{Level, Note};
use crate::model::{ChipModel, CutByte, MemoryKind, PartlyProtected, ReadBlockBits, RegionAccess, UpperBits};
use crate::rng::Rng;
use array::Array;
use latch::Latch;
use registers::{Regions, Target};
use running::{Cycle, CycleTime};

/// How the board wires the pins of a chip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Straps {
    /// Level of A0, A1, A2, in this order: `a[n]` is pin A`n`.
    pub a: [Level; 3],
    /// Level of WP.
    pub wp: Level,
}

impl Straps {
    /// A2, A1, A0 and WP to ground: the usual single chip at 0x50.
    pub const GROUND: Self = Self { a: [Level::Low; 3], wp: Level::Low };

    /// Pins A2..A0 wired to the low three bits of `value`, WP to ground.
    #[must_use]
    pub const fn address(value: u8) -> Self {
        let a = [
            Level::from_bit(value & 1 == 1),
            Level::from_bit(value >> 1 & 1 == 1),
            Level::from_bit(value >> 2 & 1 == 1),
        ];
        Self { a, wp: Level::Low }
    }

    /// The same with another level at WP.
    #[must_use]
    pub const fn with_wp(mut self, wp: Level) -> Self {
        self.wp = wp;
        self
    }
}

impl Default for Straps {
    fn default() -> Self {
        Self::GROUND
    }
}

/// Where a chip is in a transfer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Phase {
    /// Bus free, or not meant: waits for START.
    Ignore,
    /// START seen: the next byte is a device address.
    Address,
    /// Word-address bytes are coming; `left` are missing.
    Header { left: u8, value: u32 },
    /// Data bytes fill the latch.
    Data,
    /// A data byte was not acknowledged.
    Refused,
    /// The chip drives bytes from the pointer.
    Read,
    /// The chip drives bytes of a region.
    ReadRegion(usize),
    /// Busy, but answered a read: drives anything.
    Garbage,
    /// Busy, but answered a write: bytes are lost.
    Lost,
    /// Bytes that are acknowledged and mean nothing (commands).
    Dummy,
    /// The data byte of a security command; more of them are lost.
    Security,
}

/// A chip with its state.
#[derive(Debug, Clone)]
pub(crate) struct Chip {
    pub(crate) model: Arc<ChipModel>,
    pub(crate) straps: Straps,
    /// Levels of A0, A1, A2 as the chip reads them.
    pub(crate) pins: [bool; 3],
    pub(crate) wp_level: bool,
    /// When the trace began, for waveforms.
    #[cfg(feature = "std")]
    pub(crate) began: crate::trace::vcd::Began,
    pub(crate) selector: select::Selector,
    pub(crate) array: Array,
    pub(crate) pointer: u32,
    pub(crate) pointer_set: bool,
    pub(crate) phase: Phase,
    pub(crate) target: Target,
    /// Last control byte that was accepted.
    pub(crate) control: u8,
    pub(crate) block: u32,
    pub(crate) latch: Latch,
    pub(crate) programming: Latch,
    pub(crate) cycle: Option<Cycle>,
    pub(crate) cycle_time: CycleTime,
    pub(crate) wp_seen_active: bool,
    pub(crate) wp_times: wp::WpTimes,
    pub(crate) rolled_from: Option<u32>,
    pub(crate) wear: wear::Wear,
    pub(crate) regions: Regions,
    pub(crate) disturb: disturb::Disturb,
    pub(crate) torn_model: torn::TornModel,
    pub(crate) torn_rng: Rng,
    pub(crate) supply_mv: u32,
    pub(crate) dip: power::Dip,
    /// In degrees Celsius, where it was told.
    pub(crate) celsius: Option<i32>,
    pub(crate) scl_hz: u32,
    /// The speed grade at this supply.
    pub(crate) max_hz: u32,
    pub(crate) ready_ns: u64,
    pub(crate) rng: Rng,
    pub(crate) notes: Vec<(u64, Note)>,
}

impl Chip {
    pub(crate) fn new(model: ChipModel, straps: Straps, supply_mv: u32, scl_hz: u32, rng: Rng) -> Self {
        let array = Array::erased(model.capacity);
        let mut rng = rng;
        let mut factory = rng.fork(0xFAC7);
        let regions = Regions::new(&model, &mut factory);
        let mut chip = Self {
            model: Arc::new(model),
            straps,
            pins: [false; 3],
            wp_level: false,
            #[cfg(feature = "std")]
            began: crate::trace::vcd::Began::default(),
            selector: select::Selector::default(),
            array,
            pointer: 0,
            pointer_set: false,
            phase: Phase::Ignore,
            target: Target::Array,
            control: 0,
            block: 0,
            latch: Latch::default(),
            programming: Latch::default(),
            cycle: None,
            cycle_time: CycleTime::Drawn,
            wp_seen_active: false,
            wp_times: wp::WpTimes::default(),
            rolled_from: None,
            wear: wear::Wear::default(),
            regions,
            disturb: disturb::Disturb::default(),
            torn_model: torn::TornModel::Old,
            torn_rng: rng.fork(0x7042),
            supply_mv,
            dip: power::Dip::default(),
            celsius: None,
            scl_hz,
            max_hz: 0,
            ready_ns: 0,
            rng,
            notes: Vec::new(),
        };
        chip.max_hz = chip.grade().scl_hz;
        chip.dip = power::Dip::at(supply_mv, &chip.model.supply);
        chip.draw_power_up_state(0);
        #[cfg(feature = "std")]
        chip.trace_begins();
        chip
    }

    /// Regions that lie in the array hold what the factory put there.
    pub(crate) fn place_factory_contents(&mut self, from: u32) {
        for i in 0..self.model.regions.len() {
            let region = &self.model.regions[i];
            let read_only = region.access == RegionAccess::ReadOnly;
            if region.device_bits.is_none() && read_only && region.word_address >= from {
                self.array.write(region.word_address, self.regions.data(i));
            }
        }
    }

    pub(crate) fn say(&mut self, at_ns: u64, note: Note) {
        self.notes.push((at_ns, note));
    }

    pub(crate) fn is_fram(&self) -> bool {
        self.model.memory == MemoryKind::Fram
    }

    /// Whether each data byte is stored as it comes.
    fn stores_at_once(&self) -> bool {
        self.is_fram() && self.target == Target::Array
    }

    /// B1, W4: START resets the bus logic; latched data is dropped.
    pub(crate) fn start(&mut self, now: u64) {
        self.drop_data(now);
        self.rolled_from = None;
        // P5: a START before the power-up time is over is not seen.
        self.phase = if now < self.ready_ns { Phase::Ignore } else { Phase::Address };
    }

    /// A byte from the controller, complete at the eighth rising SCL. Returns whether the chip acknowledges it.
    pub(crate) fn receive(&mut self, now: u64, byte: u8) -> bool {
        match self.phase {
            Phase::Address => self.device_address(now, byte),
            Phase::Header { left, value } => self.word_address(now, left, value << 8 | u32::from(byte)),
            Phase::Data if self.stores_at_once() => self.store_at_once(now, byte),
            Phase::Data => self.data(now, byte),
            Phase::Lost => true,
            Phase::Dummy => self.dummy(now, byte),
            Phase::Security => self.security_byte(byte),
            _ => false,
        }
    }

    /// A fault: this byte is missed, and with it the rest of the transfer. The chip has not acknowledged it, so that a
    /// STOP starts no write cycle (W2), whatever the part does with protected bytes.
    pub(crate) fn miss(&mut self) {
        self.phase = Phase::Ignore;
    }

    /// STOP: the write cycle, if data was latched (W2); with nothing latched only the pointer stays (W3).
    pub(crate) fn stop(&mut self, now: u64) {
        let phase = core::mem::replace(&mut self.phase, Phase::Ignore);
        let latched = self.latch.received > 0 && !self.stores_at_once();
        let stores = match phase {
            Phase::Data => latched,
            Phase::Refused => latched && self.model.write_protect.partial == PartlyProtected::UnprotectedOnly,
            Phase::Dummy => {
                self.command_stop(now);
                false
            }
            Phase::Security => {
                self.security_stop(now);
                false
            }
            _ => false,
        };
        self.regions.identified = false;
        if stores {
            self.program(now);
        }
    }

    /// W5, R5: a START or STOP came after `bits` bits of a byte; `start` or `stop` is called next.
    pub(crate) fn cut_byte(&mut self, now: u64, bits: u8) {
        if matches!(self.phase, Phase::Ignore | Phase::Address) {
            return;
        }
        let read = matches!(self.phase, Phase::Read | Phase::Garbage | Phase::ReadRegion(_));
        self.say(now, Note::ByteCut { read, bits });
        match self.phase {
            Phase::ReadRegion(i) if !self.model.regions[i].shares_pointer => self.regions.pointers[i] = None,
            _ if read => {
                self.pointer = self.rng.below(u64::from(self.model.capacity)) as u32;
                self.pointer_set = false;
            }
            _ if self.model.cut_byte == CutByte::DropsAll => {
                self.drop_data(now);
                self.phase = Phase::Ignore;
            }
            _ => {}
        }
    }

    /// Data that waits for STOP is lost.
    fn drop_data(&mut self, now: u64) {
        if self.phase == Phase::Data && !self.stores_at_once() && self.latch.received > 0 {
            let (offset, bytes) = (self.latch.first, self.latch.received);
            self.latch.clear();
            self.say(now, Note::DataDropped { offset, bytes });
        }
    }

    /// B2, P1, W7: the byte after a START.
    fn device_address(&mut self, now: u64, control: u8) -> bool {
        self.phase = Phase::Ignore;
        self.settle(now);
        let meant = self.meant_by(control);
        self.regions.identified &= control == region::DEVICE_ID_READ;
        let Some((target, block)) = meant else { return false };
        if !self.can_answer(now) {
            return false;
        }
        if let Some(cycle) = self.cycle {
            return self.answer_while_busy(now, cycle, control);
        }
        self.report_conditions(now);
        let read = control & 1 == 1;
        self.control = control;
        self.target = target;
        self.block = block;
        match target {
            Target::Array if read => self.begin_read(now),
            Target::Array => self.begin_header(now, self.model.word_address_bytes),
            Target::Region(i) => return self.begin_region(now, i, read),
            Target::Security => {}
        }
        true
    }

    /// The array or the region that this control byte means, with its block-select bits.
    pub(crate) fn meant_by(&self, control: u8) -> Option<(Target, u32)> {
        let address = control >> 1;
        if let Some(block) = self.selector.select(address) {
            return Some((Target::Array, block));
        }
        self.region_meant_by(control)
    }

    /// R1, R2: the pointer stands, except for block-select bits where the part latches them.
    fn begin_read(&mut self, now: u64) {
        let below = 8 * u32::from(self.model.word_address_bytes);
        if self.model.read_block_bits == ReadBlockBits::Latched && self.selector.has_blocks {
            let low = (1_u32 << below) - 1;
            self.pointer = (self.pointer & low | self.block << below) & (self.model.capacity - 1);
            self.pointer_set |= self.model.word_address_bytes == 0;
        }
        if !self.pointer_set {
            self.pointer_set = true;
            self.say(now, Note::PointerUnset);
        }
        self.phase = Phase::Read;
    }

    pub(crate) fn begin_header(&mut self, now: u64, bytes: u8) {
        if bytes == 0 {
            self.header_done(now, 0, 0);
        } else {
            self.phase = Phase::Header { left: bytes, value: 0 };
        }
    }

    fn word_address(&mut self, now: u64, left: u8, value: u32) -> bool {
        if left > 1 {
            self.phase = Phase::Header { left: left - 1, value };
            return true;
        }
        match self.target {
            Target::Array => self.header_done(now, self.model.word_address_bytes, value),
            Target::Region(i) => return self.region_header_done(now, i, value),
            Target::Security => {}
        }
        true
    }

    /// Pointer and latch stand at this place of the array.
    pub(crate) fn point_at(&mut self, offset: u32) {
        (self.pointer, self.pointer_set) = (offset, true);
        self.latch.open(offset, if self.is_fram() { 1 } else { self.model.page });
    }

    /// B4: all word-address bytes are there.
    fn header_done(&mut self, now: u64, bytes: u8, value: u32) {
        let sent = self.block << (8 * u32::from(bytes)) | value | self.bank_bits();
        let taken = sent & (self.model.capacity - 1);
        if sent != taken {
            self.say(now, Note::CapacityAlias { sent, taken });
        }
        self.point_at(taken);
        self.regions.above = sent - taken;
        self.phase = Phase::Data;
        match self.model.upper_bits {
            UpperBits::Zero if sent != taken => self.take_forbidden_address(now, sent),
            UpperBits::SecurityCommand if value >> (8 * u32::from(bytes)).saturating_sub(1) == 1 => {
                self.begin_security(value >> (8 * u32::from(bytes)).saturating_sub(8));
            }
            _ => {}
        }
    }
}
