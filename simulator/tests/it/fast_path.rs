//! Whole runs of bytes at once (trace off) are the same as byte by byte (trace on).

use crate::common::*;
use crate::programs::{Seen, Step, run, step};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::{BrownOut, PointerAfterWrite};
use pagewise_simulator::{
    BusFault, ChipModel, CycleTime, PowerUp, Preset, Quirks, Rig, RigConfig, Straps, SupplyProfile, TornModel,
};
use proptest::prelude::*;

/// Runs the steps; between them, a device at another address is read and nobody is asked.
fn run_with_visits(rig: &Rig, model: &ChipModel, steps: &[Step]) -> Vec<Seen> {
    run_as(Quirks::default(), rig, model, steps)
}

/// The same by a controller with habits.
fn run_as(quirks: Quirks, rig: &Rig, model: &ChipModel, steps: &[Step]) -> Vec<Seen> {
    let mut bus = rig.bus_with(quirks);
    let mut seen = Vec::new();
    for (index, step) in steps.iter().enumerate() {
        let mut got = vec![0; 2];
        if index % 3 == 2 {
            let done = bus.read(OTHER, &mut got);
            seen.push((done.err().map(|error| error.to_string()), got.clone(), rig.now_ns()));
        }
        if index % 4 == 3 {
            let calls =
                [bus.write(NOBODY, &[1, 2, 3]), bus.write_read(NOBODY, &[0], &mut got), bus.read(NOBODY, &mut got)];
            let errors = calls.map(|call| format!("{call:?}")).concat();
            seen.push((Some(errors), got, rig.now_ns()));
        }
        seen.extend(run(rig, &mut bus, model, std::slice::from_ref(step)));
    }
    seen
}

/// Address of a device that is not a memory; no model here answers it.
const OTHER: u8 = 0x1E;

/// An address that mostly nobody answers.
const NOBODY: u8 = 0x2A;

const CYCLE: u64 = 4_000_000;

fn models() -> Vec<ChipModel> {
    let mut last_plus_one = ChipModel::example_16_kbit();
    last_plus_one.pointer_after_write = PointerAfterWrite::LastPlusOne;
    last_plus_one.read_wrap = 256;
    vec![ChipModel::example_32_kbit(), last_plus_one, ChipModel::example_2_kbit(), block_bit_on_top(), other_code()]
}

fn rig_for(model: &ChipModel, image: &[u8], trace: bool) -> (Rig, pagewise_simulator::ChipId) {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach_with(model.clone(), Straps::GROUND, PowerUp::Image(image.to_vec()));
    rig.set_write_cycle(chip, CycleTime::Exact(CYCLE));
    rig.set_trace(trace);
    (rig, chip)
}

/// A neighbour, which answers elsewhere or, next to a part that fills its range, together with it.
fn with_neighbour(rig: &Rig) {
    rig.attach(ChipModel::example_2_kbit(), Straps::address(5));
    rig.attach_other(OTHER, "sensor");
}

/// Polls until an answer comes or the limit is over, with polls passed over or not; whether one came.
fn polled(rig: &Rig, address: u8, header: &[u8], (pause_us, limit_us): (u32, u64), passes: bool) -> bool {
    let (mut bus, until) = (rig.bus(), rig.now_ns() + limit_us * 1000);
    loop {
        let answer = if header.is_empty() { bus.read(address, &mut [0]) } else { bus.write(address, header) };
        if answer.is_ok() || rig.now_ns() >= until {
            return answer.is_ok();
        }
        rig.delay().delay_us(pause_us);
        if passes {
            rig.pass_polls(address, header, u64::from(pause_us) * 1000, until.saturating_sub(rig.now_ns()));
        }
    }
}

/// The first word address behind the array, in the header that it fits into, is told as an alias and reads from the start.
#[test]
fn a_read_that_begins_behind_the_array_is_told_with_and_without_a_trace() {
    let model = ChipModel::example_32_kbit();
    let ran = [false, true].map(|trace| {
        let (rig, chip) = rig_for(&model, &pattern(4096), trace);
        let mut got = [0; 4];
        rig.bus().write_read(0x50, &[0x10, 0x00], &mut got).unwrap();
        (got.to_vec(), rig.memory(chip), rig.finish())
    });
    assert!(ran[0] == ran[1]);
    assert_eq!((&ran[0].0[..], ran[0].2.len()), (&pattern(4096)[..4], 1));
}

