//! Invented parts for tests and examples.

use alloc::string::String;
use alloc::vec::Vec;

use crate::model::{
    AcLimits, BusyAnswer, ByteRange, ChipModel, CutByte, CycleUnit, DeviceBit, MemoryKind, OpenPin, PartlyProtected,
    PointerAfterWrite, ProtectedAnswer, ReadBlockBits, SpeedGrade, SupplyLimits, TornScope, UpperBits, WearUnit,
    WpSampled, WriteCycle, WriteProtect,
};

impl ChipModel {
    /// An invented 32 kbit (4096 byte) part: two word-address bytes, 32-byte pages, pins A2..A0, 5 ms write cycle.
    ///
    /// For tests and examples; it is not a card of a real part.
    #[must_use]
    pub fn example_32_kbit() -> Self {
        use DeviceBit::{Fixed, Pin};
        Self {
            name: String::from("example-32k"),
            memory: MemoryKind::Eeprom,
            capacity: 4096,
            page: 32,
            word_address_bytes: 2,
            upper_bits: UpperBits::Ignored,
            device_bits: [Fixed(true), Fixed(false), Fixed(true), Fixed(false), Pin(2), Pin(1), Pin(0)],
            open_strap: OpenPin::Random,
            write_cycle: WriteCycle {
                typical_ns: 3_000_000,
                max_ns: 5_000_000,
                per: CycleUnit::Page,
                grades: Vec::new(),
            },
            busy_answer: BusyAnswer::AnyAccess,
            write_protect: WriteProtect {
                pin_range: ByteRange { start: 0, len: 4096 },
                active_high: true,
                open_pin: OpenPin::Random,
                fixed_range: ByteRange::EMPTY,
                sampled: WpSampled::Stop,
                answer: ProtectedAnswer::AckReady,
                partial: PartlyProtected::Nothing,
            },
            pointer_after_write: PointerAfterWrite::WrappedInPage,
            read_wrap: 4096,
            read_block_bits: ReadBlockBits::Ignored,
            cut_byte: CutByte::DropsAll,
            wear_unit: WearUnit::Byte,
            endurance_cycles: 1_000_000,
            torn_scope: TornScope::Latched,
            supply: SupplyLimits { read_min_mv: 1700, write_min_mv: 1700, max_mv: 5500, brown_out: None },
            speed: alloc::vec![
                SpeedGrade { min_mv: 1700, max_mv: 2499, scl_hz: 400_000, ac: AcLimits::FAST },
                SpeedGrade { min_mv: 2500, max_mv: 5500, scl_hz: 1_000_000, ac: AcLimits::FAST_PLUS },
            ],
            min_scl_hz: 0,
            bus_timeout_ns: 0,
            power_up_ns: 1_000_000,
            regions: Vec::new(),
        }
    }

    /// The same part with an array of another size in bytes, read through as a whole and protected by WP as a whole.
    #[must_use]
    pub const fn with_capacity(mut self, capacity: u32) -> Self {
        self.capacity = capacity;
        self.read_wrap = capacity;
        self.write_protect.pin_range = ByteRange { start: 0, len: capacity };
        self
    }

    /// An invented 16 kbit (2048 byte) part: one word-address byte, three block-select bits, 16-byte pages.
    #[must_use]
    pub fn example_16_kbit() -> Self {
        use DeviceBit::{Block, Fixed};
        let mut model = Self::example_32_kbit().with_capacity(2048);
        model.name = String::from("example-16k");
        model.page = 16;
        model.word_address_bytes = 1;
        model.device_bits = [Fixed(true), Fixed(false), Fixed(true), Fixed(false), Block(2), Block(1), Block(0)];
        model
    }

    /// An invented 2 kbit (256 byte) part: one word-address byte, 8-byte pages, pins A2..A0.
    #[must_use]
    pub fn example_2_kbit() -> Self {
        let mut model = Self::example_32_kbit().with_capacity(256);
        model.name = String::from("example-2k");
        model.page = 8;
        model.word_address_bytes = 1;
        model
    }
}
