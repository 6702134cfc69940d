//! The cut explorer finds what a program loses, and says how to see it again.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{
    ChipModel, CutCase, CutExplorer, CutProgram, CycleTime, PowerUp, Rig, RigConfig, Straps, TornModel,
};

/// Two copies in two pages, written one after the other, each with a sum; the newer valid one counts.
struct TwoCopies {
    /// A mutant: both copies in one page.
    share_page: bool,
    model: ChipModel,
}

fn record(generation: u8) -> [u8; 4] {
    let value = generation.wrapping_mul(37);
    [generation, value, !value, generation.wrapping_add(value).wrapping_add(0x5A)]
}

fn valid(bytes: &[u8]) -> bool {
    bytes[2] == !bytes[1] && bytes[3] == bytes[0].wrapping_add(bytes[1]).wrapping_add(0x5A)
}

impl TwoCopies {
    fn place(&self, generation: u8) -> u8 {
        let slot = generation % 2;
        if self.share_page { slot * 4 } else { slot * 32 }
    }

    fn newest(&self, rig: &Rig) -> Option<u8> {
        let mut best = None;
        for slot in 0..2 {
            let mut bytes = [0; 4];
            rig.bus().write_read(0x50, &[0, self.place(slot)], &mut bytes).ok()?;
            if valid(&bytes) {
                best = best.max(Some(bytes[0]));
            }
        }
        best
    }

    fn store(&self, rig: &Rig, generation: u8) -> bool {
        let mut message = vec![0, self.place(generation)];
        message.extend(record(generation));
        if rig.bus().write(0x50, &message).is_err() {
            return false;
        }
        for _ in 0..1000 {
            if rig.bus().write(0x50, &[0, 0]).is_ok() {
                return true;
            }
            rig.advance_ns(100_000);
        }
        false
    }

    /// Stores a generation and promises it.
    fn advance(&self, rig: &Rig, generation: u8, acknowledged: &mut Option<u8>) -> bool {
        let stored = self.store(rig, generation);
        if stored {
            *acknowledged = Some(generation);
        }
        stored
    }
}

impl CutProgram for TwoCopies {
    type Progress = Option<u8>;

    fn setup(&self) -> Rig {
        let rig = Rig::new(RigConfig::default());
        let mut image = vec![0xFF; 64];
        image[usize::from(self.place(0))..][..4].copy_from_slice(&record(0));
        let chip = rig.attach_with(self.model.clone(), Straps::GROUND, PowerUp::Image(image));
        rig.set_write_cycle(chip, CycleTime::Typical);
        rig
    }

    fn step(&self, _: usize, rig: &Rig, acknowledged: &mut Option<u8>) -> bool {
        (1..4).all(|generation| self.advance(rig, generation, acknowledged))
    }

    fn recover(&self, rig: &Rig, acknowledged: &mut Option<u8>) {
        // Writes the next generation over the older copy.
        if let Some(newest) = self.newest(rig) {
            self.advance(rig, newest + 1, acknowledged);
        }
    }

    fn check(&self, rig: &Rig, acknowledged: &Option<u8>) -> Result<(), String> {
        let found = self.newest(rig);
        let promised = acknowledged.unwrap_or(0);
        if found >= Some(promised) { Ok(()) } else { Err(format!("{promised} was acknowledged, {found:?} found")) }
    }
}

fn page_scope() -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    model.torn_scope = pagewise_simulator::model::TornScope::Page;
    model
}

#[test]
fn copies_in_two_pages_survive_one_cut_and_two() {
    let program = TwoCopies { share_page: false, model: page_scope() };
    let explorer = CutExplorer { second_cut_every: 61, ..CutExplorer::default() };
    let report = explorer.run(&program);
    assert_eq!(report.first_failure, None, "{report}");
    assert!(report.cases() > 2000, "{report}");
    assert_eq!(report.per_model.len(), TornModel::ALL.len());
}

#[test]
fn copies_in_one_page_are_caught_and_the_id_reruns_the_case() {
    let program = TwoCopies { share_page: true, model: page_scope() };
    let explorer = CutExplorer::default();
    let report = explorer.run(&program);
    let failure = report.first_failure.expect("a page scope tears both copies");
    let id = failure.case.to_string();
    let case: CutCase = id.parse().unwrap();
    assert_eq!(case, failure.case);
    assert_eq!(explorer.rerun(&program, case), Err(failure.reason));
    // The same explorer, the same result.
    assert_eq!(explorer.run(&program).failures, report.failures);
}

/// Stores over the newest copy when it starts: what the first cut has left is torn by a second one.
struct OverTheNewest(TwoCopies);

impl CutProgram for OverTheNewest {
    type Progress = Option<u8>;

    fn setup(&self) -> Rig {
        self.0.setup()
    }

    fn step(&self, step: usize, rig: &Rig, acknowledged: &mut Option<u8>) -> bool {
        self.0.step(step, rig, acknowledged)
    }

    fn recover(&self, rig: &Rig, acknowledged: &mut Option<u8>) {
        if let Some(newest) = self.0.newest(rig) {
            self.0.advance(rig, newest + 2, acknowledged);
        }
    }

    fn check(&self, rig: &Rig, acknowledged: &Option<u8>) -> Result<(), String> {
        self.0.check(rig, acknowledged)
    }
}

#[test]
fn what_only_a_second_cut_breaks_is_caught_and_reruns_with_both_times() {
    let program = OverTheNewest(TwoCopies { share_page: false, model: page_scope() });
    assert_eq!(CutExplorer::default().run(&program).first_failure, None, "one cut breaks nothing");
    let explorer = CutExplorer { second_cut_every: 7, ..CutExplorer::default() };
    let failure = explorer.run(&program).first_failure.expect("a second cut tears the copy that was left");
    assert!(failure.case.second_ns.is_some());
    let case: CutCase = failure.case.to_string().parse().unwrap();
    assert_eq!((case, explorer.rerun(&program, case)), (failure.case, Err(failure.reason)));
}

#[test]
fn bad_case_ids_are_refused() {
    for text in ["", "old", "old/1", "odd/1@5", "old/x@5", "old/1@", "old/1@5+", "old/1@5+x"] {
        assert!(text.parse::<CutCase>().is_err(), "{text}");
    }
    assert_eq!("subset/3@12+7".parse::<CutCase>().unwrap().to_string(), "subset/3@12+7");
}

/// The same work, one generation per step.
struct InSteps(TwoCopies);

impl CutProgram for InSteps {
    type Progress = Option<u8>;

    fn setup(&self) -> Rig {
        self.0.setup()
    }

    fn steps(&self) -> usize {
        3
    }

    fn step(&self, index: usize, rig: &Rig, acknowledged: &mut Option<u8>) -> bool {
        self.0.advance(rig, index as u8 + 1, acknowledged)
    }

    fn recover(&self, rig: &Rig, acknowledged: &mut Option<u8>) {
        self.0.recover(rig, acknowledged);
    }

    fn check(&self, rig: &Rig, acknowledged: &Option<u8>) -> Result<(), String> {
        self.0.check(rig, acknowledged)
    }
}

#[test]
fn work_in_steps_gives_the_same_cases_and_the_same_verdicts() {
    for share_page in [false, true] {
        let cycle_points = vec![1, 500, 999];
        let explorer =
            CutExplorer { second_cut_every: 101, cycle_points, draws: 1, first_cut_every: 3, ..CutExplorer::default() };
        let whole = explorer.run(&TwoCopies { share_page, model: page_scope() });
        let stepped = explorer.run(&InSteps(TwoCopies { share_page, model: page_scope() }));
        assert_eq!(stepped, whole);
    }
}
