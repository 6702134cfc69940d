//! What a verdict takes for granted, and how each condition is settled: by measuring, by hand, or by a sheet only.

use schemars::JsonSchema;
use serde::Serialize;

use pagewise_judge::swap::{Amend, Proviso};

/// A condition of a verdict, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Step {
    /// The condition, to stand after "provided that".
    pub condition: String,
    /// How it is settled.
    pub settled: Settled,
    /// What to do.
    pub how: &'static str,
}

/// How a condition is settled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Settled {
    /// By a measurement with leave to write.
    ByMeasuring,
    /// By looking at sample and board.
    ByHand,
    /// By what the maker promises; samples show nothing of it.
    BySheet,
}

/// What each condition needs.
#[must_use]
pub fn plan(conditions: &[Proviso]) -> Vec<Step> {
    conditions.iter().map(step).collect()
}

fn step(proviso: &Proviso) -> Step {
    use Settled::{ByHand, ByMeasuring, BySheet};
    let (settled, how) = match proviso.amend {
        Amend::ReadWholeArray => (ByMeasuring, "read on and on from a marker in the scratch range until it comes back"),
        Amend::PointerAsOld(_) => {
            (ByMeasuring, "write to the last byte of a page, then read without an address; two pages of scratch")
        }
        Amend::Busy(_) => (
            ByMeasuring,
            "ask for a read inside a write cycle; one address alone does not tell every part from another",
        ),
        Amend::AddressBits => (ByMeasuring, "ask every device address while straps are as on the board"),
        Amend::Protects(_) => (ByMeasuring, "move WP by hand (--wp-by-hand), and write at both levels"),
        Amend::OpenStrap(_) | Amend::OpenWp(_) => {
            (ByHand, "measure with the pin open and with it tied; one sample open does not bound the next one")
        }
        Amend::Package(_) => (ByHand, "the sample in your hand has this package, or ask the maker"),
        Amend::WriteCycleUs(_) => {
            (BySheet, "the maker's sheet or letter; samples bound it from below only, at one temperature and supply")
        }
        _ => (BySheet, "the maker's sheet or letter; no number of samples settles it"),
    };
    Step { condition: proviso.text.clone(), settled, how }
}
