//! What surrounds the chips of a rig: supply, pins, speed, faults, wear.

use alloc::vec::Vec;

use crate::chip::running::CycleTime;
use crate::chip::torn::TornModel;
use crate::event::{ChipId, EventKind, Level};
use crate::fault::{FaultHit, Faults, UnknownPlace};
use crate::rig::Rig;
use crate::rng::Rng;
use crate::supply::SupplyProfile;
use crate::time::ClockPlan;

impl Rig {
    /// Puts A0 of a chip at high voltage, which reversible software protection needs, or takes it away.
    pub fn set_a0_high_voltage(&self, chip: ChipId, on: bool) {
        self.world.borrow_mut().chips[chip.0].regions.high_voltage = on;
    }

    /// Moves the WP pin.
    pub fn set_wp(&self, chip: ChipId, level: Level) {
        let world = &mut *self.world.borrow_mut();
        let now = world.now;
        world.emit(now, EventKind::WriteProtectPin { chip, level });
        world.chips[chip.0].set_wp(now, level);
        world.hear_notes();
    }

    /// Sets the supply at once.
    pub fn set_supply_mv(&self, mv: u32) {
        self.world.borrow_mut().apply_supply(mv);
    }

    /// Supply off for a millisecond, on again at the same value, and the longest power-up time of the chips waited for.
    pub fn power_cycle(&self) {
        let world = &mut *self.world.borrow_mut();
        let mv = world.supply_mv;
        world.apply_supply(0);
        world.restore_supply(mv);
    }

    /// Changes the supply at given times of the rig's clock; what lies behind counts at once, and what an earlier profile still
    /// had to come is forgotten.
    pub fn set_supply_profile(&self, profile: &SupplyProfile) {
        let world = &mut *self.world.borrow_mut();
        world.supply_ahead = profile.steps().iter().copied().collect();
        world.run_to(world.now);
    }

    /// The supply now, in millivolts.
    #[must_use]
    pub fn supply_mv(&self) -> u32 {
        self.world.borrow().supply_mv
    }

    /// After the supply was lost: off for a millisecond, then on at `mv`, and the longest power-up time waited for.
    pub fn restore_supply_mv(&self, mv: u32) {
        self.world.borrow_mut().restore_supply(mv);
    }

    /// What a write cycle leaves behind when the supply is lost inside it; `draws` seeds what is drawn.
    pub fn set_torn_model(&self, model: TornModel, draws: u64) {
        for (i, chip) in self.world.borrow_mut().chips.iter_mut().enumerate() {
            chip.torn_model = model;
            chip.torn_rng = Rng::new(draws ^ (i as u64) << 48);
        }
    }

    /// Lays faults over the rig, in place of earlier ones.
    ///
    /// # Errors
    ///
    /// The script names a chip or an offset that does not exist; nothing is changed.
    pub fn set_faults(&self, faults: Faults) -> Result<(), UnknownPlace> {
        self.world.borrow_mut().set_faults(faults)
    }

    /// Takes the faults away, stuck bits of a script included; wear and torn pages stay.
    pub fn clear_faults(&self) {
        self.world.borrow_mut().clear_faults();
    }

    /// Faults that took effect so far.
    #[must_use]
    pub fn fault_hits(&self) -> Vec<FaultHit> {
        self.world.borrow().fault_hits.clone()
    }

    /// How long the next write cycles of a chip take.
    pub fn set_write_cycle(&self, chip: ChipId, time: CycleTime) {
        self.world.borrow_mut().chips[chip.0].cycle_time = time;
    }

    /// Changes the SCL rate of every byte-level controller, in hertz.
    pub fn set_scl_hz(&self, scl_hz: u32) {
        let world = &mut *self.world.borrow_mut();
        world.scl_hz = scl_hz;
        world.plan = ClockPlan::for_scl_hz(scl_hz);
        for chip in &mut world.chips {
            chip.scl_hz = scl_hz;
        }
    }

    /// Shapes SCL so that the AC limits of every chip attached so far, at this supply, are kept at the rate of the rig.
    /// Returns `false`, and changes nothing, if the rate leaves no room for that. For byte-level controllers and for bit-
    /// banging ones made afterwards.
    #[must_use = "nothing has changed if this is false"]
    pub fn fit_clock(&self) -> bool {
        let world = &mut *self.world.borrow_mut();
        let fitted = world.chips.iter().try_fold(world.plan, |plan, chip| plan.keeping(&chip.grade().ac));
        // What one chip moved may be too little for another one.
        let kept = |plan: &ClockPlan| world.chips.iter().all(|chip| plan.keeping(&chip.grade().ac) == Some(*plan));
        let Some(plan) = fitted.filter(kept) else { return false };
        world.plan = plan;
        true
    }

    /// With `true`, bytes arrive with flipped bits, drawn from the seed, while SCL is above a chip's grade (rule P2), and a
    /// WP that moves too near to a STOP counts as what it is or as what it was, as drawn.
    pub fn set_overclock_faults(&self, on: bool) {
        let world = &mut *self.world.borrow_mut();
        world.overclock_faults = on;
        for chip in &mut world.chips {
            chip.wp_times.faulty = on;
        }
    }

    /// The temperature in degrees Celsius of every chip attached so far; without it only those of a part's limits hold that
    /// do so at all temperatures.
    pub fn set_temperature_c(&self, celsius: i32) {
        for chip in &mut self.world.borrow_mut().chips {
            chip.celsius = Some(celsius);
        }
    }

    /// Write cycles of the wear unit (byte, group or page, as the model says) that holds `offset`.
    #[must_use]
    pub fn wear(&self, chip: ChipId, offset: u32) -> u64 {
        self.world.borrow().chips[chip.0].wear_of(offset)
    }

    /// Pretends that the wear unit that holds `offset` has seen this many write cycles.
    pub fn set_wear(&self, chip: ChipId, offset: u32, cycles: u64) {
        self.world.borrow_mut().chips[chip.0].set_wear(offset, cycles);
    }
}
