//! Where the pointer stands: after a write to the end of a page, after a read that names another block, and where a read
//! comes back to its first byte.

use crate::bench::{Bench, MARK};
use crate::facts::{Facts, Outcome, Page};
use crate::probe::Trouble;
use pagewise_part::card::{BlockBitsOnRead, Pointer};

/// Fills in the pointer after a write.
pub(crate) fn after_write(bench: &mut Bench<'_, '_>, facts: &mut Facts) -> Result<(), Trouble> {
    if bench.window.width == 0 {
        facts.pointer = Outcome::cannot("the device address of every read says where it begins");
        return Ok(());
    }
    let page = match facts.page.value() {
        Some(Page::Exactly(page)) if 2 * page <= bench.scratch.bytes => *page,
        Some(Page::Exactly(_)) => {
            facts.pointer = Outcome::not("the scratch range does not hold two pages");
            return Ok(());
        }
        Some(Page::AtLeast(_)) => {
            facts.pointer = Outcome::not("the scratch range does not hold the end of a page");
            return Ok(());
        }
        None => {
            facts.pointer = Outcome::not("the page was not measured");
            return Ok(());
        }
    };
    let (first, second) = (once(bench, page)?, once(bench, page)?);
    facts.pointer = match (first, second) {
        (Some(first), Some(second)) if first == second => Outcome::Measured(first),
        _ => Outcome::not("a read behind a write gave neither the first byte of the page nor the next one"),
    };
    Ok(())
}

fn once(bench: &mut Bench<'_, '_>, page: u32) -> Result<Option<Pointer>, Trouble> {
    let (window, start) = (bench.window, bench.scratch.start);
    let bytes = bench.fresh(3);
    let (at_start, behind, last) = (bytes[0], bytes[1], bytes[2]);
    let laid = bench.probe.lay(window, start, &[at_start])? && bench.probe.lay(window, start + page, &[behind])?;
    if !laid || !bench.probe.send(window.at(start + page - 1), &[last])? {
        return Ok(None);
    }
    // A poll would set the pointer.
    let patience = bench.probe.limits.patience_ms;
    bench.probe.pause_ms(patience);
    let found = bench.probe.read_on(window.device, 1)?[0];
    let wrapped = if page == 1 { last } else { at_start };
    Ok(match found {
        byte if byte == wrapped => Some(Pointer::WrappedInPage),
        byte if byte == behind => Some(Pointer::LastPlusOne),
        _ => None,
    })
}

/// Fills in what becomes of the block bits of a read's device address.
pub(crate) fn block_bits(bench: &mut Bench<'_, '_>, facts: &mut Facts) -> Result<(), Trouble> {
    if bench.window.width == 0 {
        facts.read_block_bits = Outcome::cannot("the device address is the word address");
        return Ok(());
    }
    let Some(other) = bench.blocks.first().copied() else {
        facts.read_block_bits = match facts.device_bits {
            Outcome::Measured(_) => Outcome::cannot("no device-address bit chooses a block"),
            _ => Outcome::not("the device-address bits were not measured"),
        };
        return Ok(());
    };
    let mut shown = Vec::new();
    for _ in 0..4 {
        let Some(marker) = bench.mark()? else { return Ok(()) };
        let start = bench.scratch.start;
        let there = bench.probe.peek(bench.seen_at(other), start + 1, 1)?[0];
        if there == marker[1] {
            continue;
        }
        // Read on at its own block first: where that does not give the next byte, another block shows nothing.
        bench.probe.read(bench.window.at(start), 1)?;
        if bench.probe.read_on(bench.window.device, 1)?[0] != marker[1] {
            shown.push(None);
            continue;
        }
        bench.probe.read(bench.window.at(start), 1)?;
        shown.push(match bench.probe.read_on(other, 1)?[0] {
            byte if byte == marker[1] => Some(BlockBitsOnRead::Ignored),
            byte if byte == there => Some(BlockBitsOnRead::Latched),
            _ => None,
        });
    }
    facts.read_block_bits = match shown[..] {
        [Some(first), ref rest @ ..] if rest.len() > 1 && rest.iter().all(|next| *next == Some(first)) => {
            Outcome::Measured(first)
        }
        _ => Outcome::not("a read at another block gave neither block's byte"),
    };
    Ok(())
}

