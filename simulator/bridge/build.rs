//! Tells a package that carries the library inside where its sources are.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::metadata=root={}", std::env::var("CARGO_MANIFEST_DIR").unwrap_or_default());
}
