//! Image files: binary, Intel HEX, S-record.

mod intel_hex;
mod srecord;

use std::fs;
use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;

use super::sparse::{Image, Refused};
use pagewise_base::fault::{Fault, Faults};

/// Largest image file that is read, in bytes: a text of the largest density known (128 Mbit = 16777216 bytes) in
/// records of 16 bytes takes about 45 bytes per record. Anything larger was named by mistake.
const LARGEST_FILE: u64 = 64 << 20;

/// Data bytes of a record that is written.
const RECORD_BYTES: usize = 16;

/// Format of an image file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, JsonSchema, Serialize)]
#[cfg_attr(feature = "clap", derive(clap::ValueEnum))]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// Bytes from offset 0 on.
    Bin,
    /// Intel HEX.
    Ihex,
    /// Motorola S-record.
    Srec,
}

impl Form {
    /// Every extension that tells a form, lower case.
    pub const EXTENSIONS: [(&'static str, Self); 11] = [
        ("bin", Self::Bin),
        ("rom", Self::Bin),
        ("hex", Self::Ihex),
        ("ihex", Self::Ihex),
        ("ihx", Self::Ihex),
        ("srec", Self::Srec),
        ("s19", Self::Srec),
        ("s28", Self::Srec),
        ("s37", Self::Srec),
        ("mot", Self::Srec),
        ("sre", Self::Srec),
    ];

    /// Extension of files that are written.
    #[must_use]
    pub const fn extension(self) -> &'static str {
        match self {
            Self::Bin => "bin",
            Self::Ihex => "hex",
            Self::Srec => "srec",
        }
    }

    /// The form that a file's extension tells.
    #[must_use]
    pub fn of_path(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_str()?.to_lowercase();
        Self::EXTENSIONS.iter().find(|(known, _)| *known == extension).map(|(_, form)| *form)
    }
}

/// Reads an image file. The form is told by the extension where none is given.
///
/// # Errors
/// The file cannot be read or is larger than 64 MiB, its form is not known, or every line that is wrong.
pub fn read(path: &Path, form: Option<Form>) -> Result<Image, Faults> {
    let file = path.display().to_string();
    let form = form.or_else(|| Form::of_path(path)).ok_or_else(|| {
        let known: Vec<&str> = Form::EXTENSIONS.iter().map(|(word, _)| *word).collect();
        let reason = format!("its extension tells no form; known are {}", known.join(", "));
        Fault::of_file(&file, reason, "name it with --form bin, ihex or srec")
    })?;
    let unreadable = |error: std::io::Error| Fault::unreadable(&file, &error);
    let about = fs::metadata(path).map_err(unreadable)?;
    if !about.is_file() {
        // A device may have no end.
        let reason = if about.is_dir() { "cannot be read: it is a folder" } else { "cannot be read: it is not a file" };
        return Err(Fault::of_file(&file, reason, "name a file").into());
    }
    if about.len() > LARGEST_FILE {
        let reason = format!("holds {} bytes, more than any image needs ({LARGEST_FILE})", about.len());
        return Err(Fault::of_file(&file, reason, "name an image file").into());
    }
    decode(&file, &fs::read(path).map_err(unreadable)?, form)
}

/// Reads an image from the contents of `file`.
///
/// # Errors
/// Every line that is wrong, with its number.
pub fn decode(file: &str, contents: &[u8], form: Form) -> Result<Image, Faults> {
    match form {
        Form::Bin => {
            let image = Image::from_bytes(0, contents);
            image.map_err(|reason| Fault::of_file(file, reason.to_string(), "name an image file").into())
        }
        Form::Ihex => intel_hex::decode(file, contents),
        Form::Srec => srecord::decode(file, contents),
    }
}

/// Writes an image: the contents of its file.
///
/// A binary file begins at offset 0 and holds `fill` in the gaps; the other forms leave gaps out.
///
/// # Errors
/// A binary image that would be larger than 64 MiB.
pub fn encode(image: &Image, form: Form, fill: u8) -> Result<Vec<u8>, super::sparse::Beyond> {
    match form {
        Form::Bin => {
            let length = image.end().min(LARGEST_FILE) as u32;
            image.flatten(length, fill)
        }
        Form::Ihex => Ok(intel_hex::encode(image).into_bytes()),
        Form::Srec => Ok(srecord::encode(image).into_bytes()),
    }
}

/// The faults of one text, line by line.
struct Lines<'f> {
    file: &'f str,
    faults: Vec<Fault>,
    image: Image,
}

impl<'f> Lines<'f> {
    fn new(file: &'f str) -> Self {
        Self { file, faults: Vec::new(), image: Image::new() }
    }

    /// Lines of the file that hold something, with their numbers; a line that is not ASCII text is a fault.
    fn split<'c>(&mut self, contents: &'c [u8]) -> Vec<(usize, &'c str)> {
        let mut lines = Vec::new();
        for (index, line) in contents.split(|byte| *byte == b'\n').enumerate() {
            let line = line.trim_ascii();
            match std::str::from_utf8(line) {
                Ok(text) if text.is_ascii() => {
                    if !text.is_empty() {
                        lines.push((index + 1, text));
                    }
                }
                _ => {
                    self.fault(index + 1, "is not ASCII text", "name a text file; a binary image ends in .bin");
                    // A binary file taken for a text would fault on every line.
                    if self.faults.len() >= 20 {
                        break;
                    }
                }
            }
        }
        lines
    }

    fn fault(&mut self, line: usize, reason: impl Into<String>, remedy: &str) {
        let (file, reason, remedy) = (self.file.to_owned(), reason.into(), remedy.to_owned());
        self.faults.push(Fault { file, line, field: String::new(), reason, remedy });
    }

    fn put(&mut self, line: usize, offset: u32, bytes: &[u8]) {
        if let Err(reason) = self.image.put(offset, bytes) {
            let remedy = match reason {
                Refused::Overlap { .. } => "give each byte once",
                Refused::TooFar { .. } => "correct the address",
            };
            self.fault(line, reason.to_string(), remedy);
        }
    }

    fn finish(self) -> Result<Image, Faults> {
        Faults(self.faults).or_ok(self.image)
    }
}
