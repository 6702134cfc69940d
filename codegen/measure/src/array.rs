//! How large the array is: which bits of the word address and of the device address choose a byte, and which do not.
//!
//! A byte that changes when the scratch range is written, although its address is another one, is a byte of the scratch
//! range. Device addresses are the part's own where they move its pointer: a read without a header tells, and does no
//! harm to whoever else answers.

use crate::bench::{Bench, MARK};
use crate::facts::{Beside, BitRole, Facts, Outcome};
use crate::probe::Trouble;
use crate::read::ADDRESSES;

/// Bytes that are compared at each other place.
const LOOK: u32 = 4;

/// What another address shows of the marker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shows {
    /// The marker, each time.
    Marker,
    /// Its own bytes, each time the same.
    Own,
    /// Neither.
    Unclear,
}

/// Fills in device bits and capacity.
pub(crate) fn measure(bench: &mut Bench<'_, '_>, facts: &mut Facts) -> Result<(), Trouble> {
    if bench.window.width == 0 {
        without_header(facts);
        return Ok(());
    }
    let Some(marker) = bench.mark()? else { return Ok(()) };
    let main = bench.window.device;
    let mut unclear = None;
    let others: Vec<u8> = bench.answers.iter().copied().filter(|address| *address != main).collect();
    let mut own = Vec::new();
    for address in others {
        match shares_pointer(bench, address, &marker)? {
            Some(true) => own.push(address),
            Some(false) => {
                let reads = bench.probe.read_on(address, 16)?;
                facts.beside.push(Beside { address, reads });
            }
            None => unclear = Some(address),
        }
    }
    let word_bits = 8 * u32::from(bench.window.width);
    let places: Vec<u32> = (0..word_bits).map(|bit| bench.scratch.start ^ 1 << bit).collect();
    let shown = rounds(bench, &own, &places)?;
    let Some((devices, words)) = shown else { return Ok(()) };
    for (address, shows) in own.iter().zip(&devices) {
        match shows {
            Shows::Marker => bench.aliases.push(*address),
            Shows::Own => bench.blocks.push(*address),
            Shows::Unclear => unclear = Some(*address),
        }
    }
    if let Some(address) = unclear {
        facts.device_bits =
            Outcome::not(format!("what 0x{address:02X} reads does not tell whether it is the same array"));
        facts.capacity = Outcome::not("not every device address that answers could be placed");
        return Ok(());
    }
    let roles = std::array::from_fn(|place| {
        let other = main ^ 1 << (6 - place);
        if !ADDRESSES.contains(&other) {
            BitRole::NotAsked
        } else if bench.aliases.contains(&other) {
            BitRole::Ignored
        } else if bench.blocks.contains(&other) {
            BitRole::Block
        } else {
            BitRole::Compared
        }
    });
    facts.device_bits = Outcome::Measured(roles);
    let block_bits = roles.iter().filter(|role| **role == BitRole::Block).count();
    // Bits inside the marker choose among bytes that all differ.
    let looked = words.iter().filter(|shows| **shows == Shows::Own).count();
    let lowest = words.iter().take_while(|shows| **shows == Shows::Own).count();
    facts.capacity = if words.contains(&Shows::Unclear) {
        Outcome::not("some other place changed without showing what was written")
    } else if looked != lowest {
        Outcome::not("the word-address bits that are looked at do not lie side by side")
    } else {
        Outcome::Measured(1 << (looked + block_bits))
    };
    Ok(())
}

/// Whether a read at another address, without a header, moves the pointer of the array; `None` where it cannot be told.
fn shares_pointer(bench: &mut Bench<'_, '_>, address: u8, marker: &[u8]) -> Result<Option<bool>, Trouble> {
    let main = bench.window.device;
    let place = bench.window.at(bench.scratch.start);
    let first = bench.probe.read(place, 1)?;
    let mut three = [0; 3];
    if first[..] != marker[..1] || !bench.probe.current(address, &mut three)? {
        return Ok(None);
    }
    let next = bench.probe.read_on(main, 1)?[0];
    Ok(match next {
        byte if byte == marker[4] => Some(true),
        byte if byte == marker[1] => Some(false),
        _ => None,
    })
}

/// What other device addresses show, and what other word addresses do.
type Shown = (Vec<Shows>, Vec<Shows>);

/// Writes three markers in turn, and says what other device addresses and other word addresses show.
fn rounds(bench: &mut Bench<'_, '_>, own: &[u8], places: &[u32]) -> Result<Option<Shown>, Trouble> {
    let mut seen: Vec<Vec<Vec<u8>>> = Vec::new();
    let mut markers = Vec::new();
    for _ in 0..3 {
        let Some(marker) = bench.mark()? else { return Ok(None) };
        let start = bench.scratch.start;
        let mut round = Vec::new();
        for address in own {
            round.push(bench.probe.peek(bench.seen_at(*address), start, LOOK)?);
        }
        for place in places {
            round.push(bench.probe.peek(bench.window, *place, LOOK)?);
        }
        seen.push(round);
        markers.push(marker);
    }
    let mut shows = (0..own.len() + places.len()).map(|index| {
        let here: Vec<&[u8]> = seen.iter().map(|round| &round[index][..]).collect();
        if here.iter().zip(&markers).all(|(here, marker)| *here == &marker[..LOOK as usize]) {
            Shows::Marker
        } else if index >= own.len() && (places[index - own.len()] ^ bench.scratch.start) < MARK {
            // Inside the marker every byte differs from every other.
            Shows::Own
        } else if here.iter().all(|bytes| *bytes == here[0]) {
            Shows::Own
        } else {
            Shows::Unclear
        }
    });
    let devices = shows.by_ref().take(own.len()).collect();
    Ok(Some((devices, shows.collect())))
}

/// Where the device address is the word address, each address that answers is a byte.
fn without_header(facts: &mut Facts) {
    let why = "the device address is the word address, and reserved addresses are not asked";
    facts.device_bits = Outcome::cannot(why);
    facts.capacity = Outcome::cannot(why);
}

/// Whether the bytes of the scratch range lie in a row, so that a longer write stays in it. Where the device address is the
/// word address, its bits may choose the byte in any order; single bytes, and reading on behind the first one, tell.
pub(crate) fn in_a_row(bench: &mut Bench<'_, '_>) -> Result<bool, Trouble> {
    if bench.window.width > 0 {
        return Ok(true);
    }
    let Some(marker) = bench.mark()? else { return Ok(false) };
    Ok(bench.probe.read_on(bench.window.at(bench.scratch.start).device, MARK as usize)? == marker)
}
