//! Cards whose texts try to become code.

use pagewise_part::card::{Card, NotSafe};
use pagewise_part::fact::Basis;

/// Texts that try to leave a comment or a string literal of Rust or C, or to be taken for a template.
pub const TEXTS: [&str; 18] = [
    "\n}\npub fn evil() {}\n",
    "*/ int evil; /*",
    "\\",
    "ends in a joint \\",
    "blank after the joint \\ ",
    "trigraph ??/",
    "??/\nint evil;",
    "??<%:evil%>",
    "\"; int evil = \"",
    "\"#; fn evil() {} r#\"",
    "{{ version }}{% if digest %}{# evil #}",
    "{% raw %}",
    "\u{2028}int evil;\u{2029}fn evil() {}",
    "\u{85}int evil;\u{b}\u{c}int evil;",
    "\u{202e}live\u{2066}\u{200f}",
    "%s%n\0\u{1b}[31m\u{9b}31m",
    "#include <evil.h>\r#error evil\r\n#![deny(warnings)] compile_error!()",
    "'\"`$(evil)\u{feff}\u{fffd}\u{10ffff}é",
];

/// The card with one of [`TEXTS`] in every place that takes a text.
#[must_use]
pub fn card(card: &Card, text: &str) -> Card {
    let mut card = card.clone();
    let text = text.to_owned();
    (card.name, card.maker, card.document) = (text.clone(), text.clone(), text.clone());
    card.notes = Some(text.clone());
    card.capacity_bytes.basis = Basis::Published { document: text.as_str().into() };
    card.page_bytes.basis = Basis::Derived { document: text.as_str().into() };
    card.write_cycle_max_us.basis = Basis::Assumed { why: text.as_str().into() };
    card.read_wrap_bytes.basis = Basis::Generic { from: text.as_str().into() };
    card.not_safe_on = vec![NotSafe { id: text.clone(), why: text.clone() }];
    card.id = text;
    card
}
