//! Changes to electrical limits, times and ratings.

use pagewise_judge::board::Board;
use toml::Table;

use super::edit::{decimal, forget, get, list, number, set, withhold};
use super::mutate::{About, Draw, Worst};

/// Volts with the unit that a card has.
fn volts(mv: u32) -> f64 {
    f64::from(mv) / 1000.0
}

pub fn supply(card: &mut Table, board: &Board, worst: Worst, draw: &mut Draw) -> Option<(String, About)> {
    let at = board.bus.supply_mv;
    let field = draw.one(&["supply.min_v", "supply.max_v"])?;
    let low = field == "supply.min_v";
    if draw.below(2) == 0 {
        withhold(card, field)?;
        let (begins, ends) = if low { (worst.highest_min_mv, u32::MAX) } else { (0, worst.lowest_max_mv) };
        return Some((format!("{field} not read"), About::SupplyUnread(begins, ends)));
    }
    let stated = decimal(get(card, field)?)?;
    let by = draw.one(&[100u32, 200, 700])?;
    let new = if low { volts(at + by) } else { volts(at - by) };
    if low && new <= stated || !low && new >= stated {
        return None;
    }
    // Grades lie inside the supply.
    for grade in list(card, "speed").into_iter().flatten().filter_map(toml::Value::as_table_mut) {
        let key = if low { "min_v" } else { "max_v" };
        if grade.get(key).and_then(decimal).is_some_and(|end| if low { end < new } else { end > new }) {
            grade.insert(key.to_owned(), new.into());
        }
    }
    if let Some(speed) = list(card, "speed") {
        speed.retain(|grade| {
            let end = |key: &str| grade.get(key).and_then(decimal);
            end("min_v").zip(end("max_v")).is_none_or(|(from, to)| from <= to)
        });
    }
    set(card, field, new);
    Some((format!("{field} of {stated} now {new}"), About::Chip))
}

pub fn grade(card: &mut Table, draw: &mut Draw) -> Option<(String, About)> {
    let speed = list(card, "speed")?;
    let at = draw.below(speed.len());
    let one = speed.get_mut(at)?.as_table_mut()?;
    let khz = one["scl_khz"].as_integer()?;
    let what = match draw.below(4) {
        0 => {
            let slower = khz * draw.one(&[1, 3, 9])? / 10;
            one.insert("scl_khz".to_owned(), slower.max(1).into());
            format!("{khz} kHz now {slower}")
        }
        1 => {
            one.remove("min_v")?;
            one.remove("max_v")?;
            for path in ["speed.min_v", "speed.max_v", "speed"] {
                forget(card, path);
            }
            format!("{khz} kHz at a supply not read")
        }
        2 => {
            let (from, to) = (decimal(one.get("min_v")?)?, decimal(one.get("max_v")?)?);
            let half = f64::midpoint(from, to);
            let half = (half * 100.0).round() / 100.0;
            let key = draw.one(&["min_v", "max_v"])?;
            one.insert(key.to_owned(), half.into());
            format!("{khz} kHz with {key} of {half}")
        }
        _ => {
            speed.remove(at);
            if speed.is_empty() {
                withhold(card, "speed")?;
            }
            format!("{khz} kHz not read")
        }
    };
    Some((what, About::Grade))
}

pub fn temperature(card: &mut Table, draw: &mut Draw) -> Option<(String, About)> {
    let field = draw.one(&["temperature.min_c", "temperature.max_c"])?;
    let stated = number(card, field)?;
    if draw.below(2) == 0 {
        withhold(card, field)?;
        return Some((format!("{field} not read"), About::Everything));
    }
    let new = if field.ends_with("min_c") { draw.one(&[-30, -20, 0, 20])? } else { draw.one(&[105, 85, 70, 50])? };
    let narrower = if field.ends_with("min_c") { new > stated } else { new < stated };
    narrower.then(|| set(card, field, new))?;
    Some((format!("{field} of {stated} now {new}"), About::Temperature))
}

pub fn write_cycle(card: &mut Table, worst: Worst, draw: &mut Draw) -> Option<(String, About)> {
    let stated = decimal(get(card, "write_cycle.max_ms")?)?;
    match draw.below(3) {
        0 => {
            withhold(card, "write_cycle.max_ms")?;
            let mut slowest = card.clone();
            set(&mut slowest, "write_cycle.max_ms", worst.write_cycle_ms);
            Some(("longest write cycle not read".into(), About::ChipUnread(vec![slowest])))
        }
        1 => {
            let new = (stated * draw.one(&[1.5, 2.0, 4.0, 10.0])?).min(100.0);
            set(card, "write_cycle.max_ms", new);
            Some((format!("write cycle of {stated} ms now {new} ms"), About::Chip))
        }
        _ => {
            set(card, "write_cycle.per", "byte");
            Some((format!("{stated} ms for each byte"), About::Chip))
        }
    }
}

pub fn endurance(card: &mut Table, worst: Worst, draw: &mut Draw) -> Option<(String, About)> {
    let stated = number(card, "endurance_cycles")? as u64;
    card.remove("endurance_at");
    card.remove("endurance_at_c");
    forget(card, "endurance_at");
    forget(card, "endurance_at_c");
    if draw.below(3) == 0 {
        withhold(card, "endurance_cycles")?;
        return Some(("rated write cycles not read".into(), About::Endurance(worst.endurance_cycles)));
    }
    let new = (stated / draw.one(&[10u64, 100, 1000])?).max(1);
    set(card, "endurance_cycles", new as i64);
    Some((format!("{stated} rated write cycles now {new}"), About::Endurance(new)))
}
