//! `pagewise verify`: does a part hold an image?

pub(super) mod text;

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use super::socket::SocketOptions;
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::fault::{Fault, Faults};
use pagewise_line::difference::{Difference, count, differences};
use pagewise_line::look;
use pagewise_line::progress::Progress;
use pagewise_line::units::{self, Unit};
use pagewise_line::{Halt, LineBus, Socket, Step};

/// Compare a part with an image, by reading only.
#[derive(Debug, Args)]
#[command(after_help = "Exit code: 0 the part holds the image, 1 it does not or does not answer, 2 the input was bad.")]
pub struct Verify {
    /// The image (.bin, .hex, .srec); or a folder or manifest of images, with --unit.
    #[arg(value_name = "IMAGE")]
    pub image: PathBuf,
    /// The unit, where there are several.
    #[arg(long, value_name = "NAME")]
    pub unit: Option<String>,
    /// Which part sits where.
    #[command(flatten)]
    pub socket: SocketOptions,
}

#[derive(JsonSchema, Serialize)]
struct Body<'b> {
    unit: &'b str,
    image: &'b str,
    sha256: &'b str,
    part: &'b str,
    bus: &'b str,
    simulated: bool,
    device_address: u8,
    compared_bytes: u64,
    same: bool,
    halt: Option<&'b Halt>,
    differing_bytes: usize,
    differences: &'b [Difference],
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Verify {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with cards, image and bus.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let named: Vec<String> = self.unit.iter().cloned().collect();
        let units = units::read(&self.image, &named)?;
        let [unit] = &units[..] else {
            let reason = format!("holds {} units", units.len());
            let shown = self.image.display().to_string();
            return Err(Fault::of_file(&shown, reason, "name one with --unit").into());
        };
        let socket = self.socket.socket(&catalogue, &units)?;
        units::fits(unit, socket.capacity(), &socket.card.id)?;
        let mut bus = self.socket.open(&catalogue, &socket)?;
        let compared = compare(&mut bus, &socket, unit);
        let none = Vec::new();
        let found = compared.as_ref().unwrap_or(&none);
        let same = compared.is_ok() && found.is_empty();
        let body = Body {
            unit: &unit.name,
            image: &unit.file,
            sha256: &unit.wanted.sha256,
            part: &socket.card.id,
            bus: self.socket.bus_name(),
            simulated: self.socket.simulate,
            device_address: socket.geometry.device_address(),
            compared_bytes: unit.wanted.image().len(),
            same,
            halt: compared.as_ref().err(),
            differing_bytes: count(found),
            differences: found,
        };
        let exit = if same { Exit::Usable } else { Exit::Against };
        Ok(Answer::new(options.reader(), "verify", exit, &body, || self.socket.marked(&text::render(&body))))
    }
}

fn compare(bus: &mut LineBus, socket: &Socket, unit: &Unit) -> Result<Vec<Difference>, Halt> {
    let never = AtomicBool::new(false);
    let progress = Progress::new(&unit.name, &never);
    look::answering(bus, socket)?;
    progress.begin(Step::Verify, unit.wanted.image().len());
    let mut all = Vec::new();
    for (offset, run) in unit.wanted.image().runs() {
        let mut found = vec![0; run.len()];
        look::read(bus, socket, Step::Verify, offset, &mut found, &progress)?;
        all.extend(differences(offset, run, &found));
    }
    Ok(all)
}
