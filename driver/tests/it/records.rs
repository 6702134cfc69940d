//! The record store: format, errors, and the loss of supply in every page write, once and twice, under every torn
//! model.
#![cfg(feature = "records")]

use std::cell::RefCell;
use std::rc::Rc;

use crate::common::*;
use pagewise_driver::records::{LayoutError, RecordError, RecordLayout, RecordSpec, RecordStore, Stored};
use pagewise_driver::{Eeprom, Geometry, Options};

const A: u8 = 0x21;
const B: u8 = 0x42;
const COUNTER: u8 = 0x63;

const SPECS: [RecordSpec; 3] = [RecordSpec::new(A, 10, 3), RecordSpec::new(B, 40, 4), RecordSpec::new(COUNTER, 8, 5)];

type Store = RecordStore<'static, Eeprom<Bus, Clock, 67>, 53>;

fn store(geometry: Geometry, chip: &Rc<RefCell<FakeChip>>) -> Store {
    let layout = RecordLayout::try_new(&geometry, start(geometry), &SPECS).unwrap();
    let parts = vec![chip.clone()];
    RecordStore::new(
        Eeprom::new(Bus(parts.clone()), Clock(parts), geometry, Options::new().with_split_pages(true)),
        layout,
    )
}

fn start(geometry: Geometry) -> u32 {
    if geometry.page_bytes() == geometry.capacity_bytes() { 3 } else { geometry.page_bytes() }
}

/// A part with unknown contents.
fn fresh(geometry: Geometry) -> Rc<RefCell<FakeChip>> {
    let chip = rig(geometry.parameters()).0;
    // A fast part: fewer polls, quicker tests.
    chip.borrow_mut().cycle_us = 30;
    chip
}

#[test]
fn format_1_is_as_documented_byte_by_byte() {
    let chip = fresh(KBIT_32);
    let mut records = store(KBIT_32, &chip);
    records.write(A, 7, b"gain").unwrap();
    let head = [0xB1, A, 7, 4, 0, 1, 0, 0, 0];
    assert_eq!(chip.borrow().memory[32..41], head);
    assert_eq!(chip.borrow().memory[41..45], *b"gain");
    // CRC-32/ISO-HDLC of head and payload, bit by bit.
    let mut crc = 0xFFFF_FFFFu32;
    for byte in head.iter().chain(b"gain") {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { crc >> 1 ^ 0xEDB8_8320 } else { crc >> 1 };
        }
    }
    assert_eq!(chip.borrow().memory[45..49], (!crc).to_le_bytes());
    // The second write goes to the next slot, the fourth to the first again.
    records.write(A, 7, b"2").unwrap();
    assert_eq!(chip.borrow().memory[64..70], [0xB1, A, 7, 1, 0, 2]);
    records.write(A, 7, b"3").unwrap();
    records.write(A, 7, b"4").unwrap();
    assert_eq!(chip.borrow().memory[32..38], [0xB1, A, 7, 1, 0, 4]);
    let layout = RecordLayout::try_new(&KBIT_32, 32, &SPECS).unwrap();
    assert_eq!(layout.end(), 32 + 3 * 32 + 4 * 64 + 5 * 32);
}

#[test]
fn values_come_back_with_version_length_and_sequence_in_a_new_store() {
    for geometry in [KBIT_16, KBIT_32, KBIT_2048, FRAM] {
        let chip = fresh(geometry);
        let mut payload = [0; 40];
        for round in 1..20u8 {
            assert_eq!(store(geometry, &chip).read(A, &mut payload).is_ok(), round > 1);
            store(geometry, &chip).write(A, round, &[round; 10]).unwrap();
            store(geometry, &chip).write(B, 0, &vec![round; usize::from(round) * 2]).unwrap();
            let stored = store(geometry, &chip).read(A, &mut payload).unwrap();
            assert_eq!(stored, Stored { version: round, length: 10, sequence: u32::from(round) });
            assert_eq!(payload[..10], [round; 10]);
            let stored = store(geometry, &chip).read(B, &mut payload).unwrap();
            assert_eq!(payload[..stored.length], vec![round; usize::from(round) * 2]);
        }
    }
}

