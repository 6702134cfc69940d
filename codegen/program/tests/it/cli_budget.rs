//! `pagewise budget` as a user runs it.

use std::fs;
use std::path::PathBuf;
use std::sync::Arc;

use crate::cli_support::{refused, run, write};
use pagewise_judge::board::{self, Board};
use pagewise_judge::budget::{self, Budget, compare};
use pagewise_judge::swap;
use pagewise_part::card::Catalogue;

fn examples() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards")
}

fn example(name: &str) -> String {
    examples().join(name).to_str().unwrap().to_owned()
}

fn boards() -> Vec<Board> {
    let files = fs::read_dir(examples()).unwrap().map(|entry| entry.unwrap().path());
    files
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .map(|path| board::read(&path).unwrap())
        .collect()
}

/// A copy of an example board with some lines replaced.
fn changed(name: &str, changes: &[(&str, &str)]) -> (tempfile::TempDir, String) {
    let mut text = fs::read_to_string(examples().join(name)).unwrap();
    for (old, new) in changes {
        assert!(text.contains(old), "{old}");
        text = text.replacen(old, new, 1);
    }
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "board.toml", &text);
    let path = folder.path().join("board.toml").to_str().unwrap().to_owned();
    (folder, path)
}

#[test]
fn the_answer_shows_window_timing_times_and_wear_with_units() {
    let run = run(&["budget", &example("valve-driver.toml"), "--units", "500"]);
    assert_eq!((run.code, run.err.as_str()), (0, ""), "{}", run.out);
    for part in [
        "256 kbit = 32768 bytes",
        "967 ohm (sink current) to 3934 ohm (rise time)",
        "2200 ohm: inside",
        "168 ns with 90 pF, Fast-mode allows 300 ns",
        "fixed waits of 5 ms 3.33 s",
        "500 units programmed and read back",
        "1000000 cycles, stated for 25 C",
        "0x0100 reaches the rating after 2738 years",
    ] {
        let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(part), "{part}: {}", run.out);
    }
    // The first line names the board's file, whose path is as long as it is.
    assert!(run.out.lines().skip(1).all(|line| line.chars().count() <= 100), "{}", run.out);
}

#[test]
fn every_example_board_with_every_part_has_a_budget() {
    let catalogue = Catalogue::embedded().unwrap();
    for board in boards() {
        let fitted = catalogue.find(&board.fitted).unwrap();
        let old = budget::compute(&board, fitted);
        assert!(old.holds(), "{}: the boards of the demo are sound", board.name);
        for card in catalogue.cards() {
            let new = budget::swapped(&board, fitted, card);
            let numbers = [new.pull_up.most_ohm, new.timing.least_period_ns, new.times.read.seconds()];
            assert!(numbers.iter().all(|number| number.is_finite() && *number > 0.0), "{}: {numbers:?}", card.id);
            assert!(compare::changes(&old, &new).iter().all(|change| change.old.is_none_or(f64::is_finite)));
            assert_eq!(new.times.read.bytes, u64::from(card.capacity_bytes.value), "{}", card.id);
            assert_eq!(new.times.program_polling.bytes, u64::from(card.capacity_bytes.value), "{}", card.id);
        }
    }
}

