//! What the documentation of each method says: the line on the wire, errors, what a power cut leaves, and for async
//! ones what a dropped call leaves. The lines of both drivers are held against what their calls send.
#![cfg(all(feature = "async", feature = "records", feature = "storage", feature = "io"))]

use std::cell::RefCell;
use std::fmt::Write as _;
use std::path::Path;
use std::rc::Rc;

use crate::common::at_once::now;
use crate::common::{KBIT_32 as PART, Pin};

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

const FILES: [&str; 12] = [
    "memory.rs",
    "memory/asynch.rs",
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

/// Files of traits and of what implements those of other crates, whose methods are not `pub`.
const TRAITS: [&str; 6] = ["memory.rs", "memory/asynch.rs", "storage.rs", "storage/asynch.rs", "io.rs", "io/asynch.rs"];

/// The methods of a file that may reach the bus: public ones, and those of the traits that adapters implement.
fn methods(file: &'static str) -> Vec<Method> {
    let source = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(file)).unwrap();
    let is_trait = TRAITS.contains(&file);
    // What only hands on to another memory says nothing of its own.
    let source = source.split("\nimpl<M: ").next().unwrap();
    let (mut found, mut text) = (Vec::new(), String::new());
    let mut lines = source.lines().map(str::trim);
    while let Some(line) = lines.next() {
        if let Some(doc) = line.strip_prefix("///") {
            writeln!(text, "{}", doc.strip_prefix(' ').unwrap_or(doc)).unwrap();
            continue;
        }
        let mut signature = line.to_owned();
        while line.contains("fn ") && !signature.contains(['{', ';']) {
            signature.push_str(lines.next().unwrap());
        }
        let starts = ["pub fn ", "pub async fn "].iter().any(|start| line.starts_with(start))
            || is_trait && ["fn ", "async fn "].iter().any(|start| line.starts_with(start));
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
    let (mut count, mut elsewhere_count, mut lacking) = (0, 0, Vec::new());
    for Method { file, name, is_async, text } in FILES.into_iter().flat_map(methods) {
        count += 1;
        // What stands elsewhere is named and not said again; only what a dropped call leaves may come on top.
        let named = text.lines().next().is_some_and(|line| line.contains("::") && line.contains("[`"));
        let elsewhere = named && !text.contains("**On the wire**");
        elsewhere_count += usize::from(elsewhere);
        for (wanted, demanded) in [
            ("- **On the wire**", !elsewhere),
            ("- **Power loss**: ", !elsewhere),
            ("- **Cancelled**: ", is_async && !text.starts_with("[`AsyncMemory::")),
            ("# Errors\n\n", true),
        ] {
            if text.contains(wanted) != demanded && (demanded || !wanted.contains("Cancelled")) {
                lacking.push(format!("{file}: {name}: {wanted:?}"));
            }
        }
    }
    assert!(lacking.is_empty(), "{lacking:#?}");
    assert!(count > 45, "only {count} methods found");
    assert!(elsewhere_count > 25 && count - elsewhere_count > 20, "{elsewhere_count} of {count} stand elsewhere");
}

fn identification() -> Region {
    Region::try_new(
        RegionParameters::new()
            .with_device_address(0x58)
            .with_word_address_bytes(2)
            .with_length_bytes(32)
            .with_page_bytes(32)
            .with_access(RegionAccess::Lockable(Lock::new(0x58, 0x0400, 0x02))),
    )
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
    let files = ["memory.rs", "blocking.rs", "blocking/region.rs", "asynch/region.rs"];
    let methods: Vec<Method> =
        files.into_iter().flat_map(methods).filter(|method| method.text.contains("**On the wire**")).collect();
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
            "update_suspect" => {
                eeprom.update_suspect(0x0123, &[0xAB, 0xCD]).unwrap();
                now(asynch.update_suspect(0x0123, &[0xAB, 0xCD])).unwrap();
            }
            "lock" => {
                let token = Irreversible::i_know_that_this_cannot_be_undone;
                eeprom.region(identification()).lock(token()).unwrap();
                now(asynch.region(identification()).lock(token())).unwrap();
            }
            other => panic!("{other} has no call here"),
        }
        same(method, scribes);
    }
    assert_eq!(methods.len(), 12);
}

