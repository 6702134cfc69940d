//! Known losses, so that CI fails on new ones only.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use serde::{Deserialize, Serialize};

use pagewise_base::fault::Fault;
use pagewise_report::trial::{Run, Trial};

/// A baseline file.
#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Baseline {
    /// A loss each: part, setting, seed and kind, or part and `cut`.
    losses: BTreeSet<String>,
}

/// Reads a baseline.
pub(super) fn read(path: &Path) -> Result<Baseline, Fault> {
    let file = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
    serde_json::from_str(&text).map_err(|error| {
        let remedy = "write it anew with --write-baseline";
        Fault { line: error.line(), ..Fault::of_file(&file, format!("is not a baseline: {error}"), remedy) }
    })
}

fn key(run: &Run, kind: &str) -> String {
    format!("{}, {}, seed {}: {kind}", run.part, run.setting, run.seed)
}

fn cut(part: &str) -> String {
    format!("{part}: cut")
}

/// The losses of a trial as a baseline file.
pub(super) fn of(trial: &Trial) -> Baseline {
    let runs = trial.runs.iter().flat_map(|run| run.losses.iter().map(|loss| key(run, loss.kind)));
    let cuts = trial.cuts.iter().filter(|cuts| cuts.first.is_some()).map(|cuts| cut(&cuts.part));
    Baseline { losses: runs.chain(cuts).collect() }
}

/// Says of every loss whether it is known, counts both, and names what is gone of the parts that were tried.
pub(super) fn mark(trial: &mut Trial, known: Option<&Baseline>) {
    let now = of(trial).losses;
    let none = BTreeSet::new();
    let known = known.map_or(&none, |known| &known.losses);
    for run in &mut trial.runs {
        let keys: Vec<String> = run.losses.iter().map(|loss| key(run, loss.kind)).collect();
        for (loss, key) in run.losses.iter_mut().zip(keys) {
            loss.known = known.contains(&key);
        }
    }
    for cuts in &mut trial.cuts {
        let known = known.contains(&cut(&cuts.part));
        if let Some(first) = &mut cuts.first {
            first.known = known;
        }
    }
    (trial.known_losses, trial.new_losses) = (now.intersection(known).count(), now.difference(known).count());
    let tried = |loss: &String| {
        trial.runs.iter().any(|run| loss.starts_with(&format!("{}, {}, seed {}: ", run.part, run.setting, run.seed)))
            || trial.cuts.iter().any(|cuts| *loss == cut(&cuts.part))
    };
    trial.gone = known.difference(&now).filter(|loss| tried(loss)).cloned().collect();
}
