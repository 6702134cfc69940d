//! An independent program decodes our waveforms. Needs `sigrok-cli`; run with `--ignored` where it is installed.

mod common;

use common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::{EventKind, Rig, RigConfig, Straps, WireConfig};
use std::process::Command;

fn traffic(rig: &Rig, bus: &mut impl I2c, model: &pagewise_simulator::ChipModel) {
    for i in 0..6_u32 {
        let (address, mut bytes) = wire_address(model, (i * 7919) % model.capacity);
        let header = bytes.clone();
        bytes.extend(pattern(i as usize * 3));
        let _ = bus.write(address, &bytes);
        let _ = bus.write(address, &header);
        rig.advance_ns(20_000_000);
        let _ = bus.write_read(address, &header, &mut [0; 5]);
    }
}

/// What the decoder prints, in its words.
fn expected(rig: &Rig) -> Vec<String> {
    let ack = |acked: bool| if acked { "ACK" } else { "NACK" }.to_string();
    let mut lines = Vec::new();
    for event in rig.trace() {
        match event.kind {
            EventKind::Start => lines.push("Start".into()),
            EventKind::RepeatedStart => lines.push("Start repeat".into()),
            EventKind::Stop => lines.push("Stop".into()),
            EventKind::Address { address, read, acked } => {
                lines.push(format!("Address {}: {address:02X}", if read { "read" } else { "write" }));
                lines.push(ack(acked));
            }
            EventKind::Write { byte, acked } => lines.extend([format!("Data write: {byte:02X}"), ack(acked)]),
            EventKind::Read { byte, acked } => lines.extend([format!("Data read: {byte:02X}"), ack(acked)]),
            _ => {}
        }
    }
    lines
}

fn decoded(rig: &Rig, name: &str) -> Vec<String> {
    let path = std::env::temp_dir().join(format!("pagewise-{}-{name}.vcd", std::process::id()));
    rig.write_vcd(&mut std::fs::File::create(&path).unwrap()).unwrap();
    let output = Command::new("sigrok-cli")
        .args(["-I", "vcd", "-P", "i2c:scl=SCL:sda=SDA", "-A", "i2c", "-i"])
        .arg(&path)
        .output()
        .expect("sigrok-cli runs");
    std::fs::remove_file(&path).unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let lines = text.lines().map(|line| line.split_once(": ").map_or(line, |(_, said)| said).to_string());
    // Single bits and the R/W bit are printed too.
    lines.filter(|line| line.len() > 1 && !matches!(line.as_str(), "Read" | "Write")).collect()
}

#[test]
#[ignore = "needs sigrok-cli"]
fn sigrok_decodes_our_waveforms_to_our_trace() {
    for model in eeproms() {
        for hz in [100_000, 400_000, 1_000_000] {
            let byte = Rig::new(RigConfig::default().with_scl_hz(hz));
            byte.attach(model.clone(), Straps::GROUND);
            traffic(&byte, &mut byte.bus(), &model);
            assert_eq!(decoded(&byte, "byte"), expected(&byte), "{} {hz}", model.name);
            let wire = Rig::new(RigConfig::default().with_scl_hz(hz));
            wire.attach(model.clone(), Straps::GROUND);
            let mut bus = wire.bit_bang(WireConfig { capacitance_pf: 30, pull_up_ohm: 2200, ..WireConfig::TYPICAL });
            traffic(&wire, &mut bus, &model);
            assert_eq!(decoded(&wire, "wire"), expected(&wire), "{} {hz}", model.name);
        }
    }
}
