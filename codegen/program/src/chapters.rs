//! The manual in the program: its page is cut into chapters, which `pagewise help TOPIC` shows and `pagewise manual` writes.

use pulldown_cmark::{CodeBlockKind, Event, Options, Parser, Tag, TagEnd};
use roff::{Roff, bold, roman};

use crate::output::{Tone, WIDTH, paint, wrapped, wrapped_to};
use pagewise_base::words::{cut, near};

/// The one source of every chapter.
const MANUAL: &str = include_str!("../README.md");

/// A chapter of the manual.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chapter {
    /// What one asks for: `board-files`.
    pub topic: String,
    /// Its heading: `Board files`.
    pub title: String,
    /// Its text, in Markdown.
    pub text: &'static str,
}

/// A piece of a chapter.
enum Block {
    Heading(String),
    Text { bullet: bool, text: String },
    Code(String),
    Row { head: bool, cells: Vec<String> },
}

/// Every chapter, in the order of the manual.
#[must_use]
pub fn chapters() -> Vec<Chapter> {
    let mut starts = Vec::new();
    let (mut at, mut fenced) = (0, false);
    for line in MANUAL.split_inclusive('\n') {
        fenced ^= line.starts_with("```");
        if !fenced && (line.starts_with("## ") || line.starts_with("### ")) {
            starts.push((at, at + line.len(), line.trim_start_matches('#').trim()));
        }
        at += line.len();
    }
    let ends = starts.iter().skip(1).map(|(start, ..)| *start).chain([MANUAL.len()]);
    let chapter = |((_, from, title), to): (&(usize, usize, &str), usize)| Chapter {
        topic: topic(title),
        title: (*title).to_owned(),
        text: MANUAL[*from..to].trim(),
    };
    starts.iter().zip(ends).map(chapter).collect()
}

/// The words of a heading as one word.
fn topic(title: &str) -> String {
    let words = title.to_lowercase();
    let words = words.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
    words.collect::<Vec<_>>().join("-")
}

/// The chapter that somebody asks for: by its topic, or by a beginning of it that no other has.
///
/// # Errors
/// Topics that resemble it.
pub fn find(asked: &str) -> Result<Chapter, Vec<String>> {
    let (asked, all) = (topic(asked), chapters());
    if let Some(chapter) = all.iter().find(|chapter| chapter.topic == asked) {
        return Ok(chapter.clone());
    }
    let mut begun = all.iter().filter(|chapter| !asked.is_empty() && chapter.topic.starts_with(&asked));
    if let (Some(only), None) = (begun.next(), begun.next()) {
        return Ok(only.clone());
    }
    let near = near(&asked, all.iter().map(|chapter| chapter.topic.as_str()), 3, 4);
    Err(near.into_iter().map(str::to_owned).collect())
}

impl Chapter {
    fn blocks(&self) -> Vec<Block> {
        let (mut blocks, mut text, mut cells) = (Vec::new(), String::new(), Vec::new());
        let (mut bullet, mut fenced) = (false, false);
        for event in Parser::new_ext(self.text, Options::ENABLE_TABLES) {
            match event {
                Event::Start(Tag::CodeBlock(CodeBlockKind::Fenced(_) | CodeBlockKind::Indented)) => fenced = true,
                Event::Start(Tag::Item) => bullet = true,
                Event::End(TagEnd::CodeBlock) => {
                    fenced = false;
                    blocks.push(Block::Code(std::mem::take(&mut text)));
                }
                Event::End(TagEnd::Paragraph | TagEnd::Item) => {
                    if !text.is_empty() {
                        blocks.push(Block::Text { bullet, text: std::mem::take(&mut text) });
                    }
                    bullet = false;
                }
                Event::End(TagEnd::Heading(_)) => blocks.push(Block::Heading(std::mem::take(&mut text))),
                Event::End(TagEnd::TableCell) => cells.push(std::mem::take(&mut text)),
                Event::End(TagEnd::TableHead) => {
                    blocks.push(Block::Row { head: true, cells: std::mem::take(&mut cells) });
                }
                Event::End(TagEnd::TableRow) => {
                    blocks.push(Block::Row { head: false, cells: std::mem::take(&mut cells) });
                }
                Event::Text(piece) => text += &piece,
                Event::Code(piece) => text += &format!("`{piece}`"),
                Event::SoftBreak | Event::HardBreak => text.push(if fenced { '\n' } else { ' ' }),
                _ => {}
            }
        }
        blocks
    }

