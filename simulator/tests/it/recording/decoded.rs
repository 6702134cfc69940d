//! What is decoded from lines drawn by hand: every event, stretch and time, exactly.

use pagewise_simulator::Line;
use pagewise_simulator::recording::{
    BusEvent, BusSegment, Edge, Health, ReadOptions, Recording, Role, Seen, SegmentEnd, Spread,
};
use tempfile::tempdir;

use super::drawn::{Drawing, Pace};
use super::files;

const START: u64 = 10_000;

/// A write of one byte, a repeated START, a read of two; each byte slower than the one before.
fn write_and_read() -> (Drawing, [Pace; 5], [u64; 5]) {
    let mut drawing = Drawing::new();
    let slower = |by: u64| Pace { low: 5_120 + by, high: 3_200 + by, controller: 1_024 + by, device: 2_048 + by };
    let paces = [0, 64, 128, 192, 256].map(slower);
    let mut begins = [0; 5];
    drawing.start(4_000);
    let mut next = |drawing: &mut Drawing, n: usize| (drawing.pace, begins[n]) = (paces[n], drawing.now);
    next(&mut drawing, 0);
    drawing.byte(0xA0, true);
    next(&mut drawing, 1);
    drawing.byte(0x35, true);
    next(&mut drawing, 2);
    drawing.restart(4_700, 4_200);
    next(&mut drawing, 2);
    drawing.byte(0xA1, true);
    next(&mut drawing, 3);
    drawing.answer(0xC3, true);
    next(&mut drawing, 4);
    drawing.answer(0x5A, false);
    drawing.stop(4_400);
    drawing.wait(6_000);
    drawing.start(4_100);
    (drawing, paces, begins)
}

#[test]
fn conditions_and_bytes_have_their_times_and_roles() {
    let (mut drawing, paces, begins) = write_and_read();
    let second = drawing.now - 4_100;
    drawing.wait(1_000);
    let folder = tempdir().unwrap();
    let (recording, bus) = drawing.open(&folder, 50);
    let mut events = recording.events(&bus).unwrap();
    let found: Vec<BusEvent> = events.by_ref().map(Result::unwrap).collect();
    let byte = |n: usize, role, value, acked| BusEvent::Byte(paces[n].byte(role, value, acked, begins[n]));
    let expected = [
        BusEvent::Start { at_ns: START, repeated: false, cut_bits: 0 },
        byte(0, Role::Address, 0xA0, true),
        byte(1, Role::Written, 0x35, true),
        BusEvent::Start { at_ns: begins[2] - 4_200, repeated: true, cut_bits: 0 },
        byte(2, Role::Address, 0xA1, true),
        byte(3, Role::Read, 0xC3, true),
        byte(4, Role::Read, 0x5A, false),
        BusEvent::Stop { at_ns: second - 6_000, cut_bits: 0 },
        BusEvent::Start { at_ns: second, repeated: false, cut_bits: 0 },
        BusEvent::End { at_ns: drawing.now, in_transfer: true },
    ];
    assert_eq!(found, expected);
    let changes = |of: fn(&(u64, bool, bool)) -> bool| {
        let levels: Vec<bool> = drawing.changes.iter().map(of).collect();
        levels.windows(2).filter(|pair| pair[0] != pair[1]).count() as u64
    };
    let health = Health {
        scl_edges: changes(|change| change.1),
        sda_edges: changes(|change| change.2),
        together: 0,
        starts: 3,
        stops: 1,
        bytes: 5,
        answered: 2,
        cut: 0,
        clocks_before_start: 0,
    };
    assert_eq!(events.health(), health);
    assert!(format!("{events:?}").contains(&format!("Edges {{ last_ns: Some({}), .. }}", drawing.now - 1_000)));
}

