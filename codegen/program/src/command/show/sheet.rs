//! The values of a card as a person reads them, each with its basis.

use std::sync::LazyLock;

use serde::Serialize;

use crate::output::{Align, Tone, paint, plain, table, wrapped};
use pagewise_base::form::word;
use pagewise_base::words::{grouped, listed, thousandths};
use pagewise_part::card::{Card, Kind, Limits, Region, Temperatures, assume, role};
use pagewise_part::fact::{Basis, Fact};

/// What stands behind a rate where the grades of a part leave a hole.
static HOLE: LazyLock<Basis> = LazyLock::new(|| assume::SCL_KHZ.fact().basis);

/// One line: what, how much, from where.
struct Line<'c> {
    label: &'static str,
    value: String,
    basis: &'c Basis,
}

fn line<'c, T>(label: &'static str, fact: &'c Fact<T>, show: impl FnOnce(&T) -> String) -> Line<'c> {
    Line { label, value: show(&fact.value), basis: &fact.basis }
}

/// The whole card.
pub(super) fn text(card: &Card) -> String {
    let kind = match card.kind {
        Kind::Eeprom => "EEPROM",
        Kind::Fram => "FRAM",
    };
    let title = format!("{}  {}, {kind}, {}", plain(&card.name), plain(&card.maker), card.density());
    let mut text = format!("{}\n", paint(Tone::Heading, title));
    text += &wrapped(&format!("card {}: {}", plain(&card.id), plain(&card.document)), "", "  ");
    text.push('\n');
    if let Some(notes) = &card.notes {
        text += &format!("{}\n", wrapped(&plain(notes), "", ""));
    }
    text.push('\n');
    text += &values(card);
    for part in &card.not_safe_on {
        let note = format!("{} {}: {}", paint(Tone::Bad, "not safe on"), plain(&part.id), plain(&part.why));
        text += &format!("{}\n", wrapped(&note, "", "  "));
    }
    text
}

fn values(card: &Card) -> String {
    let mut lines = addressing(card);
    lines.extend(writing(card));
    lines.extend(electrical(card));
    lines.extend(protection(card));
    let mut reasons: Vec<&str> = Vec::new();
    let mut rows = Vec::new();
    for line in &lines {
        rows.push(vec![line.label.to_owned(), paint(Tone::Strong, &line.value), basis(line.basis, &mut reasons)]);
    }
    let columns = [("value", Align::Left), ("", Align::Left), ("basis", Align::Left)];
    let mut text = table(&columns, rows).join("\n") + "\n";
    for (index, reason) in reasons.iter().enumerate() {
        let number = format!("[{}]", index + 1);
        let note = wrapped(&plain(reason), &format!("{number:>6} "), "       ");
        text += &format!("{}\n", paint(Tone::Faint, note));
    }
    text + &remarks(card)
}

/// Published and derived values share the document at the top; the reasons of the others are numbered below.
fn basis<'c>(basis: &'c Basis, reasons: &mut Vec<&'c str>) -> String {
    let mut number = |reason: &'c str| {
        let known = reasons.iter().position(|other| *other == reason);
        known.unwrap_or_else(|| {
            reasons.push(reason);
            reasons.len() - 1
        }) + 1
    };
    match basis {
        Basis::Published { .. } => "published".to_owned(),
        Basis::Derived { .. } => "derived".to_owned(),
        Basis::Observed { source } => format!("observed [{}]", number(source)),
        Basis::Measured { source } => format!("measured [{}]", number(source)),
        Basis::Assumed { why } => paint(Tone::Caution, format!("assumed [{}]", number(why))),
        Basis::Generic { from } => format!("generic [{}]", number(from)),
    }
}

