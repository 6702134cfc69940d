//! Bodies of the fuzz targets (`tests/fuzz`): bytes in, a property that must hold for whatever they mean.
//!
//! They are ordinary functions, so that the same bodies run on seeded bytes in `tests/tests/it/fuzz_smoke.rs`, on a machine
//! that has no fuzzer. They need driver and simulator only, so that a fuzzer has little to build.

#[path = "../fuzz/bodies/planner.rs"]
pub mod planner;
#[path = "../fuzz/bodies/records.rs"]
pub mod records;
#[path = "../fuzz/bodies/rig.rs"]
pub mod rig;
