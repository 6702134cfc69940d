//! Errors in the simulated chip: what a wrong conversion of a card, or a wrong simulation, would come to.

use pagewise_part::card::Card;
use pagewise_simulator::model::{
    BusyAnswer, ByteRange, ChipModel, CutByte, CycleUnit, DeviceBit, MemoryKind, OpenPin, PartlyProtected,
    PointerAfterWrite, ProtectedAnswer, ReadBlockBits, WpSampled,
};

use super::{Judges, Seeded};

type Error = (&'static str, fn(&mut ChipModel));

/// Every one of them.
pub(super) fn errors() -> Vec<Seeded> {
    let tables: [&[Error]; 5] = [&ARRAY, &ADDRESSES, &CYCLE, &PROTECTION, &LIMITS];
    let all = tables.into_iter().flatten();
    all.map(|(name, spoil)| {
        let chips = move |card: &Card| {
            let mut model = card.chip_model();
            spoil(&mut model);
            // What is left is a chip that could be.
            model.write_cycle.typical_ns = model.write_cycle.typical_ns.min(model.write_cycle.max_ns);
            let longest = model.write_cycle.max_ns;
            model.write_cycle.grades.iter_mut().for_each(|grade| grade.max_ns = grade.max_ns.min(longest));
            for range in [&mut model.write_protect.pin_range, &mut model.write_protect.fixed_range] {
                range.start = range.start.min(model.capacity);
                range.len = range.len.min(model.capacity - range.start);
            }
            model
        };
        Seeded { name: (*name).to_owned(), judges: Judges { chips: Box::new(chips), ..Judges::default() } }
    })
    .collect()
}

const ARRAY: [Error; 18] = [
    ("twice the capacity", |chip| chip.capacity *= 2),
    ("half the capacity", |chip| {
        chip.capacity /= 2;
        chip.page = chip.page.min(chip.capacity);
        chip.read_wrap = chip.read_wrap.min(chip.capacity);
    }),
    ("a quarter of the capacity", |chip| {
        chip.capacity /= 4;
        chip.page = chip.page.min(chip.capacity);
        chip.read_wrap = chip.read_wrap.min(chip.capacity);
    }),
    ("twice the page", |chip| chip.page = (chip.page * 2).min(chip.capacity)),
    ("four times the page", |chip| chip.page = (chip.page * 4).min(chip.capacity)),
    ("half the page", |chip| chip.page = (chip.page / 2).max(1)),
    ("a quarter of the page", |chip| chip.page = (chip.page / 4).max(1)),
    ("a page of one byte", |chip| chip.page = 1),
    ("a page of 32 bytes", |chip| chip.page = chip.capacity.min(32)),
    ("EEPROM taken for FRAM", |chip| chip.memory = MemoryKind::Fram),
    ("FRAM taken for EEPROM", |chip| {
        if chip.memory == MemoryKind::Fram {
            chip.memory = MemoryKind::Eeprom;
            chip.page = 16;
        }
    }),
    ("pointer wrapped in the page", |chip| chip.pointer_after_write = PointerAfterWrite::WrappedInPage),
    ("pointer behind the last byte", |chip| chip.pointer_after_write = PointerAfterWrite::LastPlusOne),
    ("twice the read block", |chip| chip.read_wrap = (chip.read_wrap * 2).min(chip.capacity)),
    ("half the read block", |chip| chip.read_wrap /= 2),
    ("reads over the whole array", |chip| chip.read_wrap = chip.capacity),
    ("reads inside 256 bytes", |chip| chip.read_wrap = chip.capacity.min(256)),
    ("reads inside the page", |chip| chip.read_wrap = chip.page),
];

const ADDRESSES: [Error; 32] = [
    ("one word-address byte more", |chip| chip.word_address_bytes += 1),
    ("one word-address byte less", |chip| chip.word_address_bytes = chip.word_address_bytes.saturating_sub(1)),
    ("two word-address bytes", |chip| chip.word_address_bytes = 2),
    ("one word-address byte", |chip| chip.word_address_bytes = 1),
    ("bit 6 of the code inverted", |chip| invert(chip, 0)),
    ("bit 5 of the code inverted", |chip| invert(chip, 1)),
    ("bit 4 of the code inverted", |chip| invert(chip, 2)),
    ("bit 3 of the code inverted", |chip| invert(chip, 3)),
    ("bit 2 of the address inverted", |chip| invert(chip, 4)),
    ("bit 1 of the address inverted", |chip| invert(chip, 5)),
    ("bit 0 of the address inverted", |chip| invert(chip, 6)),
    ("bit 2 ignored", |chip| chip.device_bits[4] = DeviceBit::Ignored),
    ("bit 1 ignored", |chip| chip.device_bits[5] = DeviceBit::Ignored),
    ("bit 0 ignored", |chip| chip.device_bits[6] = DeviceBit::Ignored),
    ("bit 2 fixed low", |chip| chip.device_bits[4] = DeviceBit::Fixed(false)),
    ("bit 1 fixed low", |chip| chip.device_bits[5] = DeviceBit::Fixed(false)),
    ("bit 0 fixed low", |chip| chip.device_bits[6] = DeviceBit::Fixed(false)),
    ("bit 2 compared with A2", |chip| chip.device_bits[4] = DeviceBit::Pin(2)),
    ("bit 1 compared with A1", |chip| chip.device_bits[5] = DeviceBit::Pin(1)),
    ("bit 0 compared with A0", |chip| chip.device_bits[6] = DeviceBit::Pin(0)),
    ("A0 and A1 exchanged", |chip| exchange_pins(chip, 0, 1)),
    ("A1 and A2 exchanged", |chip| exchange_pins(chip, 1, 2)),
    ("A0 and A2 exchanged", |chip| exchange_pins(chip, 0, 2)),
    ("all pins ignored", |chip| replace(chip, |bit| matches!(bit, DeviceBit::Pin(_)), DeviceBit::Ignored)),
    ("block bits ignored", |chip| replace(chip, |bit| matches!(bit, DeviceBit::Block(_)), DeviceBit::Ignored)),
    ("block bits fixed low", |chip| replace(chip, |bit| matches!(bit, DeviceBit::Block(_)), DeviceBit::Fixed(false))),
    ("block bits in reverse order", |chip| {
        let bits: Vec<usize> = (0..7).filter(|at| matches!(chip.device_bits[*at], DeviceBit::Block(_))).collect();
        let blocks: Vec<DeviceBit> = bits.iter().map(|at| chip.device_bits[*at]).collect();
        bits.iter().zip(blocks.iter().rev()).for_each(|(at, bit)| chip.device_bits[*at] = *bit);
    }),
    ("all pins inverted", |chip| (4..7).for_each(|bit| invert_pin(chip, bit))),
    ("open address pins high", |chip| chip.open_strap = OpenPin::PulledHigh),
    ("open address pins low", |chip| chip.open_strap = OpenPin::PulledLow),
    ("open address pins undefined", |chip| chip.open_strap = OpenPin::Random),
    ("block bits of a read latched", |chip| chip.read_block_bits = ReadBlockBits::Latched),
];

const CYCLE: [Error; 14] = [
    ("twice the write cycle", |chip| chip.write_cycle.max_ns *= 2),
    ("half the write cycle", |chip| half_cycle(chip)),
    ("a write cycle of 0.25 ms more", |chip| {
        chip.write_cycle.max_ns += u64::from(chip.write_cycle.max_ns > 0) * 250_000
    }),
    ("a write cycle of 0.25 ms less", |chip| chip.write_cycle.max_ns = chip.write_cycle.max_ns.saturating_sub(250_000)),
    ("a write cycle of 1 ms more", |chip| {
        chip.write_cycle.max_ns += u64::from(chip.write_cycle.max_ns > 0) * 1_000_000
    }),
    ("no write cycle", |chip| chip.write_cycle.max_ns = 0),
    ("the typical write cycle for the longest", |chip| chip.write_cycle.max_ns = chip.write_cycle.typical_ns),
    ("a write cycle per byte", |chip| chip.write_cycle.per = CycleUnit::Byte),
    ("a write cycle per page", |chip| chip.write_cycle.per = CycleUnit::Page),
    ("busy to writes only", |chip| chip.busy_answer = BusyAnswer::WritesOnly),
    ("busy to its own control byte only", |chip| chip.busy_answer = BusyAnswer::SameControlByte),
    ("busy to everything", |chip| chip.busy_answer = BusyAnswer::AnyAccess),
    ("the last byte of a cut write kept", |chip| chip.cut_byte = CutByte::KeepsWhole),
    ("a write cycle of nothing but its time per byte", |chip| {
        chip.write_cycle.max_ns /= u64::from(chip.page);
        chip.write_cycle.per = CycleUnit::Byte;
    }),
];

const PROTECTION: [Error; 18] = [
    ("WP protects nothing", |chip| chip.write_protect.pin_range = ByteRange::EMPTY),
    ("WP protects everything", |chip| chip.write_protect.pin_range = whole(chip)),
    ("WP protects the upper half", |chip| chip.write_protect.pin_range = upper(chip, 2)),
    ("WP protects the upper quarter", |chip| chip.write_protect.pin_range = upper(chip, 4)),
    ("WP protects the lower half", |chip| {
        chip.write_protect.pin_range = ByteRange { start: 0, len: chip.capacity / 2 };
    }),
    ("WP protects from one byte later", |chip| {
        let range = &mut chip.write_protect.pin_range;
        range.start += u32::from(range.len > 0);
        range.len = range.len.saturating_sub(1);
    }),
    ("WP protects one byte less at the end", |chip| {
        chip.write_protect.pin_range.len = chip.write_protect.pin_range.len.saturating_sub(1);
    }),
    ("WP protects from one byte before", |chip| {
        let range = &mut chip.write_protect.pin_range;
        (range.start, range.len) = (range.start.saturating_sub(1), range.len + u32::from(range.start > 0));
    }),
    ("WP acts when low", |chip| chip.write_protect.active_high = false),
    ("WP acts when high", |chip| chip.write_protect.active_high = true),
    ("open WP low", |chip| chip.write_protect.open_pin = OpenPin::PulledLow),
    ("open WP high", |chip| chip.write_protect.open_pin = OpenPin::PulledHigh),
    ("open WP undefined", |chip| chip.write_protect.open_pin = OpenPin::Random),
    ("nothing read-only", |chip| chip.write_protect.fixed_range = ByteRange::EMPTY),
    ("the upper half read-only", |chip| chip.write_protect.fixed_range = upper(chip, 2)),
    ("everything read-only", |chip| chip.write_protect.fixed_range = whole(chip)),
    ("a partly protected write stored as far as allowed", |chip| {
        chip.write_protect.partial = PartlyProtected::UnprotectedOnly;
        chip.write_protect.answer = ProtectedAnswer::AckBusy;
    }),
    ("WP looked at while data comes, nothing protected otherwise", |chip| {
        chip.write_protect.sampled = WpSampled::DataPhase;
        chip.write_protect.answer = ProtectedAnswer::NackData;
    }),
];

const LIMITS: [Error; 18] = [
    ("a lowest supply 1 mV higher", |chip| raise_minimum(chip, 1)),
    ("a lowest supply 1 V higher", |chip| raise_minimum(chip, 1000)),
    ("no lowest supply", |chip| (chip.supply.read_min_mv, chip.supply.write_min_mv) = (1, 1)),
    ("writes at no lower supply than reads", |chip| chip.supply.write_min_mv = chip.supply.read_min_mv),
    ("writes at 0.5 V more than reads", |chip| chip.supply.write_min_mv = chip.supply.read_min_mv + 500),
    ("writes at 1 mV more than said", |chip| chip.supply.write_min_mv += 1),
    ("half the SCL rate", |chip| chip.speed.iter_mut().for_each(|grade| grade.scl_hz /= 2)),
    ("twice the SCL rate", |chip| chip.speed.iter_mut().for_each(|grade| grade.scl_hz *= 2)),
    ("1 kHz less", |chip| chip.speed.iter_mut().for_each(|grade| grade.scl_hz -= 1000)),
    ("any SCL rate", |chip| chip.speed.iter_mut().for_each(|grade| grade.scl_hz = u32::MAX)),
    ("the fastest grade at every supply", |chip| {
        let fastest = chip.speed.iter().map(|grade| grade.scl_hz).max().unwrap_or(0);
        chip.speed.iter_mut().for_each(|grade| grade.scl_hz = fastest);
    }),
    ("the slowest grade at every supply", |chip| {
        let slowest = chip.speed.iter().map(|grade| grade.scl_hz).min().unwrap_or(0);
        chip.speed.iter_mut().for_each(|grade| grade.scl_hz = slowest);
    }),
    ("100 kHz for all", |chip| chip.speed.iter_mut().for_each(|grade| grade.scl_hz = 100_000)),
    ("ready 1 us later", |chip| chip.power_up_ns += 1000),
    ("ready at once", |chip| chip.power_up_ns = 0),
    ("rated for four write cycles", |chip| chip.endurance_cycles = 4),
    ("ready 5 ms later", |chip| chip.power_up_ns += 5_000_000),
    ("no shorter write cycles by supply", |chip| chip.write_cycle.grades.clear()),
];

/// The other level, or compared the other way round; an ignored bit must be high.
fn invert(chip: &mut ChipModel, bit: usize) {
    chip.device_bits[bit] = match chip.device_bits[bit] {
        DeviceBit::Fixed(level) => DeviceBit::Fixed(!level),
        DeviceBit::Pin(pin) => DeviceBit::PinInverted(pin),
        DeviceBit::PinInverted(pin) => DeviceBit::Pin(pin),
        DeviceBit::Ignored | DeviceBit::Block(_) => DeviceBit::Fixed(true),
    };
}

fn invert_pin(chip: &mut ChipModel, bit: usize) {
    if let DeviceBit::Pin(pin) = chip.device_bits[bit] {
        chip.device_bits[bit] = DeviceBit::PinInverted(pin);
    }
}

fn replace(chip: &mut ChipModel, which: fn(DeviceBit) -> bool, with: DeviceBit) {
    chip.device_bits.iter_mut().filter(|bit| which(**bit)).for_each(|bit| *bit = with);
}

fn exchange_pins(chip: &mut ChipModel, one: u8, other: u8) {
    let exchanged = |pin: u8| {
        if pin == one {
            other
        } else if pin == other {
            one
        } else {
            pin
        }
    };
    for bit in &mut chip.device_bits {
        *bit = match *bit {
            DeviceBit::Pin(pin) => DeviceBit::Pin(exchanged(pin)),
            DeviceBit::PinInverted(pin) => DeviceBit::PinInverted(exchanged(pin)),
            bit => bit,
        };
    }
}

fn half_cycle(chip: &mut ChipModel) {
    chip.write_cycle.max_ns /= 2;
    chip.write_cycle.typical_ns = chip.write_cycle.typical_ns.min(chip.write_cycle.max_ns);
}

fn raise_minimum(chip: &mut ChipModel, mv: u32) {
    chip.supply.read_min_mv += mv;
    chip.supply.write_min_mv = chip.supply.write_min_mv.max(chip.supply.read_min_mv);
}

fn whole(chip: &ChipModel) -> ByteRange {
    ByteRange { start: 0, len: chip.capacity }
}

fn upper(chip: &ChipModel, part: u32) -> ByteRange {
    let len = chip.capacity / part;
    ByteRange { start: chip.capacity - len, len }
}
