//! One build of all mutants that compile, and plain builds of one mutant at a time.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

use crate::list::{Mutant, lines};
use crate::weave::{File, Woven, weave};

type Failed = Box<dyn Error>;

/// A copy of the workspace in which the sources of one package are rewritten.
pub struct Copy {
    root: PathBuf,
    /// Where the original stands.
    original: PathBuf,
    package: String,
    target: PathBuf,
}

/// What became of the mutants in one build.
#[derive(Default)]
pub struct Built {
    /// They do not compile.
    pub unviable: HashSet<usize>,
    /// They cannot stand beside the others: each needs a build of its own.
    pub aside: BTreeSet<usize>,
    /// Binaries of the tests.
    pub binaries: Vec<PathBuf>,
}

impl Copy {
    /// The files that git knows or would know, below `target`.
    pub fn new(original: &Path, package: &str, target: &Path) -> Result<Self, Failed> {
        let root = target.join("tree");
        let listed = Command::new("git")
            .args(["ls-files", "-z", "--cached", "--others", "--exclude-standard"])
            .current_dir(original)
            .output()?;
        for file in
            String::from_utf8(listed.stdout)?.split_terminator('\0').filter(|file| original.join(file).is_file())
        {
            write(&root.join(file), &fs::read(original.join(file))?)?;
        }
        let (original, target) = (original.into(), target.join("build"));
        Ok(Self { root, original, package: package.into(), target })
    }

    /// The folder of the package, in the copy.
    pub fn package_folder(&self, mutants: &[Mutant]) -> PathBuf {
        let file = mutants.first().map_or("", |mutant| &mutant.file);
        self.root.join(file.split("/src/").next().unwrap_or_default())
    }

    /// Weaves all mutants, and takes away those that the compiler refuses until it takes the rest.
    pub fn build(&self, mutants: &[Mutant]) -> Result<Built, Failed> {
        let mut by_file: BTreeMap<&str, Vec<&Mutant>> = BTreeMap::new();
        mutants.iter().for_each(|mutant| by_file.entry(&mutant.file).or_default().push(mutant));
        let first = by_file.keys().next().ok_or("no mutants")?;
        let library = format!("{}/src/lib.rs", first.split("/src/").next().unwrap_or_default());
        by_file.entry(&library).or_default();
        let mut built = Built::default();
        // Two types behind one `impl Trait` do not meet in one function.
        let opaque = |mutant: &&Mutant| mutant.replacement.contains("::std::iter::");
        built.aside.extend(mutants.iter().filter(opaque).map(|mutant| mutant.id));
        let mut constants = HashSet::new();
        loop {
            let out = built.unviable.iter().chain(&built.aside).copied().collect();
            let mut woven = HashMap::new();
            for (file, group) in &by_file {
                let mut result = weave(&fs::read_to_string(self.original.join(file))?, group, &out, &constants);
                if **file == *library {
                    result.text.push_str(include_str!("switch.rs"));
                }
                built.unviable.extend(&result.hopeless);
                built.aside.extend(&result.aside);
                write(&self.root.join(file), result.text.as_bytes())?;
                woven.insert(*file, result);
            }
            let messages = self.cargo(&["test", "--no-run", "--message-format=json"])?;
            let messages = String::from_utf8_lossy(&messages.stdout).into_owned();
            let messages: Vec<Value> = messages.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
            let errors: Vec<&Value> = messages
                .iter()
                .filter(|message| message["reason"] == "compiler-message" && message["message"]["level"] == "error")
                .map(|message| &message["message"])
                .collect();
            if errors.is_empty() {
                built.binaries =
                    messages.iter().filter_map(|message| message["executable"].as_str().map(PathBuf::from)).collect();
                return Ok(built);
            }
            let before = (built.unviable.len(), built.aside.len(), constants.len());
            errors.iter().for_each(|error| blame(error, &woven, &mut built, &mut constants));
            if before == (built.unviable.len(), built.aside.len(), constants.len()) {
                let shown = errors.iter().filter_map(|error| error["rendered"].as_str()).collect::<String>();
                return Err(format!("no mutant is to blame:\n{shown}").into());
            }
        }
    }

