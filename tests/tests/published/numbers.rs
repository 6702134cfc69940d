//! Numbers of a card against the numbers of its entry.

use toml::Table;

use super::{Pair, number, tables, text};

/// Card fields and the entry fields that they repeat.
const NUMBERS: [(&str, &str); 11] = [
    ("capacity_bits", "capacity_bits"),
    ("page_bytes", "page_bytes"),
    ("word_address_bytes", "word_address_bytes"),
    ("endurance_cycles", "endurance_cycles"),
    ("retention_years", "retention_years"),
    ("input_capacitance_pf", "input_capacitance_pf"),
    ("write_cycle.max_ms", "write_cycle_ms_max"),
    ("write_cycle.typ_ms", "write_cycle_ms_typ"),
    ("supply.min_v", "vcc_min"),
    ("supply.max_v", "vcc_max"),
    ("min_scl_khz", "min_scl_khz"),
];

const AC: [(&str, &str); 10] = [
    ("t_low", "tLOW"),
    ("t_high", "tHIGH"),
    ("t_hd_sta", "tHD_STA"),
    ("t_su_sta", "tSU_STA"),
    ("t_hd_dat", "tHD_DAT"),
    ("t_su_dat", "tSU_DAT"),
    ("t_su_sto", "tSU_STO"),
    ("t_buf", "tBUF"),
    ("t_aa_max", "tAA_max"),
    ("t_sp_max", "tSP_max"),
];

/// Every number of the card that its entry does not state.
pub fn faults(pair: &Pair) -> Vec<String> {
    let mut faults = Vec::new();
    for (field, key) in NUMBERS {
        let Some(stated) = pair.stated_number(field) else { continue };
        let plain = pair.published(key) == Some(stated) || in_remarks(pair, field, stated);
        let sound = if pair.is_derived(field) { follows(pair, field, stated) } else { plain };
        if !sound {
            faults.push(format!("{field} = {stated}, published {:?}", pair.entry.get(key)));
        }
    }
    if let Some(volts) = pair.stated_number("supply.write_min_v") {
        let wanted = [format!("WRITE only {volts}"), format!("WRITE {volts}")];
        if !wanted.iter().any(|words| pair.published_text("vcc_note").contains(words)) {
            faults.push(format!("supply.write_min_v = {volts} is not in `{}`", pair.published_text("vcc_note")));
        }
    }
    if let Some(celsius) = pair.stated_number("endurance_at_c")
        && !pair.remarks().contains(&format!("{celsius} C"))
    {
        faults.push(format!("endurance_at_c = {celsius} is not in the notes"));
    }
    for (index, grade) in tables(&pair.card, "speed").iter().enumerate() {
        faults.extend(grade_fault(pair, index, grade));
        faults.extend(ac_fault(pair, grade));
    }
    faults
}

/// A sibling's or a version's number that the entry gives in words.
fn in_remarks(pair: &Pair, field: &str, value: f64) -> bool {
    let remarks = pair.remarks().to_lowercase();
    let has = |words: &[String]| words.iter().any(|words| remarks.contains(words.as_str()));
    match field {
        "page_bytes" if remarks.contains("pages over the family") || remarks.contains("pages: 8") => {
            let digits = text(&pair.card, "name");
            let digits = digits.trim_start_matches("BR24T").trim_start_matches("GP24BC").trim_end_matches("-W");
            pages_by_density(&remarks)
                .iter()
                .any(|(page, members)| *page == value && members.iter().any(|member| *member == digits.to_lowercase()))
        }
        "page_bytes" => has(&[
            format!("page {value}"),
            format!("{value}-byte page"),
            format!(", {value} on "),
            format!("page of this part is {value}"),
        ]),
        "endurance_cycles" => has(&[format!("{}e6 cycles", value / 1e6)]),
        "retention_years" => has(&[format!("{value} years")]),
        _ => false,
    }
}

/// `8 (01, 02), 16 (04, 08, 16)` as pages with the digits of the members that have them.
fn pages_by_density(remarks: &str) -> Vec<(f64, Vec<String>)> {
    let start = remarks.find("pages").unwrap_or(0);
    let list = &remarks[start..];
    let list = &list[..list.find('.').unwrap_or(list.len())];
    let mut pages = Vec::new();
    for group in list.split(')') {
        let Some((page, members)) = group.split_once('(') else { continue };
        let digits: String = page.chars().rev().skip_while(|c| *c == ' ').take_while(char::is_ascii_digit).collect();
        let page: String = digits.chars().rev().collect();
        let members = members.split(',').map(|member| member.trim().to_owned()).collect();
        pages.push((page.parse().unwrap_or(0.0), members));
    }
    pages
}

/// A value marked as derived must follow from the entry; `derived` is no way round the check.
fn follows(pair: &Pair, field: &str, value: f64) -> bool {
    match field {
        "capacity_bits" => density_is_named(pair, value),
        "page_bytes" => value == 1.0 && pair.remarks().contains("page write exists on devices of 1 Kbit and larger"),
        "word_address_bytes" => pair.published("word_address_bytes") == Some(value),
        "supply.min_v" | "supply.max_v" => supply_follows(pair, field, value),
        _ => false,
    }
}

