//! Writes every mutant of a file into it, each behind a switch, so that one build holds them all.
//!
//! What would stand in place of an expression stands beside it: `(if on(7) { a - b } else { a + b })`. A `const fn` can ask
//! nobody which mutant is on: it is woven as a plain function, and where a constant needs it, it stays as it is.

use std::collections::{BTreeMap, HashSet};
use std::ops::Range;

use crate::find::Found;
use crate::list::{Genre, Mutant, lines};

/// A text that goes in before a byte of the original.
struct Insert {
    at: usize,
    /// Bytes of the original in whose place it stands.
    gone: usize,
    /// Texts that close come before those that open at the same place.
    opens: bool,
    /// Length and level of the expression that it belongs to: the longer one is outside, of two equally long ones the lower.
    length: usize,
    level: u8,
    text: String,
    /// The mutants that fall if the compiler does not take this text.
    ids: Vec<usize>,
}

/// Where something stands in the woven file, and the mutants it belongs to.
pub struct Woven {
    pub range: Range<usize>,
    pub ids: Vec<usize>,
}

/// A file with its mutants.
#[derive(Default)]
pub struct File {
    pub text: String,
    /// Texts that only these mutants need.
    pub alternatives: Vec<Woven>,
    /// Expressions that were rewritten for these mutants.
    pub nodes: Vec<Woven>,
    /// Mutants that cannot be compiled: another operator beside a `let`.
    pub hopeless: Vec<usize>,
    /// Mutants for which no place was found, or that stand in what stays constant.
    pub aside: Vec<usize>,
}

struct Weaver<'s> {
    source: &'s str,
    inserts: Vec<Insert>,
    nodes: Vec<(Range<usize>, Vec<usize>)>,
}

fn on(id: usize) -> String {
    format!("crate::__mutants::on({id})")
}

impl Weaver<'_> {
    fn open(&mut self, range: &Range<usize>, level: u8, text: &str, ids: &[usize]) {
        let (at, length) = (range.start, range.len());
        self.inserts.push(Insert { at, gone: 0, opens: true, length, level, text: text.into(), ids: ids.to_vec() });
    }

    fn close(&mut self, range: &Range<usize>, level: u8, text: &str, ids: &[usize]) {
        let (at, length) = (range.end, range.len());
        self.inserts.push(Insert { at, gone: 0, opens: false, length, level, text: text.into(), ids: ids.to_vec() });
    }

    fn wrap(&mut self, range: &Range<usize>, level: u8, head: &str, tail: &str, ids: &[usize]) {
        self.open(range, level, head, ids);
        self.close(range, level, tail, ids);
        self.nodes.push((range.clone(), ids.to_vec()));
    }

    /// An expression with what stands in its place under each mutant.
    fn operation(&mut self, operation: &crate::find::Operation, group: &[&Mutant]) {
        let (whole, operator) = (&operation.whole, &operation.operator);
        let ids: Vec<usize> = group.iter().map(|mutant| mutant.id).collect();
        self.open(whole, 1, "(", &ids);
        for mutant in group {
            let (left, right) = (&self.source[whole.start..operator.start], &self.source[operator.end..whole.end]);
            let text = format!("if {} {{ {left}{}{right} }} else ", on(mutant.id), mutant.replacement);
            self.open(whole, 1, &text, &[mutant.id]);
        }
        self.open(whole, 1, "{ ", &ids);
        self.close(whole, 1, " })", &ids);
        self.nodes.push((whole.clone(), ids));
    }

    /// An arm that is gone, or whose guard is always true or false.
    fn arm(&mut self, arm: &crate::find::Arm, group: &[&Mutant]) {
        let ids: Vec<usize> = group.iter().map(|mutant| mutant.id).collect();
        let (mut here, mut yes, mut unless) = (String::from("true"), String::from("false"), String::from("true"));
        for mutant in group {
            match (mutant.genre, mutant.replacement.as_str()) {
                (Genre::MatchArm, _) => here = format!("!{}", on(mutant.id)),
                (_, "true") => yes = on(mutant.id),
                _ => unless = format!("!{}", on(mutant.id)),
            }
        }
        if arm.guarded {
            self.wrap(&arm.guard, 0, &format!("{here} && ({yes} || {unless} && ("), "))", &ids);
        } else {
            self.close(&arm.guard, 9, &format!(" if {here}"), &ids);
        }
    }

    fn field(&mut self, field: &crate::find::Field, id: usize) {
        let base = match &self.source[field.base.clone()] {
            "Default::default()" => format!("<{} as Default>::default()", &self.source[field.path.clone()]),
            base => format!("Clone::clone(&({base}))"),
        };
        let (name, range) = (&field.name, field.value.as_ref().unwrap_or(&field.whole));
        let label = if field.value.is_some() { String::new() } else { format!("{name}: ") };
        self.wrap(range, 1, &format!("{label}(if {} {{ ({base}).{name} }} else {{ ", on(id)), " })", &[id]);
    }

    /// The original with all that goes in.
    fn finish(mut self) -> File {
        self.inserts.sort_by_key(|insert| {
            let (length, level) = (insert.length, insert.level);
            let outside_first = insert.opens;
            let length = if outside_first { usize::MAX - length } else { length };
            (insert.at, insert.opens, length, if outside_first { level } else { u8::MAX - level })
        });
        let mut file = File::default();
        let mut done = 0;
        // For each byte before which something goes in: where that begins and ends.
        let mut places: BTreeMap<usize, Range<usize>> = BTreeMap::new();
        for insert in self.inserts {
            file.text.push_str(&self.source[done..insert.at]);
            let from = file.text.len();
            file.text.push_str(&insert.text);
            let range = from..file.text.len();
            places.entry(insert.at).or_insert(range.clone()).end = range.end;
            file.alternatives.push(Woven { range, ids: insert.ids });
            done = insert.at + insert.gone;
        }
        file.text.push_str(&self.source[done..]);
        let nodes = self.nodes.into_iter();
        file.nodes = nodes
            .map(|(range, ids)| Woven { range: places[&range.start].start..places[&range.end].end, ids })
            .collect();
        file
    }
}

