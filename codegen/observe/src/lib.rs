//! What firmware does with a serial I2C EEPROM, told from recordings of the real bus.
//!
//! [`observe`] reads one or more recordings of one board's bus and makes statements about the firmware, the bus and the
//! part, each with how sure it is ([`Certainty`]) and the moments that show it. A statement is *shown* only if the traffic
//! excludes the others; what was not seen is said to be not seen. Memory stays bounded however long a recording is.
//!
//! ```no_run
//! use pagewise_observe::{Input, observe};
//!
//! let inputs = [Input::of("start-up.sr"), Input::of("save.vcd")];
//! let observation = observe(&inputs, &mut |_, _| {})?;
//! let page = observation.property("page_bytes");
//! println!("{} ({:?})", page.value, page.sure);
//! # Ok::<(), pagewise_base::fault::Faults>(())
//! ```

#![forbid(unsafe_code)]

mod blocks;
mod board;
mod crossing;
mod cuts;
mod device;
mod input;
mod memory;
mod observer;
mod pointers;
mod program;
mod program_run;
pub mod property;
mod report;
mod spans;
mod stats;
mod timing;
mod view;
mod waits;

pub use board::{Firmware, board_file, firmware};
pub use input::{Channels, Input};
pub use program::Program;
pub use property::{Certainty, Moment, Property};

use std::borrow::Cow;
use std::collections::BTreeMap;

use pagewise_base::fault::{Fault, Faults};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Serialize, Serializer};

use observer::Observer;

/// Everything that was told from recordings.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// The recordings, as they were named.
    pub files: Vec<String>,
    /// The statements, in the order in which people read them.
    pub properties: Vec<Property>,
    /// What is worth knowing about the recordings themselves: too few samples, a beginning in mid-transfer, spikes.
    pub remarks: Vec<String>,
}

impl Observation {
    /// A statement by its name.
    ///
    /// # Panics
    /// If there is no statement of this name.
    #[must_use]
    pub fn property(&self, name: &str) -> &Property {
        let found = self.properties.iter().find(|property| property.name == name);
        found.unwrap_or_else(|| panic!("no property {name}"))
    }
}

/// One object keyed by property, with `files` and `remarks` beside.
impl Serialize for Observation {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map: BTreeMap<&str, serde_json::Value> = BTreeMap::new();
        let value = |property: &Property| serde_json::to_value(property).unwrap_or_default();
        map.extend(self.properties.iter().map(|property| (property.name, value(property))));
        map.insert("files", self.files.clone().into());
        map.insert("remarks", self.remarks.clone().into());
        serializer.collect_map(map)
    }
}

impl JsonSchema for Observation {
    fn schema_name() -> Cow<'static, str> {
        "Observation".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let (texts, property) = (generator.subschema_for::<Vec<String>>(), generator.subschema_for::<Property>());
        json_schema!({
            "type": "object",
            "required": ["files", "remarks"],
            "properties": { "files": texts, "remarks": texts },
            "additionalProperties": property,
        })
    }
}

/// Reads recordings of one board's bus, in the order given. `progress` is told now and then which recording is being read
/// and how much of it has been, from 0 to 1.
///
/// # Errors
/// Every recording that cannot be read or carries no I2C, and why.
pub fn observe(inputs: &[Input], progress: &mut dyn FnMut(usize, f64)) -> Result<Observation, Faults> {
    let mut faults = Faults::default();
    let mut opened = Vec::new();
    for input in inputs {
        match input.open() {
            Ok(found) => opened.push(found),
            Err(fault) => faults.0.push(fault),
        }
    }
    if inputs.is_empty() {
        faults.0.push(Fault::of_file("RECORDING", "no recording was named", "name at least one"));
    }
    faults.or_ok(())?;
    let mut observer = Observer::default();
    for (file, (recording, bus)) in opened.iter().enumerate() {
        observer.begin(recording.file());
        let mut told = |share| progress(file, share);
        observer.read(file, recording, bus, &mut told).map_err(|error| Faults::from(input::fault(&error)))?;
    }
    Ok(observer.finish())
}
