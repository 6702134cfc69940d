//! What a run depends on: a candidate's simulated chip without everything that cannot matter on this board.
//!
//! Many parts differ in what a board never notices: their name, a supply range that covers the board's supply anyway, a
//! page larger than any write, what WP would protect if it were active. Such values are set to one stand-in each, so
//! that parts that behave alike here become the same [`Part`] and are run once. The run is made with the stand-ins
//! themselves; `tests/it/memo.rs` compares it with a run of the chip as its card has it.

use pagewise_simulator::model::{
    AcLimits, BusyAnswer, ByteRange, ChipModel, CutByte, CycleUnit, DeviceBit, MemoryKind, OpenPin, PartlyProtected,
    PointerAfterWrite, ProtectedAnswer, ReadBlockBits, SpeedGrade, SupplyLimits, TornScope, WearUnit, WpSampled,
};

use crate::board::{Board, Strap, Wait, WriteShape};
use pagewise_part::card::Card;

/// Stands for the part's name in the texts of a run; no name holds this character.
pub(super) const NAME: &str = "\u{E000}";

/// A chip as one board sees it.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Part {
    /// The simulated chip.
    pub model: ChipModel,
    /// Why the part's sheet promises nothing on this board, if so.
    pub unpromised: Option<&'static str>,
}

impl Part {
    /// The part as its card has it, with `model` as its chip.
    #[must_use]
    pub fn whole(board: &Board, card: &Card, model: ChipModel) -> Self {
        Self { model, unpromised: unpromised(board, card) }
    }

    /// The same with stand-ins for all that cannot matter on this board with this firmware.
    #[must_use]
    pub fn seen_by(board: &Board, card: &Card, model: ChipModel) -> Self {
        let mut part = Self::whole(board, card, model);
        let model = &mut part.model;
        model.name = NAME.to_owned();
        model.write_cycle.max_ns = model.write_cycle.max_ns_at(board.bus.supply_mv);
        model.write_cycle.typical_ns = model.write_cycle.max_ns;
        model.write_cycle.grades.clear();
        model.cut_byte = CutByte::DropsAll;
        model.torn_scope = TornScope::Page;
        model.bus_timeout_ns = 0;
        supply(model, board);
        speed(model, board);
        wear(model, board);
        pins(model, board);
        protection(model, board);
        busy(model, board);
        page(model, board);
        part
    }
}

/// Why the part's sheet promises nothing on this board, in a way that no simulated chip shows: a pin that is not tied as
/// demanded. Such a part is taken not to work at all.
fn unpromised(board: &Board, card: &Card) -> Option<&'static str> {
    let untied = card
        .required_straps
        .iter()
        .any(|(pin, high)| board.straps[usize::from(*pin)] != if *high { Strap::Vcc } else { Strap::Gnd });
    untied.then_some("a pin is not tied as the part's sheet demands, so nothing is promised")
}

/// A limit that the supply keeps is as good as any other; one that it misses is named in the finding.
fn supply(model: &mut ChipModel, board: &Board) {
    let mv = board.bus.supply_mv;
    let SupplyLimits { read_min_mv, write_min_mv, max_mv, .. } = model.supply;
    let limit = |min_mv: u32| if min_mv <= mv { 1 } else { min_mv };
    let max_mv = if mv <= max_mv { u32::MAX } else { max_mv };
    let (read_min_mv, write_min_mv) = (limit(read_min_mv), limit(write_min_mv));
    model.supply = SupplyLimits { read_min_mv, write_min_mv, max_mv, brown_out: None };
    // A run without a first access of its own begins long after power-up.
    if board.firmware.first_access_us.is_none() {
        model.power_up_ns = 0;
    }
}

/// The grade at the board's supply, and only whether SCL keeps to it. AC limits are for the wire, which no run uses.
fn speed(model: &mut ChipModel, board: &Board) {
    let (mv, scl_hz) = (board.bus.supply_mv, board.bus.scl_khz * 1000);
    let covering = model.speed.iter().filter(|grade| (grade.min_mv..=grade.max_mv).contains(&mv));
    let fastest = covering.map(|grade| grade.scl_hz).max();
    let grade = |min_mv, scl_hz| SpeedGrade { min_mv, max_mv: u32::MAX, scl_hz, ac: AcLimits::FAST };
    let slowest = model.speed.iter().map(|grade| grade.scl_hz).min().unwrap_or(u32::MAX);
    let stand_in = match fastest {
        // The chip reports a supply that no grade covers, and goes by the slowest.
        None => grade(u32::MAX, slowest),
        Some(fastest) if fastest < scl_hz => grade(1, fastest),
        Some(_) => grade(1, u32::MAX),
    };
    model.speed = vec![stand_in];
    if scl_hz >= model.min_scl_hz {
        model.min_scl_hz = 0;
    }
}

/// A run is far from the end of any endurance, or else both the rating and its unit count.
fn wear(model: &mut ChipModel, board: &Board) {
    let firmware = &board.firmware;
    let writes: usize = board.regions.iter().map(|region| firmware.write_pieces(region).count()).sum();
    let bytes: u64 = board.regions.iter().map(|region| u64::from(region.length)).sum();
    let accesses = match model.memory {
        MemoryKind::Eeprom => writes as u64,
        // A FRAM wears with every byte, and a wrong one can be met over and over.
        MemoryKind::Fram => bytes + writes as u64,
    };
    // Half the rating is reported too; a header taken for data, and a poll taken for a write, are writes as well.
    if model.endurance_cycles / 2 > 8 * accesses + 64 {
        model.endurance_cycles = 0;
        model.wear_unit = WearUnit::Page;
    }
}

