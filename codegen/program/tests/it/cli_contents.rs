//! Layouts that take their bytes from files and from what old parts held, and sums of bytes.

use std::fs;

use crate::cli_support::line::{Line, flat, image};

/// A block that describes a display, as it begins and with its version (VESA E-EDID 1.3, section 3.1): eight fixed bytes,
/// the version at 18, and a last byte with which all 128 add up to 0.
fn display(seed: u8) -> Vec<u8> {
    let mut block = vec![0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0x51, 0x99, seed, 0];
    block.extend(7u32.to_le_bytes());
    block.extend([1, 36, 1, 3]);
    block.extend(image(seed, 106));
    // No extension follows.
    block.push(0);
    block.push(block.iter().fold(0u8, |sum, byte| sum.wrapping_sub(*byte)));
    block
}

const LAYOUT: &str = r#"
name = "panel"
[[region]]
name = "head"
kind = "bytes"
length = 12
offset = 0
from = "dumps"
[[region]]
name = "number"
kind = "u32"
endian = "little"
offset = 12
column = "number"
[[region]]
name = "tail"
kind = "bytes"
length = 111
offset = 16
from = "dumps"
at = 0x10
[[region]]
name = "check"
kind = "sum"
algorithm = "SUM-8/ZERO"
over = ["head", "number", "tail"]
offset = 127
[[region]]
name = "start-up"
kind = "bytes"
length = 64
offset = 128
file = "start.bit"
signature = "AA 99 55 66"
[[region]]
name = "total"
kind = "sum"
algorithm = "SUM-16"
endian = "big"
over = ["start-up"]
"#;

fn line() -> Line {
    let line = Line::new(1);
    fs::create_dir(line.path("dumps")).unwrap();
    for (name, seed) in [("P1", 1), ("P2", 2)] {
        fs::write(line.path("dumps").join(format!("{name}.bin")), [display(seed), vec![0xFF; 128]].concat()).unwrap();
    }
    fs::write(line.path("start.bit"), [vec![0xFF; 8], vec![0xAA, 0x99, 0x55, 0x66], image(3, 30)].concat()).unwrap();
    fs::write(line.path("panel.toml"), LAYOUT).unwrap();
    fs::write(line.path("units.csv"), "unit,number\nP1,1001\nP2,1002\n").unwrap();
    line
}

const BUILD: [&str; 9] =
    ["image", "panel.toml", "--part", "24lc02b", "--units", "units.csv", "-o", "images", "--form=bin"];

#[test]
fn a_display_block_moves_with_a_number_and_a_sum_of_its_own_per_unit() {
    let line = line();
    let run = line.run(&BUILD);
    assert_eq!(run.code, 0, "{}", run.err);
    for (unit, seed, number) in [("P1", 1, 1001u32), ("P2", 2, 1002)] {
        let built = fs::read(line.path("images").join(format!("{unit}.bin"))).unwrap();
        let old = display(seed);
        assert_eq!(built[..12], old[..12], "{unit}");
        assert_eq!(built[12..16], number.to_le_bytes(), "{unit}");
        assert_eq!(built[16..127], old[16..127], "{unit}");
        assert_eq!(built[..128].iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte)), 0, "{unit}");
        let start = fs::read(line.path("start.bit")).unwrap();
        assert_eq!(built[128..128 + start.len()], start[..], "{unit}");
        let sum: u16 = start.iter().map(|byte| u16::from(*byte)).sum();
        assert_eq!(built[192..194], sum.to_be_bytes(), "{unit}");
        // Whoever knows the format finds it sound again.
        let found = line.run(&["inspect", &format!("images/{unit}.bin"), "--json"]).json();
        let edid = &found["found"][0];
        assert_eq!((&edid["kind"], &edid["sure"]), (&"edid".into(), &"certain".into()), "{found}");
    }
    let manifest = fs::read_to_string(line.path("images/manifest.jsonl")).unwrap();
    assert!(manifest.contains("dumps/P2.bin from 0x0010 on") && manifest.contains("start.bit"), "{manifest}");
    let layout = line.run(&["layout", "panel.toml", "--part", "24lc02b"]);
    let told = layout.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for word in ["from dumps", "from dumps at 0x0010", "file start.bit", "sum SUM-8/ZERO", "sum SUM-16"] {
        assert!(told.contains(word), "{word}: {told}");
    }
}

