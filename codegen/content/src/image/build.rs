//! From a placed layout and a unit's values to an image.

use std::collections::BTreeMap;

use pagewise_driver::Geometry;
use schemars::JsonSchema;
use serde::Serialize;

use super::elsewhere::Files;
use super::units::{Unit, Units};
use super::{Eui, Image, records};
use crate::layout::{Field, Kind, Layout, Placed, PlacedRegion, Source};
use pagewise_base::fault::{Fault, Faults};

/// An image of one unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Built {
    /// Name of the unit; `None` for the one image of a layout that takes no values per unit.
    pub unit: Option<String>,
    /// The image.
    pub image: Image,
    /// Value of each region that has one, in the order of the file; records as `region.record`.
    pub values: Vec<Value>,
}

/// Value of a region in a manifest.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Value {
    /// Region, or `region.record`.
    pub region: String,
    /// The value as a text.
    pub value: String,
}

/// Something that a reader should know about the values of all units.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, JsonSchema, Serialize)]
pub struct Note {
    /// Region that it is about.
    pub region: String,
    /// How many units it is about.
    pub units: usize,
    /// What it says.
    pub text: String,
}

/// All images of a layout.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Images {
    /// One per unit.
    pub built: Vec<Built>,
    /// What a reader should know about them.
    pub notes: Vec<Note>,
}

/// Builds the image of each unit, or one image where the layout takes no values per unit.
///
/// # Errors
/// Every bad value with its line: what does not fit its kind, addresses that no unit may carry, values that two units
/// share; a layout that needs values per unit where there are none.
pub fn build(layout: &Layout, placed: &Placed, geometry: &Geometry, units: Option<&Units>) -> Result<Images, Faults> {
    let mut builder = Builder {
        layout,
        placed,
        geometry,
        file: String::new(),
        files: Files::of(layout),
        faults: Vec::new(),
        seen: BTreeMap::new(),
        notes: BTreeMap::new(),
    };
    let mut built = Vec::new();
    match units {
        Some(units) => {
            builder.file.clone_from(&units.file);
            for unit in &units.units {
                built.push(builder.unit(Some(unit)));
            }
        }
        None => {
            let columns = super::units::columns(layout);
            if !columns.is_empty() {
                let reason = format!("takes values per unit from the columns {}", columns.join(", "));
                return Err(Fault::of_file(&layout.file, reason, "name a CSV with --units").into());
            }
            builder.file.clone_from(&layout.file);
            built.push(builder.unit(None));
        }
    }
    let notes = builder.notes.into_iter();
    let notes = notes.map(|((region, text), units)| Note { region, units, text: text.to_owned() }).collect();
    Faults(builder.faults).or_ok(Images { built, notes })
}

struct Builder<'l> {
    layout: &'l Layout,
    placed: &'l Placed,
    geometry: &'l Geometry,
    file: String,
    files: Files,
    faults: Vec<Fault>,
    /// Lines of values that stand once only: what they are, and their bytes.
    seen: BTreeMap<(String, Vec<u8>), (usize, String)>,
    notes: BTreeMap<(String, &'static str), usize>,
}

/// What a unit's regions hold, by their places in the layout: bytes, and the value as a text.
struct Contents {
    bytes: Vec<Option<Vec<u8>>>,
    values: Vec<Vec<Value>>,
}

