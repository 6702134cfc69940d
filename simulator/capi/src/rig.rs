//! Rigs: made, freed, and their time.

use pagewise_simulator::RigConfig;
use pagewise_simulator::door::Door;
use pagewise_simulator::time::END_NS;

use crate::guard::{guarded, store, with_rig};
use crate::state::Rig;
use crate::status::{Failure, Status};

/// A bus without chips; null if SCL is not from 1 Hz to 5 MHz or the supply above 6500 mV.
///
/// `seed` decides everything that is drawn: levels of open pins, durations of write cycles, contents of registers. To be
/// freed with pagewise_rig_free.
#[unsafe(no_mangle)]
pub extern "C" fn pagewise_rig_new(scl_hz: u32, supply_mv: u32, seed: u64) -> *mut Rig {
    let mut made = std::ptr::null_mut();
    guarded(|| {
        if !(1..=5_000_000).contains(&scl_hz) || supply_mv > 6500 {
            return Err(Failure::argument(format!(
                "{scl_hz} Hz and {supply_mv} mV: SCL goes to 5 MHz, supply to 6500 mV"
            )));
        }
        let rig = pagewise_simulator::Rig::new(RigConfig { scl_hz, supply_mv, seed });
        made = Box::into_raw(Box::new(around(rig)));
        Ok(())
    });
    made
}

fn around(rig: pagewise_simulator::Rig) -> Rig {
    let bus = rig.bus();
    let steps = bus.steps();
    Rig { rig, bus, steps, chips: Vec::new(), reports: Vec::new(), pins: None, door: None, broken: false }
}

/// A bus with the chip that the environment names, so that one test binary runs on every part: `pagewise trial` names it.
/// The chip's number, 0, goes to `chip`. Null if the environment names none, or one that cannot be. What was seen is told
/// to the trial when the rig is freed with pagewise_rig_free.
///
/// # Safety
///
/// `chip` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_rig_from_environment(chip: *mut u32) -> *mut Rig {
    let mut made = std::ptr::null_mut();
    guarded(|| {
        let door = Door::from_environment().map_err(|error| Failure::new(Status::BadModel, error.to_string()))?;
        let door = door.ok_or_else(|| Failure::argument("the environment names no chip".to_owned()))?;
        let mut rig = around(door.rig.clone());
        let capacity = u32::try_from(door.rig.memory(door.chip).len()).unwrap_or(u32::MAX);
        rig.chips.push((door.chip, capacity));
        rig.door = Some(door);
        // SAFETY: what the caller promises.
        unsafe { store(chip, 0) };
        made = Box::into_raw(Box::new(rig));
        Ok(())
    });
    made
}

/// Frees a rig; null is allowed.
///
/// # Safety
///
/// `rig` is null, or comes from pagewise_rig_new and is not used afterwards.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_rig_free(rig: *mut Rig) {
    if rig.is_null() {
        return;
    }
    guarded(|| {
        // SAFETY: made by Box::into_raw, and the caller promises that this is its last use.
        drop(unsafe { Box::from_raw(rig) });
        Ok(())
    });
}

/// Lets virtual time pass. Nothing on the host waits. Refused where virtual time would end, some 146 years after its
/// beginning.
///
/// # Safety
///
/// As for every function: `rig` is null or a living rig that no other thread uses meanwhile.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_delay_ns(rig: *mut Rig, ns: u64) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            if rig.rig.now_ns().checked_add(ns).is_none_or(|until| until > END_NS) {
                return Err(Failure::argument(format!("{ns} ns are beyond the end of virtual time")));
            }
            rig.rig.advance_ns(ns);
            Ok(())
        })
    }
}

/// Virtual time since the rig was made, in nanoseconds.
///
/// # Safety
///
/// As pagewise_delay_ns; `ns` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_now_ns(rig: *mut Rig, ns: *mut u64) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            store(ns, rig.rig.now_ns());
            Ok(())
        })
    }
}

/// Changes the SCL rate, 1 Hz to 5 MHz.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_set_scl_hz(rig: *mut Rig, scl_hz: u32) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            if !(1..=5_000_000).contains(&scl_hz) {
                return Err(Failure::argument(format!("{scl_hz} Hz, SCL goes from 1 Hz to 5 MHz")));
            }
            rig.rig.set_scl_hz(scl_hz);
            Ok(())
        })
    }
}
