use super::Rule;
use crate::swap::{Case, Finding, Verdict};

pub(super) const RULE: Rule = Rule {
    id: "pull-up",
    compares: "rise time and sink current of the board's pull-ups with the limits of the bus mode",
    why: "too large a resistor rises too slowly for the SCL rate, too small a one cannot be pulled low; the part's pin \
          capacitance counts",
    check,
};

/// Rise time between 30 % and 70 % is this times R C. Source: UM10204 section 7.1.
const RISE: f64 = 0.8473;

fn check(case: &Case<'_>) -> Vec<Finding> {
    let bus = &case.board.bus;
    let old_pf = case.old.input_capacitance_pf.as_ref().map(|fact| fact.value);
    let new_pf = case.new.input_capacitance_pf.as_ref().map(|fact| fact.value);
    let more_pf = match (old_pf, new_pf) {
        (Some(old), Some(new)) => f64::from(new) - f64::from(old),
        _ => 0.0,
    };
    let capacitance_pf = f64::from(bus.capacitance_pf) + more_pf;
    // Limits of the bus modes. Source: bus table of UM10204 as reprinted in NXP PCA9698 Rev.3 Table 15.
    let (mode, rise_limit_ns, sink_ma) = match bus.scl_khz {
        0..=100 => ("Standard-mode", 1000.0, 3.0),
        101..=400 => ("Fast-mode", 300.0, 3.0),
        _ => ("Fast-mode Plus", 120.0, 20.0),
    };
    let rise_ns = RISE * f64::from(bus.pull_up_ohm) * capacitance_pf / 1000.0;
    let supply = f64::from(bus.supply_mv) / 1000.0;
    let least_ohm = if supply > 2.0 { (supply - 0.4) / (sink_ma / 1000.0) } else { 0.8 * supply / 0.002 };
    let fact = &case.new.capacity_bytes;
    let finding =
        |text: String, remedy: String| vec![Finding::new(RULE.id, Verdict::Rework, fact, text, remedy).not_simulated()];
    if rise_ns > rise_limit_ns {
        let most = rise_limit_ns * 1000.0 / (RISE * capacitance_pf);
        return finding(
            format!(
                "{} ohm and {capacitance_pf:.0} pF rise in {rise_ns:.0} ns, {mode} allows {rise_limit_ns:.0} ns",
                bus.pull_up_ohm
            ),
            format!("fit at most {most:.0} ohm, or run SCL slower"),
        );
    }
    if f64::from(bus.pull_up_ohm) < least_ohm {
        return finding(
            format!("{} ohm asks for more sink current than {mode} promises at {supply} V", bus.pull_up_ohm),
            format!("fit at least {least_ohm:.0} ohm"),
        );
    }
    Vec::new()
}
