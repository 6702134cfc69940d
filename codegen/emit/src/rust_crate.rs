//! Rust: a whole driver as a folder, a crate with the configuration and in it the driver's own sources, unchanged, so
//! that nothing of this project is needed to build it.

use std::fs;
use std::path::Path;

use serde::Serialize;
use toml::Table;

use super::{Generated, Request, Source, c, rust};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::paint::plain;
use pagewise_driver::sources::{FILES, MANIFEST};
use pagewise_templates::render;

/// What a driver's manifest says of its package that means something in a folder of sources, too.
const OF_PACKAGE: [&str; 6] = ["description", "version", "edition", "rust-version", "license", "authors"];

/// By this a folder is known as one that was generated.
const MARK: &str = "# Written by Pagewise ";

/// A line of a manifest.
#[derive(Serialize)]
struct Entry {
    name: String,
    /// As TOML writes it.
    value: String,
}

#[derive(Serialize)]
struct Manifests<'a> {
    version: &'a str,
    digest: &'a str,
    name: &'a str,
    candidates: bool,
    package: Vec<Entry>,
    /// Those of the driver's package that the crate around it must share.
    shared: Vec<Entry>,
    features: Vec<Entry>,
    dependencies: Vec<Entry>,
    embedded_hal: String,
}

/// The folder for a request, named like the crate in it: each file with its path from the folder, with slashes.
///
/// # Errors
/// As [`rust::configuration`]; a name that [`crate_name`] refuses.
pub fn driver(request: &Request<'_>) -> Result<Generated, Faults> {
    let name = request.module.as_deref().unwrap_or(c::PREFIX);
    let name = crate_name(name).map_err(|reason| Fault::of_file("the name", reason, "choose another"))?;
    let mut generated = rust::in_crate(&Request { module: None, ..request.clone() })?;
    let manifests = manifests(&name, &generated.digest, request.choose.is_some());
    let source = |name: &str, text: String| Source { name: name.into(), text };
    let part = generated.files.remove(0).text;
    generated.files = vec![
        source("Cargo.toml", render("rust_crate_manifest.toml.tera", &manifests)),
        source("src/lib.rs", render("rust_crate_lib.rs.tera", &manifests)),
        source("src/part.rs", part),
        source("driver/Cargo.toml", render("rust_crate_driver.toml.tera", &manifests)),
    ];
    generated.files.extend(FILES.iter().map(|(path, text)| source(&format!("driver/{path}"), (*text).into())));
    Ok(generated)
}

/// What the crate is called.
///
/// # Errors
/// Why it cannot be that: other characters than in a module's name, or the name of a crate that is there already.
pub fn crate_name(name: &str) -> Result<String, String> {
    const TAKEN: [&str; 7] = ["alloc", "core", "embedded_hal", "pagewise_driver", "proc_macro", "std", "test"];
    let name = rust::module_name(name)?;
    if TAKEN.contains(&name.as_str()) {
        return Err(format!("`{name}` is another crate's name; use another name"));
    }
    Ok(name)
}

/// Whether a folder may be written: it is missing, empty, or was generated before.
///
/// # Errors
/// It holds something else, which is not to be overwritten; it cannot be read.
pub fn check_folder(folder: &Path) -> Result<(), Fault> {
    let shown = plain(&folder.display().to_string());
    let empty = match fs::read_dir(folder) {
        Ok(mut entries) => entries.next().is_none(),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => true,
        Err(error) => {
            let reason = format!("cannot be read: {error}");
            return Err(Fault::of_file(&shown, reason, "name a new or an empty folder"));
        }
    };
    let ours = || fs::read(folder.join("Cargo.toml")).is_ok_and(|text| text.starts_with(MARK.as_bytes()));
    if empty || ours() {
        return Ok(());
    }
    let reason = "holds files that were not generated, and might be overwritten";
    Err(Fault::of_file(&shown, reason, "name a new or an empty folder"))
}

/// # Panics
/// Never: the driver offers its manifest, and a test reads it.
fn manifests<'a>(name: &'a str, digest: &'a str, candidates: bool) -> Manifests<'a> {
    let own: Table = MANIFEST.parse().expect("the driver's manifest is TOML");
    let entries = |section: &str| -> Vec<Entry> {
        let table = own[section].as_table().expect("a section is a table");
        table.iter().map(|(name, value)| Entry { name: name.clone(), value: value.to_string() }).collect()
    };
    let dependencies = entries("dependencies");
    let hal = dependencies.iter().find(|found| found.name == "embedded-hal").expect("the driver's one dependency");
    let mut package = entries("package");
    package.retain(|field| OF_PACKAGE.contains(&field.name.as_str()));
    let mut shared = entries("package");
    shared.retain(|field| ["edition", "rust-version"].contains(&field.name.as_str()));
    Manifests {
        version: env!("CARGO_PKG_VERSION"),
        digest,
        name,
        candidates,
        package,
        shared,
        features: entries("features"),
        embedded_hal: hal.value.clone(),
        dependencies,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Part;
    use pagewise_part::card::Catalogue;

    #[test]
    fn both_manifests_are_toml_and_say_what_the_driver_s_own_says() {
        let catalogue = Catalogue::embedded().unwrap();
        let request = Request::new(vec![Part::new(catalogue.find("24lc64").unwrap(), [false; 3])]).in_module("memory");
        let generated = driver(&request).unwrap();
        let text = |name: &str| &generated.files.iter().find(|file| file.name == name).unwrap().text;
        for name in ["Cargo.toml", "driver/Cargo.toml", "src/lib.rs", "src/part.rs"] {
            assert!(text(name).contains(&generated.digest) && text(name).contains(env!("CARGO_PKG_VERSION")), "{name}");
        }
        assert!(text("Cargo.toml").starts_with(MARK), "a folder is known as ours");
        let read = |text: &str| text.parse::<Table>().unwrap();
        let [outer, inner, own] = [read(text("Cargo.toml")), read(text("driver/Cargo.toml")), read(MANIFEST)];
        assert_eq!(outer["package"]["name"].as_str(), Some("memory"));
        assert_eq!(inner["package"]["name"].as_str(), Some("memory-driver"));
        assert_eq!(inner["lib"]["name"].as_str(), Some("pagewise_driver"));
        assert_eq!(outer["dependencies"]["pagewise-driver"]["package"], inner["package"]["name"]);
        assert_eq!(inner["features"], own["features"]);
        let names =
            |table: &Table, section: &str| table[section].as_table().unwrap().keys().cloned().collect::<Vec<_>>();
        assert_eq!(names(&outer, "features"), names(&own, "features"));
        assert_eq!(names(&inner, "dependencies"), names(&own, "dependencies"));
        assert!(!text("Cargo.toml").contains("workspace") && !text("driver/Cargo.toml").contains("workspace"));
    }

    #[test]
    fn names_that_another_crate_has_are_refused() {
        assert_eq!(crate_name("memory_2"), Ok("memory_2".into()));
        for name in ["std", "core", "pagewise_driver", "embedded_hal", "a-b", "", "mod"] {
            assert!(crate_name(name).is_err(), "{name}");
        }
    }
}
