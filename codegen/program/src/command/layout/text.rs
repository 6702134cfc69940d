//! The map of a layout for people.

use crate::output::{Align, Tone, paint, plain, table, wrapped};
use pagewise_base::words::listed;
use pagewise_content::layout::{Kind, Layout, Placed, PlacedRegion, Separate, Source};
use pagewise_part::card::density;

/// The map, then what keeping regions apart costs.
pub(super) fn text(layout: &Layout, placed: &Placed) -> String {
    let head = format!(
        "{}  {}\n{}\n\n",
        paint(Tone::Heading, plain(&layout.name)),
        plain(&layout.file),
        wrapped(
            &format!("on {}, {}{}", plain(&listed(&placed.parts)), density(placed.capacity_bytes), pages(placed)),
            "  ",
            "  "
        )
    );
    let columns = [
        ("from", Align::Left),
        ("to", Align::Left),
        ("bytes", Align::Right),
        ("region", Align::Name),
        ("kind", Align::Name),
        ("writes a day", Align::Right),
        ("value", Align::Text),
    ];
    let lines = table(&columns, rows(placed)).into_iter().map(|line| format!("  {line}\n"));
    let notes = [used(placed), apart(layout, placed), proof(placed)];
    let notes = notes.iter().filter(|note| !note.is_empty()).map(|note| wrapped(note, "  ", "  ") + "\n");
    format!("{head}{}\n{}", lines.collect::<String>(), notes.collect::<String>())
}

fn pages(placed: &Placed) -> String {
    match placed.page_bytes {
        1 => ", without pages".into(),
        bytes => format!(", pages of {bytes} bytes"),
    }
}

fn rows(placed: &Placed) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    let mut at = 0;
    for region in placed.by_offset() {
        free(&mut rows, at, region.offset);
        rows.push(row(region));
        if let Kind::Records(records) = &region.region.kind {
            for record in records {
                let what = format!("id {}, {} slots, {} bytes", record.id, record.slots, record.payload_bytes);
                let name = format!("  {}", plain(&record.name));
                let (none, value) = (String::new(), value(&record.source));
                rows.push(vec![none.clone(), none.clone(), none.clone(), name, what, none, value]);
            }
        }
        at = region.end();
    }
    free(&mut rows, at, placed.capacity_bytes);
    rows
}

fn row(placed: &PlacedRegion) -> Vec<String> {
    let often = format!("{}", placed.region.writes_per_day);
    vec![
        format!("{:#06x}", placed.offset),
        format!("{:#06x}", placed.end() - 1),
        placed.length.to_string(),
        paint(Tone::Strong, plain(&placed.region.name)),
        plain(&placed.region.kind.word()),
        if placed.often { paint(Tone::Caution, often) } else { often },
        format!("{}{}", value(&placed.region.source), if placed.fixed { ", place fixed" } else { "" }),
    ]
}

fn free(rows: &mut Vec<Vec<String>>, from: u32, to: u32) {
    if from < to {
        let cells = [format!("{from:#06x}"), format!("{:#06x}", to - 1), (to - from).to_string(), "free".to_owned()];
        rows.push(cells.iter().map(|cell| paint(Tone::Faint, cell)).collect());
    }
}

fn value(source: &Source) -> String {
    match source {
        Source::Open => "left open".into(),
        Source::Fixed(text) => {
            let text = plain(text);
            let short: String = text.chars().take(16).collect();
            if short.len() < text.len() { format!("{short}…") } else { short }
        }
        Source::Column(column) => format!("column {}", plain(column)),
        Source::File { name } => format!("file {}", plain(name)),
        Source::Dump { name, at: None } => format!("from {}", plain(name)),
        Source::Dump { name, at: Some(at) } => format!("from {} at {at:#06x}", plain(name)),
        Source::Computed => "computed".into(),
    }
}

fn used(placed: &Placed) -> String {
    let bytes: u32 = placed.regions.iter().map(|region| region.length).sum();
    format!("{bytes} bytes in {} regions, the last of them ends at {:#06x}.", placed.regions.len(), placed.end)
}

fn apart(layout: &Layout, placed: &Placed) -> String {
    let what = match layout.separate {
        Separate::Nothing => return "Nothing is kept apart.".into(),
        _ if placed.unit_bytes == 1 => return "The part wears by the byte, so nothing has to be kept apart.".into(),
        Separate::Page => format!("page of {} bytes", placed.unit_bytes),
        Separate::Group if placed.unit_bytes == placed.page_bytes => {
            format!("page of {} bytes, by which the part wears,", placed.unit_bytes)
        }
        Separate::Group => format!("error-correction group of {} bytes", placed.unit_bytes),
    };
    let often = layout.often_per_day;
    let cost = match placed.cost_bytes {
        0 => "That costs nothing".to_owned(),
        bytes => format!("That costs {bytes} bytes"),
    };
    format!("No {what} holds a region written {often} times a day or more beside one that is not. {cost}.")
}

fn proof(placed: &Placed) -> String {
    if placed.best {
        return "No placement ends earlier.".into();
    }
    format!(
        "The search was cut short: no placement ends before {:#06x}, so {} bytes at most could be gained.",
        placed.bound,
        placed.end - placed.bound
    )
}
