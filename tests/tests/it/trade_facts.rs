//! Facts of the trade as check values on cards, driver, chip and verdicts. Common practice, no source.

use embedded_hal::i2c::I2c;
use pagewise_base::form::word;
use pagewise_judge::board::{Board, parse};
use pagewise_judge::swap::{Verdict, judge};
use pagewise_part::card::{Card, Catalogue, Footprint, Kind, Open, Role, density};
use pagewise_simulator::{CycleTime, Hazard, Level, Rig, RigConfig, Straps};
use pagewise_tests::seat::Seat;

fn catalogue() -> Catalogue {
    Catalogue::embedded().unwrap()
}

fn card(catalogue: &Catalogue, id: &str) -> Card {
    catalogue.find(id).unwrap_or_else(|| panic!("no card {id}")).clone()
}

/// A 3.3 V board at 100 kHz with polling firmware made for `fitted`.
pub fn board(fitted: &Card, used: u32) -> Board {
    let parameters = fitted.parameters([false; 3]).unwrap();
    let text = format!(
        "name = \"b\"\nfitted = \"{}\"\nfootprint = \"soic-8\"\nyears_of_life = 1\n\
         [bus]\nsupply_v = 3.3\nscl_khz = 100\npull_up_ohm = 4700\ncapacitance_pf = 50\nother_addresses = []\n\
         [straps]\na0 = \"gnd\"\na1 = \"gnd\"\na2 = \"gnd\"\nwp = \"gnd\"\n\
         [firmware]\ndevice_address = {}\nword_address_bytes = {}\nblock_select_bits = {}\npage_bytes = {}\n\
         wait = \"poll\"\nwait_ms = 20\nread_cut_bytes = 256\n\
         [[region]]\nname = \"r\"\noffset = 0\nlength = {used}\nwrites_per_day = 1\n",
        fitted.id,
        parameters.device_address,
        parameters.word_address_bytes,
        parameters.block_select_bits,
        parameters.page_bytes
    );
    parse("b.toml", &text).unwrap()
}

#[test]
fn densities_are_named_in_kilobits_and_counted_in_bytes() {
    for (bytes, text) in [
        (4096, "32 kbit = 4096 bytes"),
        (8192, "64 kbit = 8192 bytes"),
        (1024, "8 kbit = 1024 bytes"),
        (131_072, "1 Mbit = 131072 bytes"),
    ] {
        assert_eq!(density(bytes), text);
    }
}

/// The digits after "24" and letters, where they are one of the trade's densities.
fn marked_kilobits(name: &str) -> Option<u32> {
    let after = &name[name.find("24")? + 2..];
    let letters: String = after.chars().take_while(char::is_ascii_alphabetic).collect();
    let digits: String = after[letters.len()..].chars().take_while(char::is_ascii_digit).collect();
    let known = ["00", "01", "02", "04", "08", "16", "32", "64", "128", "256", "512"].contains(&digits.as_str());
    // An M in front counts megabits, a 00 is the one below a kilobit.
    (known && digits != "00" && !letters.ends_with('M')).then(|| digits.parse().unwrap())
}

#[test]
fn the_digits_of_a_marking_name_the_density() {
    assert_eq!(marked_kilobits("24LC32A"), Some(32));
    let (mut checked, catalogue) = (0, catalogue());
    for card in catalogue.eeproms() {
        if let Some(kilobits) = marked_kilobits(&card.name) {
            assert_eq!(card.capacity_bytes.value, kilobits * 128, "{}", card.name);
            checked += 1;
        }
    }
    assert!(checked > catalogue.eeproms().count() / 2, "only {checked} markings were understood");
}

#[test]
fn no_part_of_the_spi_or_sram_families_is_in_the_catalogue() {
    for card in catalogue().parts() {
        let digits: String = card.name.chars().skip_while(|c| !c.is_ascii_digit()).take(2).collect();
        assert!(!["25", "23"].contains(&digits.as_str()), "{}", card.name);
    }
}

