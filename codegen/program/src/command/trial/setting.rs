//! What is tried: parts on a board, and what is set besides.

use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use pagewise_simulator::{ChipModel, Level, Straps};

use super::asked::Trial;
use super::words::{Adapters, quoted, shown};
use crate::command::bridge::run::found;
use pagewise_base::fault::{Fault, Faults};
use pagewise_judge::board::{Board, Strap};
use pagewise_judge::swap::Climate;
use pagewise_part::card::{Card, Catalogue};

/// A part on the board.
pub(super) struct Part {
    pub(super) name: String,
    pub(super) id: String,
    pub(super) model: ChipModel,
}

/// Everything that all runs share. The fitted part is the first.
pub(super) struct Bench {
    pub(super) board: Board,
    pub(super) parts: Vec<Part>,
    pub(super) library: PathBuf,
    pub(super) contents: Vec<u8>,
    pub(super) command: Vec<OsString>,
    pub(super) check: Option<String>,
    pub(super) device: PathBuf,
    pub(super) limit: Duration,
    /// The beginning of a line that repeats a run.
    line: String,
}

/// What is set besides the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Setting {
    pub(super) seed: u64,
    /// Levels in place of the board's.
    pub(super) levels: Option<[bool; 3]>,
    pub(super) adapter: Adapters,
}

impl Bench {
    pub(super) fn new(trial: &Trial, board: Board, catalogue: &Catalogue, library: PathBuf) -> Result<Self, Faults> {
        let mut faults = Faults::default();
        let file = trial.board.display().to_string();
        let named = if trial.candidates.is_empty() {
            board.candidates.iter().map(|name| (name, file.as_str(), "candidates")).collect::<Vec<_>>()
        } else {
            trial.candidates.iter().map(|name| (name, "command line", "")).collect()
        };
        let mut parts: Vec<Part> = Vec::new();
        // As the rules and the runs of a swap see them: at the temperatures of the board, or of its fitted part.
        let temperatures =
            catalogue.named(&board.fitted, &file, 0, "fitted").map(|card| Climate::of(&board, card).range());
        let temperatures = temperatures.unwrap_or_default();
        for (name, file, field) in std::iter::once((&board.fitted, file.as_str(), "fitted")).chain(named) {
            match catalogue.named(name, file, 0, field) {
                Ok(card) if parts.iter().any(|part| part.id == card.id) => {}
                Ok(card) => parts.push(part(card, &board, temperatures)),
                Err(fault) => faults.0.push(fault),
            }
        }
        let contents = match &trial.image {
            Some(path) => fs::read(path).map_err(|error| Fault::unreadable(&path.display().to_string(), &error)),
            None => Ok(Vec::new()),
        };
        let contents = contents.unwrap_or_else(|fault| {
            faults.0.push(fault);
            Vec::new()
        });
        if let (Some(image), Some(part)) =
            (&trial.image, parts.iter().find(|part| contents.len() > part.model.capacity as usize))
        {
            let reason = format!("has {} bytes, {} has {}", contents.len(), part.name, part.model.capacity);
            faults.0.push(Fault::of_file(&image.display().to_string(), reason, "name what fits every part"));
        }
        if let Some(program) = trial.command.first().filter(|program| found(program).is_none_or(|path| !path.is_file()))
        {
            let name = program.to_string_lossy().into_owned();
            faults.0.push(Fault::of_file(&name, "no such program", "check its name"));
        }
        let device = crate::command::bridge::absolute(&trial.device);
        let mut line = format!("pagewise trial --board {}", quoted(&file));
        if trial.device != Path::new("/dev/i2c-1") {
            line += &format!(" --device {}", quoted(&trial.device.display().to_string()));
        }
        for (name, value) in [("image", trial.image.as_ref()), ("library", trial.library.as_ref())] {
            if let Some(value) = value {
                line += &format!(" --{name} {}", quoted(&value.display().to_string()));
            }
        }
        let limit = Duration::from_secs(trial.limit);
        let (command, check) = (trial.command.clone(), trial.check.clone());
        faults.or_ok(Self { board, parts, library, contents, command, check, device, limit, line })
    }

    /// All settings, in the order of runs.
    pub(super) fn settings(&self, trial: &Trial) -> Vec<Setting> {
        let seeds = trial.seed.map_or_else(|| (1..=trial.seeds).collect::<Vec<_>>(), |seed| vec![seed]);
        let straps =
            if trial.straps.is_empty() { vec![None] } else { trial.straps.iter().copied().map(Some).collect() };
        let adapters = if trial.adapters.is_empty() { vec![Adapters::Plain] } else { trial.adapters.clone() };
        let mut all = Vec::new();
        for adapter in adapters {
            for levels in &straps {
                all.extend(seeds.iter().map(|seed| Setting { seed: *seed, levels: *levels, adapter }));
            }
        }
        all
    }

    /// Levels of the pins of a part.
    pub(super) fn straps(&self, part: &Part, setting: &Setting) -> Straps {
        let of = |strap: Strap, level: bool| if strap == Strap::Open { Level::Open } else { Level::from_bit(level) };
        let tied = self.board.pin_levels();
        let a = [0, 1, 2].map(|pin| match setting.levels {
            Some(levels) => Level::from_bit(levels[pin]),
            None => of(self.board.straps[pin], tied[pin]),
        });
        let wp = match self.board.wp {
            Strap::Gnd => Level::Low,
            Strap::Vcc => Level::High,
            Strap::Open => Level::Open,
            // The program is not seen to move it: it stands where writing is allowed.
            Strap::Gpio => Level::from_bit(!part.model.write_protect.active_high),
        };
        Straps { a, wp }
    }

    /// The command that repeats one run; `more` are further options.
    pub(super) fn repeat(&self, part: &Part, setting: &Setting, more: &str) -> String {
        let mut line = format!("{} --to {} --seed {}", self.line, quoted(&part.id), setting.seed);
        if let Some([a0, a1, a2]) = setting.levels {
            line += &format!(" --straps {}{}{}", u8::from(a2), u8::from(a1), u8::from(a0));
        }
        if setting.adapter != Adapters::Plain {
            line += &format!(" --adapter {}", setting.adapter.word());
        }
        format!("{line}{more} -- {}", shown(&self.command))
    }
}

impl Setting {
    /// In words, without the seed.
    pub(super) fn words(&self) -> String {
        let adapter = if self.adapter == Adapters::Plain { "plain adapter".to_owned() } else { self.adapter.word() };
        match self.levels {
            Some([a0, a1, a2]) => format!("A2 A1 A0 = {}{}{}, {adapter}", u8::from(a2), u8::from(a1), u8::from(a0)),
            None => adapter,
        }
    }
}

fn part(card: &Card, board: &Board, temperatures: (i32, i32)) -> Part {
    let model = card.in_footprint(board.footprint).at_temperatures(temperatures).chip_model();
    Part { name: card.name.clone(), id: card.id.clone(), model }
}
