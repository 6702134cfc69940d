//! The planner against brute force: every offset, every length, several limits, on small geometries.

use crate::common::{KBIT_1, KBIT_16, KBIT_1024_TOP, KBIT_2048, ZERO_BYTE, part};
use pagewise_driver::plan::{Action, Job, Plan, PlanError, State};
use pagewise_driver::{Chunk, Config, Geometry, Options, Parameters};

/// The oracle: a byte opens a new access where a block begins or the access before it is full.
fn oracle(block: usize, offset: usize, length: usize, most: usize) -> Vec<(usize, usize)> {
    let mut cuts: Vec<(usize, usize)> = Vec::new();
    for i in 0..length {
        match cuts.last_mut() {
            Some((_, count)) if !(offset + i).is_multiple_of(block) && *count < most => *count += 1,
            _ => cuts.push((i, 1)),
        }
    }
    cuts
}

/// Offset that device address and header name, worked out without the driver's arithmetic.
fn decode(p: &Parameters, device: u8, header: &[u8]) -> usize {
    let block = usize::from(device - p.device_address) >> p.block_select_shift;
    header.iter().fold(block, |sum, byte| sum * 256 + usize::from(*byte))
}

fn check(geometry: &Geometry, block: u32, chunks: impl Iterator<Item = Chunk>, offset: u32, length: usize, max: usize) {
    let p = geometry.parameters();
    let most = max.saturating_sub(usize::from(p.word_address_bytes));
    let chunks: Vec<Chunk> = chunks.collect();
    let cuts: Vec<(usize, usize)> = chunks.iter().map(|c| (c.range.start, c.range.len())).collect();
    let expected = if most == 0 { vec![] } else { oracle(block as usize, offset as usize, length, most) };
    assert_eq!(cuts, expected, "offset {offset}, length {length}, max {max}, {p:?}");
    for chunk in chunks {
        let at = offset as usize + chunk.range.start;
        assert_eq!(chunk.offset as usize, at);
        assert_eq!(chunk.header.len(), usize::from(p.word_address_bytes));
        assert_eq!(decode(&p, chunk.device_address, chunk.header.as_bytes()), at);
    }
}

fn check_all(geometry: &Geometry, max: usize) {
    let capacity = geometry.capacity_bytes();
    for offset in 0..=capacity {
        for length in 0..=(capacity - offset) as usize {
            let page = geometry.page_bytes();
            check(geometry, page, geometry.write_chunks(offset, length, max), offset, length, max);
            let block = geometry.sequential_read_bytes();
            check(geometry, block, geometry.read_chunks(offset, length, max), offset, length, max);
        }
    }
}

#[test]
fn chunks_match_brute_force_for_all_offsets_and_lengths_of_small_parts() {
    for (capacity, page, block) in [(16, 1, 16), (16, 4, 8), (32, 8, 32), (64, 16, 16), (16, 16, 4)] {
        let p = part(capacity, page, 1, 0).with_sequential_read_bytes(block);
        for bytes in 1..=3 {
            let geometry = Geometry::new(p.with_word_address_bytes(bytes));
            for max in [0, 1, 2, 3, 4, 5, 7, 10, usize::MAX] {
                check_all(&geometry, max);
            }
        }
    }
}

#[test]
fn chunks_match_brute_force_on_the_part_without_word_address_bytes() {
    for max in [0, 1, 3, usize::MAX] {
        check_all(&ZERO_BYTE, max);
    }
}

#[test]
fn chunks_match_brute_force_around_block_borders() {
    for geometry in [KBIT_16, KBIT_1024_TOP, KBIT_2048] {
        let capacity = geometry.capacity_bytes();
        for border in (0..=capacity).step_by(256) {
            for offset in border.saturating_sub(3)..=(border + 3).min(capacity) {
                for length in [0, 1, 2, 3, 4, 5, 16, 17, 255, 256, 257, 600] {
                    for max in [4, 32, 255, usize::MAX] {
                        if geometry.contains(offset, length) {
                            let (page, block) = (geometry.page_bytes(), geometry.sequential_read_bytes());
                            check(&geometry, page, geometry.write_chunks(offset, length, max), offset, length, max);
                            check(&geometry, block, geometry.read_chunks(offset, length, max), offset, length, max);
                        }
                    }
                }
            }
        }
    }
}

#[test]
fn block_select_bits_ride_where_the_part_has_them() {
    let place = KBIT_16.locate(0x7FF);
    assert_eq!((place.device_address, place.header.as_bytes()), (0x57, [0xFF].as_slice()));
    assert!(!place.header.is_empty());
    let place = KBIT_1024_TOP.locate(0x1_2345);
    assert_eq!((place.device_address, place.header.as_bytes()), (0x54, [0x23, 0x45].as_slice()));
    let place = KBIT_2048.locate(0x3_1234);
    assert_eq!((place.device_address, place.header.as_bytes()), (0x50, [0x03, 0x12, 0x34].as_slice()));
    let place = ZERO_BYTE.locate(0x6B);
    assert_eq!((place.device_address, place.header.is_empty()), (0x6B, true));
}

#[test]
fn a_request_beyond_the_part_gives_no_chunk_and_no_plan() {
    assert_eq!(KBIT_1.write_chunks(120, 9, usize::MAX).count(), 0);
    assert_eq!(KBIT_1.read_chunks(129, 0, usize::MAX).count(), 0);
    let config = Config::new(KBIT_1, &Options::new(), 9);
    for job in [Job::Read, Job::Write, Job::WriteVerified, Job::Compare, Job::Update] {
        let error = Plan::new(&config, &mut State::new(), job, 120, 9).unwrap_err();
        assert_eq!(error, PlanError::OutOfRange { offset: 120, length: 9, capacity: 128 });
    }
}

#[test]
fn a_zero_length_inside_the_part_is_done_at_once_even_without_room_for_data() {
    let config = Config::new(KBIT_1, &Options::new(), 0);
    for offset in 0..=128 {
        for job in [Job::Read, Job::Write, Job::WriteVerified, Job::Compare, Job::Update] {
            assert_eq!(Plan::new(&config, &mut State::new(), job, offset, 0).unwrap().step().action, Action::Done);
        }
    }
}

#[test]
fn no_room_for_data_is_an_error_that_names_what_is_needed() {
    let config = Config::new(KBIT_2048, &Options::new().with_split_pages(true), 3);
    let error = Plan::new(&config, &mut State::new(), Job::Write, 0, 1).unwrap_err();
    assert_eq!(error, PlanError::TransferTooSmall { needed: 259 });
    assert!(Plan::new(&config, &mut State::new(), Job::Read, 0, 1).is_ok(), "a read needs no buffer");
}
