//! `pagewise layout` as a user calls it.

use crate::cli_support::{refused, run, write};
use pagewise_content::layout;
use pagewise_part::card::{Access, Catalogue};
use serde_json::Value;

const EXAMPLES: [&str; 2] = ["field-gateway", "press-counter"];

fn example(name: &str) -> String {
    format!("{}/../../examples/layouts/{name}.toml", env!("CARGO_MANIFEST_DIR"))
}

/// Runs `layout` on a file with this text and gives its path-free messages.
fn faults(text: &str, part: &str) -> Vec<String> {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "l.toml", text);
    let path = folder.path().join("l.toml").display().to_string();
    let run = run(&["layout", &path, "--part", part]);
    assert_eq!((run.code, run.out.as_str()), (2, ""), "{text}\n{}", run.err);
    assert!(!run.err.contains("panicked"), "{}", run.err);
    run.err.lines().map(|line| line.replace(&format!("{path}:"), "").replace(&path, "").trim().to_owned()).collect()
}

fn region(fields: &str) -> String {
    format!("name = \"l\"\n[[region]]\nname = \"r\"\n{fields}\n")
}

#[test]
fn the_map_names_every_region_with_its_place() {
    let run = run(&["layout", &example("field-gateway"), "--part", "24lc02b"]);
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    for part in ["0x0010  0x006f     96  settings", "place fixed", "That costs nothing.", "No placement ends earlier."]
    {
        assert!(run.out.contains(part), "{part}: {}", run.out);
    }
}

#[test]
fn json_tells_the_same_map() {
    let answer = run(&["layout", &example("press-counter"), "--part", "24lc128", "--json"]).json();
    assert_eq!((&answer["command"], &answer["part"]), (&Value::from("layout"), &Value::from("24lc128")));
    assert_eq!(
        (&answer["page_bytes"], &answer["unit_bytes"], &answer["cost_bytes"]),
        (&64.into(), &64.into(), &38.into())
    );
    let store = &answer["regions"][2];
    assert_eq!(
        (&store["name"], &store["offset"], &store["length"]),
        (&"store".into(), &0x40.into(), &(35 * 64).into())
    );
    assert_eq!(store["records"][0]["slots"], 32);
    assert_eq!(answer["regions"][1]["column"], "gains");
}

/// Both examples on every card: placed by the rules, or refused for want of room and nothing else.
#[test]
fn the_examples_lie_lawfully_in_every_card_that_has_room() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut placed_somewhere = 0;
    for name in EXAMPLES {
        let layout = layout::read(example(name).as_ref()).unwrap();
        for card in catalogue.cards() {
            let placed = match layout.place(card) {
                Ok(placed) => placed,
                Err(faults) => {
                    let text = faults.to_string();
                    let room =
                        ["need at least", "past the end", "records take", "read-only by its maker", "shares the"];
                    assert!(room.iter().any(|part| text.contains(part)), "{name} on {}: {text}", card.id);
                    continue;
                }
            };
            placed_somewhere += 1;
            let mut owner: Vec<Option<usize>> = vec![None; placed.capacity_bytes as usize];
            for (index, region) in placed.regions.iter().enumerate() {
                for byte in &mut owner[region.offset as usize..region.end() as usize] {
                    assert!(byte.replace(index).is_none(), "{name} on {}: two regions in one byte", card.id);
                }
            }
            for unit in owner.chunks(placed.unit_bytes as usize) {
                let often: Vec<bool> = unit.iter().flatten().map(|index| placed.regions[*index].often).collect();
                assert!(!often.contains(&true) || !often.contains(&false), "{name} on {}: a page is shared", card.id);
            }
            for second in card.regions.iter().filter(|r| r.device_bits.is_none() && r.access == Access::ReadOnly) {
                let stretch = second.word_address as usize..(second.word_address + second.length) as usize;
                let inside = owner.get(stretch).unwrap_or_default();
                assert!(inside.iter().all(Option::is_none), "{name} on {}: in a read-only place", card.id);
            }
            assert!(placed.bound <= placed.end && placed.end <= placed.capacity_bytes, "{name} on {}", card.id);
        }
    }
    assert!(placed_somewhere > 200, "{placed_somewhere}");
}

#[test]
fn the_error_correction_group_may_stand_for_the_page() {
    let text = "name = \"l\"\nseparate = \"group\"\n[[region]]\nname = \"a\"\nkind = \"u16\"\nendian = \"big\"\n\
                [[region]]\nname = \"b\"\nkind = \"u8\"\nwrites_per_day = 5\n";
    let catalogue = Catalogue::embedded().unwrap();
    let card = |id: &str| catalogue.find(id).unwrap();
    let at = |separate: &str, id: &str| {
        let layout = layout::parse("l", &text.replace("\"group\"", &format!("\"{separate}\""))).unwrap();
        layout.place(card(id)).unwrap()
    };
    // AT24CM02: groups of four bytes in pages of 256.
    assert_eq!(at("group", "at24cm02").find("b").unwrap().offset, 4);
    assert_eq!((at("page", "at24cm02").end, at("page", "at24cm02").cost_bytes), (257, 254));
    assert_eq!(at("nothing", "at24cm02").end, 3);
    // A FRAM has neither.
    assert_eq!(at("page", "fm24cl64b").end, 3);
}

