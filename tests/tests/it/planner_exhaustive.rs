//! The planner against a brute-force oracle: for every card of up to 16 kbit all offsets and lengths, up to 64 kbit all
//! offsets with all lengths of up to four pages and to the end, for larger cards all offsets around every boundary with
//! lengths up to two pages.
//!
//! The oracle is one line (`starts`): a byte begins a new access if it is the first one, if it lies on a boundary, or
//! if the access before it is full. Where a byte lies on the wire is looked up in a map that was made by taking apart
//! every address as the part does. Neither shares code with the driver.

use std::collections::BTreeMap;

use pagewise_driver::plan::{Action, Job, Outcome, Plan, State};
use pagewise_driver::{Chunk, Config, Geometry, Options};
use pagewise_part::card::{Card, Catalogue};
use pagewise_tests::wire_map::{self, Place};

/// Up to here every offset and length is tried: 16 kbit = 2048 bytes.
const EXHAUSTIVE_BYTES: u32 = 2048;

/// Up to here every offset is tried, with lengths of up to four pages and to the end: 64 kbit = 8192 bytes.
const EVERY_OFFSET_BYTES: u32 = 8192;

/// Cards whose planner cannot differ are tried once: same geometry and same places.
fn geometries() -> Vec<(String, Geometry, Vec<Place>)> {
    let catalogue = Catalogue::embedded().unwrap();
    let mut seen: BTreeMap<String, (String, Geometry, Vec<Place>)> = BTreeMap::new();
    for card in catalogue.cards() {
        for pins in [strapped(card, false), strapped(card, true)] {
            let geometry = card.geometry(pins).unwrap();
            let places = wire_map::places(card, pins);
            assert_eq!(places.len(), geometry.capacity_bytes() as usize, "{}: what can be reached", card.id);
            // The write cycle has no part in where a request is cut.
            let mut key = geometry.parameters();
            key.write_cycle_us = 0;
            let key = format!("{key:?} {:?}", card.device_bits());
            seen.entry(key).or_insert_with(|| (card.id.clone(), geometry, places));
        }
    }
    seen.into_values().collect()
}

fn strapped(card: &Card, high: bool) -> [bool; 3] {
    let mut pins = [high; 3];
    for (pin, level) in &card.required_straps {
        pins[usize::from(*pin)] = *level;
    }
    pins
}

/// The oracle.
fn starts(offset: u32, length: usize, unit: u32, most: usize) -> Vec<usize> {
    let mut last = 0;
    (0..length)
        .filter(|i| {
            let new = *i == 0 || (offset + *i as u32).is_multiple_of(unit) || i - last == most;
            if new {
                last = *i
            }
            new
        })
        .collect()
}

/// Compares the accesses of one request with the starts of the oracle, which may be those of a longer request.
fn check(
    places: &[Place],
    offset: u32,
    length: usize,
    starts: &[usize],
    chunks: impl Iterator<Item = Chunk>,
) -> Result<(), String> {
    let mut wanted = starts.iter().copied().take_while(|start| *start < length).peekable();
    for chunk in chunks {
        let Some(start) = wanted.next() else { return Err(format!("{chunk:?} is one too many")) };
        let end = wanted.peek().copied().unwrap_or(length);
        let place = &places[offset as usize + start];
        let right = chunk.range == (start..end)
            && chunk.offset == offset + start as u32
            && chunk.device_address == place.device_address
            && chunk.header.as_bytes() == place.header;
        if !right {
            return Err(format!("{chunk:?}, wanted {start}..{end} at {place:?}"));
        }
    }
    wanted.next().map_or(Ok(()), |start| Err(format!("nothing from byte {start} on")))
}

fn check_both(
    geometry: &Geometry,
    places: &[Place],
    offset: u32,
    lengths: std::ops::RangeInclusive<usize>,
    limit: usize,
) -> Result<u64, String> {
    let room = limit.saturating_sub(usize::from(geometry.word_address_bytes()));
    let page = starts(offset, *lengths.end(), geometry.page_bytes(), room);
    let block = starts(offset, *lengths.end(), geometry.sequential_read_bytes(), room);
    let mut requests = 0;
    for length in lengths {
        let at = |reason| format!("{length} bytes at {offset:#06x}, at most {limit} per call: {reason}");
        check(places, offset, length, &page, geometry.write_chunks(offset, length, limit))
            .map_err(|r| at(format!("write: {r}")))?;
        check(places, offset, length, &block, geometry.read_chunks(offset, length, limit))
            .map_err(|r| at(format!("read: {r}")))?;
        requests += 2;
    }
    Ok(requests)
}

