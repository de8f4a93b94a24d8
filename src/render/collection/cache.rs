//! What was kept of the last build, so that only what changed is judged anew.
//!
//! One line for each inspection, in the order of the walk, so that old and new can be read side by side without
//! holding either: `check key places json`, where `check` is a hash of the rest, `key` that of the tables, and `places` says
//! where in the files of the tables its rows stand. The first line says what all of it depends on: program, rule book, house
//! rules, templates, root and site, the last two as a hash, because a site may be handed on with its cache. For the same
//! reason nothing is kept of an inspection whose folder, logs or rows hold something withheld. The last line says what the
//! system showed of the files of the tables when they were written: without them the cache is of no use.
//!
//! The cache is not trusted. A line whose check is wrong is left out and counted; its numbers can at worst be those
//! somebody put there, never a place to write to or a page's name, which are made from the walk alone.

use std::collections::HashSet;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::find::FoundFolder;
use super::old_rows::RowsAt;
use super::page::Pages;
use super::site::SitePart;
use super::stamp::Stamps;
use super::table_files::WrittenTable;
use super::tables::PackRow;
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
    /// Its row.
    pub row: PackRow,
    /// What is said of it for each cause, and whether that is critical or major.
    pub said: Vec<(String, bool)>,
    /// Cells of text in its rows that a spreadsheet may take for a formula.
    pub like_formulas: usize,
}

/// Where the rows of an inspection stand in the tables of packs, findings and elements.
pub type Places = [RowsAt; 3];

fn check(text: &str) -> String {
    let mut check = Sha256Digest::of(text.as_bytes()).to_string();
    check.truncate(CHECK);
    check
}

/// What is kept of an inspection, as it stands in the cache.
#[derive(Debug, Clone)]
pub struct CacheLine {
    /// Where its rows stand.
    pub places: Places,
    /// A [`CachedPack`].
    pub json: String,
}

/// The tables of packs, findings and elements as they were written.
pub type WrittenTables = [WrittenTable; 3];

/// Reads the cache of the last build alongside the walk.
pub struct CacheReader {
    lines: Option<BufReader<File>>,
    waiting: Option<(String, String)>,
    tables: Option<WrittenTables>,
    /// Keys of this walk: a line of any other is of a folder that is gone.
    keys: HashSet<String>,
    /// Lines that were damaged.
    pub damaged: usize,
}

impl CacheReader {
    /// No cache.
    pub fn none() -> Self {
        Self { lines: None, waiting: None, tables: None, keys: HashSet::new(), damaged: 0 }
    }

