//! What a whole fleet comes to, for people: of `pagewise swap` and of `pagewise merge`.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::output::{Align, Tone, paint, plain, table, wrapped};
use pagewise_base::words::counted;
use pagewise_judge::fleet::summary::{Chosen, Summary, Taker};
use pagewise_judge::fleet::{BoardOutcomes, Shard};
use pagewise_judge::stock::{Offer, Stock};
use pagewise_judge::swap::Verdict;

/// Candidates that are shown of a large fleet.
const SHOWN: usize = 15;

/// Names that are shown of many boards.
const NAMED: usize = 3;

/// Above this many boards only their rankings are shown, and only when asked for.
pub(super) const FEW: usize = 20;

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

/// Counts per candidate and the fewest parts, where there is more than one board, and one line that counts.
pub(in crate::command) fn render(summary: &Summary, look: &Look<'_>) -> String {
    let mut out = String::new();
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
        let serving = board.candidates.iter().filter(|outcome| outcome.verdict != Verdict::Reject);
        for outcome in serving {
            let needs: Vec<String> = outcome.needs.iter().map(|need| format!("{}: {}", need.rule, need.text)).collect();
            let offer =
                outcome.stock.as_ref().map_or_else(String::new, |stock| format!(" [{}]", offer(stock, currency)));
            let text = format!("{}{offer} {}", plain(&outcome.candidate), plain(&needs.join("; ")));
            let first = format!("  {} ", paint(tone(outcome.verdict), format!("{:<12}", outcome.verdict.word())));
            let _ = writeln!(out, "{}", wrapped(text.trim(), &first, "               "));
        }
        out.push('\n');
    }
    out
}

