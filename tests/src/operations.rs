//! Operation sequences: what a program may do with a part, and everything around it that may differ.

use pagewise_simulator::{AdjacentWrites, CycleTime, NackKind, OverLimit, ZeroLength};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;

use crate::seat::Seat;

/// A place on a part, said so that it means something on every part: near the ends where mistakes live.
#[derive(Debug, Clone, Copy)]
pub enum Place {
    /// So many bytes before the end of the page of this number (modulo the pages).
    PageEnd(u32, u32),
    /// So many bytes before the end of a sequential-read or word-address block.
    BlockEnd(u32, u32),
    /// So many bytes before the end of the part.
    PartEnd(u32),
    /// Anywhere (modulo the capacity).
    Any(u32),
}

/// One operation.
#[derive(Debug, Clone)]
pub enum Op {
    /// Write.
    Write(Place, u32, u8),
    /// Write and read back.
    WriteVerified(Place, u32, u8),
    /// The same byte many times.
    Fill(Place, u32, u8),
    /// Write only what differs.
    Update(Place, u32, u8),
    /// Compare with what must be there.
    Compare(Place, u32),
    /// Random and sequential read.
    Read(Place, u32),
    /// Current address read.
    CurrentRead(u32),
    /// A request that does not lie inside the part.
    OutOfRange(u32),
    /// Wait for readiness, then take the supply away and give it back, with a new driver after it.
    PowerCycle,
    /// Let microseconds pass.
    Pause(u32),
}

/// The bus, the HAL and the driver's options around a sequence of operations.
#[derive(Debug, Clone)]
pub struct Scenario {
    /// Seed of the rig.
    pub seed: u64,
    /// Random contents instead of erased ones.
    pub random_contents: bool,
    /// Length of write cycles.
    pub cycle: CycleTime,
    /// Levels of the pins, a bit each.
    pub pins: u8,
    /// Which supply and SCL rate of those that the card allows.
    pub corner: u8,
    /// A second part of the same kind at another address, where straps give it one.
    pub sibling: bool,
    /// Foreign devices on the bus.
    pub neighbours: Vec<u8>,
    /// What the HAL calls a missing ACK.
    pub nack: NackKind,
    /// Two writes in a row.
    pub adjacent_writes: AdjacentWrites,
    /// Transfers without bytes.
    pub zero_length: ZeroLength,
    /// Bytes that the HAL moves at once.
    pub max_transfer: Option<usize>,
    /// What it does beyond.
    pub over_limit: OverLimit,
    /// Size of the driver's buffer: one of [`BUFFERS`].
    pub buffer: usize,
    /// Fixed waits instead of polling.
    pub fixed_wait: bool,
    /// Writes return before the last write cycle is over.
    pub lazy: bool,
    /// Pause between polls in microseconds.
    pub poll_interval_us: u32,
    /// What is done.
    pub ops: Vec<Op>,
}

/// Buffer sizes that are tried: a full page of any part, a page of most, a few bytes.
pub const BUFFERS: [usize; 3] = [259, 34, 6];

/// Every error kind that a HAL may give a missing ACK.
pub const NACKS: [NackKind; 7] = [
    NackKind::Exact,
    NackKind::Address,
    NackKind::Data,
    NackKind::Unknown,
    NackKind::Other,
    NackKind::Bus,
    NackKind::DataAsOther,
];

/// Where foreign devices sit, the usual EEPROM addresses among them.
const NEIGHBOURS: [u8; 8] = [0x1D, 0x30, 0x48, 0x50, 0x53, 0x56, 0x57, 0x68];

