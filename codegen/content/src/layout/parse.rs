//! Reading a layout file; every fault comes with its line.

use std::collections::BTreeMap;

use serde_json::Number;

use super::file::{self, LayoutFile, Plain, SHAPE, Value};
use super::{Encoding, Endian, Field, Integer, Kind, Layout, Record, Region, Separate, Source};
use crate::image::checksum::{Checksum, SUMS};
use pagewise_base::fault::Faults;
use pagewise_base::form::Document;

/// Reads a layout from the text of `file`.
///
/// # Errors
/// Everything that is wrong in it.
pub fn parse(file: &str, text: &str) -> Result<Layout, Faults> {
    SHAPE.complete(file, text, |form, read| layout(form, file, read))
}

fn layout(form: &Document<'_>, name: &str, file: LayoutFile) -> Layout {
    let mut regions: Vec<Region> = Vec::new();
    for (index, read) in file.region.into_iter().enumerate() {
        regions.extend(region(form, &format!("region[{index}]"), read, &regions));
    }
    for region in &regions {
        refer(form, region, &regions);
    }
    let parts = file.parts.unwrap_or_default();
    Layout {
        file: name.to_owned(),
        name: file.name,
        parts: parts.into_iter().enumerate().map(|(at, part)| (part, form.line_of(&format!("parts[{at}]")))).collect(),
        fill: file.fill.unwrap_or(0xFF),
        often_per_day: file.often_per_day.unwrap_or(0.1),
        separate: file.separate.unwrap_or(Separate::Page),
        regions,
    }
}

/// A region; none where its kind could not be read.
fn region(form: &Document<'_>, path: &str, file: file::Region, earlier: &[Region]) -> Option<Region> {
    let at = |key: &str| format!("{path}.{key}");
    name(form, &at("name"), &file.name, earlier.iter().map(|region| region.name.as_str()));
    let align = file.align.unwrap_or(1);
    if !align.is_power_of_two() {
        form.fault(&at("align"), format!("{align} is not a power of two"), "use 1, 2, 4, 8, ...");
    }
    if !form.is_sound(&at("kind")) {
        return None;
    }
    let signature = match &file.kind {
        file::Kind::Bytes(bytes) => signature(form, path, bytes),
        _ => Vec::new(),
    };
    let (kind, source) = kind(form, path, file.kind, &file.name)?;
    let always = matches!(kind, Kind::Serial(_) | Kind::Eui48 | Kind::Eui64 { .. });
    if file.unique == Some(true) && !always && !matches!(source, Source::Column(_)) {
        form.fault(&at("unique"), "only what each unit has of its own can be unique", "name its `column`");
    }
    if file.unique == Some(false) && always {
        form.fault(&at("unique"), format!("kind `{}` is unique by its nature", kind.word()), "remove it");
    }
    Some(Region {
        name: file.name,
        path: path.to_owned(),
        line: form.line_of(path),
        offset: file.offset,
        align: if align.is_power_of_two() { align } else { 1 },
        writes_per_day: file.writes_per_day.unwrap_or(0.0),
        kind,
        source,
        unique: always || file.unique == Some(true),
        signature,
    })
}

/// Checks a name that becomes a name in generated code.
fn name<'n>(form: &Document<'_>, path: &str, name: &str, mut earlier: impl Iterator<Item = &'n str>) {
    let lawful = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if !name.starts_with(|c: char| c.is_ascii_alphabetic()) || !name.chars().all(lawful) {
        form.fault(path, format!("`{name}` is not a name"), "begin with a letter, then letters, digits, `-` and `_`");
    } else if name.len() > 40 {
        form.fault(path, format!("has {} characters", name.len()), "use at most 40");
    }
    let same = |name: &str| name.to_lowercase().replace('_', "-");
    if let Some(other) = earlier.find(|other| same(other) == same(name)) {
        form.fault(path, format!("`{name}` is used twice (as `{other}`)"), "name each one once");
    }
}

