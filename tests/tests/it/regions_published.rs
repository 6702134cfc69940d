//! Second regions of cards as their simulated chips show them, against what was published (`data/datasheets.toml`,
//! `data/more-parts.toml`, `data/standards.toml`; the entry is named beside each check).

use crate::published::{data, entries};
use embedded_hal::i2c::I2c;
use pagewise_part::card::Catalogue;
use pagewise_simulator::model::RegionKind;
use pagewise_simulator::{
    BusFault, ChipId, ChipModel, CycleTime, Hazard, Level, Rig, RigConfig, Straps, TimingParameter,
};
use toml::Value;

fn model(id: &str) -> ChipModel {
    Catalogue::embedded().unwrap().find(id).unwrap().chip_model()
}

fn rig(id: &str, supply_mv: u32) -> (Rig, ChipId) {
    let model = model(id);
    // A supply that was not read is assumed to begin higher.
    let supply_mv = supply_mv.clamp(model.supply.write_min_mv, model.supply.max_mv);
    let rig = Rig::new(RigConfig::default().with_supply_mv(supply_mv).with_scl_hz(100_000));
    let chip = rig.attach(model, Straps::GROUND);
    rig.set_write_cycle(chip, CycleTime::Max);
    (rig, chip)
}

/// What an entry says in a field, lists joined.
fn published(entry: &str, field: &str) -> String {
    match &entries()[entry][field] {
        Value::String(text) => text.clone(),
        Value::Array(texts) => texts.iter().filter_map(Value::as_str).collect::<Vec<_>>().join("; "),
        other => panic!("{entry}: {field} is {other}"),
    }
}

fn read(rig: &Rig, address: u8, header: &[u8], len: usize) -> Vec<u8> {
    let mut bytes = vec![0; len];
    rig.bus().write_read(address, header, &mut bytes).unwrap();
    bytes
}

#[test]
fn the_24aa256uid_holds_maker_and_device_code_and_both_network_addresses() {
    let said = published("24AA256UID", "special_regions");
    assert!(said.contains("32-bit serial: 7FFAh-7FFFh (29h, 48h, then four serial bytes)"), "{said}");
    assert!(said.contains("EUI-48: 7F7Ah-7F7Fh; EUI-64: 7FB8h-7FBFh"), "{said}");
    let (rig, _) = rig("24aa256uid", 3300);
    assert_eq!(read(&rig, 0x50, &[0x7F, 0xFA], 6)[..2], [0x29, 0x48]);
    // Ranges for documentation: standards.toml, `eui.documentation_ranges`.
    assert_eq!(read(&rig, 0x50, &[0x7F, 0x7A], 5), [0x00, 0x00, 0x5E, 0x00, 0x53]);
    assert_eq!(read(&rig, 0x50, &[0x7F, 0xB8], 3), [0x02, 0x00, 0x5E]);
    for header in [[0x7F, 0xFA], [0x7F, 0x7A], [0x7F, 0xB8]] {
        let before = read(&rig, 0x50, &header, 6);
        rig.bus().write(0x50, &[header[0], header[1], 0xAA]).unwrap();
        rig.advance_ns(20_000_000);
        assert_eq!(read(&rig, 0x50, &header, 6), before, "read-only");
    }
}

#[test]
fn the_serial_number_of_the_at24cs32_shares_the_pointer_of_the_array() {
    let said = published("AT24CS32", "special_regions");
    assert!(said.contains("word address 0800h (A11,A10 = 10, anything else gives undefined data), 16 bytes"), "{said}");
    assert!(said.contains("the next 16 bytes read 00h, then it rolls over; pointer shared with the array"), "{said}");
    let (rig, chip) = rig("at24cs32", 3300);
    let serial = rig.region(chip, 0);
    let expected = [&serial[..], &[0; 16], &serial[..2]].concat();
    assert_eq!(read(&rig, 0x58, &[0x08, 0x00], 34), expected);
    assert_ne!(read(&rig, 0x58, &[0x00, 0x00], 16), serial);
    rig.load(chip, 0x0805, &[0x77]);
    read(&rig, 0x58, &[0x08, 0x00], 5);
    let mut next = [0];
    rig.bus().read(0x50, &mut next).unwrap();
    assert_eq!(next, [0x77]);
}

