//! The answer of `pagewise swap` for people: the view of a board, painted.

use std::fmt::Write;

use super::fleet_text::{FEW, tone};
use crate::output::{Align, Tone, paint, plain, table, width, wrapped};
use pagewise_base::words::cut;
use pagewise_judge::fleet::BoardAnswer;
use pagewise_judge::swap::{Setting, Verdict};
use pagewise_report::offer::OfferView;
use pagewise_report::view::{BoardView, CandidateView, DETAILED, FindingView, Look, RunView};

/// Where the text of a finding or a run begins.
const INDENT: &str = "                 ";

/// How boards are shown.
pub(super) struct Pages<'a> {
    /// How much is said.
    pub(super) look: Look<'a>,
    /// How many boards there are.
    pub(super) boards: usize,
}

impl Pages<'_> {
    /// The text of one board, with an empty line after it; nothing for one of many, unless everything was asked for.
    pub(super) fn board(&self, answer: &BoardAnswer) -> String {
        let (few, full) = (self.boards <= FEW, self.look.full);
        if !few && !full {
            return String::new();
        }
        let detailed = few && (full || answer.judgements.len() <= DETAILED);
        let board = BoardView::of(1, answer, &Look { runs: detailed, ..self.look });
        let mut out = heading(&board);
        today(&mut out, &board);
        if detailed {
            for candidate in &board.candidates {
                detail(&mut out, &board, candidate);
            }
        } else {
            ranking(&mut out, &board);
        }
        out.push('\n');
        out
    }
}

fn heading(board: &BoardView) -> String {
    let density = if board.density.is_empty() { String::new() } else { format!(", {}", board.density) };
    let name = format!("{}  {}", paint(Tone::Heading, plain(&board.name)), paint(Tone::Faint, plain(&board.file)));
    let fitted = format!("fitted {}{density}, {} in use", plain(&board.fitted), board.used);
    format!("{}\n{}\n", wrapped(&name, "", "  "), wrapped(&fitted, "  ", "  "))
}

fn detail(out: &mut String, board: &BoardView, candidate: &CandidateView) {
    let names = format!("  {} → {}  ", plain(&board.fitted_id), plain(&candidate.id));
    let word = candidate.verdict.word();
    let headline = plain(&candidate.headline).replacen(word, &paint(tone(candidate.verdict), word), 1);
    let _ = writeln!(out, "\n{}", wrapped(&headline, &names, "      "));
    candidate.findings.iter().for_each(|finding| one_finding(out, finding));
    all_together(out, &candidate.then);
    candidate.runs.iter().for_each(|run| one_run(out, run));
    if !candidate.shipped.is_empty() {
        let _ = writeln!(out, "{}", wrapped(&plain(&candidate.shipped), "    shipped      ", INDENT));
    }
    if candidate.disagree {
        let text = "rules and simulation disagree: this is a bug in Pagewise, please report it with the board file";
        let _ = writeln!(out, "{}", paint(Tone::Bad, wrapped(text, "    ", "    ")));
    }
    if let Some(offer) = &candidate.offer {
        let _ = writeln!(out, "{}", wrapped(&plain(&offer.sentence), "    stock list   ", INDENT));
    }
}

/// The complete new state.
fn all_together(out: &mut String, then: &[Setting]) {
    if !then.is_empty() {
        let changes: Vec<String> = then.iter().map(ToString::to_string).collect();
        let _ = writeln!(out, "{}", wrapped(&changes.join("; "), "    all together ", INDENT));
    }
}

/// What stands against the board with its fitted part, before any candidate.
fn today(out: &mut String, board: &BoardView) {
    let Some(today) = &board.today else { return };
    let _ = writeln!(out, "{}", wrapped(&paint(Tone::Caution, &today.sentence), "  ", "  "));
    today.findings.iter().for_each(|finding| one_finding(out, finding));
    all_together(out, &today.then);
    one_run(out, &today.run);
    if today.disagree {
        let text = "rules and simulation disagree: this is a bug in Pagewise, please report it with the board file";
        let _ = writeln!(out, "{}", paint(Tone::Bad, wrapped(text, "    ", "    ")));
    }
}

fn one_finding(out: &mut String, finding: &FindingView) {
    let first = format!("    {} ", paint(tone(finding.verdict), format!("{:<12}", finding.word)));
    let hazard = if finding.hazard.is_empty() { String::new() } else { format!(" [{}]", finding.hazard) };
    let compared = format!("{}: {}{hazard}", finding.rule, plain(&finding.compared));
    let _ = writeln!(out, "{}", wrapped(&compared, &first, INDENT));
    let _ = writeln!(out, "{}", wrapped(&plain(&finding.remedy), &format!("{INDENT}do: "), INDENT));
    let _ = writeln!(out, "{}", paint(Tone::Faint, wrapped(&plain(&finding.rests_on), INDENT, INDENT)));
}

fn one_run(out: &mut String, run: &RunView) {
    let first = format!("    simulated    {}: ", run.what);
    let loss = plain(&run.loss);
    let text = if run.serves {
        format!("{} ({}; all stored and read back)", paint(Tone::Good, run.outcome), run.work)
    } else if run.spared {
        format!("{}: {loss}; rules alone decide", run.outcome)
    } else {
        let named = if run.hazards.is_empty() { String::new() } else { format!(" [{}]", run.hazards.join(", ")) };
        format!("{}{named}: {loss} ({})", paint(Tone::Bad, run.outcome), run.work)
    };
    let _ = writeln!(out, "{}", wrapped(&text, &first, INDENT));
    if !run.transaction.is_empty() {
        let shown = cut(&run.transaction, width() - INDENT.len());
        let _ = writeln!(out, "{INDENT}{}", paint(Tone::Faint, shown));
    }
}

fn ranking(out: &mut String, board: &BoardView) {
    let mut columns = vec![("verdict", Align::Left), ("part", Align::Name)];
    // Where there is no room for all, what the last column says anyway, and the state, stay out.
    let wide = width() >= 76;
    let conditional =
        board.candidates.iter().any(|candidate| !candidate.provided_that.is_empty()) && (wide || !board.stocked);
    if conditional {
        columns.push(("conditions", Align::Right));
    }
    if board.stocked {
        columns.extend([("in stock", Align::Right), ("state", Align::Left), ("a year", Align::Right)]);
        if !wide {
            columns.remove(columns.len() - 2);
        }
    }
    columns.push(("what changes, and what it rests on", Align::Text));
    let serving = board.candidates.iter().filter(|candidate| candidate.verdict != Verdict::Reject);
    let rows = serving.map(|candidate| {
        let mut row = vec![paint(tone(candidate.verdict), candidate.verdict.word()), plain(&candidate.id)];
        if conditional {
            let conditions = candidate.provided_that.len();
            row.push(if conditions == 0 { String::new() } else { conditions.to_string() });
        }
        if board.stocked {
            let [pieces, state, cost] = candidate.offer.as_ref().map_or_else(Default::default, cells);
            row.push(pieces);
            row.extend(wide.then_some(state));
            row.push(cost);
        }
        row.push(plain(&candidate.brief));
        row
    });
    for line in table(&columns, rows.collect()) {
        let _ = writeln!(out, "  {line}");
    }
    let rejected = board.counts[Verdict::Reject as usize];
    let _ = writeln!(out, "  {rejected} of {} candidates cannot serve", board.candidates.len());
}

/// Pieces, state, cost of a year (of a piece where the volume is not known).
fn cells(offer: &OfferView) -> [String; 3] {
    [offer.pieces.clone(), offer.state.to_owned(), plain(&offer.yearly_cost)]
}
