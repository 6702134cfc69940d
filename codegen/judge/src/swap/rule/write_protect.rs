use pagewise_simulator::Hazard;

use super::Rule;
use crate::board::{Region, Strap};
use crate::swap::{Amend, Case, Change, Finding, Verdict};
use pagewise_part::card::{Card, Open, Span};

pub(super) const RULE: Rule = Rule { id: "write-protect", check };

/// Compares the board's WP strap and the regions in use with what the pin or the factory protects: a write to
/// protected bytes is not stored, and most parts acknowledge it all the same.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let new = &case.new;
    let mut findings = Vec::new();
    findings.extend(fixed(case));
    let written = |span: Span| written_inside(case, span);
    let range = new.protect_range.value;
    if new.wp_pin && case.board.wp == Strap::Open && new.open_wp.value == Open::Random && range != Span::None {
        let text = "WP is open on the board, and the part has no pull inside".to_owned();
        let remedy = format!("tie WP to {}", rail(inactive(new)));
        let finding = Finding::new(RULE.id, Verdict::Rework, &new.open_wp, text, remedy);
        let finding = finding.hazard(Hazard::FloatingPin).change([Change::Wp(inactive(new))]);
        findings.push(finding.unless("an open WP reads low", Amend::OpenWp(Open::Low)));
    } else if active(case, new)
        && let Some(region) = written(range)
    {
        let text = format!("WP is active on the board, and it protects `{}`, which the firmware writes", region.name);
        let remedy = format!(
            "tie WP to {}, where it protects nothing, or let the firmware release it around a write",
            rail(inactive(new))
        );
        let finding = Finding::new(RULE.id, Verdict::Rework, &new.protect_range, text, remedy);
        findings.push(
            finding
                .hazard(Hazard::WriteProtect)
                .change([Change::Wp(inactive(new))])
                .unless(format!("WP does not protect `{}`", region.name), Amend::Protects(Span::None)),
        );
    }
    findings
}

/// Whether the strap holds WP active all the time.
fn active(case: &Case<'_>, card: &Card) -> bool {
    let level = match case.board.wp {
        Strap::Vcc => true,
        Strap::Gnd => false,
        Strap::Gpio => return false,
        Strap::Open => match card.open_wp.value {
            Open::High => true,
            Open::Low => false,
            Open::Random => return false,
        },
    };
    card.wp_pin && level == card.wp_active_high.value
}

/// What holds WP inactive.
fn inactive(card: &Card) -> Strap {
    if card.wp_active_high.value { Strap::Gnd } else { Strap::Vcc }
}

fn rail(strap: Strap) -> &'static str {
    if strap == Strap::Vcc { "supply" } else { "ground" }
}

fn overlaps(region: &Region, span: Span, capacity: u32) -> bool {
    let (start, length) = span.bytes(capacity);
    region.offset < start + length && start < region.offset + region.length
}

fn written_inside<'c>(case: &'c Case<'_>, span: Span) -> Option<&'c Region> {
    let capacity = case.new.capacity_bytes.value;
    case.board.regions.iter().find(|region| region.writes_per_day > 0.0 && overlaps(region, span, capacity))
}

fn fixed(case: &Case<'_>) -> Option<Finding> {
    let new = &case.new;
    let (fixed, capacity) = (new.fixed_range.value, new.capacity_bytes.value);
    let inside = case.board.regions.iter().filter(|region| overlaps(region, fixed, capacity));
    let region = inside.max_by_key(|region| region.writes_per_day > 0.0)?;
    let text = format!("`{}` lies in bytes that the part's maker has made read-only", region.name);
    let remedy = "keep the region out of the fixed range, or take another part".to_owned();
    let finding = Finding::new(RULE.id, Verdict::Reject, &new.fixed_range, text, remedy).hazard(Hazard::WriteProtect);
    // Only writes at run time are simulated; what the line programs is taken as programmed.
    Some(if region.writes_per_day > 0.0 { finding } else { finding.not_simulated() })
}
