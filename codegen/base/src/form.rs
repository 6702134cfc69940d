//! Reading a TOML file as a form: field by field, every fault noted with its line, unknown fields refused.
//!
//! Deserialising into a struct stops at the first fault; a person who fixes a card wants all of them at once. A
//! [`Form`] is one table of the file. Each getter takes a field once; [`Form::finish`] reports what nobody took.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::fmt::Display;
use std::ops::{Range, RangeInclusive};
use std::str::FromStr;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::fault::{Fault, Faults};

/// A TOML text with its name, parsed as far as it goes.
pub struct Document<'t> {
    file: &'t str,
    text: &'t str,
    root: Spanned<DeTable<'t>>,
    faults: RefCell<Vec<Fault>>,
}

impl<'t> Document<'t> {
    /// Parses `text`; syntax faults are kept and reported by [`Document::finish`].
    #[must_use]
    pub fn parse(file: &'t str, text: &'t str) -> Self {
        let (root, errors) = DeTable::parse_recoverable(text);
        let document = Self { file, text, root, faults: RefCell::default() };
        for error in errors {
            let line = error.span().map_or(0, |span| document.line(&span));
            let reason = format!("not valid TOML: {}", error.message().replace('\n', ", "));
            document.note(line, "", reason, "correct the syntax".into());
        }
        document
    }

    /// The table at the top of the file.
    #[must_use]
    pub fn root(&self) -> Form<'_, 't> {
        Form { document: self, table: self.root.get_ref(), at: 1, path: String::new(), taken: RefCell::default() }
    }

    /// Whether something was wrong so far.
    #[must_use]
    pub fn is_faulty(&self) -> bool {
        !self.faults.borrow().is_empty()
    }

    /// All faults noted.
    #[must_use]
    pub fn finish(self) -> Faults {
        Faults(self.faults.into_inner())
    }

    fn line(&self, span: &Range<usize>) -> usize {
        self.text.as_bytes().iter().take(span.start).filter(|byte| **byte == b'\n').count() + 1
    }

    fn note(&self, line: usize, field: &str, reason: String, remedy: String) {
        self.faults.borrow_mut().push(Fault { file: self.file.into(), line, field: field.into(), reason, remedy });
    }
}

/// A value whose type the reader of the file decides on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Raw {
    /// A text.
    Text(String),
    /// A whole number, or a list of them.
    Numbers(Vec<i128>),
}

/// One table of a [`Document`].
pub struct Form<'d, 't> {
    document: &'d Document<'t>,
    table: &'d DeTable<'t>,
    at: usize,
    path: String,
    taken: RefCell<BTreeSet<String>>,
}

impl<'d, 't> Form<'d, 't> {
    /// Notes a fault of a field of this table (or of the table itself, with an empty name).
    pub fn fault(&self, key: &str, reason: impl Into<String>, remedy: impl Into<String>) {
        self.document.note(self.line_of(key), &self.full(key), reason.into(), remedy.into());
    }

    /// Line of a field, or of the table where it is absent.
    #[must_use]
    pub fn line_of(&self, key: &str) -> usize {
        let found = self.table.iter().find(|(name, _)| name.get_ref().as_ref() == key);
        found.map_or(self.at, |(name, _)| self.document.line(&name.span()))
    }

    /// Whether the field is there.
    #[must_use]
    pub fn has(&self, key: &str) -> bool {
        self.table.iter().any(|(name, _)| name.get_ref().as_ref() == key)
    }

    /// A text; empty is refused.
    pub fn text(&self, key: &str) -> Option<String> {
        match self.take(key)? {
            DeValue::String(text) if text.trim().is_empty() => {
                self.fault(key, "is empty", "write a text or leave the field out");
                None
            }
            DeValue::String(text) => Some(text.as_ref().to_owned()),
            other => self.wrong(key, other, "a text in quotes"),
        }
    }

    /// A text that must be there.
    pub fn need_text(&self, key: &str) -> Option<String> {
        self.need(key);
        self.text(key)
    }

    /// A whole number within limits.
    pub fn integer<T>(&self, key: &str, limits: RangeInclusive<T>) -> Option<T>
    where
        T: TryFrom<i64> + PartialOrd + Display + Copy,
    {
        let value = self.take(key)?;
        let DeValue::Integer(number) = value else { return self.wrong(key, value, "a whole number") };
        let parsed = i64::from_str_radix(number.as_str(), number.radix()).ok().and_then(|raw| T::try_from(raw).ok());
        match parsed {
            Some(number) if limits.contains(&number) => Some(number),
            _ => self.outside(key, &number.to_string(), limits.start(), limits.end()),
        }
    }

