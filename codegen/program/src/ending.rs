//! The request of a person or of the system to end: Ctrl-C and its kind.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

use pagewise_base::scratch;

/// Exit code of a run that was asked to end.
const ENDED: i32 = 130;

/// Whether to end at once; set by a command that would rather end at a better moment.
static AT_ONCE: OnceLock<fn() -> bool> = OnceLock::new();

/// The process is ending.
static ENDING: AtomicBool = AtomicBool::new(false);

/// From now on a request to end removes what is temporary first.
pub fn listen() {
    // Where the system has no such requests, nothing is lost but the tidying.
    let _ = ctrlc::set_handler(|| {
        if AT_ONCE.get().is_none_or(|at_once| at_once()) {
            ENDING.store(true, Ordering::Relaxed);
            scratch::remove_all();
            std::process::exit(ENDED);
        }
    });
}

/// Says nothing more once the process is ending: what fails then fails because its files were taken away.
pub fn hold() {
    while ENDING.load(Ordering::Relaxed) {
        std::thread::park();
    }
}

/// From now on `at_once` is asked first; it says whether to end now, or notes that somebody wants to.
pub fn ask_first(at_once: fn() -> bool) {
    // The first command that asks is the only one of a process.
    let _ = AT_ONCE.set(at_once);
}
