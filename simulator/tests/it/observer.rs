//! Rule L5a: a query changes nothing. The same program with queries strewn anywhere gives the same trace, memory, time
//! and incidents, at either level.

use crate::common::*;
use crate::programs::{Step, run, step};
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::OutputPin;
use embedded_hal::i2c::I2c;
use pagewise_simulator::{
    BitBang, ChipId, ChipModel, ClockPlan, CycleTime, Event, EventKind, Fault, Faults, Incident, Line, Note, PowerUp,
    Rig, RigConfig, RigDelay, Straps, WireConfig,
};
use proptest::prelude::*;

/// Asks everything that can be asked.
fn ask(rig: &Rig, chip: ChipId) {
    let _ = rig.busy(chip);
    let _ = rig.memory(chip);
    let _ = rig.memory_as_read(chip);
    let _ = rig.trace();
    let _ = rig.transfers_text();
    let _ = rig.waves();
    rig.write_vcd(&mut std::io::sink()).unwrap();
    let _ = rig.explain();
    let _ = rig.first_loss(4);
    let _ = rig.incidents();
    let _ = rig.fault_hits();
    let _ = rig.wear(chip, 0);
    drop(rig.fork());
    drop(rig.snapshot());
}

/// A delay in pieces, with questions before, between and after them.
struct Prying {
    rig: Rig,
    chip: ChipId,
    delay: RigDelay,
    /// Where to ask: at three ones in a row, which move along with each piece of time; 0 for nowhere.
    nosy: u64,
}

impl DelayNs for Prying {
    fn delay_ns(&mut self, ns: u32) {
        let mut left = ns;
        for piece in [ns / 7, 13, 30, ns / 3, u32::MAX] {
            self.nosy = self.nosy.rotate_left(1);
            if self.nosy & 7 == 7 {
                ask(&self.rig, self.chip);
            }
            self.delay.delay_ns(piece.min(left));
            left -= piece.min(left);
        }
    }
}

/// Everything that is left of a run.
type Left = (Vec<Event>, Vec<(u64, Line, bool)>, Vec<u8>, u64, Vec<Incident>);

fn left(rig: &Rig, chip: ChipId) -> Left {
    rig.advance_ns(50_000_000);
    (rig.trace(), rig.waves(), rig.memory(chip), rig.now_ns(), rig.finish())
}

fn start(model: &ChipModel, seed: u64, spikes: &[(bool, u64, u64)]) -> (Rig, ChipId) {
    let rig = Rig::new(RigConfig::default().with_seed(seed));
    let chip = rig.attach_with(model.clone(), Straps::GROUND, PowerUp::Image(pattern(model.capacity as usize)));
    rig.set_write_cycle(chip, CycleTime::Drawn);
    let line = |sda| if sda { Line::Sda } else { Line::Scl };
    let spike = |&(sda, at_ns, lasts_ns): &(bool, u64, u64)| Fault::Spike { line: line(sda), at_ns, lasts_ns };
    rig.set_faults(Faults { script: spikes.iter().map(spike).collect(), ..Faults::default() }).unwrap();
    (rig, chip)
}

/// A program over the pins: `nosy` decides where it is interrupted by questions.
fn at_the_wire(
    model: &ChipModel,
    seed: u64,
    config: WireConfig,
    spikes: &[(bool, u64, u64)],
    steps: &[Step],
    nosy: u64,
) -> Left {
    let (rig, chip) = start(model, seed, spikes);
    let wire = rig.wire(config);
    let delay = Prying { rig: rig.clone(), chip, delay: rig.delay(), nosy };
    let mut bus = BitBang::new(wire.sda(), wire.scl(), delay, 400_000).unwrap();
    for step in steps {
        run(&rig, &mut bus, model, std::slice::from_ref(step));
        if nosy & 1 == 1 {
            ask(&rig, chip);
        }
    }
    left(&rig, chip)
}

/// The steps over the byte level, with questions between them.
fn at_byte_level(model: &ChipModel, seed: u64, steps: &[Step], nosy: u64) -> Left {
    let (rig, chip) = start(model, seed, &[]);
    for (i, step) in steps.iter().enumerate() {
        run(&rig, &mut rig.bus(), model, std::slice::from_ref(step));
        if nosy >> (i % 64) & 1 == 1 {
            ask(&rig, chip);
        }
    }
    left(&rig, chip)
}

