//! What a generated text says, before any language: the driver's parameters with the reason for each.

use pagewise_driver::{Geometry, Parameters};
use serde::Serialize;

use super::common::{self, Common, Cost, Limit};
use super::regions::{self, Region};
use super::words::literal;
use super::{Assumption, Generated, Part, Request, Source, comment, digest_of};
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::{Card, Kind, NotSafe, density, role};
use pagewise_part::fact::Basis;

/// What the templates are given.
#[derive(Serialize)]
pub(super) struct Contents {
    version: &'static str,
    digest: String,
    head_lines: Vec<String>,
    /// Whether the text stands alone, in a crate of the user's; else in one that was generated around it.
    pub by_itself: bool,
    /// One, or one per candidate.
    pub configurations: Vec<Configuration>,
    /// Whether one of the configurations is chosen at run time.
    pub candidates: bool,
    record_offset: u32,
    record_bytes: u32,
    buffer_bytes: usize,
    /// A quarter of the longest write cycle, in microseconds.
    margin_us: u32,
    capacity_bytes: u32,
    page_bytes: u32,
    /// Those of the layout, in the order of their offsets.
    pub regions: Vec<Region>,
    /// Whether numbers are read, and written.
    numbers: bool,
    put_numbers: bool,
    #[serde(skip)]
    pub limits: Vec<Limit>,
    #[serde(skip)]
    pub costs: Vec<Cost>,
    #[serde(skip)]
    pub assumptions: Vec<Assumption>,
    #[serde(skip)]
    pub not_safe_on: Vec<NotSafe>,
}

/// The parameters of one part, or of several.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Configuration {
    /// Identifier of the card; that of the first one for several.
    pub part: String,
    pub fields: Vec<Field>,
}

/// One of the driver's parameters.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Field {
    pub name: &'static str,
    pub rust: String,
    pub c: String,
    pub lines: Vec<String>,
}

#[derive(Serialize)]
struct Inputs<'a> {
    parts: &'a [Part<'a>],
    choose: Option<super::Record>,
    regions: &'a [Region],
}

impl Contents {
    /// Everything that a request asks for.
    ///
    /// # Errors
    /// What is wrong with the request, all at once: no part, a part named twice, a part without a geometry, parts
    /// without a common one, a record that does not lie inside each part.
    pub fn of(request: &Request<'_>) -> Result<Self, Faults> {
        let geometries = geometries(&request.parts)?;
        let regions = match request.layout {
            Some(layout) => regions::regions(layout, request, &geometries)?,
            None => Vec::new(),
        };
        let number = |region: &&Region| region.shape.starts_with("number");
        let mut contents = Self {
            version: env!("CARGO_PKG_VERSION"),
            digest: digest_of(&Inputs { parts: &request.parts, choose: request.choose, regions: &regions }),
            head_lines: Vec::new(),
            by_itself: true,
            configurations: Vec::new(),
            candidates: request.choose.is_some(),
            record_offset: 0,
            record_bytes: 0,
            buffer_bytes: geometries.iter().map(Geometry::buffer_bytes).max().unwrap_or(0),
            margin_us: geometries.iter().map(|part| part.write_cycle_us().div_ceil(4)).max().unwrap_or(0),
            capacity_bytes: 0,
            page_bytes: 0,
            numbers: regions.iter().any(|region| number(&region)),
            put_numbers: regions.iter().filter(number).any(|region| region.writable),
            regions,
            limits: Vec::new(),
            costs: Vec::new(),
            assumptions: Vec::new(),
            not_safe_on: request.parts.iter().flat_map(|part| part.card.not_safe_on.clone()).collect(),
        };
        for (part, geometry) in request.parts.iter().zip(&geometries) {
            contents.assumptions.extend(assumptions(part.card, &geometry.parameters()));
        }
        if let Some(record) = request.choose {
            common::check_record(&request.parts, &geometries, record)?;
            (contents.record_offset, contents.record_bytes) = (record.offset, record.bytes);
            let each = request.parts.iter().zip(&geometries);
            contents.configurations = each.map(|(part, geometry)| of_part(part.card, geometry)).collect();
        } else {
            let configuration = match (&request.parts[..], &geometries[..]) {
                ([part], [geometry]) => {
                    contents.set(geometry);
                    of_part(part.card, geometry)
                }
                _ => {
                    let Common { geometry, limits, costs } = common::common(&request.parts, &geometries)?;
                    (contents.limits, contents.costs) = (limits, costs);
                    contents.set(&geometry);
                    of_parts(&request.parts, &geometry, &contents.limits)
                }
            };
            contents.configurations = vec![configuration];
        }
        contents.head_lines = comment::head(
            request,
            &comment::Known {
                limits: &contents.limits,
                costs: &contents.costs,
                assumptions: &contents.assumptions,
                not_safe_on: &contents.not_safe_on,
            },
        );
        Ok(contents)
    }