fn addressing(card: &Card) -> Vec<Line<'_>> {
    let mut lines = vec![line("capacity", &card.capacity_bytes, |_| card.density())];
    if card.kind == Kind::Eeprom {
        lines.push(line("page", &card.page_bytes, |page| format!("{page} bytes")));
    }
    if let Some(wraps) = &card.page_wrap {
        lines
            .push(line("page write wraps", wraps, |wraps| if *wraps { "inside the page" } else { "never" }.to_owned()));
    }
    if let Some(contents) = &card.shipped_as {
        lines.push(line("as delivered", contents, word));
    }
    lines.push(line("word-address bytes", &card.word_address_bytes, u8::to_string));
    if !card.upper_address_bits.is_assumed() {
        lines.push(line("bits above the capacity", &card.upper_address_bits, word));
    }
    lines.push(line("device address, bits 6-3", &card.device_code, |roles| role::row(roles)));
    lines.push(line("device address, bits 2-0", &card.address_bits, |roles| role::row(roles)));
    lines.push(line("open address pin reads", &card.open_strap, word));
    lines.push(line("sequential read wraps", &card.read_wrap_bytes, |bytes| format!("every {bytes} bytes")));
    lines.push(line("block bits of a read", &card.read_block_bits, word));
    lines
}

fn writing(card: &Card) -> Vec<Line<'_>> {
    if card.kind == Kind::Fram {
        return vec![line("endurance", &card.endurance_cycles, |n| format!("{} cycles", grouped(*n)))];
    }
    let mut lines = vec![
        line("write cycle, longest", &card.write_cycle_max_us, |us| format!("{} ms", thousandths(*us))),
        line("write cycle, typical", &card.write_cycle_typ_us, |us| format!("{} ms", thousandths(*us))),
        line("write cycle per", &card.write_cycle_per, word),
        line("no ACK while writing to", &card.busy_answer, word),
        line("pointer after a write", &card.pointer_after_write, word),
        line("endurance", &card.endurance_cycles, |n| format!("{} cycles", grouped(*n))),
        line("wear counts per", &card.wear_unit, word),
    ];
    if let Some(points) = &card.endurance_at {
        for point in &points.value {
            let value = format!("{} cycles at {} C", grouped(point.cycles), point.celsius);
            lines.push(Line { label: "endurance at", value, basis: &points.basis });
        }
    }
    lines
}

fn electrical(card: &Card) -> Vec<Line<'_>> {
    let volts = |mv: &u32| format!("{} V", thousandths(*mv));
    let mut lines = vec![
        line("supply, reading, from", &card.read_min_mv, volts),
        line("supply, writing, from", &card.write_min_mv, volts),
        line("supply, up to", &card.max_mv, volts),
    ];
    for grade in &card.speed.value {
        let supply = format!("{}-{} V", thousandths(grade.min_mv), thousandths(grade.max_mv));
        let value = format!("{} kHz, {supply}{}", grade.scl_khz, temperatures(grade.at));
        lines.push(Line {
            label: "SCL rate up to",
            value,
            basis: if grade.assumed { &HOLE } else { &card.speed.basis },
        });
    }
    lines.push(line("operating, from", &card.temperature_min_c, |celsius| format!("{celsius} C")));
    lines.push(line("operating, up to", &card.temperature_max_c, |celsius| format!("{celsius} C")));
    lines.push(line("power good to access", &card.power_up_us, |us| format!("{} ms", thousandths(*us))));
    lines.push(line("retention", &card.retention_years, |years| format!("{years} years")));
    lines.extend(card.grades.value.iter().flat_map(|limits| graded(limits, &card.grades.basis)));
    if let Some(pf) = &card.input_capacitance_pf {
        lines.push(line("input capacitance", pf, |pf| format!("{pf} pF")));
    }
    lines
}

/// Limits of one range of supply and temperature.
fn graded<'c>(limits: &Limits, basis: &'c Basis) -> Vec<Line<'c>> {
    let volts = |mv: Option<u32>| mv.map(|mv| thousandths(mv).to_string());
    let supply = match (volts(limits.min_mv), volts(limits.max_mv)) {
        (Some(min), Some(max)) => format!(", {min}-{max} V"),
        (Some(min), None) => format!(", from {min} V"),
        (None, Some(max)) => format!(", up to {max} V"),
        (None, None) => String::new(),
    };
    let range = supply + &temperatures(limits.at);
    let line = |label, value: String| Line { label, value: value + &range, basis };
    let cycle = limits.write_cycle_us.map(|us| line("write cycle, longest", format!("{} ms", thousandths(us))));
    let endurance = limits.endurance_cycles.map(|cycles| line("endurance", format!("{} cycles", grouped(cycles))));
    let retention = limits.retention_years.map(|years| line("retention", format!("{years} years")));
    [cycle, endurance, retention].into_iter().flatten().collect()
}

