//! The bus: whole transfers, and step by step.

use embedded_hal::i2c::{I2c, Operation};

use crate::guard::{lent, lent_mut, store, with_rig};
use crate::state::Rig;
use crate::status::{Failure, Status};

/// START, `address` with R/W = 0, the bytes, STOP.
///
/// # Safety
///
/// As pagewise_delay_ns; `bytes` points to `len` bytes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_write(rig: *mut Rig, address: u8, bytes: *const u8, len: usize) -> Status {
    // SAFETY: what the caller promises.
    unsafe { with_rig(rig, |rig| Ok(rig.bus.write(address, lent(bytes, len)?)?)) }
}

/// START, `address` with R/W = 1, `len` bytes of which the last is not acknowledged, STOP. At least one byte.
///
/// # Safety
///
/// As pagewise_delay_ns; `bytes` points to `len` writable bytes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_read(rig: *mut Rig, address: u8, bytes: *mut u8, len: usize) -> Status {
    // SAFETY: what the caller promises.
    unsafe { with_rig(rig, |rig| Ok(rig.bus.read(address, some(lent_mut(bytes, len)?)?)?)) }
}

/// START, `address` with R/W = 0, the bytes to write, repeated START, `address` with R/W = 1, the bytes to read, STOP.
///
/// # Safety
///
/// As pagewise_write and pagewise_read; the two buffers do not overlap.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_write_read(
    rig: *mut Rig,
    address: u8,
    bytes: *const u8,
    len: usize,
    read: *mut u8,
    read_len: usize,
) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            let (bytes, read) = (lent(bytes, len)?, some(lent_mut(read, read_len)?)?);
            Ok(rig.bus.transaction(address, &mut [Operation::Write(bytes), Operation::Read(read)])?)
        })
    }
}

fn some(bytes: &mut [u8]) -> Result<&mut [u8], Failure> {
    if bytes.is_empty() {
        return Err(Failure::argument("a read of no bytes: the chip would drive SDA where STOP belongs"));
    }
    Ok(bytes)
}

/// START, or a repeated START inside a transfer. The next byte sent is the device address with R/W.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_start(rig: *mut Rig) -> Status {
    // SAFETY: what the caller promises.
    unsafe { with_rig(rig, |rig| Ok(rig.steps.start()?)) }
}

/// One byte to the chips; directly after a START it is the device address with R/W in the lowest bit. The acknowledge bit
/// goes to `acked`: a missing one is no error here.
///
/// # Safety
///
/// As pagewise_delay_ns; `acked` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_send(rig: *mut Rig, byte: u8, acked: *mut bool) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            store(acked, rig.steps.send(byte));
            Ok(())
        })
    }
}

/// One byte from the chips; `ack` is the controller's acknowledge bit, false for the last byte of a read.
///
/// # Safety
///
/// As pagewise_delay_ns; `byte` is null or writable.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_receive(rig: *mut Rig, ack: bool, byte: *mut u8) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            store(byte, rig.steps.receive(ack));
            Ok(())
        })
    }
}

/// STOP. PAGEWISE_STATUS_LINE_HELD if a chip whose last byte was acknowledged drives SDA low.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_stop(rig: *mut Rig) -> Status {
    // SAFETY: what the caller promises.
    unsafe { with_rig(rig, |rig| Ok(rig.steps.stop()?)) }
}

/// Nine clocks with SDA released, then STOP: frees a chip that holds SDA.
///
/// # Safety
///
/// As pagewise_delay_ns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pagewise_recover(rig: *mut Rig) -> Status {
    // SAFETY: what the caller promises.
    unsafe {
        with_rig(rig, |rig| {
            rig.bus.recover();
            Ok(())
        })
    }
}
