#![no_main]

#[path = "../bodies/planner.rs"]
mod planner;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Err(reason) = planner::run(bytes) {
        panic!("{reason}");
    }
});
