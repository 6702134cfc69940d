//! Each detector fires on its hazard and keeps quiet on the correct program beside it.

use crate::common::*;
use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::BusyAnswer;
use pagewise_simulator::{
    AdjacentWrites, ChipModel, Hazard, Level, OtherFamily, OverLimit, Quirks, Rig, RigConfig, Straps, ZeroLength,
};

#[test]
fn page_wrap_fires_at_the_first_byte_past_the_page() {
    let bench = e32();
    bench.store(0, &pattern(33));
    assert_eq!(bench.rig.finish()[0].text, "example-32k: data meant for 0x0020 goes to 0x0000: page wrap at 32");
}

#[test]
fn page_wrap_is_quiet_for_a_full_page() {
    let bench = e32();
    bench.store(0, &pattern(32));
    assert!(bench.hazards().is_empty());
}

#[test]
fn address_width_fires_for_a_one_byte_program_that_reads_a_two_byte_part() {
    let bench = e32();
    let mut byte = [0];
    bench.rig.bus().write_read(0x50, &[0x10], &mut byte).unwrap();
    assert_eq!(bench.hazards(), [Hazard::AddressWidth]);
}

#[test]
fn address_width_fires_for_a_two_byte_program_that_reads_a_one_byte_part() {
    let bench = Bench::new(ChipModel::example_2_kbit());
    let mut byte = [0];
    bench.rig.bus().write_read(0x50, &[0x00, 0x10], &mut byte).unwrap();
    assert_eq!(bench.hazards(), [Hazard::AddressWidth]);
}

#[test]
fn address_width_is_confirmed_by_the_ledger_for_writes() {
    // One byte sent to a two-byte part: the first data byte is taken as the low half of the word address.
    let bench = e32();
    bench.rig.meant(bench.chip, 0x05, &[0x0A, 0x0B, 0x0C, 0x0D]);
    bench.rig.bus().write(0x50, &[0x05, 0x0A, 0x0B, 0x0C, 0x0D]).unwrap();
    bench.wait();
    assert!(bench.rig.incidents().is_empty(), "the bus alone looks legal");
    let losses = bench.rig.explain();
    assert_eq!(
        losses[0].text,
        "1 byte meant for 0x0005 taken as word address: the part expects 2 word-address byte(s), another number was sent"
    );
    assert_eq!(
        losses[1].text,
        "3 bytes meant for 0x0006 landed at 0x050A: the part expects 2 word-address byte(s), another number was sent"
    );
    assert_eq!(losses[1].landed_at, Some(0x050A));
    assert_eq!(bench.hazards(), [Hazard::AddressWidth]);

    // Two bytes sent to a one-byte part: the second word-address byte is stored as data.
    let bench = Bench::new(ChipModel::example_2_kbit());
    bench.rig.meant(bench.chip, 0x10, &[0xAA, 0xBB]);
    bench.rig.bus().write(0x50, &[0x00, 0x10, 0xAA, 0xBB]).unwrap();
    bench.wait();
    let losses = bench.rig.explain();
    assert_eq!(losses[0].landed_at, Some(0x01));
    assert_eq!(bench.hazards(), [Hazard::AddressWidth]);
}

#[test]
fn block_alias_fires_when_ignored_bits_are_used_for_data() {
    let bench = Bench::new(ignores_low_bits());
    bench.rig.meant(bench.chip, 0x010, &[1]);
    bench.rig.meant(bench.chip, 0x110, &[2]);
    bench.rig.bus().write(0x50, &[0x10, 1]).unwrap();
    bench.wait();
    bench.rig.bus().write(0x51, &[0x10, 2]).unwrap();
    bench.wait();
    let losses = bench.rig.explain();
    assert_eq!(
        losses[0].text,
        "1 byte at 0x0010 overwritten by bytes meant for 0x0110: the part ignores these block-select bits"
    );
    assert_eq!(losses[1].text, "1 byte meant for 0x0110 landed at 0x0010: the part ignores these block-select bits");
    assert_eq!(bench.hazards(), [Hazard::BlockAlias]);
}

