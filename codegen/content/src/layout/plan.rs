//! The planner: places what has no fixed offset so that memory ends as early as possible, and proves how well it did.
//!
//! A pure calculation over lengths, with no names and no cards. Memory is cut into *units* (pages, or error-correction
//! groups); a unit never holds bytes of both classes, written often and not.
//!
//! # How it searches
//!
//! Things are placed one after the other, each at the lowest offset that is free. Some order leads to the best
//! placement: take a best placement and place its things anew in the order of their offsets; each goes where it was or
//! lower, since what lies before it has only moved down. Where nothing moves any more, offsets rise from one thing to
//! the next. So it is enough to try orders, and only those in which offsets rise. The search stops at a lower bound that no
//! placement can beat, or when its budget is spent; then the distance to the bound is told.

mod bound;

/// Something to be placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Item {
    /// Bytes, at least 1.
    pub length: u32,
    /// Its offset is a multiple of this, at least 1.
    pub align: u32,
    /// Its class: written often.
    pub often: bool,
}

/// Something that lies where it lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Fixed {
    /// First byte.
    pub offset: u32,
    /// Bytes, at least 1.
    pub length: u32,
    /// What it is.
    pub class: Class,
}

/// What a unit may hold beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Class {
    /// Not written often.
    Seldom,
    /// Written often.
    Often,
    /// Read-only by the part's maker: nothing can lie there, anything beside it; it does not count as in use.
    Reserved,
}

impl Class {
    /// The class of a region.
    #[must_use]
    pub const fn of(often: bool) -> Self {
        if often { Self::Often } else { Self::Seldom }
    }

    /// Whether two things of these classes never share a unit.
    #[must_use]
    pub const fn apart(self, other: Self) -> bool {
        matches!((self, other), (Self::Seldom, Self::Often) | (Self::Often, Self::Seldom))
    }
}

/// The memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Memory {
    /// Bytes.
    pub capacity: u32,
    /// Bytes of a unit, at least 1; 1 keeps nothing apart.
    pub unit: u32,
}

/// A placement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// Offset of each item, in the order in which they were given.
    pub offsets: Vec<u32>,
    /// One past the last byte in use, fixed things included.
    pub end: u32,
    /// No placement ends before this offset.
    pub bound: u32,
    /// Whether no placement ends earlier: the bound is reached, or every order was tried.
    pub best: bool,
}

/// No placement was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NoRoom {
    /// Bytes that any placement needs at least, from offset 0 on.
    pub needed: u64,
    /// Whether it is certain that there is none.
    pub proven: bool,
}

/// Comparisons that one search may spend; tens of milliseconds.
const BUDGET: u64 = 4_000_000;

/// Places `items` around `fixed`, which must neither overlap nor mix classes in a unit.
///
/// # Errors
/// [`NoRoom`].
pub fn place(items: &[Item], fixed: &[Fixed], memory: Memory) -> Result<Plan, NoRoom> {
    let bound = bound::lowest_end(items, fixed, memory);
    let mut search = Search {
        items,
        memory,
        bound,
        taken: fixed.to_vec(),
        offsets: vec![0; items.len()],
        left: vec![true; items.len()],
        best: None,
        budget: BUDGET,
    };
    search.taken.sort_unstable();
    let end = end(fixed);
    for order in orders(items) {
        search.try_order(&order, end);
    }
    // The search for something better begins with the cheap tries' result and may replace it.
    if bound <= u64::from(memory.capacity) && !search.done() {
        search.deeper(0, end, 0);
    }
    let exhausted = search.budget > 0;
    match search.best {
        Some((end, offsets)) => {
            let best = end == bound || exhausted;
            Ok(Plan { offsets, end: end as u32, bound: if best { end } else { bound } as u32, best })
        }
        None => {
            let proven = bound > u64::from(memory.capacity) || exhausted;
            Err(NoRoom { needed: bound.max(1 + u64::from(memory.capacity)), proven })
        }
    }
}

/// One past the last byte of the fixed things in use.
fn end(fixed: &[Fixed]) -> u64 {
    let used = fixed.iter().filter(|thing| thing.class != Class::Reserved);
    used.map(|thing| u64::from(thing.offset) + u64::from(thing.length)).max().unwrap_or(0)
}

