//! The answer of `pagewise marking` for people.

use std::fmt::Write;

use super::{Body, Line};
use crate::output::{Tone, paint, plain, wrapped};
use pagewise_part::marking::{Certainty, Piece};

/// Cards that are listed one by one; the others are counted.
const LISTED: usize = 8;

pub(super) fn text(body: &Body) -> String {
    let mut out = String::new();
    for line in &body.readings {
        one(&mut out, line);
    }
    let read = body.readings.iter().filter(|line| !line.reading.pieces.is_empty()).count();
    let _ = writeln!(out, "{} of {} understood, {} of a wrong family", read, body.count, body.wrong_family);
    out
}

fn one(out: &mut String, line: &Line) {
    let reading = &line.reading;
    let place = if line.line > 0 { paint(Tone::Faint, format!("  line {}", line.line)) } else { String::new() };
    let _ = writeln!(out, "{}{place}", paint(Tone::Heading, plain(&reading.text)));
    if reading.pieces.is_empty() {
        let _ = writeln!(out, "{}\n", row("nothing", "no family, density or card is claimed for this text"));
        return;
    }
    for piece in &reading.pieces {
        if reading.pieces.len() > 1 || piece.code != reading.text {
            let _ = writeln!(out, "{}", row("piece", &plain(&piece.code)));
        }
        pieces(out, piece);
    }
    not_understood(out, &reading.not_understood);
    out.push('\n');
}

fn pieces(out: &mut String, piece: &Piece) {
    for claim in &piece.families {
        let tone = if claim.family.is_wrong() { Tone::Bad } else { Tone::Strong };
        let text =
            format!("{}, {}: {}", paint(tone, claim.family.words()), certainty(claim.sure), plain(&claim.because));
        let _ = writeln!(out, "{}", row("family", &text));
    }
    if let Some(hazard) = piece.hazard {
        let _ = writeln!(out, "{}", row("hazard", &paint(Tone::Bad, hazard.name())));
    }
    for density in &piece.densities {
        let text = format!(
            "{}, {}: `{}`, {}",
            paint(Tone::Strong, &density.words),
            certainty(density.sure),
            plain(&density.said_by),
            plain(&density.because)
        );
        let _ = writeln!(out, "{}", row("density", &text));
    }
    for found in piece.matches.iter().take(LISTED) {
        let (id, maker) = (paint(Tone::Strong, &found.id), plain(&found.maker));
        let text = format!("{id} ({maker}), {}: {}", certainty(found.sure), plain(&found.because));
        let _ = writeln!(out, "{}", row("card", &text));
    }
    if piece.matches.len() > LISTED {
        let _ = writeln!(out, "{}", row("card", &format!("and {} more", piece.matches.len() - LISTED)));
    }
    if piece.matches.is_empty() && piece.hazard.is_none() {
        let _ = writeln!(out, "{}", row("card", "none has this order code"));
    }
    for remark in &piece.remarks {
        let _ = writeln!(out, "{}", row("note", &plain(remark)));
    }
    not_understood(out, &piece.not_understood);
}

fn not_understood(out: &mut String, words: &[String]) {
    if !words.is_empty() {
        let words: Vec<String> = words.iter().map(|word| format!("`{}`", plain(word))).collect();
        let _ = writeln!(out, "{}", row("unread", &format!("not understood: {}", words.join(" "))));
    }
}

fn certainty(sure: Certainty) -> String {
    let tone = match sure {
        Certainty::Certain => Tone::Good,
        Certainty::Likely => Tone::Strong,
        Certainty::Possible => Tone::Caution,
    };
    paint(tone, sure.word())
}

fn row(label: &str, text: &str) -> String {
    wrapped(text, &format!("  {label:<9}"), "           ")
}
