//! The reports of `pagewise swap`, and names of files that cannot be written.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn board(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards").join(name).display().to_string()
}

fn swap(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pagewise"))
        .arg("swap")
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the program runs")
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut names: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.sort();
    names
}

#[test]
fn reports_are_written_beside_the_answer_which_stays_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let board = board("valve-driver.toml");
    let alone = swap(folder.path(), &[&board, "--json"]);
    let with = swap(folder.path(), &[&board, "--json", "--markdown", "a.md", "--junit", "a.xml", "--html", "a.html"]);
    assert_eq!((alone.status.code(), &alone.stdout), (with.status.code(), &with.stdout));
    let text = fs::read_to_string(folder.path().join("a.md")).unwrap();
    assert!(text.contains("| 24LC64 | reconfigure | page: set the firmware's page to 32 bytes |"), "{text}");
    let text = fs::read_to_string(folder.path().join("a.xml")).unwrap();
    assert!(text.contains("tests=\"2\" skipped=\"0\" failures=\"0\" errors=\"0\""), "{text}");
    let text = fs::read_to_string(folder.path().join("a.html")).unwrap();
    assert!(text.contains("<title>Best in place of 24LC256: AT24C256C, drop-in.</title>"), "{text}");
    assert_eq!(files(folder.path()).len(), 3, "no temporary file is left");
}

/// Three candidates: enough in stock, too few for the board's 150 a year, no lead time stated. The currency is a text
/// of the user.
fn stock(folder: &Path, currency: &str) {
    let list = "part,quantity,unit_price,lead_time_days,state\n\
        at24c256c,5000,0.31,14,active\n24lc256,40,0.42,1,last buy\n24lc64,9000,0.2,,obsolete\n";
    fs::write(folder.join("stock.csv"), list).unwrap();
    fs::write(folder.join("columns.toml"), format!("currency = \"{currency}\"\n")).unwrap();
}

const STOCK: [&str; 8] =
    ["--stock", "stock.csv", "--columns", "columns.toml", "--markdown", "a.md", "--html", "a.html"];

#[test]
fn the_reports_show_what_a_stock_list_offers() {
    let folder = tempfile::tempdir().unwrap();
    stock(folder.path(), "EUR");
    let board = board("valve-driver.toml");
    let read = |name: &str| fs::read_to_string(folder.path().join(name)).unwrap();
    swap(folder.path(), &[&[board.as_str()][..], &STOCK].concat());
    for row in [
        "| candidate | verdict | in stock | state | lead time | a year | what changes, and what it rests on |",
        "| AT24C256C | drop-in | 5000 | active | 14 days | 46.50 EUR | ",
        "| 24LC256 | drop-in | 40, 150 needed | last buy | 1 day | 63.00 EUR | ",
        "| 24LC64 | reconfigure | 9000 | obsolete |  | 30.00 EUR | ",
    ] {
        assert!(read("a.md").contains(row), "{row}: {}", read("a.md"));
    }
    for cells in [
        "<th scope=\"col\" class=\"number\">in stock</th><th scope=\"col\">state</th>",
        "<td class=\"number\" data-is=\"in stock\">40, 150 needed</td><td data-is=\"state\">last buy</td><td data-is=\"lead time\">1 day</td><td class=\"number\" data-is=\"a year\">63.00 EUR</td>",
        "<td class=\"number\" data-is=\"in stock\">9000</td><td data-is=\"state\">obsolete</td><td data-is=\"lead time\"></td><td class=\"number\" data-is=\"a year\">30.00 EUR</td>",
        "<p><span class=\"label\">Stock list</span> at24c256c: 5000 in stock, 150 needed a year, active, more in 14 days, 0.31 EUR each, 46.50 EUR a year.</p>",
    ] {
        assert!(read("a.html").contains(cells), "{cells}");
    }
    // A candidate that is not on the list has empty cells; without a list there is no column.
    swap(folder.path(), &[&[board.as_str(), "--to", "24lc256", "--to", "24fc256"][..], &STOCK].concat());
    assert!(read("a.md").contains("| 24LC256 | drop-in | 40, 150 needed |"), "{}", read("a.md"));
    assert!(read("a.md").contains("| 24FC256 | drop-in | | | | | "), "{}", read("a.md"));
    assert!(read("a.html").contains("<td></td><td></td><td></td><td></td>"));
    swap(folder.path(), &[&board, "--to", "24lc256", "--markdown", "a.md", "--html", "a.html"]);
    assert!(!read("a.md").contains("in stock") && !read("a.html").to_lowercase().contains("in stock"));
}

