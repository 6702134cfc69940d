//! This crate's own files as text (feature `sources`): for programs that write a driver for others to build. Firmware has
//! no use for them.

/// The crate's manifest, `Cargo.toml`: as it stands in the archive of a published crate, or in the project's folder. It
/// takes nothing but `dev-dependencies` and `lints` from a workspace.
pub const MANIFEST: &str = include_str!("../Cargo.toml");

/// Every other file that a copy of the crate needs, its path from the crate's folder with slashes, and its text: sources,
/// README, licences. In the order of the paths.
///
/// ```
/// let (path, text) = pagewise_driver::sources::FILES[0];
/// assert_eq!(path, "LICENSE-APACHE");
/// assert!(text.contains("Apache License"));
/// ```
pub const FILES: &[(&str, &str)] = &[
    ("LICENSE-APACHE", include_str!("../LICENSE-APACHE")),
    ("LICENSE-MIT", include_str!("../LICENSE-MIT")),
    ("README.md", include_str!("../README.md")),
    ("src/address.rs", include_str!("address.rs")),
    ("src/asynch.rs", include_str!("asynch.rs")),
    ("src/asynch/region.rs", include_str!("asynch/region.rs")),
    ("src/blocking.rs", include_str!("blocking.rs")),
    ("src/blocking/region.rs", include_str!("blocking/region.rs")),
    ("src/chips.rs", include_str!("chips.rs")),
    ("src/chips/asynch.rs", include_str!("chips/asynch.rs")),
    ("src/choose.rs", include_str!("choose.rs")),
    ("src/choose/asynch.rs", include_str!("choose/asynch.rs")),
    ("src/choose/candidate.rs", include_str!("choose/candidate.rs")),
    ("src/choose/plan.rs", include_str!("choose/plan.rs")),
    ("src/chunk.rs", include_str!("chunk.rs")),
    ("src/common.rs", include_str!("common.rs")),
    ("src/error.rs", include_str!("error.rs")),
    ("src/geometry.rs", include_str!("geometry.rs")),
    ("src/geometry/error.rs", include_str!("geometry/error.rs")),
    ("src/io.rs", include_str!("io.rs")),
    ("src/io/asynch.rs", include_str!("io/asynch.rs")),
    ("src/lib.rs", include_str!("lib.rs")),
    ("src/memory.rs", include_str!("memory.rs")),
    ("src/memory/asynch.rs", include_str!("memory/asynch.rs")),
    ("src/options.rs", include_str!("options.rs")),
    ("src/plan.rs", include_str!("plan.rs")),
    ("src/plan/limits.rs", include_str!("plan/limits.rs")),
    ("src/plan/pace.rs", include_str!("plan/pace.rs")),
    ("src/plan/state.rs", include_str!("plan/state.rs")),
    ("src/plan/step.rs", include_str!("plan/step.rs")),
    ("src/protect.rs", include_str!("protect.rs")),
    ("src/protect/asynch.rs", include_str!("protect/asynch.rs")),
    ("src/records.rs", include_str!("records.rs")),
    ("src/records/async_medium.rs", include_str!("records/async_medium.rs")),
    ("src/records/asynch.rs", include_str!("records/asynch.rs")),
    ("src/records/error.rs", include_str!("records/error.rs")),
    ("src/records/layout.rs", include_str!("records/layout.rs")),
    ("src/records/medium.rs", include_str!("records/medium.rs")),
    ("src/records/plan.rs", include_str!("records/plan.rs")),
    ("src/records/store.rs", include_str!("records/store.rs")),
    ("src/recovery.rs", include_str!("recovery.rs")),
    ("src/region.rs", include_str!("region.rs")),
    ("src/shell.rs", include_str!("shell.rs")),
    ("src/sources.rs", include_str!("sources.rs")),
    ("src/storage.rs", include_str!("storage.rs")),
    ("src/storage/asynch.rs", include_str!("storage/asynch.rs")),
    ("src/storage/multiwrite.rs", include_str!("storage/multiwrite.rs")),
    ("src/storage/multiwrite/asynch.rs", include_str!("storage/multiwrite/asynch.rs")),
    ("src/trust.rs", include_str!("trust.rs")),
];
