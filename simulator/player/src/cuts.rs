//! The supply lost at every step of a program, and what is left behind.

use alloc::vec::Vec;

use pagewise_simulator::{ChipId, Rig, TornModel};

use crate::board::{Bench, Stored};
use crate::layout::header;
use crate::player::Player;
use crate::program::{Place, Program};

/// Steps at which the supply is cut; of longer programs an even choice.
const MOST_CUTS: usize = 400;
/// Where in a write cycle it is cut, in eighths of what is left of it.
const EIGHTHS: [u64; 3] = [1, 4, 7];
/// Times that a byte is read: one that wavers does not read the same so often.
const READS: usize = 4;

/// A cut after which nothing whole was left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Ruin {
    pub(crate) step: usize,
    pub(crate) place: Place,
    pub(crate) torn: TornModel,
}

/// The first cut after which none of `either` is whole.
pub(crate) fn first_ruin(bench: &Bench, program: &Program, steps: usize, either: &[Stored]) -> Option<Ruin> {
    let mut player = Player::new(bench, program);
    let every = steps.div_ceil(MOST_CUTS).max(1);
    let mv = bench.board.supply_mv;
    while player.steps + 1 < steps {
        let outcome = player.step(program)?;
        let busy = player.rig.chip_state(player.chip).cycle.map(|cycle| cycle.ends_ns - player.rig.now_ns());
        // A write cycle is where it hurts: those are never left out.
        if !player.steps.is_multiple_of(every) && busy.is_none() {
            continue;
        }
        for torn in TornModel::ALL {
            for eighths in EIGHTHS {
                let rig = player.rig.fork();
                rig.set_trace(false);
                rig.set_torn_model(torn, bench.board.seed + player.steps as u64);
                rig.advance_ns(busy.unwrap_or(0) * eighths / 8);
                rig.set_supply_mv(0);
                rig.restore_supply_mv(mv);
                if !either.iter().any(|stored| is_whole(bench, &rig, player.chip, stored)) {
                    return Some(Ruin { step: player.steps, place: outcome.place, torn });
                }
                if busy.is_none() {
                    break;
                }
            }
            if busy.is_none() {
                break;
            }
        }
    }
    None
}

/// Read over the bus, since bits that waver are seen there only.
fn is_whole(bench: &Bench, rig: &Rig, chip: ChipId, stored: &Stored) -> bool {
    let pins = rig.chip_state(chip).pins;
    (0..READS).all(|_| read(bench, rig, pins, stored.offset, stored.bytes.len()).is_some_and(|got| got == stored.bytes))
}

fn read(bench: &Bench, rig: &Rig, pins: [bool; 3], offset: u32, len: usize) -> Option<Vec<u8>> {
    let header = header(&bench.model, pins, offset)?;
    let mut bus = rig.bus().steps();
    bus.start().ok()?;
    let answered = bus.send(header.control) && header.word.iter().all(|byte| bus.send(*byte));
    bus.start().ok()?;
    let answered = answered && bus.send(header.control | 1);
    let got = (0..len).map(|at| bus.receive(at + 1 < len)).collect();
    bus.stop().ok()?;
    answered.then_some(got)
}
