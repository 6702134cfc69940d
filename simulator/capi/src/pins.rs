//! Pins and supply.

use std::ffi::c_char;

use pagewise_simulator::{Level, TornModel};

use crate::guard::{text, with_rig};
use crate::state::Rig;
use crate::status::{Failure, Status};

/// A pin tied to ground.
pub const PAGEWISE_LOW: u8 = 0;
/// A pin tied to the supply.
pub const PAGEWISE_HIGH: u8 = 1;
/// A pin that is not connected.
pub const PAGEWISE_OPEN: u8 = 2;

/// How the pins of a chip are wired: each PAGEWISE_LOW, PAGEWISE_HIGH or PAGEWISE_OPEN.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct Straps {
    /// Address pin A0.
    pub a0: u8,
    /// Address pin A1.
    pub a1: u8,
    /// Address pin A2.
    pub a2: u8,
    /// Write protect.
    pub wp: u8,
}

impl Straps {
    pub(crate) fn levels(self) -> Result<pagewise_simulator::Straps, Failure> {
        Ok(pagewise_simulator::Straps { a: [level(self.a0)?, level(self.a1)?, level(self.a2)?], wp: level(self.wp)? })
    }
}

fn level(value: u8) -> Result<Level, Failure> {
    match value {
        PAGEWISE_LOW => Ok(Level::Low),
        PAGEWISE_HIGH => Ok(Level::High),
        PAGEWISE_OPEN => Ok(Level::Open),
        _ => Err(Failure::argument(format!("{value} is not a level of a pin"))),
    }
}

/// Moves the WP pin of a chip to a level.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_set_wp(rig: *mut Rig, chip: u32, level: u8) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let (id, _) = rig.chip(chip)?;
            rig.rig.set_wp(id, self::level(level)?);
            Ok(())
        })
    }
}

/// Sets the supply of the whole rig at once, 0 to 6500 mV. Lost inside a write cycle, it leaves the page torn.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_set_supply_mv(rig: *mut Rig, mv: u32) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            if mv > 6500 {
                return Err(Failure::argument(format!("{mv} mV, the supply goes to 6500 mV")));
            }
            rig.rig.set_supply_mv(mv);
            Ok(())
        })
    }
}

/// Supply off for a millisecond, on again, and the longest power-up time of the chips waited for.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_power_cycle(rig: *mut Rig) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            rig.rig.power_cycle();
            Ok(())
        })
    }
}

/// What a write cycle leaves behind when the supply is lost inside it: `old`, `new`, `prefix`, `subset`, `erased` or
/// `unstable`; `draws` seeds what is drawn.
///
/// # Safety
///
/// As pagewise_delay_ns; `model` is null or a C string.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_set_torn_model(rig: *mut Rig, model: *const c_char, draws: u64) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let name = text(model, "the torn model")?;
            let found = TornModel::ALL.into_iter().find(|model| model.name() == name);
            let model = found.ok_or_else(|| Failure::argument(format!("`{name}` is not a torn model")))?;
            rig.rig.set_torn_model(model, draws);
            Ok(())
        })
    }
}
