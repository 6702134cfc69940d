//! Virtual time: how long each thing on the bus takes.
//!
//! All times are nanoseconds in a `u64` that starts at 0 with the rig and ends at [`END_NS`]. Nothing reads a clock of the
//! host.
//!
//! One SCL period `T` is `10^9 / scl_hz`, rounded up. Its low part is 55 % and its high part 45 %, which keeps the minima
//! of Standard-, Fast- and Fast-mode Plus at their full rates; [`ClockPlan::keeping`] gives other shares for a part with
//! limits of its own. The costs, at byte level and at wire level alike:
//!
//! | On the bus | Cost | Instant that counts |
//! |---|---|---|
//! | START on a free bus | `T` | SDA falls after the low part; the hold time is the high part |
//! | repeated START | `2 T` | SDA falls `T` + the low part after the last falling SCL |
//! | byte with its acknowledge bit | `9 T` | the receiver has the byte at the eighth rising SCL |
//! | STOP | `T` | SDA rises at the end |

use crate::model::AcLimits;

/// The end of virtual time, some 146 years after its beginning. Delays that would pass it are refused, so that no sum of
/// two times overflows.
pub const END_NS: u64 = 1 << 62;

/// The clock plan of a controller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClockPlan {
    /// One SCL period.
    pub period_ns: u64,
    /// SCL low in each period.
    pub low_ns: u64,
    /// SCL high in each period.
    pub high_ns: u64,
}

impl ClockPlan {
    /// The plan for an SCL rate in hertz (1 or more; 0 is taken as 1).
    #[must_use]
    pub const fn for_scl_hz(scl_hz: u32) -> Self {
        let hz = if scl_hz == 0 { 1 } else { scl_hz as u64 };
        let period_ns = 1_000_000_000_u64.div_ceil(hz);
        let high_ns = period_ns * 9 / 20;
        Self { period_ns, low_ns: period_ns - high_ns, high_ns }
    }

    /// The same rate with low and high parts that keep these limits: as near to this plan as they allow. `None` if the
    /// period has no room for them.
    ///
    /// The high part is also hold time of START and set-up time of STOP; the low part is also bus free time and set-up
    /// time of a repeated START, and in it a chip has to bring out its data.
    #[must_use]
    pub const fn keeping(self, limits: &AcLimits) -> Option<Self> {
        let high = longest([limits.t_high, limits.t_hd_sta, limits.t_su_sto, 0]);
        let low = longest([limits.t_low, limits.t_buf, limits.t_su_sta, limits.t_aa_max]);
        if low + high > self.period_ns {
            return None;
        }
        let most = self.period_ns - low;
        let at_least = if self.high_ns > high { self.high_ns } else { high };
        let high_ns = if at_least < most { at_least } else { most };
        Some(Self { high_ns, low_ns: self.period_ns - high_ns, ..self })
    }

    /// Length of a byte with its acknowledge bit.
    #[must_use]
    pub const fn byte_ns(self) -> u64 {
        9 * self.period_ns
    }

    /// The instants of a byte that starts now.
    pub(crate) const fn byte_from(self, begin: u64) -> ByteTimes {
        let (received, acknowledged) = (begin + self.received_ns(), begin + self.acknowledged_ns());
        ByteTimes { begin, received, acknowledged, end: begin + self.byte_ns() }
    }

    /// From the start of a byte to its eighth rising SCL.
    pub(crate) const fn received_ns(self) -> u64 {
        8 * self.period_ns - self.high_ns
    }

    /// From the start of a byte to its ninth rising SCL, where the acknowledge bit is sampled.
    pub(crate) const fn acknowledged_ns(self) -> u64 {
        9 * self.period_ns - self.high_ns
    }
}

/// The instants of a byte that count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ByteTimes {
    /// SCL falls before the first bit.
    pub(crate) begin: u64,
    /// Eighth rising SCL.
    pub(crate) received: u64,
    /// Ninth rising SCL.
    pub(crate) acknowledged: u64,
    /// SCL falls after the acknowledge bit.
    pub(crate) end: u64,
}