#[test]
fn fixed_offsets_that_contradict_are_told_with_numbers() {
    let text = "name = \"l\"\n\
        [[region]]\nname = \"id\"\nkind = \"bytes\"\nlength = 8\noffset = 0\n\
        [[region]]\nname = \"log\"\nkind = \"bytes\"\nlength = 8\noffset = 4\n\
        [[region]]\nname = \"count\"\nkind = \"u32\"\nendian = \"big\"\nwrites_per_day = 9\noffset = 12\n\
        [[region]]\nname = \"far\"\nkind = \"u8\"\noffset = 0x1000\n\
        [[region]]\nname = \"odd\"\nkind = \"u8\"\noffset = 0x101\nalign = 4\n";
    let told = faults(text, "24lc32a");
    assert_eq!(told.len(), 5, "{told:#?}");
    for (line, part) in [
        (0, "overlaps `id` at 0x0000..0x0008 by 4 bytes"),
        (1, "shares the 32 bytes 0x0000..0x0020 with `id`: `count` is written 9 times a day, `id` 0"),
        (2, "shares the 32 bytes 0x0000..0x0020 with `log`"),
        (3, "lies at 0x1000..0x1001, past the end of 24lc32a (32 kbit = 4096 bytes"),
        (4, "0x0101 is not a multiple of 4"),
    ] {
        assert!(told[line].contains(part), "{part}: {told:#?}");
    }
    let part = "24aa02e48";
    let told = faults(&region("kind = \"u8\"\noffset = 0xFA"), part);
    assert!(told[0].contains("read-only by its maker"), "{told:?}");
}

#[test]
fn a_part_that_is_too_small_is_told_with_numbers() {
    let told = faults(&region("kind = \"bytes\"\nlength = 257"), "24lc02b");
    assert!(told[0].contains("need at least 257 bytes, 24lc02b has 2 kbit = 256 bytes"), "{told:?}");
    let many = "kind = \"records\"\n[[region.record]]\nname = \"x\"\nid = 1\nslots = 600\nkind = \"u8\"";
    let told = faults(&region(many), "24lc32a");
    assert!(told[0].contains("the records take 19200 bytes on 24lc32a"), "{told:?}");
}

/// Each kind of bad input: one message with line and field.
#[test]
fn bad_layouts_are_refused_with_line_and_field() {
    for (fields, part) in [
        ("kind = \"u33\"", "4: `region[0].kind`: `u33` is not known; use one of: bytes, text, u8"),
        ("", "`region[0].kind`: is missing"),
        ("kind = \"u16\"", "`region[0].endian`: is missing"),
        ("kind = \"u16\"\nendian = \"middle\"", "5: `region[0].endian`: `middle` is not known"),
        ("kind = \"u8\"\nvalue = 256", "5: `region[0].value`: 256 does not fit u8, which goes from 0 to 255"),
        ("kind = \"i8\"\nvalue = \"-129\"", "does not fit i8, which goes from -128 to 127"),
        ("kind = \"u8\"\nvalue = [1, 2]", "has 2 numbers, 1 are wanted"),
        ("kind = \"u8\"\nvalue = 1.5", "`region[0].value`: is a float, not a text in quotes, a whole number"),
        ("kind = \"u8\"\nvalue = 1\ncolumn = \"x\"", "stands beside `column`"),
        ("kind = \"u8\"\ncount = 0", "0 is out of range"),
        ("kind = \"bytes\"", "`region[0].length`: is missing"),
        ("kind = \"bytes\"\nlength = 2\nvalue = [1, 300]", "300 is not a byte"),
        ("kind = \"bytes\"\nlength = 2\nvalue = \"0102FF\"", "has 3 bytes, 2 are wanted"),
        ("kind = \"text\"\nlength = 2\nvalue = \"abc\"", "takes 3 bytes, 2 are there"),
        ("kind = \"text\"\nlength = 2\nvalue = 5", "is a number, not a text"),
        ("kind = \"text\"\nlength = 9\nencoding = \"ebcdic\"", "`ebcdic` is not known"),
        ("kind = \"text\"\nlength = 9\npadding = 256", "256 is out of range"),
        ("kind = \"serial\"", "`region[0].length`: is missing"),
        ("kind = \"serial\"\nlength = 8\nvalue = \"TI-1\"", "would be the same in every unit"),
        ("kind = \"eui-48\"\nvalue = \"00-00-5E-00-53-00\"", "would be the same in every unit"),
        ("kind = \"eui-48\"\nunique = false", "is unique by its nature"),
        ("kind = \"u8\"\nunique = true", "only what each unit has of its own can be unique"),
        ("kind = \"eui-64\"\nfrom = \"q\"", "there is no region `q`"),
        ("kind = \"eui-64\"\nfrom = \"r\"", "`r` is not an eui-48 region"),
        ("kind = \"crc\"\nalgorithm = \"CRC-32\"\nover = [\"r\"]", "`CRC-32` is not a CRC algorithm of the catalogue"),
        ("kind = \"crc\"\nalgorithm = \"CRC-8/SMBUS\"\nover = [\"q\"]", "there is no region `q`"),
        ("kind = \"crc\"\nalgorithm = \"CRC-8/SMBUS\"\nover = []", "names no region"),
        ("kind = \"crc\"\nalgorithm = \"CRC-8/SMBUS\"\nover = [\"r\"]", "covers itself by way of `r`"),
        ("kind = \"records\"", "`region[0].record`: is missing"),
        ("kind = \"records\"\nrecord = [{ name = \"x\", id = 1, slots = 2, kind = \"u8\" }]", "2 is out of range"),
        (
            "kind = \"records\"\nrecord = [{ name = \"x\", id = 1, payload_bytes = 1, kind = \"u16\", endian = \"big\" }]",
            "takes 2 bytes, the payload has 1",
        ),
        ("kind = \"records\"\nrecord = [{ name = \"x\", id = 256, kind = \"u8\" }]", "256 is out of range"),
        ("kind = \"u8\"\nalign = 3", "3 is not a power of two"),
        ("kind = \"u8\"\noffset = -1", "-1 is out of range"),
        ("kind = \"u8\"\nwrites_per_day = -1", "-1 is out of range"),
        ("kind = \"u8\"\nlenght = 3", "`region[0].lenght`: unknown field"),
    ] {
        let told = faults(&region(fields), "24lc32a");
        assert_eq!(told.len(), 1, "{fields}: {told:#?}");
        assert!(told[0].contains(part), "{fields}: {told:#?}");
    }
}

