//! The simulator by itself, one module per rule book or instrument.

mod against_reference;
mod at_the_pins;
mod bit_rules;
mod bus_layers;
mod bus_rules;
mod commands;
mod common;
mod comparison;
mod corners;
mod correct_programs;
mod course;
mod detectors;
#[cfg(any(feature = "door", feature = "json"))]
mod door;
mod every_hazard;
mod exhaustive;
mod explanations;
mod explore;
mod fast_path;
mod faults;
mod incidents;
mod layer_agreement;
mod looking;
mod model_regions;
mod models;
mod observer;
mod programs;
mod protect_rules;
mod published_regions;
mod quirks;
mod read_rules;
mod real_parts;
#[cfg(feature = "recording")]
mod recording;
mod reference;
mod regions;
mod running_wire;
mod short_way;
mod step_bus;
#[cfg(feature = "json")]
mod stored_data;
mod supply_rules;
mod timing_rules;
mod torn_rules;
mod trace_forms;
mod traces;
mod wear_rules;
mod wire_agreement;
mod wire_rules;
mod words;
mod write_rules;
