//! Parts that behave alike on a board are run once. What a board is taken not to notice must not change any run, and
//! what a run depends on must tell parts apart.

use super::boards::swaps;
use super::search::{counterexample, scaled, seed};
use pagewise_judge::board::{Board, Strap, Wait};
use pagewise_judge::swap::part::Part;
use pagewise_judge::swap::{Run, run};
use pagewise_part::card::{Answer, Busy, Card, Catalogue, CyclePer, Kind, Open, Partial, Pointer, Role, Sampled, Span};

/// A run on the chip as its card has it, told with the stand-in for the name.
fn whole(board: &Board, card: &Card, pointers: Option<&[Option<u32>]>) -> Run {
    let mut part = Part::whole(board, card, card.chip_model());
    part.model.name = seen_by(board, card).model.name;
    run::play(board, &part, pointers).run
}

fn seen_by(board: &Board, card: &Card) -> Part {
    Part::seen_by(board, card, card.chip_model())
}

#[test]
fn what_a_board_does_not_notice_changes_no_run() {
    println!("seed {:#x}", seed());
    let cards = Catalogue::embedded().unwrap().cards().to_vec();
    let found = counterexample("memo", scaled(4000), &swaps(&cards), |swap| {
        let (board, card) = (&swap.board, cards[swap.new].in_footprint(swap.board.footprint));
        // Any pointers do: what counts is that both runs are asked alike.
        let pointers: Vec<Option<u32>> =
            board.regions.iter().map(|region| Some(region.offset + region.length)).collect();
        let pointers = board.firmware.reads_on_after_write.then_some(pointers.as_slice());
        let (expected, found) = (whole(board, &card, pointers), run::play(board, &seen_by(board, &card), pointers).run);
        if expected == found { Ok(()) } else { Err(format!("{}:\n{expected:?}\n{found:?}", card.id)) }
    });
    assert!(found.is_none(), "{}", found.unwrap_or_default());
}

/// A run breaks off at its first failure; made to its end it must fail, too, and say by what.
#[test]
fn a_run_that_was_broken_off_fails_to_its_end() {
    println!("seed {:#x}", seed());
    let cards = Catalogue::embedded().unwrap().cards().to_vec();
    let found = counterexample("broken off", scaled(4000), &swaps(&cards), |swap| {
        let (board, card) = (&swap.board, cards[swap.new].in_footprint(swap.board.footprint));
        let part = seen_by(board, &card);
        let played = run::play(board, &part, None);
        let told = played.run.told();
        let fails = told.first_loss.is_some() || !told.hazards.is_empty() || part.unpromised.is_some();
        if played.run.serves == fails { Err(format!("{}: {:?}", card.id, played.run)) } else { Ok(()) }
    });
    assert!(found.is_none(), "{}", found.unwrap_or_default());
}

#[test]
fn parts_that_a_board_cannot_tell_apart_are_many() {
    let catalogue = Catalogue::embedded().unwrap();
    for board in example_boards() {
        let mut parts: Vec<Part> = Vec::new();
        for card in catalogue.parts() {
            let part = seen_by(&board, &card.in_footprint(board.footprint));
            if !parts.contains(&part) {
                parts.push(part);
            }
        }
        println!("{}: {} kinds of {} parts", board.name, parts.len(), catalogue.parts().count());
        assert!(parts.len() < catalogue.parts().count() * 3 / 4, "{}", board.name);
    }
}

/// A board that notices much: it reads on after writes, its straps and WP are open, its firmware knows no page.
fn watchful() -> Board {
    let mut board = example_boards().into_iter().find(|board| board.file.ends_with("flow-meter.toml")).unwrap();
    board.straps = [Strap::Open; 3];
    board.wp = Strap::Open;
    board.bus.scl_khz = 1000;
    board.firmware.page_bytes = 1 << 16;
    board.firmware.wait = Wait::Fixed { us: 1 };
    board.firmware.reads_on_after_write = true;
    board.firmware.first_access_us = Some(1);
    board
}

