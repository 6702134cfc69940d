//! Reading a layout file; every fault comes with its line.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use super::{Encoding, Endian, Field, Integer, Kind, Layout, Record, Region, Separate, Source};
use crate::image::checksum::Checksum;
use pagewise_base::fault::Faults;
use pagewise_base::form::{Document, Form, Raw};

/// Longest region in bytes: the largest density known, 128 Mbit.
const LONGEST: u32 = 16_777_216;

/// Reads a layout from the text of `file`.
///
/// # Errors
/// Everything that is wrong in it.
pub fn parse(file: &str, text: &str) -> Result<Layout, Faults> {
    let document = Document::parse(file, text);
    if document.is_faulty() {
        return Err(document.finish());
    }
    let layout = layout(file, &document.root());
    let faults = document.finish();
    match layout {
        Some(layout) => faults.or_ok(layout),
        None => Err(faults),
    }
}

fn layout(file: &str, form: &Form<'_, '_>) -> Option<Layout> {
    let words = [("page", Separate::Page), ("group", Separate::Group), ("nothing", Separate::Nothing)];
    let name = form.need_text("name");
    let fill = form.integer("fill", 0..=255).unwrap_or(0xFFu8);
    let separate = form.choice("separate", &words).unwrap_or(Separate::Page);
    let often_per_day = form.decimal("often_per_day", 0.000_001..=10_000_000.0).unwrap_or(0.1);
    form.need("region");
    let mut regions = Vec::new();
    for table in form.tables("region") {
        regions.extend(region(&table, &regions));
        table.finish();
    }
    for table in form.tables("region") {
        // A region that could not be read at all is not among them.
        if let Some(region) = regions.iter().find(|region| region.line == table.line_of("")) {
            refer(&table, region, &regions);
        }
    }
    form.finish();
    Some(Layout { file: file.to_owned(), name: name?, fill, often_per_day, separate, regions })
}

/// A region. What a faulty field leaves open gets a value that raises no further fault.
fn region(form: &Form<'_, '_>, earlier: &[Region]) -> Option<Region> {
    let name = name(form, "name", earlier.iter().map(|region| region.name.as_str()));
    let writes_per_day = form.decimal("writes_per_day", 0.0..=10_000_000.0).unwrap_or(0.0);
    let offset = form.integer("offset", 0..=LONGEST - 1);
    let align = align(form);
    form.need("kind");
    let word = form.text("kind").unwrap_or_default();
    let (kind, source) = kind(form, &word, &name)?;
    let unique = form.flag("unique");
    let always = matches!(kind, Kind::Serial(_) | Kind::Eui48 | Kind::Eui64 { .. });
    if unique == Some(true) && !always && !matches!(source, Source::Column(_)) {
        form.fault("unique", "only what each unit has of its own can be unique", "name its `column`");
    }
    if unique == Some(false) && always {
        form.fault("unique", format!("kind `{word}` is unique by its nature"), "remove it");
    }
    Some(Region {
        name,
        line: form.line_of(""),
        offset,
        align,
        writes_per_day,
        kind,
        source,
        unique: always || unique == Some(true),
    })
}

fn align(form: &Form<'_, '_>) -> u32 {
    let align = form.integer("align", 1..=65_536u32).unwrap_or(1);
    if !align.is_power_of_two() {
        form.fault("align", format!("{align} is no power of two"), "use 1, 2, 4, 8, ...");
        return 1;
    }
    align
}

/// A name that becomes a name in generated code.
fn name<'n>(form: &Form<'_, '_>, key: &str, mut earlier: impl Iterator<Item = &'n str>) -> String {
    let name = form.need_text(key).unwrap_or_default();
    let lawful = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if !name.is_empty() && (!name.starts_with(|c: char| c.is_ascii_alphabetic()) || !name.chars().all(lawful)) {
        form.fault(key, format!("`{name}` is no name"), "begin with a letter, then letters, digits, `-` and `_`");
    } else if name.len() > 40 {
        form.fault(key, format!("has {} characters", name.len()), "use at most 40");
    }
    let same = |name: &str| name.to_lowercase().replace('_', "-");
    if let Some(other) = earlier.find(|other| !name.is_empty() && same(other) == same(&name)) {
        form.fault(key, format!("`{name}` is used twice (as `{other}`)"), "name each one once");
    }
    name
}

