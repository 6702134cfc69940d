//! Write cycle, supply and SCL rates of a card file.

use super::Sheet;
use super::words::PER;
use crate::card::{Ac, CyclePer, Grade, Kind, assume};
use crate::fact::Fact;
use pagewise_base::form::Form;

pub(super) fn read_cycle(
    sheet: &Sheet,
    form: Option<&Form<'_, '_>>,
    kind: Kind,
) -> (Fact<u32>, Fact<u32>, Fact<CyclePer>) {
    let max = form.and_then(|form| form.thousandths("max_ms", 0.0..=100.0));
    let typ = form.and_then(|form| form.thousandths("typ_ms", 0.0..=100.0));
    if let (Some(form), Some(max), Some(typ)) = (form, max, typ)
        && typ > max
    {
        form.fault("typ_ms", "the typical write cycle is longer than the longest", "correct one of them");
    }
    if kind == Kind::Fram {
        if let (Some(form), Some(1..)) = (form, max) {
            form.fault("max_ms", "a FRAM has no write cycle", "write 0 or leave it out");
        }
        let none = |field| sheet.stated(field, 0);
        return (
            none("write_cycle.max_ms"),
            none("write_cycle.typ_ms"),
            sheet.stated("write_cycle.per", CyclePer::Page),
        );
    }
    let assumed = (assume::number("write_cycle.max_ms") * 1000.0) as u32;
    let max = sheet.or_assume("write_cycle.max_ms", max, assumed.max(typ.unwrap_or(0)));
    let typ = match typ {
        Some(typ) => sheet.stated("write_cycle.typ_ms", typ),
        None => max.clone(),
    };
    (max, typ, sheet.choose(form, "per", "write_cycle.per", &PER))
}

pub(super) struct Supply {
    pub(super) read_min: Fact<u32>,
    pub(super) write_min: Fact<u32>,
    pub(super) max: Fact<u32>,
}

pub(super) fn read_supply(sheet: &Sheet, form: &Form<'_, '_>) -> Supply {
    let table = form.table("supply");
    let volts = |key: &str| table.as_ref().and_then(|table| table.thousandths(key, 0.5..=7.0));
    let (min, max, write_min) = (volts("min_v"), volts("max_v"), volts("write_min_v"));
    let millivolts = |field: &str| (assume::number(field) * 1000.0) as u32;
    // A stated upper limit below the assumed lower one bounds what can be assumed.
    let assumed_min = millivolts("supply.min_v").min(max.unwrap_or(u32::MAX));
    let read_min = sheet.or_assume("supply.min_v", min, assumed_min);
    let assumed_max = millivolts("supply.max_v").max(read_min.value);
    let max = sheet.or_assume("supply.max_v", max, assumed_max);
    let write_min = match write_min {
        Some(mv) => sheet.stated("supply.write_min_v", mv),
        None => read_min.clone(),
    };
    if let Some(table) = table {
        if read_min.value > max.value {
            table.fault("min_v", "the lowest supply is above the highest", "correct one of them");
        }
        if write_min.value < read_min.value || write_min.value > max.value {
            table.fault("write_min_v", "is outside the supply range", "use a value between min_v and max_v");
        }
        table.finish();
    }
    Supply { read_min, write_min, max }
}

pub(super) fn read_speed(sheet: &Sheet, form: &Form<'_, '_>, supply: &Supply) -> Fact<Vec<Grade>> {
    let mut grades = Vec::new();
    for table in form.tables("speed") {
        let min = table.thousandths("min_v", 0.5..=7.0).unwrap_or(supply.read_min.value);
        let max = table.thousandths("max_v", 0.5..=7.0).unwrap_or(supply.max.value);
        table.need("scl_khz");
        let scl_khz = table.integer::<u32>("scl_khz", 1..=5000).unwrap_or(100);
        if min > max {
            table.fault("min_v", "the lower end of the grade is above its upper end", "correct one of them");
        }
        let (low, high) = (supply.read_min.value, supply.max.value);
        let stated = !supply.read_min.is_assumed() && !supply.max.is_assumed();
        if stated && (min < low || max > high) {
            table.fault(
                "min_v",
                format!("the grade {} to {} lies outside the supply range {} to {}", v(min), v(max), v(low), v(high)),
                "correct the grade or [supply]",
            );
        }
        let ac = table.table("ac").map(read_ac).unwrap_or_default();
        table.finish();
        grades.push(Grade { min_mv: min, max_mv: max, scl_khz, ac });
    }
    if grades.is_empty() {
        let scl_khz = assume::number("speed") as u32;
        let (min_mv, max_mv) = (supply.read_min.value, supply.max.value);
        return assume::fact("speed", vec![Grade { min_mv, max_mv, scl_khz, ac: Ac::default() }]);
    }
    sheet.stated("speed", grades)
}

/// Volts with the unit, for messages.
pub(super) fn v(mv: u32) -> String {
    format!("{} V", f64::from(mv) / 1000.0)
}

pub(super) fn read_ac(form: Form<'_, '_>) -> Ac {
    let ns = |key: &str| form.integer::<u32>(key, 0..=100_000);
    let ac = Ac {
        t_low: ns("t_low"),
        t_high: ns("t_high"),
        t_hd_sta: ns("t_hd_sta"),
        t_su_sta: ns("t_su_sta"),
        t_hd_dat: ns("t_hd_dat"),
        t_su_dat: ns("t_su_dat"),
        t_su_sto: ns("t_su_sto"),
        t_buf: ns("t_buf"),
        t_aa_max: ns("t_aa_max"),
        t_sp_max: ns("t_sp_max"),
    };
    form.finish();
    ac
}
