//! Changes to one fact of a card file, each towards worse or towards not read.

use pagewise_judge::board::Board;
use pagewise_part::card::{Card, Pointer, signal};
use toml::{Table, Value};

use super::edit::{entry, get, list, made, number, set, withhold, without_package};
use super::limits::{endurance, grade, supply, temperature, write_cycle};

/// A kind of fact that a card can hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Package,
    Pin,
    AddressRole,
    Supply,
    Grade,
    Temperature,
    Page,
    Width,
    BlockBits,
    WriteCycle,
    WpRange,
    Region,
    Pointer,
    ReadWrap,
    Endurance,
}

impl Kind {
    pub const ALL: [Self; 15] = [
        Self::Package,
        Self::Pin,
        Self::AddressRole,
        Self::Supply,
        Self::Grade,
        Self::Temperature,
        Self::Page,
        Self::Width,
        Self::BlockBits,
        Self::WriteCycle,
        Self::WpRange,
        Self::Region,
        Self::Pointer,
        Self::ReadWrap,
        Self::Endurance,
    ];
}

/// A card with one fact changed.
pub struct Mutation {
    pub kind: Kind,
    pub what: String,
    pub card: Table,
    /// What the fact is about, where that can be something that the board does not use.
    pub about: About,
}

/// What a changed fact is about, and so what can excuse an unchanged verdict.
pub enum About {
    /// Nothing excuses it.
    Everything,
    /// Runs show it: the same run on the changed chip excuses it.
    Chip,
    /// Nobody states it any more: the same run on each of these cards does, which state the worst that is met.
    ChipUnread(Vec<Table>),
    /// A package by its word.
    Package(String),
    /// The SCL rate at the board's supply.
    Grade,
    /// The supply in millivolts: not read, where none is known to begin above the first or to end below the second.
    SupplyUnread(u32, u32),
    /// The range of temperatures.
    Temperature,
    /// Rated write cycles.
    Endurance(u64),
    /// A region of this kind.
    Region(String),
}

/// Numbers that a test draws; the same for the same seed.
pub struct Draw(pub u64);

impl Draw {
    pub fn below(&mut self, end: usize) -> usize {
        // SplitMix64 (Steele, Lea, Flood 2014).
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) % end.max(1) as u64) as usize
    }

    pub fn one<T: Copy>(&mut self, all: &[T]) -> Option<T> {
        (!all.is_empty()).then(|| all[self.below(all.len())])
    }
}

/// The worst values that any card states.
#[derive(Debug, Clone, Copy)]
pub struct Worst {
    pub lowest_max_mv: u32,
    pub highest_min_mv: u32,
    pub write_cycle_ms: f64,
    /// By the number of word-address bytes.
    pub read_wrap_bytes: [i64; 4],
    pub endurance_cycles: u64,
}

/// One change of a kind, if the card holds such a fact.
pub fn draw(kind: Kind, card: &Table, board: &Board, fitted: &Card, worst: Worst, draw: &mut Draw) -> Option<Mutation> {
    let mut changed = card.clone();
    let it = &mut changed;
    let (what, about) = match kind {
        Kind::Package => package(it, board, draw)?,
        Kind::Pin => pin(it, board, draw)?,
        Kind::AddressRole => role(it, board, draw)?,
        Kind::Supply => supply(it, board, worst, draw)?,
        Kind::Grade => grade(it, draw)?,
        Kind::Temperature => temperature(it, draw)?,
        Kind::Page => {
            let page = number(it, "page_bytes")?;
            let smaller = page / draw.one(&[2, 4, page])?;
            set(it, "page_bytes", smaller);
            (format!("page of {page} now {smaller}"), About::Chip)
        }
        Kind::Width => width(it, board, draw)?,
        Kind::BlockBits => block_bits(it, draw)?,
        Kind::WriteCycle => write_cycle(it, worst, draw)?,
        Kind::WpRange => wp_range(it, draw)?,
        Kind::Region => region(it, draw)?,
        Kind::Pointer => pointer(it, fitted, draw)?,
        Kind::ReadWrap => read_wrap(it, worst, draw)?,
        Kind::Endurance => endurance(it, worst, draw)?,
    };
    (changed != *card).then_some(Mutation { kind, what, card: changed, about })
}

