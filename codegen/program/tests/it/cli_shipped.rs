//! Units already shipped: what `swap` says of them, `generate` does.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use clap::Parser;
use pagewise::command::Program;
use pagewise_judge::board::{self, Board};
use pagewise_judge::fleet::{self, Candidates, invent};
use pagewise_judge::swap::{Shipped, Units, Verdict};
use pagewise_part::card::Catalogue;

fn boards(catalogue: &Catalogue) -> Vec<Board> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards");
    let mut boards: Vec<Board> = fleet::files::read(&[folder], catalogue, &BTreeMap::new())
        .unwrap()
        .boards
        .into_iter()
        .map(|(board, _)| board)
        .collect();
    boards.extend(invent::fleet(catalogue, 4, 3).iter().map(|file| board::parse(&file.name, &file.text).unwrap()));
    // Every pair of some boards; all of them take minutes.
    boards.into_iter().step_by(4).collect()
}

/// Whether `generate` takes what this line says.
fn generates(line: &str) -> Result<(), String> {
    let program = Program::try_parse_from(line.split_whitespace()).map_err(|error| error.to_string())?;
    program.run().map(|_| ()).map_err(|faults| faults.0.iter().map(|fault| fault.reason.clone()).collect())
}

/// Without the choice: one setting for both parts.
fn one_setting(line: &str) -> String {
    let words: Vec<&str> = line.split_whitespace().collect();
    let choose = words.iter().position(|word| *word == "--choose").expect("a line that chooses");
    [&words[..choose], &words[choose + 2..]].concat().join(" ")
}

/// Every pair of parts that the example boards and an invented fleet meet.
#[test]
fn generate_and_swap_never_contradict_each_other() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut seen: BTreeSet<(String, bool)> = BTreeSet::new();
    let (mut new_only, mut runs_alone) = (0, 0);
    for answer in fleet::judge_all(fleet::jobs(&catalogue, boards(&catalogue), Candidates::All).unwrap()) {
        for judgement in &answer.judgements {
            assert_eq!(judgement.shipped.is_some(), judgement.verdict == Verdict::Reconfigure);
            match &judgement.shipped {
                Some(Shipped { units: Units::ServesBoth, generate: Some(line), .. }) => {
                    seen.insert((line.clone(), false));
                }
                Some(Shipped { units: Units::ChooseAtRunTime, generate: Some(line), why }) => {
                    // Where one setting would do by its numbers, the runs speak against it.
                    let by_runs = why.contains("fail on the") || why.contains("does not read");
                    runs_alone += usize::from(by_runs);
                    seen.insert((line.clone(), !by_runs));
                }
                Some(Shipped { units: Units::NewBoardsOnly, generate: None, .. }) => new_only += 1,
                None => {}
                other => panic!("{other:?}"),
            }
        }
    }
    let (mut both, mut choices) = (0, 0);
    for (line, must_choose) in &seen {
        assert_eq!(generates(line), Ok(()), "{line}");
        if line.contains("--choose") {
            choices += 1;
            let refused = generates(&one_setting(line));
            assert!(!must_choose || refused.is_err(), "swap says that no setting serves both: {line}");
        } else {
            both += 1;
        }
    }
    println!("{both} serve both, {choices} choose ({runs_alone} by the runs alone), {new_only} new boards only");
    assert!(both > 50 && choices > 50, "{both} and {choices}");
}
