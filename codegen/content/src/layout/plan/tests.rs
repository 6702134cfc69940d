use proptest::collection::vec;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngSeed};

use super::*;

fn class() -> impl Strategy<Value = Class> {
    prop_oneof![Just(Class::Seldom), Just(Class::Often), Just(Class::Reserved)]
}

const fn item(length: u32, often: bool) -> Item {
    Item { length, align: 1, often }
}

/// Whether a placement keeps every rule, checked byte by byte.
fn lawful(items: &[Item], offsets: &[u32], fixed: &[Fixed], memory: Memory) -> bool {
    let mut owner = vec![None; memory.capacity as usize];
    let placed = items.iter().zip(offsets).map(|(item, offset)| (*offset, item.length, Class::of(item.often)));
    for (offset, length, class) in fixed.iter().map(|f| (f.offset, f.length, f.class)).chain(placed) {
        for byte in offset..offset + length {
            match owner.get_mut(byte as usize) {
                Some(free @ None) => *free = Some(class),
                _ => return false,
            }
        }
    }
    let aligned = items.iter().zip(offsets).all(|(item, offset)| offset % item.align == 0);
    aligned
        && owner.chunks(memory.unit as usize).all(|unit| {
            let classes: Vec<Class> = unit.iter().flatten().copied().collect();
            !(classes.contains(&Class::Often) && classes.contains(&Class::Seldom))
        })
}

/// The earliest end of all placements at all offsets: no cleverness at all.
fn by_force(items: &[Item], fixed: &[Fixed], memory: Memory) -> Option<u32> {
    fn next(items: &[Item], offsets: &mut Vec<u32>, fixed: &[Fixed], memory: Memory, best: &mut Option<u32>) {
        let Some(item) = items.get(offsets.len()) else {
            let ends = items.iter().zip(offsets.iter()).map(|(item, offset)| offset + item.length);
            let in_use = fixed.iter().filter(|fixed| fixed.class != Class::Reserved);
            let end = ends.chain(in_use.map(|f| f.offset + f.length)).max().unwrap_or(0);
            *best = Some(best.map_or(end, |best| best.min(end)));
            return;
        };
        for offset in 0..=memory.capacity.saturating_sub(item.length) {
            offsets.push(offset);
            if lawful(&items[..offsets.len()], offsets, fixed, memory) {
                next(items, offsets, fixed, memory, best);
            }
            offsets.pop();
        }
    }
    let mut best = None;
    next(items, &mut Vec::new(), fixed, memory, &mut best);
    best
}

fn compare(items: &[Item], fixed: &[Fixed], memory: Memory) {
    let forced = by_force(items, fixed, memory);
    match place(items, fixed, memory) {
        Ok(plan) => {
            assert!(lawful(items, &plan.offsets, fixed, memory), "{items:?} {fixed:?} {memory:?}: {plan:?}");
            assert!(plan.best, "{items:?} {fixed:?} {memory:?}: {plan:?}");
            assert_eq!(Some(plan.end), forced, "{items:?} {fixed:?} {memory:?}: {plan:?}");
            assert!(bound::lowest_end(items, fixed, memory) <= u64::from(plan.end));
        }
        Err(no_room) => {
            assert_eq!(forced, None, "{items:?} {fixed:?} {memory:?}");
            assert!(no_room.proven && no_room.needed > u64::from(memory.capacity), "{no_room:?}");
        }
    }
}

/// Every set of up to three things of one to five bytes, of both classes, in a memory of four units of four bytes, with
/// nothing or one thing fixed at each place.
#[test]
fn placements_are_the_best_that_brute_force_finds() {
    let memory = Memory { capacity: 16, unit: 4 };
    let kinds: Vec<Item> = (1..=5).flat_map(|length| [item(length, false), item(length, true)]).collect();
    let mut sets = vec![vec![]];
    for (a, first) in kinds.iter().enumerate() {
        sets.push(vec![*first]);
        for (b, second) in kinds.iter().enumerate().skip(a) {
            sets.push(vec![*first, *second]);
            sets.extend(kinds.iter().skip(b).map(|third| vec![*first, *second, *third]));
        }
    }
    let mut compared = 0;
    for items in &sets {
        compare(items, &[], memory);
        for offset in [0, 1, 3, 6, 9] {
            for class in [Class::Seldom, Class::Often, Class::Reserved] {
                compare(items, &[Fixed { offset, length: 3, class }], memory);
                compared += 1;
            }
        }
    }
    assert!(compared > 4000, "{compared}");
}

fn drawn(items: &[(u32, u32, bool)]) -> Vec<Item> {
    items.iter().map(|(length, align, often)| Item { length: *length, align: 1 << align, often: *often }).collect()
}

/// Those fixed things, in order, that can stand beside the ones before.
fn lawful_ones(fixed: Vec<(u32, u32, Class)>, memory: Memory) -> Vec<Fixed> {
    let mut kept: Vec<Fixed> = Vec::new();
    for (offset, length, class) in fixed {
        kept.push(Fixed { offset, length, class });
        if !lawful(&[], &[], &kept, memory) {
            kept.pop();
        }
    }
    kept
}

proptest! {
    #![proptest_config(Config {
        cases: 300,
        rng_seed: RngSeed::Fixed(0x9A6E_5151),
        failure_persistence: None,
        ..Config::default()
    })]

    /// Alignments, several fixed things, four things to place.
    #[test]
    fn random_small_cases_are_placed_as_brute_force_places_them(
        items in vec((1u32..7, 0u32..4, any::<bool>()), 0..5),
        fixed in vec((0u32..22, 1u32..5, class()), 0..3),
        unit in 0u32..4,
    ) {
        let memory = Memory { capacity: 24, unit: 1 << unit };
        let (items, kept) = (drawn(&items), lawful_ones(fixed, memory));
        compare(&items, &kept, memory);
    }

}

proptest! {
    #![proptest_config(Config {
        cases: 40,
        rng_seed: RngSeed::Fixed(0x9A6E_5152),
        failure_persistence: None,
        ..Config::default()
    })]

    /// Large cases: lawful, never before the bound, and with its distance told.
    #[test]
    fn large_cases_are_lawful_and_say_how_far_off_they_are(
        items in vec((1u32..200, 0u32..8, any::<bool>()), 0..60),
        fixed in vec((0u32..8000, 1u32..300, class()), 0..8),
        unit in 0u32..8,
    ) {
        let memory = Memory { capacity: 16384, unit: 1 << unit };
        let (items, kept) = (drawn(&items), lawful_ones(fixed, memory));
        let plan = place(&items, &kept, memory).unwrap();
        prop_assert!(lawful(&items, &plan.offsets, &kept, memory));
        prop_assert!(plan.bound <= plan.end && plan.best == (plan.bound == plan.end), "{plan:?}");
    }
}

#[test]
fn the_class_that_wastes_less_comes_first() {
    let memory = Memory { capacity: 256, unit: 32 };
    let plan = place(&[item(33, false), item(31, true)], &[], memory).unwrap();
    assert_eq!((plan.offsets, plan.end, plan.best), (vec![32, 0], 65, true));
}

#[test]
fn what_is_given_in_order_stays_in_order_where_that_costs_nothing() {
    let memory = Memory { capacity: 256, unit: 32 };
    let items = [item(4, false), item(9, false), item(6, false), item(8, true)];
    assert_eq!(place(&items, &[], memory).unwrap().offsets, [0, 4, 13, 32]);
}
