//! What the firmware does.

use serde_json::{Value, json};

use crate::cuts::Cuts;
use crate::observer::Observer;
use crate::property::{Certainty, Moment, Moments, Property};
use crate::report::{Chip, Claim, combine, us};
use crate::waits::Waits;

type Say<'a> = &'a dyn Fn(&Moments) -> Vec<Moment>;

/// Polls that come this close together are not a pace of writing.
const POLL_APART_NS: u64 = 600_000;
/// What is shorter is no wait for a write cycle.
const SHORTEST_WAIT_NS: u64 = 500_000;

pub(crate) fn properties(observer: &Observer, chips: &[Chip<'_>], into: &mut Vec<Property>, say: Say<'_>) {
    let each = |claim: &dyn Fn(&Chip<'_>) -> Option<Claim>| -> Vec<(u8, Option<Claim>)> {
        chips.iter().map(|chip| (chip.address, claim(chip))).collect()
    };
    let none = "no write went on where another one ended";
    into.push(combine("word_address_bytes", each(&width), "no word address was sent", say));
    into.push(block_bits(observer, chips, say));
    into.push(combine("longest_transfer_bytes", each(&longest), "nothing was transferred", say));
    into.push(combine("page_bytes", each(&page), none, say));
    into.push(combine("transfer_limit_bytes", each(&limit), "no transfers of one length went on", say));
    into.push(combine("read_cut_bytes", each(&read_cut), "no read went on where another one ended", say));
    into.push(combine("write_shape", each(&shape), "no data was written", say));
    into.push(combine("wait", each(&wait), "no access followed a write", say));
    into.push(combine("reads_on_after_write", each(&reads_on), "no read without word address followed a write", say));
    into.push(first_access(observer, say));
    into.push(spans("regions_written", chips, false, say));
    into.push(spans("regions_read", chips, true, say));
}

fn width(chip: &Chip<'_>) -> Option<Claim> {
    let width = chip.width.clone()?;
    Some(Claim { value: width.bytes.into(), sure: width.sure, moments: width.moments, why: width.why })
}

/// Block-select bits: addresses on which transfers went on.
fn block_bits(observer: &Observer, chips: &[Chip<'_>], say: Say<'_>) -> Property {
    let name = "block_select_bits";
    let several: Vec<&Chip<'_>> = chips.iter().filter(|chip| chip.devices.len() > 1).collect();
    if several.is_empty() {
        return Property::not_seen(name, "nothing went on from one device address to the next");
    }
    let mut moments = Moments::default();
    let mut claims = Vec::new();
    // Several groups may be one chip whose parts were used apart.
    let sure = if several.len() > 1 { Certainty::Guess } else { Certainty::Likely };
    for chip in several {
        let addresses = || chip.devices.iter().map(|device| device.address);
        let differing = addresses().fold(0, |bits, address| bits | (address ^ chip.address));
        let shift = differing.trailing_zeros();
        let bits = u8::BITS - differing.leading_zeros() - shift;
        let busy = observer
            .same_chip
            .iter()
            .filter(|((a, b), _)| addresses().any(|x| x == *a) && addresses().any(|x| x == *b));
        busy.for_each(|(_, ats)| ats.0.iter().for_each(|at| moments.add(*at)));
        let pairs = observer.goes_on.iter().flat_map(|goes_on| goes_on.pairs.iter());
        let pairs = pairs.filter(|((a, b), _)| addresses().any(|x| x == *a) && addresses().any(|x| x == *b));
        pairs.for_each(|(_, ats)| ats.0.iter().for_each(|at| moments.add(*at)));
        let list: Vec<String> = addresses().map(|address| format!("0x{address:02X}")).collect();
        let why = format!("{} are used as one memory; more bits may exist than were used", list.join(", "));
        let claim = Claim { value: bits.into(), sure, moments: moments.clone(), why };
        claims.push((chip.address, Some(claim)));
    }
    combine(name, claims, "", say)
}

fn longest(chip: &Chip<'_>) -> Option<Claim> {
    let most = |range: fn(&crate::device::Device) -> &crate::stats::Range| {
        chip.devices.iter().filter_map(|device| range(device).most).max()
    };
    let (write, read) = (most(|device| &device.written), most(|device| &device.read));
    let mut moments = Moments::default();
    [write, read].into_iter().flatten().for_each(|(_, at)| moments.add(at));
    let value = json!({ "write": write.map(|(bytes, _)| bytes), "read": read.map(|(bytes, _)| bytes) });
    let why = "longest messages: write with its word address, read".to_owned();
    (write.is_some() || read.is_some()).then_some(Claim { value, sure: Certainty::Shown, moments, why })
}

/// The surest of the cuts at the addresses of a chip.
fn surest(chip: &Chip<'_>, cuts: fn(&crate::view::View) -> &Cuts) -> Option<Claim> {
    let found = chip.views().filter_map(|(_, view)| cuts(view).cut()).max_by_key(|cut| cut.sure)?;
    let crossed = chip.views().map(|(_, view)| cuts(view).at_least()).max().unwrap_or(1);
    // What is cut at one address must not be crossed at another one of the same chip.
    let sure = if crossed > found.bytes { Certainty::Guess } else { found.sure };
    let sure = sure.min(chip.width.as_ref().map_or(Certainty::Guess, |width| width.sure.max(Certainty::Likely)));
    Some(Claim { value: found.bytes.into(), sure, moments: found.moments, why: found.why })
}

fn is_restarted(chip: &Chip<'_>) -> bool {
    chip.devices.iter().any(|device| device.restarted > 0)
}

fn page(chip: &Chip<'_>) -> Option<Claim> {
    // Data behind a repeated START goes to a place that nobody meant: its ends say nothing.
    if is_restarted(chip) {
        return None;
    }
    surest(chip, |view| &view.writes)
}

fn read_cut(chip: &Chip<'_>) -> Option<Claim> {
    let claim = surest(chip, |view| &view.reads)?;
    // Reads of one length that follow each other may as well be cut by a limit.
    let sure = if claim.sure == Certainty::Likely { Certainty::Guess } else { claim.sure };
    Some(Claim { sure, ..claim })
}

fn limit(chip: &Chip<'_>) -> Option<Claim> {
    let header = u32::from(chip.header());
    let (data, moments) = chip.views().filter_map(|(_, view)| view.writes.limit()).max_by_key(|(data, _)| *data)?;
    if is_restarted(chip) || data == 1 {
        return None;
    }
    let why = format!("writes of {data} bytes of data, the longest there are, go on away from page ends");
    Some(Claim { value: (data + header).into(), sure: Certainty::Likely, moments, why })
}

fn shape(chip: &Chip<'_>) -> Option<Claim> {
    let restarted: u64 = chip.devices.iter().map(|device| device.restarted).sum();
    let mut moments = Moments::default();
    if restarted > 0 {
        chip.devices.iter().flat_map(|device| &device.restarted_at.0).for_each(|at| moments.add(*at));
        let sure = if restarted > 1 { Certainty::Shown } else { Certainty::Likely };
        let why = format!("{restarted} times data came behind a repeated START after the word address");
        return Some(Claim { value: "two-restarted".into(), sure, moments, why });
    }
    let header = usize::from(chip.header());
    let wrote = chip.devices.iter().filter(|device| device.written.most.is_some_and(|(len, _)| len > header as u64));
    wrote.flat_map(|device| &device.whole_at.0).for_each(|at| moments.add(*at));
    let why =
        "word address and data come without a START between them; in one buffer or in two that are joined".to_owned();
    (!moments.0.is_empty()).then(|| Claim { value: "one-buffer".into(), sure: Certainty::Shown, moments, why })
}

fn wait(chip: &Chip<'_>) -> Option<Claim> {
    let waits: Vec<&Waits> = chip.views().map(|(_, view)| &view.waits).collect();
    let busiest = waits.iter().max_by_key(|waits| (waits.runs.count, waits.gaps.count))?;
    if busiest.runs.count > 0 { polls(busiest) } else { pace(&waits) }
}

/// Writes that were refused before they were answered.
fn polls(waits: &Waits) -> Option<Claim> {
    let interval = waits.intervals.median()?;
    let (run, at) = waits.runs.most?;
    let (polled, _) = waits.polled.most?;
    let mut moments = Moments::one(at);
    waits.idle_at.0.iter().for_each(|at| moments.add(*at));
    let numbers =
        |kind: &str| json!({ "kind": kind, "interval_us": us(interval), "longest_run": run, "longest_us": us(polled) });
    let idle = waits.idle_writes + waits.idle_reads;
    if idle > 0 {
        let kind = if waits.idle_writes >= waits.idle_reads { "poll" } else { "poll-by-read" };
        let why = format!("after {idle} writes a message without data was repeated until it was acknowledged");
        return Some(Claim { value: numbers(kind), sure: Certainty::Shown, moments, why });
    }
    if interval <= POLL_APART_NS {
        let why = "refused accesses were repeated until one was acknowledged".to_owned();
        return Some(Claim { value: numbers("poll"), sure: Certainty::Likely, moments, why });
    }
    let why =
        "accesses were refused and came at a steady pace: a fixed wait that is too short, or slow polling".to_owned();
    let value = json!({ "kind": "fixed", "shortest_us": us(waits.first_tries.least?.0) });
    Some(Claim { value, sure: Certainty::Guess, moments, why })
}

/// Writes that were never refused.
fn pace(waits: &[&Waits]) -> Option<Claim> {
    let at_once: u64 = waits.iter().map(|waits| waits.idle_at_once).sum();
    let longest = waits.iter().max_by_key(|waits| waits.gaps.count)?;
    if at_once > 0 {
        let mut moments = Moments::default();
        waits.iter().flat_map(|waits| &waits.idle_at.0).for_each(|at| moments.add(*at));
        let why = format!("{at_once} messages without data after writes, all acknowledged at once");
        return Some(Claim { value: json!({ "kind": "poll" }), sure: Certainty::Likely, moments, why });
    }
    let (shortest, at) = waits.iter().filter_map(|waits| waits.gaps.least).min()?;
    let median = longest.gaps.median()?;
    let reads: u64 = waits.iter().map(|waits| waits.reads_at_once).sum();
    if shortest < SHORTEST_WAIT_NS && 2 * reads > longest.gaps.count {
        let why = format!("{reads} reads of one byte right after writes, all acknowledged: polling, or reading on");
        return Some(Claim {
            value: json!({ "kind": "poll-by-read" }),
            sure: Certainty::Guess,
            moments: Moments::one(at),
            why,
        });
    }
    let waits = shortest >= SHORTEST_WAIT_NS;
    let steady = waits && longest.gaps.count >= 3 && median <= shortest + shortest / 4;
    let sure = if steady { Certainty::Likely } else { Certainty::Guess };
    let value = json!({ "kind": "fixed", "shortest_us": us(shortest) });
    let why = "no access after a write was refused; shortest time from a STOP to the next START".to_owned();
    Some(Claim { value, sure, moments: Moments::one(at), why })
}

fn reads_on(chip: &Chip<'_>) -> Option<Claim> {
    let refused = chip.views().any(|(_, view)| view.waits.idle_reads > 0);
    let count: u64 = chip.devices.iter().map(|device| device.read_on).sum();
    if count == 0 || refused {
        return None;
    }
    let mut moments = Moments::default();
    chip.devices.iter().flat_map(|device| &device.read_on_at.0).for_each(|at| moments.add(*at));
    let why = format!("{count} reads without word address directly after a write");
    // One that polls by reads and is always lucky looks the same.
    Some(Claim { value: Value::Bool(true), sure: Certainty::Guess, moments, why })
}

fn first_access(observer: &Observer, say: Say<'_>) -> Property {
    let name = "first_access_us";
    match observer.first_access.least {
        Some((ns, at)) => {
            Property::seen(name, us(ns), Certainty::Shown, say(&Moments::one(at)), "from the supply to the first START")
        }
        None if observer.supply_recorded => Property::not_seen(name, "the supply never came on in a recording"),
        None => Property::not_seen(name, "the supply was not recorded (a channel named VCC, VDD or SUPPLY)"),
    }
}

fn spans(name: &'static str, chips: &[Chip<'_>], read: bool, say: Say<'_>) -> Property {
    let (mut list, mut moments, mut joined) = (Vec::new(), Moments::default(), false);
    let mut sure = Certainty::Shown;
    for chip in chips {
        for (device, view) in chip.views() {
            let spans = if read { &view.read } else { &view.written };
            for (address, spans) in spans.iter().filter(|(_, spans)| !spans.is_empty()) {
                joined |= spans.joined;
                sure = sure.min(chip.width.as_ref().map_or(Certainty::Guess, |width| width.sure));
                device.answered_at.0.iter().for_each(|at| moments.add(*at));
                list.extend(spans.iter().map(|(offset, length)| {
                    json!({ "device": format!("0x{address:02X}"), "offset": offset, "length": length })
                }));
            }
        }
    }
    if list.is_empty() {
        return Property::not_seen(name, if read { "no read had a known word address" } else { "no data was written" });
    }
    let why = if joined { "too many to list: near ones were taken together" } else { "by the word addresses sent" };
    Property::seen(name, list, sure, say(&moments), why)
}
