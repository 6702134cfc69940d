//! The planner under every sequence of outcomes: what it may ask for, what it may claim, and that it ends.

use crate::common::{FRAM, KBIT_16, ZERO_BYTE};
use pagewise_driver::plan::{Action, Difference, Failure, Job, Outcome, Plan, State, Step};
use pagewise_driver::{Config, Geometry, Options, Wait};

/// A 16-kbit part with the shortest write cycle that allows two polls.
fn part() -> Geometry {
    Geometry::new(KBIT_16.parameters().with_write_cycle_us(100))
}

/// What a run has shown so far.
#[derive(Debug, Clone, Default)]
struct Run {
    outcomes: Vec<Outcome>,
    steps: Vec<Step>,
}

/// Replays the outcomes; gives the open step, or the end.
fn replay(config: &Config, state: State, job: Job, request: (u32, usize), outcomes: &[Outcome]) -> (Run, End) {
    let mut state = state;
    let mut run = Run::default();
    let mut plan = Plan::new(config, &mut state, job, request.0, request.1).unwrap();
    for outcome in outcomes {
        let step = plan.step();
        assert_eq!(step, plan.step(), "asking twice changes nothing");
        run.steps.push(step);
        run.outcomes.push(*outcome);
        if *outcome == Outcome::Differs {
            plan.found(Difference { index: step.start, expected: 1, found: 2 });
        }
        let before = plan.safe_bytes();
        let result = plan.complete(*outcome);
        assert!(plan.safe_bytes() >= before && plan.safe_bytes() <= request.1);
        if let Err(failure) = result {
            return (run, End::Failed(failure, plan.safe_bytes(), plan.polls()));
        }
    }
    let step = plan.step();
    let end = if step.action == Action::Done { End::Done(plan.safe_bytes()) } else { End::Open(step) };
    (run, end)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    Open(Step),
    Done(usize),
    Failed(Failure, usize, u32),
}

/// Outcomes that a shell can report for a step.
fn possible(action: Action) -> &'static [Outcome] {
    match action {
        Action::Wait => &[Outcome::Done],
        Action::Compare => &[Outcome::Done, Outcome::Differs, Outcome::Nack, Outcome::Failed],
        _ => &[Outcome::Done, Outcome::Nack, Outcome::Failed],
    }
}

/// Visits every sequence of outcomes; gives how many there are.
fn explore(config: &Config, state: State, job: Job, request: (u32, usize), check: &mut dyn FnMut(&Run, End)) -> usize {
    let mut open = vec![Vec::new()];
    let mut ended = 0;
    while let Some(outcomes) = open.pop() {
        let (run, end) = replay(config, state, job, request, &outcomes);
        check(&run, end);
        match end {
            End::Open(step) => {
                assert!(outcomes.len() < 60, "a plan without end: {outcomes:?}");
                for outcome in possible(step.action) {
                    open.push([outcomes.as_slice(), &[*outcome]].concat());
                }
            }
            End::Done(_) | End::Failed(..) => ended += 1,
        }
    }
    ended
}

/// Two bytes from here lie in two pages: at one device address, and at two.
const ACROSS: [u32; 2] = [0x0F, 0xFF];

const JOBS: [Job; 6] = [Job::Read, Job::Write, Job::WriteVerified, Job::Compare, Job::Update, Job::Ready];

/// Bytes that are surely stored or read: those of accesses with their waits done.
fn check_claims(job: Job, request: usize, lazy: bool, cycle: bool, run: &Run, end: End) {
    let pairs: Vec<_> = run.steps.iter().zip(&run.outcomes).collect();
    let safe = match end {
        End::Open(_) => return,
        End::Done(safe) | End::Failed(_, safe, _) => safe,
    };
    let mut surely = 0;
    for (index, (step, outcome)) in pairs.iter().enumerate() {
        let rest = &pairs[index + 1..];
        // Whatever the part answers after a write, it answers after the end of its cycle.
        let answered = rest.iter().any(|(step, outcome)| {
            step.action != Action::Wait && matches!(**outcome, Outcome::Done | Outcome::Differs)
        });
        let last = lazy && job != Job::WriteVerified && step.start + step.length == request;
        let settled = !cycle || answered || last;
        let end_of_step = step.start + step.length;
        match (step.action, outcome) {
            (Action::Read | Action::Compare, Outcome::Done) => surely = surely.max(end_of_step),
            (Action::Write, Outcome::Done) if settled => surely = surely.max(end_of_step),
            _ => {}
        }
    }
    assert!(safe <= surely, "{job:?} claims {safe} of {surely}: {run:?}");
}

