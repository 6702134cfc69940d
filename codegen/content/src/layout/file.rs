//! What may stand in a layout file: the one declaration of its fields.

use std::sync::LazyLock;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde_json::Number;

use super::{Encoding, Endian, Separate};
use pagewise_base::form::Shape;

/// The shape of layout files.
pub static SHAPE: LazyLock<Shape<LayoutFile>> = LazyLock::new(Shape::new);

/// A name that becomes a name in generated code.
const NAME: &str = "^[A-Za-z][A-Za-z0-9_-]{0,39}$";

/// A layout: what is kept where in a part, region by region.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayoutFile {
    /// Name of the layout.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) name: String,
    /// Parts that hold this layout, by card or order code: every region lies at one place that suits them all, so that one
    /// firmware and one image serve each of them. Absent: the layout is placed for the part that a command names.
    pub(super) parts: Option<Vec<String>>,
    /// Byte that stands in gaps of a binary image; absent: 255.
    #[schemars(range(min = 0, max = 255))]
    pub(super) fill: Option<u8>,
    /// A region is written often from this many writes per day on; absent: 0.1.
    #[schemars(range(min = 0.000_001, max = 10_000_000))]
    pub(super) often_per_day: Option<f64>,
    /// What regions that are written often never share with others; absent: page.
    pub(super) separate: Option<Separate>,
    /// The regions.
    pub(super) region: Vec<Region>,
}

/// A region; `kind` decides which further fields it has.
#[derive(JsonSchema, Deserialize)]
#[schemars(deny_unknown_fields)]
pub(super) struct Region {
    /// Name: a letter, then letters, digits, hyphens and underscores; unique.
    #[schemars(regex(pattern = NAME))]
    pub(super) name: String,
    /// First byte; absent: the region is placed.
    #[schemars(range(min = 0, max = 16_777_215))]
    pub(super) offset: Option<u32>,
    /// The offset is a multiple of this power of two.
    #[schemars(range(min = 1, max = 65_536))]
    pub(super) align: Option<u32>,
    /// Writes per day in service.
    #[schemars(range(min = 0, max = 10_000_000))]
    pub(super) writes_per_day: Option<f64>,
    /// No two units have the same value.
    pub(super) unique: Option<bool>,
    #[serde(flatten)]
    pub(super) kind: Kind,
}

/// A value that every unit has of its own cannot stand in the layout.
fn per_unit(_: &mut SchemaGenerator) -> Schema {
    json_schema!({
        "not": {},
        "description": "would be the same in every unit; give it per unit: remove it here, fill a column of the CSV"
    })
}

/// What a region holds.
#[derive(JsonSchema, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub(super) enum Kind {
    Bytes(Box<Bytes>),
    Text(Text),
    U8(Byte),
    I8(Byte),
    U16(Integers),
    U32(Integers),
    U64(Integers),
    I16(Integers),
    I32(Integers),
    I64(Integers),
    Serial(Serial),
    #[serde(rename = "eui-48")]
    Eui48(Eui48),
    #[serde(rename = "eui-64")]
    Eui64(Eui64),
    Crc(Crc),
    Sum(Sum),
    Records(Records),
}

/// What a record's payload holds.
#[derive(JsonSchema, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub(super) enum Plain {
    Bytes(Box<Bytes>),
    Text(Text),
    U8(Byte),
    I8(Byte),
    U16(Integers),
    U32(Integers),
    U64(Integers),
    I16(Integers),
    I32(Integers),
    I64(Integers),
}

impl Kind {
    /// Plain kinds, which records may have too.
    pub(super) fn plain(self) -> Result<Plain, Self> {
        Ok(match self {
            Self::Bytes(it) => Plain::Bytes(it),
            Self::Text(it) => Plain::Text(it),
            Self::U8(it) => Plain::U8(it),
            Self::I8(it) => Plain::I8(it),
            Self::U16(it) => Plain::U16(it),
            Self::U32(it) => Plain::U32(it),
            Self::U64(it) => Plain::U64(it),
            Self::I16(it) => Plain::I16(it),
            Self::I32(it) => Plain::I32(it),
            Self::I64(it) => Plain::I64(it),
            other => return Err(other),
        })
    }
}

