//! Small places where a mistake would pass every larger test: each has been tried.

use pagewise_player::program::Action;
use pagewise_player::talk::Desk;
use pagewise_player::{Bench, BusEvent, Goal, Graded, Program, Run, Who};
use pagewise_simulator::model::DeviceBit;
use pagewise_simulator::{ChipModel, Hazard};
use serde_json::{Value, json};

use crate::steps::run_on;

fn run(text: &str) -> Run {
    run_on(ChipModel::example_32_kbit(), text)
}

fn hazards(run: &Run) -> Vec<Hazard> {
    run.log().iter().flat_map(|step| &step.incidents).map(|incident| incident.hazard).collect()
}

fn count(run: &Run, action: impl Fn(Action) -> bool) -> usize {
    run.log().iter().filter(|step| action(step.action)).count()
}

const START: fn(Action) -> bool = |action| action == Action::Start { again: false };

#[test]
fn what_is_meant_stands_above_what_is_held_and_beyond_the_part_nothing_is_stored() {
    assert_eq!(run("holds 0010 11\nmeans 0010 22\nS 50W 00 10 22 P").lost(), [0; 0]);
    assert_eq!(run("means 0FFF 11 22\nS 50W 0F FF 11 P").lost(), [0x1000]);
}

#[test]
fn reads_count_as_wrong_where_they_came_otherwise_than_granted() {
    let run = run("holds 0000 07\nS 50W 00 00 Sr 50R 07 08 09 P");
    assert_eq!((run.wrong_reads(), run.reads()[0]), (2, (7, Some(7))));
}

#[test]
fn loops_run_as_often_as_they_say_also_inside_each_other() {
    assert_eq!(count(&run("repeat 3\nS 50W 00 00 55 P\nwait 6ms\nend"), START), 3);
    let waits = |action| matches!(action, Action::Wait(_));
    assert_eq!(count(&run("repeat 2\nrepeat 3\nwait 1us\nend\nwait 1us\nend"), waits), 8);
    // Those of a lesson's board come first, and count apart.
    let (board, before) = Program::parse_board("wait 1us\nrepeat 3\nS 50W 00 00 55 P\nwait 6ms\nend").unwrap();
    let (board, program) = Program::parse_on(board, "repeat 2\nS 50W 00 00 55 P\nwait 6ms\nend", &[]).unwrap();
    let both = Run::new(&Bench { model: ChipModel::example_32_kbit(), board }, &program.after(&before));
    assert_eq!((count(&both, START), count(&both, |action| action == Action::End)), (5, 1));
}

#[test]
fn after_a_refusal_nothing_is_sent_up_to_stop_and_reads_return_ff() {
    let run = run("S 51W 00 00 Sr 51R ?? P");
    let bus: Vec<BusEvent> = run.log().iter().flat_map(|step| step.bus.clone()).collect();
    let refused = BusEvent::Byte { byte: 0xA2, address: true, by: Who::Controller, acked: false };
    assert_eq!(bus, [BusEvent::Start, refused, BusEvent::Stop]);
    assert_eq!(run.reads(), [(0xFF, None)]);
}

#[test]
fn times_pass_as_they_are_written() {
    let at = |run: &Run, wanted: fn(Action) -> bool| -> Vec<u64> {
        let steps = run.log().windows(2).filter(|steps| wanted(steps[1].action));
        steps.map(|steps| steps[1].at_ns - steps[0].at_ns).collect()
    };
    let waited: u64 = at(&run("S 50W 00 00 P\nwait 5ms"), |action| matches!(action, Action::Wait(_))).iter().sum();
    assert_eq!(waited, 5_000_000);
    // In front of a line of a trace stands when it began.
    let trace = run("100.000 us  S 50W 00 00 P\n1000.000 us  S 50W 00 00 P");
    let until: Vec<u64> =
        trace.log().iter().filter(|step| matches!(step.action, Action::Until(_))).map(|step| step.at_ns).collect();
    assert_eq!(until, [100_000, 1_000_000]);
}

#[test]
fn a_poll_asks_until_its_limit_and_clocks_the_byte_out_that_it_reads() {
    // The write cycle takes 5 ms.
    let poll = |how: &str| {
        let run = run(&format!("S 50W 00 00 11 P\npoll {how}"));
        let at = run.log().iter().position(|step| matches!(step.action, Action::Poll { .. })).unwrap();
        let (before, step) = (run.log()[at - 1].at_ns, run.log()[at].clone());
        (step.surprise, (step.at_ns - before) / 1_000_000, step.bus)
    };
    let (given_up, waited) = (poll("50W 1ms"), poll("50W 10ms"));
    assert_eq!((given_up.0, given_up.1, waited.0, waited.1), (true, 1, false, 5));
    let theirs = |bus: &[BusEvent]| bus.iter().any(|event| matches!(event, BusEvent::Byte { by: Who::Chip, .. }));
    assert_eq!((theirs(&waited.2), theirs(&poll("50R 10ms").2)), (false, true));
}

