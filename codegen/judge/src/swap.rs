//! Can this part take the place of that one on this board? Judged twice: by rules over the cards, and by running the
//! firmware's own assumptions against the simulated chips. The two must agree.
//!
//! [`rule`] holds one file per rule; rules compute from cards and board alone and know nothing of what follows.
//! [`firmware`] does what a board file says about its firmware, [`setup`] puts a chip into the board, [`run`] runs the
//! one on the other. The ladder is all runs behind a judgement, [`remedy`] the settings and straps of its rungs,
//! [`evidence`] what it shows. [`part`] says which chips a board cannot tell apart.

pub mod accept;
pub mod agreement;
mod case;
pub mod change;
pub mod climate;
mod complete;
mod course;
pub mod evidence;
pub mod finding;
pub mod firmware;
mod ladder;
mod memo;
pub mod part;
pub mod recorded;
pub mod remedy;
pub mod rule;
mod ruling;
pub mod run;
pub mod settings;
pub mod setup;
pub mod shipped;
mod stage;
mod stray;
pub mod today;
pub mod verdict;
mod watched;

use std::borrow::Cow;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::Serialize;

use crate::board::Board;
pub use accept::Accept;
pub use agreement::Agreement;
pub use case::{Case, Chips, Judges, Rules};
pub use change::Change;
pub use climate::Climate;
use complete::complete;
pub use evidence::{Evidence, Replay};
pub use finding::{Amend, Finding, Proviso};
use ladder::{Baseline, Ladder};
use pagewise_part::card::Card;
pub use recorded::{Recorded, Recording};
use ruling::Ruling;
pub use run::{Run, Told};
pub use settings::Setting;
pub use shipped::{Shipped, Units};
pub use today::Today;
pub use verdict::Verdict;

/// What was found for one board and one candidate.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Judgement {
    /// Name of the board.
    pub board: String,
    /// Identifier of the fitted part's card.
    pub fitted: String,
    /// Identifier of the candidate's card.
    pub candidate: String,
    /// The worst of the findings that rest on stated values.
    pub verdict: Verdict,
    /// The verdict if every assumption turns out as bad as it can be.
    pub worst_case: Verdict,
    /// What the verdict takes for granted because the sheet read does not state it.
    pub provided_that: Vec<String>,
    /// What the verdict rests on because it was measured on samples: nobody promises it.
    pub as_measured: Vec<String>,
    /// All findings, worst first; those that the board has with its fitted part too last.
    pub findings: Vec<Finding>,
    /// The complete new state: every setting and pin that differs from the board as it is, today's faults mended. Empty where
    /// nothing changes, or where no change makes the part serve.
    pub then: Vec<Setting>,
    /// What the simulation showed.
    pub evidence: Evidence,
    /// Whether rules and simulation come to the same verdict.
    pub agree: Agreement,
    /// What new settings mean for units already shipped, where the verdict asks for new settings.
    pub shipped: Option<Shipped>,
    /// What a recorded program showed, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recorded: Option<Recorded>,
}

impl Judgement {
    /// The verdict in words: `drop-in, provided that the write cycle is at most 5 ms (not stated in the sheet read)`.
    #[must_use]
    pub fn headline(&self) -> String {
        let mut text = self.verdict.to_string();
        if !self.provided_that.is_empty() {
            text += &format!(", provided that {} (not stated in the sheet read)", self.provided_that.join(" and "));
        }
        if let Some(recorded) = &self.recorded {
            text += &format!(", provided that {}", recorded.provided_that.join(" and "));
        }
        if !self.as_measured.is_empty() {
            text += &format!(", as measured on samples, which nobody promises: {}", self.as_measured.join(" and "));
        }
        text
    }

    /// The rules that decided alone: what asks for this verdict, where no run could show any of it.
    #[must_use]
    pub fn decided_by_rules(&self) -> Vec<&'static str> {
        let decide = || self.findings.iter().filter(|finding| finding.asks() && finding.verdict == self.verdict);
        if decide().any(|finding| finding.simulated) {
            return Vec::new();
        }
        let mut rules: Vec<&'static str> = decide().map(|finding| finding.rule).collect();
        rules.dedup();
        rules
    }

    /// Whether nothing that was read says that the part does not fit the board's footprint, pin by pin.
    #[must_use]
    pub fn may_fit(&self) -> bool {
        self.findings.iter().all(|finding| finding.rule != rule::FOOTPRINT || !finding.asks())
    }

    /// Its place in a ranking before the stock list is asked, best first: what cannot serve last, before it what does not fit
    /// the footprint, before that what is worse than accepted; of the rest what stands without a condition first, then by
    /// verdict.
    #[must_use]
    pub fn rank(&self, accept: Accept) -> Rank {
        let (verdict, conditional) = (self.verdict, !self.provided_that.is_empty());
        Rank {
            rejected: verdict == Verdict::Reject,
            misfit: !self.may_fit(),
            worse: verdict > accept.worst,
            conditional,
            verdict,
        }
    }
}

