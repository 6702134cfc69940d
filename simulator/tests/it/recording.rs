//! The reader of recordings, on recordings made from a rig: what comes out is what was put in.
//!
//! Session files: format as the sigrok project documents it (version 2). Their use on real recordings is tested where the
//! cards are.

mod bad;
mod decoded;
mod drawn;
mod files;
mod formats;
mod long;
mod replayed;

use embedded_hal::i2c::I2c;
use pagewise_simulator::recording::{BusEvent, ReadOptions, Recording, Role, Seen, SegmentEnd};
use pagewise_simulator::{ChipModel, CycleTime, Event, EventKind, Rig, RigConfig, Straps, WireConfig};
use tempfile::tempdir;

use files::{Layout, PLAIN};

/// Two chips and an absent one: writes with polling, reads on across a block, accesses to nobody.
fn traffic(rig: &Rig, mut bus: impl I2c) {
    let data: Vec<u8> = (0..40_u8).map(|i| i.wrapping_mul(7) + 3).collect();
    for (n, page) in data.chunks(16).enumerate() {
        let header = [n as u8 * 16];
        bus.write(0x50, &[&header, page].concat()).unwrap();
        while bus.write(0x50, &header).is_err() {
            rig.advance_ns(150_000);
        }
    }
    assert!(bus.write(0x57, &[0]).is_err());
    bus.write(0x54, &[0x00, 0xF0, 1, 2, 3, 4, 5]).unwrap();
    rig.advance_ns(6_000_000);
    let mut read = [0; 300];
    bus.write_read(0x50, &[0], &mut read).unwrap();
    bus.write_read(0x54, &[0x00, 0xF0], &mut read[..8]).unwrap();
    bus.read(0x54, &mut read[..3]).unwrap();
}

/// A part whose sequential reads go on into the next block, and another one beside it.
fn chips(rig: &Rig) {
    let mut blocks = ChipModel::example_16_kbit().with_capacity(1024);
    blocks.device_bits[4] = pagewise_simulator::model::DeviceBit::Fixed(false);
    for (model, strap) in [(blocks, 0), (ChipModel::example_32_kbit(), 4)] {
        let chip = rig.attach(model, Straps::address(strap));
        rig.set_write_cycle(chip, CycleTime::Typical);
    }
}

fn recorded() -> Rig {
    let rig = Rig::new(RigConfig::default().with_seed(5));
    chips(&rig);
    traffic(&rig, rig.bit_bang(WireConfig::IDEAL));
    rig
}

/// What a trace says, without times.
fn said(events: &[Event]) -> Vec<String> {
    let words = events.iter().filter_map(|event| match event.kind {
        EventKind::Start => Some("S".to_owned()),
        EventKind::RepeatedStart => Some("Sr".to_owned()),
        EventKind::Stop => Some("P".to_owned()),
        EventKind::Address { address, read, acked } => Some(format!("{:02X}{acked}", address << 1 | u8::from(read))),
        EventKind::Write { byte, acked } => Some(format!("w{byte:02X}{acked}")),
        EventKind::Read { byte, acked } => Some(format!("r{byte:02X}{acked}")),
        _ => None,
    });
    words.collect()
}

fn read(recording: &Recording) -> Vec<String> {
    let bus = recording.buses().unwrap().remove(0);
    recording.check(&bus).unwrap();
    let words = recording.events(&bus).unwrap().filter_map(|event| match event.unwrap() {
        BusEvent::Start { repeated, cut_bits: 0, .. } => Some(if repeated { "Sr" } else { "S" }.to_owned()),
        BusEvent::Stop { cut_bits: 0, .. } => Some("P".to_owned()),
        BusEvent::Byte(byte) => {
            let mark = match byte.role {
                Role::Address => "",
                Role::Written => "w",
                Role::Read => "r",
            };
            Some(format!("{mark}{:02X}{}", byte.value, byte.acked))
        }
        BusEvent::End { in_transfer: false, .. } | BusEvent::Supply { .. } => None,
        other => Some(format!("{other:?}")),
    });
    words.collect()
}

