//! What errors and events are called on a screen.

use crate::common::*;
use embedded_hal::i2c::{Error, ErrorKind, I2c, NoAcknowledgeSource, Operation};
use pagewise_simulator::{
    AdjacentWrites, BitBangError, BusError, BusLayer, ChipId, ChipModel, Level, OverLimit, Pin, PowerUp, Quirks, Rig,
    RigConfig, Straps, ZeroLength,
};

/// The error of a call under these habits.
fn error(quirks: Quirks, call: impl FnOnce(&mut pagewise_simulator::RigBus) -> Result<(), BusError>) -> String {
    call(&mut e32().rig.bus_with(quirks)).unwrap_err().to_string()
}

#[test]
fn every_error_of_a_controller_says_what_happened() {
    let plain = Quirks::default();
    assert_eq!(error(plain, |bus| bus.write(0x51, &[0])), "device address not acknowledged");
    assert_eq!(error(plain, |bus| bus.write(0xD0, &[0])), "0xD0 is not a 7-bit device address");
    let refused = Quirks { zero_length: ZeroLength::Refused, ..plain };
    assert_eq!(error(refused, |bus| bus.write(0x50, &[])), "transfer without bytes refused");
    let hung = Quirks { zero_length: ZeroLength::Hung, ..plain };
    assert_eq!(error(hung, |bus| bus.write(0x50, &[])), "controller hangs");
    let limit = Quirks { max_transfer: Some(4), over_limit: OverLimit::Refuse, ..plain };
    assert_eq!(error(limit, |bus| bus.write(0x50, &[0; 5])), "transfer of 5 bytes, at most 4");
    let two = [[0, 1], [2, 3]];
    let apart = Quirks { adjacent_writes: AdjacentWrites::Refused, ..plain };
    let call = error(apart, |bus| bus.transaction(0x50, &mut [Operation::Write(&two[0]), Operation::Write(&two[1])]));
    assert_eq!(call, "sequence of operations not supported");
    let empty = Quirks { empty_list_fails: true, ..plain };
    assert_eq!(error(empty, |bus| bus.transaction(0x50, &mut [])), "empty list of operations");
    assert_eq!(error(Quirks { busy_every: 1, ..plain }, |bus| bus.write(0x50, &[0])), "bus taken");

    let mut protected = ChipModel::example_32_kbit();
    protected.write_protect.answer = pagewise_simulator::model::ProtectedAnswer::NackData;
    let bench = Bench::wired(protected, Straps::GROUND.with_wp(Level::High));
    assert_eq!(bench.write(0, &[1]).unwrap_err().to_string(), "byte 2 not acknowledged");
    bench.rig.load(bench.chip, 0, &[0; 2]);
    bench.rig.bus().interrupted_read(0x50, &[0, 0], 0, 1).unwrap();
    assert_eq!(bench.write(0, &[1]).unwrap_err().to_string(), "SDA is held low");
    bench.rig.set_supply_mv(0);
    assert_eq!(bench.write(0, &[1]).unwrap_err().to_string(), "no supply");
}

#[test]
fn every_error_over_pins_says_what_happened_and_has_its_kind() {
    use NoAcknowledgeSource::{Address, Data};
    let errors = [
        (BitBangError::AddressNack, "device address not acknowledged", ErrorKind::NoAcknowledge(Address)),
        (BitBangError::DataNack(3), "byte 3 not acknowledged", ErrorKind::NoAcknowledge(Data)),
        (BitBangError::AddressOutOfRange(0xD0), "0xD0 is not a 7-bit device address", ErrorKind::Other),
        (BitBangError::SdaHeld, "SDA is held low", ErrorKind::Bus),
        (BitBangError::SclHeld, "SCL is held low", ErrorKind::Bus),
        (BitBangError::Pin, "a pin failed", ErrorKind::Other),
    ];
    for (error, text, kind) in errors {
        assert_eq!((error.to_string().as_str(), error.kind()), (text, kind));
    }
}

#[test]
fn a_layer_says_what_its_bus_says_and_what_it_refused_itself() {
    let call = |quirks: Quirks, bytes: &[u8]| {
        let mut layer = BusLayer::new(e32().rig.bus(), quirks);
        layer.write(0x51, bytes).unwrap_err().to_string()
    };
    assert_eq!(call(Quirks::default(), &[0]), "device address not acknowledged");
    let limit = Quirks { max_transfer: Some(4), ..Quirks::default() };
    assert!(call(limit, &[0; 5]).starts_with("refused by the bus layer: "));
}

#[test]
fn chips_and_pins_have_the_names_of_the_sheet() {
    let rig = Rig::new(RigConfig::default());
    let model = ChipModel::example_2_kbit;
    let chips: [ChipId; 3] = [0, 1, 2].map(|n| rig.attach_with(model(), Straps::address(n), PowerUp::Erased));
    assert_eq!(chips.map(|chip| (chip.index(), chip.to_string())), [0, 1, 2].map(|n| (n, format!("chip {n}"))));
    assert_eq!([Pin::Address(2), Pin::WriteProtect].map(|pin| pin.to_string()), ["A2", "WP"]);
}
