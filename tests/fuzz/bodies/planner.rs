//! Any geometry, any options, any answers of a bus: a plan stays inside its request, keeps to pages and blocks, and
//! ends.

use arbitrary::{Result as Drawn, Unstructured};
use pagewise_driver::plan::{Action, Difference, Failure, Job, Outcome, Plan, PlanError, State, Step};
use pagewise_driver::{Config, Geometry, Options, Parameters, Wait};

const JOBS: [Job; 6] = [Job::Read, Job::Write, Job::WriteVerified, Job::Compare, Job::Update, Job::Ready];

/// Runs up to eight plans one after the other, as a driver would.
///
/// # Errors
/// What did not hold.
pub fn run(bytes: &[u8]) -> Result<(), String> {
    let mut u = Unstructured::new(bytes);
    let Ok((geometry, options, buffer)) = around(&mut u) else { return Ok(()) };
    let Ok(geometry) = Geometry::try_new(geometry) else { return Ok(()) };
    let config = Config::new(geometry, &options, buffer);
    let mut state = State::new();
    for _ in 0..8 {
        if u.is_empty() {
            break;
        }
        let Ok((job, offset, length)) = request(&mut u, &geometry) else { break };
        let limit = buffer.min(options.max_transfer_bytes);
        one(&mut u, &config, &geometry, &mut state, limit, (job, offset, length)).map_err(|reason| {
            format!("{geometry:?} {options:?} buffer {buffer}, {job:?} {offset:#x}+{length}: {reason}")
        })?;
    }
    Ok(())
}

/// Half of the geometries are drawn so that they make sense, the others as the bytes fall.
fn around(u: &mut Unstructured<'_>) -> Drawn<(Parameters, Options, usize)> {
    let sensible: bool = u.arbitrary()?;
    let power = |u: &mut Unstructured<'_>, from, to| Ok(1u32 << u.int_in_range(from..=to)?);
    let capacity_bytes = if sensible { power(u, 4, 20)? } else { u.arbitrary()? };
    let parameters = Parameters::new()
        .with_capacity_bytes(capacity_bytes)
        .with_page_bytes(if sensible { power(u, 0, 9)? } else { u.arbitrary()? })
        .with_word_address_bytes(u.int_in_range(0..=4)?)
        .with_device_address(if sensible { 0x50 } else { u.arbitrary()? })
        .with_block_select_bits(u.int_in_range(0..=7)?)
        .with_block_select_shift(u.int_in_range(0..=7)?)
        .with_sequential_read_bytes(if sensible { power(u, 4, 20)? } else { u.arbitrary()? })
        .with_write_cycle_us(u.int_in_range(0..=20_000)?);
    let options = Options::new()
        .with_max_transfer_bytes(*u.choose(&[usize::MAX, 255, 32, 5, 3, 0])?)
        .with_wait(if u.ratio(1, 4)? { Wait::Fixed } else { Wait::Poll })
        .with_margin_percent(u.arbitrary()?)
        .with_poll_interval_us(*u.choose(&[0, 1, 50, 5000, u32::MAX])?)
        .with_lazy(u.arbitrary()?)
        // With a buffer shorter than a page, too: what has room for a byte has to end.
        .with_split_pages(true);
    Ok((parameters, options, *u.choose(&[259usize, 34, 6, 3, 1, 0])?))
}

fn request(u: &mut Unstructured<'_>, geometry: &Geometry) -> Drawn<(Job, u32, usize)> {
    let job = *u.choose(&JOBS)?;
    let inside: u32 = u.int_in_range(0..=geometry.capacity_bytes())?;
    let offset = if u.ratio(7, 8)? { inside } else { u.arbitrary()? };
    let length = if u.ratio(7, 8)? { u.int_in_range(0..=1100)? } else { u.arbitrary()? };
    Ok((job, offset, length))
}

