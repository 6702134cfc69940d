//! Reads a card file: every fault at once, and nothing that contradicts itself gets through.

mod electrical;
mod endurance;
mod outside;
mod words;

use electrical::{read_cycle, read_speed, read_supply};
use endurance::read_endurance_at;
use outside::{read_packages, read_regions, read_required_straps};
use words::{ACTIVE, ANSWER, BLOCK_BITS, BUSY, KINDS, OPEN, PARTIAL, POINTER, SAMPLED, SPANS, WEAR};

use crate::card::assume;
use crate::card::role::{self, Role};
use crate::card::{BlockBitsOnRead, Card, Kind, RegionKind, Span, Wear};
use crate::fact::{Basis, Fact};
use pagewise_base::fault::Faults;
use pagewise_base::form::{Document, Form};

/// Marks values with their basis while a card is read.
struct Sheet {
    document: String,
    derived: Vec<String>,
}

impl Sheet {
    fn stated<T>(&self, field: &str, value: T) -> Fact<T> {
        let document = self.document.clone();
        let derived = self.derived.iter().any(|name| name == field);
        let basis = if derived { Basis::Derived { document } } else { Basis::Published { document } };
        Fact { value, basis }
    }

    fn or_assume<T>(&self, field: &str, value: Option<T>, assumed: T) -> Fact<T> {
        match value {
            Some(value) => self.stated(field, value),
            None => assume::fact(field, assumed),
        }
    }

    fn choose<T: Copy>(&self, form: Option<&Form<'_, '_>>, key: &str, field: &str, words: &[(&str, T)]) -> Fact<T> {
        let stated = form.and_then(|form| form.choice(key, words));
        let word = assume::row(field).map_or("", |row| row.value);
        let assumed = words.iter().find(|(known, _)| *known == word).unwrap_or(&words[0]).1;
        self.or_assume(field, stated, assumed)
    }
}

/// Reads one card from the text of `file`.
///
/// # Errors
/// Every fault of the file: syntax, unknown or missing fields, values out of range, and contradictions (a page that
/// is no power of two, a capacity that word-address bytes and block-select bits do not reach or exceed, block-select
/// bits given twice or twice as an address pin, a speed grade outside the supply range).
pub fn card(file: &str, text: &str) -> Result<Card, Faults> {
    let document = Document::parse(file, text);
    if document.is_faulty() {
        return Err(document.finish());
    }
    let card = read(&document.root());
    let faults = document.finish();
    match card {
        Some(card) => faults.or_ok(card),
        None => Err(faults),
    }
}

