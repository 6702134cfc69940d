//! The shape of a layout file.

use schemars::JsonSchema;
use serde::Deserialize;

/// A name that becomes a name in generated code.
const NAME: &str = "^[A-Za-z][A-Za-z0-9_-]{0,39}$";

/// A layout: what is kept where in a part, region by region.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "the fields describe a file that `layout` reads")]
pub(super) struct Layout {
    /// Name of the layout.
    #[schemars(regex(pattern = r"\S"))]
    name: String,
    /// Byte that stands in gaps of a binary image; absent: 255.
    #[schemars(range(min = 0, max = 255))]
    fill: Option<u8>,
    /// A region is written often from this many writes per day on; absent: 0.1.
    #[schemars(range(min = 0.000_001, max = 10_000_000))]
    often_per_day: Option<f64>,
    /// What regions that are written often never share with others; absent: page.
    separate: Option<Separate>,
    /// The regions.
    region: Vec<Region>,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Separate {
    Page,
    Group,
    Nothing,
}

/// A region; `kind` decides which further fields it has.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Region {
    /// Name: a letter, then letters, digits, hyphens and underscores; unique.
    #[schemars(regex(pattern = NAME))]
    name: String,
    /// First byte; absent: the region is placed.
    #[schemars(range(min = 0, max = 16_777_215))]
    offset: Option<u32>,
    /// The offset is a multiple of this power of two.
    #[schemars(range(min = 1, max = 65_536))]
    align: Option<u32>,
    /// Writes per day in service.
    #[schemars(range(min = 0, max = 10_000_000))]
    writes_per_day: Option<f64>,
    /// No two units have the same value.
    unique: Option<bool>,
    #[serde(flatten)]
    kind: Kind,
}

/// What a region holds.
#[derive(JsonSchema, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[allow(dead_code, reason = "as above")]
enum Kind {
    Bytes(Bytes),
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
    Records(Records),
}

/// What a record's payload holds.
#[derive(JsonSchema, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[allow(dead_code, reason = "as above")]
enum Plain {
    Bytes(Bytes),
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

/// A value in the file: a text (hexadecimal digits for bytes), a whole number, or a list of whole numbers.
#[derive(JsonSchema, Deserialize)]
#[serde(untagged)]
#[allow(dead_code, reason = "as above")]
enum Value {
    Text(String),
    Number(i64),
    Numbers(Vec<i64>),
}

#[derive(JsonSchema, Deserialize)]
#[allow(dead_code, reason = "as above")]
struct Bytes {
    /// Bytes.
    #[schemars(range(min = 1, max = 16_777_216))]
    length: u32,
    /// The same in every unit.
    value: Option<Value>,
    /// Column of the units' CSV.
    #[schemars(regex(pattern = r"\S"))]
    column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
#[allow(dead_code, reason = "as above")]
struct Text {
    /// Bytes.
    #[schemars(range(min = 1, max = 16_777_216))]
    length: u32,
    /// How characters become bytes; absent: ascii.
    encoding: Option<Encoding>,
    /// Byte behind a shorter text; absent: 0.
    #[schemars(range(min = 0, max = 255))]
    padding: Option<u8>,
    /// The same in every unit.
    value: Option<Value>,
    /// Column of the units' CSV.
    #[schemars(regex(pattern = r"\S"))]
    column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
enum Encoding {
    #[serde(rename = "ascii")]
    Ascii,
    #[serde(rename = "latin-1")]
    Latin1,
    #[serde(rename = "utf-8")]
    Utf8,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Endian {
    Little,
    Big,
}

#[derive(JsonSchema, Deserialize)]
#[allow(dead_code, reason = "as above")]
struct Byte {
    /// How many.
    #[schemars(range(min = 1, max = 65_536))]
    count: Option<u32>,
    /// Byte order, which means nothing here.
    endian: Option<Endian>,
    /// The same in every unit.
    value: Option<Value>,
    /// Column of the units' CSV.
    #[schemars(regex(pattern = r"\S"))]
    column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
#[allow(dead_code, reason = "as above")]
struct Integers {
    /// How many.
    #[schemars(range(min = 1, max = 65_536))]
    count: Option<u32>,
    /// Byte order.
    endian: Endian,
    /// The same in every unit.
    value: Option<Value>,
    /// Column of the units' CSV.
    #[schemars(regex(pattern = r"\S"))]
    column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
#[allow(dead_code, reason = "as above")]
struct Serial {
    /// Bytes.
    #[schemars(range(min = 1, max = 256))]
    length: u32,
    /// Byte behind a shorter text; absent: 0.
    #[schemars(range(min = 0, max = 255))]
    padding: Option<u8>,
    /// Column of the units' CSV; absent: the region's name.
    #[schemars(regex(pattern = r"\S"))]
    column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
#[allow(dead_code, reason = "as above")]
struct Eui48 {
    /// Column of the units' CSV; absent: the region's name.
    #[schemars(regex(pattern = r"\S"))]
    column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
#[allow(dead_code, reason = "as above")]
struct Eui64 {
    /// The EUI-48 region that it is made from.
    #[schemars(regex(pattern = r"\S"))]
    from: Option<String>,
    /// Column of the units' CSV; absent: the region's name.
    #[schemars(regex(pattern = r"\S"))]
    column: Option<String>,
}

#[derive(JsonSchema, Deserialize)]
#[schemars(extend(
    "if" = { "properties": { "algorithm": { "pattern": "^CRC-[1-8]/" } } },
    "else" = { "required": ["endian"] }
))]
#[allow(dead_code, reason = "as above")]
struct Crc {
    /// Name in the catalogue of CRC algorithms, such as CRC-16/ARC.
    #[schemars(regex(pattern = r"\S"))]
    algorithm: String,
    /// Regions that it covers, one after the other.
    #[schemars(length(min = 1))]
    over: Vec<String>,
    /// Byte order; needed from two bytes on.
    endian: Option<Endian>,
}

#[derive(JsonSchema, Deserialize)]
#[allow(dead_code, reason = "as above")]
struct Records {
    /// The records of the store.
    record: Vec<Record>,
}

/// A record of a store of the driver's records.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Record {
    /// Name, unique in its store.
    #[schemars(regex(pattern = NAME))]
    name: String,
    /// Identity in the store.
    #[schemars(range(min = 0, max = 255))]
    id: u8,
    /// Version of the payload; absent: 0.
    #[schemars(range(min = 0, max = 255))]
    version: Option<u8>,
    /// Slots of its ring; absent: 3.
    #[schemars(range(min = 3, max = 65_535))]
    slots: Option<u16>,
    /// Longest payload in bytes; absent: what the value takes.
    #[schemars(range(min = 1, max = 65_535))]
    payload_bytes: Option<u16>,
    #[serde(flatten)]
    field: Plain,
}
