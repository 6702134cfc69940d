//! Looking at dumps: nothing panics, nothing is claimed outside the dump, and random contents are not taken for a format.

use std::sync::OnceLock;

use pagewise_content::inspect::{Certainty, Content, Found, Whole, edid, fru, look, spd, whole};
use pagewise_part::card::Catalogue;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::{Index, select};
use proptest::test_runner::{Config, RngSeed};

/// A valid FRU: header and a product area with all fields empty (Quanta QSSC-S99K manual, page 120).
const FRU: [u8; 24] =
    [1, 0, 0, 0, 1, 0, 0, 0xFE, 0x01, 0x02, 0x00, 0xC0, 0xC0, 0xC0, 0xC0, 0xC0, 0xC0, 0xC0, 0xC1, 0, 0, 0, 0, 0xFC];

fn catalogue() -> &'static Catalogue {
    static CATALOGUE: OnceLock<Catalogue> = OnceLock::new();
    CATALOGUE.get_or_init(|| Catalogue::embedded().unwrap())
}

fn config(cases: u32) -> Config {
    Config { cases, rng_seed: RngSeed::Fixed(0x0D15_EA5E), failure_persistence: None, ..Config::default() }
}

/// An EDID with one extension block; checksums right.
fn display() -> Vec<u8> {
    let mut base = vec![0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x00, 0x05, 0xB4, 1, 2, 3, 4, 5, 6, 30, 27, 1, 3];
    base.resize(126, 0x5A);
    base.push(1);
    base.push(base.iter().fold(0u8, |sum, byte| sum.wrapping_sub(*byte)));
    let mut extension = vec![2; 127];
    extension.push(extension.iter().fold(0u8, |sum, byte| sum.wrapping_sub(*byte)));
    [base, extension].concat()
}

/// A record slot in format 1, as the driver documents it.
fn slot(id: u8, sequence: u32, payload: &[u8]) -> Vec<u8> {
    let mut slot = vec![0xB1, id, 7];
    slot.extend((payload.len() as u16).to_le_bytes());
    slot.extend(sequence.to_le_bytes());
    slot.extend(payload);
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&slot);
    slot.extend(crc.to_le_bytes());
    slot
}

fn inside(found: &[Found], length: usize) -> Result<(), TestCaseError> {
    for found in found {
        let end = found.offset as usize + found.length as usize;
        prop_assert!(found.length > 0 && end <= length, "{found:?} of {length}");
        prop_assert!(!found.because.is_empty());
    }
    Ok(())
}

/// A dump with valid pieces in it.
fn pieces() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        Just(display()),
        Just(FRU.to_vec()),
        (1u8..4, 1u32..9, vec(any::<u8>(), 0..40)).prop_map(|(id, sequence, payload)| slot(id, sequence, &payload)),
        "[ -~]{0,40}".prop_map(String::into_bytes),
        vec(any::<u8>(), 0..64),
        (select(vec![0u8, 0xFF]), 0usize..130).prop_map(|(byte, count)| vec![byte; count]),
    ];
    vec(piece, 0..8).prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(config(600))]

    #[test]
    fn damaged_dumps_never_panic_and_findings_lie_inside(
        dump in pieces(),
        changes in vec((any::<Index>(), any::<u8>()), 0..6),
        cut in any::<Index>(),
        part in select(vec!["", "24c00", "24lc02b", "24lc32a", "at24cm02", "fm24cl64b"]),
    ) {
        let mut dump = dump;
        if !dump.is_empty() {
            for (at, byte) in &changes {
                let at = at.index(dump.len());
                dump[at] = *byte;
            }
            dump.truncate(1 + cut.index(dump.len()));
        }
        let catalogue = catalogue();
        let found = look(&dump, catalogue.find(part));
        inside(&found, dump.len())?;
        let _ = (whole(&found), edid::read(&dump), fru::read(&dump), spd::read(&dump));
    }

    /// Every byte is told of exactly once, except by findings about the dump as a whole.
    #[test]
    fn every_byte_of_a_dump_is_told_of(dump in pieces()) {
        let found = look(&dump, None);
        let mut known = vec![0u8; dump.len()];
        let mut block = dump.len();
        for found in &found {
            match found.content {
                Content::Repeats { period, .. } => block = period as usize,
                _ => known[found.offset as usize..][..found.length as usize].iter_mut().for_each(|n| *n += 1),
            }
        }
        prop_assert!(known[..block].iter().all(|times| *times == 1), "{found:?}");
    }

    #[test]
    fn random_bytes_are_no_format(dump in vec(any::<u8>(), 64..2048)) {
        for found in look(&dump, None) {
            let claimed = !matches!(found.content, Content::Unknown | Content::Text { .. } | Content::Blank { .. });
            prop_assert!(!claimed || found.sure < Certainty::Likely, "{found:?}");
        }
    }

    #[test]
    fn intact_slots_are_found_wherever_they_begin(
        id in any::<u8>(), sequence in 1u32.., payload in vec(any::<u8>(), 0..300), at in 0usize..500,
    ) {
        let slot = slot(id, sequence, &payload);
        let mut dump = vec![0xFF; at];
        dump.extend(&slot);
        dump.resize(1024, 0xFF);
        let found = look(&dump, None);
        let records: Vec<&Found> = found.iter().filter(|found| matches!(found.content, Content::Record(_))).collect();
        prop_assert_eq!(records.len(), 1);
        let Content::Record(read) = &records[0].content else { unreachable!() };
        prop_assert_eq!((read.id, read.version, read.sequence, read.newest), (id, 7, sequence, true));
        prop_assert_eq!((records[0].offset as usize, records[0].length as usize), (at, slot.len()));
        prop_assert_eq!(whole(&found), Whole::Ours);
    }

    #[test]
    fn a_dump_of_one_block_is_told_with_its_shortest_period(
        block in vec(any::<u8>(), 1usize..2).prop_union(vec(any::<u8>(), 16usize..17)).or(vec(any::<u8>(), 128usize..129)),
        doublings in 1u32..5,
    ) {
        // A block that repeats inside itself has a shorter period, and a blank one is blank.
        let dump = block.repeat(1 << doublings);
        let found = look(&dump, None);
        let shortest = (0..).map(|k| 1usize << k).find(|n| dump.chunks(*n).all(|chunk| chunk == &dump[..*n])).unwrap();
        match &found[0].content {
            Content::Blank { .. } => prop_assert!(block.iter().all(|byte| *byte == block[0])),
            Content::Repeats { period, copies } => {
                prop_assert_eq!((*period as usize, *copies as usize), (shortest, dump.len() / shortest));
            }
            other => prop_assert!(false, "{other:?}"),
        }
    }
}

