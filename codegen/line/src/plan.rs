//! The plan: may this part be written, and what differs.

use schemars::JsonSchema;
use serde::Serialize;

use super::journal::{Event, Journal, Record, Site, Sought};
use super::look::Look;
use super::resume::{self, Resume};
use super::units::Unit;
use super::wanted::digest;
use super::{Halt, Socket, Step};
use pagewise_part::card::Access;

/// What the part turned out to hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Holds {
    /// Nothing: all 0xFF, or all 0x00.
    Blank,
    /// What the image wants already.
    AsWanted,
    /// What a run that did not end left behind.
    Interrupted,
    /// What the line itself left on this unit.
    Ours,
    /// Something else.
    Foreign,
}

/// What will be written, and what the part holds then.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// What the part holds now.
    pub holds: Holds,
    /// A run that is taken up.
    pub resume: Option<Resume>,
    /// Pieces that differ, none crossing a page.
    pub pieces: Vec<(u32, Vec<u8>)>,
    /// Pieces that are as wanted already.
    pub kept: u32,
    /// The whole part afterwards.
    pub after: Vec<u8>,
}

/// What the person at the line allows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Permissions {
    /// Foreign contents may be lost.
    pub overwrite: bool,
    /// A unit that is good may be programmed again.
    pub again: bool,
}

/// Makes the plan.
///
/// # Errors
/// The part may not be written: it holds something foreign, it belongs to another unit, it does not read the same
/// twice, its contents repeat, or what differs lies where it cannot be written.
pub fn plan(
    look: &Look,
    unit: &Unit,
    socket: &Socket,
    sought: &Sought<'_>,
    journal: &Journal,
    permissions: Permissions,
) -> Result<Plan, Halt> {
    let after = unit.wanted.over(&look.contents);
    let (holds, resume) = Judge { look, unit, socket, journal, sought, permissions }.judge(&after)?;
    let differs = |(offset, bytes): &(u32, &[u8])| look.contents[*offset as usize..][..bytes.len()] != **bytes;
    let (changed, same): (Vec<_>, Vec<_>) = unit.wanted.pieces(socket.unit()).partition(differs);
    let pieces: Vec<(u32, Vec<u8>)> = changed.into_iter().map(|(offset, bytes)| (offset, bytes.to_vec())).collect();
    writable(&pieces, &look.contents, socket)?;
    Ok(Plan { holds, resume, pieces, kept: same.len() as u32, after })
}

/// What the journal is asked for about a unit in a socket.
#[must_use]
pub fn sought<'s>(unit: &'s Unit, socket: &'s Socket, site: &'s Site, buses: &'s [String]) -> Sought<'s> {
    Sought { unit: &unit.name, sha256: &unit.wanted.sha256, part: &socket.card.id, site, buses }
}

/// Everything that decides whether a part may be written.
struct Judge<'j> {
    look: &'j Look,
    unit: &'j Unit,
    socket: &'j Socket,
    journal: &'j Journal,
    sought: &'j Sought<'j>,
    permissions: Permissions,
}

impl Judge<'_> {
    fn judge(&self, after: &[u8]) -> Result<(Holds, Option<Resume>), Halt> {
        let Self { look, unit, socket, journal, sought, permissions } = self;
        if is_blank(&look.contents) && after != look.contents {
            return Ok((Holds::Blank, None));
        }
        let sha256 = digest(&look.contents);
        // Before the part is called anything: it may be the one that was in the socket before.
        if !permissions.overwrite
            && let Some(other) = journal.part_of_other(&sha256, sought)
        {
            return Err(part_of(other));
        }
        let history = journal.of(sought);
        let taken_up = history.open.map(|open| resume::check(journal, open, look, &unit.wanted, socket.unit()));
        if let Some(Ok(resume)) = taken_up {
            return Ok((Holds::Interrupted, Some(resume)));
        }
        self.is_steady()?;
        if after == look.contents {
            return Ok((Holds::AsWanted, None));
        }
        if history.left.and_then(|left| left.part_sha256.as_deref()) == Some(&sha256) {
            return Ok((Holds::Ours, None));
        }
        if permissions.overwrite {
            return Ok((Holds::Foreign, None));
        }
        Err(self.foreign(taken_up.and_then(Result::err)))
    }

    fn is_steady(&self) -> Result<(), Halt> {
        let Some(at) = self.look.unsteady else { return Ok(()) };
        let reason = format!("0x{at:04X} reads differently the second time");
        let remedy = format!(
            "a part that takes another number of word-address bytes than {} does that, or a bad contact: read its \
             marking",
            self.socket.card.word_address_bytes.value
        );
        Err(Halt::failed(Step::Look, reason, remedy).named("address-width"))
    }

    fn foreign(&self, not_taken_up: Option<String>) -> Halt {
        if let Some(period) = self.look.period {
            let reason = format!("the contents repeat after 0x{period:04X} bytes: a smaller part may sit there");
            let remedy = "read its marking; if the part is right and the contents may be lost, add --overwrite";
            return Halt::refused(Step::Look, reason, remedy).named("capacity-alias");
        }
        let mut reason = format!("the part holds something else: {}", self.look.description);
        if let Some(why) = not_taken_up {
            reason += &format!(" ({why})");
        }
        Halt::refused(Step::Look, reason, "`pagewise dump` keeps it; add --overwrite if it may be lost")
    }
}

/// The part of another unit sits there.
fn part_of(other: &Record) -> Halt {
    let state = match other.event {
        Event::Good => "good since",
        _ => "whose run did not end, begun at",
    };
    let reason = format!("this is the part of unit `{}`, {state} {}: it holds just that", other.unit, other.at);
    let remedy = "fit the next part; if this is another one that holds the same, or that unit may be lost, add \
                  --overwrite";
    Halt::refused(Step::Look, reason, remedy)
}

/// What differs must lie where the part can be written.
fn writable(pieces: &[(u32, Vec<u8>)], contents: &[u8], socket: &Socket) -> Result<(), Halt> {
    let card = &socket.card;
    let (first, length) = card.fixed_range.value.bytes(card.capacity_bytes.value);
    let in_array = card.regions.iter().filter(|region| region.device_bits.is_none());
    let mut fixed: Vec<(u32, u32)> =
        in_array.filter(|region| region.access == Access::ReadOnly).map(|r| (r.word_address, r.length)).collect();
    fixed.push((first, length));
    for (offset, bytes) in pieces {
        for (at, _) in (*offset..).zip(bytes).filter(|(at, byte)| contents[*at as usize] != **byte) {
            if let Some((first, length)) = fixed.iter().find(|(first, length)| at >= *first && at - first < *length) {
                let reason = format!(
                    "the image changes 0x{at:04X}, but 0x{first:04X} to 0x{:04X} can only be read on {}",
                    first + length - 1,
                    card.id
                );
                return Err(Halt::refused(Step::Look, reason, "make an image that leaves this range out"));
            }
        }
    }
    Ok(())
}

/// All bytes as a part leaves the factory, or as some FRAMs do.
#[must_use]
pub fn is_blank(contents: &[u8]) -> bool {
    [0xFF, 0x00].iter().any(|blank| contents.iter().all(|byte| byte == blank))
}
