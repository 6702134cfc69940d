//! Why memory differs from what a program meant to store: one program for each cause, with the whole explanation.

use crate::common::*;
use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::{BusyAnswer, ByteRange, MemoryKind, UpperBits};
use pagewise_simulator::{ChipModel, Hazard, Level, Straps};

/// Offset, length, where it landed, cause, text.
type Told = (u32, u32, Option<u32>, Option<Hazard>, String);

fn told(bench: &Bench) -> Vec<Told> {
    let losses = bench.rig.explain();
    for (most, shown) in [(1, losses.first()), (usize::MAX, losses.first())] {
        let first = bench.rig.first_loss(most);
        assert_eq!(first.as_ref().map(|loss| loss.offset), shown.map(|loss| loss.offset));
    }
    losses.into_iter().map(|loss| (loss.offset, loss.len, loss.landed_at, loss.cause, loss.text)).collect()
}

/// What the program means for `offset`, and sends there as it understands the part.
fn send(bench: &Bench, offset: u32, address: u8, header: &[u8], data: &[u8]) {
    bench.rig.meant(bench.chip, offset, data);
    let _ = bench.rig.bus().write(address, &[header, data].concat());
    bench.wait();
}

/// `count` bytes that differ.
fn data(count: u8) -> Vec<u8> {
    (1..=count).collect()
}

#[test]
fn page_wrap() {
    // The page ends after 16 bytes; the rest goes to its beginning, over what was stored there.
    let bench = e32();
    send(&bench, 0x20, 0x50, &[0, 0x20], &[0xA0; 4]);
    send(&bench, 0x30, 0x50, &[0, 0x30], &data(20));
    let (cause, why) = (Some(Hazard::PageWrap), "page wrap at 32");
    let over = format!("4 bytes at 0x0020 overwritten by bytes meant for 0x0040: {why}");
    let wrapped = format!("4 bytes meant for 0x0040 landed at 0x0020: {why}");
    assert_eq!(told(&bench), [(0x20, 4, None, cause, over), (0x40, 4, Some(0x20), cause, wrapped)]);
    assert_eq!(bench.rig.explain_at_most(2).iter().map(|loss| loss.len).collect::<Vec<_>>(), [2]);
    assert_eq!(bench.rig.explain_at_most(6).iter().map(|loss| loss.len).collect::<Vec<_>>(), [4, 2]);
    assert_eq!(bench.rig.explain_at_most(0), []);
}

/// A FRAM has no pages: what runs behind its end goes on at its beginning.
#[test]
fn the_end_of_a_fram() {
    let bench = Bench::new(ChipModel { memory: MemoryKind::Fram, ..ChipModel::example_32_kbit() });
    send(&bench, 0x0FFE, 0x50, &[0x0F, 0xFE], &data(5));
    let text = "3 bytes meant for 0x1000 landed at 0x0000: the part ends at 4096 bytes";
    assert_eq!(told(&bench), [(0x1000, 3, Some(0), Some(Hazard::CapacityAlias), text.into())]);
}

#[test]
fn another_number_of_word_address_bytes() {
    let cause = Some(Hazard::AddressWidth);
    // One byte too many: what was its address is stored as data.
    let bench = Bench::new(ChipModel::example_2_kbit());
    send(&bench, 0x12, 0x50, &[0x00, 0x12], &data(3));
    let why = "the part expects 1 word-address byte(s), another number was sent";
    assert_eq!(told(&bench), [(0x12, 3, Some(1), cause, format!("3 bytes meant for 0x0012 landed at 0x0001: {why}"))]);
    // Two too many, with bits of the address in the device address as well.
    let bench = Bench::new(ChipModel::example_16_kbit());
    send(&bench, 0x1_0203, 0x51, &[0x02, 0x03], &data(2));
    assert_eq!(
        told(&bench),
        [(0x1_0203, 2, Some(0x103), cause, format!("2 bytes meant for 0x10203 landed at 0x0103: {why}"))]
    );
    // One too few: the first data byte is taken for the low half of the address.
    let bench = e32();
    send(&bench, 0x305, 0x53, &[0x05], &data(3));
    assert_eq!(told(&bench)[0].3, None, "nobody answers at 0x53");
    let bench = Bench::new(block_bit_on_top());
    send(&bench, 0x05, 0x50, &[0x05], &data(3));
    let why = "the part expects 2 word-address byte(s), another number was sent";
    let first = (0x05, 1, None, cause, format!("1 byte meant for 0x0005 taken as word address: {why}"));
    let rest = (0x06, 2, Some(0x501), cause, format!("2 bytes meant for 0x0006 landed at 0x0501: {why}"));
    assert_eq!(told(&bench), [first, rest]);
    // Of three bytes that were meant as an address, the part takes two.
    let bench = e32();
    send(&bench, 0x02_0304, 0x50, &[0x02, 0x03, 0x04], &data(2));
    let landed = format!("2 bytes meant for 0x20304 landed at 0x0204: {why}");
    assert_eq!(told(&bench), [(0x02_0304, 2, Some(0x204), cause, landed)]);
}

