//! Models that differ in one axis each, and short ways to talk to them.

use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::DeviceBit::{Block, Fixed, Ignored, Pin, PinInverted};
use pagewise_simulator::model::{ByteRange, DeviceBit, MemoryKind, ReadBlockBits, Region, RegionAccess, RegionKind};
use pagewise_simulator::{
    AdjacentWrites, BitBang, BusError, ChipId, ChipModel, CycleTime, EventKind, Hazard, Note, Quirks, Rig, RigConfig,
    RigDelay, Straps, TimingParameter, WireConfig, WirePin,
};

/// 1010 and three bits that nobody looks at.
pub fn ignores_low_bits() -> ChipModel {
    let mut model = ChipModel::example_16_kbit().with_capacity(256);
    model.name = "ignores-low-bits".into();
    model.device_bits = [Fixed(true), Fixed(false), Fixed(true), Fixed(false), Ignored, Ignored, Ignored];
    model
}

/// No word-address byte: the first byte is the word address and R/W.
pub fn no_word_address() -> ChipModel {
    let mut model = ChipModel::example_2_kbit().with_capacity(128);
    model.name = "no-word-address".into();
    model.page = 4;
    model.word_address_bytes = 0;
    model.read_block_bits = ReadBlockBits::Latched;
    model.device_bits = [Block(6), Block(5), Block(4), Block(3), Block(2), Block(1), Block(0)];
    model
}

/// Two word-address bytes and a block-select bit above the pins: 1010 B0 A1 A0.
pub fn block_bit_on_top() -> ChipModel {
    let mut model = ChipModel::example_32_kbit().with_capacity(131_072);
    model.name = "block-bit-on-top".into();
    model.page = 128;
    model.read_wrap = 65_536;
    model.device_bits = [Fixed(true), Fixed(false), Fixed(true), Fixed(false), Block(0), Pin(1), Pin(0)];
    model
}

/// Three word-address bytes.
pub fn three_word_address_bytes() -> ChipModel {
    let mut model = ChipModel::example_32_kbit().with_capacity(1 << 18);
    model.name = "three-word-address-bytes".into();
    model.page = 256;
    model.word_address_bytes = 3;
    model
}

/// 0010 with an inverted pin.
pub fn other_code() -> ChipModel {
    let mut model = ChipModel::example_2_kbit();
    model.name = "other-code".into();
    model.device_bits = [Fixed(false), Fixed(false), Fixed(true), Fixed(false), PinInverted(2), Pin(1), Pin(0)];
    model
}

pub fn fram() -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    model.name = "fram".into();
    model.memory = MemoryKind::Fram;
    model
}

pub fn eeproms() -> Vec<ChipModel> {
    vec![
        ChipModel::example_32_kbit(),
        ChipModel::example_16_kbit(),
        ChipModel::example_2_kbit(),
        ignores_low_bits(),
        no_word_address(),
        block_bit_on_top(),
        three_word_address_bytes(),
        other_code(),
    ]
}

/// The device address and the header bytes for an offset, written down from the data-sheet pictures: word-address bytes
/// most significant first, the bits above them in the device address where the part looks for them.
pub fn wire_address(model: &ChipModel, offset: u32) -> (u8, Vec<u8>) {
    let count = u32::from(model.word_address_bytes);
    let header = (0..count).rev().map(|i| (offset >> (8 * i)) as u8).collect();
    let mut address = 0;
    for bit in model.device_bits {
        let level = match bit {
            Fixed(value) => value,
            Block(n) => offset >> (8 * count + u32::from(n)) & 1 == 1,
            PinInverted(_) => true,
            Pin(_) | Ignored => false,
        };
        address = address << 1 | u8::from(level);
    }
    (address, header)
}

/// A second region with one word-address byte, every bit of which is compared.
pub fn region(
    kind: RegionKind,
    bits: Option<[DeviceBit; 7]>,
    word_address: u32,
    len: u32,
    access: RegionAccess,
) -> Region {
    Region {
        kind,
        device_bits: bits,
        word_address,
        address_mask: 0xFFFF,
        word_address_bytes: 1,
        len,
        access,
        protects: ByteRange::EMPTY,
        contents: Vec::new(),
        rolls_after: 0,
        shares_pointer: false,
    }
}

