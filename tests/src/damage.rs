//! Valid files made invalid, the way people and disks do it: bits, lines, numbers, types, encodings.

use proptest::prelude::*;
use proptest::sample::{Index, select};

/// One piece of damage.
#[derive(Debug, Clone)]
pub enum Damage {
    /// A bit flips.
    Flip(Index, u8),
    /// The file ends early.
    Cut(Index),
    /// A line is gone.
    DropLine(Index),
    /// A line stands twice.
    RepeatLine(Index),
    /// Two lines change places.
    SwapLines(Index, Index),
    /// A line that does not belong there.
    Insert(Index, &'static [u8]),
    /// A number becomes another one, or no number.
    Number(Index, &'static str),
    /// What stands between quotes or commas becomes something else.
    Word(Index, &'static str),
    /// A sign of the format is lost or doubled.
    Sign(Index, &'static str),
}

const NUMBERS: [&str; 16] = [
    "0",
    "-1",
    "1",
    "7",
    "255",
    "256",
    "65536",
    "16777216",
    "4294967295",
    "4294967296",
    "99999999999999999999",
    "0x",
    "0xFFFFFFFF",
    "1e400",
    "nan",
    "0.1",
];
const WORDS: [&str; 24] = [
    "",
    " ",
    "true",
    "\"",
    "\\",
    "{{ x }}",
    "\u{202e}abc",
    "\u{0}",
    "ä€😀",
    "../../x",
    "a,b",
    "=SUM(A1)",
    "[]",
    "[1, 2]",
    "{}",
    "\\u0000",
    "crc",
    "records",
    "eui-64",
    "serial",
    "u64",
    "00-00-00-00-00-00",
    "FF-FF-FF-FF-FF-FF",
    "gpio",
];
const SIGNS: [&str; 8] = ["", "\n", "[", "]", "\"", "==", ",,", "\u{feff}"];
const LINES: [&[u8]; 9] = [
    b"unknown = 1\n",
    b"[[region]]\n",
    b"[straps]\n",
    b"name = \"again\"\n",
    b"\xff\xfe\x80\n",
    b"\"unclosed\n",
    b":00000001FF\n",
    b"S9030000FC\n",
    b"{\"unit\":\"x\"}\n",
];

/// One to three pieces of damage.
pub fn damages() -> impl Strategy<Value = Vec<Damage>> {
    let index = any::<Index>;
    let one = prop_oneof![
        2 => (index(), 0..8u8).prop_map(|(at, bit)| Damage::Flip(at, bit)),
        1 => index().prop_map(Damage::Cut),
        2 => index().prop_map(Damage::DropLine),
        2 => index().prop_map(Damage::RepeatLine),
        1 => (index(), index()).prop_map(|(a, b)| Damage::SwapLines(a, b)),
        2 => (index(), select(LINES.to_vec())).prop_map(|(at, line)| Damage::Insert(at, line)),
        6 => (index(), select(NUMBERS.to_vec())).prop_map(|(at, number)| Damage::Number(at, number)),
        4 => (index(), select(WORDS.to_vec())).prop_map(|(at, word)| Damage::Word(at, word)),
        2 => (index(), select(SIGNS.to_vec())).prop_map(|(at, sign)| Damage::Sign(at, sign)),
    ];
    proptest::collection::vec(one, 1..=3)
}

impl Damage {
    /// The file with this damage.
    #[must_use]
    pub fn of(&self, bytes: &[u8]) -> Vec<u8> {
        if bytes.is_empty() {
            return Vec::new();
        }
        match self {
            Self::Flip(at, bit) => {
                let mut bytes = bytes.to_vec();
                let at = at.index(bytes.len());
                bytes[at] ^= 1 << bit;
                bytes
            }
            Self::Cut(at) => bytes[..at.index(bytes.len())].to_vec(),
            Self::DropLine(at) => edit(bytes, |lines| {
                lines.remove(at.index(lines.len()));
            }),
            Self::RepeatLine(at) => edit(bytes, |lines| lines.insert(0, lines[at.index(lines.len())])),
            Self::SwapLines(a, b) => edit(bytes, |lines| {
                let (a, b) = (a.index(lines.len()), b.index(lines.len()));
                lines.swap(a, b);
            }),
            Self::Insert(at, line) => edit(bytes, |lines| lines.insert(at.index(lines.len()), line)),
            Self::Number(at, by) => replace(bytes, *at, by, |byte| byte.is_ascii_digit() || byte == b'.'),
            Self::Word(at, by) => replace(bytes, *at, by, |byte| !b"\",;=\n[] ".contains(&byte)),
            Self::Sign(at, by) => replace(bytes, *at, by, |byte| b"\",;:=\n[]{}".contains(&byte)),
        }
    }
}

fn edit(bytes: &[u8], change: impl FnOnce(&mut Vec<&[u8]>)) -> Vec<u8> {
    let mut lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
    change(&mut lines);
    lines.concat()
}

/// Replaces one run of bytes that `belongs` names; binary files have few of them and stay as they are.
fn replace(bytes: &[u8], at: Index, by: &str, belongs: impl Fn(u8) -> bool) -> Vec<u8> {
    let starts: Vec<usize> =
        (0..bytes.len()).filter(|i| belongs(bytes[*i]) && (*i == 0 || !belongs(bytes[i - 1]))).collect();
    if starts.is_empty() {
        return bytes.to_vec();
    }
    let start = starts[at.index(starts.len())];
    let end = start + bytes[start..].iter().take_while(|byte| belongs(**byte)).count();
    [&bytes[..start], by.as_bytes(), &bytes[end..]].concat()
}
