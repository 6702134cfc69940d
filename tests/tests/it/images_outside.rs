//! Image files and contents against general-purpose libraries from PyPI: `bincopy` for Intel HEX and S-record, `fru` for
//! IPMI FRU, `pyedid` for EDID. None of them was made here.

use std::path::Path;

use pagewise_content::image::formats::{decode, encode};
use pagewise_content::image::{Form, Image};
use pagewise_content::inspect::{edid, fru};
use pagewise_tests::python::Python;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::{Value, json};

const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it/images_outside/ask.py");

/// The libraries' answers to these questions; `None` where they cannot be installed.
fn ask(questions: &[Value]) -> Option<Vec<Value>> {
    let releases = ["bincopy==20.1.1", "fru==4.1.0", "pyedid==1.0.3"];
    let python = Python::with(Path::new(env!("CARGO_TARGET_TMPDIR")), &releases)?;
    let answers = python.ask(Path::new(SCRIPT), &[], &Value::from(questions).to_string());
    let answers = answers.as_array().expect("a list").clone();
    assert_eq!(answers.len(), questions.len());
    Some(answers)
}

/// Values of a strategy, the same in each run.
fn draws<S: Strategy>(count: usize, seed: u8, strategy: S) -> Vec<S::Value> {
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[seed; 32]);
    let mut runner = TestRunner::new_with_rng(Config { failure_persistence: None, ..Config::default() }, rng);
    (0..count).map(|_| strategy.new_tree(&mut runner).expect("a value").current()).collect()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn bytes(hex: &str) -> Vec<u8> {
    hex.as_bytes().chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap()).collect()
}

fn images() -> Vec<Image> {
    let near = |at: u32| at - 40..at + 40;
    let offset = prop_oneof![0u32..300, near(0x1_0000), near(0x100_0000), near(0x8000_0000)];
    let pieces = vec((offset, vec(any::<u8>(), 1..60)), 1..5);
    let images = draws(120, 1, pieces).into_iter().map(|pieces| {
        let mut image = Image::new();
        for (offset, bytes) in pieces {
            // Pieces that overlap an earlier one are left out.
            let _ = image.put(offset, &bytes);
        }
        image
    });
    images.collect()
}

fn runs(image: &Image) -> Value {
    image.runs().map(|(offset, bytes)| json!([offset, hex(bytes)])).collect()
}

#[test]
fn image_files_are_read_alike_both_ways() {
    let images = images();
    let mut questions = Vec::new();
    for image in &images {
        for (form, word) in [(Form::Ihex, "ihex"), (Form::Srec, "srec")] {
            let text = String::from_utf8(encode(image, form, 0xFF).unwrap()).unwrap();
            questions.push(json!({ "op": "image_read", "text": text }));
            questions.push(json!({ "op": "image_write", "form": word, "runs": runs(image) }));
        }
    }
    let Some(answers) = ask(&questions) else { return };
    for (image, answers) in images.iter().zip(answers.chunks(4)) {
        for (form, pair) in [Form::Ihex, Form::Srec].into_iter().zip(answers.chunks(2)) {
            assert_eq!(pair[0]["ok"], runs(image), "they read what we write: {form:?} {}", pair[0]);
            let text = pair[1]["ok"].as_str().unwrap_or_else(|| panic!("{}", pair[1]));
            assert_eq!(&decode("f", text.as_bytes(), form).unwrap(), image, "we read what they write: {form:?}");
        }
    }
}

