//! The trace as a value change dump, for waveform viewers and independent decoders.

use std::io::{self, Write};
use std::vec::Vec;

use crate::event::{Event, EventKind, Level, Line, Note};

/// Levels of the wires of a chip when a trace begins.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Began {
    /// A write cycle runs.
    pub busy: bool,
    /// WP as the chip reads it.
    pub wp: bool,
}

/// Writes a value change dump with a time scale of 1 ns: 1-bit wires `SCL` and `SDA`, a real `SUPPLY` in volts, and for
/// each chip `n` wires `BUSYn` and `WPn`; `chips` and `supply_mv` (in
/// millivolts) are what these begin with.
///
/// # Errors
///
/// The writer fails.
pub fn write(
    into: &mut impl Write,
    waves: &[(u64, Line, bool)],
    events: &[Event],
    chips: &[Began],
    supply_mv: u32,
) -> io::Result<()> {
    let mut vcd = vcd::Writer::new(into);
    vcd.timescale(1, vcd::TimescaleUnit::NS)?;
    vcd.add_module("bus")?;
    let scl = vcd.add_wire(1, "SCL")?;
    let sda = vcd.add_wire(1, "SDA")?;
    let supply = vcd.add_var(vcd::VarType::Real, 64, "SUPPLY", None)?;
    let (mut busy, mut wp) = (Vec::new(), Vec::new());
    for chip in 0..chips.len() {
        busy.push(vcd.add_wire(1, &std::format!("BUSY{chip}"))?);
        wp.push(vcd.add_wire(1, &std::format!("WP{chip}"))?);
    }
    vcd.upscope()?;
    vcd.enddefinitions()?;
    vcd.timestamp(0)?;
    vcd.begin(vcd::SimulationCommand::Dumpvars)?;
    vcd.change_scalar(scl, vcd::Value::V1)?;
    vcd.change_scalar(sda, vcd::Value::V1)?;
    vcd.change_real(supply, f64::from(supply_mv) / 1000.0)?;
    for (index, began) in chips.iter().enumerate() {
        vcd.change_scalar(busy[index], began.busy)?;
        vcd.change_scalar(wp[index], began.wp)?;
    }
    vcd.end()?;
    let mut changes: Vec<(u64, Change)> = waves
        .iter()
        .map(|&(at, line, level)| (at, Change::Wire(if line == Line::Sda { sda } else { scl }, level)))
        .collect();
    for event in events {
        let change = match event.kind {
            EventKind::Supply { mv } => Change::Supply(mv),
            EventKind::WriteProtectPin { chip, level } => Change::Wire(wp[chip.index()], level == Level::High),
            EventKind::Chip { chip, note: Note::CycleStart { .. } } => Change::Wire(busy[chip.index()], true),
            EventKind::Chip { chip, note: Note::CycleEnd { .. } | Note::Torn { .. } } => {
                Change::Wire(busy[chip.index()], false)
            }
            _ => continue,
        };
        changes.push((event.at_ns, change));
    }
    changes.sort_by_key(|(at, _)| *at);
    let mut now = 0;
    for (at, change) in changes {
        if at != now {
            vcd.timestamp(at)?;
            now = at;
        }
        match change {
            Change::Wire(id, level) => vcd.change_scalar(id, level)?,
            Change::Supply(mv) => vcd.change_real(supply, f64::from(mv) / 1000.0)?,
        }
    }
    // Decoders need a time stamp after the last edge.
    vcd.timestamp(now + 10_000)
}

enum Change {
    Wire(vcd::IdCode, bool),
    Supply(u32),
}