    /// Opens the cache.
    ///
    /// # Errors
    /// Why it is not used; nothing to say where there is none.
    pub fn open(path: &Path, head: &str, found: &[FoundFolder]) -> Result<Self, Option<&'static str>> {
        let mut file = match open::plain(path) {
            Ok((file, _)) => file,
            Err(refused) if refused.is_gone() => return Err(None),
            Err(Refused::NotAPlainFile { .. }) => return Err(Some("it is not a plain file")),
            Err(_) => return Err(Some("it cannot be read")),
        };
        let last = last_line(&mut file).map_err(|_| Some("it cannot be read"))?;
        let mut reader = Self {
            lines: Some(BufReader::with_capacity(1 << 18, file)),
            waiting: None,
            tables: None,
            keys: found.iter().map(|found| found.key.clone()).collect(),
            damaged: 0,
        };
        match reader.line() {
            Some(Ok((key, rest))) if key == HEAD && rest == head => {}
            Some(Ok((key, _))) if key == HEAD => {
                return Err(Some(
                    "it was made by another build of the program, with another rule book, other house rules, another title, or for another place",
                ));
            }
            _ => return Err(Some("its first line is damaged")),
        }
        let tables = parts(&last).filter(|(key, _)| *key == TABLES);
        let tables = tables.and_then(|(_, tables)| serde_json::from_str(tables).ok());
        reader.tables = Some(tables.ok_or(Some("its last line is damaged"))?);
        Ok(reader)
    }

    /// The tables as they were written.
    pub fn tables(&self) -> Option<&WrittenTables> {
        self.tables.as_ref()
    }

    /// The next line: its key and what follows, or nothing to say of a damaged one. None at the end.
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
        Some(parts(&line).map(|(key, rest)| (key.to_owned(), rest.to_owned())).ok_or(()))
    }

    /// The lines of some inspections, which follow in the order of the walk.
    pub fn of(&mut self, some: &[FoundFolder]) -> Vec<Option<CacheLine>> {
        let read = |rest: String| {
            let (places, json) = rest.split_once(' ')?;
            Some(CacheLine { places: serde_json::from_str(places).ok()?, json: json.to_owned() })
        };
        // The cache may be anybody's: nothing beyond the end of a table is asked for.
        let within = |line: &CacheLine, tables: &WrittenTables| {
            line.places.iter().zip(tables).all(|(at, table)| table.holds(at))
        };
        let lines: Vec<Option<CacheLine>> =
            some.iter().map(|found| self.one(&found.key).and_then(read)).collect();
        let tables = self.tables.as_ref();
        lines
            .into_iter()
            .map(|line| line.filter(|line| tables.is_some_and(|tables| within(line, tables))))
            .collect()
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
                return self.waiting.take().map(|(_, rest)| rest);
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
/// Key of the last line; no folder has it.
const TABLES: &str = "tables";

/// The key of a line and what follows, where its check is right.
fn parts(line: &str) -> Option<(&str, &str)> {
    line.split_once(' ').filter(|(sum, rest)| *sum == check(rest)).and_then(|(_, rest)| rest.split_once(' '))
}

/// The last line of the cache without its end; empty where it has none. The file is at its beginning again.
fn last_line(file: &mut File) -> io::Result<String> {
    let length = file.metadata()?.len();
    file.seek(SeekFrom::Start(length.saturating_sub(LONGEST as u64)))?;
    let mut bytes = Vec::new();
    (&*file).take(LONGEST as u64).read_to_end(&mut bytes)?;
    file.rewind()?;
    let line = bytes.strip_suffix(b"\n").and_then(|rest| rest.rsplit(|byte| *byte == b'\n').next());
    Ok(String::from_utf8_lossy(line.unwrap_or_default()).into_owned())
}

/// The cache of this build.
pub struct CacheWriter(SitePart);

impl CacheWriter {
    /// Begins it.
    pub fn begin(part: SitePart, head: &str) -> Result<Self, CollectionError> {
        let mut begun = Self(part);
        begun.write(&format!("{HEAD} {head}"))?;
        Ok(begun)
    }

    /// Adds the line of an inspection, from what `CachedPack` is as JSON. One that is too long is not kept.
    pub fn push(&mut self, key: &str, places: &Places, json: &str) -> Result<(), CollectionError> {
        let Ok(places) = serde_json::to_string(places) else { return Ok(()) };
        let rest = format!("{key} {places} {json}");
        if rest.len() + CHECK + 2 <= LONGEST { self.write(&rest) } else { Ok(()) }
    }

    fn write(&mut self, rest: &str) -> Result<(), CollectionError> {
        writeln!(self.0.to, "{} {rest}", check(rest)).map_err(CollectionError::write(self.0.path()))
    }

    /// Ends it, once the tables have their names.
    pub fn finish(mut self, tables: &WrittenTables) -> Result<(), CollectionError> {
        let tables =
            serde_json::to_string(tables).map_err(|error| CollectionError::Inner(error.to_string()))?;
        self.write(&format!("{TABLES} {tables}"))?;
        self.0.finish().map(|_| ())
    }
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
        "cache": 2,
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
        let line = |rest: &str| format!("{} {rest}\n", check(rest));
        let at = r#"{"csv":[0,0],"json":[0,0],"rows":0}"#;
        let of = |found: &FoundFolder, json: &str| line(&format!("{} [{at},{at},{at}] {json}", found.key));
        let table = WrittenTable::empty();
        let tables = line(&format!("{TABLES} {}", serde_json::to_string(&[&table, &table, &table]).unwrap()));
        let sound = line(&format!("{HEAD} h")) + &of(&a, "1") + &of(&b, "2") + &of(&c, "3") + &tables;
        let read = |text: &str, head: &str| {
            fs::write(&path, text).unwrap();
            let mut reader =
                CacheReader::open(&path, head, &[a.clone(), b.clone(), c.clone()]).map_err(Option::unwrap)?;
            let lines = reader.of(&[a.clone(), b.clone(), c.clone()]);
            let kept =
                lines.iter().map(|line| line.as_ref().map_or("-", |line| &line.json)).collect::<String>();
            Ok::<_, &str>((kept, reader.damaged))
        };
        let well = |kept: &str, damaged| Ok((kept.to_owned(), damaged));
        let first = Err("its first line is damaged");
        let last = Err("its last line is damaged");
        assert_eq!(read(&sound, "h"), well("123", 0));
        assert!(read(&sound, "other").unwrap_err().contains("another rule book"));
        assert_eq!(read(&sound.replace(" 2\n", " 9\n"), "h"), well("1-3", 1));
        assert_eq!(read(&sound.replace(&of(&b, "2"), ""), "h"), well("1-3", 0));
        // A place beyond the end of a table, in a line that is otherwise right.
        let beyond = of(&b, "2").replace("[0,0]", "[0,1]");
        let beyond = line(beyond.trim_end().split_once(' ').unwrap().1);
        assert_eq!(read(&sound.replace(&of(&b, "2"), &beyond), "h"), well("1-3", 0));
        assert_eq!(read(&sound[..sound.len() - 3], "h"), last);
        assert_eq!(read(sound.strip_suffix(&tables).unwrap(), "h"), last);
        assert_eq!(read("", "h"), first);
        assert_eq!(read(&"\u{0}".repeat(100), "h"), first);
    }
}