fn kind(form: &Form<'_, '_>, word: &str, name: &str) -> Option<(Kind, Source)> {
    match word {
        "serial" => {
            let length = need_integer(form, "length", 1..=256);
            let padding = form.integer("padding", 0..=255).unwrap_or(0);
            let field = Field::Text { length: length.unwrap_or(256), encoding: Encoding::Ascii, padding };
            Some((Kind::Serial(field), column(form, name)))
        }
        "eui-48" => Some((Kind::Eui48, column(form, name))),
        "eui-64" => {
            let from = form.text("from");
            if from.is_some() && form.has("column") {
                form.fault("column", "stands beside `from`", "keep one of them");
            }
            let source = if from.is_some() { Source::Computed } else { column(form, name) };
            if from.is_some() {
                let _ = form.text("column");
            }
            Some((Kind::Eui64 { from }, source))
        }
        "crc" => crc(form),
        "records" => records(form),
        "" => None,
        _ => {
            let field = field(form, word, "kind")?;
            let source = source(form, &field);
            Some((Kind::Field(field), source))
        }
    }
}

/// The column of a kind that every unit has a value of its own for.
fn column(form: &Form<'_, '_>, name: &str) -> Source {
    if form.has("value") {
        let _ = form.raw("value");
        form.fault(
            "value",
            "would be the same in every unit",
            "give it per unit: remove it here, fill a column of the CSV",
        );
    }
    Source::Column(form.text("column").unwrap_or_else(|| name.to_owned()))
}

fn crc(form: &Form<'_, '_>) -> Option<(Kind, Source)> {
    form.need("algorithm");
    form.need("over");
    let algorithm = form.text("algorithm").and_then(|text| {
        let found = Checksum::find(&text);
        if found.is_none() {
            let remedy =
                format!("use a name of the catalogue of CRC algorithms (near: {})", Checksum::near(&text).join(", "));
            form.fault("algorithm", format!("`{text}` is no CRC algorithm of the catalogue"), remedy);
        }
        found
    });
    let endian = endian(form, algorithm.map_or(1, |algorithm| algorithm.bytes() as u8));
    let over = form.texts("over");
    if form.has("over") && over.is_empty() {
        form.fault("over", "names no region", "name the regions that it covers");
    }
    Some((Kind::Crc { algorithm: algorithm?, endian, over }, Source::Computed))
}

fn records(form: &Form<'_, '_>) -> Option<(Kind, Source)> {
    form.need("record");
    let mut records: Vec<Record> = Vec::new();
    for table in form.tables("record") {
        let name = name(&table, "name", records.iter().map(|record| record.name.as_str()));
        let id = need_integer(&table, "id", 0..=255u8);
        if let Some(other) = records.iter().find(|other| Some(other.id) == id) {
            table.fault("id", format!("{} is the identity of `{}`", other.id, other.name), "give each record its own");
        }
        let version = table.integer("version", 0..=255u8).unwrap_or(0);
        let slots = table.integer("slots", 3..=65_535u16).unwrap_or(3);
        table.need("kind");
        let word = table.text("kind").unwrap_or_default();
        let field = if word.is_empty() { None } else { field(&table, &word, "kind") };
        let length = field.as_ref().map_or(1, Field::length);
        let payload_bytes = table.integer("payload_bytes", 1..=65_535u16);
        if length > u32::from(payload_bytes.unwrap_or(65_535)) {
            let reason = format!("takes {length} bytes, the payload has {}", payload_bytes.unwrap_or(65_535));
            table.fault("payload_bytes", reason, "enlarge it or shorten the value");
        }
        if let Some(field) = field {
            let source = source(&table, &field);
            let line = table.line_of("");
            let payload_bytes = payload_bytes.unwrap_or(length.min(65_535) as u16);
            records.push(Record { name, line, id: id.unwrap_or(0), version, slots, payload_bytes, field, source });
        }
        table.finish();
    }
    Some((Kind::Records(records), Source::Computed))
}

