//! What the documentation of each method says: the line on the wire, errors, what a power cut leaves, and for async
//! ones what a dropped call leaves. The lines of both drivers are held against what their calls send.
#![cfg(all(feature = "async", feature = "records", feature = "storage", feature = "io"))]

use std::cell::RefCell;
use std::fmt::Write as _;
use std::path::Path;
use std::rc::Rc;

use crate::common::KBIT_32 as PART;
use crate::common::at_once::now;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use pagewise_driver::{
    AsyncEeprom, AsyncMemory, Chips, Eeprom, Irreversible, Lock, Memory, Options, Protected, Region, RegionAccess,
    RegionParameters, Trust, WriteProtectTiming,
};

/// A method with its documentation.
struct Method {
    file: &'static str,
    name: String,
    is_async: bool,
    text: String,
}

impl Method {
    /// The wire lines that its documentation shows, in order.
    fn lines(&self) -> Vec<String> {
        let (_, rest) = self.text.split_once("**On the wire**").unwrap_or_default();
        let bullet = rest.split("\n- **").next().unwrap();
        let spans = bullet.split('`').skip(1).step_by(2);
        spans
            .filter(|span| span.starts_with("S "))
            .map(|span| span.split_whitespace().collect::<Vec<_>>().join(" "))
            .collect()
    }
}

const FILES: [&str; 10] = [
    "blocking.rs",
    "blocking/region.rs",
    "asynch.rs",
    "asynch/region.rs",
    "storage.rs",
    "storage/asynch.rs",
    "io.rs",
    "io/asynch.rs",
    "records/store.rs",
    "records/asynch.rs",
];

/// Files of traits of other crates, whose methods are not `pub`.
const ADAPTERS: [&str; 4] = ["storage.rs", "storage/asynch.rs", "io.rs", "io/asynch.rs"];

/// The methods of a file that may reach the bus: public ones, and those of the traits that adapters implement.
fn methods(file: &'static str) -> Vec<Method> {
    let source = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(file)).unwrap();
    let adapter = ADAPTERS.contains(&file);
    let (mut found, mut text) = (Vec::new(), String::new());
    let mut lines = source.lines().map(str::trim);
    while let Some(line) = lines.next() {
        if let Some(doc) = line.strip_prefix("///") {
            writeln!(text, "{}", doc.strip_prefix(' ').unwrap_or(doc)).unwrap();
            continue;
        }
        let mut signature = line.to_owned();
        while line.contains("fn ") && !signature.contains('{') {
            signature.push_str(lines.next().unwrap());
        }
        let starts = ["pub fn ", "pub async fn "].iter().any(|start| line.starts_with(start))
            || adapter && ["fn ", "async fn "].iter().any(|start| line.starts_with(start));
        if starts && signature.contains("&mut self") && signature.contains("-> Result<") {
            let name = signature.split_once("fn ").unwrap().1.split(['(', '<']).next().unwrap().to_owned();
            let is_async = signature.contains("async fn ");
            found.push(Method { file, name, is_async, text: std::mem::take(&mut text) });
        }
        if !line.starts_with("#[") {
            text.clear();
        }
    }
    found
}

#[test]
fn every_method_says_what_goes_over_the_wire_what_fails_and_what_a_cut_leaves() {
    let (mut count, mut lacking) = (0, Vec::new());
    for Method { file, name, is_async, text } in FILES.into_iter().flat_map(methods) {
        count += 1;
        for wanted in ["- **On the wire**", "- **Power loss**: ", "- **Cancelled**: ", "# Errors\n\n"] {
            if text.contains(wanted) != (is_async || !wanted.contains("Cancelled")) {
                lacking.push(format!("{file}: {name}: {wanted:?}"));
            }
        }
    }
    assert!(lacking.is_empty(), "{lacking:#?}");
    assert!(count > 45, "only {count} methods found");
}

fn identification() -> Region {
    Region::try_new(RegionParameters {
        device_address: 0x58,
        word_address_bytes: 2,
        word_address: 0,
        length_bytes: 32,
        page_bytes: 32,
        access: RegionAccess::Lockable(Lock { device_address: 0x58, word_address: 0x0400, data: 0x02 }),
    })
    .unwrap()
}

/// Writes down what is sent. Reads give AB CD; after data nobody answers once.
#[derive(Debug, Clone, Default)]
struct Scribe(Rc<RefCell<(Vec<String>, bool)>>);

