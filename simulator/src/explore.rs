//! The cut explorer: a program is run again and again, with the supply lost at every point of it.
//!
//! It runs the program once to learn its length. Then it cuts the supply at every bus event and at chosen points of
//! every write cycle, under each [`TornModel`], once or twice in a row, and asks the program whether what it finds
//! afterwards is what it promised. A failing case has an id that runs exactly it again.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;

use crate::chip::torn::TornModel;
use crate::event::{Event, EventKind, Note};
use crate::rig::{Rig, Snapshot};
use crate::supply::SupplyProfile;

/// A program whose survival is to be shown. The explorer starts each part with a new call, so nothing that the program
/// keeps in RAM survives a cut, except what `Progress` says for the judge.
pub trait CutProgram: Sync {
    /// What the program has promised so far (acknowledged values), for [`CutProgram::check`].
    type Progress: Clone + Default + Send + Sync;

    /// The rig before the work begins.
    fn setup(&self) -> Rig;

    /// One step of the work, from 0; returns `false` when the work cannot go on. After the cut every bus call fails;
    /// the function should then return.
    fn step(&self, index: usize, rig: &Rig, progress: &mut Self::Progress) -> bool;

    /// Number of steps that the work consists of. Work in many steps is explored much faster, since a case then begins
    /// at the step in which it cuts; everything that a step needs from the one before must be in `Progress`.
    fn steps(&self) -> usize {
        1
    }

    /// The whole work without a cut: each step in turn, until one cannot go on.
    fn work(&self, rig: &Rig, progress: &mut Self::Progress) {
        for index in 0..self.steps() {
            if !self.step(index, rig, progress) {
                return;
            }
        }
    }

    /// What the program does first when the supply is back. With two cuts, the second one falls in here.
    fn recover(&self, rig: &Rig, progress: &mut Self::Progress) {
        let _ = (rig, progress);
    }

    /// Judges what is left, after the recovery.
    ///
    /// # Errors
    ///
    /// A promise is broken, in words.
    fn check(&self, rig: &Rig, progress: &Self::Progress) -> Result<(), String>;
}

/// How thoroughly to cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutExplorer {
    /// Torn models to try.
    pub models: Vec<TornModel>,
    /// Points of each write cycle, in thousandths of its duration.
    pub cycle_points: Vec<u16>,
    /// Seeds tried for each cut under a model that draws.
    pub draws: u32,
    /// A second cut at every n-th point of the recovery; 0 for one cut only.
    pub second_cut_every: usize,
    /// A first cut at every n-th point of the work; 1 for all.
    pub first_cut_every: usize,
}

impl Default for CutExplorer {
    /// All models, nine points per cycle, two draws, one cut, everywhere.
    fn default() -> Self {
        Self {
            models: TornModel::ALL.to_vec(),
            cycle_points: alloc::vec![1, 125, 250, 375, 500, 625, 750, 875, 999],
            draws: 2,
            second_cut_every: 0,
            first_cut_every: 1,
        }
    }
}

/// One case: model, draw, time of the first cut, time of the second cut after the recovery began.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CutCase {
    /// What a torn cycle leaves behind.
    pub model: TornModel,
    /// Seed of what is drawn.
    pub draw: u32,
    /// Nanoseconds from the start of the rig to the first cut.
    pub first_ns: u64,
    /// Nanoseconds from the start of the recovery to the second cut.
    pub second_ns: Option<u64>,
}

impl fmt::Display for CutCase {
    /// `prefix/0@123456` or `prefix/0@123456+7890`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}@{}", self.model.name(), self.draw, self.first_ns)?;
        match self.second_ns {
            Some(ns) => write!(f, "+{ns}"),
            None => Ok(()),
        }
    }
}

/// The text is not a case id.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BadCaseId;

impl fmt::Display for BadCaseId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not a case id of the form model/draw@ns or model/draw@ns+ns")
    }
}

impl core::error::Error for BadCaseId {}

impl core::str::FromStr for CutCase {
    type Err = BadCaseId;

    fn from_str(text: &str) -> Result<Self, BadCaseId> {
        let (model, rest) = text.split_once('/').ok_or(BadCaseId)?;
        let (draw, times) = rest.split_once('@').ok_or(BadCaseId)?;
        let (first, second) = match times.split_once('+') {
            Some((first, second)) => (first, Some(second)),
            None => (times, None),
        };
        Ok(Self {
            model: TornModel::ALL.into_iter().find(|m| m.name() == model).ok_or(BadCaseId)?,
            draw: draw.parse().map_err(|_| BadCaseId)?,
            first_ns: first.parse().map_err(|_| BadCaseId)?,
            second_ns: second.map(str::parse).transpose().map_err(|_| BadCaseId)?,
        })
    }
}

