//! `pagewise layout`: where the regions of a layout lie in a part.

mod text;

use std::path::PathBuf;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::{Options, find};
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::fault::{Fault, Faults};
use pagewise_content::layout::{self, Kind, Layout as File, Placed, PlacedRegion, Record, Separate, Source};
use pagewise_part::card::{Card, Catalogue};

/// Show where the regions of a layout lie in a part, and what keeping them apart costs.
#[derive(Debug, Args)]
pub struct Layout {
    /// Layout file.
    #[arg(value_name = "LAYOUT")]
    pub file: PathBuf,
    /// Identifier or order code of a card (`pagewise parts` lists them); not needed where the layout names its `parts`.
    #[arg(long, value_name = "PART")]
    pub part: Option<String>,
}

/// The parts that a layout is placed for: those that it names, among which the one that is asked for must be, or else that one.
///
/// # Errors
/// A part without a card, one that the layout does not name, or none at all.
pub(super) fn cards<'c>(layout: &File, asked: Option<&str>, catalogue: &'c Catalogue) -> Result<Vec<&'c Card>, Faults> {
    let named = layout.cards(catalogue)?;
    let asked = asked.map(|part| find(catalogue, part)).transpose()?;
    match (asked, named.as_slice()) {
        (None, []) => {
            let reason = "which part it is for was not said, and the layout names no `parts`";
            Err(Fault::of_file("--part", reason, "name a card with --part PART; `pagewise parts` lists them").into())
        }
        (Some(card), []) => Ok(vec![card]),
        (Some(card), _) if named.iter().all(|other| other.id != card.id) => {
            let reason = format!("`{}` is not among the `parts` of {}", card.id, layout.file);
            Err(Fault::of_file("--part", reason, "name one of them, or add it there").into())
        }
        _ => Ok(named),
    }
}

#[derive(JsonSchema, Serialize)]
struct Body<'l> {
    file: &'l str,
    name: &'l str,
    /// The part, or the first of the parts, that it is placed for.
    part: &'l str,
    /// All of them.
    parts: &'l [String],
    capacity_bytes: u32,
    page_bytes: u32,
    separate: Separate,
    unit_bytes: u32,
    often_per_day: f64,
    fill: u8,
    end: u32,
    cost_bytes: u32,
    best: bool,
    bound: u32,
    regions: Vec<Row<'l>>,
}

#[derive(JsonSchema, Serialize)]
struct Row<'l> {
    name: &'l str,
    kind: String,
    offset: u32,
    length: u32,
    fixed: bool,
    often: bool,
    writes_per_day: f64,
    source: &'static str,
    column: Option<&'l str>,
    records: Vec<RecordRow<'l>>,
}

#[derive(JsonSchema, Serialize)]
struct RecordRow<'l> {
    name: &'l str,
    id: u8,
    version: u8,
    slots: u16,
    payload_bytes: u16,
    source: &'static str,
    column: Option<&'l str>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Layout {
    /// Runs the command.
    ///
    /// # Errors
    /// An unknown part, everything that is wrong with the layout, regions that find no place; faults of the user's
    /// cards.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let file = layout::read(&self.file)?;
        let placed = file.place_in_all(&cards(&file, self.part.as_deref(), &catalogue)?)?;
        let body = body(&file, &placed);
        Ok(Answer::new(options.reader(), "layout", Exit::Usable, &body, || text::text(&file, &placed)))
    }
}

fn body<'l>(file: &'l File, placed: &'l Placed) -> Body<'l> {
    let Placed { capacity_bytes, page_bytes, unit_bytes, end, cost_bytes, best, bound, .. } = *placed;
    Body {
        file: &file.file,
        name: &file.name,
        part: &placed.parts[0],
        parts: &placed.parts,
        capacity_bytes,
        page_bytes,
        separate: file.separate,
        unit_bytes,
        often_per_day: file.often_per_day,
        fill: file.fill,
        end,
        cost_bytes,
        best,
        bound,
        regions: placed.regions.iter().map(row).collect(),
    }
}

fn row(placed: &PlacedRegion) -> Row<'_> {
    let records = match &placed.region.kind {
        Kind::Records(records) => records.as_slice(),
        _ => &[],
    };
    Row {
        name: &placed.region.name,
        kind: placed.region.kind.word(),
        offset: placed.offset,
        length: placed.length,
        fixed: placed.fixed,
        often: placed.often,
        writes_per_day: placed.region.writes_per_day,
        source: word(&placed.region.source),
        column: column(&placed.region.source),
        records: records.iter().map(record_row).collect(),
    }
}

fn record_row(record: &Record) -> RecordRow<'_> {
    RecordRow {
        name: &record.name,
        id: record.id,
        version: record.version,
        slots: record.slots,
        payload_bytes: record.payload_bytes,
        source: word(&record.source),
        column: column(&record.source),
    }
}

/// Where a value comes from, in one word.
const fn word(source: &Source) -> &'static str {
    match source {
        Source::Open => "open",
        Source::Fixed(_) => "layout",
        Source::Column(_) => "units",
        Source::File { .. } => "file",
        Source::Dump { .. } => "dump",
        Source::Computed => "computed",
    }
}

fn column(source: &Source) -> Option<&str> {
    match source {
        Source::Column(column) => Some(column),
        _ => None,
    }
}
