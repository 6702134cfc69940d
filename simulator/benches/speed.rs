//! How fast the simulator is. Rates are simulated bus bytes, SCL clocks, cuts or transactions per second of the host.

use std::time::{Duration, Instant};

use divan::counter::{BytesCount, ItemsCount};
use divan::{Bencher, black_box};
use embedded_hal::i2c::I2c;
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use pagewise_simulator::{ChipModel, CutExplorer, CutProgram, CycleTime, Rig, RigConfig, Straps, WireConfig};

fn main() {
    divan::main();
    print_ratio();
}

fn rig() -> Rig {
    rig_with(CycleTime::Exact(1))
}

fn rig_with(cycle: CycleTime) -> Rig {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.set_write_cycle(chip, cycle);
    rig.set_trace(false);
    rig
}

#[divan::bench]
fn sequential_read_of_4096_bytes(bencher: Bencher) {
    let mut bus = rig().bus();
    let mut data = vec![0; 4096];
    bencher.counter(BytesCount::new(4096_usize)).bench_local(|| bus.write_read(0x50, &[0, 0], &mut data).unwrap());
}

#[divan::bench]
fn page_write_of_32_bytes(bencher: Bencher) {
    let rig = rig();
    let mut bus = rig.bus();
    let mut page = 0_u16;
    bencher.counter(BytesCount::new(32_usize)).bench_local(|| {
        let mut message = [0x5A; 34];
        message[..2].copy_from_slice(&(page * 32).to_be_bytes());
        page = (page + 1) % 128;
        bus.write(0x50, &message).unwrap();
        rig.advance_ns(10);
    });
}

#[divan::bench]
fn write_and_verify_32_kbit(bencher: Bencher) {
    bencher.counter(BytesCount::new(8192_usize)).with_inputs(rig).bench_local_values(|rig| {
        let mut bus = rig.bus();
        for page in 0..128_u16 {
            let mut message = [0x5A; 34];
            message[..2].copy_from_slice(&(page * 32).to_be_bytes());
            bus.write(0x50, &message).unwrap();
            rig.advance_ns(10);
        }
        let mut data = vec![0; 4096];
        bus.write_read(0x50, &[0, 0], &mut data).unwrap();
        assert!(data.iter().all(|byte| *byte == 0x5A));
    });
}

/// Polls with a header inside a write cycle, which the chip refuses.
#[divan::bench]
fn refused_polls(bencher: Bencher) {
    let mut bus = rig_with(CycleTime::Exact(1_000_000_000_000_000)).bus();
    bus.write(0x50, &[0, 0, 0x5A]).unwrap();
    bencher.counter(ItemsCount::new(POLLS)).bench_local(|| {
        for _ in 0..POLLS {
            assert!(black_box(bus.write(0x50, &[0, 0])).is_err());
        }
    });
}

#[divan::bench]
fn wire_level_clocks(bencher: Bencher) {
    let mut bus = rig().bit_bang(WireConfig::TYPICAL);
    let mut data = vec![0; 1000];
    // Header, device address and data: nine clocks each.
    bencher.counter(ItemsCount::new(9 * 1004_usize)).bench_local(|| {
        bus.write_read(0x50, &[0, 0], &mut data).unwrap();
    });
}

const POLLS: usize = 1000;

struct Pages;

impl CutProgram for Pages {
    type Progress = usize;

    fn setup(&self) -> Rig {
        let rig = Rig::new(RigConfig::default());
        rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        rig
    }

    fn steps(&self) -> usize {
        128
    }

    fn step(&self, page: usize, rig: &Rig, written: &mut usize) -> bool {
        let mut bus = rig.bus();
        let mut message = [0x5A; 34];
        message[..2].copy_from_slice(&(page as u16 * 32).to_be_bytes());
        if bus.write(0x50, &message).is_err() {
            return false;
        }
        while rig.supply_mv() > 0 {
            if bus.write(0x50, &[0, 0]).is_ok() {
                *written = page + 1;
                return true;
            }
            rig.advance_ns(100_000);
        }
        false
    }

    fn check(&self, rig: &Rig, written: &usize) -> Result<(), String> {
        let mut data = vec![0; *written * 32];
        if data.is_empty() {
            return Ok(());
        }
        rig.bus().write_read(0x50, &[0, 0], &mut data).map_err(|error| error.to_string())?;
        if data.iter().all(|byte| *byte == 0x5A) { Ok(()) } else { Err("an acknowledged page is gone".into()) }
    }
}

#[divan::bench(sample_count = 3)]
fn cuts_of_a_4096_byte_workload(bencher: Bencher) {
    let explorer = CutExplorer::default();
    let cases = explorer.run(&Pages).cases() as usize;
    bencher.counter(ItemsCount::new(cases)).bench_local(|| {
        let report = explorer.run(&Pages);
        assert_eq!(report.first_failure, None);
    });
}

/// Transactions of the comparison with a mock: 16 bytes of random read each.
const TRANSACTIONS: usize = 1000;

fn transactions(bus: &mut impl I2c) {
    let mut data = [0; 16];
    for _ in 0..TRANSACTIONS {
        bus.write_read(0x50, &[0, 0x20], black_box(&mut data)).unwrap();
    }
}

fn mock() -> Mock {
    Mock::new(&vec![Transaction::write_read(0x50, vec![0, 0x20], vec![0xFF; 16]); TRANSACTIONS])
}

/// Medians of one run, alternating, so that all see the same load of the machine. A test with a mock also has to make its
/// expectations and to drop them, so these count where it is said.
fn print_ratio() {
    let (mut ours, mut prepared, mut made) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..301 {
        let mut bus = rig().bus();
        ours.push(timed(|| transactions(&mut bus)));
        let mut bus = mock();
        prepared.push(timed(|| {
            transactions(&mut bus);
            bus.done();
        }));
        made.push(timed(|| {
            let mut bus = mock();
            transactions(&mut bus);
            bus.done();
        }));
    }
    let (ours, prepared, made) = (median(ours), median(prepared), median(made));
    println!("{TRANSACTIONS} transactions, trace off: simulated bus {ours:?}");
    for (what, time) in [("prepared", prepared), ("made and dropped inside", made)] {
        let ratio = time.as_secs_f64() / ours.as_secs_f64();
        println!("  a mock with expectations {what}: {time:?}, {ratio:.1} times as long");
    }
}

fn timed(work: impl FnOnce()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort_unstable();
    times[times.len() / 2]
}
