//! A Linux program with our driver over the crate `linux-embedded-hal`. It knows nothing of a simulator.
//!
//!     linux_client PART DEVICE SEED [other-is-nack]
//!
//! Writes, updates and reads at random places and compares with what it wrote. Exit code 101 if anything differs.

use linux_embedded_hal::{Delay, I2cdev};
use pagewise_driver::{Eeprom, Options};
use pagewise_part::card::Catalogue;
use pagewise_tests::draws::Draws;

/// Header and the largest page of all cards.
const BUFFER: usize = 3 + 256;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let catalogue = Catalogue::embedded().expect("the cards are sound");
    let card = catalogue.find(&arguments[1]).expect("a card");
    let geometry = card.geometry([false; 3]).expect("a geometry");
    // The kernel moves at most 8192 bytes in one message.
    let options = Options::new().with_max_transfer_bytes(8192);
    let options = options.with_other_is_nack(arguments.get(4).is_some_and(|word| word == "other-is-nack"));
    let bus = I2cdev::new(&arguments[2]).expect("the device opens");
    let mut eeprom = Eeprom::<_, _, BUFFER>::new(bus, Delay, geometry, options);
    let mut draws = Draws::new(arguments[3].parse().expect("a seed"));
    let capacity = geometry.capacity_bytes();
    let mut meant = vec![0; capacity as usize];
    eeprom.read(0, &mut meant).expect("everything can be read");
    for _ in 0..40 {
        let offset = draws.below(capacity);
        let length = (1 + draws.below(3 * geometry.page_bytes().min(256))).min(capacity - offset) as usize;
        let place = &mut meant[offset as usize..][..length];
        let bytes = draws.bytes(length);
        match draws.below(3) {
            0 => eeprom.write(offset, &bytes).expect("a write succeeds"),
            1 => drop(eeprom.update_trusting(offset, &bytes).expect("an update succeeds")),
            _ => {
                let mut back = vec![0; length];
                eeprom.read(offset, &mut back).expect("a read succeeds");
                assert!(back == place, "{length} bytes at 0x{offset:04X} differ");
                continue;
            }
        }
        place.copy_from_slice(&bytes);
    }
    let mut back = vec![0; capacity as usize];
    eeprom.read(0, &mut back).expect("everything can be read");
    assert!(back == meant, "memory differs");
    println!("the same");
}
