//! Reductions, greedy choice, and branch and bound.

use bit_set::BitSet;

/// Boards still open and the parts still in question. Positions are those of the caller throughout.
pub(super) struct Problem {
    /// Parts that serve each board; only boards that have one.
    boards: Vec<BitSet>,
    /// Parts that are chosen in any case.
    forced: Vec<usize>,
    /// The most boards that one part serves, before anything was set aside.
    widest: usize,
    /// Boards that have a part.
    served: usize,
}

pub(super) struct Found {
    pub(super) parts: Vec<usize>,
    pub(super) at_least: usize,
    pub(super) greedy: usize,
}

struct Search<'p> {
    boards: &'p [BitSet],
    /// Boards that each part serves.
    parts: Vec<BitSet>,
    best: Vec<usize>,
    left: u64,
}

impl Problem {
    pub(super) fn new(boards: &[Vec<usize>]) -> Self {
        let mut rows: Vec<BitSet> =
            boards.iter().filter(|parts| !parts.is_empty()).map(|parts| parts.iter().copied().collect()).collect();
        let served = rows.len();
        let widest = columns(&rows).iter().map(BitSet::count).max().unwrap_or(0);
        let mut forced = Vec::new();
        loop {
            let before = (rows.len(), rows.iter().map(BitSet::count).sum::<usize>());
            set_aside_boards(&mut rows);
            set_aside_parts(&mut rows);
            // A board with one part left decides for it.
            while let Some(only) = rows.iter().find(|row| row.count() == 1).and_then(|row| row.iter().next()) {
                forced.push(only);
                rows.retain(|row| !row.contains(only));
            }
            if before == (rows.len(), rows.iter().map(BitSet::count).sum()) {
                return Self { boards: rows, forced, widest, served };
            }
        }
    }

    pub(super) fn solve(&self, nodes: u64) -> Found {
        let parts = columns(&self.boards);
        let all: BitSet = (0..self.boards.len()).collect();
        let greedy = greedy(&parts, &all);
        let mut search = Search { boards: &self.boards, parts, best: greedy.clone(), left: nodes };
        let apart = search.apart(&all);
        search.branch(&all, &mut Vec::new());
        let mut chosen = [self.forced.as_slice(), &search.best].concat();
        chosen.sort_unstable();
        let greedy = self.forced.len() + greedy.len();
        // Left over nodes mean that nothing was left out.
        let at_least = if search.left > 0 { chosen.len() } else { self.bound(self.forced.len() + apart, greedy) };
        Found { parts: chosen, at_least, greedy }
    }

    /// No choice is below this: boards that share no part need one each, a part serves at most `widest` boards, and
    /// greedy takes at most H(widest) times the fewest.
    fn bound(&self, apart: usize, greedy: usize) -> usize {
        let by_width = self.served.div_ceil(self.widest.max(1));
        let harmonic: f64 = (1..=self.widest.max(1)).map(|n| 1.0 / n as f64).sum();
        // A little is taken off, so that rounding never claims too much.
        let by_greedy = (greedy as f64 / harmonic - 1e-9).ceil() as usize;
        apart.max(by_width).max(by_greedy)
    }
}

/// The boards that each part serves.
fn columns(rows: &[BitSet]) -> Vec<BitSet> {
    let width = rows.iter().flat_map(BitSet::iter).max().map_or(0, |last| last + 1);
    let mut columns = vec![BitSet::new(); width];
    for (board, row) in rows.iter().enumerate() {
        for part in row.iter() {
            columns[part].insert(board);
        }
    }
    columns
}

/// A board whose parts include all parts of another board is served whenever that one is.
fn set_aside_boards(rows: &mut Vec<BitSet>) {
    rows.sort_by_key(BitSet::count);
    let mut kept: Vec<BitSet> = Vec::new();
    for row in rows.drain(..) {
        if !kept.iter().any(|other| other.is_subset(&row)) {
            kept.push(row);
        }
    }
    *rows = kept;
}

/// A part that serves no board beyond those of another part is never needed; of equals the first stays.
fn set_aside_parts(rows: &mut [BitSet]) {
    let columns = columns(rows);
    for (part, boards) in columns.iter().enumerate().filter(|(_, boards)| !boards.is_empty()) {
        let better = |(other, wider): (usize, &BitSet)| {
            other != part && boards.is_subset(wider) && (boards != wider || other < part)
        };
        if columns.iter().enumerate().any(better) {
            rows.iter_mut().for_each(|row| {
                row.remove(part);
            });
        }
    }
}

fn greedy(parts: &[BitSet], all: &BitSet) -> Vec<usize> {
    let (mut open, mut chosen) = (all.clone(), Vec::new());
    while !open.is_empty() {
        let gain = |part: &usize| parts[*part].intersection(&open).count();
        // The first of equals.
        let Some(best) = (0..parts.len()).rev().max_by_key(gain) else { break };
        open.difference_with(&parts[best]);
        chosen.push(best);
    }
    chosen
}

impl Search<'_> {
    /// How many open boards share no part with each other, counted greedily: each needs a part of its own.
    fn apart(&self, open: &BitSet) -> usize {
        let mut taken = BitSet::new();
        let mut count = 0;
        // Boards are sorted by the number of their parts.
        for board in open.iter() {
            if self.boards[board].is_disjoint(&taken) {
                taken.union_with(&self.boards[board]);
                count += 1;
            }
        }
        count
    }

    fn branch(&mut self, open: &BitSet, chosen: &mut Vec<usize>) {
        let Some(board) = open.iter().next() else {
            if chosen.len() < self.best.len() {
                self.best.clone_from(chosen);
            }
            return;
        };
        if self.left == 0 || chosen.len() + self.apart(open) >= self.best.len() {
            return;
        }
        self.left -= 1;
        let mut choices: Vec<usize> = self.boards[board].iter().collect();
        choices.sort_by_key(|part| std::cmp::Reverse(self.parts[*part].intersection(open).count()));
        for part in choices {
            let mut rest = open.clone();
            rest.difference_with(&self.parts[part]);
            chosen.push(part);
            self.branch(&rest, chosen);
            chosen.pop();
        }
    }
}
