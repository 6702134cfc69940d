//! Images on simulated chips: the driver reads back what the layout put there, and what bad programs leave behind is told
//! from a dump alone.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_content::image::{build, units};
use pagewise_content::inspect::{Certainty, Content, Found, Whole, look, whole, wrap::Wrap};
use pagewise_content::layout;
use pagewise_driver::records::{RecordError, RecordLayout, RecordSpec, RecordStore};
use pagewise_driver::{Eeprom, Options};
use pagewise_part::card::{Card, Catalogue, Kind, UpperBits};
use pagewise_simulator::{ChipId, PowerUp, Rig, RigBus, RigConfig, RigDelay};
use pagewise_tests::draws::Draws;
use pagewise_tests::seat::Seat;

const LAYOUT: &str = r#"
name = "store"
[[region]]
name = "serial"
kind = "serial"
length = 10
[[region]]
name = "store"
kind = "records"
writes_per_day = 9
[[region.record]]
name = "gain"
id = 5
version = 3
slots = 4
payload_bytes = 12
kind = "text"
length = 9
column = "gain"
[[region.record]]
name = "starts"
id = 6
slots = 3
kind = "u64"
endian = "little"
value = 41
[[region.record]]
name = "later"
id = 7
slots = 3
kind = "u8"
"#;

const SPECS: [RecordSpec; 3] = [RecordSpec::new(5, 12, 4), RecordSpec::new(6, 8, 3), RecordSpec::new(7, 1, 3)];

type Driver = Eeprom<RigBus, RigDelay, 260>;

/// A chip of a card, filled with `old` before.
fn chip(seat: &Seat, old: u8) -> (Rig, ChipId) {
    let rig = Rig::new(RigConfig::default().with_scl_hz(seat.scl_hz).with_supply_mv(seat.supply_mv));
    let chip = rig.attach_with(seat.card.chip_model(), seat.straps(), PowerUp::Random);
    rig.load(chip, 0, &vec![old; seat.card.capacity_bytes.value as usize]);
    (rig, chip)
}

fn driver(rig: &Rig, seat: &Seat) -> Driver {
    Eeprom::new(rig.bus(), rig.delay(), seat.geometry, Options::new())
}

/// On every card that has room: the image is written by the driver, and the driver's record store finds the records.
#[test]
fn the_driver_reads_the_records_that_an_image_holds() {
    let catalogue = Catalogue::embedded().unwrap();
    let layout = layout::parse("l.toml", LAYOUT).unwrap();
    let units = units::parse("u.csv", b"unit,serial,gain\na,S-1,x 1.024\n", &layout).unwrap();
    let mut read = 0;
    for card in catalogue.cards() {
        let seat = Seat::new(card, 0, 0);
        let Ok(placed) = layout.place(card) else { continue };
        if placed.regions.iter().any(|region| region.offset < seat.writable.start || region.end() > seat.writable.end) {
            continue;
        }
        let images = build::build(&layout, &placed, &seat.geometry, Some(&units)).unwrap();
        // A part that comes back with old records: none of them may outlive the programming.
        let (rig, chip) = chip(&seat, 0xB1);
        let mut part = driver(&rig, &seat);
        for (offset, bytes) in images.built[0].image.runs() {
            part.write(offset, bytes).unwrap();
        }
        let start = placed.find("store").unwrap().offset;
        let mut store = RecordStore::<_, 25>::new(part, RecordLayout::try_new(&seat.geometry, start, &SPECS).unwrap());
        let mut payload = [0; 12];
        let gain = store.read(5, &mut payload).unwrap();
        assert_eq!(
            (gain.version, gain.sequence, &payload[..gain.length]),
            (3, 1, b"x 1.024\0\0".as_slice()),
            "{}",
            card.id
        );
        assert_eq!(store.count(6).unwrap(), 41, "{}", card.id);
        assert_eq!(store.read(7, &mut payload), Err(RecordError::NotFound), "{}", card.id);
        // And it goes on from there.
        assert_eq!(store.increment(6).unwrap(), 42, "{}", card.id);
        rig.advance_ns(1_000_000_000);
        let dump = rig.memory_as_read(chip);
        let end = (start as usize)..;
        let found = look(&dump, Some(card));
        let newest: Vec<(u8, u32)> = found
            .iter()
            .filter_map(|found| match &found.content {
                Content::Record(slot) if slot.newest && end.contains(&(found.offset as usize)) => {
                    Some((slot.id, slot.sequence))
                }
                _ => None,
            })
            .collect();
        assert_eq!(newest, [(5, 1), (6, 2)], "{}: {found:?}", card.id);
        read += 1;
    }
    assert!(read > 120, "{read}");
}

