//! Time of a unit on the line against what the bus needs: exact, since time is virtual. Every socket has a bus of its own, so
//! several of them take no longer per unit (`cli_line_many` compares).
//!
//! The bus needs to read the part once, so that its contents can be kept, to write the image, and to read it back: the floor
//! of `pagewise_tests::floor`. What comes on top: polls that are refused, pages looked at right behind their write, places
//! read twice, and, whatever the size, the wait for a write cycle from before and the question who else answers.
//! `cargo test -p pagewise-tests --test it line_time -- --nocapture` prints the table.

use pagewise_content::image::Image;
use pagewise_line::plan::{Holds, Permissions};
use pagewise_line::units::Unit;
use pagewise_line::{Ending, Wanted};
use pagewise_part::card::Catalogue;
use pagewise_simulator::{CycleTime, Level, PowerUp};
use pagewise_tests::draws::Draws;
use pagewise_tests::floor::{BYTE, CONDITION, Floor};
use pagewise_tests::search::seed;
use pagewise_tests::seat::Seat;

use crate::line_cards::Place;

/// A part of each size class, all pages of which are written.
const PARTS: [&str; 6] = ["24fc01", "24lc16b", "24lc32a", "24fc64", "24lc256", "24lc512"];

/// Device addresses that are asked who is there, 0x08 to 0x77.
const ASKED: u64 = 112;

#[test]
fn a_unit_from_64_kbit_on_takes_at_most_a_tenth_more_than_the_bus_needs() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut draws = Draws::new(seed());
    println!("part         kHz   cycle us   needed ms    used ms   above   with what every size costs");
    let (mut shown, mut worst) = (0, 0.0_f64);
    for part in PARTS {
        let card = catalogue.find(part).unwrap();
        for khz in [100, 400, 1000] {
            for cycle_us in [card.write_cycle_typ_us.value, card.write_cycle_max_us.value] {
                let mut seat = Seat::new(card, 0, 0);
                (seat.supply_mv, seat.scl_hz) = (card.max_mv.value, khz * 1000);
                if card.scl_khz_at(seat.supply_mv) < khz {
                    continue;
                }
                let mut place = Place::new(&seat, &seat, PowerUp::Erased);
                place.rig.set_write_cycle(place.chip, CycleTime::Exact(u64::from(cycle_us) * 1000));
                let length = place.socket.capacity();
                let mut image = Image::new();
                image.put(0, &draws.bytes(length as usize)).unwrap();
                let wanted = Wanted::new(image, b"");
                let unit = Unit { name: "TI-1".into(), file: "a".into(), wanted, made_for: None };
                let folder = tempfile::tempdir().unwrap();
                let report = place.run(&unit, folder.path(), Permissions::default());
                assert_eq!(
                    (report.result, report.held),
                    (Ending::Good, Some(Holds::Blank)),
                    "{part}: {:?}",
                    report.halt
                );

                let ns = |floor: Floor| floor.ns(card, seat.scl_hz, u64::from(cycle_us) * 1000);
                let (read, write) = (ns(Floor::read(card, 0, length)), ns(Floor::write(card, 0, length)));
                let needed_us = (2 * read + write) / 1000;
                let asking_us = ASKED * (BYTE + 2 * CONDITION) * 1_000_000 / u64::from(seat.scl_hz);
                let fixed_us = u64::from(place.socket.patience_us()) + asking_us;
                let used_us = report.simulated_us.unwrap();
                assert!(used_us > needed_us, "{part}: faster than the bus can be");
                let above = |us: u64| (us as f64 / needed_us as f64 - 1.0) * 100.0;
                println!(
                    "{part:10} {khz:5} {cycle_us:10} {:11.1} {:10.1} {:6.1} %   {:6.1} %",
                    needed_us as f64 / 1000.0,
                    used_us as f64 / 1000.0,
                    above(used_us - fixed_us),
                    above(used_us)
                );
                // Of smaller parts more is looked at behind its write, and what every size costs is more than a tenth.
                worst = worst.max(if length < 8192 { 0.0 } else { above(used_us) });
                shown += 1;
            }
        }
    }
    assert!(shown >= 20, "too few to show anything");
    assert!(worst <= 10.0, "{worst:.1} %");
}

/// Not every page is looked at behind its write, but the first one of a range that WP protects is: no more is written.
#[test]
fn a_protected_range_is_found_at_its_first_page() {
    let catalogue = Catalogue::embedded().unwrap();
    let (mut draws, mut tried) = (Draws::new(seed()), 0);
    for card in catalogue.cards() {
        let (range, seat) = (card.chip_model().write_protect.pin_range, Seat::new(card, 0, 0));
        let pages_before = range.start / card.page_bytes.value.max(1);
        if range.len == 0 || pages_before <= 16 || pages_before > 256 {
            continue;
        }
        let mut place = Place::new(&seat, &seat, PowerUp::Erased);
        place.rig.set_wp(place.chip, Level::from_bit(card.wp_active_high.value));
        let mut image = Image::new();
        image.put(0, &draws.bytes(place.socket.capacity() as usize)).unwrap();
        let wanted = Wanted::new(image, b"");
        let unit = Unit { name: "TI-1".into(), file: "a".into(), wanted, made_for: None };
        let folder = tempfile::tempdir().unwrap();
        let report = place.run(&unit, folder.path(), Permissions::default());
        assert_eq!(report.result, Ending::Failed, "{}", card.id);
        let written = report.pages_written;
        assert!(written <= pages_before + 1, "{}: {written} pages, {pages_before} before the range", card.id);
        tried += 1;
    }
    println!("a protected range behind others on {tried} cards");
    assert!(tried > 0);
}
