//! Orders: what is bought for a fleet, what changed since an earlier run, and whom a discontinued part hits.

use std::fs;
use std::path::Path;

use crate::cli_support::{in_folder, run, write};

const TABLE: &str = "name,fitted,footprint,yearly_volume,supply_v,scl_khz,pull_up_ohm,capacitance_pf,other_addresses,a0,a1,a2,wp,\
    device_address,word_address_bytes,page_bytes,wait,wait_ms,regions,years_of_life\n\
    Weir A,24LC256,soic-8,100,3.3,100,4700,50,0x68,gnd,gnd,gnd,gnd,0x50,2,64,poll,20,log 0x0+64,5\n\
    Weir B,24LC256,soic-8,50,3.3,100,4700,50,0x68,gnd,gnd,gnd,gnd,0x50,2,64,poll,20,log 0x0+64,5\n\
    Weir C,24LC256,soic-8,10,3.3,100,4700,50,0x68,gnd,gnd,gnd,gnd,0x50,2,64,poll,20,log 0x0+32768,5\n";

/// Two boards take the larger part and need 150 pieces where 120 are there; the third uses more than the smaller part has.
#[test]
fn an_order_adds_up_per_part_and_says_what_stock_is_short_of() {
    let stock = "part,own_number,quantity,unit_price,state\n24LC256-I/SN,EE-31,120,0.30,active\n24LC128-I/SN,EE-32,9000,0.20,active\n";
    let columns = "currency = \"EUR\"\n";
    let (_folder, at) = in_folder(&[("boards.csv", TABLE), ("stock.csv", stock), ("columns.toml", columns)]);
    let lines = at("results.jsonl");
    let arguments =
        ["--stock", &at("stock.csv"), "--columns", &at("columns.toml"), "--accept-conditions", "--lines", &lines];
    let swap = run(&[&["swap", &at("boards.csv")], &arguments[..]].concat());
    assert_ne!(swap.code, 2, "{}", swap.err);
    let order = run(&["order", &lines, "--json", "--boards", &at("order.xlsx"), "--parts", &at("buy.csv")]);
    assert_ne!(order.code, 2, "{}", order.err);
    let answer = order.json();
    let parts = answer["order"]["parts"].as_array().unwrap();
    let of = |code: &str| parts.iter().find(|part| part["order_code"] == code);
    let taken: u64 = parts.iter().map(|part| part["boards"].as_u64().unwrap()).sum();
    let open: u64 =
        answer["order"]["causes"].as_array().unwrap().iter().map(|cause| cause["boards"].as_u64().unwrap()).sum();
    assert_eq!(taken + open, 3, "{answer:#}");
    if let Some(part) = of("24LC256-I/SN") {
        let (needed, short) = (part["needed"].as_u64().unwrap(), part["short"].as_u64().unwrap());
        assert_eq!(short, needed.saturating_sub(120), "{part}");
        assert_eq!(part["number"], "EE-31");
    }
    let boards = answer["order"]["boards"].as_array().unwrap();
    // The smaller part cannot hold the whole array that board C uses.
    assert_ne!(boards[2]["take"]["order_code"], "24LC128-I/SN");
    let buy = fs::read_to_string(at("buy.csv")).unwrap();
    assert!(buy.starts_with("order code,own number,boards,needed a year,"), "{buy}");
    assert_eq!(buy.lines().count(), 1 + parts.len());
    assert!(Path::new(&at("order.xlsx")).exists());
    let text = run(&["order", &lines]).out;
    assert!(text.contains(" needed") && text.contains("EUR"), "{text}");
}

