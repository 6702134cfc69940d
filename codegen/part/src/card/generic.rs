//! One generic card per density, computed from the published cards, never typed.
//!
//! The rule, per density:
//!
//! 1. *Wiring* (word-address bytes, block-select bits and their place, device address with all pins low) cannot be
//!    averaged: the most frequent one is taken, and every part wired otherwise is named as not safe.
//! 2. Of the rest, at most a tenth is left out: one by one the part whose absence relaxes the card most, as long as
//!    one relaxes it at all. They are named.
//! 3. Of what remains, each value is the most cautious stated one: smallest page, longest write cycle, narrowest
//!    supply, slowest SCL over that supply, shortest sequential read, lowest endurance. Where the supplies have
//!    nothing in common, parts that do not run at 3.3 V are named and left aside.
//!
//! A value that no sheet states is taken from the assumption table.

use std::collections::BTreeMap;

use super::file::CardFile;
use super::role::row;
use super::{Ac, Card, Grade, Kind, NotSafe, Role, Temperatures, assume, load};
use crate::fact::{Basis, Fact};
use pagewise_base::form::Document;

/// How the identifiers of generic cards start: `any-32k`.
pub const PREFIX: &str = "any-";

/// Densities with a generic card, in bytes: 1 kbit to 2 Mbit.
pub const DENSITIES: [u32; 12] = [128, 256, 512, 1024, 2048, 4096, 8192, 16_384, 32_768, 65_536, 131_072, 262_144];

const COMMON_SUPPLY_MV: u32 = 3300;

/// Word-address bytes, block-select bits, their lowest place, device address with all pins low.
type Wiring = (u8, u8, u8, u8);

/// The generic card of every density of which at least one EEPROM is known.
#[must_use]
pub fn all(cards: &[Card]) -> Vec<Card> {
    DENSITIES.iter().filter_map(|bytes| of_density(cards, *bytes)).collect()
}

fn wiring(card: &Card) -> Option<Wiring> {
    let p = card.parameters([false; 3]).ok()?;
    let whole = p.capacity_bytes == card.capacity_bytes.value && card.required_straps.is_empty();
    whole.then_some((p.word_address_bytes, p.block_select_bits, p.block_select_shift, p.device_address))
}

/// The most cautious stated values of some cards.
#[derive(Debug, Clone, PartialEq)]
struct Values {
    page: (u32, String),
    cycle_us: Option<(u32, String)>,
    low_mv: Option<(u32, String)>,
    high_mv: Option<(u32, String)>,
    scl_khz: Option<(u32, String)>,
    wrap: Option<(u32, String)>,
    endurance: Option<(u64, String)>,
}

fn stated<T: Copy>(fact: &Fact<T>) -> Option<T> {
    (!fact.is_assumed()).then_some(fact.value)
}

fn lowest<T: Ord + Copy>(cards: &[&Card], value: impl Fn(&Card) -> Option<T>) -> Option<(T, String)> {
    cards.iter().filter_map(|card| Some((value(card)?, card.id.clone()))).min()
}

fn highest<T: Ord + Copy>(cards: &[&Card], value: impl Fn(&Card) -> Option<T>) -> Option<(T, String)> {
    let all = cards.iter().filter_map(|card| Some((value(card)?, card.id.clone())));
    all.max_by(|a, b| a.0.cmp(&b.0).then(b.1.cmp(&a.1)))
}

impl Values {
    fn of(cards: &[&Card]) -> Option<Self> {
        let low_mv = highest(cards, |card| stated(&card.write_min_mv));
        let high_mv = lowest(cards, |card| stated(&card.max_mv));
        let range = low_mv.as_ref().map_or(0, |(mv, _)| *mv)..=high_mv.as_ref().map_or(u32::MAX, |(mv, _)| *mv);
        Some(Self {
            page: lowest(cards, |card| stated(&card.page_bytes))?,
            cycle_us: highest(cards, |card| stated(&card.write_cycle_max_us).map(|_| card.longest_write_us())),
            scl_khz: lowest(cards, |card| slowest_in(card, range.start(), range.end())),
            low_mv,
            high_mv,
            wrap: lowest(cards, |card| stated(&card.read_wrap_bytes)),
            endurance: lowest(cards, |card| stated(&card.endurance_cycles)),
        })
    }

    /// How much a card with these values gives away, in doublings; supplies in volts.
    fn caution(&self) -> f64 {
        let doublings = |value: Option<u32>| value.map_or(0.0, |value| f64::from(value.max(1)).log2());
        let volts = |value: &Option<(u32, String)>| value.as_ref().map_or(0.0, |(mv, _)| f64::from(*mv) / 1000.0);
        let first = |value: &Option<(u32, String)>| value.as_ref().map(|(value, _)| *value);
        doublings(first(&self.cycle_us)) + volts(&self.low_mv)
            - volts(&self.high_mv)
            - doublings(Some(self.page.0))
            - doublings(first(&self.scl_khz))
            - doublings(first(&self.wrap))
    }

