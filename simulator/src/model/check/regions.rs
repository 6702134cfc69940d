//! Second regions: whether their addresses reach them, and whether two lie on each other.

use alloc::format;
use alloc::string::String;

use super::{Faults, LARGEST, bit_fault, power};
use crate::model::{ChipModel, DeviceBit, Region, RegionKind};

/// The reserved address of the device identification, 1111 100. Source: UM10204 Rev.6 3.1.17.
const DEVICE_ID: [DeviceBit; 7] = {
    use DeviceBit::Fixed;
    [Fixed(true), Fixed(true), Fixed(true), Fixed(true), Fixed(true), Fixed(false), Fixed(false)]
};

impl ChipModel {
    pub(super) fn check_regions(&self, faults: &mut Faults) {
        for (number, region) in self.regions.iter().enumerate() {
            let what = |text: String| format!("region {number}: {text}");
            match &region.device_bits {
                Some(bits) => self.check_bits(faults, bits, what),
                None if region.holds_data() => {
                    let end = region.word_address.checked_add(region.len);
                    faults.unless(end.is_some_and(|end| end <= self.capacity), || {
                        what(format!("{} bytes at 0x{:04X} lie outside of the array", region.len, region.word_address))
                    });
                }
                None => faults.0.push(what(String::from("a command without a device address cannot be given"))),
            }
            if region.holds_data() {
                check_place(faults, region, what);
            } else {
                let bare = region.len == 0 && region.contents.is_empty() && region.rolls_after == 0;
                faults.unless(bare && !region.shares_pointer, || what(format!("a command with {} bytes", region.len)));
            }
            for (other, earlier) in self.regions[..number].iter().enumerate() {
                faults.unless(!overlap(region, earlier), || what(format!("lies on region {other}")));
            }
        }
    }

    /// The device address of a region of its own.
    fn check_bits(&self, faults: &mut Faults, bits: &[DeviceBit; 7], what: impl Fn(String) -> String) {
        faults.0.extend(bits.iter().filter_map(|bit| bit_fault(*bit)).map(&what));
        let blocks = bits.iter().any(|bit| matches!(bit, DeviceBit::Block(_)));
        faults.unless(!blocks, || what(String::from("block-select bits belong to the array")));
        let hidden = bits
            .iter()
            .zip(&self.device_bits)
            .all(|(own, array)| own == array || matches!(array, DeviceBit::Ignored | DeviceBit::Block(_)));
        faults.unless(!hidden, || what(String::from("the array answers at every one of its device addresses")));
    }
}

/// Where the bytes of a region lie behind its word address.
fn check_place(faults: &mut Faults, region: &Region, what: impl Fn(String) -> String) {
    let (len, bytes) = (region.len, region.word_address_bytes);
    faults.unless((1..=LARGEST).contains(&len), || what(format!("{len} bytes, 1 to {LARGEST} are possible")));
    faults.unless(bytes <= 3, || what(format!("{bytes} word-address bytes, at most 3")));
    faults.unless(region.contents.len() <= len as usize, || {
        what(format!("{} fixed bytes in a region of {len}", region.contents.len()))
    });
    let rolls = region.rolls_after;
    let fits = || u64::from(region.word_address % rolls) + u64::from(len) <= u64::from(rolls);
    faults.unless(rolls == 0 || (power(rolls, 1, LARGEST) && fits()), || {
        what(format!("reading rolls over after {rolls} bytes, not a power of two that holds the region"))
    });
    if region.device_bits.is_none() {
        faults.unless(rolls == 0 && !region.shares_pointer, || {
            what(String::from("bytes of the array are read as the array is"))
        });
    }
    if region.kind == RegionKind::DeviceId {
        faults.unless(region.device_bits == Some(DEVICE_ID) && bytes == 1 && region.word_address == 0, || {
            what(String::from("the device identification is read by 1111 100 and one byte, the part's own address"))
        });
    }
    if region.device_bits.is_none() || !(1..=LARGEST).contains(&len) || bytes > 3 {
        return;
    }
    let sent = (1_u32 << (8 * u32::from(bytes))) - 1;
    let mask = region.mask();
    let last = u64::from(region.word_address & mask) + u64::from(len) - 1;
    let reached = region.word_address & mask & !sent == 0 && (bytes == 0 || last <= u64::from(mask & sent));
    faults.unless(reached, || {
        let (at, mask) = (region.word_address, mask & sent);
        what(format!("{len} bytes at 0x{at:04X} are not reached by {bytes} word-address byte(s) of mask 0x{mask:04X}"))
    });
}

/// At one device address: two commands of a kind, or two regions of bytes whose word addresses meet.
fn overlap(a: &Region, b: &Region) -> bool {
    if a.device_bits != b.device_bits || !a.holds_data() || !b.holds_data() {
        return a.device_bits == b.device_bits && a.kind == b.kind;
    }
    let mask = if a.device_bits.is_some() { a.mask() & b.mask() } else { u32::MAX };
    let (from, to) = (a.word_address & mask, b.word_address & mask);
    u64::from(from) < u64::from(to) + u64::from(b.len) && u64::from(to) < u64::from(from) + u64::from(a.len)
}
