//! The controller: the contract of embedded-hal, and the habits of HALs that differ from it.

use crate::common::*;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{Error, ErrorKind, I2c, NoAcknowledgeSource, Operation};
use pagewise_simulator::{
    AdjacentWrites, BusFault, ChipModel, NackKind, OverLimit, Quirks, Rig, RigConfig, ZeroLength,
};

#[test]
fn nack_kinds() {
    use NoAcknowledgeSource::{Address, Data, Unknown};
    let cases = [
        (NackKind::Exact, ErrorKind::NoAcknowledge(Address), ErrorKind::NoAcknowledge(Data)),
        (NackKind::Address, ErrorKind::NoAcknowledge(Address), ErrorKind::NoAcknowledge(Address)),
        (NackKind::Data, ErrorKind::NoAcknowledge(Data), ErrorKind::NoAcknowledge(Data)),
        (NackKind::Unknown, ErrorKind::NoAcknowledge(Unknown), ErrorKind::NoAcknowledge(Unknown)),
        (NackKind::Other, ErrorKind::Other, ErrorKind::Other),
        (NackKind::Bus, ErrorKind::Bus, ErrorKind::Bus),
        (NackKind::DataAsOther, ErrorKind::NoAcknowledge(Address), ErrorKind::Other),
    ];
    for (nack, address_kind, data_kind) in cases {
        let mut model = ChipModel::example_32_kbit();
        model.write_protect.answer = pagewise_simulator::model::ProtectedAnswer::NackData;
        let straps = pagewise_simulator::Straps::GROUND.with_wp(pagewise_simulator::Level::High);
        let bench = Bench::wired(model, straps);
        let mut bus = bench.rig.bus_with(Quirks { nack, ..Quirks::default() });
        assert_eq!(bus.write(0x51, &[0]).unwrap_err().kind(), address_kind);
        let error = bus.write(0x50, &[0, 0, 1]).unwrap_err();
        assert_eq!((error.kind(), error.fault), (data_kind, BusFault::DataNack { byte: 2 }));
    }
}

#[test]
fn adjacent_writes_on_the_wire() {
    let cases = [
        (AdjacentWrites::Joined, "S 50W+ 00+ 10+ AA+ P"),
        (AdjacentWrites::Restart, "S 50W+ 00+ 10+ Sr 50W+ AA+ P"),
        (AdjacentWrites::StopBetween, "S 50W+ 00+ 10+ P S 50W+ AA+ P"),
    ];
    for (adjacent_writes, expected) in cases {
        let bench = e32();
        let mut bus = bench.rig.bus_with(Quirks { adjacent_writes, ..Quirks::default() });
        bus.transaction(0x50, &mut [Operation::Write(&[0, 0x10]), Operation::Write(&[0xAA])]).unwrap();
        let text = bench.rig.transfers_text();
        let shown: Vec<&str> = text.lines().map(|line| line.split("us  ").nth(1).unwrap()).collect();
        assert_eq!(shown.join(" "), expected);
    }
}

#[test]
fn zero_length_sent_refused_ignored() {
    let bench = e32();
    let with = |zero_length| bench.rig.bus_with(Quirks { zero_length, ..Quirks::default() });
    assert!(with(ZeroLength::Sent).write(0x50, &[]).is_ok());
    assert_eq!(with(ZeroLength::Sent).write(0x51, &[]).unwrap_err().fault, BusFault::AddressNack);
    let before = bench.rig.now_ns();
    let error = with(ZeroLength::Refused).write(0x51, &[]).unwrap_err();
    assert_eq!((error.fault, error.kind()), (BusFault::ZeroLength, ErrorKind::Other));
    assert!(with(ZeroLength::Ignored).write(0x51, &[]).is_ok(), "a false ready");
    assert_eq!(bench.rig.now_ns(), before);
    assert!(with(ZeroLength::Sent).transaction(0x50, &mut []).is_ok());
    assert_eq!(bench.rig.now_ns(), before);
}

