//! A transaction in words, for those who do not see the picture.

use super::item::{Item, ItemKind};

/// Data bytes in a row are told together from this many on.
const TOGETHER: usize = 3;

pub(super) fn listed(items: &[Item]) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut at = 0;
    while at < items.len() {
        let run = items[at..].iter().take_while(|item| alike(&items[at], item)).count();
        if run >= TOGETHER {
            let ItemKind::Byte { acked, .. } = items[at].kind else { break };
            let answer = if acked { "each acknowledged" } else { "none acknowledged" };
            parts.push(format!("{run} bytes, the first {}, {answer}", items[at].role));
            at += run;
        } else {
            parts.push(one(&items[at]));
            at += 1;
        }
    }
    parts.join("; ") + "."
}

/// Two data bytes with the same answer and nothing noted.
fn alike(a: &Item, b: &Item) -> bool {
    match (a.kind, b.kind) {
        (
            ItemKind::Byte { acked, from_chip, address: false, .. },
            ItemKind::Byte { acked: also, from_chip: same, address: false, .. },
        ) => acked == also && from_chip == same && b.note.is_none() && a.note.is_none() && a.role != "word address",
        _ => false,
    }
}

fn one(item: &Item) -> String {
    let noted = item.note.as_ref().map_or_else(String::new, |note| format!(" ({note})"));
    match item.kind {
        ItemKind::Byte { value, acked, address, .. } => {
            let answer = if acked { "acknowledged" } else { "not acknowledged" };
            let what =
                if address { format!("device address {}", item.role) } else { format!("{value:#04x} {}", item.role) };
            format!("{what}, {answer}{noted}")
        }
        ItemKind::Start { .. } | ItemKind::Stop => format!("{}{noted}", item.role),
        ItemKind::Gap(count) => format!("{count} more bytes"),
    }
}
