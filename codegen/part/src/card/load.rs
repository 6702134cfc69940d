//! Reads a card file: every fault at once, and nothing that contradicts itself gets through.

mod electrical;
mod endurance;
mod grades;
mod outside;
mod reach;

use std::collections::BTreeMap;
use std::sync::Arc;

use super::assume::{self, Row};
use super::file::{Behind, CardFile, Known, Level, SHAPE};
use super::role::Role;
use super::{BlockBitsOnRead, Card, Kind, RegionKind, Span, UpperBits, Wear};
use crate::fact::{Basis, Fact};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::form::Document;

/// Fields that `ordering_document` stands behind.
const ORDERING: [&str; 3] = ["packages", "temperature.min_c", "temperature.max_c"];

/// Marks values with their basis while a card is read.
struct Sheet {
    document: Arc<str>,
    /// Fields that are not simply published by `document`.
    others: BTreeMap<String, Basis>,
}

impl Sheet {
    fn of(file: &CardFile) -> Self {
        let document: Arc<str> = file.document.as_str().into();
        let derived = |field: &String| (field.clone(), Basis::Derived { document: document.clone() });
        let behind = |behind: &Behind| {
            let basis = known(behind.is, &behind.source);
            behind.fields.iter().map(move |field| (field.clone(), basis.clone())).collect::<Vec<_>>()
        };
        let ordering = file.ordering_document.iter().flat_map(|document| {
            ORDERING.map(|field| (field.to_owned(), Basis::Published { document: document.as_str().into() }))
        });
        let derived = file.derived.iter().map(derived);
        let others = ordering.chain(derived).chain(file.basis.iter().flat_map(behind)).collect();
        Self { document, others }
    }

    /// A value that the file states.
    fn stated<T>(&self, field: &str, value: T) -> Fact<T> {
        let published = || Basis::Published { document: self.document.clone() };
        Fact { value, basis: self.others.get(field).cloned().unwrap_or_else(published) }
    }

    /// A value that the file states, or the row's.
    fn fact<T: Clone>(&self, row: &Row<T>, stated: Option<T>) -> Fact<T> {
        self.fact_or(row, stated, row.value.clone())
    }

    /// A value that the file states, or what the row makes of other values.
    fn fact_or<R, T>(&self, row: &Row<R>, stated: Option<T>, assumed: T) -> Fact<T> {
        match stated {
            Some(value) => self.stated(row.field, value),
            None => row.with(assumed),
        }
    }

    fn derived<T>(&self, value: T) -> Fact<T> {
        Fact { value, basis: Basis::Derived { document: self.document.clone() } }
    }
}

fn known(known: Known, source: &str) -> Basis {
    let source = source.into();
    match known {
        Known::Published => Basis::Published { document: source },
        Known::Derived => Basis::Derived { document: source },
        Known::Observed => Basis::Observed { source },
        Known::Measured => Basis::Measured { source },
        Known::Assumed => Basis::Assumed { why: source },
    }
}

/// Reads one card from the text of `file`.
///
/// # Errors
/// Every fault of the file: syntax, unknown or missing fields, values out of range, and contradictions (a page that
/// is not a power of two, a capacity that word-address bytes and block-select bits do not reach or exceed, block-select
/// bits given twice or twice as an address pin, a speed grade outside the supply range).
pub fn card(file: &str, text: &str) -> Result<Card, Faults> {
    let document = Document::parse(file, text);
    let card = SHAPE.read(&document).map(|read| complete(&document, &read));
    let faults = document.finish();
    match card {
        Some(card) if faults.0.is_empty() => no_chip(file, &card).or_ok(card),
        Some(card) => faults.or_ok(card),
        None => Err(faults),
    }
}

