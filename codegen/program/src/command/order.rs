//! `pagewise order`: what to buy, from the results of `swap`.

use std::path::PathBuf;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use crate::output::{Align, Answer, Exit, Shape, Tone, answers, paint, plain, table, wrapped};
use pagewise_base::disk;
use pagewise_base::fault::Faults;
use pagewise_base::table as sheet;
use pagewise_base::words::{counted, listed};
use pagewise_judge::fleet::merge;
use pagewise_judge::fleet::order::{Buy, Cause, Line, Order};
use pagewise_judge::fleet::since::{self, Change};
use pagewise_judge::swap::Verdict;
use pagewise_report::offer::money;

/// Say what to order for each board, and how much of each part, from results that `swap --lines` wrote.
///
/// The results say which verdicts are accepted; a stock list given to `swap` brings order codes, own numbers, prices and
/// quantities.
#[derive(Debug, Args)]
#[command(after_help = "Exit code 1 when a board is left without a part.")]
pub struct OrderCommand {
    /// Files that `pagewise swap --lines FILE` wrote: a whole fleet, or one of every shard.
    #[arg(value_name = "RESULTS", required = true)]
    pub files: Vec<PathBuf>,
    /// Write a row a board: what to order, what changes, on what it rests, cost, shortage (.csv, .xlsx).
    #[arg(long, value_name = "FILE")]
    pub boards: Option<PathBuf>,
    /// Write a row a part: quantity for all boards that take it, against stock (.csv, .xlsx).
    #[arg(long, value_name = "FILE")]
    pub parts: Option<PathBuf>,
    /// Results of an earlier run: say which judgements changed, and why.
    #[arg(long, value_name = "FILE")]
    pub since: Vec<PathBuf>,
}

#[derive(JsonSchema, Serialize)]
struct Body<'o> {
    currency: &'o str,
    order: &'o Order,
    changed: Option<&'o [Change]>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl OrderCommand {
    /// Runs the command.
    ///
    /// # Errors
    /// What is wrong with any file of results, or a file that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let merged = merge::read(&self.files)?;
        let earlier = (!self.since.is_empty()).then(|| merge::read(&self.since)).transpose()?;
        let order = Order::of(&merged.boards, merged.header.accepts());
        let changed = earlier.map(|earlier| since::changes(&earlier.boards, &merged.boards));
        let currency = merged.header.currency.as_str();
        let mut files = Vec::new();
        for (path, rows) in [(&self.boards, board_rows(&order, currency)), (&self.parts, part_rows(&order, currency))] {
            if let Some(path) = path {
                files.push((path.as_path(), sheet::written(path, &rows)?));
            }
        }
        let files: Vec<_> = files.iter().map(|(path, bytes)| (*path, bytes.as_slice())).collect();
        disk::replace_all(&files)?;
        let exit = if order.boards.iter().all(|line| line.take.is_some()) { Exit::Usable } else { Exit::Against };
        let body = Body { currency, order: &order, changed: changed.as_deref() };
        Ok(Answer::new(options.reader(), "order", exit, &body, || text(&order, changed.as_deref(), currency)))
    }
}

fn row(cells: &[&str]) -> Vec<String> {
    cells.iter().map(|cell| (*cell).to_owned()).collect()
}

fn number<N: ToString>(number: Option<N>) -> String {
    number.map_or_else(String::new, |number| number.to_string())
}

fn board_rows(order: &Order, currency: &str) -> Vec<Vec<String>> {
    let head = [
        "board",
        "file",
        "fitted",
        "order code",
        "own number",
        "verdict",
        "what changes",
        "provided that",
        "a year",
        "in stock",
        "short",
        "unit price",
        "cost a year",
        "currency",
        "open",
    ];
    let one = |line: &Line| {
        let take = line.take.as_ref();
        let stock = take.and_then(|take| take.stock.as_ref());
        let short = stock.zip(line.yearly_volume).map(|(offer, year)| u64::from(year).saturating_sub(offer.quantity));
        vec![
            line.board.clone(),
            line.file.clone(),
            line.fitted.clone(),
            take.map_or_else(String::new, |take| take.order_code.clone()),
            take.and_then(|take| take.number.clone()).unwrap_or_default(),
            take.map_or("", |take| take.verdict.word()).to_owned(),
            take.map_or_else(String::new, |take| take.changes.join("; ")),
            take.map_or_else(String::new, |take| take.provided_that.join("; ")),
            number(line.yearly_volume),
            number(stock.map(|offer| offer.quantity)),
            number(short),
            number(stock.map(|offer| offer.unit_price)),
            number(stock.and_then(|offer| offer.yearly_cost)),
            currency.to_owned(),
            line.open.join("; "),
        ]
    };
    std::iter::once(row(&head)).chain(order.boards.iter().map(one)).collect()
}

