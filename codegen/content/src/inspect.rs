//! What an existing dump holds: blank, our records, EDID, IPMI FRU, SPD, text, and the marks of two ways to lose data.
//!
//! [`look`] tells what was seen, where, and how sure it is; it never claims more than the bytes say. [`look_for`] also
//! recognises what a layout describes by a signature. Decoders are
//! written here: the crates for EDID have had no release since 2019, and there is none for FRU or SPD.

pub mod edid;
pub mod fru;
pub mod record;
mod repeats;
pub mod signature;
pub mod spd;
mod text;
pub mod wrap;

pub use pagewise_base::certainty::Certainty;
use schemars::JsonSchema;
use serde::Serialize;

use pagewise_part::card::{Card, Kind};

/// Something that a dump holds.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Found {
    /// What it is.
    #[serde(flatten)]
    pub content: Content,
    /// First byte.
    pub offset: u32,
    /// Bytes.
    pub length: u32,
    /// How sure that is.
    pub sure: Certainty,
    /// What was seen, with the numbers.
    pub because: String,
}

/// What a finding is about.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Content {
    /// Nothing but one byte, 0xFF or 0x00.
    Blank {
        /// The byte.
        byte: u8,
    },
    /// A slot of the driver's records, intact.
    Record(record::Slot),
    /// A slot of the driver's records whose CRC is wrong.
    DamagedRecord {
        /// Identity that its head tells.
        id: u8,
    },
    /// A VESA EDID.
    Edid(edid::Edid),
    /// An IPMI FRU.
    Fru(fru::Fru),
    /// The serial presence detect of a memory module.
    Spd(spd::Spd),
    /// A text.
    Text {
        /// The text.
        text: String,
    },
    /// One block over and over: what reading beyond the part's end gives (capacity-alias, block-alias).
    Repeats {
        /// Bytes of the block.
        period: u32,
        /// How many times it is there.
        copies: u32,
    },
    /// What writing past a page end leaves behind (page-wrap).
    PageWrap(wrap::Wrap),
    /// A block that a layout recognises by its signature.
    Signed {
        /// Region of the layout.
        region: String,
        /// First byte of the signature.
        signature_at: u32,
    },
    /// Bytes that nothing here explains: what they are is not known.
    Unknown,
}

/// What a dump is as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Whole {
    /// It holds no byte.
    Empty,
    /// Nothing but 0xFF, or nothing but 0x00.
    Blank,
    /// The driver's records and nothing of another format.
    Ours,
    /// Something else: do not overwrite it without asking.
    Foreign,
}

/// What a dump holds, in the order of offsets; what concerns all of it comes first.
///
/// `card` tells the page and whether the part has pages at all; without one, every page that parts have is considered.
/// Where a dump repeats itself, only its first block is looked at further.
#[must_use]
pub fn look(dump: &[u8], card: Option<&Card>) -> Vec<Found> {
    look_for(dump, card, &[]).0
}

/// As [`look`], with what a layout describes by a signature; and what became of each of those.
#[must_use]
pub fn look_for(
    dump: &[u8],
    card: Option<&Card>,
    sought: &[signature::Sought],
) -> (Vec<Found>, Vec<signature::Sighting>) {
    let block = if sought.is_empty() || blank(dump).is_some() { dump } else { once(dump, card).1 };
    let (seen, sightings): (Vec<_>, Vec<_>) = sought.iter().map(|sought| sought.find(block)).unzip();
    (all(dump, card, seen.into_iter().flatten().collect()), sightings)
}

/// Everything that is seen, with what was seen before.
fn all(dump: &[u8], card: Option<&Card>, seen: Vec<Found>) -> Vec<Found> {
    if dump.is_empty() {
        return Vec::new();
    }
    if let Some(byte) = blank(dump) {
        let what = if byte == 0xFF { "as an erased part" } else { "as an empty FRAM, or a part that was zeroed" };
        let because = format!("all {} bytes are {byte:#04x}, {what}", dump.len());
        return vec![found(Content::Blank { byte }, 0, dump.len(), Certainty::Certain, because)];
    }
    let (repeats, block) = once(dump, card);
    let mut all: Vec<Found> = repeats.into_iter().collect();
    let page = card.map(|card| if card.kind == Kind::Fram { 1 } else { card.page_bytes.value as usize });
    let mut inner: Vec<Found> = seen;
    inner.extend(edid::find(block));
    inner.extend(fru::find(block));
    inner.extend(spd::find(block));
    inner.extend(record::find(block, page));
    let mut explained = vec![false; block.len()];
    mark(&mut explained, &inner);
    let wrapped = wrap::find(block, &explained, page);
    mark(&mut explained, &wrapped);
    let texts = text::find(block, &explained);
    mark(&mut explained, &texts);
    inner.extend(texts);
    inner.extend(rest(block, &explained));
    inner.sort_by_key(|found| (found.offset, found.length));
    all.extend(wrapped);
    all.extend(inner);
    all
}

