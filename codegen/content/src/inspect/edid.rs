//! VESA EDID: header, checksum of each block, and the few fields that say whose display it is.
//!
//! Sources: `tests/data/standards.toml`, section `edid`. The version (bytes 18 and 19) and the marks of text
//! descriptors are not stated in the texts read; the published samples there agree with them.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Certainty, Content, Found, found};

/// Bytes of a block.
const BLOCK: usize = 128;
/// How every EDID begins.
const HEADER: [u8; 8] = [0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x00];
/// Where the number of extension blocks stands.
const EXTENSIONS_AT: usize = 126;

/// What an EDID says.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Edid {
    /// Three letters of the display's maker; `?` for a value that is not a letter.
    pub manufacturer: String,
    /// Product code.
    pub product: u16,
    /// Version and revision, such as `1.3`.
    pub version: String,
    /// Week of making as stored; 0 where the maker gives none.
    pub week: u8,
    /// Year of making (or of the model).
    pub year: u16,
    /// Name of the display, where it gives one.
    pub name: Option<String>,
    /// Serial number as a text, where it gives one.
    pub serial: Option<String>,
    /// Extension blocks that the base block announces.
    pub extensions: u8,
    /// Blocks that are there, the base block included.
    pub blocks: u8,
    /// Numbers of the blocks whose 128 bytes do not sum to 0.
    pub damaged_blocks: Vec<u8>,
}

/// EDIDs at every multiple of their block.
pub(super) fn find(dump: &[u8]) -> Vec<Found> {
    let mut all = Vec::new();
    let mut at = 0;
    while at + BLOCK <= dump.len() {
        let Some(edid) = read(&dump[at..]) else {
            at += BLOCK;
            continue;
        };
        let announced = 1 + usize::from(edid.extensions);
        let length = usize::from(edid.blocks) * BLOCK;
        let mut because = format!("EDID header, {announced} block{} announced", if announced == 1 { "" } else { "s" });
        if usize::from(edid.blocks) < announced {
            because += &format!(", {} there", edid.blocks);
        }
        let sure = if edid.damaged_blocks.contains(&0) { Certainty::Likely } else { Certainty::Certain };
        because += &match edid.damaged_blocks.as_slice() {
            [] => ", every checksum right".to_owned(),
            damaged => format!(", checksum wrong in block {}", list(damaged)),
        };
        all.push(found(Content::Edid(edid), at, length, sure, because));
        at += length;
    }
    all
}

fn list(numbers: &[u8]) -> String {
    numbers.iter().map(u8::to_string).collect::<Vec<_>>().join(", ")
}

/// Reads the EDID at the beginning of `bytes`; `None` where there is no header.
///
/// A wrong checksum is told, not refused.
#[must_use]
pub fn read(bytes: &[u8]) -> Option<Edid> {
    let base = bytes.first_chunk::<BLOCK>()?;
    if !base.starts_with(&HEADER) {
        return None;
    }
    let extensions = base[EXTENSIONS_AT];
    let blocks = (bytes.len() / BLOCK).min(1 + usize::from(extensions)).min(255);
    let sums = bytes.chunks_exact(BLOCK).take(blocks).map(sum);
    let damaged_blocks = sums.enumerate().filter(|(_, sum)| *sum != 0).map(|(number, _)| number as u8).collect();
    Some(Edid {
        manufacturer: letters(u16::from_be_bytes([base[8], base[9]])),
        product: u16::from_le_bytes([base[10], base[11]]),
        version: format!("{}.{}", base[18], base[19]),
        week: base[16],
        year: 1990 + u16::from(base[17]),
        name: descriptor(base, 0xFC),
        serial: descriptor(base, 0xFF),
        extensions,
        blocks: blocks as u8,
        damaged_blocks,
    })
}

/// Sum of a block modulo 256; 0 in an intact one.
fn sum(block: &[u8]) -> u8 {
    block.iter().fold(0, |sum, byte| sum.wrapping_add(*byte))
}

/// Three letters of five bits each, 1 for A.
fn letters(packed: u16) -> String {
    let letter = |shift: u16| match packed >> shift & 0x1F {
        number @ 1..=26 => char::from(b'A' + number as u8 - 1),
        _ => '?',
    };
    [10, 5, 0].map(letter).iter().collect()
}

/// The text of the first descriptor with this mark: 18 bytes, the first three 0, the mark, 0, then up to 13 characters.
fn descriptor(base: &[u8; BLOCK], mark: u8) -> Option<String> {
    let descriptors = base[54..126].chunks_exact(18);
    let mut marked = descriptors.filter(|bytes| bytes.starts_with(&[0, 0, 0, mark, 0]));
    let text: Vec<u8> = marked.next()?[5..].iter().copied().take_while(|byte| *byte != b'\n').collect();
    let text = String::from_utf8_lossy(&text).trim().to_owned();
    (!text.is_empty()).then_some(text)
}
