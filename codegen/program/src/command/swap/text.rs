//! The answer of `pagewise swap` for people.

use std::fmt::Write;

use super::fleet_text::{self, FEW, tone};
use crate::output::{Align, Tone, paint, plain, table, wrapped};
use pagewise_base::words::cut;
use pagewise_judge::fleet::BoardAnswer;
use pagewise_judge::swap::{Agreement, Finding, Judgement, Run, Verdict};
use pagewise_part::card::Catalogue;

/// Above this many candidates a board gets a table instead of every finding.
const DETAILED: usize = 3;

/// How boards are shown.
pub(super) struct Pages<'a> {
    /// The cards.
    pub(super) catalogue: &'a Catalogue,
    /// Currency of the stock list.
    pub(super) currency: &'a str,
    /// How many boards there are.
    pub(super) boards: usize,
    /// Everything was asked for.
    pub(super) full: bool,
}

impl Pages<'_> {
    /// The text of one board, with an empty line after it.
    pub(super) fn board(&self, answer: &BoardAnswer) -> String {
        let mut out = String::new();
        let few = self.boards <= FEW;
        if !few && !self.full {
            return out;
        }
        heading(&mut out, answer, self.catalogue);
        if few && (self.full || answer.judgements.len() <= DETAILED) {
            for judgement in &answer.judgements {
                detail(&mut out, judgement);
                if let Some(offer) = answer.offers.get(&judgement.candidate) {
                    let text = fleet_text::offer(offer, self.currency);
                    let _ = writeln!(out, "{}", wrapped(&text, "    in stock     ", "                 "));
                }
            }
        } else {
            self.ranking(&mut out, answer);
        }
        out.push('\n');
        out
    }
}

fn heading(out: &mut String, answer: &BoardAnswer, catalogue: &Catalogue) {
    let board = &answer.board;
    let density = catalogue.find(&board.fitted).map_or_else(String::new, |card| format!(", {}", card.density()));
    let _ = writeln!(out, "{}  {}", paint(Tone::Heading, plain(&board.name)), paint(Tone::Faint, plain(&board.file)));
    let _ = writeln!(out, "  fitted {}{density}, {} in use", plain(&board.fitted), board.used_bytes());
}

fn detail(out: &mut String, judgement: &Judgement) {
    let headline = format!("  {} → {}  ", judgement.fitted, judgement.candidate);
    let verdict = plain(&judgement.headline());
    let painted =
        verdict.replacen(judgement.verdict.word(), &paint(tone(judgement.verdict), judgement.verdict.word()), 1);
    let _ = writeln!(out, "\n{}", wrapped(&painted, &headline, "      "));
    // What a rejected part would need besides is of no use.
    let matters = |finding: &&Finding| finding.proviso.is_none() || judgement.verdict != Verdict::Reject;
    for finding in judgement.findings.iter().filter(matters) {
        one_finding(out, finding);
    }
    let evidence = &judgement.evidence;
    one_run(out, "fitted part", &evidence.old);
    one_run(out, "candidate as it is", &evidence.new);
    if let Some(run) = &evidence.changed {
        let what = if evidence.verdict == Verdict::Rework { "with straps changed" } else { "with settings changed" };
        one_run(out, what, run);
    }
    if let Some(run) = &evidence.worst_case {
        one_run(out, "assumptions at worst", run);
    }
    if judgement.agree == Agreement::Disagree {
        let text = "rules and simulation disagree: this is a bug in Pagewise, please report it with the board file";
        let _ = writeln!(out, "{}", paint(Tone::Bad, wrapped(text, "    ", "    ")));
    }
}

fn one_finding(out: &mut String, finding: &Finding) {
    let word = match (&finding.proviso, finding.verdict) {
        (Some(_), verdict) => format!("{verdict}?"),
        (None, Verdict::DropIn) => "note".to_owned(),
        (None, verdict) => verdict.to_string(),
    };
    let first = format!("    {} ", paint(tone(finding.verdict), format!("{word:<12}")));
    let rest = "                 ";
    let hazard = finding.hazard.map_or_else(String::new, |hazard| format!(" [{hazard}]"));
    let _ =
        writeln!(out, "{}", wrapped(&format!("{}: {}{hazard}", finding.rule, plain(&finding.compared)), &first, rest));
    let _ = writeln!(out, "{}", wrapped(&plain(&finding.remedy), &format!("{rest}do: "), rest));
    let source = wrapped(&plain(&finding.source.to_string()), rest, rest);
    let _ = writeln!(out, "{}", paint(Tone::Faint, source));
}

fn one_run(out: &mut String, what: &str, run: &Run) {
    let milliseconds = run.time_us as f64 / 1000.0;
    let work = format!("{} page writes, {} bytes, {milliseconds:.1} ms", run.writes, run.bytes);
    let first = format!("    simulated    {what}: ");
    let rest = "                 ";
    if run.serves {
        let text = format!("{} ({work}; all stored and read back)", paint(Tone::Good, "serves"));
        let _ = writeln!(out, "{}", wrapped(&text, &first, rest));
        return;
    }
    if run.spared {
        let why = run.first_loss.as_deref().unwrap_or_default();
        let _ = writeln!(out, "{}", wrapped(&format!("not run: {why}; rules alone decide"), &first, rest));
        return;
    }
    let hazards: Vec<&str> = run.hazards.iter().map(|hazard| hazard.name()).collect();
    let named = if hazards.is_empty() { String::new() } else { format!(" [{}]", hazards.join(", ")) };
    let loss = plain(run.first_loss.as_deref().unwrap_or("something was reported"));
    let text = format!("{}{named}: {loss} ({work})", paint(Tone::Bad, "fails"));
    let _ = writeln!(out, "{}", wrapped(&text, &first, rest));
    if let Some(transaction) = &run.transaction {
        let _ = writeln!(out, "{rest}{}", paint(Tone::Faint, transaction));
    }
}

impl Pages<'_> {
    fn ranking(&self, out: &mut String, answer: &BoardAnswer) {
        let mut columns = vec![("verdict", Align::Left), ("part", Align::Left)];
        let stocked = !answer.offers.is_empty();
        if stocked {
            columns.extend([("stock", Align::Right), ("state", Align::Left), ("a year", Align::Right)]);
        }
        columns.push(("what changes, or what it rests on", Align::Left));
        let serving = answer.judgements.iter().filter(|judgement| judgement.verdict != Verdict::Reject);
        let rows = serving.map(|judgement| {
            let mut row = vec![paint(tone(judgement.verdict), judgement.verdict.word()), plain(&judgement.candidate)];
            if stocked {
                row.extend(fleet_text::cells(answer.offers.get(&judgement.candidate)));
            }
            row.push(cut(&plain(&what_changes(judgement)), if stocked { 28 } else { 48 }));
            row
        });
        for line in table(&columns, rows.collect()) {
            let _ = writeln!(out, "  {line}");
        }
        let rejected = answer.judgements.iter().filter(|judgement| judgement.verdict == Verdict::Reject).count();
        let _ = writeln!(out, "  {rejected} of {} candidates cannot serve", answer.judgements.len());
    }
}

fn what_changes(judgement: &Judgement) -> String {
    let worst = judgement.findings.iter().find(|finding| finding.proviso.is_none());
    match (judgement.verdict, worst) {
        (Verdict::DropIn, _) if !judgement.provided_that.is_empty() => {
            format!("provided that {}", judgement.provided_that.join(" and "))
        }
        (Verdict::DropIn, _) | (_, None) => String::new(),
        (_, Some(finding)) => format!("{}: {}", finding.rule, finding.remedy),
    }
}
