//! Rule W8: write protection.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::{ByteRange, CycleUnit, PartlyProtected, ProtectedAnswer, WpSampled};
use pagewise_simulator::{BusFault, ChipModel, EventKind, Hazard, Level, Note, Straps, WireConfig};

fn protected(answer: ProtectedAnswer, sampled: WpSampled, partial: PartlyProtected) -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    model.write_protect.pin_range = ByteRange { start: 2048, len: 2048 };
    model.write_protect.answer = answer;
    model.write_protect.sampled = sampled;
    model.write_protect.partial = partial;
    model
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_answers_of_a_protected_write() {
    let cases = [
        (ProtectedAnswer::AckReady, true, false),
        (ProtectedAnswer::AckBusy, true, true),
        (ProtectedAnswer::NackData, false, false),
    ];
    for (answer, acked, busy) in cases {
        let model = protected(answer, WpSampled::Stop, PartlyProtected::Nothing);
        let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
        bench.store(0x7FF, &[1]);
        assert_eq!(bench.memory()[0x7FF], 1, "outside of the range");
        let done = bench.write(0x800, &[2, 3]);
        assert_eq!(done.is_ok(), acked);
        if !acked {
            assert_eq!(done.unwrap_err().fault, BusFault::DataNack { byte: 2 });
        }
        assert_eq!(bench.rig.busy(bench.chip), busy);
        bench.wait();
        assert_eq!(bench.memory()[0x800..0x802], [0xFF, 0xFF]);
        assert_eq!(bench.hazards(), [Hazard::WriteProtect]);
        let bytes = if acked { 2 } else { 1 };
        let said = Note::Protected { offset: 0x800, bytes, partly: false, acked };
        assert!(notes(&bench.rig).contains(&said), "{answer:?}");
    }
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_fixed_range_is_protected_whatever_the_pin_does() {
    let mut model = ChipModel::example_32_kbit();
    model.write_protect.pin_range = ByteRange::EMPTY;
    model.write_protect.fixed_range = ByteRange { start: 3584, len: 512 };
    let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
    bench.store(3583, &[1]);
    bench.store(3584, &[2]);
    assert_eq!(bench.memory()[3583..3585], [1, 0xFF]);
    assert_eq!(bench.hazards(), [Hazard::WriteProtect]);
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_active_low_pin() {
    let mut model = ChipModel::example_32_kbit();
    model.write_protect.active_high = false;
    let bench = Bench::wired(model, Straps::GROUND);
    bench.store(0, &[1]);
    bench.rig.set_wp(bench.chip, Level::High);
    bench.store(1, &[2]);
    assert_eq!(bench.memory()[..2], [0xFF, 2]);
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_partly_protected_page_write() {
    for (partial, expected) in
        [(PartlyProtected::Nothing, [0xFF, 0xFF, 0xFF, 0xFF]), (PartlyProtected::UnprotectedOnly, [1, 2, 0xFF, 0xFF])]
    {
        let mut model = protected(ProtectedAnswer::AckReady, WpSampled::Stop, partial);
        // The range begins in the middle of a page.
        model.write_protect.pin_range = ByteRange { start: 2050, len: 100 };
        let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
        bench.store(2048, &[1, 2, 3, 4]);
        assert_eq!(bench.memory()[2048..2052], expected);
        assert_eq!(bench.hazards(), [Hazard::WriteProtect]);
    }
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_partly_protected_page_write_that_is_not_acknowledged() {
    for (partial, expected) in
        [(PartlyProtected::Nothing, [0xFF, 0xFF, 0xFF, 0xFF]), (PartlyProtected::UnprotectedOnly, [1, 2, 0xFF, 0xFF])]
    {
        let mut model = protected(ProtectedAnswer::NackData, WpSampled::Stop, partial);
        model.write_protect.pin_range = ByteRange { start: 2050, len: 100 };
        let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
        let error = bench.write(2048, &[1, 2, 3, 4]).unwrap_err();
        assert_eq!(error.fault, BusFault::DataNack { byte: 4 }, "the first protected byte");
        bench.wait();
        assert_eq!(bench.memory()[2048..2052], expected, "{partial:?}");
        let text = &bench.rig.finish()[0].text;
        assert!(text.contains("the rest of the page write was not protected"), "{text}");
    }
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_a_refused_byte_is_the_end_of_the_data() {
    // After the NACK of a protected byte the chip takes no more of this write, whatever the controller sends.
    let model = protected(ProtectedAnswer::NackData, WpSampled::Stop, PartlyProtected::UnprotectedOnly);
    let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
    let mut bus = bench.rig.bit_bang(pagewise_simulator::WireConfig::IDEAL);
    bus.start().unwrap();
    assert!([0xA0, 0x08, 0x00].into_iter().all(|byte| bus.send(byte).unwrap()));
    assert!(!bus.send(1).unwrap());
    bench.rig.set_wp(bench.chip, Level::Low);
    assert!(!bus.send(2).unwrap());
    bus.stop().unwrap();
    bench.wait();
    assert_eq!(bench.memory(), [0xFF; 4096]);
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_a_wholly_protected_write_is_not_partly_protected() {
    for (answer, busy) in [(ProtectedAnswer::AckReady, false), (ProtectedAnswer::AckBusy, true)] {
        let model = protected(answer, WpSampled::Stop, PartlyProtected::UnprotectedOnly);
        let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
        bench.write(0x800, &[2, 3]).unwrap();
        assert_eq!(bench.rig.busy(bench.chip), busy, "{answer:?}");
        bench.wait();
        assert_eq!(bench.memory()[0x800..0x802], [0xFF, 0xFF]);
        let incidents = bench.rig.finish();
        assert_eq!(
            incidents[0].text,
            "example-32k: 2 byte(s) of a write at 0x0800 are protected: acknowledged, not stored"
        );
    }
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_the_report_counts_every_byte_that_was_not_stored() {
    for (partial, bytes, partly) in [(PartlyProtected::Nothing, 4, false), (PartlyProtected::UnprotectedOnly, 1, true)]
    {
        let mut model = protected(ProtectedAnswer::AckReady, WpSampled::Stop, partial);
        model.write_protect.pin_range = ByteRange { start: 2051, len: 100 };
        let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
        bench.store(2048, &[1, 2, 3, 4]);
        let said = Note::Protected { offset: 2048, bytes, partly, acked: true };
        let says = |e: &pagewise_simulator::Event| matches!(e.kind, EventKind::Chip { note, .. } if note == said);
        assert!(bench.rig.trace().iter().any(says), "{partial:?}");
    }
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_data_phase_sampling_begins_at_the_first_data_byte() {
    // WP active at the first data byte and released before the second one: cancelled, if the data phase counts.
    for (sampled, stored) in [(WpSampled::Stop, true), (WpSampled::DataPhase, false)] {
        let mut model = ChipModel::example_32_kbit();
        model.write_protect.sampled = sampled;
        let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
        let mut bus = bench.rig.bit_bang(pagewise_simulator::WireConfig::IDEAL);
        bus.start().unwrap();
        assert!([0xA0, 0, 0, 0x11].into_iter().all(|byte| bus.send(byte).unwrap()));
        bench.rig.set_wp(bench.chip, Level::Low);
        assert!(bus.send(0x22).unwrap());
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[..2] == [0x11, 0x22], stored, "{sampled:?}");
        // The next write begins anew.
        bus.write(0x50, &[0, 8, 0x33]).unwrap();
        bench.wait();
        assert_eq!(bench.memory()[8], 0x33, "{sampled:?}");
    }
}

/// A write to offset 0, so far of the byte 0x11, to a part that looks at WP then.
fn one_byte_sent(sampled: WpSampled) -> (Bench, Bus) {
    let mut model = ChipModel::example_32_kbit();
    model.write_protect.sampled = sampled;
    let (bench, mut bus) = wired(model, WireConfig::IDEAL);
    bus.start().unwrap();
    assert!([0xA0, 0, 0, 0x11].into_iter().all(|byte| bus.send(byte).unwrap()));
    (bench, bus)
}

/// Source: BR24G08-3, TSZ02201-0R2R0G100190-1-2 (from the first data byte to STOP a high level cancels).
#[test]
fn w8_a_pulse_of_wp_between_two_data_bytes_cancels_and_a_wp_that_rests_does_not() {
    for (sampled, pulse, stored) in
        [(WpSampled::Stop, true, true), (WpSampled::DataPhase, true, false), (WpSampled::DataPhase, false, true)]
    {
        let (bench, mut bus) = one_byte_sent(sampled);
        // No clock comes meanwhile, so that no byte looks at WP.
        bench.rig.set_wp(bench.chip, Level::from_bit(pulse));
        bench.rig.set_wp(bench.chip, Level::Low);
        assert!(bus.send(0x22).unwrap());
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[..2] == [0x11, 0x22], stored, "{sampled:?}, pulse {pulse}");
    }
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_wp_that_rises_after_the_last_byte_cancels() {
    for sampled in [WpSampled::Stop, WpSampled::DataPhase] {
        let (bench, mut bus) = one_byte_sent(sampled);
        bench.rig.set_wp(bench.chip, Level::High);
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0], 0xFF, "{sampled:?}");
    }
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_each_write_looks_at_wp_anew_also_when_whole_runs_of_bytes_go_at_once() {
    for trace in [true, false] {
        let mut model = ChipModel::example_32_kbit();
        model.write_protect.sampled = WpSampled::DataPhase;
        let bench = Bench::new(model);
        bench.rig.set_trace(trace);
        // What WP was before must not count.
        bench.rig.set_wp(bench.chip, Level::High);
        bench.store(0, &[1]);
        bench.rig.set_wp(bench.chip, Level::Low);
        bench.store(0, &[5, 6, 7, 8]);
        assert_eq!(bench.memory()[..4], [5, 6, 7, 8], "trace {trace}");
    }
}

/// Source: 24XX256, DS20001203W (one cycle for a page); 24C01A/02A/04A, DS11183C (1 ms for each byte).
#[test]
fn w6_a_protected_write_that_keeps_a_part_busy_per_byte_lasts_one_byte_time() {
    let mut model = protected(ProtectedAnswer::AckBusy, WpSampled::Stop, PartlyProtected::Nothing);
    model.write_cycle.per = CycleUnit::Byte;
    let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
    bench.write(0x800, &[1, 2]).unwrap();
    bench.rig.advance_ns(bench.model.write_cycle.max_ns - 1);
    assert!(bench.rig.busy(bench.chip));
    bench.rig.advance_ns(1);
    assert!(!bench.rig.busy(bench.chip));
}