/// Count, shortest, longest and median of these times, each with when it ended.
fn check(name: &str, spread: &Spread, mut times: Vec<(u64, u64)>) {
    assert_eq!(spread.count(), times.len() as u64, "{name}: {spread:?}");
    times.sort_unstable();
    let longest = times.last().map(|&(ns, _)| times[times.partition_point(|(other, _)| *other < ns)]);
    assert_eq!((spread.shortest(), spread.longest()), (times.first().copied(), longest), "{name}");
    let median = times.get(times.len() / 2).map(|(ns, _)| *ns);
    let within = |found: u64, median: u64| found <= median && (median - found) * 500 <= median;
    assert!(spread.median().zip(median).is_some_and(|(found, median)| within(found, median)), "{name}: {median:?}");
}

/// The times as the data sheets define them, of the bits that change SDA.
#[test]
fn times_are_those_of_the_data_sheets() {
    let (drawing, paces, begins) = write_and_read();
    let folder = tempdir().unwrap();
    let (recording, bus) = drawing.open(&folder, 50);
    let mut events = recording.events(&bus).unwrap();
    assert!(events.by_ref().all(|event| event.is_ok()));
    let timing = events.timing();
    let bit = |n: usize, bit: u64| begins[n] + bit * paces[n].cycle();
    let of_bits = |from: u64, time: &dyn Fn(usize, u64) -> (u64, u64)| -> Vec<(u64, u64)> {
        (0..5).flat_map(|n| (from..from + 8).map(move |bit| (n, bit))).map(|(n, bit)| time(n, bit)).collect()
    };
    // Inside a byte: from its first rising SCL to its last.
    check("low", &timing.low, of_bits(1, &|n, b| (paces[n].low, bit(n, b) + paces[n].low)));
    check("period", &timing.period, of_bits(1, &|n, b| (paces[n].cycle(), bit(n, b) + paces[n].low)));
    check("high", &timing.high, of_bits(0, &|n, b| (paces[n].high, bit(n, b + 1))));
    // 1010_0000: the first four bits change SDA; 0011_0101 five of the last six; 1010_0001 also the eighth.
    let written = [(0, vec![0, 1, 2, 3]), (1, vec![2, 4, 5, 6, 7]), (2, vec![0, 1, 2, 3, 7])];
    let written = || written.iter().flat_map(|(n, bits)| bits.iter().map(move |b| (*n, *b)));
    let mut setup: Vec<_> =
        written().map(|(n, b)| (paces[n].low - paces[n].controller, bit(n, b) + paces[n].low)).collect();
    // The controller's ACK after the first byte read, its NACK after the second, and its zero before STOP.
    let acknowledge = |n: usize| (paces[n].low - paces[n].controller, bit(n, 8) + paces[n].low);
    let stop = (paces[4].low - paces[4].controller, bit(4, 9) + paces[4].low);
    // Before the repeated START it lets SDA go.
    let again = (paces[2].low - paces[2].controller, begins[2] - 4_200 - 4_700);
    setup.extend([acknowledge(3), acknowledge(4), stop, again]);
    check("setup_data", &timing.setup_data, setup);
    // A first bit and a released acknowledge bit may be the other side's letting go.
    let mut hold: Vec<_> = written()
        .filter(|(_, b)| *b > 0)
        .map(|(n, b)| (paces[n].controller, bit(n, b) + paces[n].controller))
        .collect();
    hold.push((paces[3].controller, bit(3, 8) + paces[3].controller));
    check("hold_data", &timing.hold_data, hold);
    // The device: its ACK of 0x35 and of 0xA1 after a one, then 1100_0011 and 0101_1010 where they change.
    let device = [(1, vec![8]), (2, vec![8]), (3, vec![2, 6]), (4, vec![1, 2, 3, 5, 6, 7])];
    let device = device.iter().flat_map(|(n, bits)| bits.iter().map(move |b| (*n, *b)));
    let device = device.map(|(n, b): (usize, u64)| (paces[n].device, bit(n, b) + paces[n].device)).collect();
    check("device_data", &timing.device_data, device);
    let rise = |(n, b): (usize, u64), by: fn(&Pace) -> u64| (by(&paces[n]), bit(n, b) + by(&paces[n]));
    let mut rises: Vec<_> = [(0, 0), (0, 2), (1, 2), (1, 5), (1, 7), (2, 0), (2, 2), (2, 7), (4, 8)]
        .into_iter()
        .map(|at| rise(at, |pace| pace.controller))
        .collect();
    rises.extend([(3, 0), (3, 6), (4, 1), (4, 3), (4, 6)].map(|at| rise(at, |pace| pace.device)));
    rises.push((paces[2].controller, bit(1, 9) + paces[2].controller));
    check("rise_within", &timing.rise_within, rises);
    let (restart, second) = (begins[2] - 4_200, drawing.now - 4_100);
    let starts = vec![(4_000, START + 4_000), (4_200, begins[2]), (4_100, drawing.now)];
    check("hold_start", &timing.hold_start, starts);
    check("setup_start", &timing.setup_start, vec![(4_700, restart)]);
    check("setup_stop", &timing.setup_stop, vec![(4_400, second - 6_000)]);
    check("bus_free", &timing.bus_free, vec![(6_000, second)]);
}

