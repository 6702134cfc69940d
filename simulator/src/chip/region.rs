//! Second regions beside the array (rules G1, G2): identification page, serial number, network address, protection
//! registers, bank select.
//!
//! # Assumptions
//!
//! - Locking an identification page: a write whose word address has bit 10 set (bit 7 where it has one byte) with bit 1
//!   of the data byte set, as common practice has it. No sheet read says it in so many words.
//! - A locked or read-only region does not acknowledge data bytes.
//! - Reversible protection is cleared by the device address 0110011, and setting or clearing needs high voltage at A0. What
//!   is set is not acknowledged when it is to be set again. Source: AT34C04, as in standards.toml, `spd.ee1004`.
//! - A word address that leads to no region of its device address gives undefined data, drawn; so does a read before any
//!   word address was sent.

use crate::chip::registers::Target;
use crate::chip::select::Selector;
use crate::chip::{Chip, Phase};
use crate::event::Note;
use crate::model::{Region, RegionAccess, RegionKind};

/// Device address that clears reversible protection: 0110 with A2 = 0, A1 = 1 and A0 at high voltage.
const CLEAR_REVERSIBLE: u8 = 0b011_0011;

/// The reserved address of the device identification with R/W = 1; any other access forgets who was chosen for it. Source:
/// UM10204 Rev.6 3.1.17.
pub(super) const DEVICE_ID_READ: u8 = 0b1111_1001;

impl Chip {
    /// The region that a control byte means. Regions that lie in the array have no device address of their own.
    pub(crate) fn region_meant_by(&self, control: u8) -> Option<(Target, u32)> {
        let (address, read) = (control >> 1, control & 1 == 1);
        for (i, region) in self.model.regions.iter().enumerate() {
            let Some(bits) = &region.device_bits else { continue };
            let clears = region.kind == RegionKind::ReversibleProtection && address == CLEAR_REVERSIBLE && !read;
            let answers = match region.kind {
                RegionKind::PermanentProtection => !self.regions.high_voltage && !self.regions.protection[i],
                RegionKind::ReversibleProtection if read => !self.regions.protection[i],
                RegionKind::ReversibleProtection => {
                    self.regions.high_voltage
                        && !self.permanently_protected()
                        && (clears || !self.regions.protection[i])
                }
                // R/W = 1 asks which half is chosen: acknowledged for half 0.
                RegionKind::BankSelect => !read || self.regions.bank == 0,
                RegionKind::DeviceId => !read || self.regions.identified,
                _ => true,
            };
            let pins = if self.regions.high_voltage { [true, self.pins[1], self.pins[2]] } else { self.pins };
            let meant = clears || Selector::new(bits, pins).select(address).is_some();
            if meant && answers {
                return Some((Target::Region(i), 0));
            }
        }
        None
    }

    fn permanently_protected(&self) -> bool {
        let kinds = self.model.regions.iter().map(|region| region.kind);
        kinds.zip(&self.regions.protection).any(|(kind, set)| kind == RegionKind::PermanentProtection && *set)
    }

    /// The device address of a region was accepted.
    pub(crate) fn begin_region(&mut self, now: u64, region: usize, read: bool) -> bool {
        let model = &self.model.regions[region];
        let (kind, header) = (model.kind, model.word_address_bytes);
        if !model.holds_data() {
            self.regions.dummies = 0;
            self.regions.clearing = kind == RegionKind::ReversibleProtection && self.control >> 1 == CLEAR_REVERSIBLE;
            // The read form answers by its acknowledge bit alone; nothing is driven.
            self.phase = if read { Phase::Ignore } else { Phase::Dummy };
            return true;
        }
        if read {
            self.set_unset_pointer(now, region);
            self.phase = Phase::ReadRegion(region);
        } else if header == 0 {
            self.region_header_done(now, region, 0);
        } else {
            self.phase = Phase::Header { left: header, value: 0 };
        }
        true
    }

