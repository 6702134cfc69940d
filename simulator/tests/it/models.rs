//! What is a model: every contradiction is named, and nothing that passes the check can panic or hang.

use crate::common::*;
use crate::programs::{Step, run, step};
use pagewise_simulator::model::*;
use pagewise_simulator::{ChipModel, CycleTime, Level, PowerUp, Rig, RigConfig, Straps, WireConfig};
use proptest::prelude::*;
use proptest::sample::select;

/// A part with an identification page at 1011, in a mask of one byte.
fn with_page() -> ChipModel {
    let mut model = identification_page();
    model.regions[0].address_mask = 0;
    model
}

/// What is not stated is not written down either.
#[test]
fn upper_bits_are_told_only_where_they_are_looked_at() {
    let told = |upper_bits| serde_json::to_string(&ChipModel { upper_bits, ..ChipModel::example_32_kbit() }).unwrap();
    assert!(!told(UpperBits::Ignored).contains("upper_bits"));
    assert!(told(UpperBits::Zero).contains("\"upper_bits\":\"zero\""));
}

const GRADE: CycleGrade = CycleGrade { min_mv: 0, max_mv: 5500, min_c: None, max_c: None, max_ns: 4_000_000 };

#[test]
fn every_contradiction_is_named() {
    type Change = fn(&mut ChipModel);
    let cases: &[(Change, &str)] = &[
        (|m| m.capacity = 3000, "capacity of 3000 bytes is not a power of two from 16 to 16777216"),
        (|m| m.capacity = 8, "capacity of 8 bytes"),
        (|m| m.capacity = 1 << 25, "capacity of 33554432 bytes"),
        (|m| m.page = 24, "page of 24 bytes is not a power of two up to 4096"),
        (|m| m.page = 8192, "page of 8192 bytes"),
        (|m| m.word_address_bytes = 4, "4 word-address bytes, at most 3"),
        (|m| m.read_wrap = 100, "read wrap of 100 bytes"),
        (|m| m.wear_unit = WearUnit::Group(3), "group of 3 bytes"),
        (|m| m.torn_scope = TornScope::Group(0), "group of 0 bytes"),
        (|m| m.device_bits[4] = DeviceBit::Pin(3), "no address pin A3"),
        (|m| m.device_bits[4] = DeviceBit::Block(24), "no block-select bit 24"),
        (|m| m.device_bits[4] = DeviceBit::Block(0), "block-select bit 0 leads beyond 4096 bytes"),
        (|m| m.word_address_bytes = 1, "1 address bytes and the block-select bits do not reach 4096 bytes"),
        (
            |m| (m.capacity, m.device_bits[4], m.device_bits[5]) = (131_072, DeviceBit::Block(0), DeviceBit::Block(0)),
            "a block-select bit stands at two places",
        ),
        (|m| m.write_protect.pin_range.len = 4097, "4097 bytes at 0x0000 protected by WP, the array ends at 4096"),
        (|m| m.write_protect.fixed_range = ByteRange { start: u32::MAX, len: 2 }, "protected for good"),
        (|m| m.write_cycle.typical_ns = 6_000_000, "typical 6000000 ns above maximum 5000000 ns"),
        (|m| m.write_cycle.max_ns = u64::MAX, "write cycle of 18446744073709551615 ns, at most"),
        (|m| m.bus_timeout_ns = u64::MAX, "bus time-out of"),
        (|m| m.power_up_ns = 1_000_000_000_001, "power-up time of 1000000000001 ns"),
        (|m| m.supply.read_min_mv = 0, "reads without supply"),
        (|m| m.supply.write_min_mv = 1000, "writes from 1000 mV, reads only from 1700 mV"),
        (|m| m.supply.max_mv = 1699, "writes from 1700 mV, made for at most 1699 mV"),
        (|m| m.speed.clear(), "no speed grade"),
        (|m| m.speed[0].max_mv = 1000, "a speed grade from 1700 mV down to 1000 mV"),
        (|m| m.speed[0].scl_hz = 0, "a speed grade of 0 Hz with a floor of 0 Hz"),
        (|m| m.min_scl_hz = 500_000, "a speed grade of 400000 Hz with a floor of 500000 Hz"),
        (|m| m.regions[0].len = 0, "region 0: 0 bytes, 1 to 65536 are possible"),
        (|m| m.regions[0].kind = RegionKind::PermanentProtection, "region 0: a command with 32 bytes"),
        (|m| m.regions[0].len = u32::MAX, "region 0: 4294967295 bytes"),
        (|m| m.regions[0].word_address_bytes = 9, "region 0: 9 word-address bytes"),
        (|m| m.regions[0].device_bits = Some(m.device_bits), "region 0: the array answers at every one of its"),
        (|m| m.regions[0].protects = ByteRange { start: 4000, len: 97 }, "97 bytes at 0x0FA0 protected by a register"),
        (
            |m| (m.regions[0].word_address, m.regions[0].address_mask) = (0x8000_0000, u32::MAX),
            "region 0: 32 bytes at 0x80000000 are not reached by 2 word-address byte(s) of mask 0xFFFF",
        ),
        (
            |m| (m.regions[0].device_bits, m.regions[0].word_address) = (None, u32::MAX),
            "region 0: 32 bytes at 0xFFFFFFFF lie outside of the array",
        ),
        (
            |m| (m.regions[0].kind, m.regions[0].len, m.regions[0].device_bits) = (RegionKind::BankSelect, 0, None),
            "region 0: a command without a device address cannot be given",
        ),
        (|m| m.regions.push(m.regions[0].clone()), "region 1: lies on region 0"),
        (
            // One byte of the second lies on the last byte of the first.
            |m| {
                m.regions.push(Region {
                    word_address: m.regions[0].word_address + m.regions[0].len - 1,
                    ..m.regions[0].clone()
                })
            },
            "region 1: lies on region 0",
        ),
        (|m| m.regions[0].contents = vec![0; 33], "region 0: 33 fixed bytes in a region of 32"),
        (|m| m.regions[0].rolls_after = 33, "region 0: reading rolls over after 33 bytes"),
        (|m| m.regions[0].rolls_after = 16, "region 0: reading rolls over after 16 bytes"),
        (
            |m| (m.regions[0].word_address, m.regions[0].rolls_after) = (0x10, 32),
            "region 0: reading rolls over after 32 bytes",
        ),
        (
            |m| (m.regions[0].device_bits, m.regions[0].shares_pointer) = (None, true),
            "region 0: bytes of the array are read as the array is",
        ),
        (|m| m.regions[0].kind = RegionKind::DeviceId, "region 0: the device identification is read by 1111 100"),
        (|m| m.supply.brown_out = Some(BrownOut { reset_mv: 1701, off_ns: 0 }), "reset below 1701 mV, reads from 1700"),
        (|m| m.supply.brown_out = Some(BrownOut { reset_mv: 0, off_ns: 0 }), "reset below 0 mV"),
        (|m| m.supply.brown_out = Some(BrownOut { reset_mv: 1, off_ns: u64::MAX }), "ns to be reset, at most"),
        (|m| m.speed[0].ac.t_aa_min = 901, "t_AA of at least 901 ns and at most 900 ns"),
        (
            |m| m.write_cycle.grades.push(CycleGrade { min_c: Some(86), max_c: Some(85), ..GRADE }),
            "a write-cycle grade from Some(86) C down to Some(85) C",
        ),
        (
            |m| (m.capacity, m.read_wrap, m.upper_bits) = (65_536, 65_536, UpperBits::Zero),
            "the word address of 65536 bytes needs every bit of its 2 address bytes",
        ),
        (|m| m.regions[0].device_bits.as_mut().unwrap()[6] = DeviceBit::Block(0), "belong to the array"),
    ];
    for (change, named) in cases {
        let mut model = with_page();
        assert_eq!(model.check(), Ok(()));
        change(&mut model);
        let reason = model.check().unwrap_err();
        assert!(reason.contains(named), "{named}: {reason}");
    }
    assert!(eeproms().iter().all(|model| model.check().is_ok()));
}