fn field(form: &Form<'_, '_>, word: &str, key: &str) -> Option<Field> {
    if let Some((_, integer)) = Integer::WORDS.iter().find(|(known, _)| *known == word) {
        let count = form.integer("count", 1..=65_536u32).unwrap_or(1);
        return Some(Field::Integers { integer: *integer, endian: endian(form, integer.bytes), count });
    }
    let encodings = [("ascii", Encoding::Ascii), ("latin-1", Encoding::Latin1), ("utf-8", Encoding::Utf8)];
    match word {
        "bytes" => Some(Field::Bytes { length: need_integer(form, "length", 1..=LONGEST).unwrap_or(1) }),
        "text" => Some(Field::Text {
            length: need_integer(form, "length", 1..=LONGEST).unwrap_or(1),
            encoding: form.choice("encoding", &encodings).unwrap_or(Encoding::Ascii),
            padding: form.integer("padding", 0..=255).unwrap_or(0),
        }),
        _ => {
            let integers: Vec<&str> = Integer::WORDS.iter().map(|(word, _)| *word).collect();
            let remedy = format!(
                "use bytes, text, {}, or for a region serial, eui-48, eui-64, crc, records",
                integers.join(", ")
            );
            form.fault(key, format!("`{word}` is no kind"), remedy);
            None
        }
    }
}

fn endian(form: &Form<'_, '_>, bytes: u8) -> Endian {
    if bytes > 1 {
        form.need("endian");
    }
    form.choice("endian", &[("little", Endian::Little), ("big", Endian::Big)]).unwrap_or(Endian::Little)
}

/// The value or the column of a plain field.
fn source(form: &Form<'_, '_>, field: &Field) -> Source {
    let column = form.text("column");
    let raw = form.raw("value");
    if column.is_some() && raw.is_some() {
        form.fault("value", "stands beside `column`", "keep one of them");
    }
    let Some(raw) = raw else { return column.map_or(Source::Open, Source::Column) };
    let text = match (raw, field) {
        (Raw::Text(text), _) => text,
        (Raw::Numbers(_), Field::Text { .. }) => {
            form.fault("value", "is a number, not a text", "write a text in quotes");
            return Source::Open;
        }
        (Raw::Numbers(numbers), Field::Integers { .. }) => words(&numbers, |number| number.to_string()),
        (Raw::Numbers(numbers), Field::Bytes { .. }) => {
            if let Some(number) = numbers.iter().find(|number| !(0..=255).contains(*number)) {
                form.fault("value", format!("{number} is no byte"), "use values from 0 to 255");
                return Source::Open;
            }
            words(&numbers, |number| format!("{number:02X}"))
        }
    };
    if let Err(reason) = field.encode(&text) {
        form.fault("value", reason, format!("write what kind `{}` holds", field.word()));
    }
    Source::Fixed(text)
}

fn words(numbers: &[i128], word: impl Fn(&i128) -> String) -> String {
    numbers.iter().map(word).collect::<Vec<_>>().join(" ")
}

fn need_integer<T>(form: &Form<'_, '_>, key: &str, limits: RangeInclusive<T>) -> Option<T>
where
    T: TryFrom<i64> + PartialOrd + std::fmt::Display + Copy,
{
    form.need(key);
    form.integer(key, limits)
}

/// Checks the names that a region refers to.
fn refer(form: &Form<'_, '_>, region: &Region, regions: &[Region]) {
    let known: BTreeMap<&str, &Region> = regions.iter().map(|region| (region.name.as_str(), region)).collect();
    match &region.kind {
        Kind::Eui64 { from: Some(from) } => match known.get(from.as_str()) {
            Some(Region { kind: Kind::Eui48, .. }) => {}
            Some(_) => form.fault("from", format!("`{from}` is no eui-48 region"), "name one"),
            None => form.fault("from", format!("there is no region `{from}`"), "name an eui-48 region"),
        },
        Kind::Crc { over, .. } => {
            for name in over {
                match known.get(name.as_str()) {
                    None => form.fault("over", format!("there is no region `{name}`"), "name regions of this layout"),
                    Some(other) if matches!(other.source, Source::Open) => {
                        let reason = format!("the region `{name}` has no value to compute a CRC of");
                        form.fault("over", reason, "give it a `value` or a `column`");
                    }
                    Some(_) if covers(name, &region.name, &known, regions.len()) => {
                        form.fault("over", format!("covers itself by way of `{name}`"), "remove the circle");
                    }
                    Some(_) => {}
                }
            }
        }
        _ => {}
    }
}

/// Whether the region `from` is, or is computed from, the region `to`.
fn covers(from: &str, to: &str, known: &BTreeMap<&str, &Region>, depth: usize) -> bool {
    if from == to || depth == 0 {
        return from == to;
    }
    match known.get(from).map(|region| &region.kind) {
        Some(Kind::Crc { over, .. }) => over.iter().any(|name| covers(name, to, known, depth - 1)),
        _ => false,
    }
}
