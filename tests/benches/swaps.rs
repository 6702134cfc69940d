//! Swaps: example boards against cards, each judged by rules and by simulation. Numbers are swaps per second.

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use divan::Bencher;
use divan::counter::ItemsCount;
use pagewise_judge::board::{self, Board};
use pagewise_judge::fleet::{self, Candidates, Summary, invent, lines};
use pagewise_judge::swap::{Agreement, Fitted, Verdict};
use pagewise_part::card::{Card, Catalogue};

fn main() {
    divan::main();
}

fn boards() -> Vec<Board> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/boards");
    let paths = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut boards: Vec<Board> = paths
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .map(|path| board::read(&path).unwrap())
        .collect();
    boards.sort_by(|a, b| a.file.cmp(&b.file));
    boards
}

/// As the command does it: the fitted part once per board, then one card after the other.
fn judge_all(boards: &[Board], catalogue: &Catalogue) -> usize {
    let fitted: Vec<Fitted<'_>> =
        boards.iter().map(|board| Fitted::new(board, catalogue.find(&board.fitted).unwrap())).collect();
    let swaps: Vec<(&Fitted<'_>, &Card)> =
        fitted.iter().flat_map(|fitted| catalogue.cards().iter().map(move |card| (fitted, card))).collect();
    let next = AtomicUsize::new(0);
    let work = || {
        let mut agree = 0;
        while let Some((fitted, card)) = swaps.get(next.fetch_add(1, Ordering::Relaxed)) {
            agree += usize::from(fitted.judge(card).agree == Agreement::Agree);
        }
        agree
    };
    std::thread::scope(|scope| {
        let other = scope.spawn(work);
        work() + other.join().unwrap()
    })
}

/// Two threads; the aim is less than 1 s.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn eight_example_boards_against_all_cards(bencher: Bencher) {
    let (boards, catalogue) = (boards(), Catalogue::embedded().unwrap());
    let eight = &boards[..8];
    let swaps = eight.len() * catalogue.cards().len();
    bencher.counter(ItemsCount::new(swaps)).bench(|| assert_eq!(judge_all(eight, &catalogue), swaps));
}

/// Where the time goes: each board against all cards, two threads.
#[divan::bench(args = boards().iter().map(|board| board.file.rsplit('/').next().unwrap_or_default().to_owned()).collect::<Vec<_>>(), sample_count = 1, sample_size = 1)]
fn one_example_board_against_all_cards(bencher: Bencher, file: &str) {
    let (boards, catalogue) = (boards(), Catalogue::embedded().unwrap());
    let board: Vec<Board> = boards.into_iter().filter(|board| board.file.ends_with(file)).collect();
    let swaps = catalogue.cards().len();
    bencher.counter(ItemsCount::new(swaps)).bench(|| judge_all(&board, &catalogue));
}

/// A fleet as `pagewise swap FOLDER --lines FILE` does it, on all processors, the lines written to nowhere. Numbers are
/// judgements per second; equal numbers for all sizes mean that time is linear in boards.
#[divan::bench(args = [75, 150, 300, 600], sample_count = 1, sample_size = 1)]
fn an_invented_fleet_against_all_parts(bencher: Bencher, boards: usize) {
    let catalogue = Catalogue::embedded().unwrap();
    let files = invent::fleet(&catalogue, boards, 7);
    let fleet: Vec<Board> = files.iter().map(|file| board::parse(&file.name, &file.text).unwrap()).collect();
    let judgements = fleet.len() * (catalogue.parts().count() - 1);
    bencher.counter(ItemsCount::new(judgements)).bench(|| {
        let jobs = fleet::jobs(&catalogue, fleet.clone(), Candidates::OfBoard).unwrap();
        let (mut outcomes, mut bytes) = (Vec::new(), 0);
        fleet::judge_each(jobs, None, Verdict::Reconfigure.into(), &|| (), |outcome, _| {
            bytes += lines::Writer::default().line(&outcome).len();
            outcomes.push(outcome);
        });
        (Summary::of(&outcomes, Verdict::Reconfigure.into()), bytes)
    });
}

#[divan::bench]
fn reading_all_embedded_cards() -> Catalogue {
    Catalogue::embedded().unwrap()
}
