//! Cuts of the supply: where, what they leave, and whether the program comes back.

use std::collections::BTreeMap;
use std::process::Command;

use pagewise_simulator::door::{Before, Told};
use pagewise_simulator::{Cut, Event, Step, TornModel, steps};
use sha2::{Digest, Sha256};

use super::asked::Trial;
use super::compare;
use super::once::{End, Order, Stage, memory, on_the_bus, order, us};
use super::setting::{Bench, Setting};
use super::words::{CutCount, quoted};
use pagewise_base::fault::Fault;
use pagewise_report::trial::{Cuts, FirstCut};

/// Up to so many moments, each is looked at.
const EXHAUSTIVE: usize = 500;

/// What was asked for.
pub(super) struct Asked {
    count: CutCount,
    exactly: Option<u64>,
    rig: Option<String>,
    torn: Vec<TornModel>,
}

impl Asked {
    pub(super) fn of(trial: &Trial) -> Option<Self> {
        let count = match (trial.cuts, trial.cut_at_ns) {
            (None, None) => return None,
            (Some(count), _) => count,
            (None, Some(_)) => CutCount::All,
        };
        let torn = if trial.torn.is_empty() { TornModel::ALL.to_vec() } else { trial.torn.clone() };
        Some(Self { count, exactly: trial.cut_at_ns, rig: trial.cut_rig.clone(), torn })
    }
}

/// What the program leaves and says without a cut.
struct Reference {
    exit: Option<u8>,
    memory: BTreeMap<String, Vec<u8>>,
    check: Option<u8>,
    courses: Vec<Course>,
}

/// What happened on one bus.
struct Course {
    steps: Vec<Step>,
    /// The rig of a test binary or of firmware under an emulator, by its name, with everything that happened on it; none for
    /// the bus behind the device.
    rig: Option<(String, Vec<Event>)>,
}

/// A moment of a course: number of the course, number of its step, nanoseconds.
type Moment = (usize, usize, u64);

/// The way to the earliest cut from which the program does not come back.
pub(super) struct Way {
    /// Transfers up to the one that was under way, or over last, as lines of a trace, the time in front of each.
    pub(super) transfers: Vec<String>,
    /// The last of them as far as it came.
    pub(super) torn_off: String,
    pub(super) cut: Cut,
}

/// Tries cuts on one part.
pub(super) fn part(bench: &Bench, part: usize, setting: &Setting, asked: &Asked) -> Result<(Cuts, Option<Way>), Fault> {
    let reference = reference(bench, part, setting)?;
    let moments = moments(&reference.courses, asked)?;
    let looked_at = chosen(&moments, asked, setting.seed);
    let states = states(&reference.courses, &looked_at, asked, setting.seed);
    let mut lost: Vec<(Cut, &Course, usize, String)> = Vec::new();
    for (cut, course, step) in &states {
        let course = &reference.courses[*course];
        if let Some(text) = again(bench, part, setting, *cut, course, &reference)? {
            lost.push((*cut, course, *step, text));
        }
    }
    let name = &bench.parts[part];
    let first = lost.first().map(|(cut, course, step, text)| {
        let mut more = format!(" --cut-at-ns {} --torn {}", cut.at_ns, cut.torn.name());
        let mut text = text.clone();
        if let Some((rig, _)) = course.rig.as_ref().filter(|_| reference.courses.len() > 1) {
            more += &format!(" --cut-rig {}", quoted(rig));
            text = format!("{rig}: {text}");
        }
        if let Some(check) = &bench.check {
            more += &format!(" --check {}", quoted(check));
        }
        FirstCut {
            at_ns: cut.at_ns,
            torn: cut.torn.name(),
            text,
            on_the_bus: under_way(&course.steps[..=*step]),
            repeat: bench.repeat(name, setting, &more),
            known: false,
        }
    });
    let way = lost.first().and_then(|(cut, course, step, _)| way(&course.steps[..=*step], *cut));
    let cuts = Cuts {
        part: name.name.clone(),
        moments: moments.len(),
        looked_at: looked_at.len(),
        states: states.len(),
        lost: lost.len(),
        first,
    };
    Ok((cuts, way))
}

