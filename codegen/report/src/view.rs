//! What every form of a report says, in the order in which it says it.

mod finding;

use serde::Serialize;

use super::offer::OfferView;
use finding::runs;
pub use finding::{FindingView, RunView, TodayView};
use pagewise_base::words::counted;
use pagewise_judge::fleet::BoardAnswer;
use pagewise_judge::swap::agreement::Tally;
use pagewise_judge::swap::{Accept, Agreement, Finding, Judgement, Setting, Shipped, Verdict};
use pagewise_part::card::Catalogue;

/// Up to this many candidates a board's candidates are all shown in full.
pub const DETAILED: usize = 3;

/// What decides how much a view says, and in which words.
#[derive(Debug, Clone, Copy)]
pub struct Look<'a> {
    /// The cards that the boards were judged with.
    pub catalogue: &'a Catalogue,
    /// What counts as usable.
    pub accept: Accept,
    /// Every candidate in full, also where a board has many.
    pub full: bool,
    /// With the runs on the simulated chips.
    pub runs: bool,
    /// Currency of the stock list's prices; empty where it states none, or there is no list.
    pub currency: &'a str,
}

/// A whole report.
#[derive(Debug, Clone, Serialize)]
pub struct Overview {
    /// Version of the program.
    pub version: &'static str,
    /// The verdict on everything, in one sentence.
    pub sentence: String,
    /// `13 boards`.
    pub boards_counted: String,
    /// Judgements in all.
    pub judgements: usize,
    /// On how many of them rules and simulation agree, in words.
    pub agreement: String,
    /// They disagree on some: a bug in Pagewise.
    pub disagree: bool,
    /// Every board has a usable candidate.
    pub usable: bool,
    /// What counts as usable, in words.
    pub accept: String,
    /// The boards, in the order of the input.
    pub boards: Vec<BoardView>,
}

/// One board.
#[derive(Debug, Clone, Serialize)]
pub struct BoardView {
    /// Position in the report, from 1.
    pub number: usize,
    /// Name.
    pub name: String,
    /// File.
    pub file: String,
    /// Fitted part as printed.
    pub fitted: String,
    /// Identifier of its card.
    pub fitted_id: String,
    /// Its size both ways; empty when no card is called so.
    pub density: String,
    /// Bytes in use.
    pub used: u32,
    /// The verdict of the first candidate, if there is one at all.
    pub best: Option<Verdict>,
    /// A candidate is usable by what is accepted.
    pub usable: bool,
    /// How many candidates got each verdict, best first.
    pub counts: [usize; 4],
    /// A stock list offers some of the candidates.
    pub stocked: bool,
    /// What stands against it with its fitted part, today; absent where nothing does.
    pub today: Option<TodayView>,
    /// The candidates, best first.
    pub candidates: Vec<CandidateView>,
}

/// One candidate on one board.
#[derive(Debug, Clone, Serialize)]
pub struct CandidateView {
    /// Position on the board, from 1.
    pub number: usize,
    /// Order code.
    pub part: String,
    /// Identifier of the card.
    pub id: String,
    /// Maker as in the published document; empty for a generic card.
    pub maker: String,
    /// Its size both ways.
    pub density: String,
    /// The verdict.
    pub verdict: Verdict,
    /// What the verdict means.
    pub meaning: &'static str,
    /// The verdict if every assumption turns out badly, where that is worse.
    pub worst_case: Option<Verdict>,
    /// On how many conditions the verdict rests: `2 conditions`; empty for none.
    pub conditions: String,
    /// It is usable by what is accepted.
    pub usable: bool,
    /// The verdict in words with what it rests on.
    pub headline: String,
    /// Nothing that was read says that it does not fit the board's footprint.
    pub may_fit: bool,
    /// What changes and what the verdict rests on, in one line; empty when nothing does.
    pub short: String,
    /// The same, the first of each kind with how many more there are.
    pub brief: String,
    /// What the verdict takes for granted.
    pub provided_that: Vec<String>,
    /// What it rests on because it was measured on samples, which nobody promises.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub as_measured: Vec<String>,
    /// Shown in full.
    pub detailed: bool,
    /// Findings, worst first.
    pub findings: Vec<FindingView>,
    /// The complete new state of the board: every setting and pin that differs from today.
    pub then: Vec<Setting>,
    /// Runs on the simulated chips.
    pub runs: Vec<RunView>,
    /// What becomes of units already shipped, where settings change; empty elsewhere.
    pub shipped: String,
    /// Rules and simulation disagree.
    pub disagree: bool,
    /// The run that would decide was spared.
    pub rules_alone: bool,
    /// What the simulation alone says.
    pub simulated: Verdict,
    /// What the stock list offers of it, if it does.
    pub offer: Option<OfferView>,
}

