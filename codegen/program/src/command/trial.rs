//! `pagewise trial`: a real program on the fitted part and on each candidate.
//!
//! With `--json`: `board`, `fitted`, `program`, `runs` (each with `part`, `fitted`, `setting`, `seed`, `exit`, `losses`,
//! `hazards`, `transfers`, `took_us`, `told` and `repeat`), `cuts` (each with `part`, `moments`, `looked_at`, `states`,
//! `lost` and `first`), `new_losses`, `known_losses` and `gone`. A loss has `kind`, `text`, `hazard`, `transfer`,
//! `on_the_bus` and `known`.

mod asked;
mod baseline;
mod compare;
mod cuts;
mod files;
mod once;
mod page;
mod setting;
mod text;
mod words;

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::Options;
use super::bridge::library;
use crate::output::{Answer, Exit, Shape, answers};
pub use asked::Trial;
use pagewise_base::fault::{Fault, Faults};
use pagewise_judge::board;
use pagewise_report::trial::{Cuts, Run, Trial as Report};
use setting::{Bench, Setting};

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<pagewise_report::trial::Trial>];

impl Trial {
    /// Runs the command.
    ///
    /// # Errors
    /// A board, a part, an image or a baseline that cannot be; a program that does not start, or that uses no bus; files
    /// that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let board = board::read(&self.board)?;
        let library = library::find(self.library.as_deref())?;
        let baseline = self.baseline.as_deref().map(baseline::read).transpose()?;
        let bench = Bench::new(self, board, &catalogue, library)?;
        let settings = bench.settings(self);
        let parts: Vec<usize> =
            (0..bench.parts.len()).filter(|part| *part == 0 || self.shard.holds(part - 1)).collect();
        let jobs: Vec<(usize, &Setting)> =
            settings.iter().flat_map(|setting| parts.iter().map(move |part| (*part, setting))).collect();
        let ran = side_by_side(&jobs, |(part, setting)| once::whole(&bench, *part, setting))?;
        let ran: Vec<once::Ran> = ran.into_iter().collect::<Result<_, Fault>>()?;
        let mut runs: Vec<Run> = Vec::new();
        for (at, (part, setting)) in jobs.iter().enumerate() {
            let fitted = &ran[at / parts.len() * parts.len()];
            runs.push(compare::run(&bench, *part, setting, fitted, &ran[at]));
        }
        let (cuts, ways): (Vec<Cuts>, Vec<Option<cuts::Way>>) =
            self.cut(&bench, &parts, &settings[0])?.into_iter().unzip();
        let mut report = Report {
            board: bench.board.name.clone(),
            file: self.board.display().to_string(),
            fitted: bench.parts[0].name.clone(),
            program: words::shown(&self.command),
            runs,
            cuts,
            new_losses: 0,
            known_losses: 0,
            gone: Vec::new(),
        };
        baseline::mark(&mut report, baseline.as_ref());
        self.files.write(&report)?;
        if let Some(path) = &self.classroom {
            let cut = page::AfterCut { parts: &parts, setting: &settings[0], ways: &ways };
            page::write(path, &catalogue, &bench, &report, (&jobs, &ran), &cut)?;
        }
        let exit = if report.new_losses > 0 { Exit::Against } else { Exit::Usable };
        Ok(Answer::new(options.reader(), "trial", exit, &report, || text::render(&report)))
    }

    fn cut(&self, bench: &Bench, parts: &[usize], setting: &Setting) -> Result<Vec<(Cuts, Option<cuts::Way>)>, Faults> {
        let Some(plan) = cuts::Asked::of(self) else { return Ok(Vec::new()) };
        let done = side_by_side(parts, |part| cuts::part(bench, *part, setting, &plan))?;
        Ok(done.into_iter().collect::<Result<_, Fault>>()?)
    }
}

/// Does the same with everything, as much of it at a time as the machine has processors. The answers keep the order.
fn side_by_side<T: Sync, R: Send>(all: &[T], one: impl Fn(&T) -> R + Sync) -> Result<Vec<R>, Faults> {
    let (next, done) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    let workers = std::thread::available_parallelism().map_or(1, usize::from).min(all.len());
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(job) = all.get(at) else { break };
                    let result = one(job);
                    done.lock().unwrap_or_else(std::sync::PoisonError::into_inner).push((at, result));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    if done.len() < all.len() {
        return Err(Fault::of_file("trial", "a run came to no end", "say so to the makers of Pagewise").into());
    }
    done.sort_by_key(|(at, _)| *at);
    Ok(done.into_iter().map(|(_, result)| result).collect())
}
