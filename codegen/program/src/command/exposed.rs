//! `pagewise exposed`: which boards a discontinued part hits, and what there is in its place.

use std::path::PathBuf;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use super::channels::OfRecording;
use super::stock::read_stock;
use super::swap::recorded_fleet::{self, Parts};
use crate::output::{Answer, Exit, Shape, answers, plain, wrapped};
use pagewise_base::fault::Faults;
use pagewise_base::words::counted;
use pagewise_judge::fleet::{self, BoardOutcomes, Candidates};
use pagewise_judge::stock::columns;
use pagewise_judge::swap::{Accept, Verdict};
use pagewise_part::card::Card;

/// Say which boards use a part, what can be fitted in its place, and how many pieces a last order takes.
#[derive(Debug, Args)]
#[command(after_help = "Exit code 1 when a board that uses the part has no alternate without open conditions.")]
pub struct Exposed {
    /// The part: a card, or an order code.
    #[arg(value_name = "PART")]
    pub part: String,
    /// Board files, folders of them, or tables with a board a row.
    #[arg(value_name = "BOARD", required = true)]
    pub boards: Vec<PathBuf>,
    /// Your stock list: its parts are the alternates, and it says how many pieces of the part are left.
    #[arg(long, value_name = "FILE")]
    pub stock: Option<PathBuf>,
    /// Which column of the stock list, and of a table of boards, is which, as a TOML file.
    #[arg(long, value_name = "FILE")]
    pub columns: Option<PathBuf>,
    /// Years of production that a last order has to last for.
    #[arg(long, value_name = "YEARS", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=50))]
    pub years: u32,
    /// Last day on which the maker takes orders, as the maker's notice says it; repeated in the answer.
    #[arg(long, value_name = "DATE")]
    pub last_order: Option<String>,
}

#[derive(JsonSchema, Serialize)]
struct Body {
    part: String,
    last_order: Option<String>,
    years: u32,
    /// Pieces for the boards that state a volume.
    needed: u64,
    /// Boards that state none.
    without_volume: usize,
    in_stock: Option<u64>,
    boards: Vec<OneBoard>,
    /// Boards that name the part among their candidates.
    candidate_of: Vec<String>,
    /// Boards that nothing can be said of.
    without_card: Vec<String>,
}

#[derive(JsonSchema, Serialize)]
struct OneBoard {
    name: String,
    file: String,
    yearly_volume: Option<u32>,
    /// Parts that serve without a condition, best first.
    alternates: Vec<Alternate>,
    /// Parts that serve if conditions hold.
    with_conditions: Vec<Alternate>,
}

#[derive(JsonSchema, Serialize)]
struct Alternate {
    part: String,
    verdict: Verdict,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body>];

impl Exposed {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with cards, boards and stock list; a part that has no card.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let part = catalogue.named(&self.part, "command line", 0, "PART")?;
        let columns = self.columns.as_ref().map(|path| columns::read(path)).transpose()?.unwrap_or_default();
        let stock = self.stock.as_ref().map(|file| read_stock(file, &columns, &catalogue)).transpose()?;
        let channels = OfRecording::default();
        let (read, mut programs) = recorded_fleet::read(&self.boards, &catalogue, &columns.boards, &channels)?;
        let is_part = |name: &str| catalogue.find(name).is_some_and(|card| card.part_id() == part.part_id());
        let all: Vec<_> = read.boards.into_iter().map(|(board, _)| board).collect();
        let names = |name: &String| is_part(name);
        let candidate_of: Vec<String> =
            all.iter().filter(|board| board.candidates.iter().any(names)).map(|board| board.name.clone()).collect();
        let hit: Vec<_> = all.into_iter().filter(|board| is_part(&board.fitted)).collect();
        let candidates = stock.as_ref().map_or(Candidates::All, Candidates::InStock);
        let mut jobs = fleet::jobs(&catalogue, hit, candidates)?;
        let parts = Parts::new();
        programs.give(&mut jobs, &parts);
        let mut boards = Vec::new();
        fleet::judge_each(jobs, stock.as_ref(), Accept::from(Verdict::Reconfigure), &|| (), |outcome, _| {
            boards.push(one(&outcome, part))
        });
        let volumes = || boards.iter().filter_map(|board| board.yearly_volume);
        let body = Body {
            part: part.id.clone(),
            last_order: self.last_order.clone(),
            years: self.years,
            needed: volumes().map(u64::from).sum::<u64>() * u64::from(self.years),
            without_volume: boards.len() - volumes().count(),
            in_stock: stock.as_ref().and_then(|stock| Some(stock.offer(&part.id, None)?.quantity)),
            candidate_of,
            without_card: read.without_card.iter().map(ToString::to_string).collect(),
            boards,
        };
        let served = body.boards.iter().all(|board| !board.alternates.is_empty());
        let exit = if served { Exit::Usable } else { Exit::Against };
        Ok(Answer::new(options.reader(), "exposed", exit, &body, || text(&body)))
    }
}