/// Whether a dump repeats itself, and what it holds once.
fn once<'d>(dump: &'d [u8], card: Option<&Card>) -> (Option<Found>, &'d [u8]) {
    let repeats = repeats::find(dump, card);
    let block = match &repeats {
        Some(Found { content: Content::Repeats { period, .. }, .. }) => &dump[..*period as usize],
        _ => dump,
    };
    (repeats, block)
}

/// What a dump is as a whole, from what was found in it.
#[must_use]
pub fn whole(found: &[Found]) -> Whole {
    let foreign = |content: &Content| matches!(content, Content::Edid(_) | Content::Fru(_) | Content::Spd(_));
    match found {
        [] => Whole::Empty,
        all if all.iter().all(|found| matches!(found.content, Content::Blank { .. })) => Whole::Blank,
        all if all.iter().any(|found| foreign(&found.content)) => Whole::Foreign,
        all if all.iter().any(|found| matches!(found.content, Content::Record(_))) => Whole::Ours,
        _ => Whole::Foreign,
    }
}

/// The byte that a stretch consists of, when it is 0xFF or 0x00.
fn blank(bytes: &[u8]) -> Option<u8> {
    let first = *bytes.first()?;
    ((first == 0xFF || first == 0) && bytes.iter().all(|byte| *byte == first)).then_some(first)
}

fn found(content: Content, offset: usize, length: usize, sure: Certainty, because: impl Into<String>) -> Found {
    Found { content, offset: offset as u32, length: length as u32, sure, because: because.into() }
}

fn mark(explained: &mut [bool], found: &[Found]) {
    for found in found {
        let from = found.offset as usize;
        let to = (from + found.length as usize).min(explained.len());
        if let Some(part) = explained.get_mut(from..to) {
            part.fill(true);
        }
    }
}

/// Blank stretches and bytes that nothing explains.
fn rest(block: &[u8], explained: &[bool]) -> Vec<Found> {
    let mut all = Vec::new();
    let mut at = 0;
    for stretch in explained.chunk_by(|a, b| a == b) {
        if stretch.first() == Some(&false) {
            open(&block[at..at + stretch.len()], at, &mut all);
        }
        at += stretch.len();
    }
    all
}

/// One stretch that nothing explains.
fn open(bytes: &[u8], start: usize, all: &mut Vec<Found>) {
    /// Shorter runs of one byte stand in any data.
    const SHORTEST: usize = 16;
    let mut at = start;
    let mut other = None;
    for run in bytes.chunk_by(|a, b| a == b) {
        let blank = blank(run).filter(|_| run.len() >= SHORTEST || run.len() == bytes.len());
        match (blank, other) {
            (Some(byte), _) => {
                other.take().into_iter().for_each(|from| unexplained(&bytes[from - start..at - start], from, all));
                let because = format!("{} bytes of {byte:#04x}", run.len());
                all.push(found(Content::Blank { byte }, at, run.len(), Certainty::Certain, because));
            }
            (None, None) => other = Some(at),
            (None, Some(_)) => {}
        }
        at += run.len();
    }
    other.into_iter().for_each(|from| unexplained(&bytes[from - start..at - start], from, all));
}

/// Bytes that nothing explains. Erased ones at their borders are told apart: they may belong to them, but that is not
/// known.
fn unexplained(bytes: &[u8], at: usize, all: &mut Vec<Found>) {
    let erased = |count: usize| if count > 1 { count } else { 0 };
    let before = erased(bytes.iter().take_while(|byte| **byte == 0xFF).count());
    let behind = erased(bytes.iter().rev().take_while(|byte| **byte == 0xFF).count()).min(bytes.len() - before);
    let inner = &bytes[before..bytes.len() - behind];
    all.extend(border(before, at));
    if !inner.is_empty() {
        all.push(unknown(inner, at + before));
    }
    all.extend(border(behind, at + bytes.len() - behind));
}

/// A run of erased bytes beside unknown ones.
fn border(count: usize, at: usize) -> Option<Found> {
    let sure = if count >= 8 { Certainty::Likely } else { Certainty::Possible };
    let because = format!("{count} bytes of 0xff beside unknown ones: blank, or a part of them");
    (count > 0).then(|| found(Content::Blank { byte: 0xFF }, at, count, sure, because))
}

fn unknown(bytes: &[u8], at: usize) -> Found {
    let shown: Vec<String> = bytes.iter().take(8).map(|byte| format!("{byte:02x}")).collect();
    let more = if bytes.len() > shown.len() { " ..." } else { "" };
    let because = format!("{} bytes: {}{more}", bytes.len(), shown.join(" "));
    found(Content::Unknown, at, bytes.len(), Certainty::Possible, because)
}
