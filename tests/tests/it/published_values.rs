//! Cards against published data sheets: `data/datasheets.toml` holds what was read, each entry with its document, and
//! `data/cards.toml` says which entry stands behind which card. The card loader takes no part in this.

use std::collections::BTreeSet;

use crate::published::{Pair, cards, data, entries, numbers, pairs, tables, text, words};
use toml::Value;

fn faults(pair: &Pair) -> Vec<String> {
    let mut faults = numbers::faults(pair);
    faults.extend(words::faults(pair));
    faults.iter().map(|fault| format!("{} ({}): {fault}", pair.id(), pair.published_text("document"))).collect()
}

#[test]
fn every_value_of_every_card_is_published_or_follows() {
    let faults: Vec<String> = pairs().iter().flat_map(faults).collect();
    assert!(faults.is_empty(), "{} values are not published:\n{}", faults.len(), faults.join("\n"));
}

/// Fields that a check above looks at, or that say where a value comes from.
#[test]
fn no_card_states_a_field_that_is_not_checked() {
    let checked = [
        "id name maker kind document ordering_document notes derived capacity_bits page_bytes word_address_bytes device_code",
        "address_bits open_strap busy_answer pointer_after_write read_wrap_bytes read_block_bits page_wrap wear_unit",
        "endurance_cycles endurance_at_c endurance_at retention_years input_capacitance_pf shipped_as write_cycle.max_ms",
        "write_cycle.typ_ms write_cycle.per supply.min_v supply.max_v supply.write_min_v speed write_protect.range",
        "write_protect.fixed write_protect.active write_protect.open_pin write_protect.sampled write_protect.answer",
        "required_straps.a0 required_straps.a1 required_straps.a2 package region temperature.min_c temperature.max_c",
        "supply.reset_v supply.off_ms packages.made packages.complete order_code grade basis min_scl_khz bus_timeout_ms upper_address_bits",
    ];
    let checked: BTreeSet<&str> = checked.iter().flat_map(|line| line.split_whitespace()).collect();
    for pair in pairs() {
        for (key, value) in &pair.card {
            match value {
                Value::Table(inner) => inner.keys().for_each(|inner| {
                    let field = format!("{key}.{inner}");
                    assert!(checked.contains(field.as_str()), "{}: {field}", pair.id());
                }),
                _ => assert!(checked.contains(key.as_str()), "{}: {key}", pair.id()),
            }
        }
    }
}

#[test]
fn every_card_names_its_published_document() {
    for pair in pairs() {
        let document = text(&pair.card, "document");
        let words = pair.remarks();
        // A sibling's own document is the one that the entry names in its notes.
        let named = document.split([' ', '(', ')', ';']).filter(|word| word.len() > 4).any(|word| words.contains(word));
        assert!(!pair.is_sibling() || named, "{}: `{document}` is named nowhere in `{words}`", pair.id());
        assert!(!document.is_empty());
    }
}

#[test]
fn every_card_has_the_maker_of_its_entry() {
    let mut makers = BTreeSet::new();
    for pair in pairs() {
        let ordering = text(&pair.card, "ordering_document");
        assert!(ordering.is_empty() || ordering == text(&pair.ordering, "document"), "{}: {ordering}", pair.id());
        let (ours, theirs) = (text(&pair.card, "maker"), pair.published_text("maker"));
        let first = |maker: &str| maker.split([' ', '/', '(', ')']).next().unwrap_or_default().to_owned();
        assert!(ours.contains(&first(&theirs)) || theirs.contains(&first(&ours)), "{}: {ours}, {theirs}", pair.id());
        makers.insert(ours);
    }
    let firsts: BTreeSet<&str> = makers.iter().filter_map(|maker| maker.split(' ').next()).collect();
    assert_eq!(firsts.len(), makers.len(), "a maker is spelled in two ways: {makers:?}");
}

