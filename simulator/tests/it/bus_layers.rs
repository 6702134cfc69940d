//! Every preset of HAL semantics, natively, as a layer around a foreign bus, and async.

use crate::common::*;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use pagewise_simulator::{BusFault, BusLayer, EventKind, Hazard, Preset, Quirks, WireConfig};

fn preset(name: &str) -> Quirks {
    Preset::by_name(name).unwrap_or_else(|| panic!("no preset {name}")).quirks
}

#[test]
fn every_preset_has_its_own_name_and_a_source() {
    let names: std::collections::BTreeSet<&str> = Preset::ALL.iter().map(|preset| preset.name).collect();
    assert_eq!(names.len(), Preset::ALL.len());
    assert!(Preset::ALL.iter().all(|preset| preset.source.len() > 5 && preset.what.len() > 10));
    assert!(Preset::by_name("no such HAL").is_none());
}

/// A page write in one operation and a random read: what every preset must do right or refuse.
#[test]
fn a_write_in_one_piece_and_a_random_read_are_right_or_refused_under_every_preset() {
    for preset in Preset::ALL {
        let bench = e32();
        bench.rig.load(bench.chip, 0x100, &[7, 8, 9]);
        let mut bus = bench.rig.bus_with(preset.quirks);
        bus.write(0x50, &[0, 0x10, 1, 2, 3]).unwrap_or_else(|error| panic!("{}: {error}", preset.name));
        bench.wait();
        assert_eq!(bench.memory()[0x10..0x13], [1, 2, 3], "{}", preset.name);
        let mut data = [0; 3];
        bus.write_read(0x50, &[1, 0], &mut data).unwrap();
        assert_eq!(data, [7, 8, 9], "{}", preset.name);
        assert!(bench.hazards().is_empty(), "{}", preset.name);
    }
}

#[test]
fn zero_length_presets() {
    let ok = |quirks: Quirks, read: bool| {
        let bench = e32();
        bench.rig.load(bench.chip, 0, &[0xFF; 4096]);
        let mut bus = bench.rig.bus_with(quirks);
        let before = bench.rig.now_ns();
        let done = if read { bus.read(0x50, &mut []) } else { bus.write(0x50, &[]) };
        (done.err().map(|error| (error.fault, error.kind())), bench.rig.now_ns() - before)
    };
    let refused = Some((BusFault::ZeroLength, ErrorKind::Other));
    assert_eq!(ok(preset("contract"), false), (None, 11 * 2500));
    assert_eq!(ok(preset("zero-length-refused"), false), (refused, 0));
    assert_eq!(ok(preset("zero-length-reads-ignored"), true), (None, 0));
    assert_eq!(ok(preset("zero-length-reads-ignored"), false), (None, 11 * 2500));
    assert_eq!(ok(preset("zero-length-ignored"), false), (None, 0));
    assert_eq!(ok(preset("zero-length-hung"), false), (Some((BusFault::Hung, ErrorKind::Bus)), 1_000_000_000));
}

#[test]
fn linux_presets() {
    let bench = e32();
    for name in ["linux-no-zero-length", "linux-one-read-last"] {
        let mut bus = bench.rig.bus_with(preset(name));
        assert_eq!(bus.transaction(0x50, &mut []).unwrap_err().kind(), ErrorKind::Bus, "{name}");
        assert_eq!(bus.write(0x51, &[0]).unwrap_err().kind(), ErrorKind::Other, "{name}");
        assert_eq!(bus.read(0x50, &mut [0; 8193]).unwrap_err().kind(), ErrorKind::Bus, "{name}");
        bus.read(0x50, &mut [0; 8192]).unwrap();
    }
    let mut bus = bench.rig.bus_with(preset("linux-one-read-last"));
    let (mut a, mut b) = ([0; 1], [0; 1]);
    let error = bus.transaction(0x50, &mut [Operation::Read(&mut a), Operation::Read(&mut b)]).unwrap_err();
    assert_eq!((error.fault, error.kind()), (BusFault::Unsupported, ErrorKind::Other));
    let mut bus = bench.rig.bus_with(preset("adjacent-writes-refused"));
    let error = bus.transaction(0x50, &mut [Operation::Write(&[0, 0]), Operation::Write(&[1])]).unwrap_err();
    assert_eq!(error.fault, BusFault::Unsupported);
    let mut big = vec![1; 65_536];
    bench.rig.bus_with(preset("read-length-16-bit")).write_read(0x50, &[0, 0], &mut big).unwrap();
    assert!(big.iter().all(|byte| *byte == 1), "nothing was read, and nobody said so");
}

