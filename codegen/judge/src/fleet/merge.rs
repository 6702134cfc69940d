//! Puts the results of all shards together, or says why they do not belong together.

use std::path::PathBuf;

use super::lines::{self, Header, Results};
use super::{BoardOutcomes, Shard};
use pagewise_base::fault::{Fault, Faults};

/// The results of a whole fleet.
#[derive(Debug, Clone, PartialEq)]
pub struct Merged {
    /// The header that the results of an undivided run have.
    pub header: Header,
    /// How many shards there were.
    pub shards: usize,
    /// Every board, in the order of the fleet.
    pub boards: Vec<BoardOutcomes>,
}

/// Reads and merges the results of all shards.
///
/// # Errors
/// What is wrong with any file; results of different inputs, a shard that is there twice, shards that are missing.
pub fn read(paths: &[PathBuf]) -> Result<Merged, Faults> {
    let mut faults = Vec::new();
    let mut results = Vec::new();
    for path in paths {
        match lines::read(path) {
            Ok(read) => results.push(read),
            Err(more) => faults.extend(more.0),
        }
    }
    Faults(faults).or_ok(results).and_then(merge)
}

/// Merges results.
///
/// # Errors
/// As [`read`].
///
/// # Panics
/// Without any results.
pub fn merge(results: Vec<Results>) -> Result<Merged, Faults> {
    let first = results[0].header.clone();
    let mut faults = Vec::new();
    for (index, one) in results.iter().enumerate() {
        let differs = |reason: String| {
            let remedy = "run all shards with the same boards, cards, stock list and options";
            Fault { line: 1, ..Fault::of_file(&one.file, reason, remedy) }
        };
        let header = &one.header;
        if header.digest != first.digest {
            let short = |digest: &str| digest.chars().take(12).collect::<String>();
            faults.push(differs(format!(
                "holds results of other inputs than {} (digest {} instead of {})",
                results[0].file,
                short(&header.digest),
                short(&first.digest)
            )));
        } else if (header.boards, header.accepts(), &header.currency)
            != (first.boards, first.accepts(), &first.currency)
        {
            faults.push(differs(format!("its header contradicts that of {}", results[0].file)));
        } else if header.shard.of != first.shard.of {
            faults
                .push(differs(format!("is shard {}, but {} is shard {}", header.shard, results[0].file, first.shard)));
        } else if let Some(twin) = results[..index].iter().find(|other| other.header.shard == header.shard) {
            let reason = format!("is shard {}, as is {}", header.shard, twin.file);
            faults.push(Fault::of_file(&one.file, reason, "name each shard once"));
        }
    }
    if faults.is_empty() {
        let missing: Vec<String> = (1..=first.shard.of)
            .filter(|number| results.iter().all(|one| one.header.shard.number != *number))
            .map(|number| Shard { number, of: first.shard.of }.to_string())
            .collect();
        if !missing.is_empty() {
            let shown = missing.iter().take(20).cloned().collect::<Vec<_>>().join(", ");
            let rest = missing.len().saturating_sub(20);
            let more = if rest > 0 { format!(" and {rest} more") } else { String::new() };
            let reason = format!("of {} shards these are missing: {shown}{more}", first.shard.of);
            faults.push(Fault::of_file("merge", reason, "name the results of every shard"));
        }
    }
    let faults = Faults(faults);
    let shards = first.shard.of;
    let mut boards: Vec<BoardOutcomes> = Vec::new();
    results.into_iter().for_each(|one| boards.extend(one.boards));
    boards.sort_by_key(|board| board.place);
    faults.or_ok(Merged { header: Header { shard: Shard::WHOLE, ..first }, shards, boards })
}