#[test]
fn three_address_pins_give_0x50_to_0x57_and_eight_parts_share_a_bus() {
    let catalogue = catalogue();
    let three_pins = [Role::Pin(2), Role::Pin(1), Role::Pin(0)];
    let usual: Vec<&Card> = catalogue
        .eeproms()
        .filter(|card| card.address_bits.value == three_pins && card.device_address([false; 3]) == 0x50)
        .collect();
    assert!(usual.len() > catalogue.eeproms().count() / 4);
    for card in usual {
        let seats: Vec<Seat> = (0..8).map(|pins| Seat::new(card, pins, 0)).collect();
        let rig = Rig::new(RigConfig { scl_hz: seats[0].scl_hz, supply_mv: seats[0].supply_mv, seed: 1 });
        let chips: Vec<_> = seats.iter().map(|seat| rig.attach(card.chip_model(), seat.straps())).collect();
        for (n, chip) in chips.iter().enumerate() {
            rig.set_write_cycle(*chip, CycleTime::Typical);
            let mut message = vec![0; usize::from(card.word_address_bytes.value)];
            message.push(n as u8);
            rig.bus().write(0x50 + n as u8, &message).unwrap();
        }
        rig.advance_ns(1_000_000_000);
        let stored: Vec<u8> = chips.iter().map(|chip| rig.memory(*chip)[0]).collect();
        assert_eq!(stored, [0, 1, 2, 3, 4, 5, 6, 7], "{}", card.id);
        assert!(rig.finish().is_empty(), "{}: {:?}", card.id, rig.finish());
    }
}

#[test]
fn one_word_address_byte_counts_a_256_byte_block_two_count_64_kb() {
    for card in catalogue().eeproms().filter(|card| card.word_address_bytes.value > 0) {
        let capacity = card.capacity_bytes.value;
        // What needs a bank-select command is not addressed.
        let block = card.reachable_bytes() >> card.block_select_bits();
        match card.word_address_bytes.value {
            1 => assert!(block <= 256, "{}: blocks of {block} bytes", card.id),
            2 => assert!((257..=65_536).contains(&block), "{}: blocks of {block} bytes", card.id),
            other => panic!("{}: {other} word-address bytes in no sheet read", card.id),
        }
        // more-parts.toml, 24CW64X: the 16-kbit member has one block of 2048 bytes, where others have eight.
        if (512..=2048).contains(&capacity) && card.id != "24cw16x" {
            assert_eq!(card.word_address_bytes.value, 1, "{}: 4 to 16 kbit keep one byte", card.id);
        }
    }
}

#[test]
fn one_density_up_is_possible_and_crossing_the_number_of_address_bytes_is_not() {
    let catalogue = catalogue();
    let fitted = card(&catalogue, "24lc32a");
    let up = judge(&board(&fitted, 4096), &fitted, &card(&catalogue, "24lc64"));
    assert_eq!(up.verdict, Verdict::DropIn, "{:?}", up.findings);

    let fitted = card(&catalogue, "24lc16b");
    let across = judge(&board(&fitted, 2048), &fitted, &card(&catalogue, "24lc32a"));
    assert_eq!(across.verdict, Verdict::Reconfigure, "{:?}", across.findings);
    assert!(across.findings.iter().any(|finding| finding.rule == "address-width"), "{:?}", across.findings);
    assert!(!across.evidence.new.serves);
}

#[test]
fn a_smallest_package_may_answer_all_eight_addresses_and_must_be_alone() {
    let catalogue = catalogue();
    let small = catalogue.eeproms().map(|card| card.in_footprint(Footprint::Sot235));
    let all_eight = small.into_iter().filter(|card| card.answers([false; 3]) == (0x50..=0x57).collect::<Vec<u8>>());
    let without_blocks: Vec<Card> = all_eight.filter(|card| card.block_select_bits() == 0).collect();
    assert!(!without_blocks.is_empty());
    for small in without_blocks {
        let mut board = board(&small, 8);
        board.footprint = Footprint::Sot235;
        board.bus.other_addresses = vec![0x57];
        let judged = judge(&board, &small, &small);
        assert!(judged.evidence.new.told().hazards.contains(&Hazard::AddressConflict), "{}: {judged:?}", small.id);
    }
}

