//! What a replay finds in recordings drawn by hand, at both levels alike.

use pagewise_simulator::model::{BusyAnswer, ByteRange, DeviceBit, MemoryKind, Region, RegionAccess, RegionKind};
use pagewise_simulator::recording::{
    CycleSeen, Difference, Known, ReadOptions, Recording, RecordingReplay, ReplayLevel, Role,
};
use pagewise_simulator::{ChipId, ChipModel, Event, EventKind, Line, Note, Rig, RigConfig, Straps, WireConfig};
use tempfile::tempdir;

use super::drawn::{Drawing, Pace};
use super::files;

/// A rig that has been running for a while: a recording is played from its own time on.
const BEFORE: u64 = 1_234_567;

fn rig(models: &[ChipModel]) -> (Rig, Vec<ChipId>) {
    let rig = Rig::new(RigConfig::default().with_supply_mv(3_300));
    let chips = models.iter().enumerate().map(|(n, model)| rig.attach(model.clone(), Straps::address(n as u8 * 4)));
    let chips = chips.collect();
    rig.advance_ns(BEFORE);
    (rig, chips)
}

/// The replay at byte level and its rig; at the wire level it is the same.
fn replay(drawing: &Drawing, models: &[ChipModel]) -> (RecordingReplay, Rig, Vec<ChipId>) {
    let folder = tempdir().unwrap();
    let (recording, bus) = drawing.open(&folder, 50);
    let ((bytes, chips), (wire, _)) = (rig(models), rig(models));
    let found = bytes.replay_recording(recording.events(&bus).unwrap()).unwrap();
    let lines = wire.replay_recording_at_wire(recording.edges(&bus).unwrap(), WireConfig::IDEAL, &found).unwrap();
    assert_eq!((found.level, lines.level), (ReplayLevel::Byte, ReplayLevel::Wire));
    let said = |found: &RecordingReplay| {
        let counts = (found.starts, found.acknowledges, found.bytes, found.differences);
        (counts, found.cycles.clone(), found.unset.clone(), found.first_differences.clone())
    };
    assert_eq!(said(&found), said(&lines));
    // Also once the write cycles are over that run at its end.
    let later = [&bytes, &wire].map(Rig::fork);
    later.iter().for_each(|rig| rig.advance_ns(20_000_000));
    for [bytes, wire] in [[&bytes, &wire], [&later[0], &later[1]]] {
        assert!(chips.iter().all(|chip| bytes.memory(*chip) == wire.memory(*chip)));
    }
    (found, bytes, chips)
}

/// The times of the ends of write cycles in a trace.
fn cycle_ends(events: &[Event]) -> Vec<u64> {
    let end = |event: &Event| matches!(event.kind, EventKind::Chip { note: Note::CycleEnd { .. }, .. });
    events.iter().filter(|event| end(event)).map(|event| event.at_ns - BEFORE).collect()
}

/// Time of the eighth rising SCL of a byte that begins at `begin`.
fn received(pace: &Pace, begin: u64) -> u64 {
    begin + 7 * pace.cycle() + pace.low
}

/// START, a device address and its answer, then STOP; returns when the address was received.
fn poll(drawing: &mut Drawing, control: u8, acked: bool) -> u64 {
    drawing.start(4_000);
    let at = received(&drawing.pace, drawing.now);
    drawing.byte(control, acked);
    drawing.stop(4_000);
    drawing.wait(20_000);
    at
}

fn write(drawing: &mut Drawing, bytes: &[u8]) -> u64 {
    drawing.start(4_000);
    drawing.bytes(bytes);
    drawing.stop(4_000);
    let stop = drawing.now;
    drawing.wait(20_000);
    stop
}

fn read(drawing: &mut Drawing, header: &[u8], bytes: &[u8]) {
    drawing.start(4_000);
    if !header.is_empty() {
        drawing.bytes(header);
        drawing.restart(4_000, 4_000);
    }
    drawing.byte(header.first().map_or(0xA1, |control| control | 1), true);
    for (n, byte) in bytes.iter().enumerate() {
        drawing.answer(*byte, n + 1 < bytes.len());
    }
    drawing.stop(4_000);
    drawing.wait(20_000);
}

