//! Which device addresses a part answers on a board, from the roles of its address bits, for the rules alone. What a
//! driver is told (`Card::geometry`), the simulated chip and the settings of the ladder are computed apart from this.

use std::collections::BTreeSet;

use crate::board::{Board, Strap};
use crate::swap::Change;
use pagewise_part::card::{Card, Open, Role, role};

/// A part with its address pins at levels.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seat<'c> {
    part: &'c Card,
    levels: [bool; 3],
}

/// Every device address that the part answers with one choice of straps or another.
pub(super) fn anywhere(part: &Card) -> BTreeSet<u8> {
    let levels = (0..8u8).map(|pins| [0, 1, 2].map(|pin| pins >> pin & 1 == 1));
    levels.flat_map(|levels| Seat { part, levels }.answered()).collect()
}

/// Straps with which a part has its addresses to itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Place {
    straps: [Strap; 3],
    /// The device address of the part there, block 0.
    pub(super) address: u8,
}

impl<'c> Seat<'c> {
    /// With the levels that the board gives its pins; an open pin reads as the part's pull says, low without one.
    pub(super) fn on(board: &Board, part: &'c Card) -> Self {
        let level = |pin: usize| match board.straps[pin] {
            Strap::Gnd => false,
            Strap::Vcc => true,
            Strap::Gpio => driven(part, board.firmware.device_address, pin),
            Strap::Open => part.open_strap.value == Open::High,
        };
        Self { part, levels: [level(0), level(1), level(2)] }
    }

    /// The block that the part reads out of a device address, or `None` when it does not answer.
    pub(super) fn block(self, address: u8) -> Option<u32> {
        let mut block = 0;
        for (role, bit) in
            self.part.device_bits().into_iter().zip((0..7).rev().map(|place| address & (1 << place) != 0))
        {
            match role {
                Role::Fixed(level) if level != bit => return None,
                Role::Pin(pin) if self.levels[usize::from(pin)] != bit => return None,
                Role::PinInverted(pin) if self.levels[usize::from(pin)] == bit => return None,
                Role::Block(n) => block |= u32::from(bit) << n,
                Role::Fixed(_) | Role::Pin(_) | Role::PinInverted(_) | Role::Ignored => {}
            }
        }
        Some(block)
    }

    /// Every device address that the part answers.
    pub(super) fn answered(self) -> Vec<u8> {
        (0..=0x7F).filter(|address| self.block(*address).is_some()).collect()
    }

    /// The lowest of them that means block 0: where firmware finds the part.
    pub(super) fn own_address(self) -> Option<u8> {
        (0..=0x7F).find(|address| self.block(*address) == Some(0))
    }

    /// The first address of another device that the part answers too.
    pub(super) fn shared(self, board: &Board) -> Option<u8> {
        board.bus.other_addresses.iter().copied().find(|address| self.block(*address).is_some())
    }

    /// The roles of the seven bits as cards write them.
    pub(super) fn row(self) -> String {
        role::row(&self.part.device_bits())
    }

    /// Bytes of the array that word address and block bits reach.
    pub(super) fn reach(self) -> u64 {
        let blocks = self.part.device_bits().into_iter().filter(|role| matches!(role, Role::Block(_))).count();
        let bits = 8 * usize::from(self.part.word_address_bytes.value) + blocks;
        u64::from(self.part.capacity_bytes.value).min(1 << bits)
    }
}

/// The level that the firmware drives an address pin to: the one with which the part answers the firmware's own address.
fn driven(part: &Card, address: u8, pin: usize) -> bool {
    let place = |wanted: fn(&Role) -> Option<u8>| {
        let found = part.device_bits().iter().position(|role| wanted(role) == Some(pin as u8))?;
        Some(address & (1 << (6 - found)) != 0)
    };
    let straight = place(|role| if let Role::Pin(pin) = role { Some(*pin) } else { None });
    let inverted = place(|role| if let Role::PinInverted(pin) = role { Some(*pin) } else { None });
    // A pin that the part does not compare may have any level.
    straight.or(inverted.map(|bit| !bit)).unwrap_or(false)
}

/// Where the part can be alone on the bus: as the board has it, or else with the fewest pins tied otherwise.
pub(super) fn place(board: &Board, part: &Card) -> Option<Place> {
    let seat = Seat::on(board, part);
    let as_it_is = seat.own_address().filter(|_| seat.shared(board).is_none());
    match as_it_is {
        Some(address) => Some(Place { straps: board.straps, address }),
        None => free_place(board, part),
    }
}

/// The straps with which the part answers no other device's address, the fewest of them changed.
pub(super) fn free_place(board: &Board, part: &Card) -> Option<Place> {
    let places = (0..8u8).map(|choice| [0, 1, 2].map(|pin| choice & (1 << pin) != 0));
    let fits =
        places.filter(|levels| part.required_straps.iter().all(|(pin, high)| levels[usize::from(*pin)] == *high));
    let free = fits.filter_map(|levels| {
        let seat = Seat { part, levels };
        let address = seat.own_address().filter(|_| seat.shared(board).is_none())?;
        Some(Place { straps: levels.map(|high| if high { Strap::Vcc } else { Strap::Gnd }), address })
    });
    free.min_by_key(|place| place.moved(board).count())
}

impl Place {
    fn moved(self, board: &Board) -> impl Iterator<Item = usize> {
        (0..3).filter(move |pin| board.straps[*pin] != self.straps[*pin])
    }

    /// What is tied otherwise than on the board, in words: `A0 to supply`.
    pub(super) fn words(self, board: &Board) -> Vec<String> {
        let rail = |pin: usize| if self.straps[pin] == Strap::Vcc { "supply" } else { "ground" };
        self.moved(board).map(|pin| format!("A{pin} to {}", rail(pin))).collect()
    }

    /// The same as changes, the firmware's device address among them.
    pub(super) fn changes(self, board: &Board) -> Vec<Change> {
        let straps = self.moved(board).map(|pin| Change::Strap(pin as u8, self.straps[pin]));
        straps.chain([Change::DeviceAddress(self.address)]).collect()
    }
}
