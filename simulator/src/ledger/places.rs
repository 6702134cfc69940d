//! Which writes have to do with a place: those of one chip, filed by address, so that each lost byte is compared with
//! few of them.

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::ledger::reading::{Landing, Reading, readings};
use crate::ledger::{Attempt, Ledger};

/// Addresses of one bucket, as a power of two: short against a region, long against a page of the small parts.
pub(super) const BUCKET_BITS: u32 = 6;

/// Numbered ranges of addresses, filed by bucket.
struct Ranges {
    bucket_bits: u32,
    /// Bucket and number of the range.
    filed: Vec<(u32, usize)>,
}

impl Ranges {
    fn new(bucket_bits: u32, ranges: impl Iterator<Item = (usize, u32, usize)>) -> Self {
        let mut filed = Vec::new();
        for (number, first, len) in ranges.filter(|(_, _, len)| *len > 0) {
            let last = first.saturating_add((len - 1) as u32);
            filed.extend((first >> bucket_bits..=last >> bucket_bits).map(|bucket| (bucket, number)));
        }
        filed.sort_unstable();
        filed.dedup();
        Self { bucket_bits, filed }
    }

    /// Numbers of the ranges that may reach `at`, in ascending order; those that do are among them.
    fn near(&self, at: u32) -> impl Iterator<Item = usize> {
        let bucket = at >> self.bucket_bits;
        let from = self.filed.partition_point(|(other, _)| *other < bucket);
        self.filed[from..].iter().take_while(move |(other, _)| *other == bucket).map(|(_, number)| *number)
    }
}

