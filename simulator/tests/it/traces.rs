//! Traces: text, waveforms, JSON Lines, replay.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::trace::{vcd, waves};
use pagewise_simulator::{
    BadTrace, ChipModel, CycleTime, Event, EventKind, Level, Line, PowerUp, Rig, RigConfig, Straps, WireConfig,
};
use proptest::prelude::*;

fn traffic(rig: &Rig, bus: &mut impl I2c, model: &ChipModel, steps: &[(u32, Vec<u8>, u16)]) {
    for (offset, data, wait_us) in steps {
        let (address, mut bytes) = wire_address(model, offset % model.capacity);
        bytes.extend_from_slice(data);
        let _ = bus.write(address, &bytes);
        rig.advance_ns(u64::from(*wait_us) * 1000);
        let mut read = vec![0; data.len() + 1];
        let header = bytes.len() - data.len();
        let _ = bus.write_read(address, &bytes[..header], &mut read);
    }
}

fn rig_for(model: &ChipModel, hz: u32) -> (Rig, pagewise_simulator::ChipId) {
    let rig = Rig::new(RigConfig::default().with_scl_hz(hz));
    let chip = rig.attach_with(model.clone(), Straps::GROUND, PowerUp::Image(pattern(model.capacity as usize)));
    rig.set_write_cycle(chip, CycleTime::Max);
    (rig, chip)
}

/// An independent decoder: edges to START, STOP and nine-bit words.
pub fn decode(waves: &[(u64, Line, bool)]) -> String {
    let (mut sda, mut scl) = (true, true);
    let (mut text, mut bits) = (String::new(), Vec::new());
    for &(_, line, level) in waves {
        match line {
            Line::Scl => {
                scl = level;
                if level {
                    bits.push(sda);
                }
                if bits.len() == 9 && !level {
                    let byte = bits[..8].iter().fold(0_u8, |byte, bit| byte << 1 | u8::from(*bit));
                    text += &format!(" {byte:02X}{}", if bits[8] { '-' } else { '+' });
                    bits.clear();
                }
            }
            Line::Sda => {
                sda = level;
                if scl {
                    text += if level { " P" } else { " S" };
                    bits.clear();
                }
            }
        }
    }
    text
}

pub fn shown(events: &[Event]) -> String {
    let mark = |acked: bool| if acked { '+' } else { '-' };
    let mut text = String::new();
    for event in events {
        text += &match event.kind {
            EventKind::Start | EventKind::RepeatedStart => " S".into(),
            EventKind::Stop => " P".into(),
            EventKind::Address { address, read, acked } => {
                format!(" {:02X}{}", address << 1 | u8::from(read), mark(acked))
            }
            EventKind::Write { byte, acked } | EventKind::Read { byte, acked } => format!(" {byte:02X}{}", mark(acked)),
            _ => continue,
        };
    }
    text
}

fn steps() -> impl Strategy<Value = Vec<(u32, Vec<u8>, u16)>> {
    prop::collection::vec((any::<u32>(), prop::collection::vec(any::<u8>(), 0..12), 0..9_000_u16), 1..12)
}

proptest! {
    #![proptest_config(cases(64))]

    #[test]
    fn waveforms_decode_to_the_trace_at_byte_level_and_at_wire_level(
        index in 0..8_usize, hz in prop::sample::select(vec![100_000, 400_000, 1_000_000]), steps in steps(),
    ) {
        let model = &eeproms()[index];
        let (rig, _) = rig_for(model, hz);
        traffic(&rig, &mut rig.bus(), model, &steps);
        let plan = pagewise_simulator::ClockPlan::for_scl_hz(hz);
        prop_assert_eq!(decode(&waves::from_events(&rig.trace(), plan)), shown(&rig.trace()));
        let (wire, _) = rig_for(model, hz);
        let mut bus = wire.bit_bang(WireConfig::IDEAL);
        traffic(&wire, &mut bus, model, &steps);
        prop_assert_eq!(decode(&wire.waves()), shown(&wire.trace()));
    }

    #[test]
    fn a_replayed_trace_gives_the_same_memory_and_the_same_trace(index in 0..8_usize, steps in steps()) {
        let model = &eeproms()[index];
        let (rig, chip) = rig_for(model, 400_000);
        traffic(&rig, &mut rig.bus(), model, &steps);
        let (fresh, again) = rig_for(model, 400_000);
        let replayed = fresh.replay(&rig.trace()).unwrap();
        prop_assert_eq!(replayed.differences, 0);
        prop_assert_eq!(fresh.trace(), rig.trace());
        for rig in [&rig, &fresh] {
            rig.advance_ns(200_000_000);
        }
        prop_assert_eq!(fresh.memory(again), rig.memory(chip));
    }
}

