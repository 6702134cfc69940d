//! Which part sits there: the one that `--part` names, or the one that a manifest says its images were made for.

use super::find;
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::words::listed;
use pagewise_line::units::{MadeFor, Unit};
use pagewise_part::card::{Card, Catalogue};

/// The card of the part. What a manifest says of its images must be the part that is named: a layout is placed by the
/// pages of one part. Images made for a generic card may go into any part of its size.
///
/// # Errors
/// Nobody names a part, a part has no card, or the parts named are not one.
pub(super) fn expected<'c>(given: Option<&str>, units: &[Unit], catalogue: &'c Catalogue) -> Result<&'c Card, Faults> {
    let Some(given) = given else { return of_images(units, catalogue) };
    let card = find(catalogue, given)?;
    let mut faults = Faults::default();
    for (made_for, count) in parts(units) {
        let fits = cards_of(made_for, catalogue).is_ok_and(|made| {
            made.iter().any(|made| {
                made.id == card.id || made.is_generic() && made.capacity_bytes.value == card.capacity_bytes.value
            })
        });
        if !fits {
            let reason = format!("{} made for {}, --part names `{}`", images(count), names(made_for), card.id);
            let remedy = format!(
                "leave --part out if that part sits there, or make images for `{}` with `pagewise image --part {}`",
                card.id, card.id
            );
            faults.0.push(fault(made_for, reason, &remedy));
        }
    }
    faults.or_ok(card)
}

fn of_images<'c>(units: &[Unit], catalogue: &'c Catalogue) -> Result<&'c Card, Faults> {
    let named = parts(units);
    let Some((first, _)) = named.first() else {
        let remedy = "name its card with --part PART; `pagewise parts` lists them";
        let reason = if units.is_empty() { "which part sits there was not said" } else { "no manifest names the part" };
        return Err(Fault::of_file("--part", reason, remedy).into());
    };
    let mut faults = Faults::default();
    if let Some(unit) = units.iter().find(|unit| unit.made_for.is_none()) {
        let reason = format!("unit `{}` is made for no part, others for {}", unit.name, names(first));
        faults.0.push(Fault::of_file(&first.manifest, reason, "name the part with --part PART"));
    }
    let mut card: Option<&Card> = None;
    for (made_for, count) in &named {
        match (cards_of(made_for, catalogue).as_deref(), card) {
            (Err(fault), _) => faults.0.push(fault.clone()),
            (Ok([one]), None) => card = Some(one),
            (Ok([one]), Some(card)) if one.id == card.id => {}
            (Ok([_]), Some(card)) => {
                let reason = format!("{} made for {}, others for `{}`", images(*count), names(made_for), card.id);
                faults.0.push(fault(made_for, reason, "one call serves one part: name the units of one with --unit"));
            }
            (Ok(_), _) => {
                let reason = format!("{} made for any of {}", images(*count), names(made_for));
                faults.0.push(fault(made_for, reason, "say with --part PART which of them sits there"));
            }
        }
    }
    // Without a card there is a fault.
    card.map_or_else(|| Err(faults.clone()), |card| faults.clone().or_ok(card))
}

/// The parts that are named, each where it is named first, and how many units name it.
fn parts(units: &[Unit]) -> Vec<(&MadeFor, usize)> {
    let mut parts: Vec<(&MadeFor, usize)> = Vec::new();
    for made_for in units.iter().filter_map(|unit| unit.made_for.as_ref()) {
        match parts.iter_mut().find(|(known, _)| known.parts == made_for.parts) {
            Some((_, count)) => *count += 1,
            None => parts.push((made_for, 1)),
        }
    }
    parts
}

fn cards_of<'c>(made_for: &MadeFor, catalogue: &'c Catalogue) -> Result<Vec<&'c Card>, Fault> {
    let named = |part: &String| catalogue.named(part, &made_for.manifest, made_for.line, "part");
    made_for.parts.iter().map(named).collect()
}

fn names(made_for: &MadeFor) -> String {
    listed(made_for.parts.iter().map(|part| format!("`{part}`")))
}

fn fault(made_for: &MadeFor, reason: String, remedy: &str) -> Fault {
    let (file, line) = (made_for.manifest.clone(), made_for.line);
    Fault { file, line, field: "part".into(), reason, remedy: remedy.into() }
}

fn images(count: usize) -> String {
    if count == 1 { "the image is".to_owned() } else { format!("{count} images are") }
}