/// Weaves the mutants of one file, without those `out`; functions named in `constants` stay constant.
pub fn weave(source: &str, mutants: &[&Mutant], out: &HashSet<usize>, constants: &HashSet<String>) -> File {
    let found = Found::new(source).expect("what was compiled is Rust");
    let lines = lines(source);
    let mut weaver = Weaver { source, inserts: Vec::new(), nodes: Vec::new() };
    let (mut hopeless, mut aside) = (Vec::new(), Vec::new());
    let (mut operations, mut arms) = (BTreeMap::<usize, Vec<&Mutant>>::new(), BTreeMap::<usize, Vec<&Mutant>>::new());
    let constant = |name: &str| constants.contains(name);
    for plain in found.const_fns.iter().filter(|function| !constant(&function.name)) {
        let Range { start: at, end } = plain.word;
        let (text, ids) = (String::new(), Vec::new());
        weaver.inserts.push(Insert { at, gone: end - at, opens: true, length: 0, level: 9, text, ids });
    }
    for mutant in mutants.iter().copied().filter(|mutant| !out.contains(&mutant.id)) {
        let range = mutant.span.start.byte(source, &lines)..mutant.span.end.byte(source, &lines);
        let at = range.start;
        if found.const_fns.iter().any(|function| constant(&function.name) && function.whole.contains(&at)) {
            aside.push(mutant.id);
            continue;
        }
        match mutant.genre {
            Genre::FnValue => {
                let text = format!("if {} {{ return {}; }} ", on(mutant.id), mutant.replacement);
                weaver.open(&range, 0, &text, &[mutant.id]);
            }
            Genre::BinaryOperator | Genre::UnaryOperator => match found.operations.get(&at) {
                Some(operation) if operation.has_let => hopeless.push(mutant.id),
                Some(_) => operations.entry(at).or_default().push(mutant),
                None => aside.push(mutant.id),
            },
            Genre::MatchArm | Genre::MatchArmGuard => match found.arms.get(&at) {
                Some(arm) => arms.entry(arm.guard.start).or_default().push(mutant),
                None => aside.push(mutant.id),
            },
            Genre::StructField => match found.fields.get(&at) {
                Some(field) => weaver.field(field, mutant.id),
                None => aside.push(mutant.id),
            },
        }
    }
    for (at, group) in operations {
        weaver.operation(&found.operations[&at], &group);
    }
    for (guard, group) in arms {
        let arm = found.arms.values().find(|arm| arm.guard.start == guard);
        weaver.arm(arm.expect("it was found by the same place"), &group);
    }
    File { hopeless, aside, ..weaver.finish() }
}