/// Why the chip that the card describes cannot be, in its usual package or in one of its others.
fn no_chip(file: &str, card: &Card) -> Faults {
    let scattered = card.parameters([false; 3]).err().map(|reason| reason.to_string());
    let usual = card.chip_model().check().err().map(|reason| reason.to_string()).or(scattered);
    let others = card.packages.list.iter().filter_map(|package| {
        let reason = card.in_footprint(package.footprint).chip_model().check().err()?;
        Some(format!("in {}: {reason}", package.footprint.word()))
    });
    let mut reasons: Vec<String> = usual.into_iter().chain(others).collect();
    // What is wrong in the usual package is wrong in most others too.
    reasons.truncate(1);
    let fault = |reason: String| Fault::of_file(file, reason, "correct what the card says of addresses and regions");
    Faults(reasons.into_iter().map(fault).collect())
}

/// The card of a file, with a row of the assumption table for what it leaves open. Contradictions are noted in the
/// document.
pub(super) fn complete(form: &Document<'_>, file: &CardFile) -> Card {
    let sheet = Sheet::of(file);
    check_names(form, file);
    let capacity =
        power_of_two(form, "capacity_bits", file.capacity_bits, "write the bits of the array, such as 32768");
    let capacity = capacity.next_power_of_two() / 8;
    let device_code = sheet.fact(&assume::DEVICE_CODE, roles(form, "device_code", file.device_code.as_deref()));
    let bytes = match (file.word_address_bytes, reach::word_bytes(capacity, &device_code.value)) {
        (None, Some(bytes)) => sheet.derived(bytes),
        (stated, _) => {
            let usual = (assume::WORD_ADDRESS_BYTES.value)(capacity);
            sheet.fact_or(&assume::WORD_ADDRESS_BYTES, stated, usual)
        }
    };
    let regions = outside::regions(form, &file.region, capacity);
    let banked = regions.iter().any(|region| region.kind == RegionKind::BankSelect);
    let needed = reach::blocks_needed(capacity, bytes.value, &device_code.value, banked);
    let (address_bits, roles_read) = low_bits(&sheet, form, file.address_bits.as_deref(), needed);
    reach::check(form, capacity, bytes.value, &device_code.value, &address_bits.value, banked);
    let cycle = electrical::cycle(&sheet, form, file);
    let supply = electrical::supply(&sheet, form, &file.supply);
    let speed = electrical::speed(&sheet, form, file, &supply);
    let protect = &file.write_protect;
    let range = sheet.fact(&assume::PROTECT_RANGE, protect.range);
    let wrap = file.read_wrap_bytes.map(|wrap| {
        within_capacity(form, "read_wrap_bytes", wrap, capacity);
        power_of_two(form, "read_wrap_bytes", wrap, "write the aligned block in bytes")
    });
    let fram = file.kind == Kind::Fram;
    let assumed_wrap = if fram { capacity } else { (assume::READ_WRAP_BYTES.value)(capacity, bytes.value) };
    check_basis(form, file);
    let packages = outside::packages(&sheet, form, file, roles_read);
    let page_bytes = page(&sheet, form, file, capacity);
    let upper_address_bits = upper_bits(&sheet, form, file, capacity, bytes.value);
    Card {
        id: file.id.clone(),
        name: file.name.clone(),
        maker: file.maker.clone(),
        kind: file.kind,
        document: file.document.clone(),
        notes: file.notes.clone(),
        members: file.members.clone(),
        capacity_bytes: sheet.stated("capacity_bits", capacity),
        page_bytes,
        page_wrap: file.page_wrap.map(|wraps| sheet.stated("page_wrap", wraps)),
        shipped_as: file.shipped_as.map(|contents| sheet.stated("shipped_as", contents)),
        read_wrap_bytes: sheet.fact_or(&assume::READ_WRAP_BYTES, wrap, assumed_wrap),
        read_block_bits: if bytes.value == 0 {
            // The device address is the word address, so a read that ignored it could not choose a place at all.
            sheet.derived(BlockBitsOnRead::Latched)
        } else {
            sheet.fact(&assume::READ_BLOCK_BITS, file.read_block_bits)
        },
        word_address_bytes: bytes,
        upper_address_bits,
        device_code,
        address_bits,
        open_strap: sheet.fact(&assume::OPEN_STRAP, file.open_strap),
        write_cycle_max_us: cycle.longest_us,
        write_cycle_typ_us: cycle.typical_us,
        write_cycle_per: cycle.per,
        busy_answer: sheet.fact(&assume::BUSY_ANSWER, file.busy_answer),
        pointer_after_write: sheet.fact(&assume::POINTER_AFTER_WRITE, file.pointer_after_write),
        wear_unit: if fram {
            sheet.stated("wear_unit", file.wear_unit.unwrap_or(Wear::Byte))
        } else {
            sheet.fact(&assume::WEAR_UNIT, file.wear_unit)
        },
        endurance_cycles: sheet.fact(&assume::ENDURANCE_CYCLES, file.endurance_cycles),
        endurance_at: endurance::by_temperature(&sheet, form, file),
        retention_years: sheet.fact(&assume::RETENTION_YEARS, file.retention_years),
        grades: grades::limits(&sheet, form, file),
        input_capacitance_pf: file.input_capacitance_pf.map(|pf| sheet.stated("input_capacitance_pf", pf)),
        read_min_mv: supply.read_min,
        write_min_mv: supply.write_min,
        max_mv: supply.max,
        brown_out: supply.brown_out,
        temperature_min_c: sheet.fact(&assume::TEMPERATURE_MIN_C, file.temperature.min_c),
        temperature_max_c: sheet.fact(&assume::TEMPERATURE_MAX_C, file.temperature.max_c),
        speed,
        min_scl_khz: file.min_scl_khz.unwrap_or(0),
        bus_timeout_us: electrical::thousandths(file.bus_timeout_ms).unwrap_or(0),
        power_up_us: sheet.fact(&assume::POWER_UP_US, file.power_up_us),
        wp_pin: range.is_assumed() || range.value != Span::None,
        protect_range: range,
        fixed_range: sheet.fact(&assume::FIXED_RANGE, protect.fixed),
        wp_active_high: sheet.fact(&assume::WP_ACTIVE_HIGH, protect.active.map(|level| level == Level::High)),
        open_wp: sheet.fact(&assume::OPEN_WP, protect.open_pin),
        wp_sampled: sheet.fact(&assume::WP_SAMPLED, protect.sampled),
        protected_answer: sheet.fact(&assume::PROTECTED_ANSWER, protect.answer),
        partly_protected: sheet.fact(&assume::PARTLY_PROTECTED, protect.partial),
        required_straps: outside::required_straps(&file.required_straps),
        packages: Arc::new(packages),
        order_pieces: Arc::new(file.order_code.clone()),
        order_of: None,
        regions,
        not_safe_on: Vec::new(),
        unmeasured: None,
    }
}