/// Orders that are good as a rule: as given, class by class as given, and class by class with the longest first.
fn orders(items: &[Item]) -> Vec<Vec<usize>> {
    let given: Vec<usize> = (0..items.len()).collect();
    let mut orders = Vec::new();
    for often_last in [true, false] {
        let mut order = given.clone();
        order.sort_by_key(|index| items[*index].often == often_last);
        orders.push(order.clone());
        order.sort_by_key(|index| {
            let item = items[*index];
            (item.often == often_last, std::cmp::Reverse((item.align, item.length)))
        });
        orders.push(order);
    }
    orders.push(given);
    orders
}

struct Search<'i> {
    items: &'i [Item],
    memory: Memory,
    bound: u64,
    /// Everything that lies somewhere, sorted by offset.
    taken: Vec<Fixed>,
    offsets: Vec<u32>,
    left: Vec<bool>,
    best: Option<(u64, Vec<u32>)>,
    budget: u64,
}

impl Search<'_> {
    fn done(&self) -> bool {
        self.budget == 0 || self.best.as_ref().is_some_and(|(end, _)| *end <= self.bound)
    }

    fn try_order(&mut self, order: &[usize], end: u64) {
        if self.done() {
            return;
        }
        let before = self.taken.clone();
        let mut last = end;
        let mut whole = true;
        for index in order {
            let Some(offset) = self.lowest(self.items[*index]) else {
                whole = false;
                break;
            };
            last = last.max(self.put(*index, offset));
        }
        if whole {
            self.keep(last);
        }
        self.taken = before;
    }

    /// Tries every order of what is left, offsets rising.
    fn deeper(&mut self, placed: usize, end: u64, from: u32) {
        if placed == self.items.len() {
            return self.keep(end);
        }
        let mut tried: Vec<Item> = Vec::new();
        for index in 0..self.items.len() {
            let item = self.items[index];
            if !self.left[index] || tried.contains(&item) {
                continue;
            }
            if self.done() {
                return;
            }
            tried.push(item);
            let Some(offset) = self.lowest(item).filter(|offset| *offset >= from) else { continue };
            let last = end.max(u64::from(offset) + u64::from(item.length));
            if self.best.as_ref().is_some_and(|(best, _)| last >= *best) {
                continue;
            }
            let at = self.taken.partition_point(|thing| thing.offset < offset);
            self.put(index, offset);
            self.left[index] = false;
            self.deeper(placed + 1, last, offset);
            self.left[index] = true;
            self.taken.remove(at);
        }
    }

    fn keep(&mut self, end: u64) {
        if self.best.as_ref().is_none_or(|(best, _)| end < *best) {
            self.best = Some((end, self.offsets.clone()));
        }
    }

    fn put(&mut self, index: usize, offset: u32) -> u64 {
        let Item { length, often, .. } = self.items[index];
        let at = self.taken.partition_point(|thing| thing.offset < offset);
        self.taken.insert(at, Fixed { offset, length, class: Class::of(often) });
        self.offsets[index] = offset;
        u64::from(offset) + u64::from(length)
    }

    /// Lowest offset at which an item may lie.
    fn lowest(&mut self, item: Item) -> Option<u32> {
        let unit = u64::from(self.memory.unit);
        let (length, align) = (u64::from(item.length), u64::from(item.align));
        let mut at = 0u64;
        for thing in &self.taken {
            self.budget = self.budget.saturating_sub(1);
            let (start, stop) = (u64::from(thing.offset), u64::from(thing.offset) + u64::from(thing.length));
            // Where the other class begins and ends counts in whole units.
            let apart = thing.class.apart(Class::of(item.often));
            let (start, stop) = if apart { (start / unit * unit, stop.div_ceil(unit) * unit) } else { (start, stop) };
            if at < stop && start < at + length {
                at = stop.next_multiple_of(align);
            }
        }
        (at + length <= u64::from(self.memory.capacity)).then_some(at as u32)
    }
}

#[cfg(test)]
mod tests;