    fn set(&mut self, geometry: &Geometry) {
        self.buffer_bytes = geometry.buffer_bytes();
        (self.capacity_bytes, self.page_bytes) = (geometry.capacity_bytes(), geometry.page_bytes());
    }

    /// The answer with these files.
    pub fn into_generated(self, files: Vec<Source>) -> Generated {
        Generated {
            files,
            digest: self.digest,
            assumptions: self.assumptions,
            not_safe_on: self.not_safe_on,
            limits: self.limits,
            costs: self.costs,
        }
    }
}

fn geometries(parts: &[Part<'_>]) -> Result<Vec<Geometry>, Faults> {
    let (mut geometries, mut faults) = (Vec::new(), Vec::new());
    if parts.is_empty() {
        faults.push(Fault::of_file("generate", "no part was named", "name one or more"));
    }
    for (index, part) in parts.iter().enumerate() {
        let id = &part.card.id;
        if parts[..index].iter().any(|other| other.card.id == *id) {
            faults.push(Fault::of_file(id, "is named twice", "name each part once"));
        }
        match part.card.geometry(part.pins) {
            Ok(geometry) => geometries.push(geometry),
            Err(reason) => {
                faults.push(Fault::of_file(id, reason.to_string(), "correct the card, or drive this part by hand"));
            }
        }
    }
    Faults(faults).or_ok(geometries)
}

fn of_part(card: &Card, geometry: &Geometry) -> Configuration {
    let fram = card.kind == Kind::Fram;
    let note = |basis: &Basis| vec![basis.to_string()];
    let parameters = geometry.parameters();
    let mut capacity = vec![density(parameters.capacity_bytes)];
    capacity.extend(note(&card.capacity_bytes.basis));
    let notes = [
        capacity,
        if fram { vec!["no page".into()] } else { note(&card.page_bytes.basis) },
        note(&card.word_address_bytes.basis),
        device_notes(card),
        vec!["as above".into()],
        vec!["as above; 0 is next to R/W".into()],
        note(&card.read_wrap_bytes.basis),
        if fram { vec!["no write cycle".into()] } else { note(&card.write_cycle_max_us.basis) },
    ];
    Configuration { part: card.id.clone(), fields: fields(&parameters, notes) }
}

fn of_parts(parts: &[Part<'_>], geometry: &Geometry, limits: &[Limit]) -> Configuration {
    let same = || vec!["the same on all parts".to_owned()];
    let limit = |field: &str| match limits.iter().find(|limit| limit.field == field) {
        Some(limit) => vec![limit.note()],
        None => same(),
    };
    let mut capacity = vec![density(geometry.capacity_bytes())];
    capacity.extend(limit("capacity_bytes"));
    let notes = [
        capacity,
        limit("page_bytes"),
        same(),
        same(),
        same(),
        vec!["as above; 0 is next to R/W".into()],
        limit("sequential_read_bytes"),
        limit("write_cycle_us"),
    ];
    let part = parts.first().map_or_else(String::new, |part| part.card.id.clone());
    Configuration { part, fields: fields(&geometry.parameters(), notes) }
}

/// The driver's parameters in the order in which they are written.
fn fields(parameters: &Parameters, notes: [Vec<String>; 8]) -> Vec<Field> {
    let Parameters {
        capacity_bytes,
        page_bytes,
        word_address_bytes,
        device_address,
        block_select_bits,
        block_select_shift,
        sequential_read_bytes,
        write_cycle_us,
        ..
    } = *parameters;
    let number = |number: u32| (literal(number), number.to_string());
    let address = format!("{device_address:#04x}");
    let values = [
        ("capacity_bytes", number(capacity_bytes)),
        ("page_bytes", number(page_bytes)),
        ("word_address_bytes", number(word_address_bytes.into())),
        ("device_address", (address.clone(), address)),
        ("block_select_bits", number(block_select_bits.into())),
        ("block_select_shift", number(block_select_shift.into())),
        ("sequential_read_bytes", number(sequential_read_bytes)),
        ("write_cycle_us", number(write_cycle_us)),
    ];
    let field = |((name, (rust, c)), notes): ((&'static str, (String, String)), Vec<String>)| Field {
        name,
        rust,
        c,
        lines: notes.iter().flat_map(|note| super::words::comment(note)).collect(),
    };
    values.into_iter().zip(notes).map(field).collect()
}

/// Where the roles of the seven device-address bits come from; block-select bits ride among them.
fn device_notes(card: &Card) -> Vec<String> {
    let half = |bits: &str, roles: String, basis: &Basis| format!("bits {bits} are {roles}, {basis}");
    vec![
        half("6-3", role::row(&card.device_code.value), &card.device_code.basis),
        half("2-0", role::row(&card.address_bits.value), &card.address_bits.basis),
    ]
}

fn assumptions(card: &Card, parameters: &Parameters) -> Vec<Assumption> {
    let device = format!("{:#04x}", parameters.device_address);
    let bits = parameters.block_select_bits.to_string();
    let looked_at = [
        ("page_bytes", literal(parameters.page_bytes), &card.page_bytes.basis),
        ("word_address_bytes", parameters.word_address_bytes.to_string(), &card.word_address_bytes.basis),
        ("device_address", device, &card.device_code.basis),
        ("block_select_bits", bits, &card.address_bits.basis),
        ("sequential_read_bytes", literal(parameters.sequential_read_bytes), &card.read_wrap_bytes.basis),
        ("write_cycle_us", literal(parameters.write_cycle_us), &card.write_cycle_max_us.basis),
    ];
    let assumed = looked_at.into_iter().filter_map(|(field, value, basis)| match basis {
        Basis::Assumed { why } => Some(Assumption { part: card.id.clone(), field, value, why: why.to_string() }),
        _ => None,
    });
    assumed.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pagewise_part::card::Catalogue;
    use pagewise_templates::{TEMPLATES, names};

    /// Everything that a template of source code may name.
    fn given() -> (serde_json::Value, serde_json::Value) {
        let catalogue = Catalogue::embedded().unwrap();
        let card = catalogue.find("at24c32e").unwrap();
        let contents = Contents::of(&Request::new(vec![Part::new(card, [false; 3])])).unwrap();
        let mut values = serde_json::to_value(&contents).unwrap();
        let object = values.as_object_mut().unwrap();
        let of_manifests = ["package", "shared", "features", "dependencies", "embedded_hal"];
        for name in ["name", "file", "upper", "module", "body"].into_iter().chain(of_manifests) {
            object.insert(name.into(), "".into());
        }
        let mut inner = serde_json::to_value(&contents.configurations[0]).unwrap();
        let field = serde_json::to_value(&contents.configurations[0].fields[0]).unwrap();
        inner.as_object_mut().unwrap().extend(field.as_object().unwrap().clone());
        inner.as_object_mut().unwrap().insert("value".into(), "".into());
        let region = serde_json::to_value(Region::default()).unwrap();
        inner.as_object_mut().unwrap().extend(region.as_object().unwrap().clone());
        (values, inner)
    }

    #[test]
    fn templates_use_only_names_that_they_are_given() {
        let (values, inner) = given();
        let of_source = |name: &str| name.starts_with("rust_") || name.starts_with("c_");
        for (name, template) in TEMPLATES.iter().filter(|(name, _)| of_source(name)) {
            // What Tera itself gives inside a loop is not ours to give.
            for used in names(template).into_iter().filter(|used| !used.starts_with("loop.")) {
                let found = match used.split_once('.') {
                    Some((_, field)) => inner.get(field),
                    None => values.get(&used),
                };
                assert!(found.is_some(), "{name}: `{used}` is not given");
            }
        }
    }

    #[test]
    fn literals_follow_the_lints() {
        let shown = [0, 4096, 10_000, 1_048_576].map(literal);
        assert_eq!(shown, ["0", "4096", "10_000", "1_048_576"]);
    }
}
