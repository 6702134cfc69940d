//! Tables and wrapped paragraphs.

use tabled::builder::Builder;
use tabled::settings::object::Columns;
use tabled::settings::{Alignment, Padding, Style};

use super::{Tone, WIDTH, paint};

/// Alignment of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Texts.
    Left,
    /// Numbers.
    Right,
}

/// Lines of a table without rulers, heading first, columns two spaces apart. Cells may be painted.
///
/// One line per row, so that a caller can set lines of its own between them.
#[must_use]
pub fn table(columns: &[(&str, Align)], rows: Vec<Vec<String>>) -> Vec<String> {
    let mut builder = Builder::default();
    builder.push_record(columns.iter().map(|(name, _)| paint(Tone::Faint, name)));
    for row in rows {
        builder.push_record(row);
    }
    let mut table = builder.build();
    table.with(Style::empty()).with(Padding::new(0, 2, 0, 0));
    for (index, (_, align)) in columns.iter().enumerate() {
        if *align == Align::Right {
            table.modify(Columns::one(index), Alignment::right());
        }
    }
    table.to_string().lines().map(|line| line.trim_end().to_owned()).collect()
}

/// `text` broken into lines of at most [`WIDTH`] columns, the first after `first`, the others after `rest`.
#[must_use]
pub fn wrapped(text: &str, first: &str, rest: &str) -> String {
    wrapped_to(WIDTH, text, first, rest)
}

/// As [`wrapped`], in lines of at most `width` columns.
#[must_use]
pub fn wrapped_to(width: usize, text: &str, first: &str, rest: &str) -> String {
    let options = textwrap::Options::new(width).initial_indent(first).subsequent_indent(rest);
    textwrap::fill(text, options)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_whether_painted_or_not() {
        let rows = vec![
            vec![paint(Tone::Bad, "a"), "1".into(), "x".into()],
            vec!["long".into(), "4096".into(), String::new()],
        ];
        let lines = table(&[("id", Align::Left), ("bytes", Align::Right), ("note", Align::Left)], rows);
        let bare: Vec<String> = lines.iter().map(|line| anstream::adapter::strip_str(line).to_string()).collect();
        assert_eq!(bare, ["id    bytes  note", "a         1  x", "long   4096"]);
    }

    #[test]
    fn paragraphs_keep_within_the_width() {
        let text = "word ".repeat(60);
        let lines = wrapped(text.trim(), "  note: ", "        ");
        assert!(lines.lines().all(|line| line.len() <= WIDTH), "{lines}");
        assert!(lines.lines().skip(1).all(|line| line.starts_with("        word")), "{lines}");
    }
}
