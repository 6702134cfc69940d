//! One configuration for several parts: which part sets which value, what that costs, and why there may be none.

use std::fmt;

use pagewise_driver::Geometry;
use schemars::JsonSchema;
use serde::Serialize;

use super::request::{Part, Record};
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::{Kind, Wear, density};

/// A value of the common configuration and the parts that set it.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Limit {
    /// The configuration's field.
    pub field: &'static str,
    /// The common value.
    pub value: u32,
    /// Cards of the parts that have it.
    pub set_by: Vec<String>,
    /// Where the first of them has it from.
    pub basis: String,
    /// The other parts, each with its own value.
    pub others: Vec<Other>,
}

/// A part that would allow more.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Other {
    /// Its card.
    pub part: String,
    /// Its own value.
    pub value: u32,
}

/// What a common value costs on one part.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Cost {
    /// Its card.
    pub part: String,
    /// The configuration's field.
    pub field: &'static str,
    /// The part's own value.
    pub own: u32,
    /// The common value.
    pub common: u32,
    /// What happens, with the numbers.
    pub what: String,
}

impl Limit {
    /// Who sets it, without the field's name.
    #[must_use]
    pub fn note(&self) -> String {
        if self.others.is_empty() {
            return format!("the same on all parts; {}: {}", first(&self.set_by), self.basis);
        }
        let others: Vec<String> = self.others.iter().map(|other| format!("{} {}", other.part, other.value)).collect();
        format!("set by {} ({}); others have: {}", self.set_by.join(", "), self.basis, others.join(", "))
    }
}

fn first(names: &[String]) -> &str {
    names.first().map_or("", String::as_str)
}

impl fmt::Display for Limit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} = {}: {}", self.field, self.value, self.note())
    }
}

impl fmt::Display for Cost {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.part, self.what)
    }
}

/// The common configuration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Common {
    pub geometry: Geometry,
    pub limits: Vec<Limit>,
    pub costs: Vec<Cost>,
}

/// The configuration that is safe on all parts.
///
/// # Errors
/// A fault for each part whose address bytes, device address or block-select bits are not those of the first.
pub(super) fn common(parts: &[Part<'_>], geometries: &[Geometry]) -> Result<Common, Faults> {
    let mut faults = Vec::new();
    if let ([part, more @ ..], [geometry, geometries @ ..]) = (parts, geometries) {
        for (other, found) in more.iter().zip(geometries) {
            faults.extend(differences(&part.card.id, geometry, &other.card.id, found));
        }
    }
    if !faults.is_empty() {
        return Err(Faults(faults));
    }
    let geometry = Geometry::common(geometries)
        .map_err(|error| Fault::of_file("the parts", format!("have no common configuration: {error}"), REMEDY))?;
    let limits = limits(parts, geometries, &geometry);
    let costs = parts.iter().zip(geometries).flat_map(|(part, own)| costs(part, own, &geometry)).collect();
    Ok(Common { geometry, limits, costs })
}

const REMEDY: &str = "no one setting serves both; choose at run time by a record that each part holds: add \
    `--choose OFFSET:LENGTH` for the table of candidates";

/// What keeps two parts from being served by one setting.
fn differences(first: &str, a: &Geometry, id: &str, b: &Geometry) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut differ = |what: String| faults.push(Fault::of_file(id, what, REMEDY));
    if a.word_address_bytes() != b.word_address_bytes() {
        let (n, m) = (b.word_address_bytes(), a.word_address_bytes());
        let plural = if n == 1 { "" } else { "s" };
        differ(format!(
            "takes {n} word-address byte{plural} where {first} takes {m}: the same bytes mean other things"
        ));
    }
    if a.device_address() != b.device_address() {
        let (n, m) = (b.device_address(), a.device_address());
        differ(format!("has the device address {n:#04x} where {first} has {m:#04x}"));
    }
    let select = |part: &Geometry| (part.block_select_bits(), part.block_select_shift());
    if a.block_select_bits() != b.block_select_bits() || a.block_select_bits() > 0 && select(a) != select(b) {
        let said = |part: &Geometry| match select(part) {
            (0, _) => "none".to_owned(),
            (bits, shift) => format!("{bits} at shift {shift}"),
        };
        differ(format!("has other block-select bits in the device address: {}, {first} has {}", said(b), said(a)));
    }
    faults
}

