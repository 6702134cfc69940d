//! `pagewise swap`: boards and candidates give verdicts with evidence.

pub(super) mod files;
pub(super) mod fleet_text;
pub(super) mod recorded;
pub(super) mod recorded_fleet;
mod text;

use std::path::PathBuf;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::channels::OfRecording;
use super::progress;
use super::stock::read_stock;
use super::{Options, values};
use crate::output::{Answer, Exit, Reader, Shape, Spool, answers};
use files::Source;
use pagewise_base::draft::Draft;
use pagewise_base::fault::{Fault, Faults};
use pagewise_judge::board::{Board, sheet};
use pagewise_judge::fleet::lines::{self, Header};
use pagewise_judge::fleet::{self, BoardAnswer, Candidates, Job, Shard, Summary, shard};
use pagewise_judge::stock::{Columns, ReadAs, Stock, Unmatched, columns};
use pagewise_judge::swap::{Accept, Verdict};
use pagewise_part::card::Catalogue;
use pagewise_report::Report;
use pagewise_report::fleet::Fleet;
use pagewise_report::view::Look;
use recorded_fleet::{Parts, Programs};

/// Judge candidate parts for boards, by rules and by running the firmware on the simulated chips.
#[derive(Debug, Args)]
#[command(
    after_help = "Verdicts: drop-in (nothing changes), reconfigure (a firmware or image setting changes), rework \
                        (the board changes), reject (cannot serve). Exit code 1 when a board has no candidate that \
                        --accept takes."
)]
pub struct Swap {
    /// Board files, folders of them with the folders below, or tables with a board a row (.csv, .xlsx, .ods).
    #[arg(value_name = "BOARD", required = true)]
    pub boards: Vec<PathBuf>,
    /// Candidate part; may be repeated. Default: the candidates that a board file names, or every part.
    #[arg(long = "to", value_name = "PART")]
    pub candidates: Vec<String>,
    /// Judge every part of the catalogue, whatever the board files name.
    #[arg(long, conflicts_with = "candidates")]
    pub all: bool,
    /// The worst verdict that counts as usable; where it rests on conditions, the one that remains if none holds.
    #[arg(long, value_name = "VERDICT", value_parser = values::verdict(), default_value = "reconfigure")]
    pub accept: Verdict,
    /// Grant every condition ("provided that") when counting what is usable.
    #[arg(long)]
    pub accept_conditions: bool,
    /// Show every finding of every candidate; of more than 20 boards, the ranking of every board.
    #[arg(long)]
    pub full: bool,
    /// A recording of the board's bus (session file, value change dump or table); may be repeated, in the order of time. What
    /// it shows of the firmware stands in place of `[firmware]`, and the recorded program runs on both parts. One board only;
    /// board files and tables name recordings of their own as `recording`.
    #[arg(long = "recording", value_name = "FILE")]
    pub recordings: Vec<PathBuf>,
    /// Which channels of the recordings are the bus.
    #[command(flatten)]
    pub channels: OfRecording,
    /// Your stock list (CSV). Its parts are the candidates, unless --to or --all says otherwise.
    #[arg(long, value_name = "FILE")]
    pub stock: Option<PathBuf>,
    /// Which column of the stock list, and of a table of boards, is which, as a TOML file.
    #[arg(long, value_name = "FILE")]
    pub columns: Option<PathBuf>,
    /// Judge one share of the boards, such as 2/8; `pagewise merge` puts the shares together.
    #[arg(long, value_name = "N/M", default_value_t = Shard::WHOLE, hide_default_value = true)]
    pub shard: Shard,
    /// Write the results as JSON Lines, one board a line.
    #[arg(long, value_name = "FILE")]
    pub lines: Option<PathBuf>,
    /// Reports to write besides.
    #[command(flatten)]
    pub files: files::Files,
}

/// Boards, those without a card, and the programs of those that were recorded.
type Boards = (Vec<Board>, Vec<Fault>, Programs);

