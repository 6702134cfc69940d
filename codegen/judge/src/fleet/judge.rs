//! Judging in parallel.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::{BoardAnswer, BoardOutcomes, Job};
use crate::stock::{Offer, Stock};
use crate::swap::{Accept, Fitted, Judgement, Verdict};

/// Boards whose whole judgements are in memory at once.
const AT_ONCE: usize = 16;

/// Judges every candidate of every job, by rules and by simulation, on all processors. Answers are in the order of the
/// jobs, the judgements of a board best first, new
/// settings being accepted.
#[must_use]
pub fn judge_all(jobs: Vec<Job<'_>>) -> Vec<BoardAnswer> {
    let mut answers = Vec::with_capacity(jobs.len());
    judge_each(jobs, None, Verdict::Reconfigure.into(), &|| (), |_, answer| answers.push(answer));
    answers
}

/// The same, board by board: `each` gets every answer in the order of the jobs, with its outcomes, as soon as it is
/// there, so that no more of it is kept than is wanted. `done` is called once for each board when it is judged. The
/// judgements are ranked as [`Judgement::rank`] has it, then, with a stock list, by availability and yearly cost.
pub fn judge_each(
    jobs: Vec<Job<'_>>,
    stock: Option<&Stock>,
    accept: Accept,
    done: &(dyn Fn() + Sync),
    mut each: impl FnMut(BoardOutcomes, BoardAnswer),
) {
    let mut jobs = jobs.into_iter();
    loop {
        let some: Vec<Job<'_>> = jobs.by_ref().take(AT_ONCE).collect();
        if some.is_empty() {
            return;
        }
        // Judgements differ much in time, so no thread takes more than one at once.
        let judged: Vec<_> = some
            .into_par_iter()
            .with_max_len(1)
            .map(|job| {
                let answer = judged(job, stock, accept);
                done();
                answer
            })
            .collect();
        judged.into_iter().for_each(|(outcomes, answer)| each(outcomes, answer));
    }
}

fn judged(job: Job<'_>, stock: Option<&Stock>, accept: Accept) -> (BoardOutcomes, BoardAnswer) {
    let fitted = Fitted::new(&job.board, job.old);
    let mut judgements: Vec<Judgement> =
        job.candidates.par_iter().with_max_len(1).map(|new| fitted.judge_with(new, job.recording.as_deref())).collect();
    let volume = job.board.yearly_volume;
    let offer = |candidate: &str| stock.and_then(|stock| stock.offer(candidate, volume));
    let offers: BTreeMap<String, Offer> =
        judgements.iter().filter_map(|j| Some((j.candidate.clone(), offer(&j.candidate)?))).collect();
    judgements.sort_by_key(|judgement| {
        let offer = offers.get(&judgement.candidate);
        (
            judgement.rank(accept),
            offer.is_none(),
            offer.map(Offer::rank),
            judgement.worst_case,
            judgement.provided_that.len(),
            judgement.findings.len(),
        )
    });
    let answer = BoardAnswer { board: job.board, judgements, offers };
    (BoardOutcomes::of(job.place, &job.old.id, &answer), answer)
}
