//! What stands between C and the simulator: pointers are checked, panics are caught.

use std::ffi::{CStr, c_char};
use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::state::Rig;
use crate::status::{Failure, Status, remember};

/// Runs `body` and turns its failure, or its panic, into a status.
pub(crate) fn guarded(body: impl FnOnce() -> Result<(), Failure>) -> Status {
    let failure = match catch_unwind(AssertUnwindSafe(body)) {
        Ok(Ok(())) => return Status::Ok,
        Ok(Err(failure)) => failure,
        Err(panic) => {
            let text = panic.downcast_ref::<String>().map(String::as_str);
            let text = text.or_else(|| panic.downcast_ref::<&str>().copied()).unwrap_or("unknown reason");
            Failure::new(Status::Internal, format!("the simulator failed: {text}"))
        }
    };
    remember(&failure.text);
    failure.status
}

/// Runs `body` on a rig.
///
/// # Safety
///
/// `rig` is null, or comes from `pagewise_rig_new` and was not freed, and no other thread uses it meanwhile.
pub(crate) unsafe fn with_rig(rig: *mut Rig, body: impl FnOnce(&mut Rig) -> Result<(), Failure>) -> Status {
    // SAFETY: the caller promises that a pointer which is not null is a living rig that only this thread uses.
    let Some(rig) = (unsafe { rig.as_mut() }) else {
        return guarded(|| Err(Failure::argument("the rig is null")));
    };
    if rig.broken {
        return guarded(|| Err(Failure::new(Status::Internal, "the rig failed before and cannot be used any more")));
    }
    let status = guarded(|| body(rig));
    rig.broken = status == Status::Internal;
    status
}

/// Bytes that C lends for reading; null is allowed for none.
///
/// # Safety
///
/// `bytes` is null, or points to `len` bytes that nobody changes during the call.
pub(crate) unsafe fn lent<'a>(bytes: *const u8, len: usize) -> Result<&'a [u8], Failure> {
    check(bytes.is_null(), len)?;
    if len == 0 {
        return Ok(&[]);
    }
    // SAFETY: not null, not longer than any object, and the caller promises the rest.
    Ok(unsafe { std::slice::from_raw_parts(bytes, len) })
}

/// Bytes that C lends for writing; null is allowed for none. They are zeroed first, so C need not have set them.
///
/// # Safety
///
/// `bytes` is null, or points to `len` writable bytes that nobody else uses during the call.
pub(crate) unsafe fn lent_mut<'a>(bytes: *mut u8, len: usize) -> Result<&'a mut [u8], Failure> {
    check(bytes.is_null(), len)?;
    if len == 0 {
        return Ok(&mut []);
    }
    // SAFETY: not null, not longer than any object, writable by promise; zeroing makes every byte initialised.
    unsafe {
        bytes.write_bytes(0, len);
        Ok(std::slice::from_raw_parts_mut(bytes, len))
    }
}

fn check(is_null: bool, len: usize) -> Result<(), Failure> {
    if is_null && len > 0 {
        return Err(Failure::argument(format!("{len} bytes at a null pointer")));
    }
    if isize::try_from(len).is_err() {
        return Err(Failure::argument(format!("{len} bytes are more than any object holds")));
    }
    Ok(())
}

/// A C string in UTF-8.
///
/// # Safety
///
/// `text` is null, or points to a string that ends with a zero byte and does not change during the call.
pub(crate) unsafe fn text<'a>(text: *const c_char, what: &str) -> Result<&'a str, Failure> {
    if text.is_null() {
        return Err(Failure::argument(format!("{what} is null")));
    }
    // SAFETY: not null, and the caller promises the zero byte.
    let text = unsafe { CStr::from_ptr(text) };
    text.to_str().map_err(|_| Failure::argument(format!("{what} is not UTF-8")))
}

/// Stores a result where C wants it; null means that C does not want it.
///
/// # Safety
///
/// `place` is null, or valid for writing a `T`.
pub(crate) unsafe fn store<T>(place: *mut T, value: T) {
    if !place.is_null() {
        // SAFETY: not null, and the caller promises that it can be written.
        unsafe { place.write(value) };
    }
}
