//! The look: who answers, and what the part holds, found out by reading only.
//!
//! No access of the look has a data byte behind the word address, and none ends behind the word address with a STOP. So
//! it changes nothing on a part that takes fewer word-address bytes than were told, either. Other device addresses are
//! asked by reading one byte, never by a write.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, I2c};

use super::progress::Progress;
use super::socket::PIECE;
use super::{Halt, LineBus, LineError, Socket, Step};
use pagewise_content::inspect::{self, Content, Found};

/// Device addresses that are not reserved by the I2C-bus specification.
const ADDRESSES: std::ops::RangeInclusive<u8> = 0x08..=0x77;

/// Places that are read a second time.
const SAMPLES: usize = 8;
/// Bytes of each.
const SAMPLE: usize = 16;
/// Findings about the contents that are told.
const TOLD: usize = 2;
/// Smallest density that a part has, in bytes.
const SMALLEST: u32 = 16;

/// What the look has found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Look {
    /// Other device addresses that answer.
    pub others: Vec<u8>,
    /// Device addresses of which the adapter says neither that they answer nor that they do not.
    pub unclear: usize,
    /// Everything that the part holds.
    pub contents: Vec<u8>,
    /// What that is, in a few words.
    pub description: String,
    /// A place that reads differently the second time.
    pub unsteady: Option<u32>,
    /// The contents repeat after this many bytes.
    pub period: Option<u32>,
}

/// Looks at what sits in the socket.
///
/// # Errors
/// The part does not answer where it should, or stops answering; somebody asked to stop.
pub fn look(bus: &mut LineBus, socket: &Socket, progress: &Progress<'_>) -> Result<Look, Halt> {
    wait(bus, socket);
    let (others, unclear) = if socket.scan { scan(bus, socket) } else { (Vec::new(), 0) };
    answers(bus, socket, &others, unclear)?;
    let contents = read_all(bus, socket, Step::Look, progress)?;
    let unsteady = read_again(bus, socket, &contents)?;
    let found = inspect::look(&contents, Some(&socket.card));
    let (description, period) = (describe(&contents, &found), period(&found));
    Ok(Look { others, unclear, contents, description, unsteady, period })
}

/// Reads the whole part.
///
/// # Errors
/// It stops answering, or somebody asked to stop.
pub fn read_all(bus: &mut LineBus, socket: &Socket, step: Step, progress: &Progress<'_>) -> Result<Vec<u8>, Halt> {
    let mut contents = vec![0; socket.capacity() as usize];
    progress.begin(step, u64::from(socket.capacity()));
    read(bus, socket, step, 0, &mut contents, progress)?;
    Ok(contents)
}

/// Reads bytes from an offset on, in pieces.
///
/// # Errors
/// The part stops answering, or somebody asked to stop.
pub fn read(
    bus: &mut LineBus,
    socket: &Socket,
    step: Step,
    offset: u32,
    into: &mut [u8],
    progress: &Progress<'_>,
) -> Result<(), Halt> {
    let mut driver = socket.reader(bus);
    for (index, piece) in into.chunks_mut(PIECE as usize).enumerate() {
        let at = offset + index as u32 * PIECE;
        driver.read(at, piece).map_err(|error| {
            Halt::failed(step, format!("reading stopped at 0x{at:04X}: {error}"), hint(&error, socket))
        })?;
        progress.advance(step, piece.len() as u64)?;
    }
    Ok(())
}

/// What to do about an error of the driver.
pub(super) fn hint(error: &super::socket::DriverError, socket: &Socket) -> &'static str {
    use pagewise_driver::Error;
    match error {
        Error::Bus { source, .. } | Error::NotAnswering { source, .. } | Error::WriteProtected { source, .. }
            if source.kind == ErrorKind::Other && !socket.other_is_nack =>
        {
            "if this adapter reports a missing ACK with an error of its own, add --other-is-nack"
        }
        _ => "check contacts, supply and straps, then run the same command again",
    }
}

/// Asks a device address by reading one byte: `Some(true)` if it answers, `None` if the adapter does not say.
fn asks(bus: &mut LineBus, socket: &Socket, address: u8) -> (Option<bool>, Option<LineError>) {
    match bus.read(address, &mut [0]) {
        Ok(()) => (Some(true), None),
        Err(error) => {
            let nack = match error.kind {
                ErrorKind::NoAcknowledge(_) => true,
                ErrorKind::Other => socket.other_is_nack,
                _ => false,
            };
            (nack.then_some(false), Some(error))
        }
    }
}

fn scan(bus: &mut LineBus, socket: &Socket) -> (Vec<u8>, usize) {
    let own = socket.card.answers(socket.pins);
    let (mut others, mut unclear) = (Vec::new(), 0);
    for address in ADDRESSES.filter(|address| !own.contains(address)) {
        match asks(bus, socket, address).0 {
            Some(true) => others.push(address),
            Some(false) => {}
            None => unclear += 1,
        }
    }
    (others, unclear)
}

/// Whatever was written before the line came here is over then, and no read finds a part inside a write cycle.
fn wait(bus: &mut LineBus, socket: &Socket) {
    bus.delay().delay_us(socket.patience_us());
}

