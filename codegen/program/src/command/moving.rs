//! `pagewise move`: what old parts held, as images for a new one.

use std::path::PathBuf;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::{Options, find, progress};
use crate::output::{Answer, Exit, Shape, Tone, answers, paint, plain, wrapped};
use pagewise_base::chain::sha256;
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_content::image::folder::{self, Entry, ImageFile};
use pagewise_content::image::moving::{self, Change, Moved};
use pagewise_content::image::{Form, formats};
use pagewise_line::units::{self, Unit};
use pagewise_part::card::Card;

/// Make images for a new part of what old parts held.
///
/// The bytes keep their offsets. Takes one dump or a folder of dumps, one a unit, and writes a folder of images with a
/// manifest, as `pagewise program` reads it.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit code: 0 written, 2 the input was bad, or what the old part held does not fit the new one."
)]
pub struct Move {
    /// A dump (.bin, .hex, .srec) or a folder of them; a unit is called like its file.
    #[arg(value_name = "DUMP")]
    pub dump: PathBuf,
    /// Card of the old part; its dumps hold all of it then.
    #[arg(long, value_name = "PART")]
    pub from: Option<String>,
    /// Card of the new part.
    #[arg(long, value_name = "PART")]
    pub to: String,
    /// Folder for the images and their manifest.
    #[arg(short, long, value_name = "FOLDER")]
    pub output: PathBuf,
    /// Fill a larger part with copies, for firmware that relies on the old part's ignoring upper bits of the offset.
    #[arg(long)]
    pub aliases: bool,
    /// Form of the images.
    #[arg(long, value_name = "FORM", value_enum, default_value_t = Form::Ihex)]
    pub form: Form,
    /// Replace images that were made before.
    #[arg(long)]
    pub overwrite: bool,
}

#[derive(JsonSchema, Serialize)]
struct Body<'b> {
    part: &'b str,
    from: Option<&'b str>,
    form: Form,
    folder: String,
    change: Change,
    images: &'b [Entry],
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Move {
    /// Runs the command.
    ///
    /// # Errors
    /// An unknown part, each dump that cannot be read or does not fit, a folder that cannot be written. Nothing is written
    /// then.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let new = find(&catalogue, &self.to)?;
        let old = self.from.as_ref().map(|part| find(&catalogue, part)).transpose()?;
        let units = units::read(&self.dump, &[])?;
        let (mut files, mut manifest, mut faults, mut moved) = (Vec::new(), Vec::new(), Faults::default(), Vec::new());
        for unit in &units {
            match self.one(unit, new, old) {
                Ok((one, file)) => {
                    manifest.push(self.entry(unit, new, old, &file));
                    files.push(file);
                    moved.push(one);
                }
                Err(fault) => faults.0.push(fault),
            }
        }
        let moved = faults.or_ok(moved)?;
        let Some(first) = moved.first() else {
            return Err(Fault::of_file(&self.dump.display().to_string(), "holds no dump", "name one").into());
        };
        let bar = progress::images(files.len(), options.json);
        disk::folder_to_fill(&self.output)?;
        folder::write_telling(&self.output, &files, &manifest, self.overwrite, &|| bar.inc(1))?;
        bar.finish_and_clear();
        let body = Body {
            part: &new.id,
            from: old.map(|old| old.id.as_str()),
            form: self.form,
            folder: self.output.display().to_string(),
            change: first.change,
            images: &manifest,
        };
        Ok(Answer::new(options.reader(), "move", Exit::Usable, &body, || text(&body, new, old, first)))
    }

    fn one(&self, unit: &Unit, new: &Card, old: Option<&Card>) -> Result<(Moved, ImageFile), Fault> {
        let dump = unit.wanted.image();
        let whole = old.map_or(dump.end(), |old| u64::from(old.reachable_bytes()).max(dump.end()));
        let fault = |reason: String, remedy: &str| Fault::of_file(&unit.file, reason, remedy);
        let length = u32::try_from(whole).map_err(|_| fault("is larger than any part".into(), "name a dump"))?;
        let bytes = dump.flatten(length, 0xFF).map_err(|error| fault(error.to_string(), "name a dump"))?;
        let moved = moving::to(new, old, &bytes, self.aliases).map_err(|unfit| fault(unfit.reason, &unfit.remedy))?;
        let contents = match self.form {
            Form::Bin => moved.image.flatten(moved.image.end() as u32, 0xFF),
            form => formats::encode(&moved.image, form, 0xFF),
        };
        let contents = contents.map_err(|error| fault(error.to_string(), "take another form"))?;
        let name = format!("{}.{}", unit.name, self.form.extension());
        Ok((moved, ImageFile { name, contents }))
    }

    fn entry(&self, unit: &Unit, new: &Card, old: Option<&Card>, file: &ImageFile) -> Entry {
        Entry {
            unit: Some(unit.name.clone()),
            file: file.name.clone(),
            sha256: sha256(&file.contents),
            form: self.form,
            part: new.id.clone(),
            also_for: Vec::new(),
            layout: None,
            moved_from: Some(old.map_or_else(|| unit.file.clone(), |old| old.id.clone())),
            values: Vec::new(),
        }
    }
}

fn text(body: &Body<'_>, new: &Card, old: Option<&Card>, first: &Moved) -> String {
    let from = old.map_or_else(String::new, |old| format!(" from {}, {},", old.id, old.density()));
    let count = if body.images.len() == 1 { "1 image".into() } else { format!("{} images", body.images.len()) };
    let head = format!("{count}{from} for {}, {}: {}", new.id, new.density(), body.folder);
    let mut out = wrapped(&plain(&head), "", "  ") + "\n";
    let change = match body.change {
        Change::Same => "the same bytes at the same offsets".to_owned(),
        Change::Cut(bytes) => format!("the same offsets; {bytes} blank bytes at the end are cut off"),
        Change::Open(bytes) => format!("the same offsets; the last {bytes} bytes of the new part are left as they are"),
        Change::Copies(copies) => format!("{copies} copies, so that offsets beyond the old part's end read as before"),
    };
    out += &(wrapped(&change, "  ", "  ") + "\n");
    for entry in body.images.iter().take(5) {
        out += &format!("  {}  SHA-256 {}…\n", paint(Tone::Strong, plain(&entry.file)), &entry.sha256[..16]);
    }
    if body.images.len() > 5 {
        out += &format!("  and {} more\n", body.images.len() - 5);
    }
    out += &format!("  {}  unit, file, SHA-256 of each\n", folder::MANIFEST);
    if let Some((at, length)) = first.makers {
        let note = format!(
            "{length} bytes from {at:#06x} on were the old part's maker's own: in the new parts they are copies that \
             every image brings, and can be written over"
        );
        out += &(wrapped(&note, &paint(Tone::Caution, "note "), "     ") + "\n");
    }
    out
}
