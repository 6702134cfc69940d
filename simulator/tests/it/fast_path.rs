//! Whole runs of bytes at once (trace off) are the same as byte by byte (trace on), and both are the same as a plain
//! array with a pointer and a page.

use crate::common::*;
use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::PointerAfterWrite;
use pagewise_simulator::{ChipModel, CycleTime, PowerUp, Quirks, Rig, RigConfig, Straps};
use proptest::prelude::*;

#[derive(Debug, Clone)]
enum Step {
    Write { offset: u32, data: Vec<u8> },
    Read { offset: u32, len: usize },
    ReadOn { len: usize },
    Poll { offset: u32 },
    Two { offset: u32, first: Vec<u8>, second: Vec<u8> },
    Wait { ns: u64 },
}

fn step() -> impl Strategy<Value = Step> {
    let data = || prop::collection::vec(any::<u8>(), 0..70);
    prop_oneof![
        4 => (any::<u32>(), data()).prop_map(|(offset, data)| Step::Write { offset, data }),
        3 => (any::<u32>(), 1..600_usize).prop_map(|(offset, len)| Step::Read { offset, len }),
        2 => (1..300_usize).prop_map(|len| Step::ReadOn { len }),
        3 => any::<u32>().prop_map(|offset| Step::Poll { offset }),
        1 => (any::<u32>(), data(), data()).prop_map(|(offset, first, second)| Step::Two { offset, first, second }),
        3 => (0..8_000_000_u64).prop_map(|ns| Step::Wait { ns }),
    ]
}

/// Runs the steps; between them, a device at another address is read and nobody is asked, where `visits` says so.
fn run(rig: &Rig, model: &ChipModel, steps: &[Step], visits: bool) -> Vec<(Option<String>, Vec<u8>, u64)> {
    let mut bus = rig.bus_with(Quirks::default());
    let mut seen = Vec::new();
    for (index, step) in steps.iter().enumerate() {
        if visits && index % 3 == 2 {
            let mut got = vec![0; 2];
            let done = bus.read(OTHER, &mut got);
            seen.push((done.err().map(|error| error.to_string()), got, rig.now_ns()));
        }
        if visits && index % 4 == 3 {
            let mut got = vec![0; 2];
            let calls =
                [bus.write(NOBODY, &[1, 2, 3]), bus.write_read(NOBODY, &[0], &mut got), bus.read(NOBODY, &mut got)];
            let errors = calls.map(|call| format!("{call:?}")).concat();
            seen.push((Some(errors), got, rig.now_ns()));
        }
        let mut got = Vec::new();
        let done = match step {
            Step::Write { offset, data } => {
                let (address, mut bytes) = wire_address(model, offset % model.capacity);
                bytes.extend_from_slice(data);
                bus.write(address, &bytes)
            }
            Step::Read { offset, len } => {
                let (address, header) = wire_address(model, offset % model.capacity);
                got.resize(*len, 0);
                bus.write_read(address, &header, &mut got)
            }
            Step::Poll { offset } => {
                let (address, header) = wire_address(model, offset % model.capacity);
                bus.write(address, &header)
            }
            Step::ReadOn { len } => {
                got.resize(*len, 0);
                bus.read(wire_address(model, 0).0, &mut got)
            }
            Step::Two { offset, first, second } => {
                let (address, mut bytes) = wire_address(model, offset % model.capacity);
                bytes.extend_from_slice(first);
                got.resize(5, 0);
                let mut operations = [Operation::Write(&bytes), Operation::Write(second), Operation::Read(&mut got)];
                bus.transaction(address, &mut operations)
            }
            Step::Wait { ns } => {
                rig.advance_ns(*ns);
                Ok(())
            }
        };
        seen.push((done.err().map(|error| error.to_string()), got, rig.now_ns()));
    }
    seen
}

/// Address of a device that is no memory; no model here answers it.
const OTHER: u8 = 0x1E;

/// An address that mostly nobody answers.
const NOBODY: u8 = 0x2A;

/// What the rules say, in the plainest form: an array, a pointer, a page and a time.
struct Plain {
    memory: Vec<u8>,
    pointer: u32,
    pending: Option<(u64, Vec<(u32, u8)>)>,
    now: u64,
}

impl Plain {
    fn settle(&mut self) {
        if let Some((ends, bytes)) = self.pending.take() {
            if self.now >= ends {
                bytes.iter().for_each(|(at, byte)| self.memory[*at as usize] = *byte);
            } else {
                self.pending = Some((ends, bytes));
            }
        }
    }

    /// Whether the chip answers a device address that begins `clocks` periods from now.
    fn answers(&mut self, clocks: u64) -> bool {
        let now = self.now;
        self.now += clocks * T + 8 * T - T * 9 / 20;
        self.settle();
        self.now = now;
        self.pending.is_none()
    }
}

