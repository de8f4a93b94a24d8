//! A record of an earlier schema, rewritten for this one: keys renamed, everything else left as the user wrote it.
//!
//! Comments, order and spacing stay, also in lines that are commented out. Only [`RENAMED`] is applied: what a value
//! says is never touched. Refused: a text that is not TOML, a schema that this program does not know, and a record in
//! which a key stands under its old and its new name.

use toml_edit::{DocumentMut, InlineTable, Item, Key, Table, Value};

use super::SCHEMA;
use super::problem::{Problem, Problems};
use super::renamed::{Place, RENAMED, Renamed};

/// A record rewritten.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Migrated {
    pub from: u32,
    pub text: String,
    /// What was changed, a line each.
    pub changes: Vec<String>,
}

/// Rewrites a record; nothing when it has this program's schema already. `file` names it in messages.
///
/// # Errors
/// [`Problems`], with the place.
pub fn migrate(file: &str, text: &str) -> Result<Option<Migrated>, Problems> {
    let refuse = |problem| Err(Problems::new(file, text, vec![problem]));
    let document: toml_edit::Document<&str> = match toml_edit::Document::parse(text) {
        Ok(document) => document,
        Err(error) => {
            let at = error.span().unwrap_or(0..0);
            let example = "a line is: key = \"value\"; a table starts with [name] or [[name]]";
            return refuse(Problem::at(at, error.message().to_owned(), "this is not valid TOML", example));
        }
    };
    let schema = document.get("schema");
    let from = schema.and_then(Item::as_integer).and_then(|version| u32::try_from(version).ok());
    let from = match from {
        Some(SCHEMA) => return Ok(None),
        Some(from) if (1..SCHEMA).contains(&from) => from,
        _ => {
            let at = schema.and_then(Item::span).unwrap_or(0..0);
            let message =
                "the record does not say which schema version it has, or one that is not known".to_owned();
            let expected = format!("expected `schema = ` and a number from 1 to {SCHEMA}");
            return refuse(Problem::at(at, message, &expected, "schema = 1"));
        }
    };
    let mut document: DocumentMut = document.into_mut();
    let mut changes = Vec::new();
    if let Some(Item::Value(old)) = document.get_mut("schema") {
        let mut new = Value::from(i64::from(SCHEMA));
        *new.decor_mut() = old.decor().clone();
        *old = new;
        changes.push(format!("`schema = {from}` is now `schema = {SCHEMA}`"));
    }
    for renamed in RENAMED.iter().filter(|renamed| renamed.place == Place::Key) {
        let path: Vec<&str> = renamed.old.split('.').collect();
        let count = rename_in(document.as_table_mut(), &path, renamed.new)
            .map_err(|Both| Problems::new(file, text, vec![both(renamed)]))?;
        if count > 0 {
            let times = if count == 1 { String::new() } else { format!(", in {count} places") };
            changes.push(format!("`{}` is now `{}`{times}", renamed.old, new_path(renamed)));
        }
    }
    let mut new = document.to_string();
    for renamed in RENAMED.iter().filter(|renamed| renamed.place == Place::Key) {
        if let Some(done) = rename_commented(&new, renamed) {
            new = done;
            changes.push(format!(
                "`[{}]` is now `[{}]` in lines that are commented out",
                renamed.old,
                new_path(renamed)
            ));
        }
    }
    if text.contains("\r\n") && !new.contains('\r') {
        new = new.replace('\n', "\r\n");
    }
    Ok(Some(Migrated { from, text: new, changes }))
}

/// The key stands under both names.
struct Both;

fn both(renamed: &Renamed) -> Problem {
    let new = new_path(renamed);
    Problem::at(
        0..0,
        format!("the record has `{}` and `{new}`, which is its new name", renamed.old),
        "expected one of the two",
        &format!("put what stands under `{}` under `{new}`, then migrate", renamed.old),
    )
}

fn new_path(renamed: &Renamed) -> String {
    match renamed.old.rsplit_once('.') {
        Some((way, _)) => format!("{way}.{}", renamed.new),
        None => renamed.new.to_owned(),
    }
}

/// Renames the last key of a path wherever it stands, in lists of tables too; says how often.
fn rename_in(table: &mut Table, path: &[&str], new: &str) -> Result<usize, Both> {
    let Some((first, rest)) = path.split_first() else { return Ok(0) };
    if !rest.is_empty() {
        return match table.get_mut(first) {
            Some(Item::Table(inner)) => rename_in(inner, rest, new),
            Some(Item::ArrayOfTables(list)) => list.iter_mut().map(|inner| rename_in(inner, rest, new)).sum(),
            Some(Item::Value(value)) => rename_in_value(value, rest, new),
            Some(Item::None) | None => Ok(0),
        };
    }
    if !table.contains_key(first) {
        return Ok(0);
    }
    if table.contains_key(new) {
        return Err(Both);
    }
    let keys: Vec<String> = table.iter().map(|(key, _)| key.to_owned()).collect();
    for (key, item) in keys.iter().filter_map(|key| table.remove_entry(key)).collect::<Vec<_>>() {
        let key = if key.get() == *first { called(&key, new) } else { key };
        table.insert_formatted(&key, item);
    }
    Ok(1)
}

fn rename_in_value(value: &mut Value, path: &[&str], new: &str) -> Result<usize, Both> {
    match value {
        Value::InlineTable(table) => rename_inline(table, path, new),
        Value::Array(list) => list.iter_mut().map(|inner| rename_in_value(inner, path, new)).sum(),
        _ => Ok(0),
    }
}

