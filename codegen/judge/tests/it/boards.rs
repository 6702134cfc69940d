//! Random boards: mostly made for some part, with some things otherwise; and boards close to the limits of a part, where
//! an error of one shows.

use std::collections::BTreeSet;

use pagewise_base::form::word;
use pagewise_judge::board::{Board, Bus, Firmware, Region, Strap, Wait, WriteShape};
use pagewise_part::card::{BlockBitsOnRead, Card, CyclePer, Footprint, Limits, Open, Pointer, Span, Temperatures};

use pagewise_part::fact::{Basis, Fact};
use proptest::collection::vec;
use proptest::option::weighted;
use proptest::prelude::*;
use proptest::sample::{Index, select};

/// A board, the position of its fitted part among the cards, and that of a candidate.
#[derive(Debug, Clone)]
pub struct Swap {
    /// The board.
    pub board: Board,
    /// Fitted part.
    pub old: usize,
    /// Candidate.
    pub new: usize,
}

/// What a random board does otherwise than a firmware made for the fitted part.
#[derive(Debug, Clone)]
struct Otherwise {
    page_bytes: Option<u32>,
    word_address_bytes: Option<u8>,
    device_address: Option<u8>,
    block_select: Option<(u8, u8)>,
    read_cut: Option<u32>,
    max_transfer: Option<u32>,
    first_access_us: Option<u32>,
}

/// Random boards for these cards, sorted by capacity.
pub fn swaps(cards: &[Card]) -> impl Strategy<Value = Swap> + use<> {
    let cards = cards.to_vec();
    let parts = (any::<Index>(), prop_oneof![3 => (-14i32..=14).prop_map(Some), 1 => Just(None)], any::<Index>());
    let bus = (
        select(vec![1800u32, 2500, 3300, 5000]),
        prop_oneof![4 => Just(100u32), 3 => Just(400), 1 => Just(1000), 1 => Just(50)],
        proptest::sample::subsequence(vec![0x1Eu8, 0x50, 0x51, 0x54, 0x57, 0x68], 0..=2),
    );
    let pin =
        || prop_oneof![6 => Just(Strap::Gnd), 2 => Just(Strap::Vcc), 1 => Just(Strap::Gpio), 1 => Just(Strap::Open)];
    let firmware = (wait(), shape(), weighted(0.1, Just(())), otherwise());
    let footprint = prop_oneof![6 => Just(Footprint::Soic8), 1 => select(footprints())];
    let strategy = (parts, bus, [pin(), pin(), pin()], pin(), firmware, footprint, vec(region(), 1..=3));
    strategy.prop_map(move |((old, near, far), bus, straps, wp, firmware, footprint, regions)| {
        let old = old.index(cards.len());
        let new = match near {
            Some(by) => (old as i32 + by).rem_euclid(cards.len() as i32) as usize,
            None => far.index(cards.len()),
        };
        let fitted = cards[old].in_footprint(footprint);
        let (supply_mv, scl_khz, other_addresses) = bus;
        let (wait, write_shape, reads_on, otherwise) = firmware;
        let mut board = Board {
            recording: Vec::new(),
            file: String::new(),
            name: "random board".into(),
            fitted: fitted.id.clone(),
            candidates: Vec::new(),
            footprint,
            years: 10.0,
            temperature_min_c: None,
            temperature_max_c: None,
            yearly_volume: None,
            bus: Bus { supply_mv, scl_khz, pull_up_ohm: 2200, capacitance_pf: 50, other_addresses },
            straps,
            wp,
            firmware: made_for(&fitted, wait, write_shape),
            regions: Vec::new(),
            uses: Vec::new(),
            unstated: Vec::new(),
            protects: None,
        };
        let levels = board.pin_levels();
        board.firmware.device_address = fitted.device_address(levels);
        otherwise.apply(&mut board.firmware);
        // The same limits as those of a board file.
        board.firmware.reads_on_after_write = reads_on.is_some() && matches!(wait, Wait::Fixed { .. });
        board.regions = placed(&regions, fitted.capacity_bytes.value, fitted.page_bytes.value);
        Swap { board, old, new }
    })
}

fn made_for(fitted: &Card, wait: Wait, write_shape: WriteShape) -> Firmware {
    let parameters = fitted.parameters([false; 3]).ok();
    let (bits, shift) = parameters.map_or((0, 0), |p| (p.block_select_bits, p.block_select_shift));
    let read = fitted.read_wrap_bytes.value;
    Firmware {
        device_address: 0x50,
        word_address_bytes: fitted.word_address_bytes.value,
        block_select_bits: bits,
        block_select_shift: shift,
        page_bytes: fitted.page_bytes.value,
        wait,
        max_transfer_bytes: None,
        write_shape,
        read_cut_bytes: (read < fitted.capacity_bytes.value).then_some(read),
        reads_on_after_write: false,
        first_access_us: None,
    }
}

