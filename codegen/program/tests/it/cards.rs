//! Cards: contradictions are refused with file, line, field and reason; generic cards follow their rule.

use std::fs;
use std::path::{Path, PathBuf};

use pagewise_part::card::{Card, Catalogue, Kind, assume, generic, load};
use pagewise_part::fact::Basis;

const GOOD: &str = r#"id = "own-32k"
name = "OWN32"
maker = "nobody"
kind = "eeprom"
document = "a bench note"
capacity_bits = 32768
page_bytes = 32
word_address_bytes = 2
device_code = "1 0 1 0"
address_bits = "A2 A1 A0"

[supply]
min_v = 1.8
max_v = 5.5

[[speed]]
min_v = 1.8
max_v = 5.5
scl_khz = 400
"#;

fn faults(from: &str, to: &str) -> String {
    assert!(GOOD.contains(from), "`{from}`");
    load::card("own.toml", &GOOD.replacen(from, to, 1)).expect_err(to).to_string()
}

#[test]
fn a_card_that_agrees_with_itself_is_read() {
    let card = load::card("own.toml", GOOD).unwrap();
    assert_eq!((card.capacity_bytes.value, card.page_bytes.value), (4096, 32));
    assert!(matches!(card.page_bytes.basis, Basis::Published { .. }));
    assert!(card.write_cycle_max_us.is_assumed());
}

#[test]
fn contradictions_are_refused_with_line_field_and_reason() {
    for (from, to, message) in [
        ("page_bytes = 32", "page_bytes = 24", "own.toml:7: `page_bytes`: 24 is not a power of two"),
        ("word_address_bytes = 2", "word_address_bytes = 1", "own.toml:6: `capacity_bits`: 4096 bytes: 1 word-address"),
        ("A2 A1 A0", "A2 A1 B0", "1 block-select bits and 2 word-address bytes exceed the capacity"),
        ("A2 A1 A0", "B0 B0 A0", "own.toml:10: `address_bits`: block-select bits of `1 0 1 0 B0 B0 A0` collide"),
        ("A2 A1 A0", "A2 A2 A0", "own.toml:10: `address_bits`: pin A2 is compared twice"),
        ("A2 A1 A0", "A2 A1", "has 2 address bits instead of 3"),
        ("scl_khz = 400", "scl_khz = 400\npace = 1", "`speed[0].pace`: unknown field"),
        ("[[speed]]\nmin_v = 1.8", "[[speed]]\nmin_v = 1.6", "own.toml:17: `speed[0].min_v`: the grade 1.6 V to 5.5 V"),
        ("min_v = 1.8\nmax_v = 5.5\n\n", "min_v = 5.6\nmax_v = 5.5\n\n", "the lowest supply is above the highest"),
        ("capacity_bits = 32768", "capacity_bits = 30000", "30000 is not a power of two"),
        ("kind = \"eeprom\"", "kind = \"flash\"", "own.toml:4: `kind`: `flash` is not known; use one of: eeprom, fram"),
        ("kind = \"eeprom\"", "kind = \"fram\"", "a FRAM has no page"),
        ("own-32k", "Own 32k", "`Own 32k` is not an identifier"),
        ("document = \"a bench note\"\n", "", "`document`: is missing"),
    ] {
        let shown = faults(from, to);
        assert!(shown.contains(message), "{to}: {shown}");
    }
}

#[test]
fn all_faults_of_a_card_come_at_once() {
    let text = GOOD.replace("page_bytes = 32", "page_bytes = 24").replace("scl_khz = 400", "scl_khz = 0\nx = 1");
    let faults = load::card("own.toml", &text).unwrap_err();
    assert_eq!(faults.0.len(), 3, "{faults}");
}

fn folder(name: &str, files: &[(&str, &str)]) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).unwrap();
    for (file, text) in files {
        fs::write(path.join(file), text).unwrap();
    }
    path
}

#[test]
fn own_cards_are_added_and_a_duplicate_identifier_is_refused() {
    let own = folder("own-cards", &[("own.toml", GOOD)]);
    assert!(Catalogue::with_directory(&own).unwrap().find("OWN32").is_some());
    let twice = folder("twice", &[("a.toml", GOOD), ("b.toml", GOOD)]);
    let faults = Catalogue::with_directory(&twice).unwrap_err().to_string();
    assert!(faults.contains("b.toml:1: `id`: `own-32k` is already used by"), "{faults}");
    let taken = folder("taken", &[("c.toml", &GOOD.replace("own-32k", "at24c32e"))]);
    let faults = Catalogue::with_directory(&taken).unwrap_err().to_string();
    assert!(faults.contains("already used by parts/at24c32e.toml"), "{faults}");
}

#[test]
fn the_catalogue_is_as_large_as_promised() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut makers: Vec<&str> = catalogue.parts().map(|card| card.maker.as_str()).collect();
    makers.sort_unstable();
    makers.dedup();
    assert!(catalogue.eeproms().count() >= 90 && makers.len() >= 12, "{makers:?}");
    assert!(catalogue.parts().any(|card| card.kind == Kind::Fram));
}