#[test]
fn a_replay_into_another_chip_shows_the_differences() {
    let (rig, _) = rig_for(&ChipModel::example_32_kbit(), 400_000);
    let mut data = [0; 4];
    rig.bus().write_read(0x50, &[0, 3], &mut data).unwrap();
    let blank = Rig::new(RigConfig::default());
    blank.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let replayed = blank.replay(&rig.trace()).unwrap();
    assert_eq!((replayed.transfers, replayed.differences), (1, 4));
}

#[test]
fn a_trace_with_supply_and_wp_is_replayed_too() {
    let (rig, chip) = rig_for(&ChipModel::example_32_kbit(), 400_000);
    let mut bus = rig.bus();
    rig.set_wp(chip, Level::High);
    bus.write(0x50, &[0, 0, 1]).unwrap();
    rig.advance_ns(1_000);
    rig.set_wp(chip, Level::Low);
    bus.write(0x50, &[0, 1, 2]).unwrap();
    rig.power_cycle();
    bus.write(0x50, &[0, 2, 3]).unwrap();
    rig.advance_ns(10_000_000);
    let (fresh, again) = rig_for(&ChipModel::example_32_kbit(), 400_000);
    fresh.replay(&rig.trace()).unwrap();
    fresh.advance_ns(10_000_000);
    assert_eq!(fresh.memory(again), rig.memory(chip));
    assert_eq!(fresh.memory(again)[..3], [0, 1, 3], "protected, torn, stored");
}

#[test]
fn bad_traces_are_refused_and_nothing_is_played() {
    let (rig, _) = rig_for(&ChipModel::example_32_kbit(), 400_000);
    rig.bus().write(0x50, &[0, 0, 1]).unwrap();
    let good = rig.trace();
    let bus_events: Vec<Event> = good.iter().copied().filter(|e| !matches!(e.kind, EventKind::Chip { .. })).collect();
    let fresh = || rig_for(&ChipModel::example_32_kbit(), 400_000).0;
    let cut = &bus_events[..bus_events.len() - 1];
    assert_eq!(fresh().replay(cut), Err(BadTrace::CutOff));
    assert_eq!(fresh().replay(&bus_events[1..]), Err(BadTrace::OutOfPlace(0)));
    let mut swapped = bus_events.clone();
    swapped.swap(1, 2);
    assert_eq!(fresh().replay(&swapped), Err(BadTrace::OutOfOrder(2)));
    let late = fresh();
    late.advance_ns(1_000_000);
    assert_eq!(late.replay(&bus_events), Err(BadTrace::OutOfOrder(0)));
    assert_eq!(late.now_ns(), 1_000_000);
    // WP of a chip that is not there.
    let two = fresh();
    let chip = two.attach(ChipModel::example_2_kbit(), Straps::address(1));
    let pin = Event { at_ns: 0, kind: EventKind::WriteProtectPin { chip, level: Level::High } };
    assert_eq!((fresh().replay(&[pin]), two.replay(&[pin]).is_ok()), (Err(BadTrace::NoSuchChip(0)), true));
    let errors = [BadTrace::CutOff, BadTrace::OutOfOrder(1), BadTrace::OutOfPlace(2), BadTrace::NoSuchChip(3)];
    let words = [
        "the trace ends inside a transfer",
        "event 1 is out of order",
        "event 2 is out of place",
        "event 3 names a chip that the rig does not have",
    ];
    assert_eq!(errors.map(|error| error.to_string()), words);
}

