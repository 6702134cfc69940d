//! A queue made for NOR flash (the `sequential-storage` crate) on top of `MultiwriteFlash`, under cuts: what it takes from
//! the queue it marks by clearing bits. (Its map, which never writes a word twice, is cut on the simulated device.)
#![cfg(all(feature = "storage", feature = "async"))]

use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;

use pagewise_driver::{AsyncEeprom, MultiwriteFlash, Options};
use sequential_storage::cache::Cache;
use sequential_storage::map::{MapConfig, MapStorage};
use sequential_storage::queue::{QueueConfig, QueueStorage};

use crate::common::at_once::{AsyncBus, AsyncClock, now};
use crate::common::*;

/// A page is 32 bytes; a unit of four pages is erased at once.
type Flash<const WRITE: usize> = MultiwriteFlash<AsyncEeprom<AsyncBus, AsyncClock, 34>, WRITE, 128>;

fn flash<const WRITE: usize>(chip: &Rc<RefCell<FakeChip>>) -> Flash<WRITE> {
    let parts = vec![chip.clone()];
    let (bus, clock) = (AsyncBus(Bus(parts.clone())), AsyncClock(Clock(parts)));
    MultiwriteFlash::new(AsyncEeprom::new(bus, clock, KBIT_32, Options::new()))
}

fn erased() -> Rc<RefCell<FakeChip>> {
    let chip = rig(KBIT_32.parameters()).0;
    chip.borrow_mut().cycle_us = 30;
    chip.borrow_mut().memory.fill(0xFF);
    chip
}

fn push<const WRITE: usize>(chip: &Rc<RefCell<FakeChip>>, item: u8) -> bool {
    let mut queue = QueueStorage::new(flash::<WRITE>(chip), QueueConfig::new(0..1024), Cache::new_uncached());
    now(queue.push(&[item; 4], false)).is_ok()
}

/// The oldest item, `None` in the queue's own words, or a failure.
fn pop<const WRITE: usize>(chip: &Rc<RefCell<FakeChip>>) -> Result<Option<u8>, ()> {
    let mut queue = QueueStorage::new(flash::<WRITE>(chip), QueueConfig::new(0..1024), Cache::new_uncached());
    let mut room = [0; 64];
    now(queue.pop(&mut room)).map(|item| item.map(|bytes| bytes[0])).map_err(drop)
}

/// Pushes and pops until the cut.
#[derive(Default)]
struct Work {
    /// What must be in the queue, oldest first.
    held: VecDeque<u8>,
    /// What was under way at the cut: it may be there or not.
    pushing: Option<u8>,
    popping: Option<u8>,
}

fn work<const WRITE: usize>(chip: &Rc<RefCell<FakeChip>>) -> Work {
    let mut work = Work::default();
    for item in 0..24u8 {
        if !push::<WRITE>(chip, item) {
            work.pushing = Some(item);
            return work;
        }
        work.held.push_back(item);
        if item % 3 != 0 {
            continue;
        }
        let oldest = work.held.pop_front();
        match pop::<WRITE>(chip) {
            Ok(found) => assert_eq!(found, oldest),
            Err(()) => {
                work.popping = oldest;
                return work;
            }
        }
    }
    work
}

/// Cuts one page write after the other; gives how often an item was lost, came again or came in another order.
fn wrong<const WRITE: usize>(torn: Torn) -> usize {
    let mut wrong = 0;
    for cut in 0..60 {
        let chip = erased();
        chip.borrow_mut().cut = Some((cut, torn));
        let Work { held, pushing, popping } = work::<WRITE>(&chip);
        chip.borrow_mut().power_up();
        let mut found = Vec::new();
        while let Ok(Some(item)) = pop::<WRITE>(&chip) {
            found.push(item);
        }
        found.retain(|item| Some(*item) != pushing && Some(*item) != popping);
        wrong += usize::from(held != found);
    }
    wrong
}

#[test]
fn a_queue_for_nor_flash_keeps_its_items_if_one_word_is_one_page() {
    let whole = [Torn::Old, Torn::New, Torn::Erased, Torn::ErasedPage];
    let mixed = [Torn::Prefix(1), Torn::Prefix(9), Torn::Subset, Torn::HalfProgrammed];
    for torn in whole.into_iter().chain(mixed) {
        assert_eq!(wrong::<32>(torn), 0, "{torn:?}");
    }
}

#[test]
fn canary_a_queue_for_nor_flash_loses_items_if_words_share_a_page_that_is_erased_by_a_cut() {
    assert_ne!(wrong::<8>(Torn::ErasedPage), 0);
}

#[test]
fn some_cuts_fall_into_the_removal_of_an_item() {
    let removing = (0..60).filter(|cut| {
        let chip = erased();
        chip.borrow_mut().cut = Some((*cut, Torn::Old));
        work::<32>(&chip).popping.is_some()
    });
    assert!(removing.count() >= 5);
}

#[test]
fn a_map_removes_an_item() {
    let chip = erased();
    let map = || MapStorage::<u8, _, _>::new(flash::<32>(&chip), MapConfig::new(0..512), Cache::new_uncached());
    for key in 0..3u8 {
        now(map().store_item(&mut [0; 64], &key, &u32::from(key))).unwrap();
    }
    now(map().remove_item(&mut [0; 64], &1)).unwrap();
    let found = [0, 1, 2].map(|key: u8| now(map().fetch_item::<u32>(&mut [0; 64], &key)).unwrap());
    assert_eq!(found, [Some(0), None, Some(2)]);
}
