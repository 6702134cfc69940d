//! The first write: one byte, under one number of word-address bytes after the other, until it is stored where it should.

use crate::facts::Facts;
use crate::place::{Scratch, Window};
use crate::probe::{Probe, Trouble};
use crate::read::{Width, obeys};
use crate::saved::{FLIPPED, Saved};

/// The number of word-address bytes, shown by reading or by a first write; `None` where nothing is stored. What the part
/// held under every number up to that one is on the disk before.
pub(crate) fn width(
    probe: &mut Probe<'_>,
    saved: &mut Saved,
    facts: &Facts,
    width: Width,
    scratch: Scratch,
) -> Result<Option<u8>, Trouble> {
    let (numbers, shown) = match width {
        Width::Shown(width) => (vec![width], true),
        Width::Open(open) => (open, false),
    };
    for width in numbers {
        let window = Window { device: facts.address, width };
        keep(probe, saved, facts, width)?;
        let first = match (shown, saved.has(window)) {
            (true, _) => First::Stored,
            (false, true) => write(probe, saved, window, scratch)?,
            (false, false) => First::Elsewhere,
        };
        match first {
            First::Stored => {
                saved.width_is(width)?;
                return Ok(Some(width));
            }
            // No longer header is tried: a part that keeps bytes as they come (FRAM) would take its end for data.
            First::Refused => return Ok(None),
            First::Elsewhere => {}
        }
    }
    Ok(None)
}

/// Copies what every device address shows that may be the same chip's.
fn keep(probe: &mut Probe<'_>, saved: &mut Saved, facts: &Facts, width: u8) -> Result<(), Trouble> {
    probe.say(&format!("copying the array, {}", bytes(width)));
    // Another device code is another device's, which a header could harm.
    let same_code = |address: &u8| width == 0 || address & 0x78 == facts.address & 0x78;
    for device in facts.answers.iter().copied().filter(same_code) {
        saved.keep(probe, Window { device, width })?;
    }
    Ok(())
}

fn bytes(width: u8) -> String {
    format!("{width} word-address byte{}", if width == 1 { "" } else { "s" })
}

/// What became of one byte behind a header.
enum First {
    /// It is found where the header says.
    Stored,
    /// It was not acknowledged, or a write cycle followed and it is not there: the header was whole before it, and the place is
    /// protected.
    Refused,
    /// It is not there.
    Elsewhere,
}

/// Sends one byte behind a header of this width.
fn write(probe: &mut Probe<'_>, saved: &Saved, window: Window, scratch: Scratch) -> Result<First, Trouble> {
    probe.heed()?;
    probe.say(&format!("a first write, {}", bytes(window.width)));
    let at = if window.width == 0 { 0 } else { scratch.within(window.bytes()).first() };
    let held = saved.held(window, at)?;
    let data = held ^ FLIPPED;
    if !probe.send(window.at(at), &[data])? {
        return Ok(First::Refused);
    }
    // A write cycle says as much as a refusal: the header was whole, or the part would still wait for the rest of it.
    let begun = !probe.current(window.device, &mut [0])?;
    // Nobody knows yet how this part is polled.
    let patience = probe.limits.patience_ms;
    probe.pause_ms(patience);
    if probe.try_read(window.at(at), 1)?.is_none_or(|found| found != [data]) {
        return Ok(if begun { First::Refused } else { First::Elsewhere });
    }
    let stored = obeys(probe, window, Some(at))? == Some(true);
    Ok(if stored { First::Stored } else { First::Elsewhere })
}
