//! Numbers of a card against the numbers of its entry.

use toml::Table;

use super::{Pair, data, number, tables, text};

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

const AC: [(&str, &str); 11] = [
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
    ("t_aa_min", "tAA_min"),
];

/// Every number of the card that its entry does not state.
pub fn faults(pair: &Pair) -> Vec<String> {
    let mut faults = Vec::new();
    for (field, key) in NUMBERS {
        let Some(stated) = pair.stated_number(field) else { continue };
        let published = if field == "page_bytes" { worded_page(pair) } else { None }.or(pair.published(key));
        let plain = published == Some(stated) || in_remarks(pair, field, stated);
        let plain = plain || field.starts_with("supply.") && supply_in_limits(pair);
        let sound = if pair.is_derived(field) { follows(pair, field, stated) } else { plain };
        if !sound {
            faults.push(format!("{field} = {stated}, published {:?}", pair.entry.get(key)));
        }
    }
    for (field, key, cautious) in
        [("temperature.min_c", "min_c", f64::max as fn(f64, f64) -> f64), ("temperature.max_c", "max_c", f64::min)]
    {
        let published = grades(pair).iter().filter_map(|grade| number(grade.get(key)?)).reduce(cautious);
        if pair.stated_number(field).is_some_and(|stated| Some(stated) != published) {
            faults.push(format!("{field} is not what every grade covers, {published:?}"));
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
        && !rated_at(pair, celsius, pair.stated_number("endurance_cycles"))
    {
        faults.push(format!("endurance_at_c = {celsius} is not in the notes"));
    }
    for point in tables(&pair.card, "endurance_at") {
        let (celsius, cycles) = (point.get("celsius").and_then(number), point.get("cycles").and_then(number));
        let (Some(celsius), Some(cycles)) = (celsius, cycles) else { continue };
        let words = format!("{cycles:e} at {celsius} C");
        if !pair.remarks().contains(&words) && !rated_at(pair, celsius, Some(cycles)) {
            faults.push(format!("endurance_at `{words}` is not in the notes"));
        }
    }
    for grade in tables(&pair.card, "grade") {
        faults.extend(limits_fault(pair, &grade));
    }
    for behind in tables(&pair.card, "basis") {
        if text(&behind, "source") != text(&pair.ordering, "document") {
            faults.push(format!("`{}` is not the document of its order codes", text(&behind, "source")));
        }
    }
    for (index, grade) in tables(&pair.card, "speed").iter().enumerate() {
        faults.extend(grade_fault(pair, index, grade));
        faults.extend(ac_fault(pair, grade));
    }
    faults
}

/// What differs by temperature grade, in words.
fn limits(pair: &Pair) -> Vec<String> {
    tables(&pair.ordering, "temperature").iter().map(|grade| text(grade, "limits")).collect()
}

/// Whether the sheet of the order codes states this supply range: `400 kHz over 1.8-5.5 V`.
fn supply_in_limits(pair: &Pair) -> bool {
    let (min, max) = (pair.stated_number("supply.min_v"), pair.stated_number("supply.max_v"));
    let (Some(min), Some(max)) = (min, max) else { return false };
    limits(pair).iter().any(|words| words.contains(&format!("over {min:.1}-{max:.1} V")))
}

/// A write cycle of a supply range: `10 ms from 2.7 V, 15 ms below`, `10/15 ms split at 2.7 V`.
fn limits_fault(pair: &Pair, grade: &Table) -> Option<String> {
    let value = |key: &str| grade.get(key).and_then(number);
    let plain = pair.stated_number("write_cycle.max_ms").unwrap_or_default();
    let said = value("write_cycle_ms").zip(value("min_v")).is_some_and(|(ms, volts)| {
        let words = [
            format!("{ms} ms from {volts} V"),
            format!("{ms}/{plain} ms split at {volts} V"),
            format!("{ms} ms at {volts}-"),
        ];
        let mut texts = limits(pair);
        texts.extend([pair.remarks(), text(&pair.ordering, "revision_note")]);
        texts.iter().any(|text| words.iter().any(|words| text.contains(words.as_str())))
    });
    (!said || grade.len() != 2).then(|| format!("the limits `{grade}` are not published"))
}

/// Temperature grades, without those of editions that are gone.
fn grades(pair: &Pair) -> Vec<Table> {
    let gone = |grade: &Table| {
        let limits = text(grade, "limits");
        limits.contains("gone in") || limits.split_once("edition").is_some_and(|(_, rest)| rest.contains(" only"))
    };
    tables(&pair.ordering, "temperature").into_iter().filter(|grade| !gone(grade)).collect()
}

/// Whether `data/standards.toml` has this rating of the card's own part at this temperature.
fn rated_at(pair: &Pair, celsius: f64, cycles: Option<f64>) -> bool {
    let standards = data("standards.toml");
    let ratings = tables(standards["endurance"].as_table().expect("endurance"), "rating");
    let own = ratings.iter().filter(|rating| text(rating, "part").ends_with(&format!(" {}", text(&pair.card, "name"))));
    let at = |rating: &Table| rating["cycles"].as_table()?.get(&format!("c{celsius}")).and_then(number);
    own.filter_map(at).any(|rated| Some(rated) == cycles)
}

/// A sibling's number that the entry gives in the clause of its notes that names the sibling.
fn in_remarks(pair: &Pair, field: &str, value: f64) -> bool {
    if field == "min_scl_khz" {
        return pair.published_text("notes").contains(&format!("SCL must run at {value} kHz or more"));
    }
    let words = match field {
        "endurance_cycles" => format!("{}e6 cycles", value / 1e6),
        "retention_years" => format!("{value} years"),
        _ => return false,
    };
    pair.is_sibling() && own_clauses(pair).iter().any(|clause| clause.contains(&words))
}

/// Clauses of the notes that name the card's part, or the first word of its own document.
fn own_clauses(pair: &Pair) -> Vec<String> {
    let notes = pair.published_text("notes");
    let (name, document) = (text(&pair.card, "name"), text(&pair.card, "document"));
    let document = document.split(' ').next().unwrap_or_default();
    let clauses = notes.split(". ").flat_map(|sentence| sentence.split("; "));
    clauses.filter(|clause| clause.contains(&name) || clause.contains(document)).map(str::to_owned).collect()
}

/// The page that the notes give for this member: `Page 8 on 02D, 16 on 04D/08D`, `8 (01, 02), 16 (04)`, `X: page 16`.
fn worded_page(pair: &Pair) -> Option<f64> {
    let notes = pair.published_text("notes");
    let name = text(&pair.card, "name");
    let name = name.trim_end_matches("-W");
    let is_member = |members: &str| {
        members.split([',', '/', ' ']).map(str::trim).any(|member| !member.is_empty() && name.ends_with(member))
    };
    let list = notes.split(". ").find(|sentence| sentence.starts_with("Pages over") || sentence.starts_with("Pages:"));
    if let Some((_, list)) = list.and_then(|list| list.split_once(':')) {
        let groups = list.split(')').filter_map(|group| group.split_once('('));
        return groups
            .filter(|(_, members)| is_member(members))
            .find_map(|(page, _)| page.trim_matches([',', ' ']).parse().ok());
    }
    let list = notes.split(". ").find_map(|sentence| sentence.strip_prefix("Page "));
    let groups = list.into_iter().flat_map(|list| list.split(", ")).filter_map(|group| group.split_once(" on "));
    let by_member =
        groups.filter(|(_, members)| is_member(members.trim_end_matches('.'))).find_map(|it| it.0.parse().ok());
    let by_member = by_member.or_else(|| by_density(pair, &notes));
    by_member.or_else(|| {
        let clauses = own_clauses(pair);
        let after = clauses.iter().filter_map(|clause| clause.split_once("page ")).map(|(_, page)| page);
        let before = clauses.iter().filter_map(|clause| clause.split_once("-byte page")).map(|(page, _)| page);
        let digits = |text: &str| text.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok();
        after.filter_map(digits).chain(before.filter_map(|text| text.rsplit(' ').next()?.parse().ok())).next()
    })
}

/// `Page: 8 bytes for 1 and 2 kbit, 16 for 4, 8 and 16 kbit`; `the 128-kbit member has a 32-byte page`.
fn by_density(pair: &Pair, notes: &str) -> Option<f64> {
    let kilobits = pair.stated_number("capacity_bits")? / 1024.0;
    let digits = |text: &str| text.split(|c: char| !c.is_ascii_digit()).rfind(|it| !it.is_empty())?.parse::<f64>().ok();
    let list = notes.split(". ").find_map(|sentence| sentence.strip_prefix("Page: ")).unwrap_or_default();
    let groups = list.split(" kbit").filter_map(|group| group.split_once(" for "));
    let of_group = |(page, densities): (&str, &str)| {
        let mut densities = densities.split([',', ' ']).filter_map(|it| it.parse::<f64>().ok());
        densities.any(|density| density == kilobits).then(|| digits(page))?
    };
    groups.filter_map(of_group).next().or_else(|| {
        let clauses = notes.split(". ").flat_map(|sentence| sentence.split("; "));
        let mut named = clauses.filter(|clause| clause.contains(&format!("{kilobits}-kbit member")));
        named.find_map(|clause| digits(clause.split_once("-byte page")?.0))
    })
}

/// A value marked as derived must follow from the entry; `derived` is no way round the check.
fn follows(pair: &Pair, field: &str, value: f64) -> bool {
    match field {
        "capacity_bits" => kilobits_by_order_code(pair) == Some(value / 1024.0),
        "page_bytes" => value == 1.0 && pair.remarks().contains("page write exists on devices of 1 Kbit and larger"),
        // One block of 2048 bytes has eleven word-address bits.
        "word_address_bytes" if pair.remarks().contains("ONE block of 2048 bytes") => value == 2.0,
        "word_address_bytes" => pair.published("word_address_bytes") == Some(value),
        "supply.min_v" | "supply.max_v" => supply_follows(pair, field, value),
        _ => false,
    }
}

/// Kilobits by the digits of the order code (`BR24T04-W`, `BR24T1M-W`), or by the place of the code in a list that the
/// sheet gives beside a list of densities (`S524A40X10/40X20/40X40`, `1, 2, 4 kbit`).
fn kilobits_by_order_code(pair: &Pair) -> Option<f64> {
    let name = text(&pair.card, "name");
    if let Some((_, code)) = name.split_once("24").or_else(|| name.split_once("RC"))
        && !name.starts_with("S524")
    {
        let code = code.trim_start_matches(|c: char| c.is_ascii_alphabetic());
        let digits: String = code.chars().take_while(char::is_ascii_digit).collect();
        let unit = if code[digits.len()..].starts_with('M') { 1024.0 } else { 1.0 };
        return digits.parse::<f64>().ok().map(|number| number * unit);
    }
    let document = text(&pair.card, "document");
    let place = document.split(' ').next()?.split('/').position(|code| name.ends_with(code))?;
    let words = if pair.is_sibling() { pair.published_text("notes") } else { pair.published_text("covers") };
    let list = words.split(" kbit").find(|part| part.contains(", "))?;
    let list = list.rsplit(" at ").next()?.replace(" and ", ", ");
    list.split(", ").nth(place)?.parse().ok()
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
    let range = format!("{min:.1}-{max:.1} V");
    let versions = if name.contains(&range) { range } else { String::new() };
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
    // `100 kHz below 4.5 V in E`: what holds without it ends where the grades before E do.
    let cooler = grade.get("max_c").and_then(number);
    let slow_in_e = limits(pair).iter().any(|it| it.contains("100 kHz below 4.5 V in E"));
    let i_ends = tables(&pair.ordering, "temperature").iter().any(|it| it.get("max_c").and_then(number) == cooler);
    let temperature = cooler.is_none_or(|_| slow_in_e && i_ends);
    let found = temperature
        && tables(&pair.entry, "speed_grades").iter().any(|published| {
            published.get("scl_khz").and_then(number) == scl
                && is_for(pair, &text(published, "part"))
                && same_end(published, "min_v", "vcc_min")
                && same_end(published, "max_v", "vcc_max")
        });
    let khz = scl.unwrap_or_default();
    let sibling =
        pair.is_derived(&format!("speed[{index}]")) && pair.published_text("notes").contains(&format!("{khz} kHz"));
    let (min, max) = (pair.stated_number("supply.min_v"), pair.stated_number("supply.max_v"));
    let whole = grade.get("min_v").and_then(number) == min && grade.get("max_v").and_then(number) == max;
    let in_limits =
        whole && supply_in_limits(pair) && limits(pair).iter().any(|it| it.contains(&format!("{khz} kHz over")));
    (!found && !sibling && !in_limits).then(|| format!("grade {index} ({grade}) is not published"))
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
