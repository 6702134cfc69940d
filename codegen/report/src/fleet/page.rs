//! The page of one board of a fleet, from what its results keep.

use serde::Serialize;

use super::{Fleet, Row, code, conditions, said};
use crate::offer::OfferView;
use pagewise_judge::fleet::{BoardOutcomes, Outcome};
use pagewise_judge::swap::Verdict;
use pagewise_templates::render;

#[derive(Serialize)]
struct Page {
    version: &'static str,
    accept: String,
    board: Row,
    groups: Vec<Group>,
}

#[derive(Serialize)]
struct Group {
    verdict: Verdict,
    meaning: &'static str,
    candidates: Vec<Candidate>,
    open: bool,
}

#[derive(Serialize)]
struct Candidate {
    part: String,
    id: String,
    conditions: String,
    usable: bool,
    needs: Vec<String>,
    provided_that: Vec<String>,
    offer: Option<OfferView>,
}

pub(super) fn write(fleet: &Fleet<'_>, board: &BoardOutcomes) -> String {
    let best = board.candidates.first().map(|it| it.verdict);
    let group = |verdict: Verdict| {
        let candidates = board.candidates.iter().filter(|it| it.verdict == verdict);
        let candidates: Vec<Candidate> = candidates.map(|it| candidate(fleet, it)).collect();
        (!candidates.is_empty()).then(|| Group {
            verdict,
            meaning: verdict.meaning(),
            open: Some(verdict) == best,
            candidates,
        })
    };
    let page = Page {
        version: env!("CARGO_PKG_VERSION"),
        accept: fleet.accept.to_string(),
        board: fleet.row(board.place, board, String::new()),
        groups: Verdict::ALL.into_iter().filter_map(group).collect(),
    };
    render("fleet_board.html.tera", &page)
}

fn candidate(fleet: &Fleet<'_>, outcome: &Outcome) -> Candidate {
    Candidate {
        part: code(outcome),
        id: outcome.candidate.clone(),
        conditions: conditions(outcome),
        usable: outcome.usable(fleet.accept),
        needs: outcome.needs.iter().map(said).collect(),
        provided_that: outcome.provided_that.clone(),
        offer: outcome.stock.as_ref().map(|offer| OfferView::of(offer, fleet.currency)),
    }
}