/// The rules of a swap use the same arithmetic: what they reject, the budget does not call sound, and the reverse.
#[test]
fn the_rules_of_a_swap_and_the_budget_say_the_same() {
    let catalogue = Catalogue::embedded().unwrap();
    let (mut compared, mut found) = (0, 0);
    for base in boards() {
        let fitted = catalogue.find(&base.fitted).unwrap();
        for (ohm, pf, per_day, celsius) in
            [(2200, 90, 1.0, None), (20_000, 90, 1.0, None), (300, 40, 500.0, None), (1000, 900, 3000.0, Some(85.0))]
        {
            let mut board = base.clone();
            (board.bus.pull_up_ohm, board.bus.capacitance_pf, board.temperature_max_c) = (ohm, pf, celsius);
            board.regions[0].writes_per_day = per_day;
            let climate = swap::Climate::of(&board, fitted);
            let seated = Arc::new(fitted.in_footprint(board.footprint));
            for card in catalogue.eeproms().step_by(7) {
                let case = swap::Case::new(&board, climate, &seated, card);
                let rules: Vec<&str> = swap::rule::all(&case).iter().map(|finding| finding.rule).collect();
                let new = budget::swapped(&board, fitted, card);
                let window = &new.pull_up;
                let slow = window.rise_ns > f64::from(window.mode.t_r_max);
                let weak = window.fitted_ohm < window.least_ohm;
                assert_eq!(rules.contains(&"pull-up"), slow || weak, "{} {}", board.name, card.id);
                // A rating that is stated for a cooler place only is a condition to the rules; the budget shows what is stated.
                if card.endurance_at.is_none() {
                    assert_eq!(rules.contains(&"endurance"), !new.wear.lasts, "{} {}", board.name, card.id);
                }
                compared += 1;
                found += usize::from(slow || weak) + usize::from(!new.wear.lasts);
            }
        }
    }
    assert!(compared > 1000 && found > 500, "{compared} {found}");
}

#[test]
fn a_bus_that_no_resistor_serves_is_called_infeasible_with_the_ways_out() {
    let changes = [("pull_up_ohm = 2200", "pull_up_ohm = 1000"), ("capacitance_pf = 90", "capacitance_pf = 400")];
    let (_folder, path) = changed("valve-driver.toml", &changes);
    let run = run(&["budget", &path]);
    assert_eq!(run.code, 1);
    for part in ["infeasible", "at least 967 ohm", "6 mA at 0.6 V", "366 pF", "SCL at 100 kHz or less"] {
        assert!(run.out.contains(part), "{part}: {}", run.out);
    }
}

#[test]
fn wear_counts_neighbours_in_a_page_and_names_the_worst_place() {
    // The identity record is put into the first page of the region that is written all day.
    let changes = [("offset = 0x0000", "offset = 0x0500"), ("writes_per_day = 1\n", "writes_per_day = 2000\n")];
    let (_folder, path) = changed("valve-driver.toml", &changes);
    let run = run(&["budget", &path, "--json"]);
    assert_eq!(run.code, 1, "{}", run.out);
    let json = run.json();
    let wear = &json["fitted"]["wear"];
    assert_eq!((&wear["lasts"], &wear["unit_bytes"], &wear["worst_offset"]), (&false.into(), &64.into(), &256.into()));
    // 1 000 000 cycles at 2000 a day: 500 days = 1.369 years of 365.25 days.
    assert!((wear["years_to_rating"].as_f64().unwrap() - 500.0 / 365.25).abs() < 1e-9, "{wear}");
    let neighbours = changed(
        "valve-driver.toml",
        &[("offset = 0x0000", "offset = 0x0510"), ("length = 64", "length = 16"), ("length = 1024", "length = 1040")],
    );
    let json = self::run(&["budget", &neighbours.1, "--json"]).json();
    let regions = json["fitted"]["wear"]["regions"].as_array().unwrap();
    let identity = regions.iter().find(|region| region["region"] == "identity").unwrap();
    assert_eq!(identity["shares_with"], serde_json::json!(["curves"]));
    // Its own 0.01 writes a day and one of the neighbour in the same page.
    assert_eq!(identity["cycles_per_day"], 1.01);
}

