//! Every hazard has a detector; a correct program hears nothing of any of them.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::{ChipModel, CycleTime, Hazard, Level, OtherFamily, Rig, RigConfig, Straps, WireConfig};

#[test]
fn a_long_correct_program_is_quiet_on_every_model() {
    for model in eeproms() {
        let rig = Rig::new(RigConfig::default().with_seed(9).with_scl_hz(100_000));
        let chip = rig.attach(model.clone(), Straps::GROUND);
        rig.set_write_cycle(chip, CycleTime::Drawn);
        let bench = Bench { rig, chip, model };
        let page = bench.model.page;
        for i in 0..40_u32 {
            let offset = (i * 7919) % (bench.model.capacity - 2 * page);
            let len = (page - offset % page).min(1 + i % page);
            let data = pattern(len as usize);
            bench.rig.meant(bench.chip, offset, &data);
            bench.write(offset, &data).unwrap();
            // A part without word-address bytes has no header to poll with.
            let (address, header) = wire_address(&bench.model, offset);
            while bench.rig.bus().write(address, &header).is_err() {}
            assert_eq!(bench.read(offset, len as usize), data);
        }
        assert!(bench.rig.explain().is_empty(), "{}", bench.model.name);
        assert!(bench.hazards().is_empty(), "{}", bench.model.name);
    }
}

/// One small program per hazard; the table says that no hazard is without a detector.
fn provoke(hazard: Hazard, trace: bool) -> Rig {
    let bench = match hazard {
        Hazard::BlockAlias => Bench::new(ignores_low_bits()),
        Hazard::FloatingPin => Bench::wired(
            ChipModel::example_32_kbit(),
            Straps { a: [Level::Open, Level::Low, Level::Low], wp: Level::Low },
        ),
        Hazard::WriteProtect => Bench::wired(ChipModel::example_32_kbit(), Straps::GROUND.with_wp(Level::High)),
        Hazard::WearOut => {
            let mut model = ChipModel::example_32_kbit();
            model.endurance_cycles = 1;
            Bench::new(model)
        }
        _ => e32(),
    };
    let rig = bench.rig.clone();
    rig.set_trace(trace);
    let mut bus = rig.bus();
    match hazard {
        Hazard::PageWrap => bench.store(31, &[1, 2]),
        Hazard::AddressWidth => bus.write_read(0x50, &[0], &mut [0]).unwrap(),
        Hazard::BlockAlias => {
            bench.store(0, &[1]);
            bus.write(0x51, &[0, 2]).unwrap();
        }
        Hazard::CapacityAlias => bus.write(0x50, &[0x10, 0, 1]).unwrap(),
        Hazard::ReadRollover => drop(bench.read(4095, 2)),
        Hazard::BusyAccess => {
            bench.write(0, &[1]).unwrap();
            assert!(bench.write(64, &[2]).is_err());
        }
        Hazard::RestartAbort => bench.restarted_writes(0x50, &[&[0, 0], &[1, 2, 3]]).unwrap(),
        Hazard::WriteProtect | Hazard::WearOut => bench.store(0, &[1]),
        Hazard::TornWrite => {
            bench.write(0, &[1]).unwrap();
            rig.power_cycle();
        }
        Hazard::AddressConflict => {
            rig.attach_other(0x50, "sensor");
            bus.write(0x50, &[0, 0]).unwrap();
        }
        Hazard::FloatingPin => {}
        Hazard::Overclock => {
            rig.set_scl_hz(2_000_000);
            bus.write(0x50, &[0, 0]).unwrap();
        }
        Hazard::Undervoltage => {
            rig.set_supply_mv(1000);
            assert!(bus.write(0x50, &[0, 0]).is_err());
        }
        Hazard::Overvoltage => {
            rig.set_supply_mv(5600);
            bus.write(0x50, &[0, 0]).unwrap();
        }
        // 400 pF behind 4.7 kilohm rise in 1.6 us.
        Hazard::MisplacedWrite => {
            bench.rig.meant(bench.chip, 0x0102, &[5, 6, 7]);
            bench.store(0x0201, &[5, 6, 7]);
        }
        Hazard::BusTiming => {
            let slow = WireConfig { capacitance_pf: 400, ..WireConfig::TYPICAL };
            rig.set_scl_hz(100_000);
            rig.bit_bang(slow).write(0x50, &[0, 0]).unwrap();
        }
        Hazard::WrongFamily => {
            rig.attach_wrong_family(0x52, OtherFamily::Sram23);
            assert!(bus.write(0x52, &[0, 0]).is_err());
        }
        Hazard::StuckBus => {
            rig.load(bench.chip, 0, &[0]);
            bus.interrupted_read(0x50, &[0, 0], 0, 2).unwrap();
        }
    }
    rig
}

#[test]
fn every_hazard_has_a_detector_that_names_it_and_nothing_else() {
    for hazard in Hazard::ALL {
        let found = provoke(hazard, true).finish();
        // At its only rated cycle a cell is at half of its rating too; one incident says it.
        assert_eq!(found.iter().map(|incident| incident.hazard).collect::<Vec<_>>(), [hazard], "{hazard}");
        assert_eq!(provoke(hazard, false).finish(), found, "with whole runs of bytes at once");
    }
}
