//! Asking the person at the line, and hearing the request to stop.

use std::io::BufRead;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::output::{Tone, paint, plain};
use pagewise_base::fault::{Fault, Faults};

/// Somebody is being asked something; nothing is in flight.
static ASKING: AtomicBool = AtomicBool::new(false);

/// From now on Ctrl-C, and a polite request of the system to end, set `stop`. The second one ends at once, and so does
/// the first while a question is open.
pub(super) fn stop_on_signal(stop: &'static AtomicBool) -> Result<(), Faults> {
    let handler = move || {
        if stop.swap(true, Ordering::Relaxed) || ASKING.load(Ordering::Relaxed) {
            std::process::exit(130);
        }
    };
    ctrlc::set_handler(handler)
        .map_err(|error| Fault::of_file("program", format!("cannot listen to the request to stop: {error}"), "").into())
}

/// One line from standard input; nothing when it has ended.
fn line(question: &str) -> String {
    anstream::eprint!("{question}");
    ASKING.store(true, Ordering::Relaxed);
    let mut typed = String::new();
    // An input that cannot be read answers nothing.
    let _ = std::io::stdin().lock().read_line(&mut typed);
    ASKING.store(false, Ordering::Relaxed);
    typed
}

/// Asks for the name of the unit that is to be locked.
pub(super) fn unit_name(unit: &str) -> String {
    let caution = paint(Tone::Bad, "Locking cannot be undone by anything.");
    line(&format!("{caution} Type the name of the unit, {}, to lock its identification page: ", plain(unit)))
}

/// Asks for the next part. False: no more.
pub(super) fn fitted(unit: &str, stop: &AtomicBool) -> bool {
    let answer = line(&format!("Fit the part of unit {} and press Enter (q ends): ", paint(Tone::Strong, plain(unit))));
    answer.ends_with('\n') && answer.trim() != "q" && !stop.load(Ordering::Relaxed)
}
