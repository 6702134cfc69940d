//! Models that contradict themselves are refused before they can confuse a simulation.

use alloc::format;
use alloc::string::String;

use crate::model::{ChipModel, DeviceBit, MemoryKind, TornScope, WearUnit};

impl ChipModel {
    /// Checks the relations between the values.
    ///
    /// # Errors
    ///
    /// The first relation that does not hold: a capacity that is not a power of two from 16 to 2^24, a page that is not
    /// a power of two or larger than the array, more than three word-address bytes, an address pin or
    /// block-select bit that does not exist, a read-wrap block that does not
    /// divide the array, a write cycle whose typical value exceeds its maximum, a wear group that is not a power of two,
    /// a supply to write below the supply to read.
    pub fn check(&self) -> Result<(), String> {
        let power = |value: u32, from: u32, to: u32| value.is_power_of_two() && (from..=to).contains(&value);
        if !power(self.capacity, 16, 1 << 24) {
            return Err(format!("capacity of {} bytes is no power of two from 16 to 16777216", self.capacity));
        }
        if self.memory == MemoryKind::Eeprom && !power(self.page, 1, self.capacity) {
            return Err(format!("page of {} bytes is no power of two up to {}", self.page, self.capacity));
        }
        if self.word_address_bytes > 3 {
            return Err(format!("{} word-address bytes, at most 3", self.word_address_bytes));
        }
        if let Some(reason) = self.device_bits.iter().find_map(|bit| bit_fault(*bit)) {
            return Err(reason);
        }
        if !power(self.read_wrap, 1, self.capacity) {
            return Err(format!("read wrap of {} bytes is no power of two up to {}", self.read_wrap, self.capacity));
        }
        if self.write_cycle.typical_ns > self.write_cycle.max_ns {
            return Err(format!("write cycle: typical {} ns above maximum", self.write_cycle.typical_ns));
        }
        for group in [group_of_wear(self.wear_unit), group_of_scope(self.torn_scope)].into_iter().flatten() {
            if !power(group, 1, self.capacity) {
                return Err(format!("group of {group} bytes is no power of two up to {}", self.capacity));
            }
        }
        if self.speed.is_empty() {
            return Err(String::from("no speed grade"));
        }
        if self.supply.write_min_mv < self.supply.read_min_mv {
            return Err(format!(
                "writes from {} mV, reads only from {} mV",
                self.supply.write_min_mv, self.supply.read_min_mv
            ));
        }
        Ok(())
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

fn group_of_wear(unit: WearUnit) -> Option<u32> {
    if let WearUnit::Group(bytes) = unit { Some(bytes) } else { None }
}

fn group_of_scope(scope: TornScope) -> Option<u32> {
    if let TornScope::Group(bytes) = scope { Some(bytes) } else { None }
}
