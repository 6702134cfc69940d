//! What the records are kept on.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::OutputPin;
use embedded_hal::i2c::I2c;

use crate::blocking::Eeprom;
use crate::chips::Chips;
use crate::error::Error;
use crate::protect::Protected;

/// A memory that records can be kept on: [`Eeprom`], [`Protected`] or [`Chips`].
pub trait Medium {
    /// Error of an access.
    type Error;

    /// Reads `bytes.len()` bytes from `offset`.
    ///
    /// # Errors
    ///
    /// Whatever the medium reports.
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error>;

    /// Writes `bytes` at `offset`. `Ok` must mean that they are stored, their write cycles over, and read back well.
    ///
    /// # Errors
    ///
    /// Whatever the medium reports.
    fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error>;
}

impl<M: Medium> Medium for &mut M {
    type Error = M::Error;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        M::read(self, offset, bytes)
    }

    fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        M::store(self, offset, bytes)
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> Medium for Eeprom<I2C, D, BUF> {
    type Error = Error<I2C::Error>;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.read(offset, bytes)
    }

    fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.write_verified(offset, bytes)
    }
}

impl<I2C: I2c, D: DelayNs, P: OutputPin, const BUF: usize> Medium for Protected<Eeprom<I2C, D, BUF>, P> {
    type Error = Error<I2C::Error>;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.read(offset, bytes)
    }

    fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.write_verified(offset, bytes)
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize, const N: usize> Medium for Chips<Eeprom<I2C, D, BUF>, N> {
    type Error = Error<I2C::Error>;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.read(offset, bytes)
    }

    fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.write_verified(offset, bytes)
    }
}
