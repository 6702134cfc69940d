//! The write cycle: how long the part refuses its address behind a write, and what else it refuses meanwhile.

use crate::bench::Bench;
use crate::facts::{Facts, Outcome, Page, Times, WhileBusy};
use crate::probe::{Busy, Trouble};

/// Times that a question is asked again when the write cycle was over too early to tell.
const AGAIN: u32 = 4;

/// Fills in the times behind so many writes of a byte and of a page.
pub(crate) fn times(bench: &mut Bench<'_, '_>, facts: &mut Facts, writes: u32) -> Result<(), Trouble> {
    facts.byte_cycle = over(bench, writes, 1)?;
    facts.page_cycle = match facts.page.value() {
        Some(Page::Exactly(page) | Page::AtLeast(page)) if *page > 1 => over(bench, writes, *page)?,
        Some(_) => Outcome::not("a page is a byte"),
        None => Outcome::not("the page was not measured"),
    };
    Ok(())
}

fn over(bench: &mut Bench<'_, '_>, writes: u32, bytes: u32) -> Result<Outcome<Times>, Trouble> {
    let places = bench.scratch.bytes / bytes;
    let mut seen: Vec<Busy> = Vec::new();
    for index in 0..writes {
        let at = bench.scratch.start + index % places * bytes;
        let data = bench.fresh(bytes);
        let Some(busy) = bench.probe.store(bench.window.at(at), &data)? else {
            return Ok(Outcome::not(format!("a write of {bytes} bytes is not acknowledged to its end")));
        };
        seen.push(busy);
    }
    seen.sort_by_key(|busy| busy.at_most_ns);
    let Some((shortest, longest)) = seen.first().zip(seen.last()) else {
        return Ok(Outcome::not("no writes were asked for"));
    };
    if seen.iter().all(|busy| busy.at_least_ns == 0) {
        let us = longest.at_most_ns.div_ceil(1000);
        return Ok(Outcome::not(format!(
            "the part answers its first poll each time, within {us} us: no write cycle is seen"
        )));
    }
    let resolution = seen.iter().map(|busy| busy.at_most_ns - busy.at_least_ns).max().unwrap_or(0);
    Ok(Outcome::Measured(Times {
        writes,
        min_us: shortest.at_most_ns.div_ceil(1000),
        median_us: seen[seen.len() / 2].at_most_ns.div_ceil(1000),
        max_us: longest.at_most_ns.div_ceil(1000),
        resolution_us: resolution.div_ceil(1000),
        bytes,
    }))
}

/// Fills in what is refused inside the write cycle.
pub(crate) fn answers(bench: &mut Bench<'_, '_>, facts: &mut Facts) -> Result<(), Trouble> {
    if facts.byte_cycle.value().is_none() {
        facts.busy = Outcome::not("no write cycle was seen");
        return Ok(());
    }
    let main = bench.window.device;
    let Some(reads) = inside(bench, |bench| bench.probe.current(main, &mut [0]))? else {
        facts.busy = Outcome::not("the write cycle is over before a second access");
        return Ok(());
    };
    let other = bench.aliases.iter().chain(&bench.blocks).copied().next();
    let refuses_other_address = match other {
        None => None,
        Some(other) => {
            let place = bench.seen_at(other).at(bench.scratch.start);
            inside(bench, |bench| bench.probe.poll(place))?.map(|answered| !answered)
        }
    };
    facts.busy = if other.is_some() && refuses_other_address.is_none() {
        Outcome::not("the write cycle is over before a second access")
    } else {
        Outcome::Measured(WhileBusy { refuses_write: true, refuses_read: !reads, refuses_other_address })
    };
    Ok(())
}

/// Asks something inside a write cycle: afterwards the cycle still has to run.
fn inside(
    bench: &mut Bench<'_, '_>,
    mut ask: impl FnMut(&mut Bench<'_, '_>) -> Result<bool, Trouble>,
) -> Result<Option<bool>, Trouble> {
    let place = bench.window.at(bench.scratch.start);
    for _ in 0..AGAIN {
        let data = bench.fresh(1);
        bench.probe.send(place, &data)?;
        let answered = ask(bench)?;
        let still = !bench.probe.poll(place)?;
        bench.probe.settle(place)?;
        if still {
            return Ok(Some(answered));
        }
    }
    Ok(None)
}
