//! Draws an [`Anatomy`] as boxes, at most 80 columns wide.

use super::{Anatomy, Bit, WireByte};
use pagewise_base::paint::{Tone, paint};

const NAME: usize = 15;

impl Anatomy {
    /// The picture: a write's header, then what follows it for a write and for a random read. With colours.
    #[must_use]
    pub fn draw(&self) -> String {
        let mut lines = vec![event("START")];
        let count = self.word_address.len();
        let note = format!("{:#04x}: {:#04x} and W", self.device_write.value, self.device_write.value >> 1);
        let mut header = vec![("device address".to_owned(), &self.device_write, note)];
        for (index, byte) in self.word_address.iter().enumerate() {
            let name = if count == 1 { "word address".into() } else { format!("word address {}", index + 1) };
            let high = 8 * (count - index) - 1;
            header.push((name, byte, format!("{:#04x}: bits {high} to {}", byte.value, high - 7)));
        }
        boxes(&mut lines, &header);
        self.write_end(&mut lines);
        // Without word-address bytes there is nothing to set first: the read's device address is the address.
        let restart = if count == 0 { "or, to read: START instead" } else { "or, to read: repeated START" };
        lines.push(event(restart));
        let note = format!("{:#04x}: the same, R/W = 1", self.device_read.value);
        boxes(&mut lines, &[("device address".into(), &self.device_read, note)]);
        let room = self.room_in_read;
        let wraps = format!("{room} {} until the", plural(room));
        data(&mut lines, self.offset, ["you ACK, the last: NACK;", &wraps, "sequential read wraps"]);
        lines.push(event("STOP"));
        lines.join("\n")
    }

    fn write_end(&self, lines: &mut Vec<String>) {
        lines.push(event("then, to write:"));
        match self.room_in_page {
            Some(room) => {
                let count = format!("{room} {} in the page,", plural(room));
                let wrap = format!("the next goes to {:#x}", self.page_first);
                data(lines, self.offset, ["the chip ACKs each;", &count, &wrap]);
                let ms = f64::from(self.write_cycle_us) / 1000.0;
                lines.push(event(&format!("STOP: starts the write cycle of at most {ms} ms")));
            }
            None => {
                data(lines, self.offset, ["the chip ACKs each;", "stored at once, no page", ""]);
                lines.push(event("STOP"));
            }
        }
    }
}

const fn plural(count: u32) -> &'static str {
    if count == 1 { "byte" } else { "bytes" }
}

fn event(text: &str) -> String {
    paint(Tone::Strong, text)
}

fn rule(left: char, middle: char, right: char) -> String {
    let line = ["───"; 8].join(&middle.to_string());
    format!("{:NAME$} {left}{line}{right}", "")
}

/// One box of two rows per byte: roles above, levels below.
fn boxes(lines: &mut Vec<String>, bytes: &[(String, &WireByte, String)]) {
    for (index, (name, byte, note)) in bytes.iter().enumerate() {
        lines.push(if index == 0 { rule('┌', '┬', '┐') } else { rule('├', '┼', '┤') });
        let roles: Vec<String> = byte.bits.iter().map(role).collect();
        let levels: Vec<String> = byte.bits.iter().map(level).collect();
        lines.push(format!("{name:NAME$} │{}│     {}", roles.join("│"), paint(Tone::Faint, note)));
        lines.push(format!("{:NAME$} │{}│ ACK", "", levels.join("│")));
    }
    lines.push(rule('└', '┴', '┘'));
}

fn data(lines: &mut Vec<String>, offset: u32, notes: [&str; 3]) {
    let bits: Vec<String> = (0..8).rev().map(|bit| format!("d{bit} ")).collect();
    let [first, second, third] = notes.map(|note| paint(Tone::Faint, note));
    lines.push(format!("{}     {first}", rule('┌', '┬', '┐')));
    lines.push(format!("{:NAME$} │{}│ ... {second}", format!("data {offset:#x}..."), bits.join("│")));
    lines.push(format!("{}     {third}", rule('└', '┴', '┘')).trim_end().to_owned());
}

fn role(bit: &Bit) -> String {
    let cell = if bit.role.len() < 3 { format!("{:^3}", bit.role) } else { bit.role.clone() };
    match bit.role.as_bytes().first() {
        Some(b'A' | b'/') => paint(Tone::Good, cell),
        Some(b'B') => paint(Tone::Caution, cell),
        Some(b'x') => paint(Tone::Faint, cell),
        _ => cell,
    }
}

fn level(bit: &Bit) -> String {
    let cell = format!(" {} ", u8::from(bit.high));
    if bit.role == "x" { paint(Tone::Faint, cell) } else { cell }
}
