//! Options that say which part sits where, shared by the commands that work on one.

mod part;

use std::path::{Path, PathBuf};

use clap::Args;

use super::{find, values};
use crate::output::{Tone, WIDTH, paint};
use pagewise_base::fault::{Fault, Faults};
use pagewise_line::bench::{Bench, Setup};
use pagewise_line::linux::Device;
use pagewise_line::lock::Lockable;
use pagewise_line::trouble::Trouble;
use pagewise_line::units::Unit;
use pagewise_line::{LineBus, SIMULATED, Socket};
use pagewise_part::card::geometry::PinLevels;
use pagewise_part::card::{Card, Catalogue, Footprint};

/// Stands before every line about a simulated part.
const MARK: &str = "simulated  ";
/// Columns that a line has beside the mark.
pub(super) const ROOM: usize = WIDTH - MARK.len();
/// The kernel's i2c-dev moves at most so many bytes in one message.
const MESSAGE_BYTES: u32 = 8192;

/// Which part sits where.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Part and bus")]
pub struct SocketOptions {
    /// Card of the part: identifier or order code (`pagewise parts` lists them). May be left out where a manifest of
    /// images names it.
    #[arg(long, value_name = "PART")]
    pub part: Option<String>,
    /// Package by its footprint, where its address pins differ: soic-8, sot-23-5, ...
    #[arg(long, value_name = "FOOTPRINT", value_parser = values::footprint)]
    pub package: Option<Footprint>,
    /// Levels of the address pins: a0=gnd,a1=vcc,a2=open; pins not named are tied to gnd.
    #[arg(long, value_name = "PINS", value_parser = values::straps)]
    pub straps: Option<values::Straps>,
    /// The bus: a device of Linux such as /dev/i2c-1. This or --simulate is needed. `program` takes several and works on
    /// all of them at once.
    #[arg(long, value_name = "DEVICE")]
    pub bus: Vec<String>,
    /// Work on a simulated part: every line says so, and nothing of it counts on hardware.
    #[arg(long)]
    pub simulate: bool,
    /// Most bytes that the adapter moves in one transfer, header included.
    #[arg(long, value_name = "BYTES", default_value_t = MESSAGE_BYTES, value_parser = clap::value_parser!(u32).range(5..=65_535))]
    pub max_transfer: u32,
    /// The adapter reports a missing ACK with an error of its own: count that as one.
    #[arg(long)]
    pub other_is_nack: bool,
    /// File that keeps the simulated chip's memory between commands (default: erased, not kept).
    #[arg(long, value_name = "FILE")]
    pub memory: Option<PathBuf>,
    /// Supply of the simulated bus in volts (default: 3.3, or the nearest at which the part writes).
    #[arg(long, value_name = "VOLTS", value_parser = values::millivolts)]
    pub supply: Option<u32>,
    /// SCL rate of the simulated bus in kHz (default: 100, or what the part can do).
    #[arg(long, value_name = "KHZ", value_parser = clap::value_parser!(u32).range(1..=5000))]
    pub scl_khz: Option<u32>,
    /// Trouble on the simulated bus; may be repeated: fitted=PART, wp, other=ADDRESS, nack=BYTE, lost-write=N,
    /// endless-write=N, cut=N, unplugged=N, stuck=OFFSET, busy, real-time.
    #[arg(long = "trouble", value_name = "TROUBLE")]
    pub troubles: Vec<Trouble>,
}

impl SocketOptions {
    /// The socket that these options describe, for the part named or else the one that the images were made for.
    ///
    /// # Errors
    /// No bus, or one and the simulated one; an unknown part, none, or another one than the images were made for; straps that it does not work with; a part
    /// that this driver cannot address.
    pub fn socket(&self, catalogue: &Catalogue, units: &[Unit]) -> Result<Socket, Faults> {
        let mut faults = self.bus_faults(false);
        let card = match part::expected(self.part.as_deref(), units, catalogue) {
            Ok(card) => faults.or_ok(card)?,
            Err(more) => {
                faults.0.extend(more.0);
                return Err(faults);
            }
        };
        let card = self.package.map_or_else(|| card.clone(), |footprint| card.in_footprint(footprint));
        let pins = values::pin_levels(&card, self.straps.unwrap_or_default())?;
        let geometry = card
            .geometry(pins)
            .map_err(|reason| Fault::of_file(&card.id, reason.to_string(), "this part cannot be programmed here"))?;
        Ok(Socket {
            card,
            pins,
            geometry,
            max_transfer_bytes: self.max_transfer as usize,
            other_is_nack: self.other_is_nack,
            scan: true,
        })
    }

    /// What the bus is called.
    #[must_use]
    pub fn bus_name(&self) -> &str {
        self.bus.first().map_or(SIMULATED, String::as_str)
    }

    /// A text for people; of a simulated part, every line says that it is one.
    #[must_use]
    pub fn marked(&self, text: &str) -> String {
        if !self.simulate {
            return text.to_owned();
        }
        text.lines().map(|line| format!("{}{line}\n", paint(Tone::Caution, MARK))).collect()
    }

