//! Second source at run time: which of several parts is fitted, found out by reading only.

#[cfg(feature = "async")]
mod asynch;
mod candidate;
mod plan;

#[cfg(feature = "async")]
pub use asynch::choose_async;
pub use candidate::{Candidate, ChooseError, LongerHeader};

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

use crate::options::Options;
use plan::{Choice, answered};

/// Finds out which of the candidates is fitted, by reading records; never writes, never polls.
///
/// Waits the longest write cycle of all candidates first, since the part may be inside one from before a reset. Then,
/// for each candidate, in order of word-address bytes: reads its record, asks `accepts` (with the candidate's index;
/// check the check value there), and reads each byte of the record again on its own, last one first. The second
/// reading unmasks a part that does not understand the header and only happens to have its pointer at a record.
///
/// All candidates with the same number of word-address bytes are tried, so two that fit are noticed. Records that name
/// their part (or lie at different places) can be told apart; equal records at equal places cannot.
///
/// - **On the wire**: per candidate its record, `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`, and if it is accepted each byte again,
///   `S 50W+ 01+ 24+ Sr 50R+ CD- P`, `S 50W+ 01+ 23+ Sr 50R+ AB- P`.
/// - **Power loss**: changes nothing.
///
/// # Errors
///
/// A [`ChooseError`].
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use pagewise_driver::{Candidate, Geometry, LongerHeader, Options, Parameters, choose};
///
/// # const A: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// # const B: Geometry = Geometry::new(A.parameters().with_capacity_bytes(8192)
/// #     .with_sequential_read_bytes(8192));
/// let candidates = [
///     Candidate::new(A, 0, 2),
///     Candidate::new(B, 0, 2),
/// ];
/// let record = vec![b'B', 0x42];
/// let mut i2c = Mock::new(&[
///     Transaction::write_read(0x50, vec![0, 0], record.clone()),
///     Transaction::write_read(0x50, vec![0, 0], record),
///     Transaction::write_read(0x50, vec![0, 1], vec![0x42]),
///     Transaction::write_read(0x50, vec![0, 0], vec![b'B']),
/// ]);
/// let names = [[b'A', 0x41], [b'B', 0x42]];
/// let chosen = choose(&mut i2c, &mut NoopDelay, &candidates, &mut [0; 2], &Options::new(), LongerHeader::Refuse,
///     |index, record| names[index] == record)?;
/// assert_eq!(chosen, 1);
/// # i2c.done();
/// # Ok::<(), pagewise_driver::ChooseError<embedded_hal::i2c::ErrorKind>>(())
/// ```
pub fn choose<I2C: I2c, D: DelayNs>(
    i2c: &mut I2C,
    delay: &mut D,
    candidates: &[Candidate],
    scratch: &mut [u8],
    options: &Options,
    longer: LongerHeader,
    mut accepts: impl FnMut(usize, &[u8]) -> bool,
) -> Result<usize, ChooseError<I2C::Error>> {
    let (mut choice, cycle_us) = Choice::new(candidates, scratch, options, longer)?;
    delay.delay_us(cycle_us);
    while let Some(step) = choice.step() {
        let mut byte = [0];
        let into = if step.again { &mut byte[..] } else { scratch.get_mut(step.range.clone()).unwrap_or_default() };
        let result = match step.place.header.as_bytes() {
            [] => i2c.read(step.place.device_address, into),
            header => i2c.write_read(step.place.device_address, header, into),
        };
        choice.complete(&step, answered(options, result)?, scratch, byte[0], &mut accepts)?;
    }
    choice.result()
}
