//! A progress bar on standard error, for what takes a second or more: it shows on a terminal only, and not beside JSON.

use indicatif::{ProgressBar, ProgressStyle};

/// The bar of so many things, with the time left; `long` says whether it takes long enough for one.
pub(super) fn bar(count: usize, what: &str, long: bool) -> ProgressBar {
    if !long {
        return ProgressBar::hidden();
    }
    // On its own it draws on standard error, and nothing where that is not a terminal.
    let style = ProgressStyle::with_template(&format!("{{pos}} of {{len}} {what} {{wide_bar}} {{eta}} left"));
    ProgressBar::new(count as u64).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
}

/// Images from which on a bar is shown.
const MANY_IMAGES: usize = 200;

/// The bar of images that are made.
pub(super) fn images(count: usize, json: bool) -> ProgressBar {
    bar(count, "images", !json && count >= MANY_IMAGES)
}