fn candidates(out: &mut String, summary: &Summary, look: &Look<'_>) {
    let columns = [
        ("part", Align::Left),
        ("drop-in", Align::Right),
        ("reconfigure", Align::Right),
        ("rework", Align::Right),
        ("reject", Align::Right),
        ("judged", Align::Right),
    ];
    let all = look.full || summary.candidates.len() <= SHOWN;
    let shown = if all { summary.candidates.len() } else { SHOWN };
    let rows = summary.candidates.iter().take(shown).map(|count| {
        let [drop_in, reconfigure, rework, reject] = count.by_verdict().map(|(_, boards)| boards);
        let judged = drop_in + reconfigure + rework + reject;
        let numbers = [drop_in, reconfigure, rework, reject, judged].map(|number| number.to_string());
        std::iter::once(plain(&count.candidate)).chain(numbers).collect()
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
    let or_better = if choice.accept == Verdict::DropIn { "" } else { " or better" };
    let parts = choice.parts.len();
    let bound = if choice.at_least == parts {
        "No choice has fewer.".to_owned()
    } else {
        format!("No choice has fewer than {}; the greedy choice has {}.", choice.at_least, choice.greedy)
    };
    let text = format!(
        "Fewest part numbers for {covered} of {} boards, accepting {}{or_better}: {parts}. {bound}",
        summary.boards, choice.accept
    );
    let _ = writeln!(out, "{}", wrapped(&text, "", ""));
    let named = if look.full || summary.boards <= FEW { usize::MAX } else { NAMED };
    for part in &choice.parts {
        one_part(out, part, look, named);
    }
    if !choice.uncovered.is_empty() {
        let shown = if look.full { usize::MAX } else { FEW };
        let names = names(choice.uncovered.iter().map(|board| board.name.as_str()), shown);
        let text = format!("{}: {names}", counted(choice.uncovered.len(), "board"));
        let _ = writeln!(out, "  no candidate serves");
        let _ = writeln!(out, "{}", wrapped(&text, "    ", "      "));
    }
    out.push('\n');
}

/// A part with its boards, those together that need the same.
fn one_part(out: &mut String, part: &Chosen, look: &Look<'_>, named: usize) {
    let offer = part.boards.iter().find_map(|taker| taker.stock.as_ref());
    let stock = offer.map_or_else(String::new, |offer| {
        let volume: Option<u64> = part.boards.iter().map(|taker| taker.yearly_volume.map(u64::from)).sum();
        let year = volume.map_or_else(String::new, |volume| format!(", {volume} a year wanted"));
        format!(
            ": {} in stock{year}, {}, {} each",
            offer.quantity,
            offer.state.word(),
            money(&offer.unit_price, look.currency)
        )
    });
    let _ = writeln!(out, "  {}  {}{stock}", plain(&part.candidate), counted(part.boards.len(), "board"));
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
}

/// What a board needs then.
fn asks(taker: &Taker) -> String {
    let mut asks: Vec<String> = taker.needs.iter().map(|need| format!("{}: {}", need.rule, need.text)).collect();
    if !taker.provided_that.is_empty() {
        asks.push(format!("provided that {}", taker.provided_that.join(" and ")));
    }
    plain(&asks.join("; "))
}

/// The same for many boards: the rules alone, and whether anything is taken for granted.
fn asks_in_short(taker: &Taker) -> String {
    let mut rules: Vec<&str> = taker.needs.iter().map(|need| need.rule.as_str()).collect();
    rules.dedup();
    if !taker.provided_that.is_empty() {
        rules.push("with provisos");
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
    let text = format!(
        "{}, {}: {}. {}",
        counted(summary.boards, "board"),
        counted(summary.judgements, "judgement"),
        counts.join(", "),
        summary.agreement.sentence()
    );
    let _ = writeln!(out, "{}", wrapped(&text, "", ""));
}

/// An offer in words. Whether it lasts for a year is said only where the board states what a year takes.
pub(super) fn offer(offer: &Offer, currency: &str) -> String {
    let lasts = match (offer.yearly_cost, offer.enough) {
        (None, _) => "",
        (Some(_), true) => ", enough for a year",
        (Some(_), false) => ", too few for a year",
    };
    let lead = offer.lead_time_days.map_or_else(String::new, |days| format!(", more in {days} days"));
    let year = offer.yearly_cost.map_or_else(String::new, |cost| format!(", {} a year", money(&cost, currency)));
    let each = money(&offer.unit_price, currency);
    format!("{} pieces{lasts}, {}{lead}, {each} each{year}", offer.quantity, offer.state.word())
}

/// Cells of a ranking: pieces, state, cost of a year (of a piece where the volume is not known).
pub(super) fn cells(offer: Option<&Offer>) -> [String; 3] {
    offer.map_or_else(Default::default, |offer| {
        let pieces = if offer.enough { offer.quantity.to_string() } else { format!("{} short", offer.quantity) };
        let cost = offer.yearly_cost.map_or_else(|| format!("{} each", offer.unit_price), |cost| cost.to_string());
        [pieces, offer.state.word().to_owned(), cost]
    })
}

fn money(price: &pagewise_judge::stock::Price, currency: &str) -> String {
    format!("{price} {}", plain(currency)).trim_end().to_owned()
}

/// Rows of a stock list that were read as a card, and those that no card matches.
pub(super) fn rows(stock: &Stock) -> String {
    let read =
        stock.read_as.iter().map(|row| format!("`{}` (line {}) read as {}", plain(&row.part), row.line, row.card));
    let unmatched = stock.unmatched.iter().map(|row| {
        let other = row.other_line.map_or_else(String::new, |line| format!("; another order code of line {line}"));
        format!("`{}` (line {}{other})", plain(&row.part), row.line)
    });
    some_rows(stock, "", read.collect()) + &some_rows(stock, "no card matches ", unmatched.collect())
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

#[cfg(test)]
mod tests {
    use super::*;
    use pagewise_judge::stock::{Price, State};

    #[test]
    fn an_offer_lasts_for_a_year_only_where_a_yearly_volume_is_stated() {
        let cent = |count| Price::parse("0.01", '.').unwrap().times(count);
        let of = |quantity, enough, yearly_cost| Offer {
            line: 2,
            quantity,
            enough,
            state: State::Active,
            lead_time_days: None,
            unit_price: cent(20),
            yearly_cost,
        };
        let text = |quantity, enough, cost| offer(&of(quantity, enough, cost), "EUR");
        assert_eq!(text(400, true, None), "400 pieces, active, 0.20 EUR each");
        assert_eq!(text(0, false, None), "0 pieces, active, 0.20 EUR each");
        let year = Some(cent(6000));
        assert_eq!(text(400, true, year), "400 pieces, enough for a year, active, 0.20 EUR each, 60.00 EUR a year");
        assert_eq!(text(40, false, year), "40 pieces, too few for a year, active, 0.20 EUR each, 60.00 EUR a year");
    }
}
