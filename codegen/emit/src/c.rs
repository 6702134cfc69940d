//! C: a whole driver in C99, header and source, that executes the same plan as the Rust driver.

use serde::Serialize;

use super::contents::Contents;
use super::{Generated, Request, Source, rust};
use pagewise_base::fault::{Fault, Faults};
use pagewise_templates::render;

/// What names begin with where nobody chose anything.
pub const PREFIX: &str = "eeprom";

#[derive(Serialize)]
struct Named<'a> {
    name: &'a str,
    upper: String,
    #[serde(flatten)]
    contents: &'a Contents,
}

/// The C driver for a request: `NAME.h` and `NAME.c`, which belong into one folder.
///
/// # Errors
/// As [`rust::configuration`]; a name that [`prefix`] refuses.
pub fn driver(request: &Request<'_>) -> Result<Generated, Faults> {
    let contents = Contents::of(request)?;
    let name = request.module.as_deref().unwrap_or(PREFIX);
    let name = prefix(name).map_err(|reason| Fault::of_file("the name", reason, "choose another"))?;
    let named = Named { upper: name.to_uppercase(), name: &name, contents: &contents };
    let mut source = render("c_driver.c.tera", &named);
    if !contents.regions.is_empty() {
        source.truncate(source.trim_end().len());
        source += &render("c_regions.c.tera", &named);
    }
    let file = |ending: &str, text| Source { name: format!("{name}.{ending}"), text };
    let files = vec![file("h", render("c_driver.h.tera", &named)), file("c", source)];
    Ok(contents.into_generated(files))
}

/// What all names of a driver begin with, and its files are called.
///
/// # Errors
/// Why it cannot be that: other characters than in a Rust module's name, or a header of the standard library's name.
pub fn prefix(name: &str) -> Result<String, String> {
    const HEADERS: &str = " assert complex ctype errno fenv float inttypes iso646 limits locale math setjmp signal stdarg \
        stdbool stddef stdint stdio stdlib string tgmath time wchar wctype ";
    let name = rust::module_name(name)?;
    if HEADERS.contains(&format!(" {name} ")) {
        return Err(format!("`{name}.h` is a header of the C library; use another name"));
    }
    Ok(name)
}
