//! Writes every region through its accessor on the simulated bus, reads it back, and prints the bytes of the chip.
#![deny(warnings)]
#![allow(clippy::format_collect)]
mod part;

use pagewise_driver::{Eeprom, Error, Options};
use pagewise_simulator::{ChipModel, Rig, RigConfig, Straps};
use part::regions;

fn main() {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let mut eeprom =
        Eeprom::<_, _, { part::BUFFER_BYTES }>::new(rig.bus(), rig.delay(), part::GEOMETRY, Options::new());
    let mac = [0x02, 0, 0, 0x12, 0x34, 0x56];
    regions::write_serial(&mut eeprom, b"TI-0042").unwrap();
    regions::write_mac(&mut eeprom, &mac).unwrap();
    regions::write_board_name(&mut eeprom, b"valve driver").unwrap();
    let long = regions::write_board_name(&mut eeprom, b"seventeen letters");
    assert!(matches!(long, Err(Error::OutOfRange { length: 17, capacity: 16, .. })));
    regions::write_hours(&mut eeprom, 0x0102_0304).unwrap();
    regions::write_offsets(&mut eeprom, &[-2, 300, -32768]).unwrap();
    regions::write_total(&mut eeprom, 0x1122_3344_5566_7788).unwrap();
    regions::write_flags(&mut eeprom, 0xA5).unwrap();
    eeprom.write(regions::CHECK_OFFSET, &[0x34, 0x12]).unwrap();

    assert_eq!(regions::read_serial(&mut eeprom, &mut [0; 12]).unwrap(), b"TI-0042");
    assert_eq!(regions::read_mac(&mut eeprom).unwrap(), mac);
    assert_eq!(regions::read_board_name(&mut eeprom, &mut [0; 16]).unwrap(), b"valve driver");
    assert_eq!(regions::read_hours(&mut eeprom).unwrap(), 0x0102_0304);
    assert_eq!(regions::read_offsets(&mut eeprom).unwrap(), [-2, 300, -32768]);
    assert_eq!(regions::read_total(&mut eeprom).unwrap(), 0x1122_3344_5566_7788);
    assert_eq!(regions::read_flags(&mut eeprom).unwrap(), 0xA5);
    assert_eq!(regions::read_check(&mut eeprom).unwrap(), 0x1234);
    assert_eq!(regions::CURVE_LENGTH, 330);
    let memory: String = rig.memory(chip).iter().map(|byte| format!("{byte:02x}")).collect();
    println!("{memory}");
}