#[test]
fn a_board_without_a_yearly_volume_shows_the_price_of_one_piece() {
    let folder = tempfile::tempdir().unwrap();
    stock(folder.path(), "EUR");
    let text = fs::read_to_string(board("valve-driver.toml")).unwrap();
    let text: Vec<&str> = text.lines().filter(|line| !line.starts_with("yearly_volume")).collect();
    fs::write(folder.path().join("board.toml"), text.join("\n")).unwrap();
    swap(folder.path(), &[&["board.toml"][..], &STOCK].concat());
    let text = fs::read_to_string(folder.path().join("a.md")).unwrap();
    assert!(text.contains("| 24LC256 | drop-in | 40 | last buy | 1 day | 0.42 EUR each | "), "{text}");
    let text = fs::read_to_string(folder.path().join("a.html")).unwrap();
    assert!(text.contains("40 in stock, last buy, more in 1 day, 0.42 EUR each.</p>"), "{text}");
}

#[test]
fn the_currency_of_a_stock_list_stays_a_text() {
    let folder = tempfile::tempdir().unwrap();
    stock(folder.path(), "<b>|`@a");
    swap(folder.path(), &[&[board("valve-driver.toml").as_str()][..], &STOCK].concat());
    let text = fs::read_to_string(folder.path().join("a.md")).unwrap();
    assert!(text.contains("63.00 &lt;b&gt;\\|\\`\\@\u{2060}a | "), "{text}");
    let text = fs::read_to_string(folder.path().join("a.html")).unwrap();
    assert!(text.contains("63.00 &lt;b&gt;|`@a</td>") && !text.contains("<b>|"), "{text}");
}

/// The names pass every check beforehand: one is too long for a file system, one is that of a socket.
#[cfg(unix)]
#[test]
fn a_report_that_cannot_be_written_leaves_results_and_other_reports_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let _socket = std::os::unix::net::UnixListener::bind(folder.path().join("socket")).unwrap();
    let (board, long) = (board("valve-driver.toml"), "x".repeat(300));
    for lines in [Some("old results"), None] {
        match lines {
            Some(text) => fs::write(folder.path().join("a.jsonl"), text).unwrap(),
            None => fs::remove_file(folder.path().join("a.jsonl")).unwrap(),
        }
        fs::write(folder.path().join("a.md"), "old report").unwrap();
        let before = files(folder.path());
        for (bad, told) in [(long.as_str(), "cannot be written: "), ("socket", "is not a file")] {
            let output =
                swap(folder.path(), &[&board, "--lines", "a.jsonl", "--markdown", "a.md", "--html", bad, "--json"]);
            let message = String::from_utf8(output.stderr).unwrap();
            assert_eq!(output.status.code(), Some(2), "{message}");
            assert!(message.contains(told), "{message}");
            assert_eq!(fs::read_to_string(folder.path().join("a.jsonl")).ok().as_deref(), lines);
            assert_eq!(fs::read_to_string(folder.path().join("a.md")).unwrap(), "old report");
            assert_eq!(files(folder.path()), before, "nothing is left over");
        }
    }
    swap(folder.path(), &[&board, "--lines", "a.jsonl", "--markdown", "a.md"]);
    assert!(fs::read_to_string(folder.path().join("a.jsonl")).unwrap().contains("swap-results"));
    assert!(fs::read_to_string(folder.path().join("a.md")).unwrap().starts_with("## Swap check"));
}

#[test]
fn a_report_is_written_also_when_the_verdict_is_against_the_board() {
    let folder = tempfile::tempdir().unwrap();
    let output = swap(folder.path(), &[&board("chart-logger.toml"), "--to", "24lc64", "--junit", "a.xml"]);
    assert_eq!(output.status.code(), Some(1));
    let text = fs::read_to_string(folder.path().join("a.xml")).unwrap();
    assert!(
        text.contains(
            "<failure message=\"reject; accepted is reconfigure or better, no condition granted\" type=\"reject\">"
        ),
        "{text}"
    );
}

#[test]
fn bad_names_of_files_are_all_reported_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("kept.md"), "kept").unwrap();
    let board = board("valve-driver.toml");
    for (arguments, told) in [
        (&["--markdown", "kept.md", "--junit", "kept.md"][..], &["is named for two reports"][..]),
        (&["--html", "kept.md", "--lines", "kept.md"], &["is named for two reports"]),
        (&["--markdown", "kept.md", "--junit", "missing/a.xml"], &["lies in a folder that does not exist"]),
        (&["--markdown", ".", "--junit", "missing/a.xml"], &["is not a file", "does not exist"]),
    ] {
        let output = swap(folder.path(), &[&[board.as_str()], arguments].concat());
        let message = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{message}");
        assert!(told.iter().all(|told| message.contains(told)), "{message}");
        assert_eq!(fs::read_to_string(folder.path().join("kept.md")).unwrap(), "kept");
        assert_eq!(files(folder.path()).len(), 1);
    }
}

#[test]
fn bad_input_leaves_reports_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("kept.md"), "kept").unwrap();
    let output = swap(folder.path(), &[&board("valve-driver.toml"), "--to", "nonsense", "--markdown", "kept.md"]);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(fs::read_to_string(folder.path().join("kept.md")).unwrap(), "kept");
}