/// What the detectors have to say of supply and clock is told on the short way too; where there is nothing, it is taken.
#[test]
fn supply_and_clock_are_judged_with_and_without_a_trace() {
    let mut model = ChipModel::example_32_kbit();
    (model.speed[0].max_mv, model.speed[1].min_mv) = (2000, 3000);
    for (mv, scl_hz, short) in [
        (2000, 400_000, true),
        (2000, 400_001, false),
        (2001, 400_000, false),
        (3000, 1_000_000, true),
        (3000, 1_000_001, false),
        (5500, 100_000, true),
        (5501, 100_000, false),
    ] {
        let ran = [false, true].map(|trace| {
            let rig = Rig::new(RigConfig::default().with_supply_mv(mv).with_scl_hz(scl_hz));
            rig.attach(model.clone(), Straps::GROUND);
            rig.set_trace(trace);
            let mut got = [0; 4];
            (0..3).for_each(|_| rig.bus().write_read(0x50, &[0, 0], &mut got).unwrap());
            (rig.short_calls() > 0, rig.finish())
        });
        assert_eq!((ran[0].0, ran[1].0), (short, false), "{mv} mV, {scl_hz} Hz");
        assert_eq!((&ran[0].1, ran[0].1.is_empty()), (&ran[1].1, short), "{mv} mV, {scl_hz} Hz");
    }
}