fn package(card: &mut Table, board: &Board, draw: &mut Draw) -> Option<(String, About)> {
    let here = board.footprint.word();
    let all = made(card);
    let others: Vec<&String> = all.iter().filter(|it| *it != here).collect();
    match draw.below(4) {
        0 => {
            let other = draw.one(&others)?.clone();
            without_package(card, &other);
            Some((format!("not made in {other}"), About::Package(other)))
        }
        1 => {
            // Another body, another order of the pins, or more leads: never the same footprint.
            let twin = match here {
                "soic-8" => "soic-8-wide",
                "tssop-8" => "tssop-8-rotated",
                "tssop-8-rotated" => "tssop-8",
                "sot-23-5" => "sot-23-6",
                "soic-14" => "dip-8",
                _ => "soic-14",
            };
            all.iter().any(|it| it == here).then_some(())?;
            without_package(card, here);
            if !others.iter().any(|it| *it == twin) {
                list(card.get_mut("packages")?.as_table_mut()?, "made")?.push(twin.into());
            }
            Some((format!("made in {twin}, not in {here}"), About::Everything))
        }
        both => {
            all.iter().any(|it| it == here).then_some(())?;
            without_package(card, here);
            if both == 2 {
                set(card, "packages.complete", false);
            }
            Some((format!("{here} not in the list, which is complete: {}", both != 2), About::Everything))
        }
    }
}

fn pin(card: &mut Table, board: &Board, draw: &mut Draw) -> Option<(String, About)> {
    let here = board.footprint.word();
    made(card).iter().any(|it| it == here).then_some(())?;
    let usual = board.footprint.usual_pins();
    let package = entry(card, here)?;
    if usual.is_none() && draw.below(3) == 0 {
        package.remove("pins")?;
        return Some((format!("pins in {here} not read"), About::Everything));
    }
    if !package.contains_key("pins") {
        let pins = usual?.into_iter().map(|(pin, signal)| (pin, Value::from(signal)));
        package.insert("pins".to_owned(), Value::Table(pins.collect()));
    }
    let pins = package.get_mut("pins")?.as_table_mut()?;
    let place = |wanted: &str| {
        let mut all = pins.iter();
        all.find(|(_, words)| words.as_str().is_some_and(|it| signal(it) == wanted)).map(|(pin, _)| pin.clone())
    };
    let (first, second) = draw.one(&[("VCC", "SCL"), ("VCC", "VSS"), ("SDA", "SCL"), ("SDA", "VSS")])?;
    let (a, b) = (place(first)?, place(second)?);
    let (at_a, at_b) = (pins[&a].clone(), pins[&b].clone());
    pins.insert(a, at_b);
    pins.insert(b, at_a);
    Some((format!("{first} and {second} exchanged in {here}"), About::Everything))
}

fn role(card: &mut Table, board: &Board, draw: &mut Draw) -> Option<(String, About)> {
    let here = board.footprint.word();
    let bits = get(card, "address_bits")?.as_str()?.to_owned();
    let tokens: Vec<&str> = bits.split_whitespace().collect();
    let at = draw.below(3);
    let with = |new: &str| {
        let mut all = tokens.clone();
        all[at] = new;
        all.join(" ")
    };
    match draw.below(3) {
        0 => {
            made(card).iter().any(|it| it == here).then_some(())?;
            let package = entry(card, here)?;
            let known = package.get("address_bits").and_then(Value::as_str).unwrap_or(&bits).to_owned();
            let mut known: Vec<&str> = known.split_whitespace().collect();
            known[at] = "?";
            package.insert("address_bits".to_owned(), known.join(" ").into());
            Some((format!("in {here} the role at place {at} not read"), About::Everything))
        }
        1 => {
            withhold(card, "address_bits")?;
            let mut cards = Vec::new();
            for other in ["x x x", "0 0 0", "A2 A1 A0", "1 1 1"] {
                let mut one = card.clone();
                set(&mut one, "address_bits", other);
                cards.push(one);
            }
            Some(("roles of the low address bits not read".into(), About::ChipUnread(cards)))
        }
        _ => {
            let new = draw.one(&["x", "0", "1", "/A0", "/A1", "/A2"])?;
            set(card, "address_bits", with(new));
            Some((format!("{bits} now {}", with(new)), About::Chip))
        }
    }
}

fn width(card: &mut Table, board: &Board, draw: &mut Draw) -> Option<(String, About)> {
    let bytes = number(card, "word_address_bytes")?;
    let other = if bytes == 1 { 2 } else { 1 };
    let mut stated = card.clone();
    set(&mut stated, "word_address_bytes", other);
    if draw.below(2) == 0 {
        withhold(card, "word_address_bytes")?;
        return Some(("word-address bytes not read".into(), About::ChipUnread(vec![stated])));
    }
    // What the firmware sends anyway is the better one.
    (other != i64::from(board.firmware.word_address_bytes)).then_some(())?;
    *card = stated;
    Some((format!("{bytes} word-address bytes now {other}"), About::Chip))
}

