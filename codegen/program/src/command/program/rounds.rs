//! Rounds of the line: as many units at once as there are sockets, and the rules after which no more are begun.

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::sync::{Mutex, PoisonError};

use indicatif::MultiProgress;

use super::{Program, STOP, ask, is_fine, text};
use pagewise_base::fault::Faults;
use pagewise_line::journal::{Event, Journal, Particulars, Site, now};
use pagewise_line::linux::Device;
use pagewise_line::lock::Confirmed;
use pagewise_line::plan::Permissions;
use pagewise_line::progress::{Progress, Whole};
use pagewise_line::units::Unit;
use pagewise_line::{Ending, Halt, LineBus, Order, SIMULATED, Socket, Step, UnitReport, program, steps};
use pagewise_part::card::Catalogue;

/// What is needed for every unit.
pub(super) struct Line<'l> {
    pub(super) catalogue: &'l Catalogue,
    pub(super) socket: &'l Socket,
    pub(super) backups: PathBuf,
    pub(super) identification: Option<Vec<u8>>,
    pub(super) particulars: Particulars,
    /// Names of the buses, one for each socket.
    pub(super) buses: Vec<String>,
    /// There are or may be more units than one.
    pub(super) several: bool,
    pub(super) journal: Mutex<Journal>,
}

/// A unit that is about to be programmed.
pub(super) struct Job {
    pub(super) unit: Unit,
    /// Where its simulated part keeps its memory.
    pub(super) memory: Option<PathBuf>,
    lock: Option<Confirmed>,
}

impl Job {
    pub(super) const fn new(unit: Unit, memory: Option<PathBuf>) -> Self {
        Self { unit, memory, lock: None }
    }
}

/// What the line has done.
#[derive(Default)]
pub(super) struct Done {
    pub(super) reports: Vec<UnitReport>,
    /// Why not every unit was begun.
    pub(super) ended: Option<String>,
}

impl Program {
    /// Takes the units through the line, round by round. `devices` are the buses of hardware; a simulated part is made
    /// for each unit.
    pub(super) fn each(
        &self,
        line: &Line<'_>,
        mut jobs: Box<dyn Iterator<Item = Job> + '_>,
        devices: Vec<Device>,
        whole: u64,
    ) -> Result<Done, Faults> {
        let mut devices: Vec<Option<Device>> = if self.socket.simulate {
            line.buses.iter().map(|_| None).collect()
        } else {
            devices.into_iter().map(Some).collect()
        };
        let bars = MultiProgress::new();
        let bar = Whole::new(&bars, whole);
        let mut done = Done::default();
        while done.ended.is_none() {
            let first = self.first_article && !done.reports.iter().any(|report| report.result == Ending::Good);
            let Some(round) = self.round(line, &mut *jobs, if first { 1 } else { devices.len() }, &mut done, &bars)?
            else {
                break;
            };
            let reports = self.run_round(line, round, &mut devices, &bars);
            bar.advance(reports.len() as u64);
            done.reports.extend(reports);
            if STOP.load(Ordering::Relaxed) {
                break;
            }
            done.ended = self.ends(line, &done.reports, first, &bars);
        }
        Ok(done)
    }

    /// The units of the next round, their parts fitted; those that are good already are told on the way.
    fn round(
        &self,
        line: &Line<'_>,
        jobs: &mut dyn Iterator<Item = Job>,
        sockets: usize,
        done: &mut Done,
        bars: &MultiProgress,
    ) -> Result<Option<Vec<Job>>, Faults> {
        let mut round = Vec::new();
        while round.len() < sockets {
            let Some(mut job) = jobs.next() else { break };
            if let Some(good) = self.good_already(line, &job) {
                done.reports.push(good);
                continue;
            }
            job.lock = bars.suspend(|| self.confirmed(&job.unit))?;
            round.push(job);
        }
        if round.is_empty() {
            return Ok(None);
        }
        let places: Vec<(&str, &str)> =
            round.iter().zip(&line.buses).map(|(job, bus)| (job.unit.name.as_str(), bus.as_str())).collect();
        let asks = !self.socket.simulate && line.several && !self.scanner;
        let fitted = !asks
            || bars.suspend(|| {
                if let Some(report) = done.reports.last() {
                    anstream::eprint!("{}", text::one_line(report));
                }
                ask::fitted(&places, &STOP)
            });
        Ok(fitted.then_some(round))
    }