    /// Hardware or a simulation has to be asked for, and one of them only.
    /// `stated`: of hardware, supply and SCL rate are what the user says of them.
    fn bus_faults(&self, stated: bool) -> Faults {
        let mut faults = Faults::default();
        let mut fault = |option: &str, reason: String, remedy: &str| {
            faults.0.push(Fault::of_file(option, reason, remedy));
        };
        let simulated = [
            (self.memory.is_some(), "--memory"),
            (self.supply.is_some() && !stated, "--supply"),
            (self.scl_khz.is_some() && !stated, "--scl-khz"),
            (!self.troubles.is_empty(), "--trouble"),
        ];
        match self.bus.first() {
            None if !self.simulate => {
                let remedy = "name a device such as --bus /dev/i2c-1, or add --simulate to try it on a simulated part";
                fault("--bus", "which bus to work on was not said".into(), remedy);
            }
            Some(_) if self.simulate => {
                let reason = "names hardware, and --simulate asks for a simulated part".into();
                fault("--bus", reason, "leave one of them out");
            }
            _ => {}
        }
        for (index, bus) in self.bus.iter().enumerate().filter(|_| !self.simulate) {
            if !bus.contains('/') {
                let remedy = "name a device such as /dev/i2c-1, or add --simulate in its place";
                fault("--bus", format!("there is no bus `{bus}`"), remedy);
            } else if self.bus[..index].contains(bus) {
                fault("--bus", format!("names `{bus}` twice"), "name each bus once");
            }
        }
        if !self.simulate {
            for (_, option) in simulated.iter().filter(|(given, _)| *given) {
                fault(option, "means a simulated part only".into(), "leave it out, or add --simulate");
            }
        }
        faults
    }

    /// Opens the one bus; nothing is sent.
    ///
    /// # Errors
    /// Several buses, one that cannot be opened, a memory file that does not fit.
    pub fn open(&self, catalogue: &Catalogue, socket: &Socket) -> Result<LineBus, Faults> {
        if self.bus.len() > 1 {
            let reason = format!("names {} buses, and one part is read", self.bus.len());
            return Err(Fault::of_file("--bus", reason, "name one").into());
        }
        match self.devices()?.pop() {
            Some(device) => Ok(LineBus::Linux(device)),
            None => self.simulated(catalogue, socket, self.memory.as_deref()),
        }
    }

    /// The card that the part is said to be of, if any, and the bus, for a part of which nothing is taken for granted.
    ///
    /// # Errors
    /// No bus, several, or one and the simulated one; an unknown part; nobody says which part is simulated.
    pub fn open_unknown(&self, catalogue: &Catalogue) -> Result<(Option<Card>, LineBus), Faults> {
        let mut faults = self.bus_faults(true);
        if self.bus.len() > 1 {
            faults.0.push(Fault::of_file("--bus", "names several buses, and one part is measured", "name one"));
        }
        let fitted = self.fitted();
        if self.simulate && self.part.is_none() && fitted.is_none() {
            let remedy = "name it with --trouble fitted=PART, or say with --part what it is marked as";
            faults.0.push(Fault::of_file("--simulate", "which part is simulated was not said", remedy));
        }
        let faults = faults.or_ok(());
        faults?;
        let named = self.part.as_deref().map(|part| find(catalogue, part)).transpose()?;
        let in_package = |card: &Card| self.package.map_or_else(|| card.clone(), |package| card.in_footprint(package));
        let named = named.map(in_package);
        if let Some(device) = self.devices()?.pop() {
            return Ok((named, LineBus::Linux(device)));
        }
        let sits = match (fitted, &named) {
            (Some(part), _) => in_package(find(catalogue, part)?),
            (None, Some(card)) => card.clone(),
            (None, None) => return Err(Fault::of_file("--simulate", "no part", "name it with --part").into()),
        };
        let pins = values::pin_levels(&sits, self.straps.unwrap_or_default())?;
        Ok((named, self.simulated_card(&sits, pins, self.memory.as_deref())?))
    }

    /// Opens and locks every bus of hardware; nothing is sent.
    ///
    /// # Errors
    /// Each bus that cannot be opened, or is in use.
    pub fn devices(&self) -> Result<Vec<Device>, Faults> {
        let (mut devices, mut faults) = (Vec::new(), Faults::default());
        for bus in &self.bus {
            match Device::open(bus) {
                Ok(device) => devices.push(device),
                Err(fault) => faults.0.push(fault),
            }
        }
        faults.or_ok(devices)
    }

    /// A bus with a simulated part. `memory` is the file of its memory.
    ///
    /// # Errors
    /// A memory file that does not fit or is in use, a trouble with a place that the part does not have.
    pub fn simulated(&self, catalogue: &Catalogue, socket: &Socket, memory: Option<&Path>) -> Result<LineBus, Faults> {
        let card = match self.fitted() {
            Some(part) => find(catalogue, part)?,
            None => &socket.card,
        };
        self.simulated_card(card, socket.pins, memory)
    }

    /// The part that sits there instead of the one that should.
    fn fitted(&self) -> Option<&str> {
        self.troubles.iter().rev().find_map(|trouble| match trouble {
            Trouble::Fitted(part) => Some(part.as_str()),
            _ => None,
        })
    }

    /// Supply and SCL rate of the simulated bus.
    pub(super) fn conditions(&self, card: &Card) -> (u32, u32) {
        let (least, most) = (card.write_min_mv.value, card.max_mv.value);
        let supply_mv = self.supply.unwrap_or_else(|| 3300.clamp(least.min(most), most));
        let fastest = card.scl_khz_at(supply_mv);
        let scl_khz = self.scl_khz.unwrap_or(if fastest == 0 { 100 } else { fastest.min(100) });
        (supply_mv, scl_khz.max(card.min_scl_khz))
    }

    fn simulated_card(&self, card: &Card, pins: PinLevels, memory: Option<&Path>) -> Result<LineBus, Faults> {
        let (supply_mv, scl_khz) = self.conditions(card);
        let lock = Lockable::of(card, pins).map(|lockable| {
            let (address, bytes) = lockable.write();
            (lockable.index, address, bytes)
        });
        let setup =
            Setup { model: card.chip_model(), pins, memory, supply_mv, scl_khz, troubles: &self.troubles, lock };
        Ok(LineBus::Simulated(Box::new(Bench::new(&setup)?)))
    }
}
