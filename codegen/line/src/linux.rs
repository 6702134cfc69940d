//! A device of the Linux kernel, `/dev/i2c-N`.

use std::fs::{File, OpenOptions, TryLockError};

use embedded_hal::i2c::{Error, I2c, Operation};
use linux_embedded_hal::I2cdev;

use super::error::LineError;
use pagewise_base::fault::Fault;

/// EBADF: the descriptor is not an open file.
const NO_FILE: i32 = 9;

/// An open device, for this process alone.
pub struct Device {
    path: String,
    bus: I2cdev,
    /// Held for its lock.
    _lock: File,
}

impl Device {
    /// Opens and locks a device; nothing is sent.
    ///
    /// # Errors
    /// It does not exist or may not be opened; another line works on it.
    pub fn open(path: &str) -> Result<Self, Fault> {
        let cannot = |error: String| {
            let remedy = "check that the i2c-dev module is loaded and that you may open the device";
            Fault::of_file(path, format!("cannot be opened: {error}"), remedy)
        };
        let lock = OpenOptions::new().read(true).write(true).open(path).map_err(|error| cannot(error.to_string()))?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let remedy = "wait for its end, or name another bus";
                return Err(Fault::of_file(path, "the bus is in use by another process", remedy));
            }
            // Where a program stands in for the device there is no file behind it, and nobody to share it with.
            Err(TryLockError::Error(error)) if error.raw_os_error() == Some(NO_FILE) => {}
            Err(TryLockError::Error(error)) => {
                return Err(Fault::of_file(path, format!("cannot be locked: {error}"), "name a device"));
            }
        }
        let bus = I2cdev::new(path).map_err(|error| cannot(error.to_string()))?;
        // The same bus by whatever name it was called.
        let path = std::fs::canonicalize(path).map_or_else(|_| path.to_owned(), |path| path.display().to_string());
        Ok(Self { path, bus, _lock: lock })
    }

    /// Its path, with links followed.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.path
    }

    pub(super) fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), LineError> {
        self.bus
            .transaction(address, operations)
            .map_err(|error| LineError { kind: error.kind(), text: error.to_string() })
    }
}
