//! What was kept of the last build, so that only what changed is judged anew.
//!
//! One line for each inspection, in the order of the walk, so that old and new can be read side by side without
//! holding either: `check key json`, where `check` is a hash of the rest and `key` that of the tables. The first line
//! says what all of it depends on: program, rule book, house rules, templates, root and site, the last two as a hash,
//! because a site may be handed on with its cache. For the same reason nothing is kept of an inspection whose folder,
//! logs or rows hold something withheld.
//!
//! The cache is not trusted. A line whose check is wrong is left out and counted; its numbers can at worst be those
//! somebody put there, never a place to write to or a page's name, which are made from the walk alone.

use std::collections::HashSet;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::find::FoundFolder;
use super::page::Pages;
use super::row::PackEntry;
use super::site::SitePart;
use super::stamp::Stamps;
use super::{CollectionError, Options};
use crate::evidence::hash::Sha256Digest;
use crate::judge::inspection::book;
use crate::judge::rules::BUILT_IN;
use crate::record::open::{self, Refused};

/// Longest line that is kept or read: an inspection with a path of many thousands of elements is judged every time.
const LONGEST: usize = 8 << 20;
/// Hexadecimal digits of a line's check.
const CHECK: usize = 16;

/// What is kept of an inspection.
#[derive(Debug, Serialize, Deserialize)]
pub struct CachedPack {
    /// The files behind it.
    pub stamps: Stamps,
    /// Whether a write-up was linked.
    pub report: bool,
    /// Size of its page, and when it was written, nanoseconds.
    pub page: (u64, i128),
    /// Its rows.
    pub entry: PackEntry,
}

fn check(text: &str) -> String {
    let mut check = Sha256Digest::of(text.as_bytes()).to_string();
    check.truncate(CHECK);
    check
}

/// Reads the cache of the last build alongside the walk.
pub struct CacheReader {
    lines: Option<BufReader<File>>,
    waiting: Option<(String, String)>,
    /// Keys of this walk: a line of any other is of a folder that is gone.
    keys: HashSet<String>,
    /// Lines that were damaged.
    pub damaged: usize,
}

impl CacheReader {
    /// Opens the cache, and says why it is not used where it is not.
    pub fn open(path: &Path, head: &str, found: &[FoundFolder]) -> (Self, Option<String>) {
        let without = |why: Option<&str>| {
            let told = why.map(|why| format!("the cache is not used: {why}; everything is judged anew"));
            (Self { lines: None, waiting: None, keys: HashSet::new(), damaged: 0 }, told)
        };
        let file = match open::plain(path) {
            Ok((file, _)) => file,
            Err(refused) if refused.is_gone() => return without(None),
            Err(Refused::NotAPlainFile { .. }) => return without(Some("it is not a plain file")),
            Err(_) => return without(Some("it cannot be read")),
        };
        let mut reader = Self {
            lines: Some(BufReader::with_capacity(1 << 18, file)),
            waiting: None,
            keys: found.iter().map(|found| found.key.clone()).collect(),
            damaged: 0,
        };
        match reader.line() {
            Some(Ok((key, line))) if key == HEAD && json(&line) == head => (reader, None),
            Some(Ok((key, _))) if key == HEAD => without(Some(
                "it was made by another build of the program, with another rule book, other house rules, another title, or for another place",
            )),
            _ => without(Some("its first line is damaged")),
        }
    }

    /// The next line: its key and the whole of it, or nothing to say of a damaged one. None at the end.
    fn line(&mut self) -> Option<Result<(String, String), ()>> {
        let lines = self.lines.as_mut()?;
        let mut bytes = Vec::new();
        let limit = LONGEST as u64 + 1;
        let read = lines.by_ref().take(limit).read_until(b'\n', &mut bytes).unwrap_or(0);
        if read == 0 {
            self.lines = None;
            return None;
        }
        if bytes.pop() != Some(b'\n') {
            // Without its end the rest of the file cannot be told apart.
            self.lines = None;
            return Some(Err(()));
        }
        let Ok(line) = String::from_utf8(bytes) else { return Some(Err(())) };
        let parts = line
            .split_once(' ')
            .filter(|(sum, rest)| *sum == check(rest))
            .and_then(|(_, rest)| rest.split_once(' '));
        Some(parts.map(|(key, _)| key.to_owned()).map(|key| (key, line)).ok_or(()))
    }

    /// The lines of some inspections, which follow in the order of the walk, as they stand in the cache.
    pub fn of(&mut self, some: &[FoundFolder]) -> Vec<Option<String>> {
        some.iter().map(|found| self.one(&found.key)).collect()
    }