#[test]
fn max_transfer_refuses_or_splits() {
    let bench = e32();
    let quirks = |over_limit| Quirks { max_transfer: Some(4), over_limit, ..Quirks::default() };
    let error = bench.rig.bus_with(quirks(OverLimit::Refuse)).write(0x50, &[0, 0, 1, 2, 3]).unwrap_err();
    assert_eq!((error.fault, error.kind()), (BusFault::TooLong { len: 5, limit: 4 }, ErrorKind::Other));
    assert_eq!(bench.rig.now_ns(), 0);
    bench.rig.bus_with(quirks(OverLimit::Refuse)).write(0x50, &[0, 0, 1, 2]).unwrap();
    bench.wait();
    bench.rig.load(bench.chip, 0, &pattern(16));
    let mut data = [0; 9];
    bench.rig.bus_with(quirks(OverLimit::SplitRestart)).write_read(0x50, &[0, 1], &mut data).unwrap();
    assert_eq!(data, [1, 2, 3, 4, 5, 6, 7, 8, 9], "a split read goes on at the pointer");
    let text = bench.rig.transfers_text();
    assert!(text.ends_with("Sr 50R+ 01+ 02+ 03+ 04- Sr 50R+ 05+ 06+ 07+ 08- Sr 50R+ 09- P\n"), "{text}");
}

