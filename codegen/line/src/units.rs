//! The units to be programmed: one image, a folder of images, or a manifest in JSON Lines.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::{fs, iter};

use serde::Deserialize;

use super::wanted::Wanted;
use pagewise_base::fault::{Fault, Faults};
use pagewise_content::image::folder::MANIFEST;
use pagewise_content::image::units::is_reserved;
use pagewise_content::image::{Form, formats};

/// A unit and its image.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unit {
    /// Its name.
    pub name: String,
    /// The image file.
    pub file: String,
    /// What the part is to hold.
    pub wanted: Wanted,
    /// What its manifest says of the part, where it does.
    pub made_for: Option<MadeFor>,
}

/// The parts that an image was made for, any of which may sit there, and where that is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MadeFor {
    /// Identifiers of the cards, as they stand there; at least one.
    pub parts: Vec<String>,
    /// The manifest as the user named it.
    pub manifest: String,
    /// Line of the manifest, from 1.
    pub line: usize,
}

/// A line of a manifest; more fields are allowed.
#[derive(Deserialize)]
struct Entry {
    /// Null for the one image of a layout that takes no values per unit: the file's name then names the unit.
    unit: Option<String>,
    file: PathBuf,
    sha256: String,
    part: Option<String>,
    #[serde(default)]
    also_for: Vec<String>,
}

/// Longest name of a unit.
const NAME_MOST: usize = 120;

/// Reads the units behind a path. A folder is read by its manifest, or else file by file; a unit of a file is called
/// like the file. `named` keeps these units only, or names the unit of a single image.
///
/// # Errors
/// Everything that is wrong with any of them.
pub fn read(path: &Path, named: &[String]) -> Result<Vec<Unit>, Faults> {
    let units = if path.is_dir() {
        let manifest = path.join(MANIFEST);
        if manifest.is_file() { of_manifest(&manifest)? } else { of_folder(path)? }
    } else if path.extension().is_some_and(|extension| extension == "jsonl") {
        of_manifest(path)?
    } else {
        let name = match named {
            [] => stem(path),
            [name] => name.clone(),
            _ => {
                let remedy = "name one unit, or a folder or manifest of images";
                return Err(Fault::of_file("--unit", "one image is for one unit", remedy).into());
            }
        };
        check_name(&name).map_err(|reason| Fault::of_file("--unit", reason, "give another name"))?;
        return Ok(vec![Unit { name, file: path.display().to_string(), wanted: image(path)?, made_for: None }]);
    };
    select(units, named, path)
}

fn select(units: Vec<Unit>, named: &[String], path: &Path) -> Result<Vec<Unit>, Faults> {
    if named.is_empty() {
        return Ok(units);
    }
    let mut faults = Faults::default();
    let mut kept = Vec::new();
    for (place, name) in named.iter().enumerate() {
        if named[..place].contains(name) {
            faults.0.push(Fault::of_file("--unit", format!("names `{name}` twice"), "name each unit once"));
            continue;
        }
        match units.iter().find(|unit| unit.name == *name) {
            Some(unit) => kept.push(unit.clone()),
            None => {
                let reason = format!("there is no unit `{name}`");
                faults.0.push(Fault::of_file(&path.display().to_string(), reason, "check --unit"));
            }
        }
    }
    faults.or_ok(kept)
}

fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned())
}

/// Whether a path names one image, which is the same for every unit, and no folder or manifest of them.
#[must_use]
pub fn is_one_image(path: &Path) -> bool {
    !path.is_dir() && path.extension().is_none_or(|extension| extension != "jsonl")
}

/// Whether a unit may be called that.
///
/// # Errors
/// Why not, in words.
pub fn check_name(name: &str) -> Result<(), String> {
    if name.trim().is_empty() || name.trim() != name {
        return Err("a unit needs a name without blanks around it".into());
    }
    if name.chars().count() > NAME_MOST || name.chars().any(char::is_control) {
        return Err(format!("a unit's name has at most {NAME_MOST} characters and no control characters"));
    }
    if name.ends_with('.') || is_reserved(name) {
        return Err(format!("`{name}` cannot name a file on every system"));
    }
    Ok(())
}

