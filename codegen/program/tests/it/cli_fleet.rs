//! Fleets: results divided and merged, the fewest parts, stock lists, invented boards.

use std::fs;
use std::path::{Path, PathBuf};

use crate::cli_support::{refused, run, write};
use serde_json::Value;
use tempfile::TempDir;

fn examples() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards").display().to_string()
}

/// A path in a folder as an argument.
fn at(folder: &TempDir, name: &str) -> String {
    folder.path().join(name).display().to_string()
}

/// Arguments that judge the example boards for three parts.
fn three_parts() -> Vec<String> {
    let words = ["swap", &examples(), "--to", "24lc256", "--to", "24lc64", "--to", "at24c256c"];
    words.map(str::to_owned).to_vec()
}

fn ran(arguments: &[&str], more: &[String]) -> crate::cli_support::Run {
    let all: Vec<&str> = more.iter().map(String::as_str).chain(arguments.iter().copied()).collect();
    run(&all)
}

/// The lines files of `of` shards.
fn shards(folder: &TempDir, of: usize) -> Vec<String> {
    (1..=of)
        .map(|number| {
            let (shard, file) = (format!("{number}/{of}"), at(folder, &format!("{number}-of-{of}.jsonl")));
            let run = ran(&["--shard", &shard, "--lines", &file], &three_parts());
            assert!(run.code < 2, "{}", run.err);
            file
        })
        .collect()
}

#[test]
fn merged_shards_equal_the_undivided_run_byte_for_byte() {
    let folder = tempfile::tempdir().unwrap();
    let whole = at(&folder, "whole.jsonl");
    let undivided = ran(&["--lines", &whole], &three_parts());
    for of in [1, 3, 20] {
        let mut files = shards(&folder, of);
        // The order of the files does not matter.
        files.reverse();
        let merged = at(&folder, "merged.jsonl");
        let answer = ran(&["--lines", &merged], &[vec!["merge".to_owned()], files.clone()].concat());
        assert_eq!(answer.code, undivided.code, "{}", answer.err);
        assert_eq!(fs::read(&merged).unwrap(), fs::read(&whole).unwrap(), "{of} shards");
        assert!(undivided.out.ends_with(&answer.out), "the merge sums up as the undivided run does:\n{}", answer.out);
        let json = ran(&["--json"], &[vec!["merge".to_owned()], files].concat()).json();
        assert_eq!(json["shards"], of);
        assert_eq!(json["fleet"], ran(&["--json"], &three_parts()).json()["fleet"]);
    }
}

#[test]
fn lines_hold_one_board_each_and_a_header() {
    let folder = tempfile::tempdir().unwrap();
    let file = at(&folder, "a.jsonl");
    ran(&["--lines", &file, "--shard", "2/4"], &three_parts());
    let text = fs::read_to_string(&file).unwrap();
    let lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!((&lines[0]["kind"], &lines[0]["shard"]["number"]), (&"swap-results".into(), &2.into()));
    let places: Vec<u64> = lines[1..].iter().map(|line| line["place"].as_u64().unwrap()).collect();
    assert_eq!(places, [1, 5, 9]);
    assert_eq!(lines[1]["candidates"].as_array().unwrap().len(), 3);
}

#[test]
fn a_merge_refuses_what_does_not_belong_together() {
    let folder = tempfile::tempdir().unwrap();
    let files = shards(&folder, 2);
    let [first, second] = [files[0].as_str(), files[1].as_str()];
    refused(&["merge", first], "merge: of 2 shards these are missing: 2/2");
    refused(&["merge", first, second, first], "is shard 1/2, as is");
    refused(&["merge", first, &at(&folder, "none.jsonl")], "none.jsonl: cannot be read");

    // Another option, a changed board, another card: each is another input.
    let other = at(&folder, "other.jsonl");
    ran(&["--accept", "rework", "--shard", "2/2", "--lines", &other], &three_parts());
    refused(&["merge", first, &other], "holds results of other inputs than");
    let boards = folder.path().join("boards");
    fs::create_dir(&boards).unwrap();
    for entry in fs::read_dir(examples()).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, boards.join(path.file_name().unwrap())).unwrap();
    }
    let shard = |number: &str, name: &str| {
        let file = at(&folder, name);
        let boards = boards.display().to_string();
        run(&["swap", &boards, "--to", "24lc64", "--shard", number, "--lines", &file]);
        file
    };
    let before = shard("1/2", "before.jsonl");
    let text = fs::read_to_string(boards.join("weigher.toml")).unwrap();
    fs::write(boards.join("weigher.toml"), text.replace("Instruments", "instruments")).unwrap();
    refused(&["merge", &before, &shard("2/2", "after.jsonl")], "holds results of other inputs than");

    // Three shards and two do not mix either.
    let three = shards(&folder, 3);
    refused(&["merge", first, &three[1]], "is shard 2/3, but");
}

