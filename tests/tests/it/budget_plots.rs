//! The plots of the budget: complete, self-contained, harmless whatever a board is called, and well-formed to another
//! program (Python's XML parser).

use std::fs;
use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use pagewise_judge::board::{self, Board};
use pagewise_judge::budget::{self, Budget, plot};
use pagewise_part::card::Catalogue;
use pagewise_tests::tools::need;

fn read(name: &str) -> Board {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../examples/boards");
    board::read(&folder.join(name).with_extension("toml")).unwrap()
}

fn boards() -> Vec<Board> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../examples/boards");
    let files = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    files
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .map(|path| board::read(&path).unwrap())
        .collect()
}

/// Every example board with every part, drawn.
fn drawn(mut look: impl FnMut(&Budget, &str, &str)) {
    let catalogue = Catalogue::embedded().unwrap();
    for board in boards() {
        for card in catalogue.cards() {
            let budget = budget::compute(&board, card);
            look(&budget, &plot::pull_up(&budget, "a"), &plot::wear(&budget, "b"));
        }
    }
}

#[test]
fn every_part_on_every_example_board_is_drawn_with_finite_numbers_inside_the_frame() {
    let mut count = 0;
    drawn(|budget, pull_up, wear| {
        for drawing in [pull_up, wear] {
            assert!(drawing.starts_with("<svg ") && drawing.trim_end().ends_with("</svg>"), "{drawing}");
            assert!(!drawing.contains("NaN") && !drawing.contains("inf\""), "{}: {drawing}", budget.part);
            let at = drawing.match_indices(" x=\"").chain(drawing.match_indices(" cx=\""));
            for (from, what) in at {
                let number = drawing[from + what.len()..].split('"').next().unwrap();
                let number: f64 = number.parse().unwrap_or_else(|_| panic!("{number}"));
                assert!((0.0..=720.0).contains(&number), "{}: x = {number}", budget.part);
            }
        }
        count += 1;
    });
    assert!(count > 2000, "{count}");
}

#[test]
fn a_drawing_names_itself_for_screen_readers_and_asks_for_nothing_from_outside() {
    drawn(|budget, pull_up, wear| {
        for (drawing, id) in [(pull_up, "a"), (wear, "b")] {
            assert!(drawing.contains(&format!("aria-labelledby=\"{id}-title {id}-text\"")));
            assert!(drawing.contains(&format!("<title id=\"{id}-title\">")) && drawing.contains("<desc id="));
            let foreign = drawing.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
            for word in ["http", "url(", "href", "<script", "@import", "onload"] {
                assert!(!foreign.contains(word), "{}: {word}", budget.part);
            }
        }
    });
}

#[test]
fn names_of_users_stay_text() {
    let hostile = "<script>alert(1)</script>\"'&]]>\u{202e}\u{1b}[31m";
    let catalogue = Catalogue::embedded().unwrap();
    let mut board = boards().remove(0);
    board.name = hostile.to_owned();
    board.regions.iter_mut().for_each(|region| (region.name, region.writes_per_day) = (hostile.to_owned(), 5.0));
    let mut budget = budget::compute(&board, catalogue.find("24lc256").unwrap());
    budget.part_name = hostile.to_owned();
    for drawing in [plot::pull_up(&budget, hostile), plot::wear(&budget, hostile)] {
        assert!(drawing.contains("&lt;script&gt;"), "{drawing}");
        assert!(!drawing.contains("<script") && !drawing.contains("]]>") && !drawing.contains('\u{1b}'), "{drawing}");
        assert!(drawing.contains("aria-labelledby=\"scriptalert1script31m-title"), "{drawing}");
    }
}

/// A text of a drawing, with a font that is wider than most: letters of 0.6 em.
struct Text {
    words: String,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

fn attribute<'d>(element: &'d str, name: &str) -> Option<&'d str> {
    element.split_once(&format!(" {name}=\""))?.1.split('"').next()
}

