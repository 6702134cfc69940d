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
    file: &'a str,
    upper: String,
    #[serde(flatten)]
    contents: &'a Contents,
}

/// The C driver for a request: `NAME.h` and `NAME.c`, which belong into one folder.
///
/// # Errors
/// As [`rust::configuration`]; a name that [`prefix`] refuses.
pub fn driver(request: &Request<'_>) -> Result<Generated, Faults> {
    driver_in(request, request.module.as_deref().unwrap_or(PREFIX))
}

/// The same in files of another name: `FILE.h` and `FILE.c`.
///
/// # Errors
/// Those of [`driver`]; a name that [`file_stem`] refuses.
pub fn driver_in(request: &Request<'_>, file: &str) -> Result<Generated, Faults> {
    let contents = Contents::of(request)?;
    let name = request.module.as_deref().unwrap_or(PREFIX);
    let name = prefix(name).map_err(|reason| Fault::of_file("the name", reason, "choose another"))?;
    let stem = file_stem(file).map_err(|reason| Fault::of_file("the file", reason, "choose another"))?;
    let named = Named { upper: name.to_uppercase(), name: &name, file: &stem, contents: &contents };
    let mut source = render("c_driver.c.tera", &named);
    if contents.candidates {
        source += &render("c_choose.c.tera", &named);
    }
    if !contents.regions.is_empty() {
        source += &render("c_regions.c.tera", &named);
    }
    let file = |ending: &str, text| Source { name: format!("{stem}.{ending}"), text };
    let files = vec![file("h", render("c_driver.h.tera", &named)), file("c", source)];
    Ok(contents.into_generated(files))
}

const HEADERS: &str = " assert complex ctype errno fenv float inttypes iso646 limits locale math setjmp signal stdarg \
    stdbool stddef stdint stdio stdlib string tgmath time wchar wctype ";

/// What a driver's header and source may be called, without the ending.
///
/// # Errors
/// Why they cannot be called so: characters that an `#include` may not hold everywhere, or the name of a header of the
/// standard library.
pub fn file_stem(name: &str) -> Result<String, String> {
    if name.is_empty() || !name.chars().all(|c| c.is_ascii_alphanumeric() || "_-.".contains(c)) {
        return Err(format!("`{name}` is not a file name for #include; use letters, digits, _, - and ."));
    }
    if HEADERS.contains(&format!(" {name} ")) {
        return Err(format!("`{name}.h` is a header of the C library; use another name"));
    }
    Ok(name.to_owned())
}

/// What all names of a driver begin with, and where nobody named them its files.
///
/// # Errors
/// Why it cannot be that: other characters than in a Rust module's name, or a header of the standard library's name.
pub fn prefix(name: &str) -> Result<String, String> {
    file_stem(&rust::module_name(name)?)
}
