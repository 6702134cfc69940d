//! The failing transaction as a timing picture: SCL and SDA as the simulated lines were, START and STOP, each byte with
//! its bits and who acknowledged it. A long transaction is cut to its header, the place of the fault and its end.

mod item;
mod lanes;
mod spoken;

use pagewise_base::words::moment;
use pagewise_simulator::{ClockPlan, Event, EventKind, Note};
use serde::Serialize;

use item::{Item, ItemKind};
use lanes::{Lanes, Row};
use pagewise_judge::board::Firmware;
use pagewise_judge::swap::run::Transaction;

/// A timing picture, ready to be written.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Picture {
    /// Height of all rows; the width is [`lanes::WIDTH`].
    height: u32,
    rows: Vec<Row>,
    /// What the detector said.
    incident: String,
    /// Every byte in words.
    words: String,
    /// `1.375 us after the start of the run, at 400 kHz`.
    when: String,
}

/// Draws a transaction of this firmware.
pub(super) fn picture(transaction: &Transaction, firmware: &Firmware) -> Picture {
    let plan = ClockPlan::for_scl_hz(transaction.scl_hz);
    let items = items(&transaction.events, firmware);
    let words = spoken::listed(&items);
    let shown = cut(items, transaction.at_ns, plan);
    let rows = Lanes::new(&transaction.events, plan).rows(&shown);
    let start = transaction.events.first().map_or(0, |event| event.at_ns);
    Picture {
        height: rows.iter().map(|row| row.height).sum(),
        rows,
        incident: transaction.incident.clone(),
        words,
        when: format!("{} after the start of the run, at {} kHz", moment(start), transaction.scl_hz / 1000),
    }
}

fn items(events: &[Event], firmware: &Firmware) -> Vec<Item> {
    let mut items: Vec<Item> = Vec::new();
    let mut roles = Roles { firmware, read: false, header: Vec::new(), device: 0, data: 0 };
    for event in events {
        let (kind, role) = match event.kind {
            EventKind::Start => (ItemKind::Start { repeated: false }, "START".to_owned()),
            EventKind::RepeatedStart => (ItemKind::Start { repeated: true }, "repeated START".to_owned()),
            EventKind::Address { address, read, acked } => {
                let value = address << 1 | u8::from(read);
                (ItemKind::Byte { value, acked, from_chip: false, address: true }, roles.address(address, read))
            }
            EventKind::Write { byte, acked } => {
                (ItemKind::Byte { value: byte, acked, from_chip: false, address: false }, roles.write(byte))
            }
            EventKind::Read { byte, acked } => {
                (ItemKind::Byte { value: byte, acked, from_chip: true, address: false }, roles.read())
            }
            EventKind::Stop => (ItemKind::Stop, "STOP".to_owned()),
            EventKind::Chip { note, .. } => {
                if let (Some(text), Some(last)) = (noted(note), items.last_mut()) {
                    last.note.get_or_insert(text);
                }
                continue;
            }
            _ => continue,
        };
        items.push(Item { at_ns: event.at_ns, kind, role, note: None });
    }
    items
}

/// What the firmware means by each byte that it sends.
struct Roles<'f> {
    firmware: &'f Firmware,
    read: bool,
    header: Vec<u8>,
    device: u8,
    data: u32,
}

impl Roles<'_> {
    fn address(&mut self, address: u8, read: bool) -> String {
        if !read {
            self.header.clear();
        }
        (self.read, self.device, self.data) = (read, address, 0);
        format!("{address:#04x} {}", if read { "read" } else { "write" })
    }

    fn write(&mut self, byte: u8) -> String {
        if self.header.len() < usize::from(self.firmware.word_address_bytes) {
            self.header.push(byte);
            return "word address".to_owned();
        }
        self.data += 1;
        format!("for {:#06x}", self.offset() + self.data - 1)
    }

    fn read(&mut self) -> String {
        self.data += 1;
        if self.header.is_empty() { "data".to_owned() } else { format!("of {:#06x}", self.offset() + self.data - 1) }
    }

    /// The offset that the firmware composed this header from.
    fn offset(&self) -> u32 {
        let mask = (1u32 << self.firmware.block_select_bits) - 1;
        let block = u32::from(self.device) >> self.firmware.block_select_shift & mask;
        self.header.iter().fold(block, |offset, byte| offset << 8 | u32::from(*byte))
    }
}

