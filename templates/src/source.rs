//! Texts of others in generated source code: inside comments, and as string literals.

use std::fmt::Write as _;

use pagewise_base::paint::plain;

/// A text that stays inside the comment that it is written into: no line end, no control or reordering character, no
/// beginning or end of a block comment, no backslash at its end (which joins lines in C), no `??/` (its trigraph).
#[must_use]
pub fn harmless(text: &str) -> String {
    let mut text = plain(text).replace("*/", "* /").replace("/*", "/ *").replace("??/", "?? /");
    if text.ends_with('\\') {
        text.push('.');
    }
    text
}

/// A Rust string literal of a text: ASCII only, so that nothing in it looks other than it is.
#[must_use]
pub fn rust_text(text: &str) -> String {
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
#[must_use]
pub fn c_text(text: &str) -> String {
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
mod tests {
    use super::*;

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