/// A pin that the board ties is as good as a fixed bit.
fn pins(model: &mut ChipModel, board: &Board) {
    let levels = levels(board, &model.device_bits);
    let tied = |pin: u8| board.straps[usize::from(pin)] != Strap::Open;
    for bit in &mut model.device_bits {
        *bit = match *bit {
            DeviceBit::Pin(pin) if tied(pin) => DeviceBit::Fixed(levels[usize::from(pin)]),
            DeviceBit::PinInverted(pin) if tied(pin) => DeviceBit::Fixed(!levels[usize::from(pin)]),
            other => other,
        };
    }
    if (0..3).all(tied) {
        model.open_strap = OpenPin::PulledLow;
    }
    if !model.device_bits.iter().any(|bit| matches!(bit, DeviceBit::Block(_))) {
        model.read_block_bits = ReadBlockBits::Ignored;
    }
}

/// WP that is never active protects nothing, and how a protected write is answered matters where there is one.
fn protection(model: &mut ChipModel, board: &Board) {
    let protect = &mut model.write_protect;
    let level = match (board.wp, protect.open_pin) {
        (Strap::Gnd, _) | (Strap::Open, OpenPin::PulledLow) => Some(false),
        (Strap::Vcc, _) | (Strap::Open, OpenPin::PulledHigh) => Some(true),
        (Strap::Gpio, _) | (Strap::Open, OpenPin::Random) => None,
    };
    if board.wp != Strap::Open {
        protect.open_pin = OpenPin::PulledLow;
    }
    if let Some(level) = level
        && level != protect.active_high
    {
        protect.pin_range = ByteRange::EMPTY;
    }
    if protect.pin_range.len > 0 || protect.fixed_range.len > 0 || !model.regions.is_empty() {
        return;
    }
    protect.active_high = level != Some(true);
    protect.sampled = WpSampled::Stop;
    protect.answer = ProtectedAnswer::AckReady;
    protect.partial = PartlyProtected::Nothing;
}

/// Whether data goes where the firmware means it, so that headers are headers and pages are pages.
fn addressed(model: &ChipModel, board: &Board) -> bool {
    let firmware = &board.firmware;
    // Data that a repeated START turns into an address can go anywhere.
    model.word_address_bytes > 0
        && model.word_address_bytes == firmware.word_address_bytes
        && firmware.write_shape != WriteShape::TwoRestarted
}

/// A page that no write crosses is as good as one that just holds the longest write, as long as nobody reads on from
/// where a write left the pointer.
fn page(model: &mut ChipModel, board: &Board) {
    let firmware = &board.firmware;
    let reads_on = firmware.reads_on_after_write || matches!(firmware.wait, Wait::PollByRead { .. });
    if model.memory != MemoryKind::Eeprom || !addressed(model, board) || reads_on {
        return;
    }
    let pieces = || board.regions.iter().flat_map(|region| firmware.write_pieces(region));
    let holds = |page: u32| pieces().all(|piece| piece.offset / page == (piece.offset + piece.length - 1) / page);
    let mut page = model.page;
    if !holds(page) {
        return;
    }
    while page > 1 && holds(page / 2) {
        page /= 2;
    }
    model.page = page;
    model.pointer_after_write = PointerAfterWrite::LastPlusOne;
}

/// Firmware that waits long enough (then it never meets the write cycle), or polls long enough with the header of the write, meets every kind of busy part
/// alike: it asks nothing else of it meanwhile.
fn busy(model: &mut ChipModel, board: &Board) {
    let waited_us = match board.firmware.wait {
        Wait::Fixed { us } => us,
        Wait::Poll { limit_us } => limit_us,
        Wait::PollByRead { .. } => return,
    };
    // Another device that answers for the part ends a poll before the part is ready.
    let answers = |address: &u8| {
        let bits = model.device_bits.iter().zip((0..7).rev());
        bits.into_iter()
            .all(|(bit, place)| !matches!(bit, DeviceBit::Fixed(level) if (address >> place & 1 == 1) != *level))
    };
    let shared = board.bus.other_addresses.iter().any(answers);
    if !shared && addressed(model, board) && u64::from(waited_us) * 1000 >= longest_ns(model) {
        model.busy_answer = BusyAnswer::AnyAccess;
        if matches!(board.firmware.wait, Wait::Fixed { .. }) {
            // Over before anybody looks, however long it takes.
            (model.write_cycle.max_ns, model.write_cycle.typical_ns) = (1, 1);
            model.write_cycle.per = CycleUnit::Page;
        }
    }
}

/// Longest time that one page write of this firmware takes.
fn longest_ns(model: &ChipModel) -> u64 {
    match model.write_cycle.per {
        CycleUnit::Page => model.write_cycle.max_ns,
        CycleUnit::Byte => model.write_cycle.max_ns * u64::from(model.page),
    }
}

/// Levels of the address pins; one of the controller is driven so that a chip with these bits answers the firmware's
/// device address. Open pins count as low.
pub(super) fn levels(board: &Board, bits: &[DeviceBit; 7]) -> [bool; 3] {
    let mut levels = board.pin_levels();
    for (place, bit) in bits.iter().enumerate() {
        let sent = board.firmware.device_address >> (6 - place) & 1 == 1;
        let (pin, high) = match *bit {
            DeviceBit::Pin(pin) => (pin, sent),
            DeviceBit::PinInverted(pin) => (pin, !sent),
            _ => continue,
        };
        if board.straps[usize::from(pin)] == Strap::Gpio {
            levels[usize::from(pin)] = high;
        }
    }
    levels
}
