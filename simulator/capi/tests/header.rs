//! The header in the repository is the one that cbindgen makes from the sources.

use std::path::Path;

#[test]
fn header_is_current() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let config = cbindgen::Config::from_file(root.join("cbindgen.toml")).expect("cbindgen.toml is readable");
    let mut builder = cbindgen::Builder::new().with_config(config);
    let mut sources: Vec<_> = std::fs::read_dir(root.join("src")).unwrap().map(|entry| entry.unwrap().path()).collect();
    // cbindgen follows the modules of lib.rs by itself as far as they are public; taken once more they would stand twice.
    sources.retain(|path| !path.ends_with("lib.rs"));
    sources.sort();
    for source in sources {
        builder = builder.with_src(source);
    }
    let mut made = Vec::new();
    builder.generate().expect("the sources parse").write(&mut made);
    let (made, path) = (String::from_utf8(made).unwrap(), root.join("include/pagewise_simulator.h"));
    if std::env::var_os("PAGEWISE_BLESS").is_some() {
        std::fs::write(&path, &made).unwrap();
    }
    let there = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(made == there, "{} is not current; PAGEWISE_BLESS=1 writes it anew:\n{made}", path.display());
}