#[test]
fn block_alias_fires_on_reads_and_is_quiet_on_scans_and_polls() {
    for trace in [true, false] {
        let bench = Bench::new(ignores_low_bits());
        bench.rig.set_trace(trace);
        let mut byte = [0];
        for address in 0x50..0x58 {
            bench.rig.bus().write(address, &[]).unwrap();
            bench.rig.bus().read(address, &mut byte).unwrap();
            bench.rig.bus().write(address, &[0]).unwrap();
        }
        bench.read(0, 4);
        assert!(bench.rig.finish().is_empty());
        bench.rig.bus().write_read(0x53, &[0], &mut byte).unwrap();
        bench.rig.bus().write_read(0x50, &[0], &mut byte).unwrap();
        assert_eq!(bench.hazards(), [Hazard::BlockAlias]);
    }
}

#[test]
fn capacity_alias_fires_beyond_the_part() {
    let bench = Bench::new(ChipModel::example_2_kbit());
    let e16 = Bench::new(ChipModel::example_16_kbit());
    e16.store(0x7FF, &[1]);
    assert!(e16.hazards().is_empty());
    let bench32 = e32();
    bench32.rig.meant(bench32.chip, 0x1020, &[5, 6]);
    bench32.rig.bus().write(0x50, &[0x10, 0x20, 5, 6]).unwrap();
    bench32.wait();
    assert_eq!(bench32.rig.explain()[0].text, "2 bytes meant for 0x1020 landed at 0x0020: the part ends at 4096 bytes");
    assert_eq!(bench32.hazards(), [Hazard::CapacityAlias]);
    assert!(bench.hazards().is_empty());
}

#[test]
fn read_rollover_fires_at_the_end_of_the_array() {
    let bench = e32();
    bench.read(4090, 7);
    assert_eq!(bench.hazards(), [Hazard::ReadRollover]);
    let bench = e32();
    bench.read(4090, 6);
    assert!(bench.hazards().is_empty());
}

/// What was refused is explained at its place also where block-select bits are part of it.
#[test]
fn busy_access_explains_a_refused_write_to_another_block() {
    let bench = Bench::new(ChipModel::example_16_kbit());
    bench.rig.meant(bench.chip, 0x342, &[7, 8]);
    bench.write(0, &[1]).unwrap();
    assert!(bench.write(0x342, &[7, 8]).is_err());
    bench.wait();
    let losses = bench.rig.explain();
    assert_eq!((losses[0].offset, losses[0].len, losses[0].cause), (0x342, 2, Some(Hazard::BusyAccess)));
}

#[test]
fn busy_access_fires_when_a_refused_write_is_dropped() {
    let bench = e32();
    bench.rig.meant(bench.chip, 0x20, &[2, 2]);
    bench.write(0, &[1]).unwrap();
    bench.rig.advance_ns(2_000_000);
    let _ = bench.write(0x20, &[2, 2]);
    bench.rig.advance_ns(5_000_000);
    bench.write(0x40, &[3]).unwrap();
    bench.wait();
    let incidents = bench.rig.finish();
    assert_eq!(incidents.len(), 1);
    assert_eq!(incidents[0].hazard, Hazard::BusyAccess);
    let losses = bench.rig.explain();
    assert_eq!(losses[0].cause, Some(Hazard::BusyAccess));
    assert_eq!(
        losses[0].text,
        "2 bytes meant for 0x0020 not stored: the write came inside the write cycle and was not repeated"
    );
}

#[test]
fn busy_access_fires_at_the_end_of_the_program_too() {
    let bench = e32();
    bench.write(0, &[1]).unwrap();
    let mut byte = [0];
    assert!(bench.rig.bus().write_read(0x50, &[0, 0], &mut byte).is_err());
    assert!(bench.rig.incidents().is_empty());
    assert_eq!(bench.hazards(), [Hazard::BusyAccess]);
}

#[test]
fn busy_access_is_quiet_when_polled_or_retried() {
    // Polling with a header, with a bare address, retrying the same write, retrying the same read.
    let bench = e32();
    bench.write(0, &[1]).unwrap();
    while bench.write(0, &[]).is_err() {}
    bench.write(0x20, &[1]).unwrap();
    while bench.rig.bus().write(0x50, &[]).is_err() {}
    bench.write(0x40, &[1]).unwrap();
    while bench.write(0x60, &[2]).is_err() {}
    let mut byte = [0];
    while bench.rig.bus().write_read(0x50, &[0, 0], &mut byte).is_err() {}
    bench.write(0x80, &[1]).unwrap();
    assert!(bench.write(0xA0, &[2]).is_err());
    while bench.write(0xA0, &[]).is_err() {}
    bench.write(0xA0, &[2]).unwrap();
    assert!(bench.hazards().is_empty());
}

