//! Times of the budget against the virtual time of the simulated bus: whole parts programmed and read, equal to the
//! nanosecond.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_judge::board::Board;
use pagewise_judge::budget::time::{Job, Times};
use pagewise_part::card::{Card, Catalogue, Kind};
use pagewise_simulator::{CycleTime, Rig, RigConfig, Straps};

fn board(scl_khz: u32, supply_mv: u32) -> Board {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/boards/valve-driver.toml");
    let mut board = pagewise_judge::board::read(&path).unwrap();
    (board.bus.scl_khz, board.bus.supply_mv) = (scl_khz, supply_mv);
    board
}

/// Device address and header of an offset, composed here by hand.
fn address(card: &Card, offset: u32) -> (u8, Vec<u8>) {
    let bytes = card.word_address_bytes.value;
    let header = (0..bytes).rev().map(|place| (offset >> (8 * u32::from(place))) as u8).collect();
    let above = offset >> (8 * u32::from(bytes));
    let mut address = 0u8;
    for (index, role) in card.device_bits().into_iter().enumerate() {
        let bit = match role {
            pagewise_part::card::Role::Fixed(high) => high,
            // Its pin is at ground.
            pagewise_part::card::Role::PinInverted(_) => true,
            pagewise_part::card::Role::Block(n) => above >> n & 1 == 1,
            _ => false,
        };
        address |= u8::from(bit) << (6 - index);
    }
    (address, header)
}

struct Bench {
    rig: Rig,
    chip: pagewise_simulator::ChipId,
}

fn bench(card: &Card, times: &Times, supply_mv: u32, cycle: CycleTime) -> Bench {
    let rig = Rig::new(RigConfig { scl_hz: times.scl_khz * 1000, supply_mv, seed: 1 });
    rig.set_trace(false);
    let chip = rig.attach(card.chip_model(), Straps::GROUND);
    rig.set_write_cycle(chip, cycle);
    rig.advance_ns(10_000_000);
    Bench { rig, chip }
}

enum Wait {
    Polling,
    Fixed,
}

/// Programs the whole array page by page; returns the virtual time that it took.
fn program(card: &Card, times: &Times, supply_mv: u32, cycle: CycleTime, wait: &Wait) -> u64 {
    let Bench { rig, chip } = bench(card, times, supply_mv, cycle);
    let (mut bus, mut delay) = (rig.bus(), rig.delay());
    let begin = rig.now_ns();
    let page = times.page_bytes;
    for offset in (0..card.capacity_bytes.value).step_by(page as usize) {
        let (device, header) = address(card, offset);
        let data: Vec<u8> = (offset..offset + page).map(|at| (at * 7 % 251) as u8).collect();
        bus.write(device, &[header.as_slice(), &data].concat()).unwrap();
        match wait {
            Wait::Polling if card.kind == Kind::Fram => {}
            Wait::Polling if header.is_empty() => while bus.read(device, &mut [0]).is_err() {},
            Wait::Polling => while bus.write(device, &header).is_err() {},
            Wait::Fixed => delay.delay_us(times.write_cycle_max_us),
        }
    }
    let took = rig.now_ns() - begin;
    let memory = rig.memory(chip);
    assert!(memory.iter().enumerate().all(|(at, byte)| *byte == (at * 7 % 251) as u8), "{}: stored as meant", card.id);
    took
}

fn read(card: &Card, times: &Times, supply_mv: u32) -> u64 {
    let Bench { rig, .. } = bench(card, times, supply_mv, CycleTime::Max);
    let mut bus = rig.bus();
    let begin = rig.now_ns();
    let piece = card.read_wrap_bytes.value.min(card.capacity_bytes.value);
    for offset in (0..card.capacity_bytes.value).step_by(piece as usize) {
        let (device, header) = address(card, offset);
        let mut buffer = vec![0; piece as usize];
        if header.is_empty() {
            bus.read(device, &mut buffer).unwrap();
        } else {
            bus.write_read(device, &header, &mut buffer).unwrap();
        }
    }
    rig.now_ns() - begin
}

