//! Evidence: the board's firmware, run against the old and the new simulated chip.
//!
//! The ladder: the firmware as it is; with its settings changed; with the straps changed too. The first rung on which
//! the new part serves is the simulated verdict. Assumptions that a proviso names are taken as fulfilled, and each is
//! then run again as bad as the assumption table has it, so that one can see what it would cost.

use std::sync::Arc;

use pagewise_simulator::Hazard;
use serde::Serialize;

use super::memo::Memo;
use super::{Case, Verdict, as_it_works, remedy, trial};
use crate::board::Region;
use crate::board::{Board, Firmware};
use pagewise_part::card::{Card, Pointer};

/// What the simulation showed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Evidence {
    /// The first rung of the ladder on which the new part serves.
    pub verdict: Verdict,
    /// The firmware as it is on the fitted part.
    pub old: Run,
    /// The firmware as it is on the candidate.
    pub new: Run,
    /// With changed settings, or changed straps too, where that was needed.
    pub changed: Option<Run>,
    /// The firmware as it is on the candidate with every assumption as bad as it can be, where one matters.
    pub worst_case: Option<Run>,
}

/// One run of a firmware on a part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Run {
    /// Everything stored and read back, nothing else touched, nothing reported.
    pub serves: bool,
    /// Page writes sent.
    pub writes: u32,
    /// Bytes written.
    pub bytes: u32,
    /// Bus errors met outside polling.
    pub errors: u32,
    /// Virtual time in microseconds.
    pub time_us: u64,
    /// Hazards that the detectors named.
    pub hazards: Vec<Hazard>,
    /// What went wrong first, in words.
    pub first_loss: Option<String>,
    /// The first failing transaction as the bus saw it.
    pub transaction: Option<String>,
}

/// What every candidate for a board is measured against, and the runs made so far.
#[derive(Debug)]
pub struct Baseline {
    old: Run,
    /// What the firmware expects to read when it reads on after a write: what it reads on the fitted part.
    pub(super) pointers: Option<Vec<u32>>,
    memo: Memo,
}

impl Baseline {
    /// Runs the firmware on the fitted part.
    #[must_use]
    pub fn of(board: &Board, old: &Arc<Card>) -> Self {
        let reads_on = board.firmware.reads_on_after_write;
        let after = |region| pointer_after(&board.firmware, region, old);
        let pointers = reads_on.then(|| trial::written(board).map(after).collect());
        let memo = Memo::default();
        Self { old: memo.run(board, &as_it_works(board, old), None), pointers, memo }
    }
}

/// Runs the ladder for a case: `granted` is the candidate with every proviso granted, `verdict` what the rules say.
#[must_use]
pub fn gather(case: &Case<'_>, granted: &Card, verdict: Verdict, baseline: &Baseline) -> Evidence {
    let board = case.board;
    let (old, expects, memo) = (baseline.old.clone(), baseline.pointers.as_deref(), &baseline.memo);
    let new = memo.run(board, granted, expects);
    let mut evidence = Evidence { verdict: Verdict::DropIn, old, new, changed: None, worst_case: None };
    if *granted != case.new && verdict != Verdict::Reject {
        let worst = memo.run(board, &case.new, expects);
        evidence.worst_case = (!worst.serves).then_some(worst);
    }
    if evidence.new.serves {
        return evidence;
    }
    if let Some(changed) = memo.serves(&remedy::reconfigured(board, granted), granted) {
        return Evidence { verdict: Verdict::Reconfigure, changed: Some(changed), ..evidence };
    }
    let reworked = remedy::reworked(board, granted);
    if let Some(changed) = reworked.and_then(|reworked| memo.serves(&reworked, granted)) {
        return Evidence { verdict: Verdict::Rework, changed: Some(changed), ..evidence };
    }
    Evidence { verdict: Verdict::Reject, ..evidence }
}

/// Where a part's pointer stands after the last page write of a region.
pub(super) fn pointer_after(firmware: &Firmware, region: &Region, card: &Card) -> u32 {
    let Some(last) = firmware.write_pieces(region).pop() else { return region.offset };
    let next = last.offset + last.length;
    let page = card.page_bytes.value;
    let wraps = card.pointer_after_write.value == Pointer::WrappedInPage && page < card.capacity_bytes.value;
    let pointer = if wraps && next % page == 0 { next - page } else { next };
    pointer % card.capacity_bytes.value
}
