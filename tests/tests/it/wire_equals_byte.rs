//! Rule L7 for every card: byte level and wire level give the same memory, trace and time for every legal program.

use embedded_hal::i2c::{I2c, Operation};
use pagewise_driver::Geometry;
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{ChipId, CycleTime, EventKind, PowerUp, Rig, RigConfig, WireConfig};
use pagewise_tests::search::{counterexample, scaled};
use pagewise_tests::seat::Seat;
use proptest::collection::vec;
use proptest::prelude::*;

#[derive(Debug, Clone)]
enum Step {
    Write(u32, Vec<u8>),
    Read(u32, usize),
    ReadOn(u32, usize),
    Stray(u8),
    Restarted(u32, Vec<u8>),
    Wait(u64),
}

fn step() -> impl Strategy<Value = Step> {
    let data = || vec(any::<u8>(), 0..20);
    prop_oneof![
        4 => (any::<u32>(), data()).prop_map(|(offset, data)| Step::Write(offset, data)),
        3 => (any::<u32>(), 1..24_usize).prop_map(|(offset, len)| Step::Read(offset, len)),
        1 => (any::<u32>(), 1..12_usize).prop_map(|(offset, len)| Step::ReadOn(offset, len)),
        1 => (0x08..0x78_u8).prop_map(Step::Stray),
        1 => (any::<u32>(), data()).prop_map(|(offset, data)| Step::Restarted(offset, data)),
        2 => (0..12_000_000_u64).prop_map(Step::Wait),
    ]
}

/// Device address and header of an offset: block-select bits are the bits above the word address.
fn place(geometry: &Geometry, offset: u32) -> (u8, Vec<u8>) {
    let offset = offset % geometry.capacity_bytes();
    let count = usize::from(geometry.word_address_bytes());
    let block = (u64::from(offset) >> (8 * count)) as u8;
    (geometry.device_address() | block << geometry.block_select_shift(), offset.to_be_bytes()[4 - count..].to_vec())
}

/// What came back from each step, and whether it succeeded.
fn run(rig: &Rig, bus: &mut impl I2c, geometry: &Geometry, steps: &[Step]) -> Vec<(bool, Vec<u8>)> {
    let one = |step: &Step| {
        let mut got = Vec::new();
        let ok = match step {
            Step::Write(offset, data) => {
                let (address, header) = place(geometry, *offset);
                bus.write(address, &[header, data.clone()].concat()).is_ok()
            }
            Step::Read(offset, len) => {
                let (address, header) = place(geometry, *offset);
                got.resize(*len, 0);
                bus.write_read(address, &header, &mut got).is_ok()
            }
            Step::ReadOn(offset, len) => {
                got.resize(*len, 0);
                bus.read(place(geometry, *offset).0, &mut got).is_ok()
            }
            Step::Stray(address) => bus.write(*address, &[0x12]).is_ok(),
            Step::Restarted(offset, data) => {
                let (address, header) = place(geometry, *offset);
                let bytes = [header, data.clone()].concat();
                got.resize(3, 0);
                bus.transaction(address, &mut [Operation::Write(&bytes), Operation::Read(&mut got)]).is_ok()
            }
            Step::Wait(ns) => {
                rig.advance_ns(*ns);
                true
            }
        };
        (ok, got)
    };
    steps.iter().map(one).collect()
}

fn rig(seat: &Seat, seed: u64) -> (Rig, ChipId) {
    let rig = Rig::new(RigConfig { scl_hz: seat.scl_hz, supply_mv: seat.supply_mv, seed });
    let chip = rig.attach_with(seat.card.chip_model(), seat.straps(), PowerUp::Random);
    rig.set_write_cycle(chip, CycleTime::Drawn);
    (rig, chip)
}

/// The rate of the card's grade, with a clock shaped for the card's own limits; `None` if no clock of that rate keeps
/// them, as some sheets have it.
fn full_rate(seat: &Seat, seed: u64) -> Option<(Rig, ChipId)> {
    let (rig, chip) = rig(seat, seed);
    rig.fit_clock().then_some((rig, chip))
}

