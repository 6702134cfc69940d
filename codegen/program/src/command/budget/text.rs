//! The answer of `pagewise budget` for people.

use std::fmt::Write;

use super::{Body, Candidate, Entry};
use crate::output::{Align, Tone, paint, plain, table, wrapped};
use pagewise_base::words::duration;
use pagewise_judge::budget::Budget;
use pagewise_judge::budget::compare::Change;
use pagewise_judge::budget::plot::years_text;
use pagewise_judge::budget::pull_up::{PullUp, Standing};
use pagewise_judge::budget::time::{Job, Production, Times};
use pagewise_judge::budget::timing::Timing;
use pagewise_judge::budget::wear::WearBudget;

pub(super) fn text(body: &Body<'_>) -> String {
    let mut out = String::new();
    let board = body.board;
    let _ = writeln!(out, "{}  {}", paint(Tone::Heading, plain(&board.name)), paint(Tone::Faint, plain(&board.file)));
    part(&mut out, &body.fitted, "fitted");
    for candidate in &body.candidates {
        out.push('\n');
        part(&mut out, &candidate.entry, "candidate");
        changes(&mut out, candidate);
    }
    for file in &body.files {
        let _ = writeln!(out, "wrote {}", plain(file));
    }
    out
}

fn part(out: &mut String, entry: &Entry, role: &str) {
    let budget = &entry.budget;
    let volts = f64::from(budget.supply_mv) / 1000.0;
    let name = paint(Tone::Strong, plain(&budget.part_name));
    let text = format!("{role} {name}, {}, at {volts} V and {} kHz", budget.density, budget.timing.scl_khz);
    let _ = writeln!(out, "{}", wrapped(&text, "  ", "    "));
    pull_up(out, &budget.pull_up);
    timing(out, &budget.timing);
    times(out, &budget.times, entry.production.as_ref());
    wear(out, &budget.wear);
    remarks(out, budget);
}

fn heading(out: &mut String, text: &str) {
    let _ = writeln!(out, "\n  {}", paint(Tone::Heading, text));
}

fn row(out: &mut String, label: &str, text: &str) {
    let _ = writeln!(out, "{}", wrapped(text, &format!("    {label:<14}"), "                  "));
}

fn pull_up(out: &mut String, window: &PullUp) {
    heading(out, "Pull-ups");
    let upper = window.upper_limit.words();
    let (least, most) = (window.least_ohm.ceil(), window.most_ohm.floor());
    if window.is_feasible() {
        let range = window
            .e24_range_ohm
            .map_or_else(|| "no E24 value lies inside".to_owned(), |(low, high)| format!("E24: {low} to {high} ohm"));
        row(out, "window", &format!("{least:.0} ohm (sink current) to {most:.0} ohm ({upper}); {range}"));
    } else {
        let none = paint(Tone::Bad, "infeasible");
        row(out, "window", &format!("{none}: at least {least:.0} ohm (sink current), at most {most:.0} ohm ({upper})"));
    }
    let standing = match window.standing {
        Standing::Inside => paint(Tone::Good, "inside"),
        Standing::TooSmall => paint(Tone::Serious, "too small"),
        Standing::TooLarge => paint(Tone::Serious, "too large"),
        Standing::Infeasible => paint(Tone::Bad, "no resistor serves"),
    };
    row(out, "board", &format!("{} ohm: {standing}; the nearest limit is {}", window.fitted_ohm, window.tight.words()));
    row(
        out,
        "rise time",
        &format!(
            "{:.0} ns with {:.0} pF, {} allows {} ns",
            window.rise_ns, window.capacitance_pf, window.mode.name, window.mode.t_r_max
        ),
    );
    row(
        out,
        "other limits",
        &format!(
            "rise time {:.0} ohm, leakage of {:.0} uA {:.0} ohm; sink current at 10 % more supply {:.0} ohm",
            window.most_by_rise_ohm.floor(),
            window.leakage_ua,
            window.most_by_leakage_ohm.floor(),
            window.least_at_10_percent_more_ohm.ceil()
        ),
    );
    let series = window.most_in_series_ohm.floor();
    if series > 0.0 {
        row(out, "in series", &format!("at most {series:.0} ohm with this pull-up"));
    } else {
        row(out, "in series", "no resistor: a LOW has no margin to give away at this supply");
    }
    if let (Some(e12), Some(e24)) = (window.nearest_e12_ohm, window.nearest_e24_ohm) {
        row(out, "nearest", &format!("E12 {e12} ohm, E24 {e24} ohm"));
    }
    for way in &window.ways_out {
        row(out, "do", way);
    }
}