#[test]
fn block_bits_that_the_part_ignores() {
    let bench = Bench::new(ignores_low_bits());
    send(&bench, 0x310, 0x53, &[0x10], &data(2));
    let text = "2 bytes meant for 0x0310 landed at 0x0010: the part ignores these block-select bits";
    assert_eq!(told(&bench), [(0x310, 2, Some(0x10), Some(Hazard::BlockAlias), text.into())]);
}

#[test]
fn places_behind_the_end() {
    let bench = e32();
    send(&bench, 0x1FF0, 0x50, &[0x1F, 0xF0], &data(2));
    let text = "2 bytes meant for 0x1FF0 landed at 0x0FF0: the part ends at 4096 bytes";
    assert_eq!(told(&bench), [(0x1FF0, 2, Some(0xFF0), Some(Hazard::CapacityAlias), text.into())]);
    // Of a part that demands zeros there, nothing is stored.
    let bench = Bench::new(ChipModel { upper_bits: UpperBits::Zero, ..ChipModel::example_32_kbit() });
    send(&bench, 0x1FF0, 0x50, &[0x1F, 0xF0], &data(2));
    let text = "2 bytes meant for 0x1FF0 not stored: the part ends at 4096 bytes";
    assert_eq!(told(&bench), [(0x1FF0, 2, None, Some(Hazard::CapacityAlias), text.into())]);
}

#[test]
fn writes_that_are_not_stored() {
    let told_of = |bench: &Bench| told(bench).into_iter().map(|(.., cause, text)| (cause, text)).collect::<Vec<_>>();
    let not_stored = |cause, why: &str| vec![(Some(cause), format!("2 bytes meant for 0x0040 not stored: {why}"))];

    let bench = Bench::wired(ChipModel::example_32_kbit(), Straps::GROUND.with_wp(Level::High));
    send(&bench, 0x40, 0x50, &[0, 0x40], &data(2));
    assert_eq!(told_of(&bench), not_stored(Hazard::WriteProtect, "write protected"));

    let mut low = ChipModel::example_32_kbit();
    (low.supply.read_min_mv, low.supply.write_min_mv) = (1_800, 3_500);
    let bench = Bench::new(low);
    send(&bench, 0x40, 0x50, &[0, 0x40], &data(2));
    assert_eq!(told_of(&bench), not_stored(Hazard::Undervoltage, "the supply is too low to write"));

    let bench = e32();
    bench.rig.meant(bench.chip, 0x40, &data(2));
    let _ = bench.restarted_writes(0x50, &[&[0, 0x40, 1, 2], &[0, 0]]);
    bench.wait();
    assert_eq!(told_of(&bench), not_stored(Hazard::RestartAbort, "a START before STOP dropped the latch"));

    let bench = e32();
    bench.rig.meant(bench.chip, 0x40, &data(2));
    bench.write(0x40, &data(2)).unwrap();
    bench.rig.power_cycle();
    bench.wait();
    assert_eq!(told_of(&bench), not_stored(Hazard::TornWrite, "the supply was lost inside the write cycle"));

    let bench = e32();
    bench.store(0, &[1]);
    bench.write(0, &[2]).unwrap();
    send(&bench, 0x40, 0x50, &[0, 0x40], &data(2));
    let why = "the write came inside the write cycle and was not repeated";
    assert_eq!(told_of(&bench), not_stored(Hazard::BusyAccess, why));

    // A part that answers at another device address while it is busy, and loses what it is told.
    let bench = Bench::new(ChipModel { busy_answer: BusyAnswer::SameControlByte, ..ChipModel::example_16_kbit() });
    bench.write(0, &[2]).unwrap();
    send(&bench, 0x140, 0x51, &[0x40], &data(2));
    let text = format!("2 bytes meant for 0x0140 not stored: {why}");
    assert_eq!(told_of(&bench), [(Some(Hazard::BusyAccess), text)]);

    // By steps, at another block.
    let bench = Bench::new(ChipModel::example_16_kbit());
    bench.rig.meant(bench.chip, 0x342, &[7, 8]);
    bench.write(0, &[2]).unwrap();
    let mut steps = bench.rig.bus().steps();
    steps.start().unwrap();
    assert!([0xA6, 0x42, 7, 8].into_iter().all(|byte| !steps.send(byte)), "busy");
    steps.stop().unwrap();
    bench.wait();
    assert_eq!(told_of(&bench), [(Some(Hazard::BusyAccess), format!("2 bytes meant for 0x0342 not stored: {why}"))]);

    let bench = e32();
    bench.rig.meant(bench.chip, 0x40, &data(2));
    let unseen = "2 bytes meant for 0x0040 not stored: no write for this place was seen on the bus";
    assert_eq!(told_of(&bench), [(None, unseen.to_string())]);
}

