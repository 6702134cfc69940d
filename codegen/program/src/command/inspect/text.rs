//! What a dump holds, for people.

use crate::output::{Tone, paint, plain, wrapped};
use pagewise_content::inspect::edid::Edid;
use pagewise_content::inspect::fru::{Area, Fru};
use pagewise_content::inspect::record::Slot;
use pagewise_content::inspect::signature::{Place, Sighting};
use pagewise_content::inspect::spd::{Memory, Spd};
use pagewise_content::inspect::wrap::Wrap;
use pagewise_content::inspect::{Certainty, Content, Found, Whole};
use pagewise_part::card::{Card, density};

/// Characters of a text that are shown.
const SHOWN: usize = 60;
/// Stretches of unknown bytes and blanks that are shown one by one.
const MANY: usize = 40;

/// The dump as a whole, then each finding with what it rests on.
pub(super) fn text(
    file: &str,
    length: u32,
    card: Option<&Card>,
    whole: Whole,
    found: &[Found],
    sightings: &[Sighting],
) -> String {
    let size = if length.is_power_of_two() && length >= 16 { density(length) } else { format!("{length} bytes") };
    let (tone, word) = match whole {
        Whole::Empty => (Tone::Caution, "holds no byte"),
        Whole::Blank => (Tone::Good, "blank"),
        Whole::Ours => (Tone::Good, "records of the driver"),
        Whole::Foreign => (Tone::Caution, "foreign contents"),
    };
    let mut text = format!("{}  {size}  {}\n", paint(Tone::Strong, plain(file)), paint(tone, word));
    if let Some(card) = card.filter(|card| card.capacity_bytes.value != length) {
        let line = format!("{} holds {}, the dump {length} bytes", plain(&card.id), card.density());
        text += &format!("{}\n", wrapped(&line, &paint(Tone::Caution, "  note "), "       "));
    }
    for sighting in sightings {
        let (tone, word) = match sighting.place {
            Place::AsStated | Place::Open => (Tone::Good, "  found "),
            Place::Elsewhere | Place::Nowhere => (Tone::Bad, "  not   "),
        };
        text += &format!("{}\n", wrapped(&plain(&seen(sighting, found)), &paint(tone, word), "        "));
    }
    for finding in found.iter().take(MANY) {
        let sure = match finding.sure {
            _ if finding.content == Content::Unknown => paint(Tone::Faint, "unknown "),
            Certainty::Certain => paint(Tone::Good, "certain "),
            Certainty::Likely => paint(Tone::Caution, "likely  "),
            Certainty::Possible => paint(Tone::Caution, "possible"),
        };
        let place = format!("{:#06x}..{:#06x}", finding.offset, finding.offset + finding.length);
        text += &format!("\n  {place}  {sure}  {}\n", head(finding));
        for line in std::iter::once(finding.because.clone()).chain(details(&finding.content)) {
            text += &format!("{}\n", paint(Tone::Faint, wrapped(&plain(&line), "    ", "      ")));
        }
    }
    if found.len() > MANY {
        text += &format!("\n  and {} more; --json tells all\n", found.len() - MANY);
    }
    text
}

/// What became of a signature, in one sentence.
fn seen(sighting: &Sighting, found: &[Found]) -> String {
    let Sighting { region, signature, .. } = sighting;
    let stated: Vec<String> = [(sighting.offset, "the layout places it"), (sighting.at, "it lay in the old part")]
        .into_iter()
        .filter_map(|(place, word)| Some(format!("at {:#06x}, where {word}", place?)))
        .collect();
    let stated = stated.join(", nor ");
    let own = |found: &&Found| matches!(&found.content, Content::Signed { region: own, .. } if own == region);
    let shown =
        found.iter().filter(own).map(|found| format!("{:#06x}..{:#06x}", found.offset, found.offset + found.length));
    let mut shown: Vec<String> = shown.collect();
    let more = (sighting.count as usize).saturating_sub(shown.len());
    if more > 0 {
        shown.push(format!("{more} more places"));
    }
    let (shown, places) = (shown.join(", "), sighting.count);
    match sighting.place {
        Place::AsStated if places == 1 => format!("{region}: {signature} where the layout says, in {shown}"),
        Place::AsStated => format!("{region}: {signature} where the layout says, and elsewhere: {shown}"),
        Place::Open => format!("{region}: {signature} in {shown}; the layout leaves its place open"),
        Place::Elsewhere => format!("{region}: {signature} not {stated}, but in {shown}"),
        Place::Nowhere => format!("{region}: {signature} nowhere in this dump"),
    }
}

