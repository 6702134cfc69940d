//! `pagewise layout`: where the regions of a layout lie in a part.

mod text;

use std::path::PathBuf;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::{Options, find};
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::fault::Faults;
use pagewise_content::layout::{self, Kind, Layout as File, Placed, PlacedRegion, Record, Separate, Source};

/// Show where the regions of a layout lie in a part, and what keeping them apart costs.
#[derive(Debug, Args)]
pub struct Layout {
    /// Layout file.
    #[arg(value_name = "LAYOUT")]
    pub file: PathBuf,
    /// Identifier or order code of a card (`pagewise parts` lists them).
    #[arg(long, value_name = "PART")]
    pub part: String,
}

#[derive(JsonSchema, Serialize)]
struct Body<'l> {
    file: &'l str,
    name: &'l str,
    part: &'l str,
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
        let card = find(&catalogue, &self.part)?;
        let file = layout::read(&self.file)?;
        let placed = file.place(card)?;
        let body = body(&file, &placed);
        Ok(Answer::new(options.reader(), "layout", Exit::Usable, &body, || text::text(&file, &placed, card)))
    }
}

fn body<'l>(file: &'l File, placed: &'l Placed) -> Body<'l> {
    let Placed { capacity_bytes, page_bytes, unit_bytes, end, cost_bytes, best, bound, .. } = *placed;
    Body {
        file: &file.file,
        name: &file.name,
        part: &placed.part,
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
