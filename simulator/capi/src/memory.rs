//! Memory of the chips, and what it was meant to be.

use pagewise_simulator::ChipId;

use crate::guard::{lent, lent_mut, store, with_rig};
use crate::state::Rig;
use crate::status::{Failure, Status};

/// A chip, after a check that `len` bytes at `offset` lie inside it.
fn place(rig: &Rig, chip: u32, offset: u32, len: usize) -> Result<ChipId, Failure> {
    let (id, capacity) = rig.chip(chip)?;
    if offset as usize > capacity as usize || len > (capacity - offset) as usize {
        return Err(Failure::argument(format!("{len} bytes at 0x{offset:04X} of chip {chip}, which has {capacity}")));
    }
    Ok(id)
}

/// Capacity of a chip in bytes.
///
/// # Safety
///
/// As pagewise_delay_ns; `capacity` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_capacity(rig: *mut Rig, chip: u32, capacity: *mut u32) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            store(capacity, rig.chip(chip)?.1);
            Ok(())
        })
    }
}

/// Copies `len` bytes of a chip's array, as stored now; a write cycle that still runs has not changed them yet.
///
/// # Safety
///
/// As pagewise_delay_ns; `bytes` points to `len` writable bytes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_memory(rig: *mut Rig, chip: u32, offset: u32, bytes: *mut u8, len: usize) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let id = place(rig, chip, offset, len)?;
            lent_mut(bytes, len)?.copy_from_slice(&rig.rig.memory(id)[offset as usize..][..len]);
            Ok(())
        })
    }
}

/// Puts bytes into a chip's array behind its back, as a programmer did before the board was built.
///
/// # Safety
///
/// As pagewise_delay_ns; `bytes` points to `len` bytes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_load(rig: *mut Rig, chip: u32, offset: u32, bytes: *const u8, len: usize) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let id = place(rig, chip, offset, len)?;
            rig.rig.load(id, offset, lent(bytes, len)?);
            Ok(())
        })
    }
}

/// Notes that the firmware means these bytes to be stored; pagewise_finish and pagewise_explain compare.
///
/// # Safety
///
/// As pagewise_load.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_meant(rig: *mut Rig, chip: u32, offset: u32, bytes: *const u8, len: usize) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let id = place(rig, chip, offset, len)?;
            rig.rig.meant(id, offset, lent(bytes, len)?);
            Ok(())
        })
    }
}
