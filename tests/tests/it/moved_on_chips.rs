//! Contents moved from one part to another: what the old firmware read from the old chip, the new configuration reads
//! from the new one; and with copies, what old firmware read beyond the old chip's end it reads again.

use embedded_hal::i2c::I2c;
use pagewise_content::image::moving::{self, Change};
use pagewise_driver::{Eeprom, Options};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{PowerUp, Rig, RigConfig};
use pagewise_tests::draws::Draws;
use pagewise_tests::search::{scaled, seed};
use pagewise_tests::seat::Seat;

/// A rig with the chip of a card that holds these bytes.
fn rig(seat: &Seat, held: Vec<u8>) -> Rig {
    let rig = Rig::new(RigConfig::default().with_scl_hz(seat.scl_hz).with_supply_mv(seat.supply_mv));
    rig.attach_with(seat.card.chip_model(), seat.straps(), PowerUp::Image(held));
    rig
}

/// Bytes as the driver reads them with the geometry of a seat.
fn read(rig: &Rig, seat: &Seat, offset: u32, length: usize) -> Vec<u8> {
    let mut bytes = vec![0; length];
    let mut driver: Eeprom<_, _, 260> = Eeprom::new(rig.bus(), rig.delay(), seat.geometry, Options::new());
    driver.read(offset, &mut bytes).unwrap();
    bytes
}

/// Parts that hold nothing of their maker's, so that any contents can be moved to them.
fn plain(catalogue: &Catalogue) -> Vec<&Card> {
    let all = catalogue.cards().iter();
    all.filter(|card| !card.is_generic())
        .filter(|card| {
            let seat = Seat::new(card, 0, 0);
            seat.writable == (0..card.reachable_bytes()) && card.reachable_bytes() <= 65_536
        })
        .collect()
}

#[test]
fn what_was_read_from_the_old_part_is_read_from_the_new_one() {
    let catalogue = Catalogue::embedded().unwrap();
    let cards = plain(&catalogue);
    let (mut smaller, mut larger) = (0, 0);
    for case in 0..scaled(60) {
        let mut draws = Draws::new(seed() ^ u64::from(case) << 24);
        let mut one = || cards[draws.below(cards.len() as u32) as usize];
        let (old, new) = (one(), one());
        let (old_bytes, new_bytes) = (old.reachable_bytes(), new.reachable_bytes());
        let used = 1 + draws.below(old_bytes.min(new_bytes));
        let mut held = draws.bytes(used as usize);
        held.resize(old_bytes as usize, 0xFF);
        let moved = moving::to(new, Some(old), &held, false).unwrap();
        let again = format!("case {case}, {} to {}, again with PAGEWISE_SEED={:#x}", old.id, new.id, seed());
        smaller += u32::from(matches!(moved.change, Change::Cut(_)));
        larger += u32::from(matches!(moved.change, Change::Open(_)));
        let (old_seat, new_seat) = (Seat::new(old, 0, 0), Seat::new(new, 0, 0));
        let old_rig = rig(&old_seat, held);
        let new_rig = rig(&new_seat, moved.image.flatten(new_bytes, 0xFF).unwrap());
        for _ in 0..8 {
            let offset = draws.below(used);
            let length = 1 + draws.below((old_bytes.min(new_bytes) - offset).min(300)) as usize;
            let (was, is) = (read(&old_rig, &old_seat, offset, length), read(&new_rig, &new_seat, offset, length));
            assert!(was == is, "{again}: {length} bytes at {offset:#06x}");
        }
    }
    println!("{smaller} moves to a smaller part, {larger} to a larger one");
    assert!(smaller > 5 && larger > 5);
}

/// Firmware that sends its two word-address bytes as it always did, beyond the old part's end too.
#[test]
fn with_copies_old_firmware_reads_beyond_the_end_what_it_read_before() {
    let catalogue = Catalogue::embedded().unwrap();
    for (old, new) in [("24lc32a", "24lc64"), ("24lc32a", "24lc256"), ("24lc64", "at24c256c")] {
        let (old, new) = (catalogue.find(old).unwrap(), catalogue.find(new).unwrap());
        let mut draws = Draws::new(seed());
        let held = draws.bytes(old.reachable_bytes() as usize);
        let (old_seat, new_seat) = (Seat::new(old, 0, 0), Seat::new(new, 0, 0));
        let address = old_seat.geometry.device_address();
        let read = |rig: &Rig, offset: u16| {
            let mut bytes = [0; 16];
            rig.bus().write_read(address, &offset.to_be_bytes(), &mut bytes).unwrap();
            bytes
        };
        let old_rig = rig(&old_seat, held.clone());
        let moved = |aliases| {
            let image = moving::to(new, Some(old), &held, aliases).unwrap().image;
            rig(&new_seat, image.flatten(new.reachable_bytes(), 0xFF).unwrap())
        };
        let (copies, plain) = (moved(true), moved(false));
        let beyond = old.reachable_bytes() as u16 + 0x123;
        assert_eq!(read(&old_rig, beyond), read(&old_rig, 0x123), "the old part ignores the upper bits");
        assert_eq!(read(&copies, beyond), read(&old_rig, beyond), "{} to {}", old.id, new.id);
        assert_ne!(read(&plain, beyond), read(&old_rig, beyond), "without copies it reads something else");
        for _ in 0..50 {
            let offset = draws.below(new.reachable_bytes() - 16) as u16;
            // A read that runs over the old part's end wraps there.
            if u32::from(offset) % old.reachable_bytes() + 16 <= old.reachable_bytes() {
                assert_eq!(read(&copies, offset), read(&old_rig, offset), "{} to {}: {offset:#06x}", old.id, new.id);
            }
        }
    }
}
