//! Recordings written from the waves of a rig, as a logic analyser would.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use pagewise_simulator::Line;
use tempfile::TempDir;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// Levels of the lines over time.
pub type Waves = [(u64, Line, bool)];

/// How a session file is laid out.
#[derive(Clone)]
pub struct Layout {
    pub hz: u64,
    pub unit: usize,
    /// Bits of SCL and SDA.
    pub scl: usize,
    pub sda: usize,
    /// Bytes per piece; 0 for one entry without number.
    pub piece: usize,
    pub analog: bool,
}

pub const PLAIN: Layout = Layout { hz: 8_000_000, unit: 1, scl: 0, sda: 1, piece: 1 << 20, analog: false };

/// SCL and SDA of each sample: bit 0 and bit 1.
pub fn samples(waves: &Waves, hz: u64, tail_ns: u64) -> Vec<u8> {
    let end = waves.last().map_or(0, |(at, ..)| *at) + tail_ns;
    let count = (u128::from(end) * u128::from(hz) / 1_000_000_000) as u64;
    let (mut levels, mut next) = (3_u8, 0);
    let mut out = Vec::with_capacity(count as usize);
    for index in 0..count {
        let now = (u128::from(index) * 1_000_000_000 / u128::from(hz)) as u64;
        while let Some((at, line, level)) = waves.get(next).filter(|(at, ..)| *at <= now) {
            let _ = at;
            let bit = if *line == Line::Scl { 1 } else { 2 };
            levels = if *level { levels | bit } else { levels & !bit };
            next += 1;
        }
        out.push(levels);
    }
    out
}

/// A session file of samples (bit 0: SCL, bit 1: SDA).
pub fn session(folder: &TempDir, name: &str, samples: &[u8], layout: &Layout) -> PathBuf {
    let channels = layout.unit * 8;
    let mut metadata = format!(
        "[global]\nsigrok version=0.5.2\n\n[device 1]\ncapturefile=logic-1\ntotal probes={channels}\nsamplerate={} Hz\n",
        layout.hz
    );
    for bit in 0..channels {
        let name = match bit {
            bit if bit == layout.scl => "SCL".to_owned(),
            bit if bit == layout.sda => "SDA".to_owned(),
            bit => format!("D{bit}"),
        };
        metadata += &format!("probe{}={name}\n", bit + 1);
    }
    if layout.analog {
        metadata += &format!("total analog=1\nanalog{}=VBAT\n", channels + 1);
    }
    metadata += &format!("unitsize={}\n", layout.unit);
    let mut entries = vec![("version".to_owned(), b"2".as_slice(), false)];
    entries.push(("metadata".to_owned(), metadata.as_bytes(), true));
    if layout.analog {
        entries.push((format!("analog-1-{}-1", channels + 1), &[0; 64], true));
    }
    let mut bytes = Vec::with_capacity(samples.len() * layout.unit);
    for (index, sample) in samples.iter().enumerate() {
        // The other channels are busy with something else.
        let mut unit = vec![(index / 977) as u8; layout.unit];
        for (bit, level) in [(layout.scl, sample & 1), (layout.sda, sample >> 1 & 1)] {
            let mask = 1 << (bit % 8);
            unit[bit / 8] = unit[bit / 8] & !mask | if level == 1 { mask } else { 0 };
        }
        bytes.extend(unit);
    }
    if layout.piece == 0 {
        entries.push(("logic-1".to_owned(), &bytes, false));
    } else {
        let pieces = bytes.chunks(layout.piece).enumerate();
        entries.extend(pieces.map(|(number, piece)| (format!("logic-1-{}", number + 1), piece, true)));
    }
    archive(folder, name, &entries)
}

/// An archive of entries: name, contents, and whether they are packed.
pub fn archive(folder: &TempDir, name: &str, entries: &[(String, &[u8], bool)]) -> PathBuf {
    let path = folder.path().join(name);
    let mut zip = ZipWriter::new(fs::File::create(&path).unwrap());
    for (entry, bytes, packed) in entries {
        let method = if *packed { zip::CompressionMethod::Deflated } else { zip::CompressionMethod::Stored };
        zip.start_file(entry, SimpleFileOptions::default().compression_method(method)).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap();
    path
}

/// A table with a row per sample; the rate in a comment, the channels in another order.
pub fn table(folder: &TempDir, samples: &[u8], hz: u64) -> PathBuf {
    let mut text = format!("; Channels (3/3): A, SDA, SCL\n; Samplerate: {} kHz\nlogic,logic,logic\n", hz / 1000);
    for sample in samples {
        text += &format!("0,{},{}\n", sample >> 1, sample & 1);
    }
    write(folder, "samples.csv", &text)
}

/// A table with a row per change.
pub fn changes(folder: &TempDir, waves: &Waves) -> PathBuf {
    let mut text = String::from("Time [s];SCL;SDA\n-0.001;1;1\n");
    let mut levels = [1_u8, 1];
    for (at, line, level) in waves {
        levels[usize::from(*line == Line::Sda)] = u8::from(*level);
        text += &format!("{:.9};{};{}\n", *at as f64 / 1e9 - 0.001, levels[0], levels[1]);
    }
    write(folder, "changes.csv", &text)
}

pub fn write(folder: &TempDir, name: &str, text: &str) -> PathBuf {
    let path = folder.path().join(name);
    fs::write(&path, text).unwrap();
    path
}

/// The first part of a file, as a copy that was cut off leaves it.
pub fn cut(path: &Path, share: f64) -> PathBuf {
    let bytes = fs::read(path).unwrap();
    let cut = path.with_extension(format!("cut.{}", path.extension().unwrap().to_str().unwrap()));
    fs::write(&cut, &bytes[..(bytes.len() as f64 * share) as usize]).unwrap();
    cut
}
