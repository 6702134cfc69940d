//! Decisions judged again.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::path::{Path, PathBuf};

use super::One;
use crate::command::channels::OfRecording;
use crate::command::swap::recorded_fleet::{self, Parts, Programs};
use pagewise_base::fault::{Fault, Faults};
use pagewise_judge::board::Board;
use pagewise_judge::decision::{self, Decision};
use pagewise_judge::fleet::{self, Job};
use pagewise_judge::stock::columns::Columns;
use pagewise_judge::swap::Accept;
use pagewise_judge::swap::Verdict;
use pagewise_part::card::Catalogue;

/// Reads the decisions behind the paths and judges them with the cards of today.
///
/// # Errors
/// Everything that is wrong with decisions and their boards.
pub(super) fn judged(paths: &[PathBuf], catalogue: &Catalogue, columns: &Columns) -> Result<Vec<One>, Faults> {
    let mut faults = Vec::new();
    let mut decisions = Vec::new();
    for path in files(paths, &mut faults) {
        decision::read(&path).map_or_else(|more| faults.extend(more.0), |decision| decisions.push(decision));
    }
    let mut boards: BTreeMap<PathBuf, Vec<Board>> = BTreeMap::new();
    let mut programs = Programs::default();
    for decision in &decisions {
        let path = decision.board_path();
        if let Entry::Vacant(place) = boards.entry(path) {
            let path = std::slice::from_ref(place.key());
            let read = recorded_fleet::read(path, catalogue, &columns.boards, &OfRecording::default());
            let (read, more) = read.map_err(|more| faults.extend(more.0)).unwrap_or_default();
            programs.extend(more);
            place.insert(read.boards.into_iter().map(|(board, _)| board).collect());
        }
    }
    let mut jobs: Vec<Job<'_>> = decisions
        .iter()
        .enumerate()
        .filter_map(|(place, decision)| {
            let among = &boards[&decision.board_path()];
            let board = among.iter().find(|board| board.name == decision.said.board);
            if board.is_none() && !among.is_empty() {
                let reason = format!("`{}` holds no board of this name", decision.said.board_file);
                let remedy = "correct the name, or write the decision anew";
                faults.push(Fault { field: "board".into(), ..Fault::of_file(&decision.file, reason, remedy) });
            }
            let (board, old) = board.and_then(|board| Some((board, catalogue.find(&board.fitted)?)))?;
            // A part that has no card any more counts as not judged, which is a change.
            let candidates = decision.said.part.iter().filter_map(|part| catalogue.find(&part.card)).collect();
            Some(Job { place, board: board.clone(), old, candidates, recording: None })
        })
        .collect();
    if !faults.is_empty() {
        return Err(Faults(faults));
    }
    let parts = Parts::new();
    programs.give(&mut jobs, &parts);
    let mut all = Vec::new();
    fleet::judge_each(jobs, None, Accept::from(Verdict::Reconfigure), &|| (), |outcome, answer| {
        let decision: &Decision = &decisions[outcome.place];
        all.push(One {
            changed: decision.changes(&answer, catalogue),
            images: decision.changed_images(),
            notes: decision.notes(&answer.board, catalogue),
            ..One::of(decision)
        });
    });
    Ok(all)
}

/// The decision files that the paths name: each as it is, of a folder all `*.toml` files in it.
fn files(paths: &[PathBuf], faults: &mut Vec<Fault>) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for path in paths {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        match of_folder(path) {
            Ok(found) if found.is_empty() => {
                let remedy = "name a folder that `pagewise decide --output` wrote";
                faults.push(Fault::of_file(&path.display().to_string(), "holds no decision", remedy));
            }
            Ok(found) => files.extend(found),
            Err(error) => faults.push(Fault::unreadable(&path.display().to_string(), &error)),
        }
    }
    files
}

fn of_folder(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.extension().is_some_and(|extension| extension == "toml") {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}
