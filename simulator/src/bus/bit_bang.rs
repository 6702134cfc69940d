//! A bit-banging controller over embedded-hal pins, with the clock plan of the byte level.

use core::fmt;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use crate::time::ClockPlan;

/// Error of [`BitBang`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum BitBangError {
    /// Nobody answered the device address.
    AddressNack,
    /// A byte was not acknowledged; counted from 0 after the device address.
    DataNack(usize),
    /// A device address above 0x7F: nothing was sent.
    AddressOutOfRange(u8),
    /// SDA is low although nobody should pull it.
    SdaHeld,
    /// SCL is low although the controller released it.
    SclHeld,
    /// A pin failed.
    Pin,
}

impl fmt::Display for BitBangError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AddressNack => f.write_str("device address not acknowledged"),
            Self::DataNack(byte) => write!(f, "byte {byte} not acknowledged"),
            Self::AddressOutOfRange(address) => write!(f, "0x{address:02X} is not a 7-bit device address"),
            Self::SdaHeld => f.write_str("SDA is held low"),
            Self::SclHeld => f.write_str("SCL is held low"),
            Self::Pin => f.write_str("a pin failed"),
        }
    }
}

impl core::error::Error for BitBangError {}

impl embedded_hal::i2c::Error for BitBangError {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::AddressNack => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            Self::DataNack(_) => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data),
            Self::SdaHeld | Self::SclHeld => ErrorKind::Bus,
            Self::AddressOutOfRange(_) | Self::Pin => ErrorKind::Other,
        }
    }
}

/// Published shapes of a software reset, for a bus whose controller left in the middle of a transfer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ResetShape {
    /// Nine clocks with SDA released. Source: UM10204 Rev.6 3.1.16.
    NineClocks,
    /// START, nine clocks, START, STOP. Sources: Atmel AT24C128C 8734B p.7; ABLIC S-24C32C/64C p.23.
    StartNineClocksStartStop,
    /// 14 clocks, START, START. Source: ROHM BR24T-W Rev.H p.12.
    FourteenClocksTwoStarts,
    /// START, nine clocks, START. Source: ROHM BR24T-W Rev.H p.12.
    StartNineClocksStart,
    /// Nine STARTs. Source: ROHM BR24T-W Rev.H p.12.
    NineStarts,
}

impl ResetShape {
    /// Every shape.
    pub const ALL: [Self; 5] = [
        Self::NineClocks,
        Self::StartNineClocksStartStop,
        Self::FourteenClocksTwoStarts,
        Self::StartNineClocksStart,
        Self::NineStarts,
    ];
}

/// An I2C controller made of two open-drain pins and a delay.
#[derive(Debug)]
pub struct BitBang<Sda, Scl, Delay> {
    sda: Sda,
    scl: Scl,
    delay: Delay,
    plan: ClockPlan,
    waits_ns: u64,
    in_transfer: bool,
}

type Done = Result<(), BitBangError>;

impl<Sda: OutputPin + InputPin, Scl: OutputPin + InputPin, Delay: DelayNs> BitBang<Sda, Scl, Delay> {
    /// A controller at an SCL rate in hertz; both pins are released.
    ///
    /// # Errors
    ///
    /// A pin fails.
    pub fn new(mut sda: Sda, mut scl: Scl, delay: Delay, scl_hz: u32) -> Result<Self, BitBangError> {
        sda.set_high().map_err(|_| BitBangError::Pin)?;
        scl.set_high().map_err(|_| BitBangError::Pin)?;
        Ok(Self { sda, scl, delay, plan: ClockPlan::for_scl_hz(scl_hz), waits_ns: 0, in_transfer: false })
    }

    /// The same controller with another clock plan.
    #[must_use]
    pub fn with_plan(self, plan: ClockPlan) -> Self {
        Self { plan, ..self }
    }

    /// The same controller that waits for so many nanoseconds for devices that stretch the clock before it gives SCL up as
    /// held; without it the next high part ends when its time is over.
    #[must_use]
    pub fn waiting(self, waits_ns: u64) -> Self {
        Self { waits_ns, ..self }
    }