#[test]
fn direction_change_by_stop_and_start_is_a_legal_random_read() {
    let bench = e32();
    bench.rig.load(bench.chip, 0x20, &[5]);
    let mut byte = [0];
    bench.rig.bus_with(preset("direction-change-stop")).write_read(0x50, &[0, 0x20], &mut byte).unwrap();
    assert_eq!(byte, [5]);
    assert!(bench.rig.transfers_text().contains(" P\n"));
    assert_eq!(bench.rig.transfers_text().lines().count(), 2);
}

#[test]
fn shared_bus_is_taken_at_every_third_call() {
    let bench = e32();
    let mut bus = bench.rig.bus_with(preset("shared-bus-busy"));
    let results: Vec<bool> = (0..6).map(|_| bus.write(0x50, &[0, 0]).is_ok()).collect();
    assert_eq!(results, [true, true, false, true, true, false]);
}

#[test]
fn early_return_starts_the_write_cycle_later_than_the_program_thinks() {
    let run = |quirks: Quirks| {
        let bench = e32();
        bench.rig.bus_with(quirks).write(0x50, &[0, 0, 1]).unwrap();
        // A fixed wait of exactly the longest write cycle.
        bench.rig.delay().delay_ms(5);
        bench.rig.busy(bench.chip)
    };
    assert!(!run(preset("contract")));
    assert!(run(preset("early-return")));
    // STOP comes 20 us later than it would.
    let stop_ns = |quirks: Quirks| {
        let bench = e32();
        bench.rig.bus_with(quirks).write(0x50, &[0, 0, 1]).unwrap();
        bench.rig.advance_ns(1_000_000);
        bench.rig.trace().iter().find(|event| event.kind == EventKind::Stop).map(|event| event.at_ns)
    };
    assert_eq!(stop_ns(preset("early-return")), stop_ns(preset("contract")).map(|at| at + 20_000));
}

#[test]
fn splitting_presets_lose_data_of_a_long_page_write_and_say_why() {
    for name in ["limit-32-restart", "limit-32-stop"] {
        let bench = Bench::new(block_bit_on_top());
        let data = pattern(64);
        bench.rig.meant(bench.chip, 0, &data);
        let mut message = vec![0, 0];
        message.extend(&data);
        let _ = bench.rig.bus_with(preset(name)).write(0x50, &message);
        bench.wait();
        assert!(!bench.rig.explain().is_empty(), "{name}");
        assert!(bench.hazards().contains(&Hazard::RestartAbort), "{name}");
    }
}

/// A bus of somebody else, which records its transactions.
#[derive(Default)]
struct Foreign {
    calls: Vec<String>,
}

#[derive(Debug)]
struct ForeignError;

impl std::fmt::Display for ForeignError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("no")
    }
}

impl Error for ForeignError {
    fn kind(&self) -> ErrorKind {
        ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data)
    }
}

impl ErrorType for Foreign {
    type Error = ForeignError;
}

impl I2c for Foreign {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ForeignError> {
        let shown = operations.iter().map(|op| match op {
            Operation::Read(buffer) => format!("r{}", buffer.len()),
            Operation::Write(bytes) => format!("w{}", bytes.len()),
        });
        self.calls.push(shown.collect::<Vec<_>>().join("+"));
        if address == 0x51 { Err(ForeignError) } else { Ok(()) }
    }
}

