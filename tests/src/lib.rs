//! What the tests of two rooms share: seeded searches, operation sequences, flawed drivers, random boards.
//!
//! Every random choice comes from one seed, which a failure prints; `PAGEWISE_SEED` sets it, `PAGEWISE_CASES`
//! multiplies the number of cases.

pub mod bare;
pub mod damage;
pub mod draws;
pub mod floor;
pub mod fuzz;
pub mod hostile;
pub mod hostile_cards;
pub mod linux_bench;
pub mod modules;
pub mod naive;
pub mod operations;
pub mod property;
pub mod python;
pub mod readme;
pub mod reports;
pub mod search;
pub mod seat;
pub mod smbus2;
pub mod tools;
pub mod wire_map;

/// The new code of each change of the driver's calls.
#[cfg(doctest)]
#[doc = include_str!("../../driver/MIGRATION.md")]
struct Migration;