impl Overview {
    /// The view of a report.
    #[must_use]
    pub fn of(answers: &[BoardAnswer], look: &Look<'_>) -> Self {
        let boards: Vec<BoardView> =
            answers.iter().enumerate().map(|(at, answer)| BoardView::of(at + 1, answer, look)).collect();
        let judgements = answers.iter().map(|answer| answer.judgements.len()).sum();
        let all = answers.iter().flat_map(|answer| &answer.judgements);
        let tally: Tally = all.map(|judgement| (judgement.agree, judgement.decided_by_rules())).collect();
        Self {
            version: env!("CARGO_PKG_VERSION"),
            sentence: sentence(&boards, look.accept),
            boards_counted: counted(boards.len(), "board"),
            judgements,
            agreement: tally.sentence(),
            disagree: tally.disagree > 0,
            usable: boards.iter().all(|board| board.usable),
            accept: look.accept.to_string(),
            boards,
        }
    }
}

/// The verdict on everything, first of all.
fn sentence(boards: &[BoardView], accept: Accept) -> String {
    let usable = boards.iter().filter(|board| board.usable).count();
    let asked = match accept.worst {
        Verdict::DropIn => "that is a drop-in",
        Verdict::Reconfigure => "that needs new settings at most",
        Verdict::Rework => "that needs board work at most",
        Verdict::Reject => "of any kind",
    };
    let asked = format!("{asked}{}", if accept.conditions { ", conditions granted" } else { "" });
    match (boards, usable) {
        ([], _) => "No board was judged.".to_owned(),
        ([board], _) => match board.candidates.as_slice() {
            [] => format!("There is no candidate for {}.", board.fitted),
            [only] => format!("{} in place of {}: {}.", only.part, board.fitted, only.headline),
            [best, ..] if best.verdict == Verdict::Reject => {
                format!("None of {} candidates can take the place of {}.", board.candidates.len(), board.fitted)
            }
            [best, ..] if !best.may_fit => {
                format!("None of {} candidates fits where {} is.", board.candidates.len(), board.fitted)
            }
            [best, ..] => format!("Best in place of {}: {}, {}.", board.fitted, best.part, best.headline),
        },
        (_, usable) if usable == boards.len() => {
            format!("Each of {} boards has a candidate {asked}.", boards.len())
        }
        (_, usable) => format!("{usable} of {} boards have a candidate {asked}.", boards.len()),
    }
}

impl BoardView {
    /// The view of one board.
    #[must_use]
    pub fn of(number: usize, answer: &BoardAnswer, look: &Look<'_>) -> Self {
        let board = &answer.board;
        let card = look.catalogue.find(&board.fitted);
        let judgements = &answer.judgements;
        let detailed = |at: usize| {
            let first = judgements[..at].iter().all(|earlier| earlier.verdict != judgements[at].verdict);
            look.full || judgements.len() <= DETAILED || first
        };
        let candidates = judgements.iter().enumerate();
        Self {
            number,
            name: board.name.clone(),
            file: board.file.clone(),
            fitted: card.map_or_else(|| board.fitted.clone(), |card| card.name.clone()),
            fitted_id: judgements.first().map_or_else(|| board.fitted.clone(), |first| first.fitted.clone()),
            density: card.map_or_else(String::new, pagewise_part::card::Card::density),
            used: board.used_bytes(),
            best: judgements.first().map(|judgement| judgement.verdict),
            usable: judgements.iter().any(|judgement| look.accept.takes(judgement.verdict, judgement.worst_case)),
            counts: Verdict::ALL
                .map(|verdict| judgements.iter().filter(|judgement| judgement.verdict == verdict).count()),
            stocked: !answer.offers.is_empty(),
            today: TodayView::of(&answer.today),
            candidates: candidates
                .map(|(at, judgement)| {
                    let offer = answer.offers.get(&judgement.candidate);
                    let offer = offer.map(|offer| OfferView::of(offer, look.currency));
                    CandidateView { offer, ..CandidateView::of(at + 1, judgement, detailed(at), look) }
                })
                .collect(),
        }
    }
}

