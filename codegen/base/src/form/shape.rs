//! The declared shape of a kind of file, and the check of a document against it.

use std::collections::BTreeSet;
use std::marker::PhantomData;
use std::sync::OnceLock;

use schemars::{JsonSchema, schema_for};
use serde::de::DeserializeOwned;
use serde_json::{Map, Value, json};
use toml::de::{DeTable, DeValue};

use super::said::{Said, choices, find, fits, kind_of, limits, near, property, required, spelled, takes, without_null};
use super::{Document, path};
use crate::fault::Faults;

/// The shape of a kind of file, declared by the struct `T`: doc comments are the documentation of the fields, `range`
/// and `regex` attributes their limits, `example` attributes what stands in a draft and, while a faulty file is read, in
/// place of a required field that could not be used.
pub struct Shape<T> {
    schema: Value,
    fields: OnceLock<Vec<Field>>,
    declared: PhantomData<fn() -> T>,
}

/// One field of a kind of file, as its declaration says.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Path, such as `supply.min_v`; `speed[].scl_khz` in a list of tables.
    pub path: String,
    /// What it says.
    pub about: String,
    /// What may stand there: `a whole number from 1 to 5000`, `a text in quotes: low, high`.
    pub takes: String,
    /// Whether it has to be there.
    pub required: bool,
    /// A value that may stand there.
    pub example: Value,
}

impl<T: JsonSchema + DeserializeOwned> Default for Shape<T> {
    fn default() -> Self {
        Self::new()
    }
}

impl<T: JsonSchema + DeserializeOwned> Shape<T> {
    /// The shape that the struct declares.
    #[must_use]
    pub fn new() -> Self {
        let mut schema = schema_for!(T).to_value();
        without_null(&mut schema);
        Self { schema, fields: OnceLock::new(), declared: PhantomData }
    }

    /// The JSON Schema (2020-12).
    #[must_use]
    pub const fn schema(&self) -> &Value {
        &self.schema
    }

    /// Reads the document. Every field that is not as declared is a fault of the document; in the struct it is absent,
    /// or holds the declaration's example where it is required. `None` where the text is not TOML.
    #[must_use]
    pub fn read(&self, document: &Document<'_>) -> Option<T> {
        if document.is_faulty() {
            return None;
        }
        let walk = Walk { root: &self.schema, document };
        let value = walk.table(document.root.get_ref(), "", 1, &walk.said(&self.schema));
        match serde_json::from_value(value) {
            Ok(read) => Some(read),
            Err(error) => {
                document.note(1, "", format!("cannot be read: {error}"), "correct the file".into());
                None
            }
        }
    }

    /// Reads the text of `file` whole: as declared, and then what `complete` makes of it, which may note faults of its own.
    ///
    /// # Errors
    /// Everything that is wrong in it.
    pub fn complete<U>(
        &self,
        file: &str,
        text: &str,
        complete: impl FnOnce(&Document<'_>, T) -> U,
    ) -> Result<U, Faults> {
        let document = Document::parse(file, text);
        let made = self.read(&document).map(|read| complete(&document, read));
        let faults = document.finish();
        match made {
            Some(made) => faults.or_ok(made),
            None => Err(faults),
        }
    }

    /// Every field, tables before their fields.
    #[must_use]
    pub fn fields(&self) -> &[Field] {
        self.fields.get_or_init(|| {
            let document = Document::parse("", "");
            let walk = Walk { root: &self.schema, document: &document };
            let mut fields = Vec::new();
            walk.fields("", &walk.said(&self.schema), &mut fields);
            fields
        })
    }
}

/// Checks one document against one schema.
struct Walk<'s, 'd, 't> {
    root: &'s Value,
    document: &'d Document<'t>,
}