/// Place in a ranking, as [`Judgement::rank`] has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Rank {
    rejected: bool,
    misfit: bool,
    worse: bool,
    conditional: bool,
    verdict: Verdict,
}

impl Default for Judges {
    fn default() -> Self {
        Self { rules: Box::new(rule::all), chips: Box::new(Card::chip_model) }
    }
}

/// What new settings mean for units already shipped.
fn shipped(ladder: &Ladder<'_>, granted: &Card, ruling: &Ruling, board: &Board, baseline: &Baseline<'_>) -> Shipped {
    // What lies outside the array is not run.
    if ruling.findings.iter().any(|finding| finding.rule == rule::SECOND_REGION && finding.proviso.is_none()) {
        return Shipped::elsewhere();
    }
    let changed = ladder.changed.as_ref().filter(|_| ladder.verdict == Verdict::Reconfigure);
    let changed = changed.map_or(board, |rung| &rung.board);
    baseline.pair(granted).shipped(changed, ladder.old.run.serves)
}

/// A board with its fitted part, as candidates are measured against it.
#[derive(Debug)]
pub struct Fitted<'a> {
    board: &'a Board,
    old: Arc<Card>,
    climate: Climate,
    today: Today,
    baseline: Baseline<'a>,
    /// The board without the faults that it has today, if it has any and they can be mended.
    mended: Option<Baseline<'a>>,
    judges: Arc<Judges>,
}

/// What a judgement rests on.
struct Seen<'c> {
    ruling: Ruling,
    ladder: Ladder<'c>,
    agree: Agreement,
    then: Vec<Setting>,
    mended: Option<Run>,
    shipped: Option<Shipped>,
}

impl<'a> Fitted<'a> {
    /// Runs the board's firmware on the fitted part, once for all candidates.
    #[must_use]
    pub fn new(board: &'a Board, old: &Card) -> Self {
        Self::judged_by(board, old, Arc::default())
    }

    /// The same with other judges.
    #[must_use]
    pub fn judged_by(board: &'a Board, old: &Card, judges: Arc<Judges>) -> Self {
        let climate = Climate::of(board, old);
        let old = Arc::new(old.in_footprint(board.footprint).at_temperatures(climate.range()));
        let case = Case::new(board, climate, &old, &old);
        let itself = Ruling::on(&case, &judges.rules);
        // The board works today, so what its firmware needs of the fitted part holds.
        let old = itself.grant(&old);
        let baseline = Baseline::new(Cow::Borrowed(board), Arc::clone(&old), Arc::clone(&judges));
        let mut findings: Vec<Finding> = itself.faults().cloned().collect();
        let whole = Case { new: Arc::clone(&old), ..case };
        let complete = if findings.is_empty() { None } else { complete(&whole, &judges.rules) };
        let board_then = complete.map(|complete| {
            findings.extend(complete.brought_up);
            complete.board
        });
        let board_then = board_then.filter(|then| then != board);
        let then = board_then.as_ref().map_or_else(Vec::new, |then| settings::between(board, then));
        let mended = board_then.map(|board| Baseline::new(Cow::Owned(board), Arc::clone(&old), Arc::clone(&judges)));
        let served = mended.as_ref().map(|mended| mended.run().serves);
        let today = Today::of(findings, then, itself.visible(), baseline.run().clone(), served);
        Self { board, old, climate, today, baseline, mended, judges }
    }

    /// What stands against the board with its fitted part, today.
    #[must_use]
    pub const fn today(&self) -> &Today {
        &self.today
    }

    /// Judges one candidate, by rules and by simulation.
    #[must_use]
    pub fn judge(&self, new: &Card) -> Judgement {
        self.judge_with(new, None)
    }

    /// The same with a recorded program, which runs too.
    #[must_use]
    pub fn judge_with(&self, new: &Card, recording: Option<&dyn Recording>) -> Judgement {
        self.see(new, |seen| {
            let Seen { ruling, ladder, agree, then, mended, shipped } = seen;
            let recorded =
                recording.map(|recording| recording.run(self.board, &self.old, &ruling.grant(&Arc::new(new.clone()))));
            let judgement = Judgement {
                board: self.board.name.clone(),
                fitted: self.old.id.clone(),
                candidate: new.id.clone(),
                verdict: ruling.verdict(),
                worst_case: ruling.worst_case(),
                provided_that: ruling.provided_that(),
                as_measured: self.as_measured(new, &ruling),
                agree,
                findings: ruling.findings,
                then,
                evidence: Evidence { old: self.baseline.run().clone(), mended, ..Evidence::from(ladder) },
                shipped,
                recorded: None,
            };
            match recorded {
                Some(recorded) => judgement.with_recorded(recorded),
                None => judgement,
            }
        })
    }

    /// Runs once more what the judgement of this candidate rests on, and keeps all that the runs leave behind.
    #[must_use]
    pub fn replay(&self, new: &Card) -> Replay {
        self.see(new, |seen| Replay { old: self.baseline.played(), ..Replay::from(seen.ladder) })
    }

