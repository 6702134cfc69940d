//! Board files: the bus, the fitted part, the straps, what the firmware assumes, and what is kept where.

use std::fs;
use std::path::Path;

use serde::Serialize;

use pagewise_base::fault::{Fault, Faults};
use pagewise_base::form::{Document, Form};
use pagewise_part::card::{Card, Footprint, Open, RegionKind};

/// One board, as its file describes it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Board {
    /// File as the user named it.
    pub file: String,
    /// Name of the board.
    pub name: String,
    /// Fitted part: identifier or order code of a card.
    pub fitted: String,
    /// Parts that are considered in its place; empty when every card is.
    pub candidates: Vec<String>,
    /// Footprint of the fitted part.
    pub footprint: Footprint,
    /// Years that the board must last.
    pub years: f64,
    /// Hottest air at the part in degrees Celsius, where known.
    pub temperature_c: Option<f64>,
    /// Units made per year, where known.
    pub yearly_volume: Option<u32>,
    /// Supply, speed, pull-ups and neighbours.
    pub bus: Bus,
    /// Levels of A0, A1, A2 (index = pin number).
    pub straps: [Strap; 3],
    /// Level of WP.
    pub wp: Strap,
    /// What the firmware assumes.
    pub firmware: Firmware,
    /// Regions of the array in use, in file order.
    pub regions: Vec<Region>,
    /// Second regions of the part that the firmware uses.
    pub uses: Vec<RegionKind>,
}

/// The bus around the part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bus {
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// SCL rate in kHz.
    pub scl_khz: u32,
    /// Pull-up resistor on each line in ohms.
    pub pull_up_ohm: u32,
    /// Capacitance of each line in picofarads.
    pub capacitance_pf: u32,
    /// 7-bit addresses of the other devices on the bus.
    pub other_addresses: Vec<u8>,
}

/// What a pin is tied to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Strap {
    /// Ground.
    Gnd,
    /// Supply.
    Vcc,
    /// A pin of the controller, driven by the firmware as needed.
    Gpio,
    /// Nothing.
    Open,
}

impl Strap {
    const WORDS: [(&'static str, Self); 4] =
        [("gnd", Self::Gnd), ("vcc", Self::Vcc), ("gpio", Self::Gpio), ("open", Self::Open)];

    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, strap)| *strap == self).map_or("", |(word, _)| word)
    }
}

/// What the firmware takes for granted.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize)]
pub struct Firmware {
    /// 7-bit device address, block-select bits zero.
    pub device_address: u8,
    /// Word-address bytes that it sends.
    pub word_address_bytes: u8,
    /// Block-select bits that it puts into the device address.
    pub block_select_bits: u8,
    /// Place of the lowest of them; 0 is next to R/W.
    pub block_select_shift: u8,
    /// Page at whose ends it cuts writes, in bytes; 1 for byte writes, the largest region for none.
    pub page_bytes: u32,
    /// How it waits for the write cycle.
    pub wait: Wait,
    /// Longest transfer in bytes, header included; absent for no limit.
    pub max_transfer_bytes: Option<u32>,
    /// How a write reaches the bus.
    pub write_shape: WriteShape,
    /// Block at whose ends it cuts sequential reads, in bytes; absent when it never cuts them.
    pub read_cut_bytes: Option<u32>,
    /// Whether it reads on from the pointer after a write, without sending an address.
    pub reads_on_after_write: bool,
    /// Microseconds from power good to its first access; absent when unknown.
    pub first_access_us: Option<u32>,
}

/// How the firmware waits for a write cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(tag = "policy", rename_all = "kebab-case")]
pub enum Wait {
    /// Acknowledge polling with a header-only write, up to a limit in microseconds.
    Poll {
        /// Longest time that it polls.
        limit_us: u32,
    },
    /// Acknowledge polling with a read of one byte, up to a limit in microseconds.
    PollByRead {
        /// Longest time that it polls.
        limit_us: u32,
    },
    /// A fixed delay in microseconds.
    Fixed {
        /// The delay.
        us: u32,
    },
}

/// How a page write reaches the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WriteShape {
    /// Header and data in one write.
    OneBuffer,
    /// Header and data as two writes of one transaction that the bus layer joins.
    TwoJoined,
    /// The same on a bus layer that sends a repeated START between them.
    TwoRestarted,
}

/// A region of the array in use.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Region {
    /// Name.
    pub name: String,
    /// First byte.
    pub offset: u32,
    /// Bytes.
    pub length: u32,
    /// Writes of the whole region per day at run time; 0 when only the production line writes it.
    pub writes_per_day: f64,
}

impl Board {
    /// One past the last byte in use.
    #[must_use]
    pub fn used_bytes(&self) -> u32 {
        self.regions.iter().map(|region| region.offset + region.length).max().unwrap_or(0)
    }