impl Builder<'_> {
    fn unit(&mut self, unit: Option<&Unit>) -> Built {
        let count = self.placed.regions.len();
        let mut contents = Contents { bytes: vec![None; count], values: vec![Vec::new(); count] };
        for (index, placed) in self.placed.regions.iter().enumerate() {
            self.given(unit, placed, index, &mut contents);
        }
        self.follow(&mut contents);
        let mut image = Image::new();
        for (placed, bytes) in self.placed.regions.iter().zip(&contents.bytes) {
            let Some(bytes) = bytes else { continue };
            // The planner lets no two regions overlap.
            if let Err(reason) = image.put(placed.offset, bytes) {
                self.fault(unit, &placed.region.name, reason.to_string(), "place the regions anew");
            }
        }
        let values = contents.values.into_iter().flatten().collect();
        Built { unit: unit.map(|unit| unit.name.clone()), image, values }
    }

    /// What the layout or the CSV gives for a region.
    fn given(&mut self, unit: Option<&Unit>, placed: &PlacedRegion, index: usize, contents: &mut Contents) {
        let name = &placed.region.name;
        let value = |region: &str, value: &str| Value { region: region.to_owned(), value: value.to_owned() };
        match &placed.region.kind {
            Kind::Field(field) if matches!(placed.region.source, Source::File { .. } | Source::Dump { .. }) => {
                match self.files.take(unit, placed, field.length()) {
                    Ok((bytes, told)) => {
                        contents.values[index].push(value(name, &told));
                        contents.bytes[index] = Some(bytes);
                    }
                    Err(faults) => self.faults.extend(faults.0),
                }
            }
            Kind::Field(field) | Kind::Serial(field) => {
                let Some((text, column)) = text(unit, &placed.region.source) else { return };
                if matches!(placed.region.kind, Kind::Serial(_)) && !text.bytes().all(|byte| byte.is_ascii_graphic()) {
                    let reason = format!("`{text}` is not a serial number");
                    return self.fault(unit, column, reason, "use printable ASCII characters without blanks");
                }
                let Some(bytes) = self.encode(unit, column, field, text) else { return };
                if placed.region.unique {
                    self.once(unit, column, name, text, &bytes);
                }
                contents.values[index].push(value(name, text));
                contents.bytes[index] = Some(bytes);
            }
            Kind::Eui48 | Kind::Eui64 { from: None } => {
                let Some((text, column)) = text(unit, &placed.region.source) else { return };
                let Some(address) = self.address(unit, column, text, placed.length as usize) else { return };
                if let Some(remark) = address.remark() {
                    *self.notes.entry((name.clone(), remark)).or_default() += 1;
                }
                contents.values[index].push(value(name, &address.to_string()));
                contents.bytes[index] = Some(address.octets().to_vec());
            }
            Kind::Records(records) => {
                let mut payloads = Vec::new();
                for record in records {
                    let given = text(unit, &record.source);
                    let payload = given.and_then(|(text, column)| self.encode(unit, column, &record.field, text));
                    if let (Some((text, _)), Some(_)) = (given, &payload) {
                        contents.values[index].push(value(&format!("{name}.{}", record.name), text));
                    }
                    payloads.push(payload);
                }
                match records::store(self.geometry, self.placed.page_bytes, placed.offset, records, &payloads) {
                    Ok(store) => contents.bytes[index] = Some(store),
                    Err(reason) => self.fault(unit, name, reason, "correct the records"),
                }
            }
            Kind::Eui64 { from: Some(_) } | Kind::Crc { .. } => {}
        }
    }

    /// Addresses made from others, and CRCs: again and again, until nothing more follows.
    fn follow(&self, contents: &mut Contents) {
        let position = |name: &String| self.layout.regions.iter().position(|region| region.name == *name);
        loop {
            let mut changed = false;
            for (index, placed) in self.placed.regions.iter().enumerate() {
                if contents.bytes[index].is_some() {
                    continue;
                }
                let bytes_of = |name: &String| contents.bytes[position(name)?].clone();
                let computed = match &placed.region.kind {
                    Kind::Eui64 { from: Some(from) } => bytes_of(from).and_then(|octets| {
                        let address = Eui::new(&octets).to_64()?;
                        Some((address.to_string(), address.octets().to_vec()))
                    }),
                    Kind::Crc { algorithm, endian, over } => {
                        over.iter().map(bytes_of).collect::<Option<Vec<_>>>().map(|covered| {
                            let crc = algorithm.of(&covered.concat());
                            let digits = 2 * algorithm.bytes() as usize;
                            (format!("0x{crc:0digits$X}"), endian.bytes(crc, algorithm.bytes() as usize))
                        })
                    }
                    _ => None,
                };
                if let Some((value, bytes)) = computed {
                    contents.values[index].push(Value { region: placed.region.name.clone(), value });
                    contents.bytes[index] = Some(bytes);
                    changed = true;
                }
            }
            if !changed {
                return;
            }
        }
    }

    fn encode(&mut self, unit: Option<&Unit>, column: &str, field: &Field, text: &str) -> Option<Vec<u8>> {
        match field.encode(text) {
            Ok(bytes) => Some(bytes),
            Err(reason) => {
                let remedy = format!("write what kind `{}` holds", field.word());
                self.fault(unit, column, reason, &remedy);
                None
            }
        }
    }

    fn address(&mut self, unit: Option<&Unit>, column: &str, text: &str, octets: usize) -> Option<Eui> {
        let address = match Eui::parse(text, octets) {
            Ok(address) => address,
            Err(reason) => {
                self.fault(unit, column, reason, "correct the address");
                return None;
            }
        };
        if let Some(reason) = address.unfit() {
            self.fault(unit, column, reason, "give the unit an address of your own range");
            return None;
        }
        // One address is one device's, whichever region it stands in.
        self.once(unit, column, &format!("EUI-{}", 8 * octets), &address.to_string(), address.octets());
        Some(address)
    }

    /// Notes a fault when a value that stands once only is there again.
    fn once(&mut self, unit: Option<&Unit>, column: &str, what: &str, shown: &str, bytes: &[u8]) {
        let line = unit.map_or(0, |unit| unit.line);
        let earlier = self.seen.insert((what.to_owned(), bytes.to_vec()), (line, column.to_owned()));
        if let Some((earlier, other)) = earlier {
            let reason = format!("{shown} stands also in line {earlier}, column `{other}`");
            self.fault(unit, column, reason, "no two units share it; correct one of them");
        }
    }

    fn fault(&mut self, unit: Option<&Unit>, field: &str, reason: impl Into<String>, remedy: &str) {
        let line = unit.map_or(0, |unit| unit.line);
        let (file, field) = (self.file.clone(), field.to_owned());
        self.faults.push(Fault { file, line, field, reason: reason.into(), remedy: remedy.into() });
    }
}

/// The text of a value, and the column (or the layout's field) that it comes from.
fn text<'s>(unit: Option<&'s Unit>, source: &'s Source) -> Option<(&'s str, &'s str)> {
    match source {
        Source::Fixed(text) => Some((text, "value")),
        // An empty cell was told when the CSV was read.
        Source::Column(column) => unit?.values.get(column).map(|text| (text.as_str(), column.as_str())),
        Source::Open | Source::Computed | Source::File { .. } | Source::Dump { .. } => None,
    }
}
