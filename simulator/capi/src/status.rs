//! What the functions return, and the last error in words.

use std::cell::RefCell;
use std::ffi::{CString, c_char};

use embedded_hal::i2c::Error as _;
use pagewise_simulator::{BusError, BusFault};

/// What a function has to say.
#[repr(C)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Done.
    Ok = 0,
    /// Nobody answered the device address.
    AddressNack = 1,
    /// A byte was not acknowledged.
    DataNack = 2,
    /// SDA or SCL is held low: no START or STOP is possible. pagewise_recover may help.
    LineHeld = 3,
    /// There is no supply.
    NoSupply = 4,
    /// A null pointer, a chip that the rig does not have, or a value out of range. Nothing was done.
    BadArgument = 5,
    /// The model cannot be read, or it contradicts itself. Nothing was attached.
    BadModel = 6,
    /// The faults cannot be read, or name a place that the rig does not have. Nothing was changed.
    BadFaults = 7,
    /// The simulator failed; the rig refuses everything from now on.
    Internal = 8,
    /// A file cannot be written.
    BadFile = 9,
}

/// A status other than `Ok`, with its reason.
#[derive(Debug)]
pub(crate) struct Failure {
    pub(crate) status: Status,
    pub(crate) text: String,
}

impl Failure {
    pub(crate) fn new(status: Status, text: impl Into<String>) -> Self {
        Self { status, text: text.into() }
    }

    pub(crate) fn argument(text: impl Into<String>) -> Self {
        Self::new(Status::BadArgument, text)
    }
}

impl From<BusError> for Failure {
    fn from(error: BusError) -> Self {
        let status = match error.fault {
            BusFault::AddressNack => Status::AddressNack,
            BusFault::DataNack { .. } => Status::DataNack,
            BusFault::SdaHeld => Status::LineHeld,
            BusFault::NoSupply => Status::NoSupply,
            BusFault::AddressOutOfRange(_) => Status::BadArgument,
            _ => Status::Internal,
        };
        Self::new(status, format!("{error} ({:?})", error.kind()))
    }
}

thread_local! {
    static LAST: RefCell<CString> = RefCell::default();
}

/// A C string; what comes after a zero byte is left out.
pub(crate) fn c_string(text: &str) -> CString {
    let whole = text.split('\0').next().unwrap_or_default();
    CString::new(whole).unwrap_or_default()
}

pub(crate) fn remember(text: &str) {
    LAST.with(|last| *last.borrow_mut() = c_string(text));
}

/// Reason of the last status other than PAGEWISE_STATUS_OK in this thread; empty if there was none. Never null; valid
/// until the next call in this thread.
#[unsafe(no_mangle)]
pub extern "C" fn pagewise_last_error() -> *const c_char {
    LAST.with(|last| last.borrow().as_ptr())
}