/// W7: a cycle lasts from its STOP to the first answer; one that nobody asks about as long as the model's longest.
#[test]
fn a_write_cycle_is_as_long_as_the_recording_shows() {
    let mut drawing = Drawing::new();
    let stop = write(&mut drawing, &[0xA0, 0x00, 0x10, 0xAB]);
    poll(&mut drawing, 0xA0, false);
    let refused = poll(&mut drawing, 0xA0, false);
    // What another chip answers says nothing about this one.
    poll(&mut drawing, 0xA8, true);
    let answered = poll(&mut drawing, 0xA0, true);
    read(&mut drawing, &[0xA0, 0x00, 0x10], &[0xAB, 0xCD]);
    let last = write(&mut drawing, &[0xA0, 0x00, 0x11, 0xEF]);
    poll(&mut drawing, 0xA8, true);
    let models = [ChipModel::example_32_kbit(), ChipModel::example_32_kbit()];
    let (found, rig, chips) = replay(&drawing, &models);
    let chip = chips[0];
    let cycle = |stop_ns, refused_ns, answered_ns| CycleSeen { chip, stop_ns, refused_ns, answered_ns };
    assert_eq!(found.cycles, [cycle(stop, Some(refused), Some(answered)), cycle(last, None, None)]);
    assert_eq!(found.known, [Known { chip, region: None, offset: 0x11, byte: 0xCD }]);
    assert_eq!((found.starts, found.acknowledges, found.bytes, found.differences), (9, 4 + 4 + 4 + 4 + 1, 2, 0));
    assert_eq!(rig.memory(chip)[0x10..0x12], [0xAB, 0xCD]);
    let longest = models[0].write_cycle.max_ns;
    rig.advance_ns(longest);
    assert_eq!(cycle_ends(&rig.trace()), [answered, last + longest]);
    assert_eq!(rig.memory(chip)[0x10..0x12], [0xAB, 0xEF]);
    let starts: Vec<u64> =
        rig.trace().iter().filter(|event| event.kind == EventKind::Start).map(|event| event.at_ns).collect();
    assert_eq!(starts[..2], [BEFORE + 10_000, BEFORE + stop + 20_000]);
    let address = |event: &&Event| matches!(event.kind, EventKind::Address { .. });
    assert_eq!(rig.trace().iter().find(address).map(|event| event.at_ns), Some(BEFORE + 14_000));
}

/// W7, axis: a part that answers a read while it is busy has not said that it is ready.
#[test]
fn an_answer_that_a_busy_part_gives_too_does_not_end_its_cycle() {
    let mut model = ChipModel::example_32_kbit();
    model.busy_answer = BusyAnswer::WritesOnly;
    let mut drawing = Drawing::new();
    let stop_ns = write(&mut drawing, &[0xA0, 0x00, 0x10, 0xAB]);
    let refused = poll(&mut drawing, 0xA0, false);
    drawing.start(4_000);
    drawing.byte(0xA1, true);
    drawing.answer(0xFF, false);
    drawing.stop(4_000);
    drawing.wait(20_000);
    let answered = poll(&mut drawing, 0xA0, true);
    let folder = tempdir().unwrap();
    let (recording, bus) = drawing.open(&folder, 50);
    let (rig, chips) = rig(&[model]);
    let found = rig.replay_recording(recording.events(&bus).unwrap()).unwrap();
    let chip = chips[0];
    let (refused_ns, answered_ns) = (Some(refused), Some(answered));
    assert_eq!(found.cycles, [CycleSeen { chip, stop_ns, refused_ns, answered_ns }]);
}

/// R4, R5: after power-up, and after a condition inside of a byte that it drives, the pointer is the chip's own business.
#[test]
fn bytes_from_a_pointer_that_nothing_has_set_are_not_compared() {
    let mut drawing = Drawing::new();
    let mut unset = Vec::new();
    let on = |drawing: &mut Drawing, unset: &mut Vec<u64>| {
        let first = drawing.now + 4_000 + 9 * drawing.pace.cycle();
        unset.extend([first, first + 9 * drawing.pace.cycle()]);
        read(drawing, &[], &[0x12, 0x34]);
    };
    on(&mut drawing, &mut unset);
    read(&mut drawing, &[0xA0, 0x00, 0x20], &[0x55]);
    read(&mut drawing, &[], &[0x66, 0x77]);
    // A START in the first clock of a byte that is read.
    drawing.start(4_000);
    drawing.byte(0xA1, true);
    drawing.restart(4_000, 4_000);
    let begin = drawing.now + 9 * drawing.pace.cycle();
    drawing.byte(0xA1, true);
    drawing.answer(0x78, false);
    drawing.stop(4_000);
    unset.push(begin);
    drawing.wait(20_000);
    read(&mut drawing, &[0xA0, 0x00, 0x20], &[0x55, 0x66]);
    let (found, rig, chips) = replay(&drawing, &[ChipModel::example_32_kbit()]);
    assert_eq!((found.unset, found.bytes, found.differences), (unset, 5, 0));
    let known: Vec<_> = found.known.iter().map(|known| (known.offset, known.byte)).collect();
    assert_eq!(known, [(0x20, 0x55), (0x21, 0x66), (0x22, 0x77)]);
    assert_eq!(rig.memory(chips[0])[0x1F..0x24], [0xFF, 0x55, 0x66, 0x77, 0xFF]);
}