    fn supply_is_empty(&self) -> bool {
        matches!((&self.low_mv, &self.high_mv), (Some((low, _)), Some((high, _))) if low > high)
    }
}

/// The slowest stated rate over a supply range, where the card states one for any of it.
fn slowest_in(card: &Card, low_mv: &u32, high_mv: &u32) -> Option<u32> {
    if card.speed.is_assumed() {
        return None;
    }
    let ends = card.speed.value.iter().flat_map(|grade| [grade.min_mv, grade.max_mv, grade.max_mv + 1]);
    let points = ends.chain([*low_mv, *high_mv]).filter(|mv| (low_mv..=high_mv).contains(&mv));
    let stated = |mv: u32| card.grades_at(mv).filter(|grade| !grade.assumed).map(|grade| grade.scl_khz).max();
    points.filter_map(stated).min()
}

fn of_density(cards: &[Card], bytes: u32) -> Option<Card> {
    let parts: Vec<&Card> =
        cards.iter().filter(|card| card.kind == Kind::Eeprom && card.capacity_bytes.value == bytes).collect();
    let mut counts: BTreeMap<Wiring, usize> = BTreeMap::new();
    for card in &parts {
        if let Some(wiring) = wiring(card) {
            *counts.entry(wiring).or_default() += 1;
        }
    }
    let usual = counts.iter().max_by_key(|(wiring, count)| (**count, std::cmp::Reverse(**wiring))).map(|(w, _)| *w)?;
    let (mut kept, other): (Vec<&Card>, Vec<&Card>) = parts.iter().partition(|card| wiring(card) == Some(usual));
    let mut not_safe: Vec<NotSafe> =
        other.iter().map(|card| NotSafe { id: card.id.clone(), why: unlike(card) }).collect();

    let budget = kept.len() / 10;
    let mut left_out = leave_out(&mut kept, budget);
    if Values::of(&kept)?.supply_is_empty() {
        let (run, rest): (Vec<&Card>, Vec<&Card>) = kept.iter().partition(|card| {
            (card.write_min_mv.value..=card.max_mv.value).contains(&COMMON_SUPPLY_MV) || card.write_min_mv.is_assumed()
        });
        kept = run;
        left_out.extend(rest);
    }
    let values = Values::of(&kept)?;
    let card = assemble(bytes, &values, kept.len(), &parts, usual);
    not_safe.extend(left_out.iter().map(|part| NotSafe { id: part.id.clone(), why: beyond(&card, part).join(", ") }));
    not_safe.sort_by(|a, b| a.id.cmp(&b.id));
    Some(Card { not_safe_on: not_safe, ..card })
}

fn leave_out<'c>(kept: &mut Vec<&'c Card>, budget: usize) -> Vec<&'c Card> {
    let mut left_out = Vec::new();
    while left_out.len() < budget {
        let Some(now) = Values::of(kept) else { break };
        let mut best: Option<(f64, usize)> = None;
        for index in 0..kept.len() {
            let mut without = kept.clone();
            without.remove(index);
            let Some(values) = Values::of(&without) else { continue };
            let caution = values.caution();
            if caution < now.caution() && best.is_none_or(|(least, _)| caution < least) {
                best = Some((caution, index));
            }
        }
        let Some((_, index)) = best else { break };
        left_out.push(kept.remove(index));
    }
    left_out
}

fn unlike(card: &Card) -> String {
    if !card.required_straps.is_empty() {
        return "a pin must be tied to a level, and its device address is composed otherwise".into();
    }
    format!(
        "composed otherwise: {} word-address bytes, device address {} {}",
        card.word_address_bytes.value,
        row(&card.device_code.value),
        row(&card.address_bits.value)
    )
}

