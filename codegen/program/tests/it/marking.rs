//! Markings: what the reader claims, and that it claims no more.

use std::collections::BTreeSet;

use crate::cli_support::{refused, run, write};
use pagewise_part::card::{Catalogue, Kind};
use pagewise_part::marking::{Certainty, Family, Piece, Reader, Reading};
use pagewise_simulator::Hazard;
use proptest::prelude::*;

fn catalogue() -> Catalogue {
    Catalogue::embedded().unwrap()
}

fn reading(text: &str) -> Reading {
    Reader::new(&catalogue()).read(text)
}

/// The one piece of a text that says something.
fn piece(text: &str) -> Piece {
    let mut reading = reading(text);
    assert_eq!(reading.pieces.len(), 1, "{text}: {reading:?}");
    reading.pieces.remove(0)
}

fn kilobits(piece: &Piece) -> Vec<(u32, Certainty)> {
    piece.densities.iter().map(|density| (density.bytes / 128, density.sure)).collect()
}

fn ids(piece: &Piece) -> Vec<&str> {
    piece.matches.iter().map(|found| found.id.as_str()).collect()
}

#[test]
fn every_card_is_found_by_its_order_code_and_its_identifier_with_its_own_density() {
    let catalogue = catalogue();
    let reader = Reader::new(&catalogue);
    let mut count = 0;
    for card in catalogue.parts() {
        for text in [card.name.clone(), card.name.to_lowercase(), format!("  {} ", card.name), card.id.clone()] {
            let reading = reader.read(&text);
            let own = reading.pieces.iter().find(|piece| piece.matches.iter().any(|found| found.id == card.id));
            // An identifier that tells parts of one name apart is ours, not the trade's.
            let Some(own) = own else { panic!("{text}: {reading:?}") };
            let densities: BTreeSet<u32> = own.densities.iter().map(|density| density.bytes).collect();
            assert_eq!(densities, BTreeSet::from([card.capacity_bytes.value]), "{text}: {own:?}");
            let family = if card.kind == Kind::Fram { Family::I2cFram } else { Family::I2cEeprom };
            assert_eq!(own.families[0].family, family, "{text}");
            assert_eq!(own.hazard, None, "{text}");
            count += 1;
        }
    }
    assert_eq!(count, 4 * catalogue.parts().count());
}

#[test]
fn what_follows_an_order_code_is_said_to_be_not_understood() {
    for (text, id, rest) in [
        ("24LC256T-I/QQ", "24lc256", "T-I/QQ"),
        ("AT24C256C-SSHL-T", "at24c256c", "SSHL-T"),
        ("AT24C32D-SSHM-B", "at24c32d", "SSHM-B"),
        ("FT24C02A-5TR-T", "ft24c02a-5xx", "TR-T"),
    ] {
        let piece = piece(text);
        assert_eq!(ids(&piece), [id], "{text}");
        assert_eq!(piece.matches[0].sure, Certainty::Likely, "{text}");
        assert_eq!(piece.not_understood, [rest], "{text}");
    }
}

/// packages.toml, entries of the parts and of their siblings: what each piece means.
#[test]
fn an_order_code_of_known_pieces_is_understood_as_a_whole() {
    for (text, id, words) in [
        ("24LC256T-I/SN", "24lc256", "soic-8, -40 to 85 C"),
        ("24LC64-X/ST", "24lc64", "tssop-8-rotated, -40 to 85 C"),
        ("BR24G128FJ-3A", "br24g128-3a", "soic-8, 0 to 70 C"),
        ("P24C32C-DE", "p24c32c", "any package, -40 to 125 C"),
        ("S-24C02ADPA-01", "s-24c02a", "dip-8, 0 to 70 C"),
    ] {
        let piece = piece(text);
        assert_eq!(ids(&piece), [id], "{text}");
        let found = &piece.matches[0];
        assert_eq!(found.sure, Certainty::Certain, "{text}");
        assert!(found.because.ends_with(words), "{text}: {}", found.because);
        assert!(piece.not_understood.is_empty(), "{text}");
    }
}

#[test]
fn letters_straight_behind_an_order_code_may_be_a_revision_or_another_part() {
    for (text, id, rest) in [("24AA02QID-I/SN", "24aa02", "QID-I/SN"), ("AT24C16D-SSHM-T", "at24c16", "D-SSHM-T")] {
        let matches = piece(text).matches;
        assert!(matches.iter().all(|it| it.sure == Certainty::Possible), "{text}: {matches:?}");
        let of_part = matches.iter().find(|it| it.id == id).expect(id);
        assert!(of_part.because.contains(&format!("`{rest}`, which may be a revision")), "{}", of_part.because);
    }
}