impl Scribe {
    fn note(&self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let (lines, busy) = &mut *self.0.borrow_mut();
        if std::mem::take(busy) {
            lines.push(format!("S {address:02X}W- P"));
            return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
        }
        let mut line = String::new();
        for operation in operations {
            line += if line.is_empty() { "S" } else { " Sr" };
            match operation {
                Operation::Write(bytes) => {
                    write!(line, " {address:02X}W+").unwrap();
                    bytes.iter().for_each(|byte| write!(line, " {byte:02X}+").unwrap());
                    *busy = bytes.len() > 2;
                }
                Operation::Read(bytes) => {
                    write!(line, " {address:02X}R+").unwrap();
                    let last = bytes.len() - 1;
                    for (index, byte) in bytes.iter_mut().enumerate() {
                        *byte = [0xAB, 0xCD][index % 2];
                        write!(line, " {byte:02X}{}", if index == last { '-' } else { '+' }).unwrap();
                    }
                }
            }
        }
        lines.push(line + " P");
        Ok(())
    }
}

impl ErrorType for Scribe {
    type Error = ErrorKind;
}

impl I2c for Scribe {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        self.note(address, operations)
    }
}

impl embedded_hal_async::i2c::I2c for Scribe {
    async fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        self.note(address, operations)
    }
}

/// It does not matter here where it goes.
struct Pin;

impl embedded_hal::digital::ErrorType for Pin {
    type Error = std::convert::Infallible;
}

impl embedded_hal::digital::OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}

/// Time does not matter here.
struct Clock;

impl DelayNs for Clock {
    fn delay_ns(&mut self, _: u32) {}
}

impl embedded_hal_async::delay::DelayNs for Clock {
    async fn delay_ns(&mut self, _: u32) {}
}

/// The same call of the blocking and the async driver.
macro_rules! both {
    ($blocking:ident, $asynch:ident, $call:ident($($argument:expr),*)) => {{
        $blocking.$call($($argument),*).unwrap();
        now($asynch.$call($($argument),*)).unwrap();
    }};
}

/// Everything was stored completely.
fn all() -> Trust {
    let mut trust = Trust::new();
    trust.add(0, usize::MAX);
    trust
}

/// The lines of the method are those that both have sent.
fn same(method: &Method, scribes: [Scribe; 2]) {
    let sent = scribes.map(|scribe| scribe.0.take().0);
    assert_eq!(sent[0], sent[1], "{}: {}", method.file, method.name);
    let (mut shown, mut sent) = (method.lines(), sent[0].clone());
    // In the order of the text, which may name a refusal first.
    shown.sort();
    sent.sort();
    assert_eq!(shown, sent, "{}: {}", method.file, method.name);
}

#[test]
fn the_lines_in_the_documentation_are_what_the_calls_send() {
    let region = identification();
    let files = ["blocking.rs", "blocking/region.rs", "asynch.rs", "asynch/region.rs"];
    let methods: Vec<Method> = files.into_iter().flat_map(methods).collect();
    for method in &methods {
        let scribes = [Scribe::default(), Scribe::default()];
        let mut eeprom = Eeprom::<_, _, 34>::new(scribes[0].clone(), Clock, PART, Options::new());
        let mut asynch = AsyncEeprom::<_, _, 34>::new(scribes[1].clone(), Clock, PART, Options::new());
        match method.name.as_str() {
            "read" => both!(eeprom, asynch, read(0x0123, &mut [0; 2])),
            "write" => both!(eeprom, asynch, write(0x0123, &[0xAB, 0xCD])),
            "write_verified" => both!(eeprom, asynch, write_verified(0x0123, &[0xAB, 0xCD])),
            "fill" => both!(eeprom, asynch, fill(0x0123, 2, 0xAB)),
            "compare" => both!(eeprom, asynch, compare(0x0123, &[0xAB, 0xCD])),
            "update" => both!(eeprom, asynch, update(0x0123, &[0x12, 0x34], &mut all())),
            "update_trusting" => both!(eeprom, asynch, update_trusting(0x0123, &[0x12, 0x34])),
            "current_address_read" => both!(eeprom, asynch, current_address_read(&mut [0; 2])),
            "wait_ready" => {
                scribes.iter().for_each(|scribe| scribe.0.borrow_mut().1 = true);
                both!(eeprom, asynch, wait_ready());
            }
            "read_region" => both!(eeprom, asynch, read_region(&region, 0, &mut [0; 2])),
            "write_region" => both!(eeprom, asynch, write_region(&region, 0, &[0xAB, 0xCD])),
            "lock_region" => {
                let token = Irreversible::i_know_that_this_cannot_be_undone;
                both!(eeprom, asynch, lock_region(&region, token()));
            }
            other => panic!("{other} has no call here"),
        }
        same(method, scribes);
    }
    assert_eq!(methods.len(), 24);
}

