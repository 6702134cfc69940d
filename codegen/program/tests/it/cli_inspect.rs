//! `pagewise inspect` as a user calls it.

use std::fs;

use crate::cli_support::{Run, refused, run};
use tempfile::TempDir;

struct Bench(TempDir);

impl Bench {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn inspect(&self, name: &str, contents: &[u8], more: &[&str]) -> Run {
        let path = self.0.path().join(name);
        fs::write(&path, contents).unwrap();
        let path = path.display().to_string();
        run(&[&["inspect", path.as_str()], more].concat())
    }
}

#[test]
fn blank_dumps_are_blank() {
    let bench = Bench::new();
    for byte in [0xFF, 0x00] {
        let run = bench.inspect("d.bin", &[byte; 512], &[]);
        assert_eq!((run.code, run.err.as_str()), (0, ""));
        assert!(run.out.contains("4 kbit = 512 bytes  blank"), "{}", run.out);
    }
    let answer = bench.inspect("d.bin", &[], &["--json"]).json();
    assert_eq!((&answer["whole"], answer["found"].as_array().unwrap().len()), (&"empty".into(), 0));
}

#[test]
fn a_dump_that_repeats_counts_against() {
    let bench = Bench::new();
    let block: Vec<u8> = (0..2048u32).map(|n| (n * n / 7 % 251) as u8).collect();
    let run = bench.inspect("d.bin", &block.repeat(2), &["--part", "24lc32a"]);
    assert_eq!((run.code, run.err.as_str()), (1, ""));
    for part in ["capacity-alias: 2048 bytes, 2 times", "likely", "a part of 16 kbit = 2048 bytes is fitted"] {
        assert!(run.out.contains(part), "{part}: {}", run.out);
    }
    let answer = bench.inspect("d.bin", &block.repeat(2), &["--part", "24lc16b", "--json"]);
    assert_eq!(answer.code, 1);
    let found = &answer.json()["found"][0];
    assert_eq!(
        (&found["kind"], &found["sure"], &found["period"]),
        (&"repeats".into(), &"certain".into(), &2048.into())
    );
}

#[test]
fn a_part_of_another_size_is_told() {
    let run = Bench::new().inspect("d.bin", &[0xFF; 300], &["--part", "24lc02b"]);
    assert!(run.out.contains("24lc02b holds 2 kbit = 256 bytes, the dump 300 bytes"), "{}", run.out);
}

#[test]
fn text_forms_are_read_and_what_is_damaged_in_them_is_told() {
    let bench = Bench::new();
    let run = bench.inspect("d.hex", b":0300300002337A1E\n:00000001FF\n", &["--json"]);
    assert_eq!((run.code, &run.json()["length"]), (0, &0x33.into()));
    let run = bench.inspect("d.hex", b":0300300002337A1F\n:00000001FF\n", &[]);
    assert!(run.code == 2 && run.err.contains("d.hex:1: checksum 1F is wrong, 1E fits"), "{}", run.err);
    let run = bench.inspect("d.hex", b":020000040FFFEC\n:0100000055AA\n:00000001FF\n", &[]);
    assert!(run.code == 2 && run.err.contains("ends at 0xfff0001"), "{}", run.err);
    refused(&["inspect", "/nowhere/d.bin"], "cannot be read");
    let path = bench.0.path().display().to_string();
    refused(&["inspect", &path, "--form", "bin"], "cannot be read");
    let part = bench.inspect("e.bin", &[1], &["--part", "nothing"]);
    assert_eq!(part.code, 2);
}

#[test]
fn texts_of_a_dump_cannot_steer_the_terminal() {
    let edid = "00ffffffffffff0004699824010101011e1b01031e351e78ea9265a655559f280d5054bfef00714f818081409500a940b300d1c00101023a801871382d40582c4500132b2100001e000000fd00324c1e5311000a202020202020000000fc0056533234380a20202020202020000000ff0048374c4d51533132323136310a0000";
    let mut dump: Vec<u8> = edid
        .as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap())
        .collect();
    let at = dump.windows(5).position(|window| window == b"VS248").unwrap();
    dump[at..at + 5].copy_from_slice(b"\x1b[31m");
    let run = Bench::new().inspect("d.bin", &dump, &[]);
    assert!(!run.out.contains('\x1b') && run.out.contains("`?[31m`"), "{}", run.out);
}

/// Erased bytes before a network address are not taken for a part of it, and nobody claims to know what it is.
#[test]
fn erased_bytes_beside_unknown_ones_are_told_apart() {
    let mut dump = b"Tamarind Instruments GW3 ".to_vec();
    dump.extend([0xFF; 7]);
    dump.extend([0x00, 0x00, 0x5E, 0x00, 0x53, 0x01]);
    dump.resize(256, 0xFF);
    let bench = Bench::new();
    let json = bench.inspect("d.bin", &dump, &["--json"]).json();
    let found: Vec<_> =
        json["found"].as_array().unwrap().iter().map(|f| (&f["kind"], &f["offset"], &f["length"])).collect();
    let expected = [("text", 0, 25), ("blank", 25, 7), ("unknown", 32, 6), ("blank", 38, 218)];
    let expected = expected.map(|(kind, offset, length)| (kind.into(), offset.into(), length.into()));
    assert!(found.into_iter().eq(expected.iter().map(|(kind, offset, length)| (kind, offset, length))), "{json}");
    assert_eq!((&json["found"][1]["sure"], &json["found"][2]["sure"]), (&"possible".into(), &"possible".into()));
    let text = bench.inspect("d.bin", &dump, &[]).out;
    assert!(text.contains("0x0020..0x0026  unknown   bytes of no known format"), "{text}");
}
