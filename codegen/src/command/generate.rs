//! `pagewise generate`: the driver's configuration for a part or a density.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use serde::Serialize;

use super::values::{self, Straps};
use super::{Options, find};
use crate::card::{Card, Catalogue, Footprint, NotSafe, density, generic};
use crate::fault::{Fault, Faults};
use crate::generate::disk::{self, Written};
use crate::generate::{Assumption, Generated, Request, rust};
use crate::output::{Answer, Exit, Tone, paint, plain, wrapped};

/// Generate the driver's configuration for a part, or for every part of a density.
#[derive(Debug, Args)]
pub struct Generate {
    /// Identifier or order code of a card, or a density such as 32k or "4096 bytes".
    #[arg(value_name = "PART|DENSITY")]
    pub part: String,
    /// Language of the generated text.
    #[arg(long, value_name = "LANGUAGE", value_enum, default_value_t = Language::Rust)]
    pub lang: Language,
    /// Write to this file instead of standard output.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Levels of the address pins: a0=gnd,a1=vcc,a2=open; pins not named are tied to gnd.
    #[arg(long, value_name = "PINS", value_parser = values::straps)]
    pub straps: Option<Straps>,
    /// Package by its footprint, where its address pins differ: soic-8, sot-23-5, ...
    #[arg(long, value_name = "FOOTPRINT", value_parser = values::footprint)]
    pub package: Option<Footprint>,
    /// Wrap the text in a module of this name, for include!().
    #[arg(long, value_name = "NAME", value_parser = rust::module_name)]
    pub module_name: Option<String>,
}

/// Languages of generated text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Language {
    /// A module for the Rust driver.
    Rust,
}

#[derive(Serialize)]
struct Body<'c> {
    card: &'c str,
    language: Language,
    digest: &'c str,
    file: Option<String>,
    file_changed: bool,
    assumptions: &'c [Assumption],
    not_safe_on: &'c [NotSafe],
    text: &'c str,
}

impl Generate {
    /// Runs the command.
    ///
    /// # Errors
    /// An unknown part or density, straps that it does not work with, a file that cannot be written; faults of the
    /// user's cards. No file is touched then.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let card = choose(&catalogue, &self.part)?;
        let packaged = self.package.map(|footprint| card.in_footprint(footprint));
        let card = packaged.as_ref().unwrap_or(card);
        let pins = values::pin_levels(card, self.straps.unwrap_or_default())?;
        let request = Request { card, package: self.package, pins, module: self.module_name.clone() };
        let generated = match self.lang {
            Language::Rust => rust::configuration(&request),
        };
        let generated = generated.map_err(|reason| {
            Fault::of_file(&card.id, reason.to_string(), "correct the card, or drive this part by hand")
        })?;
        let written = match &self.output {
            Some(path) => Some(disk::replace(path, &generated.text)?),
            None => None,
        };
        let body = Body {
            card: &card.id,
            language: self.lang,
            digest: &generated.digest,
            file: self.output.as_ref().map(|path| path.display().to_string()),
            file_changed: written == Some(Written::Anew),
            assumptions: &generated.assumptions,
            not_safe_on: &card.not_safe_on,
            text: &generated.text,
        };
        Ok(Answer::new(options.reader(), "generate", Exit::Usable, &body, || self.text(card, &generated, written)))
    }

    fn text(&self, card: &Card, generated: &Generated, written: Option<Written>) -> String {
        let (Some(path), Some(written)) = (&self.output, written) else { return generated.text.clone() };
        let path = plain(&path.display().to_string());
        let what = match written {
            Written::Anew => "written",
            Written::Unchanged => "unchanged",
        };
        let mut text = format!("{path}: {what}, configuration of {} ({})\n", plain(&card.id), card.density());
        for assumption in &generated.assumptions {
            let note = format!("{} = {}: {}", assumption.field, assumption.value, plain(&assumption.why));
            text += &format!("{}\n", wrapped(&note, &paint(Tone::Caution, "assumed "), "        "));
        }
        for part in &card.not_safe_on {
            let note = format!("{}: {}", plain(&part.id), plain(&part.why));
            text += &format!("{}\n", wrapped(&note, &paint(Tone::Bad, "not safe on "), "            "));
        }
        text
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