#[test]
fn every_format_gives_back_what_was_on_the_bus() {
    let rig = recorded();
    let (folder, expected) = (tempdir().unwrap(), said(&rig.trace()));
    let waves = rig.waves();
    let samples = files::samples(&waves, PLAIN.hz, 50_000);
    let layouts = [
        PLAIN,
        Layout { unit: 2, scl: 3, sda: 12, piece: 4096, ..PLAIN },
        Layout { unit: 3, scl: 20, sda: 1, piece: 4095, analog: true, ..PLAIN },
        Layout { unit: 8, scl: 60, sda: 61, piece: 0, ..PLAIN },
        Layout { unit: 9, scl: 71, sda: 0, piece: 0, ..PLAIN },
    ];
    let mut paths: Vec<_> = layouts
        .iter()
        .enumerate()
        .map(|(n, layout)| files::session(&folder, &format!("{n}.sr"), &samples, layout))
        .collect();
    paths.push(files::table(&folder, &files::samples(&waves, 4_000_000, 50_000), 4_000_000));
    paths.push(files::changes(&folder, &waves));
    let vcd = folder.path().join("rig.vcd");
    rig.write_vcd(&mut std::fs::File::create(&vcd).unwrap()).unwrap();
    paths.push(vcd);
    for path in paths {
        let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
        assert!(read(&recording) == expected, "{}", path.display());
    }
}

#[test]
fn edges_have_the_time_of_the_first_sample_that_shows_them() {
    let rig = recorded();
    let folder = tempdir().unwrap();
    let samples = files::samples(&rig.waves(), 24_000_000, 50_000);
    let path = files::session(&folder, "x.sr", &samples, &Layout { hz: 24_000_000, ..PLAIN });
    let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
    let mut events = recording.events(&recording.bus("SCL", "sda").unwrap()).unwrap();
    let starts: Vec<u64> = events
        .by_ref()
        .filter_map(|event| match event.unwrap() {
            BusEvent::Start { at_ns, .. } => Some(at_ns),
            _ => None,
        })
        .collect();
    let meant = rig.trace();
    let meant = meant.iter().filter(|event| matches!(event.kind, EventKind::Start | EventKind::RepeatedStart));
    let late: Vec<u64> = starts.iter().zip(meant.clone()).map(|(seen, meant)| seen - meant.at_ns).collect();
    assert_eq!(late.len(), meant.count());
    assert!(late.iter().all(|late| *late <= 42), "{late:?}");
    // 400 kHz by the plan of the rig: low 1375 ns, high 1125 ns; one sample is 42 ns.
    let timing = events.timing();
    let near = |spread: &pagewise_simulator::recording::Spread, ns: u64| {
        let (short, long) = (spread.shortest().unwrap().0, spread.longest().unwrap().0);
        assert!(short + 42 >= ns && long <= ns + 42, "{short} to {long}, not {ns}");
    };
    near(&timing.low, 1375);
    near(&timing.high, 1125);
    near(&timing.period, 2500);
    // SDA is set a third into the low part, and stays for less than a period where the next bit is the same.
    let (short, long) = (timing.setup_data.shortest().unwrap().0, timing.setup_data.longest().unwrap().0);
    assert!(short.abs_diff(1375 - 1375 / 3) <= 42 && long < 2500, "{short} to {long}");
    assert_eq!(events.edges().resolution_ns(), 42);
    assert_eq!(events.too_slow(), None);
}

