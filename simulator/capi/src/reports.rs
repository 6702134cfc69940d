//! What comes out: trace, hazards, losses.

use std::ffi::{CString, c_char};

use crate::guard::{self, guarded, store, with_rig};
use crate::state::Rig;
use crate::status::{Failure, Status, c_string};

/// Number in place of a chip where a hazard concerns no chip in particular.
pub const PAGEWISE_NO_CHIP: u32 = u32::MAX;

/// A hazard that a detector named. The texts belong to the rig and are valid until the next pagewise_finish.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct Incident {
    /// Virtual time at which it became certain.
    pub at_ns: u64,
    /// The chip, or PAGEWISE_NO_CHIP.
    pub chip: u32,
    /// Name of the hazard, such as `page-wrap`.
    pub hazard: *const c_char,
    /// What happened, with the numbers.
    pub text: *const c_char,
}

/// The program is over: the detectors decide what was still open. The number of hazards so far goes to `count`.
///
/// # Safety
///
/// As pagewise_delay_ns; `count` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_finish(rig: *mut Rig, count: *mut usize) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let incidents = rig.rig.finish();
            rig.reports = incidents
                .iter()
                .map(|incident| {
                    let chip = incident.chip.map_or(PAGEWISE_NO_CHIP, |chip| chip.index() as u32);
                    (incident.at_ns, chip, c_string(incident.hazard.name()), c_string(&incident.text))
                })
                .collect();
            store(count, rig.reports.len());
            Ok(())
        })
    }
}

/// A hazard by its number, from 0 to one less than pagewise_finish counted.
///
/// # Safety
///
/// As pagewise_delay_ns; `incident` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_incident_at(rig: *mut Rig, number: usize, incident: *mut Incident) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let count = rig.reports.len();
            let (at_ns, chip, hazard, text) = rig
                .reports
                .get(number)
                .ok_or_else(|| Failure::argument(format!("no hazard {number}, there are {count}")))?;
            let (hazard, text) = (hazard.as_ptr(), text.as_ptr());
            store(incident, Incident { at_ns: *at_ns, chip: *chip, hazard, text });
            Ok(())
        })
    }
}

/// Where memory differs from what was meant, and why: a line each, empty if nothing is lost. The text is new and is to be
/// freed with pagewise_text_free.
///
/// # Safety
///
/// As pagewise_delay_ns; `text` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_explain(rig: *mut Rig, text: *mut *mut c_char) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let lines: Vec<String> = rig.rig.explain().into_iter().map(|loss| loss.text + "\n").collect();
            give(text, &lines.concat());
            Ok(())
        })
    }
}

/// The trace, a line per transfer: time, device address, bytes, a `+` for each acknowledge and a `-` for each missing
/// one. The text is new and is to be freed with pagewise_text_free.
///
/// # Safety
///
/// As pagewise_explain.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_trace(rig: *mut Rig, text: *mut *mut c_char) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            give(text, &rig.rig.transfers_text());
            Ok(())
        })
    }
}

/// Writes the trace as a value change dump for waveform viewers: SCL, SDA, supply, and per chip busy and WP.
///
/// # Safety
///
/// As pagewise_delay_ns; `path` is null or a C string.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_write_vcd(rig: *mut Rig, path: *const c_char) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let path = guard::text(path, "the path")?;
            let mut dump = Vec::new();
            let written = rig.rig.write_vcd(&mut dump).and_then(|()| std::fs::write(path, dump));
            written.map_err(|error| Failure::new(Status::BadFile, format!("{path}: {error}")))
        })
    }
}

/// Hands a new text over to C.
///
/// # Safety
///
/// `place` is null or writable.
unsafe fn give(place: *mut *mut c_char, text: &str) {
    if !place.is_null() {
        // SAFETY: what the caller promises.
        unsafe { store(place, c_string(text).into_raw()) };
    }
}

/// Frees a text of pagewise_trace or pagewise_explain; null is allowed.
///
/// # Safety
///
/// `text` is null, or comes from one of them and is not used afterwards.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_text_free(text: *mut c_char) {
    if text.is_null() {
        return;
    }
    guarded(|| {
        // SAFETY: made by CString::into_raw, and the caller promises that this is its last use.
        drop(unsafe { CString::from_raw(text) });
        Ok(())
    });
}
