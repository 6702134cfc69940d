//! Decisions: written to be reviewed, judged again, and what `program` lets pass by them.

use std::fs;

use crate::cli_support::line::Line;
use crate::cli_support::{Run, card, run, write};
use serde_json::Value;
use tempfile::TempDir;

const BOARDS: &str = "name,fitted,footprint,yearly_volume,supply_v,scl_khz,pull_up_ohm,capacitance_pf,other_addresses,a0,a1,a2,wp,\
    device_address,word_address_bytes,page_bytes,wait,wait_ms,regions,years_of_life\n\
    Weir A,24LC256,soic-8,100,3.3,100,4700,50,0x68,gnd,gnd,gnd,gnd,0x50,2,64,poll,20,log 0x0+64,5\n\
    Weir B,24LC256,soic-8,50,3.3,100,4700,50,0x68,gnd,gnd,gnd,gnd,0x50,2,64,poll,20,log 0x0+64,5\n";

/// A folder with two boards and a card of one's own, which states little: most of its values are conditions.
struct Desk {
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        let desk = Self { folder: tempfile::tempdir().unwrap() };
        write(desk.folder.path(), "boards.csv", BOARDS);
        fs::create_dir(desk.folder.path().join("cards")).unwrap();
        desk.card(32768);
        desk
    }

    fn at(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    fn card(&self, bits: u32) {
        let text = card("\"OWN\"").replace("32768", &bits.to_string()).replace("page_bytes = 32", "page_bytes = 16");
        write(self.folder.path(), "cards/own.toml", &text);
    }

    fn decide(&self, more: &[&str]) -> Run {
        run(&[&["decide", "--cards", &self.at("cards")], more].concat())
    }

    fn write(&self, more: &[&str]) -> Run {
        let to = ["--to", "own", "--to", "24LC64", "--accept", "rework"];
        self.decide(&[&[&self.at("boards.csv"), "-o", &self.at("decisions")][..], &to, more].concat())
    }

    fn check(&self, more: &[&str]) -> Run {
        self.decide(&[&["--check", &self.at("decisions")], more].concat())
    }

    fn text(&self) -> String {
        fs::read_to_string(self.at("decisions/weir-a.toml")).unwrap()
    }

    /// Settles every condition of the first board.
    fn settle(&self) {
        let settled =
            "settled = { by = \"sheet\", what = \"sheet A, page 5\", who = \"R. Ortega\", on = \"2026-01-31\" }\n";
        let mut text = String::new();
        for line in self.text().lines() {
            text += &format!("{line}\n");
            if line.starts_with("says = ") {
                text += settled;
            }
        }
        fs::write(self.at("decisions/weir-a.toml"), text).unwrap();
    }
}

fn decisions(run: &Run) -> Vec<Value> {
    run.json()["decisions"].as_array().unwrap_or_else(|| panic!("{}", run.err)).clone()
}

fn count(value: &Value, key: &str) -> usize {
    value[key].as_array().unwrap().len()
}

#[test]
fn a_decision_keeps_what_people_settled_and_stands_while_nothing_changes() {
    let desk = Desk::new();
    let made = desk.write(&["--json"]);
    assert_eq!(made.code, 0, "{}{}", made.out, made.err);
    let all = decisions(&made);
    assert_eq!(all.len(), 2);
    assert!(all[0]["file"].as_str().unwrap().ends_with("decisions/weir-a.toml"), "{:#}", all[0]);
    assert!(all[0]["accepted"].as_array().unwrap().contains(&"OWN".into()), "{:#}", all[0]);
    let open = count(&all[0], "open");
    assert!(open > 0, "a card that states little leaves conditions open: {:#}", all[0]);
    assert!(desk.text().contains("board_file = \"../boards.csv\""), "{}", desk.text());

    let stands = desk.check(&["--json"]);
    assert_eq!(stands.code, 0, "{}{}", stands.out, stands.err);
    let open_is_against = desk.check(&["--settled"]);
    assert_eq!(open_is_against.code, 1, "{}", open_is_against.out);

    desk.settle();
    let settled = decisions(&desk.check(&["--json"]));
    assert_eq!((count(&settled[0], "open"), count(&settled[1], "open")), (0, open), "{settled:#?}");
    let again = desk.write(&["--json"]);
    assert_eq!(again.code, 0, "{}{}", again.out, again.err);
    assert_eq!(count(&decisions(&again)[0], "open"), 0, "what was settled is kept");
    assert!(desk.text().contains("R. Ortega"), "{}", desk.text());
}