/// A damaged record is refused by both.
#[test]
fn damaged_image_files_are_refused_by_both() {
    let images = images();
    let places = draws(images.len(), 2, (any::<prop::sample::Index>(), 1u8..16));
    let mut damaged = Vec::new();
    for (image, (at, by)) in images.iter().zip(places) {
        for form in [Form::Ihex, Form::Srec] {
            let mut text = String::from_utf8(encode(image, form, 0xFF).unwrap()).unwrap();
            // A digit of a data record becomes another one.
            let digits: Vec<usize> =
                text.char_indices().filter(|(_, c)| c.is_ascii_hexdigit()).map(|(at, _)| at).collect();
            let at = digits[at.index(digits.len())];
            let old = char::from(text.as_bytes()[at]).to_digit(16).unwrap() as u8;
            text.replace_range(at..=at, &format!("{:X}", (old + by) % 16));
            damaged.push((form, text));
        }
    }
    let questions: Vec<Value> = damaged.iter().map(|(_, text)| json!({ "op": "image_read", "text": text })).collect();
    let Some(answers) = ask(&questions) else { return };
    let mut both = 0;
    for ((form, text), answer) in damaged.iter().zip(answers) {
        let ours = decode("f", text.as_bytes(), *form);
        assert!(ours.is_err(), "{text}");
        both += usize::from(answer.get("error").is_some());
    }
    // They do not check what follows from other lines, such as a count.
    assert!(both * 10 >= damaged.len() * 9, "{both} of {}", damaged.len());
}

/// Texts of fields: one character alone cannot be told from the end mark, so none has one.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![1 => Just(String::new()), 4 => "[ -~]{2,40}"]
}

fn fru_data() -> impl Strategy<Value = Value> {
    let fields = (vec(text(), 2), vec(text(), 5), vec(text(), 7), vec("[ -~]{2,20}", 0..3));
    let numbers = (1u8..=0x20, any::<u8>(), 0u32..0x0100_0000);
    (fields, numbers, 1u8..8).prop_map(|((chassis, board, product, custom), (kind, language, date), which)| {
        let mut data = json!({ "common": { "format_version": 1, "size": 1024 } });
        if which & 1 != 0 {
            data["chassis"] = json!({ "type": kind, "part_number": chassis[0], "serial_number": chassis[1], "custom_fields": custom });
        }
        if which & 2 != 0 {
            data["board"] = json!({ "language_code": language, "mfg_date_time": date, "manufacturer": board[0],
                "product_name": board[1], "serial_number": board[2], "part_number": board[3], "fru_file_id": board[4],
                "custom_fields": custom });
        }
        if which & 4 != 0 {
            data["product"] = json!({ "language_code": language, "manufacturer": product[0], "product_name": product[1],
                "part_number": product[2], "product_version": product[3], "serial_number": product[4], "asset_tag": product[5],
                "fru_file_id": product[6], "custom_fields": custom });
        }
        data
    })
}

/// Images that `fru` builds from random descriptions: every field comes back, by its name.
#[test]
fn fru_images_of_others_are_read_field_by_field() {
    let data = draws(150, 3, fru_data());
    let questions: Vec<Value> = data.iter().map(|data| json!({ "op": "fru_make", "data": data })).collect();
    let Some(answers) = ask(&questions) else { return };
    for (data, answer) in data.iter().zip(answers) {
        let dump = bytes(answer["ok"].as_str().unwrap_or_else(|| panic!("{answer}")));
        let read = fru::read(&dump).expect("a FRU");
        let mut areas = 0;
        for name in ["chassis", "board", "product"] {
            let Some(wanted) = data.get(name) else { continue };
            let area = read.areas.iter().find(|area| area.name == name).expect("the area is there");
            areas += 1;
            assert!(area.intact, "{data}");
            let code = wanted.get("type").or_else(|| wanted.get("language_code"));
            assert_eq!(Some(u64::from(area.code)), code.and_then(Value::as_u64));
            assert_eq!(area.date_minutes.map(u64::from), wanted.get("mfg_date_time").and_then(Value::as_u64));
            let custom = wanted["custom_fields"].as_array().unwrap();
            let mut expected: Vec<(String, &str)> = Vec::new();
            for (key, value) in wanted.as_object().unwrap() {
                if let Some(value) = value.as_str().filter(|value| !value.is_empty()) {
                    expected.push((key.replace('_', "-"), value));
                }
            }
            expected.extend(custom.iter().map(|value| ("custom".to_owned(), value.as_str().unwrap())));
            let mut found: Vec<(String, &str)> =
                area.fields.iter().map(|field| (field.name.to_owned(), field.value.as_str())).collect();
            found.sort();
            expected.sort();
            assert_eq!(found, expected);
        }
        assert_eq!(read.areas.len(), areas);
    }
}

