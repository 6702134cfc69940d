//! The front end of a device: edges in, conditions and bytes to the chip behind it, SDA out.

use crate::chip::Chip;
use crate::event::Line;
use crate::foreign::Other;
use crate::rng::Rng;
use crate::wire::limits::Checker;

/// What is behind a front end.
pub(crate) trait Device {
    fn start(&mut self, now: u64);
    fn receive(&mut self, now: u64, byte: u8) -> bool;
    fn drive(&mut self, now: u64) -> Option<u8>;
    fn sent(&mut self, _acked: bool) {}
    fn stop(&mut self, _now: u64) {}
    fn cut_byte(&mut self, _now: u64, _bits: u8) {}
    /// The shortest SCL period of the byte that comes next.
    fn clocked(&mut self, _period_ns: u64) {}
    /// For so long it holds SCL low after a byte.
    fn stretches(&self) -> u64 {
        0
    }
}

impl Device for Chip {
    fn start(&mut self, now: u64) {
        Chip::start(self, now);
    }
    fn receive(&mut self, now: u64, byte: u8) -> bool {
        Chip::receive(self, now, byte)
    }
    fn drive(&mut self, now: u64) -> Option<u8> {
        Chip::drive(self, now)
    }
    fn sent(&mut self, acked: bool) {
        Chip::sent(self, acked);
    }
    fn stop(&mut self, now: u64) {
        Chip::stop(self, now);
    }
    fn cut_byte(&mut self, now: u64, bits: u8) {
        Chip::cut_byte(self, now, bits);
    }
    fn clocked(&mut self, period_ns: u64) {
        self.scl_hz = u32::try_from(1_000_000_000 / period_ns.max(1)).unwrap_or(u32::MAX);
    }
}

impl Device for Other {
    fn start(&mut self, _now: u64) {
        (self.selected, self.addressed, self.reading) = (false, false, false);
    }
    fn receive(&mut self, _now: u64, byte: u8) -> bool {
        if !self.addressed {
            self.addressed = true;
            self.selected = self.address == byte >> 1;
            self.reading = self.selected && byte & 1 == 1;
        }
        self.selected
    }
    fn drive(&mut self, _now: u64) -> Option<u8> {
        self.reading.then_some(0)
    }
    fn stretches(&self) -> u64 {
        if self.selected { self.stretch_ns } else { 0 }
    }
}

/// What the next clocks mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Slot {
    /// Nothing, until a START.
    Off,
    /// Eight bits from the controller.
    In,
    /// The device's acknowledge bit.
    Answer,
    /// Eight bits from the device.
    Out,
    /// The controller's acknowledge bit.
    Listen,
}

/// A line as seen behind a spike filter: a change counts once it has lasted t_SP, with the time at which it began.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Filtered {
    pub(crate) level: bool,
    /// When the change began that is being watched; `u64::MAX` if none is.
    since: u64,
}

impl Filtered {
    /// A line that has had this level for long.
    pub(crate) const fn settled(level: bool) -> Self {
        Self { level, since: u64::MAX }
    }

    /// The line has this level now.
    pub(crate) fn see(&mut self, now: u64, level: bool) {
        self.since = if level == self.level { u64::MAX } else { self.since.min(now) };
    }

    /// When the watched change will count.
    pub(crate) fn due(&self, t_sp: u64) -> u64 {
        self.since.saturating_add(t_sp)
    }

    /// Takes the watched change; returns when it began.
    pub(crate) fn take(&mut self) -> u64 {
        self.level = !self.level;
        core::mem::replace(&mut self.since, u64::MAX)
    }
}

/// The times of a device at its pins.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Timing {
    /// From falling SCL to valid data, at least and at most.
    pub(crate) t_aa: (u64, u64),
    /// Spikes up to here are filtered.
    pub(crate) t_sp: u64,
    /// SCL low for this long resets the bus logic; 0 for never.
    pub(crate) timeout_ns: u64,
}

/// The front end of one device.
#[derive(Debug, Clone)]
pub(crate) struct Front {
    pub(crate) sda: Filtered,
    pub(crate) scl: Filtered,
    /// The device pulls SDA low.
    pub(crate) pulls: bool,
    /// When that changes; `u64::MAX` if it stays.
    pub(crate) pull_changes_at: u64,
    slot: Slot,
    bits: u8,
    shift: u8,
    acked: bool,
    rose_ns: u64,
    /// Shortest time between two rising SCL since the last condition.
    period_ns: Option<u64>,
    /// What was last to change SDA was the controller.
    pub(crate) by_controller: bool,
    pub(crate) checker: Checker,
    /// Draws bits that are sampled wrong when a limit was not kept.
    rng: Rng,
    /// Draws how long each change of data takes.
    data_rng: Rng,
    /// The device holds SCL low until then; `u64::MAX` if it does not.
    pub(crate) holds_scl_until: u64,
    pub(crate) t_aa: (u64, u64),
    pub(crate) t_sp: u64,
    /// SCL low for this long resets the bus logic; 0 for never.
    pub(crate) timeout_ns: u64,
    timeout_at: u64,
}

impl Front {
    /// A device that is hung on lines of these levels.
    pub(crate) fn new(timing: Timing, checker: Checker, mut rng: Rng, sda: bool, scl: bool) -> Self {
        Self {
            sda: Filtered::settled(sda),
            scl: Filtered::settled(scl),
            pulls: false,
            pull_changes_at: u64::MAX,
            slot: Slot::Off,
            bits: 0,
            shift: 0,
            acked: false,
            rose_ns: 0,
            period_ns: None,
            by_controller: true,
            checker,
            data_rng: rng.fork(0xDA7A),
            holds_scl_until: u64::MAX,
            rng,
            t_aa: timing.t_aa,
            t_sp: timing.t_sp,
            timeout_ns: timing.timeout_ns,
            timeout_at: u64::MAX,
        }
    }