/// The text with every digest computed anew, as whoever wants to deceive would do.
fn sealed(text: &str) -> String {
    let mut digest = String::new();
    let mut out = String::new();
    for line in text.lines() {
        let (object, _) = line.split_once(",\"chain\":\"").unwrap();
        let (line, own) = pagewise_base::chain::seal(&format!("{object}}}"), &digest);
        (out, digest) = (out + &line + "\n", own);
    }
    out
}

#[test]
fn damaged_results_are_refused_with_the_line() {
    let folder = tempfile::tempdir().unwrap();
    let file = shards(&folder, 1).remove(0);
    let text = fs::read_to_string(&file).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let joined = |lines: &[&str]| lines.join("\n") + "\n";
    let swapped = [&lines[..2], &[lines[3], lines[2]], &lines[4..]].concat();
    for (name, text, part) in [
        ("empty", String::new(), "empty: is empty"),
        ("no-header", joined(&lines[1..]), "no-header:1: does not begin with the header"),
        ("cut-short", joined(&lines[..5]), "cut-short: 9 boards of shard 1/1 are missing"),
        ("half-a-line", text[..text.len() - 40].to_owned(), "half-a-line:14: is not a result of a board"),
        ("swapped", sealed(&joined(&swapped)), "swapped:3: board 2 where 1 is next"),
        ("unsealed", joined(&swapped), "unsealed:3: is not a result of a board: it was changed"),
        (
            "verdict",
            text.replacen("\"verdict\":\"drop-in\"", "\"verdict\":\"reject\"", 1),
            "is not a result of a board: it was changed",
        ),
        ("name", text.replacen("Tamarind", "Tamarack", 1), "name:2: is not a result of a board: it was changed"),
        (
            "header",
            text.replacen("\"accept\":\"reconfigure\"", "\"accept\":\"rework\"", 1),
            "header:1: is not a header of results: it was changed",
        ),
        ("twice", sealed(&joined(&[lines.as_slice(), &lines[13..]].concat())), "twice:15: board 12 where none is left"),
        ("version", text.replacen("\"pagewise\":\"", "\"pagewise\":\"9.", 1), "version:1: was written by version 9."),
        (
            "field",
            sealed(&text.replacen("\"place\"", "\"plaice\"", 1)),
            "field:2: is not a result of a board: unknown field `plaice`",
        ),
        ("shard", sealed(&text.replacen("\"of\":1", "\"of\":0", 1)), "shard:1: shard 1/0 cannot exist"),
        (
            "many",
            sealed(&text.replacen("\"boards\":13", "\"boards\":1300000000000", 1)),
            "many:1: a fleet of 1300000000000 boards",
        ),
    ] {
        write(folder.path(), name, &text);
        refused(&["merge", &at(&folder, name)], part);
    }
    fs::write(folder.path().join("bytes"), [0xFF, 0xFE, 0]).unwrap();
    refused(&["merge", &at(&folder, "bytes")], "bytes:1: cannot be read: it is not UTF-8 text");
}

#[test]
fn nothing_is_written_when_the_input_is_bad() {
    let folder = tempfile::tempdir().unwrap();
    let file = at(&folder, "kept.jsonl");
    write(folder.path(), "kept.jsonl", "as it was");
    refused(&["swap", &examples(), "--to", "no-such-part", "--lines", &file], "no card is called");
    refused(&["merge", &file, "--lines", &file], "does not begin with the header");
    assert_eq!(fs::read_to_string(&file).unwrap(), "as it was");
    refused(&["swap", &examples(), "--shard", "3/2"], "write one of several, such as 2/8");
    refused(&["swap", &examples(), "--lines", &at(&folder, "no/such/folder.jsonl")], "does not exist");
}

