//! One invented board: a part first, then a bus, straps, a firmware and regions that mostly suit it.

use serde::Serialize;

use super::draw::Draw;
use crate::board::Strap;
use pagewise_part::card::{Card, CyclePer, Footprint, Open, RegionKind};

/// What the template is given. Texts are chosen here, none comes from a user.
#[derive(Debug, Serialize)]
pub(super) struct Values {
    pub(super) stem: String,
    remark: String,
    name: String,
    fitted: String,
    footprint: &'static str,
    years: u32,
    temperatures: Option<(i32, i32)>,
    yearly_volume: u32,
    uses: Vec<&'static str>,
    supply_v: String,
    scl_khz: u32,
    pull_up_ohm: u32,
    capacitance_pf: u32,
    other_addresses: Vec<String>,
    straps: [&'static str; 3],
    wp: &'static str,
    device_address: String,
    word_address_bytes: u8,
    page_bytes: u32,
    wait: &'static str,
    wait_ms: String,
    settings: Vec<Setting>,
    regions: Vec<Region>,
}

/// A setting of the firmware that most boards leave out.
#[derive(Debug, Serialize)]
struct Setting {
    name: &'static str,
    value: String,
}

#[derive(Debug, Serialize)]
struct Region {
    name: &'static str,
    offset: u32,
    length: u32,
    writes_per_day: &'static str,
}

const PRODUCTS: [&str; 24] = [
    "flow meter",
    "valve driver",
    "weigher",
    "lamp controller",
    "pump panel",
    "gas sensor",
    "door unit",
    "fan tray",
    "level probe",
    "motor node",
    "meter head",
    "press counter",
    "sensor hub",
    "spectrum head",
    "display panel",
    "rack clock",
    "battery pack",
    "chart logger",
    "dosing unit",
    "gateway",
    "oven control",
    "label printer",
    "torque cell",
    "tide gauge",
];

/// Densities in bytes with the weights that they are fitted with.
const DENSITIES: [(usize, u32); 9] =
    [(4, 128), (16, 256), (8, 512), (7, 1024), (12, 2048), (20, 4096), (14, 8192), (6, 16384), (13, 32768)];

pub(super) fn draw(draw: &mut Draw, cards: &[&Card], place: usize, seed: u64) -> Values {
    let product = draw.one(&PRODUCTS);
    let initials: String = product.split(' ').filter_map(|word| word.chars().next()).collect();
    let model = format!("{}{}", initials.to_uppercase(), place + 1);
    let (card, footprint, supply_mv) = part(draw, cards);
    let card = &card.in_footprint(footprint);
    let straps = straps(draw, card);
    let levels = [0, 1, 2].map(|pin: usize| straps[pin] == Strap::Vcc);
    let device_address = card.device_address(levels);
    let own = card.answers(levels);
    let scl_khz = [1000, 400, 100].into_iter().find(|khz| *khz <= card.scl_khz_at(supply_mv)).unwrap_or(100);
    let scl_khz =
        if draw.percent(40) { scl_khz.min(100) } else { scl_khz.min(400).max(scl_khz * u32::from(draw.percent(15))) };
    let others: [u8; 12] = [0x1E, 0x20, 0x29, 0x38, 0x44, 0x48, 0x51, 0x53, 0x57, 0x60, 0x68, 0x76];
    let mut other_addresses: Vec<u8> = Vec::new();
    for _ in 0..draw.weighted(&[(5, 0), (4, 1), (2, 2), (1, 4)]) {
        let other = draw.one(&others);
        if !own.contains(&other) && !other_addresses.contains(&other) {
            other_addresses.push(other);
        }
    }
    let page_bytes = page(draw, card);
    let reads_on = draw.percent(2) && card.word_address_bytes.value > 0;
    let (wait, wait_ms) = wait(draw, card, page_bytes, reads_on);
    let regions = regions(draw, card.capacity_bytes.value);
    let (pull_up_ohm, capacitance_pf) = pull_up(draw, scl_khz);
    Values {
        stem: format!("{:05}-{}-{}", place + 1, product.replace(' ', "-"), model.to_lowercase()),
        remark: format!("Invented from seed {seed}, board {}; no such board exists.", place + 1),
        name: format!("Tamarind Instruments {product} {model}"),
        fitted: card.name.clone(),
        footprint: footprint.word(),
        years: draw.one(&[5, 8, 10, 10, 12, 15, 20]),
        temperatures: temperatures(draw, card),
        yearly_volume: draw.one(&[1u32, 2, 5, 10]) * draw.one(&[20, 50, 100, 250, 1000]),
        uses: uses(draw, card),
        supply_v: format!("{}.{}", supply_mv / 1000, supply_mv % 1000 / 100),
        scl_khz,
        pull_up_ohm,
        capacitance_pf,
        other_addresses: other_addresses.iter().map(|address| format!("{address:#04x}")).collect(),
        straps: straps.map(Strap::word),
        wp: wp(draw, card).word(),
        device_address: format!("{device_address:#04x}"),
        word_address_bytes: card.word_address_bytes.value,
        page_bytes,
        wait,
        wait_ms,
        settings: settings(draw, card, reads_on),
        regions,
    }
}

/// A part that works at some usual supply, in a footprint that its card or the usual eight leads give.
fn part<'c>(draw: &mut Draw, cards: &[&'c Card]) -> (&'c Card, Footprint, u32) {
    loop {
        let bytes = draw.weighted(&DENSITIES);
        let mut fitting: Vec<&Card> = cards.iter().copied().filter(|card| card.capacity_bytes.value == bytes).collect();
        if fitting.is_empty() {
            fitting = cards.to_vec();
        }
        let card = draw.one(&fitting);
        let supply_mv = draw.weighted(&[(12, 3300), (4, 5000), (2, 1800), (1, 2500)]);
        let works = card.write_min_mv.value <= supply_mv && supply_mv <= card.max_mv.value;
        if works && card.scl_khz_at(supply_mv) >= 100 {
            let current = card.packages.list.iter().filter(|package| package.current);
            let small: Vec<Footprint> =
                current.map(|package| package.footprint).filter(|it| !it.has_usual_order()).collect();
            let usual = [(12, Footprint::Soic8), (4, Footprint::Tssop8), (1, Footprint::Dfn8), (1, Footprint::Dip8)];
            let footprint =
                if !small.is_empty() && draw.percent(15) { draw.one(&small) } else { draw.weighted(&usual) };
            return (card, footprint, supply_mv);
        }
    }
}

