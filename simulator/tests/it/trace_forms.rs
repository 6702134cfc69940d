//! The forms of a trace, exactly: text, lines over time, value change dump.

use pagewise_simulator::trace::{text, vcd, waves};
use pagewise_simulator::{ChipId, ChipModel, ClockPlan, Event, EventKind, Level, Line, Note, Rig, RigConfig, Straps};

const PLAN: ClockPlan = ClockPlan { period_ns: 100, low_ns: 60, high_ns: 40 };

fn at(at_ns: u64, kind: EventKind) -> Event {
    Event { at_ns, kind }
}

fn address(at_ns: u64, address: u8, read: bool, acked: bool) -> Event {
    at(at_ns, EventKind::Address { address, read, acked })
}

fn chip() -> ChipId {
    Rig::new(RigConfig::default()).attach(ChipModel::example_32_kbit(), Straps::GROUND)
}

#[test]
fn a_line_of_text_is_a_transfer() {
    let events = [
        // The trace begins with the end of a transfer, and in the middle of one.
        at(3, EventKind::Stop),
        at(5, EventKind::Write { byte: 0x0A, acked: true }),
        at(7, EventKind::Stop),
        at(1_002_003, EventKind::Start),
        at(1_002_010, EventKind::Chip { chip: chip(), note: Note::PointerUnset }),
        address(1_002_010, 0x50, false, true),
        at(1_002_020, EventKind::Write { byte: 0xAB, acked: false }),
        at(1_002_030, EventKind::RepeatedStart),
        address(1_002_040, 0x5F, true, true),
        at(1_002_050, EventKind::Read { byte: 0, acked: true }),
        at(1_002_060, EventKind::Read { byte: 0xFF, acked: false }),
        at(1_002_070, EventKind::Stop),
        at(1_002_080, EventKind::Supply { mv: 0 }),
        // One that the next START finds open, and one that the trace ends in.
        at(2_000_000_000, EventKind::Start),
        at(2_000_000_999, EventKind::Start),
        address(2_000_001_000, 0x03, false, false),
    ];
    let expected = " 0A+ P\n      1002.003 us  S 50W+ AB- Sr 5FR+ 00+ FF- P\n\
                    \u{20}  2000000.000 us  S\n\
                    \u{20}  2000000.999 us  S 03W-\n";
    assert_eq!(text::transfers(&events), expected);
    assert_eq!(text::transfers(&[]), "");
}

/// SDA is drawn in the middle of the low part; only what changes is drawn.
#[test]
fn lines_are_drawn_from_events_by_the_plan_of_the_clock() {
    // START, 1010_0000 and ACK, repeated START, 1010_0001 and NACK, STOP; a byte takes nine clocks of 100 ns.
    let events = [
        at(1_000, EventKind::Start),
        address(1_040, 0x50, false, true),
        at(2_100, EventKind::RepeatedStart),
        address(2_140, 0x50, true, false),
        at(3_140, EventKind::Stop),
    ];
    let bits =
        |begin: u64, sda: &[(u64, bool)]| {
            let mut edges: Vec<(u64, Line, bool)> =
                sda.iter().map(|&(bit, level)| (begin + bit * 100 + 30, Line::Sda, level)).collect();
            edges.extend((0..9).flat_map(|bit| {
                [(begin + bit * 100 + 60, Line::Scl, true), (begin + bit * 100 + 100, Line::Scl, false)]
            }));
            edges
        };
    let mut expected = vec![(1_000, Line::Sda, false), (1_040, Line::Scl, false)];
    expected.extend(bits(1_040, &[(0, true), (1, false), (2, true), (3, false)]));
    // SDA is let go 160 ns before the START, in the low part of the clock whose high part it lies in.
    expected.extend([
        (1_970, Line::Sda, true),
        (2_040, Line::Scl, true),
        (2_100, Line::Sda, false),
        (2_140, Line::Scl, false),
    ]);
    expected.extend(bits(2_140, &[(0, true), (1, false), (2, true), (3, false), (7, true)]));
    expected.extend([(3_070, Line::Sda, false), (3_100, Line::Scl, true), (3_140, Line::Sda, true)]);
    expected.sort_by_key(|(at, ..)| *at);
    assert_eq!(waves::from_events(&events, PLAN), expected);
}

/// IEEE 1364, value change dump: declarations, first values, then changes by time.
#[test]
fn a_value_change_dump_has_every_change_of_lines_supply_and_pins() {
    let chip = chip();
    let lines = [(1_000, Line::Sda, false), (1_040, Line::Scl, false), (3_000, Line::Sda, true)];
    let note = |at_ns, note| at(at_ns, EventKind::Chip { chip, note });
    let events = [
        at(500, EventKind::Supply { mv: 1_805 }),
        at(600, EventKind::WriteProtectPin { chip, level: Level::High }),
        at(1_000, EventKind::Start),
        note(1_040, Note::CycleStart { page: 0, bytes: 1, ends_ns: 0 }),
        note(2_000, Note::CycleEnd { page: 0 }),
        at(2_000, EventKind::WriteProtectPin { chip, level: Level::Low }),
        note(2_500, Note::CycleStart { page: 0, bytes: 1, ends_ns: 0 }),
        note(3_000, Note::Torn { offset: 0, bytes: 1 }),
        at(4_000, EventKind::Supply { mv: 0 }),
    ];
    let began = [vcd::Began { busy: false, wp: false }, vcd::Began { busy: true, wp: true }];
    let mut dump = Vec::new();
    vcd::write(&mut dump, &lines, &events, &began, 3_300).unwrap();
    let expected = "$timescale 1 ns $end $scope module bus $end \
        $var wire 1 ! SCL $end $var wire 1 \" SDA $end $var real 64 # SUPPLY $end \
        $var wire 1 $ BUSY0 $end $var wire 1 % WP0 $end $var wire 1 & BUSY1 $end $var wire 1 ' WP1 $end \
        $upscope $end $enddefinitions $end \
        #0 $dumpvars 1! 1\" r3.3 # 0$ 0% 1& 1' $end \
        #500 r1.805 # #600 1% #1000 0\" #1040 0! 1$ #2000 0$ 0% #2500 1$ #3000 1\" 0$ #4000 r0 # #14000";
    let found = String::from_utf8(dump).unwrap();
    assert_eq!(found.split_whitespace().collect::<Vec<_>>().join(" "), expected);
}
