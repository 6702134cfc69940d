//! bus-timing: set-up, hold or rise time, or the pull-up, outside what the part or the bus allows.
//!
//! That SCL is low or high for too short a time is overclock where it is the part's own limit that is not kept.

use alloc::format;
use alloc::string::String;

use crate::hazard::Hazard;
use crate::timing::TimingParameter;

/// A timing limit that was not kept, by a part of this name or, without one, of the bus mode.
pub(super) fn text(
    name: Option<&str>,
    parameter: TimingParameter,
    limit_ns: u32,
    measured_ns: u64,
) -> (Hazard, String) {
    let hazard = match parameter {
        TimingParameter::Low | TimingParameter::High if name.is_some() => Hazard::Overclock,
        _ => Hazard::BusTiming,
    };
    let whose = name.unwrap_or("bus");
    let most_or_least = if parameter == TimingParameter::Rise { "at most" } else { "at least" };
    (hazard, format!("{whose}: {parameter} is {measured_ns} ns, must be {most_or_least} {limit_ns} ns"))
}

/// A pull-up that lets more current flow than a pin can sink while the line counts as low.
pub(super) fn pull_up(ohm: u32, current_ua: u64, sink_ua: u64) -> String {
    format!("bus: a pull-up of {ohm} ohm lets {current_ua} uA flow, pins sink {sink_ua} uA; a low is not low any more")
}
