//! `pagewise generate`: the driver's configuration, or a whole driver, for parts or a density.

mod text;

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use schemars::JsonSchema;
use serde::Serialize;

use super::values::{self, Straps};
use super::{Options, find};
use crate::output::{Answer, Exit, Shape, answers, plain};
use pagewise_base::disk::{self, Written};
use pagewise_base::fault::{Fault, Faults};
use pagewise_content::layout;
use pagewise_emit::common::{Cost, Limit};
use pagewise_emit::difference::{self, Difference, State};
use pagewise_emit::{Assumption, Generated, Part, Record, Request, c, rust, rust_crate};
use pagewise_part::card::{Card, Catalogue, Footprint, NotSafe, density, generic};

/// Generate a configuration or a whole driver for parts.
#[derive(Debug, Args)]
pub struct Generate {
    /// Identifiers or order codes of cards, or densities such as 32k or "4096 bytes". Several: what is safe on all.
    #[arg(value_name = "PART|DENSITY", required = true)]
    pub parts: Vec<String>,
    /// What to generate: rust, a configuration of the Rust driver; c, a whole driver in C99, header and source.
    #[arg(long, value_name = "LANGUAGE", value_enum, default_value_t = Language::Rust)]
    pub lang: Language,
    /// Write to this file instead of standard output; C: the header NAME.h, with NAME.c beside it.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Rust: write a whole driver to this folder, a crate of the folder's name that needs nothing of this project.
    #[arg(long = "crate", value_name = "FOLDER", conflicts_with = "output")]
    pub crate_folder: Option<PathBuf>,
    /// Write nothing: show how the files on disk differ, and exit with 1 if they do.
    #[arg(long)]
    pub check: bool,
    /// Levels of the address pins: a0=gnd,a1=vcc,a2=open; pins not named are tied to gnd.
    #[arg(long, value_name = "PINS", value_parser = values::straps)]
    pub straps: Option<Straps>,
    /// Package by its footprint, where its address pins differ: soic-8, sot-23-5, ...
    #[arg(long, value_name = "FOOTPRINT", value_parser = values::footprint)]
    pub package: Option<Footprint>,
    /// Choose among the parts at run time, by the record at this place: 0x20:16 are 16 bytes from offset 0x20.
    #[arg(long, value_name = "OFFSET:LENGTH", value_parser = values::record)]
    pub choose: Option<Record>,
    /// Add constants and typed accessors for the regions of this layout file.
    #[arg(long, value_name = "FILE")]
    pub layout: Option<PathBuf>,
    /// Rust: wrap the text in a module of this name, for include!(); with --crate, the crate's name. C: what all names
    /// begin with.
    #[arg(long, value_name = "NAME", value_parser = rust::module_name)]
    pub module_name: Option<String>,
}

/// Languages of generated text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Language {
    /// A module for the Rust driver.
    Rust,
    /// A driver in C99.
    C,
}

#[derive(JsonSchema, Serialize)]
struct Body<'a> {
    cards: Vec<&'a str>,
    language: Language,
    digest: &'a str,
    assumptions: &'a [Assumption],
    not_safe_on: &'a [NotSafe],
    limits: &'a [Limit],
    costs: &'a [Cost],
    files: Vec<FileBody<'a>>,
}

#[derive(JsonSchema, Serialize)]
struct FileBody<'a> {
    name: &'a str,
    file: Option<String>,
    file_changed: bool,
    check: Option<&'a Difference>,
    text: &'a str,
}