#[test]
fn the_longest_order_code_that_fits_counts_and_no_number_is_cut() {
    assert_eq!(ids(&piece("24AA025E48")), ["24aa025e48"]);
    assert_eq!(ids(&piece("24LC1025-I/P")), ["24lc1025"]);
    for text in ["24LC2561", "24LC10256", "AT24C0256"] {
        let piece = piece(text);
        assert!(piece.densities.is_empty() && piece.matches.is_empty(), "{piece:?}");
        assert!(piece.remarks[0].contains("is not a density"), "{piece:?}");
    }
}

#[test]
fn a_missing_revision_leaves_every_card_possible() {
    for text in ["AT24C32", "AT24C32-10PI", "AT24C32N"] {
        let piece = piece(text);
        assert_eq!(ids(&piece), ["at24c32d", "at24c32e"], "{text}");
        assert!(piece.matches.iter().all(|found| found.sure == Certainty::Possible), "{text}");
        assert_eq!(kilobits(&piece).iter().map(|it| it.0).collect::<Vec<_>>(), [32], "{text}");
    }
    // A part without a letter has a card of its own; a letter behind it is none of its pieces.
    assert_eq!(ids(&piece("AT24C256")), ["at24c256"]);
    assert!(piece("AT24C256N").matches.iter().all(|found| found.sure == Certainty::Possible));
    assert_eq!(ids(&piece("BR24T64F-WE2")), ["br24t64-w"]);
    assert_eq!(piece("BR24T64F-WE2").matches[0].sure, Certainty::Likely);
    assert_eq!(piece("BR24T64").matches[0].sure, Certainty::Possible);
}

#[test]
fn one_order_code_of_two_cards_names_both() {
    assert_eq!(ids(&piece("AT24C512C")), ["at24c512c-3v6", "at24c512c-5v5"]);
}

/// trade-facts.md: "24" and digits in kilobits, 32 and 64, 08 for 8, 01 for 1 (common practice, no source).
#[test]
fn digits_of_the_24_family_count_kilobits_whoever_made_it() {
    for (text, kbit) in [("24C08", 8), ("24LC64", 64), ("24C01", 1), ("ZZ24C32", 32), ("24W512", 512), ("24M01", 1024)]
    {
        let piece = piece(text);
        assert_eq!(piece.families[0].family, Family::I2cEeprom, "{text}");
        assert_eq!(kilobits(&piece).iter().map(|it| it.0).collect::<Vec<_>>(), [kbit], "{text}: {piece:?}");
    }
    let unknown = piece("ZZ24C32");
    assert_eq!((unknown.families[0].sure, unknown.densities[0].sure), (Certainty::Possible, Certainty::Possible));
    assert!(unknown.densities[0].because.contains("common practice, no source"));
}

/// swap-differences.md: "one order code used for an EEPROM and for a FRAM".
#[test]
fn what_two_makers_use_for_two_things_stays_open() {
    let families: BTreeSet<Family> = piece("FM24C64").families.iter().map(|claim| claim.family).collect();
    assert_eq!(families, BTreeSet::from([Family::I2cEeprom, Family::I2cFram]));
    let families: Vec<(Family, Certainty)> = piece("FM24C16B").families.iter().map(|it| (it.family, it.sure)).collect();
    assert_eq!(families, [(Family::I2cFram, Certainty::Certain), (Family::I2cEeprom, Certainty::Possible)]);
}

#[test]
fn ambiguous_digits_stay_ambiguous() {
    let both = |text: &str| {
        let piece = piece(text);
        assert!(piece.densities.iter().all(|density| density.sure == Certainty::Possible), "{text}: {piece:?}");
        assert!(piece.remarks.iter().any(|remark| remark.contains("ambiguous")), "{text}: {piece:?}");
        kilobits(&piece).iter().map(|it| it.0).collect::<Vec<_>>()
    };
    // An M behind the digits may count megabits (BR24T1M) or name a package.
    assert_eq!(both("24C02M"), [2, 2048]);
    // Three densities carry these digits; what tells them apart is cut off.
    assert_eq!(both("S524A40"), [1, 2, 4]);
    // An EEPROM of the 25 family counts kilobits, a flash megabits.
    assert_eq!(both("25Q64"), [64, 65536]);
}

