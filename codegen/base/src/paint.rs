//! Colours by meaning, and texts of others made harmless for a terminal.

use anstyle::{AnsiColor, Style};

/// What a coloured piece of text means; the colours are chosen here and nowhere else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// A heading.
    Heading,
    /// The thing that the reader looks for: an identifier, a changed value.
    Strong,
    /// Good news: drop-in, kept.
    Good,
    /// Needs attention: reconfigure, an assumed value.
    Caution,
    /// Needs work: rework.
    Serious,
    /// Bad news: reject, lost bytes.
    Bad,
    /// Less important: rulers, footnotes, sources.
    Faint,
}

impl Tone {
    /// Every tone.
    const ALL: [Self; 7] =
        [Self::Heading, Self::Strong, Self::Good, Self::Caution, Self::Serious, Self::Bad, Self::Faint];

    const fn style(self) -> Style {
        let plain = Style::new();
        match self {
            Self::Heading => plain.bold().underline(),
            Self::Strong => plain.bold(),
            Self::Good => plain.fg_color(Some(anstyle::Color::Ansi(AnsiColor::Green))).bold(),
            Self::Caution => plain.fg_color(Some(anstyle::Color::Ansi(AnsiColor::Yellow))),
            Self::Serious => plain.fg_color(Some(anstyle::Color::Ansi(AnsiColor::Magenta))).bold(),
            Self::Bad => plain.fg_color(Some(anstyle::Color::Ansi(AnsiColor::Red))).bold(),
            Self::Faint => plain.dimmed(),
        }
    }
}

/// `text` in the colours of `tone`; an empty text stays empty.
#[must_use]
pub fn paint(tone: Tone, text: impl AsRef<str>) -> String {
    let text = text.as_ref();
    if text.is_empty() {
        return String::new();
    }
    let style = tone.style();
    format!("{style}{text}{style:#}")
}

/// A text from a card or a board file, made harmless to show: control characters (escape sequences among them) and
/// characters that reorder a line become `?`, line ends and tabs become spaces.
#[must_use]
pub fn plain(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => ' ',
            c if steers(c) => '?',
            c => c,
        })
        .collect()
}

/// A finished text for a terminal in which nothing but our own colours and line ends steers it: whatever else of that kind
/// got in, from a file of the user's for example, becomes `?`.
///
/// Every text of others should have gone through [`plain`] before; this holds for the one that was forgotten.
///
/// ```
/// use pagewise_base::paint::{Tone, paint, settled};
///
/// let painted = paint(Tone::Bad, "lost");
/// assert_eq!(settled(&format!("{painted}\n\u{1b}]0;x\u{7}")), format!("{painted}\n?]0;x?"));
/// ```
#[must_use]
pub fn settled(text: &str) -> String {
    let own: Vec<String> = Tone::ALL
        .iter()
        .flat_map(|tone| [tone.style().render().to_string(), tone.style().render_reset().to_string()])
        .collect();
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let own =
            own.iter().filter(|sequence| rest.starts_with(sequence.as_str())).max_by_key(|sequence| sequence.len());
        let taken = own.map_or(c.len_utf8(), String::len);
        match own {
            Some(sequence) => out.push_str(sequence),
            None if c != '\n' && steers(c) => out.push('?'),
            None => out.push(c),
        }
        rest = &rest[taken..];
    }
    out
}

/// Whether a character steers a terminal or makes a line look other than it is.
#[must_use]
pub fn steers(c: char) -> bool {
    c.is_control() || reorders(c)
}

/// Bidirectional controls, which make a line look other than it is.
const fn reorders(c: char) -> bool {
    matches!(c, '\u{61C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_of_others_cannot_steer_the_terminal() {
        assert_eq!(plain("a\x1b[31mb\nc\u{202E}d\u{9b}e\te\u{b5}"), "a?[31mb c?d?e e\u{b5}");
    }

    #[test]
    fn stripping_the_colours_gives_the_text_back() {
        let painted = format!("{}{}", paint(Tone::Bad, "lost"), paint(Tone::Good, ""));
        assert_ne!(painted, "lost");
        assert_eq!(anstream::adapter::strip_str(&painted).to_string(), "lost");
    }
}
