//! A part of 16 bytes with pages of 4: every offset, length, wrap and cut.

use crate::common::*;
use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::{PointerAfterWrite, TornScope};
use pagewise_simulator::{ChipModel, CycleTime, PowerUp, Rig, RigConfig, Straps, TornModel};

const OLD: u8 = 0x3C;

fn tiny() -> ChipModel {
    let mut model = ChipModel::example_2_kbit().with_capacity(16);
    model.name = "tiny".into();
    model.page = 4;
    model
}

fn bench(model: ChipModel) -> Bench {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach_with(model.clone(), Straps::GROUND, PowerUp::Image(vec![OLD; 16]));
    rig.set_write_cycle(chip, CycleTime::Exact(1_000_000));
    Bench { rig, chip, model }
}

#[test]
fn w1_w9_r1_every_offset_and_length_and_the_pointer_after_it() {
    for axis in [PointerAfterWrite::WrappedInPage, PointerAfterWrite::LastPlusOne] {
        for offset in 0..16_u32 {
            for len in 1..=9_u32 {
                let mut model = tiny();
                model.pointer_after_write = axis;
                let bench = bench(model);
                let data: Vec<u8> = (0..len as u8).map(|i| 0x80 | i).collect();
                bench.store(offset, &data);
                let mut expected = vec![OLD; 16];
                let place = |i: u32| offset / 4 * 4 + (offset + i) % 4;
                for i in 0..len {
                    expected[place(i) as usize] = data[i as usize];
                }
                assert_eq!(bench.memory(), expected, "{offset} {len}");
                let pointer = match axis {
                    PointerAfterWrite::WrappedInPage => place(len),
                    PointerAfterWrite::LastPlusOne => (place(len - 1) + 1) % 16,
                };
                assert_eq!(bench.read_on(1), [expected[pointer as usize]], "{axis:?} {offset} {len}");
            }
        }
    }
}

#[test]
fn r3_every_offset_length_and_wrap() {
    for wrap in [1, 2, 4, 8, 16] {
        let mut model = tiny();
        model.read_wrap = wrap;
        let bench = bench(model);
        bench.rig.load(bench.chip, 0, &(0..16).collect::<Vec<u8>>());
        for offset in 0..16_u32 {
            for len in 1..=33 {
                let expected: Vec<u8> = (0..len).map(|i| (offset / wrap * wrap + (offset + i) % wrap) as u8).collect();
                assert_eq!(bench.read(offset, len as usize), expected, "{wrap} {offset} {len}");
            }
        }
    }
}

#[test]
fn w4_a_restart_after_any_number_of_bytes_stores_nothing_of_them() {
    for offset in 0..16_u8 {
        for len in 0..=6 {
            let bench = bench(tiny());
            let mut first = vec![offset];
            first.extend(vec![0x55; len]);
            let mut back = [0];
            bench.rig.bus().transaction(0x50, &mut [Operation::Write(&first), Operation::Read(&mut back)]).unwrap();
            bench.wait();
            assert_eq!(bench.memory(), [OLD; 16]);
        }
    }
}

#[test]
fn p3_every_torn_model_scope_offset_length_and_moment() {
    for model in TornModel::ALL {
        for (scope, unit) in [(TornScope::Latched, 1), (TornScope::Group(2), 2), (TornScope::Page, 4)] {
            for offset in 0..16_u32 {
                for len in 1..=4 - offset % 4 {
                    for permille in [0, 1, 250, 500, 750, 999] {
                        torn_case(model, scope, unit, offset, len, permille);
                    }
                }
            }
        }
    }
}

fn torn_case(torn: TornModel, scope: TornScope, unit: u32, offset: u32, len: u32, permille: u64) {
    const NEW: u8 = 0xA5;
    let mut model = tiny();
    model.torn_scope = scope;
    let bench = bench(model);
    bench.rig.set_torn_model(torn, u64::from(offset * 64 + len));
    bench.write(offset, &vec![NEW; len as usize]).unwrap();
    bench.rig.advance_ns(1_000 * permille);
    bench.rig.power_cycle();
    let what = format!("{torn:?} {scope:?} {offset} {len} {permille}");
    let danger = offset / unit * unit..(offset + len).div_ceil(unit) * unit;
    for (at, byte) in bench.memory().into_iter().enumerate() {
        let latched = (offset..offset + len).contains(&(at as u32));
        let target = if latched { NEW } else { OLD };
        let fits = if !danger.contains(&(at as u32)) {
            byte == OLD
        } else {
            match torn {
                TornModel::Old | TornModel::Unstable => byte == OLD,
                TornModel::New => byte == target,
                TornModel::Prefix | TornModel::Subset => byte == OLD || byte == target,
                // Bits that are 1 before and after never fall.
                TornModel::ErasedThenProgrammed => byte & (OLD & target) == OLD & target,
            }
        };
        assert!(fits, "{what}: 0x{byte:02X} at {at}");
    }
}