/// Follows one plan to its end. When the bytes have run out the bus answers well, so that it must end.
fn one(
    u: &mut Unstructured<'_>,
    config: &Config,
    geometry: &Geometry,
    state: &mut State,
    limit: usize,
    (job, offset, length): (Job, u32, usize),
) -> Result<(), String> {
    let inside = geometry.contains(offset, length);
    let mut plan = match Plan::new(config, state, job, offset, length) {
        Ok(plan) => plan,
        Err(PlanError::OutOfRange { .. }) => return check(!inside, || "is refused, but lies inside".into()),
        Err(PlanError::TransferTooSmall { .. }) => {
            let room = limit.saturating_sub(usize::from(geometry.word_address_bytes()));
            return check(room == 0 && length > 0, || "finds no room, but there is".into());
        }
        Err(other) => return Err(format!("{other:?}")),
    };
    check(inside, || "lies outside and is not refused".into())?;
    let mut safe = 0;
    // Each chunk moves at least a byte and takes a wait, an access, a wait, a write, a wait and a comparison.
    let mut left_to_end = 8 * (length + 2);
    loop {
        let step = plan.step();
        check(plan.step() == step, || format!("{step:?} changes when it is asked for again"))?;
        check_step(&step, geometry, limit, (offset, length), plan.safe_bytes())?;
        if step.action == Action::Done {
            let whole = plan.safe_bytes() == length || (job == Job::Compare && plan.difference().is_some());
            return check(whole, || format!("is done after {} bytes", plan.safe_bytes()));
        }
        let outcome = outcome(u);
        if outcome == Outcome::Differs {
            plan.found(Difference { index: step.start, expected: 0, found: 1 });
        }
        let result = plan.complete(outcome);
        if let Err(failure) = result {
            return check_failure(failure, &step, outcome);
        }
        check(plan.safe_bytes() >= safe, || "loses bytes that were safe".into())?;
        safe = plan.safe_bytes();
        if u.is_empty() {
            left_to_end -= 1;
            check(left_to_end > 0, || "does not end although the bus answers".into())?;
        }
    }
}

fn outcome(u: &mut Unstructured<'_>) -> Outcome {
    // An even share for the good outcome keeps plans alive long enough to be interesting.
    match u.int_in_range(0..=15u8).unwrap_or(0) {
        0..=8 => Outcome::Done,
        9..=12 => Outcome::Nack,
        13 | 14 => Outcome::Differs,
        _ => Outcome::Failed,
    }
}

/// Bytes of the page before may be unsettled: an access then asks for the end of their write cycle.
fn check_step(
    step: &Step,
    geometry: &Geometry,
    limit: usize,
    (offset, length): (u32, usize),
    safe: usize,
) -> Result<(), String> {
    let moves = matches!(step.action, Action::Read | Action::Write | Action::Compare);
    if !moves {
        return check(step.action != Action::Poll || step.offset < geometry.capacity_bytes() || length == 0, || {
            format!("{step:?} polls outside the part")
        });
    }
    let unit = if step.action == Action::Write { geometry.page_bytes() } else { geometry.sequential_read_bytes() };
    let last = u64::from(step.offset) + step.length as u64 - 1;
    let most = if step.action == Action::Read { usize::MAX } else { limit };
    let right = step.length > 0
        && (safe..=safe + geometry.page_bytes() as usize).contains(&step.start)
        && step.start + step.length <= length
        && u64::from(step.offset) == u64::from(offset) + step.start as u64
        && u64::from(step.offset) / u64::from(unit) == last / u64::from(unit)
        && last < u64::from(geometry.capacity_bytes())
        && step.length + usize::from(geometry.word_address_bytes()) <= most.max(1);
    check(right, || format!("{step:?} leaves its request, its page, its block or its buffer"))
}

/// A failure must come from an outcome that is one, and never from a good answer at a step that asks for it.
fn check_failure(failure: Failure, step: &Step, outcome: Outcome) -> Result<(), String> {
    let fits = match outcome {
        Outcome::Failed => failure == Failure::Bus,
        Outcome::Done => false,
        Outcome::Nack => failure != Failure::Differs,
        Outcome::Differs => matches!(failure, Failure::Differs | Failure::OutOfStep),
    };
    check(fits, || format!("{failure:?} after {outcome:?} at {step:?}"))
}

fn check(holds: bool, reason: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(reason()) }
}
