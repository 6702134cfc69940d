//! What reading alone shows: who answers, how contents repeat, and sometimes how many word-address bytes there are.
//!
//! No STOP ever stands behind a header. Headers are tried from the shortest on, so that no part is sent more
//! word-address bytes than it takes: what is too much would be data, which a START drops on a part with a write cycle,
//! and which one without has stored by then.

use crate::facts::Outcome;
use crate::place::Window;
use crate::probe::{PIECE, Probe, Trouble};

/// Device addresses that are not reserved by the I2C-bus specification.
pub(crate) const ADDRESSES: std::ops::RangeInclusive<u8> = 0x08..=0x77;
/// Bytes that are read on and on for the period of the contents.
const READ_ON: usize = 1 << 17;
/// Places with varied contents that are asked at most.
const MOST_TRIED: u32 = 16;
/// Fewest device addresses of a part whose device address is its word address.
const FEWEST_WITHOUT_HEADER: usize = 16;

/// Device addresses that answer a read of one byte.
pub(crate) fn scan(probe: &mut Probe<'_>) -> Result<Vec<u8>, Trouble> {
    let mut answers = Vec::new();
    for address in ADDRESSES {
        probe.heed()?;
        if probe.current(address, &mut [0])? {
            answers.push(address);
        }
    }
    Ok(answers)
}

/// After how many bytes the contents repeat when they are read on and on.
pub(crate) fn period(probe: &mut Probe<'_>, device: u8) -> Result<Outcome<u32>, Trouble> {
    let mut seen: Vec<u8> = Vec::new();
    while seen.len() < READ_ON {
        probe.heed()?;
        let piece = probe.limits.transfer_bytes.min(4096);
        seen.extend(probe.read_on(device, piece)?);
    }
    if seen.iter().all(|byte| *byte == seen[0]) {
        return Ok(Outcome::not(format!("all of {READ_ON} bytes read on and on are 0x{:02X}", seen[0])));
    }
    let repeats = (0..17).map(|bit| 1usize << bit).find(|period| seen[*period..] == seen[..seen.len() - period]);
    Ok(match repeats {
        Some(period) => Outcome::Measured(period as u32),
        None => Outcome::not(format!("{READ_ON} bytes read on and on do not repeat")),
    })
}

/// Word-address bytes, where the contents tell.
pub(crate) fn width(probe: &mut Probe<'_>, device: u8, answers: &[u8]) -> Result<Width, Trouble> {
    let mut open = Vec::new();
    for width in 0..=3u8 {
        if width == 0 && answers.len() < FEWEST_WITHOUT_HEADER {
            continue;
        }
        match obeys(probe, Window { device, width }, None)? {
            Some(true) => return Ok(Width::Shown(width)),
            Some(false) => {}
            // A longer header than one that may be the right one is not tried.
            None => {
                open.extend(width..=3);
                break;
            }
        }
    }
    Ok(Width::Open(open))
}

/// What reading says of the word-address bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Width {
    /// So many.
    Shown(u8),
    /// One of these; none: the part does not read the same twice.
    Open(Vec<u8>),
}

/// Whether a header of this width moves the pointer; `None` where the contents do not tell. `near` is a place at which
/// they are known to vary.
pub(crate) fn obeys(probe: &mut Probe<'_>, window: Window, near: Option<u32>) -> Result<Option<bool>, Trouble> {
    if window.width == 0 {
        return obeys_device_address(probe, window.device);
    }
    if let Some(at) = near {
        let told = tells(probe, window, at)?;
        if told.is_some() {
            return Ok(told);
        }
    }
    // From one place to the next; a part that does not look at the header reads on all the same, and shows other bytes at
    // the same place sooner or later.
    let places = window.bytes().min(READ_ON as u32) / PIECE;
    let mut first: Vec<Vec<u8>> = Vec::new();
    let mut tried = 0;
    for round in 0..READ_ON as u32 / PIECE {
        probe.heed()?;
        let at = round % places * PIECE;
        let Some(found) = probe.try_read(window.at(at), PIECE as usize)? else { return Ok(Some(false)) };
        match first.get((at / PIECE) as usize) {
            Some(earlier) if *earlier != found => return Ok(Some(false)),
            Some(_) => {}
            None => first.push(found.clone()),
        }
        let varies = found.windows(2).position(|pair| pair[0] != pair[1]);
        if let Some(varies) = varies.filter(|_| tried < MOST_TRIED) {
            tried += 1;
            let told = tells(probe, window, at + varies as u32)?;
            if told.is_some() {
                return Ok(told);
            }
        }
    }
    Ok(None)
}

/// Reads around a place where byte `at` differs from the next one, in four lengths: a part that obeys the header gives the
/// same again; one that does not reads on.
fn tells(probe: &mut Probe<'_>, window: Window, at: u32) -> Result<Option<bool>, Trouble> {
    let mut shown = 0;
    for bytes in [1usize, 3, 2, 5] {
        let from = window.at(at.wrapping_sub(bytes as u32 - 1));
        let (Some(one), Some(two)) = (probe.try_read(from, bytes)?, probe.try_read(from, bytes)?) else {
            return Ok(Some(false));
        };
        let next = probe.read_on(from.device, bytes)?;
        let three = probe.read(from, bytes)?;
        let after = probe.read_on(from.device, bytes)?;
        if one != two || two != three || next != after {
            return Ok(Some(false));
        }
        shown += u32::from(next != one);
    }
    Ok((shown >= 2).then_some(true))
}

fn obeys_device_address(probe: &mut Probe<'_>, device: u8) -> Result<Option<bool>, Trouble> {
    let mut shown = 0;
    for bytes in [1usize, 3, 2, 5] {
        let (one, two) = (probe.read_on(device, bytes)?, probe.read_on(device, bytes)?);
        let both = probe.read_on(device, 2 * bytes)?;
        if one != two || both[..bytes] != one {
            return Ok(Some(false));
        }
        shown += u32::from(both[bytes..] != one);
    }
    if shown >= 2 {
        return Ok(Some(true));
    }
    // Read on for as long as any such part is large: it never comes out of the place.
    let first = probe.read_on(device, 8)?;
    for _ in 0..1024 {
        if probe.read_on(device, 8)? != first {
            return Ok(Some(false));
        }
    }
    Ok(None)
}
