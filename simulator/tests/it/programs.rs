//! Random programs over any controller: what tests of two levels, two paths and two models run on both.

use crate::common::wire_address;
use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::{ChipModel, Rig};
use proptest::prelude::*;

/// One thing that a program does. Offsets are taken modulo the capacity.
#[derive(Debug, Clone)]
pub enum Step {
    Write(u32, Vec<u8>),
    Read(u32, usize),
    /// Current address read.
    ReadOn(usize),
    /// A header without data.
    Poll(u32),
    /// One byte to some device address.
    Stray(u8),
    /// Data, then a repeated START and a read.
    Restarted(u32, Vec<u8>),
    /// Two adjacent writes, then a read.
    Two(u32, Vec<u8>, Vec<u8>),
    Wait(u64),
}

pub fn step() -> impl Strategy<Value = Step> {
    let data = || prop::collection::vec(any::<u8>(), 0..70);
    prop_oneof![
        4 => (any::<u32>(), data()).prop_map(|(offset, data)| Step::Write(offset, data)),
        3 => (any::<u32>(), 1..300_usize).prop_map(|(offset, len)| Step::Read(offset, len)),
        1 => (1..100_usize).prop_map(Step::ReadOn),
        2 => any::<u32>().prop_map(Step::Poll),
        1 => (0x40..0x60_u8).prop_map(Step::Stray),
        1 => (any::<u32>(), data()).prop_map(|(offset, data)| Step::Restarted(offset, data)),
        1 => (any::<u32>(), data(), data()).prop_map(|(offset, one, two)| Step::Two(offset, one, two)),
        2 => (0..8_000_000_u64).prop_map(Step::Wait),
    ]
}

/// What came back from a step: the error in words, the bytes, the time.
pub type Seen = (Option<String>, Vec<u8>, u64);

/// Runs the steps over any bus.
pub fn run<B: I2c>(rig: &Rig, bus: &mut B, model: &ChipModel, steps: &[Step]) -> Vec<Seen> {
    steps.iter().map(|step| one(rig, bus, model, step)).collect()
}

fn one<B: I2c>(rig: &Rig, bus: &mut B, model: &ChipModel, step: &Step) -> Seen {
    let at = |offset: &u32| wire_address(model, offset % model.capacity);
    let with = |offset: &u32, data: &[u8]| {
        let (address, header) = at(offset);
        (address, [&header, data].concat())
    };
    let mut got = Vec::new();
    let done = match step {
        Step::Write(offset, data) => {
            let (address, bytes) = with(offset, data);
            bus.write(address, &bytes)
        }
        Step::Read(offset, len) => {
            got.resize(*len, 0);
            bus.write_read(at(offset).0, &at(offset).1, &mut got)
        }
        Step::ReadOn(len) => {
            got.resize(*len, 0);
            bus.read(at(&0).0, &mut got)
        }
        Step::Poll(offset) => bus.write(at(offset).0, &at(offset).1),
        Step::Stray(address) => bus.write(*address, &[0x12]),
        Step::Restarted(offset, data) => {
            got.resize(3, 0);
            let (address, bytes) = with(offset, data);
            bus.transaction(address, &mut [Operation::Write(&bytes), Operation::Read(&mut got)])
        }
        Step::Two(offset, first, second) => {
            got.resize(5, 0);
            let (address, bytes) = with(offset, first);
            let mut operations = [Operation::Write(&bytes), Operation::Write(second), Operation::Read(&mut got)];
            bus.transaction(address, &mut operations)
        }
        Step::Wait(ns) => {
            rig.advance_ns(*ns);
            Ok(())
        }
    };
    // Errors of two controllers are of two types; their kinds are the same.
    (done.err().map(|error| format!("{:?}", embedded_hal::i2c::Error::kind(&error))), got, rig.now_ns())
}