#[test]
fn the_rating_counts_at_the_boards_temperature_where_the_sheet_states_it() {
    let text = |celsius: &str, part: &str| {
        let (_folder, path) = changed(
            "valve-driver.toml",
            &[
                ("temperature_min_c = -20\ntemperature_max_c = 70\n", celsius),
                ("fitted = \"24LC256\"", &format!("fitted = \"{part}\"")),
            ],
        );
        run(&["budget", &path]).out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(text("", "24LC256").contains("the board file tells no temperature_max_c"));
    assert!(text("temperature_max_c = 70\n", "24LC256").contains("by an amount that the sheet read does not state"));
    assert!(text("temperature_max_c = 70\n", "S-24CS04A").contains("1000000 cycles, stated for 85 C, which covers"));
    assert!(text("temperature_max_c = 20\n", "S-24CS04A").contains("10000000 cycles, stated for 25 C, which covers"));
}

#[test]
fn a_swap_is_shown_old_beside_new() {
    let run = run(&[
        "budget",
        &example("valve-driver.toml"),
        "--to",
        "24LC64",
        "--to",
        "24lc64",
        "--to",
        "at24c256c",
        "--json",
    ]);
    let json = run.json();
    let candidates = json["candidates"].as_array().unwrap();
    assert_eq!(candidates.len(), 2, "a part that is named twice is shown once");
    let page = candidates[0]["changes"].as_array().unwrap().iter().find(|change| change["what"] == "page").unwrap();
    assert_eq!((&page["old"], &page["new"]), (&64.0.into(), &32.0.into()));
    let cycle =
        candidates[0]["changes"].as_array().unwrap().iter().find(|it| it["what"] == "longest write cycle").unwrap();
    assert_eq!(cycle["better"], false);
}

#[test]
fn plots_are_written_whole_into_a_folder_that_is_made() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("plots");
    let path = path.to_str().unwrap();
    let run = run(&["budget", &example("valve-driver.toml"), "--to", "24LC64", "--svg", path]);
    assert_eq!(run.code, 0, "{}", run.err);
    let mut names: Vec<String> =
        fs::read_dir(path).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names, ["pull-up-24lc256.svg", "pull-up-24lc64.svg", "wear-24lc256.svg", "wear-24lc64.svg"]);
}

#[test]
fn bad_input_is_refused_with_all_its_faults() {
    let board = example("valve-driver.toml");
    refused(&["budget", &board, "--to", "nope"], "no card is called");
    refused(&["budget", "none.toml"], "cannot be read");
    refused(&["budget", &board, "--units", "0"], "0 is not in 1..=100000000");
    let (_folder, path) = changed("valve-driver.toml", &[("temperature_max_c = 70", "temperature_max_c = 900")]);
    refused(&["budget", &path], "900 is out of range; use a value from -65 to 200");
    let (_folder, path) = changed("valve-driver.toml", &[("fitted = \"24LC256\"", "fitted = \"nope\"")]);
    let run = run(&["budget", &path, "--to", "neither"]);
    assert_eq!((run.code, run.err.lines().count()), (2, 2), "{}", run.err);
}

#[test]
fn cards_that_state_endurance_by_temperature_badly_are_refused() {
    let card =
        |fields: &str| crate::cli_support::own_card(&format!("{}{fields}", crate::cli_support::card("\"OWN1\"")));
    for (fields, reason) in [
        ("endurance_at_c = 25\n", "the temperature of a rating that is not there"),
        ("endurance_cycles = 100\n[[endurance_at]]\ncelsius = 85\ncycles = 10\n", "`endurance_cycles` is not stated"),
        (
            "endurance_cycles = 100\nendurance_at_c = 25\n[[endurance_at]]\ncelsius = 85\ncycles = 1000\n",
            "a rating falls as the temperature rises",
        ),
        ("endurance_cycles = 100\nendurance_at_c = 25\n[[endurance_at]]\ncelsius = 20\ncycles = 10\n", "coolest"),
        (
            "endurance_cycles = 100\nendurance_at_c = 25\n[[endurance_at]]\ncelsius = 85\n",
            "`endurance_at[0].cycles`: is missing",
        ),
    ] {
        let folder = card(fields);
        refused(&["parts", "--cards", folder.path().to_str().unwrap()], reason);
    }
}

#[test]
fn budgets_serialise_as_documented() {
    let catalogue = Catalogue::embedded().unwrap();
    let budget: Budget = budget::compute(&boards()[0], catalogue.find("24lc256").unwrap());
    let json = serde_json::to_value(&budget).unwrap();
    for field in ["board", "part", "part_name", "density", "supply_mv", "pull_up", "timing", "times", "wear", "remarks"]
    {
        assert!(!json[field].is_null(), "{field}");
    }
}
