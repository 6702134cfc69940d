//! How one path is seen from another.

use std::fs;
use std::path::{Component, Path, PathBuf};

/// The path without links and dots, also where its end does not exist yet.
fn whole(path: &Path) -> PathBuf {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let there =
        path.ancestors().find_map(|known| Some((fs::canonicalize(known).ok()?, path.strip_prefix(known).ok()?)));
    there.map_or_else(|| path.clone(), |(known, rest)| known.join(rest))
}

/// How a file is named from a folder, with `/` between the names: `../boards/valve.toml`. The whole path where there is no
/// way from one to the other.
#[must_use]
pub fn seen_from(folder: &Path, file: &Path) -> String {
    let (folder, file) = (whole(folder), whole(file));
    let (mut from, mut to) = (folder.components().peekable(), file.components().peekable());
    if from.peek() != to.peek() {
        return file.display().to_string();
    }
    while from.peek().is_some() && from.peek() == to.peek() {
        from.next();
        to.next();
    }
    let up = from.map(|_| "..".to_owned());
    let down = to.map(|piece| match piece {
        Component::Normal(name) => name.to_string_lossy().into_owned(),
        other => other.as_os_str().to_string_lossy().into_owned(),
    });
    up.chain(down).collect::<Vec<_>>().join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_named_from_the_folder() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("boards")).unwrap();
        assert_eq!(seen_from(&at("decisions"), &at("boards/a.toml")), "../boards/a.toml");
        assert_eq!(seen_from(folder.path(), &at("boards/../b.csv")), "b.csv");
        assert_eq!(seen_from(&at("boards"), &at("boards/a.toml")), "a.toml");
    }
}
