//! Words that once misled a reader, and must not come back.

use crate::cli_support::{in_folder, run, write};

const TABLE: &str = "name,fitted,footprint,yearly_volume,supply_v,scl_khz,pull_up_ohm,capacitance_pf,a0,a1,a2,wp,device_address,\
    word_address_bytes,page_bytes,wait,wait_ms,regions\n\
    Weir,24LC256,SOIC-8,150,3.3,100,4700,50,gnd,gnd,gnd,gnd,0x50,2,64,poll,1,log 0x0+64 24/day\n";

/// The words of a run, wherever lines are broken.
fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_judgement_says_what_it_means() {
    let stock = "part,quantity,unit_price,state\n24LC256-I/SN,120,0.30,active\n24FC256,9,2.5,active\n";
    let columns = "currency = \"EUR\"\n";
    let (_folder, at) = in_folder(&[("boards.csv", TABLE), ("stock.csv", stock), ("columns.toml", columns)]);
    let stock = ["--stock", &at("stock.csv"), "--columns", &at("columns.toml"), "--full"];
    let swap = run(&[&["swap", &at("boards.csv")], &stock[..]].concat());
    // A footprint is read whatever its case, as people write it.
    assert_ne!(swap.code, 2, "{}", swap.err);
    let said = words(&swap.out);
    // `120 short` would be short by 120.
    assert!(said.contains("120 in stock, 150 needed") && !said.contains(" short"), "{}", swap.out);
    // A sum has its currency.
    assert!(said.contains("45.00 EUR") && !said.replace("45.00 EUR", "").contains("45.00"), "{}", swap.out);
    // Who polls is not told to poll.
    assert!(said.contains("the firmware polls for at most 1 ms, a write cycle can take 5 ms"), "{}", swap.out);
    assert!(said.contains("raise the limit of polling to 5 ms") && !said.contains("or poll"), "{}", swap.out);
}

#[test]
fn what_is_wrong_names_what_was_typed() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    write(folder.path(), "boards.csv", TABLE);
    let swap = run(&["swap", &at("boards.csv"), "--to", "24LC999"]);
    assert!(swap.code == 2 && swap.err.contains("`--to`: no card is called `24LC999`"), "{}", swap.err);
    assert!(!swap.err.contains("candidates"), "{}", swap.err);
}

/// Under a candidate that is a drop-in on a condition stands the condition, and what it is otherwise: not `rework?`.
#[test]
fn a_condition_is_called_one() {
    let boards = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/boards");
    let all = run(&["swap", boards, "--full"]).out;
    let said = words(&all);
    assert!(said.contains("condition write-cycle: ") && said.contains("(else reconfigure)"), "{all}");
    for doubt in ["drop-in?", "reconfigure?", "rework?", "reject?"] {
        assert!(!said.contains(doubt), "{doubt}: {all}");
    }
    // Times in a unit that reads well: from a millisecond on not in microseconds.
    let all: Vec<&str> = said.split(' ').collect();
    let micro: Vec<f64> =
        all.windows(2).filter(|pair| pair[1] == "us").filter_map(|pair| pair[0].parse().ok()).collect();
    assert!(!micro.is_empty() && micro.iter().all(|us| *us < 1000.0), "{micro:?}");
}
