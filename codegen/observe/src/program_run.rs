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

/// How the chip of a run begins.
struct Begin {
    contents: Vec<u8>,
    cycle: CycleTime,
}

impl Recording for Program {
    fn run(&self, board: &Board, old: &Card, new: &Card) -> Recorded {
        let [was, is] = [old, new].map(|card| {
            let contents = contents(card.capacity_bytes.value as usize);
            self.on(board, card, Begin { contents, cycle: CycleTime::Max })
        });
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
    /// Where the recording says otherwise than the fitted part's model: a byte that the recorded writes determine and that was
    /// read as another, or a transfer that was answered and is not by the model, or the other way round. `None` where it says
    /// nothing otherwise. What the part held at first the recording does not tell, so what hangs on that is not compared; and
    /// write cycles are taken for over, since how long the recorded one took is not the model's business.
    #[must_use]
    pub fn contradicts(&self, board: &Board, fitted: &Card) -> Option<String> {
        let first = contents(fitted.capacity_bytes.value as usize);
        let inverted = first.iter().map(|byte| !byte).collect();
        // A transfer that the part refused while busy did nothing.
        let answered = |step: &&Step| step.messages.first().is_some_and(|message| message.answered);
        let done = Self { steps: self.steps.iter().filter(answered).cloned().collect(), ..self.clone() };
        let [one, other] = [first, inverted]
            .map(|contents| done.on(board, fitted, Begin { contents, cycle: CycleTime::Exact(1) }).read);
        for (step, (one, other)) in done.steps.iter().zip(one.iter().zip(&other)) {
            let recorded: Vec<u8> = step.messages.iter().flat_map(|message| message.read.iter().copied()).collect();
            let transfer = step.notation().lines().last().unwrap_or_default().to_owned();
            let (Some(one), Some(other)) = (one, other) else {
                // Of refused data bytes the recording keeps no trace here.
                if recorded.is_empty() {
                    continue;
                }
                return Some(format!("{transfer}: answered in the recording, not by {}", fitted.name));
            };
            let known =
                one.iter().zip(other).zip(&recorded).find(|((one, other), recorded)| one == other && one != recorded);
            if let Some(((modelled, _), recorded)) = known {
                return Some(format!(
                    "{transfer}: a byte was read as {recorded:02X}, {} gives {modelled:02X}",
                    fitted.name
                ));
            }
        }
        None
    }

    fn on(&self, board: &Board, card: &Card, begin: Begin) -> Ran {
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
        let chip = rig.attach_with(model, straps, PowerUp::Image(begin.contents));
        rig.set_write_cycle(chip, begin.cycle);
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
            read.extend((1..=message.read.len()).map(|nth| bus.receive(nth < message.read.len())));
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
