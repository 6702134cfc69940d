//! A recorded program on the fitted part and on a candidate.

use std::collections::BTreeSet;

use pagewise_base::words::spaced_hex;
use pagewise_judge::board::{Board, Strap};
use pagewise_judge::swap::{Recorded, Recording};
use pagewise_part::card::Card;
use pagewise_simulator::{CycleTime, Hazard, Level, PowerUp, Rig, RigConfig, StepBus, Straps};

use crate::program::{Program, Step};

/// A loop of polling that the recording does not limit ends after this time.
const LOOP_ENDS_NS: u64 = 1_000_000_000;
/// Bytes that are shown of what differs.
const SHOWN: usize = 8;

/// What a run left and saw.
struct Ran {
    memory: Vec<u8>,
    /// What each transfer read; `None` where it was not answered.
    read: Vec<Option<Vec<u8>>>,
    hazards: BTreeSet<Hazard>,
    /// The longest loop of polling.
    polled_ns: u64,
}

/// What every part holds at first: no erased byte, and different at neighbouring places.
fn contents(capacity: usize) -> Vec<u8> {
    (0..capacity).map(|at| ((at * 7 + at / 251 * 31) % 251) as u8).collect()
}

impl Recording for Program {
    fn run(&self, board: &Board, old: &Card, new: &Card) -> Recorded {
        let (was, is) = (self.on(board, old), self.on(board, new));
        let differs = differs(&was, &is);
        let hazards = is.hazards.difference(&was.hazards).map(|hazard| hazard.name()).collect();
        let mut provided_that = vec!["the recording shows all that the firmware does".to_owned()];
        if self.polls {
            let ms = is.polled_ns.div_ceil(1_000_000);
            provided_that.push(format!("polling goes on for at least {ms} ms (no limit shows in the recording)"));
        }
        Recorded {
            same: differs.is_none(),
            differs: differs.unwrap_or_default(),
            hazards,
            provided_that,
            transfers: self.steps.len(),
        }
    }
}

impl Program {
    fn on(&self, board: &Board, card: &Card) -> Ran {
        let bus = &board.bus;
        let rig = Rig::new(RigConfig { scl_hz: bus.scl_khz * 1000, supply_mv: bus.supply_mv, seed: 1 });
        rig.set_trace(false);
        let levels = board.levels_for(card);
        let model = card.chip_model();
        let wp = match board.wp {
            Strap::Gnd => Level::Low,
            Strap::Vcc => Level::High,
            Strap::Open => Level::Open,
            Strap::Gpio => Level::from_bit(!model.write_protect.active_high),
        };
        let straps = Straps { a: levels.map(Level::from_bit), wp };
        let before = PowerUp::Image(contents(model.capacity as usize));
        let chip = rig.attach_with(model, straps, before);
        rig.set_write_cycle(chip, CycleTime::Max);
        for other in &self.others {
            rig.attach_other(*other, "another device");
        }
        let mut steps = rig.bus().steps();
        let (mut read, mut polled_ns) = (Vec::new(), 0);
        for step in &self.steps {
            rig.advance_ns(step.wait_ns);
            let begun = rig.now_ns();
            let mut answer = transfer(&mut steps, step);
            while answer.is_none() && step.every_ns.is_some() && rig.now_ns() - begun < LOOP_ENDS_NS {
                rig.advance_ns(step.every_ns.unwrap_or(0).max(1));
                answer = transfer(&mut steps, step);
                polled_ns = polled_ns.max(rig.now_ns() - begun);
            }
            read.push(answer);
        }
        rig.advance_ns(LOOP_ENDS_NS);
        let hazards = rig.finish().into_iter().map(|incident| incident.hazard).collect();
        Ran { memory: rig.memory(chip), read, hazards, polled_ns }
    }
}

/// One transfer as it was recorded. Returns what was read, or `None` if the device address, or a byte, was refused.
fn transfer(bus: &mut StepBus, step: &Step) -> Option<Vec<u8>> {
    let mut read = Vec::new();
    let mut good = true;
    for message in &step.messages {
        good = good && bus.start().is_ok() && bus.send(message.control);
        good = good && message.written.iter().all(|byte| bus.send(*byte));
        if good {
            read.extend((0..message.read).map(|at| bus.receive(at + 1 < message.read)));
        }
    }
    let stopped = bus.stop().is_ok();
    (good && stopped).then_some(read)
}

/// What differs first.
fn differs(was: &Ran, is: &Ran) -> Option<String> {
    for (at, (was, is)) in was.read.iter().zip(&is.read).enumerate() {
        match (was, is) {
            (Some(_), None) => return Some(format!("transfer {} is not answered", at + 1)),
            (Some(was), Some(is)) if was != is => {
                return Some(format!("transfer {} reads {} instead of {}", at + 1, shown(is), shown(was)));
            }
            _ => {}
        }
    }
    // Where only one part has a byte, it counts as it was at first.
    let first = contents(was.memory.len().max(is.memory.len()));
    let byte = |memory: &[u8], at: usize| memory.get(at).copied().unwrap_or(first[at]);
    let at = (0..first.len()).find(|at| byte(&was.memory, *at) != byte(&is.memory, *at))?;
    let (was, is) = (byte(&was.memory, at), byte(&is.memory, at));
    Some(format!("memory at 0x{at:04X} holds {is:02X} instead of {was:02X}"))
}

fn shown(bytes: &[u8]) -> String {
    let more = if bytes.len() > SHOWN { ".." } else { "" };
    format!("{}{more}", spaced_hex(&bytes[..bytes.len().min(SHOWN)]))
}
