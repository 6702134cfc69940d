//! The anatomy of one address, three times: as the firmware composes it, as the fitted part takes it, as the candidate
//! takes it.

use serde::Serialize;

use pagewise_base::words::counted;
use pagewise_judge::board::{Board, Firmware};
use pagewise_part::anatomy::{Anatomy, WireByte};
use pagewise_part::card::Card;

/// One offset in three understandings.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Address {
    offset: String,
    /// Which region it belongs to; empty for none.
    region: String,
    firmware: Vec<Byte>,
    old: Side,
    new: Side,
}

/// One part's understanding.
#[derive(Debug, Clone, Serialize)]
struct Side {
    /// Why there is none; empty when there is.
    missing: String,
    bytes: Vec<Byte>,
    /// Where the part's view of the firmware's bytes differs, in words; empty for nowhere.
    differs: String,
    room: String,
    cycle: String,
}

#[derive(Debug, Clone, Serialize)]
struct Byte {
    name: String,
    value: String,
    bits: Vec<Bit>,
}

#[derive(Debug, Clone, Serialize)]
struct Bit {
    role: String,
    level: u8,
    /// Not the level that the firmware sends there.
    differs: bool,
    idle: bool,
}

pub(super) fn address(board: &Board, old: &Card, new: &Card, offset: u32) -> Address {
    let firmware = sent(&board.firmware, offset);
    let holds =
        |region: &&pagewise_judge::board::Region| (region.offset..region.offset + region.length).contains(&offset);
    Address {
        offset: format!("{offset:#06x}"),
        region: board.regions.iter().find(holds).map_or_else(String::new, |region| region.name.clone()),
        old: side(board, old, offset, &firmware),
        new: side(board, new, offset, &firmware),
        firmware,
    }
}

/// The bytes as this firmware composes them.
fn sent(firmware: &Firmware, offset: u32) -> Vec<Byte> {
    let count = u32::from(firmware.word_address_bytes);
    let above = 8 * count;
    let block = |place: u32| {
        let from = u32::from(firmware.block_select_shift);
        (from..from + u32::from(firmware.block_select_bits)).contains(&place).then(|| above + place - from)
    };
    let address = firmware.address(offset);
    let mut device: Vec<Bit> = (0..7u32)
        .rev()
        .map(|place| {
            let role = block(place).map_or_else(String::new, |bit| format!("a{bit}"));
            Bit { role, level: address >> place & 1, differs: false, idle: false }
        })
        .collect();
    device.push(Bit { role: "W".to_owned(), level: 0, differs: false, idle: false });
    let mut bytes =
        vec![Byte { name: "device address".to_owned(), value: format!("{:#04x}", address << 1), bits: device }];
    for index in (0..count).rev() {
        let value = (offset >> (8 * index)) as u8;
        let bit =
            |n: u32| Bit { role: format!("a{}", 8 * index + n), level: value >> n & 1, differs: false, idle: false };
        bytes.push(Byte {
            name: "word address".to_owned(),
            value: format!("{value:#04x}"),
            bits: (0..8).rev().map(bit).collect(),
        });
    }
    bytes
}

fn side(board: &Board, card: &Card, offset: u32, firmware: &[Byte]) -> Side {
    let anatomy = match Anatomy::of(card, board.levels_for(card), offset) {
        Ok(anatomy) => anatomy,
        Err(beyond) => {
            let none = String::new;
            return Side {
                missing: beyond.to_string(),
                bytes: Vec::new(),
                differs: none(),
                room: none(),
                cycle: none(),
            };
        }
    };
    let first_block_bit = 8 * usize::from(card.word_address_bytes.value);
    let mut bytes = vec![byte("device address", &anatomy.device_write, firmware.first(), first_block_bit)];
    for (index, word) in anatomy.word_address.iter().enumerate() {
        bytes.push(byte("word address", word, firmware.get(index + 1), first_block_bit));
    }
    let (takes, sends) = (anatomy.word_address.len(), firmware.len() - 1);
    let bits = bytes.iter().flat_map(|byte| &byte.bits).filter(|bit| bit.differs).count();
    let differs = if takes == sends {
        match bits {
            0 => String::new(),
            1 => "1 bit is not what the firmware sends".to_owned(),
            bits => format!("{bits} bits are not what the firmware sends"),
        }
    } else {
        format!("the firmware sends {}, the part takes {takes}", counted(sends, "word-address byte"))
    };
    Side {
        missing: String::new(),
        bytes,
        differs,
        room: match anatomy.room_in_page {
            Some(room) => {
                format!("{} to the end of the page at {:#06x}", counted(room as usize, "byte"), anatomy.page_last)
            }
            None => "no page: a FRAM stores at once".to_owned(),
        },
        cycle: match anatomy.write_cycle_us {
            0 => "none".to_owned(),
            us => format!("at most {} ms", f64::from(us) / 1000.0),
        },
    }
}

fn byte(name: &str, wire: &WireByte, sent: Option<&Byte>, first_block_bit: usize) -> Byte {
    let bits = wire.bits.iter().enumerate().map(|(at, bit)| {
        let level = u8::from(bit.high);
        let idle = bit.role == "x";
        let sent = sent.and_then(|byte| byte.bits.get(at)).map(|bit| bit.level);
        // A block-select bit is a bit of the offset; only the level on the wire shows whether it was taken so.
        let role = match bit.role.strip_prefix('B').and_then(|number| number.parse::<usize>().ok()) {
            Some(number) => format!("a{}", first_block_bit + number),
            None if matches!(bit.role.as_str(), "0" | "1") => String::new(),
            None => bit.role.clone(),
        };
        Bit { role, level, differs: !idle && sent.is_some_and(|sent| sent != level), idle }
    });
    Byte { name: name.to_owned(), value: format!("{:#04x}", wire.value), bits: bits.collect() }
}