    /// Levels of the address pins as a part sees them: an open pin reads as its pull says, low where there is none.
    #[must_use]
    pub fn levels_for(&self, part: &Card) -> [bool; 3] {
        let mut levels = self.pin_levels();
        for (pin, strap) in self.straps.iter().enumerate() {
            if *strap == Strap::Open {
                levels[pin] = part.open_strap.value == Open::High;
            }
        }
        levels
    }

    /// Levels of the address pins, `[A0, A1, A2]`, as far as the board fixes them: open pins count as low, pins of
    /// the controller as whatever the firmware's device address asks for.
    #[must_use]
    pub fn pin_levels(&self) -> [bool; 3] {
        [0, 1, 2].map(|pin| match self.straps[pin] {
            Strap::Gnd | Strap::Open => false,
            Strap::Vcc => true,
            Strap::Gpio => self.firmware.device_address >> pin & 1 == 1,
        })
    }
}

/// Reads a board file.
///
/// # Errors
/// The file cannot be read, or everything that is wrong in it.
pub fn read(path: &Path) -> Result<Board, Faults> {
    let file = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
    parse(&file, &text)
}

/// Reads a board from the text of `file`.
///
/// # Errors
/// Everything that is wrong in it.
pub fn parse(file: &str, text: &str) -> Result<Board, Faults> {
    let document = Document::parse(file, text);
    if document.is_faulty() {
        return Err(document.finish());
    }
    let board = board(file, &document.root());
    let faults = document.finish();
    match board {
        Some(board) => faults.or_ok(board),
        None => Err(faults),
    }
}

fn board(file: &str, form: &Form<'_, '_>) -> Option<Board> {
    let (name, fitted) = (form.need_text("name"), form.need_text("fitted"));
    let candidates = form.texts("candidates");
    form.need("footprint");
    let footprint = form.choice("footprint", &Footprint::WORDS);
    form.need("years_of_life");
    let years = form.decimal("years_of_life", 0.1..=100.0);
    let temperature_c = form.decimal("temperature_c", -55.0..=150.0);
    let yearly_volume = form.integer::<u32>("yearly_volume", 0..=100_000_000);
    let bus = section(form, "bus").and_then(|table| bus(&table));
    let straps = section(form, "straps").map(|table| straps(&table));
    let firmware = section(form, "firmware").and_then(|table| firmware(&table));
    let regions = regions(form);
    let uses = uses(form);
    form.finish();
    let (straps, wp) = straps?;
    Some(Board {
        file: file.to_owned(),
        name: name?,
        fitted: fitted?,
        candidates,
        footprint: footprint?,
        years: years?,
        temperature_c,
        yearly_volume,
        bus: bus?,
        straps,
        wp,
        firmware: firmware?,
        regions,
        uses,
    })
}

fn section<'d, 't>(form: &Form<'d, 't>, key: &str) -> Option<Form<'d, 't>> {
    form.need(key);
    form.table(key)
}

fn bus(form: &Form<'_, '_>) -> Option<Bus> {
    for key in ["supply_v", "scl_khz", "pull_up_ohm", "capacitance_pf"] {
        form.need(key);
    }
    let bus = Bus {
        supply_mv: form.thousandths("supply_v", 0.9..=6.5).unwrap_or(0),
        scl_khz: form.integer("scl_khz", 1..=5000).unwrap_or(0),
        pull_up_ohm: form.integer("pull_up_ohm", 50..=1_000_000).unwrap_or(0),
        capacitance_pf: form.integer("capacitance_pf", 1..=10_000).unwrap_or(0),
        other_addresses: form.integers("other_addresses", 0..=0x7F).into_iter().map(|n| n as u8).collect(),
    };
    form.finish();
    (bus.supply_mv > 0 && bus.scl_khz > 0).then_some(bus)
}

fn straps(form: &Form<'_, '_>) -> ([Strap; 3], Strap) {
    let strap = |key: &str| form.choice(key, &Strap::WORDS).unwrap_or(Strap::Open);
    for key in ["a0", "a1", "a2", "wp"] {
        form.need(key);
    }
    let all = ([strap("a0"), strap("a1"), strap("a2")], strap("wp"));
    form.finish();
    all
}