#[test]
fn a_layer_gives_any_bus_these_habits() {
    let calls = |name: &str, operations: &mut [Operation<'_>]| {
        let mut layer = BusLayer::new(Foreign::default(), preset(name));
        let kind = layer.transaction(0x50, operations).err().map(|error| error.kind());
        (layer.into_inner().calls, kind)
    };
    let two = || [Operation::Write(&[0, 0]), Operation::Write(&[1, 2, 3])];
    assert_eq!(calls("contract", &mut two()), (vec!["w2+w3".into()], None));
    assert_eq!(calls("adjacent-writes-stop", &mut two()), (vec!["w2".into(), "w3".into()], None));
    assert_eq!(calls("adjacent-writes-refused", &mut two()), (vec![], Some(ErrorKind::Other)));
    let mut buffer = [0; 70];
    let random_read = &mut [Operation::Write(&[0, 0]), Operation::Read(&mut buffer)];
    assert_eq!(calls("direction-change-stop", random_read), (vec!["w2".into(), "r70".into()], None));
    let (mut three, mut four) = ([0; 3], [0; 4]);
    let two_reads = &mut [Operation::Read(&mut three), Operation::Read(&mut four)];
    assert_eq!(calls("direction-change-stop", two_reads), (vec!["r3+r4".into()], None));
    assert_eq!(calls("limit-32-stop", random_read), (vec!["w2+r32".into(), "r32".into(), "r6".into()], None));
    let two_long = &mut [Operation::Write(&[0; 20]), Operation::Write(&[0; 20])];
    assert_eq!(calls("limit-32-stop", two_long), (vec!["w20+w12".into(), "w8".into()], None));
    let mut large = vec![0; 65_537];
    assert_eq!(calls("read-length-16-bit", &mut [Operation::Read(&mut large)]), (vec!["r1".into()], None));
    let long = [0; 300];
    assert_eq!(calls("limit-255-refused", &mut [Operation::Write(&long)]), (vec![], Some(ErrorKind::Other)));
    let within = &long[..255];
    assert_eq!(calls("limit-255-refused", &mut [Operation::Write(within)]), (vec!["w255".into()], None));
    assert_eq!(calls("zero-length-refused", &mut [Operation::Write(&[])]), (vec![], Some(ErrorKind::Other)));
    assert_eq!(calls("zero-length-ignored", &mut [Operation::Write(&[])]), (vec![], None));
    assert_eq!(calls("zero-length-reads-ignored", &mut [Operation::Write(&[])]), (vec!["w0".into()], None));
    assert_eq!(calls("linux-no-zero-length", &mut []), (vec![], Some(ErrorKind::Bus)));
    for (name, kind) in [
        ("nack-address", ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address)),
        ("nack-unknown", ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown)),
        ("nack-other", ErrorKind::Other),
        ("nack-bus", ErrorKind::Bus),
        ("nack-data-as-other", ErrorKind::Other),
    ] {
        let mut layer = BusLayer::new(Foreign::default(), preset(name));
        assert_eq!(layer.write(0x51, &[0]).unwrap_err().kind(), kind, "{name}");
    }
}

#[test]
fn a_layer_around_a_bit_banged_bus_of_the_rig() {
    for preset in Preset::ALL {
        let bench = e32();
        let mut bus = BusLayer::new(bench.rig.bit_bang(WireConfig::TYPICAL), preset.quirks);
        bus.write(0x50, &[0, 0x10, 1, 2, 3]).unwrap_or_else(|error| panic!("{}: {error}", preset.name));
        bench.wait();
        assert_eq!(bench.memory()[0x10..0x13], [1, 2, 3], "{}", preset.name);
    }
}

#[cfg(feature = "async")]
mod asynch {
    use super::*;
    use embedded_hal_async::i2c::I2c as AsyncI2c;
    use pagewise_simulator::{Cancelled, Rig, RigConfig, Straps, block_on};
    use std::future::Future;
    use std::pin::pin;
    use std::task::{Context, Poll, Waker};

    #[test]
    fn async_and_blocking_controllers_do_the_same_in_the_same_time() {
        for preset in Preset::ALL.into_iter().filter(|preset| preset.name != "zero-length-hung") {
            let (a, b) = (e32(), e32());
            let (mut blocking, mut asynch) = (a.rig.bus_with(preset.quirks), b.rig.async_bus_with(preset.quirks));
            let (mut x, mut y) = ([0; 40], [0; 40]);
            let message = [0, 0x10, 1, 2, 3, 4, 5, 6, 7];
            for _ in 0..3 {
                assert_eq!(block_on(asynch.write(0x50, &message)), blocking.write(0x50, &message));
                assert_eq!(
                    block_on(AsyncI2c::write_read(&mut asynch, 0x50, &[0, 0], &mut y)),
                    blocking.write_read(0x50, &[0, 0], &mut x)
                );
                assert_eq!(block_on(AsyncI2c::write(&mut asynch, 0x50, &[])), blocking.write(0x50, &[]));
                embedded_hal::delay::DelayNs::delay_ms(&mut a.rig.delay(), 5);
                block_on(embedded_hal_async::delay::DelayNs::delay_ms(&mut b.rig.delay(), 5));
            }
            assert_eq!(x, y, "{}", preset.name);
            assert_eq!(a.rig.now_ns(), b.rig.now_ns(), "{}", preset.name);
            assert_eq!(a.rig.trace(), b.rig.trace(), "{}", preset.name);
        }
    }

