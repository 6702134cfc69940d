//! From a layout and a card to offsets.

use pagewise_driver::records::{LayoutError, RecordLayout, RecordSpec};

use super::plan::{self, Class, Fixed, Item, Memory, NoRoom, Plan};
use super::{Kind, Layout, Record, Region, Separate};
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::{Access, Card, Catalogue, Kind as Memories, Wear, density};

/// A layout on a part: every region has its offset.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Cards of the parts that it holds for, at least one.
    pub parts: Vec<String>,
    /// Bytes that firmware reaches without a bank-select command; of the smallest part.
    pub capacity_bytes: u32,
    /// Page in bytes, the largest of the parts; 1 for parts without pages.
    pub page_bytes: u32,
    /// Unit that holds no region written often beside another: page, error-correction group, or 1.
    pub unit_bytes: u32,
    /// The regions in the order of the file.
    pub regions: Vec<PlacedRegion>,
    /// One past the last byte in use.
    pub end: u32,
    /// Bytes by which the end moved up so that regions written often lie apart.
    pub cost_bytes: u32,
    /// Whether no placement ends earlier.
    pub best: bool,
    /// No placement ends before this offset.
    pub bound: u32,
}

/// A region with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedRegion {
    /// The region as the file has it.
    pub region: Region,
    /// First byte.
    pub offset: u32,
    /// Bytes.
    pub length: u32,
    /// Whether the file fixes the offset.
    pub fixed: bool,
    /// Whether it is written often.
    pub often: bool,
}

impl PlacedRegion {
    /// One past the last byte.
    #[must_use]
    pub const fn end(&self) -> u32 {
        self.offset + self.length
    }
}

impl Placed {
    /// The region of this name.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<&PlacedRegion> {
        self.regions.iter().find(|placed| placed.region.name == name)
    }

    /// The regions in the order of their offsets.
    #[must_use]
    pub fn by_offset(&self) -> Vec<&PlacedRegion> {
        let mut regions: Vec<&PlacedRegion> = self.regions.iter().collect();
        regions.sort_by_key(|placed| placed.offset);
        regions
    }
}

impl Record {
    /// The record as the driver's layouts name it.
    #[must_use]
    pub const fn spec(&self) -> RecordSpec {
        RecordSpec::new(self.id, self.payload_bytes, self.slots)
    }
}