/// In what a part's stated values lie beyond a generic card's.
#[must_use]
pub fn beyond(generic: &Card, part: &Card) -> Vec<String> {
    let mut why = Vec::new();
    if stated(&part.page_bytes).is_some_and(|page| page < generic.page_bytes.value) {
        why.push(format!("its page is {} bytes", part.page_bytes.value));
    }
    if !part.write_cycle_max_us.is_assumed() && part.longest_write_us() > generic.write_cycle_max_us.value {
        why.push(format!("its write cycle takes up to {} ms", f64::from(part.longest_write_us()) / 1000.0));
    }
    if stated(&part.write_min_mv).is_some_and(|mv| mv > generic.write_min_mv.value) {
        why.push(format!("it needs {} V", f64::from(part.write_min_mv.value) / 1000.0));
    }
    if stated(&part.max_mv).is_some_and(|mv| mv < generic.max_mv.value) {
        why.push(format!("it stops at {} V", f64::from(part.max_mv.value) / 1000.0));
    }
    let rate = generic.speed.value.iter().map(|grade| grade.scl_khz).max().unwrap_or(0);
    if slowest_in(part, &generic.write_min_mv.value, &generic.max_mv.value).is_some_and(|khz| khz < rate) {
        why.push(format!("its SCL rate falls below {rate} kHz in this supply range"));
    }
    if stated(&part.read_wrap_bytes).is_some_and(|wrap| wrap < generic.read_wrap_bytes.value) {
        why.push(format!("its sequential read wraps after {} bytes", part.read_wrap_bytes.value));
    }
    why
}

fn assemble(bytes: u32, values: &Values, count: usize, parts: &[&Card], wiring: Wiring) -> Card {
    let (bytes_sent, blocks, shift, device_address) = wiring;
    // What no sheet states is assumed like in a card of which nothing else is known.
    let nothing_stated = CardFile {
        id: format!("{PREFIX}{}", size_word(bytes)),
        name: format!("any {}", size_word(bytes)),
        maker: "generic".into(),
        document: format!("computed from the cards of {} published parts", parts.len()),
        capacity_bits: bytes * 8,
        page_bytes: Some(values.page.0),
        word_address_bytes: Some(bytes_sent),
        device_code: Some(row(&usual_code(device_address))),
        address_bits: Some(row(&usual_bits(blocks, shift, device_address))),
        ..CardFile::default()
    };
    let card = load::complete(&Document::parse("", ""), &nothing_stated);
    let from = |what: &str, id: &str| Basis::Generic { from: format!("{what} of {count} cards, set by {id}").into() };
    let number = |value: &Option<(u32, String)>, what: &str, assumed: Fact<u32>| match value {
        Some((value, id)) => Fact { value: *value, basis: from(what, id) },
        None => assumed,
    };
    fn usual<T>(fact: Fact<T>, parts: &[&Card]) -> Fact<T> {
        Fact {
            value: fact.value,
            basis: Basis::Generic { from: format!("the usual wiring of {} cards", parts.len()).into() },
        }
    }
    let low_mv = number(&values.low_mv, "highest lower limit", card.read_min_mv);
    let assumed_high = card.max_mv.map(|mv| low_mv.value.max(*mv));
    let high_mv = number(&values.high_mv, "lowest upper limit", assumed_high);
    let scl = number(&values.scl_khz, "slowest SCL", assume::SCL_KHZ.fact());
    let grade = |khz: &u32| {
        let (min_mv, max_mv, at) = (low_mv.value, high_mv.value, Temperatures::default());
        vec![Grade { min_mv, max_mv, at, scl_khz: *khz, ac: Ac::default(), assumed: false }]
    };
    let cycle = number(&values.cycle_us, "longest write cycle", card.write_cycle_max_us);
    Card {
        capacity_bytes: usual(card.capacity_bytes, parts),
        page_bytes: Fact { value: values.page.0, basis: from("smallest page", &values.page.1) },
        word_address_bytes: usual(card.word_address_bytes, parts),
        device_code: usual(card.device_code, parts),
        address_bits: usual(card.address_bits, parts),
        write_cycle_typ_us: cycle.clone(),
        write_cycle_max_us: cycle,
        read_wrap_bytes: number(&values.wrap, "shortest sequential read", card.read_wrap_bytes),
        endurance_cycles: match &values.endurance {
            Some((value, id)) => Fact { value: *value, basis: from("lowest endurance", id) },
            None => card.endurance_cycles,
        },
        speed: scl.map(grade),
        read_min_mv: low_mv.clone(),
        write_min_mv: low_mv,
        max_mv: high_mv,
        ..card
    }
}

fn usual_code(device_address: u8) -> [Role; 4] {
    [6, 5, 4, 3].map(|place| Role::Fixed(device_address >> place & 1 == 1))
}

fn usual_bits(blocks: u8, shift: u8, device_address: u8) -> [Role; 3] {
    [2u8, 1, 0].map(|place| {
        if place >= shift && place - shift < blocks {
            Role::Block(place - shift)
        } else if device_address >> place & 1 == 1 {
            Role::Fixed(true)
        } else {
            Role::Pin(place)
        }
    })
}

/// `32k`, `1m`: a density as identifiers write it.
#[must_use]
pub fn size_word(bytes: u32) -> String {
    let kilobits = bytes / 128;
    if kilobits >= 1024 { format!("{}m", kilobits / 1024) } else { format!("{kilobits}k") }
}
