//! A sample beside a card: what fits, what differs, and what the sample says where the sheet says nothing.

use schemars::JsonSchema;
use serde::Serialize;

use crate::facts::{BitRole, Facts, Outcome, Page};
use pagewise_part::card::{Card, Catalogue, CyclePer, Kind, Role, density};
use pagewise_part::fact::Fact;

/// How a property of the sample stands to the card's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fit {
    /// The sample does what the sheet says.
    Fits,
    /// It does not.
    Differs,
    /// The sheet read does not say, and the sample does.
    Settles,
    /// The sample does not say.
    Open,
}

/// One property of a sample beside the card's.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Line {
    /// In words.
    pub property: &'static str,
    /// What the card says.
    pub card: String,
    /// What the sample shows, or why it shows nothing.
    pub sample: String,
    /// How the one stands to the other.
    pub fit: Fit,
}

/// Compares every property that card and sample share.
#[must_use]
pub fn compare(card: &Card, facts: &Facts) -> Vec<Line> {
    let eeprom = card.kind == Kind::Eeprom;
    let mut lines = vec![
        line("word-address bytes", &card.word_address_bytes, &facts.width, |a, b| a == b, u8::to_string, u8::to_string),
        line(
            "device address",
            &card.address_bits,
            &facts.device_bits,
            |_, roles| bits_fit(card, roles),
            |_| row(card),
            roles,
        ),
        line(
            "capacity",
            &card.capacity_bytes,
            &facts.capacity,
            |_, reached| card.reachable_bytes() == *reached,
            |bytes| density(*bytes),
            |bytes| density(*bytes),
        ),
        line("page", &card.page_bytes, &facts.page, |a, b| page_fits(*a, *b), |a| format!("{a} bytes"), |b| page(*b)),
        cycle(card, facts),
    ];
    if eeprom {
        let word = of(&facts.busy, |busy| busy.word().ok_or("one device address alone does not tell which"));
        lines.push(line("answers while busy", &card.busy_answer, &word, |a, b| a == b, named, named));
        lines.push(line(
            "pointer after a write",
            &card.pointer_after_write,
            &facts.pointer,
            |a, b| a == b,
            named,
            named,
        ));
    }
    if card.block_select_bits() > 0 && card.word_address_bytes.value > 0 {
        let (a, b) = (&card.read_block_bits, &facts.read_block_bits);
        lines.push(line("block bits of a read", a, b, |a, b| a == b, named, named));
    }
    let bytes = |bytes: &u32| format!("{bytes} bytes");
    lines.push(line("a read stays inside", &card.read_wrap_bytes, &facts.read_wrap, |a, b| a == b, bytes, bytes));
    if card.wp_pin {
        let answer = of(&facts.protection, |found| found.answer.ok_or("the scratch range was not protected"));
        lines.push(line("answer to a protected write", &card.protected_answer, &answer, |a, b| a == b, named, named));
        let span = of(&facts.protection, |found| {
            let protected = found.protected.as_ref().ok_or("answers do not tell what is protected")?;
            Ok(protected.iter().map(|stretch| (stretch.start, stretch.bytes)).collect::<Vec<_>>())
        });
        let same = |card_span: &pagewise_part::card::Span, found: &Vec<(u32, u32)>| {
            let (start, length) = card_span.bytes(card.capacity_bytes.value);
            found.iter().copied().eq((length > 0).then_some((start, length)))
        };
        let ranges = |found: &Vec<(u32, u32)>| {
            let each = found.iter().map(|(start, bytes)| format!("0x{start:04X} to 0x{:04X}", start + bytes - 1));
            each.collect::<Vec<_>>().join(", ")
        };
        lines.push(line("protected by WP", &card.protect_range, &span, same, named, ranges));
    }
    lines
}

/// Cards of which the sample differs in nothing that their sheets state.
#[must_use]
pub fn fitting<'c>(catalogue: &'c Catalogue, facts: &Facts) -> Vec<&'c Card> {
    catalogue.parts().filter(|card| compare(card, facts).iter().all(|line| line.fit != Fit::Differs)).collect()
}