fn block_bits(card: &mut Table, draw: &mut Draw) -> Option<(String, About)> {
    let bits = get(card, "address_bits")?.as_str()?.to_owned();
    bits.contains('B').then_some(())?;
    let new = match draw.below(3) {
        0 => bits.replace("B0", "x"),
        1 => bits.replace("B0", "B9").replace("B1", "B0").replace("B9", "B1"),
        _ => bits.replace("B0", "0"),
    };
    set(card, "address_bits", new.clone());
    Some((format!("{bits} now {new}"), About::Chip))
}

fn wp_range(card: &mut Table, draw: &mut Draw) -> Option<(String, About)> {
    let range = get(card, "write_protect.range")?.as_str()?.to_owned();
    if draw.below(3) == 0 {
        withhold(card, "write_protect.range")?;
        let cards = ["none", "all", "upper-half", "lower-half"].map(|range| {
            let mut one = card.clone();
            set(&mut one, "write_protect.range", range);
            one
        });
        return Some(("what WP protects not read".into(), About::ChipUnread(cards.into())));
    }
    let narrower: &[&str] = match range.as_str() {
        "all" => &["upper-half", "lower-half", "upper-quarter", "none"],
        "upper-half" => &["upper-quarter", "none"],
        "none" => &[],
        _ => &["none"],
    };
    let new = draw.one(narrower)?;
    set(card, "write_protect.range", new);
    Some((format!("WP protects {range}, now {new}"), About::Chip))
}

fn region(card: &mut Table, draw: &mut Draw) -> Option<(String, About)> {
    let regions = list(card, "region")?;
    let at = draw.below(regions.len());
    let one = regions.get_mut(at)?.as_table_mut()?;
    let kind = one["kind"].as_str()?.to_owned();
    let what = match draw.below(3) {
        0 => {
            for key in ["device_code", "address_bits", "word_address"] {
                one.remove(key);
            }
            one.insert("address_read".to_owned(), false.into());
            format!("where the {kind} lies not read")
        }
        1 => {
            let first = one.get("word_address").and_then(Value::as_integer).unwrap_or(0);
            one.insert("word_address".to_owned(), (first ^ 0x40).into());
            format!("the {kind} at {first:#x} moved")
        }
        _ => {
            regions.remove(at);
            if regions.is_empty() {
                card.remove("region");
            }
            format!("no {kind}")
        }
    };
    Some((what, About::Region(kind)))
}

fn pointer(card: &mut Table, fitted: &Card, draw: &mut Draw) -> Option<(String, About)> {
    let stated = get(card, "pointer_after_write")?.as_str()?.to_owned();
    let other = if stated == "last-plus-one" { "wrapped-in-page" } else { "last-plus-one" };
    // Where firmware reads on, the pointer of the fitted part is the better one.
    let better =
        if fitted.pointer_after_write.value == Pointer::LastPlusOne { "last-plus-one" } else { "wrapped-in-page" };
    (other != better).then_some(())?;
    let mut flipped = card.clone();
    set(&mut flipped, "pointer_after_write", other);
    if draw.below(2) == 0 {
        withhold(card, "pointer_after_write")?;
        return Some(("pointer after a write not read".into(), About::ChipUnread(vec![flipped])));
    }
    *card = flipped;
    Some((format!("pointer {stated} now {other}"), About::Chip))
}

fn read_wrap(card: &mut Table, worst: Worst, draw: &mut Draw) -> Option<(String, About)> {
    let capacity = number(card, "capacity_bits")? / 8;
    let stated = number(card, "read_wrap_bytes");
    if let (Some(_), 0) = (stated, draw.below(2)) {
        withhold(card, "read_wrap_bytes")?;
        let mut narrow = card.clone();
        // Where a card leaves the width open, its size decides.
        let width = number(&narrow, "word_address_bytes").unwrap_or(if capacity > 2048 { 2 } else { 1 });
        let narrowest = worst.read_wrap_bytes[width as usize];
        set(&mut narrow, "read_wrap_bytes", narrowest.min(capacity));
        return Some(("where a read wraps not read".into(), About::ChipUnread(vec![narrow])));
    }
    let new = stated.unwrap_or(capacity) / draw.one(&[2, 4])?;
    set(card, "read_wrap_bytes", new.max(1));
    Some((format!("reads wrap at {new}"), About::Chip))
}
