//! What a write did: looked at right behind it, so that a wrong part costs one page and not all of them.
//!
//! Looking behind every write would read the whole part once more, which verifying does anyway; so it is done behind the
//! first ones, and where a range may begin that is protected or not there.
//!
//! By reading alone nobody can tell a blank part of one kind from a blank part of another. The first write can: a
//! smaller page wraps inside it, another number of word-address bytes puts the bytes elsewhere, and a smaller part shows
//! them at a second place.

use super::socket::Driver;
use super::{Halt, LineBus, Socket, Step};
use crate::look::hint;

/// The part as the line believes it to be while it writes.
pub struct Belief<'b> {
    /// Where it sits.
    pub socket: &'b Socket,
    /// What it should hold now.
    pub now: Vec<u8>,
}

/// So many pieces are looked at before any is not.
const FIRST: usize = 16;
/// And of the rest the first one in each of so many equal ranges: protection covers halves, quarters and eighths.
const RANGES: u32 = 16;

impl Belief<'_> {
    /// Whether the piece of this number is to be looked at, behind one that was written at `last`.
    #[must_use]
    pub fn is_due(&self, index: usize, offset: u32, last: u32) -> bool {
        let range = (self.socket.capacity() / RANGES).max(1);
        index < FIRST || offset / range != last / range
    }

    /// Takes it that a piece was written.
    pub fn wrote(&mut self, offset: u32, bytes: &[u8]) {
        self.now[offset as usize..][..bytes.len()].copy_from_slice(bytes);
    }

    /// Reads the page of a piece back after it was written, and compares all of it.
    ///
    /// # Errors
    /// It holds something else; the reason says what that looks like.
    pub fn check(&mut self, bus: &mut LineBus, offset: u32, bytes: &[u8]) -> Result<(), Halt> {
        let unit = self.socket.unit();
        let page = offset - offset % unit;
        let before = self.now[page as usize..][..unit as usize].to_vec();
        self.wrote(offset, bytes);
        let found = self.read(bus, page)?;
        let expected = &self.now[page as usize..][..unit as usize];
        if found == expected {
            return Ok(());
        }
        Err(self.diagnose(offset - page, bytes, &before, &found, page))
    }

    /// Looks at every place at which a smaller part would show the page of `offset` a second time.
    ///
    /// # Errors
    /// One of them has changed.
    pub fn check_other_places(&self, bus: &mut LineBus, offset: u32) -> Result<(), Halt> {
        let unit = self.socket.unit();
        let page = offset - offset % unit;
        let mut bit = unit;
        while bit < self.socket.capacity() {
            let other = page ^ bit;
            let found = self.read(bus, other)?;
            if found != self.now[other as usize..][..unit as usize] {
                let reason = format!(
                    "writing at 0x{page:04X} changed 0x{other:04X} too: the part does not look at bit {} of the word \
                     address",
                    bit.trailing_zeros()
                );
                let remedy = "a smaller part sits there: read its marking";
                let riding =
                    bit >= 1u32.checked_shl(8 * u32::from(self.socket.geometry.word_address_bytes())).unwrap_or(0);
                let hazard = if riding && self.socket.geometry.block_select_bits() > 0 {
                    "block-alias"
                } else {
                    "capacity-alias"
                };
                return Err(Halt::failed(Step::Write, reason, remedy).named(hazard));
            }
            bit <<= 1;
        }
        Ok(())
    }

    fn read(&self, bus: &mut LineBus, page: u32) -> Result<Vec<u8>, Halt> {
        let mut found = vec![0; self.socket.unit() as usize];
        let mut driver: Driver<'_> = self.socket.reader(bus);
        driver.read(page, &mut found).map_err(|error| {
            let reason = format!("reading back stopped at 0x{page:04X}: {error}");
            Halt::failed(Step::Write, reason, hint(&error, self.socket))
        })?;
        Ok(found)
    }

    fn diagnose(&self, at: u32, bytes: &[u8], before: &[u8], found: &[u8], page: u32) -> Halt {
        let place = page + at;
        let halt = |reason: String, remedy: &str| Halt::failed(Step::Write, reason, remedy);
        if found == before {
            let reason = format!("the part took {} bytes at 0x{place:04X} and holds what it held before", bytes.len());
            let remedy = "WP is asserted, or the part takes another number of word-address bytes: check both";
            return halt(reason, remedy).named("write-protect");
        }
        if let Some(smaller) = wrapped(at as usize, bytes, before, found) {
            let reason = format!(
                "{} bytes at 0x{place:04X} wrapped inside a page of {smaller} bytes; {} has pages of {}",
                bytes.len(),
                self.socket.card.id,
                self.socket.geometry.page_bytes()
            );
            return halt(reason, "another part sits there: read its marking").named("page-wrap");
        }
        if self.socket.geometry.word_address_bytes() >= 2 && taken_as_data(place, page, bytes, found) {
            let reason = format!("the last word-address byte was stored as data at 0x{place:04X}");
            let remedy = "a part with fewer word-address bytes sits there: read its marking";
            return halt(reason, remedy).named("address-width");
        }
        let index = found.iter().zip(&self.now[page as usize..]).position(|(a, b)| a != b).unwrap_or(0);
        let (wanted, is) = (self.now[page as usize + index], found[index]);
        let first = page as usize + index;
        let reason = format!("0x{first:04X} reads back as 0x{is:02X} where 0x{wanted:02X} is wanted");
        halt(reason, "the part is worn or broken, or it is another one: read its marking, take another")
    }
}

/// The smaller page inside which these bytes would have wrapped to give what was found.
fn wrapped(at: usize, bytes: &[u8], before: &[u8], found: &[u8]) -> Option<usize> {
    let mut smaller = found.len() / 2;
    while smaller >= 2 {
        let mut page = before.to_vec();
        let first = at - at % smaller;
        for (index, byte) in bytes.iter().enumerate() {
            page[first + (at + index) % smaller] = *byte;
        }
        if page == found {
            return Some(smaller);
        }
        smaller /= 2;
    }
    None
}

/// Whether this is what a part with one word-address byte shows after a write with two: it took the second one for the
/// first data byte, and another time when it was polled.
fn taken_as_data(place: u32, page: u32, bytes: &[u8], found: &[u8]) -> bool {
    let (first, low) = ((place >> 8) as usize & 0xFF, place as u8);
    let read_from = (page >> 8) as usize & 0xFF;
    (1..=8).map(|bit| 1usize << bit).any(|smaller| {
        let mut latched: Vec<Option<u8>> = vec![None; smaller];
        for (index, byte) in std::iter::once(&low).chain(bytes).chain([&low]).enumerate() {
            let at = if index == bytes.len() + 1 { first } else { first + index };
            latched[at % smaller] = Some(*byte);
        }
        let shown = &latched[read_from % smaller..];
        let compared = shown.len().min(found.len());
        compared >= 4 && shown.iter().zip(found).all(|(latched, found)| latched.is_none_or(|byte| byte == *found))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrap_is_told_from_other_damage() {
        let before = [0xFF; 16];
        let bytes: Vec<u8> = (1..=12).collect();
        let mut found = before;
        found[..8].copy_from_slice(&[9, 10, 11, 12, 5, 6, 7, 8]);
        assert_eq!(wrapped(0, &bytes, &before, &found), Some(8));
        found[2] ^= 1;
        assert_eq!(wrapped(0, &bytes, &before, &found), None);
    }
}
