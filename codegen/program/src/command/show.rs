//! `pagewise show`: one part, every value with its source, and the anatomy of its address.

mod sheet;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::values::{self, Straps};
use super::{Options, find};
use crate::output::{Answer, Exit, Shape, Tone, answers, paint, plain, wrapped};
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::anatomy::Anatomy;
use pagewise_part::card::{Card, Catalogue, Footprint, Role};

/// Show one part: every value with its source, and its address on the wire for an offset.
#[derive(Debug, Args)]
pub struct Show {
    /// Identifier or order code of a card (`pagewise parts` lists them).
    #[arg(value_name = "PART")]
    pub part: String,
    /// Offset whose address is drawn, decimal or hexadecimal.
    #[arg(long, value_name = "BYTES", value_parser = values::offset, default_value = "0")]
    pub offset: u32,
    /// Levels of the address pins: a0=gnd,a1=vcc,a2=open; pins not named are tied to gnd.
    #[arg(long, value_name = "PINS", value_parser = values::straps)]
    pub straps: Option<Straps>,
    /// Package by its footprint: soic-8, sot-23-5, ...
    #[arg(long, value_name = "FOOTPRINT", value_parser = values::footprint)]
    pub package: Option<Footprint>,
}

#[derive(JsonSchema, Serialize)]
struct Body<'c> {
    card: &'c Card,
    package: Option<Footprint>,
    package_listed: bool,
    pins_high: PinsHigh,
    device_address: u8,
    answers: Vec<u8>,
    anatomy: &'c Anatomy,
}

#[derive(JsonSchema, Serialize)]
struct PinsHigh {
    a0: bool,
    a1: bool,
    a2: bool,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Show {
    /// Runs the command.
    ///
    /// # Errors
    /// An unknown part, straps that it does not work with, an offset outside it; faults of the user's cards.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        self.answer(&options.catalogue()?, options)
    }

    /// The answer over a catalogue that is already there.
    ///
    /// # Errors
    /// As [`Show::run`].
    pub fn answer(&self, catalogue: &Catalogue, options: &Options) -> Result<Answer, Faults> {
        let card = find(catalogue, &self.part)?;
        let package_listed = self.package.is_some_and(|footprint| card.package_for(footprint).is_some());
        let card = self.package.map_or_else(|| card.clone(), |footprint| card.in_footprint(footprint));
        let pins = values::pin_levels(&card, self.straps.unwrap_or_default())?;
        let anatomy = Anatomy::of(&card, pins, self.offset)
            .map_err(|beyond| Fault::of_file("--offset", beyond.to_string(), "name an offset inside it"))?;
        let body = Body {
            card: &card,
            package: self.package,
            package_listed,
            pins_high: PinsHigh { a0: pins[0], a1: pins[1], a2: pins[2] },
            device_address: card.device_address(pins),
            answers: card.answers(pins),
            anatomy: &anatomy,
        };
        let text = || {
            let package = self.package.map(|footprint| package_line(footprint, package_listed)).unwrap_or_default();
            let drawn = [heading(&format!("Address of offset {:#x} = {0} on the wire", self.offset)), anatomy.draw()];
            let legend = legend(&card, &anatomy, body.answers.len(), self.straps.unwrap_or_default());
            format!("{}{package}\n{}\n{legend}", sheet::text(&card), drawn.join("\n"))
        };
        Ok(Answer::new(options.reader(), "show", Exit::Usable, &body, text))
    }
}

fn heading(text: &str) -> String {
    paint(Tone::Heading, text)
}

fn package_line(footprint: Footprint, listed: bool) -> String {
    let word = footprint.word();
    if listed {
        return format!("\nShown as in the {word} package.\n");
    }
    let text = format!("the card does not list a {word} package; shown as the usual 8-lead one");
    format!("\n{}\n", paint(Tone::Caution, wrapped(&text, "", "")))
}

/// What the cells mean that occur in the picture.
fn legend(card: &Card, anatomy: &Anatomy, answers: usize, straps: Straps) -> String {
    let bits = card.device_bits();
    let mut notes = Vec::new();
    for pin in 0..3u8 {
        let compared = bits.iter().any(|role| role.pin() == Some(pin));
        let demanded = card.required_straps.iter().any(|(strapped, _)| *strapped == pin);
        if straps.0[usize::from(pin)].is_some() && !compared && !demanded {
            notes.push(format!("a{pin} is not compared by this part; its strap makes no difference"));
        }
    }
    if bits.iter().any(|role| role.pin().is_some()) {
        notes.push("A2 A1 A0: compared with that pin (/A: its complement); drawn for --straps, gnd by default".into());
    }
    if bits.iter().any(|role| matches!(role, Role::Block(_))) {
        let first = 8 * card.word_address_bytes.value;
        notes.push(format!("B0 upwards: block-select bits; B0 is offset bit {first}"));
    }
    let word_bits = anatomy.word_address.iter().flat_map(|byte| &byte.bits);
    if bits.contains(&Role::Ignored) || word_bits.into_iter().any(|bit| bit.role == "x") {
        notes.push("x: don't care, sent as 0".into());
    }
    if answers > 1 {
        notes.push(format!("the part answers at {answers} device addresses"));
    }
    if let Some(bank) = anatomy.bank {
        notes.push(format!("bank {bank} must be selected by a command first"));
    }
    notes.iter().map(|note| paint(Tone::Faint, wrapped(&plain(note), "  ", "    "))).collect::<Vec<_>>().join("\n")
}
