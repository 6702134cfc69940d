//! One part with its image file, for tests through the Linux door.

use std::fs;
use std::path::PathBuf;

use pagewise_part::card::{Card, Catalogue};

/// A part and the file that keeps its memory.
pub struct Bench {
    /// Where the file lies.
    pub folder: tempfile::TempDir,
    /// The part.
    pub card: Card,
}

impl Bench {
    /// A fresh part; its file appears with the first use.
    ///
    /// # Panics
    /// If there is no such card, or no room for temporary files.
    #[must_use]
    pub fn new(part: &str) -> Self {
        let catalogue = Catalogue::embedded().expect("the shipped cards are good");
        let card = catalogue.find(part).expect("a card of the catalogue").clone();
        Self { folder: tempfile::tempdir().expect("a temporary folder"), card }
    }

    /// The image file.
    #[must_use]
    pub fn image(&self) -> PathBuf {
        self.folder.path().join("chip.bin")
    }

    /// What the part holds.
    ///
    /// # Panics
    /// If nothing has used the part yet.
    #[must_use]
    pub fn memory(&self) -> Vec<u8> {
        fs::read(self.image()).expect("the image file of a part that was used")
    }

    /// The part as `pagewise bridge --chip` takes it.
    #[must_use]
    pub fn chip(&self) -> String {
        format!("{}={}", self.card.id, self.image().display())
    }
}
