//! `pagewise hazards`: lists the ways to lose data, and runs them.

use pagewise_player::Bench;
use pagewise_teach::lesson::Lessons;
use schemars::JsonSchema;
use serde::Serialize;

use super::{Options, find, steps};
use crate::output::{Align, Answer, Exit, Shape, Tone, answers, paint, plain, table, wrapped};
use pagewise_base::fault::{Fault, Faults};
use pagewise_judge::hazard::{self, Demonstration, Row, Side};

/// Transfers shown of each run.
const SHOWN_TRANSFERS: usize = 6;
/// Columns of a transfer.
const SHOWN_COLUMNS: usize = 72;
/// Rows of a memory picture, incidents and losses shown.
const SHOWN_ROWS: usize = 6;

/// List the ways to lose data, or run them: a naive program that loses bytes, and the safe way.
#[derive(Debug, clap::Args)]
pub struct Hazards {
    /// Run these; without a name, list all.
    #[arg(value_name = "NAME", conflicts_with = "all")]
    pub names: Vec<String>,
    /// Run all of them.
    #[arg(long)]
    pub all: bool,
    /// Play the lesson's program on this part instead: identifier or order code of a card.
    #[arg(long, value_name = "PART", conflicts_with = "all", requires = "names")]
    pub part: Option<String>,
    /// Play the lesson's program step by step.
    #[arg(long, conflicts_with = "all", requires = "names")]
    pub step: bool,
}

#[derive(JsonSchema, Serialize)]
struct Played<'a> {
    lesson: &'a str,
    belief: &'a str,
    program: &'a str,
    run: &'a steps::Played,
}

#[derive(JsonSchema, Serialize)]
struct List {
    hazards: Vec<Entry>,
}

#[derive(JsonSchema, Serialize)]
struct Entry {
    name: &'static str,
    hazard: &'static str,
    title: &'static str,
}

#[derive(JsonSchema, Serialize)]
struct Runs {
    runs: Vec<Run>,
}

#[derive(JsonSchema, Serialize)]
struct Run {
    #[serde(flatten)]
    entry: Entry,
    story: &'static str,
    in_a_swap: &'static str,
    safe_way: &'static str,
    rules: &'static [&'static str],
    from_outside: bool,
    listing: &'static str,
    naive: Side,
    safe: Side,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<List>, answers::<Runs>, answers::<Played<'static>>];

impl Hazards {
    /// Runs the command.
    ///
    /// # Errors
    /// A name that is not a hazard's, with names that resemble it.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        if self.part.is_some() || self.step {
            return self.play(options);
        }
        let chosen = self.chosen()?;
        if chosen.is_empty() {
            let body = List { hazards: hazard::all().iter().map(entry).collect() };
            return Ok(Answer::new(options.reader(), "hazards", Exit::Usable, &body, list));
        }
        let body = Runs { runs: chosen.into_iter().map(run).collect() };
        let bit = body.runs.iter().any(|run| run.naive.bytes_lost > 0);
        let exit = if bit { Exit::Against } else { Exit::Usable };
        let text = || body.runs.iter().map(text).collect::<Vec<_>>().join("\n");
        Ok(Answer::new(options.reader(), "hazards", exit, &body, text))
    }

    /// The failing program of one lesson, on its own part or another one.
    fn play(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let lessons = Lessons::embedded(&catalogue)?;
        let [name] = &self.names[..] else {
            return Err(Fault::of_file("command line", "several names", "play one lesson at a time").into());
        };
        let lesson = lessons.find(name).ok_or_else(|| {
            let near = lessons.near(name).join(", ");
            let remedy =
                if near.is_empty() { "`pagewise hazards` lists all".to_owned() } else { format!("near: {near}") };
            Fault::of_file(&format!("`{}`", plain(name)), "no lesson has this name", remedy)
        })?;
        let model = match &self.part {
            Some(part) => find(&catalogue, part)?.chip_model(),
            None => lesson.part.model.clone(),
        };
        model.check().map_err(|reason| Fault::of_file(&model.name, reason, "correct the card"))?;
        let text = lesson.filled_program("");
        let (board, program) =
            lesson.bench("", &text, false, None).map_err(|faults| steps::faults_of(&lesson.name, faults))?;
        let (run, _) = steps::Played::new(&Bench { model, board }, &program);
        let body = Played { lesson: &lesson.name, belief: &lesson.belief, program: &text, run: &run };
        Ok(Answer::new(options.reader(), "hazards", run.exit(), &body, || {
            let listing = text.lines().enumerate().map(|(at, line)| format!("{:>9}  {}\n", at + 1, plain(line)));
            let listing: String = listing.collect();
            format!("{}\n{listing}\n{}", wrapped(&plain(&lesson.belief), "", ""), run.text(self.step))
        }))
    }

    fn chosen(&self) -> Result<Vec<&'static Demonstration>, Faults> {
        if self.all {
            return Ok(hazard::all().iter().collect());
        }
        let mut faults = Vec::new();
        let mut chosen = Vec::new();
        for name in &self.names {
            match hazard::find(name) {
                Some(demonstration) => chosen.push(demonstration),
                None => faults.push(unknown(name)),
            }
        }
        Faults(faults).or_ok(chosen)
    }
}

