//! The fewest parts, compared with trying every choice, and the greedy choice with its bound.

use pagewise_judge::fleet::cover::{Cover, NODES, exchanged, fewest};
use proptest::prelude::*;

/// Boards with the parts that serve them, at most twelve parts.
fn boards() -> impl Strategy<Value = Vec<Vec<usize>>> {
    (1usize..=12).prop_flat_map(|parts| {
        let board = proptest::collection::btree_set(0..parts, 0..=parts.min(6));
        proptest::collection::vec(board.prop_map(|set| set.into_iter().collect()), 0..=14)
    })
}

fn serves(boards: &[Vec<usize>], parts: &[usize]) -> bool {
    boards.iter().filter(|board| !board.is_empty()).all(|board| board.iter().any(|part| parts.contains(part)))
}

/// Tries every choice of parts.
fn brute_force(boards: &[Vec<usize>]) -> usize {
    let choices = (0u32..1 << 12).filter(|choice| {
        let parts: Vec<usize> = (0..12).filter(|part| choice >> part & 1 == 1).collect();
        serves(boards, &parts)
    });
    choices.map(|choice| choice.count_ones() as usize).min().unwrap()
}

fn widest(boards: &[Vec<usize>]) -> usize {
    (0..12).map(|part| boards.iter().filter(|board| board.contains(&part)).count()).max().unwrap_or(0)
}

/// What must hold of any cover, exact or not.
fn is_sound(boards: &[Vec<usize>], cover: &Cover, fewest: usize) -> Result<(), TestCaseError> {
    prop_assert!(serves(boards, &cover.parts), "{cover:?}");
    let none: Vec<usize> = (0..boards.len()).filter(|board| boards[*board].is_empty()).collect();
    prop_assert_eq!(&cover.uncovered, &none);
    prop_assert!(cover.at_least <= fewest, "claims that {} is the least, {fewest} do", cover.at_least);
    prop_assert!(cover.parts.len() >= fewest && cover.parts.len() <= cover.greedy);
    let harmonic: f64 = (1..=widest(boards).max(1)).map(|n| 1.0 / n as f64).sum();
    prop_assert!(cover.greedy as f64 <= harmonic * fewest as f64 + 1e-9, "greedy {} of {fewest}", cover.greedy);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_search_finds_the_fewest_parts(boards in boards()) {
        let cover = fewest(&boards, NODES);
        let least = brute_force(&boards);
        is_sound(&boards, &cover, least)?;
        prop_assert_eq!(cover.parts.len(), least);
        prop_assert!(cover.is_fewest());
    }

    #[test]
    fn a_search_cut_short_claims_no_more_than_it_knows(boards in boards(), nodes in 0u64..4) {
        is_sound(&boards, &fewest(&boards, nodes), brute_force(&boards))?;
    }

    #[test]
    fn exchanges_keep_number_and_service_and_never_cost_more(
        boards in boards(),
        prices in proptest::collection::vec(1u64..100, 14 * 12),
    ) {
        let costs: Vec<Vec<Option<u64>>> = boards
            .iter()
            .enumerate()
            .map(|(b, board)| (0..12).map(|part| board.contains(&part).then(|| prices[b * 12 + part])).collect())
            .collect();
        let sum = |parts: &[usize]| -> u64 {
            costs.iter().filter_map(|row| parts.iter().filter_map(|part| row[*part]).min()).sum()
        };
        let cover = fewest(&boards, NODES);
        let changed = exchanged(&costs, cover.parts.clone());
        prop_assert_eq!(changed.len(), cover.parts.len());
        prop_assert!(serves(&boards, &changed));
        prop_assert!(sum(&changed) <= sum(&cover.parts));
    }
}

#[test]
fn two_parts_that_serve_half_of_the_boards_each_are_found_behind_wider_ones() {
    // Parts 0 and 1 serve seven boards each, parts 2 to 4 serve 8, 4 and 2 of the same fourteen.
    let rows = (0..14).map(|board| {
        let wide = if board < 8 {
            2
        } else if board < 12 {
            3
        } else {
            4
        };
        vec![board % 2, wide]
    });
    let boards: Vec<Vec<usize>> = rows.collect();
    assert_eq!(fewest(&boards, NODES).parts, [0, 1]);
}

#[test]
fn no_boards_need_no_parts_and_boards_without_parts_are_named() {
    assert!(fewest(&[], NODES).parts.is_empty());
    let cover = fewest(&[vec![], vec![3], vec![]], NODES);
    assert_eq!((cover.parts, cover.uncovered), (vec![3], vec![0, 2]));
}
