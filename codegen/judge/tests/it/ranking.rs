//! The order of a board's candidates, and what of it is accepted.

use std::path::Path;

use pagewise_judge::fleet::{self, BoardOutcomes, Candidates, Summary};
use pagewise_judge::swap::{Accept, Judgement, Verdict};
use pagewise_part::card::Catalogue;

fn unconditional(judgement: &Judgement) -> bool {
    judgement.provided_that.is_empty()
}

/// A package that no list has, or a pin that lies elsewhere: nothing but another board helps.
fn misfit(judgement: &Judgement) -> bool {
    judgement.findings.iter().any(|finding| finding.rule == "footprint" && finding.proviso.is_none())
}

/// The example boards against every card, once for what each of the four verdicts accepts.
#[test]
fn what_stands_without_a_condition_comes_first_and_what_does_not_fit_never_leads() {
    let catalogue = Catalogue::embedded().unwrap();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards");
    let read = fleet::files::read(&[folder], &catalogue, &std::collections::BTreeMap::new()).unwrap();
    let boards = read.boards.into_iter().map(|(board, _)| board).collect();
    let (mut conditional, mut misfits, mut covers) = (0, 0, 0);
    let jobs = fleet::jobs(&catalogue, boards, Candidates::All).unwrap();
    let mut outcomes: Vec<BoardOutcomes> = Vec::new();
    fleet::judge_each(jobs, None, Verdict::Reconfigure.into(), &|| (), |outcome, answer| {
        let judgements = &answer.judgements;
        let usable: Vec<_> = judgements.iter().take_while(|it| it.verdict <= Verdict::Reconfigure).collect();
        let led = usable.iter().take_while(|judgement| unconditional(judgement)).count();
        assert!(!usable[led..].iter().any(|judgement| unconditional(judgement)), "{}", answer.board.name);
        assert!(usable[..led].is_sorted_by_key(|judgement| judgement.verdict));
        conditional += usable.len() - led;
        let rest = &judgements[usable.len()..];
        assert!(rest.iter().all(|judgement| judgement.verdict > Verdict::Reconfigure));
        let first = rest.iter().position(misfit).unwrap_or(rest.len());
        assert!(!usable.iter().any(|judgement| misfit(judgement)), "{}", answer.board.name);
        assert!(rest[first..].iter().all(|it| misfit(it) || it.verdict == Verdict::Reject), "{}", answer.board.name);
        misfits += rest.iter().filter(|judgement| misfit(judgement)).count();
        outcomes.push(outcome);
    });
    assert!(conditional > 100 && misfits > 100, "{conditional} with a condition, {misfits} that do not fit");
    for worst in Verdict::ALL {
        for accept in [Accept::from(worst), Accept::from(worst).granting()] {
            let cover = Summary::of(&outcomes, accept).cover;
            for taker in cover.parts.iter().flat_map(|part| &part.boards) {
                assert!(taker.verdict <= worst, "{accept}: {}", taker.name);
                let resting = !taker.provided_that.is_empty();
                assert!(accept.conditions || worst > Verdict::DropIn || !resting, "{accept}: {}", taker.name);
                covers += usize::from(resting);
            }
            for board in &cover.uncovered {
                assert!(!accept.conditions || !board.with_conditions, "{accept}: {}", board.name);
            }
        }
    }
    assert!(covers > 0, "no chosen part rests on a condition: nothing could have been hidden");
}