#[test]
fn other_families_are_called_wrong_with_the_reason() {
    for (text, family, reason) in [
        ("25LC256-I/SN", Family::Spi, "erases before it writes"),
        ("W25Q64", Family::Spi, "another bus"),
        ("25AA02E48", Family::Spi, "nobody answers on I2C"),
        ("23LC1024", Family::SerialSram, "forgets everything"),
        ("93LC46B", Family::ThreeWire, "another bus"),
        ("FM25V02", Family::SpiFram, "another bus"),
    ] {
        let piece = piece(text);
        assert_eq!(piece.families[0].family, family, "{text}");
        assert_eq!(piece.hazard, Some(Hazard::WrongFamily), "{text}");
        assert!(piece.remarks.iter().any(|remark| remark.contains(reason)), "{text}: {piece:?}");
        assert!(piece.matches.is_empty(), "{text}");
    }
    // 93C46 has 1 kbit, which its digits do not say.
    assert!(piece("93C46").densities.is_empty());
    assert_eq!(piece("MB85RC128").hazard, None);
}

#[test]
fn top_marks_are_possible_only() {
    for (text, id) in [("4C02D", "at24c02d"), ("LC32A", "24lc32a"), ("4LC256", "24lc256")] {
        let piece = piece(text);
        assert!(ids(&piece).contains(&id), "{text}: {piece:?}");
        assert!(piece.matches.iter().all(|found| found.sure == Certainty::Possible), "{text}");
        assert!(piece.densities.iter().all(|density| density.sure == Certainty::Possible), "{text}");
        assert!(piece.families.iter().all(|claim| claim.sure == Certainty::Possible), "{text}");
    }
    let date = piece("2416");
    assert_eq!(date.families[0].sure, Certainty::Possible);
    assert!(date.families[0].because.contains("a date"));
}

#[test]
fn a_line_of_a_bill_of_materials_is_read_word_by_word() {
    let reading = reading("IC, EEPROM 32KBIT I2C \"24LC32A-I/SN\" (SOIC-8); R12");
    assert_eq!(reading.pieces.len(), 1, "{reading:?}");
    assert_eq!(ids(&reading.pieces[0]), ["24lc32a"]);
    assert_eq!(reading.not_understood, ["IC", "EEPROM", "32KBIT", "I2C", "SOIC-8", "R12"]);
    let two = Reader::new(&catalogue()).read("24LC256 / 25LC256");
    assert_eq!(two.pieces.len(), 2);
    assert!(two.is_wrong_family());
    for text in ["AT24 C256C SSHL", "AT24 C 256-10PI"] {
        let spaced = piece(text);
        assert!(spaced.matches.iter().all(|found| found.sure == Certainty::Possible), "{spaced:?}");
        assert!(spaced.families.iter().all(|claim| claim.sure == Certainty::Possible), "{spaced:?}");
        assert!(ids(&spaced).iter().any(|id| id.starts_with("at24c256")), "{spaced:?}");
    }
}

#[test]
fn what_is_no_memory_gets_no_claim() {
    for text in [
        "",
        "   ",
        "LM358",
        "10k 0603 1%",
        "100nF 16V X7R",
        "STM32F103",
        "74HC245",
        "SN74LVC245A",
        "2512",
        "9310",
        "2305",
        "GRM188R71C104KA01",
        "4.7uF",
        "1N4148",
        "24",
        "24AA",
        "24-",
        "25 V",
        "NE555",
        "\u{fe0f}24LC256\u{202e}",
        "２４LC256",
        "R1EX",
        "C24",
        "--",
        "24AA\u{0}256",
    ] {
        let reading = reading(text);
        let said: Vec<_> = reading.pieces.iter().flat_map(|piece| &piece.densities).collect();
        assert!(said.is_empty(), "{text}: {reading:?}");
        assert!(reading.pieces.iter().all(|piece| piece.matches.is_empty()), "{text}: {reading:?}");
    }
}

