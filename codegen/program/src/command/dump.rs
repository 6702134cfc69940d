//! `pagewise dump`: the whole part into a file.

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use super::socket::{ROOM, SocketOptions};
use crate::output::{Answer, Exit, Shape, Tone, answers, paint, plain, wrapped_to};
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_content::image::{Form, Image, formats};
use pagewise_line::look::{self, Look};
use pagewise_line::progress::Progress;
use pagewise_line::wanted::digest;
use pagewise_line::{Halt, Socket};

/// Read a whole part into a file, by reading only.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit code: 0 written, 1 the part does not answer or does not read the same twice, 2 the input \
                        was bad."
)]
pub struct Dump {
    /// The file; its form is told by its extension (.bin, .hex, .srec).
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
    /// Form of the file, whatever its extension.
    #[arg(long, value_name = "FORM", value_enum)]
    pub form: Option<Form>,
    /// Which part sits where.
    #[command(flatten)]
    pub socket: SocketOptions,
}

#[derive(JsonSchema, Serialize)]
struct Body<'b> {
    part: &'b str,
    bus: &'b str,
    simulated: bool,
    device_address: u8,
    file: Option<String>,
    form: Form,
    bytes: usize,
    /// SHA-256 of the part's bytes.
    part_sha256: Option<String>,
    contents: Option<String>,
    halt: Option<&'b Halt>,
    /// A place that reads differently the second time.
    unsteady: Option<u32>,
    /// The contents repeat after this many bytes.
    period: Option<u32>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Dump {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with cards and bus, a file that cannot be written or whose form is not known.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let shown = self.output.display().to_string();
        let form = self.form.or_else(|| Form::of_path(&self.output)).ok_or_else(|| {
            Fault::of_file(&shown, "its extension tells no form", "name it with --form bin, ihex or srec")
        })?;
        let catalogue = options.catalogue()?;
        let mut socket = self.socket.socket(&catalogue, &[])?;
        socket.scan = false;
        let mut bus = self.socket.open(&catalogue, &socket)?;
        let never = AtomicBool::new(false);
        let looked = look::look(&mut bus, &socket, &Progress::new("dump", &never));
        if let Ok(look) = &looked {
            let image = Image::from_bytes(0, &look.contents);
            let image = image.map_err(|reason| Fault::of_file(&shown, reason.to_string(), ""))?;
            let file = formats::encode(&image, form, 0xFF);
            let file = file.map_err(|reason| Fault::of_file(&shown, reason.to_string(), "take another form"))?;
            disk::replace_bytes(&self.output, &file)?;
        }
        let look = looked.as_ref().ok();
        let body = Body {
            part: &socket.card.id,
            bus: self.socket.bus_name(),
            simulated: self.socket.simulate,
            device_address: socket.geometry.device_address(),
            file: look.map(|_| shown),
            form,
            bytes: look.map_or(0, |look| look.contents.len()),
            part_sha256: look.map(|look| digest(&look.contents)),
            contents: look.map(|look| look.description.clone()),
            halt: looked.as_ref().err(),
            unsteady: look.and_then(|look| look.unsteady),
            period: look.and_then(|look| look.period),
        };
        let sound = look.is_some_and(|look| look.unsteady.is_none());
        let exit = if sound { Exit::Usable } else { Exit::Against };
        Ok(Answer::new(options.reader(), "dump", exit, &body, || self.socket.marked(&text(&body, &socket, look))))
    }
}

fn text(body: &Body<'_>, socket: &Socket, look: Option<&Look>) -> String {
    let what = format!("{} at 0x{:02X}, bus {}", body.part, body.device_address, body.bus);
    let Some(look) = look else {
        let (reason, remedy) = body.halt.map_or(("", ""), |halt| (halt.reason.as_str(), halt.remedy.as_str()));
        let first = wrapped_to(ROOM, &plain(&format!("{what}: {reason}")), &paint(Tone::Bad, "failed  "), "        ");
        return format!("{first}\n{}\n", wrapped_to(ROOM, &plain(remedy), "    do: ", "        "));
    };
    let file = body.file.as_deref().unwrap_or_default();
    let mut out = format!("{}: {}, {}\n", plain(file), plain(&what), socket.card.density());
    out += &format!("{}\n", wrapped_to(ROOM, &plain(&look.description), "  holds ", "        "));
    if let Some(at) = look.unsteady {
        let text = format!(
            "0x{at:04X} reads differently the second time: a bad contact, or another part that takes another number of \
             word-address bytes; do not rely on this file"
        );
        out += &format!("{}\n", wrapped_to(ROOM, &text, &format!("  {} ", paint(Tone::Bad, "caution")), "          "));
    }
    if let Some(period) = look.period {
        let text = format!("the contents repeat after 0x{period:04X} bytes: a smaller part may sit there");
        out +=
            &format!("{}\n", wrapped_to(ROOM, &text, &format!("  {} ", paint(Tone::Caution, "caution")), "          "));
    }
    out
}