fn part_rows(order: &Order, currency: &str) -> Vec<Vec<String>> {
    let head = [
        "order code",
        "own number",
        "boards",
        "needed a year",
        "boards without volume",
        "in stock",
        "short",
        "cost",
        "currency",
        "provided that",
        "open",
    ];
    let with_counts = |causes: &[Cause]| {
        let each = causes.iter().map(|cause| format!("{} ({})", cause.cause, counted(cause.boards, "board")));
        each.collect::<Vec<_>>().join("; ")
    };
    let one = |buy: &Buy| {
        vec![
            buy.order_code.clone(),
            buy.number.clone().unwrap_or_default(),
            buy.boards.to_string(),
            buy.needed.to_string(),
            buy.without_volume.to_string(),
            number(buy.in_stock),
            buy.short.to_string(),
            number(buy.cost),
            currency.to_owned(),
            with_counts(&buy.provided_that),
            String::new(),
        ]
    };
    // Boards that are left without a part stand below, a row a cause.
    let left = |cause: &Cause| {
        let mut cells = vec![String::new(); head.len()];
        cells[2] = cause.boards.to_string();
        cells[head.len() - 1] = format!("nothing to order: {}", cause.cause);
        cells
    };
    let parts = order.parts.iter().map(one);
    std::iter::once(row(&head)).chain(parts).chain(order.causes.iter().map(left)).collect()
}

/// Conditions that are shown of one part.
const CONDITIONS: usize = 3;

fn text(order: &Order, changed: Option<&[Change]>, currency: &str) -> String {
    let mut out = String::from("To order\n");
    let columns =
        [("part", Align::Name), ("boards", Align::Right), ("stock against need", Align::Left), ("cost", Align::Right)];
    let rows = order.parts.iter().map(|buy| {
        let code =
            buy.number.as_ref().map_or_else(|| buy.order_code.clone(), |own| format!("{} ({own})", buy.order_code));
        let stock = if buy.short > 0 { paint(Tone::Bad, buy.pieces()) } else { buy.pieces() };
        let cost = buy.cost.as_ref().map_or_else(String::new, |cost| plain(&money(cost, currency)));
        vec![plain(&code), buy.boards.to_string(), stock, cost]
    });
    for line in table(&columns, rows.collect()) {
        out += &format!("  {line}\n");
    }
    for buy in &order.parts {
        for cause in buy.provided_that.iter().take(CONDITIONS) {
            let text = format!("{} provided that {} ({})", buy.order_code, cause.cause, counted(cause.boards, "board"));
            out += &format!("{}\n", wrapped(&plain(&text), "  ", "    "));
        }
        if buy.provided_that.len() > CONDITIONS {
            let more = counted(buy.provided_that.len() - CONDITIONS, "more condition");
            let text = format!("{} rests on +{more}; --parts FILE has them all", plain(&buy.order_code));
            out += &format!("{}\n", wrapped(&text, "  ", "    "));
        }
    }
    let open: usize = order.causes.iter().map(|cause| cause.boards).sum();
    if open > 0 {
        let text = format!("{}: nothing to order; {}", counted(open, "board"), listed(&order.causes));
        out += &format!("\n{}\n", wrapped(&plain(&text), "", "  "));
    }
    let Some(changed) = changed else { return out };
    out += &format!("\n{} since then\n", counted(changed.len(), "changed judgement"));
    for one in changed {
        out += &format!("{}\n", wrapped(&plain(&format!("{} → {}", one.board, change(one))), "  ", "    "));
    }
    out
}

/// A judgement that is another one now: of which part, what it was, and why.
pub(super) fn change(change: &Change) -> String {
    let word = |verdict: Option<Verdict>| verdict.map_or("not judged", Verdict::word);
    let added = change.added.iter().map(|text| format!("new: {text}"));
    let why = listed_by(added.chain(change.gone.iter().map(|text| format!("gone: {text}"))));
    let was = if change.was == change.is { String::new() } else { format!(", was {}", word(change.was)) };
    format!("{}: {}{was}{why}", change.candidate, word(change.is))
}

fn listed_by(reasons: impl Iterator<Item = String>) -> String {
    let reasons: Vec<String> = reasons.collect();
    if reasons.is_empty() { String::new() } else { format!("; {}", reasons.join("; ")) }
}
