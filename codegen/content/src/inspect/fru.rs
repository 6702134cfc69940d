//! IPMI FRU: the common header and the chassis, board and product areas.
//!
//! Sources: `tests/data/standards.toml`, section `fru`. Names of fields beyond the board area's are those of the FRU
//! definition as general-purpose libraries have them; tests compare with one. Values other than 8-bit text are given as
//! bytes.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Certainty, Content, Found, found};

/// Bytes of the common header, and unit of every offset and length.
const UNIT: usize = 8;
/// Type/length byte that ends the fields.
const END: u8 = 0xC1;

/// What a FRU says.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Fru {
    /// Offset of the internal use area, where there is one.
    pub internal_use_offset: Option<u32>,
    /// Offset of the multirecord area, where there is one; it is not read.
    pub multirecord_offset: Option<u32>,
    /// The chassis, board and product areas that are there.
    pub areas: Vec<Area>,
}

/// An area.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Area {
    /// `chassis`, `board` or `product`.
    pub name: &'static str,
    /// First byte.
    pub offset: u32,
    /// Bytes; 0 where the area is cut off or tells no length.
    pub length: u32,
    /// Whether its bytes sum to 0 modulo 256.
    pub intact: bool,
    /// Chassis type or language code.
    pub code: u8,
    /// Minutes since 1996-01-01 00:00, board area only; 0 where none is given.
    pub date_minutes: Option<u32>,
    /// Fields with a value, in order: name and text.
    pub fields: Vec<Entry>,
}

/// A field of an area.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Entry {
    /// Name; `custom` for those that the definition does not name.
    pub name: &'static str,
    /// Its text, or its bytes in hexadecimal digits where it is not 8-bit text.
    pub value: String,
    /// Whether it is an 8-bit text.
    pub text: bool,
}

/// Names of the fields of each area.
const CHASSIS: [&str; 2] = ["part-number", "serial-number"];
const BOARD: [&str; 5] = ["manufacturer", "product-name", "serial-number", "part-number", "fru-file-id"];
const PRODUCT: [&str; 7] =
    ["manufacturer", "product-name", "part-number", "product-version", "serial-number", "asset-tag", "fru-file-id"];

/// A FRU at the start of a dump.
pub(super) fn find(dump: &[u8]) -> Option<Found> {
    let fru = read(dump)?;
    let broken: Vec<&str> = fru.areas.iter().filter(|area| !area.intact).map(|area| area.name).collect();
    let ends = fru.areas.iter().map(|area| area.offset + area.length);
    let end = ends.chain([UNIT as u32]).max().unwrap_or(0) as usize;
    let (sure, state) = match (fru.areas.len(), broken.as_slice()) {
        (0, _) => (Certainty::Possible, "no area to confirm it".to_owned()),
        (_, []) => (Certainty::Certain, "every area sums to 0".to_owned()),
        (all, broken) if broken.len() == all => {
            (Certainty::Possible, format!("no area sums to 0 ({})", broken.join(", ")))
        }
        (_, broken) => (Certainty::Likely, format!("checksum wrong in the {} area", broken.join(", "))),
    };
    let because = format!("common header of a FRU, format 1, sum 0; {state}");
    Some(found(Content::Fru(fru), 0, end.min(dump.len()), sure, because))
}

/// Reads the FRU at the beginning of `bytes`; `None` where there is no valid common header, or an area that it names
/// lies outside.
///
/// A wrong checksum of an area is told, not refused.
#[must_use]
pub fn read(bytes: &[u8]) -> Option<Fru> {
    let header = bytes.first_chunk::<UNIT>()?;
    let [format, internal, chassis, board, product, multirecord, pad, _] = *header;
    if format != 1 || pad != 0 || sum(header) != 0 {
        return None;
    }
    let offset = |units: u8| (units > 0).then_some(usize::from(units) * UNIT);
    let offsets = [internal, chassis, board, product, multirecord];
    if offsets.iter().filter_map(|units| offset(*units)).any(|offset| offset >= bytes.len()) {
        return None;
    }
    let mut areas = Vec::new();
    for (name, units, names) in
        [("chassis", chassis, &CHASSIS[..]), ("board", board, &BOARD[..]), ("product", product, &PRODUCT[..])]
    {
        areas.extend(offset(units).map(|at| area(bytes, name, at, names)));
    }
    let place = |units: u8| offset(units).map(|offset| offset as u32);
    Some(Fru { internal_use_offset: place(internal), multirecord_offset: place(multirecord), areas })
}

/// Sum of bytes modulo 256; 0 in an intact header or area.
fn sum(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum, byte| sum.wrapping_add(*byte))
}

fn area(bytes: &[u8], name: &'static str, at: usize, names: &[&'static str]) -> Area {
    let length = bytes.get(at + 1).map_or(0, |units| usize::from(*units) * UNIT);
    let whole = bytes.get(at..at + length).filter(|whole| whole.len() > 3);
    let mut area =
        Area { name, offset: at as u32, length: 0, intact: false, code: 0, date_minutes: None, fields: Vec::new() };
    let Some(whole) = whole else { return area };
    area.length = length as u32;
    area.intact = whole[0] & 0x0F == 1 && sum(whole) == 0;
    area.code = whole[2];
    let mut from = 3;
    if name == "board" {
        area.date_minutes = whole.get(3..6).map(|date| u32::from_le_bytes([date[0], date[1], date[2], 0]));
        from = 6;
    }
    // The last byte is the checksum.
    area.fields = fields(whole.get(from..length - 1).unwrap_or_default(), names);
    area
}

fn fields(mut bytes: &[u8], names: &[&'static str]) -> Vec<Entry> {
    let mut fields = Vec::new();
    let mut index = 0;
    while let Some((&head, rest)) = bytes.split_first() {
        if head == END {
            break;
        }
        let Some((value, rest)) = rest.split_at_checked(usize::from(head & 0x3F)) else { break };
        let name = names.get(index).copied().unwrap_or("custom");
        if !value.is_empty() {
            let text = head & 0xC0 == 0xC0;
            let value = if text {
                // 8-bit text: ISO 8859-1, whose characters are the first of Unicode.
                value.iter().map(|byte| char::from(*byte)).collect()
            } else {
                value.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ")
            };
            fields.push(Entry { name, value, text });
        }
        index += 1;
        bytes = rest;
    }
    fields
}
