use pagewise_simulator::Hazard;

use super::{Rule, volts};
use crate::swap::{Amend, Case, Finding, Verdict};

pub(super) const RULE: Rule = Rule {
    id: "scl-rate",
    compares: "the bus's SCL rate with the part's grade at this supply, and with its floor",
    why: "a part that is clocked too fast returns wrong bits, and one with a bus time-out gives up on a slow clock",
    check,
};

fn check(case: &Case<'_>) -> Vec<Finding> {
    let (bus, new) = (&case.board.bus, &case.new);
    if !(new.read_min_mv.value..=new.max_mv.value).contains(&bus.supply_mv) {
        return Vec::new();
    }
    let rate = new.scl_khz_at(bus.supply_mv);
    if bus.scl_khz > rate {
        let text = if rate == 0 {
            format!("{} kHz on the bus, no grade of the part covers {}", bus.scl_khz, volts(bus.supply_mv))
        } else {
            format!("{} kHz on the bus, at most {rate} kHz at {}", bus.scl_khz, volts(bus.supply_mv))
        };
        let (verdict, remedy) = if rate == 0 {
            (Verdict::Reject, "take a part with a grade at this supply".to_owned())
        } else {
            (Verdict::Reconfigure, format!("set SCL to {rate} kHz"))
        };
        let finding = Finding::new(RULE.id, verdict, &new.speed, text, remedy)
            .hazard(Hazard::Overclock)
            .unless(format!("it takes {} kHz at {}", bus.scl_khz, volts(bus.supply_mv)), Amend::SclKhz(bus.scl_khz));
        // Without a grade there is no rate that the simulation could hold the bus against.
        return vec![if rate == 0 { finding.not_simulated() } else { finding }];
    }
    if bus.scl_khz < new.min_scl_khz {
        let text = format!("{} kHz on the bus, the part needs at least {} kHz", bus.scl_khz, new.min_scl_khz);
        let remedy = format!("set SCL to {} kHz or more", new.min_scl_khz);
        return vec![Finding::new(RULE.id, Verdict::Reconfigure, &new.speed, text, remedy).not_simulated()];
    }
    Vec::new()
}