#[test]
fn all_contradictions_are_named_at_once() {
    let mut model = ChipModel::example_32_kbit();
    (model.page, model.supply.max_mv) = (5, 3);
    model.speed.clear();
    assert_eq!(model.check().unwrap_err().split("; ").count(), 3);
}

fn any_bit() -> impl Strategy<Value = DeviceBit> {
    prop_oneof![
        any::<bool>().prop_map(DeviceBit::Fixed),
        (0..4_u8).prop_map(DeviceBit::Pin),
        (0..4_u8).prop_map(DeviceBit::PinInverted),
        Just(DeviceBit::Ignored),
        select(vec![0, 1, 2, 3, 8, 23, 255]).prop_map(DeviceBit::Block),
    ]
}

/// Numbers at which something may break.
fn nasty() -> impl Strategy<Value = u32> {
    prop_oneof![
        3 => (0..25_u32).prop_map(|bit| 1 << bit),
        1 => select(vec![0, 1, 3, 97, 255, 4095, 65_535, 65_537, 1 << 31, u32::MAX - 1, u32::MAX]),
    ]
}

fn range() -> impl Strategy<Value = ByteRange> {
    (nasty(), nasty()).prop_map(|(start, len)| ByteRange { start, len })
}

fn region() -> impl Strategy<Value = Region> {
    use RegionKind::{
        BankSelect, DeviceId, Eui48, Eui64, IdentificationPage, PermanentProtection, ReversibleProtection, SerialNumber,
    };
    let is_command = |kind| matches!(kind, PermanentProtection | ReversibleProtection | BankSelect);
    let data = [SerialNumber, IdentificationPage, Eui48, Eui64, DeviceId];
    let kinds = [&data[..], &[PermanentProtection, ReversibleProtection, BankSelect]].concat();
    let access = vec![RegionAccess::ReadOnly, RegionAccess::Lockable, RegionAccess::ReadWrite];
    let other_code = |code: bool| {
        let code = if code { [true, false, true, true] } else { [false, true, true, false] };
        let [a, b, c, d] = code.map(DeviceBit::Fixed);
        Some([a, b, c, d, DeviceBit::Pin(2), DeviceBit::Pin(1), DeviceBit::Ignored])
    };
    let bits = prop_oneof![
        3 => any::<bool>().prop_map(other_code),
        1 => prop::option::of(prop::array::uniform7(any_bit())),
    ];
    let place = prop_oneof![3 => select(vec![0, 0x80, 0x800]), 1 => nasty()];
    let mask = prop_oneof![3 => select(vec![0, 0xFF, 0xFFFF, u32::MAX]), 1 => nasty()];
    let len = prop_oneof![3 => select(vec![1, 6, 8, 16, 32, 256]), 1 => nasty()];
    let protects = prop_oneof![2 => Just(ByteRange { start: 0, len: 16 }), 1 => range()];
    let rolls = prop_oneof![6 => Just(0), 2 => select(vec![32, 256]), 1 => nasty()];
    let read = (select(vec![0, 0, 0, 1, 3]), rolls, any::<u8>().prop_map(|draw| draw < 64));
    (select(kinds), bits, place, mask, 0..5_u8, len, select(access), protects, read).prop_map(
        move |(kind, device_bits, word_address, address_mask, word_address_bytes, len, access, protects, read)| {
            Region {
                kind,
                device_bits: if kind == DeviceId {
                    [1, 1, 1, 1, 1, 0, 0].map(|bit| DeviceBit::Fixed(bit == 1)).into()
                } else {
                    device_bits
                },
                contents: vec![0x29; if is_command(kind) { 0 } else { read.0 }],
                rolls_after: if is_command(kind) { 0 } else { read.1 },
                shares_pointer: read.2 && !is_command(kind) && device_bits.is_some(),
                word_address: if kind == DeviceId { 0 } else { word_address },
                address_mask,
                word_address_bytes,
                // A command has no bytes; now and then it says it has.
                len: if is_command(kind) { len & 16 } else { len },
                access,
                protects,
            }
        },
    )
}

