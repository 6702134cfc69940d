//! The board that a demonstration runs on, and what is seen of it afterwards.

use std::collections::BTreeMap;
use std::fmt::Debug;
use std::sync::OnceLock;

use pagewise_driver::{Eeprom, Geometry, Options};
use pagewise_simulator::{ChipId, CycleTime, Rig, RigBus, RigConfig, RigDelay, Straps};

use super::{Side, picture};
use pagewise_part::card::{Card, Catalogue};

/// Header and data of the largest page of any card.
const BUFFER: usize = 260;

/// The safe driver on a rig.
pub(super) type Driver = Eeprom<RigBus, RigDelay, BUFFER>;

/// One part on a board.
pub(super) struct Stage {
    pub(super) rig: Rig,
    pub(super) chip: ChipId,
    pub(super) geometry: Geometry,
    part: String,
    rated_cycles: u64,
    stored: BTreeMap<u32, u8>,
    read: BTreeMap<u32, (u8, Option<u8>)>,
}

fn card(id: &str) -> &'static Card {
    static CATALOGUE: OnceLock<Catalogue> = OnceLock::new();
    let catalogue =
        CATALOGUE.get_or_init(|| Catalogue::embedded().expect("embedded cards are sound: a test reads them"));
    catalogue.find(id).expect("a demonstration names an embedded card: a test runs each")
}

impl Stage {
    /// This part with every pin grounded, 3.3 V, 400 kHz.
    pub(super) fn new(id: &str) -> Self {
        Self::with(id, Straps::GROUND, RigConfig::default())
    }

    /// The longest write cycle, so that a program does not live by luck.
    pub(super) fn with(id: &str, straps: Straps, config: RigConfig) -> Self {
        let card = card(id);
        let rig = Rig::new(config);
        let chip = rig.attach(card.chip_model(), straps);
        rig.set_write_cycle(chip, CycleTime::Max);
        let geometry = card.geometry([false; 3]).expect("every card has a geometry: a test makes them all");
        Self {
            rig,
            chip,
            geometry,
            part: card.name.clone(),
            rated_cycles: card.endurance_cycles.value,
            stored: BTreeMap::new(),
            read: BTreeMap::new(),
        }
    }

    /// Bytes that are stored before the program runs, and must stay.
    pub(super) fn holds(&mut self, offset: u32, bytes: &[u8]) {
        self.rig.load(self.chip, offset, bytes);
        self.meant(offset, bytes);
    }

    /// Bytes that the program means to store.
    pub(super) fn meant(&mut self, offset: u32, bytes: &[u8]) {
        self.rig.meant(self.chip, offset, bytes);
        self.stored.extend((offset..).zip(bytes.iter().copied()));
    }

    /// What the program read, `None` if it read nothing, beside what it should have read.
    pub(super) fn has_read(&mut self, offset: u32, right: &[u8], got: Option<&[u8]>) {
        for (at, &byte) in right.iter().enumerate() {
            self.read.insert(offset + at as u32, (byte, got.map(|got| got[at])));
        }
    }

    /// Write cycles that each wear unit of the part is rated for.
    pub(super) const fn rated_cycles(&self) -> u64 {
        self.rated_cycles
    }

    /// The safe driver for this part.
    pub(super) fn driver(&self) -> Driver {
        self.driver_of(self.geometry)
    }

    /// The driver with a geometry of one's own.
    pub(super) fn driver_of(&self, geometry: Geometry) -> Driver {
        Eeprom::new(self.rig.bus(), self.rig.delay(), geometry, Options::new())
    }

    /// The program is over: what is there, what was seen. Write cycles come to their end first.
    pub(super) fn finish(self, said: String) -> Side {
        // Longer than any write cycle.
        self.rig.advance_ns(1_000_000_000);
        let incidents = self.rig.finish();
        let mut hazards: Vec<_> = incidents.iter().map(|incident| incident.hazard).collect();
        hazards.sort_unstable();
        hazards.dedup();
        let memory = self.rig.memory_as_read(self.chip);
        let there = |at: u32| memory.get(at as usize).copied();
        let lost = self.stored.iter().filter(|&(&at, &byte)| there(at) != Some(byte)).count();
        let wrong = self.read.values().filter(|(right, got)| *got != Some(*right)).count();
        let mut rows = picture::rows(self.stored.keys().copied(), |at| self.stored.get(&at).copied(), there);
        let right = |at: u32| self.read.get(&at).map(|(right, _)| *right);
        let got = |at: u32| self.read.get(&at).and_then(|(_, got)| *got);
        rows.extend(picture::rows(self.read.keys().copied(), right, got));
        Side {
            part: self.part,
            said,
            hazards,
            incidents: incidents.into_iter().map(|incident| incident.text).collect(),
            bytes_lost: (lost + wrong) as u32,
            explanation: self.rig.explain().into_iter().map(|loss| loss.text).collect(),
            picture: rows,
            transfers: self.rig.transfers_text(),
        }
    }
}

/// The result of a program in words.
pub(super) fn said<T, E: Debug>(result: &Result<T, E>) -> String {
    match result {
        Ok(_) => "every call succeeded".into(),
        Err(error) => format!("failed: {error:?}"),
    }
}

/// `len` bytes that differ from their neighbours and from erased memory, beginning with `first`.
pub(super) fn pattern(first: u8, len: usize) -> Vec<u8> {
    (0..len).map(|at| first.wrapping_add(at as u8)).collect()
}
