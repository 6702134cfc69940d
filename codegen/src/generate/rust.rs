//! The Rust configuration: a module with a `Geometry` that the driver takes as a const.

use pagewise_driver::Parameters;
use serde::Serialize;

use super::template::render;
use super::{Assumption, Generated, Request, digest};
use crate::card::geometry::NoGeometry;
use crate::card::{Card, Kind, density, role};
use crate::fact::Basis;
use crate::output::plain;

/// Columns of a comment, its `//` not counted.
const COLUMNS: usize = 100;

#[derive(Serialize)]
struct Values {
    version: &'static str,
    id: String,
    digest: String,
    part_lines: Vec<String>,
    straps: String,
    caution_lines: Vec<String>,
    values: Vec<Value>,
}

/// One field of the driver's `Parameters`.
#[derive(Serialize)]
struct Value {
    field: &'static str,
    literal: String,
    lines: Vec<String>,
}

#[derive(Serialize)]
struct Module<'a> {
    module: &'a str,
    body: &'a str,
}

/// The Rust text for a request.
///
/// # Errors
/// The card has no geometry that the driver takes; none of the catalogue is like that.
pub fn configuration(request: &Request<'_>) -> Result<Generated, NoGeometry> {
    let card = request.card;
    // The same check that the compiler makes of the generated text.
    card.geometry(request.pins)?;
    let parameters = card.parameters(request.pins)?;
    let digest = digest(card);
    let assumptions = assumptions(card, &parameters);
    let values = Values {
        version: env!("CARGO_PKG_VERSION"),
        id: card.id.clone(),
        digest: digest.clone(),
        part_lines: part_lines(request),
        straps: straps(request),
        caution_lines: caution_lines(card, &assumptions),
        values: fields(card, &parameters),
    };
    let mut text = render("rust_config.rs.tera", &values);
    if let Some(module) = &request.module {
        text = render("rust_module.rs.tera", &Module { module, body: text.trim_end() });
    }
    Ok(Generated { text, digest, assumptions })
}

/// Why a name cannot be a module's, or nothing.
///
/// # Errors
/// What is wrong with the name.
pub fn module_name(name: &str) -> Result<String, String> {
    const KEYWORDS: &str = " abstract as async await become box break const continue crate do dyn else enum extern \
        false final fn for gen if impl in let loop macro match mod move mut override priv pub ref return self static \
        struct super trait true try type typeof union unsafe unsized use virtual where while yield ";
    let letters = name.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_');
    let first = name.chars().next().is_some_and(|c| c.is_ascii_lowercase());
    if !letters || !first {
        return Err(format!("`{name}` is no module name; use lower-case letters, digits and _, a letter first"));
    }
    if KEYWORDS.contains(&format!(" {name} ")) {
        return Err(format!("`{name}` is a keyword of Rust; use another name"));
    }
    Ok(name.to_owned())
}

fn comment(text: &str) -> Vec<String> {
    lines(text, textwrap::Options::new(COLUMNS))
}

fn listed(text: &str) -> Vec<String> {
    lines(text, textwrap::Options::new(COLUMNS).initial_indent("- ").subsequent_indent("  "))
}

/// Formatted code has no blanks at the end of a line.
fn lines(text: &str, options: textwrap::Options<'_>) -> Vec<String> {
    textwrap::wrap(plain(text).trim(), options).iter().map(|line| line.trim_end().to_owned()).collect()
}

fn part_lines(request: &Request<'_>) -> Vec<String> {
    let card = request.card;
    let mut lines = comment(&format!("Part: {} ({}), {}", card.name, card.maker, card.density()));
    lines.extend(comment(&format!("Document: {}", card.document)));
    if let Some(footprint) = request.package {
        let known =
            if card.package_for(footprint).is_some() { "" } else { ", of which the card tells nothing special" };
        lines.extend(comment(&format!("Package: {}{known}", footprint.word())));
    }
    let reach = card.reachable_bytes();
    if reach < card.capacity_bytes.value {
        lines.extend(comment(&format!("Only {} lie within reach without a bank-select command.", density(reach))));
    }
    lines
}

fn straps(request: &Request<'_>) -> String {
    let bits = request.card.device_bits();
    let pins = (0..3u8).rev().filter(|pin| {
        let required = request.card.required_straps.iter().any(|(strapped, _)| strapped == pin);
        required || bits.iter().any(|role| role.pin() == Some(*pin))
    });
    let rail = |pin: u8| if request.pins[usize::from(pin)] { "vcc" } else { "gnd" };
    pins.map(|pin| format!("a{pin}={}", rail(pin))).collect::<Vec<_>>().join(" ")
}

fn caution_lines(card: &Card, assumptions: &[Assumption]) -> Vec<String> {
    let mut lines = Vec::new();
    if !assumptions.is_empty() {
        lines.extend(["".into(), "Assumed, since the sheet read does not state it:".into()]);
        for assumption in assumptions {
            lines.extend(listed(&format!("{} = {}: {}", assumption.field, assumption.value, assumption.why)));
        }
    }
    if !card.not_safe_on.is_empty() {
        lines.extend(["".into(), "NOT SAFE on these parts of the same density:".into()]);
        for part in &card.not_safe_on {
            lines.extend(listed(&format!("{}: {}", part.id, part.why)));
        }
    }
    lines
}

