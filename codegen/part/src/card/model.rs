//! From a card to the simulated chip. Apart from [`super::geometry`] on purpose; see there.

use pagewise_simulator::model::{
    AcLimits, BrownOut, BusyAnswer, ByteRange, ChipModel, CutByte, CycleGrade, CycleUnit, DeviceBit, MemoryKind,
    OpenPin, PartlyProtected, PointerAfterWrite, ProtectedAnswer, ReadBlockBits, RegionAccess,
    RegionKind as SimulatedRegion, SpeedGrade, SupplyLimits, TornScope, UpperBits as SimulatedUpperBits, WearUnit,
    WpSampled, WriteCycle, WriteProtect,
};

use super::{
    Ac, Access, Answer, BlockBitsOnRead, Busy, Card, CyclePer, Grade, Kind, Limits, Open, Partial, Pointer, Region,
    RegionKind, Role, Sampled, Span, UpperBits, Wear, assume,
};

impl Card {
    /// The simulated chip of this part.
    #[must_use]
    pub fn chip_model(&self) -> ChipModel {
        let capacity = self.capacity_bytes.value;
        ChipModel {
            name: self.name.clone(),
            memory: match self.kind {
                Kind::Eeprom => MemoryKind::Eeprom,
                Kind::Fram => MemoryKind::Fram,
            },
            capacity,
            page: self.page_bytes.value,
            word_address_bytes: self.word_address_bytes.value,
            upper_bits: match self.upper_address_bits.value {
                UpperBits::Ignored => SimulatedUpperBits::Ignored,
                UpperBits::Zero => SimulatedUpperBits::Zero,
                UpperBits::SecurityCommand => SimulatedUpperBits::SecurityCommand,
            },
            device_bits: self.device_bits().map(device_bit),
            open_strap: open_pin(self.open_strap.value),
            write_cycle: WriteCycle {
                typical_ns: u64::from(self.write_cycle_typ_us.value) * 1000,
                max_ns: u64::from(self.write_cycle_max_us.value) * 1000,
                per: match self.write_cycle_per.value {
                    CyclePer::Page => CycleUnit::Page,
                    CyclePer::Byte => CycleUnit::Byte,
                },
                grades: self.simulated_cycles(),
            },
            busy_answer: match self.busy_answer.value {
                Busy::AnyAccess => BusyAnswer::AnyAccess,
                Busy::WritesOnly => BusyAnswer::WritesOnly,
                Busy::SameControlByte => BusyAnswer::SameControlByte,
            },
            write_protect: self.simulated_protection(),
            pointer_after_write: match self.pointer_after_write.value {
                Pointer::WrappedInPage => PointerAfterWrite::WrappedInPage,
                Pointer::LastPlusOne => PointerAfterWrite::LastPlusOne,
            },
            read_wrap: self.read_wrap_bytes.value,
            read_block_bits: match self.read_block_bits.value {
                BlockBitsOnRead::Ignored => ReadBlockBits::Ignored,
                BlockBitsOnRead::Latched => ReadBlockBits::Latched,
            },
            cut_byte: CutByte::DropsAll,
            wear_unit: match self.wear_unit.value {
                Wear::Byte => WearUnit::Byte,
                Wear::Group4 => WearUnit::Group(4),
                Wear::Page => WearUnit::Page,
            },
            endurance_cycles: self.endurance_cycles.value,
            torn_scope: match self.wear_unit.value {
                Wear::Byte => TornScope::Latched,
                Wear::Group4 => TornScope::Group(4),
                Wear::Page => TornScope::Page,
            },
            supply: SupplyLimits {
                read_min_mv: self.read_min_mv.value,
                write_min_mv: self.write_min_mv.value,
                max_mv: self.max_mv.value,
                brown_out: self
                    .brown_out
                    .map(|(reset_mv, off_us)| BrownOut { reset_mv, off_ns: u64::from(off_us) * 1000 }),
            },
            speed: self.simulated_speed(),
            min_scl_hz: self.min_scl_khz * 1000,
            bus_timeout_ns: u64::from(self.bus_timeout_us) * 1000,
            power_up_ns: u64::from(self.power_up_us.value) * 1000,
            regions: {
                let read = self.regions.iter().filter(|region| region.address_read);
                read.filter_map(|region| simulated_region(region, capacity)).collect()
            },
        }
    }

