//! Waits that learn (feature `learning`), on a chip whose polls take 20 us each. How near they come to the floor on every card
//! and at every rate is shown in the tests room.
#![cfg(feature = "learning")]

use std::cell::RefCell;
use std::rc::Rc;

use crate::common::*;
use pagewise_driver::{Eeprom, Error, Options};

/// A poll and the pause after it, with the options of [`Options::new`].
const POLL_US: u64 = 20 + 20;

struct Bench {
    chip: Rc<RefCell<FakeChip>>,
    driver: Eeprom<Bus, Clock, 40>,
    page: u32,
}

impl Bench {
    fn new(options: Options) -> Self {
        let (chip, bus, clock) = rig(KBIT_32.parameters());
        Self { chip, driver: Eeprom::new(bus, clock, KBIT_32, options), page: 0 }
    }

    fn learning() -> Self {
        Self::new(Options::new().with_learning(true))
    }

    /// Writes so many pages with this write cycle; on average, time beyond the write cycle and refused polls, both of a page.
    fn pages(&mut self, count: u64, cycle_us: u64) -> (u64, u64) {
        self.chip.borrow_mut().cycle_us = cycle_us;
        let (from_us, from) = (self.chip.borrow().now_us, self.chip.borrow().calls.len());
        for _ in 0..count {
            self.page = (self.page + 1) % 128;
            self.driver.write(self.page * 32, &[self.page as u8; 32]).unwrap();
        }
        let chip = self.chip.borrow();
        let refused = chip.calls[from..].iter().filter(|call| matches!(call, Call::Write(.., false))).count() as u64;
        // The write itself takes 20 us; the poll that is answered may end with the write cycle.
        ((chip.now_us - from_us) / count - cycle_us - 20, refused / count)
    }
}

#[test]
fn without_the_option_every_write_cycle_is_polled_from_its_beginning() {
    let mut bench = Bench::new(Options::new());
    let first = bench.pages(1, 3_000);
    assert!(first.1 >= 3_000 / POLL_US - 1);
    assert_eq!(bench.pages(64, 3_000), first);
}

#[test]
fn after_some_write_cycles_it_waits_once_and_the_end_is_found_within_half_a_poll() {
    for cycle_us in [300, 1_000, 2_345, 3_000, 4_990, 5_000] {
        let mut bench = Bench::learning();
        let first = bench.pages(1, cycle_us);
        assert!(first.1 >= cycle_us / POLL_US - 1, "nothing is known of the first one: {first:?}");
        bench.pages(15, cycle_us);
        let (beyond_us, refused) = bench.pages(100, cycle_us);
        assert!(beyond_us <= POLL_US / 2 && refused <= 1, "{cycle_us}: {beyond_us} us beyond, {refused} polls refused");
    }
}

#[test]
fn a_part_that_grows_faster_is_followed_and_so_is_one_that_grows_slower() {
    let mut bench = Bench::learning();
    bench.pages(16, 4_800);
    bench.pages(48, 1_200);
    let (beyond_us, refused) = bench.pages(64, 1_200);
    assert!(beyond_us <= POLL_US && refused <= 2, "{beyond_us} us beyond, {refused} polls refused");
    bench.pages(32, 4_000);
    let (beyond_us, refused) = bench.pages(64, 4_000);
    assert!(beyond_us <= POLL_US && refused <= 2, "{beyond_us} us beyond, {refused} polls refused");
}

/// A part that takes longer for more bytes: nobody waits for the short ones as long as for the long ones.
#[test]
fn write_cycles_of_very_different_lengths_lead_to_the_shortest() {
    let mut bench = Bench::learning();
    bench.pages(16, 3_000);
    let mut beyond_us = 0;
    for turn in 0..128 {
        beyond_us += bench.pages(1, [600, 4_800][turn % 2]).0;
    }
    assert!(beyond_us / 128 <= 600 / 4, "{} us beyond on average", beyond_us / 128);
}

/// The worst of the pages with the shorter of two write cycles, of which the longer comes so many times in a row.
fn worst_of_the_short_us(bench: &mut Bench, (short_us, times): (u64, usize), (long_us, in_a_row): (u64, usize)) -> u64 {
    (0..12 * (times + in_a_row))
        .map(|turn| {
            let short = turn % (times + in_a_row) < times;
            let (beyond_us, _) = bench.pages(1, if short { short_us } else { long_us });
            if short { beyond_us } else { 0 }
        })
        .max()
        .unwrap()
}

#[test]
fn some_longer_write_cycles_in_a_row_do_not_lengthen_the_wait_and_many_do_by_the_shortest_of_them() {
    for (long_us, in_a_row) in [(4_800, 1), (4_800, 2), (2_500, 3)] {
        let mut bench = Bench::learning();
        bench.pages(32, 1_000);
        let worst_us = worst_of_the_short_us(&mut bench, (1_000, 12), (long_us, in_a_row));
        assert!(worst_us <= 4 * POLL_US, "{in_a_row} in a row: {worst_us} us");
    }
    for times in 1..4 {
        let mut bench = Bench::learning();
        bench.pages(32, 600);
        let worst_us = worst_of_the_short_us(&mut bench, (2_000, times), (4_000, 1));
        assert!(worst_us <= 1_000, "every {times}: {worst_us} us");
    }
}

#[test]
fn it_gives_up_no_earlier_than_without() {
    let limit_us = 5_000 * 125 / 100;
    for (cycle_us, serves) in [(limit_us - POLL_US, true), (20_000, false)] {
        for options in [Options::new(), Options::new().with_learning(true)] {
            let mut bench = Bench::new(options);
            bench.pages(16, 3_000);
            bench.chip.borrow_mut().cycle_us = cycle_us;
            match bench.driver.write(0, &[1; 32]) {
                Ok(()) => assert!(serves, "{options:?}"),
                Err(Error::WriteCycleOverrun { waited_us, .. }) => {
                    assert!(!serves && u64::from(waited_us) >= limit_us, "{options:?}: {waited_us}");
                }
                Err(error) => panic!("{options:?}: {error}"),
            }
        }
    }
}

#[test]
fn what_was_learned_is_never_longer_than_the_longest_write_cycle() {
    let gives_up_us = [Options::new(), Options::new().with_learning(true)].map(|options| {
        let mut bench = Bench::new(options);
        bench.pages(64, 5_000);
        let from_us = bench.chip.borrow().now_us;
        bench.chip.borrow_mut().cycle_us = 1_000_000;
        assert!(bench.driver.write(0, &[1; 32]).is_err());
        bench.chip.borrow().now_us - from_us
    });
    assert!(gives_up_us[1] <= gives_up_us[0] + 5_000, "{gives_up_us:?}");
}
