//! Contents of memories and image files against published check values: `data/standards.toml`, sections `spd`, `edid`,
//! `fru`, `eui`, `intel_hex`, `srec` and `crc`. Each entry there stands beside its source.
//!
//! Entries with `checked = true` are check values; those under `bad`, and misprints, must be refused.

use std::fs;
use std::path::Path;

use pagewise_content::image::checksum::Checksum;
use pagewise_content::image::formats::decode;
use pagewise_content::image::{Eui, Form, Image};
use pagewise_content::inspect::{Certainty, Content, Found, edid, fru, look, spd};
use toml::{Table, Value};

fn standards() -> Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/standards.toml");
    fs::read_to_string(path).expect("test data is part of the crate").parse().expect("it is TOML")
}

fn list<'t>(table: &'t Table, key: &str) -> impl Iterator<Item = &'t Table> {
    table[key].as_array().expect("a list").iter().map(|entry| entry.as_table().expect("of tables"))
}

fn text<'t>(table: &'t Table, key: &str) -> &'t str {
    table[key].as_str().unwrap_or_else(|| panic!("{key} is a text"))
}

fn number(table: &Table, key: &str) -> i64 {
    table[key].as_integer().unwrap_or_else(|| panic!("{key} is a number"))
}

fn bytes(hex: &str) -> Vec<u8> {
    hex.as_bytes().chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap()).collect()
}

fn is_checked(entry: &Table) -> bool {
    entry.get("checked").and_then(Value::as_bool) == Some(true)
}

fn only(found: &[Found]) -> &Found {
    let [only] = found else { panic!("one finding, not {found:?}") };
    only
}

#[test]
fn published_intel_hex_records_are_read() {
    let standards = standards();
    let mut read = 0;
    for entry in list(standards["intel_hex"].as_table().unwrap(), "good").filter(|entry| is_checked(entry)) {
        let record = text(entry, "record");
        let end = if record == ":00000001FF" { "" } else { "\n:00000001FF" };
        let image = decode("f", format!("{record}{end}").as_bytes(), Form::Ihex);
        let image = image.unwrap_or_else(|faults| panic!("{} ({}): {faults}", record, text(entry, "source")));
        let raw = bytes(&record[1..]);
        let expected = match raw[3] {
            0 => Image::from_bytes(u16::from_be_bytes([raw[1], raw[2]]).into(), &raw[4..raw.len() - 1]).unwrap(),
            _ => Image::new(),
        };
        assert_eq!(image, expected, "{record}");
        read += 1;
    }
    assert_eq!(read, 14);
}

#[test]
fn misprinted_intel_hex_records_are_refused() {
    let standards = standards();
    let mut refused = 0;
    for entry in list(standards["intel_hex"].as_table().unwrap(), "bad") {
        let record = text(entry, "record");
        let faults = decode("f", format!("{record}\n:00000001FF\n").as_bytes(), Form::Ihex).unwrap_err();
        assert_eq!(faults.0.iter().map(|fault| fault.line).collect::<Vec<_>>(), [1], "{record}: {faults}");
        if let Some(right) = entry.get("right_checksum").and_then(Value::as_integer) {
            assert!(faults.0[0].reason.contains(&format!("{right:02X} fits")), "{record}: {faults}");
        }
        refused += 1;
    }
    assert_eq!(refused, 4);
}

#[test]
fn published_s_records_are_read() {
    let standards = standards();
    let mut read = 0;
    for entry in list(standards["srec"].as_table().unwrap(), "good").filter(|entry| is_checked(entry)) {
        let record = text(entry, "record");
        let (kind, raw) = (record.as_bytes()[1], bytes(&record[2..]));
        // A count record counts the data records above it.
        let above = if kind == b'5' { "S104002F5A72\nS105FFFEF80005\nS105FFFCF80007\n" } else { "" };
        let end = if kind == b'9' { "" } else { "\nS9030000FC" };
        let image = decode("f", format!("{above}{record}{end}").as_bytes(), Form::Srec);
        let image = image.unwrap_or_else(|faults| panic!("{} ({}): {faults}", record, text(entry, "source")));
        if kind == b'1' {
            let offset = u16::from_be_bytes([raw[1], raw[2]]).into();
            assert_eq!(image, Image::from_bytes(offset, &raw[3..raw.len() - 1]).unwrap(), "{record}");
        }
        read += 1;
    }
    assert_eq!(read, 19);
}

#[test]
fn crc_algorithms_have_the_published_parameters_and_check_values() {
    let standards = standards();
    let mut checked = 0;
    for entry in list(&standards, "crc").filter(|entry| is_checked(entry)) {
        let algorithm = Checksum::find(text(entry, "name")).expect("a name of the catalogue");
        assert_eq!(i64::from(algorithm.width()), number(entry, "width"), "{}", algorithm.name);
        let check = number(entry, "check_123456789") as u64;
        assert_eq!(algorithm.of(b"123456789"), check, "{}", algorithm.name);
        assert_eq!(bit_by_bit(entry, b"123456789"), check, "{}: parameters as published", algorithm.name);
        // The parameters decide every other value too.
        assert_eq!(algorithm.of(b"\x00\xFFpagewise"), bit_by_bit(entry, b"\x00\xFFpagewise"), "{}", algorithm.name);
        checked += 1;
    }
    assert_eq!(checked, 4);
}

