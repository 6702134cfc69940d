//! Runs mutants against the tests that reach them, the quickest first, until one fails.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use crate::list::Mutant;

/// One test.
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct Test {
    binary: PathBuf,
    name: String,
}

/// What became of a mutant.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Fate {
    /// A test fails, or does not end.
    Caught,
    /// All tests that reach it pass.
    Missed,
    /// No test reaches it.
    Unreached,
}

/// The tests of a package, how long each takes, and which mutants it reaches.
pub struct Tests {
    folder: PathBuf,
    took: HashMap<Test, Duration>,
    reached_by: HashMap<usize, Vec<Test>>,
    /// What caught mutants of a file, the latest last.
    caught_by: Mutex<HashMap<String, Vec<Test>>>,
}

/// At most so much memory: some mutants never stop asking for more.
const KILOBYTES: u32 = 6_000_000;
/// A test may take this much longer than without a mutant.
const PATIENCE: Duration = Duration::from_secs(20);

impl Tests {
    /// Runs each test alone, without a mutant. Tests whose name contains one of `skipped` are left out.
    pub fn learn(binaries: &[PathBuf], folder: &Path, skipped: &[String], jobs: usize) -> std::io::Result<Self> {
        let mut tests = Vec::new();
        for binary in binaries {
            let listed = Command::new(binary).args(["--list", "--format=terse"]).current_dir(folder).output()?;
            let listed = String::from_utf8_lossy(&listed.stdout).into_owned();
            let names = listed.lines().filter_map(|line| line.strip_suffix(": test"));
            let names = names.filter(|name| !skipped.iter().any(|skip| name.contains(skip)));
            tests.extend(names.map(|name| Test { binary: binary.clone(), name: name.into() }));
        }
        let learnt = Self {
            folder: folder.into(),
            took: HashMap::new(),
            reached_by: HashMap::new(),
            caught_by: Mutex::default(),
        };
        let asked = tempfile::tempdir()?;
        let numbered: Vec<(usize, &Test)> = tests.iter().enumerate().collect();
        let seen = each(&numbered, jobs, |(number, test)| {
            let (log, began) = (asked.path().join(number.to_string()), Instant::now());
            let passes = learnt.passes(
                std::slice::from_ref(test),
                &[("PAGEWISE_MUTANT", "0"), ("PAGEWISE_ASKED", &log.to_string_lossy())],
                Duration::from_secs(600),
            );
            let ids = fs::read_to_string(log).unwrap_or_default();
            (passes, began.elapsed(), ids.lines().filter_map(|id| id.parse().ok()).collect::<Vec<usize>>())
        });
        let mut learnt = learnt;
        for (test, (passes, took, ids)) in tests.iter().zip(seen) {
            if !passes {
                return Err(std::io::Error::other(format!("{} fails without a mutant", test.name)));
            }
            learnt.took.insert(test.clone(), took);
            ids.into_iter().for_each(|id| learnt.reached_by.entry(id).or_default().push(test.clone()));
        }
        learnt.reached_by.values_mut().for_each(|tests| tests.sort_by_key(|test| learnt.took[test]));
        Ok(learnt)
    }

    /// How many there are, and how long all of them take one after the other.
    pub fn extent(&self) -> (usize, Duration) {
        (self.took.len(), self.took.values().sum())
    }

    /// Judges one mutant that is woven in.
    pub fn judge(&self, mutant: &Mutant) -> Fate {
        let id = mutant.id.to_string();
        let on = [("PAGEWISE_MUTANT", id.as_str())];
        let Some(reaching) = self.reached_by.get(&mutant.id) else { return Fate::Unreached };
        let lately = self.lately(&mutant.file, reaching);
        for test in &lately {
            if !self.passes(std::slice::from_ref(test), &on, self.patience(std::slice::from_ref(test))) {
                self.note(&mutant.file, test);
                return Fate::Caught;
            }
        }
        let rest: Vec<Test> = reaching.iter().filter(|test| !lately.contains(test)).cloned().collect();
        // Few quick ones first, then more and more at once.
        let (mut from, mut room) = (0, Duration::from_millis(50));
        while from < rest.len() {
            let mut until = from + 1;
            let fits = |until: usize| rest[from..=until].iter().map(|test| self.took[test]).sum::<Duration>() < room;
            while until < rest.len() && rest[until].binary == rest[from].binary && fits(until) {
                until += 1;
            }
            let batch = &rest[from..until];
            if !self.passes(batch, &on, self.patience(batch)) {
                batch.iter().for_each(|test| self.note(&mutant.file, test));
                return Fate::Caught;
            }
            (from, room) = (until, (room * 5 / 2).min(Duration::from_secs(8)));
        }
        Fate::Missed
    }