/// Two equal rigs with a clock that is legal for the card: at the full rate of its grade, or else at 400 or 100 kHz.
fn legal(mut seat: Seat, seed: u64) -> Result<(Seat, [(Rig, ChipId); 2]), String> {
    let top = seat.scl_hz;
    for hz in [top, 400_000, 100_000].into_iter().filter(|hz| *hz <= top) {
        seat.scl_hz = hz;
        if let (Some(one), Some(other)) = (full_rate(&seat, seed), full_rate(&seat, seed)) {
            return Ok((seat, [one, other]));
        }
    }
    Err(format!("{}: no rate keeps its limits on the wire", seat.card.id))
}

fn agree(card: &Card, pins: u8, corner: u8, seed: u64, steps: &[Step]) -> Result<(), String> {
    let (seat, [(byte, byte_chip), (wire, wire_chip)]) = legal(Seat::new(card, pins, corner), seed)?;
    let expected = run(&byte, &mut byte.bus(), &seat.geometry, steps);
    let found = run(&wire, &mut wire.bit_bang(WireConfig::IDEAL), &seat.geometry, steps);
    let differs = |what: &str| Err(format!("{}: {what}", card.id));
    if found != expected {
        return differs(&format!("wire level answers {found:02X?}, byte level {expected:02X?}"));
    }
    if wire.now_ns() != byte.now_ns() {
        return differs(&format!("wire level takes {} ns, byte level {} ns", wire.now_ns(), byte.now_ns()));
    }
    let (wire_trace, byte_trace) = (wire.trace(), byte.trace());
    if let Some((wire, byte)) = wire_trace.iter().zip(&byte_trace).find(|(wire, byte)| wire != byte) {
        return differs(&format!("wire level has {wire:?}, byte level {byte:?}"));
    }
    if wire_trace.len() != byte_trace.len() {
        return differs(&format!(
            "{} events on the wire level, {} on the byte level",
            wire_trace.len(),
            byte_trace.len()
        ));
    }
    // Longer than the write cycle of any full page.
    for rig in [&wire, &byte] {
        rig.advance_ns(u64::from(seat.geometry.write_cycle_us()) * 1000 + 1);
    }
    if wire.memory(wire_chip) == byte.memory(byte_chip) { Ok(()) } else { differs("the memories differ") }
}

#[test]
fn l7_byte_level_and_wire_level_agree_on_every_card() {
    let catalogue = Catalogue::embedded().unwrap();
    let programs = (0..8u8, any::<u8>(), any::<u64>(), vec(step(), 1..10));
    let search = |card: &Card| {
        counterexample(&card.id, scaled(8), &programs, |(pins, corner, seed, steps)| {
            agree(card, *pins, *corner, *seed, steps)
        })
    };
    let wrong: Vec<String> = catalogue.cards().iter().filter_map(search).collect();
    assert!(wrong.is_empty(), "{} cards differ:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn l7_runs_at_the_full_rate_of_every_grade_that_a_clock_can_keep() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut slower = Vec::new();
    for card in catalogue.cards() {
        for corner in 0..3 * card.speed.value.len() as u8 {
            let seat = Seat::new(card, 0, corner);
            let Some((rig, _)) = full_rate(&seat, 1) else {
                // High-speed mode has limits for a clock that is not made by two fixed parts of a period.
                assert!(seat.scl_hz > 1_000_000, "{}: no clock of {} Hz keeps its limits", card.id, seat.scl_hz);
                slower.push(card.id.as_str());
                continue;
            };
            let program = [Step::Write(seat.writable.start, vec![1]), Step::Wait(20_000_000), Step::Read(0, 2)];
            run(&rig, &mut rig.bit_bang(WireConfig::IDEAL), &seat.geometry, &program);
            let trace = rig.trace();
            let broken = trace.iter().find(|event| matches!(event.kind, EventKind::Timing { .. }));
            assert!(broken.is_none(), "{} at {} Hz: {broken:?}", card.id, seat.scl_hz);
        }
    }
    slower.dedup();
    println!("{} cards, at a lower rate only {slower:?}", catalogue.cards().len());
}