fn of_folder(folder: &Path) -> Result<Vec<Unit>, Faults> {
    let shown = folder.display().to_string();
    let cannot = |error: std::io::Error| Fault::unreadable(&shown, &error);
    let mut paths = Vec::new();
    for entry in fs::read_dir(folder).map_err(cannot)? {
        let path = entry.map_err(cannot)?.path();
        if path.is_file() && Form::of_path(&path).is_some() {
            paths.push(path);
        }
    }
    paths.sort();
    if paths.is_empty() {
        let remedy = format!("images end in .bin, .hex, .srec and the like, a manifest is called {MANIFEST}");
        return Err(Fault::of_file(&shown, "holds no image", remedy).into());
    }
    let mut faults = Faults::default();
    let mut units: Vec<Unit> = Vec::new();
    for path in paths {
        let (name, file) = (stem(&path), path.display().to_string());
        let mut fault = |reason: String| faults.0.push(Fault::of_file(&file, reason, "rename the file"));
        if let Err(reason) = check_name(&name) {
            fault(reason);
        }
        if let Some(other) = units.iter().find(|unit| unit.name == name) {
            fault(format!("unit `{name}` has another image, {}", other.file));
        }
        match image(&path) {
            Ok(wanted) => units.push(Unit { name, file, wanted, made_for: None }),
            Err(more) => faults.0.extend(more.0),
        }
    }
    faults.or_ok(units)
}

fn of_manifest(path: &Path) -> Result<Vec<Unit>, Faults> {
    let shown = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&shown, &error))?;
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut faults = Faults::default();
    let (mut units, mut seen) = (Vec::new(), BTreeMap::new());
    for (index, line) in text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()) {
        let number = index + 1;
        let fault = |field: &str, reason: String, remedy: &str| Fault {
            file: shown.clone(),
            line: number,
            field: field.into(),
            reason,
            remedy: remedy.into(),
        };
        let entry: Entry = match serde_json::from_str(line) {
            Ok(entry) => entry,
            Err(error) => {
                let remedy = "a line is an object with unit, file and sha256";
                faults.0.push(fault("", format!("no entry of a manifest: {error}"), remedy));
                continue;
            }
        };
        let name = entry.unit.unwrap_or_else(|| stem(&entry.file));
        if let Err(reason) = check_name(&name) {
            faults.0.push(fault("unit", reason, "give another name"));
        }
        if let Some(earlier) = seen.insert(name.clone(), number) {
            let reason = format!("`{name}` stands in line {earlier} already");
            faults.0.push(fault("unit", reason, "keep one of them"));
        }
        match image(&folder.join(&entry.file)) {
            Err(more) => faults.0.extend(more.0),
            Ok(wanted) if !wanted.sha256.eq_ignore_ascii_case(&entry.sha256) => {
                let reason = format!("the file's SHA-256 is {}", wanted.sha256);
                faults.0.push(fault("sha256", reason, "the image is not the one that the manifest means"));
            }
            Ok(wanted) => {
                let file = folder.join(&entry.file).display().to_string();
                let made_for = entry.part.map(|part| MadeFor {
                    parts: iter::once(part).chain(entry.also_for).collect(),
                    manifest: shown.clone(),
                    line: number,
                });
                units.push(Unit { name, file, wanted, made_for });
            }
        }
    }
    if units.is_empty() && faults.0.is_empty() {
        faults.0.push(Fault::of_file(&shown, "names no unit", "a line is an object with unit, file and sha256"));
    }
    faults.or_ok(units)
}

/// Reads an image file, of a form told by its extension.
///
/// # Errors
/// It cannot be read, or holds nothing.
pub fn image(path: &Path) -> Result<Wanted, Faults> {
    let shown = path.display().to_string();
    if Form::of_path(path).is_none() && path.exists() {
        let known: Vec<&str> = Form::EXTENSIONS.iter().map(|(word, _)| *word).collect();
        let reason = format!("its extension tells no form of an image; known are {}", known.join(", "));
        return Err(Fault::of_file(&shown, reason, "rename it, or name an image").into());
    }
    let image = formats::read(path, Some(Form::of_path(path).unwrap_or(Form::Bin)))?;
    if image.is_empty() {
        return Err(Fault::of_file(&shown, "the image is empty", "name an image with contents").into());
    }
    let file = fs::read(path).map_err(|error| Fault::unreadable(&shown, &error))?;
    Ok(Wanted::new(image, &file))
}

