//! A lower bound for the end of any placement.
//!
//! Lengths are taken as liquids that fill every gap: what a unit that holds fixed things has left takes more of the same
//! class, a free unit takes one class. Things that begin with a unit and fill whole units need free units for
//! themselves. No placement does better than such liquids, since every placement is one way to pour them.

use super::{Class, Fixed, Item, Memory, end};

/// What is to be poured, in bytes; `whole` in units.
#[derive(Debug, Clone, Copy, Default)]
struct Amounts {
    seldom: u64,
    often: u64,
    whole: u64,
}

/// What the first units offer.
#[derive(Debug, Clone, Copy, Default)]
struct Offer {
    seldom: u64,
    often: u64,
    free: u64,
}

/// Smallest end that any placement may have.
pub(super) fn lowest_end(items: &[Item], fixed: &[Fixed], memory: Memory) -> u64 {
    let unit = u64::from(memory.unit);
    let fixed_end = end(fixed);
    let amounts = amounts(items, unit);
    if amounts.fit(Offer::default(), unit) {
        return fixed_end;
    }
    let mut used = used(fixed, unit);
    used.sort_unstable();
    let mut offer = Offer::default();
    let mut index = 0;
    let mut next = 0;
    loop {
        let before = offer;
        let (mut filled, mut class) = (0, Class::Reserved);
        while let Some((_, bytes, other)) = used.get(next).filter(|(at, ..)| *at == index) {
            filled += bytes;
            class = if *other == Class::Reserved { class } else { *other };
            next += 1;
        }
        match class {
            Class::Seldom => offer.seldom += unit - filled,
            Class::Often => offer.often += unit - filled,
            // Taken for free as long as a byte of it is: that only lowers the bound.
            Class::Reserved => offer.free += u64::from(filled < unit),
        }
        if amounts.fit(offer, unit) {
            return fixed_end.max(index * unit + least_in_last(amounts, before, unit));
        }
        // Ends: past the last fixed thing every unit is free, and enough free units take everything.
        index += 1;
    }
}

fn amounts(items: &[Item], unit: u64) -> Amounts {
    let mut amounts = Amounts::default();
    for item in items {
        let (length, align) = (u64::from(item.length), u64::from(item.align));
        if unit > 1 && align % unit == 0 && length % unit == 0 {
            amounts.whole += length / unit;
        } else if item.often {
            amounts.often += length;
        } else {
            amounts.seldom += length;
        }
    }
    amounts
}

/// Unit, bytes taken in it, class: one entry for each fixed thing in each unit.
fn used(fixed: &[Fixed], unit: u64) -> Vec<(u64, u64, Class)> {
    let mut used = Vec::new();
    for thing in fixed {
        let (mut at, end) = (u64::from(thing.offset), u64::from(thing.offset) + u64::from(thing.length));
        while at < end {
            let stop = end.min((at / unit + 1) * unit);
            used.push((at / unit, stop - at, thing.class));
            at = stop;
        }
    }
    used
}

/// Fewest bytes that must lie in the last unit when the units before it do not suffice.
fn least_in_last(amounts: Amounts, before: Offer, unit: u64) -> u64 {
    let fits_with = |part: u64| {
        let seldom = Amounts { seldom: amounts.seldom.saturating_sub(part), ..amounts };
        let often = Amounts { often: amounts.often.saturating_sub(part), ..amounts };
        seldom.fit(before, unit) || often.fit(before, unit)
    };
    (1..unit).find(|part| fits_with(*part)).unwrap_or(unit)
}

impl Amounts {
    fn fit(self, offer: Offer, unit: u64) -> bool {
        let seldom = self.seldom.saturating_sub(offer.seldom).div_ceil(unit);
        let often = self.often.saturating_sub(offer.often).div_ceil(unit);
        seldom + often + self.whole <= offer.free
    }
}