#[test]
fn an_open_address_pin_floats_unless_the_part_pulls_it() {
    let catalogue = catalogue();
    let (mut floating, mut pulled) = (0, 0);
    for card in catalogue.eeproms().filter(|card| card.address_bits.value.contains(&Role::Pin(0))) {
        let seat = Seat::new(card, 0, 0);
        let rig = Rig::new(RigConfig { scl_hz: seat.scl_hz, supply_mv: seat.supply_mv, seed: 1 });
        let mut straps: Straps = seat.straps();
        straps.a[0] = Level::Open;
        rig.attach(card.chip_model(), straps);
        let reported = rig.finish().iter().any(|incident| incident.hazard == Hazard::FloatingPin);
        assert_eq!(reported, card.open_strap.value == Open::Random, "{}", card.id);
        if reported { floating += 1 } else { pulled += 1 }
    }
    assert!(floating > 0 && pulled > 0, "{floating} float, {pulled} are pulled");
}

#[test]
fn a_fram_writes_at_once_and_an_eeprom_needs_its_write_cycle() {
    for card in catalogue().parts() {
        let seat = Seat::new(card, 0, 0);
        let rig = Rig::new(RigConfig { scl_hz: seat.scl_hz, supply_mv: seat.supply_mv, seed: 1 });
        let chip = rig.attach(card.chip_model(), seat.straps());
        let mut message = vec![0; usize::from(card.word_address_bytes.value)];
        message.push(0x5A);
        rig.bus().write(seat.geometry.device_address(), &message).unwrap();
        let stored_at_once = rig.memory(chip)[0] == 0x5A;
        assert_eq!(stored_at_once, card.kind == Kind::Fram, "{}", card.id);
        assert_eq!(rig.busy(chip), card.kind == Kind::Eeprom, "{}", card.id);
    }
}

#[test]
fn an_eeprom_is_written_byte_by_byte_without_erasing() {
    let catalogue = catalogue();
    let seat = Seat::new(catalogue.find("24lc32a").unwrap(), 0, 0);
    let rig = Rig::new(RigConfig { scl_hz: seat.scl_hz, supply_mv: seat.supply_mv, seed: 1 });
    let chip = rig.attach(seat.card.chip_model(), seat.straps());
    rig.load(chip, 0x10, &[0x0F, 0x0F, 0x0F]);
    rig.bus().write(0x50, &[0x00, 0x11, 0xF0]).unwrap();
    rig.advance_ns(1_000_000_000);
    assert_eq!(rig.memory(chip)[0x10..0x13], [0x0F, 0xF0, 0x0F]);
}

#[test]
fn a_3v3_board_excludes_parts_that_need_4v5() {
    let catalogue = catalogue();
    let fitted = card(&catalogue, "24lc02b");
    let mut excluded = 0;
    for part in catalogue.eeproms().filter(|card| !card.write_min_mv.is_assumed() && card.write_min_mv.value >= 4500) {
        let judged = judge(&board(&fitted, 64), &fitted, part);
        assert_eq!(judged.verdict, Verdict::Reject, "{}", part.id);
        assert!(judged.findings.iter().any(|finding| finding.rule == "supply"), "{}", part.id);
        excluded += 1;
    }
    assert!(excluded > 0);
}

#[test]
fn wide_range_parts_run_from_1v7_or_1v8_to_5v5_and_the_fastest_take_1_mhz() {
    let catalogue = catalogue();
    let wide = |card: &&Card| card.write_min_mv.value <= 1800 && card.max_mv.value == 5500 && !card.max_mv.is_assumed();
    assert!(catalogue.eeproms().filter(wide).count() >= 10);
    let rates = catalogue.eeproms().flat_map(|card| card.speed.value.iter().map(|grade| grade.scl_khz));
    assert_eq!(rates.max(), Some(1000));
}