fn timing(out: &mut String, timing: &Timing) {
    heading(out, "Bus timing");
    let fits = match (timing.rate_fits, timing.part_scl_khz) {
        (Some(true), _) => paint(Tone::Good, "fits"),
        (Some(false), 0) => paint(Tone::Bad, "no grade of the part covers this supply"),
        (Some(false), _) => paint(Tone::Serious, "does not fit"),
        (None, _) => paint(Tone::Caution, "not known, the sheet read does not state supply or rate"),
    };
    let floor = if timing.part_min_scl_khz > 0 {
        format!(", not below {} kHz", timing.part_min_scl_khz)
    } else {
        String::new()
    };
    row(
        out,
        "SCL rate",
        &match timing.rate_fits {
            None => format!("{} kHz on the bus, the part's: {fits}", timing.scl_khz),
            Some(_) => {
                format!("{} kHz on the bus, the part takes {} kHz{floor}: {fits}", timing.scl_khz, timing.part_scl_khz)
            }
        },
    );
    let slack = if timing.slack_ns >= -0.5 {
        format!("{:.0} ns left", timing.slack_ns)
    } else {
        paint(Tone::Caution, format!("{:.0} ns too long", -timing.slack_ns))
    };
    row(
        out,
        "period",
        &format!(
            "{} low + {} high + {:.0} rise + {} fall = {:.0} ns of {} ns: {slack}; these limits allow {:.0} kHz",
            timing.low_ns,
            timing.high_ns,
            timing.rise_ns,
            timing.fall_ns,
            timing.least_period_ns,
            timing.period_ns,
            timing.fastest_khz.floor()
        ),
    );
    let stated = timing.limits.iter().filter(|line| line.part_ns.is_some()).count();
    if stated == 0 {
        row(out, "AC limits", "the sheet read states none for this grade; those of the bus mode stand in");
    }
    for line in timing.limits.iter().filter(|line| line.beyond_mode) {
        let part = line.part_ns.unwrap_or_default();
        let text = format!("{} ({}): {part} ns, {} promises {} ns", line.symbol, line.what, timing.mode, line.mode_ns);
        row(out, "stricter", &paint(Tone::Caution, text));
    }
}

fn times(out: &mut String, times: &Times, production: Option<&Production>) {
    heading(out, &format!("Times at {} kHz", times.scl_khz));
    let cycle = f64::from(times.write_cycle_max_us) / 1000.0;
    let job = |what: &str, job: &Job| {
        let plural = if job.transfers == 1 { "" } else { "s" };
        format!("{what}{} ({} transfer{plural}, {} bytes)", seconds(job.seconds()), job.transfers, job.bytes)
    };
    row(out, "read all", &job("", &times.read));
    row(out, "program all", &job("polling, cycles at their longest ", &times.program_polling));
    if let (Some(typical), Some(us)) = (&times.program_polling_typical, times.write_cycle_typ_us) {
        let ms = f64::from(us) / 1000.0;
        row(out, "", &format!("polling, typical cycles of {ms} ms {}", seconds(typical.seconds())));
    }
    let fixed = seconds(times.program_fixed.seconds());
    row(out, "", &format!("fixed waits of {cycle} ms {fixed}"));
    row(out, "", &format!("byte by byte, fixed waits {}", seconds(times.program_bytewise_fixed.seconds())));
    row(out, "the regions", &job("written once, polling ", &times.regions_write_polling));
    if let Some(own) = &times.regions_write_firmware_wait {
        row(out, "", &format!("with the firmware's own fixed wait {}", seconds(own.seconds())));
    }
    row(out, "", &format!("read once {}", seconds(times.regions_read.seconds())));
    if let Some(run) = production {
        let text = format!(
            "{} units programmed and read back: {} polling, {} with fixed waits; handling not counted",
            run.units,
            seconds(run.run_polling_s),
            seconds(run.run_fixed_s)
        );
        row(out, "production", &text);
    }
}

