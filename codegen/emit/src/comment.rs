//! Texts of cards as comment lines of generated code; the renderer makes each line harmless.

use super::common::{Cost, Limit};
use super::request::{Assumption, Request};
use super::words::{comment, listed};
use crate::request::Part;
use pagewise_part::card::{NotSafe, density};

/// What one must know about a configuration besides its parts.
pub(super) struct Known<'a> {
    pub(super) limits: &'a [Limit],
    pub(super) costs: &'a [Cost],
    pub(super) assumptions: &'a [Assumption],
    pub(super) not_safe_on: &'a [NotSafe],
}

/// Everything that one must know about the generated text, for its beginning.
pub(super) fn head(request: &Request<'_>, known: &Known<'_>) -> Vec<String> {
    let mut lines: Vec<String> = request.parts.iter().flat_map(part).collect();
    if let Some(layout) = request.layout {
        lines.extend(comment(&format!("Layout: {}", layout.name)));
    }
    if !known.limits.is_empty() {
        lines.push(String::new());
        lines.push(format!("One configuration for {} parts. What sets it:", request.parts.len()));
        lines.extend(known.limits.iter().flat_map(|limit| listed(&limit.to_string())));
    }
    if !known.costs.is_empty() {
        lines.extend([String::new(), "What it costs:".into()]);
        lines.extend(known.costs.iter().flat_map(|cost| listed(&cost.to_string())));
    }
    if !known.assumptions.is_empty() {
        lines.extend([String::new(), "Assumed, since the sheet read does not state it:".into()]);
        for assumption in known.assumptions {
            let of = if request.parts.len() > 1 { format!("{}: ", assumption.part) } else { String::new() };
            lines.extend(listed(&format!("{of}{} = {}: {}", assumption.field, assumption.value, assumption.why)));
        }
    }
    if !known.not_safe_on.is_empty() {
        lines.extend([String::new(), "NOT SAFE on these parts of the same density:".into()]);
        lines.extend(known.not_safe_on.iter().flat_map(|part| listed(&format!("{}: {}", part.id, part.why))));
    }
    lines
}

fn part(part: &Part<'_>) -> Vec<String> {
    let card = part.card;
    let mut lines = comment(&format!("Part: {} ({}), {}", card.name, card.maker, card.density()));
    lines.extend(comment(&format!("Document: {}", card.document)));
    if let Some(footprint) = part.package {
        let known =
            if card.package_for(footprint).is_some() { "" } else { ", of which the card tells nothing special" };
        lines.extend(comment(&format!("Package: {}{known}", footprint.word())));
    }
    let reach = card.reachable_bytes();
    if reach < card.capacity_bytes.value {
        lines.extend(comment(&format!("Only {} lie within reach without a bank-select command.", density(reach))));
    }
    let straps = straps(part);
    if !straps.is_empty() {
        lines.push(format!("Address pins: {straps}"));
    }
    lines
}

fn straps(part: &Part<'_>) -> String {
    let bits = part.card.device_bits();
    let pins = (0..3u8).rev().filter(|pin| {
        let required = part.card.required_straps.iter().any(|(strapped, _)| strapped == pin);
        required || bits.iter().any(|role| role.pin() == Some(*pin))
    });
    let rail = |pin: u8| if part.pins[usize::from(pin)] { "vcc" } else { "gnd" };
    pins.map(|pin| format!("a{pin}={}", rail(pin))).collect::<Vec<_>>().join(" ")
}
