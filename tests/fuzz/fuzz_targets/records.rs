#![no_main]

#[path = "../bodies/records.rs"]
mod records;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Err(reason) = records::run(bytes) {
        panic!("{reason}");
    }
});
