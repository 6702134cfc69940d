//! What a whole fleet comes to, for people: of `pagewise swap` and of `pagewise merge`.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::output::{Align, Tone, paint, plain, table, width, wrapped};
use pagewise_base::fault::Fault;
use pagewise_base::words::counted;
use pagewise_judge::fleet::summary::{Chosen, Summary, Taker};
use pagewise_judge::fleet::{BoardOutcomes, Shard};
use pagewise_judge::stock::Stock;
use pagewise_judge::swap::{Accept, Verdict};
pub(super) use pagewise_report::fleet::FEW;
use pagewise_report::offer::{OfferView, money};

/// Candidates that are shown of a large fleet.
const SHOWN: usize = 15;

/// Names that are shown of many boards.
const NAMED: usize = 3;

/// How a fleet is shown.
pub(in crate::command) struct Look<'a> {
    /// Currency of the stock list.
    pub(in crate::command) currency: &'a str,
    /// Everything was asked for.
    pub(in crate::command) full: bool,
    /// Which part of the fleet was judged.
    pub(in crate::command) shard: Shard,
}

pub(super) fn tone(verdict: Verdict) -> Tone {
    match verdict {
        Verdict::DropIn => Tone::Good,
        Verdict::Reconfigure => Tone::Caution,
        Verdict::Rework => Tone::Serious,
        Verdict::Reject => Tone::Bad,
    }
}

/// How many boards do not work with their fitted part as their files have it, first of all.
fn today(out: &mut String, summary: &Summary) {
    let count = summary.with_faults;
    if count > 0 && summary.boards > 1 {
        let verb = if count == 1 { "disagrees" } else { "disagree" };
        let text = format!(
            "{count} of {} boards {verb} with the fitted part today, apart from any swap: what their files say does not \
             suit it. That is not held against the candidates.",
            summary.boards
        );
        let _ = writeln!(out, "{}\n", paint(Tone::Caution, wrapped(&text, "", "")));
    }
}

/// Counts per candidate and the fewest parts, where there is more than one board, and one line that counts.
pub(in crate::command) fn render(summary: &Summary, look: &Look<'_>) -> String {
    let mut out = String::new();
    today(&mut out, summary);
    if summary.boards > 1 {
        candidates(&mut out, summary, look);
        if look.shard == Shard::WHOLE {
            cover(&mut out, summary, look);
        } else {
            let text = format!(
                "This is shard {} of the fleet. `pagewise merge` puts the --lines files of all shards together and finds \
                 the fewest part numbers.",
                look.shard
            );
            let _ = writeln!(out, "{}\n", wrapped(&text, "", ""));
        }
    }
    count(&mut out, summary);
    out
}

/// The ranking of every board from what lines of results keep.
pub(in crate::command) fn rankings(boards: &[BoardOutcomes], currency: &str) -> String {
    let mut out = String::new();
    for board in boards {
        let _ = writeln!(out, "{}  {}", plain(&board.name), plain(&board.file));
        for fault in &board.today {
            let text = plain(&format!("{}: {}", fault.rule, fault.text));
            let first = format!("  {} ", paint(Tone::Caution, format!("{:<12}", "today")));
            let _ = writeln!(out, "{}", wrapped(&text, &first, "               "));
        }
        let serving = board.candidates.iter().filter(|outcome| outcome.verdict != Verdict::Reject);
        for outcome in serving {
            let needs: Vec<String> = outcome.needs.iter().map(|need| format!("{}: {}", need.rule, need.text)).collect();
            let offer = outcome
                .stock
                .as_ref()
                .map_or_else(String::new, |stock| format!(" [{}]", plain(&OfferView::of(stock, currency).sentence)));
            let granted = provided_that(&outcome.provided_that);
            let asks: Vec<String> = needs.into_iter().chain(granted).collect();
            let text = format!("{}{offer} {}", plain(&outcome.candidate), plain(&asks.join("; ")));
            let first = format!("  {} ", paint(tone(outcome.verdict), format!("{:<12}", outcome.verdict.word())));
            let _ = writeln!(out, "{}", wrapped(text.trim(), &first, "               "));
        }
        out.push('\n');
    }
    out
}