    /// Its text for a terminal.
    #[must_use]
    pub fn text(&self) -> String {
        let mut out = format!("{}\n", paint(Tone::Heading, &self.title));
        for block in self.blocks() {
            match block {
                Block::Heading(text) => out += &format!("\n{}\n", paint(Tone::Heading, text)),
                Block::Text { bullet: false, text } => out += &format!("\n{}\n", wrapped(&text, "", "")),
                Block::Text { bullet: true, text } => out += &format!("{}\n", wrapped(&text, "- ", "  ")),
                Block::Code(text) => {
                    out.push('\n');
                    text.lines().for_each(|line| out += &format!("    {line}\n"));
                }
                Block::Row { head: true, .. } => out.push('\n'),
                Block::Row { cells, .. } => out += &row(&cells),
            }
        }
        out
    }

    /// Its page for `man`.
    #[must_use]
    pub fn page(&self) -> String {
        let mut page = Roff::new();
        page.control("TH", [format!("pagewise-{}", self.topic).as_str(), "7", "", "Pagewise"]);
        page.control("SH", ["NAME"]);
        page.text([roman(format!("pagewise-{} - {}", self.topic, self.title))]);
        page.control("SH", ["DESCRIPTION"]);
        for block in self.blocks() {
            match block {
                Block::Heading(text) => {
                    page.control("SH", [text.to_uppercase().as_str()]);
                }
                Block::Text { bullet: false, text } => {
                    page.control("PP", []).text([roman(text)]);
                }
                Block::Text { bullet: true, text } => {
                    page.control("IP", ["-", "2"]).text([roman(text)]);
                }
                Block::Code(text) => {
                    page.control("PP", []).control("nf", []);
                    for line in text.lines() {
                        page.text([roman(format!("    {line}"))]);
                    }
                    page.control("fi", []);
                }
                Block::Row { head: true, .. } => {}
                Block::Row { cells, .. } => {
                    page.control("TP", []);
                    let (first, rest) = cells.split_first().map_or(("", &[][..]), |(first, rest)| (first, rest));
                    page.text([bold(first)]).text([roman(rest.join("; "))]);
                }
            }
        }
        page.render()
    }

    /// The first sentence of it, in one line.
    #[must_use]
    pub fn brief(&self) -> String {
        let text = self.blocks().into_iter().find_map(|block| match block {
            Block::Text { text, .. } => Some(text),
            _ => None,
        });
        let text = text.unwrap_or_default();
        let end = text.find(". ").map_or(text.len(), |end| end + 1);
        cut(&text[..end], 60)
    }
}

/// A row of a table: its first cell, then the others below or beside it.
fn row(cells: &[String]) -> String {
    const BESIDE: usize = 16;
    let Some((first, rest)) = cells.split_first() else { return String::new() };
    let rest = rest.iter().filter(|cell| !cell.is_empty()).map(String::as_str).collect::<Vec<_>>().join("; ");
    let indent = " ".repeat(BESIDE + 2);
    if first.chars().count() <= BESIDE {
        let first = format!("  {}", paint(Tone::Strong, format!("{first:<BESIDE$}")));
        return format!("{}\n", wrapped(&rest, &first, &indent));
    }
    let first = wrapped(&paint(Tone::Strong, first), "  ", "  ");
    format!("{first}\n{}\n", wrapped_to(WIDTH, &rest, "      ", "      "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chapters_are_found_by_topic_and_by_a_beginning_of_it() {
        let all = chapters();
        assert!(all.len() > 8, "{all:?}");
        for chapter in &all {
            assert_eq!(find(&chapter.topic).as_ref(), Ok(chapter));
            assert_eq!(find(&chapter.title).as_ref(), Ok(chapter));
            assert!(!chapter.text.is_empty(), "{}", chapter.topic);
        }
        assert_eq!(find("JSON").map(|chapter| chapter.topic), Ok("json".to_owned()));
        assert_eq!(find("jsno"), Err(vec!["json".to_owned()]));
        assert!(find("").is_err() && find("no such thing").is_err());
    }

    #[test]
    fn every_word_of_a_chapter_is_in_its_text_and_in_its_page() {
        let words = |text: &str| -> Vec<String> {
            let bare = anstream::adapter::strip_str(text).to_string();
            let pieces = bare.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| word.len() > 3);
            pieces.map(str::to_owned).collect()
        };
        for chapter in chapters() {
            // The heads of tables say nothing that the cells do not.
            let head = |line: &&str| !line.starts_with("| ");
            let said = words(&chapter.text.lines().filter(head).collect::<Vec<_>>().join("\n"));
            // Long words are broken where a line ends.
            let squeezed = |text: String| text.split_whitespace().collect::<String>();
            let bare = anstream::adapter::strip_str(&chapter.text()).to_string();
            let (text, page) = (squeezed(bare), squeezed(chapter.page().replace('\\', "")));
            for word in said.iter().filter(|word| !["https", "toml", "json", "console"].contains(&word.as_str())) {
                assert!(text.contains(word.as_str()), "{}: {word} is not on the terminal", chapter.topic);
                assert!(page.contains(word.as_str()), "{}: {word} is not in the page", chapter.topic);
            }
        }
    }
}