/// Roles of the low address bits, and which of them were read. What was not stands as in the row, and makes a fact of
/// nobody's.
fn low_bits(
    sheet: &Sheet,
    form: &Document<'_>,
    text: Option<&str>,
    blocks: u8,
) -> (Fact<[Role; 3]>, [Option<Role>; 3]) {
    let assumed = (assume::ADDRESS_BITS.value)(blocks);
    let Some(text) = text else {
        return (assume::ADDRESS_BITS.with(assumed), assumed.map(Some));
    };
    let read = outside::roles_read(form, "address_bits", text);
    let value = [0, 1, 2].map(|place| read[place].unwrap_or(assumed[place]));
    let whole = read.iter().all(Option::is_some);
    (if whole { sheet.stated("address_bits", value) } else { assume::ADDRESS_BITS.with(value) }, read)
}

/// What becomes of word-address bits above the capacity; a part that has none has nothing to state.
fn upper_bits(sheet: &Sheet, form: &Document<'_>, file: &CardFile, capacity: u32, bytes: u8) -> Fact<UpperBits> {
    let stated = file.upper_address_bits;
    if stated.is_some() && capacity.trailing_zeros() >= 8 * u32::from(bytes) {
        let reason = "the array needs every bit of its word-address bytes";
        form.fault("upper_address_bits", reason, "remove it, or correct the capacity or word_address_bytes");
    }
    sheet.fact(&assume::UPPER_ADDRESS_BITS, stated)
}

