//! The plots of the budget read by another program: Python's XML parser finds every one well-formed, with its title, its
//! description and, whatever a user calls a board, no element that Pagewise did not draw.

use std::io::Write;
use std::process::{Command, Stdio};

use pagewise_judge::board::Board;
use pagewise_judge::budget::{self, plot};
use pagewise_part::card::Catalogue;
use pagewise_tests::tools::need;

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

fn board() -> Board {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/boards/valve-driver.toml");
    pagewise_judge::board::read(&path).unwrap()
}

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
            let mut board = board();
            board.name = name.to_owned();
            (board.bus.pull_up_ohm, board.bus.capacitance_pf) = (ohm, pf);
            board.regions.iter_mut().for_each(|region| region.name = name.to_owned());
            for card in catalogue.parts().step_by(13) {
                let budget = budget::of(&board, card);
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
