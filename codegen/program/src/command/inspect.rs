//! `pagewise inspect`: what an existing dump holds.

mod draft;
mod text;

use std::path::{Path, PathBuf};

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::{Options, find};
use crate::output::{Answer, Exit, Shape, answers, plain};
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_content::image::{self, Form, formats};
use pagewise_content::inspect::signature::{Place, Sighting, Sought};
use pagewise_content::inspect::{Certainty, Content, Found, Whole, look_for, whole};
use pagewise_content::layout;
use pagewise_part::card::{Card, Catalogue};

/// Largest dump that is looked at, in bytes: the largest density known, 128 Mbit.
const LARGEST: u32 = 16_777_216;

/// Tell what a dump holds: blank, records, EDID, FRU, SPD, text, or the marks of a way to lose data.
#[derive(Debug, Args)]
pub struct Inspect {
    /// Dump: binary, Intel HEX or S-record.
    #[arg(value_name = "DUMP")]
    pub dump: PathBuf,
    /// The part that it was read from: identifier or order code of a card.
    #[arg(long, value_name = "PART")]
    pub part: Option<String>,
    /// Write a draft of a layout that has a region for everything found, and takes its bytes from the dump.
    #[arg(long, value_name = "LAYOUT")]
    pub draft: Option<PathBuf>,
    /// Look for the blocks that this layout describes by a `signature`, such as a start-up bitstream: where they lie, and
    /// whether the layout says so. Regions without an offset are placed for the layout's parts, or for --part.
    #[arg(long, value_name = "LAYOUT")]
    pub layout: Option<PathBuf>,
    /// Form of the dump, where its extension does not tell: bin, ihex, srec.
    #[arg(long, value_name = "FORM", value_enum, hide_possible_values = true)]
    pub form: Option<Form>,
}

#[derive(JsonSchema, Serialize)]
struct Body<'f> {
    file: &'f str,
    length: usize,
    part: Option<&'f str>,
    capacity_bytes: Option<u32>,
    whole: Whole,
    found: &'f [Found],
    /// What became of the signatures of `--layout`.
    sightings: &'f [Sighting],
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Inspect {
    /// Runs the command. What a page wrap or an alias left behind counts as a hazard against the user, and so does a
    /// signature that is not where the layout says.
    ///
    /// # Errors
    /// An unknown part, a dump that cannot be read; faults of the layout and of the user's cards.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let card = self.part.as_ref().map(|part| find(&catalogue, part)).transpose()?;
        let image = formats::read(&self.dump, self.form)?;
        let file = self.dump.display().to_string();
        let end = u32::try_from(image.end()).ok().filter(|end| *end <= LARGEST).ok_or_else(|| {
            let reason = format!("ends at {:#x}; the largest part known has {LARGEST} bytes", image.end());
            Fault::of_file(&file, reason, "name the dump of one part, its addresses counted from 0")
        })?;
        // Gaps of a dump without all bytes read as erased memory.
        let dump = image.flatten(end, 0xFF).map_err(|reason| Fault::of_file(&file, reason.to_string(), ""))?;
        let sought = self.layout.as_deref().map(|path| sought(path, card, &catalogue)).transpose()?.unwrap_or_default();
        let (found, sightings) = look_for(&dump, card, &sought);
        if let Some(layout) = &self.draft {
            disk::replace(layout, &draft::draft(&self.dump, layout, &found)?)?;
        }
        let body = Body {
            file: &file,
            length: dump.len(),
            part: card.map(|card| card.id.as_str()),
            capacity_bytes: card.map(|card| card.capacity_bytes.value),
            whole: whole(&found),
            found: &found,
            sightings: &sightings,
        };
        let astray = |sighting: &Sighting| matches!(sighting.place, Place::Elsewhere | Place::Nowhere);
        let exit = if found.iter().any(against) || sightings.iter().any(astray) { Exit::Against } else { Exit::Usable };
        Ok(Answer::new(options.reader(), "inspect", exit, &body, || {
            let drafted = self.draft.as_ref().map_or_else(String::new, |layout| {
                format!("\n  {}: a draft of a layout\n", plain(&layout.display().to_string()))
            });
            text::text(&file, dump.len() as u32, card, body.whole, &found, &sightings) + &drafted
        }))
    }
}

/// The blocks that a layout describes by a signature.
fn sought(path: &Path, card: Option<&Card>, catalogue: &Catalogue) -> Result<Vec<Sought>, Faults> {
    let layout = layout::read(path)?;
    let named = layout.cards(catalogue)?;
    let open = layout.regions.iter().any(|region| !region.signature.is_empty() && region.offset.is_none());
    // Where its own offset says where a region lies, no part is needed, and the dump may be that of an old one.
    let placed = match (open, named.as_slice(), card) {
        (true, [], Some(card)) => Some(layout.place(card)?),
        (true, [_, ..], _) => Some(layout.place_in_all(&named)?),
        _ => None,
    };
    image::sought(&layout, placed.as_ref())
}

/// Marks of a way to lose data.
fn against(found: &Found) -> bool {
    matches!(found.content, Content::PageWrap(_) | Content::Repeats { .. }) && found.sure >= Certainty::Likely
}