impl CandidateView {
    fn of(number: usize, judgement: &Judgement, detailed: bool, look: &Look<'_>) -> Self {
        let card = look.catalogue.find(&judgement.candidate);
        // What a rejected part would need besides is of no use.
        let matters = |finding: &&Finding| finding.proviso.is_none() || judgement.verdict != Verdict::Reject;
        Self {
            number,
            part: card.map_or_else(|| judgement.candidate.clone(), |card| card.name.clone()),
            id: judgement.candidate.clone(),
            maker: card.filter(|card| !card.is_generic()).map_or_else(String::new, |card| card.maker.clone()),
            density: card.map_or_else(String::new, pagewise_part::card::Card::density),
            verdict: judgement.verdict,
            meaning: judgement.verdict.meaning(),
            worst_case: Some(judgement.worst_case).filter(|worst| *worst > judgement.verdict),
            conditions: conditions(judgement),
            usable: look.accept.takes(judgement.verdict, judgement.worst_case),
            may_fit: judgement.may_fit(),
            headline: judgement.headline(),
            short: in_short(judgement, usize::MAX),
            brief: in_short(judgement, 1),
            provided_that: judgement.provided_that.clone(),
            as_measured: judgement.as_measured.clone(),
            detailed,
            findings: judgement.findings.iter().filter(matters).map(FindingView::of).collect(),
            then: judgement.then.clone(),
            runs: if look.runs { runs(judgement) } else { Vec::new() },
            shipped: judgement.shipped.as_ref().map_or_else(String::new, Shipped::sentence),
            disagree: judgement.agree == Agreement::Disagree,
            rules_alone: judgement.agree == Agreement::RulesAlone,
            simulated: judgement.evidence.verdict,
            offer: None,
        }
    }
}

fn conditions(judgement: &Judgement) -> String {
    match judgement.provided_that.len() {
        0 => String::new(),
        conditions => counted(conditions, "condition"),
    }
}

/// What changes, then what the verdict rests on, at most so many of each with the number of the others; empty when nothing
/// does.
fn in_short(judgement: &Judgement, most: usize) -> String {
    let reject = judgement.verdict == Verdict::Reject;
    let asking =
        judgement.findings.iter().filter(|finding| finding.asks() && (finding.verdict == Verdict::Reject || !reject));
    let changes: Vec<String> = match judgement.verdict {
        Verdict::DropIn => Vec::new(),
        Verdict::Reject => asking.map(|finding| format!("{}: {}", finding.rule, finding.compared)).collect(),
        _ => asking.map(|finding| format!("{}: {}", finding.rule, finding.remedy)).collect(),
    };
    let granted = match some(&judgement.provided_that, most, " and ") {
        none if none.is_empty() => none,
        conditions => format!("provided that {conditions}"),
    };
    let both = [some(&changes, most, "; "), granted];
    both.into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join("; ")
}

/// The first texts, and how many more there are.
fn some(texts: &[String], most: usize, between: &str) -> String {
    let shown = texts.iter().take(most).cloned().collect::<Vec<_>>().join(between);
    match texts.len().saturating_sub(most) {
        0 => shown,
        more => format!("{shown} (+{more} more)"),
    }
}