fn noted(note: Note) -> Option<String> {
    Some(match note {
        Note::PageWrap { meant, landed, .. } => format!("page wrap: {meant:#06x} goes to {landed:#06x}"),
        Note::CapacityAlias { sent, taken } => format!("{sent:#06x} is taken as {taken:#06x}"),
        Note::ArrayWrap => "past the end: goes on at 0x0000".to_owned(),
        Note::ReadRollover { from, to } => format!("read wraps: after {from:#06x} comes {to:#06x}"),
        Note::DataDropped { bytes, .. } => format!("{bytes} latched bytes dropped"),
        Note::BusyRefused { left_ns, .. } => format!("busy for another {} us", left_ns / 1000),
        Note::BusyUndefined { .. } => "busy, and answers all the same".to_owned(),
        Note::Protected { acked: true, .. } => "protected: acknowledged, not stored".to_owned(),
        Note::Protected { acked: false, .. } => "protected: not stored".to_owned(),
        Note::PointerUnset => "the pointer was never set".to_owned(),
        Note::TooLowToRead { mv, min_mv } => format!("{mv} mV, needs {min_mv} mV"),
        Note::TooLowToWrite { mv, min_mv, .. } => format!("{mv} mV, needs {min_mv} mV to write"),
        Note::TooFast { scl_hz, max_hz } => format!("{} kHz, at most {} kHz", scl_hz / 1000, max_hz / 1000),
        Note::TooSlow { scl_hz, min_hz } => format!("{} kHz, at least {} kHz", scl_hz / 1000, min_hz / 1000),
        _ => return None,
    })
}

/// Drawn in full up to this many bytes.
const WHOLE: usize = 12;

/// Leaves out bytes of a long transaction, but not its beginning, its end, what the chips noted and where the detector
/// spoke.
fn cut(items: Vec<Item>, at_ns: u64, plan: ClockPlan) -> Vec<Item> {
    let is_byte = |item: &Item| matches!(item.kind, ItemKind::Byte { .. });
    if items.iter().filter(|item| is_byte(item)).count() <= WHOLE {
        return items;
    }
    let spoke = items
        .iter()
        .position(|item| is_byte(item) && (item.at_ns..item.at_ns + plan.byte_ns()).contains(&at_ns))
        .or_else(|| items.iter().position(|item| item.note.is_some()));
    let mut keep = vec![false; items.len()];
    let mark = |keep: &mut Vec<bool>, from: usize, to: usize| {
        for place in keep.iter_mut().take(to + 1).skip(from) {
            *place = true;
        }
    };
    mark(&mut keep, 0, 5);
    mark(&mut keep, items.len().saturating_sub(2), items.len());
    if let Some(at) = spoke {
        mark(&mut keep, at.saturating_sub(2), at + 2);
    }
    for (at, item) in items.iter().enumerate() {
        // A header after a repeated START belongs together.
        if let ItemKind::Start { .. } = item.kind {
            mark(&mut keep, at, at + 2);
        }
    }
    let mut shown: Vec<Item> = Vec::new();
    for (item, keep) in items.into_iter().zip(keep) {
        if keep {
            shown.push(item);
        } else if let Some(Item { kind: ItemKind::Gap(count), .. }) = shown.last_mut() {
            *count += 1;
        } else {
            shown.push(Item { kind: ItemKind::Gap(1), role: String::new(), note: None, ..item });
        }
    }
    shown
}