/// The driver's parameters with the basis of each, in the order in which they are written.
fn fields(card: &Card, parameters: &Parameters) -> Vec<Value> {
    let Parameters {
        capacity_bytes,
        page_bytes,
        word_address_bytes,
        device_address,
        block_select_bits,
        block_select_shift,
        sequential_read_bytes,
        write_cycle_us,
    } = *parameters;
    let fram = card.kind == Kind::Fram;
    let page = if fram { vec!["no page".into()] } else { note(&card.page_bytes.basis) };
    let cycle = if fram { vec!["no write cycle".into()] } else { note(&card.write_cycle_max_us.basis) };
    let mut capacity = vec![density(capacity_bytes)];
    capacity.extend(note(&card.capacity_bytes.basis));
    let value = |field, literal: String, notes: Vec<String>| Value {
        field,
        literal,
        lines: notes.iter().flat_map(|note| comment(note)).collect(),
    };
    vec![
        value("capacity_bytes", literal(capacity_bytes), capacity),
        value("page_bytes", literal(page_bytes), page),
        value("word_address_bytes", word_address_bytes.to_string(), note(&card.word_address_bytes.basis)),
        value("device_address", format!("{device_address:#04x}"), device_notes(card)),
        value("block_select_bits", block_select_bits.to_string(), vec!["as above".into()]),
        value("block_select_shift", block_select_shift.to_string(), vec!["as above; 0 is next to R/W".into()]),
        value("sequential_read_bytes", literal(sequential_read_bytes), note(&card.read_wrap_bytes.basis)),
        value("write_cycle_us", literal(write_cycle_us), cycle),
    ]
}

fn note(basis: &Basis) -> Vec<String> {
    vec![basis.to_string()]
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
        Basis::Assumed { why } => Some(Assumption { field, value, why: why.clone() }),
        _ => None,
    });
    assumed.collect()
}

/// A whole number as Rust's lints want it: groups of three digits above four.
fn literal(number: u32) -> String {
    let digits = number.to_string();
    if digits.len() < 5 {
        return digits;
    }
    let mut grouped = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            grouped.push('_');
        }
        grouped.push(digit);
    }
    grouped
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::load;
    use crate::generate::template::{TEMPLATES, tests::names};

    const HOSTILE: &str = "x\\n} pub fn evil() {} */ /* \\u001b[31m \\u202e \\\" {{ id }} {% if x %} \\\\";

    fn hostile_card() -> Card {
        let text = format!(
            "id = \"x\"\nname = \"{HOSTILE}\"\nmaker = \"{HOSTILE}\"\nkind = \"eeprom\"\ndocument = \"{HOSTILE}\"\n\
             capacity_bits = 131072\npage_bytes = 64\nnotes = \"{HOSTILE}\"\n"
        );
        load::card("x.toml", &text).unwrap()
    }

    fn request(card: &Card) -> Request<'_> {
        Request { card, package: None, pins: [false, true, false], module: None }
    }

    #[test]
    fn every_code_line_of_a_hostile_card_is_ours() {
        let card = hostile_card();
        let text = configuration(&request(&card)).unwrap().text;
        assert!(text.contains("evil"), "the text is kept as data");
        for line in text.lines().map(str::trim_start) {
            assert!(line.starts_with("//") || !line.contains("evil"), "{line}");
        }
        assert!(text.chars().all(|c| c == '\n' || !c.is_control() && c != '\u{202E}'), "{text}");
        assert!(!text.contains("*/") && !text.contains("/*"), "{text}");
    }

    #[test]
    fn templates_use_only_names_that_they_are_given() {
        let card = hostile_card();
        let values = Values {
            version: "",
            id: String::new(),
            digest: String::new(),
            part_lines: Vec::new(),
            straps: String::new(),
            caution_lines: Vec::new(),
            values: Vec::new(),
        };
        let value = &fields(&card, &card.parameters([false; 3]).unwrap())[0];
        let given = [
            ("rust_config.rs.tera", serde_json::to_value(values).unwrap(), serde_json::to_value(value).unwrap()),
            ("rust_module.rs.tera", serde_json::to_value(Module { module: "", body: "" }).unwrap(), ().into()),
        ];
        assert_eq!(given.len(), TEMPLATES.len());
        for ((name, values, inner), (known, template)) in given.iter().zip(TEMPLATES) {
            assert_eq!(name, known);
            for used in names(template) {
                let found = match used.split_once('.') {
                    Some((_, field)) => inner.get(field),
                    None => values.get(&used),
                };
                assert!(found.is_some(), "{name}: `{used}` is not given");
            }
        }
    }

    #[test]
    fn literals_and_module_names_follow_the_lints() {
        assert_eq!(
            [literal(0), literal(4096), literal(10_000), literal(1_048_576)],
            ["0", "4096", "10_000", "1_048_576"]
        );
        assert_eq!(module_name("eeprom_2"), Ok("eeprom_2".into()));
        for name in ["", "2x", "A", "a-b", "_", "mod", "a b", "é"] {
            assert!(module_name(name).is_err(), "{name}");
        }
    }

    #[test]
    fn the_digest_follows_the_card() {
        let card = hostile_card();
        let mut other = card.clone();
        other.page_bytes.value = 32;
        assert_eq!(digest(&card).len(), 64);
        assert_ne!(digest(&card), digest(&other));
    }
}
