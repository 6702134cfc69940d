//! Whether a board uses a fact: looked up in the card file and in the board alone, with nothing of the rules.

use pagewise_judge::board::Board;
use pagewise_part::card::{Card, RegionKind};
use toml::{Table, Value};

use super::edit::decimal;
use super::mutate::About;

/// Slowest rate that any part takes, in kHz: what a rate at an unread supply counts for.
const SLOWEST_KHZ: i64 = 100;

pub fn is_used(about: &About, board: &Board, fitted: &Card, changed: &Table) -> bool {
    match about {
        About::Everything | About::Chip | About::ChipUnread(_) => true,
        About::Package(word) => word == board.footprint.word(),
        // At the very bound it is not known either.
        About::SupplyUnread(begins, ends) => !(*begins < board.bus.supply_mv && board.bus.supply_mv < *ends),
        About::Grade => takes_khz(board, changed) < i64::from(board.bus.scl_khz),
        About::Temperature => leaves(board, fitted, changed),
        About::Endurance(cycles) => wear(board, changed) > *cycles as f64,
        About::Region(kind) => board.uses.iter().any(|used| word(*used) == *kind),
    }
}

fn word(kind: RegionKind) -> String {
    serde_json::to_value(kind).unwrap().as_str().unwrap().to_owned()
}

/// The fastest rate that a range of the card promises at the board's supply.
fn takes_khz(board: &Board, card: &Table) -> i64 {
    let at = f64::from(board.bus.supply_mv) / 1000.0;
    let rates = card.get("speed").and_then(Value::as_array).into_iter().flatten().filter_map(|grade| {
        let end = |key: &str| grade.get(key).and_then(decimal);
        match end("min_v").zip(end("max_v")) {
            Some((from, to)) => (from - 1e-9..=to + 1e-9).contains(&at).then(|| grade["scl_khz"].as_integer())?,
            None => Some(SLOWEST_KHZ.min(grade["scl_khz"].as_integer()?)),
        }
    });
    rates.max().unwrap_or(SLOWEST_KHZ)
}

/// Whether the range of the card leaves out a temperature that the board, or its fitted part where the board says nothing,
/// asks for.
fn leaves(board: &Board, fitted: &Card, card: &Table) -> bool {
    let end = |key: &str| card.get("temperature")?.get(key)?.as_integer();
    let low = board.temperature_min_c.unwrap_or_else(|| f64::from(fitted.temperature_min_c.value));
    let high = board.temperature_max_c.unwrap_or_else(|| f64::from(fitted.temperature_max_c.value));
    end("min_c").is_none_or(|min| min as f64 > low) || end("max_c").is_none_or(|max| (max as f64) < high)
}

/// Writes of the busiest wear unit over the board's life, counted write by write.
fn wear(board: &Board, card: &Table) -> f64 {
    let page = card.get("page_bytes").and_then(Value::as_integer).unwrap_or(1) as u32;
    let unit = match card.get("wear_unit").and_then(Value::as_str) {
        Some("byte") => 1,
        Some("group-4") => 4,
        // Not stated counts as the widest.
        _ => page,
    };
    let mut per_day = std::collections::BTreeMap::<u32, f64>::new();
    for region in &board.regions {
        for piece in board.firmware.write_pieces(region) {
            for place in piece.offset / unit..=(piece.offset + piece.length - 1) / unit {
                *per_day.entry(place).or_default() += region.writes_per_day;
            }
        }
    }
    per_day.values().fold(0.0f64, |most, one| most.max(*one)) * 365.25 * board.years
}