    fn one(&mut self, wanted: &str) -> Option<String> {
        loop {
            if self.waiting.is_none() {
                match self.line()? {
                    Ok(line) => self.waiting = Some(line),
                    Err(()) => {
                        self.damaged += 1;
                        continue;
                    }
                }
            }
            let waiting = &self.waiting.as_ref()?.0;
            if waiting == wanted {
                return self.waiting.take().map(|(_, line)| line);
            }
            // A line whose turn comes later says that the folder asked for is new.
            if self.keys.contains(waiting) {
                return None;
            }
            self.waiting = None;
        }
    }
}

/// Key of the first line; no folder has it.
const HEAD: &str = "head";

/// Begins the cache of this build.
pub fn begin(part: &mut SitePart, head: &str) -> Result<(), CollectionError> {
    let rest = format!("{HEAD} {head}");
    writeln!(part.to, "{} {rest}", check(&rest)).map_err(CollectionError::write(part.path()))
}

/// The line of an inspection; none where it would be too long to be read again.
pub fn line(found: &FoundFolder, kept: &CachedPack) -> Option<String> {
    let json = serde_json::to_string(kept).ok()?;
    checked(found, &json)
}

/// What a line holds besides its check and its key.
pub fn json(line: &str) -> &str {
    line.splitn(3, ' ').nth(2).unwrap_or_default()
}

fn checked(found: &FoundFolder, json: &str) -> Option<String> {
    let rest = format!("{} {json}", found.key);
    (rest.len() + CHECK + 2 <= LONGEST).then(|| format!("{} {rest}\n", check(&rest)))
}

/// What everything in the cache depends on.
///
/// # Errors
/// When a file of house rules cannot be read.
pub fn head(options: &Options, root: &Path, site: &Path, pages: &Pages) -> Result<String, CollectionError> {
    let mut house = String::new();
    for file in &book(None, &options.house)?.files {
        let _ = write!(house, "{} ", file.sha256.as_deref().unwrap_or_default());
    }
    let _ = write!(house, "{}", options.house.folder_rules);
    let place = format!("{}\n{}", super::find::folder_text(root), super::find::folder_text(site));
    let head = serde_json::json!({
        "cache": 1,
        "program": env!("CARGO_PKG_VERSION"),
        // Two builds of one version may judge differently while the program is being worked on.
        "build": build(),
        "book": Sha256Digest::of(BUILT_IN.map(|(_, text)| text).concat().as_bytes()).to_string(),
        "templates": Sha256Digest::of((super::page::templates_text() + &pages.own).as_bytes()).to_string(),
        "house": house.trim_end(),
        "title": options.title,
        "keys": options.keys.iter().map(|(name, key)| format!("{name} {key:?}")).collect::<Vec<_>>(),
        "place": Sha256Digest::of(place.as_bytes()).to_string(),
    });
    Ok(head.to_string())
}

/// Size and time of the program's own file.
fn build() -> Option<(u64, i128)> {
    let meta = std::fs::metadata(std::env::current_exe().ok()?).ok()?;
    Some((meta.len(), super::stamp::nanoseconds(meta.modified().ok()?)))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    fn found(name: &str) -> FoundFolder {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir_all(folder.path().join(name)).unwrap();
        fs::write(folder.path().join(name).join("inspection.toml"), "").unwrap();
        super::super::find::find(folder.path(), Path::new("/nowhere")).remove(0)
    }

    #[test]
    fn damage_is_seen_line_by_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("cache");
        let (a, b, c) = (found("a"), found("b"), found("c"));
        let head_rest = format!("{HEAD} h");
        let sound = format!(
            "{} {head_rest}\n{}{}{}",
            check(&head_rest),
            checked(&a, "1").unwrap(),
            checked(&b, "2").unwrap(),
            checked(&c, "3").unwrap()
        );
        let read = |text: &str, head: &str| {
            fs::write(&path, text).unwrap();
            let (mut reader, told) = CacheReader::open(&path, head, &[a.clone(), b.clone(), c.clone()]);
            let lines = reader.of(&[a.clone(), b.clone(), c.clone()]);
            (
                lines.iter().map(|l| l.as_deref().map_or("-", json)).collect::<String>(),
                reader.damaged,
                told.is_some(),
            )
        };
        assert_eq!(read(&sound, "h"), ("123".to_owned(), 0, false));
        assert_eq!(read(&sound, "other"), ("---".to_owned(), 0, true));
        assert_eq!(read(&sound.replace(" 2\n", " 9\n"), "h"), ("1-3".to_owned(), 1, false));
        assert_eq!(read(&sound[..sound.len() - 3], "h"), ("12-".to_owned(), 1, false));
        assert_eq!(read("", "h"), ("---".to_owned(), 0, true));
        assert_eq!(read(&"\u{0}".repeat(100), "h"), ("---".to_owned(), 0, true));
    }
}