/// A value in the file: a text (hexadecimal digits for bytes), a whole number, or a list of whole numbers.
#[derive(JsonSchema, Deserialize)]
#[serde(untagged)]
pub(super) enum Value {
    Text(String),
    Number(#[schemars(with = "i64")] Number),
    Numbers(#[schemars(with = "Vec<i64>")] Vec<Number>),
}

#[derive(JsonSchema, Deserialize)]
pub(super) struct Bytes {
    /// Bytes.
    #[schemars(range(min = 1, max = 16_777_216))]
    pub(super) length: u32,
    /// The same in every unit.
    pub(super) value: Option<Value>,
    /// Column of the units' CSV.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) column: Option<String>,
    /// File whose bytes stand here, as seen from the layout's folder; it may be shorter than the region.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) file: Option<String>,
    /// Hexadecimal digits of bytes that stand in it, in the file, and in what is taken out of a dump: by them a start-up
    /// bitstream, for example, is recognised, also where nothing says what the region holds.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) signature: Option<String>,
    /// Dump of an old part (.bin, .hex, .srec), or a folder of dumps, one a unit, called like it; as seen from the
    /// layout's folder.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) from: Option<String>,
    /// First byte that is taken out of the dump; absent: the region's own place.
    #[schemars(range(min = 0, max = 16_777_215))]
    pub(super) at: Option<u32>,
}

#[derive(JsonSchema, Deserialize)]
pub(super) struct Text {
    /// Bytes.
    #[schemars(range(min = 1, max = 16_777_216))]
    pub(super) length: u32,
    /// How characters become bytes; absent: ascii.
    pub(super) encoding: Option<Encoding>,
    /// Byte behind a shorter text; absent: 0.
    #[schemars(range(min = 0, max = 255))]
    pub(super) padding: Option<u8>,
    /// The same in every unit.
    pub(super) value: Option<Value>,
    /// Column of the units' CSV.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
pub(super) struct Byte {
    /// How many.
    #[schemars(range(min = 1, max = 65_536))]
    pub(super) count: Option<u32>,
    /// Byte order, which means nothing here.
    pub(super) endian: Option<Endian>,
    /// The same in every unit.
    pub(super) value: Option<Value>,
    /// Column of the units' CSV.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
pub(super) struct Integers {
    /// How many.
    #[schemars(range(min = 1, max = 65_536))]
    pub(super) count: Option<u32>,
    /// Byte order.
    pub(super) endian: Endian,
    /// The same in every unit.
    pub(super) value: Option<Value>,
    /// Column of the units' CSV.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
pub(super) struct Serial {
    #[serde(default)]
    #[schemars(schema_with = "per_unit")]
    #[expect(dead_code, reason = "it is refused before it is read")]
    pub(super) value: Option<Value>,
    /// Bytes.
    #[schemars(range(min = 1, max = 256))]
    pub(super) length: u32,
    /// Byte behind a shorter text; absent: 0.
    #[schemars(range(min = 0, max = 255))]
    pub(super) padding: Option<u8>,
    /// Column of the units' CSV; absent: the region's name.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
pub(super) struct Eui48 {
    #[serde(default)]
    #[schemars(schema_with = "per_unit")]
    #[expect(dead_code, reason = "it is refused before it is read")]
    pub(super) value: Option<Value>,
    /// Column of the units' CSV; absent: the region's name.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
pub(super) struct Eui64 {
    #[serde(default)]
    #[schemars(schema_with = "per_unit")]
    #[expect(dead_code, reason = "it is refused before it is read")]
    pub(super) value: Option<Value>,
    /// The EUI-48 region that it is made from.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) from: Option<String>,
    /// Column of the units' CSV; absent: the region's name.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
#[schemars(extend(
    "if" = { "properties": { "algorithm": { "pattern": "^CRC-[1-8]/" } } },
    "else" = { "required": ["endian"] }
))]
pub(super) struct Crc {
    /// Name in the catalogue of CRC algorithms, such as CRC-16/ARC.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) algorithm: String,
    /// Regions that it covers, one after the other.
    #[schemars(length(min = 1))]
    pub(super) over: Vec<String>,
    /// Byte order; needed from two bytes on.
    pub(super) endian: Option<Endian>,
}

#[derive(JsonSchema, Deserialize)]
#[schemars(extend(
    "if" = { "properties": { "algorithm": { "pattern": "^SUM-8" } } },
    "else" = { "required": ["endian"] }
))]
pub(super) struct Sum {
    /// SUM-8, SUM-16 or SUM-32 (the bytes added up), or SUM-8/ZERO (all bytes add up to 0); absent: SUM-8.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) algorithm: Option<String>,
    /// Regions that it covers.
    #[schemars(length(min = 1))]
    pub(super) over: Vec<String>,
    /// Byte order; needed from two bytes on.
    pub(super) endian: Option<Endian>,
}

#[derive(JsonSchema, Deserialize)]
pub(super) struct Records {
    /// The records of the store.
    pub(super) record: Vec<Record>,
}

/// A record of a store of the driver's records.
#[derive(JsonSchema, Deserialize)]
#[schemars(deny_unknown_fields)]
pub(super) struct Record {
    /// Name, unique in its store.
    #[schemars(regex(pattern = NAME))]
    pub(super) name: String,
    /// Identity in the store.
    #[schemars(range(min = 0, max = 255))]
    pub(super) id: u8,
    /// Version of the payload; absent: 0.
    #[schemars(range(min = 0, max = 255))]
    pub(super) version: Option<u8>,
    /// Slots of its ring; absent: 3.
    #[schemars(range(min = 3, max = 65_535))]
    pub(super) slots: Option<u16>,
    /// Longest payload in bytes; absent: what the value takes.
    #[schemars(range(min = 1, max = 65_535))]
    pub(super) payload_bytes: Option<u16>,
    #[serde(flatten)]
    pub(super) field: Plain,
}