/// The footprint finding of a swap on a board with this footprint, with its condition.
fn footprint_finding(fitted: &str, candidate: &str, footprint: &str) -> Option<(String, Option<String>)> {
    let catalogue = catalogue();
    let fitted = card(&catalogue, fitted);
    let footprint = word::read::<Footprint>(footprint).unwrap();
    let board = Board { footprint, ..board(&fitted, 16) };
    let judged = judge(&board, &fitted.in_footprint(footprint), &card(&catalogue, candidate));
    let plain = judged.verdict == Verdict::DropIn && judged.provided_that.is_empty();
    let finding = judged.findings.into_iter().find(|finding| finding.rule == "footprint");
    assert!(finding.is_none() || !plain, "{candidate}: a plain drop-in with a finding");
    finding.map(|finding| (finding.compared, finding.proviso.map(|proviso| proviso.text)))
}

/// Pairs that look drop-in and are not; the documents stand in `data/packages.toml`.
#[test]
fn a_package_that_is_not_made_or_has_its_pins_elsewhere_needs_another_board() {
    for (fitted, candidate, footprint, words) in [
        // 24LC014: SCL 1, VCC 6; 34XX02: VCC 1, SCL 6.
        ("24lc014", "34lc02", "sot-23-6", "VCC on pin 6, VSS on pin 2, SDA on pin 3, SCL on pin 1"),
        // 24XX00: VCC on pin 5; 24XX01, 24XX02: on pin 4.
        ("24lc00", "24lc01b", "SOT23-5", "VCC on pin 5"),
        // AT24C1024 is listed in PDIP, EIAJ SOIC, LAP and SAP.
        ("24lc1026", "at24c1024", "soic-8", "soic-8 on the board, the part is made in"),
        // DS20005937B lists no SOT-23 and no 5-ball package.
        ("24lc64", "at24c64d", "wlcsp-5", "wlcsp-5 on the board, the part is made in"),
        // S-24C08C: no SOT-23-5.
        ("24lc08b", "s-24c08c", "sot-23-5", "sot-23-5 on the board, the part is made in"),
    ] {
        let (compared, proviso) = footprint_finding(fitted, candidate, footprint).expect(candidate);
        assert!(compared.contains(words), "{candidate}: {compared}");
        assert_eq!(proviso, None, "{candidate}: {compared}");
    }
}

#[test]
fn what_was_not_read_of_a_package_is_a_condition() {
    for (fitted, candidate, footprint, words) in [
        // The 24XX64 is sold in two pin orders of the 8-lead TSSOP.
        ("at24c64d", "24lc64", "tssop-8", "its order code is that of tssop-8"),
        // P24C32C, SOT-23-5: how the address bits are read was not read.
        ("24lc32a", "p24c32c", "sot-23-5", "sot-23-5"),
        // 2010 edition only.
        ("24lc64", "at24c64d", "sot-23-5", "it is made in sot-23-5"),
        ("24lc64", "24lc128", "vfbga-8", "it is made in vfbga-8"),
    ] {
        let (_, proviso) = footprint_finding(fitted, candidate, footprint).expect(candidate);
        assert!(proviso.as_ref().is_some_and(|text| text.contains(words)), "{candidate}: {proviso:?}");
    }
    // Where list, pins and address were read, there is nothing to say.
    for (fitted, candidate, footprint) in [("24lc64", "at24c64d", "soic-8"), ("24lc64", "24lc32a", "dip-8")] {
        assert_eq!(footprint_finding(fitted, candidate, footprint), None, "{candidate}");
    }
}