/// W5: a byte that STOP cuts short takes those before it along; W4: a START drops them.
#[test]
fn a_write_that_is_cut_short_stores_nothing_and_what_is_read_then_is_taken_over() {
    let mut drawing = Drawing::new();
    drawing.start(4_000);
    drawing.bytes(&[0xA0, 0x00, 0x40, 0x11]);
    drawing.bit(true, false);
    drawing.stop(4_000);
    drawing.wait(20_000);
    read(&mut drawing, &[0xA0, 0x00, 0x40], &[0x22]);
    drawing.start(4_000);
    drawing.bytes(&[0xA0, 0x00, 0x50, 0x33]);
    drawing.restart(4_000, 4_000);
    drawing.bytes(&[0xA0, 0x00, 0x4F]);
    drawing.restart(4_000, 4_000);
    drawing.byte(0xA1, true);
    drawing.answer(0x44, true);
    drawing.answer(0x55, false);
    drawing.stop(4_000);
    let (found, rig, chips) = replay(&drawing, &[ChipModel::example_32_kbit()]);
    assert_eq!((found.cycles.len(), found.differences), (0, 0));
    let known: Vec<_> = found.known.iter().map(|known| (known.offset, known.byte)).collect();
    assert_eq!(known, [(0x40, 0x22), (0x4F, 0x44), (0x50, 0x55)]);
    assert_eq!(rig.memory(chips[0])[0x4F..0x51], [0x44, 0x55]);
}

/// W10: an FRAM-like part stores each byte as it comes, so that what is read back is its own answer.
#[test]
fn bytes_written_into_fram_are_not_taken_over() {
    let mut model = ChipModel::example_32_kbit();
    model.memory = MemoryKind::Fram;
    let mut drawing = Drawing::new();
    write(&mut drawing, &[0xA0, 0x0F, 0xFE, 1, 2, 3]);
    read(&mut drawing, &[0xA0, 0x0F, 0xFD], &[9, 1, 7, 3, 8]);
    // A header alone writes nothing.
    write(&mut drawing, &[0xA0, 0x0F, 0xFD]);
    read(&mut drawing, &[0xA0, 0x0F, 0xFC], &[6]);
    let (found, rig, chips) = replay(&drawing, &[model]);
    let known: Vec<_> = found.known.iter().map(|known| (known.offset, known.byte)).collect();
    assert_eq!((found.cycles.len(), known), (0, vec![(0xFFD, 9), (1, 8), (0xFFC, 6)]));
    let read = found.first_differences.iter().map(|difference| (difference.recorded.value, difference.value));
    assert_eq!(read.collect::<Vec<_>>(), [(7, 2)], "the recorded byte is another one");
    let memory = rig.memory(chips[0]);
    assert_eq!((&memory[..2], &memory[0xFFC..]), ([3, 8].as_slice(), [6, 9, 1, 2].as_slice()));
}

/// A region of its own device code, 1011.
fn region(kind: RegionKind, access: RegionAccess, len: u32, rolls_after: u32) -> ChipModel {
    use DeviceBit::{Fixed, Pin};
    let mut model = ChipModel::example_32_kbit();
    model.regions = vec![Region {
        kind,
        device_bits: Some([Fixed(true), Fixed(false), Fixed(true), Fixed(true), Pin(2), Pin(1), Pin(0)]),
        word_address: 0,
        address_mask: 0x1F,
        word_address_bytes: 2,
        len,
        access,
        protects: ByteRange::EMPTY,
        contents: Vec::new(),
        rolls_after,
        shares_pointer: false,
    }];
    model
}

