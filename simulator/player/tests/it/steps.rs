//! What steps do, forwards and backwards.

use pagewise_player::view::first_difference;
use pagewise_player::{Bench, BusEvent, Goal, Graded, Program, Run, Who};
use pagewise_simulator::model::TornScope;
use pagewise_simulator::{ChipModel, ChipPhase, Hazard};

pub fn run_on(model: ChipModel, text: &str) -> Run {
    let (board, program) = Program::parse(text).unwrap_or_else(|faults| panic!("{faults:?}"));
    Run::new(&Bench { model, board }, &program)
}

fn run(text: &str) -> Run {
    run_on(ChipModel::example_32_kbit(), text)
}

/// The same traffic as the example of the simulator's own documentation, which writes through embedded-hal.
const WRAP: &str = "means 0010 00..2F\nS 50W 00 10 00..2F P\nwait 5ms";

#[test]
fn w1_a_page_wrap_is_told_at_the_byte_that_wraps() {
    let run = run(WRAP);
    let wrapped = run.log().iter().position(|step| step.incidents.iter().any(|it| it.hazard == Hazard::PageWrap));
    // START, device address, two word-address bytes, the sixteen bytes to the end of the page, and one more.
    assert_eq!(wrapped, Some(1 + 1 + 2 + 16));
    assert_eq!(run.lost().len(), 48);
    assert_eq!(run.losses()[0].text, "16 bytes at 0x0010 overwritten by bytes meant for 0x0030: page wrap at 32");
    assert_eq!(run.first_failing().map(|(_, place)| (place.line, place.column)), Some((2, 13)));
}

#[test]
fn the_latch_fills_wraps_and_becomes_the_write_cycle() {
    let run = run(WRAP);
    let latch = run.view(5).chip.latch.expect("data comes in");
    assert_eq!((latch.page, latch.size, latch.next, latch.received), (0, 32, 0x11, 1));
    assert_eq!(latch.bytes, [(0x10, 0x00)]);
    let wrapped = run.view(21).chip.latch.expect("data comes in");
    assert_eq!((wrapped.next, wrapped.received, wrapped.bytes[0]), (1, 17, (0x00, 0x10)));
    let stop = run.view(53);
    assert_eq!(stop.bus.last(), Some(&BusEvent::Stop));
    let cycle = stop.chip.cycle.expect("STOP starts it");
    assert_eq!((cycle.ends_ns - cycle.starts_ns, cycle.bytes.len()), (5_000_000, 32));
    assert_eq!(stop.rows[0].found[0], Some(0xFF));
    assert_eq!(run.view(usize::MAX).rows[0].found[0], Some(0x10));
}

#[test]
fn forth_and_back_is_the_same() {
    let run = run("holds 0040 11..18\nS 50W 00 40 A1..A8 P\nwait 2ms\ncut\nS 50W 00 40 Sr 50R ??x8 P\npoll 50W 10ms");
    let last = run.log().len();
    let forth: Vec<_> = (0..=last).map(|step| run.view(step)).collect();
    for step in (0..=last).rev() {
        assert_eq!(run.view(step), forth[step], "step {step}");
    }
}

#[test]
fn a_trace_of_the_simulator_is_a_program_and_gives_the_same_trace() {
    let program = "S 50W 01 20 AB CD P\nS 50W P\nwait 5ms\nS 50W 01 20 Sr 50R AB CD P\n";
    let trace = |run: &Run| {
        let bytes = run.log().iter().flat_map(|step| step.bus.clone());
        bytes.collect::<Vec<BusEvent>>()
    };
    let first = run(program);
    let refused = BusEvent::Byte { byte: 0xA0, address: true, by: Who::Controller, acked: false };
    assert!(trace(&first).contains(&refused), "the chip is busy");
    let shown = "         0.000 us  S 50W+ 01+ 20+ AB+ CD+ P\n       120.000 us  S 50W- P\n      5400.000 us  S 50W+ 01+ 20+ Sr 50R+ AB+ CD- P\n";
    let second = run(shown);
    assert_eq!(trace(&first), trace(&second));
    assert!(second.log().iter().all(|step| !step.surprise));
}

