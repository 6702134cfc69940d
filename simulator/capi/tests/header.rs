//! The header in the repository is the one that cbindgen makes from the sources.

use std::path::Path;

#[test]
fn header_is_current() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let config = cbindgen::Config::from_file(root.join("cbindgen.toml")).expect("cbindgen.toml is readable");
    // From there on cbindgen follows the modules, which are all public.
    let builder = cbindgen::Builder::new().with_config(config).with_src(root.join("src/lib.rs"));
    let mut made = Vec::new();
    builder.generate().expect("the sources parse").write(&mut made);
    let (made, path) = (String::from_utf8(made).unwrap(), root.join("include/pagewise_simulator.h"));
    if std::env::var_os("PAGEWISE_BLESS").is_some() {
        std::fs::write(&path, &made).unwrap();
    }
    let there = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(made == there, "{} is not current; PAGEWISE_BLESS=1 writes it anew:\n{made}", path.display());
}