#[test]
fn every_sequence_of_outcomes_ends_and_claims_only_what_is_sure() {
    let mut ended = 0;
    for lazy in [false, true] {
        for geometry in [part(), Geometry::new(KBIT_16.parameters().with_write_cycle_us(0))] {
            let options = Options::new().with_poll_interval_us(100).with_margin_percent(0).with_lazy(lazy);
            let config = Config::new(geometry, &options, 17);
            for (job, offset) in JOBS.into_iter().flat_map(|job| ACROSS.map(|offset| (job, offset))) {
                let request = if job == Job::Ready { (0, 0) } else { (offset, 2) };
                ended += explore(&config, State::new(), job, request, &mut |run, end| {
                    let cycle = geometry.write_cycle_us() > 0;
                    check_claims(job, request.1, lazy, cycle, run, end);
                    if let End::Done(safe) = end {
                        let stopped = job == Job::Compare && run.outcomes.contains(&Outcome::Differs);
                        assert!(stopped || safe == request.1);
                    }
                });
            }
        }
    }
    assert!(ended > 1000, "{ended} sequences");
}

#[test]
fn inside_a_write_cycle_only_its_own_device_address_is_asked() {
    let options = Options::new().with_poll_interval_us(100).with_margin_percent(0);
    let config = Config::new(part(), &options, 17);
    let address = |offset| part().locate(offset).device_address;
    for (job, start) in
        [Job::Write, Job::WriteVerified, Job::Update].into_iter().flat_map(|job| ACROSS.map(|start| (job, start)))
    {
        let mut asked_by_access = false;
        explore(&config, State::new(), job, (start, 2), &mut |run, end| {
            let mut written = None;
            let open = if let End::Open(step) = end { Some(step) } else { None };
            for (step, outcome) in
                run.steps.iter().copied().zip(run.outcomes.iter().map(Some)).chain(open.map(|s| (s, None)))
            {
                if let Some(offset) = written {
                    match step.action {
                        Action::Wait => assert_eq!(step.us, 100),
                        Action::Done => panic!("done inside a write cycle: {run:?}"),
                        action => {
                            assert_eq!(address(step.offset), address(offset), "{run:?}");
                            asked_by_access |= action != Action::Poll;
                        }
                    }
                }
                if outcome.is_some_and(|outcome| matches!(outcome, Outcome::Done | Outcome::Differs)) {
                    match step.action {
                        Action::Write => written = Some(step.offset),
                        Action::Wait => {}
                        _ => written = None,
                    }
                }
            }
        });
        // A page at another device address is not asked for; reading back is at the same one.
        assert_eq!(asked_by_access, start == ACROSS[0] || job == Job::WriteVerified);
    }
}

#[test]
fn a_first_write_is_repeated_once_and_only_after_an_answered_poll() {
    let options = Options::new().with_poll_interval_us(0).with_margin_percent(0);
    let config = Config::new(Geometry::new(KBIT_16.parameters().with_write_cycle_us(10)), &options, 17);
    explore(&config, State::new(), Job::Write, (0, 1), &mut |run, end| {
        let writes = run.steps.iter().filter(|step| step.action == Action::Write).count();
        assert!(writes <= 2);
        let kinds: Vec<_> = run.steps.iter().map(|step| step.action).zip(run.outcomes.iter().copied()).collect();
        if let End::Failed(Failure::WriteProtected, ..) = end {
            assert_eq!(kinds.last(), Some(&(Action::Write, Outcome::Nack)));
            assert_eq!(kinds[kinds.len() - 2], (Action::Poll, Outcome::Done));
        }
        if let End::Failed(Failure::NotAnswering, _, polls) = end {
            assert_eq!(kinds[0], (Action::Write, Outcome::Nack));
            assert_eq!(polls, 2);
        }
        if let End::Failed(Failure::WriteCycleOverrun, _, polls) = end {
            assert!(kinds.contains(&(Action::Write, Outcome::Done)));
            assert_eq!(polls, 2);
        }
    });
}