#[test]
fn the_fewest_parts_cover_the_example_boards() {
    let answer = run(&["swap", &examples(), "--all", "--accept", "rework", "--json"]).json();
    let fleet = &answer["fleet"];
    let parts = fleet["cover"]["parts"].as_array().unwrap();
    assert_eq!(fleet["cover"]["at_least"], parts.len(), "thirteen boards are searched to the end");
    // Every board takes a part for which its own verdict is good enough, or is named as uncovered.
    let verdict = |board: &str, part: &str| {
        let boards = answer["boards"].as_array().unwrap().iter();
        let board = boards.clone().find(|one| one["board"]["name"] == board).unwrap();
        let mut judgements = board["judgements"].as_array().unwrap().iter();
        judgements.find(|judgement| judgement["candidate"] == part).unwrap()["verdict"].clone()
    };
    let mut boards = fleet["cover"]["uncovered"].as_array().unwrap().len();
    for part in parts {
        for taker in part["boards"].as_array().unwrap() {
            boards += 1;
            let found = verdict(taker["name"].as_str().unwrap(), part["candidate"].as_str().unwrap());
            assert_eq!(taker["verdict"], found);
            assert_ne!(found, "reject");
        }
    }
    assert_eq!(boards, answer["boards"].as_array().unwrap().len());
}

#[test]
fn boards_that_no_candidate_serves_are_named() {
    let run = run(&["swap", &examples(), "--to", "24lc64"]);
    assert_eq!(run.code, 1);
    let words = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("no usable candidate"), "{}", run.out);
    assert!(words.contains("chart logger CL9"), "20 KB do not fit into 8: {}", run.out);
}

fn invented(folder: &TempDir, boards: &str, seed: &str, name: &str) -> PathBuf {
    let path = folder.path().join(name);
    let run = run(&["invent", "--boards", boards, "--seed", seed, "--output", path.to_str().unwrap()]);
    assert_eq!(run.code, 0, "{}", run.err);
    path
}

fn contents(folder: &Path) -> Vec<(String, String)> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<(String, String)> = entries
        .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), fs::read_to_string(&path).unwrap()))
        .collect();
    files.sort();
    files
}

#[test]
fn a_seed_gives_the_same_fleet_and_a_larger_one_begins_with_it() {
    let folder = tempfile::tempdir().unwrap();
    let once = contents(&invented(&folder, "12", "7", "once"));
    assert_eq!(contents(&invented(&folder, "12", "7", "again")), once);
    assert_eq!(contents(&invented(&folder, "30", "7", "more"))[..12], once);
    assert_ne!(contents(&invented(&folder, "12", "8", "other")), once);
    refused(&["invent", "--output", &at(&folder, "once")], "is not empty; name a new folder");
    refused(&["invent", "--output", &at(&folder, "no/such/folder")], "lies in a folder that does not exist");
    assert_eq!(contents(&folder.path().join("once")), once);
}

#[test]
fn a_large_fleet_is_summed_up_first_and_ranked_when_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let boards = invented(&folder, "24", "3", "fleet").display().to_string();
    let arguments = ["swap", &boards, "--to", "24lc256", "--to", "24aa64", "--to", "at24c02d"];
    let short = run(&arguments).out;
    // What stands against boards with their own parts comes first of all.
    let today = short.lines().next().unwrap();
    assert!(today.contains(" of 24 boards disagree with the fitted part today"), "{short}");
    assert!(short.contains("\n\nBoards by verdict, for each candidate\n"), "{short}");
    assert!(short.lines().count() < 60, "{short}");
    let full = run(&[&arguments[..], &["--full"]].concat()).out;
    assert!(full.starts_with(today), "{full}");
    assert_eq!(full.matches("candidates cannot serve").count(), 24, "{full}");
}

#[test]
fn folders_are_searched_with_the_folders_below_and_each_file_is_read_once() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["a", "b", ".hidden"] {
        fs::create_dir(folder.path().join(name)).unwrap();
    }
    let board = fs::read_to_string(Path::new(&examples()).join("flow-meter.toml")).unwrap();
    for file in ["a/one.toml", "b/two.toml", "three.toml"] {
        write(folder.path(), file, &board);
    }
    write(folder.path(), ".hidden/four.toml", "not a board");
    write(folder.path(), "a/notes.txt", "not a board");
    let all = folder.path().display().to_string();
    let answer = run(&["swap", &all, &at(&folder, "a/one.toml"), "--to", "24lc64", "--json"]).json();
    let files: Vec<&str> =
        answer["boards"].as_array().unwrap().iter().map(|one| one["board"]["file"].as_str().unwrap()).collect();
    let names: Vec<&str> = files.iter().map(|file| file.rsplit('/').next().unwrap()).collect();
    assert_eq!(names, ["one.toml", "two.toml", "three.toml"]);
}