/// Whether the part answers where it should, without asking anybody else.
///
/// # Errors
/// It does not.
pub fn answering(bus: &mut LineBus, socket: &Socket) -> Result<(), Halt> {
    wait(bus, socket);
    answers(bus, socket, &[], 0)
}

/// Every device address over which the array is reached has to answer.
fn answers(bus: &mut LineBus, socket: &Socket, others: &[u8], unclear: usize) -> Result<(), Halt> {
    let addresses = socket.addresses();
    let mut silent = Vec::new();
    let mut said = None;
    for address in &addresses {
        let (mut answer, mut error) = asks(bus, socket, *address);
        if answer != Some(true) {
            bus.delay().delay_us(socket.patience_us().max(1000));
            (answer, error) = asks(bus, socket, *address);
        }
        if answer != Some(true) {
            silent.push(*address);
            said = said.or(error);
        }
    }
    if silent.is_empty() {
        return Ok(());
    }
    let said = said.map_or_else(String::new, |error| format!(" ({error})"));
    if silent.len() < addresses.len() {
        let reason = format!("{} should answer at {} too", socket.card.id, listed(&silent));
        let remedy = "a smaller part may sit there, or another package: read its marking";
        return Err(Halt::failed(Step::Look, reason + &said, remedy).named("block-alias"));
    }
    let reason = format!("nobody answers at {}{said}", listed(&silent));
    let remedy = if !socket.other_is_nack && unclear > 0 {
        "check contacts, supply and straps; if this adapter reports a missing ACK with an error of its own, add \
         --other-is-nack"
            .to_owned()
    } else if others.is_empty() {
        let who = if socket.scan { "nobody answers anywhere: check" } else { "check" };
        format!("{who} contacts, supply and the bus; a part that is busy for longer than its write cycle is broken")
    } else {
        format!("{} answers: check the straps (--straps)", listed(others))
    };
    Err(Halt::failed(Step::Look, reason, remedy))
}

/// Device addresses in words.
#[must_use]
pub fn listed(addresses: &[u8]) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut rest = addresses;
    while let Some(first) = rest.first() {
        let run = rest.iter().zip(*first..).take_while(|(address, expected)| **address == *expected).count().max(1);
        parts.push(match run {
            1 | 2 => rest[..run].iter().map(|address| format!("0x{address:02X}")).collect::<Vec<_>>().join(", "),
            _ => format!("0x{first:02X} to 0x{:02X}", rest[run - 1]),
        });
        rest = &rest[run..];
    }
    parts.join(", ")
}

/// Reads some places again, at other offsets than the first time. On a part that takes another number of word-address
/// bytes, the same place reached another way is another place.
fn read_again(bus: &mut LineBus, socket: &Socket, contents: &[u8]) -> Result<Option<u32>, Halt> {
    let varied: Vec<usize> = (3..contents.len().saturating_sub(SAMPLE))
        .step_by(8)
        .filter(|at| contents[*at..][..SAMPLE].windows(2).any(|pair| pair[0] != pair[1]))
        .collect();
    let step = varied.len().div_ceil(SAMPLES).max(1);
    let mut driver = socket.reader(bus);
    for at in varied.into_iter().step_by(step) {
        let mut again = [0; SAMPLE];
        driver.read(at as u32, &mut again).map_err(|error| {
            Halt::failed(Step::Look, format!("reading stopped at 0x{at:04X}: {error}"), hint(&error, socket))
        })?;
        if again != contents[at..][..SAMPLE] {
            return Ok(Some(at as u32));
        }
    }
    Ok(None)
}

/// After how many bytes the contents repeat, if they do.
fn period(found: &[Found]) -> Option<u32> {
    found.iter().find_map(|found| match found.content {
        Content::Repeats { period, .. } if period >= SMALLEST => Some(period),
        _ => None,
    })
}

/// Contents in a few words.
#[must_use]
pub fn describe(contents: &[u8], found: &[Found]) -> String {
    if let [Found { content: Content::Blank { byte }, .. }] = found {
        return format!("blank, all 0x{byte:02X}");
    }
    let told = found.iter().filter(|found| !matches!(found.content, Content::Blank { .. } | Content::Unknown));
    let mut told: Vec<String> = told.map(|found| format!("0x{:04X}: {}", found.offset, found.because)).collect();
    let more = told.len().saturating_sub(TOLD);
    told.truncate(TOLD);
    if more > 0 {
        told.push(format!("and {more} more (`pagewise dump` keeps it)"));
    }
    if told.is_empty() {
        let used = contents.iter().filter(|byte| **byte != 0xFF).count();
        let first = contents.iter().position(|byte| *byte != 0xFF).unwrap_or(0);
        let start = &contents[first..(first + 8).min(contents.len())];
        let hex: Vec<String> = start.iter().map(|byte| format!("{byte:02X}")).collect();
        return format!("{used} bytes other than 0xFF, from 0x{first:04X} on {}", hex.join(" "));
    }
    told.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_listed_as_people_do() {
        assert_eq!(listed(&[0x50]), "0x50");
        assert_eq!(listed(&[0x50, 0x51, 0x68]), "0x50, 0x51, 0x68");
        assert_eq!(listed(&[0x51, 0x52, 0x53, 0x68]), "0x51 to 0x53, 0x68");
    }
}
