//! Motorola S-record.
//!
//! Written here, in one file: the crate for it (`srec` 0.2, without a release since 2020) panics on a header record
//! that holds no UTF-8 text, on a header record without its address, and on lines with other characters than ASCII,
//! and it takes no notice of what follows the checksum. Tests compare with it where it is well.
//!
//! Source: Motorola M68EVB912B32 user's manual (68EVB912B32UM/D), appendix A.

use std::fmt::Write;

use super::{Image, Lines, RECORD_BYTES};
use pagewise_base::fault::Faults;

/// One record: its type digit, its address, its data.
struct Record {
    kind: u8,
    address: u32,
    data: Vec<u8>,
}

/// Bytes of the address of a record of a type; `None` for a type that does not exist.
const fn address_bytes(kind: u8) -> Option<usize> {
    match kind {
        0 | 1 | 5 | 9 => Some(2),
        2 | 6 | 8 => Some(3),
        3 | 7 => Some(4),
        _ => None,
    }
}

/// Reads a file; every bad line is a fault.
pub(super) fn decode(file: &str, contents: &[u8]) -> Result<Image, Faults> {
    let mut lines = Lines::new(file);
    let mut records = 0u32;
    let mut ended = false;
    // A right count of the records above it says as well that none is missing; some programs write no end record.
    let mut counted = false;
    let mut last = 1;
    for (number, text) in lines.split(contents) {
        last = number;
        if ended {
            lines.fault(number, "stands after the end record", "remove it, or the record above it");
            continue;
        }
        let record = match parse(text) {
            Ok(record) => record,
            Err(reason) => {
                lines.fault(number, reason, "write the file anew from its source");
                continue;
            }
        };
        match record.kind {
            1..=3 => {
                records += 1;
                counted = false;
                lines.put(number, record.address, &record.data);
            }
            5 | 6 if record.address != records && lines.faults.is_empty() => {
                let reason = format!("counts {} data records, {records} stand above it", record.address);
                lines.fault(number, reason, "write the file anew: a line is missing or was added");
            }
            5 | 6 => counted = true,
            7..=9 => ended = true,
            _ => {}
        }
    }
    if !ended && !counted && lines.faults.is_empty() {
        lines.fault(last, "the end record (S7, S8 or S9) is missing; the file may be cut", "write it anew");
    }
    lines.finish()
}

fn parse(text: &str) -> Result<Record, String> {
    let digits = text.strip_prefix('S').ok_or("a record begins with `S`")?;
    let (kind, digits) = digits.split_at_checked(1).ok_or("is shorter than any record")?;
    let kind: u8 = kind.parse().map_err(|_| format!("record type S{kind} does not exist"))?;
    let address_bytes = address_bytes(kind).ok_or_else(|| format!("record type S{kind} does not exist"))?;
    if !digits.bytes().all(|digit| digit.is_ascii_hexdigit()) {
        return Err("has characters that are not hexadecimal digits".into());
    }
    if digits.len() % 2 != 0 {
        return Err("has an odd number of digits".into());
    }
    let mut bytes: Vec<u8> = digits.as_bytes().chunks(2).map(byte).collect();
    if bytes.len() < 2 {
        return Err("is shorter than any record".into());
    }
    let (count, checksum) = (bytes[0], bytes.pop().unwrap_or(0));
    if usize::from(count) != bytes.len() {
        return Err(format!("its count byte tells {count} bytes, {} follow", bytes.len()));
    }
    if bytes.len() < 1 + address_bytes {
        return Err(format!("has no room for the address of an S{kind} record"));
    }
    let fitting = self::checksum(&bytes);
    if checksum != fitting {
        return Err(format!("checksum {checksum:02X} is wrong, {fitting:02X} fits the record"));
    }
    let (head, data) = bytes.split_at(1 + address_bytes);
    if !data.is_empty() && matches!(kind, 5..=9) {
        return Err(format!("an S{kind} record holds no data"));
    }
    let address = head[1..].iter().fold(0, |address, byte| address << 8 | u32::from(*byte));
    Ok(Record { kind, address, data: data.to_vec() })
}

/// The byte of two hexadecimal digits.
fn byte(digits: &[u8]) -> u8 {
    digits.iter().fold(0, |byte, digit| byte << 4 | char::from(*digit).to_digit(16).unwrap_or(0) as u8)
}

/// One's complement of the 8-bit sum.
fn checksum(bytes: &[u8]) -> u8 {
    !bytes.iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte))
}

/// Writes an image: the shortest address that reaches its end, a count, and the end record that goes with it.
pub(super) fn encode(image: &Image) -> String {
    let (kind, end) = match image.end() {
        0..=0x1_0000 => (1, 9),
        0x1_0001..=0x100_0000 => (2, 8),
        _ => (3, 7),
    };
    let mut text = String::new();
    let mut records = 0u32;
    line(&mut text, 0, 0, b"pagewise");
    for (start, run) in image.runs() {
        let mut at = 0;
        while at < run.len() {
            let offset = start + at as u32;
            let length = (RECORD_BYTES - offset as usize % RECORD_BYTES).min(run.len() - at);
            line(&mut text, kind, offset, &run[at..at + length]);
            at += length;
            records += 1;
        }
    }
    match records {
        0..=0xFFFF => line(&mut text, 5, records, &[]),
        0x1_0000..=0xFF_FFFF => line(&mut text, 6, records, &[]),
        _ => {}
    }
    line(&mut text, end, 0, &[]);
    text
}

fn line(text: &mut String, kind: u8, address: u32, data: &[u8]) {
    let address_bytes = address_bytes(kind).unwrap_or(4);
    let mut bytes = vec![(address_bytes + data.len() + 1) as u8];
    bytes.extend_from_slice(&address.to_be_bytes()[4 - address_bytes..]);
    bytes.extend_from_slice(data);
    bytes.push(checksum(&bytes));
    let _ = write!(text, "S{kind}");
    for byte in bytes {
        let _ = write!(text, "{byte:02X}");
    }
    text.push('\n');
}