/// Sequences of up to `most` operations.
pub fn scenarios(most: usize) -> impl Strategy<Value = Scenario> {
    let around = (
        any::<u64>(),
        any::<bool>(),
        select(vec![CycleTime::Typical, CycleTime::Drawn, CycleTime::Max]),
        0..8u8,
        any::<u8>(),
        any::<bool>(),
        proptest::sample::subsequence(NEIGHBOURS.to_vec(), 0..=3),
    );
    let hal = (
        select(NACKS.to_vec()),
        select(vec![AdjacentWrites::Joined, AdjacentWrites::Restart, AdjacentWrites::StopBetween]),
        select(vec![ZeroLength::Sent, ZeroLength::Refused, ZeroLength::Ignored]),
        select(vec![None, Some(255), Some(32), Some(7)]),
        select(vec![OverLimit::Refuse, OverLimit::SplitRestart, OverLimit::SplitStop]),
    );
    let options = (select(BUFFERS.to_vec()), any::<bool>(), any::<bool>(), select(vec![0u32, 50, 700]));
    (around, hal, options, vec(op(), 1..=most)).prop_map(|(around, hal, options, ops)| {
        let (seed, random_contents, cycle, pins, corner, sibling, neighbours) = around;
        let (nack, adjacent_writes, zero_length, max_transfer, over_limit) = hal;
        let (buffer, fixed_wait, lazy, poll_interval_us) = options;
        Scenario {
            seed,
            random_contents,
            cycle,
            pins,
            corner,
            sibling,
            neighbours,
            nack,
            adjacent_writes,
            zero_length,
            max_transfer,
            over_limit,
            buffer,
            fixed_wait,
            lazy,
            poll_interval_us,
            ops,
        }
    })
}

fn op() -> impl Strategy<Value = Op> {
    let length = prop_oneof![4 => 0..40u32, 2 => 0..300u32, 1 => 0..1100u32];
    prop_oneof![
        6 => (place(), length.clone(), any::<u8>()).prop_map(|(at, n, byte)| Op::Write(at, n, byte)),
        2 => (place(), length.clone(), any::<u8>()).prop_map(|(at, n, byte)| Op::WriteVerified(at, n, byte)),
        1 => (place(), length.clone(), any::<u8>()).prop_map(|(at, n, byte)| Op::Fill(at, n, byte)),
        2 => (place(), length.clone(), any::<u8>()).prop_map(|(at, n, byte)| Op::Update(at, n, byte)),
        1 => (place(), length.clone()).prop_map(|(at, n)| Op::Compare(at, n)),
        5 => (place(), length).prop_map(|(at, n)| Op::Read(at, n)),
        3 => (0..40u32).prop_map(Op::CurrentRead),
        1 => any::<u32>().prop_map(Op::OutOfRange),
        1 => Just(Op::PowerCycle),
        1 => (0..20_000u32).prop_map(Op::Pause),
    ]
}

fn place() -> impl Strategy<Value = Place> {
    prop_oneof![
        4 => (any::<u32>(), 0..20u32).prop_map(|(page, before)| Place::PageEnd(page, before)),
        3 => (any::<u32>(), 0..20u32).prop_map(|(block, before)| Place::BlockEnd(block, before)),
        1 => (0..300u32).prop_map(Place::PartEnd),
        2 => any::<u32>().prop_map(Place::Any),
    ]
}

impl Place {
    /// Offset and length on a part, both inside `limits`.
    #[must_use]
    pub fn resolve(self, seat: &Seat, length: u32, limits: &std::ops::Range<u32>) -> (u32, usize) {
        let capacity = seat.geometry.capacity_bytes();
        let before_end = |unit: u32, index: u32, before: u32| {
            let unit = unit.min(capacity);
            let end = (u64::from(index) % u64::from(capacity / unit) + 1) * u64::from(unit);
            end.saturating_sub(u64::from(before)) as u32
        };
        let block = seat.geometry.sequential_read_bytes().min(seat.block_bytes());
        let offset = match self {
            Self::PageEnd(index, before) => before_end(seat.geometry.page_bytes(), index, before),
            Self::BlockEnd(index, before) => before_end(block, index, before),
            Self::PartEnd(before) => capacity.saturating_sub(before),
            Self::Any(offset) => offset % capacity,
        };
        let offset = offset.clamp(limits.start, limits.end);
        (offset, length.min(limits.end - offset) as usize)
    }
}
