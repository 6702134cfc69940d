//! Models that contradict themselves are refused before they can confuse a simulation.

mod regions;

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::model::{
    BrownOut, ByteRange, ChipModel, DeviceBit, MemoryKind, RegionKind, SpeedGrade, TornScope, UpperBits, WearUnit,
};

/// No part waits, writes or starts for as long as this: 1000 seconds.
const LONGEST_NS: u64 = 1_000_000_000_000;

/// No part has a page, an error-correction group or a second region as large as this, in bytes.
const LARGEST: u32 = 1 << 16;

/// Faults found so far, each a clause.
#[derive(Default)]
struct Faults(Vec<String>);

impl Faults {
    fn unless(&mut self, holds: bool, fault: impl FnOnce() -> String) {
        if !holds {
            self.0.push(fault());
        }
    }
}

fn power(value: u32, from: u32, to: u32) -> bool {
    value.is_power_of_two() && (from..=to).contains(&value)
}

impl ChipModel {
    /// Checks every value, and the relations between them. What passes can be simulated without a panic.
    ///
    /// # Errors
    ///
    /// Everything that does not hold, in one line: a size that is not a power of two in its range, an array that its
    /// address bits do not reach or a block-select bit that leads beyond it, a pin that does not exist, a range outside
    /// of the array, a duration above 1000 seconds or a typical one above its maximum, supply limits out of order, no
    /// speed grade or one with an empty range, a region that its addresses cannot reach or that lies on another one.
    pub fn check(&self) -> Result<(), String> {
        let mut faults = Faults::default();
        self.check_sizes(&mut faults);
        self.check_addresses(&mut faults);
        self.check_ranges(&mut faults);
        self.check_times(&mut faults);
        self.check_supply(&mut faults);
        // The regions are laid into an array of a sound size.
        if power(self.capacity, 16, 1 << 24) {
            self.check_regions(&mut faults);
        }
        if faults.0.is_empty() { Ok(()) } else { Err(faults.0.join("; ")) }
    }

    fn check_sizes(&self, faults: &mut Faults) {
        let capacity = self.capacity;
        faults.unless(power(capacity, 16, 1 << 24), || {
            format!("capacity of {capacity} bytes is not a power of two from 16 to 16777216")
        });
        let most = capacity.min(LARGEST);
        faults.unless(self.memory == MemoryKind::Fram || power(self.page, 1, most), || {
            format!("page of {} bytes is not a power of two up to {most}", self.page)
        });
        faults.unless(power(self.read_wrap, 1, capacity), || {
            format!("read wrap of {} bytes is not a power of two up to {capacity}", self.read_wrap)
        });
        let groups = [group_of_wear(self.wear_unit), group_of_scope(self.torn_scope)];
        for group in groups.into_iter().flatten() {
            faults
                .unless(power(group, 1, most), || format!("group of {group} bytes is not a power of two up to {most}"));
        }
    }

    fn check_addresses(&self, faults: &mut Faults) {
        faults.unless(self.word_address_bytes <= 3, || {
            format!("{} word-address bytes, at most 3", self.word_address_bytes)
        });
        faults.0.extend(self.device_bits.iter().filter_map(|bit| bit_fault(*bit)));
        let below = 8 * u32::from(self.word_address_bytes.min(3));
        let mut blocks: Vec<u8> = self.device_bits.iter().filter_map(|bit| block(*bit)).collect();
        blocks.sort_unstable();
        faults.unless(blocks.windows(2).all(|pair| pair[0] != pair[1]), || {
            String::from("a block-select bit stands at two places of the device address")
        });
        blocks.dedup();
        let banks = self.regions.iter().any(|region| region.kind == RegionKind::BankSelect);
        let bits = self.capacity.max(1).ilog2();
        let reached = (0..bits).all(|bit| bit < below || blocks.iter().any(|n| below + u32::from(*n) == bit) || banks);
        faults.unless(reached, || {
            format!("{} address bytes and the block-select bits do not reach {} bytes", below / 8, self.capacity)
        });
        faults.unless(self.upper_bits == UpperBits::Ignored || bits < below, || {
            format!("the word address of {} bytes needs every bit of its {} address bytes", self.capacity, below / 8)
        });
        for n in blocks.iter().filter(|n| below + u32::from(**n) >= bits) {
            faults.0.push(format!("block-select bit {n} leads beyond {} bytes", self.capacity));
        }
    }