#[test]
fn a_cut_ends_the_transfer_and_brings_the_same_supply_back() {
    let run = run("supply 5V\nS 50W 00 00 11\ncut\nS 50W 00 10 22 P\nwait 6ms");
    let last = run.view(usize::MAX);
    assert_eq!((last.supply_mv, run.memory_at(usize::MAX)[0x10]), (5000, 0x22));
    let bus: Vec<BusEvent> = run.log().iter().flat_map(|step| step.bus.clone()).collect();
    assert!(!bus.contains(&BusEvent::Restart) && !hazards(&run).contains(&Hazard::RestartAbort), "{bus:?}");
    assert!(Program::parse("S 50W 00\ncut\n11 P").is_err(), "what was under way is over");
}

#[test]
fn a_cut_leaves_what_the_board_says() {
    let after = |torn: &str| {
        let run = run(&format!("torn {torn}\nholds 0000 11x4\nS 50W 00 00 22x4 P\nwait 1ms\ncut"));
        run.memory_at(usize::MAX)[..4].to_vec()
    };
    assert_eq!((after("old"), after("new")), (vec![0x11; 4], vec![0x22; 4]));
}

#[test]
fn a_reset_holds_the_bus_where_the_chip_drives_a_zero() {
    // The first byte is acknowledged; of the next one four ones come, then four zeros.
    let held = |bits: u8| {
        let run = run(&format!("holds 0000 FF F0\nS 50W 00 00 Sr 50R ??+\nreset after {bits} bits\nS 50W 00 00 P"));
        hazards(&run).contains(&Hazard::StuckBus)
    };
    assert_eq!((held(2), held(5)), (false, true));
}

#[test]
fn pins_noise_and_other_parts_are_as_the_board_says() {
    assert!(hazards(&run("wait 1us\nWP open\nS 50W 00 00 11 P\nwait 6ms")).contains(&Hazard::FloatingPin));
    let fast =
        |noise: &str| run(&format!("noise {noise}\nSCL 5MHz\nmeans 0000 00..1F\nS 50W 00 00 00..1F P\nwait 6ms"));
    assert_eq!((fast("off").lost().len(), fast("on").lost().is_empty()), (0, false));
    for (digits, part) in [("23", "23-series"), ("25", "25-series")] {
        let wrong = run(&format!("family 50 {digits}\nS 50W 00 00 11 P\nwait 6ms"));
        let told: Vec<&str> =
            wrong.log().iter().flat_map(|step| &step.incidents).map(|incident| incident.text.as_str()).collect();
        assert!(hazards(&wrong).contains(&Hazard::WrongFamily), "{part}: {told:?}");
        assert!(told.iter().any(|text| text.contains(part)), "{part}: {told:?}");
        assert_eq!(wrong.memory_at(usize::MAX)[0], 0xFF, "{part}");
    }
}

/// A write that wraps, where nobody minds.
const WRAP: &str = "S 50W 00 10 00..2F P\nwait 6ms";

#[test]
fn goals_are_reached_exactly() {
    let goal = |reads: &str, tolerates: &[&str], cycles: usize| {
        let tolerates: Vec<String> = tolerates.iter().map(|name| (*name).to_owned()).collect();
        Goal { cycles, ..Goal::read(reads, &[], &tolerates, 0).unwrap() }
    };
    let wraps = run(WRAP);
    assert_eq!(hazards(&wraps), [Hazard::PageWrap], "told once");
    assert!(matches!(wraps.grade(&Goal::default()), Graded::Warned { hazard: Hazard::PageWrap, .. }));
    assert_eq!(wraps.grade(&goal("", &["page-wrap"], 1)), Graded::Passed);
    assert_eq!(wraps.grade(&goal("", &["page-wrap"], 2)), Graded::TooFew { cycles: 1, wanted: 2 });
    let reads = run("holds 0000 01..03\nS 50W 00 00 Sr 50R ??x3 P");
    assert_eq!(reads.grade(&goal("01..03", &[], 0)), Graded::Passed);
    let wrong = |wanted, first| Graded::ReadsWrong { wanted, came: 3, first };
    assert_eq!(reads.grade(&goal("01 02 04", &[], 0)), wrong(3, 2));
    assert_eq!(reads.grade(&goal("01 02", &[], 0)), wrong(2, 2));
    // That a part is busy when it is polled is not a failure.
    let polled = run("S 50W 00 00 11 P\npoll 50W 10ms\nS 50W 00 00 Sr 50R 12 P");
    assert_eq!(polled.first_failing().map(|(_, place)| place.line), Some(3));
}