/// Where a byte is changed, both find the checksum wrong, or both read the same.
#[test]
fn damaged_fru_images_are_judged_alike() {
    let data = draws(100, 4, fru_data());
    let questions: Vec<Value> = data.iter().map(|data| json!({ "op": "fru_make", "data": data })).collect();
    let Some(made) = ask(&questions) else { return };
    let places = draws(data.len(), 5, (any::<prop::sample::Index>(), 1u8..=255));
    let damaged: Vec<Vec<u8>> = made
        .iter()
        .zip(places)
        .map(|(made, (at, by))| {
            let mut dump = bytes(made["ok"].as_str().unwrap());
            let end = dump.iter().rposition(|byte| *byte != 0).unwrap_or(0) + 1;
            let at = at.index(end);
            dump[at] ^= by;
            dump
        })
        .collect();
    let questions: Vec<Value> = damaged.iter().map(|dump| json!({ "op": "fru_load", "hex": hex(dump) })).collect();
    let Some(answers) = ask(&questions) else { return };
    for (dump, answer) in damaged.iter().zip(answers) {
        let ours = fru::read(dump).is_some_and(|fru| fru.areas.iter().all(|area| area.intact));
        assert!(!ours, "we find nothing wrong: {answer}");
        assert!(answer.get("error").is_some(), "they find nothing wrong: {answer}");
    }
}

/// EDIDs with random numbers, letters and texts.
#[test]
fn edids_are_read_alike() {
    let parts = ((1u16..27, 1u16..27, 1u16..27), any::<u16>(), (1u8..54, any::<u8>()), "[A-Za-z0-9 ]{1,12}[A-Za-z0-9]");
    let dumps: Vec<Vec<u8>> = draws(100, 6, (parts, vec(any::<u8>(), 34)))
        .into_iter()
        .map(|(((a, b, c), product, (week, year), name), rest)| {
            let mut dump = vec![0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x00];
            dump.extend((a << 10 | b << 5 | c).to_be_bytes());
            dump.extend(product.to_le_bytes());
            dump.extend([1, 0, 0, 0, week, year, 1, 3]);
            dump.extend(&rest);
            dump.extend([0, 0, 0, 0xFC, 0]);
            dump.extend(format!("{name}\n{}", " ".repeat(12))[..13].bytes());
            dump.resize(126, 0);
            dump.push(0);
            dump.push(dump.iter().fold(0u8, |sum, byte| sum.wrapping_sub(*byte)));
            dump
        })
        .collect();
    let questions: Vec<Value> = dumps.iter().map(|dump| json!({ "op": "edid", "hex": hex(dump) })).collect();
    let Some(answers) = ask(&questions) else { return };
    for (dump, answer) in dumps.iter().zip(answers) {
        let theirs = answer.get("ok").unwrap_or_else(|| panic!("{answer}"));
        let ours = edid::read(dump).expect("an EDID");
        assert!(ours.damaged_blocks.is_empty());
        assert_eq!(Some(ours.manufacturer.as_str()), theirs["manufacturer"].as_str());
        // That library takes the high byte first; the published samples have the low byte first.
        assert_eq!(Some(u64::from(ours.product.swap_bytes())), theirs["product"].as_u64());
        assert_eq!(Some(ours.version.as_str()), theirs["version"].as_str());
        assert_eq!(Some(u64::from(ours.week)), theirs["week"].as_u64());
        assert_eq!(Some(u64::from(ours.year)), theirs["year"].as_u64());
        assert_eq!(ours.name.as_deref(), theirs["name"].as_str().map(str::trim));
    }
}
