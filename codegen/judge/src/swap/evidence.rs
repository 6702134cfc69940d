//! Evidence: the board's firmware, run against the old and the new simulated chip.

use schemars::JsonSchema;
use serde::Serialize;

use super::ladder::{Ladder, Rung};
use super::{Run, Verdict};
use crate::board::Board;
use crate::swap::run::Played;
use pagewise_part::card::Card;

/// What the simulation showed.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Evidence {
    /// The first rung of the ladder on which the new part serves.
    pub verdict: Verdict,
    /// The firmware as it is on the fitted part.
    pub old: Run,
    /// The firmware as it is on the candidate.
    pub new: Run,
    /// With changed settings, or changed straps too, where that was needed.
    pub changed: Option<Run>,
    /// The firmware as it is on the candidate with every assumption as bad as it can be, where one matters.
    pub worst_case: Option<Run>,
    /// The fitted part on its board without the faults that the board has today; the candidate is run on that board where
    /// this is here.
    pub mended: Option<Run>,
}

impl From<Ladder<'_>> for Evidence {
    fn from(ladder: Ladder<'_>) -> Self {
        Self {
            verdict: ladder.verdict,
            old: ladder.old.run,
            new: ladder.new.run,
            changed: ladder.changed.map(|rung| rung.run),
            worst_case: ladder.worst_case.map(|rung| rung.run),
            mended: None,
        }
    }
}

/// The same runs with all that they leave behind: the memory, and the failing transaction event by event.
#[derive(Debug, Clone)]
pub struct Replay {
    /// The fitted part in the board's footprint, with every assumption that the board proves.
    pub old_card: Card,
    /// The candidate in the board's footprint, with every proviso granted.
    pub new_card: Card,
    /// The board on which the candidate was run as it is: without the faults that it has today, where they can be mended.
    pub board: Board,
    /// The firmware as it is on the fitted part.
    pub old: Played,
    /// The firmware as it is on the candidate.
    pub new: Played,
    /// The board with the settings, or settings and straps, that make the candidate serve; how it then runs.
    pub changed: Option<(Board, Played)>,
    /// The firmware as it is on the candidate with every assumption as bad as it can be, where that fails.
    pub worst_case: Option<Played>,
}

impl From<Ladder<'_>> for Replay {
    fn from(ladder: Ladder<'_>) -> Self {
        Self {
            old_card: ladder.old.card.clone(),
            new_card: ladder.new.card.clone(),
            board: ladder.new.board.clone().into_owned(),
            old: ladder.old.played(),
            new: ladder.new.played(),
            changed: ladder.changed.map(|rung| (rung.board.clone().into_owned(), rung.played())),
            worst_case: ladder.worst_case.as_ref().map(Rung::played),
        }
    }
}

#[cfg(test)]
mod tests {
    use pagewise_part::card::Catalogue;
    use pagewise_simulator::trace::text::transfers;

    use crate::fleet::{self, Candidates};
    use crate::swap::Fitted;

    #[test]
    fn a_replay_shows_the_runs_of_the_judgement() {
        let catalogue = Catalogue::embedded().unwrap();
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards");
        let read = fleet::files::read(&[folder], &catalogue, &std::collections::BTreeMap::new()).unwrap();
        let boards = read.boards.into_iter().map(|(board, _)| board).collect();
        let answers = fleet::judge_all(fleet::jobs(&catalogue, boards, Candidates::OfBoard).unwrap());
        let mut pictures = 0;
        for answer in &answers {
            let fitted = Fitted::new(&answer.board, catalogue.find(&answer.board.fitted).unwrap());
            for judgement in &answer.judgements {
                let replay = fitted.replay(catalogue.find(&judgement.candidate).unwrap());
                let evidence = &judgement.evidence;
                assert_eq!((&replay.old.run, &replay.new.run), (&evidence.old, &evidence.new));
                assert_eq!(replay.changed.as_ref().map(|(_, played)| &played.run), evidence.changed.as_ref());
                assert_eq!(replay.worst_case.as_ref().map(|played| &played.run), evidence.worst_case.as_ref());
                assert!(!replay.new.run.serves || replay.new.wanted == replay.new.found);
                if let (Some(drawn), Some(told)) = (&replay.new.transaction, &evidence.new.told().transaction) {
                    let told = told.trim_end_matches(" …");
                    assert!(transfers(&drawn.events).trim().starts_with(told), "{told}");
                    pictures += 1;
                }
                assert_eq!(replay.new.transaction.is_some(), evidence.new.told().transaction.is_some());
            }
        }
        assert!(pictures >= 8, "{pictures}");
    }
}