/// Fills in where a read comes back to its first byte.
pub(crate) fn read_wrap(bench: &mut Bench<'_, '_>, facts: &mut Facts) -> Result<(), Trouble> {
    let reach = match (bench.window.width, facts.capacity.value()) {
        (0, _) => 256,
        (_, Some(capacity)) => *capacity,
        (_, None) => {
            facts.read_wrap = Outcome::not("the capacity was not measured");
            return Ok(());
        }
    };
    let piece = bench.probe.limits.transfer_bytes - usize::from(bench.window.width);
    let whole = 2 * reach as usize + MARK as usize <= piece;
    let carried_on = bench.window.width > 0
        && (bench.blocks.is_empty() || facts.read_block_bits.value() == Some(&BlockBitsOnRead::Ignored));
    if !whole && !carried_on {
        let why =
            format!("a read over {reach} bytes is longer than one transfer, and a second one would name its block");
        facts.read_wrap = Outcome::not(why);
        return Ok(());
    }
    let Some(marker) = bench.mark()? else { return Ok(()) };
    let mut seen = Stream::begin(bench, piece)?;
    let mut bytes = 1usize;
    while bytes <= 2 * reach as usize {
        seen.until(bench, bytes + MARK as usize)?;
        if comes_back(&seen.bytes, &marker, bytes) && confirmed(bench, piece, bytes)? {
            facts.read_wrap = Outcome::Measured(bytes as u32);
            return Ok(());
        }
        bytes *= 2;
    }
    facts.read_wrap = Outcome::not(format!("a read of {} bytes does not come back to its first one", 2 * reach));
    Ok(())
}

/// Whether a read that stays inside so many bytes shows this.
fn comes_back(seen: &[u8], marker: &[u8], bytes: usize) -> bool {
    if bytes < marker.len() {
        return (0..marker.len()).all(|at| seen[at] == marker[at % bytes]);
    }
    seen[..marker.len()] == *marker && seen[bytes..bytes + marker.len()] == *marker
}

/// The same with another marker: what looked like the first one may have been there before.
fn confirmed(bench: &mut Bench<'_, '_>, piece: usize, bytes: usize) -> Result<bool, Trouble> {
    let Some(marker) = bench.mark()? else { return Ok(false) };
    let mut seen = Stream::begin(bench, piece)?;
    seen.until(bench, bytes + MARK as usize)?;
    Ok(comes_back(&seen.bytes, &marker, bytes))
}

/// A read that goes on and on from the beginning of the scratch range.
struct Stream {
    bytes: Vec<u8>,
    piece: usize,
}

impl Stream {
    fn begin(bench: &mut Bench<'_, '_>, piece: usize) -> Result<Self, Trouble> {
        let place = bench.window.at(bench.scratch.start);
        let first = piece.min(64);
        Ok(Self { bytes: bench.probe.read(place, first)?, piece })
    }

    fn until(&mut self, bench: &mut Bench<'_, '_>, bytes: usize) -> Result<(), Trouble> {
        if self.bytes.len() >= bytes {
            return Ok(());
        }
        if bytes <= self.piece {
            // In one transfer, from the beginning.
            self.bytes = bench.probe.read(bench.window.at(bench.scratch.start), bytes)?;
            return Ok(());
        }
        // The pointer stands behind the last read of this stream only if that one is done again.
        self.bytes = bench.probe.read(bench.window.at(bench.scratch.start), self.piece)?;
        while self.bytes.len() < bytes {
            bench.probe.heed()?;
            let more = (bytes - self.bytes.len()).min(self.piece);
            self.bytes.extend(bench.probe.read_on(bench.window.device, more)?);
        }
        Ok(())
    }
}
