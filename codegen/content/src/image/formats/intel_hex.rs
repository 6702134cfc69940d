//! Intel HEX, by the crate `ihex`; addresses, order and overlaps are checked here.
//!
//! Source: Intel Hexadecimal Object File Format Specification, revision A (6 January 1988).

use ihex::{ReaderError, Record};

use super::{Image, Lines, RECORD_BYTES};
use pagewise_base::fault::Faults;

/// Where the address of a data record counts from.
#[derive(Clone, Copy)]
enum Base {
    /// Upper half of a 32-bit address.
    Linear(u32),
    /// A segment of 64 KB at a multiple of 16.
    Segment(u32),
}

/// Reads a file; every bad line is a fault.
pub(super) fn decode(file: &str, contents: &[u8]) -> Result<Image, Faults> {
    let mut lines = Lines::new(file);
    let mut base = Base::Linear(0);
    let mut ended = false;
    let mut last = 1;
    for (number, text) in lines.split(contents) {
        last = number;
        if ended {
            lines.fault(number, "stands after the end-of-file record", "remove it, or the record above it");
            continue;
        }
        match Record::from_record_string(text) {
            Ok(Record::Data { offset, value }) => data(&mut lines, number, base, offset, &value),
            Ok(Record::EndOfFile) => ended = true,
            Ok(Record::ExtendedSegmentAddress(segment)) => base = Base::Segment(u32::from(segment) << 4),
            Ok(Record::ExtendedLinearAddress(upper)) => base = Base::Linear(u32::from(upper) << 16),
            // Where a processor would begin to run; a memory has no use for it.
            Ok(Record::StartSegmentAddress { .. } | Record::StartLinearAddress(_)) => {}
            Err(error) => lines.fault(number, reason(error), "write the file anew from its source"),
        }
    }
    if !ended && lines.faults.is_empty() {
        lines.fault(last, "the end-of-file record (:00000001FF) is missing; the file may be cut", "write it anew");
    }
    lines.finish()
}

fn data(lines: &mut Lines<'_>, number: usize, base: Base, offset: u16, bytes: &[u8]) {
    let end = u32::from(offset) + bytes.len() as u32;
    let start = match base {
        Base::Segment(start) if end > 0x1_0000 => {
            let reason = format!("its {} bytes pass the end of the 64 KB segment at {start:#x}", bytes.len());
            return lines.fault(number, reason, "cut the record there: readers differ on where the rest belongs");
        }
        Base::Segment(start) | Base::Linear(start) => start,
    };
    match start.checked_add(u32::from(offset)) {
        Some(offset) => lines.put(number, offset, bytes),
        None => lines.fault(number, "lies past the last 32-bit offset", "correct the address"),
    }
}

fn reason(error: ReaderError) -> String {
    match error {
        ReaderError::ChecksumMismatch(computed, found) => {
            format!("checksum {found:02X} is wrong, {computed:02X} fits the record")
        }
        ReaderError::MissingStartCode => "a record begins with `:`".into(),
        ReaderError::RecordTooShort => "is shorter than any record".into(),
        ReaderError::RecordTooLong => "is longer than any record".into(),
        ReaderError::RecordNotEvenLength => "has an odd number of digits".into(),
        ReaderError::ContainsInvalidCharacters => "has characters that are not hexadecimal digits".into(),
        ReaderError::PayloadLengthMismatch => "its length byte tells another number of data bytes".into(),
        ReaderError::UnsupportedRecordType(kind) => format!("record type {kind:02X} does not exist"),
        ReaderError::InvalidLengthForType => "has the wrong number of data bytes for its type".into(),
    }
}

/// Writes an image; an extended linear address record stands where the upper 16 bits change.
pub(super) fn encode(image: &Image) -> String {
    let mut records = Vec::new();
    let mut upper = 0;
    for (start, run) in image.runs() {
        let mut at = 0;
        while at < run.len() {
            let offset = start + at as u32;
            if offset >> 16 != upper {
                upper = offset >> 16;
                records.push(Record::ExtendedLinearAddress(upper as u16));
            }
            let room = 0x1_0000 - (offset & 0xFFFF) as usize;
            let aligned = RECORD_BYTES - offset as usize % RECORD_BYTES;
            let length = aligned.min(room).min(run.len() - at);
            records.push(Record::Data { offset: offset as u16, value: run[at..at + length].to_vec() });
            at += length;
        }
    }
    records.push(Record::EndOfFile);
    let mut text = String::new();
    for record in records {
        text += &record.to_record_string().expect("a record of at most 16 bytes has a text");
        text.push('\n');
    }
    text
}