fn read(form: &Form<'_, '_>) -> Option<Card> {
    let sheet = Sheet { document: form.need_text("document").unwrap_or_default(), derived: form.texts("derived") };
    let id = form.need_text("id");
    if let Some(id) = &id
        && !id.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
    {
        form.fault("id", format!("`{id}` is no identifier"), "use lower-case letters, digits and hyphens");
    }
    let (name, maker) = (form.need_text("name"), form.need_text("maker"));
    form.need("kind");
    let kind = form.choice("kind", &KINDS).unwrap_or(Kind::Eeprom);
    let notes = form.text("notes");
    form.need("capacity_bits");
    let bits = form.integer::<u32>("capacity_bits", 128..=134_217_728).unwrap_or(1024);
    if !bits.is_power_of_two() {
        form.fault("capacity_bits", format!("{bits} is no power of two"), "write the bits of the array, such as 32768");
    }
    let capacity = bits.next_power_of_two() / 8;
    let page = read_page(form, kind, capacity);
    let bytes = form.integer::<u8>("word_address_bytes", 0..=3);
    let bytes = sheet.or_assume("word_address_bytes", bytes, assume::word_address_bytes(capacity));
    let device_code = row::<4>(form, "device_code");
    let device_code = sheet.or_assume("device_code", device_code, fixed_1010());
    let regions = read_regions(form, capacity);
    let banked = regions.iter().any(|region| region.kind == RegionKind::BankSelect);
    let address_bits = row::<3>(form, "address_bits");
    let assumed_bits = assumed_address_bits(capacity, bytes.value, &device_code.value, banked);
    let address_bits = sheet.or_assume("address_bits", address_bits, assumed_bits);
    check_reach(form, capacity, bytes.value, &device_code.value, &address_bits.value, banked);

    let wrap = form.integer::<u32>("read_wrap_bytes", 1..=capacity);
    if let Some(wrap) = wrap
        && !wrap.is_power_of_two()
    {
        form.fault("read_wrap_bytes", format!("{wrap} is no power of two"), "write the aligned block in bytes");
    }
    let assumed_wrap = if kind == Kind::Fram { capacity } else { assume::read_wrap_bytes(capacity, bytes.value) };
    let cycle = form.table("write_cycle");
    let (max_us, typ_us, per) = read_cycle(&sheet, cycle.as_ref(), kind);
    let supply = read_supply(&sheet, form);
    let speed = read_speed(&sheet, form, &supply);
    let protect = form.table("write_protect");
    let protect_form = protect.as_ref();
    let range = sheet.choose(protect_form, "range", "write_protect.range", &SPANS);
    let fixed = protect_form.and_then(|form| form.choice("fixed", &SPANS)).unwrap_or(Span::None);
    let fixed = sheet.stated("write_protect.fixed", fixed);
    let endurance = form.integer::<i64>("endurance_cycles", 1..=1_000_000_000_000_000).map(i64::unsigned_abs);
    let endurance_at = read_endurance_at(&sheet, form, endurance);
    let _ = form.flag("page_wrap");
    let _ = form.choice("shipped_as", &[("erased", ())]);
    let wear = match kind {
        Kind::Eeprom => sheet.choose(Some(form), "wear_unit", "wear_unit", &WEAR),
        Kind::Fram => sheet.stated("wear_unit", form.choice("wear_unit", &WEAR).unwrap_or(Wear::Byte)),
    };

    let mut read_block_bits = sheet.choose(Some(form), "read_block_bits", "read_block_bits", &BLOCK_BITS);
    if bytes.value == 0 {
        // The device address is the word address, so a read that ignored it could not choose a place at all.
        let basis = Basis::Derived { document: sheet.document.clone() };
        read_block_bits = Fact { value: BlockBitsOnRead::Latched, basis };
    }

    let card = Card {
        id: id?,
        name: name?,
        maker: maker?,
        kind,
        document: sheet.document.clone(),
        notes,
        capacity_bytes: sheet.stated("capacity_bits", capacity),
        page_bytes: sheet.stated("page_bytes", page),
        word_address_bytes: bytes,
        device_code,
        address_bits,
        open_strap: sheet.choose(Some(form), "open_strap", "open_strap", &OPEN),
        write_cycle_max_us: max_us,
        write_cycle_typ_us: typ_us,
        write_cycle_per: per,
        busy_answer: sheet.choose(Some(form), "busy_answer", "busy_answer", &BUSY),
        pointer_after_write: sheet.choose(Some(form), "pointer_after_write", "pointer_after_write", &POINTER),
        read_wrap_bytes: sheet.or_assume("read_wrap_bytes", wrap, assumed_wrap),
        read_block_bits,
        wear_unit: wear,
        endurance_cycles: sheet.or_assume("endurance_cycles", endurance, assume::number("endurance_cycles") as u64),
        endurance_at,
        retention_years: form.integer::<u32>("retention_years", 1..=1000).map(|y| sheet.stated("retention_years", y)),
        input_capacitance_pf: form
            .integer::<u32>("input_capacitance_pf", 1..=100)
            .map(|pf| sheet.stated("input_capacitance_pf", pf)),
        read_min_mv: supply.read_min,
        write_min_mv: supply.write_min,
        max_mv: supply.max,
        speed,
        min_scl_khz: form.integer::<u32>("min_scl_khz", 1..=100).unwrap_or(0),
        bus_timeout_us: form.thousandths("bus_timeout_ms", 1.0..=1000.0).unwrap_or(0),
        power_up_us: sheet.or_assume(
            "power_up_us",
            form.integer::<u32>("power_up_us", 0..=1_000_000),
            assume::number("power_up_us") as u32,
        ),
        wp_pin: range.is_assumed() || range.value != Span::None,
        protect_range: range,
        fixed_range: fixed,
        wp_active_high: sheet.choose(protect_form, "active", "write_protect.active", &ACTIVE),
        open_wp: sheet.choose(protect_form, "open_pin", "write_protect.open_pin", &OPEN),
        wp_sampled: sheet.choose(protect_form, "sampled", "write_protect.sampled", &SAMPLED),
        protected_answer: sheet.choose(protect_form, "answer", "write_protect.answer", &ANSWER),
        partly_protected: sheet.choose(protect_form, "partial", "write_protect.partial", &PARTIAL),
        required_straps: read_required_straps(form),
        packages: read_packages(form),
        regions,
        not_safe_on: Vec::new(),
    };
    let _ = form.texts("members");
    if let Some(protect) = protect {
        protect.finish();
    }
    if let Some(cycle) = cycle {
        cycle.finish();
    }
    check_derived(form, &sheet);
    form.finish();
    Some(card)
}