/// What another chip is asked in between says nothing about the access that was refused.
#[test]
fn busy_access_is_quiet_when_another_chip_is_asked_before_the_retry() {
    let bench = e32();
    bench.rig.attach(ChipModel::example_32_kbit(), Straps::address(1));
    bench.write(0, &[1]).unwrap();
    assert!(bench.write(0x20, &[2, 2]).is_err());
    bench.rig.bus().write_read(0x51, &[0, 0], &mut [0]).unwrap();
    bench.wait();
    bench.write(0x20, &[2, 2]).unwrap();
    assert_eq!(bench.rig.finish(), []);
}

/// A header that was refused is not a write, even where its second byte is what another program would mean as data.
#[test]
fn a_poll_that_was_refused_explains_no_loss() {
    let bench = e32();
    bench.rig.meant(bench.chip, 0, &[0x41]);
    bench.write(0x40, &[2]).unwrap();
    assert!(bench.rig.bus().write(0x50, &[0x00, 0x41]).is_err());
    assert!(bench.rig.bus().write_read(0x50, &[0x00, 0x41], &mut [0]).is_err());
    assert_eq!(bench.rig.explain()[0].cause, None);
}

#[test]
fn busy_access_of_a_part_that_answers_reads_inside_the_cycle() {
    let mut model = ChipModel::example_32_kbit();
    model.busy_answer = BusyAnswer::WritesOnly;
    let bench = Bench::new(model);
    bench.write(0, &[1]).unwrap();
    while bench.write(0, &[]).is_err() {}
    assert!(bench.rig.finish().is_empty());
    bench.write(0, &[1]).unwrap();
    let mut byte = [0];
    bench.rig.bus().read(0x50, &mut byte).unwrap();
    assert_eq!(bench.hazards(), [Hazard::BusyAccess]);
}

#[test]
fn restart_abort_fires_for_adjacent_writes_with_a_restart_between() {
    for data in [&[1_u8][..], &[1, 2], &[0, 2, 3, 4, 5]] {
        let bench = e32();
        bench.restarted_writes(0x50, &[&[0x00, 0x40], data]).unwrap();
        bench.wait();
        assert!(bench.hazards().contains(&Hazard::RestartAbort), "{data:?}");
    }
}

#[test]
fn restart_abort_fires_when_the_bus_layer_stops_between_adjacent_writes() {
    let bench = e32();
    let quirks = Quirks { adjacent_writes: AdjacentWrites::StopBetween, ..Quirks::default() };
    bench
        .rig
        .bus_with(quirks)
        .transaction(0x50, &mut [Operation::Write(&[0, 0x40]), Operation::Write(&[1, 2, 3])])
        .unwrap();
    assert!(bench.hazards().contains(&Hazard::RestartAbort));
}

#[test]
fn restart_abort_is_quiet_for_joined_writes_and_random_reads() {
    let bench = e32();
    let mut bus = bench.rig.bus();
    bus.transaction(0x50, &mut [Operation::Write(&[0, 0x40]), Operation::Write(&[1, 2, 3])]).unwrap();
    bench.wait();
    assert_eq!(bench.read(0x40, 3), [1, 2, 3]);
    assert!(bench.hazards().is_empty());
}

#[test]
fn restart_abort_fires_when_a_long_write_is_split() {
    for over_limit in [OverLimit::SplitRestart, OverLimit::SplitStop] {
        let bench = e32();
        let quirks = Quirks { max_transfer: Some(16), over_limit, ..Quirks::default() };
        let mut message = vec![0, 0];
        message.extend(pattern(32));
        let _ = bench.rig.bus_with(quirks).write(0x50, &message);
        bench.wait();
        assert!(bench.hazards().contains(&Hazard::RestartAbort), "{over_limit:?}");
    }
}