#[test]
fn the_serial_number_of_the_at24cs16_starts_with_a_dummy_write_of_80h() {
    let said = published("AT24CS16", "special_regions");
    assert!(said.contains("device byte 1011 000x, word address 10xxxxxx (80h)"), "{said}");
    assert!(said.contains("one address pointer shared with the array, so start with a dummy write"), "{said}");
    let (rig, chip) = rig("at24cs16", 3300);
    let serial = rig.region(chip, 0);
    assert_eq!(read(&rig, 0x58, &[0x80], 16), serial);
    read(&rig, 0x50, &[0x00], 1);
    let mut undefined = [0; 16];
    rig.bus().read(0x58, &mut undefined).unwrap();
    assert_ne!(undefined.to_vec(), serial, "without a dummy write");
    assert!(rig.bus().write(0x59, &[]).is_err(), "1011 000 alone");
}

#[test]
fn network_addresses_whose_place_was_not_read_are_on_the_card_and_not_in_the_chip() {
    let said = published("AT24MAC402", "special_regions");
    assert!(said.contains("EUI-48 (402) or EUI-64 (602): separate read-only area (word address unread)"), "{said}");
    for (id, kind, len) in [("at24mac402", "eui-48", 6), ("at24mac602", "eui-64", 8)] {
        let catalogue = Catalogue::embedded().unwrap();
        let card = catalogue.find(id).unwrap();
        let eui = card.regions.iter().find(|region| serde_json::to_value(region.kind).unwrap() == kind).unwrap();
        assert!(!eui.address_read && eui.length == len);
        let simulated = card.chip_model().regions;
        assert!(!simulated.iter().any(|region| matches!(region.kind, RegionKind::Eui48 | RegionKind::Eui64)));
    }
}

#[test]
fn the_module_parts_of_4_kbit_choose_their_half_by_6ch_and_6eh() {
    let data = data("standards.toml");
    let ee1004 = &data["spd"]["ee1004"];
    let control = |key: &str| u8::try_from(ee1004[key].as_integer().unwrap()).unwrap();
    let dummies = vec![0; usize::try_from(ee1004["spa_trailing_bytes"].as_integer().unwrap()).unwrap()];
    for (id, supply_mv) in [("at34c04", 3300), ("34aa04", 3300)] {
        let (rig, chip) = rig(id, supply_mv);
        let image: Vec<u8> = (0..512_u32).map(|at| (at >> 1) as u8).collect();
        rig.load(chip, 0, &image);
        for (control, half) in [(control("spa1_byte"), 256), (control("spa0_byte"), 0), (control("spa1_byte"), 256)] {
            rig.bus().write(control >> 1, &dummies).unwrap();
            assert_eq!(read(&rig, 0x50, &[0x10], 4), image[half + 0x10..half + 0x14], "{id}, {control:02X}h");
        }
        rig.power_cycle();
        assert_eq!(read(&rig, 0x50, &[0x10], 1), image[0x10..0x11], "{id}: half 0 at power-up");
    }
}

#[test]
fn frams_are_identified_by_f8h_and_f9h() {
    let said = published("fujitsu-mb85rc256v", "special_regions");
    assert!(said.contains("3-byte device ID (00h A5h 10h) read through reserved slave ID F8h/F9h"), "{said}");
    let said = published("cypress-fm24v02", "special_regions");
    assert!(said.contains("through the reserved address F8h/F9h: 00 42 00 (FM24V02)"), "{said}");
    for (id, expected) in [("mb85rc256v", [0x00, 0xA5, 0x10]), ("fm24v02", [0x00, 0x42, 0x00])] {
        let (rig, _) = rig(id, 3300);
        assert_eq!(read(&rig, 0xF8 >> 1, &[0xA0], 3), expected, "{id}");
        let error = rig.bus().write_read(0xF8 >> 1, &[0xAE], &mut [0]).unwrap_err();
        assert_eq!(error.fault, BusFault::DataNack { byte: 0 }, "{id}: another part's address");
    }
}

