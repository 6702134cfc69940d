//! Layouts, unit tables and image files, damaged at random: a result or messages with places, never a panic. Each run is
//! drawn from a fixed seed; `PAGEWISE_CASES` multiplies the number of runs.

use std::sync::OnceLock;

use pagewise::card::Catalogue;
use pagewise::fault::Faults;
use pagewise::image::{Form, Image, build, formats, units};
use pagewise::inspect::look;
use pagewise::layout;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::{Index, select};
use proptest::test_runner::{Config, RngSeed};

const LAYOUTS: [&str; 2] = [
    include_str!("../../examples/layouts/field-gateway.toml"),
    include_str!("../../examples/layouts/press-counter.toml"),
];
const UNITS: [&str; 2] = [
    include_str!("../../examples/layouts/field-gateway-units.csv"),
    include_str!("../../examples/layouts/press-counter-units.csv"),
];

fn catalogue() -> &'static Catalogue {
    static CATALOGUE: OnceLock<Catalogue> = OnceLock::new();
    CATALOGUE.get_or_init(|| Catalogue::embedded().unwrap())
}

fn config(cases: u32) -> Config {
    let times = std::env::var("PAGEWISE_CASES").ok().and_then(|text| text.parse().ok()).unwrap_or(1);
    Config { cases: cases * times, rng_seed: RngSeed::Fixed(0x5EED), failure_persistence: None, ..Config::default() }
}

/// One change to a text.
#[derive(Debug, Clone)]
enum Change {
    Byte(Index, u8),
    Cut(Index, usize),
    Repeat(Index),
    DropLine(Index),
    Number(Index, i64),
    Word(Index, &'static str),
}

fn change() -> impl Strategy<Value = Change> {
    let numbers = select(vec![0i64, 1, -1, 255, 256, 65_535, 65_536, 16_777_215, 4_294_967_295, i64::MAX, i64::MIN]);
    let words = select(vec![
        "\"crc\"",
        "\"records\"",
        "\"eui-64\"",
        "\"serial\"",
        "\"u64\"",
        "[]",
        "[1, 2]",
        "{}",
        "\"\"",
        "1e9",
        "true",
        "\u{202E}",
        "\"\\u0000\"",
        "00-00-00-00-00-00",
        "FF-FF-FF-FF-FF-FF",
    ]);
    prop_oneof![
        3 => (any::<Index>(), any::<u8>()).prop_map(|(at, byte)| Change::Byte(at, byte)),
        1 => (any::<Index>(), 1usize..20).prop_map(|(at, count)| Change::Cut(at, count)),
        1 => any::<Index>().prop_map(Change::Repeat),
        2 => any::<Index>().prop_map(Change::DropLine),
        3 => (any::<Index>(), numbers).prop_map(|(at, number)| Change::Number(at, number)),
        3 => (any::<Index>(), words).prop_map(|(at, word)| Change::Word(at, word)),
    ]
}

fn changed(text: &str, changes: &[Change]) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    for change in changes {
        if bytes.is_empty() {
            break;
        }
        let length = bytes.len();
        match change {
            Change::Byte(at, byte) => bytes[at.index(length)] = *byte,
            Change::Cut(at, count) => {
                let at = at.index(length);
                bytes.drain(at..(at + count).min(length));
            }
            Change::Repeat(at) => {
                let tail = bytes[at.index(length)..].to_vec();
                bytes.extend(tail);
            }
            Change::DropLine(at) => {
                let lines: Vec<&[u8]> = bytes.split(|byte| *byte == b'\n').collect();
                let drop = at.index(lines.len());
                let kept: Vec<&[u8]> =
                    lines.iter().enumerate().filter(|(n, _)| *n != drop).map(|(_, line)| *line).collect();
                bytes = kept.join(&b'\n');
            }
            Change::Number(at, number) => replace(&mut bytes, *at, &number.to_string(), |byte| byte.is_ascii_digit()),
            Change::Word(at, word) => replace(&mut bytes, *at, word, |byte| !b" =,\n".contains(&byte)),
        }
    }
    bytes
}

/// Puts a word in place of one that consists of bytes of a kind.
fn replace(bytes: &mut Vec<u8>, at: Index, word: &str, kind: impl Fn(u8) -> bool) {
    let places: Vec<usize> = (0..bytes.len()).filter(|at| kind(bytes[*at])).collect();
    if places.is_empty() {
        return;
    }
    let place = places[at.index(places.len())];
    let start = (0..=place).rev().take_while(|at| kind(bytes[*at])).last().unwrap_or(place);
    let end = (place..bytes.len()).take_while(|at| kind(bytes[*at])).last().unwrap_or(place) + 1;
    bytes.splice(start..end, word.bytes());
}

/// Messages are there, each with a reason, and lines that the text has.
fn sound(faults: &Faults, text: &[u8]) -> Result<(), TestCaseError> {
    let lines = 1 + text.iter().filter(|byte| **byte == b'\n').count();
    prop_assert!(!faults.0.is_empty());
    for fault in &faults.0 {
        prop_assert!(!fault.reason.is_empty() && fault.line <= lines, "{fault:?} in {lines} lines");
    }
    Ok(())
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn damaged_layouts_and_tables_give_images_or_messages(
        which in 0usize..2,
        layout_changes in vec(change(), 0..4),
        table_changes in vec(change(), 0..3),
        part in select(vec!["24c00", "24lc02b", "24aa02e48", "24lc32a", "at24cm02", "fm24cl64b", "any-32k"]),
    ) {
        let text = changed(LAYOUTS[which], &layout_changes);
        let table = changed(UNITS[which], &table_changes);
        let Ok(text) = String::from_utf8(text) else { return Ok(()) };
        let layout = match layout::parse("l.toml", &text) {
            Ok(layout) => layout,
            Err(faults) => return sound(&faults, text.as_bytes()),
        };
        let units = units::parse("u.csv", &table, &layout);
        if let Err(faults) = &units {
            sound(faults, &table)?;
        }
        let catalogue = catalogue();
        let card = catalogue.find(part).unwrap();
        let placed = match layout.place(card) {
            Ok(placed) => placed,
            Err(faults) => return sound(&faults, text.as_bytes()),
        };
        let geometry = card.geometry([false; 3]).unwrap();
        match build::build(&layout, &placed, &geometry, units.ok().as_ref()) {
            Ok(images) => {
                for built in images.built {
                    let dump = built.image.flatten(placed.capacity_bytes, layout.fill);
                    prop_assert!(dump.is_ok(), "{dump:?}");
                }
            }
            Err(faults) => sound(&faults, &[table, text.into_bytes()].concat())?,
        }
    }

    #[test]
    fn damaged_image_files_give_images_or_messages(changes in vec(change(), 0..4), form in select(vec![Form::Ihex, Form::Srec])) {
        let image = Image::from_bytes(0x8000, include_bytes!("../../examples/layouts/press-counter.toml")).unwrap();
        let text = String::from_utf8(formats::encode(&image, form, 0xFF).unwrap()).unwrap();
        let text = changed(&text, &changes);
        match formats::decode("f", &text, form) {
            Ok(image) => {
                if let Ok(dump) = image.flatten(0x4_0000, 0xFF) {
                    let _ = look(&dump, None);
                }
            }
            Err(faults) => sound(&faults, &text)?,
        }
    }
}
