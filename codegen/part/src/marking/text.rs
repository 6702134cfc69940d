//! A text in words, and a word in characters that count.

/// Words of a text: separated by blanks, commas, semicolons, vertical bars and line ends. Brackets and quotes around a
/// word do not belong to it.
pub fn words(text: &str) -> impl Iterator<Item = &str> {
    let pieces = text.split(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | '|'));
    pieces
        .map(|word| {
            word.trim_matches(|c: char| matches!(c, '(' | ')' | '[' | ']' | '{' | '}' | '"' | '\'' | '<' | '>'))
        })
        .filter(|word| !word.is_empty())
}

/// A word as a code: its letters and digits in upper case, and where each stands in the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Code<'t> {
    /// The word as it stands in the text.
    pub text: &'t str,
    /// Letters (upper case) and digits, everything else left out.
    pub key: String,
    /// Byte in `text` of each character of `key`.
    at: Vec<usize>,
}

impl<'t> Code<'t> {
    /// The code of a word, unless it holds characters that stand in no order code, or nothing that counts.
    #[must_use]
    pub fn of(text: &'t str) -> Option<Self> {
        let known = |c: char| c.is_ascii_graphic() || c == ' ';
        if text.len() > 64 || !text.chars().all(known) {
            return None;
        }
        let counting = || text.char_indices().filter(|(_, c)| c.is_ascii_alphanumeric());
        let key: String = counting().map(|(_, c)| c.to_ascii_uppercase()).collect();
        (!key.is_empty()).then(|| Self { text, key, at: counting().map(|(at, _)| at).collect() })
    }

    /// Whether something that does not count stands before the character at `index` of the key.
    #[must_use]
    pub fn is_parted_before(&self, index: usize) -> bool {
        index > 0 && self.at.get(index).is_some_and(|at| *at != self.at[index - 1] + 1)
    }

    /// Whether a code that ends before `index` really ends there: it does not cut a number in two.
    #[must_use]
    pub fn ends_at(&self, index: usize) -> bool {
        let digit = |index: usize| self.key.as_bytes().get(index).is_some_and(u8::is_ascii_digit);
        index == 0 || !(digit(index - 1) && digit(index)) || self.is_parted_before(index)
    }

    /// The text that `from..to` of the key covers.
    #[must_use]
    pub fn shown(&self, from: usize, to: usize) -> &'t str {
        match (self.at.get(from), to.checked_sub(1).and_then(|last| self.at.get(last))) {
            (Some(first), Some(last)) if first <= last => &self.text[*first..=*last],
            _ => "",
        }
    }
}

/// Letters and digits of a text in upper case.
#[must_use]
pub fn key(text: &str) -> String {
    text.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_uppercase()).collect()
}
