//! Texts of others in documents: HTML, SVG and Markdown.

use pagewise_base::paint::plain;

/// A text as it can stand in any document: [`plain`], and without the code points that are characters to nobody.
#[must_use]
pub fn sound(text: &str) -> String {
    plain(text).replace(|c| matches!(u32::from(c), 0xFDD0..=0xFDEF) || u32::from(c) & 0xFFFE == 0xFFFE, "?")
}

/// A text as the text of an HTML element or of an attribute in double quotes.
#[must_use]
pub fn html(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len() + 8);
    for c in sound(text).chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            c => escaped.push(c),
        }
    }
    escaped
}

/// A text as Markdown that shows it as it is: no markup, no link, nobody called by name.
///
/// Every ASCII punctuation character may follow a backslash (CommonMark 0.31.2, section 2.4); the characters of HTML
/// become references (section 2.5). A forge finds `@name` and `#12` in the finished text, where no backslash helps, so an
/// invisible word joiner follows `@` and `#`. What means something only at the start of a line is escaped only there.
#[must_use]
pub fn markdown(text: &str) -> String {
    let text = sound(text);
    let mut escaped = String::with_capacity(text.len() + 8);
    for (at, c) in text.char_indices() {
        let (before, after) = (&text[..at], &text[at + c.len_utf8()..]);
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '@' | '#' => escaped.extend(['\\', c, '\u{2060}']),
            _ if means_something(c, before, after) => escaped.extend(['\\', c]),
            c => escaped.push(c),
        }
    }
    escaped
}

fn means_something(c: char, before: &str, after: &str) -> bool {
    match c {
        '-' | '+' | '=' => before.is_empty(),
        '.' if before.to_ascii_lowercase().ends_with("www") => true,
        '.' | ')' => before.bytes().all(|byte| byte.is_ascii_digit()) && (after.is_empty() || after.starts_with(' ')),
        ':' => after.starts_with("//"),
        _ => "\\`*_[]!|~^$".contains(c),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markdown_keeps_a_text_a_text() {
        assert_eq!(markdown("a|b `c` <i>\n# @d"), "a\\|b \\`c\\` &lt;i&gt; \\#\u{2060} \\@\u{2060}d");
        assert_eq!(markdown("1. www.a http://b"), "1\\. www\\.a http\\://b");
    }

    #[test]
    fn numbers_and_names_stay_legible() {
        assert_eq!(markdown("1.8 V, 24LC64 (drop-in), 50 %"), "1.8 V, 24LC64 (drop-in), 50 %");
    }
}