/// The wire lines of several chips stand in one list, in the documentation of the type: a row for each verb or two.
fn rows_of_chips() -> Vec<Method> {
    let source = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/chips.rs")).unwrap();
    let (_, rest) = source.split_once("/// # On the wire\n").unwrap();
    let list = rest.split("/// # Examples").next().unwrap().replace("/// ", "").replace("///", "");
    let mut found = Vec::new();
    for row in list.split("\n- ").skip(1) {
        let (names, lines) = row.split_once(':').unwrap();
        let text = format!("**On the wire**: {lines}");
        for name in names.split('`').skip(1).step_by(2) {
            found.push(Method { file: "chips.rs", name: name.into(), is_async: false, text: text.clone() });
        }
    }
    found
}

#[test]
fn the_lines_of_several_chips_are_what_the_calls_send() {
    let methods = rows_of_chips();
    for method in &methods {
        let scribes = [Scribe::default(), Scribe::default()];
        let eeprom = Eeprom::<_, _, 34>::new(scribes[0].clone(), Clock, PART, Options::new());
        let asynch = AsyncEeprom::<_, _, 34>::new(scribes[1].clone(), Clock, PART, Options::new());
        let (mut chips, mut asynch) =
            (Chips::new(eeprom, [0x50, 0x51]).unwrap(), Chips::new(asynch, [0x50, 0x51]).unwrap());
        match method.name.as_str() {
            "read" => both!(chips, asynch, read(0x0FFF, &mut [0; 2])),
            "write" => both!(chips, asynch, write(0x0FFF, &[0xAB, 0xCD])),
            // A read of one byte gives AB.
            "write_verified" => both!(chips, asynch, write_verified(0x0FFF, &[0xAB, 0xAB])),
            "fill" => both!(chips, asynch, fill(0x0FFF, 2, 0xAB)),
            "compare" => both!(chips, asynch, compare(0x0FFF, &[0xAB, 0xAB])),
            "update" => both!(chips, asynch, update(0x0FFF, &[0x12, 0x34], &mut all())),
            "update_trusting" => both!(chips, asynch, update_trusting(0x0FFF, &[0x12, 0x34])),
            "wait_ready" => {
                scribes.iter().for_each(|scribe| scribe.0.borrow_mut().1 = true);
                both!(chips, asynch, wait_ready());
            }
            other => panic!("{other} has no call here"),
        }
        same(method, scribes);
    }
    assert_eq!(methods.len(), 8);
}

/// Behind a WP pin the calls are those of the driver, and the pin is low around those that write.
#[test]
fn a_wp_pin_adds_nothing_on_the_wire() {
    let scribes = [Scribe::default(), Scribe::default()];
    let mut plain = Eeprom::<_, _, 34>::new(scribes[0].clone(), Clock, PART, Options::new());
    let eeprom = Eeprom::<_, _, 34>::new(scribes[1].clone(), Clock, PART, Options::new());
    let mut guarded = Protected::new::<ErrorKind>(eeprom, Pin, WriteProtectTiming::new()).unwrap();
    fn work(memory: &mut impl Memory) {
        memory.read(0x0123, &mut [0; 2]).unwrap();
        memory.write(0x0123, &[0xAB, 0xCD]).unwrap();
        memory.write_verified(0x0123, &[0xAB, 0xCD]).unwrap();
        memory.fill(0x0123, 2, 0xAB).unwrap();
        memory.compare(0x0123, &[0xAB, 0xCD]).unwrap();
        memory.update(0x0123, &[0x12, 0x34], &mut all()).unwrap();
        memory.update_trusting(0x0123, &[0x12, 0x34]).unwrap();
        memory.wait_ready().unwrap();
    }
    work(&mut plain);
    work(&mut guarded);
    let sent = scribes.map(|scribe| scribe.0.take().0);
    assert_eq!(sent[0], sent[1]);
    assert!(sent[0].len() > 12, "{sent:?}");
}

#[test]
fn the_adapters_show_the_lines_of_the_calls_that_they_make() {
    let drivers = methods("blocking.rs");
    let mut compared = 0;
    for method in ADAPTERS.into_iter().flat_map(methods) {
        let called = match method.name.as_str() {
            "flush" => "wait_ready",
            // Whole units of 0xFF, which are no example; and what sends nothing.
            "erase" | "seek" => continue,
            name => name,
        };
        let driver = drivers.iter().find(|driver| driver.name == called).expect(called);
        assert_eq!(method.lines(), driver.lines(), "{}: {}", method.file, method.name);
        compared += 1;
    }
    // Any offset, and the flash: two methods each, twice; three of the cursor, twice.
    assert_eq!(compared, 2 * 4 + 2 * 3);
}