/// A CRC as the parameters of the catalogue define it, one bit at a time.
fn bit_by_bit(entry: &Table, bytes: &[u8]) -> u64 {
    let flag = |key: &str| entry[key].as_bool().unwrap();
    let (width, poly) = (number(entry, "width") as u32, number(entry, "poly") as u64);
    let (top, mask) = (1u64 << (width - 1), u64::MAX >> (64 - width));
    let mut register = number(entry, "init") as u64;
    for byte in bytes {
        for bit in 0..8 {
            let shift = if flag("refin") { bit } else { 7 - bit };
            let fed = u64::from(byte >> shift & 1) ^ u64::from(register & top != 0);
            register = register << 1 & mask;
            if fed == 1 {
                register ^= poly;
            }
        }
    }
    let register = if flag("refout") { register.reverse_bits() >> (64 - width) } else { register };
    register ^ number(entry, "xorout") as u64
}

#[test]
fn the_published_eui_48_becomes_the_published_eui_64() {
    let standards = standards();
    let eui = standards["eui"].as_table().unwrap();
    let example = eui["conversion_example"].as_table().unwrap();
    assert!(is_checked(example));
    let address = Eui::parse(text(example, "eui48"), 6).unwrap();
    assert_eq!(address.to_64().unwrap().to_string(), text(example, "eui64"));
    assert_eq!(address.unfit(), None);
    assert!(!address.is_documentation() && !address.is_local());
    let local = eui["local_example"].as_table().unwrap();
    assert!(is_checked(local));
    let local = Eui::parse(text(local, "eui64"), 8).unwrap();
    assert!(local.is_local() && !local.is_group() && local.unfit().is_none());
    assert!(local.remark().unwrap().contains("locally administered"));
}

#[test]
fn addresses_for_documents_are_known_as_such() {
    let standards = standards();
    let ranges = standards["eui"]["documentation_ranges"].as_table().unwrap();
    for (key, octets) in
        [("eui48_unicast", 6), ("eui64_global", 8), ("eui64_from_eui48", 8), ("modified_eui64_local", 8)]
    {
        let [first, last] = [0, 1].map(|end| Eui::parse(ranges[key][end].as_str().unwrap(), octets).unwrap());
        for address in [&first, &last] {
            assert!(address.is_documentation() && address.unfit().is_none(), "{address}");
            assert!(address.remark().unwrap().contains("set aside for documents"), "{address}");
        }
        let beside = text_with_octet(&first, octets - 2, |octet| octet.wrapping_add(1));
        assert!(!Eui::parse(&beside, octets).unwrap().is_documentation(), "{beside}");
    }
    for end in [0, 1] {
        let group = Eui::parse(ranges["eui48_multicast"][end].as_str().unwrap(), 6).unwrap();
        assert!(group.is_group() && group.unfit().unwrap().contains("group bit"));
    }
}

fn text_with_octet(address: &Eui, index: usize, change: impl Fn(u8) -> u8) -> String {
    let mut octets = address.octets().to_vec();
    octets[index] = change(octets[index]);
    octets.iter().map(|octet| format!("{octet:02X}")).collect::<Vec<_>>().join("-")
}

#[test]
fn published_edids_are_read() {
    let standards = standards();
    let mut read = 0;
    for sample in list(standards["edid"].as_table().unwrap(), "sample").filter(|sample| is_checked(sample)) {
        let dump = bytes(text(sample, "hex"));
        let found = look(&dump, None);
        let Found { content: Content::Edid(edid), offset: 0, length, sure: Certainty::Certain, .. } = only(&found)
        else {
            panic!("{}: {found:?}", text(sample, "name"))
        };
        assert_eq!(*length as usize, dump.len());
        assert_eq!(edid.manufacturer, text(sample, "manufacturer"));
        assert_eq!(i64::from(edid.product), number(sample, "product"));
        assert_eq!(i64::from(edid.week), number(sample, "week"));
        assert_eq!(i64::from(edid.year), number(sample, "year"));
        assert_eq!(i64::from(edid.blocks), number(sample, "blocks"));
        assert!(edid.damaged_blocks.is_empty());
        for (key, value) in [("text_name", &edid.name), ("text_serial", &edid.serial)] {
            if let Some(published) = sample.get(key).and_then(Value::as_str) {
                // One panel gives its name in a descriptor of free text.
                let elsewhere = dump.windows(published.len()).any(|window| window == published.as_bytes());
                assert!(
                    value.as_deref() == Some(published) || (value.is_none() && elsewhere),
                    "{published}: {value:?}"
                );
            }
        }
        read += 1;
    }
    assert_eq!(read, 4);
}