fn unknown(name: &str) -> Fault {
    let near = hazard::near(name);
    let remedy =
        if near.is_empty() { "`pagewise hazards` lists all".to_owned() } else { format!("near: {}", near.join(", ")) };
    Fault::of_file(&format!("`{}`", plain(name)), "no hazard has this name", remedy)
}

fn entry(demonstration: &Demonstration) -> Entry {
    let Demonstration { name, hazard, title, .. } = demonstration;
    Entry { name, hazard: hazard.name(), title }
}

fn run(demonstration: &Demonstration) -> Run {
    let outcome = demonstration.run();
    Run {
        entry: entry(demonstration),
        story: demonstration.story,
        in_a_swap: demonstration.in_a_swap,
        safe_way: demonstration.safe_way,
        rules: demonstration.rules,
        from_outside: demonstration.from_outside,
        listing: demonstration.listing(),
        naive: outcome.naive,
        safe: outcome.safe,
    }
}

fn list() -> String {
    let rows = hazard::all().iter().map(|one| vec![paint(Tone::Strong, one.name), one.title.to_owned()]);
    let mut lines = table(&[("name", Align::Left), ("what happens", Align::Text)], rows.collect());
    lines.push(String::new());
    let more = "`pagewise hazards NAME` runs one, `--all` runs all; each loses bytes on purpose.";
    lines.push(wrapped(more, "", ""));
    lines.join("\n")
}

fn text(run: &Run) -> String {
    let mut lines = vec![paint(Tone::Heading, run.entry.name), wrapped(run.entry.title, "", ""), String::new()];
    lines.push(wrapped(run.story, "", ""));
    lines.push(wrapped(run.in_a_swap, "In a swap: ", "  "));
    lines.push(format!("Rules: {}", run.rules.join(", ")));
    lines.push(String::new());
    lines.push(paint(Tone::Faint, "The naive program"));
    lines.extend(run.listing.lines().map(|line| format!("  {line}")));
    lines.push(String::new());
    lines.extend(side("Naive", &run.naive, true));
    lines.push(String::new());
    lines.push(wrapped(run.safe_way, "Safe way: ", "  "));
    lines.extend(side("Safe", &run.safe, false));
    lines.join("\n") + "\n"
}