fn wait() -> impl Strategy<Value = Wait> {
    let us = || select(vec![500u32, 2_000, 5_000, 10_000, 20_000]);
    prop_oneof![
        4 => us().prop_map(|limit_us| Wait::Poll { limit_us }),
        1 => us().prop_map(|limit_us| Wait::PollByRead { limit_us }),
        3 => us().prop_map(|us| Wait::Fixed { us }),
    ]
}

fn shape() -> impl Strategy<Value = WriteShape> {
    prop_oneof![8 => Just(WriteShape::OneBuffer), 1 => Just(WriteShape::TwoJoined), 1 => Just(WriteShape::TwoRestarted)]
}

fn otherwise() -> impl Strategy<Value = Otherwise> {
    (
        weighted(0.3, select(vec![1u32, 4, 8, 16, 32, 64, 128, 256])),
        weighted(0.1, 0..=3u8),
        weighted(0.1, 0x50..=0x57u8),
        weighted(0.1, (0..=3u8, 0..=2u8)),
        weighted(0.2, select(vec![128u32, 256, 32_768, 65_536])),
        weighted(0.3, select(vec![5u32, 9, 16, 32, 255])),
        weighted(0.3, select(vec![0u32, 100, 1_000, 10_000])),
    )
        .prop_map(
            |(page_bytes, word_address_bytes, device_address, block_select, read_cut, max_transfer, first)| Otherwise {
                page_bytes,
                word_address_bytes,
                device_address,
                block_select,
                read_cut,
                max_transfer,
                first_access_us: first,
            },
        )
}

impl Otherwise {
    fn apply(&self, firmware: &mut Firmware) {
        firmware.page_bytes = self.page_bytes.unwrap_or(firmware.page_bytes);
        firmware.word_address_bytes = self.word_address_bytes.unwrap_or(firmware.word_address_bytes);
        firmware.device_address = self.device_address.unwrap_or(firmware.device_address);
        if let Some((bits, shift)) = self.block_select {
            (firmware.block_select_bits, firmware.block_select_shift) = (bits, shift);
        }
        let mask = ((1u16 << firmware.block_select_bits) - 1) << firmware.block_select_shift;
        firmware.device_address &= !(mask as u8);
        firmware.read_cut_bytes = self.read_cut.or(firmware.read_cut_bytes);
        firmware.max_transfer_bytes = self.max_transfer;
        firmware.first_access_us = self.first_access_us;
    }
}

/// Where a region starts (a page and bytes into it, of the whole part where `page` is 1), how long it is, whether it is
/// written at run time.
fn region() -> impl Strategy<Value = (Index, u32, u32, bool)> {
    (
        any::<Index>(),
        0..20u32,
        prop_oneof![3 => 1..40u32, 1 => 1..600u32],
        prop_oneof![3 => Just(true), 1 => Just(false)],
    )
}

/// The regions inside the part, those that would overlap an earlier one left out.
fn placed(raw: &[(Index, u32, u32, bool)], capacity: u32, page: u32) -> Vec<Region> {
    let mut regions: Vec<Region> = Vec::new();
    for (index, (at, into, length, written)) in raw.iter().enumerate() {
        let unit = page.min(256);
        let offset = (at.index((capacity / unit) as usize) as u32 * unit + into).min(capacity - 1);
        let length = (*length).min(capacity - offset);
        let free = regions.iter().all(|other| offset + length <= other.offset || other.offset + other.length <= offset);
        if free {
            let writes_per_day = if *written { 1.0 } else { 0.0 };
            regions.push(Region { name: format!("region {index}"), offset, length, writes_per_day });
        }
    }
    regions
}

