//! The build.rs of a firmware that takes its driver configuration from Pagewise: two parts may be fitted, and a layout says
//! what is kept where. In the firmware's Cargo.toml stands `[build-dependencies] pagewise = "0.1"`, and its source has
//!
//! ```text
//! include!(concat!(env!("OUT_DIR"), "/part.rs"));
//! ```

use std::env;
use std::error::Error;
use std::path::Path;

use pagewise_base::disk;
use pagewise_content::layout;
use pagewise_emit::{Part, Request, rust};
use pagewise_part::card::Catalogue;

fn main() {
    // Shown with one line per fault: what, where, why, what to do.
    if let Err(error) = generate() {
        eprintln!("{error}");
        std::process::exit(1);
    }
}

fn generate() -> Result<(), Box<dyn Error>> {
    println!("cargo::rerun-if-changed=layout.toml");
    let catalogue = Catalogue::embedded()?;
    let layout = layout::read(Path::new("layout.toml"))?;
    let mut parts = Vec::new();
    for name in ["24LC32A", "24LC64"] {
        // All address pins tied to ground.
        parts.push(Part::new(catalogue.find(name).ok_or(name)?, [false; 3]));
    }
    let request = Request::new(parts).with_layout(&layout).in_module("part");
    let generated = rust::configuration(&request)?;
    for cost in &generated.costs {
        println!("cargo::warning={cost}");
    }
    let out = env::var_os("OUT_DIR").ok_or("OUT_DIR is not set")?;
    disk::replace(&Path::new(&out).join("part.rs"), &generated.files[0].text)?;
    Ok(())
}