/// 1011 and the pins.
pub const CODE_1011: [DeviceBit; 7] = [Fixed(true), Fixed(false), Fixed(true), Fixed(true), Pin(2), Pin(1), Pin(0)];

/// The 32 kbit example with an identification page of 32 bytes at 1011.
pub fn identification_page() -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    model.regions = vec![Region {
        address_mask: 0x1F,
        word_address_bytes: 2,
        ..region(RegionKind::IdentificationPage, Some(CODE_1011), 0, 32, RegionAccess::Lockable)
    }];
    model
}

pub struct Bench {
    pub rig: Rig,
    pub chip: ChipId,
    pub model: ChipModel,
}

impl Bench {
    pub fn new(model: ChipModel) -> Self {
        Self::wired(model, Straps::GROUND)
    }

    pub fn wired(model: ChipModel, straps: Straps) -> Self {
        let rig = Rig::new(RigConfig::default());
        let chip = rig.attach(model.clone(), straps);
        rig.set_write_cycle(chip, CycleTime::Max);
        Self { rig, chip, model }
    }

    /// Header and data in one write.
    pub fn write(&self, offset: u32, data: &[u8]) -> Result<(), BusError> {
        let (address, mut bytes) = wire_address(&self.model, offset);
        bytes.extend_from_slice(data);
        self.rig.bus().write(address, &bytes)
    }

    /// The same, and the longest write cycle waited for.
    pub fn store(&self, offset: u32, data: &[u8]) {
        self.write(offset, data).unwrap();
        self.wait();
    }

    pub fn wait(&self) {
        self.rig.advance_ns(self.model.write_cycle.max_ns * u64::from(self.model.page.max(1)));
    }

    /// Random read.
    pub fn read(&self, offset: u32, len: usize) -> Vec<u8> {
        let (address, header) = wire_address(&self.model, offset);
        let mut data = vec![0; len];
        self.rig.bus().write_read(address, &header, &mut data).unwrap();
        data
    }

    /// Current address read at the device address of offset 0.
    pub fn read_on(&self, len: usize) -> Vec<u8> {
        let mut data = vec![0; len];
        self.rig.bus().read(wire_address(&self.model, 0).0, &mut data).unwrap();
        data
    }

    /// Writes with a repeated START between them.
    pub fn restarted_writes(&self, address: u8, writes: &[&[u8]]) -> Result<(), BusError> {
        let quirks = Quirks { adjacent_writes: AdjacentWrites::Restart, ..Quirks::default() };
        let mut operations: Vec<Operation> = writes.iter().map(|bytes| Operation::Write(bytes)).collect();
        self.rig.bus_with(quirks).transaction(address, &mut operations)
    }

    pub fn memory(&self) -> Vec<u8> {
        self.rig.memory(self.chip)
    }

    pub fn hazards(&self) -> Vec<Hazard> {
        self.rig.finish().iter().map(|incident| incident.hazard).collect()
    }
}

/// The example of 32 kbit, alone on its bus.
pub fn e32() -> Bench {
    Bench::new(ChipModel::example_32_kbit())
}

/// Bytes that repeat after 251, a prime, so that nothing aliases a power of two.
pub fn pattern(len: usize) -> Vec<u8> {
    (0..len).map(|i| (i % 251) as u8).collect()
}

