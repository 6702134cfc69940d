//! When a call takes the short way: on a quiet bus, for the usual random read, poll and unanswered transfer. What it does
//! there is compared with the long way elsewhere; here is that the short way is taken, and only where nobody watches.

use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::DeviceBit;
use pagewise_simulator::{
    AdjacentWrites, BusFault, ChipId, ChipModel, CycleTime, Fault, Faults, OtherFamily, Quirks, Rig, RigConfig, Straps,
    SupplyProfile, WireConfig,
};

/// Nobody answers here.
const NOBODY: u8 = 0x7F;

fn quiet() -> (Rig, ChipId) {
    with_model(ChipModel::example_32_kbit())
}

fn with_model(model: ChipModel) -> (Rig, ChipId) {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(model, Straps::GROUND);
    rig.set_write_cycle(chip, CycleTime::Exact(3_000_000));
    rig.set_trace(false);
    (rig, chip)
}

/// How many of these calls take the short way.
fn short(rig: &Rig, calls: impl FnOnce(&mut dyn FnMut(u8, &mut [Operation<'_>]))) -> u64 {
    let (mut bus, before) = (rig.bus(), rig.short_calls());
    calls(&mut |address, operations| {
        let _ = bus.transaction(address, operations);
    });
    rig.short_calls() - before
}

/// A random read, and a transfer that nobody answers, in both directions.
fn usual(rig: &Rig) -> u64 {
    short(rig, |call| {
        call(0x50, &mut [Operation::Write(&[0, 0x10]), Operation::Read(&mut [0; 4])]);
        call(NOBODY, &mut [Operation::Write(&[0, 0])]);
        call(NOBODY, &mut [Operation::Read(&mut [0])]);
    })
}

/// A page write, then a poll that is refused.
fn poll(rig: &Rig) -> u64 {
    rig.bus().write(0x50, &[0, 0, 1]).unwrap();
    short(rig, |call| call(0x50, &mut [Operation::Write(&[0, 0])]))
}

#[test]
fn the_usual_calls_on_a_quiet_bus_take_the_short_way() {
    let (rig, _) = quiet();
    assert_eq!((usual(&rig), poll(&rig)), (3, 1));
    rig.advance_ns(3_000_000);
    // What awaits the end of a refused access is over with the next one that is answered.
    rig.bus().write(0x50, &[0, 0]).unwrap();
    rig.set_trace(true);
    assert_eq!((usual(&rig), poll(&rig)), (0, 0));
    rig.set_trace(false);
    rig.advance_ns(3_000_000);
    rig.bus().write(0x50, &[0, 0]).unwrap();
    assert_eq!(usual(&rig), 3, "and again when nobody watches any more");
}

#[test]
fn polls_that_are_passed_over_are_short_calls_as_well() {
    let (rig, _) = quiet();
    rig.bus().write(0x50, &[0, 0, 1]).unwrap();
    let began = rig.now_ns();
    assert!(rig.bus().write(0x50, &[0, 0]).is_err());
    // A poll takes START, nine clocks and STOP: 27.5 us at 400 kHz, and each is followed by a pause of 100 us.
    let each = 127_500;
    rig.advance_ns(100_000);
    assert_eq!(rig.now_ns(), began + each);
    rig.pass_polls(0x50, &[0, 0], 100_000, u64::MAX >> 1);
    // The last poll that is refused for sure ends before the write cycle does; the first was made.
    let passed = (3_000_000 - 27_500) / each;
    assert_eq!((rig.now_ns() - began, rig.short_calls()), ((1 + passed) * each, 1 + passed));
    let before = rig.now_ns();
    rig.pass_polls(0x80, &[0, 0], 100_000, u64::MAX >> 1);
    rig.set_trace(true);
    rig.pass_polls(0x50, &[0, 0], 100_000, u64::MAX >> 1);
    assert_eq!(rig.now_ns(), before, "not an address, and somebody who watches");
}

/// Each of these leaves something that a call has to take into account.
#[test]
fn whatever_disturbs_the_bus_leads_the_long_way() {
    type Disturb = fn(&Rig, ChipId);
    let disturbed: [(&str, Disturb); 11] = [
        ("a trace", |rig, _| rig.set_trace(true)),
        ("a fault to come", |rig, _| {
            rig.set_faults(Faults { script: vec![Fault::Nack { byte: 1_000_000 }], ..Faults::default() }).unwrap();
        }),
        ("a wire", |rig, _| drop(rig.wire(WireConfig::default()))),
        ("a STOP to come", |rig, _| {
            let quirks = Quirks { early_return_ns: 900_000_000, ..Quirks::default() };
            rig.bus_with(quirks).write(0x50, &[0, 0]).unwrap();
        }),
        ("SDA held", |rig, chip| {
            rig.load(chip, 0, &[0; 16]);
            rig.bus().interrupted_read(0x50, &[0, 0], 1, 3).unwrap();
        }),
        ("a supply to come", |rig, _| rig.set_supply_profile(&SupplyProfile::new().step(1 << 50, 3_000))),
        ("a part of another family", |rig, _| rig.attach_wrong_family(0x51, OtherFamily::Spi25)),
        ("bits that an overclocked bus loses", |rig, _| rig.set_overclock_faults(true)),
        ("a transfer under way", |rig, _| rig.bus().steps().start().unwrap()),
        ("no supply", |rig, _| rig.set_supply_mv(0)),
        ("a line held low", |rig, _| {
            let held = Fault::SdaLow { from_ns: 0, until_ns: 1 << 50 };
            rig.set_faults(Faults { script: vec![held], ..Faults::default() }).unwrap();
        }),
    ];
    for (what, disturb) in disturbed {
        let (rig, chip) = quiet();
        disturb(&rig, chip);
        let (mut bus, before) = (rig.bus(), rig.short_calls());
        let _ = bus.write_read(0x50, &[0, 0], &mut [0; 2]);
        assert_eq!(rig.short_calls(), before, "{what}");
        let (rig, chip) = quiet();
        disturb(&rig, chip);
        let _ = rig.bus().write(NOBODY, &[0]);
        assert_eq!(rig.short_calls(), before, "{what}");
    }
}

/// What the part or the board makes of the call has to be looked at.
#[test]
fn a_part_with_something_to_report_is_asked_the_long_way() {
    let count =
        |rig: &Rig| short(rig, |call| call(0x50, &mut [Operation::Write(&[0, 0x10]), Operation::Read(&mut [0; 4])]));
    let on = |change: fn(&mut ChipModel)| {
        let mut model = ChipModel::example_32_kbit();
        change(&mut model);
        let rig = with_model(model).0;
        (count(&rig), poll(&rig))
    };
    assert_eq!(on(|_| {}), (1, 1));
    let (rig, _) = with_model(ChipModel { device_bits: [DeviceBit::Fixed(true); 7], ..ChipModel::example_32_kbit() });
    let at_the_last = short(&rig, |call| {
        call(0x7F, &mut [Operation::Write(&[0, 0x10]), Operation::Read(&mut [0; 4])]);
        call(0x7F, &mut [Operation::Write(&[0, 0x10, 1])]);
        call(0x7F, &mut [Operation::Write(&[0, 0x10])]);
    });
    assert_eq!(at_the_last, 2, "0x7F is an address like any other");
    assert_eq!(on(|model| model.device_bits[6] = DeviceBit::Ignored), (0, 0), "an address strap that is not looked at");
    assert_eq!(
        on(|model| (model.supply.read_min_mv, model.supply.write_min_mv) = (3_300, 3_300)),
        (1, 1),
        "at the read minimum"
    );
    // Too low a supply is told once; then nothing is left to say about a part that is silent.
    let mut low = ChipModel::example_32_kbit();
    (low.supply.read_min_mv, low.supply.write_min_mv) = (3_400, 3_400);
    let (rig, _) = with_model(low);
    assert_eq!([count(&rig), count(&rig)], [0, 1]);
    let (rig, _) = quiet();
    rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    assert_eq!(count(&rig), 0, "two chips answer");
    let (rig, _) = quiet();
    rig.attach(ChipModel::example_32_kbit(), Straps::address(1));
    assert_eq!(count(&rig), 1, "the other one sits elsewhere");
    rig.attach_other(0x50, "sensor");
    assert_eq!(count(&rig), 0, "a foreign device answers as well");
    let (rig, _) = quiet();
    rig.attach_other(NOBODY, "sensor");
    assert_eq!(usual(&rig), 1, "somebody answers after all");
    let (rig, _) = quiet();
    let others = short(&rig, |call| {
        call(0x50, &mut [Operation::Write(&[0, 0]), Operation::Read(&mut [])]);
        call(0x50, &mut [Operation::Write(&[0]), Operation::Read(&mut [0])]);
        call(0x50, &mut [Operation::Write(&[]), Operation::Read(&mut [0])]);
        call(0x50, &mut [Operation::Write(&[0x10, 0]), Operation::Read(&mut [0])]);
        call(0x50, &mut [Operation::Read(&mut [0])]);
        call(NOBODY, &mut [Operation::Write(&[])]);
        call(NOBODY, &mut [Operation::Read(&mut [])]);
        call(NOBODY, &mut []);
    });
    assert_eq!(others, 0, "not a plain random read");
}

#[test]
fn a_poll_without_data_or_with_another_header_is_not_the_usual_one() {
    let polls: [(&[u8], u64); 4] = [(&[0, 0], 1), (&[0], 0), (&[], 0), (&[0, 0, 0], 0)];
    for (bytes, expected) in polls {
        let (rig, _) = quiet();
        rig.bus().write(0x50, &[0, 0, 1]).unwrap();
        assert_eq!(short(&rig, |call| call(0x50, &mut [Operation::Write(bytes)])), expected, "{bytes:?}");
    }
    // One that may be answered is made.
    let (rig, chip) = quiet();
    rig.set_write_cycle(chip, CycleTime::Exact(27_500));
    assert_eq!(poll(&rig), 0);
    let (rig, chip) = quiet();
    rig.set_write_cycle(chip, CycleTime::Exact(27_501));
    assert_eq!(poll(&rig), 1);
}

#[test]
fn only_controllers_without_habits_take_the_short_way() {
    let read = |quirks: Quirks| {
        let (rig, _) = quiet();
        rig.bus_with(quirks).write_read(0x50, &[0, 0], &mut [0; 4]).unwrap();
        rig.short_calls()
    };
    assert_eq!(read(Quirks::default()), 1);
    assert_eq!(read(Quirks { adjacent_writes: AdjacentWrites::Restart, ..Quirks::default() }), 1, "no two writes here");
    assert_eq!(read(Quirks { max_transfer: Some(32), ..Quirks::default() }), 0);
    assert_eq!(read(Quirks { busy_every: 2, ..Quirks::default() }), 0);
    // A single operation is plain for one that puts a START between two writes.
    let (rig, _) = quiet();
    let quirks = Quirks { adjacent_writes: AdjacentWrites::Restart, ..Quirks::default() };
    let _ = rig.bus_with(quirks).write(NOBODY, &[0]);
    assert_eq!(rig.short_calls(), 1);
    let _ = rig.bus_with(quirks).transaction(NOBODY, &mut [Operation::Write(&[0]), Operation::Write(&[0])]);
    assert_eq!(rig.short_calls(), 1);
}

#[test]
fn what_is_not_an_address_is_refused_on_both_ways() {
    for trace in [false, true] {
        let (rig, _) = quiet();
        rig.set_trace(trace);
        // A part that is busy refuses polls of its own address only: 0xD0 has the same seven bits below.
        rig.bus().write(0x50, &[0, 0, 1]).unwrap();
        let began = rig.now_ns();
        for address in [0x80, 0xD0, 0xFF] {
            let refused = Err(BusFault::AddressOutOfRange(address));
            let mut bus = rig.bus();
            assert_eq!(bus.write_read(address, &[0, 0], &mut [0]).map_err(|error| error.fault), refused);
            assert_eq!(bus.write(address, &[0, 0]).map_err(|error| error.fault), refused);
            assert_eq!(bus.read(address, &mut [0]).map_err(|error| error.fault), refused);
            assert_eq!(rig.now_ns(), began);
        }
    }
}
