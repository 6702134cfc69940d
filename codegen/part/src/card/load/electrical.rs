//! Write cycle, supply and SCL rates of a card file.

use super::Sheet;
use crate::card::file::{self, CardFile};
use crate::card::grade::fill_holes;
use crate::card::{Ac, CyclePer, Grade, Kind, Temperatures, assume};
use crate::fact::Fact;
use pagewise_base::form::Document;
use pagewise_base::words::volts;

pub(super) struct Cycle {
    pub(super) longest_us: Fact<u32>,
    pub(super) typical_us: Fact<u32>,
    pub(super) per: Fact<CyclePer>,
}

/// A decimal as whole thousandths: volts as millivolts, milliseconds as microseconds.
pub(super) fn thousandths(value: Option<f64>) -> Option<u32> {
    // The limits of every field keep the product far below 2^32.
    value.map(|value| (value * 1000.0).round() as u32)
}

pub(super) fn cycle(sheet: &Sheet, form: &Document<'_>, file: &CardFile) -> Cycle {
    let (max, typ) = (thousandths(file.write_cycle.max_ms), thousandths(file.write_cycle.typ_ms));
    if let (Some(max), Some(typ)) = (max, typ)
        && typ > max
    {
        let reason = "the typical write cycle is longer than the longest";
        form.fault("write_cycle.typ_ms", reason, "correct one of them");
    }
    if file.kind == Kind::Fram {
        if max.is_some_and(|max| max > 0) {
            form.fault("write_cycle.max_ms", "a FRAM has no write cycle", "write 0 or leave it out");
        }
        if file.write_cycle.per.is_some() {
            form.fault("write_cycle.per", "unknown field for a FRAM, which has no write cycle", "remove it");
        }
        let none = |field| sheet.stated(field, 0);
        return Cycle {
            longest_us: none("write_cycle.max_ms"),
            typical_us: none("write_cycle.typ_ms"),
            per: sheet.stated("write_cycle.per", CyclePer::Page),
        };
    }
    let graded = file.grade.iter().filter_map(|grade| thousandths(grade.write_cycle_ms)).max();
    let assumed = assume::WRITE_CYCLE_MAX_US.value.max(typ.unwrap_or(0)).max(graded.unwrap_or(0));
    let longest_us = sheet.fact_or(&assume::WRITE_CYCLE_MAX_US, max, assumed);
    let typical_us = typ.map_or_else(|| longest_us.clone(), |typ| sheet.stated("write_cycle.typ_ms", typ));
    Cycle { longest_us, typical_us, per: sheet.fact(&assume::WRITE_CYCLE_PER, file.write_cycle.per) }
}

pub(super) struct Supply {
    pub(super) read_min: Fact<u32>,
    pub(super) write_min: Fact<u32>,
    pub(super) max: Fact<u32>,
    pub(super) brown_out: Option<(u32, u32)>,
}

pub(super) fn supply(sheet: &Sheet, form: &Document<'_>, file: &file::Supply) -> Supply {
    let max = thousandths(file.max_v);
    // A stated upper limit below the assumed lower one bounds what can be assumed.
    let assumed_min = assume::SUPPLY_MIN_MV.value.min(max.unwrap_or(u32::MAX));
    let read_min = sheet.fact_or(&assume::SUPPLY_MIN_MV, thousandths(file.min_v), assumed_min);
    let assumed_max = assume::SUPPLY_MAX_MV.value.max(read_min.value);
    let max = sheet.fact_or(&assume::SUPPLY_MAX_MV, max, assumed_max);
    let write_min = thousandths(file.write_min_v);
    let write_min = write_min.map_or_else(|| read_min.clone(), |mv| sheet.stated("supply.write_min_v", mv));
    if read_min.value > max.value {
        form.fault("supply.min_v", "the lowest supply is above the highest", "correct one of them");
    }
    if write_min.value < read_min.value || write_min.value > max.value {
        let remedy = "use a value between min_v and max_v";
        form.fault("supply.write_min_v", "is outside the supply range", remedy);
    }
    if file.reset_v.is_some() != file.off_ms.is_some() {
        form.fault("supply.reset_v", "reset_v and off_ms go together", "give both or neither");
    }
    let brown_out = thousandths(file.reset_v).zip(thousandths(file.off_ms));
    if brown_out.is_some_and(|(reset_mv, _)| reset_mv > read_min.value) {
        form.fault("supply.reset_v", "is above the lowest supply for reading", "correct one of them");
    }
    Supply { read_min, write_min, max, brown_out }
}

pub(super) fn speed(sheet: &Sheet, form: &Document<'_>, file: &CardFile, supply: &Supply) -> Fact<Vec<Grade>> {
    let (low, high) = (supply.read_min.value, supply.max.value);
    let stated = !supply.read_min.is_assumed() && !supply.max.is_assumed();
    let (mut grades, mut unread) = (Vec::new(), false);
    for (index, grade) in file.speed.iter().enumerate() {
        let min_mv = thousandths(grade.min_v).unwrap_or(low);
        let max_mv = thousandths(grade.max_v).unwrap_or(high);
        let path = format!("speed[{index}].min_v");
        if min_mv > max_mv {
            form.fault(&path, "the lower end of the grade is above its upper end", "correct one of them");
        }
        if stated && (min_mv < low || max_mv > high) {
            let (min, max, low, high) = (volts(min_mv), volts(max_mv), volts(low), volts(high));
            let reason = format!("the grade {min} to {max} lies outside the supply range {low} to {high}");
            form.fault(&path, reason, "correct the grade or [supply]");
        }
        let at = temperatures(form, &format!("speed[{index}]"), grade.min_c, grade.max_c);
        let has_supply = grade.min_v.is_some() && grade.max_v.is_some();
        unread |= !has_supply;
        let scl_khz = if has_supply { grade.scl_khz } else { grade.scl_khz.min(assume::GRADE_SUPPLY.value) };
        grades.push(Grade { min_mv, max_mv, at, scl_khz, ac: grade.ac.clone(), assumed: false });
    }
    let at = Temperatures::default();
    if grades.is_empty() {
        let scl_khz = assume::SCL_KHZ.value;
        let grade = Grade { min_mv: low, max_mv: high, at, scl_khz, ac: Ac::default(), assumed: false };
        return assume::SCL_KHZ.with(vec![grade]);
    }
    // Holes of grades by temperature are filled once the temperature is known.
    if grades.iter().all(|grade| grade.at == at) {
        fill_holes(&mut grades, (low, high));
    }
    if unread { assume::GRADE_SUPPLY.with(grades) } else { sheet.stated("speed", grades) }
}

/// The temperatures of a grade.
pub(super) fn temperatures(form: &Document<'_>, path: &str, min_c: Option<i32>, max_c: Option<i32>) -> Temperatures {
    if let (Some(min), Some(max)) = (min_c, max_c)
        && min > max
    {
        form.fault(&format!("{path}.min_c"), "the lowest temperature is above the highest", "correct one of them");
    }
    Temperatures { min_c, max_c }
}