/// The steps up to a cut as transfers of a trace.
fn way(steps: &[Step], cut: Cut) -> Option<Way> {
    let line = |step: &Step| format!("{}  {}\n", us(step.moments.first().copied().unwrap_or(0)), step.line);
    let last = steps.last()?;
    // A word of the line for each moment up to STOP.
    let came = last.moments.iter().filter(|at| **at <= cut.at_ns).count();
    let words: Vec<&str> = last.line.split_whitespace().take(came).collect();
    let torn_off = format!("{}  {}\n", us(last.moments.first().copied().unwrap_or(0)), words.join(" "));
    Some(Way { transfers: steps.iter().map(line).collect(), torn_off, cut })
}

/// The whole program, and the check, without a cut.
fn reference(bench: &Bench, part: usize, setting: &Setting) -> Result<Reference, Fault> {
    let Order { mut plan, mut given } = order(bench, part, setting);
    (plan.keep_steps, given.events) = (true, true);
    let mut stage = Stage::new(bench, Order { plan, given: given.clone() })?;
    let exit = stage.program()?.code();
    let rigs = stage.told();
    let check = check(bench, &mut stage)?;
    let (seen, _) = stage.finish();
    let memory = memory(&seen, &rigs);
    let mut courses: Vec<Course> = Vec::new();
    if !seen.steps.is_empty() {
        courses.push(Course { steps: seen.steps, rig: None });
    }
    let program = bench.command[0].to_string_lossy();
    for Told { name, events, .. } in rigs {
        let called = if name.is_empty() { "its rig".to_owned() } else { format!("the rig of {name}") };
        let refused = |why: &str, remedy: &str| {
            Fault::of_file(&program, format!("{called} on {}: {why}", bench.parts[part].name), remedy)
        };
        if name.contains('#') {
            let why = "another one has the same name, so that a cut cannot tell them apart";
            return Err(refused(why, "make one in each thread or test, or leave out --cuts"));
        }
        let (rig, _) = given.rig(&name).map_err(|reason| refused(&reason.to_string(), "see that the image fits"))?;
        let steps = steps(&rig, &events).ok_or_else(|| {
            let why = "its transfers alone do not make the part do again what it did, so that no cut can be shown";
            refused(why, "let the program change its part by transfers only, byte by byte, or leave out --cuts")
        })?;
        courses.push(Course { steps, rig: Some((name, on_the_bus(events))) });
    }
    Ok(Reference { exit, memory, check, courses })
}

/// All moments, those of the rig that was asked for, if one was.
fn moments<'c>(courses: &'c [Course], asked: &Asked) -> Result<Vec<Moment>, Fault> {
    let mut moments = Vec::new();
    let named = |course: &'c Course| course.rig.as_ref().map_or("", |(name, _)| name.as_str());
    for (number, course) in courses.iter().enumerate() {
        if asked.rig.as_ref().is_some_and(|rig| *rig != named(course)) {
            continue;
        }
        for (step, kept) in course.steps.iter().enumerate() {
            moments.extend(kept.moments.iter().map(|at| (number, step, *at)));
        }
    }
    if let Some(rig) = asked.rig.as_ref().filter(|_| moments.is_empty()) {
        let names: Vec<&str> = courses.iter().map(named).filter(|name| !name.is_empty()).collect();
        let remedy = format!("it has: {}", names.join(", "));
        return Err(Fault::of_file("--cut-rig", format!("no rig of the program is called {rig}"), remedy));
    }
    Ok(moments)
}

fn check(bench: &Bench, stage: &mut Stage<'_>) -> Result<Option<u8>, Fault> {
    let Some(text) = &bench.check else { return Ok(None) };
    stage.leave_rigs()?;
    stage.run(Command::new("sh").args(["-c", text])).map(End::code)
}