fn rename_inline(table: &mut InlineTable, path: &[&str], new: &str) -> Result<usize, Both> {
    let Some((first, rest)) = path.split_first() else { return Ok(0) };
    if !rest.is_empty() {
        return table.get_mut(first).map_or(Ok(0), |value| rename_in_value(value, rest, new));
    }
    if !table.contains_key(first) {
        return Ok(0);
    }
    if table.contains_key(new) {
        return Err(Both);
    }
    let keys: Vec<String> = table.iter().map(|(key, _)| key.to_owned()).collect();
    for (key, value) in keys.iter().filter_map(|key| table.remove_entry(key)).collect::<Vec<_>>() {
        let key = if key.get() == *first { called(&key, new) } else { key };
        table.insert_formatted(&key, value);
    }
    Ok(1)
}

/// A new key with the space that was around the old one.
fn called(old: &Key, new: &str) -> Key {
    Key::new(new).with_leaf_decor(old.leaf_decor().clone()).with_dotted_decor(old.dotted_decor().clone())
}

/// Renames the headers of tables that are commented out, as a starting record has them. A text of several lines can
/// hold such a line too, so that the change counts only when the values stay the same.
fn rename_commented(text: &str, renamed: &Renamed) -> Option<String> {
    let new = new_path(renamed);
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let header = line.strip_prefix('#').map(str::trim_start).filter(|rest| rest.starts_with('['));
        let after = header
            .and_then(|rest| rest.trim_start_matches('[').strip_prefix(renamed.old))
            .filter(|after| after.starts_with([']', '.']));
        match after {
            Some(after) => {
                let kept = line.len() - after.len() - renamed.old.len();
                out.push_str(&line[..kept]);
                out.push_str(&new);
                out.push_str(after);
            }
            None => out.push_str(line),
        }
    }
    let values = |text: &str| text.parse::<toml::Table>().ok();
    (out != text && values(&out) == values(text)).then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn migrated(text: &str) -> Migrated {
        migrate("record", text).unwrap().unwrap()
    }

    #[test]
    fn keys_change_and_nothing_else_does() {
        let old = "# the bench's own head\nschema  =  1  # first\n\n[claims]\ncapacity = \"150 Ah\" # worn\n\n# kept from viewers\n[ redact ] # here\nfields = [\n  \"inspection.place\", # the house\n]\n\n[[redact.area]]\nphoto = \"photos/01.jpg\"\n\n# a hole\n[[redact.area]]\nphoto = \"photos/02.jpg\"\n\n[bms]\nnote = \"nobody may redact this\"\n\n# [[redact.area]]\n# photo = \"x\"\n# redact it\n";
        let new = old
            .replace("schema  =  1", "schema  =  2")
            .replace("[ redact ]", "[ withhold ]")
            .replace("[redact.area]", "[withhold.area]");
        let found = migrated(old);
        assert_eq!(found.text, new);
        assert_eq!(
            found.changes,
            [
                "`schema = 1` is now `schema = 2`",
                "`redact` is now `withhold`",
                "`[redact]` is now `[withhold]` in lines that are commented out",
            ]
        );
        assert_eq!(migrate("record", &found.text).unwrap(), None, "a second time there is nothing to do");
    }

    #[test]
    fn other_forms_of_the_same_table() {
        for (old, new) in [
            ("schema = 1\nredact.texts = [\"abc\"]\n", "schema = 2\nwithhold.texts = [\"abc\"]\n"),
            (
                "schema = 1\nredact = { texts = [\"abc\"] }\n",
                "schema = 2\nwithhold = { texts = [\"abc\"] }\n",
            ),
            (
                "schema = 1\r\n\r\n[redact]\r\ntexts = [\"abc\"]\r\n",
                "schema = 2\r\n\r\n[withhold]\r\ntexts = [\"abc\"]\r\n",
            ),
            (
                "schema = 1\nnotes = '''\n# [redact]\n'''\n[\"redact\"]\n",
                "schema = 2\nnotes = '''\n# [redact]\n'''\n[withhold]\n",
            ),
            ("schema = 1\n[cells]\nseries = 8", "schema = 2\n[cells]\nseries = 8\n"),
        ] {
            assert_eq!(migrated(old).text.trim_end(), new.trim_end(), "{old}");
        }
    }

    #[test]
    fn a_key_is_renamed_where_it_stands_at_any_depth() {
        let mut document: DocumentMut =
            "[[test]]\na = 1\nold = 2 # x\nb = 3\n[[test]]\nold = 4\n[more]\ntest = [{ c = 1, old = 5, d = 2 }]\n"
                .parse()
                .unwrap();
        let table = document.as_table_mut();
        assert!(matches!(rename_in(table, &["test", "old"], "new"), Ok(2)));
        assert!(matches!(rename_in(table, &["more", "test", "old"], "new"), Ok(1)));
        assert!(rename_in(table, &["test", "a"], "new").is_err(), "both names");
        assert_eq!(
            document.to_string(),
            "[[test]]\na = 1\nnew = 2 # x\nb = 3\n[[test]]\nnew = 4\n[more]\ntest = [{ c = 1, new = 5, d = 2 }]\n"
        );
    }

    #[test]
    fn what_cannot_be_migrated_says_why() {
        for (text, expected) in [
            ("schema = 1\n[redact]\n[withhold]\n", "which is its new name"),
            ("[claims]\n", "which schema version"),
            ("schema = 9\n", "which schema version"),
            ("schema = 0\n", "which schema version"),
            ("schema = \"1\"\n", "which schema version"),
            ("schema = \n", ""),
        ] {
            let problems = migrate("record", text).unwrap_err();
            assert!(problems.list()[0].message.contains(expected), "{text}: {problems:?}");
        }
    }
}