#[test]
fn the_catalogue_holds_ninety_parts_of_twelve_makers() {
    let cards = cards();
    let makers: BTreeSet<String> = cards.values().map(|card| text(card, "maker")).collect();
    assert!(cards.len() >= 90, "{} cards", cards.len());
    assert!(makers.len() >= 12, "{makers:?}");
    for (stem, card) in &cards {
        assert_eq!(stem, &text(card, "id"), "file name and id");
    }
}

#[test]
fn every_published_entry_has_a_card_or_a_reason() {
    let map = data("cards.toml");
    let carded: BTreeSet<&str> =
        map["cards"].as_table().expect("map").values().map(|entry| entry.as_str().expect("entry")).collect();
    let left_out: BTreeSet<String> = tables(&map, "left_out").iter().map(|item| text(item, "id")).collect();
    let cards = cards();
    for card in map["cards"].as_table().expect("map").keys() {
        assert!(cards.contains_key(card), "{card} is mapped but has no card");
    }
    for id in entries().into_keys() {
        match (carded.contains(id.as_str()), left_out.contains(&id)) {
            (true, true) => panic!("{id} has a card and a reason to have none"),
            (false, false) => panic!("{id} has neither a card nor a reason to have none"),
            _ => {}
        }
        let reason = tables(&map, "left_out").iter().find(|item| text(item, "id") == id).map(|item| text(item, "why"));
        assert!(reason.is_none_or(|why| !why.is_empty()), "{id} is left out for no reason");
    }
    for item in tables(&map, "members_left_out") {
        assert!(carded.contains(text(&item, "id").as_str()) && !text(&item, "why").is_empty());
        let members = item["members"].as_array().expect("members").iter().filter_map(Value::as_str);
        for member in members {
            let stem = member.to_lowercase().replace(' ', "");
            assert!(!cards.contains_key(&stem), "{member} has a card and a reason to have none");
        }
    }
}