fn temperatures(at: Temperatures) -> String {
    match (at.min_c, at.max_c) {
        (Some(min), Some(max)) => format!(", {min} to {max} C"),
        (Some(min), None) => format!(", from {min} C"),
        (None, Some(max)) => format!(", up to {max} C"),
        (None, None) => String::new(),
    }
}

fn protection(card: &Card) -> Vec<Line<'_>> {
    if !card.wp_pin {
        let none = |_: &_| "no WP pin".to_owned();
        return vec![line("write protect", &card.protect_range, none)];
    }
    vec![
        line("WP protects", &card.protect_range, word),
        line("WP active", &card.wp_active_high, |high| if *high { "high" } else { "low" }.to_owned()),
        line("open WP reads", &card.open_wp, word),
        line("WP looked at", &card.wp_sampled, word),
        line("protected write", &card.protected_answer, word),
        line("partly protected page", &card.partly_protected, word),
    ]
}

fn remarks(card: &Card) -> String {
    let mut remarks = Vec::new();
    if !card.members.is_empty() {
        remarks.push(format!("the card of {} too", card.members.join(", ")));
    }
    for (pin, high) in &card.required_straps {
        remarks.push(format!("a{pin} must be tied to {}", if *high { "vcc" } else { "gnd" }));
    }
    if card.min_scl_khz > 0 {
        remarks.push(format!("SCL not below {} kHz", card.min_scl_khz));
    }
    if card.bus_timeout_us > 0 {
        remarks.push(format!("bus time-out after {} ms", thousandths(card.bus_timeout_us)));
    }
    remarks.extend(packages(card));
    remarks.extend(card.regions.iter().map(region));
    remarks.iter().map(|remark| format!("{}\n", wrapped(&plain(remark), "also: ", "      "))).collect()
}

/// The list of packages, and what is special in some of them.
fn packages(card: &Card) -> Vec<String> {
    let current = card.packages.list.iter().filter(|package| package.current);
    let made = listed(current.map(|package| package.footprint.word()));
    let list = if card.packages.complete { "made in" } else { "made at least in" };
    let mut lines: Vec<String> = if made.is_empty() { Vec::new() } else { vec![format!("{list} {made}")] };
    for package in &card.packages.list {
        let usual = package.footprint.usual_pins();
        let mut said = Vec::new();
        match &package.pins {
            Some(pins) if usual.as_ref() != Some(pins) => {
                said.push(format!("pins {}", listed(pins.iter().map(|(pin, signal)| format!("{pin} {signal}")))));
            }
            Some(_) => {}
            None => said.push("pins not read".to_owned()),
        }
        let bits = package.address_bits.map(|bit| bit.map_or_else(|| "?".to_owned(), |role| role.to_string()));
        if bits.join(" ") != role::row(&card.address_bits.value) {
            said.push(format!("address bits {}", bits.join(" ")));
        }
        if card.wp_pin && package.wp_pin == Some(false) {
            said.push("no WP pin".to_owned());
        }
        said.extend(package.note.clone());
        if !package.current {
            said.push("not in the list read last".to_owned());
        }
        if !said.is_empty() {
            lines.push(format!("{}: {}", package.footprint.word(), said.join("; ")));
        }
    }
    lines
}

fn region(region: &Region) -> String {
    let place = region.device_bits.map(|bits| format!(" at device address {}", role::row(&bits))).unwrap_or_default();
    let note = region.note.as_ref().map(|note| format!(" ({note})")).unwrap_or_default();
    let (kind, access) = (word(&region.kind), word(&region.access));
    let length = if !region.address_read {
        ", its address not read".to_owned()
    } else if !region.word_address_read {
        format!(", {} bytes, their word address not read", region.length)
    } else if region.length > 0 {
        format!(", {} bytes from {:#x}", region.length, region.word_address)
    } else {
        String::new()
    };
    format!("{kind}{place}{length}, {access}{note}")
}

/// The word that cards use for a choice.
fn word<T: Serialize>(choice: &T) -> String {
    word::name(choice).to_owned()
}
