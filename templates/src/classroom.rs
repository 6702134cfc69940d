//! What the page of the classroom is made of, besides its templates.

/// Every text of it: TOML, one key a text.
pub const TEXTS: &str = include_str!("../classroom/texts.toml");
/// Its style sheet.
pub const STYLE: &str = include_str!("../classroom/classroom.css");
/// Its script, in the order in which the pieces stand.
pub const SCRIPTS: [&str; 4] = [
    include_str!("../classroom/engine.js"),
    include_str!("../classroom/view.js"),
    include_str!("../classroom/app.js"),
    include_str!("../classroom/lessons.js"),
];
/// The simulator as WebAssembly; built from `simulator/web`.
pub const SIMULATOR: &[u8] = include_bytes!("../classroom/chip.wasm");