#[test]
fn every_card_has_a_geometry_and_a_chip_that_the_simulator_takes() {
    for card in Catalogue::embedded().unwrap().cards() {
        for pins in [[false; 3], [true; 3]] {
            card.geometry(pins).unwrap_or_else(|reason| panic!("{}: {reason}", card.id));
        }
        card.chip_model().check().unwrap_or_else(|reason| panic!("{}: {reason}", card.id));
    }
}

#[test]
fn every_assumption_stands_in_the_table() {
    for card in Catalogue::embedded().unwrap().parts() {
        let text = serde_json::to_value(card).unwrap().to_string();
        for piece in text.split("\"why\":\"").skip(1) {
            let why = piece.split('"').next().unwrap();
            assert!(assume::REASONS.iter().any(|(_, reason)| *reason == why), "{}: `{why}`", card.id);
        }
    }
}

#[test]
fn a_card_says_of_each_value_how_it_is_known() {
    for (is, name) in [
        ("published", "published"),
        ("derived", "derived"),
        ("observed", "observed"),
        ("measured", "measured"),
        ("assumed", "assumed"),
    ] {
        let basis =
            format!("\n[[basis]]\nis = \"{is}\"\nfields = [\"page_bytes\", \"speed[0]\"]\nsource = \"our bench\"\n");
        let card = load::card("own.toml", &(GOOD.to_owned() + &basis)).unwrap();
        assert_eq!(card.page_bytes.basis.parts(), (name, "our bench"));
        assert_eq!(card.word_address_bytes.basis.parts(), ("published", "a bench note"));
        let text = format!("{GOOD}{}", basis.replace("page_bytes", "pages"));
        let faults = load::card("own.toml", &text).unwrap_err().to_string();
        assert!(faults.contains("own.toml:23: `basis[0].fields`: `pages` is not a field"), "{faults}");
    }
}

#[test]
fn what_a_card_says_is_used_or_refused() {
    let wraps = GOOD.replace("page_bytes = 32", "page_bytes = 32\npage_wrap = true\nshipped_as = \"erased\"");
    let card = load::card("own.toml", &wraps).unwrap();
    assert!(card.page_wrap.is_some_and(|fact| fact.value) && card.shipped_as.is_some());
    let shown = faults("page_bytes = 32", "page_bytes = 32\npage_wrap = false");
    assert!(shown.contains("own.toml:8: `page_wrap`: a page write that runs past its page"), "{shown}");
    let own = folder("members", &[("own.toml", &GOOD.replace("maker", "members = [\"OWN32-T\", \"OWN32-S\"]\nmaker"))]);
    let catalogue = Catalogue::with_directory(&own).unwrap();
    assert_eq!(catalogue.find("own32-s").map(|card| card.id.as_str()), Some("own-32k"));
    assert!(catalogue.find("own32-x").is_none());
}

#[test]
fn what_was_not_read_counts_as_the_most_cautious_value_met() {
    let card = load::card("own.toml", &GOOD.replace("page_bytes = 32\n", "")).unwrap();
    assert!(card.page_bytes.is_assumed() && card.page_bytes.value == 8, "{:?}", card.page_bytes);
    let text = GOOD.replace("A2 A1 A0", "? A1 A0") + "\n[packages]\nmade = [\"soic-8\", \"sot-23-5\"]\n";
    let card = load::card("own.toml", &text).unwrap();
    assert!(card.address_bits.is_assumed());
    assert!(card.packages.list.iter().all(|package| !package.address_is_read()), "{:?}", card.packages);
}

#[test]
fn word_address_bits_above_the_capacity_are_said_where_there_are_any() {
    for (word, role) in [("ignored", "x"), ("zero", "0"), ("security-command", "0")] {
        let text = GOOD.replace("page_bytes", &format!("upper_address_bits = \"{word}\"\npage_bytes"));
        let card = load::card("own.toml", &text).unwrap();
        let anatomy = pagewise_part::anatomy::Anatomy::of(&card, [false; 3], 0).unwrap();
        assert_eq!(anatomy.word_address[0].bits[0].role, role, "{word}");
    }
    let full = GOOD.replace("32768", "524288").replace("page_bytes", "upper_address_bits = \"zero\"\npage_bytes");
    let shown = load::card("own.toml", &full).unwrap_err().to_string();
    assert!(shown.contains("`upper_address_bits`: the array needs every bit of its word-address bytes"), "{shown}");
}

/// A block bit that is a bit of the word-address bytes too would be sent in two places.
#[test]
fn a_block_bit_that_repeats_a_word_address_bit_is_refused_by_its_name() {
    let text =
        GOOD.replace("32768", "524288").replace("A2 A1 A0", "B0 A1 A0").replace("page_bytes = 32", "page_bytes = 64");
    let shown = load::card("own.toml", &text).unwrap_err().to_string();
    assert!(shown.contains("B0 would be A15, which the word-address bytes carry too"), "{shown}");
}

