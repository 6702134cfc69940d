//! What was built, for people.

use crate::output::{Tone, paint, plain, wrapped};
use pagewise_base::words::listed;
use pagewise_content::image::build::Note;
use pagewise_content::image::folder::{Entry, MANIFEST};
use pagewise_content::layout::{Layout, Placed};

/// Images shown by name; the manifest has them all.
const SHOWN: usize = 5;

/// What the text is made of.
pub(super) struct Told<'i> {
    pub folder: &'i str,
    pub images: &'i [Entry],
    pub notes: &'i [Note],
    pub unused: &'i [String],
}

/// A line per image, then what a reader should know.
pub(super) fn text(layout: &Layout, placed: &Placed, told: &Told<'_>) -> String {
    let images = if told.images.len() == 1 { "image" } else { "images" };
    let mut text = format!(
        "{} {images} of {} for {}: {}\n",
        told.images.len(),
        paint(Tone::Strong, plain(&layout.name)),
        plain(&listed(&placed.parts)),
        plain(told.folder)
    );
    for entry in told.images.iter().take(SHOWN) {
        text += &format!("  {}  SHA-256 {}…\n", plain(&entry.file), &entry.sha256[..16]);
    }
    if told.images.len() > SHOWN {
        text += &format!("  and {} more\n", told.images.len() - SHOWN);
    }
    text += &format!("  {MANIFEST}  unit, file, SHA-256 and values of each\n");
    for note in told.notes {
        let units = if note.units == 1 { "1 unit".to_owned() } else { format!("{} units", note.units) };
        let line = format!("`{}` of {units} {}", plain(&note.region), note.text);
        text += &format!("{}\n", wrapped(&line, &paint(Tone::Caution, "note "), "     "));
    }
    if !told.unused.is_empty() {
        let names: Vec<String> = told.unused.iter().map(|name| plain(name)).collect();
        let line = format!("the layout takes nothing from the columns {}", names.join(", "));
        text += &format!("{}\n", wrapped(&line, &paint(Tone::Caution, "note "), "     "));
    }
    text
}