/// With `old` of the layout changed to `new`, the command is refused with `message` and does not write `output`.
fn refuses(cases: &[(&str, &str, &str)], command: &[&str], output: &str) {
    for (old, new, message) in cases {
        let line = line();
        fs::write(line.path("old.bin"), [1, 2, 3]).unwrap();
        assert!(LAYOUT.contains(old), "{old}");
        fs::write(line.path("panel.toml"), LAYOUT.replacen(old, new, 1)).unwrap();
        let refused = line.run(command);
        assert!(refused.code == 2 && refused.err.contains(message), "{message}: {}{}", refused.out, refused.err);
        assert!(!line.path(output).exists());
    }
}

#[test]
fn files_and_dumps_that_do_not_fit_are_told_with_their_field() {
    let cases: [(&str, &str, &str); 9] = [
        ("signature = \"AA 99 55 66\"", "signature = \"AA 99 55 67\"", "start.bit does not hold AA 99 55 67"),
        ("signature = \"AA 99 55 66\"", "signature = \"AA 9\"", "odd number of hexadecimal digits"),
        ("length = 64", "length = 32", "start.bit has 42 bytes, the region 32"),
        ("file = \"start.bit\"", "file = \"none.bit\"", "none.bit: cannot be read"),
        ("file = \"start.bit\"", "from = \"dumps\"", "does not hold AA 99 55 66"),
        ("at = 0x10", "at = 0xFFF", "the stretch at 0x106e"),
        ("from = \"dumps\"\nat", "at", "stands without `from`"),
        ("SUM-8/ZERO", "SUM-9", "`SUM-9` is not a sum of bytes"),
        ("length = 12\noffset = 0\nfrom", "length = 12\noffset = 0\ncolumn = \"x\"\nfrom", "stands beside `column`"),
    ];
    refuses(&cases, &BUILD, "images");
    let line = line();
    fs::write(line.path("units.csv"), "unit,number\nP1,1001\nP3,1002\nP4,1003\n").unwrap();
    let refused = line.run(&BUILD);
    assert!(refused.code == 2 && flat(&refused).contains("holds no dump of unit `P3`"), "{}", refused.err);
    assert!(refused.err.contains("`P4`") && refused.err.contains("panel.toml:"), "all at once: {}", refused.err);
}

/// What was found in a dump becomes a layout, and the layout gives the dump again.
#[test]
fn a_draft_of_a_layout_gives_the_dump_again() {
    let line = Line::new(1);
    fs::create_dir(line.path("dumps")).unwrap();
    let mut dump = [display(5), b"Tamarind Instruments panel 7".to_vec()].concat();
    dump.extend([0xFF; 20]);
    dump.extend([0x00, 0x00, 0x5E, 0x00, 0x53, 0x01]);
    dump.resize(230, 0xFF);
    dump.resize(256, 0x00);
    fs::write(line.path("dumps/old \"7\".bin"), &dump).unwrap();
    // Beside the dump, and in another folder.
    let beside = r#"from = "old \"7\".bin""#;
    let elsewhere = r#"from = "dumps/old \"7\".bin""#;
    for (draft, from) in [("dumps/d.toml", beside), ("d.toml", elsewhere)] {
        let run = line.run(&["inspect", "dumps/old \"7\".bin", "--part", "24lc02b", "--draft", draft]);
        assert!(run.code == 0 && run.out.contains("a draft of a layout"), "{}{}", run.out, run.err);
        let text = fs::read_to_string(line.path(draft)).unwrap();
        for part in
            ["display-0000", "text-0080", "unknown-00b0", "zero-00e6", "# 0x00b0..0x00b6: unknown: 6 bytes", from]
        {
            assert!(text.contains(part), "{part}: {text}");
        }
        let call = ["image", draft, "--part", "24lc02b", "-o", "images", "--form", "bin", "--overwrite"];
        let built = line.run(&call);
        assert_eq!(built.code, 0, "{}", built.err);
        assert!(fs::read(line.path("images/image.bin")).unwrap() == dump);
    }
    fs::write(line.path("blank.bin"), [0xFF; 64]).unwrap();
    let refused = line.run(&["inspect", "blank.bin", "--draft", "b.toml"]);
    assert!(refused.code == 2 && refused.err.contains("nothing but erased bytes"), "{}", refused.err);
    assert!(!line.path("b.toml").exists());
}

