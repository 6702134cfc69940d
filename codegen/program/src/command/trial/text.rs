//! A trial for a person: the matrix, then each loss with the command that repeats it.

use std::collections::BTreeMap;

use crate::output::{Align, Tone, paint, plain, table, wrapped};
use pagewise_base::words::{counted, duration};
use pagewise_report::trial::{Cuts, FirstCut, Loss, Run, Trial};

pub(super) fn render(trial: &Trial) -> String {
    let mut out = format!("{}: {}\n\n", plain(&trial.board), plain(&trial.program));
    out += &matrix(trial);
    let mut shown = Vec::<(&str, &str)>::new();
    for run in &trial.runs {
        for loss in &run.losses {
            // What many seeds lose in the same way is told once.
            if !shown.contains(&(&run.part, &loss.text)) {
                shown.push((&run.part, &loss.text));
                out += &told(run, loss);
            }
        }
    }
    for cuts in &trial.cuts {
        out += &cut(cuts);
    }
    let mut notes: Vec<&String> = trial.runs.iter().flat_map(|run| &run.told).collect();
    notes.dedup();
    for note in notes {
        out += &format!("{}\n", wrapped(&plain(note), "note: ", "  "));
    }
    for gone in &trial.gone {
        out += &format!("{}\n", wrapped(&plain(gone), "no longer lost: ", "  "));
    }
    let tone = if trial.new_losses > 0 { Tone::Bad } else { Tone::Good };
    out += &format!("\n{}\n", wrapped(&paint(tone, format!("The program {}.", plain(&trial.sentence()))), "", ""));
    if trial.known_losses > 0 {
        out += &format!("{} known in the baseline, {} new.\n", trial.known_losses, trial.new_losses);
    }
    out
}

fn matrix(trial: &Trial) -> String {
    let mut rows = BTreeMap::<(usize, &str), Vec<&Run>>::new();
    let parts: Vec<&str> = trial.runs.iter().map(|run| run.part.as_str()).collect();
    for run in &trial.runs {
        let place = parts.iter().position(|part| *part == run.part).unwrap_or(0);
        rows.entry((place, &run.setting)).or_default().push(run);
    }
    let lines: Vec<Vec<String>> = rows
        .into_iter()
        .map(|((_, setting), runs)| {
            let lost = runs.iter().filter(|run| !run.losses.is_empty()).count();
            let first = runs[0];
            let result = match (first.fitted, lost) {
                (true, _) => paint(Tone::Faint, "fitted"),
                (_, 0) => paint(Tone::Good, "same"),
                _ => paint(Tone::Bad, format!("{lost} of {} lost", runs.len())),
            };
            let mut hazards: Vec<&str> = runs.iter().flat_map(|run| run.hazards.iter().map(String::as_str)).collect();
            hazards.sort_unstable();
            hazards.dedup();
            vec![plain(&first.part), setting.to_owned(), result, hazards.join(", "), duration(first.took_us as f64)]
        })
        .collect();
    let left = ["part", "setting", "result", "hazards"].map(|name| (name, Align::Left));
    let columns = [&left[..], &[("time", Align::Right)]].concat();
    table(&columns, lines).iter().map(|line| format!("{line}\n")).collect()
}

fn told(run: &Run, loss: &Loss) -> String {
    let known = if loss.known { " (known)" } else { "" };
    let hazard = if loss.hazard.is_empty() { String::new() } else { format!(" [{}]", loss.hazard) };
    let head = format!("{}{hazard}{known}: {}", plain(&run.part), plain(&loss.text));
    let mut out = format!("\n{}\n", wrapped(&head, "", "  "));
    if loss.transfer > 0 {
        let line = format!("transfer {}: {}", loss.transfer, plain(&loss.on_the_bus));
        out += &format!("{}\n", wrapped(&line, "  ", "    "));
    }
    out + &format!("  repeat: {}\n", plain(&run.repeat))
}

fn cut(cuts: &Cuts) -> String {
    let tried = format!(
        "{}: supply cut at {} of {}, {} afterwards, {} lost",
        plain(&cuts.part),
        cuts.looked_at,
        counted(cuts.moments, "moment"),
        counted(cuts.states, "different state"),
        cuts.lost
    );
    let mut out = format!("\n{}\n", wrapped(&tried, "", "  "));
    if let Some(FirstCut { at_ns, torn, text, on_the_bus, repeat, known }) = &cuts.first {
        let known = if *known { " (known)" } else { "" };
        let (ms, ns) = (at_ns / 1_000_000, at_ns % 1_000_000);
        let line = format!("earliest at {ms}.{ns:06} ms, a torn page left {torn}{known}: {}", plain(text));
        out += &format!("{}\n", wrapped(&line, "  ", "    "));
        out += &format!("{}\n", wrapped(&plain(on_the_bus), "  in or after ", "    "));
        out += &format!("  repeat: {}\n", plain(repeat));
    }
    out
}
