//! The habits of a HAL, laid around a controller that keeps the contract, are the habits of that controller: the same bytes
//! on the bus, the same answers, the same errors.

use crate::common::*;
use embedded_hal::i2c::{Error, I2c, Operation};
use pagewise_simulator::{
    AdjacentWrites, BusLayer, ChipModel, CycleTime, DirectionChange, NackKind, OverLimit, Quirks, Rig, RigConfig,
    Straps, ZeroLength,
};
use proptest::prelude::*;

/// What both can do. A repeated START between two pieces, or before STOP, is the controller's alone; and a controller that
/// hangs does so, where a layer says that it was refused.
fn habits() -> impl Strategy<Value = Quirks> {
    use NackKind::{Address, Bus, Data, DataAsOther, Exact, Other, Unknown};
    let nack = prop::sample::select(vec![Exact, Address, Data, Unknown, Other, Bus, DataAsOther]);
    let adjacent =
        prop::sample::select(vec![AdjacentWrites::Joined, AdjacentWrites::StopBetween, AdjacentWrites::Refused]);
    let zero = prop::sample::select(vec![
        ZeroLength::Sent,
        ZeroLength::Refused,
        ZeroLength::Ignored,
        ZeroLength::ReadsIgnored,
    ]);
    let over = prop::sample::select(vec![OverLimit::Refuse, OverLimit::RefuseAsBus]);
    let direction = prop::sample::select(vec![DirectionChange::RepeatedStart, DirectionChange::StopStart]);
    let limit = prop::option::of(1..40_usize);
    (nack, adjacent, zero, over, direction, limit, any::<[bool; 2]>(), 0..4_u32).prop_map(
        |(nack, adjacent_writes, zero_length, over_limit, direction_change, max_transfer, flags, busy_every)| Quirks {
            nack,
            adjacent_writes,
            zero_length,
            over_limit,
            direction_change,
            max_transfer,
            empty_list_fails: flags[0],
            one_read_last: flags[1],
            busy_every,
            ..Quirks::default()
        },
    )
}

/// Device address, lengths of its operations (`true` reads), pause after it.
type Call = (u8, Vec<(bool, usize)>, u64);

fn call() -> impl Strategy<Value = Call> {
    let operations = prop::collection::vec((any::<bool>(), prop_oneof![2 => 0..4_usize, 1 => 4..45_usize]), 0..4);
    (0x50..0x52_u8, operations, 0..6_000_000_u64)
}

fn run<B: I2c>(rig: &Rig, bus: &mut B, calls: &[Call]) -> Vec<(Option<String>, Vec<Vec<u8>>)> {
    let mut seen = Vec::new();
    for (address, parts, pause) in calls {
        let mut buffers: Vec<Vec<u8>> = parts.iter().map(|(_, len)| pattern(*len)).collect();
        let mut operations: Vec<Operation<'_>> = parts
            .iter()
            .zip(&mut buffers)
            .map(|((reads, _), buffer)| if *reads { Operation::Read(buffer) } else { Operation::Write(buffer) })
            .collect();
        let done = bus.transaction(*address, &mut operations);
        seen.push((done.err().map(|error| format!("{:?}", error.kind())), buffers));
        rig.advance_ns(*pause);
    }
    seen
}

fn rig() -> Rig {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.load(chip, 0, &pattern(4096));
    rig.set_write_cycle(chip, CycleTime::Exact(3_000_000));
    rig
}

proptest! {
    #![proptest_config(cases(400))]

    #[test]
    fn a_layer_and_a_controller_with_the_same_habits_do_the_same(quirks in habits(), calls in prop::collection::vec(call(), 1..8)) {
        let (one, other) = (rig(), rig());
        let by_controller = run(&one, &mut one.bus_with(quirks), &calls);
        let by_layer = run(&other, &mut BusLayer::new(other.bus(), quirks), &calls);
        prop_assert_eq!(by_controller, by_layer);
        prop_assert_eq!(one.transfers_text(), other.transfers_text());
    }
}
