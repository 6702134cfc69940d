//! What stands in for the fields that a table of boards leaves out: what the fitted part asks for, and what is usual.

use toml::{Table, Value};

use super::cell::{get, set};
use pagewise_part::card::{Card, Footprint, Role};

/// Fills in every required field that is missing, and lists it in `unstated`.
pub(super) fn fill(fields: &mut Table, card: &Card) {
    let mut unstated = Vec::new();
    let mut missing = |fields: &mut Table, path: &str, value: Value| {
        if get(fields, path).is_none() {
            set(fields, path, value);
            unstated.push(Value::from(path));
        }
    };
    // An order code that was read to the end is made in one package.
    match &card.packages.list[..] {
        [only] if card.order_of.is_some() && get(fields, "footprint").is_none() => {
            set(fields, "footprint", only.footprint.word().into());
        }
        _ => missing(fields, "footprint", Footprint::Soic8.word().into()),
    }
    missing(fields, "years_of_life", 10.into());
    missing(fields, "bus.supply_v", supply(card).into());
    let mv = get(fields, "bus.supply_v").and_then(number).map_or(3300, |volts| (volts * 1000.0) as u32);
    missing(fields, "bus.scl_khz", i64::from(card.scl_khz_at(mv).clamp(1, 100)).into());
    // Common practice, no source: resistors that keep rise time and sink current of each mode on a short bus.
    let ohm = match get(fields, "bus.scl_khz").and_then(number).unwrap_or(100.0) {
        ..=100.0 => 4700,
        ..=400.0 => 2200,
        _ => 2000,
    };
    missing(fields, "bus.pull_up_ohm", ohm.into());
    missing(fields, "bus.capacitance_pf", 50.into());
    missing(fields, "bus.other_addresses", Value::Array(Vec::new()));
    let footprint = get(fields, "footprint").and_then(Value::as_str).and_then(pagewise_base::form::word::read);
    let placed = footprint.map_or_else(|| card.clone(), |footprint| card.in_footprint(footprint));
    for pin in 0..3u8 {
        let path = format!("straps.a{pin}");
        let compared = placed.device_bits().iter().any(|role: &Role| role.pin() == Some(pin));
        if compared {
            missing(fields, &path, "gnd".into());
        } else if get(fields, &path).is_none() {
            // Not brought out: no strap to be unsure of.
            set(fields, &path, "open".into());
        }
    }
    missing(fields, "straps.wp", if placed.wp_pin { "gnd" } else { "open" }.into());
    let high = |pin: u8| get(fields, &format!("straps.a{pin}")).and_then(Value::as_str) == Some("vcc");
    let address = placed.device_address([high(0), high(1), high(2)]);
    missing(fields, "firmware.device_address", i64::from(address).into());
    missing(fields, "firmware.word_address_bytes", i64::from(placed.word_address_bytes.value).into());
    missing(fields, "firmware.page_bytes", i64::from(placed.page_bytes.value).into());
    missing(fields, "firmware.wait", "poll".into());
    let (bits, shift) = block_bits(&placed);
    if bits > 0 {
        missing(fields, "firmware.block_select_bits", bits.into());
        missing(fields, "firmware.block_select_shift", shift.into());
    }
    let whole = Table::from_iter([
        ("name".to_owned(), Value::from("contents")),
        ("offset".to_owned(), 0.into()),
        ("length".to_owned(), i64::from(placed.reachable_bytes()).into()),
    ]);
    missing(fields, "region", Value::Array(vec![Value::Table(whole)]));
    if !unstated.is_empty() {
        set(fields, "unstated", Value::Array(unstated));
    }
}

/// Whole or decimal.
fn number(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|number| number as f64))
}

/// 3.3 V or 5 V where the part takes them, else the middle of what it takes.
fn supply(card: &Card) -> f64 {
    let (low, high) = (card.write_min_mv.value, card.max_mv.value);
    let usual = [3300, 5000].into_iter().find(|mv| (low..=high).contains(mv));
    f64::from(usual.unwrap_or((low + high) / 200 * 100)) / 1000.0
}

/// How many block-select bits the part has, and the place of the lowest.
fn block_bits(card: &Card) -> (i64, i64) {
    let places = (0..7).filter(|place| matches!(card.device_bits()[6 - place], Role::Block(_)));
    let places: Vec<usize> = places.collect();
    (places.len() as i64, places.first().copied().unwrap_or(0) as i64)
}