fn candidates(out: &mut String, summary: &Summary, look: &Look<'_>) {
    let mut columns = vec![
        ("part", Align::Name),
        ("drop-in", Align::Right),
        ("no condition", Align::Right),
        ("reconfigure", Align::Right),
        ("rework", Align::Right),
        ("reject", Align::Right),
        ("judged", Align::Right),
    ];
    // The sum of the others is the first to go.
    if width() < 76 {
        columns.pop();
    }
    let all = look.full || summary.candidates.len() <= SHOWN;
    let shown = if all { summary.candidates.len() } else { SHOWN };
    let rows = summary.candidates.iter().take(shown).map(|count| {
        let [drop_in, reconfigure, rework, reject] = count.by_verdict().map(|(_, boards)| boards);
        let judged = drop_in + reconfigure + rework + reject;
        let numbers = [drop_in, count.unconditional_drop_in, reconfigure, rework, reject, judged]
            .map(|number| number.to_string());
        std::iter::once(plain(&count.candidate)).chain(numbers).take(columns.len()).collect()
    });
    let _ = writeln!(out, "Boards by verdict, for each candidate");
    for line in table(&columns, rows.collect()) {
        let _ = writeln!(out, "  {line}");
    }
    if !all {
        let _ = writeln!(out, "  and {} more (--full shows all)", summary.candidates.len() - shown);
    }
    out.push('\n');
}

fn cover(out: &mut String, summary: &Summary, look: &Look<'_>) {
    let choice = &summary.cover;
    let covered = summary.boards - choice.uncovered.len();
    let accept = Accept { worst: choice.accept, conditions: choice.accept_conditions };
    let parts = choice.parts.len();
    let bound = if choice.at_least == parts {
        "No choice has fewer.".to_owned()
    } else {
        format!("No choice has fewer than {}; the greedy choice has {}.", choice.at_least, choice.greedy)
    };
    let text =
        format!("Fewest part numbers for {covered} of {} boards, accepting {accept}: {parts}. {bound}", summary.boards);
    let _ = writeln!(out, "{}", wrapped(&text, "", ""));
    let named = if look.full || summary.boards <= FEW { usize::MAX } else { NAMED };
    for part in &choice.parts {
        one_part(out, part, look, named);
    }
    if !choice.uncovered.is_empty() {
        let shown = if look.full { usize::MAX } else { FEW };
        let names = names(choice.uncovered.iter().map(|board| board.name.as_str()), shown);
        let with = choice.uncovered.iter().filter(|board| board.with_conditions).count();
        let verb = if with == 1 { "has" } else { "have" };
        let with = match (with, accept.conditions) {
            (0, _) | (_, true) => String::new(),
            _ => format!(" ({with} of them {verb} one with --accept-conditions)"),
        };
        let text = format!("{}{with}: {names}", counted(choice.uncovered.len(), "board"));
        let _ = writeln!(out, "  no usable candidate");
        let _ = writeln!(out, "{}", wrapped(&text, "    ", "      "));
    }
    out.push('\n');
}

/// A part with its boards, those together that need the same.
fn one_part(out: &mut String, part: &Chosen, look: &Look<'_>, named: usize) {
    let offer = part.boards.iter().find_map(|taker| taker.stock.as_ref());
    let stock = offer.map_or_else(String::new, |offer| {
        let volume: Option<u64> = part.boards.iter().map(|taker| taker.yearly_volume.map(u64::from)).sum();
        let year = volume.map_or_else(String::new, |volume| format!(", {volume} needed a year"));
        format!(
            ": {} in stock{year}, {}, {} each",
            offer.quantity,
            offer.state.word(),
            plain(&money(&offer.unit_price, look.currency))
        )
    });
    let head = format!("{}  {}{stock}", plain(&part.candidate), counted(part.boards.len(), "board"));
    let _ = writeln!(out, "{}", wrapped(&head, "  ", "    "));
    let mut groups: BTreeMap<(Verdict, String), Vec<&str>> = BTreeMap::new();
    for taker in &part.boards {
        let asks = if named == usize::MAX { asks(taker) } else { asks_in_short(taker) };
        groups.entry((taker.verdict, asks)).or_default().push(&taker.name);
    }
    for ((verdict, asks), boards) in groups {
        let asks = if asks.is_empty() { String::new() } else { format!(" ({asks})") };
        let text = format!("{}{asks}: {}", boards.len(), names(boards.iter().copied(), named));
        let first = format!("    {} ", paint(tone(verdict), format!("{:<11}", verdict.word())));
        let _ = writeln!(out, "{}", wrapped(&text, &first, "                  "));
    }
    if named != usize::MAX {
        conditions(out, &part.boards);
    }
}