#[test]
fn a_counter_counts_and_spreads_its_writes_over_its_ring() {
    let chip = fresh(KBIT_32);
    let mut records = store(KBIT_32, &chip);
    assert_eq!(records.count(COUNTER), Ok(0));
    for value in 1..=23 {
        assert_eq!(records.increment(COUNTER), Ok(value));
    }
    assert_eq!(store(KBIT_32, &chip).count(COUNTER), Ok(23));
    let writes = |page: usize| {
        let header = (page * 32).to_be_bytes()[6..].to_vec();
        let count =
            |call: &&Call| matches!(call, Call::Write(_, bytes, true) if bytes[..2] == header && bytes.len() > 2);
        chip.borrow().calls.iter().filter(count).count()
    };
    // Five slots of one page each, behind 3 pages of A and 8 pages of B.
    let spread: Vec<usize> = (12..17).map(writes).collect();
    assert_eq!(spread, [5, 5, 5, 4, 4]);
}

#[test]
fn bad_requests_are_errors_of_their_own_and_send_nothing() {
    let chip = fresh(KBIT_32);
    let mut records = store(KBIT_32, &chip);
    assert_eq!(records.read(9, &mut []), Err(RecordError::UnknownId { id: 9 }));
    assert_eq!(records.write(A, 0, &[0; 11]), Err(RecordError::TooLong { length: 11, allowed: 10 }));
    let layout = RecordLayout::try_new(&KBIT_32, 32, &SPECS).unwrap();
    let mut small = RecordStore::<_, 52>::new(records.release(), layout);
    assert_eq!(small.write(B, 0, &[1]), Err(RecordError::BufferTooSmall { needed: 53 }));
    assert_eq!(small.erase(B), Err(RecordError::BufferTooSmall { needed: 53 }));
    assert_eq!(chip.borrow().calls, []);
    let mut records = RecordStore::<_, 53>::new(small.release(), layout);
    assert_eq!(records.read(A, &mut []), Err(RecordError::NotFound));
    records.write(A, 0, &[1; 10]).unwrap();
    assert_eq!(records.read(A, &mut [0; 9]), Err(RecordError::BufferTooSmall { needed: 10 }));
    records.write(COUNTER, 0, &[1; 7]).unwrap();
    assert_eq!(records.increment(COUNTER), Err(RecordError::NotACounter));
    records.write(COUNTER, 0, &u64::MAX.to_le_bytes()).unwrap();
    assert_eq!(records.increment(COUNTER), Err(RecordError::NotACounter));
    records.erase(COUNTER).unwrap();
    assert_eq!(records.count(COUNTER), Ok(0));
}

/// Firmware for several parts: slots of the largest page lie alike on all of them, and no part takes smaller ones than its own.
#[test]
fn slots_of_the_largest_page_lie_alike_on_parts_of_every_page() {
    let (small, large) = (KBIT_32, KBIT_32.parameters().with_page_bytes(128));
    let large = Geometry::new(large);
    let on = |geometry: &Geometry, page: u32| RecordLayout::try_paged(geometry, page, 256, &SPECS);
    assert_eq!(on(&small, 128).unwrap().end(), on(&large, 128).unwrap().end());
    assert_eq!(on(&large, 128), RecordLayout::try_new(&large, 256, &SPECS));
    assert_ne!(on(&small, 128).unwrap().end(), RecordLayout::try_new(&small, 256, &SPECS).unwrap().end());
    for (page, own, geometry) in [(32, 128, &large), (96, 32, &small), (0, 32, &small)] {
        let refused = LayoutError::PageTooSmall { slot_page_bytes: page, page_bytes: own };
        assert_eq!(on(geometry, page), Err(refused));
        assert!(refused.to_string().contains(&format!("{page} bytes, page {own} bytes")));
    }
    // What is written with the one is read with the other.
    let chip = fresh(small);
    let store = |layout: RecordLayout<'static>| {
        let parts = vec![chip.clone()];
        let eeprom: Eeprom<Bus, Clock, 67> =
            Eeprom::new(Bus(parts.clone()), Clock(parts), small, Options::new().with_split_pages(true));
        RecordStore::<_, 53>::new(eeprom, layout)
    };
    store(on(&small, 128).unwrap()).write(B, 1, b"alike").unwrap();
    let mut payload = [0; 40];
    let found = store(on(&large, 128).unwrap()).read(B, &mut payload).unwrap();
    assert_eq!(&payload[..found.length], b"alike");
}

