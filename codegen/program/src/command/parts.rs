//! `pagewise parts`: list and filter.

use std::path::{Path, PathBuf};

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::stock::read_stock;
use super::{Options, values};
use crate::output::{Align, Answer, Exit, Shape, Tone, answers, paint, plain, table, wrapped};
use pagewise_base::fault::Faults;
use pagewise_judge::stock::Columns;
use pagewise_part::card::draft::draft;
use pagewise_part::card::{Card, Catalogue, Footprint, Grade, Kind, Offer, Package, Role};
use pagewise_part::fact::Fact;

/// List parts, all or those that match every filter.
#[derive(Debug, Args)]
pub struct Parts {
    /// Words that identifier, order code or maker contain, upper or lower case.
    #[arg(value_name = "WORD")]
    pub words: Vec<String>,
    /// Maker's name, or part of it.
    #[arg(long, value_name = "NAME")]
    pub maker: Option<String>,
    /// Density: 32k, 32kbit, 2M, "4096 bytes".
    #[arg(long, value_name = "SIZE", value_parser = values::density)]
    pub density: Option<u32>,
    /// Page size in bytes.
    #[arg(long, value_name = "BYTES", value_parser = clap::value_parser!(u32).range(1..=65_536))]
    pub page: Option<u32>,
    /// Word-address bytes sent after the device address.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u8).range(0..=3))]
    pub address_bytes: Option<u8>,
    /// Reads and writes at this supply in volts.
    #[arg(long, value_name = "VOLTS", value_parser = values::millivolts)]
    pub supply: Option<u32>,
    /// Runs at this SCL rate in kHz (at the given supply, or at any).
    #[arg(long, value_name = "KHZ", value_parser = clap::value_parser!(u32).range(1..=5000))]
    pub scl: Option<u32>,
    /// Made in this package, as far as is known for certain: soic-8, tssop-8, sot-23-5, ...
    #[arg(long, value_name = "PACKAGE", value_parser = values::footprint)]
    pub package: Option<Footprint>,
    /// Works at these temperatures in degrees Celsius, whatever the grade: -40..85.
    #[arg(long, value_name = "FROM..TO", value_parser = values::temperatures, allow_hyphen_values = true)]
    pub temperature: Option<(i32, i32)>,
    /// In this stock list, with at least one piece.
    #[arg(long, value_name = "FILE")]
    pub stock: Option<PathBuf>,
    /// Write a commented card of this part to fill in, instead of a list.
    #[arg(long, value_name = "PART", conflicts_with = "words")]
    pub new: Option<String>,
    /// Kind of memory.
    #[arg(long, value_name = "KIND", value_parser = ["eeprom", "fram"])]
    pub kind: Option<String>,
    /// List the generic cards, one per density, instead of parts.
    #[arg(long)]
    pub generic: bool,
}

#[derive(JsonSchema, Serialize)]
struct Body<'c> {
    count: usize,
    of: usize,
    parts: Vec<Entry<'c>>,
}

/// A card to be filled in.
#[derive(JsonSchema, Serialize)]
struct Draft<'a> {
    part: &'a str,
    card: String,
}

#[derive(JsonSchema, Serialize)]
struct Entry<'c> {
    id: &'c str,
    name: &'c str,
    maker: &'c str,
    kind: Kind,
    density: String,
    capacity_bytes: &'c Fact<u32>,
    page_bytes: &'c Fact<u32>,
    word_address_bytes: &'c Fact<u8>,
    block_select_bits: u8,
    device_code: &'c Fact<[Role; 4]>,
    address_bits: &'c Fact<[Role; 3]>,
    read_min_mv: &'c Fact<u32>,
    write_min_mv: &'c Fact<u32>,
    max_mv: &'c Fact<u32>,
    speed: &'c Fact<Vec<Grade>>,
    write_cycle_max_us: &'c Fact<u32>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>, answers::<Draft<'static>>];

