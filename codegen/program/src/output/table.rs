//! Tables and wrapped paragraphs, as wide as the terminal.

use std::io::IsTerminal;
use std::sync::OnceLock;

use tabled::builder::Builder;
use tabled::settings::formatting::AlignmentStrategy;
use tabled::settings::object::Columns;
use tabled::settings::{Alignment, Padding, Style};
use terminal_size::{Width, terminal_size};
use textwrap::core::display_width;

use super::{Tone, WIDTH, paint};
use pagewise_base::words::shortened;

/// How a column stands, and what it gives up where the terminal is narrow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words that decide: never cut.
    Left,
    /// Numbers: never cut.
    Right,
    /// Names: shortened in their middle.
    Name,
    /// Sentences: wrapped, or below the row where there is no room beside whole names. Only the last column can be one.
    Text,
}

/// Narrowest and widest layout.
const BOUNDS: (usize, usize) = (60, 140);
/// Longest line of a paragraph: longer ones are hard to read.
const READABLE: usize = 100;
/// Shortest name that can still be told from others.
const NAME: usize = 9;
/// Narrowest column of sentences.
const SENTENCE: usize = 24;
/// What callers put before the lines of a table.
const INDENT: usize = 4;
const GAP: usize = 2;

/// Columns that answers are laid out for: those of COLUMNS or of the terminal, from 60 to 140; 80 where there is neither.
pub fn width() -> usize {
    static NOW: OnceLock<usize> = OnceLock::new();
    *NOW.get_or_init(|| {
        let said = std::env::var("COLUMNS").ok().and_then(|text| text.parse().ok());
        let seen =
            || std::io::stdout().is_terminal().then(terminal_size).flatten().map(|(Width(width), _)| width.into());
        said.or_else(seen).map_or(WIDTH, |width: usize| width.clamp(BOUNDS.0, BOUNDS.1))
    })
}

/// Lines of a table without rulers, heading first, columns two spaces apart. Cells may be painted.
///
/// One line per row unless a column holds sentences, so that a caller can set lines of its own between them.
#[must_use]
pub fn table(columns: &[(&str, Align)], rows: Vec<Vec<String>>) -> Vec<String> {
    table_in(width() - INDENT, columns, rows)
}

fn table_in(room: usize, columns: &[(&str, Align)], rows: Vec<Vec<String>>) -> Vec<String> {
    let widths = widths(room, columns, &rows);
    let below = columns.last().is_some_and(|(_, align)| *align == Align::Text) && widths.last() == Some(&0);
    let shown = columns.len() - usize::from(below);
    let mut builder = Builder::default();
    let heads = columns.iter().zip(&widths).take(shown).map(|((name, _), width)| head(name, *width));
    builder.push_record(heads);
    let mut texts = Vec::new();
    for mut row in rows {
        texts.push(if below { row.pop().unwrap_or_default() } else { String::new() });
        let cells = row.into_iter().zip(columns).zip(&widths);
        builder.push_record(cells.map(|((cell, (_, align)), width)| fitted(cell, *align, *width)));
    }
    let mut table = builder.build();
    // Each line of a heading is set by itself.
    table.with(Style::empty()).with(Padding::new(0, GAP, 0, 0)).with(AlignmentStrategy::PerLine);
    for (index, (_, align)) in columns.iter().take(shown).enumerate() {
        if *align == Align::Right {
            table.modify(Columns::one(index), Alignment::right());
        }
    }
    let lines = table.to_string();
    let mut lines = lines.lines().map(|line| line.trim_end().to_owned());
    if !below {
        return lines.collect();
    }
    let heads =
        (columns.iter().zip(&widths).take(shown)).map(|((name, _), width)| head(name, *width).lines().count()).max();
    let mut all: Vec<String> = lines.by_ref().take(heads.unwrap_or(1)).collect();
    for (line, text) in lines.zip(texts) {
        all.push(line);
        if !text.is_empty() {
            all.extend(wrapped_to(room, &text, "    ", "    ").lines().map(str::to_owned));
        }
    }
    all
}

/// Width of each column in so much room; 0 for sentences that have none.
fn widths(room: usize, columns: &[(&str, Align)], rows: &[Vec<String>]) -> Vec<usize> {
    let cells = |index: usize| rows.iter().filter_map(move |row| row.get(index)).map(|cell| display_width(cell)).max();
    let whole: Vec<usize> = columns
        .iter()
        .enumerate()
        .map(|(index, (name, _))| cells(index).unwrap_or(0).max(display_width(name)))
        .collect();
    let taken = |widths: &[usize]| widths.iter().sum::<usize>() + GAP * widths.len().saturating_sub(1);
    let mut widths = whole;
    let over = |widths: &[usize]| taken(widths).saturating_sub(room);
    let is = |index: usize, align: Align| columns[index].1 == align;
    let give = |index: usize, least: usize, widths: &mut Vec<usize>| {
        let most = widths[index].saturating_sub(least.min(widths[index]));
        widths[index] -= over(widths).min(most);
    };
    let all = 0..columns.len();
    all.clone().filter(|index| is(*index, Align::Text)).for_each(|index| give(index, SENTENCE, &mut widths));
    // A heading can stand in several lines.
    for index in all.clone() {
        let longest = columns[index].0.split(' ').map(display_width).max().unwrap_or(0);
        give(index, cells(index).unwrap_or(0).max(longest), &mut widths);
    }
    if over(&widths) == 0 {
        return widths;
    }
    if columns.last().is_some_and(|(_, align)| *align == Align::Text) {
        // Below the row sentences have all the room, and names stay whole as long as they can.
        let last = widths.len() - 1;
        let rows: Vec<Vec<String>> = rows.iter().map(|row| row[..last.min(row.len())].to_vec()).collect();
        widths = self::widths(room, &columns[..last], &rows);
        widths.push(0);
        return widths;
    }
    all.filter(|index| is(*index, Align::Name)).for_each(|index| give(index, NAME, &mut widths));
    widths
}