#[test]
fn layouts_that_do_not_fit_are_refused_with_numbers() {
    let refused = |start, specs: &[RecordSpec]| RecordLayout::try_new(&KBIT_1, start, specs).unwrap_err();
    assert_eq!(refused(4, &[]), LayoutError::StartNotAtPage { offset: 4, page_bytes: 8 });
    let one = RecordSpec::new(1, 3, 3);
    assert_eq!(refused(0, &[one, one]), LayoutError::DuplicateId { id: 1 });
    assert_eq!(refused(0, &[RecordSpec::new(1, 3, 2)]), LayoutError::TooFewSlots { id: 1, slots: 2 });
    let large = LayoutError::TooLarge { end: 136, capacity_bytes: 128 };
    assert_eq!(refused(88, &[one]), large);
    let huge = RecordSpec::new(1, u16::MAX, u16::MAX);
    assert!(matches!(refused(0, &[huge]), LayoutError::TooLarge { .. }));
    assert!(RecordLayout::try_new(&KBIT_1, 80, &[one]).is_ok());
}

#[test]
fn damage_to_any_single_byte_of_the_newest_slot_gives_the_value_before() {
    let chip = fresh(KBIT_32);
    let mut records = store(KBIT_32, &chip);
    records.write(A, 1, &[1; 10]).unwrap();
    records.write(A, 2, &[2; 10]).unwrap();
    for at in 64..64 + 23 {
        for flip in [0x01, 0x80, 0xFF] {
            chip.borrow_mut().memory[at] ^= flip;
            let mut payload = [0; 10];
            assert_eq!(store(KBIT_32, &chip).read(A, &mut payload).unwrap().version, 1, "byte {at}, {flip:#04x}");
            chip.borrow_mut().memory[at] ^= flip;
        }
    }
}

// ---- loss of supply ----

/// What a test knows: the last acknowledged value of each record and those that were under way since.
#[derive(Debug, Clone, Default)]
struct Known {
    acknowledged: [Option<u64>; 3],
    under_way: [Vec<u64>; 3],
}

/// One write of the workload: which record, and a value that names the write.
fn write(records: &mut Store, which: usize, value: u64) -> bool {
    match which {
        0 => records.write(A, 1, &value.to_le_bytes()).is_ok(),
        1 => records.write(B, 1, &[value.to_le_bytes(); 5].concat()).is_ok(),
        _ => records.increment(COUNTER).is_ok(),
    }
}

fn value(records: &mut Store, which: usize) -> Option<u64> {
    let mut payload = [0; 40];
    match which {
        0 | 1 => {
            let stored = records.read([A, B][which], &mut payload).ok()?;
            for part in payload[..stored.length].chunks(8) {
                assert_eq!(part, &payload[..8], "a mixed value");
            }
            payload.first_chunk().map(|bytes| u64::from_le_bytes(*bytes))
        }
        _ => records.count(COUNTER).ok().filter(|count| *count > 0),
    }
}

fn check(records: &mut Store, known: &Known, id: &str) {
    for which in 0..3 {
        let found = value(records, which);
        let (acknowledged, under_way) = (known.acknowledged[which], &known.under_way[which]);
        let good = found == acknowledged || found.is_some_and(|found| under_way.contains(&found));
        assert!(good, "{id}: record {which} holds {found:?}, acknowledged {acknowledged:?}, under way {under_way:?}");
    }
}

/// Runs writes until the supply is lost or `count` are done; keeps the books.
fn work(records: &mut Store, known: &mut Known, from: u64, count: u64) {
    for step in from..from + count {
        let which = (step % 3) as usize;
        // What a counter will hold follows from what it holds now, which may be a value that was under way.
        let next = if which == 2 { value(records, 2).unwrap_or(0) + 1 } else { 1000 + step };
        known.under_way[which].push(next);
        if !write(records, which, next) {
            return;
        }
        known.acknowledged[which] = Some(next);
        known.under_way[which].clear();
    }
}

const MODELS: [Torn; 10] = [
    Torn::Old,
    Torn::New,
    Torn::Prefix(1),
    Torn::Prefix(9),
    Torn::Prefix(20),
    Torn::Subset,
    Torn::Erased,
    Torn::ErasedPage,
    Torn::HalfProgrammed,
    Torn::Unstable,
];

fn page_4() -> Geometry {
    Geometry::new(KBIT_16.parameters().with_page_bytes(4))
}

