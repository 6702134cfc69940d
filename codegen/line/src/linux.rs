//! A device of the Linux kernel, `/dev/i2c-N`.

use embedded_hal::i2c::{Error, I2c, Operation};
use linux_embedded_hal::I2cdev;

use super::error::LineError;
use pagewise_base::fault::Fault;

/// An open device.
pub struct Device {
    path: String,
    bus: I2cdev,
}

impl Device {
    /// Opens a device; nothing is sent.
    ///
    /// # Errors
    /// It does not exist or may not be opened.
    pub fn open(path: &str) -> Result<Self, Fault> {
        let bus = I2cdev::new(path).map_err(|error| {
            let remedy = "check that the i2c-dev module is loaded and that you may open the device";
            Fault::of_file(path, format!("cannot be opened: {error}"), remedy)
        })?;
        Ok(Self { path: path.to_owned(), bus })
    }

    /// Its path.
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