    /// Builds one mutant alone; `None` if it does not compile.
    pub fn build_one(&self, mutant: &Mutant, mutants: &[Mutant]) -> Result<Option<Vec<PathBuf>>, Failed> {
        for file in mutants.iter().map(|mutant| mutant.file.as_str()).collect::<BTreeSet<_>>() {
            write(&self.root.join(file), &fs::read(self.original.join(file))?)?;
        }
        let mut source = fs::read_to_string(self.original.join(&mutant.file))?;
        let starts = lines(&source);
        let range = mutant.span.start.byte(&source, &starts)..mutant.span.end.byte(&source, &starts);
        source.replace_range(range, &mutant.replacement);
        write(&self.root.join(&mutant.file), source.as_bytes())?;
        let output = self.cargo(&["test", "--no-run", "--message-format=json"])?;
        let messages = String::from_utf8_lossy(&output.stdout).into_owned();
        let binaries = messages.lines().filter_map(|line| {
            let message: Value = serde_json::from_str(line).ok()?;
            message["executable"].as_str().map(PathBuf::from)
        });
        Ok(output.status.success().then(|| binaries.collect()))
    }

    fn cargo(&self, arguments: &[&str]) -> std::io::Result<Output> {
        let mut cargo = Command::new("cargo");
        cargo.args(arguments).args(["--package", &self.package, "--all-features", "--lib", "--test", "it"]);
        // Nobody steps through a mutant.
        cargo.env("CARGO_PROFILE_DEV_DEBUG", "0").env("CARGO_INCREMENTAL", "0").env("RUSTFLAGS", "--cap-lints allow");
        cargo.env("CARGO_TARGET_DIR", &self.target).current_dir(&self.root).output()
    }
}

/// Writes a file that would change, and keeps the time of one that would not.
fn write(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    if fs::read(path).is_ok_and(|before| before == bytes) {
        return Ok(());
    }
    fs::create_dir_all(path.parent().unwrap_or(path))?;
    fs::write(path, bytes)
}

/// Finds whose fault an error is.
fn blame(error: &Value, woven: &HashMap<&str, File>, built: &mut Built, constants: &mut HashSet<String>) {
    let spans: Vec<&Value> = error["spans"].as_array().into_iter().flatten().map(outermost).collect();
    let place = |span: &Value| {
        let file = woven.get(span["file_name"].as_str()?)?;
        let byte = |name: &str| span[name].as_u64().map(|byte| byte as usize);
        Some((file, byte("byte_start")?..byte("byte_end")?))
    };
    let around = |woven: &Woven, inner: &std::ops::Range<usize>| {
        woven.range.start <= inner.start && inner.end <= woven.range.end
    };
    let node = |span: &Value| {
        let (file, inner) = place(span)?;
        let outer = file.nodes.iter().filter(|node| around(node, &inner)).min_by_key(|node| node.range.len())?;
        Some(outer.ids.clone())
    };
    // What a constant calls has to stay constant; a mutant in a constant itself cannot be switched.
    if error["code"]["code"] == "E0015" {
        let message = error["message"].as_str().unwrap_or_default();
        let name = message.split('`').nth(1).and_then(|path| path.rsplit("::").next()).unwrap_or_default();
        if name == "on" {
            built.aside.extend(spans.iter().find_map(|span| node(span)).unwrap_or_default());
        } else {
            constants.insert(name.to_string());
        }
        return;
    }
    let alone = spans.iter().find_map(|span| {
        let (file, inner) = place(span)?;
        file.alternatives.iter().find(|text| text.ids.len() == 1 && around(text, &inner)).map(|text| text.ids[0])
    });
    match alone {
        Some(id) => drop(built.unviable.insert(id)),
        None => built.aside.extend(spans.iter().find_map(|span| node(span)).unwrap_or_default()),
    }
}

/// Where the text stands that a macro was called with.
fn outermost(mut span: &Value) -> &Value {
    while span["expansion"].is_object() {
        span = &span["expansion"]["span"];
    }
    span
}