#[test]
fn a_replay_finds_no_difference_in_the_same_chips_and_one_in_others() {
    let rig = recorded();
    let folder = tempdir().unwrap();
    let samples = files::samples(&rig.waves(), PLAIN.hz, 50_000);
    let path = files::session(&folder, "x.sr", &samples, &PLAIN);
    let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
    let bus = recording.buses().unwrap().remove(0);
    let fresh = |page| {
        let other = Rig::new(RigConfig::default().with_seed(99));
        chips(&other);
        let rig = Rig::new(RigConfig::default());
        let mut blocks = ChipModel::example_16_kbit().with_capacity(1024);
        blocks.page = page;
        blocks.device_bits[4] = pagewise_simulator::model::DeviceBit::Fixed(false);
        rig.attach(blocks, Straps::GROUND);
        rig.attach(ChipModel::example_32_kbit(), Straps::address(4));
        rig
    };
    let same = fresh(16);
    let bytes = same.replay_recording(recording.events(&bus).unwrap()).unwrap();
    assert_eq!(bytes.differences, 0, "{:#?}", bytes.first_differences);
    assert_eq!((bytes.cycles.len(), bytes.bytes, bytes.unset.len()), (4, 311, 0));
    let starts = recording.events(&bus).unwrap().filter(|event| matches!(event, Ok(BusEvent::Start { .. }))).count();
    assert_eq!(bytes.starts, starts as u64);
    let typical = ChipModel::example_16_kbit().write_cycle.typical_ns;
    for cycle in bytes.cycles.iter().filter(|cycle| cycle.refused_ns.is_some()) {
        let (refused, answered) =
            (cycle.refused_ns.unwrap() - cycle.stop_ns, cycle.answered_ns.unwrap() - cycle.stop_ns);
        assert!(refused <= typical && typical <= answered + 125, "{refused} {typical} {answered}");
    }
    let wire = fresh(16);
    for config in [WireConfig::IDEAL, WireConfig::TYPICAL] {
        let edges = recording.edges(&bus).unwrap();
        let replay = wire.fork().replay_recording_at_wire(edges, config, &bytes).unwrap();
        assert_eq!(replay.differences, 0, "{:#?}", replay.first_differences);
        assert_eq!((replay.acknowledges, replay.bytes), (bytes.acknowledges, bytes.bytes));
    }
    let other = fresh(8).replay_recording(recording.events(&bus).unwrap()).unwrap();
    assert!(other.differences > 0, "a part with another page stores other bytes");
}

/// What a part held before the recording begins is known from when it is read.
#[test]
fn a_replay_takes_over_what_is_read_before_it_is_written() {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.load(chip, 0x40, &[3, 1, 4, 1, 5]);
    let mut bus = rig.bit_bang(WireConfig::IDEAL);
    for _ in 0..2 {
        bus.write_read(0x50, &[0, 0x40], &mut [0; 5]).unwrap();
    }
    let folder = tempdir().unwrap();
    let path = files::session(&folder, "x.sr", &files::samples(&rig.waves(), PLAIN.hz, 50_000), &PLAIN);
    let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
    let bus = recording.buses().unwrap().remove(0);
    let blank = Rig::new(RigConfig::default());
    let chip = blank.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let replay = blank.replay_recording(recording.events(&bus).unwrap()).unwrap();
    let known: Vec<_> = replay.known.iter().map(|known| (known.offset, known.byte)).collect();
    assert_eq!((replay.differences, known), (0, vec![(0x40, 3), (0x41, 1), (0x42, 4), (0x43, 1), (0x44, 5)]));
    assert_eq!(blank.memory(chip)[0x40..0x46], [3, 1, 4, 1, 5, 0xFF]);
}

/// A value change dump has no samples; where a comment says their rate, times are as sure as that.
#[test]
fn a_dump_is_as_exact_as_the_rate_that_it_names() {
    let (folder, mut dump) = (tempdir().unwrap(), Vec::new());
    recorded().write_vcd(&mut dump).unwrap();
    let text = String::from_utf8(dump).unwrap();
    for (comment, resolution_ns) in [("", 1), ("$comment Samples of 2 channels at 4 MHz $end\n", 250)] {
        let path = files::write(&folder, "named.vcd", &format!("{comment}{text}"));
        let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
        let bus = recording.buses().unwrap().remove(0);
        assert_eq!(recording.edges(&bus).unwrap().resolution_ns(), resolution_ns, "{comment}");
    }
}