/// A dump of 256 bytes with a block somewhere in it.
fn with_block(block: &[u8], at: usize) -> Vec<u8> {
    let mut dump = image(9, 256);
    dump[at..at + block.len()].copy_from_slice(block);
    dump
}

/// What `inspect --layout` makes of a dump.
fn inspected(line: &Line, dump: &[u8], more: &[&str]) -> (serde_json::Value, String) {
    fs::write(line.path("old.bin"), dump).unwrap();
    let call = [&["inspect", "old.bin", "--layout", "panel.toml"][..], more].concat();
    let (told, json) = (line.run(&call), line.run(&[&call[..], &["--json"]].concat()));
    let astray =
        json.json()["sightings"][0]["place"] == "elsewhere" || json.json()["sightings"][0]["place"] == "nowhere";
    assert_eq!((told.code, json.code), (i32::from(astray), i32::from(astray)), "{}{}", told.out, told.err);
    (json.json(), told.out.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// The first block that was recognised: first byte, bytes, how sure.
fn block(json: &serde_json::Value) -> Option<(u64, u64, String)> {
    let found = json["found"].as_array().unwrap().iter().find(|found| found["kind"] == "signed")?;
    let number = |key: &str| found[key].as_u64().unwrap();
    Some((number("offset"), number("length"), found["sure"].as_str().unwrap().to_owned()))
}

/// A block and where it lies; what is told: first byte, bytes, how sure; where it is as seen from the layout; some words.
type Case<'c> = (&'c [u8], usize, (u64, u64, &'c str), &'c str, &'c str);

#[test]
fn a_block_is_recognised_by_its_signature_wherever_it_lies() {
    let line = line();
    let start = fs::read(line.path("start.bit")).unwrap();
    // Another version of the block: the signature stands as deep in it, nothing else is alike.
    let other = [vec![0x11; 8], start[8..12].to_vec(), image(4, 30)].concat();
    let cases: [Case<'_>; 5] = [
        (&start, 128, (128, 42, "certain"), "as-stated", "where the layout says, in 0x0080..0x00aa"),
        (
            &start,
            0x60,
            (0x60, 42, "certain"),
            "elsewhere",
            "not at 0x0080, where the layout places it, but in 0x0060..0x008a",
        ),
        (&start, 0x82, (0x82, 42, "certain"), "elsewhere", "all 42 bytes of start.bit, with AA 99 55 66 at 0x008a"),
        (&other, 128, (128, 64, "likely"), "as-stated", "these are not the bytes of start.bit"),
        (&other, 0x40, (0x48, 4, "possible"), "elsewhere", "the block begins at 0x0040 if that lies as deep in it"),
    ];
    for (bytes, at, (offset, length, sure), place, text) in cases {
        let (json, told) = inspected(&line, &with_block(bytes, at), &[]);
        assert_eq!(block(&json), Some((offset, length, sure.to_owned())), "{at:#x}: {json}");
        assert_eq!(
            (&json["sightings"][0]["place"], &json["sightings"][0]["count"]),
            (&place.into(), &1.into()),
            "{json}"
        );
        assert!(told.contains(text), "{text}: {told}");
        // A general tool finds the signature at the same place.
        #[cfg(target_os = "linux")]
        {
            let grep = ["-obUaP", r"\xAA\x99\x55\x66"];
            let found =
                std::process::Command::new("grep").args(grep).arg(line.path("old.bin")).env("LC_ALL", "C").output();
            let found = String::from_utf8_lossy(&found.unwrap().stdout).split(':').next().unwrap().parse().ok();
            let signed = json["found"].as_array().unwrap().iter().find(|found| found["kind"] == "signed").unwrap();
            assert_eq!(signed["signature_at"].as_u64(), found, "{json}");
        }
    }
    let (json, told) = inspected(&line, &image(9, 256), &[]);
    assert!(block(&json).is_none() && told.contains("start-up: AA 99 55 66 nowhere in this dump"), "{told}");
    assert_eq!(json["sightings"][0]["place"], "nowhere");
    // Twice, and one of them is where the layout says.
    let mut twice = with_block(&start, 128);
    twice[..42].copy_from_slice(&start);
    let (json, told) = inspected(&line, &twice, &[]);
    assert!(told.contains("where the layout says, and elsewhere: 0x0000..0x002a, 0x0080..0x00aa"), "{told}");
    assert_eq!((&json["sightings"][0]["place"], &json["sightings"][0]["count"]), (&"as-stated".into(), &2.into()));
}

/// A layout that knows neither the block nor where it lies; with a part it knows where.
#[test]
fn a_signature_alone_tells_that_a_block_is_there() {
    let line = line();
    let start = fs::read(line.path("start.bit")).unwrap();
    let open =
        "name = \"open\"\n[[region]]\nname = \"start\"\nkind = \"bytes\"\nlength = 64\nsignature = \"AA995566\"\n";
    fs::write(line.path("panel.toml"), open).unwrap();
    let (json, told) = inspected(&line, &with_block(&start, 16), &[]);
    assert_eq!((block(&json), &json["sightings"][0]["place"]), (Some((24, 4, "possible".into())), &"open".into()));
    assert!(
        told.contains("the layout leaves its place open") && told.contains("begins and ends is not known"),
        "{told}"
    );
    let (json, _) = inspected(&line, &with_block(&start, 16), &["--part", "24lc02b"]);
    assert_eq!((block(&json), &json["sightings"][0]["place"]), (Some((0, 64, "likely".into())), &"as-stated".into()));
    // Where it lay in the old part counts, too: there it is taken from.
    let moved = open.replace("signature", "from = \"dumps\"\nat = 16\noffset = 128\nsignature");
    fs::write(line.path("panel.toml"), &moved).unwrap();
    let (json, _) = inspected(&line, &with_block(&start, 16), &[]);
    assert_eq!((block(&json), &json["sightings"][0]["place"]), (Some((16, 64, "likely".into())), &"as-stated".into()));
    let (_, told) = inspected(&line, &with_block(&start, 0x60), &[]);
    let both = "not at 0x0080, where the layout places it, nor at 0x0010, where it lay in the old part, but in 0x0068";
    assert!(told.contains(both), "{told}");
    // The draft of a layout has a region for it.
    inspected(&line, &with_block(&start, 16), &["--draft", "draft.toml"]);
    assert!(fs::read_to_string(line.path("draft.toml")).unwrap().contains("block-0010"));
}

#[test]
fn signatures_that_tell_nothing_are_refused() {
    let cases: [(&str, &str, &str); 5] = [
        ("signature = \"AA 99 55 66\"", "", "names no signature that could be looked for"),
        ("AA 99 55 66", "FF FF", "is nothing but 0xff"),
        ("AA 99 55 66", "AA AA 9", "odd number of hexadecimal digits"),
        ("length = 64", "length = 3", "has 4 bytes, the region 3"),
        ("file = \"start.bit\"", "column = \"start\"", "stands beside `column`"),
    ];
    refuses(&cases, &["inspect", "old.bin", "--layout", "panel.toml", "--draft", "draft.toml"], "draft.toml");
    let line = line();
    fs::write(line.path("old.bin"), [1, 2, 3]).unwrap();
    let refused = line.run(&["inspect", "old.bin", "--layout", "none.toml"]);
    assert!(refused.code == 2 && refused.err.contains("none.toml: cannot be read"), "{}", refused.err);
    fs::remove_file(line.path("start.bit")).unwrap();
    let refused = line.run(&["inspect", "old.bin", "--layout", "panel.toml"]);
    assert!(refused.code == 2 && refused.err.contains("start.bit: cannot be read"), "{}", refused.err);
}
