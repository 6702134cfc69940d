//! The board: in place of a HAL, a simulated chip on a simulated bus, whose supply can be lost.
//!
//! On real hardware this file gives the I2C peripheral and a timer instead, and nothing else changes.

use pagewise_simulator::{ChipModel, Rig, RigBus, RigConfig, RigDelay, Straps, SupplyProfile, TornModel};

const SUPPLY_MV: u32 = 3300;

/// A board with one EEPROM, fresh from the reel.
pub struct Board {
    rig: Rig,
}

impl Board {
    pub fn new() -> Self {
        let rig = Rig::new(RigConfig::default().with_scl_hz(400_000).with_supply_mv(SUPPLY_MV));
        rig.set_trace(false);
        // 32 kbit = 4096 bytes with 32-byte pages, as the part of part.rs.
        rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        Self { rig }
    }

    pub fn i2c(&self) -> RigBus {
        self.rig.bus()
    }

    pub fn delay(&self) -> RigDelay {
        self.rig.delay()
    }

    /// Takes the supply away in so many microseconds; a write cycle that it hits leaves its page as `torn` says.
    pub fn lose_supply_in_us(&self, us: u64, torn: TornModel) {
        self.rig.set_torn_model(torn, us);
        self.rig.set_supply_profile(&SupplyProfile::new().step(self.rig.now_ns() + us * 1000, 0));
    }

    /// The supply is back, and the part is awake.
    pub fn restore_supply(&self) {
        self.rig.set_supply_profile(&SupplyProfile::new());
        self.rig.restore_supply_mv(SUPPLY_MV);
    }
}
