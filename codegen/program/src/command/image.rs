//! `pagewise image`: images of a layout, one per unit.

mod text;

use std::path::{Path, PathBuf};

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;
use sha2::{Digest, Sha256};

use super::layout::cards as layout_cards;
use super::{Options, progress};
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::words;
use pagewise_content::image::build::{self, Built, Note};
use pagewise_content::image::folder::{self, Entry, ImageFile};
use pagewise_content::image::{Form, formats, units};
use pagewise_content::layout::{self, Layout, Placed};

/// Build the images of a layout, one per unit, with a manifest.
#[derive(Debug, Args)]
pub struct Image {
    /// Layout file.
    #[arg(value_name = "LAYOUT")]
    pub layout: PathBuf,
    /// Identifier or order code of a card (`pagewise parts` lists them); not needed where the layout names its `parts`.
    #[arg(long, value_name = "PART")]
    pub part: Option<String>,
    /// Values per unit: a CSV whose first row names the columns, `unit` among them.
    #[arg(long, value_name = "CSV")]
    pub units: Option<PathBuf>,
    /// Folder to write; it must be new or empty.
    #[arg(short, long, value_name = "FOLDER")]
    pub output: PathBuf,
    /// Form of the images: bin (the whole part), ihex or srec (without the gaps).
    #[arg(long, value_name = "FORM", value_enum, default_value_t = Form::Ihex, hide_possible_values = true)]
    pub form: Form,
    /// Replace a folder of images that was made before.
    #[arg(long)]
    pub overwrite: bool,
}

#[derive(JsonSchema, Serialize)]
struct Body<'i> {
    layout: &'i str,
    /// The part, or the first of the parts, that the layout is placed for.
    part: &'i str,
    /// All of them.
    parts: &'i [String],
    form: Form,
    folder: String,
    images: &'i [Entry],
    notes: &'i [Note],
    unused_columns: &'i [String],
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Image {
    /// Runs the command.
    ///
    /// # Errors
    /// An unknown part, everything that is wrong with the layout or with the units, row by row, a folder that cannot be
    /// written; faults of the user's cards. Nothing is written then.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        if let Some(fault) = binary(&self.layout) {
            return Err(fault.into());
        }
        let layout = layout::read(&self.layout)?;
        let cards = layout_cards(&layout, self.part.as_deref(), &catalogue)?;
        let (card, placed) = (cards[0], layout.place_in_all(&cards)?);
        let units = self.units.as_ref().map(|path| units::read(path, &layout)).transpose()?;
        let geometry = card
            .geometry([false; 3])
            .map_err(|reason| Fault::of_file(&card.id, reason.to_string(), "correct the card"))?;
        let images = build::build(&layout, &placed, &geometry, units.as_ref())?;
        let mut files = Vec::new();
        let mut manifest = Vec::new();
        for built in &images.built {
            let file = self.file(&layout, &placed, built)?;
            manifest.push(entry(&layout, &placed, self.form, built, &file));
            files.push(file);
        }
        let bar = progress::images(files.len(), options.json);
        disk::folder_to_fill(&self.output)?;
        folder::write_telling(&self.output, &files, &manifest, self.overwrite, &|| bar.inc(1))?;
        bar.finish_and_clear();
        let unused_columns = units.map(|units| units.unused_columns).unwrap_or_default();
        let body = Body {
            layout: &layout.file,
            part: &card.id,
            parts: &placed.parts,
            form: self.form,
            folder: self.output.display().to_string(),
            images: &manifest,
            notes: &images.notes,
            unused_columns: &unused_columns,
        };
        let told = text::Told { folder: &body.folder, images: &manifest, notes: body.notes, unused: &unused_columns };
        Ok(Answer::new(options.reader(), "image", Exit::Usable, &body, || text::text(&layout, &placed, &told)))
    }

    fn file(&self, layout: &Layout, placed: &Placed, built: &Built) -> Result<ImageFile, Fault> {
        let refused = |reason: &dyn std::fmt::Display| {
            Fault::of_file(&layout.file, reason.to_string(), "take another form or a smaller part")
        };
        let contents = match self.form {
            Form::Bin => built.image.flatten(placed.capacity_bytes, layout.fill).map_err(|reason| refused(&reason))?,
            form => formats::encode(&built.image, form, layout.fill).map_err(|reason| refused(&reason))?,
        };
        let stem = built.unit.as_deref().unwrap_or("image");
        Ok(ImageFile { name: format!("{stem}.{}", self.form.extension()), contents })
    }
}

/// What is there in place of a layout, and which command takes it.
fn binary(path: &Path) -> Option<Fault> {
    let is_image = path.is_file() && Form::of_path(path).is_some();
    // A text in another encoding than UTF-8 is told as that, by whoever reads the layout.
    let control = |byte: &u8| *byte < 0x20 && !b"\t\n\r".contains(byte);
    let is_binary = || std::fs::read(path).is_ok_and(|contents| contents.iter().any(control));
    if !(is_image || path.is_file() && is_binary()) {
        return None;
    }
    let remedy = "`pagewise inspect` tells what it holds, `pagewise move` makes images for another part of it, `pagewise \
                  program` puts it into a part";
    Some(Fault::of_file(&path.display().to_string(), "is not a layout but the contents of a part", remedy))
}

fn entry(layout: &Layout, placed: &Placed, form: Form, built: &Built, file: &ImageFile) -> Entry {
    let digest = Sha256::digest(&file.contents);
    Entry {
        unit: built.unit.clone(),
        file: file.name.clone(),
        sha256: words::hex(&digest),
        form,
        part: placed.parts[0].clone(),
        also_for: placed.parts[1..].to_vec(),
        layout: Some(layout.name.clone()),
        moved_from: None,
        values: built.values.clone(),
    }
}