#[test]
fn what_is_shown_is_of_the_step_that_is_shown() {
    let run = run(&format!("worn 0010 999\nmeans 0010 00..2F\n{WRAP}"));
    let (middle, last) = (run.view(run.log().len() - 1), run.view(usize::MAX));
    assert_eq!((middle.losses.len(), middle.lost), (0, 0));
    assert!(!last.losses.is_empty() && last.lost == 48);
    assert_eq!((last.told[0].step, run.view(21).fresh, run.view(21).told.len()), (21, 1, 1));
    // The most worn place of those that are shown.
    assert_eq!(last.worn.0, 1000);
}

fn ask(question: &Value) -> Value {
    serde_json::from_str(&Desk::default().ask(question.to_string().as_bytes())).unwrap()
}

#[test]
fn every_bit_of_an_address_has_its_place() {
    let header = |model: &ChipModel, offset: u32| {
        ask(&json!({ "do": "address", "model": model, "pins": [false, false, false], "offset": offset }))["header"]
            .clone()
    };
    let mut model = ChipModel::example_32_kbit();
    let seen = header(&model, 0x0123);
    assert_eq!((&seen["control"], &seen["word"]), (&json!(0xA0), &json!([0x01, 0x23])));
    assert_eq!((&seen["page_first"], &seen["page_last"]), (&json!(0x120), &json!(0x13F)));
    // 4096 bytes: offsets have bits 0 to 11.
    assert_eq!((&seen["bits"][1][3]["role"], &seen["bits"][1][4]["role"]), (&json!("x"), &json!("a11")));
    model.device_bits[6] = DeviceBit::PinInverted(0);
    let seen = header(&model, 0);
    assert_eq!((&seen["control"], &seen["bits"][0][6]), (&json!(0xA2), &json!({ "role": "/A0", "high": true })));
    let seen = header(&ChipModel::example_16_kbit(), 0x5A3);
    assert_eq!(seen["bits"][0][4], json!({ "role": "a10", "high": true }));
}

#[test]
fn a_desk_has_two_chips_and_tells_whose_fault_it_is() {
    let model = ChipModel::example_32_kbit();
    let open = |models: Vec<&ChipModel>| ask(&json!({ "do": "open", "models": models, "task": { "program": WRAP } }));
    assert_eq!(open(vec![&model; 3])["error"], "one chip or two");
    let events = open(vec![&model])["lanes"][0]["events"].clone();
    let played = run(WRAP);
    let expected: Vec<usize> = (1..=played.log().len()).filter(|step| played.log()[step - 1].is_event()).collect();
    assert_eq!(events, json!(expected));
    let grade = |board: &str, extra: &str, reads: &str, program: &str| {
        let task = json!({ "board": board, "program": program, "who": "Ada", "may_set": [] });
        ask(&json!({ "do": "grade", "model": model, "task": task, "reads": reads, "extra": extra }))
    };
    assert_eq!(grade("wiat", "", "", "S 50W P")["faults"][0]["part"], "board");
    assert_eq!(grade("", "", "", "wiat")["faults"][0]["part"], "program");
    let read = "S 50W 00 00 Sr 50R ??x4 P";
    assert_eq!(grade("holds 0000 {0..3}", "", "{0..3}", read)["graded"]["is"], "passed");
    // Lines of the board that one check adds.
    assert_eq!(grade("holds 0000 {0..3}", "means 0010 77", "", read)["graded"]["is"], "lost");
}

#[test]
fn the_text_is_read_as_it_looks() {
    let faults = |text: &str| Program::parse(text).map(drop).unwrap_err();
    assert!(Program::parse("S 50W P # S ?? of a remark").is_ok());
    let columns: Vec<usize> = faults("S 50W é GG P").iter().map(|fault| fault.place.column).collect();
    assert_eq!(columns, [7, 9], "characters, not bytes");
    for text in ["wait 3601s", "supply 0.4V", "SCL 6MHz"] {
        assert_eq!(faults(text).len(), 1, "{text}");
    }
}
