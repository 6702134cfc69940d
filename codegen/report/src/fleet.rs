//! Reports of many boards, made of what results keep of them: one page with a row a board, short Markdown, JUnit XML with a
//! case a board, and a page for each board.

mod junit;
mod page;

use pagewise_base::words::{counted, stems};
use pagewise_judge::fleet::order::{self, Cause, Order};
use pagewise_judge::fleet::{BoardOutcomes, Need, Outcome, Summary};
use pagewise_judge::swap::{Accept, Verdict};
use pagewise_templates::render;
use serde::Serialize;

use crate::chart::Chart;
use crate::offer::{OfferView, money};

/// Up to this many boards a report shows each with its candidates, findings and pictures.
pub const FEW: usize = 20;

/// What reports of many boards are made of: the results of a fleet, as a run has them or as `merge` reads them.
#[derive(Debug, Clone, Copy)]
pub struct Fleet<'a> {
    /// The boards with the outcomes of their candidates, best first.
    pub boards: &'a [BoardOutcomes],
    /// What counts as usable.
    pub accept: Accept,
    /// Currency of the stock list's prices; empty where it states none, or there is no list.
    pub currency: &'a str,
}

/// The view of a fleet.
#[derive(Serialize)]
pub(crate) struct View {
    version: &'static str,
    sentence: String,
    boards_counted: String,
    judgements: usize,
    agreement: String,
    disagree: bool,
    accept: String,
    /// Boards that do not suit their fitted part.
    with_faults: usize,
    chart: Option<Chart>,
    parts: Vec<Buy>,
    causes: Vec<Cause>,
    open: usize,
    fewest: Vec<Chosen>,
    at_least: usize,
    groups: Vec<Group>,
    boards: Vec<Row>,
}

/// What is ordered of one part.
#[derive(Serialize)]
struct Buy {
    part: String,
    number: String,
    boards: usize,
    /// `120 in stock, 150 needed`.
    pieces: String,
    short: bool,
    cost: String,
    /// What the boards that take it rest on.
    provided_that: Vec<Cause>,
}

/// A part of the fewest that serve the fleet.
#[derive(Serialize)]
struct Chosen {
    part: String,
    boards: usize,
}

/// Boards that take the same part for the same reasons.
#[derive(Serialize)]
struct Group {
    part: String,
    verdict: Option<Verdict>,
    asks: String,
    names: String,
    count: usize,
}

/// One board.
#[derive(Clone, Serialize)]
pub(crate) struct Row {
    number: usize,
    name: String,
    file: String,
    fitted: String,
    /// Its own page; empty where there is none.
    page: String,
    /// The first candidate that is accepted, else the first.
    part: String,
    verdict: Option<Verdict>,
    usable: bool,
    conditions: String,
    asks: String,
    offer: Option<OfferView>,
    today: Vec<String>,
}

impl<'a> Fleet<'a> {
    /// Names of the pages of the boards.
    #[must_use]
    pub fn page_names(&self) -> Vec<String> {
        let names: Vec<String> = self.boards.iter().map(|board| board.name.clone()).collect();
        stems(&names, "board").into_iter().map(|stem| format!("board-{stem}.html")).collect()
    }

    /// Short Markdown: what to order, and the boards that take the same part for the same reasons together.
    #[must_use]
    pub fn markdown(&self) -> String {
        render("fleet.md.tera", &self.view(&[]))
    }

    /// JUnit XML, a case a board: it fails where no candidate is accepted, and is an error where rules and simulation
    /// disagree.
    #[must_use]
    pub fn junit(&self) -> String {
        junit::write(self)
    }

    /// One page with a row a board. `pages` has the file of each board's own page, or is empty.
    #[must_use]
    pub fn page(&self, pages: &[String]) -> String {
        render("fleet.html.tera", &self.view(pages))
    }

    /// The page of one board, with every candidate.
    #[must_use]
    pub fn board_page(&self, board: &BoardOutcomes) -> String {
        page::write(self, board)
    }