    fn check_ranges(&self, faults: &mut Faults) {
        let protect = &self.write_protect;
        let of_regions = self.regions.iter().map(|region| ("protected by a register", region.protects));
        let ranges = [("protected by WP", protect.pin_range), ("protected for good", protect.fixed_range)];
        for (what, ByteRange { start, len }) in ranges.into_iter().chain(of_regions) {
            let inside = start.checked_add(len).is_some_and(|end| end <= self.capacity);
            faults
                .unless(inside, || format!("{len} bytes at 0x{start:04X} {what}, the array ends at {}", self.capacity));
        }
    }

    fn check_times(&self, faults: &mut Faults) {
        let cycle = &self.write_cycle;
        faults.unless(cycle.typical_ns <= cycle.max_ns, || {
            format!("write cycle: typical {} ns above maximum {} ns", cycle.typical_ns, cycle.max_ns)
        });
        for grade in &cycle.grades {
            faults.unless(grade.min_mv <= grade.max_mv, || {
                format!("a write-cycle grade from {} mV down to {} mV", grade.min_mv, grade.max_mv)
            });
            faults.unless(grade.min_c.zip(grade.max_c).is_none_or(|(min, max)| min <= max), || {
                format!("a write-cycle grade from {:?} C down to {:?} C", grade.min_c, grade.max_c)
            });
            faults.unless(grade.max_ns <= cycle.max_ns, || {
                format!("a write-cycle grade of {} ns above the maximum {} ns", grade.max_ns, cycle.max_ns)
            });
        }
        let times =
            [("write cycle", cycle.max_ns), ("bus time-out", self.bus_timeout_ns), ("power-up time", self.power_up_ns)];
        for (what, ns) in times {
            faults.unless(ns <= LONGEST_NS, || format!("{what} of {ns} ns, at most {LONGEST_NS} ns"));
        }
    }

    fn check_supply(&self, faults: &mut Faults) {
        let supply = &self.supply;
        if let Some(BrownOut { reset_mv, off_ns }) = supply.brown_out {
            faults.unless((1..=supply.read_min_mv).contains(&reset_mv), || {
                format!("reset below {reset_mv} mV, reads from {} mV", supply.read_min_mv)
            });
            faults.unless(off_ns <= LONGEST_NS, || format!("off for {off_ns} ns to be reset, at most {LONGEST_NS} ns"));
        }
        faults.unless(supply.read_min_mv > 0, || String::from("reads without supply"));
        faults.unless(supply.write_min_mv >= supply.read_min_mv, || {
            format!("writes from {} mV, reads only from {} mV", supply.write_min_mv, supply.read_min_mv)
        });
        faults.unless(supply.max_mv >= supply.write_min_mv, || {
            format!("writes from {} mV, made for at most {} mV", supply.write_min_mv, supply.max_mv)
        });
        faults.unless(!self.speed.is_empty(), || String::from("no speed grade"));
        for SpeedGrade { min_mv, max_mv, scl_hz, ac } in &self.speed {
            faults.unless(ac.t_aa_min <= ac.t_aa_max, || {
                format!("t_AA of at least {} ns and at most {} ns", ac.t_aa_min, ac.t_aa_max)
            });
            faults.unless(min_mv <= max_mv, || format!("a speed grade from {min_mv} mV down to {max_mv} mV"));
            faults.unless(*scl_hz > 0 && *scl_hz >= self.min_scl_hz, || {
                format!("a speed grade of {scl_hz} Hz with a floor of {} Hz", self.min_scl_hz)
            });
        }
    }
}

/// Why a device-address bit cannot be, if so.
fn bit_fault(bit: DeviceBit) -> Option<String> {
    match bit {
        DeviceBit::Pin(n) | DeviceBit::PinInverted(n) if n > 2 => {
            Some(format!("no address pin A{n}, they go from A0 to A2"))
        }
        DeviceBit::Block(n) if n > 23 => Some(format!("no block-select bit {n}, the word address has at most 24 bits")),
        _ => None,
    }
}

fn block(bit: DeviceBit) -> Option<u8> {
    if let DeviceBit::Block(n) = bit { Some(n) } else { None }
}

fn group_of_wear(unit: WearUnit) -> Option<u32> {
    if let WearUnit::Group(bytes) = unit { Some(bytes) } else { None }
}

fn group_of_scope(scope: TornScope) -> Option<u32> {
    if let TornScope::Group(bytes) = scope { Some(bytes) } else { None }
}