/// What a twin states, and how.
type Change = (&'static str, fn(&mut Card));

/// The cards, and a twin of each that states what hardly any published one does, so that boards meet it.
pub fn made_up(cards: &[Card]) -> Vec<Card> {
    let changes: [Change; 11] = [
        ("slow to start", |card| card.power_up_us = stated(1_000)),
        ("WP active low", |card| card.wp_active_high = stated(!card.wp_active_high.value)),
        ("open pins high", |card| (card.open_strap, card.open_wp) = (stated(Open::High), stated(Open::High))),
        ("open pins undefined", |card| (card.open_strap, card.open_wp) = (stated(Open::Random), stated(Open::Random))),
        ("upper half read-only", |card| card.fixed_range = stated(Span::UpperHalf)),
        ("pointer behind the last byte", |card| card.pointer_after_write = stated(Pointer::LastPlusOne)),
        ("pointer wrapped in the page", |card| card.pointer_after_write = stated(Pointer::WrappedInPage)),
        ("reads inside half the array", |card| card.read_wrap_bytes = stated(card.capacity_bytes.value / 2)),
        ("writes at a higher supply", |card| {
            card.write_min_mv = stated(card.max_mv.value.min(card.read_min_mv.value + 700))
        }),
        ("a write cycle per byte", |card| {
            card.write_cycle_per = stated(CyclePer::Byte);
            card.write_cycle_max_us.value /= card.page_bytes.value;
            card.write_cycle_typ_us.value /= card.page_bytes.value;
        }),
        ("a shorter write cycle in the upper half of its supply", |card| {
            let (low, high, us) = (card.read_min_mv.value, card.max_mv.value, card.write_cycle_max_us.value);
            let (at, endurance_cycles, retention_years) = (Temperatures::default(), None, None);
            let (min_mv, max_mv, write_cycle_us) = (Some(low.midpoint(high)), None, Some(us / 2));
            card.grades =
                stated(vec![Limits { min_mv, max_mv, at, write_cycle_us, endurance_cycles, retention_years }]);
        }),
    ];
    let latched: Change = ("blocks latched on reads", |card| card.read_block_bits = stated(BlockBitsOnRead::Latched));
    let mut all = Vec::new();
    for (index, card) in cards.iter().enumerate() {
        let (what, change) = if card.block_select_bits() > 0 { latched } else { changes[index % changes.len()] };
        let mut twin = card.clone();
        change(&mut twin);
        twin.id = format!("{} with {what}", card.id);
        all.extend([card.clone(), twin]);
    }
    all.sort_by_key(|card| card.capacity_bytes.value);
    all
}

/// A value as a sheet would state it: nothing is granted against it.
fn stated<T>(value: T) -> Fact<T> {
    Fact { value, basis: Basis::Published { document: "made up".into() } }
}

/// Where a region lies beside a border of the part: bytes before it, bytes after it.
const BESIDE: [(u32, u32); 8] = [(1, 0), (0, 1), (1, 1), (9, 0), (0, 9), (17, 0), (9, 1), (1, 9)];

/// Boards made for their candidate that go to its very limits, or one step past one of them.
pub fn close_swaps(cards: &[Card]) -> impl Strategy<Value = Swap> + use<> {
    let cards = cards.to_vec();
    // Next to a card stands its twin.
    let parts = (any::<Index>(), prop_oneof![1 => -3i32..=3, 1 => select(vec![-1i32, 1])]);
    // One limit at a time, mostly: a board that misses several hides each of them behind the others.
    let supply = prop_oneof![8 => Just(5usize), 5 => 0..5usize];
    let scl_more = prop_oneof![9 => Just(0u32), 1 => Just(1)];
    let limits = (supply, scl_more, wait_at_limit(), weighted(0.4, select(vec![0, BUS_US])));
    let pin = || prop_oneof![9 => Just(Strap::Gnd), 5 => Just(Strap::Vcc), 1 => Just(Strap::Open)];
    let wp = prop_oneof![5 => Just(Strap::Gnd), 3 => Just(Strap::Vcc), 1 => Just(Strap::Gpio), 1 => Just(Strap::Open)];
    let place = (any::<Index>(), select(BESIDE.to_vec()), prop_oneof![3 => Just(true), 1 => Just(false)]);
    let habits =
        (weighted(0.4, Just(())).prop_map(|it| it.is_some()), weighted(0.35, 0..6u8), weighted(0.6, 0..3usize));
    (parts, limits, [pin(), pin(), pin()], wp, vec(place, 1..=2), habits).prop_map(
        move |((new, by), (supply, scl_more, wait, first), straps, wp, places, (reads_on, habit, relied))| {
            let new = new.index(cards.len());
            let card = &cards[new];
            let (low, high) = (card.read_min_mv.value, card.max_mv.value);
            let supplies = [low, card.write_min_mv.value, high, low - 1, high + 1, low.midpoint(high)];
            let supply_mv = supplies[supply];
            let regions = beside(card, &places);
            let wait = if reads_on { Wait::Fixed { us: 1_000_000 } } else { wait(card, supply_mv) };
            let firmware = Firmware {
                first_access_us: first.map(|less| card.power_up_us.value.saturating_sub(less)),
                reads_on_after_write: reads_on,
                ..made_for(card, wait, WriteShape::OneBuffer)
            };
            let mut board = Board {
                recording: Vec::new(),
                file: String::new(),
                name: "board close to the limits".into(),
                fitted: String::new(),
                candidates: Vec::new(),
                footprint: Footprint::Soic8,
                years: 0.1,
                temperature_min_c: None,
                temperature_max_c: None,
                yearly_volume: None,
                bus: Bus {
                    supply_mv,
                    scl_khz: card.scl_khz_at(supply_mv).max(100) + scl_more,
                    pull_up_ohm: 2200,
                    capacitance_pf: 50,
                    other_addresses: Vec::new(),
                },
                straps,
                wp,
                firmware,
                regions: regions.clone(),
                uses: Vec::new(),
                unstated: Vec::new(),
                protects: protects(relied, &regions),
            };
            board.firmware.device_address = card.device_address(board.levels_for(card));
            match habit {
                Some(0) => board.firmware.page_bytes *= 2,
                Some(1 | 5) => board.firmware.read_cut_bytes = None,
                Some(2) => board.firmware.read_cut_bytes = board.firmware.read_cut_bytes.map(|cut| cut * 2),
                Some(3) => board.firmware.max_transfer_bytes = Some(8),
                Some(_) => board.firmware.block_select_bits = 0,
                None => {}
            }
            let old = (new as i32 + by).rem_euclid(cards.len() as i32) as usize;
            board.fitted.clone_from(&cards[old].id);
            Swap { board, old, new }
        },
    )
}

/// Longer than START and a device address take at 50 kHz, in microseconds.
const BUS_US: u32 = 250;

/// What WP is there for: whatever it protects, or so many of the regions.
fn protects(relied: Option<usize>, regions: &[Region]) -> Option<Vec<String>> {
    Some(regions.iter().take(relied?).map(|region| region.name.clone()).collect())
}

/// Waiting for as long as the part's longest write cycle, or less by more than the bus takes to send an address: a busy
/// part is asked at the end of that.
fn wait_at_limit() -> impl Strategy<Value = fn(&Card, u32) -> Wait> {
    fn us(card: &Card, mv: u32) -> u32 {
        card.longest_write_us_at(mv)
    }
    let waits: [fn(&Card, u32) -> Wait; 10] = [
        |_, _| Wait::Fixed { us: 1_000_000 },
        |_, _| Wait::Fixed { us: 1_000_000 },
        |_, _| Wait::Poll { limit_us: 1_000_000 },
        |card, mv| Wait::Fixed { us: us(card, mv) },
        |card, mv| Wait::Fixed { us: us(card, mv).saturating_sub(BUS_US) },
        |card, mv| Wait::Fixed { us: card.write_cycle_at(mv).value },
        |card, mv| Wait::Poll { limit_us: us(card, mv) },
        |card, mv| Wait::Poll { limit_us: us(card, mv).saturating_sub(BUS_US) },
        |card, mv| Wait::PollByRead { limit_us: us(card, mv) },
        |card, mv| Wait::PollByRead { limit_us: us(card, mv).saturating_sub(BUS_US) },
    ];
    select(waits.to_vec())
}

/// Regions beside borders of the part: ends of pages, read blocks, blocks, protected ranges, and the array's own.
fn beside(card: &Card, places: &[(Index, (u32, u32), bool)]) -> Vec<Region> {
    let capacity = card.capacity_bytes.value;
    let spans = [card.protect_range.value.bytes(capacity), card.fixed_range.value.bytes(capacity)];
    let spans = spans.into_iter().flat_map(|(start, length)| [start, start + length]);
    let sizes = [card.page_bytes.value, card.read_wrap_bytes.value, 256, 3 * card.page_bytes.value];
    let borders = spans.chain(sizes).chain([capacity]).filter(|border| (1..=capacity).contains(border));
    let borders: Vec<u32> = borders.collect::<BTreeSet<u32>>().into_iter().collect();
    let mut regions: Vec<Region> = Vec::new();
    for (index, (which, (before, after), written)) in places.iter().enumerate() {
        let border = borders[which.index(borders.len())];
        let (offset, end) = (border.saturating_sub(*before), (border + after).min(capacity));
        let free = regions.iter().all(|other| end <= other.offset || other.offset + other.length <= offset);
        if offset < end && free {
            let (name, length) = (format!("region {index}"), end - offset);
            regions.push(Region { name, offset, length, writes_per_day: if *written { 1.0 } else { 0.0 } });
        }
    }
    if regions.is_empty() {
        regions.push(Region { name: "region".into(), offset: 0, length: 4, writes_per_day: 1.0 });
    }
    regions
}

/// Every footprint that a board may have.
fn footprints() -> Vec<Footprint> {
    word::all::<Footprint>().iter().filter_map(|word| word::read(word)).collect()
}
