//! What the journal says of a unit, and of a part by what it holds.

use super::record::{Event, Record};

/// Where a part sits, as far as it decides what a record is worth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Site {
    /// `simulated`, or the path of the device.
    pub bus: String,
    /// A simulated part sits there.
    pub simulated: bool,
    /// File of its memory, as seen from the journal's folder.
    pub memory: Option<String>,
}

impl Site {
    /// Whether a record is of the same kind of place: of hardware, or of the same simulated part.
    fn is_of(&self, record: &Record) -> bool {
        self.simulated == record.simulated && self.memory == record.memory
    }

    /// Whether every run on it gets a part of its own, which nothing was left in.
    const fn is_new_each_time(&self) -> bool {
        self.simulated && self.memory.is_none()
    }
}

/// What a unit is to become: good means all four.
#[derive(Debug, Clone, Copy)]
pub struct Sought<'s> {
    /// The unit.
    pub unit: &'s str,
    /// SHA-256 of its image's file.
    pub sha256: &'s str,
    /// Card of its part.
    pub part: &'s str,
    /// Where that sits.
    pub site: &'s Site,
    /// All buses that the line works on, where there are several: on any of them it is the same unit.
    pub buses: &'s [String],
}

/// What the journal says of a unit.
#[derive(Debug, Clone, Copy, Default)]
pub struct History<'j> {
    /// It is good, with this image, as this part, on this bus: the record that says so.
    pub good: Option<&'j Record>,
    /// It was begun, as this part, and never became good: the last `begin`.
    pub open: Option<&'j Record>,
    /// The last record that says what this unit's part was left with.
    pub left: Option<&'j Record>,
    /// Its region was, or may have been, locked.
    pub locked: bool,
}

/// What the journal says of a unit.
#[must_use]
pub fn of_unit<'j>(records: &'j [Record], sought: &Sought<'_>) -> History<'j> {
    let mut history = History::default();
    for record in records.iter().filter(|r| r.unit == sought.unit && sought.site.is_of(r)) {
        match record.event {
            Event::Begin => (history.good, history.open) = (None, Some(record)),
            Event::Good => (history.good, history.open, history.left) = (Some(record), None, Some(record)),
            Event::LockBegin | Event::Locked => history.locked |= record.part == sought.part,
            Event::Failed | Event::Stopped | Event::Refused | Event::Released => {}
        }
    }
    history.good = history.good.filter(|good| why_not(good, sought).is_none());
    let of_part = |record: &&Record| record.part == sought.part;
    History { open: history.open.filter(of_part), left: history.left.filter(of_part), ..history }
}

/// A record that calls the unit good and does not count here, and why not.
#[must_use]
pub fn good_elsewhere(records: &[Record], sought: &Sought<'_>) -> Option<String> {
    let last = records.iter().rev().find(|r| r.unit == sought.unit && r.event == Event::Good)?;
    let why = why_not(last, sought)?;
    Some(format!("logged good at {}, but {why}: that does not count here", last.at))
}

/// The record of another unit whose part this is, going by what it holds (SHA-256 of the whole part).
///
/// Where this unit's own part holds the same, it is taken for its own unless the other one was the last in the socket.
#[must_use]
pub fn part_of_other<'j>(records: &'j [Record], contents: &str, sought: &Sought<'_>) -> Option<&'j Record> {
    if sought.site.is_new_each_time() {
        return None;
    }
    let of_place = || records.iter().rev().filter(|record| sought.site.is_of(record));
    let left = |record: &&Record| record.part_sha256.as_deref() == Some(contents);
    let other = |record: &&Record| record.unit != sought.unit;
    let last = of_place().find(|record| record.bus == sought.site.bus && record.part_sha256.is_some());
    if let Some(still_there) = last.filter(|record| left(record) && other(record)) {
        return Some(still_there);
    }
    if of_place().any(|record| left(&record) && !other(&record)) {
        return None;
    }
    // A run that was killed behind its last write left as much as one that ended.
    let begun = |record: &&Record| record.wanted_sha256.as_deref() == Some(contents);
    let own_run = of_place().any(|record| begun(&record) && !other(&record));
    of_place().find(|record| other(record) && (left(record) || (begun(record) && !own_run)))
}

/// Why a record that calls the unit good does not count.
fn why_not(good: &Record, sought: &Sought<'_>) -> Option<String> {
    if good.simulated != sought.site.simulated {
        let kind = |simulated: bool| if simulated { "a simulated part" } else { "hardware" };
        return Some(format!("on {}, not on {}", kind(good.simulated), kind(sought.site.simulated)));
    }
    if good.sha256 != sought.sha256 {
        return Some("with another image".into());
    }
    if good.part != sought.part {
        return Some(format!("as another part, {}", good.part));
    }
    if good.bus != sought.site.bus && !sought.buses.contains(&good.bus) {
        return Some(format!("on another bus, {}", good.bus));
    }
    (good.memory != sought.site.memory).then(|| "with another memory file".into())
}