/// G1: what a recording shows of an identification page goes there.
#[test]
fn a_region_is_taken_over_like_the_array() {
    let model = region(RegionKind::IdentificationPage, RegionAccess::Lockable, 32, 0);
    let mut drawing = Drawing::new();
    read(&mut drawing, &[0xB0, 0x00, 0x1F], &[0x11, 0x22]);
    let stop_ns = write(&mut drawing, &[0xB0, 0x00, 0x01, 0x33]);
    let answered = poll(&mut drawing, 0xB0, true);
    read(&mut drawing, &[0xB0, 0x00, 0x00], &[0x22, 0x44, 0x55]);
    let (found, rig, chips) = replay(&drawing, &[model]);
    let chip = chips[0];
    let known = |offset, byte| Known { chip, region: Some(0), offset, byte };
    assert_eq!(found.known, [known(0x1F, 0x11), known(0, 0x22), known(2, 0x55)]);
    assert_eq!(found.cycles, [CycleSeen { chip, stop_ns, refused_ns: None, answered_ns: Some(answered) }]);
    assert_eq!(rig.region(chip, 0)[..3], [0x22, 0x33, 0x55]);
    assert_eq!((found.differences, found.first_differences[0].value), (1, 0x33), "the byte that was written");
}

/// G1a: what is read beyond a region until it rolls over belongs to nothing and is compared only.
#[test]
fn zeros_behind_a_region_are_not_taken_over() {
    let model = region(RegionKind::SerialNumber, RegionAccess::ReadOnly, 4, 8);
    let mut drawing = Drawing::new();
    read(&mut drawing, &[0xB0, 0x00, 0x03], &[0x33, 0x00, 0x77, 0x00, 0x00, 0x11]);
    let (found, rig, chips) = replay(&drawing, &[model]);
    let read: Vec<(u8, u8)> = found.first_differences.iter().map(|it| (it.recorded.value, it.value)).collect();
    assert_eq!((read, found.bytes), (vec![(0x77, 0x00)], 6));
    let region = rig.region(chips[0], 0);
    assert_eq!((region.len(), region[0], region[3]), (4, 0x11, 0x33));
}

/// At the wire level a line may rise later than in the recording: the bit is what it is when the high part ends.
#[test]
fn a_fast_recording_reads_alike_on_slow_lines() {
    let mut drawing = Drawing::new();
    drawing.pace = Pace { low: 500, high: 800, controller: 100, device: 400 };
    for _ in 0..3 {
        read(&mut drawing, &[0xA0, 0x00, 0x10], &[0x55, 0xCA, 0x0F]);
    }
    let folder = tempdir().unwrap();
    let (recording, bus) = drawing.open(&folder, 50);
    let ((bytes, _), (wire, _)) = (rig(&[ChipModel::example_32_kbit()]), rig(&[ChipModel::example_32_kbit()]));
    let found = bytes.replay_recording(recording.events(&bus).unwrap()).unwrap();
    let lines = wire.replay_recording_at_wire(recording.edges(&bus).unwrap(), WireConfig::TYPICAL, &found).unwrap();
    assert_eq!((found.differences, lines.differences, lines.bytes), (0, 0, 9));
}

/// All differences are counted, the first hundred kept: what was recorded, and what the simulated chips did instead.
#[test]
fn a_chip_that_is_not_simulated_differs_in_each_answer() {
    let mut drawing = Drawing::new();
    let mut begins = Vec::new();
    for _ in 0..60 {
        begins.push(drawing.now + 4_000);
        read(&mut drawing, &[0xA8, 0x00, 0x00], &[0x0F]);
    }
    let (found, ..) = replay(&drawing, &[ChipModel::example_32_kbit()]);
    assert_eq!((found.starts, found.acknowledges, found.bytes), (120, 240, 60));
    assert_eq!((found.differences, found.first_differences.len(), found.unset.len()), (300, 100, 0));
    let pace = drawing.pace;
    let difference = |role, value, begin, sees| {
        let recorded = pace.byte(role, value, role != Role::Read, begin);
        Difference { at_ns: begin, recorded, value: sees, acked: false }
    };
    assert_eq!(found.first_differences[0], difference(Role::Address, 0xA8, begins[0], 0xA8));
    assert_eq!(found.first_differences[6], difference(Role::Written, 0x00, begins[1] + 9 * pace.cycle(), 0x00));
    let byte = begins[1] + 36 * pace.cycle() + pace.low + 8_000;
    assert_eq!(found.first_differences[9], difference(Role::Read, 0x0F, byte, 0xFF));
}