fn texts(drawing: &str) -> Vec<Text> {
    let text = |element: &str| {
        let (attributes, words) = element.split_once('>').unwrap();
        let words = words.split("</text>").next().unwrap().replace("&#x2F;", "/").replace("&amp;", "&");
        let number = |name| attribute(attributes, name).unwrap().parse::<f64>().unwrap();
        let size = if attribute(attributes, "class") == Some("pw-title") { 15.0 } else { 13.0 };
        let (x, y, width) = (number("x"), number("y"), words.chars().count() as f64 * size * 0.6);
        let left = match attribute(attributes, "text-anchor") {
            Some("end") => x - width,
            Some("middle") => x - width / 2.0,
            _ => x,
        };
        Text { words, left, right: left + width, top: y - size * 0.8, bottom: y + size * 0.25 }
    };
    drawing.split("<text").skip(1).map(text).collect()
}

#[test]
fn no_text_stands_on_another_or_runs_out_of_the_drawing() {
    drawn(|budget, pull_up, wear| {
        for drawing in [pull_up, wear] {
            let texts = texts(drawing);
            assert!(texts.len() >= 5, "{drawing}");
            for (at, one) in texts.iter().enumerate() {
                let of = format!("{} on {}", budget.part, budget.board);
                assert!(one.left >= 0.0 && one.right <= 720.0, "{of}: `{}` to {}", one.words, one.right);
                for other in &texts[..at] {
                    let apart = one.right <= other.left
                        || other.right <= one.left
                        || one.bottom <= other.top
                        || other.bottom <= one.top;
                    assert!(apart, "{of}: `{}` stands on `{}`", one.words, other.words);
                }
            }
        }
    });
}

#[test]
fn the_point_of_the_board_is_not_written_over() {
    drawn(|budget, pull_up, _| {
        let point = &pull_up[pull_up.find("<circle").unwrap()..];
        let place = |name| attribute(point, name).unwrap().parse::<f64>().unwrap();
        let (x, y, radius) = (place("cx"), place("cy"), place("r"));
        for text in texts(pull_up) {
            let apart = text.right <= x - radius
                || x + radius <= text.left
                || text.bottom <= y - radius
                || y + radius <= text.top;
            assert!(apart, "{} on {}: `{}`", budget.part, budget.board, text.words);
        }
    });
}

const READER: &str = r#"
import sys, json
import xml.etree.ElementTree as tree
drawn = {"svg", "title", "desc", "style", "rect", "text", "line", "path", "polygon", "polyline", "circle"}
names = []
for text in json.load(sys.stdin):
    root = tree.fromstring(text)
    tags = [element.tag.split("}")[1] for element in root.iter()]
    assert root.tag == "{http://www.w3.org/2000/svg}svg", root.tag
    assert set(tags) <= drawn, set(tags) - drawn
    assert tags.count("title") == 1 and tags.count("desc") == 1
    names.append(root.find("{http://www.w3.org/2000/svg}title").text)
print(json.dumps(names))
"#;

#[test]
fn every_plot_is_well_formed_whatever_the_board_is_called() {
    let Some(python) = need("python3", "python3") else { return };
    let names = [
        "plain",
        "<script>alert(1)</script>",
        "]]><g onload='x'>",
        "&amp; \"quoted\" 'too'",
        "\u{202e}\u{0}\u{1b}[31m",
    ];
    let catalogue = Catalogue::embedded().unwrap();
    let mut drawings = Vec::new();
    for name in names {
        for (ohm, pf) in [(2200, 90), (1000, 400), (20_000, 10)] {
            let mut board = read("valve-driver");
            board.name = name.to_owned();
            (board.bus.pull_up_ohm, board.bus.capacitance_pf) = (ohm, pf);
            board.regions.iter_mut().for_each(|region| region.name = name.to_owned());
            for card in catalogue.parts().step_by(13) {
                let budget = budget::compute(&board, card);
                drawings.push(plot::pull_up(&budget, "a"));
                drawings.push(plot::wear(&budget, "b"));
            }
        }
    }
    let mut child = Command::new(python)
        .args(["-c", READER])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3 starts");
    child.stdin.take().unwrap().write_all(serde_json::to_string(&drawings).unwrap().as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "an SVG is not as it should be");
    let titles: Vec<String> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(titles.len(), drawings.len());
    for (title, name) in titles.iter().zip(names.iter().flat_map(|name| vec![name; drawings.len() / names.len()])) {
        let shown = pagewise_base::paint::plain(name);
        assert!(title.ends_with(&format!(" on {shown}")), "{title} beside {shown}");
    }
}