/// Any legal model: every axis drawn.
pub fn any_model() -> impl proptest::strategy::Strategy<Value = ChipModel> {
    use pagewise_simulator::model::*;
    use proptest::prelude::*;
    let shape = (5..17_u32, 0..9_u32, 0..3_u8, any::<bool>(), 0..4_u32);
    let wp = (any::<u32>(), any::<u32>(), any::<bool>(), 0..3_u8, any::<bool>(), any::<bool>(), any::<bool>());
    let rest = (0..3_u8, any::<bool>(), any::<bool>(), any::<bool>(), 0..9_u8, any::<bool>(), any::<bool>());
    (shape, wp, rest).prop_map(|(shape, wp, rest)| {
        let (capacity_bits, page_bits, low_bits, two_bytes, wrap_bits) = shape;
        let mut model = ChipModel::example_32_kbit();
        model.name = "drawn".into();
        model.word_address_bytes = if two_bytes || capacity_bits > 11 { 2 } else { 1 };
        model.capacity = 1 << capacity_bits;
        model.page = 1 << page_bits.min(capacity_bits);
        model.read_wrap = model.capacity >> wrap_bits.min(capacity_bits);
        let blocks = capacity_bits.saturating_sub(8 * u32::from(model.word_address_bytes)) as u8;
        for n in 0..3_u8 {
            model.device_bits[6 - usize::from(n)] = match low_bits {
                _ if n < blocks => Block(n),
                0 => Pin(n),
                1 => Ignored,
                _ => Fixed(n == 1),
            };
        }
        let (start, len, active_high, answer, data_phase, partial, fixed) = wp;
        let start = start % model.capacity;
        let range = ByteRange { start, len: len % (model.capacity / 2) % (model.capacity - start) };
        let protect = &mut model.write_protect;
        (protect.pin_range, protect.fixed_range) =
            if fixed { (ByteRange::EMPTY, range) } else { (range, ByteRange::EMPTY) };
        protect.active_high = active_high;
        protect.answer =
            [ProtectedAnswer::AckReady, ProtectedAnswer::AckBusy, ProtectedAnswer::NackData][usize::from(answer)];
        protect.sampled = if data_phase { WpSampled::DataPhase } else { WpSampled::Stop };
        protect.partial = if partial { PartlyProtected::UnprotectedOnly } else { PartlyProtected::Nothing };
        let (busy, per_byte, last_plus_one, latched, wear, fram, keeps) = rest;
        model.busy_answer =
            [BusyAnswer::AnyAccess, BusyAnswer::WritesOnly, BusyAnswer::SameControlByte][usize::from(busy)];
        model.write_cycle.per = if per_byte { CycleUnit::Byte } else { CycleUnit::Page };
        model.pointer_after_write =
            if last_plus_one { PointerAfterWrite::LastPlusOne } else { PointerAfterWrite::WrappedInPage };
        model.read_block_bits = if latched { ReadBlockBits::Latched } else { ReadBlockBits::Ignored };
        model.wear_unit = [WearUnit::Byte, WearUnit::Group(4), WearUnit::Page][usize::from(wear % 3)];
        if capacity_bits < 8 * u32::from(model.word_address_bytes) && !fram {
            model.upper_bits = [UpperBits::Ignored, UpperBits::Zero, UpperBits::SecurityCommand][usize::from(wear / 3)];
        }
        model.cut_byte = if keeps { CutByte::KeepsWhole } else { CutByte::DropsAll };
        if fram {
            model.memory = MemoryKind::Fram;
        }
        model
    })
}

/// So many cases, the same ones on every run.
pub fn cases(cases: u32) -> proptest::test_runner::Config {
    use proptest::test_runner::{Config, RngSeed};
    Config { cases, rng_seed: RngSeed::Fixed(0x24C0), failure_persistence: None, ..Config::default() }
}

/// Where two memories differ first; a dump of both would hide it.
pub fn first_difference(left: &[u8], right: &[u8]) -> Option<String> {
    if left.len() != right.len() {
        return Some(format!("{} bytes against {}", left.len(), right.len()));
    }
    let at = left.iter().zip(right).position(|(left, right)| left != right)?;
    let count = left.iter().zip(right).filter(|(left, right)| left != right).count();
    Some(format!("0x{at:04X} holds 0x{:02X} against 0x{:02X}; {count} byte(s) differ", left[at], right[at]))
}

/// A controller over the pins.
pub type Bus = BitBang<WirePin, WirePin, RigDelay>;

pub fn wired(model: ChipModel, config: WireConfig) -> (Bench, Bus) {
    let bench = Bench::new(model);
    let bus = bench.rig.bit_bang(config);
    (bench, bus)
}

pub fn timing(rig: &Rig) -> Vec<(bool, TimingParameter, u32, u64)> {
    let events = rig.trace();
    let found = events.iter().filter_map(|event| match event.kind {
        EventKind::Timing { chip, parameter, limit_ns, measured_ns } => {
            Some((chip.is_some(), parameter, limit_ns, measured_ns))
        }
        _ => None,
    });
    found.collect()
}

pub fn notes(rig: &Rig) -> Vec<Note> {
    let events = rig.trace();
    let found = events.iter().filter_map(|event| match event.kind {
        EventKind::Chip { note, .. } => Some(note),
        _ => None,
    });
    found.collect()
}
