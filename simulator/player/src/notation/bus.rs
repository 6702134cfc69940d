//! Tokens of a transfer: `S`, `50W`, bytes, `Sr`, `P`.

use alloc::format;

use super::{Reader, Token, quantity};
use crate::program::{Action, Instruction, Place};

/// Where the text is in a transfer.
#[derive(Default)]
pub(super) struct Transfer {
    /// Between `S` and `P`; where its `S` stands.
    open: Option<Place>,
    /// A device address comes next.
    fresh: bool,
    reading: bool,
    /// The byte read last, if nothing was said about its acknowledge bit.
    unmarked: Option<usize>,
}

impl Transfer {
    pub(super) fn is_open(&self) -> bool {
        self.open.is_some()
    }
}

/// Whether a line that begins like this goes on with the transfer.
pub(super) fn looks_like(text: &str) -> bool {
    let bare = text.trim_end_matches(['+', '-']);
    quantity::bytes(bare).is_some() || address(bare).is_some()
}

/// Device address with R/W.
fn address(bare: &str) -> Option<u8> {
    let (digits, direction) = bare.split_at_checked(bare.len().checked_sub(1)?)?;
    let read = match direction {
        "W" => 0,
        "R" => 1,
        _ => return None,
    };
    quantity::byte(digits).filter(|address| *address < 0x80).map(|address| address << 1 | read)
}

impl Reader<'_> {
    pub(super) fn bus_token(&mut self, token: Token<'_>) {
        match token.text {
            "S" => self.open_transfer(token),
            "Sr" => self.restart(token),
            "P" => self.close_transfer(token),
            _ if self.bus.open.is_none() => {
                self.fault(token.place, "nothing can be sent before a START", "begin the transfer with `S`");
            }
            _ => self.byte_token(token),
        }
    }

    fn open_transfer(&mut self, token: Token<'_>) {
        if self.bus.open.is_some() {
            self.fault(
                token.place,
                "the transfer before has no end",
                "write `P` behind it, or `Sr` for a repeated START",
            );
        }
        self.bus = Transfer { open: Some(token.place), fresh: true, ..Transfer::default() };
        self.act(Action::Start { again: false }, token.place);
    }

    fn restart(&mut self, token: Token<'_>) {
        if self.bus.open.is_none() {
            return self.fault(token.place, "a repeated START stands inside a transfer", "write `S`");
        }
        self.end_of_read();
        (self.bus.fresh, self.bus.reading) = (true, false);
        self.act(Action::Start { again: true }, token.place);
    }

    fn close_transfer(&mut self, token: Token<'_>) {
        if self.bus.open.is_none() {
            return self.fault(token.place, "there is no transfer to end", "remove `P`");
        }
        self.end_of_read();
        self.bus = Transfer::default();
        self.act(Action::Stop, token.place);
    }

    /// The controller does not acknowledge the last byte of a read.
    fn end_of_read(&mut self) {
        if let Some(at) = self.bus.unmarked.take()
            && let Some(Instruction::Do(Action::Receive { ack, .. }, _)) = self.program.instructions.get_mut(at)
        {
            *ack = false;
        }
    }

    fn byte_token(&mut self, token: Token<'_>) {
        let (bare, mark) = match token.text.strip_suffix('+') {
            Some(bare) => (bare, Some(true)),
            None => token.text.strip_suffix('-').map_or((token.text, None), |bare| (bare, Some(false))),
        };
        if core::mem::take(&mut self.bus.fresh) {
            let Some(control) = address(bare) else {
                let remedy = "write a device address from 00 to 7F with `W` or `R`, such as `50W`";
                return self.fault(token.place, format!("`{}` is not a device address", token.text), remedy);
            };
            self.bus.reading = control & 1 == 1;
            return self.act(Action::Address { control, expects: mark }, token.place);
        }
        let Some(bytes) = quantity::bytes(bare) else {
            let remedy = "write two hexadecimal digits (`A5`), bytes that count upwards (`80..8F`), or one of them often (`FFx16`)";
            return self.fault(token.place, format!("`{}` is not a byte", token.text), remedy);
        };
        let last = bytes.len() - 1;
        for (at, byte) in bytes.into_iter().enumerate() {
            if self.bus.reading {
                let ack = at < last || mark.unwrap_or(true);
                self.act(Action::Receive { expects: byte, ack }, token.place);
                self.bus.unmarked = mark.is_none().then(|| self.program.instructions.len() - 1);
            } else if let Some(byte) = byte {
                self.act(Action::Send { byte, expects: mark }, token.place);
            } else {
                return self.fault(
                    token.place,
                    "`??` is a byte to be read, and this transfer writes",
                    "write the byte",
                );
            }
        }
    }

    /// A transfer must be over here.
    pub(super) fn bus_end(&mut self) {
        self.end_of_read();
        if let Some(place) = self.bus.open.take() {
            self.fault(place, "the transfer has no end", "write `P` behind its last byte");
        }
    }

    /// Whatever was under way is over: the controller, or its supply, is gone.
    pub(super) fn bus_lost(&mut self) {
        self.bus = Transfer::default();
    }
}