const T: u64 = 2_500;
const CYCLE: u64 = 4_000_000;

#[allow(clippy::type_complexity)]
fn run_plain(model: &ChipModel, image: &[u8], steps: &[Step]) -> (Vec<(Vec<u8>, u64, bool)>, Vec<u8>) {
    let mut plain = Plain { memory: image.to_vec(), pointer: 0, pending: None, now: 0 };
    let header = u64::from(model.word_address_bytes);
    let mut seen = Vec::new();
    for step in steps {
        let mut got = Vec::new();
        let mut ok = true;
        match step {
            Step::Wait { ns } => plain.now += ns,
            _ if !plain.answers(1) => {
                ok = false;
                plain.now += 11 * T;
            }
            Step::Write { offset, data } => {
                let offset = offset % model.capacity;
                plain.now += (2 + 9 * (1 + header + data.len() as u64)) * T;
                plain.pointer = offset;
                if !data.is_empty() {
                    let at = |i: usize| offset / model.page * model.page + (offset + i as u32) % model.page;
                    plain.pending =
                        Some((plain.now + CYCLE, data.iter().enumerate().map(|(i, byte)| (at(i), *byte)).collect()));
                    plain.pointer = match model.pointer_after_write {
                        PointerAfterWrite::WrappedInPage => at(data.len()),
                        PointerAfterWrite::LastPlusOne => (at(data.len() - 1) + 1) % model.capacity,
                    };
                }
            }
            Step::Poll { offset } => {
                plain.now += (2 + 9 * (1 + header)) * T;
                plain.pointer = offset % model.capacity;
            }
            Step::Read { .. } | Step::ReadOn { .. } | Step::Two { .. } => {
                let (len, written) = match step {
                    Step::Read { len, offset } => {
                        plain.pointer = offset % model.capacity;
                        (*len, 0)
                    }
                    Step::Two { offset, first, second } => {
                        plain.pointer = offset % model.capacity;
                        (5, first.len() + second.len())
                    }
                    Step::ReadOn { len } => (*len, usize::MAX),
                    _ => unreachable!(),
                };
                let head = if written == usize::MAX { 0 } else { 9 * (1 + header + written as u64) + 2 };
                plain.now += (2 + head + 9 * (1 + len as u64)) * T;
                for _ in 0..len {
                    got.push(plain.memory[plain.pointer as usize]);
                    let block = plain.pointer / model.read_wrap * model.read_wrap;
                    plain.pointer = block + (plain.pointer + 1) % model.read_wrap;
                }
            }
        }
        seen.push((got, plain.now, ok));
    }
    plain.now += CYCLE;
    plain.settle();
    (seen, plain.memory)
}

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
        prop_assert_eq!(run(&fast, model, &steps, true), run(&slow, model, &steps, true));
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
        prop_assert_eq!(run(&fast, &model, &steps, true), run(&slow, &model, &steps, true));
        for rig in [&fast, &slow] {
            rig.advance_ns(2_000_000_000);
        }
        prop_assert_eq!(first_difference(&fast.memory(fast_chip), &slow.memory(slow_chip)), None);
        prop_assert_eq!(fast.finish(), slow.finish());
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
        prop_assert_eq!(run(&fast, &model, &steps, true), run(&slow, &model, &steps, true));
        prop_assert_eq!(first_difference(&fast.memory(fast_chip), &slow.memory(slow_chip)), None);
        prop_assert_eq!(fast.finish(), slow.finish());
    }

    #[test]
    fn rules_r1_r2_r3_w1_w2_w4_w6_w9_agree_with_a_plain_array(
        index in 0..5_usize, steps in prop::collection::vec(step(), 1..40)
    ) {
        let model = &models()[index];
        let image = pattern(model.capacity as usize);
        let (rig, chip) = rig_for(model, &image, false);
        // The pointer at power-up is drawn; the plain array begins at 0.
        let mut all = vec![Step::Read { offset: 0, len: 1 }];
        all.extend(steps);
        let (expected, memory) = run_plain(model, &image, &all);
        for (i, ((error, got, now), (want, then, ok))) in run(&rig, model, &all, false).into_iter().zip(expected).enumerate() {
            prop_assert_eq!(error.is_none(), ok, "step {} {:?}", i, &all[i]);
            if ok {
                prop_assert_eq!(got, want, "step {} {:?}", i, &all[i]);
            }
            prop_assert_eq!(now, then, "step {} {:?}", i, &all[i]);
        }
        rig.advance_ns(CYCLE);
        prop_assert_eq!(first_difference(&rig.memory(chip), &memory), None);
    }
}