fn wear(out: &mut String, wear: &WearBudget) {
    heading(out, "Wear");
    row(out, "rating", &format!("{} cycles, {}", wear.rating.cycles, wear.rating.words()));
    let unit = match wear.unit_bytes {
        1 => "byte".to_owned(),
        bytes => format!("{bytes} bytes"),
    };
    let life = wear.years_of_life;
    match (wear.worst_offset, wear.years_to_rating) {
        (Some(offset), Some(years)) => {
            let lasts = if wear.lasts {
                paint(Tone::Good, format!("lasts {life} years"))
            } else if wear.is_spent() {
                paint(Tone::Bad, format!("does not last {life} years"))
            } else {
                paint(Tone::Caution, format!("would not last {life} years by the rating that stands in"))
            };
            let text = format!("{offset:#06x} reaches the rating after {} years: {lasts}", years_text(years));
            row(out, "worst place", &text);
        }
        _ => row(out, "worst place", "nothing is written at run time"),
    }
    let columns = [
        ("region", Align::Name),
        ("offset", Align::Right),
        ("writes/day", Align::Right),
        (&*format!("cycles/day per {unit}"), Align::Right),
        ("years", Align::Right),
        ("ages with", Align::Text),
    ];
    let rows = wear.regions.iter().map(|region| {
        vec![
            plain(&region.region),
            format!("{:#06x}", region.offset),
            region.writes_per_day.to_string(),
            region.cycles_per_day.to_string(),
            region.years_to_rating.map_or_else(|| "-".to_owned(), years_text),
            plain(&region.shares_with.join(", ")),
        ]
    });
    for line in table(&columns, rows.collect()) {
        let _ = writeln!(out, "    {line}");
    }
}

fn remarks(out: &mut String, budget: &Budget) {
    if budget.remarks.is_empty() {
        return;
    }
    out.push('\n');
    for remark in &budget.remarks {
        let _ = writeln!(out, "{}", wrapped(&plain(remark), "    note          ", "                  "));
    }
}

fn changes(out: &mut String, candidate: &Candidate) {
    heading(out, "What the swap changes");
    let columns = [("", Align::Left), ("fitted", Align::Right), ("candidate", Align::Right), ("", Align::Left)];
    let moved = |change: &&Change| change.old != change.new;
    let rows: Vec<Vec<String>> = candidate.changes.iter().filter(moved).map(changed).collect();
    if rows.is_empty() {
        row(out, "nothing", "all numbers are the same");
        return;
    }
    for line in table(&columns, rows) {
        let _ = writeln!(out, "    {line}");
    }
}

fn changed(change: &Change) -> Vec<String> {
    let verdict = match change.better {
        Some(true) => paint(Tone::Good, "better"),
        Some(false) => paint(Tone::Caution, "worse"),
        None => String::new(),
    };
    let shown = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), number);
    vec![format!("{}, {}", change.what, change.unit), shown(change.old), shown(change.new), verdict]
}

/// Four digits at most after the point, none where it is a whole number.
fn number(value: f64) -> String {
    let text = if value.abs() >= 1000.0 { format!("{value:.0}") } else { format!("{value:.3}") };
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A time with the unit that suits it.
fn seconds(seconds: f64) -> String {
    duration(seconds * 1e6)
}
