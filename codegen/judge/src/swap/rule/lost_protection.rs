use super::Rule;
use super::answers::Seat;
use crate::board::{Board, Strap};
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_part::card::{Card, Span};

pub(super) const RULE: Rule = Rule { id: "lost-protection", check };

/// Ranges that WP pins protect, the widest first.
const RANGES: [Span; 6] =
    [Span::All, Span::UpperHalf, Span::LowerHalf, Span::UpperQuarter, Span::LowerQuarter, Span::UpperEighth];

/// First byte and one past the last.
type Bytes = (u32, u32);

/// Compares what WP protects on the fitted part with what it protects on this one, where the board relies on it: a stray
/// write goes into whatever lies open, and nobody notices until the data is needed.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, old, new) = (case.board, &case.old, &case.new);
    let reach = Seat::on(board, old).reach().min(Seat::on(board, new).reach()) as u32;
    let mut relied = relied_upon(board, old, reach);
    // Firmware that writes there itself, with WP tied, shows that WP protects nothing.
    if board.wp != Strap::Gpio && relied.iter().any(|span| is_written(board, *span)) {
        relied.clear();
    }
    let covered = protected(board, new).into_iter().chain([bytes(new.fixed_range.value, new)]);
    let open = covered.fold(relied.clone(), |open, span| without(&open, span));
    let basis = &new.protect_range;
    if !open.is_empty() {
        let text = format!(
            "WP keeps stray writes out of {} on the fitted part; on this one {} open",
            named(&relied),
            lie(&open)
        );
        let remedy =
            "take a part whose WP covers them; `protects` in the board file says what relies on WP, `[]` nothing";
        // Nobody grants a range that the card already assumes to be the widest.
        return vec![Finding::new(RULE.id, Verdict::Rework, basis, text, remedy.into())];
    }
    if relied.is_empty() || !basis.is_assumed() {
        return Vec::new();
    }
    let text = format!("WP keeps stray writes out of {} on the fitted part", named(&relied));
    let remedy = "ask the maker what WP protects".to_owned();
    let finding = Finding::new(RULE.id, Verdict::Rework, basis, text, remedy);
    match RANGES.into_iter().find(|range| suits(board, new, *range, &relied)) {
        Some(range) => vec![finding.unless(format!("its WP protects {}", named(&relied)), Amend::Protects(range))],
        None => vec![finding],
    }
}

/// What a stray write cannot reach on the fitted part as long as the board has WP active.
fn relied_upon(board: &Board, old: &Card, reach: u32) -> Vec<Bytes> {
    let Some((start, end)) = protected(board, old) else { return Vec::new() };
    let whole = without(&[(start, end.min(reach))], bytes(old.fixed_range.value, old));
    let Some(names) = &board.protects else { return whole };
    let regions = board.regions.iter().filter(|region| names.contains(&region.name));
    let mut relied: Vec<Bytes> = regions
        .flat_map(|region| {
            let (first, last) = (region.offset, region.offset + region.length);
            whole.iter().map(move |(start, end)| (first.max(*start), last.min(*end)))
        })
        .filter(|(start, end)| start < end)
        .collect();
    relied.sort_unstable();
    relied
}

/// Whether WP with this range would cover what is relied upon and, where it is tied, leave open what is written.
fn suits(board: &Board, new: &Card, range: Span, relied: &[Bytes]) -> bool {
    let span = bytes(range, new);
    without(relied, span).is_empty() && (board.wp == Strap::Gpio || !is_written(board, span))
}

fn is_written(board: &Board, (start, end): Bytes) -> bool {
    let mut written = board.regions.iter().filter(|region| region.writes_per_day > 0.0);
    written.any(|region| region.offset < end && start < region.offset + region.length)
}

/// The bytes that WP protects as the board has it: tied active, or switched by the firmware.
fn protected(board: &Board, card: &Card) -> Option<Bytes> {
    let active = match board.wp {
        Strap::Vcc => card.wp_active_high.value,
        Strap::Gnd => !card.wp_active_high.value,
        Strap::Gpio => true,
        Strap::Open => false,
    };
    (active && card.wp_pin).then(|| bytes(card.protect_range.value, card)).filter(|(start, end)| start < end)
}

fn bytes(span: Span, card: &Card) -> Bytes {
    let (start, length) = span.bytes(card.capacity_bytes.value);
    (start, start + length)
}

/// The bytes without those of one span.
fn without(all: &[Bytes], (start, end): Bytes) -> Vec<Bytes> {
    let cut = |(first, last): &Bytes| [(*first, (*last).min(start)), ((*first).max(end), *last)];
    let left = |span: &Bytes| if start < end { cut(span).to_vec() } else { vec![*span] };
    all.iter().flat_map(left).filter(|(first, last)| first < last).collect()
}

fn named(all: &[Bytes]) -> String {
    let spans: Vec<String> = all.iter().map(|(start, end)| format!("{start:#06x} to {:#06x}", end - 1)).collect();
    spans.join(", ")
}

fn lie(open: &[Bytes]) -> String {
    format!("{} {}", named(open), if open.len() == 1 { "lies" } else { "lie" })
}