/// Runs `work` on every item, on two threads; panics with the first failure.
fn on_two_threads<T: Sync>(items: &[T], work: impl Fn(&T) -> Result<u64, String> + Sync) -> u64 {
    let next = std::sync::atomic::AtomicUsize::new(0);
    let run = || {
        let mut requests = 0;
        while let Some(item) = items.get(next.fetch_add(1, std::sync::atomic::Ordering::Relaxed)) {
            requests += work(item)?;
        }
        Ok(requests)
    };
    std::thread::scope(|scope| {
        let threads = [scope.spawn(run), scope.spawn(run)];
        threads
            .into_iter()
            .map(|thread| thread.join().unwrap().unwrap_or_else(|reason: String| panic!("{reason}")))
            .sum()
    })
}

#[test]
fn every_request_on_every_card_up_to_16_kbit_is_cut_as_the_oracle_says() {
    let small: Vec<_> = geometries().into_iter().filter(|(_, g, _)| g.capacity_bytes() <= EXHAUSTIVE_BYTES).collect();
    let requests = on_two_threads(&small, |(card, geometry, places)| {
        let capacity = geometry.capacity_bytes();
        (0..=capacity).try_fold(0, |sum, offset| {
            let lengths = 0..=(capacity - offset) as usize;
            check_both(geometry, places, offset, lengths, usize::MAX)
                .map(|n| sum + n)
                .map_err(|r| format!("{card}: {r}"))
        })
    });
    println!("{} geometries, {requests} requests", small.len());
    let capacities: Vec<u32> = small.iter().map(|(_, geometry, _)| geometry.capacity_bytes()).collect();
    for capacity in [128, 256, 512, 1024, 2048] {
        assert!(capacities.contains(&capacity), "no card of {capacity} bytes was tried");
    }
}

#[test]
fn every_offset_on_every_card_up_to_64_kbit_is_cut_as_the_oracle_says() {
    let bytes = EXHAUSTIVE_BYTES + 1..=EVERY_OFFSET_BYTES;
    let middle: Vec<_> = geometries().into_iter().filter(|(_, g, _)| bytes.contains(&g.capacity_bytes())).collect();
    let requests = on_two_threads(&middle, |(card, geometry, places)| {
        let capacity = geometry.capacity_bytes();
        (0..=capacity).try_fold(0, |sum, offset| {
            let to_the_end = (capacity - offset) as usize;
            let few_pages = to_the_end.min(4 * unit(geometry) as usize);
            let pages = check_both(geometry, places, offset, 0..=few_pages, usize::MAX);
            let end = check_both(geometry, places, offset, to_the_end..=to_the_end, usize::MAX);
            pages.and_then(|n| end.map(|m| sum + n + m)).map_err(|r| format!("{card}: {r}"))
        })
    });
    println!("{} geometries, {requests} requests", middle.len());
    let capacities: Vec<u32> = middle.iter().map(|(_, geometry, _)| geometry.capacity_bytes()).collect();
    assert!(capacities.contains(&4096) && capacities.contains(&8192), "{capacities:?}");
}

#[test]
fn requests_around_every_boundary_of_every_larger_card_are_cut_as_the_oracle_says() {
    let large: Vec<_> = geometries().into_iter().filter(|(_, g, _)| g.capacity_bytes() > EXHAUSTIVE_BYTES).collect();
    let requests = on_two_threads(&large, |(card, geometry, places)| {
        around_boundaries(geometry, places, usize::MAX).map_err(|reason| format!("{card}: {reason}"))
    });
    println!("{} geometries, {requests} requests", large.len());
    assert!(large.iter().any(|(_, geometry, _)| geometry.capacity_bytes() == 262_144), "no card of 2 Mbit was tried");
}

#[test]
fn requests_are_cut_at_the_longest_transfer_of_the_hal_too() {
    let all = geometries();
    on_two_threads(&all, |(card, geometry, places)| {
        let header = usize::from(geometry.word_address_bytes());
        let limits = [header + 1, header + 3, 7, 16, 32, 34, 254, 255];
        limits.into_iter().try_fold(0, |sum, limit| {
            around_boundaries_of_some_pages(geometry, places, limit)
                .map(|n| sum + n)
                .map_err(|r| format!("{card}: {r}"))
        })
    });
}