#[test]
fn a_recording_that_begins_or_ends_in_mid_transfer_is_read_as_far_as_it_goes() {
    let rig = recorded();
    let folder = tempdir().unwrap();
    let samples = files::samples(&rig.waves(), PLAIN.hz, 50_000);
    let whole: Vec<String> = said(&rig.trace());
    let middle = samples.len() / 3;
    // In the low part of a clock of the long read at the end, and in the first message.
    for (from, until) in [(200, samples.len()), (0, samples.len() - 12_000), (middle, samples.len() - 9_000)] {
        let path = files::session(&folder, "part.sr", &samples[from..until], &PLAIN);
        let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
        let found = read(&recording);
        let found: Vec<&String> = found.iter().filter(|word| !word.starts_with("End")).collect();
        assert!(found.len() > 20);
        let fits = whole.windows(found.len()).any(|part| part.iter().skip(1).eq(found.iter().copied().skip(1)));
        assert!(fits, "{from}..{until}: {found:?}");
    }
}

#[test]
fn spikes_are_left_out_and_counted() {
    let rig = recorded();
    let folder = tempdir().unwrap();
    let hz = 100_000_000;
    let clean = files::samples(&rig.waves(), hz, 50_000);
    let mut samples = clean[..2_000_000].to_vec();
    // 30 ns on SDA while SCL is high and steady, and on SCL while it is low.
    let mut spikes = 0;
    for at in (1000..samples.len() - 40).step_by(10_007) {
        let window = &clean[at - 8..at + 12];
        if window.iter().all(|sample| *sample == window[0]) {
            samples[at..at + 3].iter_mut().for_each(|sample| *sample ^= if window[0] & 1 == 1 { 2 } else { 1 });
            spikes += 1;
        }
    }
    assert!(spikes > 50);
    let path = files::session(&folder, "spikes.sr", &samples, &Layout { hz, ..PLAIN });
    let plain = files::session(&folder, "plain.sr", &clean[..2_000_000], &Layout { hz, ..PLAIN });
    let open = |path, filter_ns| Recording::open(path, &ReadOptions { filter_ns, ..ReadOptions::default() }).unwrap();
    assert_eq!(read(&open(&path, 50)), read(&open(&plain, 50)));
    assert_ne!(read(&open(&path, 0)), read(&open(&plain, 0)), "without a filter they are edges");
    let recording = open(&path, 50);
    let mut events = recording.events(&recording.bus("1", "2").unwrap()).unwrap();
    assert!(events.by_ref().all(|event| event.is_ok()));
    assert_eq!(events.edges().spikes(), spikes);
}

#[test]
fn several_buses_the_supply_and_long_stretches_are_told_apart() {
    let folder = tempdir().unwrap();
    let text = "$timescale 1 us $end $scope module top $end $var wire 1 ! i2c_scl_1 $end $var wire 1 \" i2c_sda_1 $end \
                $var wire 1 # SCL0 $end $var wire 1 $ SDA0 $end $var real 64 % VCC $end $upscope $end \
                $enddefinitions $end\n#0 1! 1\" z# 1$ r0 %\n#5 r3.3 %\n#20 0\"\n#30 0!\n#40 1!\n#50 1\"\n#60\n";
    let path = files::write(&folder, "two.vcd", text);
    let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
    let buses = recording.buses().unwrap();
    let names: Vec<&str> = buses.iter().map(|bus| bus.name.as_str()).collect();
    assert_eq!(names, ["i2c__1", "0"]);
    assert_eq!(buses[0].supply.as_deref(), Some("VCC"));
    let seen: Vec<Seen> = recording.segments(&buses[0]).unwrap().map(Result::unwrap).collect();
    assert_eq!(seen[0], Seen::Supply { at_ns: 0, on: false, mv: Some(0) });
    assert_eq!(seen[1], Seen::Supply { at_ns: 5_000, on: true, mv: Some(3300) });
    let Seen::Segment(segment) = &seen[2] else { panic!("{seen:?}") };
    assert_eq!((segment.start_ns, segment.end_ns, segment.end), (20_000, 50_000, SegmentEnd::Stop));
    assert_eq!(seen[3], Seen::End { at_ns: 60_000 });
    let quiet: Vec<Seen> = recording.segments(&buses[1]).unwrap().map(Result::unwrap).collect();
    assert!(!quiet.iter().any(|seen| matches!(seen, Seen::Segment(_))));
}