/// Which moments: all, or drawn ones, by time.
fn chosen(moments: &[Moment], asked: &Asked, seed: u64) -> Vec<Moment> {
    if let Some(at_ns) = asked.exactly {
        // The step that was under way, or over last.
        let step = moments.iter().rev().find(|(_, _, at)| *at <= at_ns).or(moments.first());
        return step.map(|(course, step, _)| (*course, *step, at_ns)).into_iter().collect();
    }
    let CutCount::Drawn(count) = asked.count else { return moments.to_vec() };
    if moments.len() <= EXHAUSTIVE {
        return moments.to_vec();
    }
    let mut drawn: Vec<(u64, Moment)> = moments
        .iter()
        .map(|moment| {
            let digest = Sha256::digest([seed.to_le_bytes(), moment.2.to_le_bytes()].concat());
            (digest.iter().take(8).fold(0, |all, byte| all << 8 | u64::from(*byte)), *moment)
        })
        .collect();
    drawn.sort_unstable();
    drawn.truncate(count);
    let mut drawn: Vec<Moment> = drawn.into_iter().map(|(_, moment)| moment).collect();
    drawn.sort_unstable();
    drawn
}

/// The earliest cut to each state of the part that differs from the others: what a program finds after a cut is in the
/// part, so that one run per state is enough.
fn states(courses: &[Course], moments: &[Moment], asked: &Asked, seed: u64) -> Vec<(Cut, usize, usize)> {
    let mut found = BTreeMap::<(usize, Vec<u8>), (Cut, usize, usize)>::new();
    for (course, step, at_ns) in moments {
        for torn in &asked.torn {
            let cut = Cut { at_ns: *at_ns, torn: *torn, draws: seed };
            let state = courses[*course].steps[*step].state_after_cut(cut);
            found.entry((*course, Sha256::digest(&state).to_vec())).or_insert((cut, *course, *step));
        }
    }
    let mut all: Vec<(Cut, usize, usize)> = found.into_values().collect();
    all.sort_by_key(|(cut, course, _)| (*course, cut.at_ns, cut.torn));
    all
}

/// The last transfer that a chip answered: polls within its write cycle say nothing.
fn under_way(steps: &[Step]) -> String {
    let lines = steps.iter().rev().map(|step| step.line.as_str());
    lines.clone().find(|line| !line.contains("- P")).or(lines.clone().next()).unwrap_or_default().to_owned()
}

/// A stage after a cut, with the supply back.
fn cut_short<'b>(
    bench: &'b Bench,
    part: usize,
    setting: &Setting,
    cut: Cut,
    course: &Course,
) -> Result<Option<Stage<'b>>, Fault> {
    let Order { mut plan, mut given } = order(bench, part, setting);
    if let Some((name, events)) = &course.rig {
        // What the program had done by then is known, and is all that the part knows of it.
        given.before.push(Before { name: name.clone(), events: events.clone(), cut });
        given.events = bench.check.is_some();
        return Stage::new(bench, Order { plan, given }).map(Some);
    }
    plan.cut = Some(cut);
    let mut stage = Stage::new(bench, Order { plan, given })?;
    if !matches!(stage.program()?, End::Cut) {
        return Ok(None);
    }
    stage.power_on();
    Ok(Some(stage))
}

/// Starts the program again after a cut. Returns what was wrong afterwards.
fn again(
    bench: &Bench,
    part: usize,
    setting: &Setting,
    cut: Cut,
    course: &Course,
    reference: &Reference,
) -> Result<Option<String>, Fault> {
    let Some(mut stage) = cut_short(bench, part, setting, cut, course)? else {
        return Ok(Some("the program did not come to this cut: it does not do the same each time".to_owned()));
    };
    let exit = stage.program()?.code();
    if exit != reference.exit {
        let said = stage.said();
        let said = if said.is_empty() { said } else { format!(": {said}") };
        let exit = exit.map_or_else(|| "does not end".to_owned(), |code| format!("exit code {code}"));
        return Ok(Some(format!("started again: {exit}{said}")));
    }
    let checked = check(bench, &mut stage)?;
    if checked != reference.check {
        let code = checked.map_or_else(|| "no end".to_owned(), |code| format!("exit code {code}"));
        return Ok(Some(format!("the check: {code}: {}", stage.said())));
    }
    let (seen, rigs) = stage.finish();
    if bench.check.is_some() {
        return Ok(None);
    }
    let now = memory(&seen, &rigs);
    let lost = reference.memory.iter().find_map(|(name, was)| match now.get(name) {
        Some(is) => compare::memory(&bench.contents, was, is),
        None => Some("started again: nothing was stored or read".to_owned()),
    });
    Ok(lost)
}
