//! Devices of the Linux kernel, where there are none.

use embedded_hal::i2c::Operation;

use super::error::LineError;
use pagewise_base::fault::Fault;

/// No device: there is none of them here.
pub enum Device {}

impl Device {
    /// Says that there are none.
    ///
    /// # Errors
    /// Always.
    pub fn open(path: &str) -> Result<Self, Fault> {
        Err(Fault::of_file("--bus", format!("`{path}` needs Linux"), "run it there, or take --simulate"))
    }

    /// Its path.
    #[must_use]
    pub fn path(&self) -> &str {
        match *self {}
    }

    pub(super) fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), LineError> {
        match *self {}
    }
}