/// A sound model with a few of its values replaced by anything: a bit of `which` per value.
fn disturbed() -> impl Strategy<Value = ChipModel> {
    let ns = || select(vec![0, 1, 4_000_000, 1_000_000_000_000, 1_000_000_000_001, u64::MAX]);
    let sizes = (nasty(), nasty(), nasty(), 0..5_u8, 0..7_usize, any_bit());
    let rest = (ns(), ns(), ns(), ns(), range(), range(), nasty(), nasty(), any::<u64>());
    let supply = (nasty(), nasty(), nasty(), nasty(), nasty(), nasty(), nasty(), nasty());
    let which = any::<[u32; 4]>().prop_map(|[a, b, c, d]| a & b & c & d);
    let regions = prop::collection::vec(region(), 0..3);
    (any_model(), which, sizes, rest, supply, regions).prop_map(|(mut model, which, sizes, rest, supply, regions)| {
        let m = &mut model;
        let (typical_ns, max_ns, timeout, power_up, pin, fixed, wear, torn, endurance) = rest;
        let (read_min_mv, write_min_mv, max_mv, from, to, scl_hz, floor, t) = supply;
        let (t_aa_min, t_su_wp) = (from, to);
        let ac = AcLimits { t_low: t, t_aa_max: t, t_sp_max: t, t_buf: t, t_aa_min, t_su_wp, ..AcLimits::FAST };
        let brown_out = Some(BrownOut { reset_mv: scl_hz, off_ns: typical_ns });
        let upper = [UpperBits::Ignored, UpperBits::Zero, UpperBits::SecurityCommand][sizes.4 % 3];
        let changes: [&dyn Fn(&mut ChipModel); 19] = [
            &|m| m.capacity = sizes.0,
            &|m| m.page = sizes.1,
            &|m| m.read_wrap = sizes.2,
            &|m| m.word_address_bytes = sizes.3,
            &|m| m.device_bits[sizes.4] = sizes.5,
            &|m| (m.write_cycle.typical_ns, m.write_cycle.max_ns) = (typical_ns, max_ns),
            &|m| m.bus_timeout_ns = timeout,
            &|m| m.power_up_ns = power_up,
            &|m| m.write_protect.pin_range = pin,
            &|m| m.write_protect.fixed_range = fixed,
            &|m| m.wear_unit = WearUnit::Group(wear),
            &|m| m.torn_scope = TornScope::Group(torn),
            &|m| m.endurance_cycles = endurance,
            &|m| m.supply = SupplyLimits { read_min_mv, write_min_mv, max_mv, brown_out: None },
            &|m| m.supply.brown_out = brown_out,
            &|m| m.upper_bits = upper,
            &|m| m.write_cycle.grades = vec![CycleGrade { max_ns, min_c: Some(from as i32), ..GRADE }],
            &|m| m.speed[0] = SpeedGrade { min_mv: from, max_mv: to, scl_hz, ac },
            &|m| m.min_scl_hz = floor,
        ];
        m.regions = regions;
        changes.iter().enumerate().filter(|(i, _)| which >> i & 1 == 1).for_each(|(_, change)| change(m));
        model
    })
}