#[test]
fn another_card_is_told_with_what_changed() {
    let desk = Desk::new();
    desk.write(&[]);
    // 32 bytes, where the board keeps 64.
    desk.card(256);
    let changed = desk.check(&["--json"]);
    assert_eq!(changed.code, 1, "{}{}", changed.out, changed.err);
    let one = &decisions(&changed)[0];
    let own = one["changed"].as_array().unwrap();
    assert_eq!(own.len(), 1, "{one:#}");
    assert_eq!(own[0]["candidate"], "OWN");
    assert_eq!((&own[0]["was"], &own[0]["is"]), (&"drop-in".into(), &"reject".into()), "{one:#}");
    assert!(own[0]["added"].to_string().contains("capacity: "), "{one:#}");
    assert!(one["notes"].to_string().contains("the card own is another one"), "{one:#}");
    let text = desk.check(&[]).out;
    assert!(text.contains("changed") && text.contains("OWN: reject, was drop-in; new: "), "{text}");
    // Without its card a part was not judged.
    let gone = run(&["decide", "--check", &desk.at("decisions"), "--json"]);
    assert_eq!(gone.code, 1, "{}{}", gone.out, gone.err);
    assert_eq!(decisions(&gone)[0]["changed"][0]["is"], Value::Null);
}

#[test]
fn a_board_without_a_part_gets_no_decision_and_images_are_held_to_their_digests() {
    let desk = Desk::new();
    let none = desk.decide(&[&desk.at("boards.csv"), "-o", &desk.at("none"), "--to", "at24c01d", "--json"]);
    let reasons: Vec<Value> = decisions(&none);
    if none.code == 1 {
        assert!(reasons.iter().all(|one| one["file"].is_null() || count(one, "accepted") > 0), "{reasons:#?}");
    }
    write(
        desk.folder.path(),
        "one.csv",
        &BOARDS.lines().take(2).map(|line| line.to_owned() + "\n").collect::<String>(),
    );
    write(desk.folder.path(), "weir.bin", "firmware");
    let images = ["--to", "24LC64", "--firmware", &desk.at("weir.bin")];
    let two = desk.decide(&[&[&desk.at("boards.csv"), "-o", &desk.at("decisions")][..], &images].concat());
    assert!(two.code == 2 && two.err.contains("belong to one board"), "{}", two.err);
    let one = desk.decide(&[&[&desk.at("one.csv"), "-o", &desk.at("decisions")][..], &images].concat());
    assert_eq!(one.code, 0, "{}{}", one.out, one.err);
    assert_eq!(desk.check(&[]).code, 0);
    write(desk.folder.path(), "weir.bin", "other firmware");
    let other = desk.check(&["--json"]);
    assert_eq!(other.code, 1, "{}", other.out);
    assert!(decisions(&other)[0]["images"][0].as_str().unwrap().contains("weir.bin is not the file"), "{}", other.out);
}

#[test]
fn every_fault_of_a_decision_is_told_at_once() {
    let desk = Desk::new();
    desk.write(&[]);
    let text = desk
        .text()
        .replace("board_sha256 = \"", "board_sha256 = \"x")
        .replace("verdict = \"drop-in\"", "verdict = \"fine\"");
    fs::write(desk.at("decisions/weir-a.toml"), text.replacen("says = ", "settled = { by = \"sheet\" }\nsays = ", 1))
        .unwrap();
    let refused = desk.check(&[]);
    assert_eq!((refused.code, refused.out.as_str()), (2, ""), "{}", refused.err);
    for part in [
        "`board_sha256`: is not a digest",
        "`fine` is not known",
        ".settled.who`: is missing",
        ".settled.on`: is missing",
    ] {
        assert!(refused.err.contains(part), "{part}: {}", refused.err);
    }
    assert!(refused.err.lines().all(|line| line.contains("weir-a.toml:")), "{}", refused.err);
    // Writing does not replace what cannot be read.
    assert_eq!(desk.write(&[]).code, 2);
    fs::write(desk.at("decisions/weir-a.toml"), fs::read_to_string(desk.at("decisions/weir-b.toml")).unwrap()).unwrap();
    let other = desk.write(&[]);
    assert!(
        other.code == 2 && other.err.contains("is the decision about `Weir B`, not about `Weir A`"),
        "{}",
        other.err
    );
}

