//! How long a whole part takes to read and to program, and a production run of them.
//!
//! Computed from clocks ([`super::wire`]) and the part's write cycle: `pages (page write + wait)`. With acknowledge
//! polling the wait ends at the first poll that is answered; with fixed waits it is the longest write cycle of the
//! sheet. Handling of units, start-up of the line and pauses of the controller come on top.

use schemars::JsonSchema;
use serde::Serialize;

use super::wire::Clock;
use crate::board::{Board, Wait};
use pagewise_part::card::{Card, CyclePer, Kind};

/// Time that one job takes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Job {
    /// Transfers of data, polls not counted.
    pub transfers: u64,
    /// Bytes of data.
    pub bytes: u64,
    /// Time in nanoseconds in which data or addresses are on the wire, polls not counted.
    pub wire_ns: u64,
    /// Time in nanoseconds spent waiting for write cycles, polls included.
    pub waiting_ns: u64,
}

impl Job {
    /// The whole time in nanoseconds.
    #[must_use]
    pub const fn total_ns(self) -> u64 {
        self.wire_ns + self.waiting_ns
    }

    /// The whole time in seconds.
    #[must_use]
    pub fn seconds(self) -> f64 {
        self.total_ns() as f64 / 1e9
    }

    const fn and(self, other: Self) -> Self {
        Self {
            transfers: self.transfers + other.transfers,
            bytes: self.bytes + other.bytes,
            wire_ns: self.wire_ns + other.wire_ns,
            waiting_ns: self.waiting_ns + other.waiting_ns,
        }
    }
}

/// How the end of a write cycle is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Waiting {
    /// Acknowledge polling without a pause, with cycles of this many nanoseconds.
    Polling(u64),
    /// A fixed delay of this many nanoseconds.
    Fixed(u64),
}

/// Times of a part on a board. All of the array is meant unless the name says otherwise.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Times {
    /// SCL rate in kHz that the times hold for.
    pub scl_khz: u32,
    /// One SCL period in nanoseconds.
    pub clock: Clock,
    /// Bytes of the array.
    pub image_bytes: u32,
    /// Bytes of a page write.
    pub page_bytes: u32,
    /// Longest write cycle of a page, in microseconds.
    pub write_cycle_max_us: u32,
    /// Typical write cycle of a page, in microseconds, where the sheet read states one.
    pub write_cycle_typ_us: Option<u32>,
    /// Reading.
    pub read: Job,
    /// Programming page by page, acknowledge polling, cycles as long as they may be.
    pub program_polling: Job,
    /// The same with typical cycles, where the sheet read states them.
    pub program_polling_typical: Option<Job>,
    /// Programming page by page, waiting the longest write cycle each time.
    pub program_fixed: Job,
    /// Programming byte by byte with the same waits: what not knowing the page costs.
    pub program_bytewise_fixed: Job,
    /// All regions written once by the board's firmware as it is (its pieces), polling.
    pub regions_write_polling: Job,
    /// The same with the firmware's own fixed delay, where it waits so.
    pub regions_write_firmware_wait: Option<Job>,
    /// All regions read once by the board's firmware.
    pub regions_read: Job,
}

/// A production run.
#[derive(Debug, Clone, Copy, PartialEq, JsonSchema, Serialize)]
pub struct Production {
    /// Units.
    pub units: u32,
    /// Seconds to program (acknowledge polling) and read back one unit.
    pub unit_polling_s: f64,
    /// Seconds to program (fixed waits) and read back one unit.
    pub unit_fixed_s: f64,
    /// Seconds for all of them, one after the other, with polling.
    pub run_polling_s: f64,
    /// Seconds for all of them with fixed waits.
    pub run_fixed_s: f64,
}