/// A case in which the program broke a promise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutFailure {
    /// The case; its text form is what [`CutExplorer::rerun`] takes.
    pub case: CutCase,
    /// What the program said.
    pub reason: String,
}

impl fmt::Display for CutFailure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.case, self.reason)
    }
}

/// What an exploration found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CutReport {
    /// Cases run, by model.
    pub per_model: Vec<(TornModel, u64)>,
    /// Cases that failed.
    pub failures: u64,
    /// The first of them in order of model, draw and time.
    pub first_failure: Option<CutFailure>,
}

impl CutReport {
    /// Cases run.
    #[must_use]
    pub fn cases(&self) -> u64 {
        self.per_model.iter().map(|(_, count)| count).sum()
    }
}

impl fmt::Display for CutReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} cuts", self.cases())?;
        for (model, count) in &self.per_model {
            write!(f, ", {} {count}", model.name())?;
        }
        match &self.first_failure {
            Some(failure) => write!(f, "; {} failed, first {failure}", self.failures),
            None => write!(f, "; none failed"),
        }
    }
}

/// Points at which to cut, and whether each lies inside a write cycle (where the torn model matters).
type Points = Vec<(u64, bool)>;

/// The work up to the beginning of one step.
struct Stage<P> {
    step: usize,
    began_ns: u64,
    state: Snapshot,
    progress: P,
}

impl CutExplorer {
    /// Runs all cases.
    pub fn run<P: CutProgram>(&self, program: &P) -> CutReport {
        let (stages, points) = self.learn(program);
        let cases = self.cases(&points);
        let results = each(&cases, |case| self.one_or_more(program, &stages, *case));
        let mut report = CutReport::default();
        for (case, (count, failures, first)) in cases.iter().zip(results) {
            match report.per_model.iter_mut().find(|(model, _)| *model == case.model) {
                Some((_, so_far)) => *so_far += count,
                None => report.per_model.push((case.model, count)),
            }
            report.failures += failures;
            report.first_failure = report.first_failure.take().or(first);
        }
        report
    }

    /// Runs exactly one case again, from its id and from the very beginning.
    ///
    /// # Errors
    ///
    /// The program's own verdict.
    pub fn rerun<P: CutProgram>(&self, program: &P, case: CutCase) -> Result<(), String> {
        let rig = program.setup();
        let first = Stage { step: 0, began_ns: rig.now_ns(), state: rig.snapshot(), progress: P::Progress::default() };
        let (rig, mut progress) = first_cut(program, &[first], case);
        if let Some(ns) = case.second_ns {
            let at = rig.now_ns() + ns;
            cut(&rig, at, |rig| program.recover(rig, &mut progress));
        }
        judge(program, &rig, progress)
    }

    /// Runs the work once, without a cut: where its steps begin, and where to cut.
    fn learn<P: CutProgram>(&self, program: &P) -> (Vec<Stage<P::Progress>>, Points) {
        let rig = program.setup();
        rig.forget();
        let (mut stages, mut points) = (Vec::new(), Points::new());
        let mut progress = P::Progress::default();
        for step in 0..program.steps() {
            rig.set_trace(false);
            rig.forget();
            stages.push(Stage { step, began_ns: rig.now_ns(), state: rig.snapshot(), progress: progress.clone() });
            rig.set_trace(true);
            let began = rig.now_ns();
            let goes_on = program.step(step, &rig, &mut progress);
            points.extend(self.points(&rig, began));
            if !goes_on {
                break;
            }
        }
        points.sort_unstable();
        points.dedup_by_key(|(at, _)| *at);
        (stages, points.into_iter().step_by(self.first_cut_every.max(1)).collect())
    }

    fn cases(&self, points: &Points) -> Vec<CutCase> {
        let mut cases = Vec::new();
        for &model in &self.models {
            let draws = match model {
                TornModel::Old | TornModel::New | TornModel::Prefix => 1,
                _ => self.draws.max(1),
            };
            for draw in 0..draws {
                // Outside of write cycles all models are the same: the first one stands for them.
                let matters = |inside: bool| inside || (model == self.models[0] && draw == 0);
                for &(first_ns, _) in points.iter().filter(|(_, inside)| matters(*inside)) {
                    cases.push(CutCase { model, draw, first_ns, second_ns: None });
                }
            }
        }
        cases
    }

