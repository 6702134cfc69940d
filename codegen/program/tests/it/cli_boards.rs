//! Boards from a table: read with all their faults, judged, turned into board files and back.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use crate::cli_support::{Run, in_folder, run};
use serde_json::Value;

fn examples() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards").display().to_string()
}

fn swap(table: &str, more: &[&str]) -> Run {
    run(&[&["swap", table, "--json"], more].concat())
}

fn only(answer: &Value) -> &Value {
    &answer["boards"][0]["judgements"][0]
}

fn provided(judgement: &Value) -> Vec<&str> {
    judgement["provided_that"].as_array().unwrap().iter().map(|it| it.as_str().unwrap()).collect()
}

/// Every condition of a board of which only name and part are known, and none that cannot matter.
#[test]
fn name_and_part_are_enough_and_the_rest_is_a_condition_where_it_matters() {
    let (_folder, at) = in_folder(&[("boards.csv", "name,fitted\nRiver gauge,24LC64-I/SN\n")]);
    let same = swap(&at("boards.csv"), &["--to", "24LC64-I/SN"]).json();
    assert_eq!(only(&same)["verdict"], "drop-in");
    let answer = swap(&at("boards.csv"), &["--to", "AT24C64D", "--to", "24LC32A"]).json();
    for judgement in answer["boards"][0]["judgements"].as_array().unwrap() {
        let (id, provided) = (judgement["candidate"].as_str().unwrap(), provided(judgement));
        let says = |words: &str| provided.iter().any(|it| it.contains(words));
        match id {
            // 1.7 V and 1 MHz include 2.5 V and 400 kHz; nothing else on the bus is known to be absent or present, and
            // it answers no address that the fitted part leaves free.
            "at24c64d" => {
                assert!(!says("the supply lies") && !says("SCL runs") && !says("other device"), "{provided:?}")
            }
            // Half the memory: what the contents are was not stated, and the whole array stands in for them.
            "24lc32a" => assert_eq!(judgement["verdict"], "reject", "{provided:?}"),
            other => panic!("{other}"),
        }
    }
}

/// A candidate that needs more than the lowest supply of the fitted part is never plain drop-in for an unknown supply.
/// The ranges are published: 24FC64 from 1.7 V, 24LC64 from 2.5 V (Microchip DS20001189).
#[test]
fn a_supply_that_nobody_stated_is_a_condition_for_a_part_with_a_narrower_range() {
    let table = "name,fitted,supply_v,scl_khz\nA,24FC64,unknown,100\nB,24FC64,3.3,100\n";
    let (_folder, at) = in_folder(&[("boards.csv", table)]);
    let answer = swap(&at("boards.csv"), &["--to", "24LC64"]).json();
    let says = |name: &str| {
        let board = answer["boards"].as_array().unwrap().iter().find(|it| it["board"]["name"] == name).unwrap();
        provided(&board["judgements"][0]).contains(&"the supply lies from 2.5 V to 5.5 V")
    };
    assert_eq!((says("A"), says("B")), (true, false), "{answer:#}");
}

/// What a table says is judged exactly as the board files that say it.
#[test]
fn the_examples_as_a_table_are_judged_like_their_files() {
    let (_folder, at) = in_folder(&[]);
    for name in ["boards.csv", "boards.xlsx"] {
        let made = run(&["boards", &examples(), "-o", &at(name)]);
        assert_eq!(made.code, 0, "{}", made.err);
        let judged = |boards: &str| {
            let answer = swap(boards, &["--to", "24LC256", "--to", "AT24C32E"]).json();
            let verdicts = |board: &Value| {
                let all = board["judgements"].as_array().unwrap().iter();
                let all = all.map(|it| format!("{} {} {:?}", it["candidate"], it["verdict"], it["provided_that"]));
                (board["board"]["name"].clone(), all.collect::<Vec<_>>())
            };
            answer["boards"].as_array().unwrap().iter().map(verdicts).collect::<Vec<_>>()
        };
        assert_eq!(judged(&at(name)), judged(&examples()), "{name}");
    }
}