/// One image, placed for parts of four different pages: on each of them the driver finds its records and goes on.
#[test]
fn one_image_serves_every_part_that_its_layout_names() {
    let parts = ["24lc64", "24lc256", "24lc512", "fm24cl64b"];
    let catalogue = Catalogue::embedded().unwrap();
    let layout = layout::parse("l.toml", &format!("parts = {parts:?}\n{LAYOUT}")).unwrap();
    let cards = layout.cards(&catalogue).unwrap();
    let placed = layout.place_in_all(&cards).unwrap();
    let units = units::parse("u.csv", b"unit,serial,gain\na,S-1,x 1.024\n", &layout).unwrap();
    let seats: Vec<Seat> = cards.iter().map(|card| Seat::new(card, 0, 0)).collect();
    let built =
        |seat: &Seat| build::build(&layout, &placed, &seat.geometry, Some(&units)).unwrap().built[0].image.clone();
    let image = built(&seats[0]);
    let start = placed.find("store").unwrap().offset;
    for seat in &seats {
        assert_eq!(built(seat), image, "{}", seat.card.id);
        let (rig, _) = chip(seat, 0xB1);
        let mut part = driver(&rig, seat);
        for (offset, bytes) in image.runs() {
            part.write(offset, bytes).unwrap();
        }
        let layout = RecordLayout::try_paged(&seat.geometry, placed.page_bytes, start, &SPECS).unwrap();
        let mut store = RecordStore::<_, 25>::new(part, layout);
        assert_eq!(store.increment(6).unwrap(), 42, "{}", seat.card.id);
        let mut payload = [0; 12];
        assert_eq!(store.read(5, &mut payload).unwrap().length, 9, "{}", seat.card.id);
    }
}

/// Writes in pieces of `piece` bytes, none of which looks at the part's page.
fn write_by(rig: &Rig, seat: &Seat, offset: u32, bytes: &[u8], piece: usize) {
    let (mut bus, mut delay) = (rig.bus(), rig.delay());
    for (index, part) in bytes.chunks(piece).enumerate() {
        let at = offset + (index * piece) as u32;
        let word = at.to_be_bytes();
        let header = &word[4 - usize::from(seat.geometry.word_address_bytes())..];
        let block = (at >> (8 * header.len())) << seat.geometry.block_select_shift();
        let device = seat.geometry.device_address() | block as u8;
        bus.write(device, &[header, part].concat()).unwrap();
        delay.delay_ms(200);
    }
}

fn data(length: usize, seed: u8) -> Vec<u8> {
    // No zero and no 0xFF among them, nothing printable for long.
    Draws::new(seed.into()).bytes(length).into_iter().map(|byte| 0x80 | byte & 0x7E).collect()
}

fn wraps(found: &[Found]) -> Vec<&Found> {
    found.iter().filter(|found| matches!(found.content, Content::PageWrap(_))).collect()
}

fn eeproms_with_pages(catalogue: &Catalogue) -> impl Iterator<Item = &Card> {
    catalogue
        .eeproms()
        .filter(|card| card.page_bytes.value >= 8 && card.capacity_bytes.value >= 16 * card.page_bytes.value)
}

/// On every EEPROM: firmware with a page that is two or four times too large leaves blank pages, and they are told for
/// what they are, with and without the card; the same data written well is not.
#[test]
fn a_page_taken_too_large_is_told_from_the_dump() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut told = 0;
    for card in eeproms_with_pages(&catalogue) {
        let seat = Seat::new(card, 0, 0);
        let page = card.page_bytes.value;
        for factor in [2, 4] {
            let piece = (factor * page) as usize;
            let start = seat.writable.start.next_multiple_of(piece as u32);
            let length = 4 * piece;
            if start as usize + length > seat.writable.end as usize || piece > 200 {
                continue;
            }
            let bytes = data(length, factor as u8);
            let (rig, id) = chip(&seat, 0xFF);
            write_by(&rig, &seat, start, &bytes, piece);
            let dump = rig.memory_as_read(id);
            for known in [None, Some(card)] {
                let found = look(&dump, known);
                let wraps = wraps(&found);
                assert_eq!(wraps.len(), 1, "{} x{factor}: {found:?}", card.id);
                assert_eq!(
                    wraps[0].content,
                    Content::PageWrap(Wrap::BlankPages { page_bytes: page, written_bytes: piece as u32, blocks: 4 }),
                    "{} x{factor}",
                    card.id
                );
                assert_eq!((wraps[0].offset, wraps[0].sure), (start, Certainty::Likely), "{}", card.id);
            }
            let (rig, id) = chip(&seat, 0xFF);
            driver(&rig, &seat).write(start, &bytes).unwrap();
            let found = look(&rig.memory_as_read(id), Some(card));
            assert!(wraps_none(&found), "{} written well: {found:?}", card.id);
            told += 1;
        }
    }
    assert!(told > 150, "{told}");
}

