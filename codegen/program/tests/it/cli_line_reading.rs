//! `pagewise verify` and `dump` on the simulated bus.

use std::fs;

use crate::cli_support::line::{Line, flat, image};

#[test]
fn verify_says_where_what_was_expected_and_what_was_found() {
    let line = Line::new(300);
    assert_eq!(line.program(&[]).code, 0);
    let mut chip = line.chip();
    (chip[0x10], chip[0x11], chip[0x100], chip[0x200]) = (0xAA, 0xBB, 0xCC, 0xDD);
    fs::write(line.path("chip.bin"), &chip).unwrap();
    let call = ["verify", "--simulate", "TI-1.bin", "--part", "24lc32a", "--memory", "chip.bin"];
    let run = line.run(&call);
    let expected = image(1, 300);
    assert_eq!(run.code, 1);
    let text = flat(&run);
    let stretch = format!("0x0010 expected {:02X} {:02X} found AA BB", expected[0x10], expected[0x11]);
    assert!(
        text.contains(&stretch) && text.contains("0x0100") && text.contains("3 of 300 bytes, in 2 places"),
        "{text}"
    );
    assert!(!text.contains("0x0200"), "behind the image nothing is compared");
    let json = line.run(&[&call[..], &["--json"]].concat()).json();
    assert_eq!((&json["same"], &json["differing_bytes"]), (&false.into(), &3.into()));
    assert_eq!(json["differences"][0]["found"], "aabb");
    assert!(line.chip() == chip, "nothing was written");
}

#[test]
fn a_dump_in_any_form_holds_what_the_part_holds() {
    let line = Line::new(4096);
    fs::write(line.path("chip.bin"), image(5, 4096)).unwrap();
    for file in ["a.bin", "a.hex", "a.srec"] {
        let run = line.run(&["dump", "--simulate", "--part", "24lc32a", "--memory", "chip.bin", "-o", file, "--json"]);
        assert_eq!((run.code, &run.json()["bytes"]), (0, &4096.into()), "{file}: {}{}", run.out, run.err);
        // The part holds the dump: read back through the other door.
        let same = line.run(&["verify", "--simulate", file, "--part", "24lc32a", "--memory", "chip.bin"]);
        assert_eq!(same.code, 0, "{file}: {}", same.out);
    }
    assert!(fs::read(line.path("a.bin")).unwrap() == image(5, 4096));
    assert!(line.chip() == image(5, 4096), "nothing was written");
    let silent = line.run(&["dump", "--simulate", "--part", "24lc32a", "--trouble", "unplugged=0", "-o", "b.bin"]);
    assert!(silent.code == 1 && !line.path("b.bin").exists(), "{}", silent.out);
    // The wrong part is told by its repeating contents.
    fs::write(line.path("small.bin"), image(5, 2048)).unwrap();
    let wrong = [
        "dump",
        "--simulate",
        "--part",
        "24lc32a",
        "--memory",
        "small.bin",
        "--trouble",
        "fitted=24lc16b",
        "-o",
        "c.bin",
    ];
    let run = line.run(&wrong);
    assert!(run.code == 1 || flat(&run).contains("caution"), "{}", run.out);
}
