//! Image files: what is written is read back, by us and by others; what is damaged is refused with its lines.

use std::path::Path;

use pagewise_content::image::formats::{decode, encode, read};
use pagewise_content::image::{Form, Image};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngSeed};

const FORMS: [Form; 3] = [Form::Bin, Form::Ihex, Form::Srec];

fn config(cases: u32) -> Config {
    Config { cases, rng_seed: RngSeed::Fixed(0x0051_DE5C), failure_persistence: None, ..Config::default() }
}

/// Sparse images, among them such that cross the limits of 64 KB and 16 MB.
fn images() -> impl Strategy<Value = Image> {
    let near = |at: u32| (at.saturating_sub(40)..at + 40).boxed();
    let offset = prop_oneof![0u32..300, near(0x1_0000), near(0x2_0000), near(0x100_0000), near(0x8000_0000)];
    vec((offset, vec(any::<u8>(), 1..60)), 0..6).prop_map(|pieces| {
        let mut image = Image::new();
        for (offset, bytes) in pieces {
            // Pieces that overlap an earlier one are left out.
            let _ = image.put(offset, &bytes);
        }
        image
    })
}

fn faults(form: Form, text: &[u8]) -> Vec<(usize, String)> {
    let faults = decode("f", text, form).unwrap_err().0;
    faults.into_iter().map(|fault| (fault.line, fault.reason)).collect()
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn text_forms_keep_every_byte_and_every_gap(image in images()) {
        for form in [Form::Ihex, Form::Srec] {
            let text = encode(&image, form, 0xFF).unwrap();
            prop_assert_eq!(&decode("f", &text, form).unwrap(), &image);
        }
    }

    #[test]
    fn binary_files_keep_every_byte(bytes in vec(any::<u8>(), 0..500), offset in 0u32..200) {
        let image = Image::from_bytes(offset, &bytes).unwrap();
        let file = encode(&image, Form::Bin, 0xA5).unwrap();
        let mut expected = vec![0xA5; if bytes.is_empty() { 0 } else { offset as usize }];
        expected.extend_from_slice(&bytes);
        prop_assert_eq!(&file, &expected);
        prop_assert_eq!(decode("f", &file, Form::Bin).unwrap(), Image::from_bytes(0, &expected).unwrap());
    }

    /// Outside check: the crates `srec` and `ihex` find the same bytes at the same offsets.
    #[test]
    fn others_read_what_we_write(image in images()) {
        let text = String::from_utf8(encode(&image, Form::Srec, 0xFF).unwrap()).unwrap();
        let mut theirs = Image::new();
        for record in srec::read_records(&text) {
            match record.unwrap() {
                srec::Record::S1(data) => theirs.put(data.address.into(), &data.data).unwrap(),
                srec::Record::S2(data) => theirs.put(data.address.into(), &data.data).unwrap(),
                srec::Record::S3(data) => theirs.put(data.address.into(), &data.data).unwrap(),
                _ => {}
            }
        }
        prop_assert_eq!(&theirs, &image);
        let text = String::from_utf8(encode(&image, Form::Ihex, 0xFF).unwrap()).unwrap();
        let (mut theirs, mut upper) = (Image::new(), 0);
        for record in ihex::Reader::new(&text) {
            match record.unwrap() {
                ihex::Record::Data { offset, value } => theirs.put(upper | u32::from(offset), &value).unwrap(),
                ihex::Record::ExtendedLinearAddress(half) => upper = u32::from(half) << 16,
                _ => {}
            }
        }
        prop_assert_eq!(&theirs, &image);
    }

    /// Outside check the other way: S-records made by the crate `srec`.
    #[test]
    fn we_read_what_others_write(offset in 0u16..0xFF00, bytes in vec(any::<u8>(), 0..200)) {
        let data = srec::Data { address: srec::Address16(offset), data: bytes.clone() };
        let text = srec::generate_srec_file(&[srec::Record::S1(data), srec::Record::S9(srec::Address16(offset))]);
        let image = decode("f", text.as_bytes(), Form::Srec).unwrap();
        prop_assert_eq!(image, Image::from_bytes(offset.into(), &bytes).unwrap());
    }

    #[test]
    fn a_changed_character_is_seen(image in images(), at in any::<prop::sample::Index>(), by in 1u8..=255) {
        for form in [Form::Ihex, Form::Srec] {
            let mut text = encode(&image, form, 0xFF).unwrap();
            let at = at.index(text.len());
            text[at] = text[at].wrapping_add(by);
            // Never a panic; and either a fault, or the same bytes (a line end changed into a blank, for example).
            // A header record's type digit may become another type only together with its checksum.
            if let Ok(read) = decode("f", &text, form) {
                let letter = text[at].is_ascii_alphanumeric();
                prop_assert!(!letter || read == image, "{}", String::from_utf8_lossy(&text));
            }
        }
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in vec(any::<u8>(), 0..300), text in "[:S0-9A-F \n]{0,200}") {
        for form in FORMS {
            let _ = decode("f", &bytes, form);
            let _ = decode("f", text.as_bytes(), form);
        }
    }
}