#[test]
fn what_is_refused_ends_the_transfer_and_the_detector_knows_what_was_meant() {
    let run =
        run("means 0000 10..13\nmeans 0020 20..23\nS 50W 00 00 10..13 P\nwait 3ms\nS 50W 00 20 20..23 P\nwait 5ms");
    assert_eq!(run.lost(), [0x20, 0x21, 0x22, 0x23]);
    let skipped = run.log().iter().filter(|step| step.skipped).count();
    assert_eq!(skipped, 6);
    let named: Vec<Hazard> = run.log().iter().flat_map(|step| &step.incidents).map(|it| it.hazard).collect();
    assert_eq!(named, [Hazard::BusyAccess]);
    assert_eq!(run.losses()[0].cause, Some(Hazard::BusyAccess));
}

#[test]
fn l5_a_reset_in_mid_read_holds_the_bus_until_it_is_freed() {
    let stuck = "holds 0000 00x4\nmeans 0080 C1..C4\nS 50W 00 00 Sr 50R ??+\nreset after 3 bits\n";
    let write = "S 50W 00 80 C1..C4 P\nwait 5ms";
    let held = run(&format!("{stuck}{write}"));
    assert_eq!(held.lost().len(), 4);
    assert!(held.log().iter().flat_map(|step| &step.incidents).any(|it| it.hazard == Hazard::StuckBus));
    assert_eq!(run(&format!("{stuck}recover\n{write}")).lost(), [0; 0]);
}

#[test]
fn l4_edges_with_weak_pull_ups_lose_what_strong_ones_store() {
    let program = "means 0020 71..78\nS 50W 00 20 71..78 P\nwait 5ms";
    let weak = run(&format!("lines 10kohm 91pF\n{program}"));
    assert_eq!(weak.lost().len(), 8);
    assert!(weak.log().iter().flat_map(|step| &step.incidents).any(|it| it.hazard == Hazard::BusTiming));
    let strong = run(&format!("lines 2.2kohm 91pF\n{program}"));
    assert_eq!(strong.grade(&Goal::default()), Graded::Passed);
    // The bytes of the transfer are seen once each.
    let bytes = strong.log().iter().flat_map(|step| &step.bus).filter(|event| matches!(event, BusEvent::Byte { .. }));
    assert_eq!(bytes.count(), 11);
}

#[test]
fn p3_a_cut_spares_a_second_copy_and_ruins_the_only_one() {
    let goal = Goal::read("", &["0040 11..18".into(), "0060 A1..A8".into()], &["torn-write".into()], 0).unwrap();
    let in_place = run("holds 0040 11..18\nS 50W 00 40 A1..A8 P\nwait 5ms");
    assert!(matches!(in_place.grade(&goal), Graded::Lost { .. }));
    let only = Goal::read("", &["0040 11..18".into(), "0040 A1..A8".into()], &[], 0).unwrap();
    let meant = run("means 0040 A1..A8\nS 50W 00 40 A1..A8 P\nwait 5ms");
    assert!(matches!(meant.grade(&only), Graded::Ruined { line: 2, .. }));
    let spare = "holds 0040 11..18\nmeans 0060 A1..A8\nS 50W 00 60 A1..A8 P\nwait 5ms";
    assert_eq!(run(spare).grade(&goal), Graded::Passed);
    // A part whose torn cycle takes whole blocks of 64 bytes along spares nothing in the same block.
    let wide = ChipModel { page: 64, torn_scope: TornScope::Page, ..ChipModel::example_32_kbit() };
    assert!(matches!(run_on(wide, spare).grade(&goal), Graded::Ruined { .. }));
}

#[test]
fn the_first_difference_of_two_parts_is_the_write_cycle_that_wrapped() {
    let (board, program) = Program::parse(WRAP).unwrap();
    let on = |page| {
        Run::new(&Bench { model: ChipModel { page, ..ChipModel::example_32_kbit() }, board: board.clone() }, &program)
    };
    // The page that wraps is stored 5 ms after STOP, in the fifth step of the wait.
    assert_eq!(first_difference(&on(32), &on(64)), Some(53 + 5));
    assert_eq!(first_difference(&on(64), &on(64)), None);
}

#[test]
fn phases_are_told_by_name() {
    let run = run("S 50W 00 10 Sr 50R ??x2 P");
    let phases: Vec<ChipPhase> = (1..=8).map(|step| run.view(step).chip.phase).collect();
    use ChipPhase::{Data, DeviceAddress, Idle, Read, WordAddress};
    let word = |left| WordAddress { left };
    assert_eq!(phases, [DeviceAddress, word(2), word(1), Data, DeviceAddress, Read, Read, Idle]);
}