#[test]
fn one_cut_in_any_page_write_under_any_torn_model_loses_no_acknowledged_value() {
    for geometry in [page_4(), KBIT_16, KBIT_32, KBIT_2048] {
        for torn in MODELS {
            for cut in 0..40 {
                let id = format!("page {}, {torn:?}, cut {cut}", geometry.page_bytes());
                let chip = fresh(geometry);
                let mut known = Known::default();
                chip.borrow_mut().cut = Some((cut, torn));
                chip.borrow_mut().seed = cut as u64;
                work(&mut store(geometry, &chip), &mut known, 0, 20);
                chip.borrow_mut().power_up();
                for _ in 0..3 {
                    check(&mut store(geometry, &chip), &known, &id);
                }
                work(&mut store(geometry, &chip), &mut known, 100, 9);
                assert!(known.under_way.iter().all(Vec::is_empty), "{id}: writes work again");
                check(&mut store(geometry, &chip), &known, &id);
            }
        }
    }
}

/// Two cuts, at every pair of places near each other, under every pair of models.
fn two_cuts(geometry: Geometry, alias: Option<(usize, usize, usize)>) {
    for first in MODELS {
        for second in MODELS {
            for cuts in 0..160 {
                let (cut, again) = (cuts % 20, cuts / 20);
                let id = format!("page {}, {first:?} at {cut}, {second:?} {again} later", geometry.page_bytes());
                let chip = fresh(geometry);
                let mut known = Known::default();
                chip.borrow_mut().alias = alias;
                chip.borrow_mut().cut = Some((cut, first));
                work(&mut store(geometry, &chip), &mut known, 0, 20);
                chip.borrow_mut().power_up();
                // The worst case: the cut page reads well now, and badly after the second cut.
                chip.borrow_mut().steady_unstable = true;
                let next = chip.borrow().page_writes + again;
                chip.borrow_mut().cut = Some((next, second));
                work(&mut store(geometry, &chip), &mut known, 102, 20);
                chip.borrow_mut().steady_unstable = false;
                chip.borrow_mut().power_up();
                for _ in 0..3 {
                    check(&mut store(geometry, &chip), &known, &id);
                }
                work(&mut store(geometry, &chip), &mut known, 200, 9);
                check(&mut store(geometry, &chip), &known, &id);
            }
        }
    }
}

#[test]
fn two_cuts_in_a_row_lose_no_acknowledged_value_even_if_the_first_page_reads_well_once() {
    two_cuts(page_4(), None);
    two_cuts(KBIT_32, None);
}

#[test]
#[should_panic(expected = "acknowledged Some")]
fn canary_two_cuts_find_out_a_ring_that_is_too_short() {
    // The third slot of A is the first one.
    two_cuts(KBIT_32, Some((96, 128, 64)));
}

#[test]
#[should_panic(expected = "acknowledged Some")]
fn canary_two_cuts_find_out_a_write_to_the_slot_in_use() {
    // All slots of the counter are one.
    let counter = 32 + 3 * 32 + 4 * 64;
    two_cuts(KBIT_32, Some((counter + 32, counter + 64, 32)));
}

#[test]
fn a_cut_touches_no_page_of_another_record() {
    for torn in MODELS {
        for cut in 0..6 {
            let chip = fresh(KBIT_32);
            let mut records = store(KBIT_32, &chip);
            for step in 0..12 {
                assert!(write(&mut records, step % 3, 5));
            }
            let before = chip.borrow().memory.clone();
            let next = chip.borrow().page_writes + cut;
            chip.borrow_mut().cut = Some((next, torn));
            while write(&mut records, 1, 6) {}
            // B lies behind 3 pages of A and takes 8 pages.
            let (start, end) = (32 + 3 * 32, 32 + 3 * 32 + 4 * 64);
            let after = chip.borrow().memory.clone();
            assert_eq!((&before[..start], &before[end..]), (&after[..start], &after[end..]));
        }
    }
}

#[test]
fn garbage_is_never_taken_for_a_record_and_never_stops_a_write() {
    let mut seed = 7u64;
    let mut random = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (seed >> 40) as u8
    };
    for round in 0..300 {
        let chip = fresh(KBIT_32);
        for byte in &mut chip.borrow_mut().memory {
            // Plenty of plausible heads: format, identity, short lengths.
            *byte =
                if random() < 128 { [0xB1, A, B, COUNTER, 0, 4, 8, 0xFF][usize::from(random() % 8)] } else { random() };
        }
        let mut records = store(KBIT_32, &chip);
        assert_eq!(records.read(A, &mut [0; 10]), Err(RecordError::NotFound), "round {round}");
        records.write(A, 1, &[round as u8; 10]).unwrap();
        let mut back = [0; 10];
        records.read(A, &mut back).unwrap();
        assert_eq!(back, [round as u8; 10]);
    }
}
