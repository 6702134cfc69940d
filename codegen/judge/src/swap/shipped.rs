//! Units already shipped: they hold the fitted part, and an update brings them the firmware that is changed for the new one.
//!
//! The changed settings are run on the fitted part, too; what the old firmware wrote is read by the new one (the update) and
//! the other way round (the way back). What one setting serves is asked of the driver's geometries, as `pagewise generate`
//! asks them, so that the two never say different things.

use std::fmt;

use pagewise_driver::Geometry;
use pagewise_simulator::{Quirks, Rig};
use schemars::JsonSchema;
use serde::Serialize;

use super::firmware::Runner;
use super::memo::Memo;
use super::part::Part;
use super::remedy;
use super::setup::{meant_in, set_up, wp_level, written};
use crate::board::{Board, Firmware, Region, Strap};
use pagewise_part::card::Card;

/// What the changed firmware is for units that hold the fitted part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Units {
    /// One firmware for old and new units.
    ServesBoth,
    /// One firmware that finds out which part it meets.
    ChooseAtRunTime,
    /// Only for boards with the new part; shipped units keep the firmware that they have.
    NewBoardsOnly,
}

impl fmt::Display for Units {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::ServesBoth => "serves both",
            Self::ChooseAtRunTime => "choose at run time",
            Self::NewBoardsOnly => "new boards only",
        })
    }
}

/// What becomes of units already shipped.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Shipped {
    /// Which firmware they can take.
    pub units: Units,
    /// Why, as the runs on the fitted part showed it.
    pub why: String,
    /// The command that generates a driver for both parts, where there is one.
    pub generate: Option<String>,
}

impl Shipped {
    /// A second region lies elsewhere on the new part, which is not run.
    pub(super) fn elsewhere() -> Self {
        let why = "a second region that the firmware uses lies elsewhere in the two parts, and no run shows that";
        Self { units: Units::NewBoardsOnly, why: why.to_owned(), generate: None }
    }

    /// For people: `choose at run time: ...`.
    #[must_use]
    pub fn sentence(&self) -> String {
        let generate = self.generate.as_ref().map_or_else(String::new, |line| format!("; `{line}`"));
        format!("{}: {}{generate}", self.units, self.why)
    }
}

/// Two parts on one board.
pub(super) struct Pair<'c> {
    pub(super) board: &'c Board,
    pub(super) fitted: &'c Card,
    pub(super) new: &'c Card,
    pub(super) memo: &'c Memo,
}

