//! The draft of a card, written from the declaration of its fields: what a person has to fill in, and what may be.

use pagewise_base::form::Field;
use pagewise_base::words::listed;

use super::file::SHAPE;
use super::order::identifier;

/// How a draft begins.
const HEAD: &str = "\
# A card to fill in from one data sheet. What the sheet does not state stays out: the most cautious value met stands in
# for it, visibly. `derived` lists fields that follow from others, `basis` those known from somewhere else. Read it with
# `pagewise show PART --cards FOLDER`: everything that is still wrong is said at once.
";

/// A commented card of a part. It is refused until what must be there is filled in.
#[must_use]
pub fn draft(name: &str) -> String {
    let fields = SHAPE.fields();
    let root = || fields.iter().filter(|field| !field.path.contains('.'));
    let mut text = HEAD.to_owned();
    for field in root().filter(|field| field.required) {
        let value = match field.path.as_str() {
            "id" => identifier(name),
            "name" => name.to_owned(),
            _ => String::new(),
        };
        text += &comment(field);
        // Neither an empty text nor a zero is read: nobody forgets them.
        let number = field.takes.starts_with("a whole number");
        text += &if number { format!("{} = 0\n", field.path) } else { format!("{} = {value:?}\n", field.path) };
    }
    for field in root().filter(|field| !field.required && !is_table(field)) {
        text += &(comment(field) + &suggestion(field, &field.path));
    }
    for table in root().filter(|field| !field.required && is_table(field)) {
        text += &comment(table);
        let is_list = table.takes.starts_with("a list");
        text += &if is_list { format!("# [[{}]]\n", table.path) } else { format!("# [{}]\n", table.path) };
        let prefix = if is_list { format!("{}[].", table.path) } else { format!("{}.", table.path) };
        for field in fields {
            if let Some(key) = field.path.strip_prefix(&prefix).filter(|key| !key.contains('.')) {
                text += &suggestion(field, key);
            }
        }
    }
    text
}

fn is_table(field: &Field) -> bool {
    field.takes == "a table" || field.takes == "a list of tables"
}

fn comment(field: &Field) -> String {
    format!("\n# {}\n", about(field))
}

/// What the field says, in one line, and what may stand there.
fn about(field: &Field) -> String {
    format!("{} ({})", field.about.replace('\n', " ").trim_end_matches('.'), field.takes)
}

/// A field that may be there, as a comment: what stands before `=` is uncommented to fill it in.
fn suggestion(field: &Field, key: &str) -> String {
    let about = if field.path == key { String::new() } else { format!("  # {}", about(field)) };
    format!("# {key} = {}{about}\n", value(field))
}

/// The example of a field; of a table, its fields with theirs.
fn value(field: &Field) -> String {
    if field.takes != "a table" {
        return field.example.to_string();
    }
    let prefix = format!("{}.", field.path);
    let inner = SHAPE.fields().iter().filter_map(|inner| Some((inner.path.strip_prefix(&prefix)?, &inner.example)));
    format!("{{ {} }}", listed(inner.map(|(key, example)| format!("{key} = {example}"))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::load;

    #[test]
    fn a_draft_shows_every_field_and_is_refused_until_it_is_filled_in() {
        let text = draft("Own 64/X");
        for field in SHAPE.fields() {
            let key = field.path.rsplit('.').next().unwrap().trim_end_matches("[]");
            assert!(text.contains(key), "{}", field.path);
        }
        let faults = load::card("own.toml", &text).unwrap_err();
        let fields: Vec<&str> = faults.0.iter().map(|fault| fault.field.as_str()).collect();
        for field in ["maker", "document", "kind", "capacity_bits"] {
            assert!(fields.contains(&field), "{field}: {faults}");
        }
        let filled = text.replace("maker = \"\"", "maker = \"x\"").replace("document = \"\"", "document = \"x\"");
        let filled =
            filled.replace("kind = \"\"", "kind = \"eeprom\"").replace("capacity_bits = 0", "capacity_bits = 65536");
        let card = load::card("own.toml", &filled.replace("# page_bytes =", "page_bytes =")).unwrap();
        assert_eq!((card.id.as_str(), card.name.as_str()), ("own-64-x", "Own 64/X"));
    }

    #[test]
    fn the_lines_of_a_draft_may_be_taken_as_they_are() {
        let text = draft("own");
        let lines = text.lines().filter_map(|line| line.strip_prefix("# ")).filter(|line| {
            let key = line.split(" = ").next().unwrap_or_default();
            line.contains(" = ") && key.chars().all(|c| c.is_ascii_lowercase() || c == '_' || c.is_ascii_digit())
        });
        for line in lines {
            assert!(line.parse::<toml::Table>().is_ok(), "{line}");
        }
    }
}
