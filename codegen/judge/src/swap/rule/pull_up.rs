use super::Rule;
use crate::budget::pull_up::{least_in, most_by_rise, rise_ns};
use crate::budget::{mode, more_pf};
use crate::swap::{Case, Change, Finding, Verdict};

pub(super) const RULE: Rule = Rule { id: "pull-up", check };

/// Compares rise time and sink current of the board's pull-ups with the limits of the bus mode: too large a resistor
/// rises too slowly for the SCL rate, too small a one cannot be pulled low; the part's pin capacitance counts.
///
/// The arithmetic and its sources are in [`crate::budget::pull_up`].
fn check(case: &Case<'_>) -> Vec<Finding> {
    let bus = &case.board.bus;
    let capacitance_pf = f64::from(bus.capacitance_pf) + more_pf(&case.old, &case.new);
    let mode = mode::for_rate(bus.scl_khz);
    let (name, limit_ns) = (mode.name, f64::from(mode.t_r_max));
    let rise_ns = rise_ns(f64::from(bus.pull_up_ohm), capacitance_pf);
    let supply = f64::from(bus.supply_mv) / 1000.0;
    let least_ohm = least_in(&mode, supply);
    let fact = &case.new.capacity_bytes;
    let finding = |text: String, remedy: String, changes: Option<Change>| {
        vec![Finding::new(RULE.id, Verdict::Rework, fact, text, remedy).not_simulated().change(changes)]
    };
    if rise_ns > limit_ns {
        let most = most_by_rise(limit_ns, capacitance_pf);
        return finding(
            format!(
                "{} ohm and {capacitance_pf:.0} pF rise in {rise_ns:.0} ns, {name} allows {limit_ns:.0} ns",
                bus.pull_up_ohm
            ),
            format!("fit at most {:.0} ohm, or run SCL slower", most.floor()),
            (most.floor() >= least_ohm).then_some(Change::PullUpOhm(most as u32)),
        );
    }
    if f64::from(bus.pull_up_ohm) < least_ohm {
        return finding(
            format!("{} ohm asks for more sink current than {name} promises at {supply} V", bus.pull_up_ohm),
            format!("fit at least {:.0} ohm", least_ohm.ceil()),
            Some(Change::PullUpOhm(least_ohm.ceil() as u32)),
        );
    }
    Vec::new()
}
