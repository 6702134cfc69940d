//! `pagewise decide`: decisions about boards, written to be reviewed, and judged again.

mod again;
mod text;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::channels::OfRecording;
use super::stock::read_stock;
use super::swap::recorded_fleet::{self, Parts};
use super::{Options, values};
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::disk::{self, Written};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::paths::seen_from;
use pagewise_base::words;
use pagewise_judge::board::{Board, sheet};
use pagewise_judge::decision::{self, Decision, Holds, Image};
use pagewise_judge::fleet::since::Change;
use pagewise_judge::fleet::{self, Candidates};
use pagewise_judge::stock::columns;
use pagewise_judge::swap::{Accept, Verdict};
use sha2::{Digest, Sha256};

/// Write a decision file for each board, for people to review and keep under version control; judge such files again.
///
/// A decision holds the order codes that may be fitted, what changes with each, and the conditions that its verdict rests
/// on. People settle a condition in the file, by a sheet, a measurement or a signature. Written again, a decision keeps
/// what was settled where the same part rests on the same words; other remarks in the file are not kept.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit code 1 when a board gets no part, or with --check when a judgement or an image is another one than \
    was decided on; with --settled also when a condition is open."
)]
pub struct Decide {
    /// Board files, folders of them, or tables with a board a row; with --check decision files, or folders of them.
    #[arg(value_name = "BOARD", required = true)]
    pub paths: Vec<PathBuf>,
    /// Folder for the decisions, one file a board; made if it does not exist.
    #[arg(short, long, value_name = "FOLDER", required_unless_present = "check", conflicts_with = "check")]
    pub output: Option<PathBuf>,
    /// Judge these decisions again, with the cards and the tool of today, and say what changed. Nothing is written.
    #[arg(long)]
    pub check: bool,
    /// With --check: a condition that is open is against you, too.
    #[arg(long, requires = "check")]
    pub settled: bool,
    /// Candidate part; may be repeated. Default: those that a board file names, or every part.
    #[arg(long = "to", value_name = "PART", conflicts_with = "check")]
    pub candidates: Vec<String>,
    /// Your stock list: its parts are the candidates, unless --to says otherwise.
    #[arg(long, value_name = "FILE", conflicts_with = "check")]
    pub stock: Option<PathBuf>,
    /// Which column of the stock list, and of a table of boards, is which, as a TOML file.
    #[arg(long, value_name = "FILE")]
    pub columns: Option<PathBuf>,
    /// The worst verdict that is accepted, conditions granted: they stand in the decision as open.
    #[arg(long, value_name = "VERDICT", value_parser = values::verdict(), default_value = "reconfigure", conflicts_with = "check")]
    pub accept: Verdict,
    /// Accept so many parts at most for each board, the best of its ranking.
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u16).range(1..=1000), conflicts_with = "check")]
    pub most: u16,
    /// Firmware that belongs to the decision: its digest is kept. One board only.
    #[arg(long, value_name = "FILE", conflicts_with = "check")]
    pub firmware: Vec<PathBuf>,
    /// What the part is programmed with, an image or a manifest: `program --decision` then takes nothing else. One board only.
    #[arg(long, value_name = "FILE", conflicts_with = "check")]
    pub contents: Vec<PathBuf>,
}

#[derive(JsonSchema, Serialize)]
struct Body {
    /// Judged again, nothing written.
    check: bool,
    decisions: Vec<One>,
    /// Boards that nothing can be said of, since no card describes their fitted part.
    without_card: Vec<String>,
}

/// What is said of one decision.
#[derive(JsonSchema, Serialize)]
struct One {
    /// The file; null where nothing is accepted and none was written.
    file: Option<String>,
    file_changed: bool,
    board: String,
    /// Order codes that are accepted.
    accepted: Vec<String>,
    /// Conditions that nothing has settled.
    open: Vec<OpenBody>,
    /// Judgements that are other ones than were decided on.
    changed: Vec<Change>,
    /// Order codes of the earlier decision that are not accepted any more.
    dropped: Vec<String>,
    /// Images that are other ones than were decided on.
    images: Vec<String>,
    /// Board, cards or version are other ones, whatever became of the judgement.
    notes: Vec<String>,
}

/// A condition that is open.
#[derive(JsonSchema, Serialize)]
struct OpenBody {
    part: String,
    says: String,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body>];

impl One {
    fn of(decision: &Decision) -> Self {
        let code = |part: usize| decision.said.part[part].order_code.clone();
        let open = decision.open.iter().map(|open| OpenBody { part: code(open.part), says: open.says.clone() });
        Self {
            file: Some(decision.file.clone()),
            file_changed: false,
            board: decision.said.board.clone(),
            accepted: decision.said.part.iter().map(|part| part.order_code.clone()).collect(),
            open: open.collect(),
            changed: Vec::new(),
            dropped: Vec::new(),
            images: Vec::new(),
            notes: Vec::new(),
        }
    }

    fn against(&self, settled: bool) -> bool {
        let other = !self.changed.is_empty() || !self.images.is_empty() || !self.dropped.is_empty();
        other || self.accepted.is_empty() || settled && !self.open.is_empty()
    }
}

