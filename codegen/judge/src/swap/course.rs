//! What a board's firmware does in one run, and what it meets on its way.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{AdjacentWrites, ChipId, Quirks, Rig};

use super::firmware::{Log, Runner};
use super::part::Part;
use super::setup::{meant_in, wp_level, written};
use super::watched::{Watched, Window};
use crate::board::{Board, Strap, WriteShape};

/// The board's firmware on one part. Runs of the same stage are the same each time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stage<'a> {
    pub(super) board: &'a Board,
    pub(super) part: &'a Part,
    /// Where the firmware takes the pointer to stand after each write, if it reads on from there.
    pub(super) expects: Option<&'a [Option<u32>]>,
    /// Of what a run draws: levels of open pins, the pointer at power-up.
    pub(super) seed: u64,
}

/// What the firmware met on its way.
pub(super) struct Course {
    pub(super) log: Log,
    /// Where the pointer stood after each write, as [`super::Run::pointers`] has it.
    pub(super) pointers: Vec<Option<u32>>,
}

impl Course {
    /// The first place where the firmware reads something else than was stored.
    pub(super) fn misread(&self) -> Option<String> {
        let (at, wanted, found) = self.log.misread?;
        Some(format!("the firmware reads {found:#04x} at {at:#06x} where {wanted:#04x} was stored"))
    }

    /// The first place where the firmware reads on elsewhere than it expects.
    pub(super) fn strayed(&self, expects: Option<&[Option<u32>]>) -> Option<String> {
        let mut pairs = self.pointers.iter().zip(expects?);
        let (found, wanted) = pairs.find(|(found, wanted)| found != wanted)?;
        let place = |pointer: &Option<u32>| pointer.map_or_else(|| "nowhere".to_owned(), |at| format!("{at:#06x}"));
        Some(format!("the firmware reads on at {}, on the fitted part at {}", place(found), place(wanted)))
    }

    /// Transfers that were not acknowledged.
    pub(super) fn refused(&self) -> Option<String> {
        let errors = self.log.errors;
        (errors > 0)
            .then(|| format!("{errors} transfer{} not acknowledged", if errors == 1 { " was" } else { "s were" }))
    }
}

/// How much of a run is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Extent {
    /// All of it.
    Whole,
    /// Nothing after the first failure: enough to see whether the part serves.
    UntilFailure,
}

/// Lets the board's firmware do on a rig all that its file says.
pub(super) fn execute(stage: Stage<'_>, rig: &Rig, chip: ChipId, traced: Window, extent: Extent) -> Course {
    let Stage { board, part, expects, .. } = stage;
    let settings = &board.firmware;
    let adjacent = match settings.write_shape {
        WriteShape::TwoRestarted => AdjacentWrites::Restart,
        WriteShape::OneBuffer | WriteShape::TwoJoined => AdjacentWrites::Joined,
    };
    let bus = Watched::new(rig, Quirks { adjacent_writes: adjacent, ..Quirks::default() }, traced);
    let clock = rig.clone();
    let mut runner = Runner::new(settings, bus, rig.delay(), move || clock.now_ns() / 1000)
        .passing(|address, header, pause_ns, within_ns| rig.pass_polls(address, header, pause_ns, within_ns));
    if extent == Extent::UntilFailure {
        runner = runner.until_failure(|| rig.has_incidents());
    }
    let mut pointers = Vec::new();
    for region in written(board) {
        if !runner.goes_on() {
            break;
        }
        let data = meant_in(region);
        rig.meant(chip, region.offset, &data);
        if board.wp == Strap::Gpio {
            rig.set_wp(chip, wp_level(part, false));
        }
        runner.write(region, &data);
        if settings.reads_on_after_write {
            let found = pointer_of(rig, chip, runner.last_address(region));
            let strayed = expects.is_some_and(|expects| expects.get(pointers.len()).is_some_and(|it| *it != found));
            pointers.push(found);
            if strayed && extent == Extent::UntilFailure {
                break;
            }
            runner.read_on(region);
        }
        if board.wp == Strap::Gpio {
            rig.set_wp(chip, wp_level(part, true));
        }
    }
    for region in &board.regions {
        runner.read(region, &meant_in(region));
    }
    for address in &board.bus.other_addresses {
        runner.visit(*address);
    }
    Course { log: runner.finish(), pointers }
}

/// Where the part's pointer stands, read from it: in copies of the rig every byte of the memory says where it is.
fn pointer_of(rig: &Rig, chip: ChipId, address: u8) -> Option<u32> {
    let size = rig.memory(chip).len();
    (0..3).try_fold(0, |pointer, place| {
        let copy = rig.fork();
        let places: Vec<u8> = (0..size).map(|at| (at >> (8 * place)) as u8).collect();
        copy.load(chip, 0, &places);
        let mut byte = [0];
        copy.bus().read(address, &mut byte).ok()?;
        Some(pointer | u32::from(byte[0]) << (8 * place))
    })
}