#[test]
fn write_protect_fires_and_is_quiet_when_released() {
    let bench = Bench::wired(ChipModel::example_32_kbit(), Straps::GROUND.with_wp(Level::High));
    bench.rig.meant(bench.chip, 0, &[1]);
    bench.store(0, &[1]);
    assert_eq!(bench.rig.explain()[0].text, "1 byte meant for 0x0000 not stored: write protected");
    assert_eq!(bench.hazards(), [Hazard::WriteProtect]);
    bench.rig.clear_incidents();
    bench.rig.set_wp(bench.chip, Level::Low);
    bench.store(0, &[1]);
    bench.rig.set_wp(bench.chip, Level::High);
    assert!(bench.hazards().is_empty());
    assert!(bench.rig.explain().is_empty());
}

#[test]
fn torn_write_fires_when_the_supply_goes_inside_the_cycle() {
    let bench = e32();
    bench.rig.meant(bench.chip, 0, &[1]);
    bench.write(0, &[1]).unwrap();
    bench.rig.power_cycle();
    assert_eq!(bench.hazards(), [Hazard::TornWrite]);
}

#[test]
fn stuck_bus_fires_and_nine_clocks_free_it() {
    let bench = e32();
    bench.rig.load(bench.chip, 0, &[0xFF, 0x0F]);
    let mut bus = bench.rig.bus();
    // The fifth bit of 0x0F is high: nothing is held.
    bus.interrupted_read(0x50, &[0, 0], 1, 4).unwrap();
    assert!(bench.rig.finish().is_empty());
    assert_eq!(bench.read(0, 2), [0xFF, 0x0F]);
    let began = bench.rig.now_ns();
    bus.interrupted_read(0x50, &[0, 0], 1, 3).unwrap();
    // START and three bytes, repeated START and two bytes, three bits: at 400 kHz.
    assert_eq!(bench.rig.now_ns() - began, (1 + 27 + 2 + 18 + 3) * 2_500);
    assert!(bus.write(0x50, &[0, 0]).is_err());
    assert_eq!(bench.hazards(), [Hazard::StuckBus]);
    let began = bench.rig.now_ns();
    bus.recover();
    // Nine clocks, a repeated START, STOP.
    assert_eq!(bench.rig.now_ns() - began, (9 + 2 + 1) * 2_500);
    assert_eq!(bench.read(0, 2), [0xFF, 0x0F]);
}

#[test]
fn an_empty_read_holds_sda_when_the_first_bit_is_low() {
    let bench = e32();
    bench.rig.load(bench.chip, 0, &[0x80, 0x7F]);
    let mut bus = bench.rig.bus();
    bus.write(0x50, &[0, 0]).unwrap();
    bus.read(0x50, &mut []).unwrap();
    bus.write(0x50, &[0, 1]).unwrap();
    assert!(bus.read(0x50, &mut []).is_err());
    assert_eq!(bench.hazards(), [Hazard::StuckBus]);
    let mut safe = bench.rig.bus_with(Quirks { zero_length: ZeroLength::Ignored, ..Quirks::default() });
    bus.recover();
    safe.read(0x50, &mut []).unwrap();
}

#[test]
fn wrong_family_fires_once_when_the_silent_part_is_addressed() {
    let rig = Rig::new(RigConfig::default());
    rig.attach_wrong_family(0x50, OtherFamily::Spi25);
    let mut bus = rig.bus();
    assert!(bus.write(0x51, &[0]).is_err());
    assert!(rig.finish().is_empty());
    assert!(bus.write(0x50, &[0, 0]).is_err());
    assert!(bus.write(0x50, &[0, 0]).is_err());
    let incidents = rig.finish();
    assert_eq!(incidents.len(), 1);
    assert_eq!(incidents[0].text, "device address 0x50 stays silent: a 25-series part (SPI) sits there");
}

#[test]
fn restart_abort_is_not_taken_for_a_long_header_when_nobody_reads() {
    // One data byte latched, then a repeated START with R/W = 0: no two-byte program does that to find its way.
    let bench = Bench::new(ChipModel::example_2_kbit());
    bench.restarted_writes(0x50, &[&[0x40, 1], &[0x50, 2]]).unwrap();
    assert_eq!(bench.hazards(), [Hazard::RestartAbort]);
}
