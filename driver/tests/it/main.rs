//! The driver on a small chip that behaves, and what its documentation promises. What needs the simulated device is in the
//! `tests` room.

#![allow(clippy::incompatible_msrv, reason = "the tests run with the workspace's own toolchain")]

mod common;

mod asynch;
mod behaviour;
mod breaks;
mod bus_recovery;
mod chips;
mod choice;
mod common_geometry;
mod features;
mod flash_queue;
mod geometry;
mod learning;
mod method_docs;
mod pins;
mod plan_outcomes;
mod planner;
mod protect;
mod record_media;
mod records;
mod references;
mod regions;
mod second_source;
mod sources;
mod traits;
mod trust;
mod words;