impl Times {
    /// Times of a part on a board, at the board's SCL rate or the part's fastest at that supply, whichever is slower.
    #[must_use]
    pub fn of(board: &Board, card: &Card) -> Self {
        let rate = card.scl_khz_at(board.bus.supply_mv);
        let scl_khz = if rate == 0 { board.bus.scl_khz } else { board.bus.scl_khz.min(rate) };
        let bus = Bus { clock: Clock::of_khz(scl_khz), address_bytes: u64::from(card.word_address_bytes.value) };
        let room = board.firmware.max_transfer_bytes.unwrap_or(u32::MAX);
        let data_room = room.saturating_sub(u32::from(card.word_address_bytes.value)).max(1);
        let array = card.capacity_bytes.value;
        let page_bytes = largest_power(card.page_bytes.value.min(data_room));
        let read_bytes = card.read_wrap_bytes.value.min(room).min(array);
        let cycle = Cycle::of(card, board.bus.supply_mv);
        let typ = &card.write_cycle_typ_us;
        let has_typ = card.kind == Kind::Eeprom && !typ.is_assumed() && typ.value < cycle.us;
        let typical = Cycle { us: typ.value, ..cycle };
        let polling = |cycle: Cycle, bytes| Waiting::Polling(cycle.ns(bytes));
        let fixed = |bytes| Waiting::Fixed(cycle.ns(bytes));
        let mut regions_write_polling = Job::default();
        let mut regions_write_firmware_wait = Job::default();
        let mut regions_read = Job::default();
        for region in &board.regions {
            for piece in board.firmware.write_pieces(region) {
                let bytes = u64::from(piece.length);
                regions_write_polling = regions_write_polling.and(bus.write(bytes, polling(cycle, bytes)));
                if let Wait::Fixed { us } = board.firmware.wait {
                    let waits = Waiting::Fixed(u64::from(us) * 1000);
                    regions_write_firmware_wait = regions_write_firmware_wait.and(bus.write(bytes, waits));
                }
            }
            for piece in board.firmware.read_pieces(region) {
                regions_read = regions_read.and(bus.read(u64::from(piece.length)));
            }
        }
        let waits_fixed = matches!(board.firmware.wait, Wait::Fixed { .. });
        Self {
            scl_khz,
            clock: bus.clock,
            image_bytes: array,
            page_bytes,
            write_cycle_max_us: card.longest_write_us_at(board.bus.supply_mv),
            write_cycle_typ_us: has_typ.then_some(typ.value),
            read: in_pieces(array, read_bytes, |bytes| bus.read(bytes)),
            program_polling: in_pieces(array, page_bytes, |bytes| bus.write(bytes, polling(cycle, bytes))),
            program_polling_typical: has_typ
                .then(|| in_pieces(array, page_bytes, |bytes| bus.write(bytes, polling(typical, bytes)))),
            program_fixed: in_pieces(array, page_bytes, |bytes| bus.write(bytes, fixed(bytes))),
            program_bytewise_fixed: in_pieces(array, 1, |bytes| bus.write(bytes, fixed(bytes))),
            regions_write_polling,
            regions_write_firmware_wait: waits_fixed.then_some(regions_write_firmware_wait),
            regions_read,
        }
    }

    /// A run of `units` parts, programmed and read back one after the other.
    #[must_use]
    pub fn production(&self, units: u32) -> Production {
        let unit_polling_s = self.program_polling.seconds() + self.read.seconds();
        let unit_fixed_s = self.program_fixed.seconds() + self.read.seconds();
        Production {
            units,
            unit_polling_s,
            unit_fixed_s,
            run_polling_s: unit_polling_s * f64::from(units),
            run_fixed_s: unit_fixed_s * f64::from(units),
        }
    }
}

#[derive(Clone, Copy)]
struct Bus {
    clock: Clock,
    address_bytes: u64,
}

impl Bus {
    fn read(self, bytes: u64) -> Job {
        Job { transfers: 1, bytes, wire_ns: self.clock.read_ns(self.address_bytes, bytes), waiting_ns: 0 }
    }

    fn write(self, bytes: u64, waiting: Waiting) -> Job {
        let waiting_ns = match waiting {
            Waiting::Polling(cycle_ns) => self.clock.polling_ns(self.address_bytes, cycle_ns),
            Waiting::Fixed(ns) => ns,
        };
        Job { transfers: 1, bytes, wire_ns: self.clock.write_ns(self.address_bytes, bytes), waiting_ns }
    }
}

#[derive(Clone, Copy)]
struct Cycle {
    us: u32,
    per: CyclePer,
}

impl Cycle {
    fn of(card: &Card, supply_mv: u32) -> Self {
        Self { us: card.write_cycle_at(supply_mv).value, per: card.write_cycle_per.value }
    }

    fn ns(self, bytes: u64) -> u64 {
        let one = u64::from(self.us) * 1000;
        match self.per {
            CyclePer::Page => one,
            CyclePer::Byte => one * bytes,
        }
    }
}

/// Pieces of one size over the whole array; both are powers of two except for a read cut by the longest transfer.
fn in_pieces(array: u32, piece: u32, job: impl Fn(u64) -> Job) -> Job {
    let (whole, rest) = (u64::from(array / piece), u64::from(array % piece));
    let one = job(u64::from(piece));
    let all = Job {
        transfers: one.transfers * whole,
        bytes: one.bytes * whole,
        wire_ns: one.wire_ns * whole,
        waiting_ns: one.waiting_ns * whole,
    };
    if rest == 0 { all } else { all.and(job(rest)) }
}

/// The largest power of two up to `limit`, so that pieces end at page ends.
const fn largest_power(limit: u32) -> u32 {
    1 << (31 - (limit | 1).leading_zeros())
}
