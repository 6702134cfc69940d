//! No detector raises a false alarm on random correct programs.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::{Rig, RigConfig, Straps};
use proptest::prelude::*;

#[derive(Debug, Clone)]
enum Correct {
    Write { offset: u32, len: u32, poll: u8 },
    Read { offset: u32, len: u32 },
    Scan,
    PowerCycle,
    Wait { ns: u32 },
}

fn correct() -> impl Strategy<Value = Correct> {
    prop_oneof![
        5 => (any::<u32>(), any::<u32>(), 0..4_u8).prop_map(|(offset, len, poll)| Correct::Write { offset, len, poll }),
        4 => (any::<u32>(), any::<u32>()).prop_map(|(offset, len)| Correct::Read { offset, len }),
        1 => Just(Correct::Scan),
        1 => Just(Correct::PowerCycle),
        2 => (0..9_000_000_u32).prop_map(|ns| Correct::Wait { ns }),
    ]
}

/// Waits until the chip is ready, in one of the ways that are right.
fn ready(bench: &Bench, offset: u32, how: u8) {
    let (address, header) = wire_address(&bench.model, offset);
    let mut bus = bench.rig.bus();
    match how {
        0 => while bus.write(address, &header).is_err() {},
        1 => while bus.write(address, &[]).is_err() {},
        2 => bench.rig.advance_ns(bench.model.write_cycle.max_ns),
        // The next access is repeated until it is answered.
        _ => while bus.write_read(address, &header, &mut [0; 1]).is_err() {},
    }
}

fn run_correct(bench: &Bench, steps: &[Correct]) {
    let (page, capacity, wrap) = (bench.model.page, bench.model.capacity, bench.model.read_wrap);
    for step in steps {
        match *step {
            Correct::Write { offset, len, poll } => {
                let offset = offset % capacity;
                let len = 1 + len % (page - offset % page);
                let data: Vec<u8> = (0..len).map(|i| (offset + i * 3) as u8).collect();
                bench.rig.meant(bench.chip, offset, &data);
                bench.write(offset, &data).unwrap();
                ready(bench, offset, poll);
                assert_eq!(bench.read(offset, len as usize), data);
            }
            Correct::Read { offset, len } => {
                let offset = offset % capacity;
                drop(bench.read(offset, (1 + len % (wrap - offset % wrap).min(64)) as usize));
            }
            Correct::Scan => {
                for address in 0x08..0x78 {
                    let _ = bench.rig.bus().write(address, &[]);
                }
            }
            Correct::PowerCycle => bench.rig.power_cycle(),
            Correct::Wait { ns } => bench.rig.advance_ns(u64::from(ns)),
        }
    }
}

proptest! {
    // 10,000 programs over all cards is the business of the tests crate; here each model gets its share.
    #![proptest_config(cases(600))]

    #[test]
    fn no_false_alarm_on_random_correct_programs(
        index in 0..8_usize, seed in any::<u64>(), trace in any::<bool>(),
        steps in prop::collection::vec(correct(), 1..25),
    ) {
        let model = eeproms()[index].clone();
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let chip = rig.attach(model.clone(), Straps::GROUND);
        rig.set_trace(trace);
        let bench = Bench { rig, chip, model };
        run_correct(&bench, &steps);
        prop_assert_eq!(bench.rig.explain(), vec![]);
        prop_assert_eq!(bench.rig.finish(), vec![]);
    }
}