    /// A number with or without a decimal point, within limits.
    pub fn decimal(&self, key: &str, limits: RangeInclusive<f64>) -> Option<f64> {
        let value = self.take(key)?;
        let text = match value {
            DeValue::Integer(number) => number.to_string(),
            DeValue::Float(number) => number.as_str().to_owned(),
            other => return self.wrong(key, other, "a number"),
        };
        match f64::from_str(&text) {
            Ok(number) if limits.contains(&number) => Some(number),
            _ => self.outside(key, &text, limits.start(), limits.end()),
        }
    }

    /// A decimal in a large unit, returned as whole thousandths of it (volts as millivolts, ms as microseconds).
    pub fn thousandths(&self, key: &str, limits: RangeInclusive<f64>) -> Option<u32> {
        // Limits of every caller keep the product far below 2^32.
        self.decimal(key, limits).map(|number| (number * 1000.0).round() as u32)
    }

    /// True or false.
    pub fn flag(&self, key: &str) -> Option<bool> {
        match self.take(key)? {
            DeValue::Boolean(flag) => Some(*flag),
            other => self.wrong(key, other, "true or false"),
        }
    }

    /// One of several words.
    pub fn choice<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Option<T> {
        let text = self.text(key)?;
        let found = words.iter().find(|(word, _)| *word == text).map(|(_, value)| *value);
        if found.is_none() {
            let known: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
            self.fault(key, format!("`{text}` is not known"), format!("use one of: {}", known.join(", ")));
        }
        found
    }

    /// A list of texts; absent counts as empty.
    pub fn texts(&self, key: &str) -> Vec<String> {
        let Some(value) = self.take(key) else { return Vec::new() };
        let DeValue::Array(items) = value else {
            return self.wrong(key, value, "a list of texts").unwrap_or_default();
        };
        let mut texts = Vec::new();
        for item in items.iter() {
            match item.get_ref() {
                DeValue::String(text) => texts.push(text.as_ref().to_owned()),
                other => return self.wrong(key, other, "a list of texts").unwrap_or_default(),
            }
        }
        texts
    }

    /// A list of whole numbers within limits; absent counts as empty.
    pub fn integers(&self, key: &str, limits: RangeInclusive<i64>) -> Vec<i64> {
        let Some(value) = self.take(key) else { return Vec::new() };
        let DeValue::Array(items) = value else {
            return self.wrong(key, value, "a list of whole numbers").unwrap_or_default();
        };
        let mut numbers = Vec::new();
        for item in items.iter() {
            let DeValue::Integer(number) = item.get_ref() else {
                return self.wrong(key, item.get_ref(), "a list of whole numbers").unwrap_or_default();
            };
            match i64::from_str_radix(number.as_str(), number.radix()) {
                Ok(number) if limits.contains(&number) => numbers.push(number),
                _ => drop(self.outside::<i64>(key, &number.to_string(), limits.start(), limits.end())),
            }
        }
        numbers
    }

