//! Texts that try to become something else: markup, code, links, escapes, line ends, reordered lines.

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngSeed, TestRunner};

/// Pieces that mean something in a language that reports are written in.
const PIECES: [&str; 44] = [
    "<script>alert(1)</script>",
    "</script>",
    "<img src=x onerror=alert(1)>",
    "\"><b>",
    "' onfocus='x",
    "</title>",
    "</style>",
    "<!--",
    "-->",
    "]]>",
    "<![CDATA[",
    "<?xml?>",
    "&amp;",
    "&#60;",
    "&",
    "<",
    ">",
    "\"",
    "'",
    "`",
    "```",
    "**",
    "_x_",
    "~~",
    "[a](http://example.invalid)",
    "![a](b)",
    "http://example.invalid",
    "www.example.invalid",
    "a@example.invalid",
    "@everyone",
    "#1",
    "|",
    "\\",
    "\n",
    "\r\n# x",
    "\n\n- x",
    "    x",
    "\t",
    "\0",
    "\u{1b}[31m",
    "\u{202e}",
    "\u{2028}",
    "{{ version }}",
    "{% if x %}",
];

/// Pieces of markup mixed with any other characters.
pub fn text() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        4 => proptest::sample::select(PIECES.to_vec()).prop_map(str::to_owned),
        1 => any::<char>().prop_map(String::from),
        1 => "[ -~]{0,40}",
    ];
    proptest::collection::vec(piece, 1..8).prop_map(|pieces| pieces.concat())
}

/// So many texts, the same for the same seed.
///
/// # Panics
///
/// Never: every text is valid.
#[must_use]
pub fn texts(count: usize, seed: u64) -> Vec<String> {
    let mut runner = TestRunner::new(Config { rng_seed: RngSeed::Fixed(seed), ..Config::default() });
    let text = text();
    (0..count).map(|_| text.new_tree(&mut runner).expect("no text is refused").current()).collect()
}
