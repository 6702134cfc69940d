//! What `pagewise generate` tells a person.

use std::path::{Path, PathBuf};

use super::Done;
use crate::output::{Tone, paint, plain, wrapped};
use pagewise_base::disk::Written;
use pagewise_emit::Generated;
use pagewise_emit::difference::{Difference, State};
use pagewise_part::card::Card;

/// The generated text itself, or what became of the files and what one must know about them.
///
/// Of a crate's folder, files that need no word are counted only.
pub(super) fn answer(
    cards: &[Card],
    generated: &Generated,
    folder: Option<&Path>,
    paths: &[PathBuf],
    done: &Done,
) -> String {
    match done {
        Done::Printed => {
            let texts: Vec<&str> = generated.files.iter().map(|file| file.text.as_str()).collect();
            texts.join("\n")
        }
        Done::Written(written) => {
            let names: Vec<String> =
                cards.iter().map(|card| format!("{} ({})", plain(&card.id), card.density())).collect();
            let of = names.join(", ");
            let mut text = String::new();
            if let Some(folder) = folder {
                let anew = written.iter().filter(|written| **written == Written::Anew).count();
                let unchanged = written.len() - anew;
                text += &format!("{}: {anew} files written, {unchanged} unchanged, for {of}\n", shown(folder));
            }
            for (path, written) in paths.iter().zip(written).filter(|_| folder.is_none()) {
                let what = if *written == Written::Anew { "written" } else { "unchanged" };
                text += &format!("{}: {what}, for {of}\n", shown(path));
            }
            text + &remarks(cards.len(), generated)
        }
        Done::Checked(found) => {
            let told = |found: &Difference| folder.is_none() || found.state != State::Same;
            let each = paths.iter().zip(found).filter(|(_, found)| told(found));
            let text: String = each.map(|(path, found)| checked(path, found)).collect();
            match folder {
                Some(folder) if text.is_empty() => {
                    format!("{}: {}\n", shown(folder), paint(Tone::Good, "as generated"))
                }
                _ => text,
            }
        }
    }
}

fn shown(path: &Path) -> String {
    plain(&path.display().to_string())
}

fn remarks(parts: usize, generated: &Generated) -> String {
    let mut text = String::new();
    let mut note = |tone, label: &str, note: String| {
        let indent = " ".repeat(label.len());
        text += &format!("{}\n", wrapped(&plain(&note), &paint(tone, label), &indent));
    };
    for limit in &generated.limits {
        note(Tone::Strong, "sets ", limit.to_string());
    }
    for cost in &generated.costs {
        note(Tone::Caution, "costs ", cost.to_string());
    }
    for assumption in &generated.assumptions {
        let of = if parts > 1 { format!("{}: ", assumption.part) } else { String::new() };
        note(Tone::Caution, "assumed ", format!("{of}{} = {}: {}", assumption.field, assumption.value, assumption.why));
    }
    for part in &generated.not_safe_on {
        note(Tone::Bad, "not safe on ", format!("{}: {}", part.id, part.why));
    }
    text
}

fn checked(path: &Path, found: &Difference) -> String {
    let path = shown(path);
    let (tone, what) = match found.state {
        State::Same => (Tone::Good, "as generated"),
        State::Different => (Tone::Bad, "differs from what is generated"),
        State::Missing => (Tone::Bad, "is missing"),
        State::Unreadable => (Tone::Bad, "cannot be read, or is not text"),
    };
    let mut text = format!("{path}: {}\n", paint(tone, what));
    for line in found.lines.lines() {
        let tone = match line.chars().next() {
            Some('+') => Tone::Good,
            Some('-') => Tone::Bad,
            _ => Tone::Faint,
        };
        text += &format!("  {}\n", paint(tone, plain(line)));
    }
    text
}
