//! The runs behind a judgement, once more and looked at closely: the memory that they leave, and the failing transaction
//! event by event. Runs are the same each time, so nothing of this is kept with a judgement.

use pagewise_simulator::{Event, Loss};

use super::evidence::Run;
use super::memo::named;
use super::part::{NAME, Part};
use super::watched::{TRACED_NS, Window, transfer};
use super::{Case, Fitted, Verdict, as_it_works, remedy, trial};
use crate::board::Board;
use pagewise_part::card::Card;

/// The runs behind a judgement.
#[derive(Debug, Clone)]
pub struct Replay {
    /// The fitted part in the board's footprint, with every assumption that the board proves.
    pub old_card: Card,
    /// The candidate in the board's footprint, with every proviso granted.
    pub new_card: Card,
    /// The firmware as it is on the fitted part.
    pub old: Played,
    /// The firmware as it is on the candidate.
    pub new: Played,
    /// The board with the settings, or settings and straps, that make the candidate serve; how it then runs.
    pub changed: Option<(Board, Played)>,
    /// The firmware as it is on the candidate with every assumption as bad as it can be, where that fails.
    pub worst_case: Option<Played>,
}

/// One run.
#[derive(Debug, Clone)]
pub struct Played {
    /// As in the evidence.
    pub run: Run,
    /// The whole array as it should be afterwards.
    pub wanted: Vec<u8>,
    /// The whole array as it is.
    pub found: Vec<u8>,
    /// Why they differ, for the first bytes that do.
    pub losses: Vec<Loss>,
    /// The first failing transaction.
    pub transaction: Option<Transaction>,
}

/// One transfer, from START to STOP.
#[derive(Debug, Clone)]
pub struct Transaction {
    /// What was on the bus, and what the chips noted meanwhile.
    pub events: Vec<Event>,
    /// SCL rate in hertz.
    pub scl_hz: u32,
    /// When the detector spoke.
    pub at_ns: u64,
    /// What the detector said.
    pub incident: String,
}

/// What every byte outside the regions holds before a run.
pub const BACKGROUND: u8 = trial::BACKGROUND;

impl Fitted<'_> {
    /// Runs once more what the judgement of this candidate rests on.
    #[must_use]
    pub fn replay(&self, new: &Card) -> Replay {
        let case = Case::new(self.board, &self.old, new);
        let (findings, granted) = super::find(&case);
        let verdict = super::worst(findings.iter().filter(|finding| finding.proviso.is_none()));
        let expects = self.baseline.pointers.as_deref();
        let old_card = as_it_works(self.board, &self.old);
        let played = Played::of(self.board, &granted, expects);
        let worst_case = (granted != case.new && verdict != Verdict::Reject)
            .then(|| Played::of(self.board, &case.new, expects))
            .filter(|worst| !worst.run.serves);
        let changed = if played.run.serves { None } else { changed(self.board, &granted) };
        Replay {
            old: Played::of(self.board, &old_card, None),
            old_card,
            new_card: granted,
            new: played,
            changed,
            worst_case,
        }
    }
}

/// The first change of the ladder with which the part serves.
fn changed(board: &Board, card: &Card) -> Option<(Board, Played)> {
    let rungs = [Some(remedy::reconfigured(board, card)), remedy::reworked(board, card)];
    rungs.into_iter().flatten().find_map(|changed| {
        let played = Played::of(&changed, card, None);
        played.run.serves.then_some((changed, played))
    })
}

impl Played {
    fn of(board: &Board, card: &Card, reads_on_at: Option<&[u32]>) -> Self {
        let part = &Part::seen_by(board, card);
        let (run, seed) = trial::told(board, part, reads_on_at);
        let (rig, chip, before) = trial::set_up(board, part, seed);
        let promised = part.unpromised.is_none();
        if promised {
            trial::execute(board, &rig, chip, reads_on_at, Window::NEVER);
        }
        rig.finish();
        let first = rig.incidents().into_iter().next().filter(|_| promised && !run.serves);
        let transaction = first.and_then(|incident| {
            let at_ns = incident.at_ns;
            [at_ns.saturating_sub(TRACED_NS), 0].into_iter().find_map(|from_ns| {
                let (rig, chip, _) = trial::set_up(board, part, seed);
                trial::execute(board, &rig, chip, reads_on_at, Window { from_ns, until_ns: at_ns });
                let events = transfer(&rig.trace(), at_ns)?.to_vec();
                // Chips are run without their names.
                let incident = incident.text.replace(NAME, &card.name);
                Some(Transaction { events, scl_hz: board.bus.scl_khz * 1000, at_ns, incident })
            })
        });
        Self {
            run: named(run, card),
            wanted: trial::wanted(board, before),
            found: rig.memory(chip),
            losses: rig.explain_at_most(trial::LOOKED_AT),
            transaction,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet::{self, Candidates};
    use pagewise_part::card::Catalogue;
    use pagewise_simulator::trace::text::transfers;

    #[test]
    fn a_replay_shows_the_runs_of_the_judgement() {
        let catalogue = Catalogue::embedded().unwrap();
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards");
        let boards = fleet::files::read(&[folder]).unwrap();
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
                if let (Some(drawn), Some(told)) = (&replay.new.transaction, &evidence.new.transaction) {
                    let told = told.trim_end_matches(" …");
                    assert!(transfers(&drawn.events).trim().starts_with(told), "{told}");
                    pictures += 1;
                }
                assert_eq!(replay.new.transaction.is_some(), evidence.new.transaction.is_some());
            }
        }
        assert!(pictures >= 8, "{pictures}");
    }
}
