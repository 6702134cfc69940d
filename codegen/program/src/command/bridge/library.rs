//! Where the preload library is: named, beside the program, or carried inside it.

use std::path::{Path, PathBuf};
use std::{env, fs, io};

use pagewise_base::fault::Fault;
use pagewise_base::words;
use sha2::{Digest, Sha256};

/// File name of the preload library.
const LIBRARY: &str = "libpagewise_bridge.so";

/// The library as it was built with this program; absent in a program that was not built for release.
const CARRIED: Option<&[u8]> = include!(concat!(env!("OUT_DIR"), "/carried_library.rs"));

/// The library to preload: the named one, else one beside the program or in `../lib`, else the one inside, unpacked.
pub(in crate::command) fn find(named: Option<&Path>) -> Result<PathBuf, Fault> {
    let beside = env::current_exe().ok().and_then(|exe| exe.parent().map(Path::to_owned)).unwrap_or_default();
    let places = match named {
        Some(path) => vec![path.to_owned()],
        None => vec![beside.join(LIBRARY), beside.join("../lib").join(LIBRARY)],
    };
    if let Some(found) = places.iter().find(|path| path.is_file()).and_then(|path| fs::canonicalize(path).ok()) {
        return Ok(found);
    }
    if let (None, Some(bytes)) = (named, CARRIED) {
        let folder = cache();
        return unpacked(bytes, &folder).map_err(|error| {
            let reason = format!("the preload library cannot be unpacked: {error}");
            Fault::of_file(&folder.display().to_string(), reason, "name another folder in XDG_CACHE_HOME")
        });
    }
    let places: Vec<String> = places.iter().map(|path| path.display().to_string()).collect();
    let remedy = "build it with `cargo build -p pagewise-bridge`, or name it with --library";
    Err(Fault::of_file("bridge", format!("no preload library at {}", places.join(" or ")), remedy))
}

/// The user's own folder for what can be made again.
fn cache() -> PathBuf {
    let of = |name: &str| env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    let base = of("XDG_CACHE_HOME").or_else(|| of("HOME").map(|home| home.join(".cache")));
    base.unwrap_or_else(env::temp_dir).join("pagewise")
}

/// The library as a file whose name holds its digest. A file that is there already is used only if it holds these bytes:
/// a program loads what stands in it.
fn unpacked(bytes: &[u8], folder: &Path) -> io::Result<PathBuf> {
    let digest = words::hex(&Sha256::digest(bytes));
    let path = folder.join(format!("libpagewise_bridge-{}.so", &digest[..16]));
    if fs::read(&path).is_ok_and(|there| there == bytes) {
        return Ok(path);
    }
    fs::create_dir_all(folder)?;
    let file = tempfile::Builder::new().prefix(".bridge-").tempfile_in(folder)?;
    fs::write(file.path(), bytes)?;
    file.persist(&path).map_err(|error| error.error)?;
    Ok(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_library_is_unpacked_once_and_anew_where_something_else_lies_in_its_place() {
        let folder = tempfile::tempdir().unwrap();
        let inner = folder.path().join("new");
        let path = unpacked(b"library", &inner).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"library");
        let written = fs::metadata(&path).unwrap().modified().unwrap();
        assert_eq!(unpacked(b"library", &inner).unwrap(), path);
        assert_eq!(fs::metadata(&path).unwrap().modified().unwrap(), written, "left alone");
        fs::write(&path, "something else").unwrap();
        assert_eq!(unpacked(b"library", &inner).unwrap(), path);
        assert_eq!(fs::read(&path).unwrap(), b"library");
        let other = unpacked(b"another library", &inner).unwrap();
        assert_ne!(other, path);
        assert_eq!(fs::read_dir(&inner).unwrap().count(), 2, "nothing is left over");
    }
}