/// Pins moved without sense: one move and a time each.
fn senseless(moves: &[(bool, bool, u32)], nosy: u64) -> Left {
    let (rig, chip) = start(&ChipModel::example_2_kbit(), 1, &[]);
    let wire = rig.wire(WireConfig { pull_up_ohm: 1000, capacitance_pf: 30, ..WireConfig::TYPICAL });
    let (mut sda, mut scl) = (wire.sda(), wire.scl());
    for (i, &(data, high, ns)) in moves.iter().enumerate() {
        let pin = if data { &mut sda } else { &mut scl };
        if high { pin.set_high() } else { pin.set_low() }.unwrap();
        if nosy >> (i % 64) & 1 == 1 {
            ask(&rig, chip);
        }
        rig.advance_ns(u64::from(ns));
    }
    left(&rig, chip)
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn l5a_questions_at_the_wire_level_change_nothing(
        model in any_model(), seed: u64, ideal: bool, nosy: u64,
        spikes in prop::collection::vec((any::<bool>(), 0..400_000_u64, 1..120_u64), 0..12),
        steps in prop::collection::vec(step(), 1..5),
    ) {
        let config = if ideal { WireConfig::IDEAL } else { WireConfig::TYPICAL };
        let quiet = at_the_wire(&model, seed, config, &spikes, &steps, 0);
        prop_assert_eq!(at_the_wire(&model, seed, config, &spikes, &steps, nosy | 7), quiet);
    }

    #[test]
    fn l5a_questions_at_the_byte_level_change_nothing(
        model in any_model(), seed: u64, nosy: u64, steps in prop::collection::vec(step(), 1..16),
    ) {
        let quiet = at_byte_level(&model, seed, &steps, 0);
        prop_assert_eq!(at_byte_level(&model, seed, &steps, nosy), quiet);
    }

    #[test]
    fn l5a_questions_between_senseless_moves_change_nothing(
        nosy: u64, moves in prop::collection::vec((any::<bool>(), any::<bool>(), 0..2_000_u32), 1..200),
    ) {
        let quiet = senseless(&moves, 0);
        prop_assert_eq!(senseless(&moves, nosy), quiet);
    }
}

#[test]
fn l5a_a_question_inside_an_edge_does_not_set_the_clock_back() {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let mut sda = rig.wire(WireConfig { pull_up_ohm: 1000, capacitance_pf: 30, ..WireConfig::TYPICAL }).sda();
    sda.set_low().unwrap();
    rig.advance_ns(300);
    sda.set_high().unwrap();
    assert!(!rig.busy(chip));
    sda.set_low().unwrap();
    rig.advance_ns(100);
    assert_eq!(rig.now_ns(), 400);
}

#[test]
fn l5a_a_filtered_spike_stays_filtered_when_somebody_asks_inside_it() {
    for ask_inside in [false, true] {
        let bench = Bench::new(ChipModel::example_32_kbit());
        let wire = bench.rig.wire(WireConfig::IDEAL);
        let (mut sda, mut scl) = (wire.sda(), wire.scl());
        let mut bus = BitBang::new(wire.sda(), wire.scl(), bench.rig.delay(), 400_000).unwrap();
        bus.start().unwrap();
        assert!([0xA0, 0, 0, 0x11].into_iter().all(|byte| bus.send(byte).unwrap()));
        // Between two bytes SCL is low; in the high part of the next clock SDA is pulled low for 20 ns.
        sda.set_high().unwrap();
        bench.rig.advance_ns(1_400);
        scl.set_high().unwrap();
        bench.rig.advance_ns(300);
        sda.set_low().unwrap();
        bench.rig.advance_ns(10);
        if ask_inside {
            let _ = bench.rig.busy(bench.chip);
            let _ = bench.rig.memory(bench.chip);
            let _ = bench.rig.trace();
        }
        bench.rig.advance_ns(10);
        sda.set_high().unwrap();
        bench.rig.advance_ns(800);
        scl.set_low().unwrap();
        // Seven more bits and the acknowledge bit of 0xFF.
        for _ in 0..8 {
            bus.clock(true).unwrap();
        }
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[..2], [0x11, 0xFF], "asked: {ask_inside}");
        assert!(!bench.rig.transfers_text().contains("Sr"));
    }
}

/// Write cycles of two chips that end at 5 ms; until the last moment before that nobody asks.
fn two_cycles_before(last_ns: u64) -> (Rig, [ChipId; 2]) {
    let rig = Rig::new(RigConfig::default());
    let chips = [0, 1].map(|pins| rig.attach(ChipModel::example_32_kbit(), Straps::address(pins)));
    for (chip, address) in chips.into_iter().zip([0x50, 0x51]) {
        let stop_ns = rig.now_ns() + (1 + 4 * 9 + 1) * 2_500;
        rig.set_write_cycle(chip, CycleTime::Exact(5_000_000 - stop_ns));
        rig.bus().write(address, &[0, 0, 1]).unwrap();
    }
    rig.advance_ns(5_000_000 - last_ns - rig.now_ns());
    (rig, chips)
}

#[test]
fn l5a_the_ends_of_write_cycles_stand_last_in_their_instant_and_in_the_order_of_the_chips_whoever_asks_first() {
    let ended = |chip| Event { at_ns: 5_000_000, kind: EventKind::Chip { chip, note: Note::CycleEnd { page: 0 } } };
    for asks in [false, true] {
        let (rig, chips) = two_cycles_before(0);
        assert!(!asks || !rig.busy(chips[0]));
        rig.set_supply_mv(5_000);
        let supply = Event { at_ns: 5_000_000, kind: EventKind::Supply { mv: 5_000 } };
        assert!(rig.trace().ends_with(&[supply, ended(chips[0]), ended(chips[1])]), "asked: {asks}");
    }
    // The second chip notices first: the eighth bit of its device address comes at the end of its cycle.
    let plan = ClockPlan::for_scl_hz(400_000);
    let (rig, chips) = two_cycles_before(9 * plan.period_ns - plan.high_ns);
    rig.bus().write(0x51, &[]).unwrap();
    let ends: Vec<Event> = rig.trace().into_iter().filter(|event| event.at_ns == 5_000_000).collect();
    assert_eq!(ends, chips.map(ended));
}
