//! How the lines of a journal hold together: each one ends with a digest of itself and of the line before it.
//!
//! A line is a JSON object that begins with `"journal"`, the version, and ends with `"digest"`: SHA-256 of the digest of
//! the line before (nothing in the first line), a line feed, and the line up to the comma before `"digest"`. Whoever
//! changes a line, takes one out or puts one in without computing every later digest anew is found out. Lines that are
//! taken away at the end are not.

use serde_json::Value;

use super::record::Record;
use crate::wanted::digest;

/// The version that is written.
pub const VERSION: u64 = 2;
/// What stands between a record and its digest.
const SEAL: &str = ",\"digest\":\"";
/// Hexadecimal digits of a digest.
const DIGITS: usize = 64;

/// A line that was read.
#[derive(Debug)]
pub(super) struct Link {
    pub(super) record: Record,
    /// Its version.
    pub(super) version: u64,
    /// Its digest; empty in version 1.
    pub(super) digest: String,
}

/// Why a line is not one.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Broken {
    /// It is not JSON: if it is the last one, it may have been torn.
    NotJson(String),
    /// It is, and is not understood or not to be trusted.
    Refused(String),
}

/// The line of a record behind the line with this digest, without a line feed; and its own digest.
pub(super) fn seal(record: &Record, before: &str) -> serde_json::Result<(String, String)> {
    let text = serde_json::to_string(record)?;
    let text = format!("{{\"journal\":{VERSION},{}", &text[1..text.len() - 1]);
    let own = link(before, &text);
    Ok((format!("{text}{SEAL}{own}\"}}"), own))
}

fn link(before: &str, text: &str) -> String {
    digest(format!("{before}\n{text}").as_bytes())
}

/// Reads a line behind the line with this digest.
pub(super) fn read(line: &str, before: &str) -> Result<Link, Broken> {
    let value: Value = serde_json::from_str(line).map_err(|error| Broken::NotJson(error.to_string()))?;
    let refused = |reason: String| Broken::Refused(reason);
    let Value::Object(mut fields) = value else { return Err(refused("it is not an object".into())) };
    let version = match fields.remove("journal") {
        None => 1,
        Some(version) => version.as_u64().ok_or_else(|| refused("its version is not a number".into()))?,
    };
    let own = match version {
        1 => {
            // Version 1 said it by the name of the bus alone.
            let simulated = fields.get("bus").is_some_and(|bus| bus == "simulated");
            fields.insert("simulated".into(), simulated.into());
            String::new()
        }
        VERSION => {
            fields.remove("digest");
            sealed(line, before).map_err(refused)?
        }
        other => return Err(refused(format!("it has version {other}; this program knows 1 and {VERSION}"))),
    };
    let record = serde_json::from_value(Value::Object(fields)).map_err(|error| refused(error.to_string()))?;
    Ok(Link { record, version, digest: own })
}

/// The digest of a line, if it is that of what stands there.
fn sealed(line: &str, before: &str) -> Result<String, String> {
    let (text, own) = split(line).ok_or("it does not end with its digest")?;
    if link(before, text) == own {
        return Ok(own.to_owned());
    }
    Err("it was changed, or a line before it was changed, taken out or put in: its digest is another one".into())
}

/// A line's text up to its digest, and the digest.
fn split(line: &str) -> Option<(&str, &str)> {
    let inner = line.trim_end().strip_suffix("\"}")?;
    let (rest, own) = inner.split_at_checked(inner.len().checked_sub(DIGITS)?)?;
    Some((rest.strip_suffix(SEAL)?, own))
}

/// The digest that a line claims to have, so that the lines behind a bad one can be judged.
pub(super) fn claimed(line: &[u8]) -> Option<String> {
    let (_, own) = split(std::str::from_utf8(line).ok()?)?;
    Some(own.to_owned())
}
