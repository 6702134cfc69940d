//! `pagewise boards`: a table of boards as board files, and back.

use std::path::PathBuf;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use super::channels::OfRecording;
use super::swap::recorded_fleet;
use crate::output::{Answer, Exit, Shape, answers, plain, wrapped};
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::table;
use pagewise_base::words;
use pagewise_judge::board::sheet;
use pagewise_judge::stock::columns;

/// Turn a table with a board a row into board files, or board files into a table.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Columns of the table are the fields of a board file (`pagewise schema board`), by path such as bus.supply_v \
    or by its last piece; `regions` holds `serial 0x0000+64; log 0x0040+1024 24/day`, `family` a file of fields that \
    several boards share, `recording` (there, too) recordings of the bus, `;` between them: what they show of the \
    firmware stands in the board file. Only name and fitted are needed: what is missing, empty or `unknown` is filled in from the \
    fitted part, listed under `unstated` in the board file, and a condition of each verdict that it matters to."
)]
pub struct Boards {
    /// Tables (.csv, .xlsx, .ods), board files, or folders of them.
    #[arg(value_name = "TABLE", required = true)]
    pub boards: Vec<PathBuf>,
    /// Folder for board files, which must not exist yet or be empty; or a table to write (.csv, .xlsx).
    #[arg(short, long, value_name = "FOLDER")]
    pub output: PathBuf,
    /// Which column of the table is which, as a TOML file.
    #[arg(long, value_name = "FILE")]
    pub columns: Option<PathBuf>,
}

#[derive(JsonSchema, Serialize)]
struct Body {
    output: String,
    count: usize,
    files: Vec<String>,
    without_card: Vec<String>,
    unused_columns: Vec<String>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body>];

impl Boards {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with cards, tables and board files; an output that holds something or cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let columns = self.columns.as_ref().map(|path| columns::read(path)).transpose()?.unwrap_or_default();
        let channels = OfRecording::default();
        let (read, _) = recorded_fleet::read(&self.boards, &catalogue, &columns.boards, &channels)?;
        let output = self.output.display().to_string();
        let (names, texts): (Vec<String>, Vec<String>) =
            read.boards.into_iter().map(|(board, text)| (board.name, text)).unzip();
        let mut files = Vec::new();
        if sheet::is_table(&self.output) {
            let rows =
                sheet::rows(&texts).map_err(|reason| Fault::of_file(&output, reason, "correct the board file"))?;
            disk::replace_bytes(&self.output, &table::written(&self.output, &rows)?)?;
        } else {
            files = words::stems(&names, "board").iter().map(|stem| file_name(stem)).collect();
            let all: Vec<(&str, &str)> =
                files.iter().map(String::as_str).zip(texts.iter().map(String::as_str)).collect();
            disk::make_folder(&self.output, &all)?;
        }
        let without_card: Vec<String> = read.without_card.iter().map(ToString::to_string).collect();
        let exit = if without_card.is_empty() { Exit::Usable } else { Exit::Against };
        let body = Body { output, count: texts.len(), files, without_card, unused_columns: read.unused_columns };
        Ok(Answer::new(options.reader(), "boards", exit, &body, || text(&body)))
    }
}

fn text(body: &Body) -> String {
    let mut out = format!("{}: {} boards\n", plain(&body.output), body.count);
    for fault in &body.without_card {
        out += &wrapped(&plain(&format!("left out: {fault}")), "", "  ");
        out.push('\n');
    }
    if !body.unused_columns.is_empty() {
        let names = body.unused_columns.join(", ");
        out += &wrapped(&plain(&format!("note: boards have no field for the columns {names}")), "", "  ");
        out.push('\n');
    }
    out
}

fn file_name(stem: &str) -> String {
    if stem.starts_with("board") { format!("{stem}.toml") } else { format!("board-{stem}.toml") }
}