/// The checks above would be worth nothing if they let a wrong value through.
#[test]
fn every_kind_of_falsified_value_is_caught() {
    let by_id = |id: &str| pairs().into_iter().find(|pair| pair.id() == id).expect("card exists");
    let falsified: [(&str, &str, &str); 45] = [
        ("24lc1025", "speed", "[{ min_v = 2.5, max_v = 5.5, max_c = 105, scl_khz = 400 }]"),
        ("p24c256", "page_bytes", "128"),
        ("bl24c512a", "region", "[{ kind = \"identification-page\", address_read = false, length = 64 }]"),
        ("br24a01a-wm", "page_bytes", "16"),
        ("24cw128x", "page_bytes", "64"),
        ("24cw16x", "word_address_bytes", "1"),
        ("br24g128-3a", "order_code", "[{ piece = \"FV\", package = \"tssop-8\" }]"),
        ("hn58x24256i", "order_code", "[{ piece = \"TIE\", package = \"tssop-8\" }]"),
        ("p24c32c", "order_code", "[{ piece = \"-DE\", min_c = -40, max_c = 125, min_v = 1.7, max_v = 5.5 }]"),
        ("nm24c65", "upper_address_bits", "\"security-command\""),
        ("at24c256", "address_bits", "\"A2 A1 A0\""),
        ("hn58x2402s", "grade", "[{ min_v = 2.5, write_cycle_ms = 10 }]"),
        ("hn58x24512i", "grade", "[{ min_v = 2.5, write_cycle_ms = 5 }]"),
        ("hn58x2402s", "supply.min_v", "1.7"),
        ("24lc256", "page_bytes", "128"),
        ("24lc256", "capacity_bits", "131072"),
        ("24lc256", "supply.min_v", "1.7"),
        ("24lc256", "write_cycle.max_ms", "3"),
        ("24lc256", "temperature.max_c", "125"),
        ("24lc256", "packages.made", "[\"soic-8\", \"sot-23-5\"]"),
        ("24lc128", "packages.complete", "true"),
        ("24lc64", "order_code", "[{ piece = \"I/SN\", package = \"tssop-8\", min_c = -40, max_c = 85 }]"),
        ("24lc64", "order_code", "[{ piece = \"I\", min_c = -40, max_c = 125 }]"),
        ("24lc014", "package", "[{ name = \"sot-23-6\", pins = { 1 = \"VCC\", 2 = \"VSS\" } }]"),
        ("24aa02e48", "package", "[{ name = \"sot-23-5\", address_bits = \"0 0 0\" }]"),
        ("24lc256", "temperature.min_c", "-55"),
        ("24lc256", "endurance_cycles", "4000000"),
        ("24lc256", "write_protect.range", "\"upper-half\""),
        ("24lc256", "write_protect.answer", "\"nack-data\""),
        ("24lc256", "busy_answer", "\"writes-only\""),
        ("24lc256", "address_bits", "\"A2 A1 B0\""),
        ("24lc256", "speed", "[{ min_v = 2.5, max_v = 5.5, scl_khz = 1000 }]"),
        ("24lc256", "speed", "[{ min_v = 2.5, max_v = 5.5, scl_khz = 400, ac = { t_low = 1200 } }]"),
        ("24lc1025", "address_bits", "\"A2 A1 B0\""),
        ("24aa04", "address_bits", "\"A2 A1 B0\""),
        ("24aa02e48", "region", "[{ kind = \"eui-48\", word_address = 0xF8, length = 6 }]"),
        ("at24c01d", "page_wrap", "true"),
        ("at24cm02", "wear_unit", "\"page\""),
        ("br24t64-w", "page_bytes", "64"),
        ("br24t64-w", "capacity_bits", "131072"),
        ("s-24c08c", "supply.write_min_v", "1.6"),
        ("fm24c16b", "read_block_bits", "\"ignored\""),
        ("s-24cs01a", "endurance_at", "[{ celsius = 85, cycles = 300000 }]"),
        ("at24cm02", "endurance_at_c", "85"),
        ("24c02a", "write_protect.range", "\"none\""),
    ];
    for (id, field, value) in falsified {
        let mut pair = by_id(id);
        assert!(faults(&pair).is_empty(), "{id} is sound before");
        let value = format!("v = {value}").parse::<toml::Table>().expect("value")["v"].clone();
        match field.split_once('.') {
            Some((table, key)) => {
                let table = pair.card.get_mut(table).and_then(Value::as_table_mut).expect("table");
                table.insert(key.to_owned(), value);
            }
            None => drop(pair.card.insert(field.to_owned(), value)),
        }
        assert!(!faults(&pair).is_empty(), "{id}: a false {field} went through");
    }
}

/// Every number of every card, doubled, is caught.
#[test]
fn no_doubled_number_goes_through() {
    let fields = [
        "capacity_bits",
        "page_bytes",
        "word_address_bytes",
        "endurance_cycles",
        "endurance_at_c",
        "retention_years",
        "input_capacitance_pf",
        "read_wrap_bytes",
        "write_cycle.max_ms",
        "write_cycle.typ_ms",
        "supply.min_v",
        "supply.max_v",
        "supply.write_min_v",
        "temperature.min_c",
        "temperature.max_c",
    ];
    let mut through = Vec::new();
    let mut tried = 0;
    for pair in pairs() {
        for field in fields {
            // Twice nothing is nothing: a FRAM's write cycle, a first-generation part's word address.
            let Some(value) = pair.stated_number(field).filter(|value| *value != 0.0) else { continue };
            let mut falsified = pair.clone();
            let (table, key) = match field.split_once('.') {
                Some((table, key)) => {
                    (falsified.card.get_mut(table).and_then(Value::as_table_mut).expect("table"), key)
                }
                None => (&mut falsified.card, field),
            };
            let doubled = match &table[key] {
                Value::Integer(value) => Value::Integer(value * 2),
                _ => Value::Float(value * 2.0),
            };
            table.insert(key.to_owned(), doubled);
            tried += 1;
            if faults(&falsified).is_empty() {
                through.push(format!("{}: {field} = {}", pair.id(), value * 2.0));
            }
        }
    }
    assert!(through.is_empty(), "{} of {tried} doubled numbers went through:\n{}", through.len(), through.join("\n"));
}