/// A byte is over with its ninth clock; a condition before that leaves whole bits, and the clock that it lies in is none.
#[test]
fn a_condition_inside_of_a_byte_says_how_many_bits_it_cut() {
    let mut drawing = Drawing::new();
    let mut starts = vec![drawing.now];
    drawing.start(4_000);
    [true, false, true].iter().for_each(|level| drawing.bit(*level, false));
    drawing.restart(4_000, 4_000);
    starts.push(drawing.now - 4_000);
    let begin = drawing.now;
    drawing.byte(0xA0, true);
    (0..8).for_each(|_| drawing.bit(true, false));
    drawing.stop(4_000);
    let stop = drawing.now;
    // Outside of a transfer clocks are nothing.
    drawing.wait(5_000);
    drawing.scl(false);
    drawing.bit(false, false);
    drawing.bit(true, false);
    drawing.scl(true);
    drawing.wait(4_000);
    starts.push(drawing.now);
    drawing.start(4_000);
    drawing.stop(4_000);
    let last = drawing.now;
    drawing.wait(1_000);
    let folder = tempdir().unwrap();
    let (recording, bus) = drawing.open(&folder, 50);
    let mut events = recording.events(&bus).unwrap();
    let found: Vec<BusEvent> = events.by_ref().map(Result::unwrap).collect();
    let expected = [
        BusEvent::Start { at_ns: starts[0], repeated: false, cut_bits: 0 },
        BusEvent::Start { at_ns: starts[1], repeated: true, cut_bits: 3 },
        BusEvent::Byte(drawing.pace.byte(Role::Address, 0xA0, true, begin)),
        BusEvent::Stop { at_ns: stop, cut_bits: 8 },
        BusEvent::Start { at_ns: starts[2], repeated: false, cut_bits: 0 },
        BusEvent::Stop { at_ns: last, cut_bits: 0 },
        BusEvent::End { at_ns: drawing.now, in_transfer: false },
    ];
    assert_eq!(found, expected);
    let health = events.health();
    assert_eq!((health.starts, health.stops, health.cut, health.bytes, health.answered), (3, 2, 2, 1, 1));
    // Three bits, a byte's first eight, and eight more; the clocks outside of a transfer are no byte's.
    assert_eq!((events.timing().high.count(), events.timing().low.count()), (3 + 8 + 8, 3 + 8 + 8));
}

