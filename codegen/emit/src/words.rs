//! Texts as lines of a comment, numbers as literals.

use pagewise_base::paint::plain;

/// Columns of a comment, its `//` not counted.
const COLUMNS: usize = 100;

/// A text in lines.
pub(super) fn comment(text: &str) -> Vec<String> {
    lines(text, textwrap::Options::new(COLUMNS))
}

pub(super) fn listed(text: &str) -> Vec<String> {
    lines(text, textwrap::Options::new(COLUMNS).initial_indent("- ").subsequent_indent("  "))
}

/// Formatted code has no blanks at the end of a line.
fn lines(text: &str, options: textwrap::Options<'_>) -> Vec<String> {
    textwrap::wrap(plain(text).trim(), options).iter().map(|line| line.trim_end().to_owned()).collect()
}

/// A whole number as Rust's lints want it: groups of three digits above four.
pub(super) fn literal(number: u32) -> String {
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
