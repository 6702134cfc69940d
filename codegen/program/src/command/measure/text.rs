//! What `measure` says to people.

use super::Body;
use crate::command::socket::ROOM;
use crate::output::{Tone, paint, plain, wrapped_to};
use pagewise_base::words::grouped;
use pagewise_line::look::listed;
use pagewise_measure::compare::{Fit, Line};
use pagewise_measure::facts::{Facts, Outcome, Page, Times};
use pagewise_part::card::{Card, density};

/// Cards that are listed by name.
const LISTED: usize = 24;

/// What no number of samples settles.
const BEYOND: &str = "What no sample settles: the longest write cycle, endurance, retention, other temperatures and \
                      supplies, the next lot. Only a sheet promises those.";

pub(super) fn render(body: &Body<'_>, card: Option<&Card>) -> String {
    let mut out = String::new();
    let mut say = |first: &str, text: &str, next: &str| out += &(wrapped_to(ROOM, &plain(text), first, next) + "\n");
    if let Some(trouble) = &body.trouble {
        say(&paint(Tone::Bad, "failed  "), trouble, "        ");
        if let Some(saved) = &body.saved {
            say("    do: ", &format!("put the part back: pagewise measure --restore {saved}"), "        ");
        }
        return out;
    }
    if let Some(bytes) = body.restored_bytes {
        let text = match bytes {
            0 => "the part holds what it held before".to_owned(),
            _ => format!("{bytes} bytes put back; the part holds what it held before"),
        };
        say(&paint(Tone::Good, "restored  "), &text, "          ");
        return out;
    }
    let Some(facts) = body.facts else { return out };
    say("", &format!("part at 0x{:02X}, bus {}", facts.address, body.bus), "");
    let said = |value: Option<u32>, unit: &dyn Fn(u32) -> String| value.map_or("not stated".to_owned(), unit);
    let supply = said(body.supply_mv, &|mv| format!("{}.{:02} V", mv / 1000, mv % 1000 / 10));
    let rate = said(body.scl_khz, &|khz| format!("{khz} kHz"));
    say("  ", &format!("supply {supply}, SCL {rate} (as you say; neither is measured)"), "  ");
    say("  ", &format!("answering: {}", listed(&facts.answers)), "  ");
    for beside in &facts.beside {
        let hex: Vec<String> = beside.reads.iter().map(|byte| format!("{byte:02X}")).collect();
        let text = format!("0x{:02X} is not this array, and reads {}", beside.address, hex.join(" "));
        say("  ", &text, "    ");
    }
    match (card, body.compared) {
        (Some(card), Some(lines)) => {
            period(facts, &mut say);
            for line in lines {
                compared(line, &mut say);
            }
            say("", &marked_as(card, lines), "  ");
        }
        _ => properties(facts, &mut say),
    }
    let names = match body.fitting.len() {
        0 => "none".to_owned(),
        count if count > LISTED => format!("{} and {} more", body.fitting[..LISTED].join(", "), count - LISTED),
        _ => body.fitting.join(", "),
    };
    say("", &format!("Cards that differ in nothing that was measured: {names}"), "  ");
    if let Some(file) = &body.file {
        say("", &format!("Sample written to {file}"), "  ");
    }
    if let Some(verdict) = body.verdict {
        verdict.say(&mut say);
    }
    if facts.writes > 0 {
        say("", &wear(facts.writes, card), "  ");
    }
    say("", BEYOND, "  ");
    out
}

/// What the measurement cost the part: at worst all of it in one page.
fn wear(writes: u64, card: Option<&Card>) -> String {
    let stated = card.map(|card| &card.endurance_cycles).filter(|fact| !fact.is_assumed() && fact.value > 0);
    let share = stated.map_or(String::new(), |cycles| {
        let percent = writes as f64 * 100.0 / cycles.value as f64;
        format!(": {percent:.3} % of the {} that its sheet states, if one page took them all", grouped(cycles.value))
    });
    format!(
        "Wear: {writes} write cycles, most in the first pages of the scratch range{share}. The contents are as before."
    )
}

fn period(facts: &Facts, say: &mut dyn FnMut(&str, &str, &str)) {
    property("contents repeat after", &facts.period, |bytes| format!("{bytes} bytes"), say);
}