impl Pair<'_> {
    /// Runs what an update would bring to units with the fitted part; `changed` is the board with the settings for the new one,
    /// and `works` whether the firmware as it is serves on the fitted part.
    pub(super) fn shipped(&self, changed: &Board, works: bool) -> Shipped {
        let new_only = |why: String| Shipped { units: Units::NewBoardsOnly, why, generate: None };
        if !works {
            return new_only("the firmware as it is does not work on the fitted part".into());
        }
        let geometry = |card: &Card| card.geometry(self.board.levels_for(card));
        let (old, new) = match (geometry(self.fitted), geometry(self.new)) {
            (Ok(old), Ok(new)) => (old, new),
            (Err(why), _) | (_, Err(why)) => return new_only(format!("no generated driver serves it: {why}")),
        };
        let mut apart = match Geometry::common(&[old, new]) {
            Ok(_) => match self.both(changed) {
                Ok(why) => {
                    let generate = Some(self.line(None));
                    return Shipped { units: Units::ServesBoth, why, generate };
                }
                Err(why) => why,
            },
            Err(error) => format!("one setting does not serve both ({error})"),
        };
        let inside = |region: &&Region| {
            [old, new].iter().all(|part| part.contains(region.offset, region.length.min(MOST_RECORD) as usize))
        };
        let Some(region) = self.board.regions.iter().find(inside) else {
            return new_only(format!("{apart}, and no region lies at one place in both, by which to choose"));
        };
        let own = remedy::reconfigured(self.board, self.fitted);
        if let Err(why) = self.updated(&own) {
            return new_only(format!("{apart}; {why}"));
        }
        apart.push_str(&format!("; each part is told by its record `{}`", region.name));
        Shipped { units: Units::ChooseAtRunTime, why: apart, generate: Some(self.line(Some(region))) }
    }

    /// One firmware on both: the changed settings, with writes cut where both parts and the old firmware cut them.
    fn both(&self, changed: &Board) -> Result<String, String> {
        let mut both = changed.clone();
        let page = both.firmware.page_bytes.min(self.board.firmware.page_bytes).min(self.fitted.page_bytes.value);
        both.firmware.page_bytes = page;
        let cut = |card: &Card| Some(card.read_wrap_bytes.value).filter(|wrap| *wrap < card.capacity_bytes.value);
        let cuts = [both.firmware.read_cut_bytes, self.board.firmware.read_cut_bytes, cut(self.fitted)];
        both.firmware.read_cut_bytes = cuts.into_iter().flatten().min();
        if self.memo.serves(&both, self.new).is_none() {
            return Err(format!("settings that both parts allow (writes cut at {page} bytes) fail on the new part"));
        }
        self.updated(&both)?;
        Ok(format!(
            "the changed settings, writes cut at {page} bytes, serve on the fitted part, too; each reads what the other wrote"
        ))
    }

    /// Whether a unit with the fitted part can be updated to these settings, and back.
    fn updated(&self, to: &Board) -> Result<(), String> {
        if self.memo.serves(to, self.fitted).is_none() {
            return Err("the changed settings fail on the fitted part".into());
        }
        let (old, new) = (&self.board.firmware, &to.firmware);
        let reads = |writer: &Firmware, reader: &Firmware| {
            self.memo.exchanged(writer, reader, || reads_back(self.board, &self.whole(), writer, reader))
        };
        match (reads(old, new), reads(new, old)) {
            (true, true) => Ok(()),
            (false, _) => Err("after the update the new firmware does not read what the old one wrote".into()),
            (true, false) => Err("after a way back the old firmware does not read what the new one wrote".into()),
        }
    }

    /// The fitted part as its card has it: two firmwares notice more than one.
    fn whole(&self) -> Part {
        let mut part = Part::whole(self.board, self.fitted, self.memo.chip(self.fitted));
        // Runs take the longest write cycle, which a supply can make shorter than the typical one of all supplies.
        part.model.write_cycle.typical_ns = part.model.write_cycle.max_ns;
        part
    }

    fn line(&self, record: Option<&Region>) -> String {
        let (old, new) = (self.board.levels_for(self.fitted), self.board.levels_for(self.new));
        let pins = old.iter().zip(new).enumerate().map(|(pin, levels)| match levels {
            (true, true) => format!("a{pin}=vcc"),
            (false, false) => format!("a{pin}=gnd"),
            // An open pin that the two pull to different levels.
            _ => format!("a{pin}=open"),
        });
        let pins: Vec<String> = pins.collect();
        let choose = record.map_or_else(String::new, |region| {
            format!(" --choose {:#x}:{}", region.offset, region.length.min(MOST_RECORD))
        });
        format!(
            "pagewise generate {} {}{choose} --package {} --straps {}",
            self.fitted.id,
            self.new.id,
            self.board.footprint.word(),
            pins.join(",")
        )
    }
}

/// Longest record by which a generated driver tells parts apart, in bytes; a longer region is told by its beginning.
const MOST_RECORD: u32 = 4096;

/// Whether one firmware reads what another wrote into the same chip.
fn reads_back(board: &Board, part: &Part, writer: &Firmware, reader: &Firmware) -> bool {
    let (rig, chip, _) = set_up(board, part, SEED);
    let mut writing = runner(writer, &rig);
    for region in written(board) {
        if board.wp == Strap::Gpio {
            rig.set_wp(chip, wp_level(part, false));
        }
        writing.write(region, &meant_in(region));
    }
    let mut reading = runner(reader, &rig);
    for region in &board.regions {
        reading.read(region, &meant_in(region));
    }
    let (sent, read) = (writing.finish(), reading.finish());
    sent.errors == 0 && read.errors == 0 && read.misread.is_none()
}

/// Seed of what a run draws.
const SEED: u64 = 7;

fn runner<'f>(
    firmware: &'f Firmware,
    rig: &Rig,
) -> Runner<'f, impl embedded_hal::i2c::I2c + use<>, impl embedded_hal::delay::DelayNs + use<>> {
    let clock = rig.clone();
    Runner::new(firmware, rig.bus_with(Quirks::default()), rig.delay(), move || clock.now_ns() / 1000)
}
