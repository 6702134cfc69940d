//! Supply and speed: when a chip answers, and what a lost supply costs.

use crate::chip::{Chip, Phase, select};
use crate::event::{Level, Note, Pin};
use crate::model::{OpenPin, SpeedGrade, SupplyLimits};

/// The supply below what resets the chip.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Dip {
    /// It is, or has been and was not yet enough to read since.
    reset: bool,
    /// Since when; `None` for long ago.
    since_ns: Option<u64>,
    /// It was too short: the chip did not start.
    silent: bool,
}

impl Dip {
    /// Of a chip whose supply has been this for long.
    pub(crate) fn at(mv: u32, limits: &SupplyLimits) -> Self {
        Self { reset: mv < reset_mv(limits), ..Self::default() }
    }
}

/// Below this supply the chip is reset.
fn reset_mv(limits: &SupplyLimits) -> u32 {
    limits.brown_out.map_or(limits.read_min_mv, |brown_out| brown_out.reset_mv)
}

impl Chip {
    /// B3, R4: levels of open pins and the pointer are drawn anew.
    pub(crate) fn draw_power_up_state(&mut self, now: u64) {
        for n in 0..3 {
            let matters = self.compares_pin(n);
            self.pins[usize::from(n)] = match self.straps.a[usize::from(n)] {
                Level::Low => false,
                Level::High => true,
                Level::Open => self.open_level(now, Pin::Address(n), self.model.open_strap, matters),
            };
        }
        self.selector = select::Selector::new(&self.model.device_bits, self.pins);
        self.read_wp(now);
        self.pointer = self.rng.below(u64::from(self.model.capacity)) as u32;
        self.pointer_set = false;
        self.regions.power_up();
        self.phase = Phase::Ignore;
        self.rolled_from = None;
    }

    fn compares_pin(&self, n: u8) -> bool {
        let regions = self.model.regions.iter().filter_map(|region| region.device_bits.as_ref());
        core::iter::once(&self.model.device_bits).chain(regions).any(|bits| select::uses_pin(bits, n))
    }

    pub(super) fn read_wp(&mut self, now: u64) {
        let wp = &self.model.write_protect;
        let (open, matters) = (wp.open_pin, wp.pin_range.len > 0);
        self.wp_level = match self.straps.wp {
            Level::Low => false,
            Level::High => true,
            Level::Open => self.open_level(now, Pin::WriteProtect, open, matters),
        };
        // A part without a WP function never protects, whatever the pin does.
    }

    fn open_level(&mut self, now: u64, pin: Pin, open: OpenPin, matters: bool) -> bool {
        match open {
            OpenPin::PulledLow => false,
            OpenPin::PulledHigh => true,
            OpenPin::Random => {
                let level = self.rng.level();
                if matters {
                    self.say(now, Note::PinFloats { pin, level });
                }
                level
            }
        }
    }

    /// P1, P3, P5: the supply has a new value.
    pub(crate) fn set_supply(&mut self, now: u64, mv: u32) {
        self.settle(now);
        let limits = self.model.supply;
        let is_on = mv >= limits.read_min_mv;
        self.supply_mv = mv;
        self.max_hz = self.grade().scl_hz;
        if mv < limits.write_min_mv {
            self.tear(now);
        }
        if !is_on {
            self.forget_transfer();
        }
        if mv < reset_mv(&limits) && !self.dip.reset {
            self.dip = Dip { reset: true, since_ns: Some(now), ..self.dip };
            self.forget_leaky();
            self.say(now, Note::PowerDown);
        } else if is_on && self.dip.reset {
            self.power_up(now);
        }
    }

    /// P1: from a reset the chip starts anew, properly only if it lasted long enough.
    fn power_up(&mut self, now: u64) {
        self.dip.reset = false;
        self.dip.silent = false;
        if let (Some(brown_out), Some(since_ns)) = (self.model.supply.brown_out, self.dip.since_ns)
            && now - since_ns < brown_out.off_ns
        {
            self.say(now, Note::ShortlyOff { off_ns: now - since_ns, min_ns: brown_out.off_ns });
            self.dip.silent = self.rng.level();
        }
        self.ready_ns = now + self.model.power_up_ns;
        self.say(now, Note::PowerUp);
        self.draw_power_up_state(now);
    }

    /// The bus logic is reset; the latch is lost.
    pub(crate) fn forget_transfer(&mut self) {
        self.phase = Phase::Ignore;
        self.latch.clear();
    }

    /// P1, P5: whether supply and power-up time let the chip answer.
    pub(crate) fn can_answer(&mut self, now: u64) -> bool {
        let min_mv = self.model.supply.read_min_mv;
        if self.supply_mv < min_mv {
            if self.supply_mv > 0 {
                self.say(now, Note::TooLowToRead { mv: self.supply_mv, min_mv });
            }
            return false;
        }
        self.is_awake(now)
    }

    /// P1, P5: the chip has started, and the power-up time is over.
    pub(crate) fn is_awake(&self, now: u64) -> bool {
        now >= self.ready_ns && !self.dip.silent
    }

    /// The fastest speed grade that covers the supply; where none does, the slowest one (P6).
    pub(crate) fn grade(&self) -> SpeedGrade {
        let grades = &self.model.speed;
        let fastest = grades.iter().filter(|grade| grade.covers(self.supply_mv)).max_by_key(|grade| grade.scl_hz);
        let taken = fastest.or_else(|| grades.iter().min_by_key(|grade| grade.scl_hz));
        *taken.expect("a model without any grade is refused by its check")
    }

    /// Whether a speed grade covers the supply.
    fn has_grade(&self) -> bool {
        self.model.speed.iter().any(|grade| grade.covers(self.supply_mv))
    }

    /// P2, P6, L6: what the board does to a part that is accessed: supply, SCL against the grade and the floor.
    pub(crate) fn report_conditions(&mut self, now: u64) {
        let (mv, max_mv) = (self.supply_mv, self.model.supply.max_mv);
        if mv > max_mv {
            // There no grade counts either.
            return self.say(now, Note::TooHigh { mv, max_mv });
        }
        if !self.has_grade() {
            self.say(now, Note::NoGrade { mv, max_hz: self.max_hz });
        }
        let (scl_hz, max_hz, min_hz) = (self.scl_hz, self.max_hz, self.model.min_scl_hz);
        if scl_hz > max_hz {
            self.say(now, Note::TooFast { scl_hz, max_hz });
        }
        if scl_hz < min_hz {
            self.say(now, Note::TooSlow { scl_hz, min_hz });
        }
    }

    /// Whether [`Chip::report_conditions`] has nothing to say that a detector listens to.
    pub(crate) fn within_conditions(&self) -> bool {
        self.supply_mv <= self.model.supply.max_mv && self.has_grade() && !self.overclocked()
    }

    /// Whether SCL is above the grade.
    pub(crate) fn overclocked(&self) -> bool {
        self.scl_hz > self.max_hz
    }

    /// Bits of the device address that this chip does not look at.
    pub(crate) fn ignored_address_bits(&self) -> u8 {
        self.selector.ignored
    }
}