#[test]
fn a_table_becomes_files_and_the_files_the_same_table() {
    let table = "name,fitted,footprint,regions,supply_v,other_addresses,wp\n\
        Kestrel logger,24LC64,soic-8,\"serial 0x0000+64; log 0x0040+1024 24/day\",\"3,3\",0x48; 0x68,vcc\n\
        Kestrel logger B,24LC64,,,,,none\n";
    let (_folder, at) = in_folder(&[("boards.csv", table)]);
    let made = run(&["boards", &at("boards.csv"), "-o", &at("files"), "--json"]);
    assert_eq!(made.code, 0, "{}", made.err);
    assert_eq!(made.json()["files"], serde_json::json!(["board-kestrel-logger.toml", "board-kestrel-logger-b.toml"]));
    let text = fs::read_to_string(PathBuf::from(at("files")).join("board-kestrel-logger-b.toml")).unwrap();
    assert!(
        text.contains("unstated = [") && text.contains("\"bus.supply_v\"") && !text.contains("straps.wp"),
        "{text}"
    );
    let back = run(&["boards", &at("files"), "-o", &at("back.csv")]);
    assert_eq!(back.code, 0, "{}", back.err);
    let again = run(&["boards", &at("back.csv"), "-o", &at("again"), "--json"]);
    assert_eq!(again.code, 0, "{}", again.err);
    let read = |folder: &str, name: &str| {
        let text = fs::read_to_string(PathBuf::from(at(folder)).join(name)).unwrap();
        text.lines().filter(|line| !line.starts_with('#')).collect::<Vec<_>>().join("\n")
    };
    for name in ["board-kestrel-logger.toml", "board-kestrel-logger-b.toml"] {
        assert_eq!(read("files", name), read("again", name), "{name}");
    }
    let full = run(&["boards", &at("boards.csv"), "-o", &at("files")]);
    assert!(full.code == 2 && full.err.contains("is not empty"), "{}", full.err);
}

/// The open document format is written here as its standard has it (ISO/IEC 26300-1, 9.1): a zip with `content.xml`.
#[test]
fn a_spreadsheet_of_the_open_document_format_is_read() {
    let (_folder, at) = in_folder(&[]);
    let cell = |text: &str| {
        format!("<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>")
    };
    let row = |cells: &[&str]| {
        let cells: String = cells.iter().map(|text| cell(text)).collect();
        format!("<table:table-row>{cells}</table:table-row>")
    };
    let rows = row(&["name", "fitted", "supply_v"]) + &row(&["Heron valve", "24LC256", "5"]);
    let space = "urn:oasis:names:tc:opendocument:xmlns";
    let content = format!(
        "<?xml version=\"1.0\"?><office:document-content xmlns:office=\"{space}:office:1.0\" \
         xmlns:table=\"{space}:table:1.0\" xmlns:text=\"{space}:text:1.0\" office:version=\"1.2\"><office:body>\
         <office:spreadsheet><table:table table:name=\"boards\">{rows}</table:table></office:spreadsheet></office:body>\
         </office:document-content>"
    );
    let kind = "application/vnd.oasis.opendocument.spreadsheet";
    let manifest = format!(
        "<?xml version=\"1.0\"?><manifest:manifest xmlns:manifest=\"{space}:manifest:1.0\"><manifest:file-entry \
         manifest:full-path=\"/\" manifest:media-type=\"{kind}\"/></manifest:manifest>"
    );
    let mut zip = zip::ZipWriter::new(fs::File::create(at("boards.ods")).unwrap());
    let options = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, text) in [("mimetype", kind), ("META-INF/manifest.xml", &manifest), ("content.xml", &content)] {
        zip.start_file(name, options).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap();
    let answer = swap(&at("boards.ods"), &["--to", "24LC256"]).json();
    assert_eq!(answer["boards"][0]["board"]["name"], "Heron valve");
    assert_eq!(answer["boards"][0]["board"]["bus"]["supply_mv"], 5000);
}

#[test]
fn a_board_whose_part_has_no_card_is_reported_and_the_others_are_judged() {
    let table = "name,fitted\nA,24LC64\nB,24LC99999\nC,24LC64\n";
    let (_folder, at) = in_folder(&[("boards.csv", table)]);
    let run = swap(&at("boards.csv"), &["--to", "24LC64"]);
    assert_eq!(run.code, 1, "one board has no answer: {}", run.err);
    let answer = run.json();
    assert_eq!(answer["boards"].as_array().unwrap().len(), 2);
    let left = answer["without_card"][0].as_str().unwrap();
    assert!(left.contains("boards.csv:3: `fitted`: no card is called `24LC99999`"), "{left}");
    let (_folder, at) = in_folder(&[("boards.csv", "name,fitted\nB,24LC99999\n")]);
    let alone = swap(&at("boards.csv"), &[]);
    assert!(alone.code == 2 && alone.err.contains("no card is called"), "{}", alone.err);
}