/// Everything that can be done to a chip, at one level.
fn exercise(rig: &Rig, bus: &mut impl embedded_hal::i2c::I2c, model: &ChipModel, steps: &[Step]) {
    run(rig, bus, model, steps);
    for address in 0..=0x7F {
        let _ = bus.write(address, &[0, 1, 2, 3]);
        let _ = bus.write_read(address, &[0x80], &mut [0; 3]);
        rig.advance_ns(3_000_000);
    }
}

proptest! {
    #![proptest_config(cases(400))]

    #[test]
    fn what_passes_the_check_neither_panics_nor_hangs(
        model in disturbed(), at_the_wire: bool, seed: u64, steps in prop::collection::vec(step(), 0..4),
    ) {
        if model.check().is_err() {
            return Ok(());
        }
        let rig = Rig::new(RigConfig::default().with_seed(seed).with_scl_hz(1_000_000));
        let straps = Straps { a: [Level::Open, Level::Low, Level::High], wp: Level::Open };
        let chip = rig.attach_with(model.clone(), straps, PowerUp::Random);
        rig.set_write_cycle(chip, if seed & 1 == 0 { CycleTime::Drawn } else { CycleTime::Exact(seed) });
        if at_the_wire {
            exercise(&rig, &mut rig.bit_bang(WireConfig::IDEAL), &model, &steps);
        } else {
            exercise(&rig, &mut rig.bus(), &model, &steps);
        }
        rig.power_cycle();
        rig.set_supply_mv(model.supply.read_min_mv - 1);
        rig.set_temperature_c(85);
        rig.set_supply_mv(model.supply.write_min_mv);
        exercise(&rig, &mut rig.bus(), &model, &steps);
        rig.meant(chip, model.capacity - 4, &[1; 4]);
        drop((rig.memory_as_read(chip), rig.explain(), rig.finish(), rig.wear(chip, 0)));
        for region in 0..model.regions.len() {
            drop((rig.region(chip, region), rig.region_locked(chip, region)));
        }
    }
}

#[test]
fn the_fuzzer_meets_both_kinds_of_models() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::new(cases(1));
    let models: Vec<ChipModel> = (0..600).map(|_| disturbed().new_tree(&mut runner).unwrap().current()).collect();
    let sound = models.iter().filter(|model| model.check().is_ok()).count();
    let with_regions = models.iter().filter(|model| model.check().is_ok() && !model.regions.is_empty()).count();
    assert!(sound > 100 && sound < 500 && with_regions > 3, "{sound} sound, {with_regions} of them with regions");
}