    /// Write cycles by supply and temperature; one end of a range that all temperatures of the part keep is left out.
    fn simulated_cycles(&self) -> Vec<CycleGrade> {
        let (coolest, hottest) = (self.temperature_min_c.value, self.temperature_max_c.value);
        let grades = self.grades.value.iter().filter_map(|limits: &Limits| {
            let (min_mv, max_mv) = (limits.min_mv.unwrap_or(0), limits.max_mv.unwrap_or(u32::MAX));
            let min_c = limits.at.min_c.filter(|min| *min > coolest);
            let max_c = limits.at.max_c.filter(|max| *max < hottest);
            Some(CycleGrade { min_mv, max_mv, min_c, max_c, max_ns: u64::from(limits.write_cycle_us?) * 1000 })
        });
        grades.collect()
    }

    fn simulated_speed(&self) -> Vec<SpeedGrade> {
        let (coolest, hottest) = (self.temperature_min_c.value, self.temperature_max_c.value);
        let holds = |grade: &&Grade| {
            grade.at.min_c.is_none_or(|min| min <= coolest) && grade.at.max_c.is_none_or(|max| hottest <= max)
        };
        let mut grades: Vec<SpeedGrade> = self.speed.value.iter().filter(holds).map(speed_grade).collect();
        if grades.is_empty() {
            // Every grade is for other temperatures: as slow as any, at no supply.
            let slowest = self.speed.value.iter().min_by_key(|grade| grade.scl_khz).map(speed_grade);
            grades.extend(slowest.map(|grade| SpeedGrade { min_mv: 0, max_mv: 0, ..grade }));
        }
        grades
    }

    fn simulated_protection(&self) -> WriteProtect {
        let capacity = self.capacity_bytes.value;
        let pin = if self.wp_pin { self.protect_range.value } else { Span::None };
        WriteProtect {
            pin_range: range(pin, capacity),
            active_high: self.wp_active_high.value,
            open_pin: open_pin(self.open_wp.value),
            fixed_range: range(self.fixed_range.value, capacity),
            sampled: match self.wp_sampled.value {
                Sampled::Stop => WpSampled::Stop,
                Sampled::DataPhase => WpSampled::DataPhase,
            },
            answer: match self.protected_answer.value {
                Answer::AckReady => ProtectedAnswer::AckReady,
                Answer::AckBusy => ProtectedAnswer::AckBusy,
                Answer::NackData => ProtectedAnswer::NackData,
            },
            partial: match self.partly_protected.value {
                Partial::Nothing => PartlyProtected::Nothing,
                Partial::UnprotectedOnly => PartlyProtected::UnprotectedOnly,
            },
        }
    }
}

const fn device_bit(role: Role) -> DeviceBit {
    match role {
        Role::Fixed(level) => DeviceBit::Fixed(level),
        Role::Pin(pin) => DeviceBit::Pin(pin),
        Role::PinInverted(pin) => DeviceBit::PinInverted(pin),
        Role::Ignored => DeviceBit::Ignored,
        Role::Block(bit) => DeviceBit::Block(bit),
    }
}

const fn open_pin(open: Open) -> OpenPin {
    match open {
        Open::Low => OpenPin::PulledLow,
        Open::High => OpenPin::PulledHigh,
        Open::Random => OpenPin::Random,
    }
}

const fn range(span: Span, capacity: u32) -> ByteRange {
    let (start, len) = span.bytes(capacity);
    ByteRange { start, len }
}

