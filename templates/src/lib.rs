//! Every text that Pagewise emits for others to compile or read, and the one place where it is rendered.
//!
//! A template is a file of this folder. Its name says what it becomes and so how a text that is not ours is made
//! harmless in it: in source code it stays inside its comment, in HTML and SVG it is the text of an element, in Markdown
//! it shows as it is. Each template is parsed once in a run.
//!
//! # Examples
//!
//! ```
//! use pagewise_templates::{document, source};
//!
//! let text = "a part */ <b>";
//! assert_eq!(source::harmless(text), "a part * / <b>");
//! assert_eq!(document::html(text), "a part */ &lt;b&gt;");
//! ```

#![forbid(unsafe_code)]

pub mod classroom;
pub mod document;
pub mod source;

use std::collections::{BTreeSet, HashMap};
use std::sync::LazyLock;

use serde::Serialize;
use tera::{Context, Filter, Tera, Value};

macro_rules! embedded {
    ($($name:literal),* $(,)?) => { &[$(($name, include_str!(concat!("../", $name)))),*] };
}

/// Name and text of every template.
pub const TEMPLATES: &[(&str, &str)] = embedded![
    "board.toml.tera",
    "board_observed.toml.tera",
    "c_choose.c.tera",
    "c_driver.c.tera",
    "c_driver.h.tera",
    "c_regions.c.tera",
    "classroom.html.tera",
    "classroom_teacher.html.tera",
    "decision.toml.tera",
    "fleet.html.tera",
    "fleet.md.tera",
    "fleet_board.html.tera",
    "layout_draft.toml.tera",
    "memory_map.svg.tera",
    "page.css.tera",
    "page.html.tera",
    "page_address.html.tera",
    "page_budget.html.tera",
    "page_chapter.html.tera",
    "page_chart.html.tera",
    "page_signs.html.tera",
    "plot_pull_up.svg.tera",
    "plot_style.svg.tera",
    "plot_wear.svg.tera",
    "report.md.tera",
    "rust_candidates.rs.tera",
    "rust_config.rs.tera",
    "rust_crate_driver.toml.tera",
    "rust_crate_lib.rs.tera",
    "rust_crate_manifest.toml.tera",
    "rust_module.rs.tera",
    "rust_regions.rs.tera",
    "timing.svg.tera",
    "trial.html.tera",
];

/// How a text that is not ours is made harmless.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Language {
    /// Rust and C.
    Source,
    /// HTML, its style sheet, and SVG.
    Html,
    /// Markdown.
    Markdown,
    /// TOML: values come as finished literals.
    Finished,
}

impl Language {
    /// The language of a template, by the end of its name.
    fn of(name: &str) -> Self {
        match name.trim_end_matches(".tera").rsplit('.').next() {
            Some("html" | "svg" | "css") => Self::Html,
            Some("md") => Self::Markdown,
            Some("toml") => Self::Finished,
            _ => Self::Source,
        }
    }

    fn parsed(self) -> Tera {
        let mut tera = Tera::default();
        let ours = TEMPLATES.iter().copied().filter(|(name, _)| Self::of(name) == self);
        tera.add_raw_templates(ours).expect("embedded templates are well formed");
        tera.autoescape_on(if self == Self::Finished { vec![] } else { vec![".tera"] });
        tera.set_escape_fn(match self {
            Self::Markdown => document::markdown,
            Self::Html => document::html,
            Self::Source | Self::Finished => source::harmless,
        });
        tera.register_filter("rust_text", Literal(source::rust_text));
        tera.register_filter("c_text", Literal(source::c_text));
        tera
    }
}

/// Renders a template with the fields of `values`.
///
/// # Panics
/// When there is no such template, or it uses a name that `values` lacks; tests render every template.
#[must_use]
pub fn render<T: Serialize>(name: &str, values: &T) -> String {
    static SOURCE: LazyLock<Tera> = LazyLock::new(|| Language::Source.parsed());
    static HTML: LazyLock<Tera> = LazyLock::new(|| Language::Html.parsed());
    static MARKDOWN: LazyLock<Tera> = LazyLock::new(|| Language::Markdown.parsed());
    static FINISHED: LazyLock<Tera> = LazyLock::new(|| Language::Finished.parsed());
    let tera = match Language::of(name) {
        Language::Source => &SOURCE,
        Language::Html => &HTML,
        Language::Markdown => &MARKDOWN,
        Language::Finished => &FINISHED,
    };
    let context = Context::from_serialize(values).expect("template values are a struct");
    tera.render(name, &context).expect("a template uses only names that it is given")
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

/// Names that the text of a template uses, those of its loops left out: for tests that it is given all of them.
///
/// Tera fails on an undefined name in `{{ }}` but takes one in `if` as false, so a misspelled condition would
/// drop its block without a word.
#[must_use]
pub fn names(template: &str) -> BTreeSet<String> {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scan_finds_names_in_conditions_and_loops() {
        let text = "{%- if a and not b.c %}{{ d | indent(prefix=\"x\", first=true) | safe }}{% for e in f %}{{ e.g }}{% endfor %}";
        let found: Vec<String> = names(text).into_iter().collect();
        assert_eq!(found, ["a", "b.c", "d", "e.g", "f"]);
    }

    #[test]
    fn every_file_of_the_folder_is_listed() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
        let names = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
        let mut found: Vec<String> = names.filter(|name| name.ends_with(".tera")).collect();
        found.sort();
        assert_eq!(found, TEMPLATES.iter().map(|(name, _)| *name).collect::<Vec<_>>());
    }
}
