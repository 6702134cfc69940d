//! The report as one HTML page that needs nothing else: no script, no font, no request.

use rayon::prelude::*;
use serde::Serialize;

use super::Report;
use super::address::{self, Address};
use super::budget::{self, Part};
use super::chart::Chart;
use super::fewest::{self, Fewest};
use super::memory_map::{self, Map};
use super::timing::{self, Picture};
use super::view::{BoardView, CandidateView, Overview};
use pagewise_base::words::counted;
use pagewise_judge::board::Board;
use pagewise_judge::fleet::{BoardOutcomes, Summary};
use pagewise_judge::swap::run::Played;
use pagewise_judge::swap::{Fitted, Replay, Verdict};
use pagewise_part::card::Card;
use pagewise_templates::render;

#[derive(Serialize)]
struct Page<'a> {
    #[serde(flatten)]
    whole: &'a Overview,
    boards: Vec<Section<'a>>,
    chart: Option<Chart>,
    /// It lies beside an index of all boards.
    among_others: bool,
    fewest: Option<Fewest>,
    /// Verdicts that occur, for the legend.
    verdicts: Vec<Legend>,
    /// Candidates that have no chapter of their own.
    shortened: bool,
}

#[derive(Serialize)]
struct Legend {
    verdict: Verdict,
    meaning: &'static str,
}

#[derive(Serialize)]
struct Section<'a> {
    board: &'a BoardView,
    facts: Vec<(&'static str, String)>,
    /// Every candidate has a chapter.
    few: bool,
    groups: Vec<Group<'a>>,
    /// Budget of the fitted part.
    budget: Option<Part>,
    chapters: Vec<Chapter<'a>>,
}

/// The candidates of one verdict.
#[derive(Serialize)]
struct Group<'a> {
    verdict: Verdict,
    meaning: &'static str,
    candidates: Vec<&'a CandidateView>,
    open: bool,
}

/// One candidate in full.
#[derive(Serialize)]
struct Chapter<'a> {
    candidate: &'a CandidateView,
    /// Which run the picture is from; empty when there is no picture.
    picture_of: &'static str,
    picture: Option<Picture>,
    regions: Vec<Kept>,
    maps: Vec<Map>,
    /// Some run lost bytes.
    lost: bool,
    address: Option<Address>,
    budget: Part,
}

/// What each run left of a region.
#[derive(Serialize)]
struct Kept {
    name: String,
    first: String,
    last: String,
    length: u32,
    /// Bytes lost, by run.
    lost: Vec<u32>,
}

pub(super) fn write(report: &Report<'_>, among_others: bool) -> String {
    let whole = Overview::of(report.answers, &report.look());
    let boards: Vec<Section<'_>> =
        whole.boards.iter().zip(report.answers).map(|(view, answer)| section(view, &answer.board, report)).collect();
    let occurs = |verdict: &Verdict| whole.boards.iter().any(|board| board.counts[*verdict as usize] > 0);
    let verdicts = Verdict::ALL.into_iter().filter(occurs);
    let outcomes: Vec<BoardOutcomes> = report
        .answers
        .iter()
        .enumerate()
        .map(|(place, answer)| BoardOutcomes::of(place, &answer.board.fitted, answer))
        .collect();
    let summary = Summary::of(&outcomes, report.accept);
    let page = Page {
        verdicts: verdicts.map(|verdict| Legend { verdict, meaning: verdict.meaning() }).collect(),
        shortened: whole.boards.iter().flat_map(|board| &board.candidates).any(|candidate| !candidate.detailed),
        among_others,
        chart: Chart::of(&outcomes, &summary, report.accept),
        fewest: fewest::parts(report, &summary),
        boards,
        whole: &whole,
    };
    render("page.html.tera", &page)
}

