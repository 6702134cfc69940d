//! What a recording shows, as a program that can be run on other parts: writes, reads, polls as polls, waits as waits.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use pagewise_base::fault::Faults;
use pagewise_simulator::recording::{BusEvent, Role};

use crate::Input;
use crate::input::fault;

/// Refused accesses further apart than this are not one loop of polling.
const LOOP_NS: u64 = 50_000_000;

/// A message within a transfer: from a START to the next START or STOP.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Message {
    /// Device address with R/W.
    pub(crate) control: u8,
    /// Somebody answered.
    pub(crate) answered: bool,
    /// Bytes to the chips.
    pub(crate) written: Vec<u8>,
    /// Bytes from the chips.
    pub(crate) read: Vec<u8>,
}

/// A transfer, and how the program came to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Step {
    /// From the end of the transfer before to its START.
    pub(crate) wait_ns: u64,
    pub(crate) messages: Vec<Message>,
    /// It was refused before, and repeated at this interval until it was answered.
    pub(crate) every_ns: Option<u64>,
}

impl Step {
    pub(crate) fn notation(&self) -> String {
        let direction = |control: u8| if control & 1 == 1 { 'R' } else { 'W' };
        let mut text = String::new();
        // Writing to a String cannot fail.
        if self.wait_ns > 0 {
            let _ = writeln!(text, "wait {}ns", self.wait_ns);
        }
        if let (Some(_), Some(first)) = (self.every_ns, self.messages.first()) {
            let _ = writeln!(text, "poll {:02X}{} 1000ms", first.control >> 1, direction(first.control));
        }
        for (at, message) in self.messages.iter().enumerate() {
            text.push_str(if at == 0 { "S" } else { " Sr" });
            let _ = write!(text, " {:02X}{}", message.control >> 1, direction(message.control));
            for byte in &message.written {
                let _ = write!(text, " {byte:02X}");
            }
            text.push_str(&" ??".repeat(message.read.len()));
        }
        text.push_str(" P\n");
        text
    }
}

/// A program as recordings show it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Program {
    pub(crate) steps: Vec<Step>,
    /// Addresses that answered and are not of the code that serial EEPROMs have.
    pub(crate) others: BTreeSet<u8>,
    /// Some access was repeated until it was answered.
    pub(crate) polls: bool,
}

impl Program {
    /// Reads the program of recordings, in the order given. Transfers at other devices are left out.
    ///
    /// # Errors
    /// Every recording that cannot be read, and why.
    pub fn read(inputs: &[Input]) -> Result<Self, Faults> {
        let mut program = Self::default();
        for input in inputs {
            let (recording, bus) = input.open()?;
            let mut reader = Reader::default();
            for event in recording.events(&bus).map_err(|error| fault(&error))? {
                reader.hear(event.map_err(|error| fault(&error))?, &mut program);
            }
        }
        Ok(program)
    }

    /// How many transfers it has, loops of polling counted once.
    #[must_use]
    pub fn transfers(&self) -> usize {
        self.steps.len()
    }

    /// Addresses of other devices that answered.
    #[must_use]
    pub fn others(&self) -> Vec<u8> {
        self.others.iter().copied().collect()
    }

    /// Each transfer in the notation in which the simulator's traces are written and programs are played: the wait before it,
    /// a loop of polling as one line, and what was read as `??`.
    #[must_use]
    pub fn notation(&self) -> Vec<String> {
        self.steps.iter().map(Step::notation).collect()
    }

    fn add(&mut self, wait_ns: u64, messages: Vec<Message>) {
        let memory = |control: u8| control >> 4 == 0b1010;
        let elsewhere = messages.iter().filter(|message| message.answered && !memory(message.control));
        self.others.extend(elsewhere.map(|message| message.control >> 1));
        let Some(first) = messages.first().filter(|first| memory(first.control)) else { return };
        // The access before was refused and this one is at the same address: a loop, which ends with the one that is answered.
        if let Some(before) = self.steps.last_mut()
            && before.messages.len() == 1
            && !before.messages[0].answered
            && before.messages[0].control & 0xFE == first.control & 0xFE
            && wait_ns < LOOP_NS
        {
            before.every_ns = Some(before.every_ns.map_or(wait_ns, |every| every.min(wait_ns)));
            before.messages = messages;
            self.polls = true;
            return;
        }
        self.steps.push(Step { wait_ns, messages, every_ns: None });
    }
}

#[derive(Default)]
struct Reader {
    messages: Vec<Message>,
    /// The transfer under way begins so long after the one before.
    wait_ns: u64,
    ended_ns: Option<u64>,
}

impl Reader {
    fn hear(&mut self, event: BusEvent, program: &mut Program) {
        match event {
            BusEvent::Start { at_ns, repeated: false, .. } => {
                self.messages.clear();
                self.wait_ns = self.ended_ns.map_or(0, |ended| at_ns.saturating_sub(ended));
            }
            BusEvent::Byte(byte) => match (byte.role, self.messages.last_mut()) {
                (Role::Address, _) => self.messages.push(Message {
                    control: byte.value,
                    answered: byte.acked,
                    written: Vec::new(),
                    read: Vec::new(),
                }),
                (Role::Written, Some(message)) => message.written.push(byte.value),
                (Role::Read, Some(message)) => message.read.push(byte.value),
                _ => {}
            },
            BusEvent::Stop { at_ns, .. } => {
                self.ended_ns = Some(at_ns);
                let messages = std::mem::take(&mut self.messages);
                if !messages.is_empty() {
                    program.add(self.wait_ns, messages);
                }
            }
            _ => {}
        }
    }
}