#[test]
fn a_slot_that_was_cut_is_told_beside_intact_ones() {
    let mut dump = vec![0xFF; 256];
    for (at, sequence) in [(0, 3), (64, 1), (128, 2)] {
        let slot = slot(9, sequence, b"calibration");
        dump[at..at + slot.len()].copy_from_slice(&slot);
    }
    dump[64 + 12] ^= 0x40;
    let found = look(&dump, None);
    let of = |at: u32| &found.iter().find(|found| found.offset == at).unwrap().content;
    assert_eq!(of(64), &Content::DamagedRecord { id: 9 });
    let newest = |at| matches!(of(at), Content::Record(slot) if slot.newest);
    assert_eq!((newest(0), newest(128)), (true, false));
}

/// The rules for these are recalled, not read in a source (`from_memory` in `tests/data/standards.toml`): findings say so
/// and are never certain.
#[test]
fn modules_of_other_kinds_are_told_with_a_proviso() {
    let mut ddr4 = data(512);
    ddr4[2] = 0x0C;
    let crc = crc::Crc::<u16>::new(&crc::CRC_16_XMODEM).checksum(&ddr4[..126]);
    ddr4[126..128].copy_from_slice(&crc.to_le_bytes());
    let mut ddr2 = data(256);
    ddr2[2] = 0x08;
    ddr2[63] = ddr2[..63].iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte));
    for (dump, memory, sure) in
        [(ddr4, spd::Memory::Ddr4, Certainty::Likely), (ddr2, spd::Memory::Ddr2, Certainty::Possible)]
    {
        let found = look(&dump, None);
        let Content::Spd(read) = &found[0].content else { panic!("{found:?}") };
        assert_eq!((read.memory, read.from_memory, found[0].sure), (memory, true, sure));
        assert!(found[0].because.contains("recalled, not read in a source"), "{found:?}");
        let mut changed = dump.clone();
        changed[40] ^= 4;
        assert!(!look(&changed, None).iter().any(|found| matches!(found.content, Content::Spd(_))));
    }
}

fn data(length: usize) -> Vec<u8> {
    (0..length as u32).map(|n| (n * n / 3 % 253) as u8).collect()
}

#[test]
fn a_counter_is_told_as_one() {
    let mut dump = slot(2, 5, &1234u64.to_le_bytes());
    dump.resize(128, 0xFF);
    assert!(matches!(&look(&dump, None)[0].content, Content::Record(slot) if slot.count == Some(1234)));
}

#[test]
fn the_bound_on_work_is_kept() {
    // Heads everywhere, each of which announces a long payload.
    let dump = vec![0xB1; 128 * 1024];
    assert!(!look(&dump, None).iter().any(|found| matches!(found.content, Content::Record(_))));
}