fn kind(form: &Document<'_>, path: &str, file: file::Kind, name: &str) -> Option<(Kind, Source)> {
    let own = |column: Option<String>| Source::Column(column.unwrap_or_else(|| name.to_owned()));
    let special = match file.plain() {
        Ok(plain) => return self::plain(form, path, plain).map(|(field, source)| (Kind::Field(field), source)),
        Err(special) => special,
    };
    match special {
        file::Kind::Serial(it) => {
            let padding = it.padding.unwrap_or(0);
            let field = Field::Text { length: it.length, encoding: Encoding::Ascii, padding };
            Some((Kind::Serial(field), own(it.column)))
        }
        file::Kind::Eui48(it) => Some((Kind::Eui48, own(it.column))),
        file::Kind::Eui64(it) => {
            if it.from.is_some() && it.column.is_some() {
                form.fault(&format!("{path}.column"), "stands beside `from`", "keep one of them");
            }
            let source = if it.from.is_some() { Source::Computed } else { own(it.column) };
            Some((Kind::Eui64 { from: it.from }, source))
        }
        file::Kind::Crc(it) => crc(form, path, it),
        file::Kind::Sum(it) => sum(form, path, it),
        file::Kind::Records(it) => Some((Kind::Records(records(form, path, it.record)), Source::Computed)),
        _ => None,
    }
}

fn crc(form: &Document<'_>, path: &str, file: file::Crc) -> Option<(Kind, Source)> {
    let text = &file.algorithm;
    let algorithm = Checksum::find(text);
    if algorithm.is_none() {
        let near = Checksum::near(text).join(", ");
        let reason = format!("`{text}` is not a CRC algorithm of the catalogue");
        let remedy = format!("use a name of the catalogue of CRC algorithms (near: {near})");
        form.fault(&format!("{path}.algorithm"), reason, remedy);
    }
    let endian = endian(form, path, algorithm.map_or(1, |algorithm| algorithm.bytes() as u8), file.endian);
    if file.over.is_empty() {
        form.fault(&format!("{path}.over"), "names no region", "name the regions that it covers");
    }
    Some((Kind::Crc { algorithm: algorithm?, endian, over: file.over }, Source::Computed))
}

fn sum(form: &Document<'_>, path: &str, file: file::Sum) -> Option<(Kind, Source)> {
    let text = file.algorithm.as_deref().unwrap_or("SUM-8");
    let algorithm = Checksum::find_sum(text);
    if algorithm.is_none() {
        let known: Vec<&str> = SUMS.iter().map(|sum| sum.name).collect();
        let remedy = format!("use {}", known.join(", "));
        form.fault(&format!("{path}.algorithm"), format!("`{text}` is not a sum of bytes"), remedy);
    }
    let endian = endian(form, path, algorithm.map_or(1, |algorithm| algorithm.bytes() as u8), file.endian);
    if file.over.is_empty() {
        form.fault(&format!("{path}.over"), "names no region", "name the regions that it covers");
    }
    Some((Kind::Crc { algorithm: algorithm?, endian, over: file.over }, Source::Computed))
}

fn records(form: &Document<'_>, path: &str, file: Vec<file::Record>) -> Vec<Record> {
    let mut records: Vec<Record> = Vec::new();
    for (index, read) in file.into_iter().enumerate() {
        let path = format!("{path}.record[{index}]");
        let at = |key: &str| format!("{path}.{key}");
        name(form, &at("name"), &read.name, records.iter().map(|record| record.name.as_str()));
        if let Some(other) = records.iter().find(|other| other.id == read.id) {
            let reason = format!("{} is the identity of `{}`", other.id, other.name);
            form.fault(&at("id"), reason, "give each record its own");
        }
        if !form.is_sound(&at("kind")) {
            continue;
        }
        if matches!(&read.field, Plain::Bytes(bytes) if bytes.signature.is_some()) {
            form.fault(&at("signature"), "is not for records", "remove it");
        }
        let Some((field, source)) = plain(form, &path, read.field) else { continue };
        if matches!(source, Source::File { .. } | Source::Dump { .. }) {
            let key = if matches!(source, Source::File { .. }) { "file" } else { "from" };
            form.fault(&at(key), "is not for records", "give the record a `value` or a `column`");
        }
        let (length, most) = (field.length(), read.payload_bytes.unwrap_or(65_535));
        if length > u32::from(most) {
            let reason = format!("takes {length} bytes, the payload has {most}");
            form.fault(&at("payload_bytes"), reason, "enlarge it or shorten the value");
        }
        records.push(Record {
            name: read.name,
            line: form.line_of(&path),
            id: read.id,
            version: read.version.unwrap_or(0),
            slots: read.slots.unwrap_or(3),
            payload_bytes: read.payload_bytes.unwrap_or(length.min(65_535) as u16),
            field,
            source,
        });
    }
    records
}

