//! What was seen on the simulated bus, for a person.

use std::collections::BTreeMap;

use pagewise_session::seen::Sighting;

use super::Bridge;
use super::run::Outcome;
use crate::output::{Tone, paint, plain, wrapped};

/// The most hazards of one kind that are told.
const OF_A_KIND: u64 = 3;

pub(super) fn text(bridge: &Bridge, outcome: &Outcome) -> String {
    let mark = paint(Tone::Faint, "bridge: ");
    let seen = &outcome.seen;
    let caution = |text: &str| format!("{}\n", wrapped(&paint(Tone::Caution, text), &mark, "        "));
    let mut out: String = seen.told.iter().map(|told| caution(&plain(told))).collect();
    if !seen.opened {
        return out + &caution(&format!("the program did not open {}", plain(&bridge.device)));
    }
    if outcome.cut {
        let ms = bridge.cut_ms.unwrap_or_default();
        out += &caution(&format!("the supply was lost at {ms} ms, and the program killed"));
    }
    if seen.hazards.is_empty() {
        return out + &format!("{mark}{}\n", paint(Tone::Good, "no hazard seen"));
    }
    let mut told = BTreeMap::<&str, u64>::new();
    for sighting in &seen.hazards {
        let count = told.entry(&sighting.hazard).or_default();
        *count += 1;
        if *count <= OF_A_KIND {
            out += &line(sighting, &mark);
        }
    }
    for (name, count) in &seen.counts {
        if let Some(more) = count.checked_sub(OF_A_KIND).filter(|more| *more > 0) {
            out += &format!("{mark}{} {more} more\n", paint(Tone::Bad, plain(name)));
        }
    }
    out
}

fn line(sighting: &Sighting, mark: &str) -> String {
    let (ms, ns) = (sighting.at_ns / 1_000_000, sighting.at_ns % 1_000_000);
    let text = format!("at {ms}.{ns:06} ms, transfer {}: {}", sighting.transfer, plain(&sighting.text));
    let name = paint(Tone::Bad, plain(&sighting.hazard));
    format!("{}\n", wrapped(&text, &format!("{mark}{name} "), "        "))
}
