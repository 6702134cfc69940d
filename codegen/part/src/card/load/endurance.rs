//! Endurance by temperature of a card file.

use super::Sheet;
use crate::card::EndurancePoint;
use crate::card::file::CardFile;
use crate::fact::Fact;
use pagewise_base::form::Document;

/// `endurance_at_c` says at which temperature `endurance_cycles` is rated; each `[[endurance_at]]` adds a further point.
pub(super) fn by_temperature(sheet: &Sheet, form: &Document<'_>, file: &CardFile) -> Option<Fact<Vec<EndurancePoint>>> {
    let (first, cycles) = (file.endurance_at_c, file.endurance_cycles);
    let mut points: Vec<EndurancePoint> =
        first.zip(cycles).map(|(celsius, cycles)| EndurancePoint { celsius, cycles }).into_iter().collect();
    if first.is_some() && cycles.is_none() && form.is_sound("endurance_cycles") {
        form.fault("endurance_at_c", "is the temperature of a rating that is not there", "state endurance_cycles too");
    }
    for (index, point) in file.endurance_at.iter().enumerate() {
        let path = format!("endurance_at[{index}]");
        if first.is_none() {
            form.fault(&path, "the temperature of `endurance_cycles` is not stated", "state endurance_at_c too");
        }
        let (celsius, cycles) = (point.celsius, point.cycles);
        if form.is_sound_below(&path) && points.iter().any(|point| point.celsius >= celsius || point.cycles < cycles) {
            form.fault(
                &format!("{path}.celsius"),
                format!("{cycles} cycles at {celsius} C: a rating falls as the temperature rises"),
                "list the points from the coolest to the hottest",
            );
        }
        points.push(EndurancePoint { celsius, cycles });
    }
    (!points.is_empty()).then(|| sheet.stated("endurance_at", points))
}
