//! Chips: attached from model files, their write cycles and faults.

use std::ffi::c_char;

use pagewise_simulator::{ChipModel, CycleTime, Faults};

use crate::guard::{store, text, with_rig};
use crate::pins::Straps;
use crate::state::Rig;
use crate::status::{Failure, Status};

fn attach(rig: &mut Rig, json: &str, straps: Straps) -> Result<u32, Failure> {
    let model: ChipModel = serde_json::from_str(json)
        .map_err(|error| Failure::new(Status::BadModel, format!("the model cannot be read: {error}")))?;
    model.check().map_err(|reason| Failure::new(Status::BadModel, format!("model {}: {reason}", model.name)))?;
    let capacity = model.capacity;
    let id = rig.rig.attach(model, straps.levels()?);
    rig.chips.push((id, capacity));
    Ok(rig.chips.len() as u32 - 1)
}

/// Attaches an erased chip from the text of a model file, which `pagewise model PART` writes. Its number, counted from 0
/// in the order of attachment, goes to `chip`.
///
/// # Safety
///
/// As pagewise_delay_ns; `model_json` is null or a C string; `chip` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_attach_json(
    rig: *mut Rig,
    model_json: *const c_char,
    straps: Straps,
    chip: *mut u32,
) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let number = attach(rig, text(model_json, "the model")?, straps)?;
            store(chip, number);
            Ok(())
        })
    }
}

/// Attaches an erased chip from a model file.
///
/// # Safety
///
/// As pagewise_attach_json; `path` is null or a C string.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_attach_file(
    rig: *mut Rig,
    path: *const c_char,
    straps: Straps,
    chip: *mut u32,
) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let path = text(path, "the path")?;
            let json = std::fs::read_to_string(path)
                .map_err(|error| Failure::new(Status::BadModel, format!("{path}: {error}")))?;
            let number = attach(rig, &json, straps).map_err(|mut failure| {
                failure.text = format!("{path}: {}", failure.text);
                failure
            })?;
            store(chip, number);
            Ok(())
        })
    }
}

/// Pins the duration of a chip's write cycles to `ns`; 0 draws each between typical and longest again.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_set_write_cycle_ns(rig: *mut Rig, chip: u32, ns: u64) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let (id, _) = rig.chip(chip)?;
            rig.rig.set_write_cycle(id, if ns == 0 { CycleTime::Drawn } else { CycleTime::Exact(ns) });
            Ok(())
        })
    }
}

/// Whether a chip's write cycle runs.
///
/// # Safety
///
/// As pagewise_delay_ns; `busy` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_busy(rig: *mut Rig, chip: u32, busy: *mut bool) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let (id, _) = rig.chip(chip)?;
            store(busy, rig.rig.busy(id));
            Ok(())
        })
    }
}

/// Lays faults over the rig, in place of earlier ones. The text is JSON: an object with any of `script` (a list of
/// faults at chosen places, such as `{"nack": {"byte": 2}}`), `seed`, and the shares `nack`, `flip`, `lie`, `long`
/// (such as `{"hits": 1, "of": 100}`).
///
/// # Safety
///
/// As pagewise_delay_ns; `faults_json` is null or a C string.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_set_faults_json(rig: *mut Rig, faults_json: *const c_char) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let faults: Faults = serde_json::from_str(text(faults_json, "the faults")?)
                .map_err(|error| Failure::new(Status::BadFaults, format!("the faults cannot be read: {error}")))?;
            rig.rig.set_faults(faults).map_err(|unknown| Failure::new(Status::BadFaults, unknown.to_string()))
        })
    }
}

/// Takes the faults away, stuck bits of a script included; wear and torn pages stay.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_clear_faults(rig: *mut Rig) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            rig.rig.clear_faults();
            Ok(())
        })
    }
}

/// Faults that took effect so far.
///
/// # Safety
///
/// As pagewise_delay_ns; `count` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_fault_hits(rig: *mut Rig, count: *mut usize) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            store(count, rig.rig.fault_hits().len());
            Ok(())
        })
    }
}