/// Six boards, five of which nothing in stock serves: why, each cause with its boards, on the screen, in JSON and in the spreadsheet.
#[test]
fn boards_without_a_part_are_counted_by_cause() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let board = |name: &str, footprint: &str, length: u32| {
        format!(
            "{name},24LC256,{footprint},10,3.3,400,2200,100,0x68,gnd,gnd,gnd,gnd,0x50,2,32,poll,20,log 0x0+{length},5\n"
        )
    };
    // Three use all of 32 kbytes, of which the part in stock has 8; on two is a footprint that neither part is made for.
    let rows = [("A", "soic-8", 32768), ("B", "soic-8", 32768), ("C", "soic-8", 32768), ("F", "soic-8", 64)];
    let rows = rows.into_iter().chain([("D", "sot-23-5", 64), ("E", "sot-23-5", 64)]);
    let rows: String = rows.map(|(name, footprint, length)| board(name, footprint, length)).collect();
    write(folder.path(), "boards.csv", &format!("{}\n{rows}", TABLE.lines().next().unwrap()));
    write(folder.path(), "stock.csv", "part,quantity,unit_price,state\n24LC64-I/SN,9000,0.20,active\n");
    let lines = at("results.jsonl");
    let swap = run(&["swap", &at("boards.csv"), "--stock", &at("stock.csv"), "--accept-conditions", "--lines", &lines]);
    assert_ne!(swap.code, 2, "{}", swap.err);
    let order = run(&["order", &lines, "--json", "--parts", &at("buy.csv")]);
    assert_eq!(order.code, 1, "{}", order.err);
    let answer = order.json();
    let causes: Vec<(&str, u64)> = answer["order"]["causes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|cause| (cause["cause"].as_str().unwrap(), cause["boards"].as_u64().unwrap()))
        .collect();
    assert_eq!(causes, [("capacity", 3), ("footprint, with the fitted part, too", 2)], "{answer:#}");
    let taken = answer["order"]["parts"].as_array().unwrap();
    assert_eq!((taken.len(), &taken[0]["order_code"], &taken[0]["boards"]), (1, &"24LC64-I/SN".into(), &1.into()));
    let buy = fs::read_to_string(at("buy.csv")).unwrap();
    let rows: Vec<&str> = buy.lines().skip(2).collect();
    let empty = |count: &str, cause: &str| format!(",,{count},,,,,,,,{cause}");
    assert_eq!(
        rows,
        [
            empty("3", "nothing to order: capacity"),
            empty("2", "\"nothing to order: footprint, with the fitted part, too\"")
        ]
    );
    let said = run(&["order", &lines]).out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("5 boards: nothing to order; 3 for capacity"), "{said}");
    assert!(said.contains("2 for footprint, with the fitted part, too"), "{said}");
}

#[test]
fn what_changed_since_an_earlier_run_is_said_with_its_reason() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let results = |table: &str, name: &str| {
        write(folder.path(), "boards.csv", table);
        let lines = at(name);
        let swap = run(&["swap", &at("boards.csv"), "--to", "24LC128", "--to", "24LC256", "--lines", &lines]);
        assert_ne!(swap.code, 2, "{}", swap.err);
        lines
    };
    let then = results(TABLE, "then.jsonl");
    let now = results(&TABLE.replacen("log 0x0+64", "log 0x0+32000", 1), "now.jsonl");
    let same = run(&["order", &then, "--since", &then, "--json"]).json();
    assert_eq!(same["changed"], serde_json::json!([]));
    let answer = run(&["order", &now, "--since", &then, "--json"]).json();
    let changed = answer["changed"].as_array().unwrap();
    assert_eq!(changed.len(), 1, "{changed:#?}");
    assert_eq!(
        (&changed[0]["board"], &changed[0]["candidate"], &changed[0]["is"]),
        (&"Weir A".into(), &"24lc128".into(), &"reject".into())
    );
    assert!(changed[0]["added"][0].as_str().unwrap().starts_with("capacity: "), "{changed:#?}");
    let none = run(&["order", &at("boards.csv")]);
    assert_eq!(none.code, 2, "a table is not a file of results");
}

#[test]
fn a_discontinued_part_is_answered_with_its_boards_alternates_and_pieces() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let other = "Weir D,24LC64,soic-8,7,3.3,100,4700,50,0x68,gnd,gnd,gnd,gnd,0x50,2,32,poll,20,log 0x0+64,5\n";
    write(folder.path(), "boards.csv", &format!("{TABLE}{other}"));
    write(
        folder.path(),
        "stock.csv",
        "part,quantity,unit_price,state\n24LC256,40,0.3,obsolete\n24FC256-I/SN,900,0.4,active\n24LC64,5,0.1,active\n",
    );
    let arguments = ["exposed", "24LC256", &at("boards.csv"), "--stock", &at("stock.csv"), "--years", "3"];
    let run_json = run(&[&arguments[..], &["--json"]].concat());
    assert_ne!(run_json.code, 2, "{}", run_json.err);
    let answer = run_json.json();
    assert_eq!(
        (&answer["needed"], &answer["in_stock"], &answer["without_volume"]),
        (&480.into(), &40.into(), &0.into())
    );
    let boards = answer["boards"].as_array().unwrap();
    assert_eq!(boards.len(), 3, "the board with the 24LC64 is not hit: {answer:#}");
    for board in boards {
        let parts = |key: &str| board[key].as_array().unwrap().iter().map(|it| it["part"].clone()).collect::<Vec<_>>();
        let all = [parts("alternates"), parts("with_conditions")].concat();
        assert!(!all.contains(&"24lc256".into()), "a part is not its own alternate: {board}");
        assert!(all.contains(&"24fc256-i-sn".into()), "{board}");
    }
    let said = run(&[&arguments[..], &["--last-order", "2027-03-31"]].concat()).out;
    // Lines may be broken anywhere between words and behind hyphens.
    let words: String = said.split_whitespace().collect();
    assert!(words.contains("480piecesneeded,40instock,tobeplacedby2027-03-31."), "{said}");
    crate::cli_support::refused(&["exposed", "24XX999", &at("boards.csv")], "no card is called");
}