/// What the boards of a part take for granted, with the number of boards; of few boards each says it itself.
fn conditions(out: &mut String, boards: &[Taker]) {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for condition in boards.iter().flat_map(|taker| &taker.provided_that) {
        *counts.entry(condition).or_default() += 1;
    }
    for (condition, count) in counts {
        let text = format!("{} ({})", plain(condition), counted(count, "board"));
        let _ = writeln!(out, "{}", wrapped(&text, "    provided that ", "                  "));
    }
}

fn provided_that(conditions: &[String]) -> Option<String> {
    (!conditions.is_empty()).then(|| format!("provided that {}", conditions.join(" and ")))
}

/// What a board needs then.
fn asks(taker: &Taker) -> String {
    let mut asks: Vec<String> = taker.needs.iter().map(|need| format!("{}: {}", need.rule, need.text)).collect();
    asks.extend(provided_that(&taker.provided_that));
    plain(&asks.join("; "))
}

/// The same for many boards: the rules alone, and whether anything is taken for granted, which stands below.
fn asks_in_short(taker: &Taker) -> String {
    let mut rules: Vec<&str> = taker.needs.iter().map(|need| need.rule.as_str()).collect();
    rules.dedup();
    if !taker.provided_that.is_empty() {
        rules.push("with conditions");
    }
    plain(&rules.join(", "))
}

fn names<'n>(names: impl ExactSizeIterator<Item = &'n str>, most: usize) -> String {
    let rest = names.len().saturating_sub(most);
    let mut shown: Vec<String> = names.take(most).map(plain).collect();
    if rest > 0 {
        shown.push(format!("and {rest} more"));
    }
    shown.join(", ")
}

fn count(out: &mut String, summary: &Summary) {
    let counts = summary
        .total()
        .by_verdict()
        .map(|(verdict, count)| format!("{count} {}", paint(tone(verdict), verdict.word())));
    let [drop_in, rest @ ..] = counts;
    let drop_in = format!("{drop_in} ({} without a condition)", summary.total().unconditional_drop_in);
    let counts = [vec![drop_in], rest.to_vec()].concat();
    let text = format!(
        "{}, {}: {}. {}",
        counted(summary.boards, "board"),
        counted(summary.judgements, "judgement"),
        counts.join(", "),
        summary.agreement.sentence()
    );
    let _ = writeln!(out, "{}", wrapped(&text, "", ""));
}

/// Rows of a stock list that were read as a card, and those that no card matches.
pub(super) fn rows(stock: &Stock) -> String {
    let read =
        stock.read_as.iter().map(|row| format!("`{}` (line {}) read as {}", plain(&row.part), row.line, row.card));
    let unmatched = stock.unmatched.iter().map(|row| format!("`{}` (line {})", plain(&row.part), row.line));
    some_rows(stock, "", read.collect()) + &some_rows(stock, "no card matches ", unmatched.collect())
}

/// Boards that nothing can be said of, since no card describes their fitted part.
pub(super) fn not_judged(without_card: &[Fault]) -> String {
    without_card.iter().map(|fault| wrapped(&plain(&format!("not judged: {fault}")), "", "  ") + "\n").collect()
}

fn some_rows(stock: &Stock, what: &str, mut rows: Vec<String>) -> String {
    const MOST: usize = 10;
    if rows.is_empty() {
        return String::new();
    }
    if rows.len() > MOST {
        let more = format!("and {} more", rows.len() - MOST);
        rows.truncate(MOST);
        rows.push(more);
    }
    let text = format!("{}: {what}{}", plain(&stock.file), rows.join(", "));
    wrapped(&text, "", "  ") + "\n\n"
}