/// P1: recorded supply goes to the chips, with the rig's own voltage where the recording has none.
#[test]
fn the_supply_of_a_recording_is_the_rigs() {
    let folder = tempdir().unwrap();
    let at = |events: &[Event]| -> Vec<(u64, u32)> {
        let supply = events.iter().filter_map(|event| match event.kind {
            EventKind::Supply { mv } => Some((event.at_ns - BEFORE, mv)),
            _ => None,
        });
        supply.collect()
    };
    for ([first, second, third], expected) in [
        (["1", "0", "1"], vec![(0, 3_300), (20_000, 0), (30_000, 3_300)]),
        (["2.5", "0", "5"], vec![(0, 2_500), (20_000, 0), (30_000, 5_000)]),
    ] {
        let text = format!("Time [us],SCL,SDA,VCC\n0,1,1,{first}\n20,1,1,{second}\n30,1,1,{third}\n40,1,1,{third}\n");
        let recording = Recording::open(files::write(&folder, "supply.csv", &text), &ReadOptions::default()).unwrap();
        let bus = recording.bus("SCL", "SDA").unwrap();
        let (bytes, wire) = (rig(&[ChipModel::example_32_kbit()]).0, rig(&[ChipModel::example_32_kbit()]).0);
        let found = bytes.replay_recording(recording.events(&bus).unwrap()).unwrap();
        wire.replay_recording_at_wire(recording.edges(&bus).unwrap(), WireConfig::IDEAL, &found).unwrap();
        assert_eq!((at(&bytes.trace()), at(&wire.trace())), (expected.clone(), expected));
        assert_eq!((bytes.now_ns(), wire.now_ns()), (BEFORE + 40_000, BEFORE + 40_000));
    }
}

/// A write cycle that the loss of the supply tore is not the one of which a later answer speaks.
#[test]
fn a_cycle_that_the_supply_cut_is_not_bounded_by_what_comes_later() {
    let folder = tempdir().unwrap();
    let mut drawing = Drawing::new();
    let first = write(&mut drawing, &[0xA0, 0x00, 0x00, 0x11]);
    let off = drawing.now;
    drawing.wait(100_000);
    let on = drawing.now;
    drawing.wait(20_000_000);
    let begin = drawing.now + 4_000 + 9 * drawing.pace.cycle();
    read(&mut drawing, &[], &[0x77]);
    let second = write(&mut drawing, &[0xA0, 0x00, 0x80, 0x22]);
    let answered = poll(&mut drawing, 0xA0, true);
    let (recording, bus) = drawing.open_with_supply(&folder, &[(off, false), (on, true)]);
    let (rig, chips) = rig(&[ChipModel::example_32_kbit()]);
    let found = rig.replay_recording(recording.events(&bus).unwrap()).unwrap();
    let chip = chips[0];
    let cycle = |stop_ns, answered_ns| CycleSeen { chip, stop_ns, refused_ns: None, answered_ns };
    assert_eq!((found.cycles, found.unset), (vec![cycle(first, None), cycle(second, Some(answered))], vec![begin]));
    assert_eq!((found.differences, rig.memory(chip)[0x80]), (0, 0x22));
}

/// Lines are driven as recorded, from the levels with which it begins; of two that changed in one sample the first
/// comes half a sample earlier. Nobody answers here, so that the lines are the controller's alone.
#[test]
fn the_wire_level_plays_the_edges_at_their_times() {
    let folder = tempdir().unwrap();
    let mut drawing = Drawing::new();
    drawing.changes[0] = (0, true, false);
    drawing.sda(false);
    drawing.changes.truncate(1);
    drawing.wait(2_000);
    drawing.sda(true);
    drawing.wait(6_000);
    drawing.pace.controller = 0;
    drawing.start(4_000);
    drawing.byte(0xA7, false);
    drawing.stop(4_000);
    drawing.wait(10_000);
    let (recording, bus) = drawing.open_as_samples(&folder);
    let (rig, _) = rig(&[]);
    let found = rig.fork().replay_recording([]).unwrap();
    rig.replay_recording_at_wire(recording.edges(&bus).unwrap(), WireConfig::IDEAL, &found).unwrap();
    let mut expected = Vec::new();
    let mut before = (true, true);
    for &(at, scl, sda) in &drawing.changes {
        let both = before.0 != scl && before.1 != sda;
        let changed = [(Line::Scl, scl, before.0 != scl, both), (Line::Sda, sda, before.1 != sda, false)];
        let changed = changed.into_iter().filter(|(_, _, changed, _)| *changed);
        expected
            .extend(changed.map(|(line, level, _, first)| (BEFORE + at - if first { 500 } else { 0 }, line, level)));
        before = (scl, sda);
    }
    assert_eq!(rig.waves(), expected);
    assert_eq!(rig.now_ns(), BEFORE + drawing.now);
}