    /// A read before any word address was sent: the pointer stands anywhere.
    fn set_unset_pointer(&mut self, now: u64, region: usize) {
        let model = &self.model.regions[region];
        if self.regions.pointers[region].is_some() || (model.shares_pointer && self.pointer_set) {
            return;
        }
        let bytes = model.word_address_bytes;
        if bytes == 0 {
            self.regions.pointers[region] = Some(model.word_address);
            return;
        }
        self.say(now, Note::PointerUnset);
        if self.model.regions[region].shares_pointer {
            self.pointer_set = true;
        } else {
            self.regions.pointers[region] = Some(self.rng.below(1 << (8 * u32::from(bytes))) as u32);
        }
    }

    /// The word address that comes next at the device address of a region.
    fn region_address(&self, region: usize) -> u32 {
        if self.model.regions[region].shares_pointer {
            self.pointer | self.regions.above
        } else {
            self.regions.pointers[region].unwrap_or(0)
        }
    }

    /// The region at the device address of `first` to which a word address leads, and the place in it. What is read between
    /// the end of a region and where it rolls over counts as part of it.
    fn region_at(&self, first: usize, address: u32) -> Option<(usize, u32)> {
        let bits = self.model.regions[first].device_bits;
        let sharing = || {
            let all = self.model.regions.iter().enumerate();
            all.filter(move |(_, region)| region.device_bits == bits && region.holds_data())
        };
        let found = |rolled| sharing().find_map(|(i, region)| Some((i, region.place(address, rolled)?)));
        found(false).or_else(|| found(true))
    }

    /// All word-address bytes of a region access are there: which of the regions at this device address is meant? Returns
    /// whether the last of them is acknowledged.
    pub(crate) fn region_header_done(&mut self, _now: u64, first: usize, value: u32) -> bool {
        let model = &self.model.regions[first];
        if model.kind == RegionKind::DeviceId {
            self.regions.identified = self.selector.select((value >> 1) as u8).is_some();
            self.regions.pointers[first] = Some(0);
            self.phase = Phase::Ignore;
            return self.regions.identified;
        }
        if model.shares_pointer {
            (self.pointer, self.pointer_set) = (value & (self.model.capacity - 1), true);
            self.regions.above = value & !(self.model.capacity - 1);
        } else {
            self.regions.pointers[first] = Some(value);
        }
        let model = &self.model.regions[first];
        let lock_bit = if model.word_address_bytes >= 2 { 0x0400 } else { 0x80 };
        let meant = self.region_at(first, value).filter(|(region, at)| *at < self.model.regions[*region].len);
        let (region, at) = meant.unwrap_or((first, 0));
        let model = &self.model.regions[region];
        self.regions.locking = model.access == RegionAccess::Lockable && value & lock_bit != 0;
        let size = model.len.next_power_of_two();
        self.target = Target::Region(region);
        self.latch.open(at, size);
        // What is written to no region is lost.
        let stands = meant.is_some() || self.regions.locking || self.region_locked(region);
        self.phase = if stands { Phase::Data } else { Phase::Lost };
        true
    }

    /// Whether data for a region is refused.
    pub(crate) fn region_locked(&self, region: usize) -> bool {
        self.regions.locked[region] || self.model.regions[region].access == RegionAccess::ReadOnly
    }

    /// The region and the place in it that is read next at the device address of a region; `None` for undefined data.
    #[cfg(feature = "recording")]
    pub(crate) fn region_pointer(&self, first: usize) -> Option<(usize, u32)> {
        self.region_at(first, self.region_address(first))
    }

    pub(crate) fn drive_region(&mut self, first: usize) -> u8 {
        match self.region_at(first, self.region_address(first)) {
            Some((region, at)) => self.regions.data[region].get(at as usize).copied().unwrap_or(0),
            None => self.rng.byte(),
        }
    }