#[test]
fn a_write_that_asks_is_repeated_within_the_bound_and_a_poll_has_the_last_word() {
    let options = Options::new().with_poll_interval_us(100).with_margin_percent(0);
    let cycle = KBIT_16.parameters().with_write_cycle_us(300);
    let config = Config::new(Geometry::new(cycle), &options, 17);
    let mut ends = std::collections::BTreeSet::new();
    explore(&config, State::new(), Job::Write, (ACROSS[0], 2), &mut |run, end| {
        let second: Vec<_> = run.steps.iter().zip(&run.outcomes).skip_while(|(step, _)| step.start == 0).collect();
        let asked = second.iter().take_while(|(step, _)| step.action != Action::Poll);
        assert!(asked.filter(|(step, _)| step.action == Action::Write).count() <= 3);
        let kinds: Vec<_> = run.steps.iter().map(|step| step.action).zip(run.outcomes.iter().copied()).collect();
        if second.is_empty() {
            return;
        }
        match end {
            End::Failed(Failure::WriteCycleOverrun, safe, polls) => {
                assert_eq!((kinds.last(), polls), (Some(&(Action::Poll, Outcome::Nack)), 4));
                ends.insert(("overrun", safe));
            }
            End::Failed(Failure::WriteProtected, safe, _) => {
                assert_eq!(kinds[kinds.len() - 2..], [(Action::Poll, Outcome::Done), (Action::Write, Outcome::Nack)]);
                ends.insert(("protected", safe));
            }
            End::Failed(Failure::NotAnswering, ..) => panic!("a write went before: {run:?}"),
            _ => {}
        }
    });
    // Overrun of the first page, of the second one; the second one refused, which proves that the first one is stored.
    assert_eq!(ends.into_iter().collect::<Vec<_>>(), [("overrun", 0), ("overrun", 1), ("protected", 1)]);
}

/// The tries that follow the write at `index`, up to the first that is answered: pauses left out, the open step too.
fn tries_after(index: usize, run: &Run, end: End) -> Vec<(Action, Option<Outcome>)> {
    let open = if let End::Open(step) = end { Some((step.action, None)) } else { None };
    let done = run.steps.iter().map(|step| step.action).zip(run.outcomes.iter().copied().map(Some));
    let mut tries = Vec::new();
    for (action, outcome) in done.skip(index + 1).chain(open).filter(|(action, _)| *action != Action::Wait) {
        tries.push((action, outcome));
        if outcome != Some(Outcome::Nack) {
            break;
        }
    }
    tries
}

#[test]
fn the_access_that_waits_asks_until_the_last_try_within_the_bound_which_alone_is_a_poll() {
    for (cycle_us, interval_us, tries_max) in [(100, 100, 2), (200, 100, 3), (300, 100, 4), (30, 0, 4)] {
        let options = Options::new().with_poll_interval_us(interval_us).with_margin_percent(0);
        let part = Geometry::new(KBIT_16.parameters().with_write_cycle_us(cycle_us));
        let config = Config::new(part, &options, 17);
        for job in [Job::Write, Job::WriteVerified, Job::Update] {
            let mut longest = 0;
            explore(&config, State::new(), job, (ACROSS[0], 2), &mut |run, end| {
                let mut used_up = false;
                for (index, (step, outcome)) in run.steps.iter().zip(&run.outcomes).enumerate() {
                    if (step.action, *outcome) != (Action::Write, Outcome::Done) {
                        continue;
                    }
                    let asking = match job {
                        Job::WriteVerified => Action::Compare,
                        // Nothing comes after the last page that could ask.
                        _ if step.start + step.length == 2 => Action::Poll,
                        Job::Update => Action::Compare,
                        _ => Action::Write,
                    };
                    let tries = tries_after(index, run, end);
                    for (number, (action, _)) in (1..).zip(&tries) {
                        let expected = if number < tries_max { asking } else { Action::Poll };
                        assert_eq!(*action, expected, "try {number} of {tries_max}, {job:?}: {run:?}");
                    }
                    used_up |= tries.len() == tries_max && tries.iter().all(|(_, o)| *o == Some(Outcome::Nack));
                    longest = longest.max(tries.len());
                }
                let overrun = matches!(end, End::Failed(Failure::WriteCycleOverrun, ..));
                assert_eq!(overrun, used_up, "given up after {tries_max} tries and not before: {run:?}");
            });
            assert_eq!(longest, tries_max, "{job:?}");
        }
    }
}

