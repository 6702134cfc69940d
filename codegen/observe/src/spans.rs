//! Sets of byte ranges.

use std::collections::BTreeMap;

/// Ranges that are kept apart; beyond that near ones are taken together.
const MOST: usize = 4096;

/// Ranges of bytes that do not touch each other.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Spans {
    /// Start to end.
    spans: BTreeMap<u32, u32>,
    /// Ranges with gaps between them were joined, because there were too many.
    pub(crate) joined: bool,
}

impl Spans {
    pub(crate) fn add(&mut self, start: u32, len: u32) {
        let (mut start, mut end) = (start, start.saturating_add(len));
        let touching: Vec<u32> =
            self.spans.range(..=end).rev().take_while(|(_, e)| **e >= start).map(|(s, _)| *s).collect();
        for s in touching {
            let e = self.spans.remove(&s).unwrap_or(end);
            (start, end) = (start.min(s), end.max(e));
        }
        self.spans.insert(start, end);
        if self.spans.len() > MOST {
            self.join();
        }
    }

    fn join(&mut self) {
        let gaps = self.spans.iter().zip(self.spans.iter().skip(1)).map(|((s, e), (next, _))| (next - e, *s));
        let Some((_, first)) = gaps.min() else { return };
        let Some(end) = self.spans.get(&first).copied() else { return };
        let Some((next, next_end)) = self.spans.range(end..).next().map(|(s, e)| (*s, *e)) else { return };
        self.spans.remove(&next);
        self.spans.insert(first, next_end);
        self.joined = true;
    }

    /// Start and length of each.
    pub(crate) fn iter(&self) -> impl Iterator<Item = (u32, u32)> + '_ {
        self.spans.iter().map(|(start, end)| (*start, end - start))
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.spans.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_that_touch_become_one() {
        let mut spans = Spans::default();
        for (start, len) in [(10, 5), (20, 5), (0, 3), (15, 5), (22, 1), (30, 2)] {
            spans.add(start, len);
        }
        assert_eq!(spans.iter().collect::<Vec<_>>(), [(0, 3), (10, 15), (30, 2)]);
        (0..3 * MOST as u32).for_each(|i| spans.add(100 + 3 * i, 1));
        assert!(spans.joined && spans.iter().count() <= MOST);
    }
}