proptest! {
    #![proptest_config(cases(192))]

    #[test]
    fn fast_and_slow_path_agree(index in 0..5_usize, steps in prop::collection::vec(step(), 1..40)) {
        let model = &models()[index];
        let image = pattern(model.capacity as usize);
        let (fast, fast_chip) = rig_for(model, &image, false);
        let (slow, slow_chip) = rig_for(model, &image, true);
        with_neighbour(&fast);
        with_neighbour(&slow);
        prop_assert_eq!(run_with_visits(&fast, model, &steps), run_with_visits(&slow, model, &steps));
        fast.advance_ns(CYCLE);
        slow.advance_ns(CYCLE);
        prop_assert_eq!(first_difference(&fast.memory(fast_chip), &slow.memory(slow_chip)), None);
        prop_assert_eq!(fast.finish(), slow.finish());
    }

    #[test]
    fn fast_and_slow_path_agree_on_every_axis(model in any_model(), steps in prop::collection::vec(step(), 1..40)) {
        let image = pattern(model.capacity as usize);
        let (fast, fast_chip) = rig_for(&model, &image, false);
        let (slow, slow_chip) = rig_for(&model, &image, true);
        with_neighbour(&fast);
        with_neighbour(&slow);
        prop_assert_eq!(run_with_visits(&fast, &model, &steps), run_with_visits(&slow, &model, &steps));
        for rig in [&fast, &slow] {
            rig.advance_ns(2_000_000_000);
        }
        prop_assert_eq!(first_difference(&fast.memory(fast_chip), &slow.memory(slow_chip)), None);
        prop_assert_eq!(fast.finish(), slow.finish());
    }

    /// No habit of a HAL gets lost on the short way.
    #[test]
    fn fast_and_slow_path_agree_under_every_preset(
        preset in 0..Preset::ALL.len(), index in 0..5_usize, limit in 0..4_usize,
        steps in prop::collection::vec(step(), 1..30),
    ) {
        let mut quirks = Preset::ALL[preset].quirks;
        quirks.max_transfer = quirks.max_transfer.map(|_| [1, 3, 32, 255][limit]);
        let model = &models()[index];
        let image = pattern(model.capacity as usize);
        let ran = [false, true].map(|trace| {
            let (rig, chip) = rig_for(model, &image, trace);
            with_neighbour(&rig);
            let seen = run_as(quirks, &rig, model, &steps);
            rig.advance_ns(CYCLE);
            (seen, rig.memory(chip), rig.finish())
        });
        prop_assert_eq!(&ran[0].0, &ran[1].0);
        prop_assert!(ran[0] == ran[1]);
    }

    #[test]
    fn polls_passed_over_are_as_polls_made(
        model in any_model(), writes in prop::collection::vec((any::<u32>(), 0..4_u8), 1..8), short: bool,
        too_low: bool, pause_us in 1..2_000_u32, limit_us in 0..12_000_u64,
    ) {
        let mut model = model;
        if too_low {
            (model.supply.read_min_mv, model.supply.write_min_mv) = (4000, 4000);
        }
        let image = pattern(model.capacity as usize);
        let ran = [false, true].map(|passes| {
            let (rig, chip) = rig_for(&model, &image, false);
            with_neighbour(&rig);
            let mut seen = Vec::new();
            for (offset, whom) in &writes {
                let (address, mut header) = wire_address(&model, offset % model.capacity);
                let _ = rig.bus().write(address, &[header.as_slice(), &[0x5A, 0xA5]].concat());
                if short {
                    header.pop();
                }
                let address = [address, NOBODY, OTHER, address][usize::from(*whom)];
                let header = if *whom == 3 { &[][..] } else { &header };
                seen.push((polled(&rig, address, header, (pause_us, limit_us), passes), rig.now_ns()));
            }
            // Polls that were passed over are calls of the controller as well, of which some bus is taken at every third.
            let mut shared = rig.bus_with(Quirks { busy_every: 3, ..Quirks::default() });
            let taken = [0; 3].map(|_| matches!(shared.read(OTHER, &mut [0]), Err(error) if error.fault == BusFault::Taken));
            rig.advance_ns(2_000_000_000);
            (seen, rig.memory(chip), rig.finish(), taken)
        });
        prop_assert_eq!(&ran[0].0, &ran[1].0);
        prop_assert!(ran[0] == ran[1]);
    }

    #[test]
    fn fast_and_slow_path_agree_on_a_part_with_too_low_a_supply(
        model in any_model(), steps in prop::collection::vec(step(), 1..40), write_only: bool,
    ) {
        let mut model = model;
        model.supply.write_min_mv = 4000;
        model.supply.read_min_mv = if write_only { 1000 } else { 4000 };
        let image = pattern(model.capacity as usize);
        let (fast, fast_chip) = rig_for(&model, &image, false);
        let (slow, slow_chip) = rig_for(&model, &image, true);
        with_neighbour(&fast);
        with_neighbour(&slow);
        prop_assert_eq!(run_with_visits(&fast, &model, &steps), run_with_visits(&slow, &model, &steps));
        prop_assert_eq!(first_difference(&fast.memory(fast_chip), &slow.memory(slow_chip)), None);
        prop_assert_eq!(fast.finish(), slow.finish());
    }

    /// The chip may sleep after too short a reset; it answers neither here nor there.
    #[test]
    fn fast_and_slow_path_agree_after_a_short_dip(
        model in any_model(), before in prop::collection::vec(step(), 1..10), after in prop::collection::vec(step(), 1..20),
        mv in 0..1700_u32, off_ns in 0..2_000_000_u64,
    ) {
        let mut model = model;
        model.supply.brown_out = Some(BrownOut { reset_mv: 1500, off_ns: 1_000_000 });
        let image = pattern(model.capacity as usize);
        let ran = [false, true].map(|trace| {
            let (rig, chip) = rig_for(&model, &image, trace);
            let mut seen = run_with_visits(&rig, &model, &before);
            rig.set_supply_mv(mv);
            rig.advance_ns(off_ns);
            rig.set_supply_mv(3300);
            rig.advance_ns(model.power_up_ns);
            seen.extend(run_with_visits(&rig, &model, &after));
            rig.advance_ns(2_000_000_000);
            (seen, rig.memory(chip), rig.finish())
        });
        prop_assert_eq!(&ran[0].0, &ran[1].0);
        prop_assert!(ran[0] == ran[1]);
    }

    /// Cells of a torn page read differently each time, and worn ones stick: in runs as byte by byte.
    #[test]
    fn fast_and_slow_path_agree_on_torn_and_worn_cells(
        model in any_model(), torn in 0..TornModel::ALL.len(), draws: u64, at in any::<u32>(), cut_at in 1..CYCLE,
        reads in prop::collection::vec((any::<u32>(), 1..200_usize), 1..20),
    ) {
        let image = pattern(model.capacity as usize);
        let ran = [false, true].map(|trace| {
            let (rig, chip) = rig_for(&model, &image, trace);
            rig.set_torn_model(TornModel::ALL[torn], draws);
            rig.set_wear(chip, 0, model.endurance_cycles.saturating_mul(2));
            let mut bus = rig.bus();
            for offset in [0, 0, 0, at % model.capacity] {
                let (address, header) = wire_address(&model, offset);
                let _ = bus.write(address, &[header.as_slice(), &[0x5A, 0xA5, 0x33]].concat());
                rig.advance_ns(if offset == 0 { 2_000_000_000 } else { cut_at });
            }
            rig.power_cycle();
            rig.advance_ns(model.power_up_ns);
            let mut seen = Vec::new();
            for (offset, len) in &reads {
                let (address, header) = wire_address(&model, offset % model.capacity);
                let mut got = vec![0; *len];
                let done = bus.write_read(address, &header, &mut got);
                seen.push((done.err().map(|error| error.to_string()), got, rig.now_ns()));
            }
            (seen, rig.memory_as_read(chip), rig.finish())
        });
        prop_assert_eq!(&ran[0].0, &ran[1].0);
        prop_assert!(ran[0] == ran[1]);
    }

    /// The supply is lost or falls in the middle of a long transfer.
    #[test]
    fn fast_and_slow_path_agree_where_the_supply_falls_in_a_transfer(
        at_us in 0..4_000_u64, mv in 0..3_300_u32, offset in 0..4096_u32, writes: bool,
    ) {
        let model = ChipModel::example_32_kbit();
        let ran = [false, true].map(|trace| {
            let (rig, chip) = rig_for(&model, &pattern(4096), trace);
            rig.set_supply_profile(&SupplyProfile::new().step(at_us * 1_000, mv).step(8_000_000, 3_300));
            let mut got = vec![0; 150];
            let header = (offset as u16).to_be_bytes();
            let done = if writes {
                rig.bus().write(0x50, &[&header[..], &got].concat())
            } else {
                rig.bus().write_read(0x50, &header, &mut got)
            };
            let seen = (done.map_err(|error| error.to_string()), got, rig.now_ns());
            rig.advance_ns(2_000_000_000);
            (seen, rig.memory(chip), rig.finish())
        });
        prop_assert_eq!(&ran[0].0, &ran[1].0);
        prop_assert!(ran[0] == ran[1]);
    }
}
