//! `update` under cuts of supply, on parts of different density and wiring: every bus event and nine points of every
//! write cycle, under all torn models, one cut and two in a row. Once `update` has returned `Ok`, the bytes are stored:
//! they read right as often as they are read, also where a page that was cut happened to read right when it was updated.
//!
//! One bit changes at a time, so that a page with unstable bits often reads right by chance.

use std::collections::BTreeMap;

use pagewise_driver::{Eeprom, Options, Trust};
use pagewise_part::card::Catalogue;
use pagewise_simulator::{CutExplorer, CutProgram, CycleTime, PowerUp, Rig, RigBus, RigConfig, RigDelay, TornModel};
use pagewise_tests::seat::Seat;

type Driver = Eeprom<RigBus, RigDelay, 259>;

/// Starts of the firmware, each with three updates.
const STARTS: usize = 3;
/// How often what was acknowledged is read.
const READS: usize = 12;
/// From the middle of one page into the next one but one.
const PAGES: u32 = 2;

/// A table on a card's part.
struct Program {
    seat: Seat,
    offset: u32,
    length: usize,
    /// Believe what reads right, as if no write had ever been cut.
    trusting: bool,
}

/// What the table was last meant to hold, and whether that was acknowledged.
#[derive(Debug, Clone, Default)]
struct Progress {
    meant: Vec<u8>,
    acknowledged: bool,
}

impl Program {
    /// `None` where the part has no room or no write cycle.
    fn new(seat: Seat) -> Option<Self> {
        let page = seat.geometry.page_bytes();
        let offset = seat.writable.start + page / 2;
        let length = PAGES * page;
        if seat.geometry.write_cycle_us() == 0 || offset + length > seat.writable.end {
            return None;
        }
        Some(Self { seat, offset, length: length as usize, trusting: false })
    }

    fn driver(&self, rig: &Rig) -> Driver {
        Eeprom::new(rig.bus(), rig.delay(), self.seat.geometry, Options::new())
    }

    fn update(&self, driver: &mut Driver, trust: &mut Trust, progress: &mut Progress) -> bool {
        progress.acknowledged = false;
        let updated = if self.trusting {
            driver.update_trusting(self.offset, &progress.meant)
        } else {
            driver.update(self.offset, &progress.meant, trust)
        };
        progress.acknowledged = updated.is_ok();
        progress.acknowledged
    }
}

impl CutProgram for Program {
    type Progress = Progress;

    fn setup(&self) -> Rig {
        let config = RigConfig::default().with_scl_hz(self.seat.scl_hz).with_supply_mv(self.seat.supply_mv);
        let rig = Rig::new(config);
        let chip = rig.attach_with(self.seat.card.chip_model(), self.seat.straps(), PowerUp::Random);
        rig.set_write_cycle(chip, CycleTime::Exact(200_000));
        rig
    }

    fn steps(&self) -> usize {
        STARTS
    }

    fn step(&self, index: usize, rig: &Rig, progress: &mut Progress) -> bool {
        let (mut driver, mut trust) = (self.driver(rig), Trust::new());
        progress.meant.resize(self.length, 0x5A);
        for change in 0..3 {
            let at = (17 * index + 5 * change) % self.length;
            progress.meant[at] ^= 1 << (change + index);
            if !self.update(&mut driver, &mut trust, progress) {
                return false;
            }
        }
        true
    }

    fn recover(&self, rig: &Rig, progress: &mut Progress) {
        progress.meant.resize(self.length, 0x5A);
        self.update(&mut self.driver(rig), &mut Trust::new(), progress);
    }

    fn check(&self, rig: &Rig, progress: &Progress) -> Result<(), String> {
        if !progress.acknowledged {
            return Err("the recovery did not update".to_owned());
        }
        let mut driver = self.driver(rig);
        let mut found = vec![0; self.length];
        for time in 0..READS {
            driver.read(self.offset, &mut found).map_err(|error| error.to_string())?;
            if found != progress.meant {
                return Err(format!("acknowledged, but it reads otherwise the time of number {time}"));
            }
        }
        Ok(())
    }
}

/// One part for each combination of wiring and reach of a torn write, the smallest first.
fn programs() -> Vec<(String, Program)> {
    let mut found = BTreeMap::new();
    for card in Catalogue::embedded().unwrap().cards() {
        let seat = Seat::new(card, 0, 0);
        if seat.geometry.page_bytes() > 64 {
            continue;
        }
        let shape = (seat.geometry.word_address_bytes(), seat.geometry.block_select_bits() > 0);
        let key = (shape, format!("{:?}", card.chip_model().torn_scope));
        if let Some(program) = Program::new(seat) {
            found.entry(key).or_insert((card.id.clone(), program));
        }
    }
    found.into_values().collect()
}

#[test]
fn what_update_has_acknowledged_reads_right_wherever_one_or_two_cuts_fall() {
    let explorer = CutExplorer { draws: 2, second_cut_every: 97, ..CutExplorer::default() };
    let (mut cuts, programs) = (0, programs());
    for (card, program) in &programs {
        let report = explorer.run(program);
        assert!(report.failures == 0 && report.first_failure.is_none(), "{card}: {report}");
        assert_eq!(report.per_model.len(), TornModel::ALL.len(), "{card}");
        cuts += report.cases();
    }
    println!("{cuts} cuts on {} parts, none lost", programs.len());
    assert!(programs.len() >= 4, "{} parts only", programs.len());
    assert!(cuts > 10_000, "{cuts} cuts only");
}

#[test]
fn to_trust_what_reads_right_after_a_start_is_caught() {
    let explorer = CutExplorer { models: vec![TornModel::Unstable], first_cut_every: 3, ..CutExplorer::default() };
    let (_, program) = programs().swap_remove(0);
    let report = explorer.run(&Program { trusting: true, ..program });
    println!("{report}");
    assert!(report.failures > 10, "{report}");
}
