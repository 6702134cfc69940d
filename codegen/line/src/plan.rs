//! The plan: may this part be written, and what differs.

use serde::Serialize;

use super::journal::{History, Journal};
use super::look::Look;
use super::resume::{self, Resume};
use super::units::Unit;
use super::wanted::digest;
use super::{Halt, Socket, Step};
use pagewise_part::card::Access;

/// What the part turned out to hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
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
    journal: &Journal,
    permissions: Permissions,
) -> Result<Plan, Halt> {
    let history = journal.of(&unit.name);
    let after = unit.wanted.over(&look.contents);
    let (holds, resume) = judge(look, unit, socket, journal, history, permissions, &after)?;
    let differs = |(offset, bytes): &(u32, &[u8])| look.contents[*offset as usize..][..bytes.len()] != **bytes;
    let (changed, same): (Vec<_>, Vec<_>) = unit.wanted.pieces(socket.unit()).partition(differs);
    let pieces: Vec<(u32, Vec<u8>)> = changed.into_iter().map(|(offset, bytes)| (offset, bytes.to_vec())).collect();
    writable(&pieces, &look.contents, socket)?;
    Ok(Plan { holds, resume, pieces, kept: same.len() as u32, after })
}

fn judge(
    look: &Look,
    unit: &Unit,
    socket: &Socket,
    journal: &Journal,
    history: History<'_>,
    permissions: Permissions,
    after: &[u8],
) -> Result<(Holds, Option<Resume>), Halt> {
    if is_blank(&look.contents) && after != look.contents {
        return Ok((Holds::Blank, None));
    }
    let page = socket.unit();
    let taken_up = history.open.map(|open| resume::check(open, &look.contents, &unit.wanted, page, look.unsteady));
    if let Some(Ok(resume)) = taken_up {
        return Ok((Holds::Interrupted, Some(resume)));
    }
    if let Some(at) = look.unsteady {
        let reason = format!("0x{at:04X} reads differently the second time");
        let remedy = format!(
            "a part that takes another number of word-address bytes than {} does that, or a bad contact: read its \
             marking",
            socket.card.word_address_bytes.value
        );
        return Err(Halt::failed(Step::Look, reason, remedy).named("address-width"));
    }
    if after == look.contents {
        return Ok((Holds::AsWanted, None));
    }
    let sha256 = digest(&look.contents);
    if history.good.and_then(|good| good.part_sha256.as_deref()) == Some(&sha256) {
        return Ok((Holds::Ours, None));
    }
    if permissions.overwrite {
        return Ok((Holds::Foreign, None));
    }
    if let Some(other) = journal.left_with(&sha256, &unit.name) {
        let reason = format!("this is the part of unit `{}`, good since {}", other.unit, other.at);
        return Err(Halt::refused(Step::Look, reason, "fit the next part, or add --overwrite to lose that unit"));
    }
    if let Some(period) = look.period {
        let reason = format!("the contents repeat after 0x{period:04X} bytes: a smaller part may sit there");
        let remedy = "read its marking; if the part is right and the contents may be lost, add --overwrite";
        return Err(Halt::refused(Step::Look, reason, remedy).named("capacity-alias"));
    }
    let mut reason = format!("the part holds something else: {}", look.description);
    if let Some(Err(why)) = taken_up {
        reason += &format!(" ({why})");
    }
    Err(Halt::refused(Step::Look, reason, "`pagewise dump` keeps it; add --overwrite if it may be lost"))
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