    pub(crate) fn advance_region(&mut self, first: usize) {
        let address = self.region_address(first);
        let next = match self.region_at(first, address) {
            Some((region, at)) => {
                let Region { len, rolls_after, .. } = self.model.regions[region];
                if rolls_after > 0 {
                    address & !(rolls_after - 1) | (address + 1) & (rolls_after - 1)
                } else {
                    address - at + (at + 1) % len
                }
            }
            None => address.wrapping_add(1),
        };
        if self.model.regions[first].shares_pointer {
            self.pointer = next & (self.model.capacity - 1);
            self.regions.above = next & !(self.model.capacity - 1);
        } else {
            self.regions.pointers[first] = Some(next);
        }
    }

    /// STOP after data for a region; returns whether a write cycle runs.
    pub(crate) fn drop_protected_region(&mut self, now: u64, region: usize) -> bool {
        let covered = self.model.write_protect.pin_range.len == self.model.capacity;
        if self.region_locked(region) || (covered && self.pin_cancels()) {
            let (offset, bytes) = (self.latch.first, self.latch.received);
            self.say(now, Note::Protected { offset, bytes, partly: false, acked: true });
            return false;
        }
        true
    }

    /// The write cycle of a region is over.
    pub(crate) fn commit_region(&mut self, region: usize) {
        let Self { regions, programming, model, .. } = self;
        match model.regions[region].kind {
            RegionKind::PermanentProtection => regions.protection[region] = true,
            RegionKind::ReversibleProtection if regions.clearing => {
                let reversible = model.regions.iter().map(|r| r.kind == RegionKind::ReversibleProtection);
                for (set, _) in regions.protection.iter_mut().zip(reversible).filter(|(_, reversible)| *reversible) {
                    *set = false;
                }
            }
            RegionKind::ReversibleProtection => regions.protection[region] = true,
            _ if regions.locking => {
                regions.locked[region] |= programming.bytes().any(|(_, byte)| byte & 0x02 != 0);
            }
            _ => {
                for (offset, byte) in programming.bytes() {
                    if let Some(cell) = regions.data[region].get_mut(offset as usize) {
                        *cell = byte;
                    }
                }
            }
        }
    }

    /// A byte of a command: address and data are don't care.
    pub(crate) fn dummy(&mut self, _now: u64, _byte: u8) -> bool {
        self.regions.dummies = self.regions.dummies.saturating_add(1);
        true
    }

    /// STOP after a command.
    pub(crate) fn command_stop(&mut self, now: u64) {
        let Target::Region(region) = self.target else { return };
        if self.model.regions[region].kind == RegionKind::BankSelect {
            self.regions.bank = u32::from(self.control >> 1 & 1);
            let low = (1 << (8 * u32::from(self.model.word_address_bytes))) - 1;
            self.pointer = (self.pointer & low | self.bank_bits()) & (self.model.capacity - 1);
            return;
        }
        // Address and data byte have to be there, WP has to allow it, and the supply to suffice.
        if self.regions.dummies < 2 {
            return;
        }
        if self.wp_active() && self.model.write_protect.pin_range.len > 0 {
            self.say(now, Note::Protected { offset: 0, bytes: 1, partly: false, acked: true });
            return;
        }
        if self.supply_mv < self.model.supply.write_min_mv {
            let (mv, min_mv) = (self.supply_mv, self.model.supply.write_min_mv);
            self.say(now, Note::TooLowToWrite { mv, min_mv, offset: 0, bytes: 1 });
            return;
        }
        self.latch.open(0, 1);
        self.start_cycle(now);
    }

    /// The chosen half or bank, as word-address bits.
    pub(crate) fn bank_bits(&self) -> u32 {
        self.regions.bank << (8 * u32::from(self.model.word_address_bytes))
    }

    /// Whether the last device address was one that all such chips follow together: a bank-select command, or the call
    /// before the reading of an identification.
    pub(crate) fn follows_together(&self) -> bool {
        let Target::Region(i) = self.target else { return false };
        match self.model.regions[i].kind {
            RegionKind::BankSelect => true,
            RegionKind::DeviceId => self.control & 1 == 0,
            _ => false,
        }
    }
}