impl Layout {
    /// The parts that hold this layout at one placement; none where the file names none.
    ///
    /// # Errors
    /// Parts without a card, and parts named twice.
    pub fn cards<'c>(&self, catalogue: &'c Catalogue) -> Result<Vec<&'c Card>, Faults> {
        let (mut cards, mut faults) = (Vec::<&Card>::new(), Faults::default());
        for (index, (part, line)) in self.parts.iter().enumerate() {
            let field = format!("parts[{index}]");
            match catalogue.named(part, &self.file, *line, &field) {
                Ok(card) if cards.iter().all(|known| known.id != card.id) => cards.push(card),
                Ok(card) => faults.0.push(Fault {
                    file: self.file.clone(),
                    line: *line,
                    field,
                    reason: format!("`{}` is named twice", card.id),
                    remedy: "name each part once".into(),
                }),
                Err(fault) => faults.0.push(fault),
            }
        }
        faults.or_ok(cards)
    }

    /// Places every region in a part.
    ///
    /// # Errors
    /// As [`Layout::place_in_all`].
    pub fn place(&self, card: &Card) -> Result<Placed, Faults> {
        self.place_in_all(&[card])
    }

    /// Places every region so that it suits each of several parts: inside the smallest, apart by the largest page.
    ///
    /// Fixed offsets are kept. The others go where memory ends earliest; no page (or error-correction group, as the
    /// layout wants it) then holds a region that is written often beside one that is not.
    ///
    /// # Errors
    /// Regions that overlap, leave the part, share a page against the rule, or find no room.
    ///
    /// # Panics
    /// Without a card.
    pub fn place_in_all(&self, cards: &[&Card]) -> Result<Placed, Faults> {
        let memories = || cards.iter().map(|card| memory(self.separate, card));
        let smallest = cards.iter().min_by_key(|card| card.reachable_bytes()).expect("a layout is placed in a part");
        // Pages and groups are powers of two, so what the largest keeps apart, each of them does.
        let unit = memories().map(|memory| memory.unit).max().unwrap_or(1);
        let memory = Memory { capacity: smallest.reachable_bytes(), unit };
        let page = cards.iter().map(|card| page_bytes(card)).max().unwrap_or(1);
        let mut faults = Vec::new();
        let mut lengths = Vec::new();
        for region in &self.regions {
            match length(region, cards, page) {
                Ok(length) => lengths.push(length),
                Err(reason) => {
                    faults.push(self.fault(region, "record", reason, "correct the records or take a larger part"))
                }
            }
        }
        Faults(std::mem::take(&mut faults)).or_ok(())?;
        let sized: Vec<Sized<'_>> = self
            .regions
            .iter()
            .zip(lengths)
            .map(|(region, length)| {
                let align = if matches!(region.kind, Kind::Records(_)) { region.align.max(page) } else { region.align };
                Sized { region, length, align, often: self.is_often(region) }
            })
            .collect();
        faults.extend(self.faults_of_fixed(&sized, memory, smallest, cards));
        Faults(faults).or_ok(())?;
        let mut fixed: Vec<Fixed> = sized.iter().filter_map(Sized::fixed).collect();
        let read_only = read_only(cards).into_iter();
        fixed.extend(read_only.map(|(_, offset, length)| Fixed { offset, length, class: Class::Reserved }));
        let items: Vec<Item> = sized.iter().filter_map(Sized::item).collect();
        let plan = plan::place(&items, &fixed, memory).map_err(|no_room| self.no_room(no_room, smallest))?;
        let apart = plan::place(&items, &fixed, Memory { unit: 1, ..memory }).map_or(plan.end, |free| free.end);
        let mut offsets = plan.offsets.iter();
        let regions = sized.iter().map(|sized| PlacedRegion {
            region: sized.region.clone(),
            offset: sized.region.offset.or_else(|| offsets.next().copied()).unwrap_or(0),
            length: sized.length,
            fixed: sized.region.offset.is_some(),
            often: sized.often,
        });
        let regions = regions.collect();
        let Plan { end, bound, best, .. } = plan;
        let cost_bytes = end.saturating_sub(apart);
        let (parts, capacity_bytes) = (cards.iter().map(|card| card.id.clone()).collect(), memory.capacity);
        let (page_bytes, unit_bytes) = (page, memory.unit);
        Ok(Placed { parts, capacity_bytes, page_bytes, unit_bytes, regions, end, cost_bytes, best, bound })
    }

    fn fault(&self, region: &Region, field: &str, reason: String, remedy: &str) -> Fault {
        let index = self.regions.iter().position(|other| other.name == region.name).unwrap_or(0);
        let field = format!("region[{index}].{field}");
        Fault { file: self.file.clone(), line: region.line, field, reason, remedy: remedy.into() }
    }

    /// What is wrong with the offsets that the file fixes.
    fn faults_of_fixed(&self, sized: &[Sized<'_>], memory: Memory, card: &Card, cards: &[&Card]) -> Vec<Fault> {
        let mut faults = Vec::new();
        let mut earlier: Vec<(&Sized<'_>, u32)> = Vec::new();
        for this in sized {
            let Some(offset) = this.region.offset else { continue };
            let end = u64::from(offset) + u64::from(this.length);
            if end > u64::from(memory.capacity) {
                let reason = format!(
                    "lies at {offset:#06x}..{end:#06x}, past the end of {} ({}, reached up to {:#06x})",
                    card.id,
                    card.density(),
                    memory.capacity
                );
                faults.push(self.fault(this.region, "offset", reason, "move it or take a larger part"));
            }
            if offset % this.align != 0 {
                let reason = format!("{offset:#06x} is not a multiple of {}", this.align);
                faults.push(self.fault(
                    this.region,
                    "offset",
                    reason,
                    "move it or change `align`; records begin at a page",
                ));
            }
            for (card, start, length) in read_only(cards) {
                if u64::from(start) < end && offset < start + length {
                    let reason = format!(
                        "lies at {offset:#06x}..{end:#06x}, but {card} holds {start:#06x}..{:#06x} read-only by its maker",
                        start + length
                    );
                    faults.push(self.fault(this.region, "offset", reason, "move it"));
                }
            }
            for (other, start) in &earlier {
                faults.extend(self.fault_of_pair((this, offset), (other, *start), memory.unit));
            }
            earlier.push((this, offset));
        }
        faults
    }

    fn fault_of_pair(&self, this: (&Sized<'_>, u32), other: (&Sized<'_>, u32), unit: u32) -> Option<Fault> {
        let span =
            |(sized, offset): (&Sized<'_>, u32)| (u64::from(offset), u64::from(offset) + u64::from(sized.length));
        let ((a, b), (c, d)) = (span(this), span(other));
        let name = &other.0.region.name;
        if a < d && c < b {
            let reason =
                format!("{a:#06x}..{b:#06x} overlaps `{name}` at {c:#06x}..{d:#06x} by {} bytes", b.min(d) - a.max(c));
            return Some(self.fault(this.0.region, "offset", reason, "move one of them"));
        }
        let unit = u64::from(unit);
        let (first, second) = if a < c { ((a, b), (c, d)) } else { ((c, d), (a, b)) };
        if this.0.often == other.0.often || (first.1 - 1) / unit != second.0 / unit {
            return None;
        }
        let page = second.0 / unit * unit;
        let (often, seldom) = if this.0.often { (this.0, other.0) } else { (other.0, this.0) };
        let reason = format!(
            "shares the {unit} bytes {page:#06x}..{:#06x} with `{name}`: `{}` is written {} times a day, `{}` {}",
            page + unit,
            often.region.name,
            often.region.writes_per_day,
            seldom.region.name,
            seldom.region.writes_per_day
        );
        let remedy = "move one of them, or say what may be shared with `separate`";
        Some(self.fault(this.0.region, "offset", reason, remedy))
    }

    fn no_room(&self, no_room: NoRoom, card: &Card) -> Fault {
        let capacity = card.reachable_bytes();
        let reason = if no_room.proven {
            format!("the regions need at least {} bytes, {} has {}", no_room.needed, card.id, density(capacity))
        } else {
            format!(
                "found no placement of the regions in {} ({}); whether there is one is open",
                card.id,
                density(capacity)
            )
        };
        Fault::of_file(
            &self.file,
            reason,
            "take a larger part, shorten regions, free fixed offsets, or change `separate`",
        )
    }
}

/// A region with what the part makes of it.
struct Sized<'l> {
    region: &'l Region,
    length: u32,
    align: u32,
    often: bool,
}

impl Sized<'_> {
    fn fixed(&self) -> Option<Fixed> {
        self.region.offset.map(|offset| Fixed { offset, length: self.length, class: Class::of(self.often) })
    }

    fn item(&self) -> Option<Item> {
        let Self { length, align, often, .. } = *self;
        self.region.offset.is_none().then_some(Item { length, align, often })
    }
}

