//! Times between edges, as far as the samples resolve them.

use std::collections::BTreeMap;

/// Values of one kind of time: shortest, longest, median, and where the extremes were seen.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Spread {
    count: u64,
    shortest: Option<(u64, u64)>,
    longest: Option<(u64, u64)>,
    /// Count by value, values rounded to ten significant bits: a bounded number of them.
    histogram: BTreeMap<u64, u64>,
}

impl Spread {
    pub(crate) fn add(&mut self, ns: u64, at_ns: u64) {
        self.count += 1;
        if self.shortest.is_none_or(|(shortest, _)| ns < shortest) {
            self.shortest = Some((ns, at_ns));
        }
        if self.longest.is_none_or(|(longest, _)| ns > longest) {
            self.longest = Some((ns, at_ns));
        }
        let drop = (u64::BITS - ns.leading_zeros()).saturating_sub(10);
        *self.histogram.entry(ns >> drop << drop).or_default() += 1;
    }

    /// How many there were.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// The shortest, in nanoseconds, and when it ended.
    #[must_use]
    pub const fn shortest(&self) -> Option<(u64, u64)> {
        self.shortest
    }

    /// The longest, in nanoseconds, and when it ended.
    #[must_use]
    pub const fn longest(&self) -> Option<(u64, u64)> {
        self.longest
    }

    /// The median in nanoseconds, to within 0.2 %.
    #[must_use]
    pub fn median(&self) -> Option<u64> {
        let mut left = self.count / 2;
        self.histogram.iter().find_map(|(ns, count)| {
            let found = left < *count;
            left = left.saturating_sub(*count);
            found.then_some(*ns)
        })
    }
}

/// Times of a bus by their names in the data sheets. Values are differences between samples: each is right to within one
/// sample interval either way.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Timing {
    /// Rising SCL to rising SCL inside a byte.
    pub period: Spread,
    /// t_LOW inside a byte.
    pub low: Spread,
    /// t_HIGH inside a byte.
    pub high: Spread,
    /// t_SU;DAT of the controller.
    pub setup_data: Spread,
    /// t_HD;DAT of the controller.
    pub hold_data: Spread,
    /// Falling SCL to data of the device: t_AA with the rise or fall of SDA.
    pub device_data: Spread,
    /// t_HD;STA.
    pub hold_start: Spread,
    /// t_SU;STA of repeated STARTs.
    pub setup_start: Spread,
    /// t_SU;STO.
    pub setup_stop: Spread,
    /// t_BUF.
    pub bus_free: Spread,
    /// Falling SCL to high SDA, by whoever released it: no rise takes longer than the shortest of these.
    pub rise_within: Spread,
    scl_rose: Option<u64>,
    scl_fell: Option<u64>,
    started: Option<u64>,
    stopped: Option<u64>,
    /// SDA changed in this low part of SCL: when, and by the controller.
    changed: Option<(u64, bool)>,
}

impl Timing {
    /// SCL rises for bit `bit` of a byte, or outside of a transfer.
    pub(crate) fn clock_rises(&mut self, at_ns: u64, bit: Option<u8>) {
        if let Some(bit) = bit {
            if let Some(fell) = self.scl_fell.filter(|_| bit > 0) {
                self.low.add(at_ns - fell, at_ns);
            }
            if let Some(rose) = self.scl_rose.filter(|_| bit > 0) {
                self.period.add(at_ns - rose, at_ns);
            }
            if let Some((changed, true)) = self.changed {
                self.setup_data.add(at_ns - changed, at_ns);
            }
        }
        (self.scl_rose, self.changed) = (Some(at_ns), None);
    }

    /// SCL falls; `bit` bits of the byte are over.
    pub(crate) fn clock_falls(&mut self, at_ns: u64, bit: u8) {
        if let Some(started) = self.started.take() {
            self.hold_start.add(at_ns - started, at_ns);
        } else if let Some(rose) = self.scl_rose.filter(|_| bit < 8) {
            self.high.add(at_ns - rose, at_ns);
        }
        (self.scl_fell, self.changed) = (Some(at_ns), None);
    }

    /// SDA changes while SCL is low, before bit `bit`.
    pub(crate) fn data(&mut self, at_ns: u64, by_controller: bool, bit: u8, level: bool) {
        let Some(fell) = self.scl_fell else { return };
        // Before the first bit, and before an acknowledge bit, one side lets go and the other one takes over.
        let handover = bit == 0 || (bit == 8 && level);
        if self.changed.is_none() && !handover {
            let spread = if by_controller { &mut self.hold_data } else { &mut self.device_data };
            spread.add(at_ns - fell, at_ns);
        }
        if level {
            self.rise_within.add(at_ns - fell, at_ns);
        }
        self.changed = Some((at_ns, by_controller));
    }

    /// START (`start`) or STOP, inside a transfer or not.
    pub(crate) fn condition(&mut self, at_ns: u64, start: bool, in_transfer: bool) {
        let rose = self.scl_rose;
        if start {
            match (in_transfer, rose, self.stopped.take()) {
                (true, Some(rose), _) => self.setup_start.add(at_ns - rose, at_ns),
                (false, _, Some(stopped)) => self.bus_free.add(at_ns - stopped, at_ns),
                _ => {}
            }
            self.started = Some(at_ns);
        } else {
            if let Some(rose) = rose.filter(|_| in_transfer) {
                self.setup_stop.add(at_ns - rose, at_ns);
            }
            self.stopped = Some(at_ns);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(times: impl IntoIterator<Item = u64>) -> Spread {
        let mut spread = Spread::default();
        times.into_iter().zip(100..).for_each(|(ns, at_ns)| spread.add(ns, at_ns));
        spread
    }

    #[test]
    fn a_spread_has_the_first_of_its_extremes_and_the_median() {
        assert_eq!((Spread::default().count(), Spread::default().median()), (0, None));
        let odd = of([7, 3, 9, 3, 9]);
        assert_eq!((odd.count(), odd.median()), (5, Some(7)));
        assert_eq!((odd.shortest(), odd.longest()), (Some((3, 101)), Some((9, 102))));
        // Of an even number, the upper one of the two in the middle.
        assert_eq!(of([1, 2, 4, 8]).median(), Some(4));
        assert_eq!(of(0..1024).median(), Some(512));
    }

    /// Ten significant bits: the median is right to within 0.2 %, and a long recording needs no more memory than a short one.
    #[test]
    fn times_are_counted_to_ten_significant_bits() {
        for (time, counted) in
            [(1023, 1023), (1024, 1024), (1025, 1024), (1027, 1026), (123_457, 123_392), (u64::MAX, 0x3FF << 54)]
        {
            assert_eq!(of([time]).median(), Some(counted), "{time}");
        }
        assert_eq!(of(1 << 20..(1 << 20) + 20_000).histogram.len(), 10);
    }
}
