//! The first loss of a trial, or the first cut of the supply that it does not survive, on the page of the classroom.

use std::path::Path;

use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::Catalogue;
use pagewise_report::trial::{Loss, Trial};
use pagewise_teach::case::{self, SupplyCut, Surroundings};
use pagewise_teach::lesson::Lessons;
use pagewise_teach::page::{Opening, classroom};
use pagewise_teach::texts::Texts;

use super::cuts::Way;
use super::once::{Ran, us};
use super::setting::{Bench, Setting};

/// Ways to cuts, one for each part that was cut.
pub(super) struct AfterCut<'a> {
    pub(super) parts: &'a [usize],
    pub(super) setting: &'a Setting,
    pub(super) ways: &'a [Option<Way>],
}

/// Writes the page, unless nothing is lost that was not known before.
pub(super) fn write(
    path: &Path,
    catalogue: &Catalogue,
    bench: &Bench,
    trial: &Trial,
    (jobs, ran): (&[(usize, &Setting)], &[Ran]),
    cuts: &AfterCut<'_>,
) -> Result<(), Faults> {
    let new = |losses: &[Loss]| {
        let mut new: Vec<Loss> = losses.iter().filter(|loss| !loss.known).cloned().collect();
        // One that a transfer is known of says more.
        new.sort_by_key(|loss| loss.transfer == 0);
        new.into_iter().next()
    };
    let mut all = trial.runs.iter().zip(jobs).zip(ran);
    let first = all.find_map(|((run, (part, setting)), ran)| Some((new(&run.losses)?, *part, *setting, ran)));
    let mut after_cut = trial.cuts.iter().zip(cuts.parts).zip(cuts.ways);
    let (part, opening) = match first {
        Some((loss, part, setting, ran)) => (part, of_loss(bench, &loss, part, setting, ran)),
        None => {
            let cut = after_cut.find_map(|((cuts, part), way)| {
                Some((cuts.first.as_ref().filter(|first| !first.known)?, *part, way.as_ref()))
            });
            let Some((first, part, way)) = cut else { return Ok(()) };
            (part, way.and_then(|way| of_cut(bench, &first.text, part, cuts.setting, way)))
        }
    };
    let opening = opening.ok_or_else(|| {
        let reason = format!("the loss with {} shows in no transfer that a page has room for", bench.parts[part].name);
        Fault::of_file(&path.display().to_string(), reason, "leave --classroom out")
    })?;
    let page = classroom(catalogue, &Lessons::embedded(catalogue)?, &Texts::english(), &opening);
    disk::replace(path, &page)?;
    Ok(())
}

fn surroundings<'a>(bench: &'a Bench, part: usize, setting: &Setting) -> Surroundings<'a> {
    Surroundings {
        name: &bench.board.name,
        supply_mv: bench.board.bus.supply_mv,
        scl_hz: bench.board.bus.scl_khz * 1000,
        straps: bench.straps(&bench.parts[part], setting),
        others: &bench.board.bus.other_addresses,
        contents: Some(&bench.contents),
    }
}

fn of_cut(bench: &Bench, text: &str, part: usize, setting: &Setting, way: &Way) -> Option<Opening> {
    let transfers: Vec<String> = way.transfers.iter().map(|line| unread(line)).collect();
    let cut = SupplyCut {
        torn: way.cut.torn,
        seed: way.cut.draws,
        torn_off: &unread(&way.torn_off),
        at: &us(way.cut.at_ns),
        text,
    };
    let parts = [&bench.parts[part], &bench.parts[0]].map(|part| (part.name.as_str(), part.model.clone()));
    case::of_cut(&surroundings(bench, part, setting), &transfers, &cut, parts)
}

fn of_loss(bench: &Bench, loss: &Loss, part: usize, setting: &Setting, ran: &Ran) -> Option<Opening> {
    let (old, new) = (&bench.parts[0], &bench.parts[part]);
    let surroundings = surroundings(bench, part, setting);
    let at = usize::try_from(loss.transfer).ok()?.checked_sub(1);
    let is_it = |course: &&Vec<String>| {
        at.is_none_or(|at| course.get(at).is_some_and(|transfer| transfer.contains(&loss.on_the_bus)))
    };
    // Where no transfer is known to fail, the last one is where it shows at the latest.
    let course = ran.courses.iter().filter(|course| !course.is_empty()).find(is_it)?;
    let transfers: Vec<String> = course.iter().map(|transfer| unread(transfer)).collect();
    let with = |failing| {
        let (old, new) = ((old.name.as_str(), old.model.clone()), (new.name.as_str(), new.model.clone()));
        case::of_transfers(&surroundings, &transfers, failing, old, new)
    };
    at.map_or_else(|| with(None).or_else(|| with(transfers.len().checked_sub(1))), |at| with(Some(at)))
}

/// A line of a trace as a program that takes nothing for granted: bytes that were read are `??`, marks of what was sent are
/// left out.
fn unread(line: &str) -> String {
    let (mut reads, mut words) = (false, Vec::new());
    for word in line.split_whitespace() {
        let (bare, mark) = match word.strip_suffix(['+', '-']) {
            Some(bare) => (bare, &word[bare.len()..]),
            None => (word, ""),
        };
        let byte = bare.len() == 2 && bare.bytes().all(|digit| digit.is_ascii_hexdigit());
        if byte && reads && !mark.is_empty() {
            words.push(format!("??{mark}"));
            continue;
        }
        reads = if byte { reads } else { bare.len() == 3 && bare.ends_with('R') };
        words.push(bare.to_owned());
    }
    words.join(" ") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_a_trace_becomes_a_program() {
        let program = |line: &str| unread(line);
        assert_eq!(program("1203.125 us  S 50W+ 01+ 00+ 05+ P"), "1203.125 us S 50W 01 00 05 P\n");
        assert_eq!(program("0.000 us S 50W+ 00+ Sr 50R+ A1+ A2- P"), "0.000 us S 50W 00 Sr 50R ??+ ??- P\n");
        assert_eq!(program("5.000 us S 50R- P"), "5.000 us S 50R P\n");
    }
}
