//! Every combination of features builds, with warnings as errors.

use std::process::Command;

const FEATURES: [&str; 6] = ["async", "defmt", "storage", "io", "records", "sources"];

#[test]
#[ignore = "64 builds; run with --ignored"]
fn every_combination_of_features_builds() {
    for combination in 0..1u32 << FEATURES.len() {
        let chosen = |(bit, name): (usize, &&'static str)| (combination >> bit & 1 == 1).then_some(*name);
        let features = FEATURES.iter().enumerate().filter_map(chosen).collect::<Vec<_>>().join(",");
        let output = Command::new(env!("CARGO"))
            .args(["check", "--quiet", "--lib", "--offline", "--features", &features])
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .env("CARGO_TARGET_DIR", concat!(env!("CARGO_TARGET_TMPDIR"), "/features"))
            .env("RUSTFLAGS", "-D warnings")
            .output()
            .unwrap();
        assert!(output.status.success(), "[{features}]\n{}", String::from_utf8_lossy(&output.stderr));
    }
}
