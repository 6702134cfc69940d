//! Random valid models: every axis on which parts differ, and some on which none does.

use pagewise_simulator::ChipModel;
use pagewise_simulator::model::{
    BusyAnswer, ByteRange, CycleUnit, DeviceBit, MemoryKind, PartlyProtected, PointerAfterWrite, ProtectedAnswer,
    ReadBlockBits, Region, RegionAccess, RegionKind, WpSampled,
};

use crate::draws::Draws;

pub fn random(draws: &mut Draws) -> ChipModel {
    let width = draws.pick(&[1u8, 1, 1, 1, 1, 2, 2, 2, 2, 2, 3, 0]);
    with_width(draws, width)
}

/// The same with so many word-address bytes.
pub fn with_width(draws: &mut Draws, width: u8) -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    let blocks = match width {
        0 => 7,
        1 => draws.below(4),
        2 => draws.pick(&[0, 0, 1, 2]),
        _ => 0,
    };
    let word_bits = 8 * u32::from(width);
    let bits =
        if blocks > 0 { word_bits + blocks } else { draws.pick(&[4, 7, 8, 10, 12, 13, 15, 16, 18]).min(word_bits) };
    model = model.with_capacity(1 << bits);
    model.name = "random".into();
    model.word_address_bytes = width;
    model.device_bits = device_bits(draws, width, blocks as u8);
    model.page = 1 << draws.pick(&[0, 2, 3, 4, 4, 5, 5, 6, 7, 8]).min(bits);
    if draws.one_in(3) {
        // No read is known to stay in less than 128 bytes.
        model.read_wrap = 1 << (3 + draws.below(bits - 2));
    }
    model.memory = if draws.one_in(10) && width > 0 { MemoryKind::Fram } else { MemoryKind::Eeprom };
    timing(draws, &mut model);
    model.busy_answer = draws.pick(&[BusyAnswer::AnyAccess, BusyAnswer::WritesOnly, BusyAnswer::SameControlByte]);
    model.pointer_after_write = draws.pick(&[PointerAfterWrite::WrappedInPage, PointerAfterWrite::LastPlusOne]);
    model.read_block_bits =
        if width == 0 { ReadBlockBits::Latched } else { draws.pick(&[ReadBlockBits::Ignored, ReadBlockBits::Latched]) };
    protection(draws, &mut model);
    regions(draws, &mut model);
    model.check().expect("a valid model");
    model
}

fn device_bits(draws: &mut Draws, width: u8, blocks: u8) -> [DeviceBit; 7] {
    use DeviceBit::{Block, Fixed, Ignored, Pin, PinInverted};
    if width == 0 {
        let mut bits: [u8; 7] = std::array::from_fn(|place| 6 - place as u8);
        if draws.one_in(2) {
            // In any order: no published part does that, and nothing says that none will.
            (1..7).for_each(|last| bits.swap(last, draws.below(last as u32 + 1) as usize));
        }
        return bits.map(Block);
    }
    let mut bits = [Fixed(true), Fixed(false), Fixed(true), Fixed(false), Ignored, Ignored, Ignored];
    if draws.one_in(8) {
        bits[3] = Ignored;
    }
    let first = draws.below(4 - u32::from(blocks)) as usize;
    for place in 0..3usize {
        let block = place >= first && place - first < usize::from(blocks);
        bits[4 + place] = if block {
            Block(blocks - 1 - (place - first) as u8)
        } else {
            // The widest headers are read through slowly; several addresses would each take as long.
            let roles = [Pin(2 - place as u8), PinInverted(2 - place as u8), Fixed(draws.one_in(2)), Ignored];
            roles[draws.below(if width == 3 { 3 } else { 4 }) as usize]
        };
    }
    bits
}

fn timing(draws: &mut Draws, model: &mut ChipModel) {
    let per_byte = draws.one_in(6);
    model.write_cycle.per = if per_byte { CycleUnit::Byte } else { CycleUnit::Page };
    // A write of a page is waited for.
    let most_us = if per_byte { 60_000 / model.page } else { 12_000 };
    let max_us = (most_us / 4 + draws.below(most_us * 3 / 4)).max(20);
    model.write_cycle.max_ns = u64::from(max_us) * 1000;
    model.write_cycle.typical_ns = u64::from(max_us / 2 + draws.below(max_us / 2)) * 1000;
}

fn protection(draws: &mut Draws, model: &mut ChipModel) {
    let eighth = model.capacity / 8;
    let (from, count) = draws.pick(&[(0, 8), (0, 8), (4, 4), (0, 4), (6, 2), (0, 2), (7, 1), (0, 0), (2, 3)]);
    let protect = &mut model.write_protect;
    protect.pin_range = ByteRange { start: from * eighth, len: count * eighth };
    protect.active_high = !draws.one_in(6);
    protect.answer = draws.pick(&[ProtectedAnswer::AckReady, ProtectedAnswer::AckBusy, ProtectedAnswer::NackData]);
    protect.partial = draws.pick(&[PartlyProtected::Nothing, PartlyProtected::UnprotectedOnly]);
    protect.sampled = draws.pick(&[WpSampled::Stop, WpSampled::DataPhase]);
    if draws.one_in(12) {
        protect.fixed_range = draws
            .pick(&[ByteRange { start: 4 * eighth, len: 4 * eighth }, ByteRange { start: 0, len: model.capacity }]);
    }
    // Known limit: a FRAM keeps bytes as they come, so that one which silently refuses the place of the first write takes the
    // end of the next, longer header for data. No published FRAM has such a range.
    if model.memory == MemoryKind::Fram {
        model.write_protect.fixed_range = ByteRange::EMPTY;
    }
}

fn regions(draws: &mut Draws, model: &mut ChipModel) {
    use DeviceBit::{Fixed, Ignored};
    if model.word_address_bytes == 0 || model.device_bits[3] == Ignored {
        return;
    }
    let with_code = |code: [bool; 4]| {
        let mut bits = model.device_bits.map(|bit| if let DeviceBit::Block(_) = bit { Ignored } else { bit });
        for (bit, level) in bits.iter_mut().zip(code) {
            *bit = Fixed(level);
        }
        Some(bits)
    };
    let width = model.word_address_bytes.min(2);
    let region = |kind, code, len, access, protects| Region {
        kind,
        device_bits: with_code(code),
        word_address: 0,
        address_mask: 0,
        word_address_bytes: width,
        len,
        access,
        protects,
        contents: Vec::new(),
        rolls_after: 0,
        shares_pointer: false,
    };
    let mut more = Vec::new();
    if draws.one_in(3) {
        let code = [true, false, true, true];
        more.push(region(RegionKind::IdentificationPage, code, 32, RegionAccess::Lockable, ByteRange::EMPTY));
    }
    if draws.one_in(4) {
        let half = ByteRange { start: 0, len: model.capacity / 2 };
        let code = [false, true, true, false];
        more.push(region(RegionKind::PermanentProtection, code, 0, RegionAccess::ReadWrite, half));
    }
    model.regions = more;
    if model.check().is_err() {
        model.regions.clear();
    }
}