/// Whether an image fits a part.
///
/// # Errors
/// It does not.
pub fn fits(unit: &Unit, capacity: u32, part: &str) -> Result<(), Fault> {
    let end = unit.wanted.image().end();
    if end <= u64::from(capacity) {
        return Ok(());
    }
    let reason = format!("the image ends at 0x{end:04X}, {part} at 0x{capacity:04X}");
    Err(Fault::of_file(&unit.file, reason, "take a larger part, or an image made for this one"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wanted::digest;

    fn folder() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for (name, byte) in [("TI-1.bin", 1), ("TI-2.bin", 2)] {
            fs::write(folder.path().join(name), [byte; 8]).unwrap();
        }
        folder
    }

    #[test]
    fn names_that_some_system_cannot_hold_are_refused() {
        for bad in ["", " a", "a\n", "CON", "nul", "Com1", "LPT1.x", "prn.bin.hex", "aux ", "ends.", "COM\u{B9}"] {
            assert!(check_name(bad).is_err(), "{bad:?}");
        }
        for good in ["X 7", "CONSOLE", "COM", "LPT12", "nul-1", "TI-1", "\u{20AC}5"] {
            assert_eq!(check_name(good), Ok(()), "{good}");
        }
    }

    fn names(path: &Path, named: &[&str]) -> Vec<String> {
        let named: Vec<String> = named.iter().map(|name| (*name).to_owned()).collect();
        read(path, &named).unwrap().into_iter().map(|unit| unit.name).collect()
    }

    #[test]
    fn units_come_from_a_file_a_folder_or_a_manifest() {
        let folder = folder();
        assert_eq!(names(&folder.path().join("TI-1.bin"), &[]), ["TI-1"]);
        assert_eq!(names(&folder.path().join("TI-1.bin"), &["X 7"]), ["X 7"]);
        assert_eq!(names(folder.path(), &[]), ["TI-1", "TI-2"]);
        let line = |unit: &str, file: &str, byte| {
            let sha256 = digest(&[byte; 8]);
            serde_json::json!({ "unit": unit, "file": file, "sha256": sha256, "serial": 7 }).to_string() + "\n"
        };
        let text = line("second", "TI-2.bin", 2) + "\n" + &line("first", "TI-1.bin", 1);
        fs::write(folder.path().join(MANIFEST), text).unwrap();
        assert_eq!(names(folder.path(), &[]), ["second", "first"]);
        assert_eq!(names(folder.path(), &["first"]), ["first"]);
    }

    #[test]
    fn everything_wrong_with_a_manifest_is_told_at_once() {
        let folder = folder();
        let path = folder.path().join("m.jsonl");
        let good = digest(&[1; 8]);
        let text = format!(
            "{{\"unit\":\"a\",\"file\":\"TI-1.bin\",\"sha256\":\"{good}\"}}\n\
             {{\"unit\":\"a\",\"file\":\"TI-1.bin\",\"sha256\":\"{good}\"}}\n\
             {{\"unit\":\"b\",\"file\":\"TI-2.bin\",\"sha256\":\"{good}\"}}\n\
             {{\"unit\":\"c\",\"file\":\"none.bin\",\"sha256\":\"{good}\"}}\n\
             {{\"unit\":\"\",\"file\":\"TI-1.bin\",\"sha256\":\"{good}\"}}\n\
             not JSON\n"
        );
        fs::write(&path, text).unwrap();
        let faults = read(&path, &[]).unwrap_err();
        let lines: Vec<usize> = faults.0.iter().map(|fault| fault.line).collect();
        assert_eq!(lines, [2, 3, 5, 6, 0], "{faults}");
    }
}
