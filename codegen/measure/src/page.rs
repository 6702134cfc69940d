//! The page: a write that is longer than it wraps inside it, and the last bytes win.

use crate::bench::Bench;
use crate::facts::{Facts, Outcome, Page};
use crate::probe::Trouble;

/// Fills in page and page wrap.
pub(crate) fn measure(bench: &mut Bench<'_, '_>, facts: &mut Facts) -> Result<(), Trouble> {
    let header = usize::from(bench.window.width);
    let most = bench.scratch.bytes.min((bench.probe.limits.transfer_bytes - header) as u32);
    // A power of two.
    let bytes = 1 << most.ilog2();
    let (first, second) = (one(bench, bytes)?, one(bench, bytes)?);
    facts.page = match (first, second) {
        (Err(why), _) | (_, Err(why)) => Outcome::not(why),
        (Ok(first), Ok(second)) if first != second => Outcome::not("two long writes did not wrap alike"),
        (Ok(page), _) if page < bytes => Outcome::Measured(Page::Exactly(page)),
        (Ok(page), _) if facts.capacity.value() == Some(&page) => Outcome::Measured(Page::Exactly(page)),
        (Ok(page), _) => Outcome::Measured(Page::AtLeast(page)),
    };
    facts.page_wrap = match facts.page.value() {
        Some(Page::Exactly(page)) if *page < bytes => Outcome::Measured(true),
        Some(_) => Outcome::not(format!("no write was longer than a page: the longest had {bytes} bytes")),
        None => Outcome::not("the page was not measured"),
    };
    Ok(())
}

/// Writes so many bytes at once and says inside how many they wrapped.
fn one(bench: &mut Bench<'_, '_>, bytes: u32) -> Result<Result<u32, String>, Trouble> {
    let (window, start) = (bench.window, bench.scratch.start);
    // Old and new bytes may happen to be equal where two pages differ; other bytes tell them apart.
    for _ in 0..4 {
        let before = bench.probe.peek(window, start, bytes)?;
        let sent = bench.fresh(bytes);
        if bench.probe.store(window.at(start), &sent)?.is_none() {
            return Ok(Err(format!("a write of {bytes} bytes is not acknowledged to its end")));
        }
        let found = bench.probe.peek(window, start, bytes)?;
        let pages = (0..=bytes.ilog2()).map(|bit| 1 << bit);
        let fitting: Vec<u32> = pages.filter(|page| after(&before, &sent, *page) == found).collect();
        match fitting[..] {
            [page] => return Ok(Ok(page)),
            [] if found == before => return Ok(Err("a long write is not stored at all".into())),
            [] => return Ok(Err(format!("a write of {bytes} bytes leaves what no page leaves"))),
            _ => {}
        }
    }
    Ok(Err("what was written does not tell pages apart".into()))
}

/// What a page of so many bytes holds afterwards.
fn after(before: &[u8], sent: &[u8], page: u32) -> Vec<u8> {
    let mut found = before.to_vec();
    for (index, byte) in sent.iter().enumerate() {
        found[index % page as usize] = *byte;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_bytes_win_inside_the_page() {
        let sent: Vec<u8> = (1..=8).collect();
        assert_eq!(after(&[0; 8], &sent, 4), [5, 6, 7, 8, 0, 0, 0, 0]);
        assert_eq!(after(&[0; 8], &sent, 8), sent);
        assert_eq!(after(&[0; 8], &sent, 1), [8, 0, 0, 0, 0, 0, 0, 0]);
    }
}