fn fixed_1010() -> [Role; 4] {
    [Role::Fixed(true), Role::Fixed(false), Role::Fixed(true), Role::Fixed(false)]
}

fn row<const N: usize>(form: &Form<'_, '_>, key: &str) -> Option<[Role; N]> {
    let text = form.text(key)?;
    match Role::parse_row::<N>(&text) {
        Ok(roles) => Some(roles),
        Err(reason) => {
            form.fault(key, reason, "use 0, 1, A0 to A2, /A0 to /A2, x, B0 to B6, separated by spaces");
            None
        }
    }
}

fn read_page(form: &Form<'_, '_>, kind: Kind, capacity: u32) -> u32 {
    match kind {
        Kind::Fram => {
            if form.has("page_bytes") {
                let _ = form.integer::<u32>("page_bytes", 1..=capacity);
                form.fault("page_bytes", "a FRAM has no page", "remove it");
            }
            capacity
        }
        Kind::Eeprom => {
            form.need("page_bytes");
            let page = form.integer::<u32>("page_bytes", 1..=capacity).unwrap_or(1);
            if !page.is_power_of_two() {
                form.fault("page_bytes", format!("{page} is no power of two"), "write the page in bytes");
            }
            page
        }
    }
}

/// Pins compared, except for the block-select bits that must ride in the lowest places.
fn assumed_address_bits(capacity: u32, bytes: u8, code: &[Role; 4], banked: bool) -> [Role; 3] {
    let in_code = code.iter().filter(|role| matches!(role, Role::Block(_))).count() as u32;
    let needed = capacity.trailing_zeros().saturating_sub(8 * u32::from(bytes) + in_code + u32::from(banked));
    let role = |place: u8| if u32::from(place) < needed { Role::Block(place) } else { Role::Pin(place) };
    [role(2), role(1), role(0)]
}

fn check_reach(form: &Form<'_, '_>, capacity: u32, bytes: u8, code: &[Role; 4], low: &[Role; 3], banked: bool) {
    let all: Vec<Role> = code.iter().chain(low).copied().collect();
    let mut blocks: Vec<u8> =
        all.iter().filter_map(|role| if let Role::Block(bit) = role { Some(*bit) } else { None }).collect();
    blocks.sort_unstable();
    for (bit, place) in blocks.iter().enumerate() {
        if usize::from(*place) != bit {
            let shown = role::row(&all);
            form.fault(
                "address_bits",
                format!("block-select bits of `{shown}` collide or leave a gap: they must be B0 upwards, each once"),
                "give every block-select bit its own place, and address pins another",
            );
            return;
        }
    }
    for pin in 0..3u8 {
        if all.iter().filter(|role| role.pin() == Some(pin)).count() > 1 {
            form.fault("address_bits", format!("pin A{pin} is compared twice"), "compare each pin once");
        }
    }
    let address_bits = 8 * u32::from(bytes) + blocks.len() as u32 + u32::from(banked);
    let reached = 1u64 << address_bits.min(40);
    let useless_blocks = !blocks.is_empty() && u64::from(capacity) < reached;
    if u64::from(capacity) > reached || useless_blocks {
        let verb = if useless_blocks { "exceed" } else { "do not reach" };
        form.fault(
            "capacity_bits",
            format!(
                "{capacity} bytes: {bytes} word-address bytes and {} block-select bits {verb} the capacity \
                 (they address {reached} bytes)",
                blocks.len()
            ),
            "correct the capacity, word_address_bytes or the block-select bits",
        );
    }
}

fn check_derived(form: &Form<'_, '_>, sheet: &Sheet) {
    const FIELDS: [&str; 24] = [
        "capacity_bits",
        "page_bytes",
        "word_address_bytes",
        "device_code",
        "address_bits",
        "open_strap",
        "busy_answer",
        "pointer_after_write",
        "read_wrap_bytes",
        "read_block_bits",
        "wear_unit",
        "endurance_cycles",
        "retention_years",
        "write_cycle.max_ms",
        "write_cycle.typ_ms",
        "write_cycle.per",
        "supply.min_v",
        "supply.max_v",
        "supply.write_min_v",
        "write_protect.range",
        "write_protect.fixed",
        "write_protect.open_pin",
        "write_protect.answer",
        "speed",
    ];
    for field in &sheet.derived {
        let whole_table =
            ["speed[", "package[", "region[", "required_straps"].iter().any(|table| field.starts_with(table));
        if !whole_table && !FIELDS.contains(&field.as_str()) {
            form.fault("derived", format!("`{field}` is no field that can be derived"), "correct the field path");
        }
    }
}
