//! Invented fleets: every file is a board, and fleets are as varied as they should be.

use std::collections::BTreeSet;

use pagewise_judge::board::{Board, Strap, Wait};
use pagewise_judge::fleet::invent;
use pagewise_part::card::Catalogue;
use proptest::prelude::*;

fn boards(catalogue: &Catalogue, count: usize, seed: u64) -> Vec<Board> {
    invent::fleet(catalogue, count, seed)
        .iter()
        .map(|file| {
            pagewise_judge::board::parse(&file.name, &file.text)
                .unwrap_or_else(|faults| panic!("seed {seed}: {faults}\n{}", file.text))
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_invented_board_is_read_without_a_fault(seed: u64) {
        let catalogue = Catalogue::embedded().unwrap();
        for board in boards(&catalogue, 25, seed) {
            let card = catalogue.find(&board.fitted).unwrap();
            prop_assert!(board.used_bytes() <= card.capacity_bytes.value, "seed {seed}: {}", board.file);
            prop_assert!(board.name.starts_with("Tamarind Instruments "));
        }
    }
}

#[test]
fn a_fleet_is_varied() {
    let catalogue = Catalogue::embedded().unwrap();
    let boards = boards(&catalogue, 600, 7);
    let count = |what: &dyn Fn(&Board) -> String| boards.iter().map(what).collect::<BTreeSet<String>>().len();
    assert_eq!(count(&|board| board.name.clone()), 600, "every board has its own name");
    assert!(count(&|board| board.fitted.clone()) > 60);
    assert!(count(&|board| board.footprint.word().to_owned()) > 4);
    assert_eq!(count(&|board| board.bus.supply_mv.to_string()), 4);
    assert!(count(&|board| format!("{:?} {:?}", board.straps, board.wp)) > 20);
    assert!(count(&|board| format!("{:?}", board.firmware)) > 200);
    assert!(count(&|board| format!("{:?}", board.regions)) > 400);
    assert!(boards.iter().any(|board| board.straps.contains(&Strap::Open)));
    assert!(boards.iter().any(|board| matches!(board.firmware.wait, Wait::PollByRead { .. })));
    assert!(boards.iter().any(|board| board.used_bytes() > 8192));
    assert!(boards.iter().any(|board| !board.uses.is_empty()));
}
