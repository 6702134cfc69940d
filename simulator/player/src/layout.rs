//! How an offset becomes the bytes of an address, from the chip's own model.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;

use pagewise_simulator::ChipModel;
use pagewise_simulator::model::DeviceBit;
use serde::Serialize;

/// A bit and what it is for: `0`, `1`, `A2`, `/A1`, `a11` (bit 11 of the offset), `x` (not looked at), `W`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct Bit {
    pub(crate) role: String,
    pub(crate) high: bool,
}

/// Bytes in front of the data of a write, most significant bit first.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct Header {
    /// Device address with R/W = 0.
    pub(crate) control: u8,
    /// Word-address bytes.
    pub(crate) word: Vec<u8>,
    /// Bits of each.
    pub(crate) bits: Vec<Vec<Bit>>,
    /// First offset of its page.
    pub(crate) page_first: u32,
    /// Last offset of its page.
    pub(crate) page_last: u32,
}

/// The header of an offset inside the part.
pub(crate) fn header(model: &ChipModel, pins: [bool; 3], offset: u32) -> Option<Header> {
    if offset >= model.capacity {
        return None;
    }
    let below = 8 * u32::from(model.word_address_bytes);
    let mut device: Vec<Bit> = model
        .device_bits
        .iter()
        .map(|bit| {
            let (role, high) = match *bit {
                DeviceBit::Fixed(high) => (u8::from(high).to_string(), high),
                DeviceBit::Pin(n) => (format!("A{n}"), pins[usize::from(n) % 3]),
                DeviceBit::PinInverted(n) => (format!("/A{n}"), !pins[usize::from(n) % 3]),
                DeviceBit::Ignored => ("x".to_owned(), false),
                DeviceBit::Block(n) => {
                    let place = below + u32::from(n);
                    (format!("a{place}"), offset >> place & 1 == 1)
                }
            };
            Bit { role, high }
        })
        .collect();
    device.push(Bit { role: "W".to_owned(), high: false });
    let control = device.iter().fold(0, |value, bit| value << 1 | u8::from(bit.high));
    let word: Vec<u8> = (0..model.word_address_bytes).rev().map(|index| (offset >> (8 * index)) as u8).collect();
    let mut bits = vec![device];
    for index in (0..u32::from(model.word_address_bytes)).rev() {
        let bit = |n: u32| {
            let place = 8 * index + n;
            let role = if 1_u64 << place < u64::from(model.capacity) { format!("a{place}") } else { "x".to_owned() };
            Bit { role, high: offset >> place & 1 == 1 }
        };
        bits.push((0..8).rev().map(bit).collect());
    }
    let page = model.page.max(1);
    let page_first = offset - offset % page;
    Some(Header { control, word, bits, page_first, page_last: page_first + (page - 1) })
}