/// What a call shows on the bus under these habits, without times.
fn shown(quirks: Quirks, operations: &mut [Operation<'_>]) -> String {
    let bench = e32();
    bench.rig.load(bench.chip, 0, &pattern(16));
    bench.rig.bus().write(0x50, &[0, 1]).unwrap();
    bench.rig.forget();
    bench.rig.bus_with(quirks).transaction(0x50, operations).unwrap();
    let text = bench.rig.transfers_text();
    text.lines().map(|line| line.split("us  ").nth(1).unwrap()).collect::<Vec<_>>().join(" ")
}

#[test]
fn a_limit_counts_what_one_direction_moves_without_a_break() {
    let quirks = |over_limit| Quirks { max_transfer: Some(3), over_limit, ..Quirks::default() };
    for over_limit in [OverLimit::Refuse, OverLimit::RefuseAsBus] {
        let mut bus = e32().rig.bus_with(quirks(over_limit));
        let two = &mut [Operation::Write(&[0, 0]), Operation::Write(&[1, 2])];
        assert_eq!(bus.transaction(0x50, two).unwrap_err().fault, BusFault::TooLong { len: 4, limit: 3 });
        bus.transaction(0x50, &mut [Operation::Write(&[0, 0]), Operation::Read(&mut [0; 3])]).unwrap();
    }
    let mut five = [0; 5];
    let split = |over_limit, five: &mut [u8; 5]| shown(quirks(over_limit), &mut [Operation::Read(five)]);
    let restart = split(OverLimit::SplitRestart, &mut five);
    assert_eq!((restart.as_str(), five), ("S 50R+ 01+ 02+ 03- Sr 50R+ 04+ 05- P", [1, 2, 3, 4, 5]));
    assert_eq!(split(OverLimit::SplitStop, &mut five), "S 50R+ 01+ 02+ 03- P S 50R+ 04+ 05- P");
}

#[test]
fn adjacent_reads_are_one_run_whatever_a_hal_makes_of_adjacent_writes() {
    use AdjacentWrites::{Joined, Refused, Restart, StopBetween};
    for adjacent_writes in [Joined, Restart, StopBetween, Refused] {
        let quirks = Quirks { adjacent_writes, ..Quirks::default() };
        let (mut one, mut two) = ([0; 2], [0; 1]);
        let reads = &mut [Operation::Read(&mut one), Operation::Read(&mut two)];
        assert_eq!(shown(quirks, reads), "S 50R+ 01+ 02+ 03- P", "{adjacent_writes:?}");
    }
}

/// Empty operations: they neither end a run of reads nor keep its last byte from being the last.
#[test]
fn the_last_byte_of_a_run_of_reads_is_not_acknowledged_wherever_empty_operations_stand() {
    let cases: [(ZeroLength, &[i32], &str); 7] = [
        (ZeroLength::Sent, &[-2, 0, -1], "S 50R+ 01+ 02+ 03- P"),
        (ZeroLength::Sent, &[-2, 0], "S 50R+ 01+ 02- P"),
        (ZeroLength::Sent, &[-2, 99], "S 50R+ 01+ 02- Sr 50W+ P"),
        (ZeroLength::ReadsIgnored, &[-2, 0, -1], "S 50R+ 01+ 02+ 03- P"),
        (ZeroLength::ReadsIgnored, &[0, -1, 99], "S 50R+ 01- Sr 50W+ P"),
        (ZeroLength::Ignored, &[-1, 99, -1], "S 50R+ 01+ 02- P"),
        (ZeroLength::Ignored, &[99, -1, 99], "S 50R+ 01- P"),
    ];
    for (zero_length, lengths, expected) in cases {
        // A read of so many bytes is negative, an empty write is 99.
        let mut buffers: Vec<Vec<u8>> = lengths.iter().map(|len| vec![0; len.unsigned_abs() as usize]).collect();
        let mut operations: Vec<Operation<'_>> = lengths
            .iter()
            .zip(&mut buffers)
            .map(|(len, buffer)| if *len == 99 { Operation::Write(&[]) } else { Operation::Read(buffer) })
            .collect();
        let quirks = Quirks { zero_length, ..Quirks::default() };
        assert_eq!(shown(quirks, &mut operations), expected, "{zero_length:?}: {lengths:?}");
    }
}

#[test]
fn a_read_of_more_than_65535_bytes_is_whole_where_the_length_is_not_cut() {
    let bench = Bench::new(block_bit_on_top());
    bench.rig.load(bench.chip, 0, &[0x5A; 131_072]);
    let mut all = vec![0; 65_537];
    bench.rig.bus().write_read(0x50, &[0, 0], &mut all).unwrap();
    assert!(all.iter().all(|byte| *byte == 0x5A));
}

#[test]
fn time_on_the_bus_is_exact() {
    // START 1, byte 9, repeated START 2, STOP 1 periods: 1 + 9 * 3 + 2 + 9 * (1 + n) + 1 for a random read of n bytes.
    for (hz, period) in [(100_000, 10_000), (400_000, 2_500), (1_000_000, 1_000)] {
        let rig = Rig::new(RigConfig::default().with_scl_hz(hz));
        rig.attach(ChipModel::example_32_kbit(), pagewise_simulator::Straps::GROUND);
        rig.bus().write_read(0x50, &[0, 0], &mut [0; 5]).unwrap();
        assert_eq!(rig.now_ns(), (1 + 27 + 2 + 9 * 6 + 1) * period);
    }
}

#[test]
fn delays_move_the_same_clock() {
    let rig = Rig::default();
    let mut delay = rig.delay();
    delay.delay_ns(7);
    delay.delay_us(5);
    delay.delay_ms(3);
    assert_eq!(rig.now_ns(), 3_005_007);
    delay.delay_ms(u32::MAX);
    assert_eq!(rig.now_ns(), 3_005_007 + u64::from(u32::MAX) * 1_000_000);
}

#[test]
fn forks_share_nothing_that_changes() {
    let bench = e32();
    bench.store(0, &[1]);
    let fork = bench.rig.fork();
    bench.store(0, &[2]);
    fork.bus().write(0x50, &[0, 1, 3]).unwrap();
    fork.advance_ns(10_000_000);
    assert_eq!(bench.memory()[..2], [2, 0xFF]);
    assert_eq!(fork.memory(bench.chip)[..2], [1, 3]);
}
