//! A long recording is read in bounded memory. `PAGEWISE_LONG_MB=1000 cargo test -p pagewise-observe --test long --
//! --nocapture` reads one of 1 GB; the peak is printed.

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use embedded_hal::i2c::I2c;
use pagewise_observe::{Input, observe};
use pagewise_simulator::{ChipModel, CycleTime, Rig, RigConfig, Straps};

/// Megabytes of the recording in CI.
const USUAL_MB: u64 = 64;
/// What the process may need at its peak, whatever the length: less than the file that it reads in CI.
const PEAK_MB: u64 = 48;

/// Firmware that writes a page, polls and reads back, as a value change dump.
fn piece(path: &Path) -> String {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.set_write_cycle(chip, CycleTime::Max);
    let mut bus = rig.bus();
    for offset in [0x20_u8, 0x60, 0x90] {
        let data: Vec<u8> = [0, offset].into_iter().chain((0..32).map(|i| i ^ offset)).collect();
        bus.write(0x50, &data).unwrap();
        while bus.write(0x50, &[0, offset]).is_err() {
            rig.advance_ns(200_000);
        }
        bus.write_read(0x50, &[0, offset], &mut [0; 32]).unwrap();
        rig.advance_ns(1_000_000);
    }
    rig.write_vcd(&mut File::create(path).unwrap()).unwrap();
    fs::read_to_string(path).unwrap()
}

/// The piece again and again, later each time, until the file is as long.
fn long(piece: &str, path: &Path, bytes: u64) -> u64 {
    let (head, body) = piece.split_at(piece.find("\n#").unwrap() + 1);
    let time = |line: &str| line.strip_prefix('#').and_then(|time| time.trim().parse::<u64>().ok());
    let period = body.lines().filter_map(time).max().unwrap() + 1_000_000;
    let mut file = BufWriter::new(File::create(path).unwrap());
    file.write_all(head.as_bytes()).unwrap();
    let (mut done, mut begun, mut text) = (0, 0, String::new());
    while done < bytes {
        text.clear();
        for line in body.lines() {
            match time(line) {
                Some(time) => writeln!(text, "#{}", time + begun).unwrap(),
                None => writeln!(text, "{line}").unwrap(),
            }
        }
        file.write_all(text.as_bytes()).unwrap();
        (done, begun) = (done + text.len() as u64, begun + period);
    }
    file.flush().unwrap();
    done
}

/// The most memory that this process has had, in megabytes; only Linux says it.
fn peak_mb() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.split_whitespace().next()?.parse::<u64>().ok()? / 1024)
}

#[test]
fn a_long_recording_is_read_in_bounded_memory() {
    let folder = tempfile::tempdir().unwrap();
    let (short, path) = (folder.path().join("short.vcd"), folder.path().join("long.vcd"));
    let mb = std::env::var("PAGEWISE_LONG_MB").ok().and_then(|mb| mb.parse().ok()).unwrap_or(USUAL_MB);
    let bytes = long(&piece(&short), &path, mb * 1_000_000);
    let mut told = Vec::new();
    let seen = observe(&[Input::of(&path)], &mut |_, share| told.push(share)).unwrap();
    let expected = observe(&[Input::of(&short)], &mut |_, _| {}).unwrap();
    for name in ["word_address_bytes", "page_bytes", "wait", "device_addresses"] {
        let kind = |value: &serde_json::Value| value.get("kind").unwrap_or(value).clone();
        assert_eq!(kind(&seen.property(name).value), kind(&expected.property(name).value), "{name}");
    }
    assert!(told.len() > 10 && told.windows(2).all(|two| two[0] <= two[1]), "progress is told, and never goes back");
    let Some(peak) = peak_mb() else { return };
    println!("{} MB were read with {peak} MB at the peak", bytes / 1_000_000);
    assert!(peak < PEAK_MB, "{peak} MB at the peak for a recording of {mb} MB");
}
