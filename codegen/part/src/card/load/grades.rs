//! Limits by supply and temperature of a card file.

use super::Sheet;
use super::electrical::{temperatures, thousandths};
use crate::card::Limits;
use crate::card::file::{CardFile, GradeFile};
use crate::fact::Fact;
use pagewise_base::form::Document;

/// The limits of each `[[grade]]`: better than the plain values, which therefore hold in every hole between them.
pub(super) fn limits(sheet: &Sheet, form: &Document<'_>, file: &CardFile) -> Fact<Vec<Limits>> {
    let all = file.grade.iter().enumerate().map(|(index, grade)| one(form, file, index, grade));
    sheet.stated("grade", all.collect())
}

fn one(form: &Document<'_>, file: &CardFile, index: usize, grade: &GradeFile) -> Limits {
    let path = format!("grade[{index}]");
    let fault = |field: &str, reason: &str, remedy: &str| form.fault(&format!("{path}.{field}"), reason, remedy);
    let (min_mv, max_mv) = (thousandths(grade.min_v), thousandths(grade.max_v));
    if let (Some(min), Some(max)) = (min_mv, max_mv)
        && min > max
    {
        fault("min_v", "the lower end of the grade is above its upper end", "correct one of them");
    }
    let at = temperatures(form, &path, grade.min_c, grade.max_c);
    if min_mv.is_none() && max_mv.is_none() && at.are_all() && form.is_sound_below(&path) {
        form.fault(&path, "has no range", "state a supply or a temperature, or make its limits the plain ones");
    }
    if grade.write_cycle_ms.is_none() && grade.endurance_cycles.is_none() && grade.retention_years.is_none() {
        form.fault(&path, "has no limit", "state what holds in this range, or remove it");
    }
    let everywhere = "the plain value holds everywhere, so it is the most cautious one";
    if grade.write_cycle_ms > file.write_cycle.max_ms && file.write_cycle.max_ms.is_some() {
        fault("write_cycle_ms", "is longer than `write_cycle.max_ms`", everywhere);
    }
    if grade.endurance_cycles.is_some() && grade.endurance_cycles < file.endurance_cycles {
        fault("endurance_cycles", "is fewer than the plain `endurance_cycles`", everywhere);
    }
    if grade.retention_years.is_some() && grade.retention_years < file.retention_years {
        fault("retention_years", "is shorter than the plain `retention_years`", everywhere);
    }
    Limits {
        min_mv,
        max_mv,
        at,
        write_cycle_us: thousandths(grade.write_cycle_ms),
        endurance_cycles: grade.endurance_cycles,
        retention_years: grade.retention_years,
    }
}
