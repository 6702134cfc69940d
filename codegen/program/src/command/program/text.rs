//! The answer of `pagewise program` for people.

use std::fmt::Write;

use super::Body;
use crate::command::socket::ROOM;
use crate::command::verify::text::differences;
use crate::output::{Tone, paint, plain, wrapped_to};
use pagewise_line::look::listed;
use pagewise_line::plan::Holds;
use pagewise_line::{Ending, Halt, Socket, UnitReport};

const REST: &str = "                ";

pub(super) fn render(body: &Body<'_>, socket: &Socket, asked: usize) -> String {
    let mut out = String::new();
    let mut previous: Option<&UnitReport> = None;
    for report in body.units {
        if asked > 3 && report.halt.is_none() && previous.is_none_or(|report| report.halt.is_none()) {
            out += &one_line(report);
        } else {
            unit(&mut out, body, socket, report);
        }
        previous = Some(report);
    }
    if body.journal_was_torn {
        row(&mut out, "note", Tone::Caution, "the last line of the journal was torn and is not a record");
    }
    if let Some(ended) = body.ended {
        row(&mut out, "ended", Tone::Caution, ended);
    }
    if asked > 1 {
        let left = asked - body.units.len();
        let left = if left > 0 { format!(", {left} not begun") } else { String::new() };
        let bad = body.not_good - (asked - body.units.len());
        let _ = writeln!(
            out,
            "{} units: {} good, {bad} not good{left}; journal {}",
            asked,
            body.good,
            plain(&body.journal)
        );
    }
    out
}

/// A unit on one line.
pub(super) fn one_line(report: &UnitReport) -> String {
    let reason = report.halt.as_ref().map_or_else(
        || format!("{} pages written, {} as wanted already", report.pages_written, report.pages_kept),
        |halt| halt.reason.clone(),
    );
    let note = report.note.as_ref().map_or_else(String::new, |note| format!(" ({note})"));
    format!("{}  {}  {}\n", painted(report.result), plain(&report.unit), plain(&(reason + &note)))
}

fn word(ending: Ending) -> (&'static str, Tone) {
    match ending {
        Ending::Good => ("good", Tone::Good),
        Ending::AlreadyGood => ("already good", Tone::Caution),
        Ending::Refused => ("refused", Tone::Caution),
        Ending::Failed => ("failed", Tone::Bad),
        Ending::Stopped => ("stopped", Tone::Caution),
    }
}

fn painted(ending: Ending) -> String {
    let (word, tone) = word(ending);
    paint(tone, word)
}

fn row(out: &mut String, step: &str, tone: Tone, text: &str) {
    let first = format!("  {}", paint(tone, format!("{step:<14}")));
    let _ = writeln!(out, "{}", wrapped_to(ROOM, &plain(text), &first, REST));
}

fn unit(out: &mut String, body: &Body<'_>, socket: &Socket, report: &UnitReport) {
    let _ = writeln!(
        out,
        "{}  {}, {}, at 0x{:02X}, bus {}",
        paint(Tone::Heading, plain(&report.unit)),
        plain(body.part),
        socket.card.density(),
        body.device_address,
        plain(&report.bus)
    );
    if let Some(earlier) = &report.note {
        row(out, "note", Tone::Caution, earlier);
    }
    look(out, socket, report);
    if let Some(backup) = &report.backup {
        let what = if report.resumed { "of the run that did not end: " } else { "" };
        row(out, "backup", Tone::Faint, &format!("{what}{backup}"));
        wrote(out, report);
    }
    if report.part_sha256.is_some() && report.differences.is_empty() {
        row(out, "verify", Tone::Faint, &format!("all {} bytes as they should be", socket.capacity()));
    }
    differences(out, &report.differences);
    if report.locked {
        row(out, "lock", Tone::Caution, "the identification page is locked for ever");
    }
    match &report.halt {
        Some(halt) => halted(out, report, halt),
        None => {
            let time = report
                .simulated_us
                .map_or_else(String::new, |us| format!("; {:.1} s of simulated time", us as f64 / 1_000_000.0));
            row(out, "good", Tone::Good, &format!("recorded in {}{time}", body.journal));
        }
    }
}

fn look(out: &mut String, socket: &Socket, report: &UnitReport) {
    let Some(contents) = &report.contents else { return };
    let others = match &report.others[..] {
        [] if socket.scan => "nobody else answers".to_owned(),
        [] => "others not asked".to_owned(),
        others => format!("{} answers too", listed(others)),
    };
    let holds = match report.held {
        Some(Holds::AsWanted) => "holds the image already".to_owned(),
        Some(Holds::Interrupted) => "is the part of a run that did not end".to_owned(),
        Some(Holds::Ours) => "holds what the line left on this unit".to_owned(),
        Some(Holds::Blank | Holds::Foreign) | None => contents.clone(),
    };
    row(out, "look", Tone::Faint, &format!("answers at {}, {others}; {holds}", listed(&socket.addresses())));
}

fn wrote(out: &mut String, report: &UnitReport) {
    let text = match (report.pages_to_write, report.pages_kept) {
        (0, _) => "nothing: every page is as wanted".to_owned(),
        (all, kept) => format!("{} of {all} pages that differ; {kept} were as wanted", report.pages_written),
    };
    row(out, "write", Tone::Faint, &text);
}

fn halted(out: &mut String, report: &UnitReport, halt: &Halt) {
    let (word, tone) = word(report.result);
    let hazard = halt.hazard.map_or_else(String::new, |hazard| format!(" [{hazard}]"));
    let step = if report.result == Ending::AlreadyGood { String::new() } else { format!("{}: ", halt.step.word()) };
    row(out, word, tone, &format!("{step}{}{hazard}", halt.reason));
    if let Some(survey) = report.survey {
        let text = format!(
            "{} pages of the image as wanted, {} as before, {} neither",
            survey.as_wanted, survey.as_before, survey.neither
        );
        row(out, "now holds", Tone::Strong, &text);
    } else if report.pages_written > 0 && report.part_sha256.is_none() {
        row(out, "now holds", Tone::Strong, "unknown: it could not be read");
    }
    row(out, "do", Tone::Strong, &halt.remedy);
    if report.backup.is_some() && matches!(report.result, Ending::Failed | Ending::Stopped) {
        let text = match halt.hazard {
            None | Some("write-protect") => "the same command takes this part up where it stopped; the backup stays",
            Some(_) => "fit the right part, then the same command; what this one held is in the backup",
        };
        row(out, "go on", Tone::Strong, text);
    }
}
