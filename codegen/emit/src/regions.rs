//! The regions of a layout as constants and typed accessors.

use pagewise_driver::Geometry;
use serde::Serialize;

use super::words::{comment, literal};
use super::{Part, Request};
use pagewise_base::fault::{Fault, Faults};
use pagewise_content::layout::{Endian, Field, Integer, Kind, Layout, Placed, PlacedRegion};

/// Longest region that goes through a buffer on the stack; longer ones get constants only.
const LONGEST: u32 = 256;

/// A region, as the templates need it.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub(super) struct Region {
    /// Name in lower case with underscores, and in upper case.
    pub snake: String,
    pub upper: String,
    /// Two underscores in a row, which Rust's lints dislike.
    pub odd: bool,
    pub lines: Vec<String>,
    pub offset: u32,
    pub rust_offset: String,
    pub length: u32,
    /// `bytes`, `text`, `number`, `numbers`, or `none` for constants only.
    pub shape: &'static str,
    /// Whether there is a function that writes it.
    pub writable: bool,
    /// Type of a number in Rust, and in C.
    pub rust_type: String,
    pub c_type: String,
    /// Bytes of a number.
    pub width: u8,
    pub little: bool,
    pub count: u32,
    pub padding: u8,
    /// Page of which the slots of records take whole ones; 0 for other regions.
    pub slot_page: u32,
}

/// The regions of a layout in these parts.
///
/// # Errors
/// A layout that does not fit one of the parts, or whose regions are not placed alike in all of them: where no placement
/// is shared, images are made for one part, and the firmware of all parts must find them.
pub(super) fn regions(layout: &Layout, request: &Request<'_>, geometry: &[Geometry]) -> Result<Vec<Region>, Faults> {
    let parts = &request.parts;
    if !request.sharing.is_empty() {
        let foreign = parts.iter().filter(|part| request.sharing.iter().all(|card| card.id != part.card.id));
        let fault = |part: &Part<'_>| {
            let reason = format!("`{}` is not among its `parts`", part.card.id);
            Fault::of_file(&layout.file, reason, "add it there, and make the images anew")
        };
        Faults(foreign.map(fault).collect()).or_ok(())?;
        let placed = layout.place_in_all(&request.sharing)?;
        return Ok(of(&placed));
    }
    let (mut placed, mut faults): (Vec<Placed>, _) = (Vec::new(), Vec::new());
    for part in parts {
        match layout.place(part.card) {
            Ok(found) => placed.push(found),
            Err(more) => faults.extend(more.0),
        }
    }
    let placed = Faults(faults).or_ok(placed)?;
    let Some(first) = placed.first() else { return Ok(Vec::new()) };
    let mut faults = Vec::new();
    for (other, part) in placed.iter().zip(parts).skip(1) {
        for (here, there) in first.regions.iter().zip(&other.regions) {
            faults.extend(differs(layout, first, here, part.card.id.as_str(), there));
        }
    }
    if let Some(least) = geometry.iter().map(Geometry::capacity_bytes).min()
        && first.end > least
    {
        let reason = format!("ends at {:#x}, beyond the {least} bytes that all parts have", first.end);
        faults.push(Fault::of_file(&layout.file, reason, "shorten it or leave out the smallest part"));
    }
    Faults(faults).or_ok(of(first))
}

fn of(placed: &Placed) -> Vec<Region> {
    placed.by_offset().into_iter().map(|region| self::region(region, placed.page_bytes)).collect()
}

/// A region that one part has elsewhere, or longer: what is programmed for that part would not be found.
fn differs(layout: &Layout, first: &Placed, here: &PlacedRegion, part: &str, there: &PlacedRegion) -> Option<Fault> {
    let (name, of) = (&here.region.name, &first.parts[0]);
    let (field, reason, remedy) = if here.offset != there.offset {
        let (there, here) = (there.offset, here.offset);
        (
            "offset",
            format!("`{name}` would lie elsewhere in {part}, at {there:#06x}, than at {here:#06x} in {of}"),
            "name the parts in the layout (`parts = [...]`), so that one placement serves them all",
        )
    } else if here.length != there.length {
        // The slots of records take whole pages, so that no cut endangers two of them.
        let (there, here) = (there.length, here.length);
        (
            "record",
            format!("`{name}` takes {there} bytes in {part} and {here} in {of}: its slots take whole pages"),
            "name the parts in the layout (`parts = [...]`), or generate for each part on its own",
        )
    } else {
        return None;
    };
    let file = layout.file.clone();
    Some(Fault { file, line: here.region.line, field: field.into(), reason, remedy: remedy.into() })
}

fn region(placed: &PlacedRegion, page_bytes: u32) -> Region {
    let name = &placed.region.name;
    let snake = name.to_lowercase().replace('-', "_");
    let kind = &placed.region.kind;
    let plural = if placed.length == 1 { "" } else { "s" };
    let about = format!("`{name}`: {}, {} byte{plural} at {:#06x}", kind.word(), placed.length, placed.offset);
    let often = if placed.region.writes_per_day > 0.0 {
        format!("; written {} times a day", placed.region.writes_per_day)
    } else {
        "; written by the production line only".into()
    };
    let mut region = Region {
        upper: snake.to_uppercase(),
        odd: snake.contains("__"),
        snake,
        lines: comment(&(about + &often)),
        offset: placed.offset,
        rust_offset: literal(placed.offset),
        length: placed.length,
        shape: "none",
        writable: !matches!(kind, Kind::Crc { .. } | Kind::Eui64 { from: Some(_) } | Kind::Records(_)),
        rust_type: "u8".into(),
        c_type: "uint8_t".into(),
        width: 1,
        little: true,
        count: placed.length,
        padding: 0,
        slot_page: if matches!(kind, Kind::Records(_)) { page_bytes } else { 0 },
    };
    if placed.length > LONGEST {
        return region;
    }
    match kind {
        Kind::Field(field) | Kind::Serial(field) => region.set(field),
        Kind::Eui48 | Kind::Eui64 { .. } => region.shape = "bytes",
        Kind::Crc { algorithm, endian, .. } => {
            let bytes = algorithm.bytes() as u8;
            match Integer::WORDS.iter().find(|(_, integer)| integer.bytes == bytes && !integer.signed) {
                Some((_, integer)) => region.number(*integer, *endian, 1),
                // A CRC of three bytes, for example: the bytes as they lie there.
                None => region.shape = "bytes",
            }
        }
        Kind::Records(_) => {}
    }
    region
}

impl Region {
    fn set(&mut self, field: &Field) {
        match *field {
            Field::Bytes { .. } => self.shape = "bytes",
            Field::Text { padding, .. } => (self.shape, self.padding) = ("text", padding),
            Field::Integers { integer, endian, count } => self.number(integer, endian, count),
        }
    }

    fn number(&mut self, integer: Integer, endian: Endian, count: u32) {
        self.shape = if count == 1 { "number" } else { "numbers" };
        self.rust_type = integer.word().to_owned();
        let sign = if integer.signed { "" } else { "u" };
        self.c_type = format!("{sign}int{}_t", 8 * u32::from(integer.bytes));
        (self.width, self.little, self.count) = (integer.bytes, endian == Endian::Little, count);
    }
}
