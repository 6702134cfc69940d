//! Stray writes: whether the candidate's WP keeps out what the fitted part's keeps out. Each part lies on a bench of its
//! own, inside its own limits, with WP as the board has it, and somebody writes to it where nobody should.

use pagewise_simulator::{CycleTime, Level, PowerUp, Quirks, Rig, RigConfig, Straps};

use super::firmware::Runner;
use super::memo::Memo;
use super::remedy;
use super::setup::{BACKGROUND, written};
use crate::board::{Board, Firmware, Region, Strap, Wait};
use pagewise_part::card::Card;
use pagewise_simulator::model::ChipModel;

/// Ranges of WP begin and end at eighths of a part.
const SLICES: u32 = 8;

/// A part on the bench.
struct Bench<'c> {
    card: &'c Card,
    model: ChipModel,
}

/// The first byte where WP keeps a stray write out of the fitted part and not out of the candidate.
pub(super) fn lands(board: &Board, fitted: &Card, new: &Card, memo: &Memo) -> Option<u32> {
    let (level, released) = (wp(board, true)?, wp(board, false)?);
    let bench = |card| Bench { card, model: memo.chip(card) };
    let (fitted, new) = (bench(fitted), bench(new));
    if !fitted.protects_at(level) {
        return None;
    }
    let kept_out = memo.kept_out(probes(board, &fitted, &new), |probes| {
        let (as_it_is, let_in) = (fitted.stored(board, probes, level), fitted.stored(board, probes, released));
        let kept_out = as_it_is.iter().zip(let_in).map(|(stored, stored_then)| !stored && stored_then);
        probes.iter().zip(kept_out).filter(|(_, kept)| *kept).map(|(at, _)| *at).collect()
    });
    // Firmware that writes there itself, with WP tied, shows that nothing is kept out.
    if board.wp != Strap::Gpio && kept_out.iter().any(|at| is_written(board, *at)) {
        return None;
    }
    let stored = new.stored(board, &kept_out, level);
    kept_out.into_iter().zip(stored).find(|(_, stored)| *stored).map(|(at, _)| at)
}

fn is_written(board: &Board, at: u32) -> bool {
    written(board).any(|region| (region.offset..region.offset + region.length).contains(&at))
}

/// What the board does with WP, or the opposite of that; `None` where it does nothing.
#[derive(Debug, Clone, Copy)]
enum Pin {
    /// Tied to this level.
    At(Level),
    /// Driven so that the part protects, or not.
    Protects(bool),
}

fn wp(board: &Board, as_it_is: bool) -> Option<Pin> {
    match (board.wp, as_it_is) {
        (Strap::Open, _) => None,
        (Strap::Gpio, protects) => Some(Pin::Protects(protects)),
        (Strap::Vcc, true) | (Strap::Gnd, false) => Some(Pin::At(Level::High)),
        (Strap::Vcc, false) | (Strap::Gnd, true) => Some(Pin::At(Level::Low)),
    }
}

/// Where stray writes are tried: at the ends of all slices of both parts, and of the regions that WP is there for.
fn probes(board: &Board, fitted: &Bench<'_>, new: &Bench<'_>) -> Vec<u32> {
    let end = fitted.card.reachable_bytes().min(new.card.reachable_bytes());
    let slices = [fitted, new].into_iter().flat_map(|bench| {
        let slice = (bench.model.capacity / SLICES).max(1);
        (0..SLICES).flat_map(move |n| [n * slice, (n + 1) * slice - 1])
    });
    let regions = board.regions.iter().flat_map(|region| [region.offset, region.offset + region.length - 1]);
    let mut probes: Vec<u32> = slices.chain(regions).filter(|at| *at < end && board.relies_on_wp_at(*at)).collect();
    probes.sort_unstable();
    probes.dedup();
    probes
}

impl Bench<'_> {
    /// Whether WP protects anything there: most boards tie it inactive, and nothing need be tried.
    fn protects_at(&self, pin: Pin) -> bool {
        let protect = &self.model.write_protect;
        let active = match pin {
            Pin::At(level) => (level == Level::High) == protect.active_high,
            Pin::Protects(on) => on,
        };
        active && protect.pin_range.len > 0
    }

    /// Which stray writes of one byte are stored.
    fn stored(&self, board: &Board, probes: &[u32], pin: Pin) -> Vec<bool> {
        let suited = remedy::reconfigured(board, self.card);
        let supply_mv = self.model.supply.read_min_mv.max(self.model.supply.write_min_mv);
        let scl_hz = self.model.min_scl_hz.max(100_000);
        let rig = Rig::new(RigConfig { scl_hz, supply_mv, seed: 1 });
        rig.set_trace(false);
        let wp = match pin {
            Pin::At(level) => level,
            Pin::Protects(on) if self.model.write_protect.active_high == on => Level::High,
            Pin::Protects(_) => Level::Low,
        };
        let a = board.levels_for(self.card).map(|high| if high { Level::High } else { Level::Low });
        let before = vec![BACKGROUND; self.model.capacity as usize];
        let chip = rig.attach_with(self.model.clone(), Straps { a, wp }, PowerUp::Image(before));
        rig.set_write_cycle(chip, CycleTime::Max);
        let wait = Wait::Fixed { us: self.card.longest_write_us_at(supply_mv) + 1 };
        let stranger = Firmware { wait, reads_on_after_write: false, ..suited.firmware };
        let clock = rig.clone();
        let bus = rig.bus_with(Quirks::default());
        let mut runner = Runner::new(&stranger, bus, rig.delay(), move || clock.now_ns() / 1000);
        for at in probes {
            let region = Region { name: String::new(), offset: *at, length: 1, writes_per_day: 1.0 };
            runner.write(&region, &[!BACKGROUND]);
        }
        let after = rig.memory(chip);
        probes.iter().map(|at| after.get(*at as usize) == Some(&!BACKGROUND)).collect()
    }
}