    /// One cut, or this cut followed by each second one.
    fn one_or_more<P: CutProgram>(
        &self,
        program: &P,
        stages: &[Stage<P::Progress>],
        case: CutCase,
    ) -> (u64, u64, Option<CutFailure>) {
        let (rig, progress) = first_cut(program, stages, case);
        if self.second_cut_every == 0 {
            let failure = judge(program, &rig, progress).err().map(|reason| CutFailure { case, reason });
            return (1, u64::from(failure.is_some()), failure);
        }
        let (after, began) = (rig.snapshot(), rig.now_ns());
        rig.set_trace(true);
        let mut recovered = progress.clone();
        program.recover(&rig, &mut recovered);
        let points = self.points(&rig, began);
        rig.set_trace(false);
        let mut verdicts = alloc::vec![(case, judge(program, &rig, recovered))];
        for &(at, _) in points.iter().step_by(self.second_cut_every) {
            let (rig, mut progress) = (after.rig(), progress.clone());
            cut(&rig, at, |rig| program.recover(rig, &mut progress));
            verdicts.push((CutCase { second_ns: Some(at - began), ..case }, judge(program, &rig, progress)));
        }
        let count = verdicts.len() as u64;
        let mut failed = verdicts.into_iter().filter_map(|(case, verdict)| {
            let reason = verdict.err()?;
            Some(CutFailure { case, reason })
        });
        let first = failed.next();
        (count, u64::from(first.is_some()) + failed.count() as u64, first)
    }

    /// Every bus event and the chosen points of every write cycle in the trace of a run that began at `began`.
    fn points(&self, rig: &Rig, began: u64) -> Points {
        let events = rig.trace();
        let cycles = cycles(&events);
        let bus = events.iter().filter(|event| !matches!(event.kind, EventKind::Chip { .. }));
        let mut times: Vec<u64> = bus.map(|event| event.at_ns).collect();
        for &(starts, ends) in &cycles {
            times.extend(self.cycle_points.iter().map(|point| starts + (ends - starts) * u64::from(*point) / 1000));
        }
        times.retain(|at| *at >= began);
        times.sort_unstable();
        times.dedup();
        let inside = |at: u64| cycles.iter().any(|(starts, ends)| (*starts..*ends).contains(&at));
        times.into_iter().map(|at| (at, inside(at))).collect()
    }
}

fn cycles(events: &[Event]) -> Vec<(u64, u64)> {
    let started = events.iter().filter_map(|event| match event.kind {
        EventKind::Chip { note: Note::CycleStart { ends_ns, .. }, .. } => Some((event.at_ns, ends_ns)),
        _ => None,
    });
    started.collect()
}

/// Work with a cut; returns the rig when the supply is back.
fn first_cut<P: CutProgram>(program: &P, stages: &[Stage<P::Progress>], case: CutCase) -> (Rig, P::Progress) {
    let reached = stages.partition_point(|stage| stage.began_ns <= case.first_ns).max(1);
    let stage = &stages[reached - 1];
    let rig = stage.state.rig();
    rig.set_trace(false);
    rig.set_torn_model(case.model, u64::from(case.draw) << 32 ^ case.first_ns);
    let mut progress = stage.progress.clone();
    cut(&rig, case.first_ns, |rig| {
        for step in stage.step..program.steps() {
            // A step that ends after the cut is the last one: the controller has no supply either.
            if !program.step(step, rig, &mut progress) || rig.supply_mv() == 0 {
                break;
            }
        }
    });
    (rig, progress)
}

/// Runs something with the supply lost at `at_ns`, and brings the supply back.
fn cut(rig: &Rig, at_ns: u64, run: impl FnOnce(&Rig)) {
    let mv = rig.supply_mv();
    rig.set_supply_profile(&SupplyProfile::new().step(at_ns, 0));
    run(rig);
    rig.advance_ns(at_ns.saturating_sub(rig.now_ns()));
    rig.restore_supply_mv(mv);
}

fn judge<P: CutProgram>(program: &P, rig: &Rig, mut progress: P::Progress) -> Result<(), String> {
    program.recover(rig, &mut progress);
    program.check(rig, &progress)
}

#[cfg(feature = "parallel")]
fn each<T: Send>(cases: &[CutCase], run: impl Fn(&CutCase) -> T + Sync + Send) -> Vec<T> {
    use rayon::prelude::*;
    cases.par_iter().map(run).collect()
}

#[cfg(not(feature = "parallel"))]
fn each<T>(cases: &[CutCase], run: impl Fn(&CutCase) -> T) -> Vec<T> {
    cases.iter().map(run).collect()
}
