//! What writing past a page end leaves behind: page-wrap.
//!
//! Two marks are looked for. A program that takes the page for larger than it is writes, in each of its blocks, the
//! first page again and again; the pages after it stay blank. And a text that reaches the end of a page goes on at the
//! beginning of the same page, while the next page is blank.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Certainty, Content, Found, blank, found, text};

/// Pages that parts have, in bytes.
const PAGES: [usize; 7] = [4, 8, 16, 32, 64, 128, 256];
/// Times by which a program takes the page for too large, at most.
const LARGEST_FACTOR: usize = 16;

/// What was seen.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(tag = "mark", rename_all = "kebab-case")]
pub enum Wrap {
    /// In each block only the first page holds something.
    BlankPages {
        /// Page of the part in bytes.
        page_bytes: u32,
        /// Page that the program took for granted.
        written_bytes: u32,
        /// Blocks in a row.
        blocks: u32,
    },
    /// A text ends at a page end and goes on at the beginning of that page.
    SplitText {
        /// Page of the part in bytes.
        page_bytes: u32,
        /// The text, put together.
        text: String,
    },
}

/// Marks of page wraps in what nothing else explains.
pub(super) fn find(block: &[u8], explained: &[bool], page: Option<usize>) -> Vec<Found> {
    let pages: Vec<usize> = match page {
        Some(page) => vec![page],
        None => PAGES.to_vec(),
    };
    let pages: Vec<usize> = pages.into_iter().filter(|page| *page >= 4 && block.len() >= 4 * page).collect();
    // The smaller page that explains blank pages is inside the larger; the larger one says more.
    let mut all: Vec<Found> =
        pages.iter().rev().find_map(|page| blank_pages(block, explained, *page)).into_iter().collect();
    if all.is_empty() {
        all.extend(pages.iter().rev().find_map(|page| split_text(block, explained, *page)));
    }
    all
}

/// The longest row of blocks whose first page is full and whose other pages are blank.
fn blank_pages(block: &[u8], explained: &[bool], page: usize) -> Option<Found> {
    let mut best: Option<(usize, usize, usize)> = None;
    let mut written = 2 * page;
    while written <= LARGEST_FACTOR * page && 2 * written <= block.len() {
        let like = |part: &[u8], known: &[bool]| {
            let (first, others) = part.split_at(page);
            !known.contains(&true) && full(first) && blank(others).is_some()
        };
        let parts = block.chunks_exact(written).zip(explained.chunks_exact(written));
        let (mut row, mut at) = (0, 0);
        for (index, (part, known)) in parts.enumerate() {
            if like(part, known) {
                if row == 0 {
                    at = index * written;
                }
                row += 1;
                if row >= 2 && best.is_none_or(|(blocks, ..)| row > blocks) {
                    best = Some((row, written, at));
                }
            } else {
                row = 0;
            }
        }
        written *= 2;
    }
    let (blocks, written, at) = best?;
    let sure = if blocks >= 4 { Certainty::Likely } else { Certainty::Possible };
    let because = format!(
        "{blocks} times in a row {page} bytes that hold something and {} that hold nothing, as when writes of {written} \
         bytes go to a part whose page is {page}: each such write leaves only its last {page} bytes, the others are lost",
        written - page
    );
    let wrap = Wrap::BlankPages { page_bytes: page as u32, written_bytes: written as u32, blocks: blocks as u32 };
    Some(found(Content::PageWrap(wrap), at, blocks * written, sure, because))
}

/// Whether a page holds something from its first to its last byte: no blank stretch of a quarter of it, neither end
/// blank for longer than a byte or two.
fn full(page: &[u8]) -> bool {
    let stretch = (page.len() / 4).max(2);
    !page.windows(stretch).any(|part| blank(part).is_some())
}

/// A page whose end and beginning are one text with a blank gap between them, before a blank page.
fn split_text(block: &[u8], explained: &[bool], page: usize) -> Option<Found> {
    const SHORTEST: usize = 3;
    let places = (0..block.len() / page).map(|index| index * page);
    for at in places {
        let bytes = &block[at..at + page];
        if explained[at..at + page].contains(&true) {
            continue;
        }
        let head = bytes.iter().take_while(|byte| text::printable(**byte)).count();
        let tail = bytes.iter().rev().take_while(|byte| text::printable(**byte)).count();
        if head < SHORTEST || tail < SHORTEST || head + tail >= page || blank(&bytes[head..page - tail]).is_none() {
            continue;
        }
        let next = block.get(at + page..).unwrap_or_default();
        let before = at.checked_sub(1).and_then(|last| block.get(last));
        if blank(&next[..next.len().min(page)]).is_none() || before.is_some_and(|byte| text::printable(*byte)) {
            continue;
        }
        let whole = [&bytes[page - tail..], &bytes[..head]].concat();
        let text = String::from_utf8_lossy(&whole).trim().to_owned();
        let because = format!(
            "{tail} characters reach the page end at {:#06x}, {head} stand at the beginning of the same {page} bytes and \
             none behind it: put together they read `{text}`",
            at + page
        );
        let wrap = Wrap::SplitText { page_bytes: page as u32, text };
        return Some(found(Content::PageWrap(wrap), at, page, Certainty::Possible, because));
    }
    None
}
