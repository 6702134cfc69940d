//! A queue made for NOR flash (the `sequential-storage` crate) on `MultiwriteFlash` on simulated parts, its supply cut at
//! random times, twice in a row: what was pushed and acknowledged comes out once and in order. The page is the word, as the
//! documentation of `FlashLike` demands. (Its map is in `flash_map_under_cuts.rs`.)

use std::collections::VecDeque;

use pagewise_driver::{AsyncEeprom, MultiwriteFlash, Options};
use pagewise_part::card::Catalogue;
use pagewise_simulator::{
    AsyncRigBus, ChipId, CycleTime, PowerUp, Rig, RigConfig, RigDelay, SupplyProfile, TornModel, block_on,
};
use pagewise_tests::search::{scaled, seed};
use pagewise_tests::seat::Seat;
use sequential_storage::cache::{Cache, CacheImpl};
use sequential_storage::queue::{QueueConfig, QueueStorage};

type Flash<const PAGE: usize, const UNIT: usize> = MultiwriteFlash<AsyncEeprom<AsyncRigBus, RigDelay, 259>, PAGE, UNIT>;

struct Bench<const PAGE: usize, const UNIT: usize> {
    seat: Seat,
    rig: Rig,
    start: u32,
}

/// What must be in the queue, and what was under way when the supply was lost: it may be there or not.
#[derive(Debug, Default)]
struct Held {
    items: VecDeque<u8>,
    pushing: Vec<u8>,
    popping: Vec<u8>,
}

impl<const PAGE: usize, const UNIT: usize> Bench<PAGE, UNIT> {
    fn new(id: &str, model: TornModel, draw: u64) -> Self {
        let catalogue = Catalogue::embedded().unwrap();
        let seat = Seat::new(catalogue.find(id).unwrap(), 0, 0);
        assert_eq!(seat.geometry.page_bytes() as usize, PAGE, "{id}");
        let rig = Rig::new(RigConfig::default().with_scl_hz(seat.scl_hz).with_supply_mv(seat.supply_mv));
        rig.set_trace(false);
        let chip: ChipId = rig.attach_with(seat.card.chip_model(), seat.straps(), PowerUp::Erased);
        rig.set_write_cycle(chip, CycleTime::Exact(200_000));
        rig.set_torn_model(model, draw);
        let start = seat.writable.start.next_multiple_of(UNIT as u32);
        Self { seat, rig, start }
    }

    fn queue(&self) -> QueueStorage<Flash<PAGE, UNIT>, impl CacheImpl<()>> {
        let eeprom = AsyncEeprom::new(self.rig.async_bus(), self.rig.delay(), self.seat.geometry, Options::new());
        let range = self.start..self.start + 3 * UNIT as u32;
        QueueStorage::new(MultiwriteFlash::new(eeprom), QueueConfig::new(range), Cache::new_uncached())
    }

    fn pop(&self) -> Result<Option<u8>, ()> {
        block_on(self.queue().pop(&mut [0; 64])).map(|item| item.map(|bytes| bytes[0])).map_err(drop)
    }

    /// Pushes three and pops two, and so on, until the supply is lost. `Err` says what is wrong.
    fn work(&self, held: &mut Held, next: &mut u8) -> Result<(), String> {
        for step in 0..20u8 {
            if step % 5 < 3 {
                let item = *next;
                *next += 1;
                if block_on(self.queue().push(&[item; 4], false)).is_err() {
                    held.pushing.push(item);
                    return Ok(());
                }
                held.items.push_back(item);
                continue;
            }
            let oldest = held.items.front().copied();
            match self.pop() {
                // What was under way at an earlier cut may come too.
                Ok(Some(found)) if held.pushing.contains(&found) || held.popping.contains(&found) => {}
                Ok(found) if found == oldest => drop(held.items.pop_front()),
                Ok(found) => return Err(format!("{found:?} in place of {oldest:?}: {held:?}")),
                Err(()) => {
                    held.popping.extend(held.items.pop_front());
                    return Ok(());
                }
            }
        }
        Ok(())
    }

    /// Two cuts at random times, then all that is left.
    fn run(&self, mut random: impl FnMut(u64) -> u64) -> Result<usize, String> {
        let (mut held, mut next, mut cuts) = (Held::default(), 0, 0);
        for _ in 0..2 {
            let ns = self.rig.now_ns() + random(40_000_000);
            self.rig.set_supply_profile(&SupplyProfile::new().step(ns, 0));
            self.work(&mut held, &mut next)?;
            cuts += usize::from(self.rig.supply_mv() == 0);
            self.rig.set_supply_profile(&SupplyProfile::new());
            self.rig.restore_supply_mv(self.seat.supply_mv);
        }
        let mut found = Vec::new();
        while let Some(item) = self.pop().map_err(|()| format!("cannot be read after the cuts: {held:?}"))? {
            found.push(item);
        }
        found.retain(|item| !held.pushing.contains(item) && !held.popping.contains(item));
        if held.items == found { Ok(cuts) } else { Err(format!("{found:?} came, held was {held:?}")) }
    }
}

fn explore<const PAGE: usize, const UNIT: usize>(id: &str) -> usize {
    let mut state = seed();
    let mut random = move |below: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    let mut cuts = 0;
    // Bits that read differently each time are outside of what such crates expect.
    for model in TornModel::ALL.into_iter().filter(|model| *model != TornModel::Unstable) {
        for draw in 0..u64::from(scaled(12)) {
            let bench = Bench::<PAGE, UNIT>::new(id, model, draw);
            match bench.run(&mut random) {
                Ok(count) => cuts += count,
                Err(wrong) => panic!("{id}, {model:?}, draw {draw}, seed {:#x}: {wrong}", seed()),
            }
        }
    }
    cuts
}

#[test]
fn a_queue_keeps_what_was_acknowledged_where_a_word_is_a_page() {
    println!("seed {:#x}", seed());
    let cuts = explore::<16, 128>("24lc16b") + explore::<32, 256>("24lc32a");
    println!("{cuts} cuts");
    assert!(cuts > 60, "{cuts}");
}
