//! Virtual time: how long each thing on the bus takes.
//!
//! All times are nanoseconds in a `u64` that starts at 0 with the rig. Nothing reads a clock of the host.
//!
//! One SCL period `T` is `10^9 / scl_hz`, rounded up. Its low part is 55 % and its high part 45 %, which keeps the minima
//! of Standard-, Fast- and Fast-mode Plus at their full rates. The costs, at byte level and at wire level alike:
//!
//! | On the bus | Cost | Instant that counts |
//! |---|---|---|
//! | START on a free bus | `T` | SDA falls after the low part; the hold time is the high part |
//! | repeated START | `2 T` | SDA falls `T` + the low part after the last falling SCL |
//! | byte with its acknowledge bit | `9 T` | the receiver has the byte at the eighth rising SCL |
//! | STOP | `T` | SDA rises at the end |

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

    /// Length of a byte with its acknowledge bit.
    #[must_use]
    pub const fn byte_ns(self) -> u64 {
        9 * self.period_ns
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::AcLimits;

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
    fn nine_clocks_at_400_khz_take_22_5_us() {
        // standards-notes: "At 400 kHz a poll takes 22.5 us on the wire".
        assert_eq!(ClockPlan::for_scl_hz(400_000).byte_ns(), 22_500);
    }
}