    /// Gives the pins and the delay back.
    pub fn release(self) -> (Sda, Scl, Delay) {
        (self.sda, self.scl, self.delay)
    }

    fn set_sda(&mut self, high: bool) -> Done {
        let done = if high { self.sda.set_high().is_ok() } else { self.sda.set_low().is_ok() };
        if done { Ok(()) } else { Err(BitBangError::Pin) }
    }

    fn set_scl(&mut self, high: bool) -> Done {
        let done = if high { self.scl.set_high().is_ok() } else { self.scl.set_low().is_ok() };
        if done { Ok(()) } else { Err(BitBangError::Pin) }
    }

    fn wait(&mut self, ns: u64) {
        let mut left = ns;
        while left > 0 {
            let step = u32::try_from(left).unwrap_or(u32::MAX);
            self.delay.delay_ns(step);
            left -= u64::from(step);
        }
    }

    /// START; inside a transfer a repeated one.
    ///
    /// # Errors
    ///
    /// SDA is held low, so that no START is possible.
    pub fn start(&mut self) -> Done {
        if self.in_transfer {
            self.set_sda(true)?;
            self.wait(self.plan.period_ns);
            self.raise_scl()?;
        }
        self.wait(self.plan.low_ns);
        if self.sda.is_low().map_err(|_| BitBangError::Pin)? {
            return Err(BitBangError::SdaHeld);
        }
        self.set_sda(false)?;
        self.wait(self.plan.high_ns);
        self.set_scl(false)?;
        self.in_transfer = true;
        Ok(())
    }

    /// Releases SCL; while a device stretches the clock, the high part has not begun.
    fn raise_scl(&mut self) -> Done {
        self.set_scl(true)?;
        let step = (self.plan.low_ns / 16).max(1);
        let mut waited = 0;
        while waited < self.waits_ns && self.scl.is_low().map_err(|_| BitBangError::Pin)? {
            self.wait(step);
            waited += step;
        }
        Ok(())
    }

    /// STOP.
    ///
    /// # Errors
    ///
    /// A pin fails.
    pub fn stop(&mut self) -> Done {
        self.set_sda(false)?;
        self.wait(self.plan.low_ns);
        self.raise_scl()?;
        self.wait(self.plan.high_ns);
        self.set_sda(true)?;
        self.in_transfer = false;
        self.wait_for_sda()
    }

    /// The bus is free from when SDA has risen, not from when it was released. On ideal lines no time passes; a line that
    /// somebody holds is given up after two low parts of the clock.
    fn wait_for_sda(&mut self) -> Done {
        for _ in 0..32 {
            if self.sda.is_high().map_err(|_| BitBangError::Pin)? {
                break;
            }
            self.wait((self.plan.low_ns / 16).max(1));
        }
        Ok(())
    }

    /// One clock with SDA driven to `bit` (`true` releases it); returns SDA as read while SCL is high.
    ///
    /// # Errors
    ///
    /// SCL is held low.
    pub fn clock(&mut self, bit: bool) -> Result<bool, BitBangError> {
        self.set_sda(bit)?;
        self.wait(self.plan.low_ns);
        self.raise_scl()?;
        self.wait(self.plan.high_ns);
        if self.scl.is_low().map_err(|_| BitBangError::Pin)? {
            return Err(BitBangError::SclHeld);
        }
        let level = self.sda.is_high().map_err(|_| BitBangError::Pin)?;
        self.set_scl(false)?;
        Ok(level)
    }

    /// Eight bits out and the acknowledge bit in; returns whether it was acknowledged.
    ///
    /// # Errors
    ///
    /// As [`BitBang::clock`].
    pub fn send(&mut self, byte: u8) -> Result<bool, BitBangError> {
        for i in (0..8).rev() {
            self.clock(byte >> i & 1 == 1)?;
        }
        Ok(!self.clock(true)?)
    }

    /// Eight bits in and the acknowledge bit out.
    ///
    /// # Errors
    ///
    /// As [`BitBang::clock`].
    pub fn receive(&mut self, ack: bool) -> Result<u8, BitBangError> {
        let mut byte = 0;
        for _ in 0..8 {
            byte = byte << 1 | u8::from(self.clock(true)?);
        }
        self.clock(!ack)?;
        Ok(byte)
    }

