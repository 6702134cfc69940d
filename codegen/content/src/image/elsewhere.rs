//! Bytes of a region that stand in another file: a bitstream, or what an old part held.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use super::formats::{self, Form};
use super::units::Unit;
use crate::inspect::signature::{Sought, position};
use crate::layout::{Kind, Layout, Placed, PlacedRegion, Region, Source};
use pagewise_base::fault::{Fault, Faults};

/// Larger files are not contents of a part.
const LARGEST: u64 = 16 << 20;

/// The files that a layout names; each is read once.
pub(super) struct Files {
    layout: String,
    folder: PathBuf,
    read: BTreeMap<PathBuf, Vec<u8>>,
}

impl Files {
    pub(super) fn of(layout: &Layout) -> Self {
        let folder = Path::new(&layout.file).parent().unwrap_or(Path::new("")).to_owned();
        Self { layout: layout.file.clone(), folder, read: BTreeMap::new() }
    }

    /// The bytes of a region for a unit, at most `length`, and where they come from.
    ///
    /// # Errors
    /// The file cannot be read, is too long or too short, or does not hold its signature.
    pub(super) fn take(
        &mut self,
        unit: Option<&Unit>,
        placed: &PlacedRegion,
        length: u32,
    ) -> Result<(Vec<u8>, String), Faults> {
        let fault = |layout: &str, field: &str, reason: String, remedy: &str| {
            fault(layout, &placed.region, field, reason, remedy)
        };
        match &placed.region.source {
            Source::File { name } => Ok((self.whole(&placed.region, name, length)?, name.clone())),
            Source::Dump { name, at } => {
                let (layout, from) = (self.layout.clone(), at.unwrap_or(placed.offset));
                let path = of_unit(&self.folder.join(name), unit)
                    .map_err(|reason| fault(&layout, "from", reason, "dump that unit's part, or leave it out"))?;
                let shown = path.display().to_string();
                let bytes = self.bytes(&path, dump)?;
                let stretch = bytes.get(from as usize..).and_then(|rest| rest.get(..length as usize));
                let stretch = stretch.ok_or_else(|| {
                    let end = u64::from(from) + u64::from(length);
                    let reason = format!("{shown} ends at {:#06x}, the stretch at {end:#06x}", bytes.len());
                    fault(&layout, "from", reason, "name a dump of the whole part, or correct `at` and `length`")
                })?;
                let told = format!("{shown} from {from:#06x} on");
                holds(&layout, &placed.region, stretch, &told)?;
                Ok((stretch.to_vec(), told))
            }
            _ => Ok((Vec::new(), String::new())),
        }
    }

    /// The bytes of a file that fills a region.
    fn whole(&mut self, region: &Region, name: &str, length: u32) -> Result<Vec<u8>, Faults> {
        let (layout, path) = (self.layout.clone(), self.folder.join(name));
        let bytes = self.bytes(&path, plain)?;
        if bytes.len() > length as usize || bytes.is_empty() {
            let reason = format!("{name} has {} bytes, the region {length}", bytes.len());
            return Err(fault(&layout, region, "file", reason, "enlarge the region, or name another file"));
        }
        holds(&layout, region, bytes, name)?;
        Ok(bytes.to_vec())
    }

    fn bytes(&mut self, path: &Path, read: impl Fn(&Path) -> Result<Vec<u8>, Faults>) -> Result<&[u8], Faults> {
        if !self.read.contains_key(path) {
            self.read.insert(path.to_owned(), read(path)?);
        }
        Ok(self.read.get(path).map(Vec::as_slice).unwrap_or_default())
    }
}

/// The blocks that a layout describes by a signature, with the files that it names. `placed`: where the regions lie that
/// have no offset of their own.
///
/// # Errors
/// The layout gives no signature; files that cannot be read, do not fit or do not hold theirs.
pub fn sought(layout: &Layout, placed: Option<&Placed>) -> Result<Vec<Sought>, Faults> {
    let (mut files, mut all, mut faults) = (Files::of(layout), Vec::new(), Faults::default());
    for region in layout.regions.iter().filter(|region| !region.signature.is_empty()) {
        let Kind::Field(field) = &region.kind else { continue };
        let length = field.length();
        let whole = match &region.source {
            Source::File { name } => match files.whole(region, name, length) {
                Ok(bytes) => Some((name.clone(), bytes)),
                Err(more) => {
                    faults.0.extend(more.0);
                    continue;
                }
            },
            _ => None,
        };
        let at = if let Source::Dump { at, .. } = region.source { at } else { None };
        let offset = region.offset.or_else(|| Some(placed?.find(&region.name)?.offset));
        let (region, signature) = (region.name.clone(), region.signature.clone());
        all.push(Sought { region, signature, length, offset, at, whole });
    }
    if all.is_empty() && faults.0.is_empty() {
        let remedy = "give a region of bytes a `signature`";
        return Err(Fault::of_file(&layout.file, "names no signature that could be looked for", remedy).into());
    }
    faults.or_ok(all)
}

fn fault(layout: &str, region: &Region, field: &str, reason: String, remedy: &str) -> Faults {
    let (file, field) = (layout.to_owned(), format!("{}.{field}", region.path));
    Fault { file, line: region.line, field, reason, remedy: remedy.into() }.into()
}

/// Whether bytes hold the signature of their region, if it has one.
fn holds(layout: &str, region: &Region, bytes: &[u8], told: &str) -> Result<(), Faults> {
    if region.signature.is_empty() || position(bytes, &region.signature).is_some() {
        return Ok(());
    }
    let digits: Vec<String> = region.signature.iter().map(|byte| format!("{byte:02X}")).collect();
    let reason = format!("{told} does not hold {}", digits.join(" "));
    Err(fault(layout, region, "signature", reason, "name the right file or place, or correct the signature"))
}

fn plain(path: &Path) -> Result<Vec<u8>, Faults> {
    let shown = path.display().to_string();
    let about = fs::metadata(path).map_err(|error| Fault::unreadable(&shown, &error))?;
    if !about.is_file() || about.len() > LARGEST {
        return Err(Fault::of_file(&shown, "is not a file that a part could hold", "name another file").into());
    }
    Ok(fs::read(path).map_err(|error| Fault::unreadable(&shown, &error))?)
}

fn dump(path: &Path) -> Result<Vec<u8>, Faults> {
    let image = formats::read(path, None)?;
    let shown = path.display().to_string();
    let end = u32::try_from(image.end()).ok().filter(|end| u64::from(*end) <= LARGEST);
    let end = end.ok_or_else(|| Fault::of_file(&shown, "is larger than any part", "name the dump of one part"))?;
    Ok(image.flatten(end, 0xFF).map_err(|error| Fault::of_file(&shown, error.to_string(), "name another dump"))?)
}

/// The dump itself, or the one of the unit in a folder of them.
fn of_unit(path: &Path, unit: Option<&Unit>) -> Result<PathBuf, String> {
    if !path.is_dir() {
        return Ok(path.to_owned());
    }
    let name = unit.map_or("image", |unit| unit.name.as_str());
    let files = Form::EXTENSIONS.iter().map(|(extension, _)| path.join(format!("{name}.{extension}")));
    let found: Vec<PathBuf> = files.filter(|file| file.is_file()).collect();
    match &found[..] {
        [one] => Ok(one.clone()),
        [] => Err(format!("{} holds no dump of unit `{name}`", path.display())),
        [one, other, ..] => Err(format!("unit `{name}` has two dumps, {} and {}", one.display(), other.display())),
    }
}
