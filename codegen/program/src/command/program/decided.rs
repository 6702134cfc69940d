//! What a decision about the board lets pass.

use std::fs;
use std::path::Path;

use sha2::{Digest, Sha256};

use pagewise_base::fault::Fault;
use pagewise_base::words;
use pagewise_content::image::folder::MANIFEST;
use pagewise_judge::decision::{self, Decision, Holds};
use pagewise_line::units::Unit;
use pagewise_part::card::{Card, Catalogue};

/// Why the parts or the images must not be used: what is wrong with the decision, or what it does not accept.
pub(super) fn refusals(
    path: &Path,
    catalogue: &Catalogue,
    card: &Card,
    order_code: Option<&str>,
    image: &Path,
    units: &[Unit],
) -> Vec<Fault> {
    match decision::read(path) {
        Ok(decision) => {
            let mut faults = decision.refusals(catalogue, card, order_code);
            faults.extend(other_contents(&decision, image, units));
            faults
        }
        Err(faults) => faults.0,
    }
}

/// Images that the decision does not name, where it names any: each by its own digest, or all by that of their manifest.
fn other_contents(decision: &Decision, image: &Path, units: &[Unit]) -> Vec<Fault> {
    let contents = decision.said.image.iter().filter(|image| image.holds == Holds::Contents);
    let known: Vec<&str> = contents.map(|image| image.sha256.as_str()).collect();
    let manifest = if image.is_dir() { image.join(MANIFEST) } else { image.to_owned() };
    let digest = fs::read(manifest).map(|bytes| words::hex(&Sha256::digest(&bytes))).unwrap_or_default();
    if known.is_empty() || known.contains(&digest.as_str()) {
        return Vec::new();
    }
    let others = units.iter().filter(|unit| !known.contains(&unit.wanted.sha256.as_str()));
    let fault = |unit: &Unit| {
        let remedy = format!("{} names the contents that were decided on", decision.file);
        Fault::of_file(&unit.file, "is not among the contents of the decision", remedy)
    };
    others.map(fault).collect()
}
