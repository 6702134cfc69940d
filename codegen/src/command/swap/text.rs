//! The answer of `pagewise swap` for people.

use std::fmt::Write;

use crate::card::Catalogue;
use crate::fleet::BoardAnswer;
use crate::output::{Align, Tone, paint, plain, table, wrapped};
use crate::swap::{Finding, Judgement, Run, Verdict};

/// Above this many candidates a board gets a table instead of every finding.
const DETAILED: usize = 3;

/// All boards, then one line that counts.
pub(super) fn render(answers: &[BoardAnswer], catalogue: &Catalogue, full: bool) -> String {
    let mut out = String::new();
    for answer in answers {
        heading(&mut out, answer, catalogue);
        if full || answer.judgements.len() <= DETAILED {
            for judgement in &answer.judgements {
                detail(&mut out, judgement);
            }
        } else {
            ranking(&mut out, answer);
        }
        out.push('\n');
    }
    summary(&mut out, answers);
    out
}

pub(super) fn tone(verdict: Verdict) -> Tone {
    match verdict {
        Verdict::DropIn => Tone::Good,
        Verdict::Reconfigure => Tone::Caution,
        Verdict::Rework => Tone::Serious,
        Verdict::Reject => Tone::Bad,
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
    let verdict = judgement.headline();
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
    if !judgement.agree {
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
    let _ = writeln!(out, "{}", wrapped(&format!("{}: {}{hazard}", finding.rule, finding.compared), &first, rest));
    let _ = writeln!(out, "{}", wrapped(&finding.remedy, &format!("{rest}do: "), rest));
    let source = wrapped(&finding.source.to_string(), rest, rest);
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
    let hazards: Vec<&str> = run.hazards.iter().map(|hazard| hazard.name()).collect();
    let named = if hazards.is_empty() { String::new() } else { format!(" [{}]", hazards.join(", ")) };
    let loss = run.first_loss.as_deref().unwrap_or("something was reported");
    let text = format!("{}{named}: {loss} ({work})", paint(Tone::Bad, "fails"));
    let _ = writeln!(out, "{}", wrapped(&text, &first, rest));
    if let Some(transaction) = &run.transaction {
        let _ = writeln!(out, "{rest}{}", paint(Tone::Faint, transaction));
    }
}

fn ranking(out: &mut String, answer: &BoardAnswer) {
    let columns = [("verdict", Align::Left), ("part", Align::Left), ("what changes, or what it rests on", Align::Left)];
    let rows = answer.judgements.iter().filter(|judgement| judgement.verdict != Verdict::Reject).map(|judgement| {
        let worst = judgement.findings.iter().find(|finding| finding.proviso.is_none());
        let what = match (judgement.verdict, worst) {
            (Verdict::DropIn, _) if !judgement.provided_that.is_empty() => {
                format!("provided that {}", judgement.provided_that.join(" and "))
            }
            (Verdict::DropIn, _) | (_, None) => String::new(),
            (_, Some(finding)) => format!("{}: {}", finding.rule, finding.remedy),
        };
        let cut: String = if what.chars().count() > 48 { what.chars().take(47).chain(['…']).collect() } else { what };
        vec![paint(tone(judgement.verdict), judgement.verdict.word()), judgement.candidate.clone(), cut]
    });
    for line in table(&columns, rows.collect()) {
        let _ = writeln!(out, "  {line}");
    }
    let rejected = answer.judgements.iter().filter(|judgement| judgement.verdict == Verdict::Reject).count();
    let _ = writeln!(out, "  {rejected} of {} candidates cannot serve", answer.judgements.len());
}

fn summary(out: &mut String, answers: &[BoardAnswer]) {
    let judgements: Vec<&Judgement> = answers.iter().flat_map(|answer| &answer.judgements).collect();
    let counts = Verdict::ALL.map(|verdict| {
        let count = judgements.iter().filter(|judgement| judgement.verdict == verdict).count();
        format!("{count} {}", paint(tone(verdict), verdict.word()))
    });
    let agree = judgements.iter().filter(|judgement| judgement.agree).count();
    let text = format!(
        "{}, {}: {}. Rules and simulation agree on {agree} of {}.",
        counted(answers.len(), "board"),
        counted(judgements.len(), "judgement"),
        counts.join(", "),
        judgements.len()
    );
    let _ = writeln!(out, "{}", wrapped(&text, "", ""));
}

fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}
