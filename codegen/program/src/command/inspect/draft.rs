//! A draft of a layout from what was found in a dump.

use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::output::plain;
use pagewise_base::fault::Fault;
use pagewise_content::image::Form;
use pagewise_content::inspect::{Certainty, Content, Found};

#[derive(Serialize)]
struct Values {
    dump: String,
    /// TOML literals.
    name: String,
    from: String,
    regions: Vec<Region>,
}

#[derive(Serialize)]
struct Region {
    range: String,
    seen: String,
    name: String,
    offset: String,
    length: u32,
}

/// The layout: one region for everything found but erased bytes, with what was seen as a comment.
///
/// # Errors
/// The dump holds nothing, or a layout could not read it.
pub(super) fn draft(dump: &Path, layout: &Path, found: &[Found]) -> Result<String, Fault> {
    let shown = dump.display().to_string();
    if Form::of_path(dump).is_none() {
        let reason = "its extension tells no form, and a layout reads it by that";
        return Err(Fault::of_file(&shown, reason, "rename it to .bin, .hex or .srec"));
    }
    let regions = regions(found);
    if regions.is_empty() {
        return Err(Fault::of_file(
            &shown,
            "holds nothing but erased bytes",
            "name the dump of a part that was in use",
        ));
    }
    let values = Values {
        dump: plain(&shown),
        name: literal(&dump.file_stem().unwrap_or_default().to_string_lossy()),
        from: literal(&seen_from(dump, layout).display().to_string()),
        regions,
    };
    Ok(pagewise_templates::render("layout_draft.toml.tera", &values))
}

fn regions(found: &[Found]) -> Vec<Region> {
    let mut all: Vec<&Found> = found.iter().filter(|found| word(&found.content).is_some()).collect();
    all.sort_by_key(|found| found.offset);
    let mut end = 0;
    // Where two things were seen in the same bytes, the first one stands for both.
    all.retain(|found| {
        let apart = found.offset >= end;
        end = if apart { found.offset + found.length } else { end };
        apart
    });
    let region = |found: &Found| {
        let sure = match found.sure {
            _ if found.content == Content::Unknown => "unknown",
            Certainty::Certain => "certain",
            Certainty::Likely => "likely",
            Certainty::Possible => "possible",
        };
        Region {
            range: format!("{:#06x}..{:#06x}", found.offset, found.offset + found.length),
            seen: format!("{sure}: {}", plain(&found.because)),
            name: format!("{}-{:04x}", word(&found.content).unwrap_or_default(), found.offset),
            offset: format!("{:#06x}", found.offset),
            length: found.length,
        }
    };
    all.into_iter().map(region).collect()
}

/// What a region is called; nothing for what needs none.
const fn word(content: &Content) -> Option<&'static str> {
    match content {
        Content::Blank { byte: 0xFF } | Content::Repeats { .. } | Content::PageWrap(_) => None,
        Content::Blank { .. } => Some("zero"),
        Content::Record(_) => Some("record"),
        Content::DamagedRecord { .. } => Some("damaged-record"),
        Content::Edid(_) => Some("display"),
        Content::Fru(_) => Some("inventory"),
        Content::Spd(_) => Some("memory-module"),
        Content::Signed { .. } => Some("block"),
        Content::Text { .. } => Some("text"),
        Content::Unknown => Some("unknown"),
    }
}

/// The dump as the layout's folder sees it.
fn seen_from(dump: &Path, layout: &Path) -> PathBuf {
    let folder = layout.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let (Ok(folder), Ok(dump)) = (folder.canonicalize(), dump.canonicalize()) else { return dump.to_owned() };
    dump.strip_prefix(&folder).map_or_else(|_| dump.clone(), Path::to_owned)
}

/// A text as a TOML string: JSON writes it the same way, but for one character.
fn literal(text: &str) -> String {
    serde_json::Value::from(text).to_string().replace('\u{7F}', "\\u007F")
}
