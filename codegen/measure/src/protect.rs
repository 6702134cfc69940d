//! Write protection by the WP pin, which a person moves.
//!
//! Beyond the scratch range only bytes that are there already are written, the first and the last one of each eighth of
//! the array: the answer tells whether they are protected, and nothing changes.

use crate::bench::Bench;
use crate::facts::{Facts, Outcome, Protection, Stretch};
use crate::probe::Trouble;
use pagewise_part::card::Answer;

/// Whoever can move the WP pin.
pub trait Hand {
    /// Asks for the pin at this level; returns whether it is there now.
    fn tie_wp(&mut self, high: bool) -> bool;
    /// Asks for the pin where it was before.
    fn as_before(&mut self);
}

/// What became of a write.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Write {
    acknowledged: bool,
    busy: bool,
    stored: bool,
}

impl Write {
    /// How a write that was not stored was answered.
    const fn answer(self) -> Answer {
        match (self.acknowledged, self.busy) {
            (false, _) => Answer::NackData,
            (true, true) => Answer::AckBusy,
            (true, false) => Answer::AckReady,
        }
    }
}

/// Fills in the protection.
pub(crate) fn measure(bench: &mut Bench<'_, '_>, facts: &mut Facts, hand: &mut dyn Hand) -> Result<(), Trouble> {
    if facts.byte_cycle.value().is_none() {
        facts.protection = Outcome::not("no write cycle was seen, so that answers do not tell");
        return Ok(());
    }
    let mut tried = Vec::new();
    for high in [true, false] {
        if !hand.tie_wp(high) {
            facts.protection = Outcome::not("the pin was not moved");
            return Ok(());
        }
        tried.push((high, write(bench)?));
    }
    let found = outcome(bench, facts, hand, tried)?;
    hand.as_before();
    facts.protection = found;
    Ok(())
}

fn outcome(
    bench: &mut Bench<'_, '_>,
    facts: &Facts,
    hand: &mut dyn Hand,
    tried: Vec<(bool, Write)>,
) -> Result<Outcome<Protection>, Trouble> {
    let kept: Vec<(bool, Write)> = tried.into_iter().filter(|(_, write)| !write.stored).collect();
    let [(high, first)] = kept[..] else {
        if kept.is_empty() {
            return Ok(Outcome::Measured(Protection { active_high: None, answer: None, protected: None }));
        }
        let why = "nothing is stored at either level of WP: the place is protected otherwise, or the pin did not move";
        return Ok(Outcome::not(why));
    };
    if !hand.tie_wp(high) {
        return Ok(Outcome::not("the pin was not moved"));
    }
    let answer = first.answer();
    let protected = stretches(bench, facts, answer)?;
    if !hand.tie_wp(!high) || !write(bench)?.stored {
        let text = "WP still protects: tie it to the other level, then put back with --restore";
        return Err(Trouble::Part(text.into()));
    }
    Ok(Outcome::Measured(Protection { active_high: Some(high), answer: Some(answer), protected }))
}

/// A byte into the scratch range.
fn write(bench: &mut Bench<'_, '_>) -> Result<Write, Trouble> {
    let place = bench.window.at(bench.scratch.start);
    let before = bench.probe.read(place, 1)?[0];
    let data = before ^ 0x5A;
    let acknowledged = bench.probe.send(place, &[data])?;
    let busy = bench.probe.settle(place)?.at_least_ns > 0;
    let stored = bench.probe.read(place, 1)?[0] == data;
    Ok(Write { acknowledged, busy, stored })
}

/// The eighths of the array that are protected now, joined.
fn stretches(bench: &mut Bench<'_, '_>, facts: &Facts, answer: Answer) -> Result<Option<Vec<Stretch>>, Trouble> {
    let Some(capacity) = facts.capacity.value().filter(|_| bench.blocks.is_empty() && bench.window.width > 0) else {
        return Ok(None);
    };
    if answer == Answer::AckBusy {
        return Ok(None);
    }
    let eighth = capacity / 8;
    let mut protected: Vec<Stretch> = Vec::new();
    for index in 0..8 {
        let start = index * eighth;
        let (first, last) = (refuses(bench, start)?, refuses(bench, start + eighth - 1)?);
        if first != last {
            return Ok(None);
        }
        match protected.last_mut() {
            _ if !first => {}
            Some(last) if last.start + last.bytes == start => last.bytes += eighth,
            _ => protected.push(Stretch { start, bytes: eighth }),
        }
    }
    Ok(Some(protected))
}

/// Whether the byte that is there already is not taken at this offset.
fn refuses(bench: &mut Bench<'_, '_>, offset: u32) -> Result<bool, Trouble> {
    let place = bench.window.at(offset);
    let same = bench.probe.read(place, 1)?;
    let acknowledged = bench.probe.send(place, &same)?;
    let busy = bench.probe.settle(place)?.at_least_ns > 0;
    Ok(!(acknowledged && busy))
}