/// What was found, in one line.
fn head(found: &Found) -> String {
    let strong = |word: &str| paint(Tone::Strong, word);
    match &found.content {
        Content::Blank { byte: 0xFF } => "blank, erased".into(),
        Content::Blank { .. } => "blank, zero".into(),
        Content::Record(slot) => record(slot),
        Content::DamagedRecord { id } => format!("{} {id}, a slot that is not intact", strong("record")),
        Content::Edid(edid) => display(edid),
        Content::Fru(fru) => format!("{} with {}", strong("IPMI FRU"), areas(fru)),
        Content::Spd(spd) => module(spd),
        Content::Text { text } => format!("{} `{}`", strong("text"), short(text)),
        Content::Repeats { period, copies } => {
            let word = if found.sure >= Certainty::Likely { "capacity-alias" } else { "repeats itself" };
            format!("{}: {period} bytes, {copies} times", paint(Tone::Bad, word))
        }
        Content::PageWrap(wrap) => {
            let what = match wrap {
                Wrap::BlankPages { page_bytes, written_bytes, .. } => {
                    format!("writes of {written_bytes} bytes into pages of {page_bytes}")
                }
                Wrap::SplitText { page_bytes, .. } => format!("a text wrapped in its page of {page_bytes} bytes"),
            };
            format!("{}: {what}", paint(Tone::Bad, "page-wrap"))
        }
        Content::Signed { region, .. } => format!("{} of the layout", strong(&plain(region))),
        Content::Unknown => "bytes of no known format".into(),
    }
}

fn record(slot: &Slot) -> String {
    let newest = if slot.newest { "newest slot" } else { "older slot" };
    let count = slot.count.map_or(String::new(), |count| format!(", {count} as a counter"));
    format!("{} {}, version {}, {newest}{count}", paint(Tone::Strong, "record"), slot.id, slot.version)
}

fn display(edid: &Edid) -> String {
    let name = edid.name.as_ref().map_or(String::new(), |name| format!(" `{}`", short(name)));
    let edid_word = paint(Tone::Strong, "EDID");
    format!("{edid_word} {} of {} {:#06x}{name}, {}", edid.version, plain(&edid.manufacturer), edid.product, edid.year)
}

fn module(spd: &Spd) -> String {
    let word = match spd.memory {
        Memory::Ddr => "DDR",
        Memory::Ddr2 => "DDR2",
        Memory::Ddr3 => "DDR3",
        Memory::Ddr4 => "DDR4",
    };
    format!("{} of a {word} module", paint(Tone::Strong, "SPD"))
}

fn areas(fru: &Fru) -> String {
    let mut names: Vec<&str> = fru.areas.iter().map(|area| area.name).collect();
    names.extend(fru.internal_use_offset.map(|_| "internal use"));
    names.extend(fru.multirecord_offset.map(|_| "multirecord"));
    if names.is_empty() { "no area".into() } else { format!("areas {}", names.join(", ")) }
}

/// What a format says beside the head line.
fn details(content: &Content) -> Vec<String> {
    match content {
        Content::Fru(fru) => fru.areas.iter().flat_map(area).collect(),
        Content::Edid(edid) => edid.serial.iter().map(|serial| format!("serial {}", short(serial))).collect(),
        Content::PageWrap(_) => {
            vec!["read the part again with its own page and address width before you trust what it holds".into()]
        }
        _ => Vec::new(),
    }
}

fn area(area: &Area) -> Vec<String> {
    let fields = area.fields.iter().map(|field| format!("{} {}: {}", area.name, field.name, short(&field.value)));
    fields.collect()
}

fn short(text: &str) -> String {
    let text = plain(text);
    if text.chars().count() <= SHOWN { text } else { text.chars().take(SHOWN).chain(['…']).collect() }
}