/// A recording that begins in the middle of a transfer: its clocks are counted, and nothing is measured by them.
#[test]
fn what_comes_before_the_first_start_is_no_byte() {
    let mut drawing = Drawing::new();
    drawing.lines(false, true);
    drawing.byte(0x55, true);
    drawing.stop(4_000);
    let first = drawing.now;
    // Clocks between transfers are another matter.
    drawing.wait(5_000);
    drawing.scl(false);
    drawing.bit(true, false);
    drawing.lines(true, true);
    drawing.wait(4_000);
    drawing.start(4_000);
    let begin = drawing.now;
    drawing.byte(0xA0, false);
    drawing.stop(4_000);
    let folder = tempdir().unwrap();
    let (recording, bus) = drawing.open(&folder, 50);
    let mut events = recording.events(&bus).unwrap();
    let found: Vec<BusEvent> = events.by_ref().map(Result::unwrap).collect();
    let expected = [
        BusEvent::Stop { at_ns: first, cut_bits: 0 },
        BusEvent::Start { at_ns: begin - 4_000, repeated: false, cut_bits: 0 },
        BusEvent::Byte(drawing.pace.byte(Role::Address, 0xA0, false, begin)),
        BusEvent::Stop { at_ns: drawing.now, cut_bits: 0 },
        BusEvent::End { at_ns: drawing.now, in_transfer: false },
    ];
    assert_eq!(found, expected);
    let (health, timing) = (events.health(), events.timing());
    assert_eq!((health.clocks_before_start, health.answered), (10, 0));
    assert_eq!((timing.high.count(), timing.low.count(), timing.rise_within.count()), (8, 8, 3));
}

/// Stretches end by STOP, by START, by the loss of the supply, or with the recording.
#[test]
fn stretches_hold_their_bytes_and_how_they_end() {
    let mut drawing = Drawing::new();
    let first = drawing.now;
    drawing.start(4_000);
    drawing.byte(0xA0, true);
    drawing.byte(0x12, true);
    drawing.byte(0x34, false);
    let first_bytes = drawing.now;
    drawing.restart(4_000, 4_000);
    let second = drawing.now - 4_000;
    drawing.byte(0xA3, true);
    drawing.answer(0x77, true);
    let second_bytes = drawing.now;
    drawing.bit(true, true);
    drawing.stop(4_000);
    let folder = tempdir().unwrap();
    let (recording, bus) = drawing.open(&folder, 50);
    let mut segments = recording.segments(&bus).unwrap();
    let found: Vec<Seen> = segments.by_ref().map(Result::unwrap).collect();
    let address = |value, start: u64| Some(drawing.pace.byte(Role::Address, value, true, start + 4_000));
    let expected = [
        Seen::Segment(BusSegment {
            start_ns: first,
            repeated: false,
            address: address(0xA0, first),
            bytes: vec![0x12, 0x34],
            len: 2,
            last_acked: false,
            last_byte_ns: first_bytes,
            end_ns: second,
            end: SegmentEnd::Restart,
            cut_bits: 0,
        }),
        Seen::Segment(BusSegment {
            start_ns: second,
            repeated: true,
            address: address(0xA3, second),
            bytes: vec![0x77],
            len: 1,
            last_acked: true,
            last_byte_ns: second_bytes,
            end_ns: drawing.now,
            end: SegmentEnd::Stop,
            cut_bits: 1,
        }),
        Seen::End { at_ns: drawing.now },
    ];
    assert_eq!(found, expected);
    let of = |seen: &Seen| match seen {
        Seen::Segment(segment) => (segment.device(), segment.is_read(), segment.answered()),
        other => panic!("{other:?}"),
    };
    assert_eq!((of(&found[0]), of(&found[1])), ((Some(0x50), false, true), (Some(0x51), true, true)));
    assert_eq!(segments.events().health().bytes, 5);
}