impl Decide {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with cards, boards, stock list, decisions and images; files that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let columns = self.columns.as_ref().map(|path| columns::read(path)).transpose()?.unwrap_or_default();
        let (decisions, without_card) = match &self.output {
            Some(folder) => self.written(folder, &catalogue, &columns)?,
            None => (again::judged(&self.paths, &catalogue, &columns)?, Vec::new()),
        };
        let body =
            Body { check: self.check, decisions, without_card: without_card.iter().map(ToString::to_string).collect() };
        let against = body.decisions.iter().any(|one| one.against(self.settled)) || !body.without_card.is_empty();
        let exit = if against { Exit::Against } else { Exit::Usable };
        Ok(Answer::new(options.reader(), "decide", exit, &body, || text::render(&body)))
    }

    /// Writes the decisions; those that are there already keep what people settled.
    fn written(
        &self,
        folder: &Path,
        catalogue: &pagewise_part::card::Catalogue,
        columns: &columns::Columns,
    ) -> Result<(Vec<One>, Vec<Fault>), Faults> {
        let mut faults: Vec<Fault> = disk::folder_to_fill(folder).err().into_iter().collect();
        let mut keep = |result: Result<_, Faults>| result.map_err(|more| faults.extend(more.0)).ok();
        let stock = self.stock.as_ref().and_then(|file| keep(read_stock(file, columns, catalogue).map(Some)));
        let stock = stock.flatten();
        let channels = OfRecording::default();
        let read = recorded_fleet::read(&self.paths, catalogue, &columns.boards, &channels);
        let read = read.map_err(|more| faults.extend(more.0)).ok();
        let images = self.images(folder).map_err(|more| faults.extend(more.0)).ok();
        let (Some((read, mut programs)), Some(images)) = (read, images) else { return Err(Faults(faults)) };
        let boards: Vec<Board> = read.boards.into_iter().map(|(board, _)| board).collect();
        if boards.len() > 1 && !images.is_empty() {
            let remedy = "name one board, or put the images into the files";
            faults.push(Fault::of_file("--firmware, --contents", "belong to one board, there are more", remedy));
        }
        let names: Vec<String> = boards.iter().map(|board| board.name.clone()).collect();
        let files = words::stems(&names, "board").into_iter().map(|stem| folder.join(stem + ".toml"));
        let files: Vec<PathBuf> = files.collect();
        let mut earlier: BTreeMap<usize, Decision> = BTreeMap::new();
        for (place, file) in files.iter().enumerate().filter(|(_, file)| file.exists()) {
            match decision::read(file) {
                Ok(read) if read.said.board == names[place] => drop(earlier.insert(place, read)),
                Ok(read) => {
                    let reason = format!("is the decision about `{}`, not about `{}`", read.said.board, names[place]);
                    faults.push(Fault::of_file(&file.display().to_string(), reason, "move it, or name another folder"));
                }
                Err(more) => faults.extend(more.0),
            }
        }
        let candidates = match (self.candidates.as_slice(), &stock) {
            ([], None) => Candidates::OfBoard,
            ([], Some(stock)) => Candidates::InStock(stock),
            (names, _) => Candidates::Named(names),
        };
        let jobs = fleet::jobs(catalogue, boards, candidates).map_err(|more| faults.extend(more.0)).ok();
        let Some(mut jobs) = jobs.filter(|_| faults.is_empty()) else { return Err(Faults(faults)) };
        let parts = Parts::new();
        programs.give(&mut jobs, &parts);
        let accept = Accept::from(self.accept);
        let mut decisions = Vec::new();
        fleet::judge_each(jobs, stock.as_ref(), accept, &|| (), |outcome, answer| {
            let file = &files[outcome.place];
            let board_file = seen_from(folder, Path::new(file_of(&answer.board)));
            let most = usize::from(self.most);
            let shown = file.display().to_string();
            let mut made = Decision::of(&shown, &board_file, &answer, catalogue, accept, most);
            made.said.image.clone_from(&images);
            let before = earlier.get(&outcome.place);
            let dropped = before.map_or_else(Vec::new, |before| made.take_over(before));
            decisions.push((file, made, dropped));
        });
        let texts: Vec<(&Path, String)> = decisions
            .iter()
            .filter(|(_, made, _)| !made.said.part.is_empty())
            .map(|(file, made, _)| (file.as_path(), made.text()))
            .collect();
        let bytes: Vec<_> = texts.iter().map(|(path, text)| (*path, text.as_bytes())).collect();
        let mut written = disk::replace_all_in_folders(&bytes)?.into_iter();
        let all = decisions.into_iter().map(|(_, made, dropped)| {
            let one = One { dropped, ..One::of(&made) };
            match made.said.part.is_empty() {
                true => One { file: None, ..one },
                false => One { file_changed: written.next() == Some(Written::Anew), ..one },
            }
        });
        Ok((all.collect(), read.without_card))
    }

    /// The images that were named, with their digests.
    fn images(&self, folder: &Path) -> Result<Vec<Image>, Faults> {
        let (mut images, mut faults) = (Vec::new(), Vec::new());
        let all = self.firmware.iter().map(|path| (path, Holds::Firmware));
        for (path, holds) in all.chain(self.contents.iter().map(|path| (path, Holds::Contents))) {
            match fs::read(path) {
                Ok(bytes) => images.push(Image {
                    file: seen_from(folder, path),
                    holds,
                    sha256: words::hex(&Sha256::digest(&bytes)),
                }),
                Err(error) => faults.push(Fault::unreadable(&path.display().to_string(), &error)),
            }
        }
        Faults(faults).or_ok(images)
    }
}

/// The file that a board stands in: of a row of a table, the table.
fn file_of(board: &Board) -> &str {
    let row = board
        .file
        .rsplit_once(':')
        .filter(|(table, line)| sheet::is_table(Path::new(table)) && line.bytes().all(|byte| byte.is_ascii_digit()));
    row.map_or(&board.file, |(table, _)| table)
}
