//! Cuts of the supply: where, what they leave, and whether the program comes back.

use std::collections::BTreeMap;
use std::process::Command;

use pagewise_session::plan::Cut;
use pagewise_session::seen::Step;
use pagewise_simulator::TornModel;
use sha2::{Digest, Sha256};

use super::asked::Trial;
use super::compare;
use super::once::{End, Stage, plan, us};
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
        Some(Self { count, exactly: trial.cut_at_ns, torn })
    }
}

/// What the program leaves and says without a cut.
struct Reference {
    exit: Option<u8>,
    memory: Vec<u8>,
    check: Option<u8>,
    steps: Vec<Step>,
}

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
    let moments: Vec<(usize, u64)> = reference
        .steps
        .iter()
        .enumerate()
        .flat_map(|(step, kept)| kept.moments.iter().map(move |at| (step, *at)))
        .collect();
    let looked_at = chosen(&moments, asked, setting.seed);
    let states = states(&reference.steps, &looked_at, asked, setting.seed);
    let mut lost: Vec<(Cut, usize, String)> = Vec::new();
    for (cut, step) in &states {
        if let Some(text) = again(bench, part, setting, *cut, &reference)? {
            lost.push((*cut, *step, text));
        }
    }
    let name = &bench.parts[part];
    let first = lost.first().map(|(cut, step, text)| {
        let mut more = format!(" --cut-at-ns {} --torn {}", cut.at_ns, cut.torn.name());
        if let Some(check) = &bench.check {
            more += &format!(" --check {}", quoted(check));
        }
        FirstCut {
            at_ns: cut.at_ns,
            torn: cut.torn.name(),
            text: text.clone(),
            on_the_bus: under_way(&reference.steps[..=*step]),
            repeat: bench.repeat(name, setting, &more),
            known: false,
        }
    });
    let way = lost.first().and_then(|(cut, step, _)| way(&reference.steps[..=*step], *cut));
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
    let mut plan = plan(bench, part, setting);
    plan.keep_steps = true;
    let mut stage = Stage::new(bench, part, setting, plan)?;
    let exit = code(stage.program()?);
    let check = check(bench, &mut stage)?;
    let (seen, _) = stage.finish();
    let memory = seen.memory.into_iter().next().unwrap_or_default();
    Ok(Reference { exit, memory, check, steps: seen.steps })
}

fn code(end: End) -> Option<u8> {
    match end {
        End::Exit(code) => Some(code),
        End::Cut | End::OutOfTime => None,
    }
}

fn check(bench: &Bench, stage: &mut Stage<'_>) -> Result<Option<u8>, Fault> {
    let Some(text) = &bench.check else { return Ok(None) };
    stage.run(Command::new("sh").args(["-c", text])).map(code)
}

/// Which moments: all, or drawn ones, by time.
fn chosen(moments: &[(usize, u64)], asked: &Asked, seed: u64) -> Vec<(usize, u64)> {
    if let Some(at_ns) = asked.exactly {
        // The step that was under way, or over last.
        let step = moments.iter().rev().find(|(_, at)| *at <= at_ns).map_or(0, |(step, _)| *step);
        return vec![(step, at_ns)];
    }
    let CutCount::Drawn(count) = asked.count else { return moments.to_vec() };
    if moments.len() <= EXHAUSTIVE {
        return moments.to_vec();
    }
    let mut drawn: Vec<(u64, (usize, u64))> = moments
        .iter()
        .map(|moment| {
            let digest = Sha256::digest([seed.to_le_bytes(), moment.1.to_le_bytes()].concat());
            (digest.iter().take(8).fold(0, |all, byte| all << 8 | u64::from(*byte)), *moment)
        })
        .collect();
    drawn.sort_unstable();
    drawn.truncate(count);
    let mut drawn: Vec<(usize, u64)> = drawn.into_iter().map(|(_, moment)| moment).collect();
    drawn.sort_unstable();
    drawn
}

/// The earliest cut to each state of the part that differs from the others: what a program finds after a cut is in the
/// part, so that one run per state is enough.
fn states(steps: &[Step], moments: &[(usize, u64)], asked: &Asked, seed: u64) -> Vec<(Cut, usize)> {
    let mut found = BTreeMap::<Vec<u8>, (Cut, usize)>::new();
    for (step, at_ns) in moments {
        for torn in &asked.torn {
            let cut = Cut { at_ns: *at_ns, torn: *torn, draws: seed };
            let state = steps[*step].state_after_cut(*at_ns, *torn, seed);
            found.entry(Sha256::digest(&state).to_vec()).or_insert((cut, *step));
        }
    }
    let mut all: Vec<(Cut, usize)> = found.into_values().collect();
    all.sort_by_key(|(cut, _)| (cut.at_ns, cut.torn));
    all
}

/// The last transfer that a chip answered: polls within its write cycle say nothing.
fn under_way(steps: &[Step]) -> String {
    let lines = steps.iter().rev().map(|step| step.line.as_str());
    lines.clone().find(|line| !line.contains("- P")).or(lines.clone().next()).unwrap_or_default().to_owned()
}

/// Runs the program into a cut and starts it again. Returns what was wrong afterwards.
fn again(
    bench: &Bench,
    part: usize,
    setting: &Setting,
    cut: Cut,
    reference: &Reference,
) -> Result<Option<String>, Fault> {
    let mut plan = plan(bench, part, setting);
    plan.cut = Some(cut);
    let mut stage = Stage::new(bench, part, setting, plan)?;
    if !matches!(stage.program()?, End::Cut) {
        return Ok(Some("the program did not come to this cut: it does not do the same each time".to_owned()));
    }
    stage.power_on();
    let exit = code(stage.program()?);
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
    let (seen, _) = stage.finish();
    if bench.check.is_some() {
        return Ok(None);
    }
    let memory = seen.memory.into_iter().next().unwrap_or_default();
    Ok(compare::memory(&bench.contents, &reference.memory, &memory))
}
