//! Which operations have added parts already, and when which part was answered.
//!
//! Setting a field twice changes nothing; adding a busbar twice would. A line is written and flushed to disk before the
//! record is: after a crash in between, the parts are not there and are added when the operation is sent again; after a
//! crash behind it, they are there and are not.
//!
//! What was confirmed is kept in a file of its own that only grows: an editor that saves an older text over the record takes
//! answers out of it, and they are offered back. It holds what the record held, is no evidence, and goes into no bag.
//!
//! The times of answers only help to propose which part a photo shows. They are no evidence: they are written without
//! flushing, and a journal that is gone costs nothing but proposals.

use std::collections::HashMap;
use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use jiff::civil;
use serde::{Deserialize, Serialize};

use crate::record::edit::{Edit, Pick, Place};
use crate::record::open;

/// The file beside the record. It belongs to the program, is no evidence, and may be deleted when no page is open.
const NAME: &str = ".underlid.fill";
/// Size beyond which it is begun anew.
const LARGEST: u64 = 4 << 20;
/// The file of what was confirmed; beyond a size it is laid aside once under the second name.
const CONFIRMED: [&str; 2] = [".underlid.answers", ".underlid.answers.old"];

#[derive(Serialize, Deserialize)]
struct Noted {
    id: String,
    said: String,
    /// What tells each added part.
    parts: Vec<Added>,
}

/// A part that was added.
#[derive(Serialize, Deserialize)]
struct Added {
    /// The list it was added to, `path.element` or `test[2].reading`.
    list: String,
    /// Keys and values that tell it from others.
    keys: Vec<(String, String)>,
}

/// When a part was answered, by this machine's clock.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Answered {
    /// Date and time on the spot.
    pub(super) at: civil::DateTime,
    /// How far that is ahead of UTC, minutes.
    pub(super) offset: i16,
    /// The question.
    pub(super) key: String,
    /// What a photo of it shows.
    pub(super) shows: String,
}

/// Notes that a question was answered now; a journal that cannot be written is no reason to refuse an answer.
pub(super) fn answered(folder: &Path, key: &str, shows: &str) {
    let now = jiff::ZonedDateTime::now();
    let offset = i16::try_from(now.offset().seconds() / 60).unwrap_or(0);
    let at = now.datetime().round(jiff::Unit::Second).unwrap_or_else(|_| now.datetime());
    let line = Answered { at, offset, key: key.to_owned(), shows: shows.to_owned() };
    if let Ok(line) = serde_json::to_string(&line)
        && let Ok(mut file) = to_add(folder)
    {
        let _ = file.write_all(format!("\n{line}\n").as_bytes());
    }
}

/// The answers whose times are known, in the order in which they were given.
pub(super) fn times(folder: &Path) -> Vec<Answered> {
    let Some(noted) = read(&path(folder)) else { return Vec::new() };
    noted.lines().filter_map(|line| serde_json::from_str(line).ok()).collect()
}

/// An answer as the record held it when it was confirmed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Confirmed {
    /// Date and time on the spot.
    pub(super) at: civil::DateTime,
    /// The question.
    pub(super) key: String,
    /// What it was answered; nothing where the answer was taken back.
    pub(super) value: Option<String>,
    /// Where it was given.
    pub(super) device: String,
}

/// Notes what the record holds now of the questions whose answers changed.
pub(super) fn confirmed(folder: &Path, device: &str, changed: Vec<(String, Option<String>)>) {
    if changed.is_empty() {
        return;
    }
    let [path, aside] = CONFIRMED.map(|name| folder.join(name));
    if too_large(&path) {
        let _ = fs::rename(&path, aside);
    }
    let now = jiff::ZonedDateTime::now().datetime();
    let at = now.round(jiff::Unit::Second).unwrap_or(now);
    let mut lines = "\n".to_owned();
    for (key, value) in changed {
        let line = Confirmed { at, key, value, device: device.to_owned() };
        lines.extend(serde_json::to_string(&line).map(|line| line + "\n"));
    }
    if let Ok(mut file) = open::append(&path) {
        let _ = file.write_all(lines.as_bytes());
    }
}

/// What each question was answered last.
pub(super) fn last_confirmed(folder: &Path) -> HashMap<String, Confirmed> {
    let texts = CONFIRMED.iter().rev().filter_map(|name| read(&folder.join(name)));
    let lines = |text: String| {
        text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect::<Vec<Confirmed>>()
    };
    texts.flat_map(lines).map(|line| (line.key.clone(), line)).collect()
}

fn read(path: &Path) -> Option<String> {
    let mut noted = String::new();
    let file = open::plain(path).ok()?.0;
    file.take(2 * LARGEST).read_to_string(&mut noted).ok()?;
    Some(noted)
}

fn too_large(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok_and(|meta| meta.is_file() && meta.len() > LARGEST)
}

