//! Endurance by temperature of a card file.

use super::Sheet;
use crate::card::EndurancePoint;
use crate::fact::Fact;
use pagewise_base::form::Form;

const CELSIUS: std::ops::RangeInclusive<f64> = -55.0..=150.0;

/// `endurance_at_c` says at which temperature `endurance_cycles` is rated; each `[[endurance_at]]` adds a further point.
pub(super) fn read_endurance_at(
    sheet: &Sheet,
    form: &Form<'_, '_>,
    cycles: Option<u64>,
) -> Option<Fact<Vec<EndurancePoint>>> {
    let first = form.decimal("endurance_at_c", CELSIUS);
    let mut points: Vec<EndurancePoint> =
        first.zip(cycles).map(|(celsius, cycles)| EndurancePoint { celsius, cycles }).into_iter().collect();
    if first.is_some() && cycles.is_none() {
        form.fault("endurance_at_c", "is the temperature of a rating that is not there", "state endurance_cycles too");
    }
    for table in form.tables("endurance_at") {
        table.need("celsius");
        table.need("cycles");
        let celsius = table.decimal("celsius", CELSIUS);
        let cycles = table.integer::<i64>("cycles", 1..=1_000_000_000_000_000).map(i64::unsigned_abs);
        if first.is_none() {
            table.fault("", "the temperature of `endurance_cycles` is not stated", "state endurance_at_c too");
        }
        if let Some((celsius, cycles)) = celsius.zip(cycles) {
            if points.iter().any(|point| point.celsius >= celsius || point.cycles < cycles) {
                table.fault(
                    "celsius",
                    format!("{cycles} cycles at {celsius} C: a rating falls as the temperature rises"),
                    "list the points from the coolest to the hottest",
                );
            }
            points.push(EndurancePoint { celsius, cycles });
        }
        table.finish();
    }
    (!points.is_empty()).then(|| sheet.stated("endurance_at", points))
}
