//! Renders the templates for source code, and makes every text of a user harmless there.

use serde::Serialize;
use tera::{Context, Tera};

use crate::output::plain;

/// Name and text of every template for source code.
pub(super) const TEMPLATES: &[(&str, &str)] = &[
    ("rust_config.rs.tera", include_str!("../../../templates/rust_config.rs.tera")),
    ("rust_module.rs.tera", include_str!("../../../templates/rust_module.rs.tera")),
];

/// Renders a template with the fields of `values`.
///
/// # Panics
/// When a template uses a name that `values` lacks; tests render every template.
pub(super) fn render<T: Serialize>(name: &str, values: &T) -> String {
    let mut tera = Tera::default();
    tera.add_raw_templates(TEMPLATES.iter().copied()).expect("embedded templates are well formed");
    tera.autoescape_on(vec![".rs.tera"]);
    tera.set_escape_fn(harmless);
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
    fn texts_cannot_leave_a_comment() {
        let text = harmless("a\nb\r*/ c /* d \u{202E}e ??/ \\");
        assert_eq!(text, "a b * / c / * d ?e ?? / \\.");
        assert!(!harmless("**//**//").contains("*/") && !harmless("/**/").contains("/*"));
    }
}