#[test]
fn every_bad_line_is_told_with_its_number() {
    let text = ":0300300002337A1F\n\n:10000001FF\nhello\n:0300300002337A1E\n:0200320001020_\n:020031000102CA\n";
    assert_eq!(
        faults(Form::Ihex, text.as_bytes()),
        [
            (1, "checksum 1F is wrong, 1E fits the record".into()),
            (3, "checksum FF is wrong, EF fits the record".into()),
            (4, "a record begins with `:`".into()),
            (6, "has characters that are not hexadecimal digits".into()),
            (7, "the byte at 0x0031 is given twice".into()),
        ]
    );
    let text = "S107FEDC210080CFAF\nS1\nS4030000FC\nS107FEDC210080CFAE\nS105FEDD010203\nS104FEDD0105\n";
    assert_eq!(
        faults(Form::Srec, text.as_bytes()),
        [
            (1, "checksum AF is wrong, AE fits the record".into()),
            (2, "is shorter than any record".into()),
            (3, "record type S4 does not exist".into()),
            (5, "checksum 03 is wrong, 1C fits the record".into()),
            (6, "checksum 05 is wrong, 1F fits the record".into()),
        ]
    );
}

#[test]
fn a_file_that_was_cut_or_continued_is_refused() {
    let image = Image::from_bytes(0x10, &[7; 100]).unwrap();
    for (form, what) in [(Form::Ihex, "end-of-file record"), (Form::Srec, "end record")] {
        let text = String::from_utf8(encode(&image, form, 0xFF).unwrap()).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        // Of an S-record file the count is cut off too, which says as well as the end record that nothing is missing.
        let left = lines.len() - if form == Form::Srec { 2 } else { 1 };
        let cut = lines[..left].join("\n");
        let (line, reason) = &faults(form, cut.as_bytes())[0];
        assert!(*line == left && reason.contains(what) && reason.contains("missing"), "{line} {reason}");
        let longer = format!("{text}{}\n", lines[1]);
        let (line, reason) = &faults(form, longer.as_bytes())[0];
        assert!(*line == lines.len() + 1 && reason.contains("stands after"), "{line} {reason}");
    }
    let count = "S104002F5A72\nS5030003F9\nS9030000FC\n";
    assert_eq!(faults(Form::Srec, count.as_bytes())[0].1, "counts 3 data records, 1 stand above it");
}

#[test]
fn addresses_past_the_end_are_refused() {
    let text = ":02000004FFFFFC\n:02FFFF000102FD\n:00000001FF\n";
    assert_eq!(faults(Form::Ihex, text.as_bytes())[0].0, 2);
    let text = ":020000021000EC\n:02FFFF000102FD\n:00000001FF\n";
    let (line, reason) = &faults(Form::Ihex, text.as_bytes())[0];
    assert!(*line == 2 && reason.contains("pass the end of the 64 KB segment at 0x10000"), "{reason}");
}

#[test]
fn segments_count_in_sixteens() {
    let text = ":020000021000EC\n:0100010055A9\n:00000001FF\n";
    let image = decode("f", text.as_bytes(), Form::Ihex).unwrap();
    assert_eq!(image.runs().collect::<Vec<_>>(), [(0x1_0001, [0x55].as_slice())]);
}

#[test]
fn the_form_is_told_by_the_extension_or_by_name() {
    for (name, form) in [("a.bin", Form::Bin), ("a.HEX", Form::Ihex), ("b.s19", Form::Srec), ("b.srec", Form::Srec)] {
        assert_eq!(Form::of_path(Path::new(name)), Some(form), "{name}");
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("dump.dat");
    std::fs::write(&path, [1, 2]).unwrap();
    let shown = read(&path, None).unwrap_err().to_string();
    assert!(shown.contains("its extension tells no form"), "{shown}");
    assert_eq!(read(&path, Some(Form::Bin)).unwrap(), Image::from_bytes(0, &[1, 2]).unwrap());
    assert!(read(&folder.path().join("none.bin"), None).unwrap_err().to_string().contains("cannot be read"));
}