/// What became of the files.
enum Done {
    Printed,
    Written(Vec<Written>),
    Checked(Vec<Difference>),
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Generate {
    /// Runs the command.
    ///
    /// # Errors
    /// An unknown part or density, straps that a part does not work with, parts without a common configuration, a file
    /// that cannot be written; faults of the user's cards. No file is touched then.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        if self.check && self.output.is_none() && self.crate_folder.is_none() {
            let remedy = "add --output FILE or --crate FOLDER";
            return Err(Fault::of_file("--check", "has nothing to compare with", remedy).into());
        }
        if let Some(folder) = &self.crate_folder {
            disk::folder_to_fill(folder)?;
        }
        if self.crate_folder.is_some() && self.lang != Language::Rust {
            return Err(Fault::of_file("--crate", "is a crate of Rust", "leave out --lang, or name an --output").into());
        }
        let catalogue = options.catalogue()?;
        let cards = self.cards(&catalogue)?;
        let layout = self.layout.as_deref().map(layout::read).transpose()?;
        let (choose, module) = (self.choose, self.module()?);
        let sharing = layout.as_ref().map_or_else(|| Ok(Vec::new()), |layout| layout.cards(&catalogue))?;
        let request = Request { parts: self.parts(&cards)?, choose, layout: layout.as_ref(), sharing, module };
        let generated = match (self.lang, &self.crate_folder) {
            (Language::C, _) => match self.output.as_deref().and_then(Path::file_stem) {
                Some(stem) => c::driver_in(&request, &stem.to_string_lossy())?,
                None => c::driver(&request)?,
            },
            (Language::Rust, None) => rust::configuration(&request)?,
            (Language::Rust, Some(_)) => rust_crate::driver(&request)?,
        };
        let paths = self.paths(&generated);
        let pairs = paths.iter().zip(&generated.files);
        let done = if paths.is_empty() {
            Done::Printed
        } else if self.check {
            Done::Checked(pairs.map(|(path, file)| difference::compare(path, &file.text)).collect())
        } else {
            let files: Vec<_> = pairs.map(|(path, file)| (path.as_path(), file.text.as_bytes())).collect();
            Done::Written(match &self.crate_folder {
                Some(folder) => rust_crate::check_folder(folder).map(|()| disk::replace_all_in_folders(&files))??,
                None => disk::replace_all(&files)?,
            })
        };
        let same = |found: &Difference| found.state == State::Same;
        let exit = match &done {
            Done::Checked(found) if !found.iter().all(same) => Exit::Against,
            _ => Exit::Usable,
        };
        let body = body(self.lang, &cards, &generated, &paths, &done);
        Ok(Answer::new(options.reader(), "generate", exit, &body, || {
            text::answer(&cards, &generated, self.crate_folder.as_deref(), &paths, &done)
        }))
    }

    fn cards(&self, catalogue: &Catalogue) -> Result<Vec<Card>, Faults> {
        let (mut cards, mut faults) = (Vec::new(), Vec::new());
        for part in &self.parts {
            match choose(catalogue, part) {
                Ok(card) => cards.push(self.package.map_or_else(|| card.clone(), |package| card.in_footprint(package))),
                Err(more) => faults.extend(more.0),
            }
        }
        Faults(faults).or_ok(cards)
    }

    fn parts<'c>(&self, cards: &'c [Card]) -> Result<Vec<Part<'c>>, Faults> {
        let (mut parts, mut faults) = (Vec::new(), Vec::new());
        for card in cards {
            match values::pin_levels(card, self.straps.unwrap_or_default()) {
                Ok(pins) => parts.push(Part { card, package: self.package, pins }),
                Err(more) => faults.extend(more.0),
            }
        }
        Faults(faults).or_ok(parts)
    }

    /// The name that was asked for; in C that of the file, which the source includes, and of a crate that of its
    /// folder.
    fn module(&self) -> Result<Option<String>, Faults> {
        if let (Some(folder), None) = (&self.crate_folder, &self.module_name) {
            let name = folder.file_name().unwrap_or_default().to_string_lossy().replace('-', "_");
            let refuse = |reason| {
                let folder = plain(&folder.display().to_string());
                Fault::of_file(&folder, format!("does not name a crate: {reason}"), "add --module-name NAME")
            };
            return Ok(Some(rust_crate::crate_name(&name).map_err(refuse)?));
        }
        let (Language::C, Some(path)) = (self.lang, &self.output) else { return Ok(self.module_name.clone()) };
        let refuse = |reason: String, remedy: &str| Fault::of_file(&plain(&path.display().to_string()), reason, remedy);
        if !path.extension().is_some_and(|ending| ending == "h" || ending == "c") {
            return Err(refuse("names neither a header nor a source of C".into(), "let it end in .h").into());
        }
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        if let Some(asked) = &self.module_name {
            c::file_stem(&stem).map_err(|reason| refuse(reason, "rename the file"))?;
            return Ok(Some(asked.clone()));
        }
        Ok(Some(c::prefix(&stem).map_err(|reason| refuse(reason, "rename the file, or add --module-name NAME"))?))
    }

    /// Where the files go; empty for standard output.
    fn paths(&self, generated: &Generated) -> Vec<PathBuf> {
        if let Some(folder) = &self.crate_folder {
            return generated.files.iter().map(|file| folder.join(&file.name)).collect();
        }
        let Some(path) = &self.output else { return Vec::new() };
        match &generated.files[..] {
            [_] => vec![path.clone()],
            files => files.iter().map(|file| path.with_file_name(&file.name)).collect(),
        }
    }
}

fn body<'a>(
    language: Language,
    cards: &'a [Card],
    generated: &'a Generated,
    paths: &[PathBuf],
    done: &'a Done,
) -> Body<'a> {
    let file = |(index, file): (usize, &'a pagewise_emit::Source)| FileBody {
        name: &file.name,
        file: paths.get(index).map(|path| path.display().to_string()),
        file_changed: matches!(done, Done::Written(written) if written.get(index) == Some(&Written::Anew)),
        check: if let Done::Checked(found) = done { found.get(index) } else { None },
        text: &file.text,
    };
    Body {
        cards: cards.iter().map(|card| card.id.as_str()).collect(),
        language,
        digest: &generated.digest,
        assumptions: &generated.assumptions,
        not_safe_on: &generated.not_safe_on,
        limits: &generated.limits,
        costs: &generated.costs,
        files: generated.files.iter().enumerate().map(file).collect(),
    }
}

/// The card of a part, or the generic one of a density.
fn choose<'c>(catalogue: &'c Catalogue, part: &str) -> Result<&'c Card, Faults> {
    let known = find(catalogue, part);
    let Ok(bytes) = values::density(part) else { return known };
    if known.is_ok() {
        return known;
    }
    let id = format!("{}{}", generic::PREFIX, generic::size_word(bytes));
    catalogue.cards().iter().find(|card| card.is_generic() && card.capacity_bytes.value == bytes).ok_or_else(|| {
        let reason = format!("no generic card `{id}`: no EEPROM of {} is known", density(bytes));
        Fault::of_file(&format!("`{}`", plain(part)), reason, "`pagewise parts --generic` lists them").into()
    })
}