/// The wire lines of what is built of the driver stand in one list, in the documentation of the type: a row for each verb
/// or two.
fn rows(file: &'static str) -> Vec<Method> {
    let source = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(file)).unwrap();
    let (_, rest) = source.split_once("/// # On the wire\n").unwrap();
    let list = rest.split("/// # Examples").next().unwrap().replace("/// ", "").replace("///", "");
    let mut found = Vec::new();
    for row in list.split("\n- ").skip(1) {
        let (names, lines) = row.split_once(": ").or_else(|| row.split_once(":\n")).unwrap();
        let text = format!("**On the wire**: {lines}");
        for name in names.split('`').skip(1).step_by(2) {
            found.push(Method { file, name: name.into(), is_async: false, text: text.clone() });
        }
    }
    found
}

/// Makes the call that a row names with a blocking and an async memory; a read of one byte gives AB.
fn call(
    method: &Method,
    scribes: [Scribe; 2],
    offset: u32,
    bytes: &[u8],
    memory: &mut impl Memory,
    asynch: &mut impl AsyncMemory,
) {
    match method.name.as_str() {
        "read" => both!(memory, asynch, read(offset, &mut [0; 2])),
        "write" => both!(memory, asynch, write(offset, &[0xAB, 0xCD])),
        "write_verified" => both!(memory, asynch, write_verified(offset, bytes)),
        "fill" => both!(memory, asynch, fill(offset, 2, 0xAB)),
        "compare" => both!(memory, asynch, compare(offset, bytes)),
        "update" => both!(memory, asynch, update(offset, &[0x12, 0x34], &mut all())),
        "update_trusting" => both!(memory, asynch, update_trusting(offset, &[0x12, 0x34])),
        "update_suspect" => both!(memory, asynch, update_suspect(offset, &[0xAB, 0xCD])),
        "wait_ready" => {
            scribes.iter().for_each(|scribe| scribe.0.borrow_mut().1 = true);
            both!(memory, asynch, wait_ready());
        }
        other => panic!("{other} has no call here"),
    }
    same(method, scribes);
}

fn pair() -> ([Scribe; 2], Eeprom<Scribe, Clock, 34>, AsyncEeprom<Scribe, Clock, 34>) {
    let scribes = [Scribe::default(), Scribe::default()];
    let eeprom = Eeprom::new(scribes[0].clone(), Clock, PART, Options::new());
    let asynch = AsyncEeprom::new(scribes[1].clone(), Clock, PART, Options::new());
    (scribes, eeprom, asynch)
}

#[test]
fn the_lines_of_several_chips_are_what_the_calls_send() {
    let methods = rows("chips.rs");
    for method in &methods {
        let (scribes, eeprom, asynch) = pair();
        let (mut chips, mut asynch) =
            (Chips::new(eeprom, [0x50, 0x51]).unwrap(), Chips::new(asynch, [0x50, 0x51]).unwrap());
        call(method, scribes, 0x0FFF, &[0xAB, 0xAB], &mut chips, &mut asynch);
    }
    assert_eq!(methods.len(), 9);
}

#[test]
fn the_lines_of_a_region_are_what_the_calls_send() {
    let methods = rows("region.rs");
    for method in &methods {
        let (scribes, mut eeprom, mut asynch) = pair();
        let (mut region, mut asynch) = (eeprom.region(identification()), asynch.region(identification()));
        call(method, scribes, 0, &[0xAB, 0xCD], &mut region, &mut asynch);
    }
    assert_eq!(methods.len(), 9);
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