    /// Forgets the transfer under way, as a controller does that is reset: after the low part of the clock both pins are
    /// released.
    ///
    /// # Errors
    ///
    /// A pin fails.
    pub fn abandon(&mut self) -> Done {
        self.wait(self.plan.low_ns);
        self.set_scl(true)?;
        self.set_sda(true)?;
        self.in_transfer = false;
        Ok(())
    }

    /// Frees the bus by one of the published shapes; all but the one that ends in STOP are followed by a STOP here, so
    /// that the bus is free afterwards.
    ///
    /// # Errors
    ///
    /// A line is held low although the shape is over.
    pub fn software_reset(&mut self, shape: ResetShape) -> Done {
        match shape {
            ResetShape::NineClocks => self.clocks(9)?,
            ResetShape::StartNineClocksStartStop => {
                self.try_start()?;
                self.clocks(9)?;
                self.try_start()?;
            }
            ResetShape::FourteenClocksTwoStarts => {
                self.clocks(14)?;
                self.try_start()?;
                self.try_start()?;
            }
            ResetShape::StartNineClocksStart => {
                self.try_start()?;
                self.clocks(9)?;
                self.try_start()?;
            }
            ResetShape::NineStarts => {
                for _ in 0..9 {
                    self.try_start()?;
                }
            }
        }
        self.in_transfer = true;
        self.stop()?;
        self.wait(self.plan.low_ns);
        if self.sda.is_low().map_err(|_| BitBangError::Pin)? { Err(BitBangError::SdaHeld) } else { Ok(()) }
    }

    fn clocks(&mut self, count: u32) -> Done {
        self.set_sda(true)?;
        self.set_scl(false)?;
        for _ in 0..count {
            self.clock(true)?;
        }
        Ok(())
    }

    /// The motions of a START, whether SDA follows or not.
    fn try_start(&mut self) -> Done {
        self.set_scl(false)?;
        self.set_sda(true)?;
        self.wait(self.plan.period_ns);
        self.set_scl(true)?;
        self.wait(self.plan.low_ns);
        self.set_sda(false)?;
        self.wait(self.plan.high_ns);
        self.set_scl(false)
    }

    fn transfer(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Done {
        let count = operations.len();
        let mut before = None;
        let mut sent = 0;
        for i in 0..count {
            let reads = matches!(operations[i], Operation::Read(_));
            if before != Some(reads) {
                self.start()?;
                if !self.send(address << 1 | u8::from(reads))? {
                    return Err(BitBangError::AddressNack);
                }
                sent = 0;
            }
            before = Some(reads);
            let next =
                operations[i + 1..].iter().find(|op| !matches!(op, Operation::Read(buffer) if buffer.is_empty()));
            let last = !matches!(next, Some(Operation::Read(_)));
            match &mut operations[i] {
                Operation::Write(bytes) => {
                    for &byte in *bytes {
                        if !self.send(byte)? {
                            return Err(BitBangError::DataNack(sent));
                        }
                        sent += 1;
                    }
                }
                Operation::Read(buffer) => {
                    let len = buffer.len();
                    for (n, place) in buffer.iter_mut().enumerate() {
                        *place = self.receive(!(last && n + 1 == len))?;
                    }
                }
            }
        }
        Ok(())
    }
}

impl<Sda, Scl, Delay> ErrorType for BitBang<Sda, Scl, Delay> {
    type Error = BitBangError;
}

impl<Sda: OutputPin + InputPin, Scl: OutputPin + InputPin, Delay: DelayNs> I2c for BitBang<Sda, Scl, Delay> {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BitBangError> {
        if address > 0x7F {
            return Err(BitBangError::AddressOutOfRange(address));
        }
        if operations.is_empty() {
            return Ok(());
        }
        let done = self.transfer(address, operations);
        if self.in_transfer && !matches!(done, Err(BitBangError::SdaHeld | BitBangError::SclHeld)) {
            self.stop()?;
        }
        done
    }
}
