//! No detector speaks in 10,000 random correct programs over all cards: the driver at proper straps, WP inactive, supply
//! and SCL rate in grade.

use pagewise_driver::{Eeprom, Geometry, Options, Wait};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{CycleTime, PowerUp, Rig, RigConfig};
use pagewise_tests::operations::Place;
use pagewise_tests::search::{counterexample, found, scaled};
use pagewise_tests::seat::Seat;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;

const PROGRAMS: u32 = 10_000;

#[derive(Debug, Clone)]
enum Step {
    Write(Place, u32, u8),
    Read(Place, u32),
    PowerCycle,
    Pause(u32),
}

#[derive(Debug, Clone)]
struct Program {
    seed: u64,
    pins: u8,
    corner: u8,
    cycle: CycleTime,
    fixed_wait: bool,
    trace: bool,
    steps: Vec<Step>,
}

fn step() -> impl Strategy<Value = Step> {
    let place = || {
        prop_oneof![
            3 => (any::<u32>(), 0..20u32).prop_map(|(page, before)| Place::PageEnd(page, before)),
            2 => (any::<u32>(), 0..20u32).prop_map(|(block, before)| Place::BlockEnd(block, before)),
            1 => (0..40u32).prop_map(Place::PartEnd),
            2 => any::<u32>().prop_map(Place::Any),
        ]
    };
    prop_oneof![
        4 => (place(), 0..40u32, any::<u8>()).prop_map(|(place, length, byte)| Step::Write(place, length, byte)),
        4 => (place(), 0..60u32).prop_map(|(place, length)| Step::Read(place, length)),
        1 => Just(Step::PowerCycle),
        1 => (0..20_000u32).prop_map(Step::Pause),
    ]
}

fn program() -> impl Strategy<Value = Program> {
    let cycle = select(vec![CycleTime::Drawn, CycleTime::Typical, CycleTime::Max]);
    let around = (any::<u64>(), 0..8u8, any::<u8>(), cycle, any::<bool>(), any::<bool>());
    (around, vec(step(), 1..6)).prop_map(|((seed, pins, corner, cycle, fixed_wait, trace), steps)| Program {
        seed,
        pins,
        corner,
        cycle,
        fixed_wait,
        trace,
        steps,
    })
}

fn keeps_quiet(card: &Card, program: &Program, page_factor: u32) -> Result<(), String> {
    let seat = Seat::new(card, program.pins, program.corner);
    let rig = Rig::new(RigConfig { scl_hz: seat.scl_hz, supply_mv: seat.supply_mv, seed: program.seed });
    let chip = rig.attach_with(card.chip_model(), seat.straps(), PowerUp::Erased);
    rig.set_write_cycle(chip, program.cycle);
    rig.set_trace(program.trace);
    let options = Options::new().with_wait(if program.fixed_wait { Wait::Fixed } else { Wait::Poll });
    let parameters = seat.geometry.parameters();
    let page_bytes = parameters.page_bytes * page_factor;
    let geometry = Geometry::new(parameters.with_page_bytes(page_bytes));
    let mut part = Eeprom::<_, _, 259>::new(rig.bus(), rig.delay(), geometry, options);
    let whole = 0..seat.geometry.capacity_bytes();
    for step in &program.steps {
        match *step {
            Step::Write(place, length, byte) => {
                let (offset, length) = place.resolve(&seat, length, &seat.writable);
                let bytes: Vec<u8> = (0..length).map(|index| byte.wrapping_add(index as u8)).collect();
                rig.meant(chip, offset, &bytes);
                part.write(offset, &bytes).map_err(|error| format!("{}: {error}", card.id))?;
            }
            Step::Read(place, length) => {
                let (offset, length) = place.resolve(&seat, length, &whole);
                part.read(offset, &mut vec![0; length]).map_err(|error| format!("{}: {error}", card.id))?;
            }
            Step::PowerCycle => rig.power_cycle(),
            Step::Pause(us) => rig.advance_ns(u64::from(us) * 1000),
        }
    }
    if let Some(loss) = rig.explain().first() {
        return Err(format!("{}: {loss:?}", card.id));
    }
    match rig.finish().first() {
        None => Ok(()),
        Some(incident) => Err(format!("{}: {}: {}", card.id, incident.hazard, incident.text)),
    }
}

#[test]
fn no_false_alarm_in_ten_thousand_random_correct_programs_over_all_cards() {
    let catalogue = Catalogue::embedded().unwrap();
    let each = PROGRAMS.div_ceil(catalogue.cards().len() as u32);
    let search =
        |card: &Card| counterexample(&card.id, scaled(each), &program(), |program| keeps_quiet(card, program, 1));
    let alarms: Vec<String> = catalogue.cards().iter().filter_map(search).collect();
    assert!(alarms.is_empty(), "{} cards:\n{}", alarms.len(), alarms.join("\n"));
}

#[test]
fn the_same_programs_alarm_when_the_driver_believes_in_a_doubled_page() {
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.find("24lc32a").unwrap();
    assert!(found("doubled page", scaled(100), &program(), |program| keeps_quiet(card, program, 2)));
}