#[test]
fn a_stretch_without_supply_or_with_the_end_of_the_recording_is_cut_there() {
    let folder = tempdir().unwrap();
    let text = "Time [us],SCL,SDA,VCC\n0,1,1,1\n10,1,0,1\n20,0,0,1\n21,0,0,1\n30,0,0,0\n40,1,1,0\n50,1,1,3.3\n60,1,0,3.3\n70,0,0,5\n80,0,0,5\n";
    let path = files::write(&folder, "supply.csv", text);
    let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
    let bus = recording.buses().unwrap().remove(0);
    let found: Vec<Seen> = recording.segments(&bus).unwrap().map(Result::unwrap).collect();
    let cut = |start_ns, end_ns, end| {
        let (address, bytes, last_byte_ns) = (None, Vec::new(), start_ns);
        let (repeated, len, last_acked, cut_bits) = (false, 0, false, 0);
        Seen::Segment(BusSegment {
            start_ns,
            repeated,
            address,
            bytes,
            len,
            last_acked,
            last_byte_ns,
            end_ns,
            end,
            cut_bits,
        })
    };
    let supply = |at_ns, on, mv| Seen::Supply { at_ns, on, mv };
    let expected = [
        supply(0, true, None),
        cut(10_000, 30_000, SegmentEnd::PowerDown),
        supply(30_000, false, None),
        supply(50_000, true, Some(3300)),
        supply(70_000, true, Some(5000)),
        cut(60_000, 80_000, SegmentEnd::Recording),
        Seen::End { at_ns: 80_000 },
    ];
    assert_eq!(found, expected);
    let Seen::Segment(segment) = &found[1] else { panic!("{found:?}") };
    assert_eq!((segment.device(), segment.is_read(), segment.answered()), (None, false, false));
    let events: Vec<BusEvent> = recording.events(&bus).unwrap().map(Result::unwrap).collect();
    // The supply that only changes does not end the transfer under way.
    assert_eq!(events.last(), Some(&BusEvent::End { at_ns: 80_000, in_transfer: true }));
    assert!(!events.iter().any(|event| matches!(event, BusEvent::Start { repeated: true, .. })));
    // Both lines rose at 40 us.
    let mut health = recording.events(&bus).unwrap();
    assert!(health.by_ref().all(|event| event.is_ok()));
    assert_eq!(health.health().together, 1);
    let edges: Vec<Edge> = recording.edges(&bus).unwrap().map(Result::unwrap).collect();
    assert_eq!(edges.iter().filter(|edge| matches!(edge, Edge::Line { together: true, .. })).count(), 2);
    assert_eq!(
        edges.iter().map(Edge::at_ns).collect::<Vec<_>>(),
        [0, 0, 10_000, 20_000, 30_000, 40_000, 40_000, 50_000, 60_000, 70_000, 70_000, 80_000]
    );
}

/// A pulse as long as the filter is an edge, a shorter one is a spike; what the recording ends with counts.
#[test]
fn pulses_shorter_than_the_filter_are_spikes() {
    let folder = tempdir().unwrap();
    let rows = [(0, 1, 1), (100, 0, 1), (149, 1, 1), (200, 1, 0), (250, 1, 1), (400, 0, 0), (401, 1, 0), (500, 0, 0)];
    let rows: String = rows.map(|(at, scl, sda)| format!("{at},{scl},{sda}\n")).concat();
    let path = files::write(&folder, "spikes.csv", &format!("Time [ns],SCL,SDA\n{rows}520,0,1\n"));
    let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
    let bus = recording.bus("SCL", "SDA").unwrap();
    let mut edges = recording.edges(&bus).unwrap();
    let found: Vec<Edge> = edges.by_ref().map(Result::unwrap).collect();
    let line = |at_ns, line, level| Edge::Line { at_ns, line, level, together: false };
    let expected = [
        Edge::Begin { scl: true, sda: true },
        line(200, Line::Sda, false),
        line(250, Line::Sda, true),
        line(400, Line::Sda, false),
        line(500, Line::Scl, false),
        line(520, Line::Sda, true),
        Edge::End { at_ns: 520 },
    ];
    assert_eq!((found.as_slice(), edges.spikes()), (expected.as_slice(), 2));
    assert_eq!(edges.resolution_ns(), 10, "what all these times are multiples of");
    assert!(edges.next().is_none());
}