/// The order code's digits or the entry's words give the density: `BR24T04-W`, `1 Kbit`, `128 bytes`, `4 kbit`.
fn density_is_named(pair: &Pair, bits: f64) -> bool {
    let kilobits = bits / 1024.0;
    let name = text(&pair.card, "name");
    let remarks = pair.remarks().to_lowercase();
    let in_words = [format!("{kilobits} kbit"), format!("{kilobits}, 4 kbit"), format!("{} bytes", bits / 8.0)];
    let samsung = kilobits.log2() * 10.0 + 10.0;
    let codes = [
        format!("{kilobits:02}"),
        format!("1M-{}", if kilobits == 1024.0 { "W" } else { "?" }),
        format!("40X{}", if kilobits == 4.0 { 40.0 } else { samsung }),
    ];
    let philips = name.starts_with("PCF85") && remarks.contains("at 2, 4 and 8 kbit");
    let philips = philips && matches!((name.as_str(), kilobits as u32), ("PCF8582C-2", 2) | ("PCF8594C-2", 4));
    let listed = pair.remarks().contains(&name) || !pair.published_text("covers").is_empty() || pair.is_sibling();
    philips || listed && (codes.iter().any(|code| name.contains(code)) || in_words.iter().any(|w| remarks.contains(w)))
}

/// Ends of the supply that the member's own grades, or the words about versions, give.
fn supply_follows(pair: &Pair, field: &str, value: f64) -> bool {
    let own = tables(&pair.entry, "speed_grades").into_iter().filter(|grade| is_for(pair, &text(grade, "part")));
    let (low, high) = own.fold((f64::INFINITY, 0.0_f64), |(low, high), grade| {
        let end = |key: &str| grade.get(key).and_then(number);
        (end("vcc_min").map_or(low, |volts| low.min(volts)), end("vcc_max").map_or(high, |volts| high.max(volts)))
    });
    let from_grades = if field == "supply.min_v" { low } else { high };
    // Words: `PCA8581C 2.5-6.0 V`, `24LC65 2.5`, `-3: 2.5-5.5 V`, `1.7-3.6 V and 2.5-5.5 V`, `writes 2.7-5.5 V`.
    let remarks = pair.remarks();
    let (min, max) = (pair.stated_number("supply.min_v"), pair.stated_number("supply.max_v"));
    let (Some(min), Some(max)) = (min, max) else { return false };
    let name = text(&pair.card, "name");
    let version = name.rsplit_once('-').map_or(String::new(), |(_, version)| format!("-{version}: {min}-{max} V"));
    let versions = name.split_once('(').map_or(String::new(), |(_, range)| range.trim_end_matches(')').to_owned());
    let words = [
        format!("{name} {min:.1}-{max:.1} V"),
        format!("{name} {min}, "),
        format!("{name} {min} V"),
        format!(", {name} {min:.1}"),
        version,
        versions,
    ];
    let sibling = pair.is_sibling() && remarks.contains(&format!("{min}-{max} V"));
    let in_words = words.iter().any(|words| !words.is_empty() && remarks.contains(words.as_str()));
    value == from_grades || sibling || in_words
}

/// Whether a grade of a family sheet is one of this member's.
fn is_for(pair: &Pair, part: &str) -> bool {
    let name = text(&pair.card, "name");
    let named = part.match_indices(&name).any(|(at, _)| {
        let next = part[at + name.len()..].chars().next();
        !next.is_some_and(|c| c.is_ascii_alphanumeric())
    });
    named || !part.contains("24") && !part.contains("34")
}

/// A grade must be one of the entry's, with ends filled or cut only where `derived` says so.
fn grade_fault(pair: &Pair, index: usize, grade: &Table) -> Option<String> {
    let scl = grade.get("scl_khz").and_then(number);
    let same_end = |published: &Table, end: &str, key: &str| {
        let stated = grade.get(end).and_then(number);
        let supply = pair.stated_number(&format!("supply.{end}"));
        let filled = pair.is_derived(&format!("speed[{index}].{end}")) && stated == supply;
        stated == published.get(key).and_then(number) || filled
    };
    let found = tables(&pair.entry, "speed_grades").iter().any(|published| {
        published.get("scl_khz").and_then(number) == scl
            && is_for(pair, &text(published, "part"))
            && same_end(published, "min_v", "vcc_min")
            && same_end(published, "max_v", "vcc_max")
    });
    let khz = scl.unwrap_or_default();
    let sibling =
        pair.is_derived(&format!("speed[{index}]")) && pair.published_text("notes").contains(&format!("{khz} kHz"));
    (!found && !sibling).then(|| format!("grade {index} ({grade}) is not published"))
}

fn ac_fault(pair: &Pair, grade: &Table) -> Option<String> {
    let ac = grade.get("ac")?.as_table()?;
    let scl = grade.get("scl_khz").and_then(number)?;
    let published = tables(&pair.entry, "ac_timing");
    let is_of_rate = |row: &&Table| {
        let rate = row.get("scl_khz").and_then(number);
        rate.map_or_else(|| text(row, "grade").starts_with(&format!("{scl} kHz")), |rate| rate == scl)
    };
    let equal = |row: &Table| {
        AC.iter().all(|(ours, theirs)| ac.get(*ours).and_then(number) == row.get(*theirs).and_then(number))
    };
    let found = published.iter().filter(is_of_rate).any(equal);
    (!found).then(|| format!("AC limits at {scl} kHz are not published"))
}