fn firmware(form: &Form<'_, '_>) -> Option<Firmware> {
    for key in ["device_address", "word_address_bytes", "page_bytes", "wait"] {
        form.need(key);
    }
    let shapes = [
        ("one-buffer", WriteShape::OneBuffer),
        ("two-joined", WriteShape::TwoJoined),
        ("two-restarted", WriteShape::TwoRestarted),
    ];
    let device_address = form.integer("device_address", 0..=0x7F);
    let word_address_bytes = form.integer("word_address_bytes", 0..=3);
    let page_bytes = form.integer("page_bytes", 1..=16_777_216);
    let block_select_bits = form.integer("block_select_bits", 0..=7).unwrap_or(0);
    let block_select_shift = form.integer("block_select_shift", 0..=6).unwrap_or(0);
    if block_select_bits + block_select_shift > 7 {
        form.fault(
            "block_select_shift",
            "the block-select bits leave the 7-bit device address",
            "correct bits or shift",
        );
    } else if let Some(address) = device_address {
        let mask = ((1u16 << block_select_bits) - 1) << block_select_shift;
        if u16::from(address) & mask != 0 {
            form.fault(
                "device_address",
                format!("{address:#04x} sets a bit that the block-select bits occupy"),
                "write the address of block 0",
            );
        }
    }
    let wait = wait(form);
    let max_transfer_bytes = form.integer::<u32>("max_transfer_bytes", 1..=1_048_576);
    if let (Some(limit), Some(bytes)) = (max_transfer_bytes, word_address_bytes)
        && limit <= u32::from(bytes)
    {
        form.fault("max_transfer_bytes", format!("{limit} leaves no room for data after the header"), "enlarge it");
    }
    let firmware = Firmware {
        device_address: device_address.unwrap_or(0x50),
        word_address_bytes: word_address_bytes.unwrap_or(1),
        block_select_bits,
        block_select_shift,
        page_bytes: page_bytes.unwrap_or(1),
        wait: wait.unwrap_or(Wait::Fixed { us: 0 }),
        max_transfer_bytes,
        write_shape: form.choice("write_shape", &shapes).unwrap_or(WriteShape::OneBuffer),
        read_cut_bytes: form.integer("read_cut_bytes", 1..=16_777_216),
        reads_on_after_write: form.flag("reads_on_after_write").unwrap_or(false),
        first_access_us: form.integer("first_access_us", 0..=10_000_000),
    };
    if firmware.reads_on_after_write && !matches!(firmware.wait, Wait::Fixed { .. }) {
        form.fault(
            "reads_on_after_write",
            "polling moves the pointer, so reading on from it makes no sense",
            "use it with wait = \"fixed\" only",
        );
    }
    form.finish();
    (device_address.is_some() && word_address_bytes.is_some() && page_bytes.is_some() && wait.is_some())
        .then_some(firmware)
}

fn wait(form: &Form<'_, '_>) -> Option<Wait> {
    #[derive(Clone, Copy)]
    enum Policy {
        Poll,
        PollByRead,
        Fixed,
    }
    let policy =
        form.choice("wait", &[("poll", Policy::Poll), ("poll-by-read", Policy::PollByRead), ("fixed", Policy::Fixed)]);
    let us = form.thousandths("wait_ms", 0.0..=1000.0);
    match policy? {
        Policy::Fixed => {
            form.need("wait_ms");
            us.map(|us| Wait::Fixed { us })
        }
        // Without a limit of its own, firmware that polls is taken to wait for as long as it takes, at most 1 s.
        Policy::Poll => Some(Wait::Poll { limit_us: us.unwrap_or(1_000_000) }),
        Policy::PollByRead => Some(Wait::PollByRead { limit_us: us.unwrap_or(1_000_000) }),
    }
}

fn regions(form: &Form<'_, '_>) -> Vec<Region> {
    form.need("region");
    let mut regions: Vec<Region> = Vec::new();
    for table in form.tables("region") {
        table.need("offset");
        table.need("length");
        let region = Region {
            name: table.need_text("name").unwrap_or_default(),
            offset: table.integer("offset", 0..=0x00FF_FFFF).unwrap_or(0),
            length: table.integer("length", 1..=0x00FF_FFFF).unwrap_or(1),
            writes_per_day: table.decimal("writes_per_day", 0.0..=10_000_000.0).unwrap_or(0.0),
        };
        for other in &regions {
            if region.offset < other.offset + other.length && other.offset < region.offset + region.length {
                table.fault("offset", format!("overlaps the region `{}`", other.name), "move one of them");
            }
            if other.name == region.name {
                table.fault("name", format!("`{}` is used twice", region.name), "name each region once");
            }
        }
        table.finish();
        regions.push(region);
    }
    regions
}

fn uses(form: &Form<'_, '_>) -> Vec<RegionKind> {
    const WORDS: [(&str, RegionKind); 4] = [
        ("serial-number", RegionKind::SerialNumber),
        ("identification-page", RegionKind::IdentificationPage),
        ("eui-48", RegionKind::Eui48),
        ("eui-64", RegionKind::Eui64),
    ];
    let mut uses = Vec::new();
    for word in form.texts("uses") {
        match WORDS.iter().find(|(known, _)| *known == word) {
            Some((_, kind)) => uses.push(*kind),
            None => form.fault(
                "uses",
                format!("`{word}` is no second region"),
                "use serial-number, identification-page, eui-48 or eui-64",
            ),
        }
    }
    uses
}