/// Value of a wire over time, as the dump says it.
fn wire(rig: &Rig, name: &str) -> Vec<String> {
    let mut dump = Vec::new();
    rig.write_vcd(&mut dump).unwrap();
    let dump = String::from_utf8(dump).unwrap();
    let declared = dump.lines().find(|line| line.contains(&format!(" {name} $end"))).unwrap();
    let id = declared.split(' ').nth(3).unwrap().to_owned();
    let values =
        dump.lines().filter_map(|line| line.strip_suffix(&id).filter(|value| ["0", "1"].contains(&value.trim())));
    values.map(|value| value.trim().to_owned()).collect()
}

#[test]
fn vcd_begins_with_the_pins_as_they_are() {
    let rig = Rig::default();
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND.with_wp(Level::High));
    rig.advance_ns(1_000);
    rig.set_wp(chip, Level::Low);
    assert_eq!(wire(&rig, "WP0"), ["1", "0"]);
    rig.set_supply_mv(3000);
    rig.bus().write(0x50, &[0, 0, 1]).unwrap();
    assert_eq!(wire(&rig, "BUSY0"), ["0", "1"]);
    // The trace begins anew in the middle of the write cycle.
    rig.set_trace(true);
    rig.advance_ns(10_000_000);
    assert!(!rig.busy(chip));
    assert_eq!((wire(&rig, "WP0"), wire(&rig, "BUSY0")), (vec!["0".to_owned()], vec!["1".to_owned(), "0".to_owned()]));
    let mut dump = Vec::new();
    rig.write_vcd(&mut dump).unwrap();
    assert!(String::from_utf8(dump).unwrap().contains("r3 "), "the supply when the trace began");
}

#[test]
fn vcd_has_the_wires_the_time_scale_and_a_last_time_stamp() {
    let (rig, _) = rig_for(&ChipModel::example_32_kbit(), 400_000);
    rig.bus().write(0x50, &[0, 0, 1]).unwrap();
    rig.advance_ns(10_000_000);
    let mut text = Vec::new();
    rig.write_vcd(&mut text).unwrap();
    let text = String::from_utf8(text).unwrap();
    for wanted in ["$timescale 1 ns $end", " SCL $end", " SDA $end", " SUPPLY $end", " BUSY0 $end", " WP0 $end"] {
        assert!(text.contains(wanted), "{wanted} in\n{text}");
    }
    let stamps: Vec<u64> = text.lines().filter_map(|line| line.strip_prefix('#')?.parse().ok()).collect();
    assert!(stamps.is_sorted());
    let ends = rig.trace().iter().map(|event| event.at_ns).max().unwrap();
    assert_eq!(*stamps.last().unwrap(), ends + 10_000);
    // The same through the writer itself, without events.
    let mut empty = Vec::new();
    vcd::write(&mut empty, &[], &[], &[], 3300).unwrap();
    assert!(String::from_utf8(empty).unwrap().contains("r3.3"));
}

#[cfg(feature = "json")]
#[test]
fn json_lines_read_back_as_they_were_written_and_a_cut_line_is_named() {
    use pagewise_simulator::trace::json_lines;
    let (rig, chip) = rig_for(&ChipModel::example_32_kbit(), 400_000);
    rig.set_wp(chip, Level::High);
    rig.bus().write(0x50, &[0, 0, 1]).unwrap();
    rig.bus().write_read(0x50, &[0, 0], &mut [0; 3]).unwrap();
    rig.power_cycle();
    let events = rig.trace();
    let text = json_lines::write(&events);
    assert_eq!(text.lines().count(), events.len());
    assert_eq!(json_lines::read(&text).unwrap(), events);
    let cut = &text[..text.len() - 5];
    let error = json_lines::read(cut).unwrap_err();
    assert_eq!(error.line, events.len());
    assert!(error.to_string().starts_with(&format!("line {}: EOF while parsing", events.len())), "{error}");
    assert!(json_lines::read("{\"at_ns\":1,\"kind\":\"unheard-of\"}\n").is_err());
}