#[derive(JsonSchema, Serialize)]
struct Body<'a> {
    accept: Verdict,
    accept_conditions: bool,
    usable: bool,
    shard: Shard,
    stock: Option<StockBody<'a>>,
    /// Boards that were not judged, since no card describes their fitted part.
    without_card: Vec<String>,
    /// What recordings showed of the firmware, board by board.
    recordings: Vec<recorded_fleet::OfBoard<'a>>,
    fleet: &'a Summary,
    /// Each board with its judgements, best first.
    // Filled in from the disk.
    #[schemars(with = "Vec<BoardAnswer>")]
    boards: [BoardAnswer; 0],
}

/// What is said of a stock list besides its offers.
#[derive(JsonSchema, Serialize)]
struct StockBody<'a> {
    file: &'a str,
    currency: &'a str,
    without_card: &'a [Unmatched],
    read_as: &'a [ReadAs],
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Swap {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with cards, board files, stock list and part names; files that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let accept = Accept { worst: self.accept, conditions: self.accept_conditions };
        let catalogue = options.catalogue()?;
        let fitted = Parts::new();
        let Read { stock, jobs, without_card, programs } = self.read(&catalogue, &fitted)?;
        let currency = stock.as_ref().map_or("", |stock| stock.currency.as_str());
        self.files.check(self.lines.as_deref())?;
        let mut writer = lines::Writer::default();
        let mut lines = match &self.lines {
            Some(path) => {
                let digest = shard::digest(&jobs, &catalogue, stock.as_ref(), accept);
                let header = Header::new(digest, self.shard, jobs.len(), accept, currency);
                let mut draft = Draft::begin(path)?;
                draft.write(&writer.line(&header))?;
                Some(draft)
            }
            None => None,
        };
        let jobs: Vec<Job<'_>> = jobs.into_iter().filter(|job| self.shard.holds(job.place)).collect();
        let look = Look { catalogue: &catalogue, accept, full: self.full, runs: true, currency };
        let pages = text::Pages { look, boards: jobs.len() };
        let (mut outcomes, mut answers, mut text, mut failed) = (Vec::new(), Vec::new(), String::new(), None);
        // What no report will show is let go at once: a fleet's judgements fill memory.
        let keeps = self.files.wants_judgements(jobs.len());
        let few = jobs.len() <= fleet_text::FEW;
        let mut board_pages = Vec::new();
        let mut spool = options.json.then(Spool::new).transpose()?;
        let judgements: usize = jobs.iter().map(|job| job.candidates.len()).sum();
        let bar = progress::bar(jobs.len(), "boards", !options.json && judgements >= LONG);
        fleet::judge_each(jobs, stock.as_ref(), accept, &|| bar.inc(1), |outcome, answer| {
            if let Some(draft) = &mut lines
                && failed.is_none()
            {
                failed = draft.write(&writer.line(&outcome)).err();
            }
            match &mut spool {
                Some(spool) if failed.is_none() => failed = spool.push(&answer).err(),
                Some(_) => {}
                None => {
                    let several = (pages.boards > 1).then_some(answer.board.name.as_str());
                    let recorded = programs.of(&answer.board).filter(|_| few);
                    text += &recorded.map_or_else(String::new, |recorded| recorded::text(recorded, several));
                    text += &pages.board(&answer);
                }
            }
            outcomes.push(outcome);
            if self.files.pages.is_some() {
                let answers = std::slice::from_ref(&answer);
                let (accept, full) = (accept, self.full);
                board_pages.push(Report { answers, catalogue: &catalogue, accept, full, currency }.board_page());
            }
            if keeps {
                answers.push(answer);
            }
        });
        bar.finish_and_clear();
        if let Some(fault) = failed {
            return Err(fault.into());
        }
        let summary = Summary::of(&outcomes, accept);
        let full = self.full;
        let report = Report { answers: &answers, catalogue: &catalogue, accept, full, currency };
        let fleet = Fleet { boards: &outcomes, accept, currency };
        self.files.write(&Source { fleet, report: few.then_some(report), pages: &board_pages }, lines)?;
        let usable = summary.usable() && without_card.is_empty();
        let exit = if usable { Exit::Usable } else { Exit::Against };
        let body = Body {
            accept: accept.worst,
            accept_conditions: accept.conditions,
            usable,
            shard: self.shard,
            recordings: programs.shown(),
            stock: stock.as_ref().map(|stock| StockBody {
                file: &stock.file,
                currency: &stock.currency,
                without_card: &stock.unmatched,
                read_as: &stock.read_as,
            }),
            without_card: without_card.iter().map(ToString::to_string).collect(),
            fleet: &summary,
            boards: [],
        };
        if let Some(spool) = spool {
            return Ok(Answer::spooled("swap", exit, &body, spool));
        }
        Ok(Answer::new(Reader::Person, "swap", exit, &body, || {
            let unmatched =
                stock.as_ref().map_or_else(String::new, fleet_text::rows) + &fleet_text::not_judged(&without_card);
            let look = fleet_text::Look { currency, full: self.full, shard: self.shard };
            let fleet = fleet_text::render(&summary, &look);
            // Few boards are read through to the end, of many the summary is looked for first.
            if summary.boards <= fleet_text::FEW {
                text + &unmatched + &fleet
            } else {
                fleet + "\n" + &unmatched + &text
            }
        }))
    }

    /// Reads stock list and boards and finds the cards, and tells everything that is wrong with any of them.
    fn read<'c>(&self, catalogue: &'c Catalogue, fitted: &'c Parts) -> Result<Read<'c>, Faults> {
        let columns = self.columns.as_ref().map(|path| columns::read(path)).transpose()?.unwrap_or_default();
        let stock = self.stock.as_ref().map(|file| read_stock(file, &columns, catalogue)).transpose();
        let boards = self.read_boards(catalogue, &columns);
        let (stock, (all, without_card, mut programs)) = match (stock, boards) {
            (Ok(stock), Ok(boards)) => (stock, boards),
            (stock, boards) => {
                let faults = [stock.err(), boards.err()].into_iter().flatten().flat_map(|faults| faults.0);
                return Err(Faults(faults.collect()));
            }
        };
        let candidates = match (self.all, self.candidates.as_slice(), &stock) {
            (true, ..) => Candidates::All,
            (false, [], None) => Candidates::OfBoard,
            (false, [], Some(stock)) => Candidates::InStock(stock),
            (false, names, _) => Candidates::Named(names),
        };
        let mut jobs = fleet::jobs(catalogue, all, candidates)?;
        programs.give(&mut jobs, fitted);
        Ok(Read { stock, jobs, without_card, programs })
    }

    /// The boards and those without a card, or the one board with what its recordings show.
    fn read_boards(&self, catalogue: &Catalogue, columns: &Columns) -> Result<Boards, Faults> {
        if self.recordings.is_empty() {
            let (read, programs) = recorded_fleet::read(&self.boards, catalogue, &columns.boards, &self.channels)?;
            return Ok((read.boards.into_iter().map(|(board, _)| board).collect(), read.without_card, programs));
        }
        match self.boards.as_slice() {
            [board] if board.is_file() && !sheet::is_table(board) => {
                let (board, program, recorded) = recorded::read(board, &self.recordings, &self.channels)?;
                let programs = Programs::of_one(&board, program, recorded);
                Ok((vec![board], Vec::new(), programs))
            }
            _ => {
                let remedy =
                    "name the one board file that they are of; board files and tables name theirs as `recording`";
                Err(Fault::of_file("--recording", "recordings are of one board", remedy).into())
            }
        }
    }
}

/// Judgements from which on a bar is shown.
const LONG: usize = 4000;

/// What was read, with its cards.
struct Read<'c> {
    stock: Option<Stock>,
    jobs: Vec<Job<'c>>,
    without_card: Vec<Fault>,
    programs: Programs,
}