fn check_names(form: &Document<'_>, file: &CardFile) {
    let id = &file.id;
    if !id.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-') {
        form.fault("id", format!("`{id}` is not an identifier"), "use lower-case letters, digits and hyphens");
    }
    for member in &file.members {
        if member.trim().is_empty() || *member == file.name {
            form.fault("members", format!("`{member}` is no other order code"), "name the further codes, each once");
        }
    }
}

fn roles<const N: usize>(form: &Document<'_>, path: &str, text: Option<&str>) -> Option<[Role; N]> {
    match Role::parse_row::<N>(text?) {
        Ok(roles) => Some(roles),
        Err(reason) => {
            form.fault(path, reason, "use 0, 1, A0 to A2, /A0 to /A2, x, B0 to B6, separated by spaces");
            None
        }
    }
}

fn power_of_two(form: &Document<'_>, path: &str, value: u32, remedy: &str) -> u32 {
    if !value.is_power_of_two() {
        form.fault(path, format!("{value} is not a power of two"), remedy);
    }
    value
}

fn within_capacity(form: &Document<'_>, path: &str, value: u32, capacity: u32) {
    if value > capacity {
        form.fault(path, format!("{value} is out of range"), format!("use a value from 1 to {capacity}"));
    }
}

fn page(sheet: &Sheet, form: &Document<'_>, file: &CardFile, capacity: u32) -> Fact<u32> {
    match (file.kind, file.page_bytes) {
        (Kind::Fram, page) => {
            if page.is_some() {
                form.fault("page_bytes", "a FRAM has no page", "remove it");
            }
            if file.page_wrap == Some(true) {
                form.fault("page_wrap", "a FRAM has no page that a write could wrap in", "remove it");
            }
            sheet.stated("page_bytes", capacity)
        }
        (Kind::Eeprom, page) => {
            if file.page_wrap == Some(false) {
                let remedy = "check the sheet: what runs on is not a page; leave the field out where it was not read";
                form.fault("page_wrap", "a page write that runs past its page is not known to run on", remedy);
            }
            let stated = page.map(|page| {
                within_capacity(form, "page_bytes", page, capacity);
                power_of_two(form, "page_bytes", page, "write the page in bytes")
            });
            sheet.fact_or(&assume::PAGE_BYTES, stated, (assume::PAGE_BYTES.value)(capacity))
        }
    }
}

/// Every field that is said to come from somewhere must be one that a card may have.
fn check_basis(form: &Document<'_>, file: &CardFile) {
    let known = SHAPE.fields();
    let named = file.derived.iter().map(|field| ("derived".to_owned(), field));
    let behind = file.basis.iter().enumerate();
    let behind = behind
        .flat_map(|(index, behind)| behind.fields.iter().map(move |field| (format!("basis[{index}].fields"), field)));
    for (path, field) in named.chain(behind) {
        if !known.iter().any(|known| known.path == without_indices(field)) {
            form.fault(&path, format!("`{field}` is not a field that can be derived"), "correct the field path");
        }
    }
}

/// `speed[1].max_v` as `speed[].max_v`, `speed[1]` as `speed`.
fn without_indices(field: &str) -> String {
    let mut out = String::new();
    for (index, piece) in field.split('[').enumerate() {
        match piece.split_once(']') {
            Some((_, "")) if index > 0 => {}
            Some((_, rest)) if index > 0 => out += &format!("[]{rest}"),
            _ => out += piece,
        }
    }
    out
}
