//! The memory map before and after: where the firmware's regions are meant to be, and what a run left there.

use pagewise_simulator::Loss;
use serde::Serialize;

use pagewise_judge::board::Board;
use pagewise_judge::hazard::{Row, rows};
use pagewise_judge::swap::run::Played;
use pagewise_judge::swap::setup::BACKGROUND;
use pagewise_part::card::density;

/// Width of the picture, in its own units.
const WIDTH: f64 = 720.0;
/// Rows of sixteen bytes that are shown.
const MOST_ROWS: usize = 3;
/// Losses that are told.
const MOST_LOSSES: usize = 6;
/// Marks in the picture; more run together.
const MOST_MARKS: usize = 400;

/// The map of one run, ready to be written.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Map {
    /// What ran: `24LC64, firmware as it is`.
    what: String,
    /// `64 kbit = 8192 bytes`.
    density: String,
    /// Everything in words.
    words: String,
    regions: Vec<Block>,
    marks: Vec<Mark>,
    ticks: Vec<Tick>,
    /// Page ends, where they are not too close.
    pages: Vec<f64>,
    page: u32,
    /// Where the part ends, if inside the picture.
    end: Option<f64>,
    /// Bytes lost in all.
    lost: u32,
    losses: Vec<String>,
    more_losses: usize,
    rows: Vec<Bytes>,
    more_rows: usize,
    /// Bytes of the part beyond the picture.
    beyond: u32,
}

#[derive(Debug, Clone, Serialize)]
struct Block {
    x: f64,
    width: f64,
    middle: f64,
    name: String,
    /// The name, cut to the room in the picture.
    label: String,
    first: String,
    last: String,
    length: u32,
    /// Bytes of it that are not as meant.
    lost: u32,
    line_only: bool,
}

/// A stretch of bytes that are not as meant.
#[derive(Debug, Clone, Serialize)]
struct Mark {
    /// `overwritten`, `missing`, `stray` or `outside`.
    kind: &'static str,
    x: f64,
    width: f64,
}

#[derive(Debug, Clone, Serialize)]
struct Tick {
    x: f64,
    text: String,
    anchor: &'static str,
}

/// Sixteen bytes, meant above found.
#[derive(Debug, Clone, Serialize)]
struct Bytes {
    offset: String,
    meant: Vec<Cell>,
    found: Vec<Cell>,
}

#[derive(Debug, Clone, Serialize)]
struct Cell {
    text: String,
    lost: bool,
}

impl Map {
    /// Something was lost or went astray.
    pub(super) fn has_marks(&self) -> bool {
        !self.marks.is_empty()
    }

    /// Bytes lost of the region at this place of the board.
    pub(super) fn lost_of(&self, region: usize) -> u32 {
        self.regions.get(region).map_or(0, |region| region.lost)
    }
}

/// The whole picture shows offsets below this: the used part of the array, in whole pages.
pub(super) fn extent(board: &Board) -> u32 {
    board.used_bytes().max(16).div_ceil(16) * 16
}

/// Draws what a run left of the regions of a board in a part with this page.
pub(super) fn map(what: String, board: &Board, played: &Played, page: u32, extent: u32) -> Map {
    let capacity = played.found.len() as u32;
    let scale = WIDTH / f64::from(extent);
    let x = |offset: u32| (f64::from(offset) * scale * 100.0).round() / 100.0;
    let byte = |offset: u32| fate(played, board, offset);
    let stretches = stretches(extent, byte);
    let lost = |first: u32, length: u32| (first..first + length).filter(|at| byte(*at).is_some()).count() as u32;
    let regions: Vec<Block> = board
        .regions
        .iter()
        .map(|region| {
            let width = (f64::from(region.length) * scale).max(2.0);
            let room = (width / 6.6) as usize;
            let whole = region.name.chars().count() <= room;
            let name = if whole {
                region.name.clone()
            } else {
                region.name.chars().take(room.saturating_sub(1)).chain(['…']).collect()
            };
            Block {
                x: x(region.offset),
                width,
                middle: x(region.offset) + width / 2.0,
                label: if whole || room > 3 { name } else { String::new() },
                name: region.name.clone(),
                first: format!("{:#06x}", region.offset),
                last: format!("{:#06x}", region.offset + region.length - 1),
                length: region.length,
                lost: lost(region.offset, region.length),
                line_only: region.writes_per_day == 0.0,
            }
        })
        .collect();
    let page_width = f64::from(page) * scale;
    let pages = if page_width >= 5.0 {
        (1..).map(|n| n * page).take_while(|at| *at < extent.min(capacity)).map(x).collect()
    } else {
        Vec::new()
    };
    let shown: Vec<&Loss> = played.losses.iter().take(MOST_LOSSES).collect();
    let damaged = damaged_rows(played, board);
    let total: u32 = regions.iter().map(|region| region.lost).sum();
    Map {
        words: words(&regions, &what, capacity),
        what,
        density: density(capacity),
        marks: stretches
            .iter()
            .map(|(kind, first, end)| Mark { kind, x: x(*first), width: (f64::from(end - first) * scale).max(1.6) })
            .collect(),
        ticks: ticks(extent)
            .into_iter()
            .map(|at| Tick {
                x: x(at),
                text: format!("{at:#06x}"),
                anchor: if at == 0 {
                    "start"
                } else if f64::from(at) * scale > WIDTH - 24.0 {
                    "end"
                } else {
                    "middle"
                },
            })
            .collect(),
        pages,
        page,
        end: (capacity < extent).then(|| x(capacity)),
        lost: total,
        losses: shown.iter().map(|loss| loss.text.clone()).collect(),
        more_losses: played.losses.len() - shown.len(),
        more_rows: damaged.len().saturating_sub(MOST_ROWS),
        rows: damaged.iter().take(MOST_ROWS).map(bytes).collect(),
        beyond: capacity.saturating_sub(extent),
        regions,
    }
}