fn to_add(folder: &Path) -> io::Result<fs::File> {
    let path = path(folder);
    if too_large(&path) {
        fs::remove_file(&path)?;
    }
    open::append(&path)
}

fn path(folder: &Path) -> PathBuf {
    folder.join(NAME)
}

/// What was said when an operation added its parts, when they are in the record.
pub(super) fn done(folder: &Path, id: &str, text: &str) -> Option<String> {
    let noted = read(&path(folder))?;
    let record: toml::Table = text.parse().ok()?;
    // A line that a power cut left half written does not read and counts as not there.
    noted
        .lines()
        .filter_map(|line| serde_json::from_str::<Noted>(line).ok())
        .find(|noted| noted.id == id && noted.parts.iter().all(|part| is_there(&record, part)))
        .map(|noted| noted.said)
}

fn is_there(record: &toml::Table, part: &Added) -> bool {
    let Ok(place) = part.list.parse::<Place>() else { return false };
    let mut at: Option<&toml::Value> = None;
    for (depth, step) in place.0.iter().enumerate() {
        at = if depth == 0 { record.get(&step.key) } else { at.and_then(|value| value.get(&step.key)) };
        if let Some(Pick::Index(index)) = step.pick {
            at = at.and_then(|value| value.get(index));
        }
    }
    let says = |part: &toml::Value, (key, value): &(String, String)| match part.get(key) {
        Some(toml::Value::String(text)) => text == value,
        Some(toml::Value::Integer(number)) => number.to_string() == *value,
        _ => false,
    };
    let parts = at.and_then(toml::Value::as_array);
    parts.is_some_and(|parts| parts.iter().any(|there| part.keys.iter().all(|key| says(there, key))))
}

/// Notes what an operation is about to add.
pub(super) fn note(folder: &Path, id: &str, edits: &[Edit], said: &str) -> io::Result<()> {
    let parts = edits
        .iter()
        .filter_map(|edit| match edit {
            Edit::Append { list, fields, .. } => {
                // Most parts are told by their id; a reading of a test has none, and all of it tells it.
                let telling = if list.0.first().is_some_and(|step| step.key == "test" && step.pick.is_some())
                {
                    fields.len()
                } else {
                    1
                };
                Some(Added { list: list.to_string(), keys: fields.iter().take(telling).cloned().collect() })
            }
            _ => None,
        })
        .collect();
    let noted = Noted { id: id.to_owned(), said: said.to_owned(), parts };
    let line = serde_json::to_string(&noted).map_err(io::Error::other)?;
    let mut file = to_add(folder)?;
    // A newline first: the line before may have been cut off.
    file.write_all(format!("\n{line}\n").as_bytes())?;
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noted_and_there_is_done() {
        let folder = tempfile::tempdir().unwrap();
        let edits = [Edit::Append {
            list: Place::keys("path.element"),
            at: 0,
            fields: vec![("id".into(), "bar".into()), ("kind".into(), "busbar".into())],
        }];
        let with = "[[path.element]]\nid = \"bar\"\n";
        assert_eq!(done(folder.path(), "a1", with), None);
        note(folder.path(), "a1", &edits, "added: bar").unwrap();
        fs::OpenOptions::new()
            .append(true)
            .open(folder.path().join(NAME))
            .unwrap()
            .write_all(b"{\"id\":\"half")
            .unwrap();
        note(folder.path(), "a2", &edits, "added: bar").unwrap();
        assert_eq!(done(folder.path(), "a1", "schema = 2\n"), None);
        assert_eq!(done(folder.path(), "a1", with).as_deref(), Some("added: bar"));
        assert_eq!(done(folder.path(), "a2", with).as_deref(), Some("added: bar"));
        assert_eq!(done(folder.path(), "other", with), None);
        let row = |value: &str| {
            let fields = [("of", "pack"), ("at", "15 min"), ("value", value)];
            let fields = fields.iter().map(|(key, value)| ((*key).into(), (*value).into())).collect();
            [Edit::Append { list: Place::keys("test").at(1).then("reading"), at: usize::MAX, fields }]
        };
        note(folder.path(), "r1", &row("77 A"), "added: 77 A").unwrap();
        note(folder.path(), "r2", &row("78 A"), "added: 78 A").unwrap();
        let with = "[[test]]\nid = \"a\"\n[[test]]\nid = \"b\"\n[[test.reading]]\nof = \"pack\"\nat = \"15 min\"\nvalue = \"77 A\"\n";
        assert_eq!(done(folder.path(), "r1", with).as_deref(), Some("added: 77 A"));
        assert_eq!(done(folder.path(), "r2", with), None);
        // What was answered when is told by the same file.
        answered(folder.path(), "label-energy", "claims");
        let [answer] = times(folder.path()).try_into().unwrap();
        assert_eq!((answer.key.as_str(), answer.shows.as_str()), ("label-energy", "claims"));
    }
}