/// A heading in so much room.
fn head(name: &str, width: usize) -> String {
    let lines = textwrap::wrap(name, textwrap::Options::new(width.max(1)).break_words(false));
    lines.iter().map(|line| paint(Tone::Faint, line)).collect::<Vec<_>>().join("\n")
}

/// A cell in so much room.
fn fitted(cell: String, align: Align, width: usize) -> String {
    match align {
        _ if display_width(&cell) <= width => cell,
        Align::Left | Align::Right => cell,
        Align::Name => {
            // What paints it stands before and behind.
            let start = if cell.starts_with('\u{1b}') { cell.find('m').map_or(0, |end| end + 1) } else { 0 };
            let end = cell[start..].find('\u{1b}').map_or(cell.len(), |end| start + end);
            format!("{}{}{}", &cell[..start], shortened(&cell[start..end], width), &cell[end..])
        }
        Align::Text => textwrap::fill(&cell, width.max(1)),
    }
}

/// `text` broken into lines as wide as the terminal, the first after `first`, the others after `rest`.
#[must_use]
pub fn wrapped(text: &str, first: &str, rest: &str) -> String {
    wrapped_to(width().min(READABLE), text, first, rest)
}

/// As [`wrapped`], in lines of at most `width` columns.
#[must_use]
pub fn wrapped_to(width: usize, text: &str, first: &str, rest: &str) -> String {
    // Names of parts and packages stay whole where they can.
    let whole = textwrap::WordSplitter::NoHyphenation;
    let options = textwrap::Options::new(width).initial_indent(first).subsequent_indent(rest).word_splitter(whole);
    textwrap::fill(text, options)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bare(lines: &[String]) -> Vec<String> {
        lines.iter().map(|line| anstream::adapter::strip_str(line).to_string()).collect()
    }

    #[test]
    fn columns_line_up_whether_painted_or_not() {
        let rows = vec![
            vec![paint(Tone::Bad, "a"), "1".into(), "x".into()],
            vec!["long".into(), "4096".into(), String::new()],
        ];
        let lines = table(&[("id", Align::Left), ("bytes", Align::Right), ("note", Align::Left)], rows);
        assert_eq!(bare(&lines), ["id    bytes  note", "a         1  x", "long   4096"]);
    }

    #[test]
    fn names_are_shortened_and_sentences_wrapped_or_put_below() {
        let columns = [("verdict", Align::Left), ("part", Align::Name), ("what changes", Align::Text)];
        let row = || {
            vec![vec![
                "reconfigure".to_owned(),
                paint(Tone::Strong, "WEIR256T-I/SN"),
                "one two three four five six".to_owned(),
            ]]
        };
        let wide = bare(&table_in(80, &columns, row()));
        assert_eq!(wide[1], "reconfigure  WEIR256T-I/SN  one two three four five six");
        let wrapped = bare(&table_in(53, &columns, row()));
        assert_eq!(
            wrapped[1..],
            ["reconfigure  WEIR256T-I/SN  one two three four five", "                            six"]
        );
        let below = bare(&table_in(40, &columns, row()));
        assert_eq!(below, ["verdict      part", "reconfigure  WEIR256T-I/SN", "    one two three four five six"]);
        let short = bare(&table_in(24, &columns, row()));
        assert_eq!(short[1..3], ["reconfigure  WEIR2…-I/SN", "    one two three four"]);
        for lines in [wide, wrapped, short, below] {
            assert!(lines.iter().any(|line| line.contains("reconfigure")), "the verdict is never cut");
        }
    }

    #[test]
    fn headings_stand_in_several_lines_before_a_name_is_cut() {
        let columns = [("part", Align::Name), ("no condition", Align::Right)];
        let lines = bare(&table_in(22, &columns, vec![vec!["at24c256c-x".into(), "7".into()]]));
        assert_eq!(lines, ["part                no", "             condition", "at24c256c-x          7"]);
    }

    #[test]
    fn paragraphs_keep_within_the_width() {
        let text = "word ".repeat(60);
        let lines = wrapped_to(80, text.trim(), "  note: ", "        ");
        assert!(lines.lines().all(|line| line.len() <= WIDTH), "{lines}");
        assert!(lines.lines().skip(1).all(|line| line.starts_with("        word")), "{lines}");
    }
}
