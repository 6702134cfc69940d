//! What surrounds the chip: supply, SCL, pins, contents, what is meant to be stored.

use alloc::vec::Vec;

use pagewise_simulator::{
    ChipId, ChipModel, CycleTime, Level, OtherFamily, PowerUp, Rig, RigConfig, Straps, TornModel, WireConfig,
};

/// A chip on a board.
#[derive(Debug, Clone)]
pub struct Bench {
    /// What the chip is.
    pub model: ChipModel,
    /// What surrounds it.
    pub board: Board,
}

/// Bytes at an offset.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stored {
    /// Where.
    pub offset: u32,
    /// What.
    pub bytes: Vec<u8>,
}

/// What surrounds the chip before the program starts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Board {
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// SCL rate in hertz.
    pub scl_hz: u32,
    /// Levels of the pins.
    pub straps: Straps,
    /// How long write cycles take.
    pub cycle: CycleTime,
    /// What a torn write cycle leaves behind.
    pub torn: TornModel,
    /// Seed of what is drawn.
    pub seed: u64,
    /// Contents at power-up are drawn, not erased.
    pub random: bool,
    /// Bits get lost above the speed grade.
    pub noisy: bool,
    /// Pull-up in ohms and capacitance in picofarads: then the bus is played edge by edge.
    pub lines: Option<(u32, u32)>,
    /// What the chip holds already, and must keep.
    pub holds: Vec<Stored>,
    /// What is meant to be stored.
    pub means: Vec<Stored>,
    /// Offsets whose cells have seen so many write cycles.
    pub worn: Vec<(u32, u64)>,
    /// Other devices, by address.
    pub others: Vec<u8>,
    /// The chip is not there; a part of another family sits at this address.
    pub instead: Option<(u8, OtherFamily)>,
}

impl Default for Board {
    fn default() -> Self {
        let RigConfig { scl_hz, supply_mv, seed } = RigConfig::default();
        Self {
            supply_mv,
            scl_hz,
            straps: Straps::GROUND,
            // So that a program does not live by luck.
            cycle: CycleTime::Max,
            torn: TornModel::ErasedThenProgrammed,
            seed,
            random: false,
            noisy: false,
            lines: None,
            holds: Vec::new(),
            means: Vec::new(),
            worn: Vec::new(),
            others: Vec::new(),
            instead: None,
        }
    }
}

impl Bench {
    /// The bench at power-up. What does not fit into the part is left out of its memory, not out of what is meant.
    pub(crate) fn set_up(&self) -> (Rig, ChipId) {
        let board = &self.board;
        let rig = Rig::new(RigConfig { scl_hz: board.scl_hz, supply_mv: board.supply_mv, seed: board.seed });
        let contents = if board.random { PowerUp::Random } else { PowerUp::Erased };
        let straps = match board.instead {
            // Out of the way of the address that the program uses.
            Some((address, _)) => Straps::address(!address & 7),
            None => board.straps,
        };
        let chip = rig.attach_with(self.model.clone(), straps, contents);
        rig.set_write_cycle(chip, board.cycle);
        rig.set_torn_model(board.torn, board.seed);
        rig.set_overclock_faults(board.noisy);
        for stored in &board.holds {
            let room = self.model.capacity.saturating_sub(stored.offset) as usize;
            let fits = &stored.bytes[..stored.bytes.len().min(room)];
            if !fits.is_empty() {
                rig.load(chip, stored.offset, fits);
            }
        }
        for stored in board.holds.iter().chain(&board.means) {
            rig.meant(chip, stored.offset, &stored.bytes);
        }
        for &(offset, cycles) in board.worn.iter().filter(|(offset, _)| *offset < self.model.capacity) {
            rig.set_wear(chip, offset, cycles);
        }
        for &address in &board.others {
            rig.attach_other(address, "another device");
        }
        if let Some((address, family)) = board.instead {
            rig.attach_wrong_family(address, family);
        }
        (rig, chip)
    }

    pub(crate) fn wire(&self) -> Option<WireConfig> {
        let (pull_up_ohm, capacitance_pf) = self.board.lines?;
        Some(WireConfig { pull_up_ohm, capacitance_pf, ..WireConfig::TYPICAL })
    }
}

/// The level of a pin by its word.
pub(crate) fn level(word: &str) -> Option<Level> {
    match word {
        "low" => Some(Level::Low),
        "high" => Some(Level::High),
        "open" => Some(Level::Open),
        _ => None,
    }
}