#[test]
fn a_region_has_an_address_or_says_that_it_was_not_read() {
    let region = |fields: &str| load::card("own.toml", &format!("{GOOD}\n[[region]]\n{fields}\n"));
    let shown = region("kind = \"identification-page\"\nlength = 32").unwrap_err().to_string();
    assert!(shown.contains("its address is not stated, and it cannot lie in the array at 0"), "{shown}");
    assert!(region("kind = \"identification-page\"\nlength = 32\naddress_read = false").is_ok());
    // Protection page by page has no place of its own, and leaves the simulated array as it is.
    let card = region("kind = \"page-protection\"").unwrap();
    assert!(card.chip_model().regions.is_empty() && card.chip_model().check().is_ok());
}

fn stated<'c, T>(parts: &[&'c Card], fact: impl Fn(&'c Card) -> &'c pagewise_part::fact::Fact<T>) -> Vec<&'c T>
where
    T: 'c,
{
    parts.iter().map(|part| fact(part)).filter(|fact| !fact.is_assumed()).map(|fact| &fact.value).collect()
}

#[test]
fn a_generic_card_is_safe_on_every_part_that_it_does_not_name() {
    let catalogue = Catalogue::embedded().unwrap();
    for card in catalogue.cards().iter().filter(|card| card.is_generic()) {
        let parts: Vec<&Card> =
            catalogue.eeproms().filter(|part| part.capacity_bytes.value == card.capacity_bytes.value).collect();
        for part in &parts {
            let named = card.not_safe_on.iter().any(|entry| entry.id == part.id);
            let wired_alike = part.parameters([false; 3]).is_ok_and(|p| {
                let g = card.parameters([false; 3]).unwrap();
                (p.word_address_bytes, p.block_select_bits, p.block_select_shift, p.device_address)
                    == (g.word_address_bytes, g.block_select_bits, g.block_select_shift, g.device_address)
            });
            assert!(named || wired_alike, "{} is wired otherwise than {} and not named", part.id, card.id);
            let beyond = generic::beyond(card, part);
            assert!(named || beyond.is_empty(), "{} is not safe on {}: {beyond:?}", card.id, part.id);
        }
        for entry in &card.not_safe_on {
            assert!(!entry.why.is_empty(), "{} names {} without a reason", card.id, entry.id);
        }
    }
}

#[test]
fn each_generic_value_is_the_most_cautious_of_the_parts_it_was_computed_from() {
    let catalogue = Catalogue::embedded().unwrap();
    let generics: Vec<&Card> = catalogue.cards().iter().filter(|card| card.is_generic()).collect();
    assert_eq!(generics.len(), generic::DENSITIES.len(), "one per density, 1 kbit to 2 Mbit");
    for card in generics {
        let of_density = catalogue.eeproms().filter(|part| part.capacity_bytes.value == card.capacity_bytes.value);
        let kept: Vec<&Card> =
            of_density.filter(|part| !card.not_safe_on.iter().any(|entry| entry.id == part.id)).collect();
        assert_eq!(
            stated(&kept, |part| &part.page_bytes).into_iter().min(),
            Some(&card.page_bytes.value),
            "{}",
            card.id
        );
        if let Some(longest) = stated(&kept, |part| &part.write_cycle_max_us).into_iter().max() {
            assert!(card.write_cycle_max_us.value >= *longest, "{}", card.id);
        }
        if let Some(lowest) = stated(&kept, |part| &part.write_min_mv).into_iter().max() {
            assert_eq!(card.write_min_mv.value, *lowest, "{}", card.id);
        }
        if let Some(shortest) = stated(&kept, |part| &part.read_wrap_bytes).into_iter().min() {
            assert_eq!(card.read_wrap_bytes.value, *shortest, "{}", card.id);
        }
    }
}

#[test]
fn at_most_a_tenth_is_left_out_for_its_values() {
    let catalogue = Catalogue::embedded().unwrap();
    for card in catalogue.cards().iter().filter(|card| card.is_generic()) {
        let parts = catalogue.eeproms().filter(|part| part.capacity_bytes.value == card.capacity_bytes.value);
        let alike =
            parts.filter(|part| !card.not_safe_on.iter().any(|e| e.id == part.id && e.why.contains("composed")));
        let total = alike.count();
        // Parts that do not run at 3.3 V are set aside by the rule on supplies, not by the tenth.
        let by_value = card.not_safe_on.iter().filter(|entry| !entry.why.contains("composed"));
        let by_value = by_value.filter(|entry| {
            let part = catalogue.find(&entry.id).unwrap();
            (part.write_min_mv.value..=part.max_mv.value).contains(&3300)
        });
        let count = by_value.count();
        assert!(count <= total / 10, "{}: {count} of {total} left out", card.id);
    }
}
