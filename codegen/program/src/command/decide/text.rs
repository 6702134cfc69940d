//! The answer of `pagewise decide` for people.

use super::{Body, One};
use crate::command::order::change;
use crate::output::{Tone, paint, plain, wrapped};
use pagewise_base::words::{counted, listed};

/// Conditions that are shown of one decision.
const SHOWN: usize = 6;

pub(super) fn render(body: &Body) -> String {
    let mut out: String = body.decisions.iter().map(|one| decision(one, body.check)).collect();
    for fault in &body.without_card {
        out += &format!("{}\n", wrapped(&plain(&format!("left out: {fault}")), "", "  "));
    }
    let open: usize = body.decisions.iter().map(|one| one.open.len()).sum();
    let changed = body.decisions.iter().filter(|one| !one.changed.is_empty() || !one.images.is_empty()).count();
    let what = if body.check { format!("{changed} changed, ") } else { String::new() };
    let all = counted(body.decisions.len(), "decision");
    out + &format!("{all}: {what}{} open\n", counted(open, "condition"))
}

fn decision(one: &One, check: bool) -> String {
    let name = paint(Tone::Heading, plain(&one.board));
    let state = match (&one.file, check) {
        (None, _) => paint(Tone::Bad, "no part is accepted, nothing was written"),
        (Some(_), true) if one.changed.is_empty() && one.images.is_empty() => paint(Tone::Good, "stands"),
        (Some(_), true) => paint(Tone::Bad, "changed"),
        (Some(_), false) => if one.file_changed { "written" } else { "as it was" }.to_owned(),
    };
    let file = one.file.as_ref().map_or_else(String::new, |file| format!("  {}", paint(Tone::Faint, plain(file))));
    let mut out = format!("{name}{file}: {state}\n");
    let mut say = |text: &str| out += &format!("{}\n", wrapped(&plain(text), "  ", "    "));
    if !one.accepted.is_empty() {
        say(&format!("accepted: {}", listed(&one.accepted)));
    }
    for text in &one.dropped {
        say(&format!("not accepted any more: {text}"));
    }
    one.changed.iter().map(change).chain(one.images.iter().cloned()).for_each(|text| say(&text));
    one.notes.iter().for_each(|note| say(&format!("note: {note}")));
    for open in one.open.iter().take(SHOWN) {
        say(&format!("open: {}, provided that {}", open.part, open.says));
    }
    if one.open.len() > SHOWN {
        say(&format!("open: +{} more", one.open.len() - SHOWN));
    }
    out
}