    /// When something happens here next.
    pub(crate) fn due(&self) -> u64 {
        let lines = self.scl.due(self.t_sp).min(self.sda.due(self.t_sp));
        lines.min(self.pull_changes_at).min(self.timeout_at).min(self.holds_scl_until)
    }

    /// The device answered the byte whose acknowledge bit is on the wire.
    pub(crate) fn answers(&self) -> bool {
        self.slot == Slot::Answer && self.acked
    }

    /// The device is in the middle of a byte that it drives.
    pub(crate) fn drives(&self) -> bool {
        self.slot == Slot::Out
    }

    /// Releases SDA and forgets the transfer.
    pub(crate) fn reset(&mut self) {
        (self.slot, self.pulls) = (Slot::Off, false);
        (self.pull_changes_at, self.timeout_at, self.holds_scl_until) = (u64::MAX, u64::MAX, u64::MAX);
    }

    /// After SCL has fallen, SDA is pulled or released when the device has brought its data out.
    fn pull(&mut self, fell: u64, low: bool) {
        if low == self.pulls {
            self.pull_changes_at = u64::MAX;
            return;
        }
        let (least, most) = self.t_aa;
        let takes = if least == 0 || least >= most { most } else { least + self.data_rng.below(most - least + 1) };
        self.pull_changes_at = fell + takes;
    }

    /// A change of a line counts from now on. With `faulty`, a bit is sometimes sampled wrong after a limit was not kept.
    pub(crate) fn edge(&mut self, line: Line, device: &mut impl Device, faulty: bool) {
        match line {
            Line::Scl => {
                let began = self.scl.take();
                self.checker.cross(began, line, self.scl.level, true);
                if self.scl.level { self.scl_rises(began, faulty) } else { self.scl_falls(began, device) }
            }
            Line::Sda => {
                let began = self.sda.take();
                self.checker.cross(began, line, self.sda.level, self.by_controller);
                if self.scl.level {
                    self.condition(began, !self.sda.level, device);
                }
            }
        }
    }

    fn scl_rises(&mut self, at: u64, faulty: bool) {
        let period = at.saturating_sub(self.rose_ns);
        if self.bits > 0 {
            self.period_ns = Some(self.period_ns.map_or(period, |before| before.min(period)));
        }
        self.rose_ns = at;
        self.timeout_at = u64::MAX;
        match self.slot {
            Slot::In => {
                let broken = core::mem::take(&mut self.checker.broken);
                let wrong = faulty && broken && self.rng.below(32) == 0;
                self.shift = self.shift << 1 | u8::from(self.sda.level ^ wrong);
                self.bits += 1;
            }
            Slot::Out => self.bits += 1,
            Slot::Listen => self.acked = !self.sda.level,
            Slot::Off | Slot::Answer => {}
        }
    }

    fn scl_falls(&mut self, at: u64, device: &mut impl Device) {
        if self.timeout_ns > 0 {
            self.timeout_at = at + self.timeout_ns;
        }
        match self.slot {
            // The byte counts from its eighth rising SCL; only now is it sure that no START or STOP cut it.
            Slot::In if self.bits == 8 => {
                if let Some(period_ns) = self.period_ns {
                    device.clocked(period_ns);
                }
                self.acked = device.receive(self.rose_ns, self.shift);
                self.slot = Slot::Answer;
                self.pull(at, self.acked);
            }
            Slot::Answer if self.acked => {
                self.stretch(at, device);
                self.next_byte(at, device);
            }
            Slot::Answer => {
                self.slot = Slot::Off;
                self.pull(at, false);
            }
            Slot::Out if self.bits == 8 => {
                self.slot = Slot::Listen;
                self.pull(at, false);
            }
            Slot::Out => self.pull(at, self.shift << self.bits & 0x80 == 0),
            Slot::Listen => {
                device.sent(self.acked);
                self.stretch(at, device);
                if self.acked { self.next_byte(at, device) } else { self.slot = Slot::Off }
            }
            Slot::In | Slot::Off => {}
        }
    }

    fn stretch(&mut self, at: u64, device: &impl Device) {
        let ns = device.stretches();
        if ns > 0 {
            self.holds_scl_until = at.saturating_add(ns);
        }
    }

    /// Whether the device holds SCL low.
    pub(crate) fn holds_scl(&self) -> bool {
        self.holds_scl_until != u64::MAX
    }

    fn next_byte(&mut self, at: u64, device: &mut impl Device) {
        self.bits = 0;
        let low = match device.drive(at) {
            Some(byte) => {
                (self.slot, self.shift) = (Slot::Out, byte);
                byte & 0x80 == 0
            }
            None => {
                (self.slot, self.shift) = (Slot::In, 0);
                false
            }
        };
        self.pull(at, low);
    }

    /// START (`start`) or STOP.
    fn condition(&mut self, at: u64, start: bool, device: &mut impl Device) {
        // The clock in which the condition comes is not a bit of a byte.
        let whole = self.bits.saturating_sub(1);
        match self.slot {
            Slot::In if whole > 0 => device.cut_byte(at, whole),
            Slot::Out => device.cut_byte(at, whole),
            Slot::Answer => device.cut_byte(at, 8),
            _ => {}
        }
        self.pull(at, false);
        (self.bits, self.shift, self.period_ns) = (0, 0, None);
        if start {
            device.start(at);
            self.slot = Slot::In;
        } else {
            device.stop(at);
            self.slot = Slot::Off;
        }
    }
}
