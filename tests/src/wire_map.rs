//! Where each byte of a part is found on the wire, by search instead of arithmetic.
//!
//! Every device address and every word address is tried and taken apart as the card says that the part takes it. No
//! code of the driver, nor of the conversion from card to geometry, is used.

use pagewise_part::card::{Card, Role};

/// Device address and word-address bytes of one offset.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// 7-bit device address, ignored bits zero.
    pub device_address: u8,
    /// Word-address bytes as they are sent.
    pub header: Vec<u8>,
}

/// The place of every offset that can be reached without a command, in order.
///
/// # Panics
/// If some offset in between cannot be reached, which no sound card has.
#[must_use]
pub fn places(card: &Card, pins: [bool; 3]) -> Vec<Place> {
    let bytes = usize::from(card.word_address_bytes.value);
    let capacity = card.capacity_bytes.value as usize;
    let words = capacity.min(1 << (8 * bytes));
    let mut places: Vec<Option<Place>> = vec![None; capacity];
    for device_address in 0..0x80 {
        let Some(block) = block(card, pins, device_address) else { continue };
        for word in 0..words {
            let offset = block << (8 * bytes) | word;
            if let Some(place @ None) = places.get_mut(offset) {
                let header = word.to_be_bytes()[8 - bytes..].to_vec();
                *place = Some(Place { device_address, header });
            }
        }
    }
    let reached = places.iter().take_while(|place| place.is_some()).count();
    assert!(places[reached..].iter().all(Option::is_none), "{}: a hole at offset {reached}", card.id);
    places.into_iter().flatten().collect()
}

/// The block that the part makes of a device address, `None` where it does not answer.
fn block(card: &Card, pins: [bool; 3], device_address: u8) -> Option<usize> {
    let mut block = 0;
    for (bit, role) in (0..7).rev().zip(card.device_bits()) {
        let sent = device_address >> bit & 1 == 1;
        match role {
            Role::Fixed(level) if level != sent => return None,
            Role::Pin(pin) if pins[usize::from(pin)] != sent => return None,
            Role::PinInverted(pin) if pins[usize::from(pin)] == sent => return None,
            Role::Block(n) if sent => block += 1 << n,
            _ => {}
        }
    }
    Some(block)
}