/// Of a long write the first 2048 bytes are remembered, header included, whether it is sent at once or byte by byte.
#[test]
fn what_is_remembered_of_a_long_write() {
    for trace in [true, false] {
        let fram = ChipModel { memory: MemoryKind::Fram, ..ChipModel::example_32_kbit() };
        let bench = Bench::wired(fram, Straps::GROUND.with_wp(Level::High));
        bench.rig.set_trace(trace);
        bench.rig.meant(bench.chip, 0, &pattern(3000));
        let header_and_data = &mut [Operation::Write(&[0, 0]), Operation::Write(&pattern(3000))];
        bench.rig.bus().transaction(0x50, header_and_data).unwrap();
        let causes: Vec<_> = told(&bench).into_iter().map(|(offset, len, _, cause, _)| (offset, len, cause)).collect();
        assert_eq!(causes, [(0, 2046, Some(Hazard::WriteProtect)), (2046, 954, None)], "trace: {trace}");
    }
}

/// Of very many writes the last 8192 are remembered.
#[test]
fn what_is_remembered_of_many_writes() {
    let fram = ChipModel { memory: MemoryKind::Fram, ..ChipModel::example_32_kbit() };
    let bench = Bench::wired(fram, Straps::GROUND.with_wp(Level::High));
    bench.rig.set_trace(false);
    bench.rig.meant(bench.chip, 0x40, &[7]);
    bench.write(0x40, &[7]).unwrap();
    (1..8192).for_each(|_| bench.write(0x80, &[9]).unwrap());
    assert_eq!(told(&bench)[0].3, Some(Hazard::WriteProtect));
    bench.write(0x80, &[9]).unwrap();
    assert_eq!(told(&bench)[0].3, None);
}

/// The write that was torn is the one of the chip whose supply was lost in its write cycle.
#[test]
fn a_torn_write_of_one_chip_says_nothing_of_another_one() {
    let bench = e32();
    let fram = ChipModel { memory: MemoryKind::Fram, ..ChipModel::example_32_kbit() };
    let other = bench.rig.attach(fram, Straps::address(1));
    bench.rig.meant(bench.chip, 0x40, &data(2));
    bench.write(0x40, &data(2)).unwrap();
    bench.rig.bus().write(0x51, &[0, 0x40, 8, 9]).unwrap();
    bench.rig.meant(other, 0x40, &[8, 9]);
    bench.rig.power_cycle();
    assert_eq!(
        told(&bench).into_iter().map(|told| (told.0, told.3)).collect::<Vec<_>>(),
        [(0x40, Some(Hazard::TornWrite))]
    );
}

/// Only the last torn write is explained so; a later one that was stored is its own explanation.
#[test]
fn what_was_torn_and_written_again_is_not_lost() {
    let bench = e32();
    bench.rig.meant(bench.chip, 0x40, &[1, 2]);
    bench.write(0x40, &[1, 2]).unwrap();
    bench.rig.power_cycle();
    bench.wait();
    bench.store(0x40, &[1, 2]);
    assert_eq!(told(&bench), []);
    // A later write that overwrites it as meant, and the ledger was not told: the part holds other bytes.
    bench.store(0x40, &[3, 2]);
    let unknown = "1 byte meant for 0x0040 not stored: no write for this place was seen on the bus";
    assert_eq!(told(&bench), [(0x40, 1, None, None, unknown.into())]);
}

/// Partly protected: the bytes in the protected range only.
#[test]
fn losses_of_two_causes_and_of_two_chips_are_told_apart() {
    let mut model = ChipModel::example_32_kbit();
    model.write_protect.pin_range = ByteRange { start: 0x800, len: 0x800 };
    let bench = Bench::wired(model.clone(), Straps::GROUND.with_wp(Level::High));
    let other = bench.rig.attach(ChipModel::example_32_kbit(), Straps::address(1));
    send(&bench, 0x800, 0x50, &[8, 0], &data(2));
    send(&bench, 0x3F, 0x50, &[0, 0x3F], &data(2));
    bench.rig.meant(other, 0x10, &data(1));
    let losses = bench.rig.explain();
    let shown: Vec<_> = losses.iter().map(|loss| (loss.chip, loss.offset, loss.len, loss.cause)).collect();
    let expected = [
        (bench.chip, 0x3F, 1, Some(Hazard::PageWrap)),
        (bench.chip, 0x40, 1, Some(Hazard::PageWrap)),
        (bench.chip, 0x800, 2, Some(Hazard::WriteProtect)),
        (other, 0x10, 1, None),
    ];
    // The byte that wrapped stands at 0x20, where nobody meant anything; 0x3F itself was stored.
    assert_eq!(shown, expected[1..]);
}

/// A header before a repeated START stores nothing, so it is not an attempt; with data behind it, it is.
#[test]
fn a_bare_header_before_a_read_explains_nothing() {
    let bench = e32();
    bench.rig.meant(bench.chip, 0x4041, &[1]);
    let mut got = [0; 1];
    bench.rig.bus().transaction(0x50, &mut [Operation::Write(&[0x40, 0x41]), Operation::Read(&mut got)]).unwrap();
    assert_eq!(told(&bench)[0].3, None);
}