impl Parts {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with the user's cards.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        if let Some(name) = &self.new {
            let draft = Draft { part: name, card: draft(&plain(name)) };
            return Ok(Answer::new(options.reader(), "parts", Exit::Usable, &draft, || {
                draft.card.trim_end().to_owned()
            }));
        }
        let catalogue = options.catalogue()?;
        let stock = self.stock.as_ref().map(|path| in_stock(path, &catalogue)).transpose()?;
        let cards: Vec<&Card> = catalogue.cards().iter().filter(|card| card.is_generic() == self.generic).collect();
        let found: Vec<&Card> = cards.iter().copied().filter(|card| self.matches(card, stock.as_deref())).collect();
        let parts = found.iter().map(|card| Entry::of(card)).collect();
        let body = Body { count: found.len(), of: cards.len(), parts };
        Ok(Answer::new(options.reader(), "parts", Exit::Usable, &body, || self.text(&found, cards.len())))
    }

    fn matches(&self, card: &Card, stock: Option<&[String]>) -> bool {
        let contains = |text: &str, word: &str| text.to_lowercase().contains(&word.to_lowercase());
        let word = |word: &String| [&card.id, &card.name, &card.maker].iter().any(|text| contains(text, word));
        let kind = |kind: &String| (kind == "fram") == (card.kind == Kind::Fram);
        let range = card.read_min_mv.value.max(card.write_min_mv.value)..=card.max_mv.value;
        let made = |footprint: Footprint| {
            let read = |package: &Package| package.pins.is_some() && package.address_is_read();
            matches!(card.packages.offer(footprint), Offer::Made(package) if read(package))
        };
        let works =
            |(low, high): (i32, i32)| card.temperature_min_c.value <= low && high <= card.temperature_max_c.value;
        let rate = self.supply.map_or_else(|| fastest(card), |mv| card.scl_khz_at(mv));
        self.words.iter().all(word)
            && self.maker.as_ref().is_none_or(|maker| contains(&card.maker, maker))
            && self.density.is_none_or(|bytes| card.capacity_bytes.value == bytes)
            && self.page.is_none_or(|page| card.kind == Kind::Eeprom && card.page_bytes.value == page)
            && self.address_bytes.is_none_or(|bytes| card.word_address_bytes.value == bytes)
            && self.supply.is_none_or(|mv| range.contains(&mv))
            && self.scl.is_none_or(|khz| rate >= khz)
            && self.package.is_none_or(made)
            && self.temperature.is_none_or(works)
            && stock.is_none_or(|ids| ids.contains(&card.id))
            && self.kind.as_ref().is_none_or(kind)
    }

    fn text(&self, found: &[&Card], of: usize) -> String {
        let what = if self.generic { "generic cards" } else { "parts" };
        if found.is_empty() {
            return format!("no part matches; {of} {what} were looked at");
        }
        let columns = [
            ("part", Align::Name),
            ("maker", Align::Name),
            ("page", Align::Right),
            ("addr", Align::Right),
            ("supply V", Align::Right),
            ("SCL kHz", Align::Right),
            ("write ms", Align::Right),
        ];
        let mut lines = table(&columns, found.iter().map(|card| row(card)).collect()).into_iter();
        // On a narrow terminal a heading takes several lines.
        let heads = lines.len() - found.len();
        let mut text: String = lines.by_ref().take(heads).map(|line| format!("  {line}\n")).collect();
        let mut size = 0;
        for (card, line) in found.iter().zip(lines) {
            if card.capacity_bytes.value != size {
                size = card.capacity_bytes.value;
                text += &format!("{}\n", paint(Tone::Heading, card.density()));
            }
            text += &format!("  {line}\n");
        }
        text += &format!("\n{} of {of} {what}\n", found.len());
        text += &paint(Tone::Faint, legend(found));
        text
    }
}

impl<'c> Entry<'c> {
    fn of(card: &'c Card) -> Self {
        Self {
            id: &card.id,
            name: &card.name,
            maker: &card.maker,
            kind: card.kind,
            density: card.density(),
            capacity_bytes: &card.capacity_bytes,
            page_bytes: &card.page_bytes,
            word_address_bytes: &card.word_address_bytes,
            block_select_bits: card.block_select_bits(),
            device_code: &card.device_code,
            address_bits: &card.address_bits,
            read_min_mv: &card.read_min_mv,
            write_min_mv: &card.write_min_mv,
            max_mv: &card.max_mv,
            speed: &card.speed,
            write_cycle_max_us: &card.write_cycle_max_us,
        }
    }
}

/// Identifiers of the cards that a stock list has at least one piece of.
fn in_stock(path: &Path, catalogue: &Catalogue) -> Result<Vec<String>, Faults> {
    let stock = read_stock(path, &Columns::default(), catalogue)?;
    let held = |id: &&str| stock.offer(id, None).is_some_and(|offer| offer.quantity > 0);
    Ok(stock.cards().filter(held).map(str::to_owned).collect())
}

fn fastest(card: &Card) -> u32 {
    card.speed.value.iter().map(|grade| grade.scl_khz).max().unwrap_or(0)
}

fn starred<T>(fact: &Fact<T>, text: String) -> String {
    if fact.is_assumed() { paint(Tone::Caution, text + "*") } else { text }
}

fn row(card: &Card) -> Vec<String> {
    let volts = |mv: u32| f64::from(mv) / 1000.0;
    let write_min = card.read_min_mv.value.max(card.write_min_mv.value);
    let supply = format!("{}-{}", volts(write_min), volts(card.max_mv.value));
    let supply = starred(if card.max_mv.is_assumed() { &card.max_mv } else { &card.write_min_mv }, supply);
    let address = match card.block_select_bits() {
        0 => card.word_address_bytes.value.to_string(),
        bits => format!("{}+{bits}", card.word_address_bytes.value),
    };
    let (page, cycle) = match card.kind {
        Kind::Fram => ("none".to_owned(), "none".to_owned()),
        Kind::Eeprom => (
            starred(&card.page_bytes, card.page_bytes.value.to_string()),
            starred(&card.write_cycle_max_us, (f64::from(card.longest_write_us()) / 1000.0).to_string()),
        ),
    };
    vec![
        paint(Tone::Strong, plain(&card.id)),
        plain(&card.maker),
        page,
        starred(&card.word_address_bytes, address),
        supply,
        starred(&card.speed, fastest(card).to_string()),
        cycle,
    ]
}

fn legend(found: &[&Card]) -> String {
    let mut notes = vec![
        "page in bytes; addr: word-address bytes + block-select bits; supply for writing; SCL at the best supply; \
         write: longest write cycle.",
    ];
    if found.iter().any(|card| row(card).iter().any(|cell| cell.contains('*'))) {
        notes.push("*: not stated in the sheet read, a cautious assumption; `pagewise show PART` tells why.");
    }
    notes.iter().map(|note| wrapped(note, "", "")).collect::<Vec<_>>().join("\n")
}