/// What is wrong with a byte, if anything.
fn fate(played: &Played, board: &Board, offset: u32) -> Option<&'static str> {
    let region = board.regions.iter().any(|region| (region.offset..region.offset + region.length).contains(&offset));
    let Some((found, wanted)) = played.found.get(offset as usize).zip(played.wanted.get(offset as usize)) else {
        return region.then_some("outside");
    };
    match (found == wanted, region) {
        (true, _) => None,
        (false, false) => Some("stray"),
        (false, true) if *found == BACKGROUND => Some("missing"),
        (false, true) => Some("overwritten"),
    }
}

fn stretches(extent: u32, byte: impl Fn(u32) -> Option<&'static str>) -> Vec<(&'static str, u32, u32)> {
    let mut stretches: Vec<(&'static str, u32, u32)> = Vec::new();
    for offset in 0..extent {
        let Some(kind) = byte(offset) else { continue };
        let full = stretches.len() >= MOST_MARKS;
        match stretches.last_mut() {
            Some((same, _, end)) if *same == kind && *end == offset => *end += 1,
            // Nobody can tell hundreds of marks apart.
            Some((_, _, end)) if full => *end = offset + 1,
            _ => stretches.push((kind, offset, offset + 1)),
        }
    }
    stretches
}

/// Round offsets, four to eight of them.
fn ticks(extent: u32) -> Vec<u32> {
    let step = (extent / 4).max(1).next_power_of_two().max(16);
    let step = if step * 3 > extent { step / 2 } else { step };
    (0..=extent).step_by(step.max(1) as usize).collect()
}

fn damaged_rows(played: &Played, board: &Board) -> Vec<Row> {
    let at = |memory: &[u8], offset: u32| memory.get(offset as usize).copied();
    let in_regions = || board.regions.iter().flat_map(|region| region.offset..region.offset + region.length);
    let meant = |offset| if fate_is_of_region(board, offset) { at(&played.wanted, offset) } else { None };
    rows(in_regions().filter(|offset| fate(played, board, *offset).is_some()), meant, |offset| {
        at(&played.found, offset)
    })
}

fn fate_is_of_region(board: &Board, offset: u32) -> bool {
    board.regions.iter().any(|region| (region.offset..region.offset + region.length).contains(&offset))
}

fn bytes(row: &Row) -> Bytes {
    let cells = |bytes: &[Option<u8>], none: &str| {
        let cell = |(at, byte): (usize, &Option<u8>)| Cell {
            text: byte.map_or_else(|| none.to_owned(), |byte| format!("{byte:02X}")),
            lost: row.lost(at),
        };
        bytes.iter().enumerate().map(cell).collect()
    };
    Bytes { offset: format!("{:#06x}", row.offset), meant: cells(&row.meant, "··"), found: cells(&row.found, "--") }
}

fn words(regions: &[Block], what: &str, capacity: u32) -> String {
    let region = |block: &Block| {
        let fate = match block.lost {
            0 => "intact".to_owned(),
            lost if lost == block.length => "lost".to_owned(),
            lost => format!("{lost} of {} bytes lost", block.length),
        };
        format!("{} from {} to {}: {fate}", block.name, block.first, block.last)
    };
    let regions: Vec<String> = regions.iter().map(region).collect();
    format!("{what}, {}. {}.", density(capacity), regions.join("; "))
}