#[test]
fn names_must_be_names_and_stand_once() {
    for name in ["1st", "a b", "a.b", "../x", "ü", "a\\u0000", "x};evil()", "*/", "a\\n#include"] {
        let told = faults(&region("kind = \"u8\"").replace("\"r\"", &format!("\"{name}\"")), "24lc32a");
        assert!(told.len() == 1 && told[0].contains("is not a name"), "{name}: {told:?}");
    }
    let told = faults(&region("kind = \"u8\"").replace("\"r\"", &format!("\"{}\"", "a".repeat(41))), "24lc32a");
    assert!(told[0].contains("has 41 characters"), "{told:?}");
    let text = region("kind = \"u8\"\n[[region]]\nname = \"R\"\nkind = \"u8\"");
    assert!(faults(&text, "24lc32a")[0].contains("`R` is used twice (as `r`)"));
    let text = region("kind = \"u8\"").replace("\"r\"", "\"a_b\"") + "[[region]]\nname = \"a-B\"\nkind = \"u8\"\n";
    assert!(faults(&text, "24lc32a")[0].contains("is used twice"));
}

#[test]
fn crcs_may_cover_crcs_but_not_in_a_circle() {
    let crc = |name: &str, over: &str| {
        format!("[[region]]\nname = \"{name}\"\nkind = \"crc\"\nalgorithm = \"CRC-8/SMBUS\"\nover = [\"{over}\"]\n")
    };
    let good =
        format!("name = \"l\"\n{}{}[[region]]\nname = \"v\"\nkind = \"u8\"\nvalue = 1\n", crc("a", "b"), crc("b", "v"));
    assert!(layout::parse("l", &good).is_ok());
    let circle = format!("name = \"l\"\n{}{}{}", crc("a", "b"), crc("b", "c"), crc("c", "a"));
    let told = layout::parse("l", &circle).unwrap_err().to_string();
    assert_eq!(told.matches("covers itself").count(), 3, "{told}");
    let open = format!("name = \"l\"\n{}[[region]]\nname = \"v\"\nkind = \"u8\"\n", crc("a", "v"));
    assert!(layout::parse("l", &open).unwrap_err().to_string().contains("has no value to compute a CRC of"));
}

#[test]
fn what_cannot_be_read_is_refused() {
    refused(&["layout", "/nowhere/l.toml", "--part", "24lc32a"], "cannot be read");
    refused(&["layout", &example("field-gateway"), "--part", "24xx"], "no card is called");
    assert!(faults("name = \"l\"\n", "24lc32a")[0].contains("`region`: is missing"));
    assert!(faults("name = = 1", "24lc32a")[0].contains("not valid TOML"));
    let told = faults(
        "often_per_day = -1\nseparate = \"bank\"\nfill = 256\n[[region]]\nname = \"r\"\nkind = \"u8\"\n",
        "24lc32a",
    );
    assert_eq!(told.len(), 4, "{told:?}");
}