#[test]
fn an_outcome_that_does_not_fit_the_step_is_an_error() {
    let config = Config::new(part(), &Options::new(), 17);
    for (job, outcome) in
        [(Job::Read, Outcome::Differs), (Job::Write, Outcome::Differs), (Job::Ready, Outcome::Differs)]
    {
        let mut state = State::new();
        let length = if job == Job::Ready { 0 } else { 1 };
        let mut plan = Plan::new(&config, &mut state, job, 0, length).unwrap();
        assert_eq!(plan.complete(outcome), Err(Failure::OutOfStep));
    }
    let mut state = State::new();
    let mut plan = Plan::new(&config, &mut state, Job::Read, 0, 0).unwrap();
    assert_eq!(plan.complete(Outcome::Done), Err(Failure::OutOfStep));
    let mut plan = Plan::new(&config, &mut state, Job::Write, 0, 1).unwrap();
    for outcome in [Outcome::Done, Outcome::Nack] {
        plan.complete(outcome).unwrap();
    }
    assert_eq!(plan.step().action, Action::Wait);
    assert_eq!(plan.complete(Outcome::Nack), Err(Failure::OutOfStep));
}

#[test]
fn a_fixed_wait_never_polls() {
    for geometry in [part(), ZERO_BYTE, FRAM] {
        let config = Config::new(geometry, &Options::new().with_wait(Wait::Fixed).with_margin_percent(50), 17);
        let us = geometry.write_cycle_us() * 3 / 2;
        for job in JOBS {
            let request = if job == Job::Ready { (0, 0) } else { (3, 2) };
            explore(&config, State::new(), job, request, &mut |run, _| {
                assert!(run.steps.iter().all(|step| step.action != Action::Poll));
                assert!(run.steps.iter().all(|step| step.action != Action::Wait || step.us == us));
            });
        }
    }
}

#[test]
fn a_pending_write_is_waited_for_first_at_its_place_by_every_job() {
    let lazy = Config::new(part(), &Options::new().with_lazy(true), 17);
    let mut state = State::new();
    let mut plan = Plan::new(&lazy, &mut state, Job::Write, 0x7F0, 1).unwrap();
    assert_eq!(plan.step().action, Action::Write);
    plan.complete(Outcome::Done).unwrap();
    assert_eq!(plan.step().action, Action::Done);
    assert_eq!(state.pending(), Some(0x7F0));
    for job in JOBS {
        let mut state = state;
        let length = if job == Job::Ready { 0 } else { 1 };
        let mut plan = Plan::new(&lazy, &mut state, job, 0x10, length).unwrap();
        assert_eq!((plan.step().action, plan.step().offset), (Action::Poll, 0x7F0));
        plan.complete(Outcome::Done).unwrap();
        let next = plan.step();
        assert!(next.action == Action::Done || next.offset == 0x10);
        assert_eq!(state.pending().is_some(), next.action == Action::Write);
    }
    let plan = Plan::new(&lazy, &mut state, Job::Read, 0x10, 0).unwrap().step();
    assert_eq!(plan.action, Action::Done, "nothing to do, nothing to wait for");
}

#[test]
fn margin_and_interval_bound_polls_and_waits() {
    let polls = |cycle_us: u32, margin: u16, interval: u32| {
        let geometry = Geometry::new(KBIT_16.parameters().with_write_cycle_us(cycle_us));
        let options = Options::new().with_margin_percent(margin).with_poll_interval_us(interval);
        let config = Config::new(geometry, &options, 17);
        let mut state = State::new();
        let mut plan = Plan::new(&config, &mut state, Job::Ready, 0, 0).unwrap();
        let mut waited = 0u64;
        loop {
            let step = plan.step();
            let outcome = if step.action == Action::Wait { Outcome::Done } else { Outcome::Nack };
            assert!(step.action != Action::Wait || interval > 0, "no pause is asked for where none is wanted");
            waited += if step.action == Action::Wait { u64::from(step.us) } else { 0 };
            if plan.complete(outcome).is_err() {
                assert_eq!(waited, u64::from(plan.waited_us()));
                return plan.polls();
            }
        }
    };
    assert_eq!(polls(5000, 0, 100), 51);
    assert_eq!(polls(5000, 20, 100), 61);
    assert_eq!(polls(5000, 0, 5000), 2);
    assert_eq!(polls(5000, 0, 7000), 2);
    assert_eq!(polls(5000, 0, 0), 501);
    assert_eq!(polls(1, 1, 1), 3);
    assert_eq!(polls(0, 100, 50), 1);
}