    #[test]
    fn delays_take_virtual_time_only() {
        let rig = Rig::new(RigConfig::default());
        block_on(embedded_hal_async::delay::DelayNs::delay_us(&mut rig.delay(), 17));
        assert_eq!(rig.now_ns(), 17_000);
    }

    /// Polls `polls` times, then drops.
    fn drop_after(future: impl Future, polls: usize) -> bool {
        let mut future = pin!(future);
        let mut context = Context::from_waker(Waker::noop());
        (0..polls).any(|_| matches!(future.as_mut().poll(&mut context), Poll::Ready(_)))
    }

    #[test]
    fn a_dropped_write_stores_a_whole_prefix_or_nothing_and_the_bus_is_free() {
        for polls in 0..40 {
            let rig = Rig::new(RigConfig::default());
            let chip = rig.attach(pagewise_simulator::ChipModel::example_32_kbit(), Straps::GROUND);
            let mut bus = rig.async_bus();
            let message: Vec<u8> = [0, 0].into_iter().chain(1..=16).collect();
            let done = drop_after(AsyncI2c::write(&mut bus, 0x50, &message), polls);
            rig.advance_ns(10_000_000);
            let memory = rig.memory(chip);
            let stored = memory.iter().take_while(|byte| **byte != 0xFF).count();
            assert_eq!(memory[..stored], message[2..2 + stored]);
            assert!(stored == 16 || !done);
            block_on(AsyncI2c::write(&mut bus, 0x50, &[0, 0])).unwrap();
        }
    }

    /// A chip that drives a 0 lets no STOP through.
    #[test]
    fn a_read_that_is_dropped_holds_the_bus_where_the_chip_drives_a_zero() {
        for (byte, held) in [(0x00, true), (0xFF, false)] {
            let mut seen = Vec::new();
            for polls in 1..12 {
                let rig = Rig::new(RigConfig::default());
                let chip = rig.attach(pagewise_simulator::ChipModel::example_32_kbit(), Straps::GROUND);
                rig.load(chip, 0, &[byte; 16]);
                rig.bus().write(0x50, &[0, 0]).unwrap();
                let mut bus = rig.async_bus();
                let mut into = [0; 4];
                if !drop_after(AsyncI2c::read(&mut bus, 0x50, &mut into), polls) {
                    let trace = rig.trace();
                    let count = |kind| trace.iter().filter(|event| event.kind == kind).count();
                    // Every transfer ended in STOP, but where that is not possible.
                    assert!(held || count(EventKind::Start) == count(EventKind::Stop), "{trace:?}");
                    let next = block_on(AsyncI2c::write(&mut bus, 0x50, &[0, 0]));
                    seen.push(next.map_err(|error| error.fault).err());
                }
            }
            assert_eq!(seen.contains(&Some(BusFault::SdaHeld)), held, "0x{byte:02X}: {seen:?}");
        }
    }

    #[test]
    fn a_dropped_future_may_leave_the_controller_hanging_until_it_is_recovered() {
        let rig = Rig::new(RigConfig::default());
        let chip = rig.attach(pagewise_simulator::ChipModel::example_32_kbit(), Straps::GROUND);
        let quirks = Preset::by_name("cancelled-hangs").unwrap().quirks;
        assert_eq!(quirks.cancelled, Cancelled::Hung);
        let mut bus = rig.async_bus_with(quirks);
        assert!(!drop_after(AsyncI2c::write(&mut bus, 0x50, &[0, 0, 1, 2, 3, 4, 5, 6]), 4));
        assert_eq!(block_on(AsyncI2c::write(&mut bus, 0x50, &[0, 0])).unwrap_err().fault, BusFault::Hung);
        rig.bus().recover();
        block_on(AsyncI2c::write(&mut bus, 0x50, &[0, 0])).unwrap();
        rig.advance_ns(10_000_000);
        assert_eq!(rig.memory(chip)[..6], [0xFF; 6], "the START of the recovery dropped the latch");
    }

    #[test]
    fn a_zero_length_write_can_hang_for_ever() {
        let rig = Rig::new(RigConfig::default());
        let mut bus = rig.async_bus_with(Preset::by_name("zero-length-hung").unwrap().quirks);
        assert!(!drop_after(AsyncI2c::write(&mut bus, 0x50, &[]), 1000));
    }
}
