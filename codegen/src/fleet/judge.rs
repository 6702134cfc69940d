//! Judging in parallel.

use rayon::prelude::*;

use super::{BoardAnswer, Job};
use crate::swap::{Fitted, Judgement};

/// Judges every candidate of every job, by rules and by simulation, on all processors. Answers are in the order of the
/// jobs, the judgements of a board best first.
#[must_use]
pub fn judge_all(jobs: Vec<Job<'_>>) -> Vec<BoardAnswer> {
    // Judgements differ much in time, so no thread takes more than one at once.
    jobs.into_par_iter()
        .with_max_len(1)
        .map(|job| {
            let fitted = Fitted::new(&job.board, job.old);
            let mut judgements: Vec<Judgement> =
                job.candidates.par_iter().with_max_len(1).map(|new| fitted.judge(new)).collect();
            judgements.sort_by_key(|judgement| {
                (judgement.verdict, judgement.worst_case, judgement.provided_that.len(), judgement.findings.len())
            });
            BoardAnswer { board: job.board, judgements }
        })
        .collect()
}
