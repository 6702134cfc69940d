//! Regions beside the array, as the entries give them in words.

use toml::{Table, Value};

use super::{Pair, number, text};

/// Why a region of the card is not what its entry says, if it is not.
pub(super) fn region_fault(pair: &Pair, region: &Table) -> Option<String> {
    let said = pair.remarks();
    let kind = text(region, "kind");
    let names: &[&str] = match kind.as_str() {
        "serial-number" => &["serial"],
        "eui-48" => &["EUI-48"],
        "eui-64" => &["EUI-64"],
        "permanent-protection" => &["permanent", "one-time software protection of the lower 128 bytes"],
        "identification-page" => {
            &["dentification page", "further page", "extra page", "lockable page", "user bytes lockable"]
        }
        "device-id" => &["device identification", "device ID"],
        "page-protection" => &["per-page protection bits"],
        "bank-select" => &["256-byte banks", "set-page-address command"],
        _ => return Some(format!("region {kind} has no rule")),
    };
    let banks = pair.published_text("block_select_where");
    let named = names.iter().any(|words| said.contains(words) || banks.contains(words));
    let code = text(region, "device_code").replace(' ', "");
    let value = |key: &str| region.get(key).and_then(number).map(|value| value as u32);
    // `EUI-48: array FAh-FFh` in the clause that names the region; elsewhere a size in bits.
    let regions = pair.published_text("special_regions");
    let mut clauses = regions.split("; ").filter(|clause| names.iter().any(|words| clause.contains(words)));
    let here = match (value("word_address"), value("length")) {
        (Some(at), Some(length)) => {
            let range = format!("{at:02X}h-{:02X}h", at + length - 1);
            let (first, bits) = (format!("{at:02X}h"), format!("{}-bit", length * 8));
            clauses.any(|clause| clause.contains(&range) || clause.contains(&first) && clause.contains(&bits))
        }
        (None, Some(length)) => clauses.any(|clause| {
            let bits = length * 8;
            let sizes =
                [format!("{bits}-bit"), format!("EUI-{bits}"), format!("{length} bytes"), format!("{length}-byte")];
            sizes.iter().chain(&[format!("{length} user bytes")]).any(|it| clause.contains(it))
        }),
        (at, None) => at.is_none(),
    };
    let said_so =
        regions.contains("read only") || regions.contains("read-only") || said.contains("permanently protected");
    // A serial number and what the maker identifies a part by are nobody else's to write.
    let makers = ["serial-number", "device-id"].contains(&kind.as_str());
    let read_only = text(region, "access") != "read-only" || said_so || makers;
    let protects = match text(region, "protects").as_str() {
        "" => true,
        "lower-half" => said.contains("lower half") || said.contains("first half"),
        _ => false,
    };
    let lockable = text(region, "access") != "lockable"
        || ["locked for good", "user bytes lockable"].iter().any(|it| said.contains(it));
    let hex = |byte: &Value| format!("{:02X}", byte.as_integer().unwrap_or(-1));
    let contents: Option<Vec<String>> =
        region.get("contents").and_then(Value::as_array).map(|all| all.iter().map(hex).collect());
    let plain = said.replace(['h', ','], "");
    let contents = contents.is_none_or(|bytes| plain.contains(&bytes.join(" ")));
    let sound = contents && named && said.contains(&code) && here && read_only && lockable && protects;
    (!sound).then(|| format!("region {kind} is not published so"))
}