/// Offsets next to a boundary and in the middle between two.
fn offsets(geometry: &Geometry, boundary: u32, unit: u32) -> impl Iterator<Item = u32> {
    let capacity = geometry.capacity_bytes();
    let near = [-3i64, -2, -1, 0, 1, 2, i64::from(unit) / 2].map(|by| i64::from(boundary) + by);
    near.into_iter().filter_map(move |offset| u32::try_from(offset).ok()).filter(move |offset| *offset <= capacity)
}

/// A FRAM has no page to take boundaries from.
fn unit(geometry: &Geometry) -> u32 {
    geometry.page_bytes().min(geometry.sequential_read_bytes()).min(256)
}

fn around_boundaries(geometry: &Geometry, places: &[Place], limit: usize) -> Result<u64, String> {
    around(geometry, places, limit, (0..=geometry.capacity_bytes()).step_by(unit(geometry) as usize))
}

/// The pages next to a 256-byte, 64 KB or read block, the first and the last.
fn around_boundaries_of_some_pages(geometry: &Geometry, places: &[Place], limit: usize) -> Result<u64, String> {
    let (capacity, unit) = (geometry.capacity_bytes(), unit(geometry));
    let blocks = [256, 65_536, geometry.sequential_read_bytes(), capacity];
    let mut boundaries: Vec<u32> =
        blocks.into_iter().flat_map(|block| [0, block, capacity - block.min(capacity)]).collect();
    boundaries.extend([unit, unit * 2]);
    boundaries.retain(|boundary| *boundary <= capacity);
    around(geometry, places, limit, boundaries.into_iter())
}

fn around(
    geometry: &Geometry,
    places: &[Place],
    limit: usize,
    boundaries: impl Iterator<Item = u32>,
) -> Result<u64, String> {
    let mut requests = 0;
    for boundary in boundaries {
        for offset in offsets(geometry, boundary, unit(geometry)) {
            let longest = (geometry.capacity_bytes() - offset).min(2 * unit(geometry)) as usize;
            requests += check_both(geometry, places, offset, 0..=longest, limit)?;
        }
    }
    Ok(requests)
}

#[test]
fn the_plan_makes_the_accesses_that_the_cuts_name() {
    for (card, geometry, _) in geometries() {
        for limit in [usize::MAX, 17] {
            let config = Config::new(geometry, &Options::new().with_max_transfer_bytes(limit), geometry.buffer_bytes());
            let write_limit = limit.min(geometry.buffer_bytes());
            // Without word-address bytes no read is longer than a page while nobody has said what the HAL moves.
            let unstated = geometry.word_address_bytes() == 0 && limit == usize::MAX;
            let read_limit = if unstated { geometry.page_bytes() as usize } else { limit };
            let unit = unit(&geometry);
            for offset in [0, unit - 1, geometry.capacity_bytes() - unit, geometry.capacity_bytes() / 2 + unit / 2] {
                let length = (geometry.capacity_bytes() - offset).min(5 * unit) as usize;
                for (job, action, chunks) in [
                    (Job::Write, Action::Write, geometry.write_chunks(offset, length, write_limit)),
                    (Job::Read, Action::Read, geometry.read_chunks(offset, length, read_limit)),
                ] {
                    let wanted: Vec<_> = chunks.map(|chunk| (chunk.offset, chunk.range)).collect();
                    assert_eq!(
                        accesses(&config, job, action, offset, length),
                        wanted,
                        "{card} {job:?} {offset:#x} {length}"
                    );
                }
            }
        }
    }
}

/// The accesses of a plan on a part that is ready at once.
fn accesses(
    config: &Config,
    job: Job,
    action: Action,
    offset: u32,
    length: usize,
) -> Vec<(u32, std::ops::Range<usize>)> {
    let mut state = State::new();
    let mut plan = Plan::new(config, &mut state, job, offset, length).unwrap();
    let mut accesses = Vec::new();
    loop {
        let step = plan.step();
        if step.action == action {
            accesses.push((step.offset, step.start..step.start + step.length));
        } else if step.action == Action::Done {
            return accesses;
        }
        plan.complete(Outcome::Done).unwrap();
    }
}

#[test]
fn a_request_that_does_not_lie_inside_the_part_has_no_cuts() {
    for (card, geometry, _) in geometries() {
        let capacity = geometry.capacity_bytes();
        for (offset, length) in
            [(capacity, 1), (capacity - 1, 2), (0, capacity as usize + 1), (u32::MAX, 1), (1, usize::MAX)]
        {
            assert_eq!(geometry.write_chunks(offset, length, usize::MAX).count(), 0, "{card} {offset:#x} {length}");
            assert_eq!(geometry.read_chunks(offset, length, usize::MAX).count(), 0, "{card} {offset:#x} {length}");
        }
    }
}
