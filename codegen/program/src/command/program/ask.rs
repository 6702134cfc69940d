//! Asking the person at the line, and hearing the request to stop.

use std::io::BufRead;
use std::sync::atomic::{AtomicBool, Ordering};

use super::STOP;
use crate::ending;
use crate::output::{Tone, paint, plain};

/// Somebody is being asked something; nothing is in flight.
static ASKING: AtomicBool = AtomicBool::new(false);

/// From now on a request to end stops the line between two pages. The second one ends at once, and so does the first
/// while a question is open.
pub(super) fn stop_on_signal() {
    ending::ask_first(|| STOP.swap(true, Ordering::Relaxed) || ASKING.load(Ordering::Relaxed));
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

/// Asks for the next parts: each a unit and its bus. False: no more.
pub(super) fn fitted(places: &[(&str, &str)], stop: &AtomicBool) -> bool {
    let question = match places {
        [(unit, _)] => format!("Fit the part of unit {}", paint(Tone::Strong, plain(unit))),
        _ => {
            let each =
                places.iter().map(|(unit, bus)| format!("{} on {}", paint(Tone::Strong, plain(unit)), plain(bus)));
            format!("Fit the parts of units {}", each.collect::<Vec<_>>().join(", "))
        }
    };
    let answer = line(&format!("{question} and press Enter (q ends): "));
    answer.ends_with('\n') && answer.trim() != "q" && !stop.load(Ordering::Relaxed)
}

/// The next name that a scanner types, without blanks around it; blank lines are passed over. Nothing: no more.
pub(super) fn scan(stop: &AtomicBool) -> Option<String> {
    loop {
        let typed = line("Fit a part and scan its unit (q ends): ");
        let name = typed.trim();
        if typed.is_empty() || name == "q" || stop.load(Ordering::Relaxed) {
            return None;
        }
        if !name.is_empty() {
            return Some(name.to_owned());
        }
    }
}

/// Whether the others are released, the first one having been checked.
pub(super) fn released(article: &str) -> bool {
    let name = paint(Tone::Strong, plain(article));
    let typed = line(&format!("The first article, {name}, is good. Check it, then type its name to go on: "));
    typed.trim() == article
}