#[test]
fn an_order_code_is_read_to_the_end() {
    let catalogue = catalogue();
    for (text, part, footprint, celsius) in [
        ("24LC64-I/SN", "24lc64", "soic-8", (-40, 85)),
        ("24LC64T-I/SN", "24lc64", "soic-8", (-40, 85)),
        ("24lc64-i/sm", "24lc64", "soic-8-wide", (-40, 85)),
        ("24LC64-X/ST", "24lc64", "tssop-8-rotated", (-40, 85)),
        ("24AA16-I/P", "24aa16", "dip-8", (-40, 85)),
    ] {
        let found = catalogue.find(text).expect(text);
        assert_eq!((found.order_of.as_deref(), found.name.as_str()), (Some(part), text), "{text}");
        let made: Vec<&str> = found.packages.list.iter().map(|package| package.footprint.word()).collect();
        assert_eq!(made, [footprint], "{text}");
        assert_eq!((found.temperature_min_c.value, found.temperature_max_c.value), celsius, "{text}");
    }
    // Where the package piece was read in a sibling's sheet only, that it is this package is a condition.
    for (text, part, footprint) in [
        ("24LC128-I/SN", "24lc128", "soic-8"),
        ("BR24G128FVM-3A", "br24g128-3a", "msop-8-2.9x4mm"),
        ("HN58X24256TIE", "hn58x24256", "tssop-14"),
        ("S-24C04AFJA-TB-01S", "s-24c04a", "soic-8"),
    ] {
        let found = catalogue.find(text).unwrap_or_else(|| panic!("{text}"));
        assert_eq!(found.order_of.as_deref(), Some(part), "{text}");
        let made: Vec<&str> = found.packages.list.iter().map(|package| package.footprint.word()).collect();
        assert_eq!(made, [footprint], "{text}");
    }
    let (_, proviso) = footprint_finding("24lc256", "24LC128-I/SN", "soic-8").expect("a condition");
    assert!(proviso.is_some_and(|text| text.contains("it is made in soic-8")));
    // P24C32C: each version has its own supply. vcc_note and the order-code table of the sheet.
    let supply = |text: &str| catalogue.find(text).map(|card| (card.read_min_mv.value, card.max_mv.value));
    assert_eq!(supply("P24C32C-DE"), Some((2500, 5500)));
    assert_eq!(supply("P24C32C-MI"), Some((1700, 5500)));
    // Many letters that could each be a piece are read in no time.
    assert!(catalogue.find(&format!("PCA8581{}Q", "T".repeat(50))).is_none());
    // A letter behind the density is a revision or another part; a piece that is not known is not passed over.
    for text in [
        "AT24C16D-SSHM-T",
        "24LC64Q-I/SN",
        "24LC64-I/QQ",
        "24LC641-I/SN",
        "24LC64-I/SN7",
        "24LC128I/SN",
        "AT24C08C-SSHM-T",
    ] {
        assert!(catalogue.find(text).is_none(), "{text}");
    }
    let (compared, proviso) = footprint_finding("24lc32a", "24LC64-I/SN", "tssop-8").expect("another package");
    assert!(compared.contains("the part is made in soic-8") && proviso.is_none(), "{compared}, {proviso:?}");
    assert_eq!(footprint_finding("24lc32a", "24LC64-I/SN", "soic-8"), None);
}

#[test]
fn the_wide_body_soic_does_not_fit_the_footprint_of_the_narrow_one() {
    let catalogue = catalogue();
    // DS20005937B lists the narrow one only.
    let (fitted, new) = (card(&catalogue, "24lc32a"), card(&catalogue, "at24c64d"));
    let narrow = judge(&board(&fitted, 64), &fitted, &new);
    assert!(narrow.findings.iter().all(|finding| finding.rule != "footprint"), "{:?}", narrow.findings);
    let wide = Board { footprint: Footprint::Soic8Wide, ..board(&fitted, 64) };
    let wide = judge(&wide, &fitted, &new);
    assert!(wide.findings.iter().any(|finding| finding.rule == "footprint"), "{:?}", wide.findings);
}