const fn longest([a, b, c, d]: [u32; 4]) -> u64 {
    let (first, second) = (if a > b { a } else { b }, if c > d { c } else { d });
    (if first > second { first } else { second }) as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clock_plan_keeps_the_limits_of_each_bus_mode_at_its_full_rate() {
        for scl_hz in [100_000, 400_000, 1_000_000] {
            let (plan, ac) = (ClockPlan::for_scl_hz(scl_hz), AcLimits::for_scl_hz(scl_hz));
            assert!(plan.low_ns >= u64::from(ac.t_low) && plan.low_ns >= u64::from(ac.t_buf));
            assert!(plan.low_ns >= u64::from(ac.t_su_sta));
            assert!(plan.high_ns >= u64::from(ac.t_high) && plan.high_ns >= u64::from(ac.t_hd_sta));
            assert!(plan.high_ns >= u64::from(ac.t_su_sto));
            assert_eq!(plan.low_ns + plan.high_ns, plan.period_ns);
        }
    }

    #[test]
    fn a_part_with_limits_of_its_own_gets_other_shares_of_the_same_period() {
        let plan = ClockPlan::for_scl_hz(1_000_000);
        let (high, low) = (AcLimits { t_high: 500, t_low: 500, ..AcLimits::FAST_PLUS }, AcLimits::FAST_PLUS);
        let shares = |limits: &AcLimits| plan.keeping(limits).map(|plan| (plan.low_ns, plan.high_ns));
        assert_eq!(shares(&high), Some((500, 500)));
        assert_eq!(shares(&low), Some((550, 450)), "nothing changes where nothing must");
        assert_eq!(shares(&AcLimits { t_low: 600, ..low }), Some((600, 400)));
        assert_eq!(shares(&AcLimits { t_low: 600, t_hd_sta: 401, ..low }), None);
    }

    /// Each limit of the high part and of the low part counts, whichever is the longest.
    #[test]
    fn every_limit_is_kept_if_it_is_the_longest() {
        let plan = ClockPlan::for_scl_hz(1_000_000);
        type Set = fn(&mut AcLimits);
        let limits: [(Set, bool); 7] = [
            (|ac| ac.t_high = 600, true),
            (|ac| ac.t_hd_sta = 600, true),
            (|ac| ac.t_su_sto = 600, true),
            (|ac| ac.t_low = 600, false),
            (|ac| ac.t_buf = 600, false),
            (|ac| ac.t_su_sta = 600, false),
            (|ac| ac.t_aa_max = 600, false),
        ];
        for (index, (set, high)) in limits.into_iter().enumerate() {
            let mut ac = AcLimits {
                t_high: 1,
                t_hd_sta: 2,
                t_su_sto: 3,
                t_low: 1,
                t_buf: 2,
                t_su_sta: 3,
                ..AcLimits::FAST_PLUS
            };
            ac.t_aa_max = 4;
            set(&mut ac);
            let (low_ns, high_ns) = if high { (400, 600) } else { (600, 400) };
            assert_eq!(plan.keeping(&ac), Some(ClockPlan { low_ns, high_ns, ..plan }), "limit {index}");
        }
    }

    /// The middle of each SCL clock is where a level counts: at 100 kHz SCL rises 5.5 us into each clock of 10 us.
    #[test]
    fn the_instants_of_a_byte_are_its_eighth_and_ninth_rising_scl() {
        let times = ClockPlan::for_scl_hz(100_000).byte_from(1_000_000);
        assert_eq!((times.begin, times.end), (1_000_000, 1_090_000));
        assert_eq!((times.received, times.acknowledged), (1_000_000 + 75_500, 1_000_000 + 85_500));
    }

    #[test]
    fn nine_clocks_at_400_khz_take_22_5_us() {
        // standards-notes: "At 400 kHz a poll takes 22.5 us on the wire".
        assert_eq!(ClockPlan::for_scl_hz(400_000).byte_ns(), 22_500);
    }
}