/// A plain field with its source.
fn plain(form: &Document<'_>, path: &str, file: Plain) -> Option<(Field, Source)> {
    let (field, value, column) = match file {
        Plain::Bytes(it) => {
            let field = Field::Bytes { length: it.length };
            let elsewhere = elsewhere(form, path, &it);
            let it = *it;
            let source = source(form, path, &field, it.value, it.column);
            return Some((field, elsewhere.unwrap_or(source)));
        }
        Plain::Text(it) => {
            let (encoding, padding) = (it.encoding.unwrap_or(Encoding::Ascii), it.padding.unwrap_or(0));
            (Field::Text { length: it.length, encoding, padding }, it.value, it.column)
        }
        Plain::U8(it) => (integers(form, path, "u8", it.endian, it.count)?, it.value, it.column),
        Plain::I8(it) => (integers(form, path, "i8", it.endian, it.count)?, it.value, it.column),
        Plain::U16(it) => (integers(form, path, "u16", Some(it.endian), it.count)?, it.value, it.column),
        Plain::U32(it) => (integers(form, path, "u32", Some(it.endian), it.count)?, it.value, it.column),
        Plain::U64(it) => (integers(form, path, "u64", Some(it.endian), it.count)?, it.value, it.column),
        Plain::I16(it) => (integers(form, path, "i16", Some(it.endian), it.count)?, it.value, it.column),
        Plain::I32(it) => (integers(form, path, "i32", Some(it.endian), it.count)?, it.value, it.column),
        Plain::I64(it) => (integers(form, path, "i64", Some(it.endian), it.count)?, it.value, it.column),
    };
    let source = source(form, path, &field, value, column);
    Some((field, source))
}

/// Bytes that stand in another file.
fn elsewhere(form: &Document<'_>, path: &str, file: &file::Bytes) -> Option<Source> {
    let at = |key: &str| format!("{path}.{key}");
    let given = [("value", file.value.is_some()), ("column", file.column.is_some()), ("from", file.from.is_some())];
    let other = |own: &str| given.iter().find(|(key, given)| *given && *key != own).map(|(key, _)| *key);
    if file.at.is_some() && file.from.is_none() {
        form.fault(&at("at"), "stands without `from`", "name the dump that it is a place of, or remove it");
    }
    let (key, source) = match (&file.file, &file.from) {
        (Some(name), _) => ("file", Source::File { name: name.clone() }),
        (None, Some(name)) => ("from", Source::Dump { name: name.clone(), at: file.at }),
        (None, None) => return None,
    };
    if let Some(other) = other(key) {
        form.fault(&at(key), format!("stands beside `{other}`"), "keep one of them");
    }
    Some(source)
}

/// Bytes by which what lies in a region is recognised.
fn signature(form: &Document<'_>, path: &str, file: &file::Bytes) -> Vec<u8> {
    let Some(text) = &file.signature else { return Vec::new() };
    let at = format!("{path}.signature");
    for (key, given) in [("value", file.value.is_some()), ("column", file.column.is_some())] {
        if given {
            form.fault(&at, format!("stands beside `{key}`"), "keep one of them");
        }
    }
    let bytes = hexadecimal(text).unwrap_or_else(|reason| {
        form.fault(&at, reason, "write it as AA 99 55 66");
        Vec::new()
    });
    if bytes.len() > file.length as usize {
        form.fault(&at, format!("has {} bytes, the region {}", bytes.len(), file.length), "shorten it");
    }
    if let Some(blank) =
        bytes.first().filter(|first| [0xFF, 0].contains(*first) && bytes.iter().all(|byte| byte == *first))
    {
        let reason = format!("is nothing but {blank:#04x}, which stands in every part that is not full");
        form.fault(&at, reason, "take bytes that stand in this block only");
    }
    bytes
}