    /// What would be a condition, had nobody measured it.
    fn as_measured(&self, new: &Card, ruling: &Ruling) -> Vec<String> {
        let Some(promised) = &new.unmeasured else { return Vec::new() };
        let still = ruling.provided_that();
        let conditions = self.see(promised, |seen| seen.ruling.provided_that());
        conditions.into_iter().filter(|condition| !still.contains(condition)).collect()
    }

    /// The conditions of a candidate, each with the card's value that would settle it.
    #[must_use]
    pub fn conditions(&self, new: &Card) -> Vec<Proviso> {
        self.see(new, |seen| seen.ruling.provisos().into_iter().cloned().collect())
    }

    fn case(&self, new: &Card) -> Case<'a> {
        Case { fitted_works: self.today.is_sound(), ..Case::new(self.board, self.climate, &self.old, new) }
    }

    /// Judges a candidate on the board as it is; where that is worse than drop-in and the board has faults today, on the
    /// board without them too, and the better verdict stands.
    fn see<T>(&self, new: &Card, told: impl FnOnce(Seen<'_>) -> T) -> T {
        let as_it_is = self.case(new);
        let (mut ruling, granted) = self.rule(&as_it_is);
        let proposed = self.propose(&as_it_is, &granted, &mut ruling);
        let seen = self.climb(&as_it_is, &granted, ruling, proposed.as_ref(), &self.baseline);
        let may_gain = |finding: &Finding| finding.asks() && self.today.has(finding.rule);
        let Some(baseline) = self.mended.as_ref().filter(|_| seen.ruling.findings.iter().any(may_gain)) else {
            return told(seen);
        };
        let without = Case { board: baseline.board(), fitted_works: true, ..as_it_is.clone() };
        let (mut ruling, granted) = self.rule(&without);
        if ruling.verdict() >= seen.ruling.verdict() {
            return told(seen);
        }
        let proposed = self.propose(&without, &granted, &mut ruling);
        let mut other = self.climb(&without, &granted, ruling, proposed.as_ref(), baseline);
        other.mended = Some(baseline.run().clone());
        other.agree = other.agree.and(seen.agree);
        let gone = |finding: &Finding| {
            finding.asks() && !other.ruling.findings.iter().any(|it| it.rule == finding.rule && it.asks())
        };
        let gone: Vec<Finding> = seen.ruling.findings.iter().filter(|finding| gone(finding)).cloned().collect();
        other.ruling.findings.extend(gone.into_iter().map(|finding| Finding { with_fitted: true, ..finding }));
        told(other)
    }

    /// What the rules say, and the candidate with every proviso granted.
    fn rule(&self, case: &Case<'_>) -> (Ruling, Arc<Card>) {
        let mut ruling = Ruling::on(case, &self.judges.rules);
        ruling.excuse(&self.today.findings, case.is_of_fitted(), self.mended.is_some());
        let granted = ruling.grant(&case.new);
        (ruling, granted)
    }

    /// The board as the rules would have it, where they ask for something that can be changed. What only the changes bring
    /// up joins the findings.
    fn propose(&self, case: &Case<'_>, granted: &Arc<Card>, ruling: &mut Ruling) -> Option<Board> {
        if !matches!(ruling.verdict(), Verdict::Reconfigure | Verdict::Rework) {
            return None;
        }
        let whole = Case { new: Arc::clone(granted), ..case.clone() };
        let complete = complete(&whole, &self.judges.rules)?;
        ruling.join(complete.brought_up);
        ruling.excuse(&self.today.findings, case.is_of_fitted(), self.mended.is_some());
        Some(complete.board)
    }

    fn climb<'c>(
        &self,
        case: &'c Case<'c>,
        granted: &'c Card,
        ruling: Ruling,
        proposed: Option<&Board>,
        baseline: &'c Baseline<'_>,
    ) -> Seen<'c> {
        let ladder = Ladder::climb(case, granted, ruling.verdict(), proposed, baseline);
        let excused = ruling.findings.iter().any(|finding| finding.with_fitted && finding.simulated);
        let agree = match Agreement::between(ruling.visible(), ladder.verdict, ladder.new.run.spared) {
            // What was excused shows in the run all the same.
            _ if excused => Agreement::RulesAlone,
            Agreement::Agree if ladder.refuted => Agreement::Disagree,
            agree => agree,
        };
        let then = proposed.unwrap_or(case.board);
        let asks = ruling.verdict() == Verdict::Reconfigure;
        let shipped = asks.then(|| shipped(&ladder, granted, &ruling, case.board, baseline));
        let serves = ruling.verdict() != Verdict::Reject;
        let then = if serves { settings::between(self.board, then) } else { Vec::new() };
        Seen { ruling, ladder, agree, then, mended: None, shipped }
    }
}

/// Judges one candidate for one board, by rules and by simulation. For many candidates see [`Fitted`].
#[must_use]
pub fn judge(board: &Board, old: &Card, new: &Card) -> Judgement {
    Fitted::new(board, old).judge(new)
}
