//! Renders the templates for source code, and makes every text of a user harmless there.

use std::collections::HashMap;
use std::fmt::Write as _;

use serde::Serialize;
use tera::{Context, Filter, Tera, Value};

use crate::output::plain;

/// Name and text of every template for source code.
pub(super) const TEMPLATES: &[(&str, &str)] = &[
    ("c_driver.c.tera", include_str!("../../../templates/c_driver.c.tera")),
    ("c_driver.h.tera", include_str!("../../../templates/c_driver.h.tera")),
    ("c_regions.c.tera", include_str!("../../../templates/c_regions.c.tera")),
    ("rust_candidates.rs.tera", include_str!("../../../templates/rust_candidates.rs.tera")),
    ("rust_config.rs.tera", include_str!("../../../templates/rust_config.rs.tera")),
    ("rust_crate_driver.toml.tera", include_str!("../../../templates/rust_crate_driver.toml.tera")),
    ("rust_crate_lib.rs.tera", include_str!("../../../templates/rust_crate_lib.rs.tera")),
    ("rust_crate_manifest.toml.tera", include_str!("../../../templates/rust_crate_manifest.toml.tera")),
    ("rust_regions.rs.tera", include_str!("../../../templates/rust_regions.rs.tera")),
    ("rust_module.rs.tera", include_str!("../../../templates/rust_module.rs.tera")),
];

/// Renders a template with the fields of `values`.
///
/// # Panics
/// When a template uses a name that `values` lacks; tests render every template.
pub(super) fn render<T: Serialize>(name: &str, values: &T) -> String {
    let mut tera = Tera::default();
    tera.add_raw_templates(TEMPLATES.iter().copied()).expect("embedded templates are well formed");
    tera.autoescape_on(vec![".rs.tera", ".c.tera", ".h.tera"]);
    tera.set_escape_fn(harmless);
    tera.register_filter("rust_text", Literal(rust_text));
    tera.register_filter("c_text", Literal(c_text));
    let context = Context::from_serialize(values).expect("template values are a struct");
    tera.render(name, &context).expect("a template uses only names that it is given")
}

/// A text that stays inside the comment that it is written into: no line end, no control or reordering character, no
/// beginning or end of a block comment, no backslash at its end (which joins lines in C), no `??/` (its trigraph).
pub(super) fn harmless(text: &str) -> String {
    let mut text = plain(text).replace("*/", "* /").replace("/*", "/ *").replace("??/", "?? /");
    if text.ends_with('\\') {
        text.push('.');
    }
    text
}

/// A filter that makes a string literal, quotes included, of a text.
struct Literal(fn(&str) -> String);

impl Filter for Literal {
    fn filter(&self, value: &Value, _: &HashMap<String, Value>) -> tera::Result<Value> {
        let text = value.as_str().ok_or_else(|| tera::Error::msg("a string literal is made of a text"))?;
        Ok(Value::String((self.0)(text)))
    }

    fn is_safe(&self) -> bool {
        true
    }
}

/// A Rust string literal of a text: ASCII only, so that nothing in it looks other than it is.
pub(super) fn rust_text(text: &str) -> String {
    let mut literal = String::from('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => literal.extend(['\\', c]),
            ' '..='~' => literal.push(c),
            // Writing to a String cannot fail.
            _ => drop(write!(literal, "\\u{{{:x}}}", u32::from(c))),
        }
    }
    literal + "\""
}

/// A C string literal of a text: ASCII only, other bytes of its UTF-8 in octal, no trigraph.
pub(super) fn c_text(text: &str) -> String {
    let mut literal = String::from('"');
    for byte in text.bytes() {
        match byte {
            b'"' | b'\\' | b'?' => literal.extend(['\\', char::from(byte)]),
            b' '..=b'~' => literal.push(char::from(byte)),
            // Three digits, so that a digit behind is none of its own.
            _ => drop(write!(literal, "\\{byte:03o}")),
        }
    }
    literal + "\""
}

#[cfg(test)]
pub(super) mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// Names outside quotes in the tags of a template, filters and their arguments left out.
    ///
    /// Tera fails on an undefined name in `{{ }}` but takes one in `if` as false, so a misspelled condition would
    /// drop its block without a word.
    pub(in crate::generate) fn names(template: &str) -> BTreeSet<String> {
        let mut names = BTreeSet::new();
        let mut loops = BTreeSet::new();
        for tag in tags(template) {
            let words: Vec<&str> = tag.split_whitespace().filter(|word| !word.contains(['"', '='])).collect();
            if let ["for", variable, "in", ..] = words[..] {
                loops.insert(variable.to_owned());
            }
            let mut after_pipe = false;
            for word in words {
                let word = word.split('(').next().unwrap_or_default();
                let keyword = ["for", "in", "if", "else", "elif", "endif", "endfor", "and", "or", "not", "-", ""];
                if !after_pipe && word != "|" && !keyword.contains(&word) {
                    names.insert(word.to_owned());
                }
                after_pipe = word == "|";
            }
        }
        names.retain(|name| !loops.contains(name.split('.').next().unwrap_or_default()) || name.contains('.'));
        names
    }

    fn tags(template: &str) -> Vec<String> {
        let mut tags = Vec::new();
        for (open, close) in [("{{", "}}"), ("{%", "%}")] {
            for piece in template.split(open).skip(1) {
                let tag = piece.split(close).next().unwrap_or_default();
                tags.push(tag.trim_matches('-').trim().to_owned());
            }
        }
        tags
    }

    #[test]
    fn the_scan_finds_names_in_conditions_and_loops() {
        let text = "{%- if a and not b.c %}{{ d | indent(prefix=\"x\", first=true) | safe }}{% for e in f %}{{ e.g }}{% endfor %}";
        let found: Vec<String> = names(text).into_iter().collect();
        assert_eq!(found, ["a", "b.c", "d", "e.g", "f"]);
    }

    #[test]
    fn string_literals_hold_any_text() {
        assert_eq!(rust_text("a\"b\\n\n\u{202E}é"), r#""a\"b\\n\u{a}\u{202e}\u{e9}""#);
        assert_eq!(c_text("a\"b\\??/\n1é"), r#""a\"b\\\?\?/\0121\303\251""#);
    }

    #[test]
    fn texts_cannot_leave_a_comment() {
        let text = harmless("a\nb\r*/ c /* d \u{202E}e ??/ \\");
        assert_eq!(text, "a b * / c / * d ?e ?? / \\.");
        assert!(!harmless("**//**//").contains("*/") && !harmless("/**/").contains("/*"));
    }
}