/// The line takes a part that is in the decision and rests on nothing open, with the contents that were decided on.
#[test]
fn a_line_refuses_what_the_decision_does_not_accept() {
    let line = Line::new(300);
    fs::write(line.path("boards.csv"), BOARDS.lines().take(2).map(|line| line.to_owned() + "\n").collect::<String>())
        .unwrap();
    let decide = |more: &[&str]| {
        let made = line.run(&[&["decide", "boards.csv", "-o", "decisions", "--accept", "rework"], more].concat());
        assert_eq!(made.code, 0, "{}{}", made.out, made.err);
    };
    let program = |more: &[&str]| {
        line.run(&[&["program", "--simulate", "TI-1.bin", "--decision", "decisions/weir-a.toml"], more].concat())
    };
    decide(&["--to", "24LC64", "--contents", "TI-1.bin"]);
    let text = fs::read_to_string(line.path("decisions/weir-a.toml")).unwrap();
    assert!(!text.contains("says = "), "this part rests on nothing that is open: {text}");
    let other = program(&["--part", "24lc32a"]);
    assert!(other.code == 2 && other.err.contains("weir-a.toml: does not accept 24LC32A"), "{}", other.err);
    assert!(!line.path("line.jsonl").exists(), "nothing was begun");
    let good = program(&["--part", "24lc64"]);
    assert_eq!(good.code, 0, "{}{}", good.out, good.err);
    fs::write(line.path("TI-1.bin"), [1, 2, 3]).unwrap();
    let image = program(&["--part", "24lc64", "--again"]);
    assert!(image.code == 2 && image.err.contains("not among the contents"), "{}", image.err);

    // The same decision with a condition that nobody settled, and with a card that is another one.
    let condition = "\n[[part.condition]]\nsays = \"the package was compared\"\n";
    fs::write(line.path("decisions/weir-a.toml"), text.clone() + condition).unwrap();
    let open = program(&["--part", "24lc64"]);
    assert_eq!(open.code, 2, "{}", open.out);
    let place = text.lines().count() + 2;
    assert!(
        open.err.contains(&format!("weir-a.toml:{place}: `part[0].condition`: a condition of 24LC64 is open")),
        "{}",
        open.err
    );
    let at = text.find("card_sha256 = \"").unwrap() + "card_sha256 = \"".len();
    let digit = if text[at..].starts_with('0') { "1" } else { "0" };
    let mut judged_then = text.clone();
    judged_then.replace_range(at..=at, digit);
    fs::write(line.path("decisions/weir-a.toml"), judged_then).unwrap();
    let card = program(&["--part", "24lc64"]);
    assert!(card.code == 2 && card.err.contains("the card 24lc64 is another one than was judged"), "{}", card.err);
}

/// A decision about one order code is not one about every package of the part.
#[test]
fn the_reel_has_to_be_named_where_the_decision_names_an_order_code() {
    let line = Line::new(300);
    fs::write(line.path("boards.csv"), BOARDS.lines().take(2).map(|line| line.to_owned() + "\n").collect::<String>())
        .unwrap();
    let made = line.run(&["decide", "boards.csv", "-o", "decisions", "--accept", "rework", "--to", "24LC64-I/SN"]);
    assert_eq!(made.code, 0, "{}{}", made.out, made.err);
    let text = fs::read_to_string(line.path("decisions/weir-a.toml")).unwrap();
    let settled = text.lines().map(|line| {
        let more = "\nsettled = { by = \"signature\", what = \"seen\", who = \"R. Ortega\", on = \"2026-01-31\" }";
        if line.starts_with("says = ") { format!("{line}{more}\n") } else { format!("{line}\n") }
    });
    fs::write(line.path("decisions/weir-a.toml"), settled.collect::<String>()).unwrap();
    let program = |more: &[&str]| {
        line.run(&[&["program", "--simulate", "TI-1.bin", "--decision", "decisions/weir-a.toml"], more].concat())
    };
    let base = program(&["--part", "24lc64"]);
    assert!(base.code == 2 && base.err.contains("does not accept 24LC64; it accepts 24LC64-I/SN"), "{}", base.err);
    for named in [&["--part", "24lc64", "--order-code", "24LC64-I/SN"][..], &["--part", "24LC64-I/SN"]] {
        let good = program(&[named, &["--again"]].concat());
        assert_eq!(good.code, 0, "{named:?}: {}{}", good.out, good.err);
    }
    let other = program(&["--part", "24lc64", "--order-code", "24LC64-I/P"]);
    assert!(other.code == 2 && other.err.contains("does not accept 24LC64-I/P"), "{}", other.err);
}