    /// Judges a program in which nothing else is woven, by all tests of these binaries.
    pub fn judge_alone(&self, binaries: &[PathBuf]) -> Fate {
        for binary in binaries {
            let here = |test: &&Test| stem(&test.binary) == stem(binary);
            let tests: Vec<Test> = self
                .took
                .keys()
                .filter(here)
                .map(|test| Test { binary: binary.clone(), name: test.name.clone() })
                .collect();
            if !tests.is_empty() && !self.passes(&tests, &[], PATIENCE + self.extent().1 * 8) {
                return Fate::Caught;
            }
        }
        Fate::Missed
    }

    fn patience(&self, tests: &[Test]) -> Duration {
        PATIENCE + tests.iter().map(|test| self.took[test]).sum::<Duration>() * 8
    }

    /// What caught others of this file lately and reaches this one.
    fn lately(&self, file: &str, reaching: &[Test]) -> Vec<Test> {
        let reaching: HashSet<&Test> = reaching.iter().collect();
        let caught_by = self.caught_by.lock().unwrap_or_else(PoisonError::into_inner);
        let lately = caught_by.get(file).into_iter().flatten().rev().filter(|test| reaching.contains(test));
        lately.filter(|test| self.took[*test] < Duration::from_secs(2)).take(4).cloned().collect()
    }

    fn note(&self, file: &str, test: &Test) {
        let mut caught_by = self.caught_by.lock().unwrap_or_else(PoisonError::into_inner);
        let tests = caught_by.entry(file.into()).or_default();
        tests.retain(|other| other != test);
        tests.push(test.clone());
    }

    fn passes(&self, tests: &[Test], environment: &[(&str, &str)], patience: Duration) -> bool {
        let mut run = Command::new("sh");
        run.args(["-c", &format!("ulimit -v {KILOBYTES}; exec \"$0\" \"$@\"")]).arg(&tests[0].binary);
        run.args(["--exact", "--quiet", "--test-threads=1"]).args(tests.iter().map(|test| &test.name));
        // Nobody reads the smallest input that fails.
        run.envs(environment.iter().copied()).env("PROPTEST_MAX_SHRINK_ITERS", "0").current_dir(&self.folder);
        run.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        let Ok(mut child) = run.spawn() else { return false };
        let began = Instant::now();
        loop {
            match child.try_wait() {
                Ok(Some(status)) => return status.success(),
                Ok(None) if began.elapsed() < patience => thread::sleep(Duration::from_millis(2)),
                _ => {
                    let _ = child.kill().and_then(|()| child.wait());
                    return false;
                }
            }
        }
    }
}

/// Name of a binary without what tells builds apart.
fn stem(binary: &Path) -> String {
    let name = binary.file_name().unwrap_or_default().to_string_lossy().into_owned();
    name.rsplit_once('-').map_or(name.clone(), |(stem, _)| stem.to_string())
}

/// Does something with each, so many at a time; in their order.
pub fn each<T: Sync, R: Send>(all: &[T], jobs: usize, run: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let (next, done) = (AtomicUsize::new(0), Mutex::new(BTreeMap::new()));
    thread::scope(|scope| {
        for _ in 0..jobs {
            scope.spawn(|| {
                while let number @ 0.. = next.fetch_add(1, Ordering::Relaxed)
                    && let Some(one) = all.get(number)
                {
                    let result = run(one);
                    done.lock().unwrap_or_else(PoisonError::into_inner).insert(number, result);
                }
            });
        }
    });
    done.into_inner().unwrap_or_else(PoisonError::into_inner).into_values().collect()
}