fn section<'v>(view: &'v BoardView, board: &Board, report: &Report<'_>) -> Section<'v> {
    let few = view.candidates.iter().all(|candidate| candidate.detailed);
    let groups = Verdict::ALL.into_iter().filter_map(|verdict| {
        let candidates: Vec<_> = view.candidates.iter().filter(|candidate| candidate.verdict == verdict).collect();
        let open = few || Some(verdict) == view.best && candidates.len() <= 12;
        (!candidates.is_empty()).then(|| Group { verdict, meaning: verdict.meaning(), candidates, open })
    });
    let fitted = report.catalogue.find(&board.fitted).map(|card| (Fitted::new(board, card), card));
    let detailed: Vec<&CandidateView> = view.candidates.iter().filter(|candidate| candidate.detailed).collect();
    let chapters = detailed.par_iter().filter_map(|candidate| {
        let ((fitted, old), new) = fitted.as_ref().zip(report.catalogue.find(&candidate.id))?;
        let key = format!("b{}c{}", view.number, candidate.number);
        Some(chapter(candidate, fitted.replay(new), board, budget::candidate(board, old, new, &key)))
    });
    let budget = fitted.as_ref().map(|(_, old)| budget::fitted(board, old, &format!("b{}", view.number)));
    let chapters = chapters.collect();
    Section { board: view, facts: facts(board), few, groups: groups.collect(), budget, chapters }
}

/// What the board file says, in the words of a person.
fn facts(board: &Board) -> Vec<(&'static str, String)> {
    let volts = f64::from(board.bus.supply_mv) / 1000.0;
    let straps: Vec<String> = (0..3)
        .map(|pin| format!("A{pin} {}", board.straps[pin].word()))
        .chain([format!("WP {}", board.wp.word())])
        .collect();
    let firmware = &board.firmware;
    vec![
        (
            "bus",
            format!(
                "{volts} V, SCL {} kHz, pull-ups {} ohm, {} pF",
                board.bus.scl_khz, board.bus.pull_up_ohm, board.bus.capacitance_pf
            ),
        ),
        ("straps", straps.join(", ")),
        (
            "firmware",
            format!(
                "device address {:#04x}, {}, cuts writes at {}",
                firmware.device_address,
                counted(firmware.word_address_bytes.into(), "word-address byte"),
                counted(firmware.page_bytes as usize, "byte")
            ),
        ),
    ]
}

fn chapter<'v>(candidate: &'v CandidateView, replay: Replay, board: &Board, budget: Part) -> Chapter<'v> {
    let (old, new) = (&replay.old_card, &replay.new_card);
    let as_it_is = replay.new.transaction.as_ref().map(|it| ("the candidate with the firmware as it is", it));
    let at_worst = replay.worst_case.as_ref().and_then(|played| played.transaction.as_ref());
    let failing = as_it_is.or_else(|| at_worst.map(|it| ("the candidate with the assumptions at their worst", it)));
    let extent = memory_map::extent(board);
    let draw = |what: String, board: &Board, played: &Played, card: &Card| {
        memory_map::map(what, board, played, card.page_bytes.value, extent)
    };
    let mut maps = vec![
        draw(format!("before: {}, fitted", old.name), board, &replay.old, &replay.old_card),
        draw(format!("after: {}, firmware as it is", new.name), board, &replay.new, &replay.new_card),
    ];
    let needed = replay.changed.as_ref();
    maps.extend(needed.map(|(board, played)| {
        draw(format!("after: {}, with the changes", new.name), board, played, &replay.new_card)
    }));
    maps.extend(replay.worst_case.as_ref().filter(|_| replay.new.run.serves).map(|played| {
        draw(format!("after: {}, assumptions at their worst", new.name), board, played, &replay.new_card)
    }));
    let losses = &replay.new.losses;
    let lost = losses.iter().find(|loss| loss.landed_at.is_some()).or(losses.first()).map(|loss| loss.offset);
    let highest = board.regions.iter().max_by_key(|region| region.offset).map(|region| region.offset);
    let offset = lost.or(highest);
    Chapter {
        candidate,
        picture_of: failing.map_or("", |(of, _)| of),
        picture: failing.map(|(_, transaction)| timing::picture(transaction, &replay.board.firmware)),
        regions: kept(board, &maps),
        lost: maps.iter().any(Map::has_marks),
        maps,
        address: offset.map(|offset| address::address(board, old, new, offset)),
        budget,
    }
}

fn kept(board: &Board, maps: &[Map]) -> Vec<Kept> {
    let regions = board.regions.iter().enumerate();
    regions
        .map(|(at, region)| Kept {
            name: region.name.clone(),
            first: format!("{:#06x}", region.offset),
            last: format!("{:#06x}", region.offset + region.length - 1),
            length: region.length,
            lost: maps.iter().map(|map| map.lost_of(at)).collect(),
        })
        .collect()
}
