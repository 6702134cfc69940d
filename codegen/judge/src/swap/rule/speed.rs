use pagewise_simulator::Hazard;

use super::{Rule, volts};
use crate::swap::{Amend, Case, Change, Finding, Verdict};
use pagewise_part::card::assume;

pub(super) const RULE: Rule = Rule { id: "scl-rate", check };

/// Compares the bus's SCL rate with the part's grade at this supply, and with its floor: a part that is clocked too
/// fast returns wrong bits, and one with a bus time-out gives up on a slow clock.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (bus, new) = (&case.board.bus, &case.new);
    if !(new.read_min_mv.value..=new.max_mv.value).contains(&bus.supply_mv) {
        return Vec::new();
    }
    let rate = new.scl_khz_at(bus.supply_mv);
    let wanted = format!("it takes {} kHz at {}", bus.scl_khz, volts(bus.supply_mv));
    if bus.scl_khz > rate {
        let text = format!("{} kHz on the bus, at most {rate} kHz at {}", bus.scl_khz, volts(bus.supply_mv));
        let hole = new.grades_at(bus.supply_mv).all(|grade| grade.assumed);
        let fact = if hole { assume::SCL_KHZ.with(()) } else { new.speed.map(|_| ()) };
        let finding = Finding::new(RULE.id, Verdict::Reconfigure, &fact, text, format!("set SCL to {rate} kHz"));
        let finding = finding.change([Change::SclKhz(rate)]);
        return vec![finding.hazard(Hazard::Overclock).unless(wanted, Amend::SclKhz(bus.scl_khz))];
    }
    if bus.scl_khz < new.min_scl_khz {
        let text = format!("{} kHz on the bus, the part needs at least {} kHz", bus.scl_khz, new.min_scl_khz);
        let remedy = format!("set SCL to {} kHz or more", new.min_scl_khz);
        let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.speed, text, remedy).not_simulated();
        return vec![finding.change([Change::SclKhz(new.min_scl_khz)])];
    }
    Vec::new()
}