/// The writes to one chip and what was meant for it, filed by address.
pub(super) struct Places<'a> {
    pub(super) chip: &'a Chip,
    /// Latest first, with the position of the attempt.
    readings: Vec<(&'a Attempt, Reading)>,
    own: Ranges,
    mistaken: Ranges,
    /// Those of both that are exactly what the ledger wanted.
    sure: Ranges,
    /// Attempts that were stored, latest first.
    stored: Vec<(&'a Attempt, Landing)>,
    landed: Ranges,
    /// The same by their data.
    by_data: BTreeMap<&'a [u8], Vec<usize>>,
    meant: Vec<(u32, &'a [u8])>,
    meant_for: Ranges,
}

impl<'a> Places<'a> {
    pub(super) fn new(ledger: &'a Ledger, index: usize, chip: &'a Chip, bucket_bits: u32) -> Self {
        let mine = || ledger.attempts.iter().rev().filter(|attempt| attempt.chip == index);
        let read = |attempt| readings(chip, attempt).into_iter().map(move |reading| (attempt, reading));
        let readings: Vec<(&Attempt, Reading)> = mine().flat_map(read).collect();
        let stored = mine().filter(|attempt| attempt.lost_to.is_none());
        let stored: Vec<_> = stored.filter_map(|attempt| Some((attempt, Landing::of(chip, attempt)?))).collect();
        let meant = ledger.meant.iter().filter(|(chip, _, _)| *chip == index);
        let meant: Vec<_> = meant.map(|(_, offset, bytes)| (*offset, bytes.as_slice())).collect();
        let all = &readings;
        let range = |number: usize| {
            let (attempt, reading) = &all[number];
            (number, reading.offset, attempt.raw.len() - reading.header)
        };
        let filed = |which: &dyn Fn(&(&Attempt, Reading)) -> bool| {
            Ranges::new(bucket_bits, (0..all.len()).filter(|number| which(&all[*number])).map(range))
        };
        let wanted: BTreeSet<(u32, &[u8])> = meant.iter().copied().collect();
        let own = filed(&|(_, reading)| reading.mistake.is_none());
        let mistaken = filed(&|(_, reading)| reading.mistake.is_some());
        let sure = filed(&|(attempt, reading)| wanted.contains(&(reading.offset, &attempt.raw[reading.header..])));
        let mut by_data: BTreeMap<&[u8], Vec<usize>> = BTreeMap::new();
        let header = usize::from(chip.model.word_address_bytes);
        for (number, (attempt, _)) in stored.iter().enumerate() {
            by_data.entry(attempt.raw.get(header..).unwrap_or_default()).or_default().push(number);
        }
        let of_stored = stored.iter().enumerate().flat_map(|(number, (attempt, landing))| {
            landing.stretches(attempt.raw.len() - header).map(|(first, len)| (number, first, len))
        });
        let of_meant = meant.iter().enumerate().map(|(number, (offset, bytes))| (number, *offset, bytes.len()));
        Self {
            chip,
            own,
            mistaken,
            sure,
            landed: Ranges::new(bucket_bits, of_stored),
            meant_for: Ranges::new(bucket_bits, of_meant),
            by_data,
            readings,
            stored,
            meant,
        }
    }

    /// Writes that the part itself may understand as meant for `at`, latest first.
    pub(super) fn own_at(&self, at: u32) -> impl Iterator<Item = (&Attempt, &Reading)> {
        self.own.near(at).map(|number| (self.readings[number].0, &self.readings[number].1))
    }

    /// Writes that a mistaken sender may have meant for `at`, latest first.
    pub(super) fn mistaken_at(&self, at: u32) -> impl Iterator<Item = (&Attempt, &Reading)> {
        self.mistaken.near(at).map(|number| (self.readings[number].0, &self.readings[number].1))
    }

    /// The latest write that put on `at` the byte which is there now, and which of its bytes that is.
    pub(super) fn last_landed(&self, at: u32) -> Option<(&Attempt, usize)> {
        let now = (at < self.chip.model.capacity).then(|| self.chip.array.get(at))?;
        let header = usize::from(self.chip.model.word_address_bytes);
        self.landed.near(at).find_map(|number| {
            let (attempt, landing) = &self.stored[number];
            let mut bytes = landing.data_at(at)?.map(|data| header + data).take_while(|i| *i < attempt.raw.len());
            bytes.find(|i| attempt.raw[*i] == now).map(|i| (*attempt, i))
        })
    }

    /// Writes that are, under this understanding of them, exactly what the ledger wanted at some place near `at`; the
    /// part's own understanding first. What the program meant with such a write is sure.
    pub(super) fn sure_at(&self, at: u32) -> impl Iterator<Item = (&Attempt, &Reading)> {
        let sure = move |own: bool| {
            let near = self.sure.near(at).map(|number| (self.readings[number].0, &self.readings[number].1));
            near.filter(move |(_, reading)| reading.mistake.is_none() == own)
        };
        sure(true).chain(sure(false))
    }

    /// Where the part put a byte that was meant for `at`, in a write of exactly the bytes that the ledger wanted there.
    pub(super) fn misplaced(&self, at: u32, byte: u8) -> Option<u32> {
        self.meant_at(at).find_map(|(offset, bytes)| {
            let landings = self.by_data.get(bytes)?.iter().map(|number| self.stored[*number].1.place(at - offset));
            landings.into_iter().find(|landed| *landed != at && !self.means(*landed, byte))
        })
    }

    /// What the ledger wanted at `at`: whole entries, the latest first.
    fn meant_at(&self, at: u32) -> impl Iterator<Item = (u32, &'a [u8])> {
        let near: Vec<usize> = self.meant_for.near(at).collect();
        let entries = near.into_iter().rev().map(|number| self.meant[number]);
        entries.filter(move |(offset, bytes)| at >= *offset && ((at - offset) as usize) < bytes.len())
    }

    /// Whether the ledger wanted this byte there at any time.
    pub(super) fn means(&self, at: u32, byte: u8) -> bool {
        self.meant_for.near(at).any(|number| {
            let (offset, bytes) = self.meant[number];
            at >= offset && bytes.get((at - offset) as usize) == Some(&byte)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ledger::reading::landing;
    use crate::model::DeviceBit::{Block, Fixed, Ignored};
    use crate::model::MemoryKind;
    use crate::rng::Rng;
    use crate::{ChipModel, CycleTime, PowerUp, Rig, RigConfig, Straps};
    use alloc::vec;
    use embedded_hal::i2c::I2c;

    /// Everything in one bucket is looking at everything.
    const ONE_BUCKET: u32 = 31;

    /// A program that gets addresses wrong in every way.
    fn confused_program(model: ChipModel, seed: u64) -> Rig {
        let rig = Rig::new(RigConfig::default());
        let capacity = u64::from(model.capacity);
        let chip = rig.attach_with(model, Straps::default(), PowerUp::Erased);
        rig.set_write_cycle(chip, CycleTime::Max);
        let (mut bus, mut rng) = (rig.bus(), Rng::new(seed));
        for _ in 0..120 {
            let offset = rng.below(capacity + capacity / 4) as u32;
            let data: Vec<u8> = (0..rng.below(90)).map(|_| rng.below(3) as u8).collect();
            rig.meant(chip, offset, &data);
            let header = rng.below(4) as usize;
            let mut bytes = offset.to_be_bytes()[4 - header..].to_vec();
            bytes.extend_from_slice(&data);
            let address = 0x50 | if rng.level() { offset >> (8 * header as u32) } else { 0 } as u8 & 0x07;
            // An error is one more thing that such a program gets wrong.
            let _ = bus.write(address, &bytes);
            rig.advance_ns(rng.below(8_000_000));
        }
        rig
    }

    fn models() -> Vec<ChipModel> {
        let two = ChipModel { page: 16, ..ChipModel::example_32_kbit().with_capacity(512) };
        let ignoring = ChipModel {
            device_bits: [Fixed(true), Fixed(false), Fixed(true), Fixed(false), Ignored, Ignored, Ignored],
            ..ChipModel::example_16_kbit().with_capacity(256)
        };
        let without = ChipModel {
            page: 4,
            word_address_bytes: 0,
            device_bits: [Block(6), Block(5), Block(4), Block(3), Block(2), Block(1), Block(0)],
            ..ChipModel::example_2_kbit().with_capacity(128)
        };
        vec![
            ChipModel { memory: MemoryKind::Fram, ..two.clone() },
            ChipModel { word_address_bytes: 3, ..two.clone() },
            two,
            ignoring,
            without,
            ChipModel::example_2_kbit(),
            ChipModel::example_16_kbit(),
        ]
    }

    #[test]
    fn filed_writes_explain_as_all_writes_do() {
        let mut explained = 0;
        for model in models() {
            for seed in 0..20 {
                let rig = confused_program(model.clone(), seed);
                let world = rig.world.borrow();
                let losses = world.ledger.explain_by(&world.chips, usize::MAX, BUCKET_BITS);
                let from_all = world.ledger.explain_by(&world.chips, usize::MAX, ONE_BUCKET);
                assert!(losses == from_all, "{}, seed {seed}", model.name);
                for most in [1, 16, usize::MAX] {
                    let first = world.ledger.explain(&world.chips, most).into_iter().next();
                    assert!(world.ledger.first_loss(&world.chips, most) == first, "{}, seed {seed}", model.name);
                }
                explained += losses.iter().filter(|loss| loss.cause.is_some()).count();
            }
        }
        assert!(explained > 1000, "{explained}");
    }

    #[test]
    fn the_latest_landing_is_found_as_by_trying_every_byte() {
        let mut found = 0;
        for model in models() {
            for seed in 0..4 {
                let rig = confused_program(model.clone(), seed);
                let world = rig.world.borrow();
                let chip = &world.chips[0];
                let places = Places::new(&world.ledger, 0, chip, BUCKET_BITS);
                for at in 0..chip.model.capacity.min(1024) {
                    let header = usize::from(chip.model.word_address_bytes);
                    let stored = world.ledger.attempts.iter().rev().filter(|attempt| attempt.lost_to.is_none());
                    let mut tried = stored.flat_map(|attempt| (header..attempt.raw.len()).map(move |i| (attempt, i)));
                    let last = tried.find(|(attempt, i)| {
                        attempt.raw[*i] == chip.array.get(at) && landing(chip, attempt, *i) == Some(at)
                    });
                    let filed = places.last_landed(at);
                    assert_eq!(filed.map(|(a, i)| (&raw const *a, i)), last.map(|(a, i)| (&raw const *a, i)));
                    found += u32::from(filed.is_some());
                }
            }
        }
        assert!(found > 1000, "{found}");
    }
}
