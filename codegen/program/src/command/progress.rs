//! A progress bar on standard error, for folders of images: it shows on a terminal only, and not beside JSON.

use indicatif::{ProgressBar, ProgressStyle};

/// Images from which on a bar is shown: a second or more of work.
const LONG: usize = 200;

/// The bar of so many images, with the time left.
pub(super) fn images(count: usize, json: bool) -> ProgressBar {
    if json || count < LONG {
        return ProgressBar::hidden();
    }
    let style = ProgressStyle::with_template("{pos} of {len} images {wide_bar} {eta} left");
    ProgressBar::new(count as u64).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
}
