//! How the lines of a journal hold together: each one ends with a digest of itself and of the line before it.
//!
//! As [`pagewise_base::chain`] has it; each line begins with `"journal"`, the version.

use serde_json::Value;

use super::record::Record;
use pagewise_base::chain;

/// The version that is written.
pub const VERSION: u64 = 2;

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
    Ok(chain::seal(&format!("{{\"journal\":{VERSION},{}", &text[1..]), before))
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
            fields.remove("chain");
            chain::open(line, before).map_err(refused)?.1
        }
        other => return Err(refused(format!("it has version {other}; this program knows 1 and {VERSION}"))),
    };
    let record = serde_json::from_value(Value::Object(fields)).map_err(|error| refused(error.to_string()))?;
    Ok(Link { record, version, digest: own })
}
