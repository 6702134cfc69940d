//! A layout that names its parts: one placement, one image and one firmware for all of them.

use crate::cli_support::line::Line;
use crate::cli_support::{Run, run};
use pagewise_content::layout::{self, Placed, PlacedRegion};
use pagewise_part::card::{Card, Catalogue};
use serde_json::Value;
use std::fs;

/// Pages of 32, 64 and 128 bytes, and none.
const PARTS: [&str; 4] = ["24lc64", "24lc256", "24lc512", "fm24cl64b"];

const REGIONS: &str = r#"
[[region]]
name = "serial"
kind = "text"
length = 10
value = "TI-0042"
[[region]]
name = "hours"
kind = "u32"
endian = "little"
writes_per_day = 24
value = 7
[[region]]
name = "store"
kind = "records"
writes_per_day = 9
[[region.record]]
name = "starts"
id = 6
slots = 3
kind = "u64"
endian = "little"
value = 41
"#;

fn text(parts: &[&str]) -> String {
    format!("name = \"shared\"\nparts = {parts:?}\n{REGIONS}")
}

/// Keeping apart what is written often must hold on each part by its own page, and the place be the same on all.
#[test]
fn one_placement_keeps_to_the_pages_of_every_part() {
    let catalogue = Catalogue::embedded().unwrap();
    let layout = layout::parse("l.toml", &text(&PARTS)).unwrap();
    let cards = layout.cards(&catalogue).unwrap();
    let placed = layout.place_in_all(&cards).unwrap();
    assert_eq!((placed.page_bytes, placed.capacity_bytes), (128, 8192));
    let page = |card: &Card| if card.id.starts_with("fm") { 1 } else { card.page_bytes.value };
    for card in cards {
        assert_eq!(mixed(&placed, page(card)), [""; 0], "{}", card.id);
        assert!(placed.end <= card.reachable_bytes());
    }
    // The canary: placed for the smallest page, it does not keep to the largest.
    let small = layout.place(catalogue.find("24lc64").unwrap()).unwrap();
    assert!(mixed(&small, 32).is_empty() && !mixed(&small, 128).is_empty());
}

/// Regions written often that share a page of so many bytes with one that is not.
fn mixed(placed: &Placed, page: u32) -> Vec<&str> {
    let shares = |one: &PlacedRegion, other: &PlacedRegion| {
        one.offset / page <= (other.end() - 1) / page && other.offset / page <= (one.end() - 1) / page
    };
    let seldom = || placed.regions.iter().filter(|region| !region.often);
    let often = placed.regions.iter().filter(|region| region.often);
    often.filter(|one| seldom().any(|other| shares(one, other))).map(|one| one.region.name.as_str()).collect()
}

struct Shared(Line);

impl Shared {
    fn new(parts: &[&str]) -> Self {
        let line = Line::new(300);
        fs::write(line.path("l.toml"), text(parts)).unwrap();
        Self(line)
    }

    fn run(&self, arguments: &[&str]) -> Run {
        self.0.run(arguments)
    }
}

#[test]
fn layout_image_generate_and_program_share_the_parts() {
    let it = Shared::new(&PARTS);
    let map = it.run(&["layout", "l.toml", "--json"]).json();
    assert_eq!((&map["parts"], &map["page_bytes"]), (&PARTS.as_slice().into(), &128.into()));
    let place =
        |name: &str| map["regions"].as_array().unwrap().iter().find(|it| it["name"] == name).unwrap()["offset"].clone();
    // A part of the set says nothing new.
    assert_eq!(it.run(&["layout", "l.toml", "--part", "24LC256", "--json"]).json()["regions"], map["regions"]);

    let made = it.run(&["image", "l.toml", "--output", "images", "--json"]);
    assert_eq!(made.code, 0, "{}", made.err);
    assert_eq!(made.json()["images"][0]["also_for"], Value::from(&PARTS[1..]));
    for parts in [&["24lc256", "24lc64"][..], &["24lc512"]] {
        let source = it.run(&[&["generate"], parts, &["--layout", "l.toml"]].concat());
        assert_eq!(source.code, 0, "{}", source.err);
        for (name, constant) in [("hours", "HOURS_OFFSET: u32"), ("store", "STORE_OFFSET: u32")] {
            let line = format!("{constant} = {};", place(name));
            assert!(source.out.replace('_', "").contains(&line.replace('_', "")), "{line}\n{}", source.out);
        }
        assert!(source.out.contains("STORE_SLOT_PAGE_BYTES: u32 = 128;"), "{}", source.out);
    }

    fs::create_dir(it.0.path("chips")).unwrap();
    let program = ["program", "--simulate", "images", "--memory", "chips", "--json"];
    let which = it.run(&program);
    assert!(which.code == 2 && which.err.contains("made for any of `24lc64`, `24lc256`"), "{}", which.err);
    let done = it.run(&[&program[..], &["--part", "24lc512"]].concat());
    assert_eq!((done.code, &done.json()["part"]), (0, &"24lc512".into()), "{}", done.err);
    let other = it.run(&[&program[..], &["--part", "at24c64d"]].concat());
    assert!(other.code == 2 && other.err.contains("--part names `at24c64d`"), "{}", other.err);
}

#[test]
fn parts_that_a_layout_does_not_name_are_refused_and_so_are_bad_lists() {
    let it = Shared::new(&["24lc64", "24lc256"]);
    let calls: [&[&str]; 3] = [
        &["layout", "l.toml", "--part", "24lc512"],
        &["image", "l.toml", "--part", "24lc512", "--output", "images"],
        &["generate", "24lc64", "24lc512", "--layout", "l.toml"],
    ];
    for call in calls {
        let refused = it.run(call);
        assert!(refused.code == 2 && refused.err.contains("`24lc512` is not among"), "{call:?}: {}", refused.err);
        assert!(refused.out.is_empty() && !it.0.path("images").exists());
    }
    for (list, wanted) in [
        (r#"["24lc64", "24LC64"]"#, "l.toml:2: `parts[1]`: `24lc64` is named twice"),
        (r#"["24lc64", "tt-9000"]"#, "l.toml:2: `parts[1]`: "),
        ("[]", "the layout names no `parts`"),
    ] {
        fs::write(it.0.path("l.toml"), format!("name = \"shared\"\nparts = {list}\n{REGIONS}")).unwrap();
        let refused = it.run(&["layout", "l.toml"]);
        assert!(refused.code == 2 && refused.err.contains(wanted), "{list}: {}", refused.err);
    }
    let help = run(&["layout", "--help"]).out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(help.contains("not needed where the layout names its `parts`"), "{help}");
}
