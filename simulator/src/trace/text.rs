//! The trace as text, a line per transfer.

use alloc::string::String;
use core::fmt::Write;

use crate::event::{Event, EventKind};

/// A line per transfer: time of its START in microseconds, then `S` or `Sr` with device address and `W` or `R`, bytes,
/// `P`; a byte that was acknowledged has a `+`, one that was not a `-`.
///
/// ```text
///          0.000 us  S 50W+ 00+ 10+ AB+ P
///        103.125 us  S 50W- P
/// ```
#[must_use]
pub fn transfers(events: &[Event]) -> String {
    let mut text = String::new();
    for event in events {
        let open = !text.is_empty() && !text.ends_with('\n');
        let mark = |acked: bool| if acked { '+' } else { '-' };
        // Writing to a String cannot fail.
        let _ = match event.kind {
            EventKind::Start => {
                if open {
                    text.push('\n');
                }
                let (us, ns) = (event.at_ns / 1000, event.at_ns % 1000);
                write!(text, "{us:>10}.{ns:03} us  S")
            }
            EventKind::RepeatedStart => write!(text, " Sr"),
            EventKind::Address { address, read, acked } => {
                let direction = if read { 'R' } else { 'W' };
                write!(text, " {address:02X}{direction}{}", mark(acked))
            }
            EventKind::Write { byte, acked } | EventKind::Read { byte, acked } => {
                write!(text, " {byte:02X}{}", mark(acked))
            }
            EventKind::Stop if open => writeln!(text, " P"),
            _ => Ok(()),
        };
    }
    if !text.is_empty() && !text.ends_with('\n') {
        text.push('\n');
    }
    text
}
