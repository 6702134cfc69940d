//! The same choice on an async bus.

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use super::candidate::{Candidate, ChooseError, LongerHeader};
use super::plan::{Choice, answered};
use crate::options::Options;

/// As [`choose`](crate::choose), for async code.
///
/// - **On the wire**: as there.
/// - **Power loss**: changes nothing.
/// - **Cancelled**: leaves nothing behind, since it only reads.
///
/// # Errors
///
/// Those of the blocking call.
pub async fn choose_async<I2C: I2c, D: DelayNs>(
    i2c: &mut I2C,
    delay: &mut D,
    candidates: &[Candidate],
    scratch: &mut [u8],
    options: &Options,
    longer: LongerHeader,
    mut accepts: impl FnMut(usize, &[u8]) -> bool,
) -> Result<usize, ChooseError<I2C::Error>> {
    let (mut choice, cycle_us) = Choice::new(candidates, scratch, options, longer)?;
    delay.delay_us(cycle_us).await;
    while let Some(step) = choice.step() {
        let mut byte = [0];
        let into = if step.again { &mut byte[..] } else { scratch.get_mut(step.range.clone()).unwrap_or_default() };
        let result = match step.place.header.as_bytes() {
            [] => i2c.read(step.place.device_address, into).await,
            header => i2c.write_read(step.place.device_address, header, into).await,
        };
        choice.complete(&step, answered(options, result)?, scratch, byte[0], &mut accepts)?;
    }
    choice.result()
}