/// What most boards say: the air around them, as far as the fitted part stands it.
fn temperatures(draw: &mut Draw, card: &Card) -> Option<(i32, i32)> {
    let (low, high) = draw.one(&[(0, 50), (-10, 60), (-20, 60), (-20, 70), (-40, 85)]);
    let (coldest, hottest) = card.temperatures();
    draw.percent(70).then_some((low.max(coldest), high.min(hottest)))
}

fn straps(draw: &mut Draw, card: &Card) -> [Strap; 3] {
    [0, 1, 2].map(|pin: u8| {
        let demanded = card.required_straps.iter().find(|(demanded, _)| *demanded == pin);
        if let Some((_, high)) = demanded {
            return if *high { Strap::Vcc } else { Strap::Gnd };
        }
        let compared = card.device_bits().iter().any(|role| role.pin() == Some(pin));
        // Who fits a part without the pin may well leave the pad open.
        let open = if compared { 0 } else { 12 };
        draw.weighted(&[(80, Strap::Gnd), (8, Strap::Vcc), (open, Strap::Open)])
    })
}

fn wp(draw: &mut Draw, card: &Card) -> Strap {
    let inactive = if card.wp_active_high.value { Strap::Gnd } else { Strap::Vcc };
    let pulled = card.wp_pin && card.open_wp.value != Open::Random && !card.open_wp.is_assumed();
    draw.weighted(&[(80, inactive), (14, Strap::Gpio), (if pulled { 6 } else { 0 }, Strap::Open)])
}

/// The part's own page mostly; a smaller one of a careful firmware; twice as much of one that got by so far.
fn page(draw: &mut Draw, card: &Card) -> u32 {
    let page = card.page_bytes.value.min(card.capacity_bytes.value);
    draw.weighted(&[(76, page), (10, page.div_ceil(2)), (6, page.min(8)), (4, 1), (4, (page * 2).min(256).max(page))])
}

fn wait(draw: &mut Draw, card: &Card, page: u32, fixed: bool) -> (&'static str, String) {
    let cycle_us = match card.write_cycle_per.value {
        CyclePer::Page => card.write_cycle_max_us.value,
        CyclePer::Byte => card.write_cycle_max_us.value.saturating_mul(page),
    };
    let cycle_ms = cycle_us.div_ceil(1000).max(1);
    let way = if fixed { "fixed" } else { draw.weighted(&[(60, "poll"), (34, "fixed"), (6, "poll-by-read")]) };
    let ms = match way {
        // Some leave no margin at all.
        "fixed" => draw.weighted(&[(5, cycle_ms), (3, cycle_ms.max(10)), (1, cycle_ms * 2)]),
        _ => draw.weighted(&[(3, cycle_ms * 4), (3, 20.max(cycle_ms)), (1, cycle_ms), (1, 100.max(cycle_ms))]),
    };
    // The limit of board files.
    (way, ms.min(1000).to_string())
}

