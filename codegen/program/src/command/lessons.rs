//! The lessons and texts that the classroom and its marks share.

use std::path::PathBuf;

use clap::Args;
use pagewise_base::fault::Faults;
use pagewise_part::card::Catalogue;
use pagewise_teach::lesson::Lessons;
use pagewise_teach::texts::Texts;

/// Lessons and texts besides our own.
#[derive(Debug, Clone, Default, Args)]
pub struct OfClass {
    /// Add your own lessons: every *.toml file of this folder; one of the same name takes the place of ours.
    #[arg(long, value_name = "DIR")]
    pub lessons: Option<PathBuf>,
    /// Take every text from this translation.
    #[arg(long, value_name = "FILE")]
    pub texts: Option<PathBuf>,
}

impl OfClass {
    /// Reads both.
    ///
    /// # Errors
    /// Everything that is wrong with either.
    pub(super) fn read(&self, catalogue: &Catalogue) -> Result<(Lessons, Texts), Faults> {
        let lessons = match &self.lessons {
            Some(folder) => Lessons::with_folder(folder, catalogue),
            None => Lessons::embedded(catalogue),
        };
        let texts = self.texts.as_deref().map_or_else(|| Ok(Texts::english()), Texts::read);
        match (lessons, texts) {
            (Ok(lessons), Ok(texts)) => Ok((lessons, texts)),
            (lessons, texts) => {
                let faults = [lessons.err(), texts.err()].into_iter().flatten().flat_map(|faults| faults.0);
                Err(Faults(faults.collect()))
            }
        }
    }
}
