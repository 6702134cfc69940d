//! The lines of the bus, for controllers that move pins.

use embedded_hal::digital::{InputPin, OutputPin};
use pagewise_simulator::{WireConfig, WirePin};

use crate::guard::{store, with_rig};
use crate::state::{Pins, Rig};
use crate::status::{Failure, Status};

/// Lays the lines of the bus: a pull-up of 1 ohm to 10 megohm and a capacitance of up to 10000 pF each. From then on the
/// chips see edges, and the four functions below move the controller's open-drain pins. Time passes in pagewise_delay_ns.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_lay_lines(rig: *mut Rig, pull_up_ohm: u32, capacitance_pf: u32) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            if !(1..=10_000_000).contains(&pull_up_ohm) || capacitance_pf > 10_000 {
                return Err(Failure::argument(format!("lines of {pull_up_ohm} ohm and {capacitance_pf} pF")));
            }
            let wire = rig.rig.wire(WireConfig { pull_up_ohm, capacitance_pf, mode: None, ..WireConfig::TYPICAL });
            rig.pins = Some(Pins { sda: wire.sda(), scl: wire.scl() });
            Ok(())
        })
    }
}

/// The pins, once there are lines.
fn pins(rig: &mut Rig) -> Result<&mut Pins, Failure> {
    rig.pins.as_mut().ok_or_else(|| Failure::argument("no lines yet: call pagewise_lay_lines first"))
}

fn set(pin: &mut WirePin, high: bool) {
    // Pins of a rig do not fail.
    let Ok(()) = if high { pin.set_high() } else { pin.set_low() };
}

/// Releases SDA (true) or pulls it low (false).
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_set_sda(rig: *mut Rig, high: bool) -> Status {
    // SAFETY: what the caller promises.
    unsafe { with_rig(rig, |rig| pins(rig).map(|pins| set(&mut pins.sda, high))) }
}

/// Releases SCL (true) or pulls it low (false).
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_set_scl(rig: *mut Rig, high: bool) -> Status {
    // SAFETY: what the caller promises.
    unsafe { with_rig(rig, |rig| pins(rig).map(|pins| set(&mut pins.scl, high))) }
}

/// The level of SDA now, whoever pulls.
///
/// # Safety
///
/// As pagewise_delay_ns; `high` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_sda(rig: *mut Rig, high: *mut bool) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let Ok(level) = pins(rig)?.sda.is_high();
            store(high, level);
            Ok(())
        })
    }
}

/// The level of SCL now, whoever pulls.
///
/// # Safety
///
/// As pagewise_sda.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_scl(rig: *mut Rig, high: *mut bool) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let Ok(level) = pins(rig)?.scl.is_high();
            store(high, level);
            Ok(())
        })
    }
}