/// What a sheet does not state is taken from the bus mode of the grade.
fn speed_grade(grade: &Grade) -> SpeedGrade {
    let scl_hz = grade.scl_khz * 1000;
    let bus = AcLimits::for_scl_hz(scl_hz);
    let Ac { t_low, t_high, t_hd_sta, t_su_sta, t_hd_dat, t_su_dat, t_su_sto, t_buf, .. } = grade.ac;
    let Ac { t_aa_max, t_sp_max, t_aa_min, t_su_wp, t_hd_wp, .. } = grade.ac;
    let t_aa_max = t_aa_max.unwrap_or(bus.t_aa_max);
    SpeedGrade {
        min_mv: grade.min_mv,
        max_mv: grade.max_mv,
        scl_hz,
        ac: AcLimits {
            t_low: t_low.unwrap_or(bus.t_low),
            t_high: t_high.unwrap_or(bus.t_high),
            t_hd_sta: t_hd_sta.unwrap_or(bus.t_hd_sta),
            t_su_sta: t_su_sta.unwrap_or(bus.t_su_sta),
            t_hd_dat: t_hd_dat.unwrap_or(bus.t_hd_dat),
            t_su_dat: t_su_dat.unwrap_or(bus.t_su_dat),
            t_su_sto: t_su_sto.unwrap_or(bus.t_su_sto),
            t_buf: t_buf.unwrap_or(bus.t_buf),
            t_aa_max,
            t_sp_max: t_sp_max.unwrap_or(bus.t_sp_max),
            t_aa_min: t_aa_min.unwrap_or(0).min(t_aa_max),
            t_su_wp: t_su_wp.unwrap_or(0),
            t_hd_wp: t_hd_wp.unwrap_or(0),
        },
    }
}

/// Where the half of a 4 kbit module part is chosen: 0x36 and 0x37, whatever its address pins say, so that all such parts
/// on a bus follow together. Source: Microchip AT34C04 data sheet, sections 6.2 and 7.
const BANK_SELECT: [DeviceBit; 7] = [
    DeviceBit::Fixed(false),
    DeviceBit::Fixed(true),
    DeviceBit::Fixed(true),
    DeviceBit::Fixed(false),
    DeviceBit::Fixed(true),
    DeviceBit::Fixed(true),
    DeviceBit::Ignored,
];

/// Where a part is asked for its identification. Source: UM10204 Rev.6, p.17.
const DEVICE_ID: [DeviceBit; 7] = [
    DeviceBit::Fixed(true),
    DeviceBit::Fixed(true),
    DeviceBit::Fixed(true),
    DeviceBit::Fixed(true),
    DeviceBit::Fixed(true),
    DeviceBit::Fixed(false),
    DeviceBit::Fixed(false),
];

/// The simulated region; none for protection page by page, which leaves the array as it is until somebody sets it.
fn simulated_region(region: &Region, capacity: u32) -> Option<pagewise_simulator::model::Region> {
    let assumed = assume::REGION_WORD_ADDRESS.value;
    let read = region.word_address_read;
    Some(pagewise_simulator::model::Region {
        kind: match region.kind {
            RegionKind::SerialNumber => SimulatedRegion::SerialNumber,
            RegionKind::IdentificationPage => SimulatedRegion::IdentificationPage,
            RegionKind::Eui48 => SimulatedRegion::Eui48,
            RegionKind::Eui64 => SimulatedRegion::Eui64,
            RegionKind::PermanentProtection => SimulatedRegion::PermanentProtection,
            RegionKind::ReversibleProtection => SimulatedRegion::ReversibleProtection,
            RegionKind::BankSelect => SimulatedRegion::BankSelect,
            RegionKind::DeviceId => SimulatedRegion::DeviceId,
            RegionKind::PageProtection => return None,
        },
        device_bits: match region.device_bits {
            Some(bits) => Some(bits.map(device_bit)),
            None => match region.kind {
                RegionKind::BankSelect => Some(BANK_SELECT),
                RegionKind::DeviceId => Some(DEVICE_ID),
                _ => None,
            },
        },
        word_address: if read { region.word_address } else { assumed },
        // The identification has no word address: its bytes are counted.
        address_mask: region.address_mask.unwrap_or(if region.kind == RegionKind::DeviceId { 0 } else { u32::MAX }),
        word_address_bytes: region.word_address_bytes,
        len: region.length,
        access: match region.access {
            Access::ReadOnly => RegionAccess::ReadOnly,
            Access::Lockable => RegionAccess::Lockable,
            Access::ReadWrite => RegionAccess::ReadWrite,
        },
        protects: range(region.protects, capacity),
        contents: region.contents.clone(),
        rolls_after: region.rolls_after.unwrap_or(0),
        shares_pointer: region.shares_pointer || !read,
    })
}
