//! The answer of `pagewise verify` for people, and how differences are shown.

use std::fmt::Write;

use super::Body;
use crate::command::socket::ROOM;
use crate::output::{Tone, paint, plain, wrapped_to};
use pagewise_line::difference::{Difference, count};

/// Stretches that are shown.
const MOST: usize = 16;
/// Bytes that are shown of each.
const BYTES: usize = 12;

pub(super) fn render(body: &Body<'_>) -> String {
    let mut out = String::new();
    let what = format!("{} on {} at 0x{:02X}, bus {}", body.unit, body.part, body.device_address, body.bus);
    if let Some(halt) = body.halt {
        let hazard = halt.hazard.map_or_else(String::new, |hazard| format!(" [{hazard}]"));
        let text = plain(&format!("{what}: {}{hazard}", halt.reason));
        let _ = writeln!(out, "{}", wrapped_to(ROOM, &text, &paint(Tone::Bad, "failed  "), "        "));
        let _ = writeln!(out, "{}", wrapped_to(ROOM, &plain(&halt.remedy), "    do: ", "        "));
        return out;
    }
    if body.same {
        let text = plain(&format!("{what}: all {} bytes of the image", body.compared_bytes));
        let _ = writeln!(out, "{}", wrapped_to(ROOM, &text, &paint(Tone::Good, "same  "), "      "));
        return out;
    }
    let places = body.differences.len();
    let text = format!("{what}: {} of {} bytes, in {places} places", body.differing_bytes, body.compared_bytes);
    let _ = writeln!(out, "{}", wrapped_to(ROOM, &plain(&text), &paint(Tone::Bad, "differs  "), "         "));
    differences(&mut out, body.differences);
    out
}

/// Where, expected, found.
pub(in crate::command) fn differences(out: &mut String, all: &[Difference]) {
    for difference in all.iter().take(MOST) {
        let (expected, found) = (bytes(&difference.expected), bytes(&difference.found));
        let _ = writeln!(out, "  0x{:04X}  expected {expected}", difference.offset);
        let _ = writeln!(out, "          found    {}", paint(Tone::Bad, found));
    }
    if let Some(rest) = all.get(MOST..).filter(|rest| !rest.is_empty()) {
        let _ = writeln!(out, "  and {} bytes in {} more places (--json shows all)", count(rest), rest.len());
    }
}

fn bytes(bytes: &[u8]) -> String {
    let shown: Vec<String> = bytes.iter().take(BYTES).map(|byte| format!("{byte:02X}")).collect();
    let more = if bytes.len() > BYTES { format!(" … {} bytes", bytes.len()) } else { String::new() };
    shown.join(" ") + &more
}