/// Bytes in hexadecimal digits, with or without blanks.
fn hexadecimal(text: &str) -> Result<Vec<u8>, String> {
    let digits: Vec<u32> = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| c.to_digit(16).ok_or_else(|| format!("`{c}` is not a hexadecimal digit")))
        .collect::<Result<_, _>>()?;
    if digits.len() % 2 == 1 {
        return Err("has an odd number of hexadecimal digits".into());
    }
    Ok(digits.chunks(2).map(|pair| (pair[0] << 4 | pair[1]) as u8).collect())
}

fn integers(form: &Document<'_>, path: &str, word: &str, endian: Option<Endian>, count: Option<u32>) -> Option<Field> {
    let integer = Integer::WORDS.iter().find(|(known, _)| *known == word)?.1;
    let endian = self::endian(form, path, integer.bytes, endian);
    Some(Field::Integers { integer, endian, count: count.unwrap_or(1) })
}

fn endian(form: &Document<'_>, path: &str, bytes: u8, stated: Option<Endian>) -> Endian {
    if bytes > 1 && stated.is_none() {
        form.fault(&format!("{path}.endian"), "is missing", "add it");
    }
    stated.unwrap_or(Endian::Little)
}

/// The value or the column of a plain field.
fn source(form: &Document<'_>, path: &str, field: &Field, value: Option<Value>, column: Option<String>) -> Source {
    let at = format!("{path}.value");
    if column.is_some() && value.is_some() {
        form.fault(&at, "stands beside `column`", "keep one of them");
    }
    let Some(value) = value else { return column.map_or(Source::Open, Source::Column) };
    let numbers = match value {
        Value::Text(text) => return fixed(form, &at, path, field, text),
        Value::Number(number) => vec![number],
        Value::Numbers(numbers) => numbers,
    };
    let text = match field {
        Field::Text { .. } => {
            form.fault(&at, "is a number, not a text", "write a text in quotes");
            return Source::Open;
        }
        Field::Integers { .. } => joined(&numbers, |number| number.to_string()),
        Field::Bytes { .. } => {
            if let Some(number) = numbers.iter().find(|number| number.as_u64().is_none_or(|byte| byte > 255)) {
                form.fault(&at, format!("{number} is not a byte"), "use values from 0 to 255");
                return Source::Open;
            }
            joined(&numbers, |number| format!("{:02X}", number.as_u64().unwrap_or(0)))
        }
    };
    fixed(form, &at, path, field, text)
}

fn fixed(form: &Document<'_>, at: &str, path: &str, field: &Field, text: String) -> Source {
    // A value is not judged by a length that could not be read.
    if form.is_sound_below(path)
        && let Err(reason) = field.encode(&text)
    {
        form.fault(at, reason, format!("write what kind `{}` holds", field.word()));
    }
    Source::Fixed(text)
}

fn joined(numbers: &[Number], word: impl Fn(&Number) -> String) -> String {
    numbers.iter().map(word).collect::<Vec<_>>().join(" ")
}

/// Checks the names that a region refers to.
fn refer(form: &Document<'_>, region: &Region, regions: &[Region]) {
    let at = |key: &str| format!("{}.{key}", region.path);
    let known: BTreeMap<&str, &Region> = regions.iter().map(|region| (region.name.as_str(), region)).collect();
    match &region.kind {
        Kind::Eui64 { from: Some(from) } => match known.get(from.as_str()) {
            Some(Region { kind: Kind::Eui48, .. }) => {}
            Some(_) => form.fault(&at("from"), format!("`{from}` is not an eui-48 region"), "name one"),
            None => form.fault(&at("from"), format!("there is no region `{from}`"), "name an eui-48 region"),
        },
        Kind::Crc { over, .. } => {
            for name in over {
                match known.get(name.as_str()) {
                    None => {
                        let reason = format!("there is no region `{name}`");
                        form.fault(&at("over"), reason, "name regions of this layout");
                    }
                    Some(other) if matches!(other.source, Source::Open) => {
                        let reason = format!("the region `{name}` has no value to compute a CRC of");
                        form.fault(&at("over"), reason, "give it a `value` or a `column`");
                    }
                    Some(_) if covers(name, &region.name, &known, regions.len()) => {
                        form.fault(&at("over"), format!("covers itself by way of `{name}`"), "remove the circle");
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