    fn good_already(&self, line: &Line<'_>, job: &Job) -> Option<UnitReport> {
        let site = self.site(line, job.memory.as_deref());
        let journal = line.journal.lock().unwrap_or_else(PoisonError::into_inner);
        (!self.again).then(|| steps::good_already(&job.unit, line.socket, &site, &line.buses, &journal)).flatten()
    }

    /// Where a unit is to sit, before it does: on any of the buses.
    fn site(&self, line: &Line<'_>, memory: Option<&Path>) -> Site {
        let journal = line.journal.lock().unwrap_or_else(PoisonError::into_inner);
        Site {
            bus: line.buses.first().cloned().unwrap_or_default(),
            simulated: self.socket.simulate,
            memory: memory.map(|file| journal.stored(file)),
        }
    }

    /// One thread for each socket.
    fn run_round(
        &self,
        line: &Line<'_>,
        round: Vec<Job>,
        devices: &mut [Option<Device>],
        bars: &MultiProgress,
    ) -> Vec<UnitReport> {
        std::thread::scope(|scope| {
            let run = |(job, device)| scope.spawn(move || self.one(line, job, device, bars));
            let threads: Vec<_> = round.into_iter().zip(devices).map(run).collect();
            // A panic of a thread is one of the program.
            threads
                .into_iter()
                .map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
                .collect()
        })
    }

    fn one(&self, line: &Line<'_>, job: Job, device: &mut Option<Device>, bars: &MultiProgress) -> UnitReport {
        let Job { unit, memory, lock } = job;
        let mut bus = match device.take() {
            Some(device) => LineBus::Linux(device),
            None => match self.socket.simulated(line.catalogue, line.socket, memory.as_deref()) {
                Ok(bus) => bus,
                Err(faults) => return not_begun(&unit, &self.site(line, memory.as_deref()), &faults),
            },
        };
        let order = Order {
            unit: &unit,
            socket: line.socket,
            buses: &line.buses,
            backups: &line.backups,
            permissions: Permissions { overwrite: self.overwrite, again: self.again },
            particulars: &line.particulars,
            identification: line.identification.as_deref(),
            lock,
        };
        let report = program(order, &mut bus, &line.journal, &Progress::among(bars, &unit.name, &STOP));
        if let LineBus::Linux(used) = bus {
            *device = Some(used);
        }
        report
    }

    /// Why no more units are to be begun, if so. `first`: this was the round of the first article.
    fn ends(&self, line: &Line<'_>, reports: &[UnitReport], first: bool, bars: &MultiProgress) -> Option<String> {
        let bad = reports.iter().filter(|report| !is_fine(report.result, true)).count();
        if let Some(most) = self.stop_after.filter(|most| bad >= *most as usize) {
            return Some(format!("{bad} units are not good, and the line stops after {most}"));
        }
        let article = reports.last().filter(|_| first)?;
        if article.result != Ending::Good {
            return Some(format!("the first article, {}, is not good", article.unit));
        }
        if !line.several {
            return None;
        }
        if !bars.suspend(|| ask::released(&article.unit)) {
            return Some(format!("the first article, {}, was not released", article.unit));
        }
        let mut journal = line.journal.lock().unwrap_or_else(PoisonError::into_inner);
        let good = journal.records().iter().rev().find(|record| record.unit == article.unit)?.clone();
        let released = pagewise_line::journal::Record { event: Event::Released, at: now(), part_sha256: None, ..good };
        journal.append(released).err().map(|reason| format!("the release cannot be recorded: {reason}"))
    }
}

/// A unit whose simulated part is not to be had.
fn not_begun(unit: &Unit, site: &Site, faults: &Faults) -> UnitReport {
    let reason = faults.0.iter().map(|fault| fault.reason.clone()).collect::<Vec<_>>().join("; ");
    let halt = Halt {
        result: Ending::Failed,
        step: Step::Look,
        reason,
        remedy: "see that nobody else uses its memory file".into(),
        hazard: None,
    };
    UnitReport::not_begun(unit, site, halt)
}

/// Names of the sockets of a simulation.
pub(super) fn simulated(sockets: usize) -> Vec<String> {
    vec![SIMULATED.to_owned(); sockets]
}