fn line<A, B>(
    property: &'static str,
    card: &Fact<A>,
    sample: &Outcome<B>,
    same: impl FnOnce(&A, &B) -> bool,
    of_card: impl FnOnce(&A) -> String,
    of_sample: impl FnOnce(&B) -> String,
) -> Line {
    let said = of_card(&card.value);
    let stated = if card.is_assumed() { format!("not stated; {said} is assumed") } else { said };
    let (sample, fit) = match sample {
        Outcome::Measured(value) if card.is_assumed() => (of_sample(value), Fit::Settles),
        Outcome::Measured(value) => (of_sample(value), if same(&card.value, value) { Fit::Fits } else { Fit::Differs }),
        Outcome::NotMeasured(why) => (format!("not measured: {why}"), Fit::Open),
        Outcome::NotMeasurable(why) => (format!("not measurable here: {why}"), Fit::Open),
    };
    Line { property, card: stated, sample, fit }
}

fn of<A, B>(outcome: &Outcome<A>, take: impl FnOnce(&A) -> Result<B, &'static str>) -> Outcome<B> {
    match outcome {
        Outcome::Measured(value) => take(value).map_or_else(Outcome::not, Outcome::Measured),
        Outcome::NotMeasured(why) => Outcome::NotMeasured(why.clone()),
        Outcome::NotMeasurable(why) => Outcome::NotMeasurable(why.clone()),
    }
}

/// The longest time that was met against the longest that the sheet allows.
fn cycle(card: &Card, facts: &Facts) -> Line {
    let times = if facts.page_cycle.value().is_some() { &facts.page_cycle } else { &facts.byte_cycle };
    line(
        "write cycle",
        &card.write_cycle_max_us,
        times,
        |longest, times| {
            let bytes = if card.write_cycle_per.value == CyclePer::Byte { u64::from(times.bytes) } else { 1 };
            card.kind == Kind::Eeprom && times.max_us <= u64::from(*longest) * bytes + times.resolution_us
        },
        |longest| format!("at most {}", ms(u64::from(*longest))),
        |times| {
            let (min, median, max) = (ms(times.min_us), ms(times.median_us), ms(times.max_us));
            format!("{min} to {max}, half within {median} ({} writes)", times.writes)
        },
    )
}

fn ms(us: u64) -> String {
    format!("{}.{:02} ms", us / 1000, us % 1000 / 10)
}

/// Whether each bit that was asked does what the card says.
pub(crate) fn bits_fit(card: &Card, found: &[BitRole; 7]) -> bool {
    card.device_bits().iter().zip(found).all(|(card, found)| match (card, found) {
        (_, BitRole::NotAsked) => true,
        (Role::Fixed(_) | Role::Pin(_) | Role::PinInverted(_), found) => *found == BitRole::Compared,
        (Role::Ignored, found) => *found == BitRole::Ignored,
        (Role::Block(_), found) => *found == BitRole::Block,
    })
}

const fn page_fits(card: u32, found: Page) -> bool {
    match found {
        Page::Exactly(page) => page == card,
        Page::AtLeast(page) => page <= card,
    }
}

fn page(page: Page) -> String {
    match page {
        Page::Exactly(bytes) => format!("{bytes} bytes"),
        Page::AtLeast(bytes) => format!("at least {bytes} bytes"),
    }
}

fn row(card: &Card) -> String {
    pagewise_part::card::role::row(&card.device_bits())
}

fn roles(found: &[BitRole; 7]) -> String {
    let letter = |role: &BitRole| match role {
        BitRole::Compared => "=",
        BitRole::Ignored => "x",
        BitRole::Block => "B",
        BitRole::NotAsked => "?",
    };
    let row: Vec<&str> = found.iter().map(letter).collect();
    format!("{} (= compared, x ignored, B block, ? not asked)", row.join(" "))
}

/// A word of a card.
fn named<T: Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        other => format!("{other:?}"),
    }
}