/// Page in bytes; 1 for a part without pages.
fn page_bytes(card: &Card) -> u32 {
    if card.kind == Memories::Fram { 1 } else { card.page_bytes.value }
}

/// What nobody can write in the arrays: the part, first byte and bytes. None lies beyond reach.
fn read_only<'c>(cards: &[&'c Card]) -> Vec<(&'c str, u32, u32)> {
    let of = |card: &&'c Card| read_only_of(card).map(|(offset, length)| (card.id.as_str(), offset, length));
    cards.iter().flat_map(of).collect()
}

fn read_only_of(card: &Card) -> impl Iterator<Item = (u32, u32)> + use<> {
    let regions =
        card.regions.iter().filter(|region| region.device_bits.is_none() && region.access == Access::ReadOnly);
    let stretches = regions.map(|region| (region.word_address, region.length));
    let mut all: Vec<(u32, u32)> = stretches.chain([card.fixed_range.value.bytes(card.capacity_bytes.value)]).collect();
    all.retain(|(offset, length)| *length > 0 && *offset < card.reachable_bytes());
    all.sort_unstable();
    // Joined where they overlap, so that each byte is given once.
    let mut joined: Vec<(u32, u32)> = Vec::new();
    for (offset, length) in all {
        match joined.last_mut() {
            Some((start, known)) if offset <= *start + *known => *known = (*known).max(offset + length - *start),
            _ => joined.push((offset, length)),
        }
    }
    joined.into_iter()
}

fn memory(separate: Separate, card: &Card) -> Memory {
    let unit = match (separate, card.kind, card.wear_unit.value) {
        (Separate::Nothing, ..) | (_, Memories::Fram, _) | (Separate::Group, _, Wear::Byte) => 1,
        (Separate::Group, _, Wear::Group4) => 4,
        (Separate::Page, ..) | (Separate::Group, _, Wear::Page) => page_bytes(card),
    };
    Memory { capacity: card.reachable_bytes(), unit }
}

/// Bytes that a region takes in each of the parts.
fn length(region: &Region, cards: &[&Card], page: u32) -> Result<u32, String> {
    match &region.kind {
        Kind::Field(field) | Kind::Serial(field) => Ok(field.length()),
        Kind::Eui48 => Ok(6),
        Kind::Eui64 { .. } => Ok(8),
        Kind::Crc { algorithm, .. } => Ok(algorithm.bytes()),
        Kind::Records(records) => {
            let specs: Vec<RecordSpec> = records.iter().map(Record::spec).collect();
            let end = |card: &&Card| {
                let geometry = card.geometry([false; 3]).map_err(|error| error.to_string())?;
                match RecordLayout::try_paged(&geometry, page, 0, &specs) {
                    Ok(layout) => Ok(layout.end()),
                    Err(LayoutError::TooLarge { end, .. }) => Err(format!(
                        "the records take {end} bytes on {}, which has {}",
                        card.id,
                        density(card.reachable_bytes())
                    )),
                    Err(error) => Err(error.to_string()),
                }
            };
            // They lie alike on all of them.
            cards.iter().map(end).try_fold(0, |most, end| Ok(most.max(end?)))
        }
    }
}