fn limits(parts: &[Part<'_>], geometries: &[Geometry], common: &Geometry) -> Vec<Limit> {
    type Get = fn(&Geometry) -> u32;
    let fields: [(&'static str, Get); 4] = [
        ("capacity_bytes", Geometry::capacity_bytes),
        ("page_bytes", Geometry::page_bytes),
        ("sequential_read_bytes", Geometry::sequential_read_bytes),
        ("write_cycle_us", Geometry::write_cycle_us),
    ];
    fields.map(|(field, get)| limit(parts, geometries, field, get(common), get)).into()
}

fn limit(
    parts: &[Part<'_>],
    geometries: &[Geometry],
    field: &'static str,
    value: u32,
    get: fn(&Geometry) -> u32,
) -> Limit {
    let mut limit = Limit { field, value, set_by: Vec::new(), basis: String::new(), others: Vec::new() };
    for (part, geometry) in parts.iter().zip(geometries) {
        let (id, own) = (part.card.id.clone(), get(geometry));
        if own != value {
            limit.others.push(Other { part: id, value: own });
            continue;
        }
        if limit.set_by.is_empty() {
            let card = part.card;
            limit.basis = match field {
                "capacity_bytes" => card.capacity_bytes.basis.to_string(),
                "page_bytes" if card.kind == Kind::Fram => "no page".to_owned(),
                "page_bytes" => card.page_bytes.basis.to_string(),
                "sequential_read_bytes" => card.read_wrap_bytes.basis.to_string(),
                _ => card.write_cycle_max_us.basis.to_string(),
            };
        }
        limit.set_by.push(id);
    }
    limit
}

fn costs(part: &Part<'_>, own: &Geometry, common: &Geometry) -> Vec<Cost> {
    let mut costs = Vec::new();
    let id = &part.card.id;
    let mut cost = |field, own: u32, common: u32, what: String| {
        costs.push(Cost { part: id.clone(), field, own, common, what });
    };
    let (used, whole) = (common.capacity_bytes(), own.capacity_bytes());
    if used < whole {
        let unused = whole - used;
        cost("capacity_bytes", whole, used, format!("{unused} of {whole} bytes stay unused ({})", density(whole)));
    }
    let (page, own_page) = (common.page_bytes(), own.page_bytes());
    let (cuts, own_cuts) = (used / page, used.div_ceil(own_page));
    if page < own_page && part.card.kind == Kind::Fram {
        let what =
            format!("no page, yet writes are cut at {page} bytes: {cuts} accesses instead of {own_cuts} for all");
        cost("page_bytes", own_page, page, what);
    } else if page < own_page {
        let wear = match part.card.wear_unit.value {
            Wear::Page => format!(", and whole pages wear {} times as fast", own_page / page),
            Wear::Byte | Wear::Group4 => String::new(),
        };
        let what = format!(
            "page {own_page} bytes, cut at {page}: {cuts} page writes instead of {own_cuts} for all {used} bytes{wear}"
        );
        cost("page_bytes", own_page, page, what);
    }
    let (read, own_read) = (common.sequential_read_bytes(), own.sequential_read_bytes());
    if read < own_read && read < used {
        let (reads, own_reads) = (used / read, used.div_ceil(own_read));
        let what =
            format!("reads are cut at {read} bytes: {reads} accesses instead of {own_reads} for all {used} bytes");
        cost("sequential_read_bytes", own_read, read, what);
    }
    let (cycle, own_cycle) = (common.write_cycle_us(), own.write_cycle_us());
    if cycle > own_cycle {
        let what = format!(
            "a part that does not answer is waited for {cycle} us instead of {own_cycle} us; polling ends as soon as it \
             answers, a fixed wait always takes the longer time"
        );
        cost("write_cycle_us", own_cycle, cycle, what);
    }
    costs
}

/// Whether candidates can be told apart by a record.
///
/// # Errors
/// A fault for each part that does not hold it.
pub(super) fn check_record(parts: &[Part<'_>], geometries: &[Geometry], record: Record) -> Result<(), Faults> {
    let mut faults = Vec::new();
    let Record { offset, bytes } = record;
    if bytes == 0 {
        faults.push(Fault::of_file("--choose", "a record of no bytes tells nothing apart", "give its length in bytes"));
    }
    for (part, geometry) in parts.iter().zip(geometries) {
        if !geometry.contains(offset, bytes as usize) {
            let size = density(geometry.capacity_bytes());
            let reason = format!("a record of {bytes} bytes at {offset:#06x} does not lie inside {size}");
            faults.push(Fault::of_file(&part.card.id, reason, "place it inside the smallest part"));
        }
    }
    Faults(faults).or_ok(())
}
