//! A run on a candidate beside the run on the fitted part.

use std::collections::BTreeSet;

use super::once::Ran;
use super::setting::{Bench, Setting};
use pagewise_base::words::{counted, spaced_hex};
use pagewise_report::trial::{Loss, Run};

/// Bytes that are shown of what differs.
const SHOWN: usize = 8;

/// The run of a part; the fitted one is compared with nothing.
pub(super) fn run(bench: &Bench, part: usize, setting: &Setting, fitted: &Ran, ran: &Ran) -> Run {
    let (is_fitted, part) = (part == 0, &bench.parts[part]);
    let losses = if is_fitted { Vec::new() } else { losses(bench, fitted, ran) };
    let names: BTreeSet<&str> = ran.hazards.iter().map(|seen| seen.hazard.as_str()).collect();
    Run {
        part: part.name.clone(),
        fitted: is_fitted,
        setting: setting.words(),
        seed: setting.seed,
        exit: ran.exit,
        losses,
        hazards: names.into_iter().map(str::to_owned).collect(),
        transfers: ran.transfers,
        took_us: ran.now_ns / 1000,
        told: ran.told.clone(),
        repeat: bench.repeat(part, setting, ""),
    }
}

fn losses(bench: &Bench, fitted: &Ran, ran: &Ran) -> Vec<Loss> {
    let before: BTreeSet<&str> = fitted.hazards.iter().map(|seen| seen.hazard.as_str()).collect();
    let new = ran.hazards.iter().find(|seen| !before.contains(seen.hazard.as_str()));
    let mut losses = Vec::new();
    let mut add = |kind, text: String| {
        losses.push(Loss {
            kind,
            text,
            hazard: new.map_or_else(String::new, |seen| seen.hazard.clone()),
            transfer: new.map_or(0, |seen| seen.transfer),
            on_the_bus: new.map_or_else(String::new, |seen| seen.on_the_bus.clone()),
            known: false,
        });
    };
    match (fitted.exit, ran.exit) {
        (_, None) if fitted.exit.is_some() => add("time", "the program does not end".to_owned()),
        (was, is) if was != is => {
            let code = |exit: Option<u8>| exit.map_or_else(|| "no end".to_owned(), |code| code.to_string());
            let said = if ran.said.is_empty() { String::new() } else { format!(": {}", ran.said) };
            add("exit", format!("exit code {} instead of {}{said}", code(is), code(was)));
        }
        _ => {}
    }
    for (name, was) in &fitted.memory {
        let of = if name.is_empty() { String::new() } else { format!("{name}: ") };
        match ran.memory.get(name) {
            None => add("memory", format!("{of}nothing was stored or read")),
            Some(is) => {
                if let Some(text) = memory(&bench.contents, was, is) {
                    add("memory", format!("{of}{text}"));
                }
            }
        }
    }
    let differs = fitted.readings.iter().find_map(|(asked, was)| {
        let is = ran.readings.get(asked).filter(|is| *is != was)?;
        Some((asked, was, is))
    });
    if let Some(((address, header, _), was, is)) = differs {
        let header = if header.is_empty() { String::new() } else { format!(" after {}", spaced_hex(header)) };
        let text = format!("a read from 0x{address:02X}{header} gives {} instead of {}", shown(is), shown(was));
        add("reads", text);
    }
    if losses.is_empty()
        && let Some(seen) = new
    {
        losses.push(Loss {
            kind: "hazard",
            text: seen.text.clone(),
            hazard: seen.hazard.clone(),
            transfer: seen.transfer,
            on_the_bus: seen.on_the_bus.clone(),
            known: false,
        });
    }
    losses
}

/// Where memory differs: bytes that only one part has count as those that it began with.
pub(super) fn memory(contents: &[u8], was: &[u8], is: &[u8]) -> Option<String> {
    let at =
        |memory: &[u8], offset: usize| memory.get(offset).or_else(|| contents.get(offset)).copied().unwrap_or(0xFF);
    let all: Vec<usize> = (0..was.len().max(is.len())).filter(|offset| at(was, *offset) != at(is, *offset)).collect();
    let first = *all.first()?;
    let run = all.iter().zip(first..).take_while(|(offset, next)| **offset == *next).count();
    let bytes = |memory: &[u8]| (first..first + run).map(|offset| at(memory, offset)).collect::<Vec<_>>();
    Some(format!(
        "{} differ, first at 0x{first:04X}: {} instead of {}",
        counted(all.len(), "byte"),
        shown(&bytes(is)),
        shown(&bytes(was))
    ))
}

fn shown(bytes: &[u8]) -> String {
    let more = if bytes.len() > SHOWN { ".." } else { "" };
    format!("{}{more}", spaced_hex(&bytes[..bytes.len().min(SHOWN)]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn memory_is_compared_where_both_have_it_and_with_the_beginning_where_one_has() {
        assert_eq!(memory(&[], &[1, 2, 3], &[1, 2, 3]), None);
        assert_eq!(memory(&[], &[1, 2], &[1, 2, 0xFF]), None, "the larger part is erased beyond");
        assert_eq!(memory(&[], &[1, 2, 3], &[1, 2]).unwrap(), "1 byte differ, first at 0x0002: FF instead of 03");
        assert!(memory(&[], &[1, 2, 3, 9], &[1, 5, 6, 9]).unwrap().contains("first at 0x0001: 05 06 instead of 02 03"));
        assert_eq!(memory(&[7, 7, 7], &[7, 7], &[7, 7, 7]), None);
    }
}