    fn view(&self, pages: &[String]) -> View {
        let summary = Summary::of(self.boards, self.accept);
        let order = Order::of(self.boards, self.accept);
        let rows = self.boards.iter().enumerate();
        let rows = rows.map(|(at, board)| self.row(at, board, pages.get(at).cloned().unwrap_or_default()));
        let boards: Vec<Row> = rows.collect();
        let usable = boards.iter().filter(|row| row.usable).count();
        View {
            version: env!("CARGO_PKG_VERSION"),
            sentence: format!("{usable} of {} have a candidate that is accepted.", counted(boards.len(), "board")),
            boards_counted: counted(boards.len(), "board"),
            judgements: summary.judgements,
            agreement: summary.agreement.sentence(),
            disagree: summary.agreement.disagree > 0,
            accept: self.accept.to_string(),
            with_faults: summary.with_faults,
            chart: Chart::of(self.boards, &summary, self.accept),
            parts: order.parts.iter().map(|buy| self.buy(buy)).collect(),
            open: order.causes.iter().map(|cause| cause.boards).sum(),
            causes: order.causes,
            at_least: summary.cover.at_least,
            fewest: summary
                .cover
                .parts
                .iter()
                .map(|part| Chosen { part: part.candidate.clone(), boards: part.boards.len() })
                .collect(),
            groups: groups(&boards),
            boards,
        }
    }

    fn buy(&self, buy: &order::Buy) -> Buy {
        Buy {
            part: buy.order_code.clone(),
            number: buy.number.clone().unwrap_or_default(),
            boards: buy.boards,
            pieces: buy.pieces(),
            short: buy.short > 0,
            cost: buy.cost.as_ref().map_or_else(String::new, |cost| money(cost, self.currency)),
            provided_that: buy.provided_that.clone(),
        }
    }

    fn row(&self, at: usize, board: &BoardOutcomes, page: String) -> Row {
        let taken = board.candidates.iter().find(|it| it.usable(self.accept));
        let best = taken.or(board.candidates.first());
        Row {
            number: at + 1,
            name: board.name.clone(),
            file: board.file.clone(),
            fitted: board.fitted.clone(),
            page,
            part: best.map_or_else(String::new, code),
            verdict: best.map(|it| it.verdict),
            usable: taken.is_some(),
            conditions: best.map_or_else(String::new, conditions),
            asks: best.map_or_else(String::new, asks),
            offer: best.and_then(|it| it.stock.as_ref()).map(|offer| OfferView::of(offer, self.currency)),
            today: board.today.iter().map(said).collect(),
        }
    }
}

/// What one orders: as the stock list has it, else the card.
fn code(outcome: &Outcome) -> String {
    outcome.stock.as_ref().map_or_else(|| outcome.candidate.clone(), |offer| offer.part.clone())
}

fn conditions(outcome: &Outcome) -> String {
    match outcome.provided_that.len() {
        0 => String::new(),
        some => counted(some, "condition"),
    }
}

fn said(need: &Need) -> String {
    format!("{}: {}", need.rule, need.text)
}

/// The first thing that has to be done, and how many more there are.
fn asks(outcome: &Outcome) -> String {
    let more = |rest: usize| if rest == 0 { String::new() } else { format!(" (+{rest} more)") };
    outcome.needs.first().map_or_else(String::new, |need| said(need) + &more(outcome.needs.len() - 1))
}

/// Boards that take the same part for the same reasons, largest group first; those without one last.
fn groups(rows: &[Row]) -> Vec<Group> {
    let mut groups: Vec<(&Row, Vec<&str>)> = Vec::new();
    let rule = |row: &Row| row.asks.split(": ").next().unwrap_or_default().to_owned();
    let key = |row: &Row| (row.usable, row.usable.then(|| row.part.clone()), row.verdict, rule(row));
    for row in rows {
        match groups.iter_mut().find(|(first, _)| key(first) == key(row)) {
            Some((_, names)) => names.push(&row.name),
            None => groups.push((row, vec![&row.name])),
        }
    }
    groups.sort_by_key(|(row, names)| (!row.usable, std::cmp::Reverse(names.len())));
    let group = |(row, names): (&Row, Vec<&str>)| Group {
        part: if row.usable { row.part.clone() } else { String::new() },
        verdict: row.verdict.filter(|_| row.usable),
        asks: rule(row),
        count: names.len(),
        names: names.join(", "),
    };
    groups.into_iter().map(group).collect()
}