/// Every single changed byte of every published EDID is seen.
#[test]
fn a_changed_byte_of_an_edid_is_seen() {
    let standards = standards();
    for sample in list(standards["edid"].as_table().unwrap(), "sample") {
        let dump = bytes(text(sample, "hex"));
        for at in 0..dump.len() {
            let mut changed = dump.clone();
            changed[at] ^= 0x10;
            let damaged = edid::read(&changed).is_none_or(|edid| {
                edid.damaged_blocks == [(at / 128) as u8] || (at == 126 && edid.damaged_blocks == [0])
            });
            assert!(damaged, "byte {at} of {}", text(sample, "name"));
        }
    }
}

#[test]
fn the_published_ddr3_spd_is_known_by_its_crc() {
    let standards = standards();
    let sample = standards["spd"]["sample_ddr3"].as_table().unwrap();
    assert!(is_checked(sample));
    let mut dump = bytes(text(sample, "bytes_0_116_hex"));
    assert_eq!(dump.len(), 117);
    // Serial and part number of the module were left out of the published bytes; the CRC does not cover them.
    dump.resize(126, 0);
    dump.extend(sample["stored_126_127"].as_array().unwrap().iter().map(|byte| byte.as_integer().unwrap() as u8));
    dump.resize(256, 0xFF);
    let found = look(&dump, None);
    let Content::Spd(spd) = &found[0].content else { panic!("{found:?}") };
    assert_eq!(i64::from(spd.computed), number(sample, "crc16"));
    assert_eq!((spd.memory, spd.covers, found[0].sure), (spd::Memory::Ddr3, [0, 116], Certainty::Certain));
    // The longer range gives another value, so the flag in byte 0 counts.
    dump[0] &= 0x7F;
    let longer = spd::read(&dump).unwrap();
    assert!(longer.covers == [0, 125] && longer.computed != longer.stored);
    for at in 1..117 {
        let mut changed = dump.clone();
        changed[0] |= 0x80;
        changed[at] ^= 0x01;
        assert!(!look(&changed, None).iter().any(|found| matches!(found.content, Content::Spd(_))), "byte {at}");
    }
}

#[test]
fn published_fru_headers_and_areas_are_read() {
    let standards = standards();
    let samples: Vec<Vec<u8>> = list(standards["fru"].as_table().unwrap(), "sample")
        .filter(|sample| is_checked(sample))
        .map(|sample| bytes(text(sample, "hex")))
        .collect();
    let [header, product, tuple] = samples.try_into().expect("three samples");
    // The board area's place: offset 8. The area itself was not printed with its date, so it is cut off here.
    let mut dump = header.clone();
    dump.extend([0; 8]);
    let read = fru::read(&dump).expect("a valid header");
    assert_eq!((read.areas.len(), read.areas[0].name, read.areas[0].offset), (1, "board", 8));
    assert!(!read.areas[0].intact);
    // The product area with all fields empty, behind a header that names it.
    let mut dump = vec![1, 0, 0, 0, 1, 0, 0, 0xFE];
    dump.extend(&product);
    let found = look(&dump, None);
    let Content::Fru(read) = &only(&found).content else { panic!("{found:?}") };
    assert_eq!((read.areas.len(), read.areas[0].name, read.areas[0].intact), (1, "product", true));
    assert!(read.areas[0].fields.is_empty());
    assert_eq!(only(&found).sure, Certainty::Certain);
    // Its checksum is right, its format is 0: no header of a FRU.
    assert_eq!(fru::read(&[tuple, vec![0; 64]].concat()), None);
}

/// The board area as a published table lays it out: language, three date bytes, five fields, end, padding, checksum.
#[test]
fn the_published_layout_of_a_board_area_is_read() {
    let standards = standards();
    let layout = list(standards["fru"].as_table().unwrap(), "layout").next().unwrap();
    let (units, length) = (number(layout, "length_byte") as u8, number(layout, "length_bytes") as usize);
    let language = number(layout, "language") as u8;
    let mut area = vec![1, units, language, 0x10, 0x20, 0x30];
    let fields = ["A maker of 23 letters ab", "Ten letter", "S-00000001", "P-000000001"];
    for (text, head) in fields.iter().zip([0xD7, 0xCA, 0xCA, 0xCB]) {
        area.push(head);
        area.extend(text.bytes().take(usize::from(head & 0x3Fu8)));
    }
    area.extend([0xC0, 0xC1]);
    area.resize(length - 1, 0);
    area.push(area.iter().fold(0u8, |sum, byte| sum.wrapping_sub(*byte)));
    assert_eq!(area.len(), length);
    let dump = [bytes("01000001000000fe"), area].concat();
    let read = fru::read(&dump).unwrap();
    let board = &read.areas[0];
    assert!(board.intact && board.length as usize == length && board.code == language);
    assert_eq!(board.date_minutes, Some(0x0030_2010));
    let values: Vec<(&str, &str)> = board.fields.iter().map(|field| (field.name, field.value.as_str())).collect();
    assert_eq!(
        values,
        [
            ("manufacturer", "A maker of 23 letters a"),
            ("product-name", "Ten letter"),
            ("serial-number", "S-00000001"),
            ("part-number", "P-000000001"),
        ]
    );
}