/// Parts that a bench can program as they are: no straps demanded, no bank to be selected, nothing that is read-only.
fn plain(card: &Card) -> bool {
    let (_, fixed) = card.fixed_range.value.bytes(card.capacity_bytes.value);
    card.required_straps.is_empty() && card.regions.is_empty() && fixed == 0 && card.longest_write_us() < 100_000
}

/// A supply at which the part writes and has a grade.
fn supply(card: &Card) -> Option<u32> {
    [3300, 5000, 2500, 1800, card.max_mv.value]
        .into_iter()
        .find(|mv| (card.write_min_mv.value..=card.max_mv.value).contains(mv) && card.scl_khz_at(*mv) > 0)
}

#[test]
fn programming_and_reading_take_exactly_the_time_of_the_budget_on_every_plain_part() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut compared = 0;
    for card in catalogue.parts().filter(|card| plain(card) && card.capacity_bytes.value <= 8192) {
        let Some(supply_mv) = supply(card) else { continue };
        for scl_khz in [100, 400, 1000] {
            let times = Times::of(&board(scl_khz, supply_mv), card);
            let same = |what: &str, job: &Job, took: u64| {
                assert_eq!(job.total_ns(), took, "{} at {} kHz: {what}", card.id, times.scl_khz);
            };
            same("read", &times.read, read(card, &times, supply_mv));
            let took = program(card, &times, supply_mv, CycleTime::Max, &Wait::Polling);
            same("polling", &times.program_polling, took);
            let took = program(card, &times, supply_mv, CycleTime::Max, &Wait::Fixed);
            same("fixed", &times.program_fixed, took);
            if let Some(typical) = &times.program_polling_typical {
                let took = program(card, &times, supply_mv, CycleTime::Typical, &Wait::Polling);
                same("typical", typical, took);
            }
            compared += 1;
        }
    }
    assert!(compared > 200, "{compared}");
}

/// The biggest part too, and a run of many units is that many times one unit.
#[test]
fn the_biggest_part_agrees_and_a_run_is_the_sum_of_its_units() {
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.parts().filter(|card| plain(card)).max_by_key(|card| card.capacity_bytes.value).unwrap();
    let supply_mv = supply(card).unwrap();
    let times = Times::of(&board(400, supply_mv), card);
    let unit = program(card, &times, supply_mv, CycleTime::Max, &Wait::Polling) + read(card, &times, supply_mv);
    assert_eq!(times.program_polling.total_ns() + times.read.total_ns(), unit);
    let run = times.production(500);
    assert!((run.run_polling_s - 500.0 * unit as f64 / 1e9).abs() < 1e-6, "{run:?}");
    assert!((run.unit_polling_s - unit as f64 / 1e9).abs() < 1e-9);
}

/// However long a cycle lasts, polling without a pause ends with the first poll that the part answers.
#[test]
fn polls_are_counted_exactly_for_every_length_of_a_cycle() {
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.find("24lc32a").unwrap();
    for scl_khz in [100, 400] {
        let times = Times::of(&board(scl_khz, 3300), card);
        for cycle_ns in (1..400).map(|step| step * 997).chain([1, 4_999_999, 5_000_000, 5_000_001]) {
            let Bench { rig, .. } = bench(card, &times, 3300, CycleTime::Exact(cycle_ns));
            let mut bus = rig.bus();
            bus.write(0x50, &[0, 0, 1]).unwrap();
            let begin = rig.now_ns();
            let mut refused = 0;
            while bus.write(0x50, &[0, 0]).is_err() {
                refused += 1;
            }
            assert_eq!(times.clock.refused_polls(cycle_ns), refused, "{cycle_ns} ns at {scl_khz} kHz");
            assert_eq!(times.clock.polling_ns(2, cycle_ns), rig.now_ns() - begin, "{cycle_ns} ns at {scl_khz} kHz");
        }
    }
}
