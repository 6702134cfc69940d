//! An independent decoder reads our waveforms: `sigrok-cli` (Debian package of that name) and our trace must agree.

use std::path::Path;
use std::process::Command;

use embedded_hal::i2c::{I2c, Operation};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{Event, EventKind, Level, Rig, RigConfig, Straps, WireConfig};
use pagewise_tests::draws::Draws;
use pagewise_tests::tools;

/// SCL rates; at the byte level each part is run at all of them, in or out of its grade.
const RATES_HZ: [u32; 3] = [100_000, 400_000, 1_000_000];
/// Transfers per part and rate.
const TRANSFERS: u32 = 25;

/// 1 to `most` bytes.
fn some_bytes(draws: &mut Draws, most: u32) -> Vec<u8> {
    let length = 1 + draws.below(most);
    draws.bytes(length as usize)
}

/// Every tenth card or so, so that makers and address shapes differ; at least twenty.
fn cards() -> Vec<Card> {
    let catalogue = Catalogue::embedded().unwrap();
    let all: Vec<&Card> = catalogue.parts().collect();
    let step = (all.len() / 24).max(1);
    let chosen: Vec<Card> = all.into_iter().step_by(step).cloned().collect();
    assert!(chosen.len() >= 20, "{} cards", chosen.len());
    chosen
}

/// Random traffic: writes and reads of the part and of nobody, repeated STARTs, accesses inside the write cycle, and
/// transfers that end in the middle.
fn traffic(rig: &Rig, mut bus: impl I2c, card: &Card, draws: &mut Draws) {
    let answers = card.answers([false; 3]);
    for _ in 0..TRANSFERS {
        let address = match draws.below(8) {
            0 => draws.below(0x80) as u8,
            _ => answers[draws.below(answers.len() as u32) as usize],
        };
        let (write, mut read) = (some_bytes(draws, 6), some_bytes(draws, 6));
        // Nobody answers, or somebody is busy: that is traffic too.
        let _ = match draws.below(5) {
            0 => bus.write(address, &write),
            1 => bus.read(address, &mut read),
            2 => bus.write(address, &[]),
            3 => bus.transaction(address, &mut [Operation::Write(&write), Operation::Read(&mut read)]),
            _ => {
                let more = some_bytes(draws, 3);
                let mut operations = [Operation::Read(&mut read), Operation::Write(&write), Operation::Write(&more)];
                bus.transaction(address, &mut operations)
            }
        };
        rig.advance_ns(u64::from(draws.below(200_000)));
    }
}

/// Our trace in the decoder's words.
fn ours(events: &[Event]) -> Vec<String> {
    let mut lines = Vec::new();
    let mut say = |text: String, acked: Option<bool>| {
        lines.push(text);
        lines.extend(acked.map(|acked| if acked { "ACK" } else { "NACK" }.to_owned()));
    };
    for event in events {
        match event.kind {
            EventKind::Start => say("Start".to_owned(), None),
            EventKind::RepeatedStart => say("Start repeat".to_owned(), None),
            EventKind::Stop => say("Stop".to_owned(), None),
            EventKind::Address { address, read, acked } => {
                let direction = if read { "read" } else { "write" };
                say(format!("Address {direction}: {address:02X}"), Some(acked));
            }
            EventKind::Write { byte, acked } => say(format!("Data write: {byte:02X}"), Some(acked)),
            EventKind::Read { byte, acked } => say(format!("Data read: {byte:02X}"), Some(acked)),
            _ => {}
        }
    }
    lines
}

/// What the decoder makes of the waveform.
fn decoded(sigrok: &Path, rig: &Rig) -> Vec<String> {
    let mut file = tempfile::Builder::new().suffix(".vcd").tempfile().unwrap();
    rig.write_vcd(&mut file).unwrap();
    let run = Command::new(sigrok)
        .args(["-I", "vcd", "-i"])
        .arg(file.path())
        .args(["-P", "i2c:scl=SCL:sda=SDA", "-A"])
        .arg("i2c=start:repeat-start:stop:ack:nack:address-read:address-write:data-read:data-write")
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let said = String::from_utf8_lossy(&run.stdout);
    // `Write` and `Read` say once more what the address said.
    let lines = said.lines().map(|line| line.trim_start_matches("i2c-1: ").to_owned());
    lines.filter(|line| line != "Write" && line != "Read").collect()
}

/// Runs the traffic of all cards at all rates and compares.
fn agree(beyond_grade: bool, on: impl Fn(&Rig, &Card, &mut Draws)) {
    let Some(sigrok) = tools::need("sigrok-cli", "sigrok-cli") else { return };
    for (number, card) in cards().iter().enumerate() {
        let supply_mv = card.max_mv.value;
        for scl_hz in RATES_HZ {
            if !beyond_grade && scl_hz > card.scl_khz_at(supply_mv) * 1000 {
                continue;
            }
            let seed = number as u64 * 3 + u64::from(scl_hz);
            let rig = Rig::new(RigConfig { scl_hz, supply_mv, seed });
            let wp = Level::from_bit(!card.wp_active_high.value);
            rig.attach(card.chip_model(), Straps::GROUND.with_wp(wp));
            on(&rig, card, &mut Draws::new(seed));
            let (expected, found) = (ours(&rig.trace()), decoded(&sigrok, &rig));
            assert!(expected.len() > TRANSFERS as usize);
            let first = expected.iter().zip(&found).position(|(ours, theirs)| ours != theirs);
            assert!(expected == found, "{} at {scl_hz} Hz, seed {seed}: first difference at {first:?}", card.id);
        }
    }
}

#[test]
fn an_independent_decoder_reads_the_trace_of_the_byte_level() {
    agree(true, |rig, card, draws| traffic(rig, rig.bus(), card, draws));
}

#[test]
fn an_independent_decoder_reads_the_trace_of_the_wire_level() {
    // Beyond its grade a part moves SDA too late, and what a decoder sees then is its own affair.
    agree(false, |rig, card, draws| traffic(rig, rig.bit_bang(WireConfig::IDEAL), card, draws));
}