/// A change to one value of a card.
type Change = (&'static str, fn(&mut Card));

const CHANGES: [Change; 24] = [
    ("kind", |card| card.kind = Kind::Fram),
    ("capacity", |card| card.capacity_bytes.value *= 2),
    ("page", |card| card.page_bytes.value *= 2),
    ("word-address bytes", |card| card.word_address_bytes.value = 1),
    ("device code", |card| card.device_code.value[0] = Role::Fixed(false)),
    ("address bits", |card| card.address_bits.value[2] = Role::Ignored),
    ("open address pins", |card| card.open_strap.value = Open::High),
    ("write cycle", |card| card.write_cycle_max_us.value += 1000),
    ("write cycle per byte", |card| card.write_cycle_per.value = CyclePer::Byte),
    ("busy answer", |card| card.busy_answer.value = Busy::WritesOnly),
    ("pointer after a write", |card| card.pointer_after_write.value = Pointer::LastPlusOne),
    ("read wrap", |card| card.read_wrap_bytes.value = 256),
    ("endurance", |card| card.endurance_cycles.value = 10),
    ("supply for reading", |card| {
        card.read_min_mv.value = 4000;
        card.write_min_mv.value = 4000;
    }),
    ("supply for writing", |card| card.write_min_mv.value = 4000),
    ("highest supply", |card| card.max_mv.value = 2000),
    ("SCL rate", |card| card.speed.value.iter_mut().for_each(|grade| grade.scl_khz = 100)),
    ("lowest SCL rate", |card| card.min_scl_khz = 2000),
    ("power-up", |card| card.power_up_us.value = 10_000),
    ("range of WP", |card| card.protect_range.value = Span::UpperHalf),
    ("open WP", |card| card.open_wp.value = Open::High),
    ("when WP is looked at", |card| card.wp_sampled.value = Sampled::DataPhase),
    ("answer to a protected write", |card| card.protected_answer.value = Answer::NackData),
    ("partly protected write", |card| card.partly_protected.value = Partial::UnprotectedOnly),
];

#[test]
fn a_change_to_any_value_that_can_matter_tells_parts_apart() {
    let board = watchful();
    let catalogue = Catalogue::embedded().unwrap();
    let mut card = catalogue.find("24lc32a").unwrap().clone();
    card.open_wp.value = Open::Random;
    card.open_strap.value = Open::Random;
    card.wp_sampled.value = Sampled::Stop;
    card.protected_answer.value = Answer::AckReady;
    card.partly_protected.value = Partial::Nothing;
    card.pointer_after_write.value = Pointer::WrappedInPage;
    card.power_up_us.value = 1;
    let part = seen_by(&board, &card);
    for (what, change) in CHANGES {
        let mut changed = card.clone();
        change(&mut changed);
        assert_ne!(changed, card, "{what}: nothing was changed");
        assert_ne!(seen_by(&board, &changed), part, "{what}");
    }
}

/// The other way round: what nobody can notice here tells no parts apart.
#[test]
fn name_document_and_spare_room_tell_no_parts_apart() {
    let board = example_boards().into_iter().find(|board| board.file.ends_with("flow-meter.toml")).unwrap();
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.find("24lc32a").unwrap().clone();
    let part = seen_by(&board, &card);
    let changes: [Change; 5] = [
        ("name", |card| card.name = "another".into()),
        ("typical write cycle", |card| card.write_cycle_typ_us.value = 1),
        ("highest supply", |card| card.max_mv.value += 500),
        ("SCL rate", |card| card.speed.value.iter_mut().for_each(|grade| grade.scl_khz += 600)),
        ("endurance", |card| card.endurance_cycles.value *= 4),
    ];
    for (what, change) in changes {
        let mut changed = card.clone();
        change(&mut changed);
        assert_ne!(changed, card, "{what}: nothing was changed");
        assert_eq!(seen_by(&board, &changed), part, "{what}");
    }
}

fn example_boards() -> Vec<Board> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/boards");
    let paths = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let boards = paths.filter(|path| path.extension().is_some_and(|extension| extension == "toml"));
    boards.map(|path| pagewise_judge::board::read(&path).unwrap()).collect()
}