/// Everything that a reading claims must stand in the text.
fn claims_stand_in(text: &str, reading: &Reading, catalogue: &Catalogue) -> Result<(), String> {
    let bare = |text: &str| -> String { text.split_whitespace().collect() };
    let text = bare(text);
    for piece in &reading.pieces {
        let ordered = |sures: Vec<Certainty>| sures.windows(2).all(|pair| pair[0] >= pair[1]);
        if !text.contains(&bare(&piece.code)) || piece.families.is_empty() {
            return Err(format!("{piece:?}"));
        }
        if !ordered(piece.matches.iter().map(|it| it.sure).collect()) {
            return Err(format!("not surest first: {piece:?}"));
        }
        for density in &piece.densities {
            let digits: String = density.said_by.chars().filter(char::is_ascii_digit).collect();
            let numbers = density.said_by.split(|c: char| !c.is_ascii_digit()).filter_map(|n| n.parse::<u64>().ok());
            let kbit = u64::from(density.bytes) / 128;
            let counted = numbers.clone().any(|n| n == kbit || n * 1024 == kbit);
            let carded = catalogue.parts().any(|card| {
                let name: String = card.name.chars().filter(char::is_ascii_digit).collect();
                card.capacity_bytes.value == density.bytes && name.contains(&digits)
            });
            let stands = !digits.is_empty() && text.contains(&bare(&density.said_by)) && (counted || carded);
            if !stands {
                return Err(format!("{density:?}"));
            }
        }
        for found in &piece.matches {
            if found.said_by.is_empty() || !text.contains(&bare(&found.said_by)) {
                return Err(format!("{found:?}"));
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 4000,
        rng_seed: proptest::test_runner::RngSeed::Fixed(24),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn no_text_makes_it_panic_or_invent_digits(
        text in prop_oneof![
            any::<String>(),
            "[A-Z]{0,3}(24|25|34|93|23|85RC)[A-Z]{0,4}[0-9]{0,5}[-A-Z/0-9 .]{0,8}",
            "[0-9A-Z24CLAM/ -]{0,20}",
        ],
    ) {
        let catalogue = shared();
        let reading = Reader::new(catalogue).read(&text);
        prop_assert_eq!(claims_stand_in(&text, &reading, catalogue), Ok(()));
    }

    #[test]
    fn an_order_code_with_anything_behind_it_claims_no_other_card_for_sure(
        index in 0usize..190,
        rest in "[-/][A-Z0-9/-]{0,8}",
    ) {
        let catalogue = shared();
        let card = catalogue.parts().nth(index).unwrap();
        let text = format!("{}{rest}", card.name);
        let reading = Reader::new(catalogue).read(&text);
        prop_assert_eq!(claims_stand_in(&text, &reading, catalogue), Ok(()));
        for found in reading.pieces.iter().flat_map(|piece| &piece.matches).filter(|it| it.sure == Certainty::Certain) {
            prop_assert_eq!(found.bytes, card.capacity_bytes.value);
        }
    }
}

fn shared() -> &'static Catalogue {
    static CATALOGUE: std::sync::OnceLock<Catalogue> = std::sync::OnceLock::new();
    CATALOGUE.get_or_init(catalogue)
}

#[test]
fn the_command_reads_texts_and_lists_and_tells_wrong_families_by_its_exit_code() {
    let good = run(&["marking", "24LC256T-I/SN"]);
    assert_eq!((good.code, good.err.as_str()), (0, ""), "{}", good.out);
    for part in ["256 kbit = 32768 bytes", "24lc256", "certain", "each piece of it is known: soic-8"] {
        assert!(good.out.contains(part), "{part}: {}", good.out);
    }
    let wrong = run(&["marking", "23LC1024"]);
    assert_eq!(wrong.code, 1);
    assert!(wrong.out.contains("wrong-family"), "{}", wrong.out);

    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "bom.txt", "\u{feff}24LC256\r\n\n100nF\n93LC46B\n\u{1b}[31mred\n");
    let list = folder.path().join("bom.txt");
    let json = run(&["marking", "--json", "--file", list.to_str().unwrap()]);
    assert_eq!(json.code, 1);
    let json = json.json();
    assert_eq!((&json["count"], &json["wrong_family"]), (&4.into(), &1.into()));
    let lines: Vec<u64> = json["readings"].as_array().unwrap().iter().map(|it| it["line"].as_u64().unwrap()).collect();
    assert_eq!(lines, [1, 3, 4, 5]);
    assert_eq!(json["readings"][0]["pieces"][0]["densities"][0]["kilobits"], 256);
    assert_eq!(json["readings"][2]["pieces"][0]["hazard"], "wrong-family");
    let shown = run(&["marking", "--color", "never", "--file", list.to_str().unwrap()]);
    assert!(!shown.out.contains('\u{1b}'), "{}", shown.out);
}

#[test]
fn bad_lists_and_texts_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("bytes.txt"), b"24LC256\n\xff\xfe\n").unwrap();
    write(folder.path(), "empty.txt", "\n  \n");
    write(folder.path(), "long.txt", &format!("24LC256\n{}\n", "2".repeat(1025)));
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    refused(&["marking", "--file", &path("bytes.txt")], "bytes.txt:2: is not UTF-8 text");
    refused(&["marking", "--file", &path("empty.txt")], "holds no marking");
    refused(&["marking", "--file", &path("long.txt")], "long.txt:2: 1025 bytes");
    refused(&["marking", "--file", &path("missing.txt")], "cannot be read");
    refused(&["marking", " "], "text 1 is empty");
    refused(&["marking", &"2".repeat(2000)], "no marking is longer");
    assert_eq!(run(&["marking"]).code, 2);
}