fn one(outcome: &BoardOutcomes, part: &Card) -> OneBoard {
    let accept = Accept::from(Verdict::Reconfigure);
    let other = |candidate: &str| candidate != part.id;
    let alternates = |accept: Accept| {
        let usable = outcome.candidates.iter().filter(|it| it.usable(accept) && other(&it.candidate));
        usable.map(|it| Alternate { part: it.candidate.clone(), verdict: it.verdict }).collect::<Vec<_>>()
    };
    let plain = alternates(accept);
    let mut with_conditions = alternates(accept.granting());
    with_conditions.retain(|it| !plain.iter().any(|known| known.part == it.part));
    OneBoard {
        name: outcome.name.clone(),
        file: outcome.file.clone(),
        yearly_volume: outcome.yearly_volume,
        alternates: plain,
        with_conditions,
    }
}

fn text(body: &Body) -> String {
    const SHOWN: usize = 3;
    let mut out = format!("{}: fitted on {}\n", plain(&body.part), counted(body.boards.len(), "board"));
    for board in &body.boards {
        let named = |some: &[Alternate]| {
            let mut names: Vec<String> =
                some.iter().take(SHOWN).map(|it| format!("{} ({})", it.part, it.verdict.word())).collect();
            if some.len() > SHOWN {
                names.push(format!("+{} more", some.len() - SHOWN));
            }
            names.join(", ")
        };
        let words = match (&board.alternates[..], &board.with_conditions[..]) {
            ([], []) => "nothing serves in its place".to_owned(),
            ([], some) => format!("only with open conditions: {}", named(some)),
            (some, _) => named(some),
        };
        let volume =
            board.yearly_volume.map_or_else(|| "volume not stated".into(), |pieces| format!("{pieces} a year"));
        out += &wrapped(&plain(&format!("{}, {volume}: {words}", board.name)), "  ", "    ");
        out.push('\n');
    }
    let stock = body.in_stock.map_or_else(String::new, |pieces| format!(", {pieces} in stock"));
    let unknown = match body.without_volume {
        0 => String::new(),
        some => format!("; {} without a stated volume not counted", counted(some, "board")),
    };
    let by = body.last_order.as_ref().map_or_else(
        || ". The maker's notice says by when; --last-order repeats it here.".to_owned(),
        |day| format!(", to be placed by {day}."),
    );
    let last = format!(
        "A last order for {}: {} pieces needed{stock}{unknown}{by}",
        counted(body.years as usize, "year"),
        body.needed
    );
    out += &format!("\n{}\n", wrapped(&plain(&last), "", "  "));
    if !body.candidate_of.is_empty() {
        let names = format!("Named as a candidate by: {}", body.candidate_of.join(", "));
        out += &format!("{}\n", wrapped(&plain(&names), "", "  "));
    }
    for fault in &body.without_card {
        out += &format!("{}\n", wrapped(&plain(&format!("not judged: {fault}")), "", "  "));
    }
    out
}
