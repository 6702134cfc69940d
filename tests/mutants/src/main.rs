//! Which wrong programs would go unnoticed: all mutants of a crate, against the crate's own tests.
//!
//! `cargo mutants` names them; here all that compile are built at once, each behind a switch, so that a crate with some
//! thousand mutants is through in less than an hour on two cores instead of a day. What does not fit beside the others is
//! built alone. A mutant is caught if a test fails or does not end.

mod build;
mod find;
mod list;
mod run;
mod weave;

use std::collections::BTreeMap;
use std::error::Error;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::available_parallelism;

use clap::Parser;

use build::Copy;
use list::Mutant;
use run::{Fate, Tests, each};

/// Runs all mutants of a crate against its own tests (its unit tests and its test binary `it`).
#[derive(Parser)]
struct Arguments {
    /// The package whose sources are changed.
    package: String,
    /// Only mutants whose place or words contain one of these: `simulator/src/wire`, `ledger.rs:68:`.
    only: Vec<String>,
    /// Leaves out tests whose name contains this.
    #[arg(long, value_name = "PART")]
    skip: Vec<String>,
    /// Fails if fewer of a hundred mutants that compile are caught.
    #[arg(long, value_name = "PERCENT", default_value_t = 0.0)]
    at_least: f64,
    /// Leaves out mutants that need a build of their own.
    #[arg(long)]
    together: bool,
    /// The workspace.
    #[arg(long, default_value = ".")]
    root: PathBuf,
}

fn main() -> ExitCode {
    match judged(&Arguments::parse()) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn judged(arguments: &Arguments) -> Result<bool, Box<dyn Error>> {
    let root = arguments.root.canonicalize()?;
    let jobs = available_parallelism().map_or(1, usize::from);
    let mutants = list::mutants(&root, &arguments.package)?;
    let target = root.join("target/mutants").join(&arguments.package);
    let copy = Copy::new(&root, &arguments.package, &target)?;
    let built = copy.build(&mutants)?;
    println!(
        "{} mutants: {} do not compile, {} need a build of their own",
        mutants.len(),
        built.unviable.len(),
        built.aside.len()
    );
    let tests = Tests::learn(&built.binaries, &copy.package_folder(&mutants), &arguments.skip, jobs)?;
    let (count, took) = tests.extent();
    println!("{count} tests, {:.0} s one after the other", took.as_secs_f64());

    let wanted =
        |mutant: &&Mutant| arguments.only.is_empty() || arguments.only.iter().any(|part| mutant.name.contains(part));
    let (mut together, mut alone) = (Vec::new(), Vec::new());
    for mutant in mutants.iter().filter(wanted).filter(|mutant| !built.unviable.contains(&mutant.id)) {
        if built.aside.contains(&mutant.id) { alone.push(mutant) } else { together.push(mutant) }
    }
    let done = AtomicUsize::new(0);
    let fates = each(&together, jobs, |mutant| {
        let fate = tests.judge(mutant);
        told(mutant, &fate);
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        if done.is_multiple_of(500) {
            eprintln!("{done} of {} judged", together.len());
        }
        fate
    });
    let mut all: Vec<(&Mutant, Fate)> = together.iter().copied().zip(fates).collect();
    if arguments.together {
        println!("{} mutants that need a build of their own are left out", alone.len());
    } else {
        for mutant in alone {
            if let Some(binaries) = copy.build_one(mutant, &mutants)? {
                let fate = tests.judge_alone(&binaries);
                told(mutant, &fate);
                all.push((mutant, fate));
            }
        }
    }
    Ok(report(&all) >= arguments.at_least)
}

/// Prints a mutant that no test caught.
fn told(mutant: &Mutant, fate: &Fate) {
    match fate {
        Fate::Caught => {}
        Fate::Missed => println!("missed: {}", mutant.name),
        Fate::Unreached => println!("unreached: {}", mutant.name),
    }
}

/// Prints how much was caught, by folder; returns how many of a hundred were.
fn report(all: &[(&Mutant, Fate)]) -> f64 {
    let mut folders: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    for (mutant, fate) in all {
        let inside = mutant.file.split_once("/src/").map_or(mutant.file.as_str(), |(_, inside)| inside);
        let folder = inside.split_once('/').map_or(".", |(folder, _)| folder);
        let (caught, count) = folders.entry(folder).or_default();
        *caught += usize::from(*fate == Fate::Caught);
        *count += 1;
    }
    let percent = |caught: usize, count: usize| 100.0 * caught as f64 / count.max(1) as f64;
    for (folder, (caught, count)) in &folders {
        println!("{folder}: {caught} of {count} caught, {:.1} %", percent(*caught, *count));
    }
    let caught = all.iter().filter(|(_, fate)| *fate == Fate::Caught).count();
    println!("{caught} of {} that compile are caught, {:.1} %", all.len(), percent(caught, all.len()));
    percent(caught, all.len())
}
