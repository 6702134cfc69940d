//! The file of samples: made, or one sample longer.

use std::path::Path;

use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_measure::sample;
use pagewise_part::card::Card;
use pagewise_part::card::sample::{self as samples, Sample, SampleFile};

/// Adds a sample, and says where; nothing where the sample is not of this card.
///
/// # Errors
/// The file is one of another part, or holds a sample of this name, or cannot be read or written.
pub(super) fn add(path: &Path, card: &Card, sample: &Sample, name: Option<&str>) -> Result<Option<String>, Faults> {
    let shown = path.display().to_string();
    let mut file = if path.exists() {
        let text = std::fs::read_to_string(path).map_err(|error| Fault::unreadable(&shown, &error))?;
        samples::read(&shown, &text)?
    } else {
        SampleFile { measured_of: card.id.clone(), sample: Vec::new() }
    };
    if file.measured_of != card.id {
        let reason = format!("holds samples of `{}`, this one is marked as `{}`", file.measured_of, card.id);
        return Err(Fault::of_file(&shown, reason, "name another file").into());
    }
    let name = name.map_or_else(|| format!("sample-{}", file.sample.len() + 1), str::to_owned);
    if name.trim().is_empty() || file.sample.iter().any(|other| other.name == name) {
        return Err(Fault::of_file("--sample", format!("`{name}` is taken, or empty"), "give it another name").into());
    }
    file.sample.push(Sample { name, ..sample.clone() });
    let text = sample::text(&file).map_err(|reason| Fault::of_file(&shown, reason, "report this"))?;
    // A sample that the sheet contradicts is of another part; whether it was simulated is said when it is taken.
    let real = SampleFile { sample: vec![Sample { simulated: false, ..sample.clone() }], ..file };
    if samples::onto(card, &real, &shown, &text).is_err() {
        return Ok(None);
    }
    disk::replace(path, &text)?;
    Ok(Some(shown))
}
