//! Seeded search for a counterexample, shrunk by proptest.

use std::env;
use std::fmt::Debug;

use proptest::strategy::Strategy;
use proptest::test_runner::{Config, RngAlgorithm, TestCaseError, TestError, TestRng, TestRunner};

/// Seed when `PAGEWISE_SEED` is not set.
pub const DEFAULT_SEED: u64 = 0x24C0_32A0;

/// The seed of all searches of this process.
///
/// # Panics
/// If `PAGEWISE_SEED` is not a number.
#[must_use]
pub fn seed() -> u64 {
    number("PAGEWISE_SEED").unwrap_or(DEFAULT_SEED)
}

/// `cases` times `PAGEWISE_CASES`.
///
/// # Panics
/// If `PAGEWISE_CASES` is not a number.
#[must_use]
pub fn scaled(cases: u32) -> u32 {
    cases * number("PAGEWISE_CASES").unwrap_or(1) as u32
}

fn number(variable: &str) -> Option<u64> {
    let text = env::var(variable).ok()?;
    let parsed = match text.strip_prefix("0x") {
        Some(digits) => u64::from_str_radix(digits, 16),
        None => text.parse(),
    };
    Some(parsed.unwrap_or_else(|_| panic!("{variable}={text} is not a number")))
}

/// Looks for a value on which `property` fails; gives the shrunk one, what was wrong with it, and the line that finds
/// it again.
///
/// `name` goes into the seed, so that two searches of one test do not walk the same path.
pub fn counterexample<S>(
    name: &str,
    cases: u32,
    strategy: &S,
    property: impl Fn(&S::Value) -> Result<(), String>,
) -> Option<String>
where
    S: Strategy,
    S::Value: Debug,
{
    match search(name, cases, 2000, strategy, property) {
        Ok(()) => None,
        Err(TestError::Fail(reason, value)) => {
            Some(format!("{name}: {reason}\nsmallest: {value:#?}\nagain with PAGEWISE_SEED={:#x}", seed()))
        }
        Err(TestError::Abort(reason)) => Some(format!("{name}: gave up: {reason}")),
    }
}

/// Whether a counterexample is found; it is not shrunk.
pub fn found<S>(name: &str, cases: u32, strategy: &S, property: impl Fn(&S::Value) -> Result<(), String>) -> bool
where
    S: Strategy,
    S::Value: Debug,
{
    search(name, cases, 0, strategy, property).is_err()
}

fn search<S>(
    name: &str,
    cases: u32,
    max_shrink_iters: u32,
    strategy: &S,
    property: impl Fn(&S::Value) -> Result<(), String>,
) -> Result<(), TestError<S::Value>>
where
    S: Strategy,
    S::Value: Debug,
{
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed().to_le_bytes());
    for (index, byte) in name.bytes().enumerate() {
        let place = 8 + index % 24;
        bytes[place] = bytes[place].wrapping_mul(31).wrapping_add(byte);
    }
    let config = Config { cases, failure_persistence: None, max_shrink_iters, ..Config::default() };
    let mut runner = TestRunner::new_with_rng(config, TestRng::from_seed(RngAlgorithm::ChaCha, &bytes));
    runner.run(strategy, |value| property(&value).map_err(TestCaseError::fail))
}
