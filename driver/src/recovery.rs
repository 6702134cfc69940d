//! Nine-clock recovery of a bus on which a part holds SDA low.

use core::fmt;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};

/// Why a bus could not be freed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum RecoveryError<C, A> {
    /// The SCL pin reported an error.
    Scl(C),
    /// The SDA pin reported an error.
    Sda(A),
    /// SDA is still low: not a part in the middle of a read, but a short circuit or a missing pull-up.
    StillLow,
}

impl<C: fmt::Debug, A: fmt::Debug> fmt::Display for RecoveryError<C, A> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Scl(error) => write!(f, "SCL pin: {error:?}"),
            Self::Sda(error) => write!(f, "SDA pin: {error:?}"),
            Self::StillLow => f.write_str("SDA is low after nine clocks, START and STOP"),
        }
    }
}

impl<C: fmt::Debug, A: fmt::Debug> core::error::Error for RecoveryError<C, A> {}

/// Frees a bus on which a part holds SDA low, as happens when the controller was reset in the middle of a read.
///
/// Both pins must be open-drain outputs: `set_high` releases the line. On the wire: nine clocks with SDA released,
/// START, STOP. A part in a read sees nine ones and a NACK, a part in a write sees its byte end; every part then sees
/// START and STOP and is idle. A part that was receiving a page write drops what it has latched, since a START comes
/// before the STOP (no data sheet says so in so many words; they say that only STOP starts the write cycle). So call
/// this before the first transfer after a reset, not between transfers.
///
/// `half_period_us` is half an SCL period: 5 for 100 kHz. Give the pins back to the I2C peripheral afterwards.
///
/// # Errors
///
/// A pin's own error, or [`RecoveryError::StillLow`].
///
/// # Examples
///
/// ```
/// # use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
/// # use core::convert::Infallible;
/// # struct Line;
/// # impl ErrorType for Line { type Error = Infallible; }
/// # impl OutputPin for Line {
/// #     fn set_low(&mut self) -> Result<(), Infallible> { Ok(()) }
/// #     fn set_high(&mut self) -> Result<(), Infallible> { Ok(()) }
/// # }
/// # impl InputPin for Line {
/// #     fn is_high(&mut self) -> Result<bool, Infallible> { Ok(true) }
/// #     fn is_low(&mut self) -> Result<bool, Infallible> { Ok(false) }
/// # }
/// # let (mut scl, mut sda, mut delay) = (Line, Line, embedded_hal_mock::eh1::delay::NoopDelay);
/// pagewise_driver::free_bus(&mut scl, &mut sda, &mut delay, 5)?;
/// # Ok::<(), pagewise_driver::RecoveryError<Infallible, Infallible>>(())
/// ```
pub fn free_bus<C, A, D>(
    scl: &mut C,
    sda: &mut A,
    delay: &mut D,
    half_period_us: u32,
) -> Result<(), RecoveryError<C::Error, A::Error>>
where
    C: OutputPin,
    A: OutputPin + InputPin,
    D: DelayNs,
{
    sda.set_high().map_err(RecoveryError::Sda)?;
    scl.set_high().map_err(RecoveryError::Scl)?;
    delay.delay_us(half_period_us);
    for _ in 0..9 {
        scl.set_low().map_err(RecoveryError::Scl)?;
        delay.delay_us(half_period_us);
        scl.set_high().map_err(RecoveryError::Scl)?;
        delay.delay_us(half_period_us);
    }
    sda.set_low().map_err(RecoveryError::Sda)?;
    delay.delay_us(half_period_us);
    sda.set_high().map_err(RecoveryError::Sda)?;
    delay.delay_us(half_period_us);
    if sda.is_high().map_err(RecoveryError::Sda)? { Ok(()) } else { Err(RecoveryError::StillLow) }
}