#[test]
fn the_24lc65_takes_an_address_byte_from_80h_on_for_its_security_command() {
    let said = published("24XX65", "special_regions");
    assert!(said.contains("a write whose FIRST ADDRESS BYTE HAS BIT 7 = 1 is taken as the security/endurance command"));
    let (rig, chip) = rig("24lc65", 5000);
    rig.bus().write(0x50, &[0x80 | 1 << 1, 0x00, 0x81]).unwrap();
    rig.advance_ns(50_000_000);
    for (offset, stored) in [(0x1FF, true), (0x200, false), (0x3FF, false), (0x400, true)] {
        rig.bus().write(0x50, &[(offset >> 8) as u8, offset as u8, 0x55]).unwrap();
        rig.advance_ns(50_000_000);
        assert_eq!(rig.memory(chip)[offset] == 0x55, stored, "{offset:#06x}: blocks of 4 kbit (512 bytes)");
    }
    assert!(rig.finish().iter().any(|incident| incident.text.contains("read-only for good")));
}

#[test]
fn the_nm24c65_wants_the_top_three_word_address_bits_zero() {
    let said = published("fairchild-nm24c65", "block_select_where");
    assert!(said.contains("top 3 bits of the first word-address byte must be 0"), "{said}");
    let (rig, chip) = rig("nm24c65", 5000);
    rig.bus().write(0x50, &[0x20, 0x10, 0x55]).unwrap();
    rig.advance_ns(50_000_000);
    assert_eq!(rig.memory(chip), vec![0xFF; 8192]);
    assert!(rig.finish().iter().all(|incident| incident.hazard == Hazard::CapacityAlias));
}

#[test]
fn the_24xx256_wants_wp_stable_around_the_stop() {
    let said = published("24XX256", "notes");
    assert!(said.contains("WP setup 4000/600/600 ns, hold 4700/1300/1300 ns"), "{said}");
    for (id, supply_mv, limit_ns) in
        [("24aa256", 2000, 4700_u32), ("24aa256", 3300, 1300), ("24lc256", 3300, 1300), ("24fc256", 3300, 1300)]
    {
        for (after_ns, kept) in [(limit_ns - 1, false), (limit_ns, true)] {
            let (rig, chip) = rig(id, supply_mv);
            rig.bus().write(0x50, &[0, 0, 0x55]).unwrap();
            rig.advance_ns(u64::from(after_ns));
            rig.set_wp(chip, Level::High);
            let found: Vec<String> = rig.incidents().into_iter().map(|incident| incident.text).collect();
            let text = format!("{} is {after_ns} ns, must be at least {limit_ns} ns", TimingParameter::HoldWp);
            assert_eq!(found.iter().any(|found| found.ends_with(&text)), !kept, "{id}, {supply_mv} mV: {found:?}");
        }
    }
    let setups = |id: &str| model(id).speed.iter().map(|grade| (grade.scl_hz, grade.ac.t_su_wp)).collect::<Vec<_>>();
    assert_eq!(setups("24aa256"), [(100_000, 4000), (400_000, 600)]);
    assert_eq!(setups("24fc256"), [(400_000, 600), (1_000_000, 600)]);
    // 24FC02: WP setup 0 ns, hold 1000 ns.
    assert!(published("24XX02", "notes").contains("24FC02 WP setup 0 ns, hold 1000 ns"));
    assert_eq!(model("24fc02").speed[0].ac.t_hd_wp, 1000);
}

#[test]
fn the_at34c04_lets_go_of_the_bus_after_its_time_out() {
    assert!(published("AT34C04", "notes").contains("bus time-out 25-35 ms"));
    let model = model("at34c04");
    assert_eq!((model.bus_timeout_ns, model.min_scl_hz), (25_000_000, 10_000));
}