fn side(who: &str, side: &Side, whole: bool) -> Vec<String> {
    let tone = if side.bytes_lost > 0 { Tone::Bad } else { Tone::Good };
    let verdict = paint(tone, format!("{} bytes lost", side.bytes_lost));
    let mut lines = vec![format!("{who} run on {}: {verdict}", side.part), wrapped(&side.said, "  it said: ", "    ")];
    let named: Vec<&str> = side.hazards.iter().map(|hazard| hazard.name()).collect();
    let named = if named.is_empty() { "nothing".to_owned() } else { named.join(", ") };
    lines.push(format!("  detectors named: {}", paint(Tone::Strong, named)));
    lines.extend(shown(&side.incidents, |incident| wrapped(incident, "    ", "      ")));
    if !side.explanation.is_empty() {
        lines.push("  where the bytes went".into());
        lines.extend(shown(&side.explanation, |loss| wrapped(loss, "    ", "      ")));
    }
    if whole {
        lines.push("  on the bus (+ acknowledged, - not)".into());
        lines.extend(transfers(&side.transfers));
    }
    for row in side.picture.iter().take(SHOWN_ROWS) {
        lines.extend(picture(row));
    }
    more(&mut lines, side.picture.len());
    lines
}

fn shown(texts: &[String], line: impl Fn(&String) -> String) -> Vec<String> {
    let mut lines: Vec<String> = texts.iter().take(SHOWN_ROWS).map(line).collect();
    more(&mut lines, texts.len());
    lines
}

fn more(lines: &mut Vec<String>, all: usize) {
    if all > SHOWN_ROWS {
        lines.push(format!("    and {} more", all - SHOWN_ROWS));
    }
}

fn transfers(text: &str) -> Vec<String> {
    let all: Vec<&str> = text.lines().collect();
    let mut lines: Vec<String> =
        all.iter().take(SHOWN_TRANSFERS).map(|line| format!("    {}", cut(line.trim()))).collect();
    if all.len() > SHOWN_TRANSFERS {
        lines.push(format!("    and {} more", all.len() - SHOWN_TRANSFERS));
    }
    lines
}

/// The trace is ASCII.
fn cut(line: &str) -> String {
    if line.len() <= SHOWN_COLUMNS {
        return line.to_owned();
    }
    let (shown, rest) = line.split_at(line[..SHOWN_COLUMNS - 18].rfind(' ').unwrap_or(0));
    let bytes = rest.matches(['+', '-']).count();
    format!("{shown} .. {bytes} more bytes")
}

fn picture(row: &Row) -> [String; 3] {
    let [meant, found, marks] = row.lines();
    [format!("  {meant}"), format!("  {found}"), format!("  {}", paint(Tone::Bad, marks))]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::WIDTH;

    #[test]
    fn every_line_keeps_to_the_width_and_needs_no_colour() {
        for demonstration in hazard::all() {
            let shown = anstream::adapter::strip_str(&text(&run(demonstration))).to_string();
            // The program is shown as it was compiled, in lines as long as the formatter leaves them.
            for line in shown.lines().filter(|line| !demonstration.listing().contains(line.trim())) {
                assert!(line.chars().count() <= WIDTH, "{}: {line}", demonstration.name);
            }
            assert!(shown.contains("^^"), "{shown}");
        }
        let shown = anstream::adapter::strip_str(&list()).to_string();
        assert!(shown.lines().all(|line| line.chars().count() <= WIDTH), "{shown}");
    }

    #[test]
    fn a_listing_is_the_program_and_nothing_else() {
        for demonstration in hazard::all() {
            let listing = demonstration.listing();
            assert!(listing.starts_with("fn program<"), "{listing}");
            assert!(listing.ends_with('}') && listing.lines().count() < 20, "{listing}");
        }
    }

    #[test]
    fn transfers_are_cut_with_the_number_of_bytes_left_out() {
        let long = "0.000 us  S 50W+".to_owned() + &" AA+".repeat(30);
        assert!(cut(&long).len() <= SHOWN_COLUMNS, "{}", cut(&long));
        assert_eq!(cut("0.000 us  S 50W- P"), "0.000 us  S 50W- P");
    }
}