fn wraps_none(found: &[Found]) -> bool {
    wraps(found).is_empty()
}

/// A text written across a page end by a program that knows no pages.
#[test]
fn a_text_that_wrapped_is_put_together_again() {
    let catalogue = Catalogue::embedded().unwrap();
    let text = b"TI-GW3-000417";
    let mut told = 0;
    for card in eeproms_with_pages(&catalogue).filter(|card| card.page_bytes.value >= 32) {
        let seat = Seat::new(card, 0, 0);
        let page = card.page_bytes.value;
        let start = seat.writable.start.next_multiple_of(page) + page - 5;
        if start + page > seat.writable.end {
            continue;
        }
        let (rig, id) = chip(&seat, 0xFF);
        write_by(&rig, &seat, start, text, text.len());
        let found = look(&rig.memory_as_read(id), Some(card));
        let expected = Wrap::SplitText { page_bytes: page, text: "TI-GW3-000417".into() };
        assert_eq!(
            wraps(&found).first().map(|found| &found.content),
            Some(&Content::PageWrap(expected)),
            "{}",
            card.id
        );
        let (rig, id) = chip(&seat, 0xFF);
        driver(&rig, &seat).write(start, text).unwrap();
        let found = look(&rig.memory_as_read(id), Some(card));
        assert!(wraps_none(&found), "{} written well: {found:?}", card.id);
        assert!(found.iter().any(|found| matches!(&found.content, Content::Text { text } if text == "TI-GW3-000417")));
        told += 1;
    }
    assert!(told > 60, "{told}");
}

/// Firmware for twice the density reads a smaller part that is addressed alike: the dump repeats itself.
#[test]
fn a_part_read_past_its_end_is_told_from_the_dump() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut told = 0;
    for card in
        catalogue.parts().filter(|card| card.word_address_bytes.value == 2 && card.capacity_bytes.value <= 32_768)
    {
        // A part that demands zeros above its capacity repeats nothing.
        if card.block_select_bits() > 0 || card.upper_address_bits.value != UpperBits::Ignored {
            continue;
        }
        let seat = Seat::new(card, 0, 0);
        let (rig, id) = chip(&seat, 0xFF);
        let capacity = card.capacity_bytes.value;
        rig.load(id, 0, &data(capacity as usize / 2 + 3, 9));
        let mut bus = rig.bus();
        let mut dump = vec![0; 2 * capacity as usize];
        for (index, part) in dump.chunks_mut(64).enumerate() {
            let at = (index * 64) as u16;
            bus.write_read(seat.geometry.device_address(), &at.to_be_bytes(), part).unwrap();
        }
        let held = look(&dump, Some(card));
        assert_eq!(
            (&held[0].content, held[0].sure),
            (&Content::Repeats { period: capacity, copies: 2 }, Certainty::Certain),
            "{}",
            card.id
        );
        let unknown = look(&dump, None);
        assert_eq!((&unknown[0].content, unknown[0].sure), (&held[0].content, Certainty::Likely), "{}", card.id);
        // The same part read as what it is does not repeat.
        assert!(
            !matches!(look(&dump[..capacity as usize], Some(card))[0].content, Content::Repeats { .. }),
            "{}",
            card.id
        );
        told += 1;
    }
    assert!(told > 40, "{told}");
}

/// What the examples' images hold never looks like damage, on any card.
#[test]
fn images_of_the_examples_raise_no_alarm() {
    let catalogue = Catalogue::embedded().unwrap();
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/layouts");
    let mut looked = 0;
    for name in ["field-gateway", "press-counter"] {
        let layout = layout::read(format!("{folder}/{name}.toml").as_ref()).unwrap();
        let units = units::read(format!("{folder}/{name}-units.csv").as_ref(), &layout).unwrap();
        for card in catalogue.cards() {
            let Ok(placed) = layout.place(card) else { continue };
            let geometry = card.geometry([false; 3]).unwrap();
            for built in build::build(&layout, &placed, &geometry, Some(&units)).unwrap().built {
                let dump = built.image.flatten(placed.capacity_bytes, 0xFF).unwrap();
                for known in [None, Some(card)] {
                    let found = look(&dump, known);
                    let alarm = found.iter().find(|found| {
                        matches!(
                            found.content,
                            Content::PageWrap(_) | Content::Repeats { .. } | Content::DamagedRecord { .. }
                        )
                    });
                    assert!(alarm.is_none(), "{name} on {}: {alarm:?}", card.id);
                    if name == "press-counter" {
                        assert_eq!(whole(&found), Whole::Ours, "{}", card.id);
                    }
                    looked += 1;
                }
            }
        }
    }
    assert!(looked > 1000, "{looked}");
    let fram = catalogue.parts().any(|card| card.kind == Kind::Fram);
    assert!(fram, "parts without pages are among them");
}