impl<'s> Walk<'s, '_, '_> {
    /// A schema and what it refers to.
    fn said(&self, schema: &'s Value) -> Said<'s> {
        let Some(object) = schema.as_object() else { return Vec::new() };
        let mut said = vec![object];
        if let Some(target) = object.get("$ref").and_then(Value::as_str).and_then(|name| name.strip_prefix('#'))
            && let Some(target) = self.root.pointer(target)
        {
            said.extend(self.said(target));
        }
        said
    }

    /// The shapes that a table may have, by the word of its `kind`.
    fn kinds(&self, said: &Said<'s>) -> Vec<(&'s str, Said<'s>)> {
        let Some(Value::Array(branches)) = find(said, "oneOf") else { return Vec::new() };
        let word = |branch: &'s Value| branch.pointer("/properties/kind/const")?.as_str();
        branches.iter().filter_map(|branch| Some((word(branch)?, self.said(branch)))).collect()
    }

    /// Checks a table; what is wrong with it is noted, what is sound is returned.
    fn table(&self, table: &DeTable<'_>, at: &str, line: usize, said: &Said<'s>) -> Value {
        let (mut said, mut sound, mut skipped) = (said.clone(), Map::new(), Vec::new());
        let kinds = self.kinds(&said);
        if let Some(first) = kinds.first() {
            let chosen = self.kind(table, at, line, &kinds);
            if chosen.is_none() {
                // Of a table of unknown kind, no field of any kind is wrong.
                skipped = kinds.iter().flat_map(|(_, said)| said).copied().collect();
            }
            let (word, more) = chosen.unwrap_or(first);
            sound.insert("kind".to_owned(), json!(word));
            said.extend(more);
        }
        for (name, value) in table.iter() {
            let key = name.get_ref().as_ref();
            let full = path(at, key);
            if key == "kind" && !kinds.is_empty() || property(&skipped, key).is_some() {
                continue;
            }
            let any_key = || find(&said, "additionalProperties").filter(|schema| schema.is_object());
            let Some(schema) = property(&said, key).or_else(any_key) else {
                let line = self.document.line(&name.span());
                let remedy = format!("remove it or correct its name{}", near(key, &said));
                self.document.note(line, &full, "unknown field".into(), remedy);
                continue;
            };
            match self.value(value.get_ref(), &full, &self.said(schema)) {
                Some(value) => drop(sound.insert(key.to_owned(), value)),
                None => drop(self.document.misshapen.borrow_mut().insert(full)),
            }
        }
        for key in required(&said) {
            let full = path(at, key);
            if sound.contains_key(key) {
                continue;
            }
            if !table.iter().any(|(name, _)| name.get_ref() == key) && property(&skipped, key).is_none() {
                self.refuse(&full, line, "is missing", "add it");
            }
            let example = property(&said, key).map_or(Value::Null, |schema| self.example(&self.said(schema)));
            sound.insert(key.to_owned(), example);
        }
        Value::Object(sound)
    }

    /// The kind of a table that has one of several shapes.
    fn kind<'k>(
        &self,
        table: &DeTable<'_>,
        at: &str,
        line: usize,
        kinds: &'k [(&'s str, Said<'s>)],
    ) -> Option<&'k (&'s str, Said<'s>)> {
        let full = path(at, "kind");
        let Some((_, value)) = table.iter().find(|(name, _)| name.get_ref() == "kind") else {
            self.refuse(&full, line, "is missing", "add it");
            return None;
        };
        let words: Vec<String> = kinds.iter().map(|(word, _)| (*word).to_owned()).collect();
        let word = self.word(value.get_ref(), &full, &words, &Vec::new())?;
        kinds.iter().find(|(known, _)| *known == word)
    }

    /// Checks one value.
    fn value(&self, value: &DeValue<'_>, at: &str, said: &Said<'s>) -> Option<Value> {
        if find(said, "not").is_some() {
            let about = find(said, "description").and_then(Value::as_str).unwrap_or_default();
            let (reason, remedy) = about.split_once("; ").unwrap_or((about, "remove it"));
            self.refuse(at, self.document.line_of(at), reason, remedy);
            return None;
        }
        let words = choices(said);
        if !words.is_empty() {
            return self.word(value, at, &words, said).map(Value::from);
        }
        if let Some(Value::Array(choices)) = find(said, "anyOf") {
            let takes = takes(said, &|schema| self.said(schema));
            let fitting = choices.iter().map(|choice| self.said(choice)).find(|said| fits(value, said));
            let Some(said) = fitting else { return self.wrong(at, value, &takes) };
            return self.value(value, at, &said);
        }
        match (kind_of(said), value) {
            ("string", DeValue::String(text)) if text.trim().is_empty() && find(said, "pattern").is_some() => {
                self.refuse(at, self.document.line_of(at), "is empty", "write a text or leave the field out");
                None
            }
            ("string", DeValue::String(text)) => Some(json!(text)),
            ("boolean", DeValue::Boolean(flag)) => Some(json!(flag)),
            ("integer", DeValue::Integer(number)) => {
                let whole = i128::from_str_radix(number.as_str(), number.radix()).ok();
                let json = whole.and_then(|whole| {
                    i64::try_from(whole).map(Value::from).or(u64::try_from(whole).map(Value::from)).ok()
                });
                self.within(at, json, &number.to_string(), said)
            }
            ("number", DeValue::Integer(number)) => {
                let json = i64::from_str_radix(number.as_str(), number.radix()).ok().map(|whole| json!(whole as f64));
                self.within(at, json, &number.to_string(), said)
            }
            ("number", DeValue::Float(number)) => {
                let json = number.as_str().parse::<f64>().ok().filter(|number| number.is_finite()).map(Value::from);
                self.within(at, json, number.as_str(), said)
            }
            ("array", DeValue::Array(items)) => {
                self.list(items.iter().map(|item| (item.get_ref(), item.span())), at, said)
            }
            ("object", DeValue::Table(table)) => Some(self.table(table, at, self.document.line_of(at), said)),
            _ => self.wrong(at, value, &takes(said, &|schema| self.said(schema))),
        }
    }

    fn list<'v>(
        &self,
        items: impl Iterator<Item = (&'v DeValue<'v>, std::ops::Range<usize>)>,
        at: &str,
        said: &Said<'s>,
    ) -> Option<Value> {
        let inner = find(said, "items").map(|schema| self.said(schema)).unwrap_or_default();
        let tables = kind_of(&inner) == "object";
        let mut sound = Vec::new();
        for (index, (item, span)) in items.enumerate() {
            if !fits(item, &inner) {
                return self.wrong(at, item, &takes(said, &|schema| self.said(schema)));
            }
            if let (true, DeValue::Table(table)) = (tables, item) {
                sound.push(self.table(table, &format!("{at}[{index}]"), self.document.line(&span), &inner));
            } else if let Some(value) = self.value(item, at, &inner) {
                sound.push(value);
            }
        }
        Some(Value::Array(sound))
    }

    fn word(&self, value: &DeValue<'_>, at: &str, words: &[String], said: &Said<'s>) -> Option<String> {
        let DeValue::String(text) = value else { return self.wrong(at, value, "a text in quotes") };
        let line = self.document.line_of(at);
        if text.trim().is_empty() {
            self.refuse(at, line, "is empty", "write a text or leave the field out");
        } else if let Some(word) = spelled(text, words, said) {
            return Some(word);
        } else {
            self.refuse(at, line, &format!("`{text}` is not known"), &format!("use one of: {}", words.join(", ")));
        }
        None
    }

    /// The number, where it lies within its limits.
    fn within(&self, at: &str, number: Option<Value>, shown: &str, said: &Said<'s>) -> Option<Value> {
        let limit = |key: &str| find(said, key).and_then(Value::as_f64);
        let (low, high) = (limit("minimum"), limit("maximum"));
        let sound = number.filter(|number| {
            let number = number.as_f64().unwrap_or(f64::NAN);
            number >= low.unwrap_or(f64::MIN) && number <= high.unwrap_or(f64::MAX)
        });
        if sound.is_none() {
            let remedy = match (low, high) {
                (Some(low), Some(high)) => format!("use a value from {low} to {high}"),
                _ => "use a value of at most 64 bits".to_owned(),
            };
            self.refuse(at, self.document.line_of(at), &format!("{shown} is out of range"), &remedy);
        }
        sound
    }

    fn wrong<R>(&self, at: &str, value: &DeValue<'_>, wanted: &str) -> Option<R> {
        let reason = format!("is a {}, not {wanted}", value.type_str());
        self.refuse(at, self.document.line_of(at), &reason, &format!("write {wanted}"));
        None
    }

    fn refuse(&self, at: &str, line: usize, reason: &str, remedy: &str) {
        self.document.note(line, at, reason.to_owned(), remedy.to_owned());
        self.document.misshapen.borrow_mut().insert(at.to_owned());
    }

    /// A value that may stand for a field: the declared example, or the plainest one of its type.
    fn example(&self, said: &Said<'s>) -> Value {
        if let Some(example) = find(said, "examples").and_then(|examples| examples.get(0)) {
            return example.clone();
        }
        if let Some(word) = choices(said).first() {
            return json!(word);
        }
        match kind_of(said) {
            "integer" | "number" => find(said, "minimum").cloned().unwrap_or_else(|| json!(0)),
            "boolean" => json!(false),
            "array" => json!([]),
            "object" => {
                let needed = required(said).into_iter();
                let pair = |key: &str| Some((key.to_owned(), self.example(&self.said(property(said, key)?))));
                Value::Object(needed.filter_map(pair).collect())
            }
            _ => json!("?"),
        }
    }

    fn fields(&self, at: &str, said: &Said<'s>, fields: &mut Vec<Field>) {
        let kinds = self.kinds(said);
        let said: Said<'s> = said.iter().chain(kinds.iter().flat_map(|(_, said)| said)).copied().collect();
        let needed = required(&said);
        let mut known = BTreeSet::new();
        let properties = said.iter().filter_map(|said| said.get("properties")?.as_object());
        for (key, schema) in properties.flat_map(Map::iter).filter(|(key, _)| known.insert(key.as_str())) {
            let said = self.said(schema);
            let path = path(at, key);
            fields.push(Field {
                path: path.clone(),
                about: find(&said, "description").and_then(Value::as_str).unwrap_or_default().to_owned(),
                takes: takes(&said, &|schema| self.said(schema)) + &limits(&said),
                required: needed.contains(&key.as_str()),
                example: self.example(&said),
            });
            match kind_of(&said) {
                "object" => self.fields(&path, &said, fields),
                "array" => {
                    let inner = find(&said, "items").map(|schema| self.said(schema)).unwrap_or_default();
                    self.fields(&format!("{path}[]"), &inner, fields);
                }
                _ => {}
            }
        }
    }
}
