//! The cut explorer finds what a program loses, and says how to see it again.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{
    ChipId, ChipModel, CutCase, CutExplorer, CutFailure, CutProgram, CutReport, CycleTime, Hazard, PowerUp, Rig,
    RigConfig, Straps, TornModel,
};
use std::sync::{Mutex, OnceLock};

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

/// Four bytes are written; what is left of them after each cut is written down, and a promise that no cut keeps is checked.
struct OnePage {
    seen: Mutex<Vec<Vec<u8>>>,
    /// Fails where a write cycle was cut only, or always.
    only_torn: bool,
    chip: OnceLock<ChipId>,
}

impl OnePage {
    const CYCLE_NS: u64 = 4_000_000;

    fn new(only_torn: bool) -> Self {
        Self { seen: Mutex::default(), only_torn, chip: OnceLock::new() }
    }
}

impl CutProgram for OnePage {
    type Progress = ();

    fn setup(&self) -> Rig {
        let rig = Rig::new(RigConfig::default());
        let chip = rig.attach_with(page_scope(), Straps::GROUND, PowerUp::Image(vec![0x0F; 64]));
        rig.set_write_cycle(chip, CycleTime::Exact(Self::CYCLE_NS));
        self.chip.get_or_init(|| chip);
        rig
    }

    fn step(&self, _: usize, rig: &Rig, (): &mut ()) -> bool {
        rig.bus().write(0x50, &[0, 0, 0xA5, 0x5A, 0xF0, 0x3C]).is_ok()
    }

    fn check(&self, rig: &Rig, (): &()) -> Result<(), String> {
        self.seen.lock().unwrap().push(rig.memory(self.chip.get().copied().unwrap())[..32].to_vec());
        let torn = rig.incidents().iter().any(|seen| seen.hazard == Hazard::TornWrite);
        if torn || !self.only_torn { Err("nothing is kept".into()) } else { Ok(()) }
    }
}

/// START, the device address, six bytes, STOP: nine conditions and bytes, of which the last begins the write cycle.
#[test]
fn every_condition_every_byte_and_the_chosen_points_of_a_write_cycle_are_cut_once() {
    let cycle_points = vec![250, 500];
    let explorer = CutExplorer { cycle_points, draws: 2, ..CutExplorer::default() };
    let always = explorer.run(&OnePage::new(false));
    // Outside of the write cycle the first model stands for all; the models that draw are tried with each draw.
    let draws = |model| if matches!(model, TornModel::Old | TornModel::New | TornModel::Prefix) { 1 } else { 2 };
    let inside = 3;
    let expected: Vec<(TornModel, u64)> = TornModel::ALL
        .iter()
        .enumerate()
        .map(|(at, model)| (*model, draws(*model) * inside + if at == 0 { 8 } else { 0 }))
        .collect();
    assert_eq!(always.per_model, expected);
    assert_eq!(always.failures, always.cases());
    let twice = CutExplorer { second_cut_every: 1, ..explorer }.run(&OnePage::new(false));
    assert_eq!(twice.failures, twice.cases());
    let first = always.first_failure.unwrap();
    assert_eq!((first.case.model, first.case.draw, first.reason.as_str()), (TornModel::ALL[0], 0, "nothing is kept"));

    // STOP comes one period after seven bytes and START at 400 kHz.
    let stop_ns = (1 + 7 * 9 + 1) * 2_500;
    for point in [1, 250, 999] {
        let explorer = CutExplorer { cycle_points: vec![point], draws: 1, ..CutExplorer::default() };
        let torn = explorer.run(&OnePage::new(true));
        let first = torn.first_failure.as_ref().unwrap().case.first_ns;
        let expected = stop_ns + OnePage::CYCLE_NS * u64::from(point) / 1000;
        assert!(first == expected || first == stop_ns, "{first} for {expected}");
        assert!(torn.failures >= TornModel::ALL.len() as u64 && torn.failures < torn.cases(), "{torn}");
    }
}

#[test]
fn each_draw_is_another_draw() {
    for model in [TornModel::Subset, TornModel::ErasedThenProgrammed] {
        let program = OnePage::new(true);
        let explorer =
            CutExplorer { models: vec![model], cycle_points: vec![250], draws: 24, ..CutExplorer::default() };
        explorer.run(&program);
        let mut seen = program.seen.into_inner().unwrap();
        seen.sort_unstable();
        seen.dedup();
        assert!(seen.len() > 4, "{model:?}: {} states from 24 draws", seen.len());
    }
}

/// The work is the steps up to the first that cannot go on; nobody has to recover.
#[test]
fn the_work_ends_where_a_step_cannot_go_on() {
    struct Counts;
    impl CutProgram for Counts {
        type Progress = Vec<usize>;

        fn setup(&self) -> Rig {
            Rig::new(RigConfig::default())
        }

        fn steps(&self) -> usize {
            5
        }

        fn step(&self, index: usize, _: &Rig, done: &mut Vec<usize>) -> bool {
            done.push(index);
            index < 2
        }

        fn check(&self, _: &Rig, _: &Vec<usize>) -> Result<(), String> {
            Ok(())
        }
    }
    let mut done = Vec::new();
    Counts.work(&Counts.setup(), &mut done);
    assert_eq!(done, [0, 1, 2]);
    Counts.recover(&Counts.setup(), &mut done);
    assert_eq!(done, [0, 1, 2]);
}

/// No step is begun without a supply, nor after one that cannot go on.
#[test]
fn a_step_is_begun_only_where_the_program_would() {
    struct Careless(OnePage);
    impl CutProgram for Careless {
        type Progress = bool;

        fn setup(&self) -> Rig {
            self.0.setup()
        }

        fn steps(&self) -> usize {
            3
        }

        fn step(&self, index: usize, rig: &Rig, wrong: &mut bool) -> bool {
            *wrong |= rig.supply_mv() == 0 || index == 2;
            let _ = rig.bus().write(0x50, &[0, 0, 1]);
            rig.advance_ns(if index == 0 { 5_000_000 } else { 0 });
            index == 0
        }

        fn check(&self, _: &Rig, wrong: &bool) -> Result<(), String> {
            if *wrong { Err("a step too many".into()) } else { Ok(()) }
        }
    }
    let report = CutExplorer::default().run(&Careless(OnePage::new(false)));
    assert_eq!((report.first_failure.as_ref(), report.cases() > 20), (None, true), "{report}");
}

#[test]
fn reports_and_failures_read_as_a_line() {
    let case = CutCase { model: TornModel::Subset, draw: 3, first_ns: 12, second_ns: None };
    let failure = CutFailure { case, reason: "lost".into() };
    assert_eq!(failure.to_string(), "subset/3@12: lost");
    let mut report = CutReport { per_model: vec![(TornModel::Old, 2), (TornModel::Subset, 5)], ..CutReport::default() };
    assert_eq!(report.to_string(), "7 cuts, old 2, subset 5; none failed");
    (report.failures, report.first_failure) = (4, Some(failure));
    assert_eq!(report.to_string(), "7 cuts, old 2, subset 5; 4 failed, first subset/3@12: lost");
    assert!("".parse::<CutCase>().unwrap_err().to_string().contains("model/draw@ns"));
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