fn settings(draw: &mut Draw, card: &Card, reads_on: bool) -> Vec<Setting> {
    let mut settings = Vec::new();
    let mut set = |name, value: String| settings.push(Setting { name, value });
    if let Ok(parameters) = card.parameters([false; 3])
        && parameters.block_select_bits > 0
    {
        set("block_select_bits", parameters.block_select_bits.to_string());
        set("block_select_shift", parameters.block_select_shift.to_string());
    }
    if draw.percent(20) {
        set("max_transfer_bytes", draw.one(&[16, 32, 32, 64, 255]).to_string());
    }
    match draw.below(100) {
        0..8 => set("write_shape", "\"two-joined\"".into()),
        8..10 => set("write_shape", "\"two-restarted\"".into()),
        _ => {}
    }
    let wrap = card.read_wrap_bytes.value;
    if wrap < card.capacity_bytes.value {
        set("read_cut_bytes", wrap.to_string());
    }
    if reads_on {
        set("reads_on_after_write", "true".into());
    }
    if draw.percent(12) {
        set("first_access_us", draw.one(&[1000, 5000, 20_000, 100_000]).to_string());
    }
    settings
}

/// A resistor and lines that it pulls up in the time that the bus mode allows; one board in forty is slower.
fn pull_up(draw: &mut Draw, scl_khz: u32) -> (u32, u32) {
    let ohm = match scl_khz {
        0..=100 => draw.one(&[2200, 3300, 4700, 4700, 10_000]),
        101..=400 => draw.one(&[1800, 2200, 2200, 3300, 4700]),
        _ => draw.one(&[1800, 1800, 2200]),
    };
    let rise_ns = match scl_khz {
        0..=100 => 1000,
        101..=400 => 300,
        _ => 120,
    };
    // Rise time 0.8473 R C; a fifth is left for a part with more capacitance.
    let most_pf = (rise_ns * 1_000_000 / (ohm * 848 / 1000) * 4 / 5 / 1000).clamp(25, 200);
    if draw.percent(2) { (10_000, 200) } else { (ohm, draw.between(20, most_pf)) }
}

/// What each kind of region is like: name, usual lengths, writes per day.
const KINDS: [(&str, [u32; 4], [&str; 3]); 7] = [
    ("identity", [32, 48, 64, 128], ["0", "0", "0.01"]),
    ("calibration", [48, 128, 256, 512], ["0.01", "0.01", "0.1"]),
    ("settings", [24, 32, 64, 128], ["1", "2", "10"]),
    ("counters", [4, 8, 16, 16], ["24", "48", "288"]),
    ("network", [6, 16, 32, 64], ["0", "0.1", "0.01"]),
    ("events", [128, 256, 512, 1024], ["1", "4", "24"]),
    ("texts", [64, 100, 200, 300], ["0", "0.1", "1"]),
];

/// Regions one after another, some of them aligned, inside the part; one board in twelve keeps a long log too.
fn regions(draw: &mut Draw, capacity: u32) -> Vec<Region> {
    let mut regions: Vec<Region> = Vec::new();
    let mut next = 0;
    let start = draw.below(KINDS.len());
    for index in 0..draw.between(1, 5) as usize {
        let (name, lengths, writes) = KINDS[if index == 0 { 0 } else { (start + index) % KINDS.len() }];
        if regions.iter().any(|region| region.name == name) {
            continue;
        }
        let align = draw.one(&[1, 4, 16, 64]);
        let offset = u32::div_ceil(next, align) * align + if draw.percent(15) { capacity / 4 } else { 0 };
        let length = draw.one(&lengths).min(capacity.saturating_sub(offset));
        if length == 0 {
            break;
        }
        regions.push(Region { name, offset, length, writes_per_day: draw.one(&writes) });
        next = offset + length;
    }
    let left = capacity.saturating_sub(next);
    if left >= 512 && draw.percent(8) {
        let length = (left / draw.one(&[1, 2, 4])).min(8192);
        regions.push(Region { name: "log", offset: next, length, writes_per_day: draw.one(&["0.2", "1", "4"]) });
    }
    regions
}

fn uses(draw: &mut Draw, card: &Card) -> Vec<&'static str> {
    let word = |kind: RegionKind| match kind {
        RegionKind::SerialNumber => Some("serial-number"),
        RegionKind::IdentificationPage => Some("identification-page"),
        RegionKind::Eui48 => Some("eui-48"),
        RegionKind::Eui64 => Some("eui-64"),
        _ => None,
    };
    let mut words: Vec<&str> = card.regions.iter().filter_map(|region| word(region.kind)).collect();
    words.dedup();
    if draw.percent(60) { words } else { Vec::new() }
}
