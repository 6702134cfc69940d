//! Rust: a module with a `Geometry` that the driver takes as a const, or with the candidates of `choose`.

use serde::Serialize;

use super::contents::Contents;
use super::{Generated, Request, Source};
use pagewise_base::fault::Faults;
use pagewise_templates::render;

#[derive(Serialize)]
struct Module<'a> {
    module: &'a str,
    body: &'a str,
}

/// The Rust text for a request, one file.
///
/// # Errors
/// No part, a part named twice, a part without a geometry that the driver takes (none of the catalogue is like that),
/// parts without a common configuration, a record that does not lie inside each candidate; all at once.
pub fn configuration(request: &Request<'_>) -> Result<Generated, Faults> {
    written(request, Contents::of(request)?)
}

/// The same for the crate that is generated around it, which has its dependencies from its own manifest.
pub(crate) fn in_crate(request: &Request<'_>) -> Result<Generated, Faults> {
    let mut contents = Contents::of(request)?;
    contents.by_itself = false;
    written(request, contents)
}

fn written(request: &Request<'_>, contents: Contents) -> Result<Generated, Faults> {
    let template = if contents.candidates { "rust_candidates.rs.tera" } else { "rust_config.rs.tera" };
    let mut text = render(template, &contents);
    if !contents.regions.is_empty() {
        text += &render("rust_regions.rs.tera", &contents);
    }
    if let Some(module) = &request.module {
        text = render("rust_module.rs.tera", &Module { module, body: text.trim_end() });
    }
    let name = format!("{}.rs", request.module.as_deref().unwrap_or("eeprom"));
    Ok(contents.into_generated(vec![Source { name, text }]))
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
        return Err(format!("`{name}` is not a module name; use lower-case letters, digits and _, a letter first"));
    }
    if KEYWORDS.contains(&format!(" {name} ")) {
        return Err(format!("`{name}` is a keyword of Rust; use another name"));
    }
    Ok(name.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Part, Record, digest};
    use pagewise_part::card::{Card, load};

    const HOSTILE: &str = "x\\n} pub fn evil() {} */ /* \\u001b[31m \\u202e \\\" {{ id }} {% if x %} \\\\";

    fn hostile_card() -> Card {
        let text = format!(
            "id = \"x\"\nname = \"{HOSTILE}\"\nmaker = \"{HOSTILE}\"\nkind = \"eeprom\"\ndocument = \"{HOSTILE}\"\n\
             capacity_bits = 131072\npage_bytes = 64\nnotes = \"{HOSTILE}\"\n"
        );
        load::card("x.toml", &text).unwrap()
    }

    fn request(card: &Card) -> Request<'_> {
        Request::new(vec![Part::new(card, [false, true, false])])
    }

    #[test]
    fn every_code_line_of_a_hostile_card_is_ours() {
        let card = hostile_card();
        let record = Record { offset: 0, bytes: 4 };
        for request in [request(&card), request(&card).choosing(record)] {
            let text = configuration(&request).unwrap().files.remove(0).text;
            assert!(text.contains("evil"), "the text is kept as data");
            for line in text.lines().map(str::trim_start) {
                assert!(line.starts_with("//") || !line.contains("evil"), "{line}");
            }
            assert!(text.chars().all(|c| c == '\n' || !c.is_control() && c != '\u{202E}'), "{text}");
            assert!(!text.contains("*/") && !text.contains("/*"), "{text}");
        }
    }

    #[test]
    fn module_names_follow_the_language() {
        assert_eq!(module_name("eeprom_2"), Ok("eeprom_2".into()));
        for name in ["", "2x", "A", "a-b", "_", "mod", "a b", "é"] {
            assert!(module_name(name).is_err(), "{name}");
        }
    }

    #[test]
    fn the_digest_follows_every_input() {
        let card = hostile_card();
        let mut other = card.clone();
        other.page_bytes.value = 32;
        assert_ne!(digest(&card), digest(&other));
        let plain = request(&card);
        let mut high = plain.clone();
        high.parts[0].pins = [true; 3];
        let mut packaged = plain.clone();
        packaged.parts[0].package = Some(pagewise_part::card::Footprint::Soic8);
        let choosing = |bytes| plain.clone().choosing(Record { offset: 0, bytes });
        let requests = [plain.clone(), request(&other), high, packaged, choosing(4), choosing(5)];
        let digests: std::collections::BTreeSet<String> =
            requests.iter().map(|request| configuration(request).unwrap().digest).collect();
        assert_eq!(digests.len(), requests.len());
    }
}
