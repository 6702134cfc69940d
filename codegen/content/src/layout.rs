//! Layouts: what is kept where in a part, region by region.
//!
//! A layout file names regions with their kinds; those without an offset are placed for a part by [`Layout::place`].
//! [`parse`] reads the file, [`plan`] is the placing itself, `docs` of each field stand at the types here.
//!
//! # Examples
//!
//! ```
//! use pagewise_part::card::Catalogue;
//! use pagewise_content::layout;
//!
//! let text = r#"
//! name = "door bell"
//! [[region]]
//! name = "serial"
//! kind = "serial"
//! length = 12
//! [[region]]
//! name = "rings"
//! kind = "u32"
//! endian = "little"
//! writes_per_day = 40
//! "#;
//! let layout = layout::parse("bell.toml", text)?;
//! let catalogue = Catalogue::embedded()?;
//! let card = catalogue.find("24LC32A").ok_or("no such card")?;
//! let placed = layout.place(card)?;
//! // `rings` is written often, so it does not share the 32-byte page of the serial number.
//! assert_eq!(placed.find("serial").map(|region| region.offset), Some(0));
//! assert_eq!(placed.find("rings").map(|region| region.offset), Some(32));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod field;
pub mod file;
mod parse;
mod place;
pub mod plan;

use std::fs;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use field::{Encoding, Endian, Field, Integer};
pub use parse::parse;
pub use place::{Placed, PlacedRegion};

use crate::image::checksum::Checksum;
use pagewise_base::fault::{Fault, Faults};

/// A layout file.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// File as the user named it.
    pub file: String,
    /// Name of the layout.
    pub name: String,
    /// Parts that hold it at one placement, each with its line; empty: it is placed for one part at a time.
    pub parts: Vec<(String, usize)>,
    /// Byte that stands in gaps of a binary image; 0xFF, as erased memory, where the file says nothing.
    pub fill: u8,
    /// A region is written often from this many writes per day on; 0.1 where the file says nothing.
    pub often_per_day: f64,
    /// What regions that are written often never share with others.
    pub separate: Separate,
    /// The regions in the order of the file.
    pub regions: Vec<Region>,
}

/// What regions that are written often never share with others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Separate {
    /// A page: supply lost inside a write cycle may damage the whole page.
    Page,
    /// The part's wear unit (an error-correction group, where it has such): writing wears no more than that. Supply
    /// lost inside a write cycle may still damage the page.
    Group,
    /// Nothing.
    Nothing,
}

/// A region.
#[derive(Debug, Clone, PartialEq)]
pub struct Region {
    /// Name: a letter, then letters, digits, `-` and `_`. Unique, upper and lower case, `-` and `_` not told apart.
    pub name: String,
    /// Path in the file, such as `region[2]`.
    pub path: String,
    /// Line of the file.
    pub line: usize,
    /// First byte, where the file fixes it.
    pub offset: Option<u32>,
    /// The offset is a multiple of this power of two.
    pub align: u32,
    /// Writes per day in service; 0 when only the production line writes it.
    pub writes_per_day: f64,
    /// What it holds.
    pub kind: Kind,
    /// Where its value comes from.
    pub source: Source,
    /// No two units have the same value.
    pub unique: bool,
    /// Bytes by which what lies there is recognised; none: by nothing.
    pub signature: Vec<u8>,
}

/// What a region holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// Bytes, a text or integers.
    Field(Field),
    /// A serial number: a text of printable ASCII characters, different in each unit.
    Serial(Field),
    /// EUI-48, first octet first.
    Eui48,
    /// EUI-64, first octet first.
    Eui64 {
        /// The EUI-48 region that it is made from; absent when it has values of its own.
        from: Option<String>,
    },
    /// A CRC over other regions, one after the other in the order named.
    Crc {
        /// The algorithm.
        algorithm: &'static Checksum,
        /// Byte order.
        endian: Endian,
        /// The regions.
        over: Vec<String>,
    },
    /// A store of the driver's records (`pagewise_driver::records`, format 1).
    Records(Vec<Record>),
}

/// A record of a store.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Name, as for a region; unique in its store.
    pub name: String,
    /// Line of the file.
    pub line: usize,
    /// Identity in the store.
    pub id: u8,
    /// Version of the payload.
    pub version: u8,
    /// Slots of its ring, at least 3.
    pub slots: u16,
    /// Longest payload in bytes.
    pub payload_bytes: u16,
    /// What the payload holds.
    pub field: Field,
    /// Where its value comes from. Without one the record is as if it had never been written.
    pub source: Source,
}

/// Where a value comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// Nowhere: the place is kept free, images leave it out.
    Open,
    /// The layout file: the same in every unit. The value as a text that [`Field::encode`] takes.
    Fixed(String),
    /// This column of the units' CSV.
    Column(String),
    /// The bytes of a file, which must hold the region's signature.
    File {
        /// As seen from the layout's folder.
        name: String,
    },
    /// A stretch of what an old part held, which must hold the region's signature.
    Dump {
        /// A dump, or a folder of dumps called like their units; as seen from the layout's folder.
        name: String,
        /// First byte of the stretch; absent: where the region itself lies.
        at: Option<u32>,
    },
    /// It is computed from other regions.
    Computed,
}

impl Layout {
    /// Whether a region is written often.
    #[must_use]
    pub fn is_often(&self, region: &Region) -> bool {
        region.writes_per_day >= self.often_per_day
    }
}

impl Kind {
    /// The word that the file has for it.
    #[must_use]
    pub fn word(&self) -> String {
        match self {
            Self::Field(field) => field.word(),
            Self::Serial(_) => "serial".into(),
            Self::Eui48 => "eui-48".into(),
            Self::Eui64 { .. } => "eui-64".into(),
            Self::Crc { algorithm, .. } if algorithm.is_sum() => format!("sum {}", algorithm.name),
            Self::Crc { algorithm, .. } => format!("crc {}", algorithm.name),
            Self::Records(records) => format!("records ({})", records.len()),
        }
    }
}

/// Reads a layout file.
///
/// # Errors
/// The file cannot be read, or everything that is wrong in it.
pub fn read(path: &Path) -> Result<Layout, Faults> {
    let file = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
    parse(&file, &text)
}