#[test]
fn boards_of_a_family_share_its_fields_and_state_what_is_their_own() {
    let family = "footprint = \"tssop-8\"\n[firmware]\npage_bytes = 16\nwait = \"fixed\"\nwait_ms = 5\n\
        device_address = 0x51\nword_address_bytes = 2\n[straps]\na0 = \"vcc\"\n";
    let table = "name,fitted,family,page_bytes\nA,24LC64,heron.toml,\nB,24LC64,heron.toml,8\n";
    let (_folder, at) = in_folder(&[("boards.csv", table), ("heron.toml", family)]);
    let answer = swap(&at("boards.csv"), &["--to", "24LC64"]).json();
    let firmware = |board: usize| answer["boards"][board]["board"]["firmware"].clone();
    assert_eq!((&firmware(0)["page_bytes"], &firmware(1)["page_bytes"]), (&16.into(), &8.into()));
    assert_eq!(firmware(1)["device_address"], 0x51);
}

#[test]
fn everything_that_is_wrong_with_a_table_is_told_with_line_and_column() {
    let table = "name,fitted,supply_v,Package,regions,a0,family,suply_v\n\
        A,24LC64,fast,soic-8,log,gnd,,\n\
        A,24LC64,99,soic-9,x 0x0+16,up,missing.toml,\n\
        ,24LC64,3.3,soic-8,,gnd,,\n\
        C,24LC64,3.3\n";
    let names = "[boards]\nfootprint = \"Package\"\n";
    let (_folder, at) = in_folder(&[("boards.csv", table), ("columns.toml", names)]);
    let run = run(&["swap", &at("boards.csv"), "--columns", &at("columns.toml")]);
    assert_eq!((run.code, run.out.as_str()), (2, ""), "{}", run.err);
    for part in [
        "boards.csv:1: `suply_v`: boards have no field of this name; did you mean `supply_v`?",
        "boards.csv:2: `regions`: `log` is not a region",
        "boards.csv:3: `name`: `A` is on line 2 already",
        "boards.csv:3: `family`: `missing.toml` cannot be read",
        "boards.csv:4: `name`: is empty",
        "boards.csv:5: has 3 cells, the first row 8",
    ] {
        assert!(run.err.contains(part), "{part}:\n{}", run.err);
    }
    // What is wrong with the values of a row that has its cells.
    let table = "name,fitted,supply_v,Package,a0,regions\nA,24LC64,fast,soic-9,up,x 0x0+16; x 0x8+16\n";
    let (_folder, at) = in_folder(&[("boards.csv", table), ("columns.toml", names)]);
    let run = crate::cli_support::run(&["swap", &at("boards.csv"), "--columns", &at("columns.toml")]);
    for part in
        ["boards.csv:2: `supply_v`: ", "boards.csv:2: `Package`: ", "boards.csv:2: `a0`: ", "boards.csv:2: `regions`: "]
    {
        assert!(run.err.contains(part), "{part}:\n{}", run.err);
    }
    let wrong = "[boards]\nsupply = \"Vcc\"\n";
    let (_folder, at) = in_folder(&[("boards.csv", "name,fitted\nA,24LC64\n"), ("columns.toml", wrong)]);
    let run = crate::cli_support::run(&["boards", &at("boards.csv"), "-o", &at("x"), "--columns", &at("columns.toml")]);
    assert!(run.code == 2 && run.err.contains("columns.toml:1: `boards`: `supply` is not a field"), "{}", run.err);
    assert!(!Path::new(&at("x")).exists());
}

/// A name is data: in a spreadsheet program too.
#[test]
fn a_name_that_looks_like_a_formula_stays_a_text() {
    let table = "name;fitted\n=HYPERLINK(\"x\");24LC64\n";
    let (_folder, at) = in_folder(&[("boards.csv", table)]);
    for (out, quoted) in [("out.csv", true), ("out.xlsx", false)] {
        assert_eq!(run(&["boards", &at("boards.csv"), "-o", &at(out)]).code, 0);
        if quoted {
            assert!(fs::read_to_string(at(out)).unwrap().contains("'=HYPERLINK"), "{out}");
        }
        let answer = swap(&at(out), &["--to", "24LC64"]).json();
        assert_eq!(answer["boards"][0]["board"]["name"], "=HYPERLINK(\"x\")", "{out}");
    }
}
