//! What the recordings say about the times of the bus.

use pagewise_simulator::recording::{Spread, Timing};
use serde_json::json;

use crate::observer::Observer;
use crate::property::{At, Certainty, Moments, Property};

/// A time of the bus: name of the property, symbol, the values of a recording.
type Time = (&'static str, &'static str, fn(&Timing) -> &Spread);

const TIMES: [Time; 9] = [
    ("t_low_ns", "t_LOW", |timing| &timing.low),
    ("t_high_ns", "t_HIGH", |timing| &timing.high),
    ("t_su_dat_ns", "t_SU;DAT of the controller", |timing| &timing.setup_data),
    ("t_hd_dat_ns", "t_HD;DAT of the controller", |timing| &timing.hold_data),
    ("t_hd_sta_ns", "t_HD;STA", |timing| &timing.hold_start),
    ("t_su_sta_ns", "t_SU;STA", |timing| &timing.setup_start),
    ("t_su_sto_ns", "t_SU;STO", |timing| &timing.setup_stop),
    ("t_buf_ns", "t_BUF", |timing| &timing.bus_free),
    ("t_aa_ns", "falling SCL to data of the part", |timing| &timing.device_data),
];

/// Shortest and longest over all recordings, with the moment of the shortest and the coarsest sample interval.
fn extremes(observer: &Observer, of: fn(&Timing) -> &Spread) -> Option<(u64, u64, At, u64)> {
    let mut found: Option<(u64, u64, At, u64)> = None;
    for (file, (timing, interval)) in observer.timings.iter().enumerate() {
        let (Some((short, ns)), Some((long, _))) = (of(timing).shortest(), of(timing).longest()) else { continue };
        let at = At { file, ns };
        found = Some(match found {
            None => (short, long, at, *interval),
            Some((s, l, a, i)) => (short.min(s), long.max(l), if short < s { at } else { a }, (*interval).max(i)),
        });
    }
    found
}

/// The SCL rate, and the times by their names in data sheets.
pub(crate) fn properties(
    observer: &Observer,
    into: &mut Vec<Property>,
    moments: &dyn Fn(&Moments) -> Vec<crate::Moment>,
) {
    into.push(rate(observer, moments));
    for (name, symbol, of) in TIMES {
        into.push(match extremes(observer, of) {
            None => Property::not_seen(name, format!("{symbol} did not occur")),
            Some((shortest, longest, at, interval)) => {
                let value = json!({ "shortest": shortest, "longest": longest, "resolution": interval });
                let why = format!("between samples {interval} ns apart, so right to within {interval} ns");
                Property::seen(name, value, Certainty::Shown, moments(&Moments::one(at)), why)
            }
        });
    }
    into.push(rise(observer, moments));
}

fn rate(observer: &Observer, moments: &dyn Fn(&Moments) -> Vec<crate::Moment>) -> Property {
    let rates = observer.timings.iter().enumerate();
    let fastest = rates.filter_map(|(file, (timing, _))| {
        let median = timing.period.median()?;
        Some((median.max(1), At { file, ns: timing.period.shortest()?.1 }))
    });
    match fastest.min() {
        None => Property::not_seen("scl_khz", "there is no whole byte"),
        Some((period, at)) => {
            let khz = (10_000_000.0 / period as f64).round() / 10.0;
            Property::seen(
                "scl_khz",
                khz,
                Certainty::Shown,
                moments(&Moments::one(at)),
                "median clock inside bytes, to within a sample",
            )
        }
    }
}

/// A logic analyser has one threshold: all that it shows of a rise is that it was over.
fn rise(observer: &Observer, moments: &dyn Fn(&Moments) -> Vec<crate::Moment>) -> Property {
    match extremes(observer, |timing| &timing.rise_within) {
        None => Property::not_seen("t_r_ns", "SDA never rose while SCL was low"),
        Some((shortest, _, at, interval)) => {
            let value = json!({ "at_most": shortest + interval, "resolution": interval });
            let why = "SDA was high this soon after SCL fell; a logic analyser shows no more of a rise";
            Property::seen("t_r_ns", value, Certainty::Likely, moments(&Moments::one(at)), why)
        }
    }
}
