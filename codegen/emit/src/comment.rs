//! Texts of cards as comment lines of generated code; the renderer makes each line harmless.

use super::Request;
use super::contents::Contents;
use crate::Part;
use pagewise_base::paint::plain;
use pagewise_part::card::density;

/// Columns of a comment, its `//` not counted.
const COLUMNS: usize = 100;

/// A text in lines.
pub(super) fn comment(text: &str) -> Vec<String> {
    lines(text, textwrap::Options::new(COLUMNS))
}

fn listed(text: &str) -> Vec<String> {
    lines(text, textwrap::Options::new(COLUMNS).initial_indent("- ").subsequent_indent("  "))
}

/// Formatted code has no blanks at the end of a line.
fn lines(text: &str, options: textwrap::Options<'_>) -> Vec<String> {
    textwrap::wrap(plain(text).trim(), options).iter().map(|line| line.trim_end().to_owned()).collect()
}

/// Everything that one must know about the generated text, for its beginning.
pub(super) fn head(request: &Request<'_>, contents: &Contents) -> Vec<String> {
    let mut lines: Vec<String> = request.parts.iter().flat_map(part).collect();
    if let Some(layout) = request.layout {
        lines.extend(comment(&format!("Layout: {}", layout.name)));
    }
    if !contents.limits.is_empty() {
        lines.push(String::new());
        lines.push(format!("One configuration for {} parts. What sets it:", request.parts.len()));
        lines.extend(contents.limits.iter().flat_map(|limit| listed(&limit.to_string())));
    }
    if !contents.costs.is_empty() {
        lines.extend([String::new(), "What it costs:".into()]);
        lines.extend(contents.costs.iter().flat_map(|cost| listed(&cost.to_string())));
    }
    if !contents.assumptions.is_empty() {
        lines.extend([String::new(), "Assumed, since the sheet read does not state it:".into()]);
        for assumption in &contents.assumptions {
            let of = if request.parts.len() > 1 { format!("{}: ", assumption.part) } else { String::new() };
            lines.extend(listed(&format!("{of}{} = {}: {}", assumption.field, assumption.value, assumption.why)));
        }
    }
    if !contents.not_safe_on.is_empty() {
        lines.extend([String::new(), "NOT SAFE on these parts of the same density:".into()]);
        lines.extend(contents.not_safe_on.iter().flat_map(|part| listed(&format!("{}: {}", part.id, part.why))));
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