fn compared(line: &Line, say: &mut dyn FnMut(&str, &str, &str)) {
    let (tone, word) = match line.fit {
        Fit::Fits => (Tone::Good, "fits     "),
        Fit::Differs => (Tone::Bad, "differs  "),
        Fit::Settles => (Tone::Strong, "measured "),
        Fit::Open => (Tone::Caution, "open     "),
    };
    let text = format!("{}: {} (card: {})", line.property, line.sample, line.card);
    say(&format!("  {}", paint(tone, word)), &text, "           ");
}

/// `marked 24LC256: page and width fit, capacity differs: not what its marking says`.
fn marked_as(card: &Card, lines: &[Line]) -> String {
    let named = |fit: Fit| lines.iter().filter(|line| line.fit == fit).map(|line| line.property).collect::<Vec<_>>();
    let (fit, differ) = (named(Fit::Fits), named(Fit::Differs));
    let mut clauses = Vec::new();
    if !fit.is_empty() {
        clauses.push(format!("fits in {}", fit.join(", ")));
    }
    if !differ.is_empty() {
        clauses
            .push(format!("differs in {}: it is not what its marking says, or the card is wrong", differ.join(", ")));
    }
    if clauses.is_empty() {
        clauses.push("nothing that its sheet states was measured".to_owned());
    }
    format!("Marked {}: {}", card.name, clauses.join("; "))
}

fn property<T>(
    name: &str,
    outcome: &Outcome<T>,
    value: impl FnOnce(&T) -> String,
    say: &mut dyn FnMut(&str, &str, &str),
) {
    let (tone, word, text) = match outcome {
        Outcome::Measured(found) => (Tone::Strong, "measured  ", value(found)),
        Outcome::NotMeasured(why) => (Tone::Caution, "open      ", format!("not measured: {why}")),
        Outcome::NotMeasurable(why) => (Tone::Caution, "open      ", format!("not measurable here: {why}")),
    };
    say(&format!("  {}", paint(tone, word)), &format!("{name}: {text}"), "            ");
}

fn properties(facts: &Facts, say: &mut dyn FnMut(&str, &str, &str)) {
    period(facts, say);
    property("word-address bytes", &facts.width, u8::to_string, say);
    property("device-address bits, bit 6 first", &facts.device_bits, |roles| words(&roles[..]), say);
    property("capacity", &facts.capacity, |bytes| density(*bytes), say);
    let page = |page: &Page| match page {
        Page::Exactly(bytes) => format!("{bytes} bytes"),
        Page::AtLeast(bytes) => format!("at least {bytes} bytes"),
    };
    property("page", &facts.page, page, say);
    property("longer writes wrap in the page", &facts.page_wrap, bool::to_string, say);
    property("write cycle, one byte", &facts.byte_cycle, times, say);
    property("write cycle, a page", &facts.page_cycle, times, say);
    let busy = |busy: &pagewise_measure::facts::WhileBusy| {
        let other = busy.refuses_other_address.map_or(String::new(), |refuses| {
            format!(", {} at another address of its own", if refuses { "refuses" } else { "answers" })
        });
        format!("refuses writes, {} reads{other}", if busy.refuses_read { "refuses" } else { "answers" })
    };
    property("while busy", &facts.busy, busy, say);
    property("pointer after a write", &facts.pointer, word, say);
    property("block bits of a read", &facts.read_block_bits, word, say);
    property("a read comes back after", &facts.read_wrap, |bytes| format!("{bytes} bytes"), say);
    property(
        "WP",
        &facts.protection,
        |found| {
            let level = found.active_high.map_or("does not protect the scratch range".to_owned(), |high| {
                format!("protects when {}", if high { "high" } else { "low" })
            });
            let answer = found.answer.map_or(String::new(), |answer| format!(", answer {}", word(&answer)));
            let ranges = found.protected.as_ref().map_or(String::new(), |ranges| {
                let each = ranges.iter().map(|r| format!(", 0x{:04X} to 0x{:04X}", r.start, r.start + r.bytes - 1));
                each.collect::<String>()
            });
            level + &answer + &ranges
        },
        say,
    );
}

fn times(times: &Times) -> String {
    let Times { writes, min_us, median_us, max_us, resolution_us, bytes } = times;
    format!(
        "{min_us} us to {max_us} us, median {median_us} us, each up to {resolution_us} us shorter ({writes} writes of {bytes})"
    )
}

fn word<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_value(value).ok().and_then(|value| value.as_str().map(str::to_owned)).unwrap_or_default()
}

fn words<T: serde::Serialize>(values: &[T]) -> String {
    values.iter().map(word).collect::<Vec<_>>().join(" ")
}
