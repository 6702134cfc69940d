//! Axes that the entries give in words: device address, write protect, busy answer, pointer, wraps, regions, packages.

use std::collections::BTreeSet;

use toml::{Table, Value};

use super::regions::region_fault;
use super::{Pair, number, tables, text};

/// Card field, its value, entry field, and words of which one must stand there.
type Rule = (&'static str, &'static str, &'static str, &'static [&'static str]);

const RULES: [Rule; 25] = [
    (
        "busy_answer",
        "any-access",
        "ack_polling",
        &[
            "no ACK",
            "no acknowledge",
            "no response",
            "inputs disabled",
            "0 answered only when the cycle is over",
            "inputs SCL and SDA are not received",
        ],
    ),
    ("upper_address_bits", "ignored", "block_select_where", &["top bit of the word-address byte is don't-care"]),
    ("upper_address_bits", "zero", "block_select_where", &["top 3 bits of the first word-address byte must be 0"]),
    ("upper_address_bits", "security-command", "special_regions", &["taken as the security/endurance command"]),
    ("busy_answer", "writes-only", "ack_polling", &["R/W=0"]),
    ("busy_answer", "same-control-byte", "ack_polling", &["equals the control byte that started the write"]),
    ("pointer_after_write", "last-plus-one", "current_address_after_write", &["plus one", "n+1 after an access to n"]),
    ("pointer_after_write", "wrapped-in-page", "current_address_after_write", &["wraps inside the page"]),
    ("read_block_bits", "ignored", "read_device_byte_block_bits", &["ignored on a current-address read"]),
    ("read_block_bits", "latched", "read_device_byte_block_bits", &["LATCHED"]),
    ("wear_unit", "group-4", "page_refresh_or_ecc", &["groups of four bytes", "per four-byte word"]),
    (
        "open_strap",
        "low",
        "chip_enable_pins",
        &["pull-down", "pulled down to ground", "reads 0", "read 0", "reads as 0", "read as 0"],
    ),
    ("write_protect.range", "all", "wp_range", &["all"]),
    ("write_protect.range", "upper-half", "wp_range", &["upper half"]),
    ("write_protect.range", "upper-quarter", "wp_range", &["upper quarter"]),
    ("write_protect.fixed", "upper-half", "wp_range", &["upper half fixed"]),
    ("write_protect.fixed", "upper-eighth", "wp_range", &["upper 1/8 fixed"]),
    ("write_protect.active", "high", "wp_active_level", &["high"]),
    ("write_protect.open_pin", "low", "write_protect", &["floating nothing", "floating: none", "floating = writable"]),
    ("write_protect.open_pin", "random", "write_protect", &["no internal pull"]),
    ("write_protect.sampled", "stop", "write_protect", &["sampled at the STOP"]),
    ("write_protect.sampled", "data-phase", "write_protect", &["from there to STOP a high level cancels"]),
    ("write_protect.answer", "ack-ready", "wp_ack_behaviour", &["ACKed, no cycle runs"]),
    ("write_protect.answer", "ack-busy", "wp_ack_behaviour", &["write cycle time must still be waited out"]),
    ("write_protect.answer", "nack-data", "wp_ack_behaviour", &["NOT ACKed"]),
];

/// Every worded value of the card that its entry does not say.
pub fn faults(pair: &Pair) -> Vec<String> {
    let mut faults = Vec::new();
    for field in RULES.iter().map(|rule| rule.0).collect::<BTreeSet<_>>() {
        let Some(stated) = pair.stated_text(field) else { continue };
        let says = |rule: &&Rule| {
            let published = pair.published_text(rule.2);
            rule.0 == field && rule.1 == stated && rule.3.iter().any(|words| published.contains(words))
        };
        if !RULES.iter().any(|rule| says(&rule)) && !said_elsewhere(pair, field, stated) {
            faults.push(format!("{field} = {stated} is not published"));
        }
    }
    faults.extend(others(pair));
    faults.extend(device_address_faults(pair));
    faults.extend(packages_faults(pair));
    faults.extend(tables(&pair.card, "order_code").iter().filter_map(|piece| order_fault(pair, piece)));
    faults.extend(tables(&pair.card, "package").iter().enumerate().filter_map(|(at, it)| package_fault(pair, at, it)));
    faults.extend(tables(&pair.card, "region").iter().filter_map(|region| region_fault(pair, region)));
    faults
}

/// No WP pin, a pin without effect, and what the entry puts in its notes.
fn said_elsewhere(pair: &Pair, field: &str, stated: &str) -> bool {
    let (wp, notes) = (pair.published_text("write_protect"), pair.published_text("notes"));
    let name = text(&pair.card, "name");
    let digits: String = name.chars().filter(char::is_ascii_digit).collect();
    let member = digits.get(digits.len() - 2..).unwrap_or_default().to_owned();
    match (field, stated) {
        ("write_protect.range", "none") => {
            let of_member = ["none on the", "none on", "no effect on"].map(|words| format!("{words} {member}"));
            pair.published_text("wp_active_level") == "none"
                || pair.published_text("wp_range") == "none"
                || of_member.iter().any(|words| wp.contains(words))
                || name.ends_with("-Fxx") && wp.contains("-Fxx has no WP pin")
                || pair.published_text("small_package_note").starts_with("WP pin exists only in")
        }
        ("write_protect.range", "all") => pair.is_sibling() && notes.contains("whole-array protection"),
        ("wear_unit", "page") => {
            notes.contains("endurance counted per page")
                || pair.published_text("page_refresh_or_ecc").contains("endurance is per page")
        }
        _ => false,
    }
}

/// Flags and numbers that only words give.
fn others(pair: &Pair) -> Vec<String> {
    let mut faults = Vec::new();
    let mut check = |field: &str, holds: bool| {
        if pair.card.contains_key(field) && !holds {
            faults.push(format!("{field} is not published"));
        }
    };
    let rollover = pair.published_text("page_rollover");
    let wraps = ["yes", "wrap", "stay", "kept", "rolls", "roll to the first address of the same page"]
        .iter()
        .any(|words| rollover.contains(words));
    let wraps = wraps && !rollover.contains("unread");
    let runs_on = rollover.starts_with("none");
    let stated = pair.stated("page_wrap").and_then(Value::as_bool);
    check("page_wrap", if stated == Some(true) { wraps && !runs_on } else { runs_on });
    let erased = pair.published_text("shipped_as") == "FFh" || pair.published_text("notes").contains("all bytes FFh");
    check("shipped_as", erased);
    let straps = if pair.stated("required_straps.a2").and_then(Value::as_str) == Some("vcc") {
        "pin A2 must be tied to VCC"
    } else {
        "pins exist and must be tied to VSS"
    };
    check("required_straps", pair.published_text("chip_enable_pins").contains(straps));
    let rollover = pair.published_text("sequential_read_rollover");
    let has = |words: &[&str]| words.iter().any(|words| rollover.contains(words));
    let bytes = pair.stated_number("capacity_bits").unwrap_or_default() / 8.0;
    let whole = has(&[
        "whole array",
        "which is the whole array",
        "to 0000h",
        "to 000h",
        "to 00000h",
        "to the first byte of the first page",
    ]);
    let wrap = pair.stated_number("read_wrap_bytes");
    let holds = match wrap.map(|wrap| wrap as u32) {
        _ if whole => wrap == Some(bytes),
        Some(65_536) => has(&["512-Kbit half"]),
        Some(256) => bytes >= 256.0 && has(&["256-byte bank", "256-byte block"]),
        _ => pair.is_derived("read_wrap_bytes") && wrap == Some(bytes) && bytes < 256.0,
    };
    check("read_wrap_bytes", holds);
    if pair.stated_text("write_cycle.per") == Some("byte")
        && !pair.published_text("notes").contains("1 ms is for one byte")
    {
        faults.push("write_cycle.per is not published".to_owned());
    }
    faults
}

/// Whether a device address is answered with all pins low.
fn answers(bits: &[&str], address: u8) -> bool {
    bits.iter().enumerate().all(|(place, role)| {
        let bit = address >> (6 - place) & 1 == 1;
        match *role {
            "x" => true,
            "1" => bit,
            "0" => !bit,
            role if role.starts_with('B') => true,
            role => bit == role.starts_with('/'),
        }
    })
}

fn device_address_faults(pair: &Pair) -> Vec<String> {
    let mut faults = Vec::new();
    let code = pair.published_text("device_code");
    match pair.stated_text("device_code") {
        None => {}
        Some("1 0 1 0") if code == "1010" => {}
        Some("1 A2 /A1 A0") if code.starts_with("1 c2 c1 c0") && code.contains("c1 being the complement") => {}
        Some("B6 B5 B4 B3") if pair.published("block_select_bits") == Some(7.0) => {}
        Some(stated) => faults.push(format!("device_code = {stated}, published `{code}`")),
    }
    let Some(low) = pair.stated_text("address_bits") else { return faults };
    faults.extend(pins_fault(pair, low));
    let blocks = low.matches('B').count() + pair.stated_text("device_code").unwrap_or_default().matches('B').count();
    if pair.is_same_density()
        && !pair.is_sibling()
        && pair.published("block_select_bits").is_some_and(|bits| bits != blocks as f64)
    {
        faults.push(format!("{blocks} block-select bits, published {:?}", pair.entry.get("block_select_bits")));
    }
    let Some(bits) = pair.device_bits() else { return faults };
    let answered: Vec<u8> = (0..128).filter(|address| answers(&bits, *address)).collect();
    let said = pair.published_text("answers_7bit");
    let expected: &[u8] = match said.as_str() {
        "" => return faults,
        _ if !pair.is_same_density() => return faults,
        said if said.contains("every first byte") => &std::array::from_fn::<u8, 128, _>(|address| address as u8),
        said if said.contains("four apart") => &[0x50, 0x54],
        said if said.contains("0x50-0x57") => &[0x50, 0x51, 0x52, 0x53, 0x54, 0x55, 0x56, 0x57],
        said if said.contains("two") => &[0x50, 0x51],
        said if said.contains("four addresses") => &[0x50, 0x51, 0x52, 0x53],
        _ => &[0x50],
    };
    if answered != expected {
        faults.push(format!("answers {answered:02x?} with its pins low, published `{said}`"));
    }
    faults
}

/// As many address pins compared as the entry has devices on one bus, or as it calls live.
fn pins_fault(pair: &Pair, low: &str) -> Option<String> {
    let pins = low.matches('A').count() + pair.stated_text("device_code").unwrap_or_default().matches('A').count();
    let said = pair.published_text("chip_enable_pins");
    let name = text(&pair.card, "name");
    let member = name.get(name.len() - 3..).unwrap_or_default();
    // `01A/02A: eight devices; 04A: four devices`: the member's own part of the sentence, where there is one.
    let own: Vec<&str> = said.split(';').filter(|part| part.contains(member) && part.contains(':')).collect();
    let said = if own.is_empty() { said.clone() } else { own.join(";") };
    let devices = [("eight devices", 3), ("four devices", 2), ("two devices", 1)];
    let of_devices = devices.iter().find(|(words, _)| said.contains(words)).map(|(_, pins)| *pins);
    let of_live =
        ["A2,A1,A0 live", "A2,A1,A0 compared", "E2 live; E1 live; E0 live"].iter().any(|words| said.contains(words));
    let expected = of_devices.or(of_live.then_some(3));
    let wrong = expected.is_some_and(|expected| expected != pins) && pair.is_same_density() && !pair.is_sibling();
    wrong.then(|| format!("compares {pins} pins, published `{said}`"))
}

/// The words of cards for packages that `data/packages.toml` names otherwise; `soic-8-eiaj` is the 208-mil body.
const PACKAGE_WORDS: [(&str, &str); 15] = [
    ("so-8", "so-8-unread"),
    ("tssop-8j", "tssop-8-3x4.9mm"),
    ("vson-8", "dfn-8"),
    ("dip-t8", "dip-8"),
    ("sop8", "sop-8-5x6.2mm"),
    ("sop-j8", "soic-8"),
    ("150-mil soic-8", "soic-8"),
    ("ssop-b8", "ssop-8"),
    ("tssop-b8", "tssop-8"),
    ("tssop-b8j", "tssop-8-3x4.9mm"),
    ("vson008x2030", "dfn-8"),
    ("soic-8-eiaj", "soic-8-wide"),
    ("sop-8-rohm", "sop-8-5x6.2mm"),
    ("sop-8 (FPT-8P-M02)", "sop-8-fpt-m02"),
    ("sop-8 (FPT-8P-M08)", "sop-8-fpt-m08"),
];

/// One maker's MSOP8 is 4.0 mm over leads, its SOP8 6.2 mm; another's SOP of eight leads is named by its outline.
const MAKERS_WORDS: [(&str, &str, &str); 4] = [
    ("Rohm", "msop-8", "msop-8-2.9x4mm"),
    ("Rohm", "msop8", "msop-8-2.9x4mm"),
    ("Rohm", "sop-8", "sop-8-5x6.2mm"),
    ("Fujitsu", "soic-8", "sop-8-fpt-m02"),
];

fn package_word(pair: &Pair, name: &str) -> String {
    let maker = pair.published_text("maker");
    let own = MAKERS_WORDS.iter().find(|(theirs, word, _)| *theirs == maker && *word == name).map(|it| it.2);
    let word = || PACKAGE_WORDS.iter().find(|(theirs, _)| *theirs == name).map_or(name, |(_, ours)| ours);
    own.unwrap_or_else(word).to_owned()
}

/// The list of packages: those of the member, where members differ, else those of the sheet. It is complete where it was
/// read as such, for this very part.
fn packages_faults(pair: &Pair) -> Vec<String> {
    let Some(Value::Table(stated)) = pair.card.get("packages") else { return Vec::new() };
    let names = |list: Option<&Value>| -> BTreeSet<String> {
        let items = list.and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
        items.iter().filter_map(Value::as_str).map(|name| package_word(pair, name)).collect()
    };
    let by_member = pair.ordering.get("packages_by_member").and_then(Value::as_table);
    let own = by_member.and_then(|members| members.get(&text(&pair.card, "name")));
    let (ours, theirs) = (names(stated.get("made")), names(own.or(pair.ordering.get("packages"))));
    let mut faults = Vec::new();
    if ours != theirs {
        faults.push(format!("packages {ours:?}, published {theirs:?}"));
    }
    let read = pair.ordering.get("packages_complete").and_then(Value::as_bool) == Some(true);
    let scoped = pair.ordering.contains_key("packages_scope") || by_member.is_some() && own.is_none();
    if stated.get("complete").and_then(Value::as_bool) == Some(true) && (!read || scoped) {
        faults.push("the list of packages was not read as complete".to_owned());
    }
    faults
}

/// A piece of an order code means what was read, or is the letter of a temperature grade.
fn order_fault(pair: &Pair, piece: &Table) -> Option<String> {
    let name = text(piece, "piece");
    let value = |key: &str| piece.get(key).and_then(Value::as_integer);
    let range = value("min_c").zip(value("max_c"));
    let by_place = piece.get("by_place").and_then(Value::as_bool) == Some(true);
    let supply = piece.get("min_v").and_then(number).zip(piece.get("max_v").and_then(number));
    let said = |entry: &Table| {
        let Some(Value::Table(means)) = entry.get("means") else { return false };
        let temperature = range.map(|(low, high)| format!("{low}..{high}")).unwrap_or_default();
        let package = text(means, "package").replace(" (wettable flanks)", "");
        let sure = by_place == (!package.is_empty() && pair.ordering.contains_key("order_code_how"));
        let volts = supply.map(|(low, high)| format!("{low:.1}-{high:.1} V")).unwrap_or_default();
        let same = |named: &str, package: &str| {
            named.split(" (").next() == Some(&name) && package_word(pair, package) == text(piece, "package")
        };
        // `SN / OT` beside `soic-8 / sot-23-5`: piece by piece.
        let (named, packages) = (text(entry, "piece"), package.split(" / ").collect::<Vec<_>>());
        let named: Vec<&str> = named.split(" / ").collect();
        let package_of = |place: usize| packages.get(place).or(packages.last()).copied().unwrap_or_default();
        let paired = packages.len() == 1 || packages.len() == named.len();
        let of_piece = paired && (0..named.len()).any(|place| same(named[place], package_of(place)));
        of_piece && text(means, "temp") == temperature && text(means, "supply") == volts && sure
    };
    let grade = |grade: &Table| {
        let end = |key: &str| grade.get(key).and_then(Value::as_integer);
        text(grade, "grade") == name && end("min_c").zip(end("max_c")) == range && !piece.contains_key("package")
    };
    let found = tables(&pair.ordering, "order_code").iter().any(said)
        || tables(&pair.ordering, "temperature").iter().any(grade);
    (!found).then(|| format!("`{name}` of its order codes is not published so"))
}

fn package_fault(pair: &Pair, index: usize, package: &Table) -> Option<String> {
    let name = text(package, "name");
    let entries = tables(&pair.ordering, "package");
    let named: Vec<&Table> = entries.iter().filter(|entry| package_word(pair, &text(entry, "name")) == name).collect();
    let pins = package.get("pins").is_none_or(|pins| named.iter().any(|entry| entry.get("pins") == Some(pins)));
    let stated = text(package, "address_bits");
    // Bit 16 of the word address is the first block-select bit behind two word-address bytes.
    let published = |entry: &&Table| text(entry, "address_bits").replace("unread", "?").replace("A16", "B0") == stated;
    let unread = stated.split(' ').all(|role| role == "?") || stated.is_empty();
    let bits = unread || named.iter().any(published) || in_older_sheet(pair, index, package);
    let wp = match package.get("wp_pin").and_then(Value::as_bool) {
        Some(false) => ["no WP", "no A2 and no WP pin", "has no WP"].iter().any(|words| pair.remarks().contains(words)),
        Some(true) => pair.remarks().contains("WP pin exists only in"),
        None => true,
    };
    (!pins || !bits || !wp).then(|| format!("package {name} is not published so"))
}

/// Address bits that the entry of the data sheet gives in words.
fn in_older_sheet(pair: &Pair, index: usize, package: &Table) -> bool {
    let zeros =
        ["must be 0", "should be 0", "set to 0", "be 000", "read as 0", "held at 0", "holds them at 0", "A2=A1=A0=0"];
    let remarks = pair.remarks();
    let kind = text(package, "name");
    let named = match kind.as_str() {
        "sot-23-5" | "tsot-23-5" | "sot-23-6" => {
            ["SOT-23", "SOT23", "5-pin package"].iter().any(|it| remarks.contains(it))
        }
        "msop-8" => remarks.contains("MSOP"),
        _ => remarks.contains("WLCSP"),
    };
    let fixed = text(package, "address_bits").split(' ').any(|role| role == "0");
    let derived = pair.is_derived(&format!("package[{index}].address_bits"));
    named && (!fixed || derived || zeros.iter().any(|words| remarks.contains(words)))
}