    /// A text, a whole number or a list of whole numbers, whichever stands there.
    pub fn raw(&self, key: &str) -> Option<Raw> {
        const WANTED: &str = "a text, a whole number or a list of whole numbers";
        let number = |value: &DeValue<'_>| match value {
            DeValue::Integer(number) => i128::from_str_radix(number.as_str(), number.radix()).ok(),
            _ => None,
        };
        match self.take(key)? {
            DeValue::String(text) => Some(Raw::Text(text.as_ref().to_owned())),
            DeValue::Array(items) => {
                let numbers: Option<Vec<i128>> = items.iter().map(|item| number(item.get_ref())).collect();
                match numbers {
                    Some(numbers) => Some(Raw::Numbers(numbers)),
                    None => {
                        self.fault(key, format!("is not {WANTED}"), format!("write {WANTED}"));
                        None
                    }
                }
            }
            other => match number(other) {
                Some(number) => Some(Raw::Numbers(vec![number])),
                None => self.wrong(key, other, WANTED),
            },
        }
    }

    /// A table inside this one.
    pub fn table(&self, key: &str) -> Option<Form<'d, 't>> {
        let line = self.line_of(key);
        match self.take(key)? {
            DeValue::Table(table) => Some(self.inner(table, line, self.full(key))),
            other => self.wrong(key, other, "a table"),
        }
    }

    /// A list of tables (`[[key]]`); absent counts as empty.
    pub fn tables(&self, key: &str) -> Vec<Form<'d, 't>> {
        let Some(value) = self.take(key) else { return Vec::new() };
        let DeValue::Array(items) = value else {
            return self.wrong(key, value, "a list of tables").unwrap_or_default();
        };
        let mut forms = Vec::new();
        for (index, item) in items.iter().enumerate() {
            let line = self.document.line(&item.span());
            match item.get_ref() {
                DeValue::Table(table) => forms.push(self.inner(table, line, format!("{}[{index}]", self.full(key)))),
                other => return self.wrong(key, other, "a list of tables").unwrap_or_default(),
            }
        }
        forms
    }

    /// Notes a fault when the field is absent.
    pub fn need(&self, key: &str) {
        if !self.has(key) {
            self.fault(key, "is missing", "add it");
        }
    }

    /// Reports every field that no getter asked for; the last thing to do with a form.
    pub fn finish(&self) {
        let taken = self.taken.borrow();
        for (name, _) in self.table.iter() {
            let name = name.get_ref().as_ref();
            if !taken.contains(name) {
                let mut known: Vec<&str> = taken.iter().map(String::as_str).collect();
                known.sort_by_key(|candidate| (strsim::levenshtein(name, candidate), *candidate));
                known.truncate(3);
                let near = if known.is_empty() { String::new() } else { format!(" (near: {})", known.join(", ")) };
                self.fault(name, "unknown field", format!("remove it or correct its name{near}"));
            }
        }
    }

    fn inner(&self, table: &'d DeTable<'t>, at: usize, path: String) -> Form<'d, 't> {
        Form { document: self.document, table, at, path, taken: RefCell::default() }
    }

    fn take(&self, key: &str) -> Option<&'d DeValue<'t>> {
        self.taken.borrow_mut().insert(key.to_owned());
        self.table.iter().find(|(name, _)| name.get_ref().as_ref() == key).map(|(_, value)| value.get_ref())
    }

    fn full(&self, key: &str) -> String {
        match (self.path.is_empty(), key.is_empty()) {
            (true, _) => key.to_owned(),
            (false, true) => self.path.clone(),
            (false, false) => format!("{}.{key}", self.path),
        }
    }

    fn wrong<T>(&self, key: &str, value: &DeValue<'_>, wanted: &str) -> Option<T> {
        self.fault(key, format!("is a {}, not {wanted}", value.type_str()), format!("write {wanted}"));
        None
    }

    fn outside<T>(&self, key: &str, value: &str, low: impl Display, high: impl Display) -> Option<T> {
        self.fault(key, format!("{value} is out of range"), format!("use a value from {low} to {high}"));
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_faults_of_a_file_come_at_once_with_line_and_field() {
        let text = "a = 5\nb = \"x\"\ncapcity = 3\n[inner]\nc = 70000\n";
        let document = Document::parse("f.toml", text);
        let root = document.root();
        assert_eq!(root.integer::<u8>("a", 0..=4), None);
        assert_eq!(root.flag("b"), None);
        assert!(root.need_text("capacity").is_none());
        let inner = root.table("inner").unwrap();
        assert_eq!(inner.integer::<u16>("c", 0..=10), None);
        inner.finish();
        root.finish();
        let shown = document.finish().or_ok(()).unwrap_err().to_string();
        assert_eq!(
            shown,
            "f.toml:1: `a`: 5 is out of range; use a value from 0 to 4\n\
             f.toml:1: `capacity`: is missing; add it\n\
             f.toml:2: `b`: is a string, not true or false; write true or false\n\
             f.toml:3: `capcity`: unknown field; remove it or correct its name (near: capacity, a, b)\n\
             f.toml:5: `inner.c`: 70000 is out of range; use a value from 0 to 10"
        );
    }

    #[test]
    fn broken_syntax_is_a_fault_with_its_line() {
        let document = Document::parse("f.toml", "a = 1\nb = = 2\n");
        let faults = document.finish();
        assert_eq!(faults.0[0].line, 2);
        assert!(faults.0[0].reason.contains("not valid TOML"), "{faults}");
    }
}
