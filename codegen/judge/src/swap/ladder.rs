//! The ladder: the firmware as it is; with its settings changed; with the straps changed too. The first rung on which
//! the new part serves is the simulated verdict. Assumptions that a proviso names are taken as fulfilled, and the
//! candidate is run again with all of them as bad as the assumption table has them, so that one can see what that costs.

use std::borrow::Cow;
use std::ptr;
use std::sync::Arc;

use super::memo::Memo;
use super::run::{self, Played, Run};
use super::shipped::Pair;
use super::{Case, Judges, Verdict, remedy, stray};
use crate::board::Board;
use pagewise_part::card::Card;

/// One run, and what it was a run of: it can be made again.
#[derive(Debug, Clone)]
pub(super) struct Rung<'c> {
    pub(super) board: Cow<'c, Board>,
    pub(super) card: &'c Card,
    expects: Option<&'c [Option<u32>]>,
    pub(super) run: Run,
    memo: &'c Memo,
}

impl<'c> Rung<'c> {
    fn new(board: &'c Board, card: &'c Card, expects: Option<&'c [Option<u32>]>, memo: &'c Memo) -> Self {
        Self { board: Cow::Borrowed(board), card, expects, run: memo.run(board, card, expects), memo }
    }

    /// The same run with all that it leaves behind. Runs are the same each time, so none of that is kept.
    pub(super) fn played(&self) -> Played {
        run::play(&self.board, &self.memo.part(&self.board, self.card), self.expects).named(self.card)
    }
}

/// A board with its fitted part, as it runs today, and the runs made so far.
#[derive(Debug)]
pub(super) struct Baseline<'b> {
    board: Cow<'b, Board>,
    card: Arc<Card>,
    run: Run,
    memo: Memo,
}

impl<'b> Baseline<'b> {
    /// Runs the firmware on the fitted part; `card` has every assumption that its firmware needs.
    pub(super) fn new(board: Cow<'b, Board>, card: Arc<Card>, judges: Arc<Judges>) -> Self {
        let memo = Memo::new(judges);
        let run = memo.run(&board, &card, None);
        Self { board, card, run, memo }
    }

    /// The fitted part beside a candidate.
    pub(super) fn pair<'c>(&'c self, new: &'c Card) -> Pair<'c> {
        Pair { board: &self.board, fitted: &self.card, new, memo: &self.memo }
    }

    /// The board.
    pub(super) fn board(&self) -> &Board {
        &self.board
    }

    /// The firmware as it is on the fitted part, with all that this leaves behind.
    pub(super) fn played(&self) -> Played {
        run::play(&self.board, &self.memo.part(&self.board, &self.card), None).named(&self.card)
    }

    /// The firmware as it is on the fitted part.
    pub(super) fn run(&self) -> &Run {
        &self.run
    }

    /// Where the firmware takes the pointer to stand when it reads on after a write: where it stands on the fitted
    /// part. Firmware that does not work there shows nothing that another part could be held against.
    fn expects(&self) -> Option<&[Option<u32>]> {
        (self.board.firmware.reads_on_after_write && self.run.serves).then_some(self.run.pointers.as_slice())
    }
}

/// All runs behind a judgement.
#[derive(Debug)]
pub(super) struct Ladder<'c> {
    /// The first rung on which the new part serves.
    pub(super) verdict: Verdict,
    /// The firmware as it is on the fitted part.
    pub(super) old: Rung<'c>,
    /// The firmware as it is on the candidate.
    pub(super) new: Rung<'c>,
    /// With changed settings, or changed straps too, where that was needed and serves.
    pub(super) changed: Option<Rung<'c>>,
    /// The firmware as it is on the candidate with every assumption as bad as it can be, where that fails.
    pub(super) worst_case: Option<Rung<'c>>,
    /// The candidate does not serve on the board as the rules would have it.
    pub(super) refuted: bool,
}

impl<'c> Ladder<'c> {
    /// Climbs it for a case: `granted` is the candidate with every proviso granted, `verdict` what the rules say, and
    /// `proposed` the board as they would have it.
    pub(super) fn climb(
        case: &'c Case<'c>,
        granted: &'c Card,
        verdict: Verdict,
        proposed: Option<&Board>,
        baseline: &'c Baseline<'_>,
    ) -> Self {
        let (board, memo) = (case.board, &baseline.memo);
        let run = |card| Rung::new(board, card, baseline.expects(), memo);
        let (card, it_ran) = (&baseline.card, baseline.run.clone());
        let old = Rung { board: Cow::Borrowed(board), card, expects: None, run: it_ran, memo };
        let mut new = run(granted);
        // Where nothing had to be granted, it is the very same card.
        let doubtful = !ptr::eq(granted, &*case.new) && *granted != *case.new && verdict != Verdict::Reject;
        let worst_case = doubtful.then(|| run(&case.new)).filter(|worst| !worst.run.serves);
        let lands = stray::lands(board, &baseline.card, granted, memo);
        if let Some(at) = lands.filter(|_| new.run.serves) {
            let why = format!("a stray write to {at:#06x} is stored, on the fitted part WP keeps it out");
            new.run = new.run.refuted(&why);
        }
        let mut ladder = Self { verdict: Verdict::DropIn, old, new, changed: None, worst_case, refuted: false };
        if ladder.new.run.serves {
            return ladder;
        }
        let Some((verdict, own)) = changed(board, granted, memo, lands.is_some()) else {
            return Self { verdict: Verdict::Reject, ..ladder };
        };
        let as_proposed = proposed.map(|board| serving(board.clone(), granted, memo));
        ladder.refuted = matches!(as_proposed, Some(None));
        Self { verdict, changed: as_proposed.flatten().or(Some(own)), ..ladder }
    }
}

/// The part on a changed board, if it serves there.
fn serving<'c>(board: Board, card: &'c Card, memo: &'c Memo) -> Option<Rung<'c>> {
    let run = memo.serves(&board, card)?;
    Some(Rung { board: Cow::Owned(board), card, expects: None, run, memo })
}

/// The first change with which the part serves.
fn changed<'c>(board: &Board, card: &'c Card, memo: &'c Memo, exposed: bool) -> Option<(Verdict, Rung<'c>)> {
    let serving = |verdict, changed: Board| Some((verdict, serving(changed, card, memo)?));
    // No setting keeps a stray write out.
    let settings = if exposed { None } else { serving(Verdict::Reconfigure, remedy::reconfigured(board, card)) };
    settings.or_else(|| serving(Verdict::Rework, remedy::reworked(board, card)?))
}
