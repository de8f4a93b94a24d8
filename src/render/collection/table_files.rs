//! The files of one table, written inspection by inspection. What has not changed since the last build is copied from the
//! files of that build: bytes of the text files and, of the Parquet file, whole row groups. So a change costs what changed,
//! and a copy of the rest, and the files are the same byte for byte as those of a build from nothing.
//!
//! The rows themselves are kept nowhere else: where they are needed again, for the row group around a change or for a CSV
//! file that somebody saved anew, they are read from the JSON Lines.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom, Write};

use serde::{Deserialize, Serialize};

use super::CollectionError;
use super::column::Table;
use super::export::{Lines, csv_header, csv_line};
use super::old_rows::{Bytes, OldJson, RowsAt, damaged};
#[cfg(feature = "parquet")]
use super::parquet::{OldParquet, ParquetThread, Segment};
use super::site::{Site, SitePart, Written};
use crate::record::open;

/// Bytes that are copied in one go.
const COPIED_AT_ONCE: u64 = 32 << 20;

/// The files of a table as a build left them: what the next one copies from.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct WrittenTable {
    csv: Written,
    json: Written,
    #[cfg(feature = "parquet")]
    parquet: Written,
    #[cfg(feature = "parquet")]
    segments: Vec<Segment>,
}

/// The files of a table of the last build.
#[derive(Debug)]
pub(super) struct OldTable {
    /// None where somebody changed it: its lines are made again.
    csv: Option<File>,
    json: OldJson,
    #[cfg(feature = "parquet")]
    parquet: OldParquet,
}

impl OldTable {
    /// Opens the files of a table; none where its JSON Lines are no longer those of the last build.
    pub(super) fn open<R>(site: &Site, table: &Table<R>, written: &WrittenTable) -> Option<Self> {
        let name = |ending: &str| format!("{}.{ending}", table.name);
        let unchanged = |ending: &str, written: Written| {
            let (file, _) = open::plain(&site.folder().join(name(ending))).ok()?;
            (site.stamp(&name(ending)) == written).then_some(file)
        };
        let json = || {
            Some(OldJson { file: unchanged("jsonl", written.json)?, path: site.folder().join(name("jsonl")) })
        };
        Some(Self {
            csv: unchanged("csv", written.csv),
            json: json()?,
            #[cfg(feature = "parquet")]
            parquet: OldParquet::new(json()?, unchanged("parquet", written.parquet), &written.segments),
        })
    }
}

impl WrittenTable {
    /// Files that are not there.
    #[cfg(test)]
    pub(super) fn empty() -> Self {
        Self {
            csv: None,
            json: None,
            #[cfg(feature = "parquet")]
            parquet: None,
            #[cfg(feature = "parquet")]
            segments: Vec::new(),
        }
    }

    /// True where a place lies within the files.
    pub(super) fn holds(&self, at: &RowsAt) -> bool {
        let within = |(from, length): Bytes, file: Written| {
            let size = file.map_or(0, |(size, _)| size);
            from.checked_add(length).is_some_and(|end| end <= size)
        };
        within(at.json, self.json) && within(at.csv, self.csv)
    }
}

/// A text file that is being written.
struct TextFile {
    part: SitePart,
    /// Bytes so far, those still to be copied included.
    at: u64,
    old: Option<File>,
    /// Bytes of the old file that come next.
    run: Bytes,
}

impl TextFile {
    fn begin(site: &Site, name: &str, old: Option<File>) -> Result<Self, CollectionError> {
        Ok(Self { part: site.begin(name)?, at: 0, old, run: (0, 0) })
    }

    fn write(&mut self, text: &str) -> Result<Bytes, CollectionError> {
        self.copy_run()?;
        self.part.to.write_all(text.as_bytes()).map_err(CollectionError::write(self.part.path()))?;
        Ok(self.moved_on(text.len() as u64))
    }

    /// Copies bytes of the old file, those of neighbours in one go.
    fn copy(&mut self, (from, length): Bytes) -> Result<Bytes, CollectionError> {
        if self.run.0 + self.run.1 != from {
            self.copy_run()?;
            self.run.0 = from;
        }
        self.run.1 += length;
        let at = self.moved_on(length);
        // Not all at the end, when there is little else to do beside it.
        if self.run.1 >= COPIED_AT_ONCE {
            self.copy_run()?;
        }
        Ok(at)
    }

    fn moved_on(&mut self, length: u64) -> Bytes {
        let from = self.at;
        self.at += length;
        (from, length)
    }

    fn copy_run(&mut self) -> Result<(), CollectionError> {
        let (from, length) = self.run;
        self.run = (from + length, 0);
        let (Some(mut old), true) = (self.old.as_ref(), length > 0) else { return Ok(()) };
        let to = &mut self.part.to;
        let copied = to
            .flush()
            .and_then(|()| old.seek(SeekFrom::Start(from)))
            // From file to file, so that the system copies.
            .and_then(|_| std::io::copy(&mut old.take(length), to.get_mut()))
            .map_err(CollectionError::write(self.part.path()))?;
        if copied == length { Ok(()) } else { Err(damaged(self.part.path())) }
    }

    fn finish(mut self) -> Result<Written, CollectionError> {
        self.copy_run()?;
        self.part.finish()
    }
}

/// The files of a table that are being written.
pub(super) struct TableFiles<R: 'static> {
    table: &'static Table<R>,
    csv: TextFile,
    json: TextFile,
    old_json: Option<OldJson>,
    #[cfg(feature = "parquet")]
    parquet: ParquetThread<R>,
    /// Rows so far.
    pub(super) rows: usize,
}

impl<R: Send + 'static> TableFiles<R> {
    pub(super) fn begin(
        site: &Site,
        table: &'static Table<R>,
        old: Option<OldTable>,
    ) -> Result<Self, CollectionError> {
        let name = |ending: &str| format!("{}.{ending}", table.name);
        #[cfg(feature = "parquet")]
        let (old, old_parquet) = match old {
            Some(OldTable { csv, json, parquet }) => (Some((csv, json)), Some(parquet)),
            None => (None, None),
        };
        #[cfg(not(feature = "parquet"))]
        let old = old.map(|old| (old.csv, old.json));
        let (old_csv, old_json) = old.unzip();
        let copied = |json: &OldJson| json.file.try_clone().map_err(CollectionError::read(&json.path));
        let mut csv = TextFile::begin(site, &name("csv"), old_csv.flatten())?;
        csv.write(&csv_header(table))?;
        Ok(Self {
            table,
            csv,
            json: TextFile::begin(site, &name("jsonl"), old_json.as_ref().map(copied).transpose()?)?,
            old_json,
            #[cfg(feature = "parquet")]
            parquet: ParquetThread::begin(site, table, old_parquet)?,
            rows: 0,
        })
    }

    /// Writes the rows of an inspection.
    pub(super) fn push(&mut self, key: &str, lines: &Lines, rows: Vec<R>) -> Result<RowsAt, CollectionError> {
        self.rows += rows.len();
        // No inspection has as many rows as that.
        let number = u32::try_from(rows.len()).unwrap_or(u32::MAX);
        #[cfg(feature = "parquet")]
        self.parquet.push(key, rows);
        #[cfg(not(feature = "parquet"))]
        let _ = key;
        Ok(RowsAt { csv: self.csv.write(&lines.csv)?, json: self.json.write(&lines.json)?, rows: number })
    }

    /// Copies the rows of an inspection from where they stand in the files of the last build.
    pub(super) fn copy(&mut self, at: &RowsAt) -> Result<RowsAt, CollectionError> {
        let csv = match (&self.csv.old, &self.old_json) {
            (None, Some(json)) => {
                let mut lines = String::new();
                json.each(at, self.table, |cells| {
                    csv_line(&mut lines, cells);
                    Ok(())
                })?;
                self.csv.write(&lines)?
            }
            _ => self.csv.copy(at.csv)?,
        };
        #[cfg(feature = "parquet")]
        self.parquet.keep(*at);
        self.rows += at.rows as usize;
        Ok(RowsAt { csv, json: self.json.copy(at.json)?, rows: at.rows })
    }

    /// To be called after each inspection: where its key says so a row group ends.
    pub(super) fn end(&mut self, key: &str) {
        #[cfg(feature = "parquet")]
        if super::parquet::ends_segment(key, self.table.segment) {
            self.parquet.end_segment(self.json.at);
        }
        #[cfg(not(feature = "parquet"))]
        let _ = key;
    }

    /// Ends the files.
    pub(super) fn finish(self) -> Result<WrittenTable, CollectionError> {
        // First what may still fail over what the last build left, while nothing has its name.
        #[cfg(feature = "parquet")]
        let (parquet, segments) = self.parquet.finish(self.json.at)?;
        let (csv, json) = (self.csv, self.json);
        let (csv, json) = rayon::join(|| csv.finish(), || json.finish());
        Ok(WrittenTable {
            csv: csv?,
            json: json?,
            #[cfg(feature = "parquet")]
            parquet,
            #[cfg(feature = "parquet")]
            segments,
        })
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::super::tables::{ELEMENTS, ElementRow};
    use super::*;

    /// A pack: its name, and what its rows say.
    type Pack = (u32, &'static str);

    /// One pack in four ends a segment.
    fn key(name: u32) -> String {
        format!("{:08x}{:08x}", name, if name % 4 == 3 { 0 } else { name + 1 })
    }

    fn rows((name, says): Pack) -> Vec<ElementRow> {
        let row = |position| ElementRow {
            position,
            element: Some(says.to_owned()),
            heat_w: Some(f64::from(name) / 3.0),
            weakest: position == 1,
            ..ElementRow::default()
        };
        (1..=name % 3).map(row).collect()
    }

    /// Builds the files of a table, and says where the rows of each pack stand; packs that are as before are copied.
    fn build(
        site: &Site,
        packs: &[Pack],
        before: Option<&(WrittenTable, Vec<(Pack, RowsAt)>)>,
    ) -> (WrittenTable, Vec<(Pack, RowsAt)>) {
        let old = before.and_then(|(written, _)| OldTable::open(site, &ELEMENTS, written));
        let known = old.is_some();
        let mut files = TableFiles::begin(site, &ELEMENTS, old).unwrap();
        let mut places = Vec::new();
        for pack in packs {
            let key = key(pack.0);
            let kept =
                before.filter(|_| known).and_then(|(_, places)| places.iter().find(|(old, _)| old == pack));
            let at = match kept {
                Some((_, at)) => files.copy(at).unwrap(),
                None => {
                    let (mut lines, rows) = (Lines::default(), rows(*pack));
                    rows.iter().for_each(|row| lines.push(&ELEMENTS, &key, row));
                    files.push(&key, &lines, rows).unwrap()
                }
            };
            files.end(&key);
            places.push((*pack, at));
        }
        (files.finish().unwrap(), places)
    }

    #[test]
    fn what_is_copied_is_what_would_be_written() {
        let folder = tempfile::tempdir().unwrap();
        let site = Site::open(&folder.path().join("site")).unwrap();
        let fresh = Site::open(&folder.path().join("fresh")).unwrap();
        let said = ["plain", "=1+1", "two\nlines, \"quoted\"", "Ω < 3"];
        let packs: Vec<Pack> = (0..30).map(|name| (name, said[name as usize % 4])).collect();
        let without = |names: &[u32]| {
            packs.iter().filter(|pack| !names.contains(&pack.0)).copied().collect::<Vec<Pack>>()
        };
        let changed = |names: &[u32]| {
            packs
                .iter()
                .map(|&(name, says)| (name, if names.contains(&name) { "changed" } else { says }))
                .collect()
        };
        let steps: [(&str, Vec<Pack>); 11] = [
            ("from nothing", packs.clone()),
            ("nothing changed", packs.clone()),
            ("one in the middle", changed(&[10])),
            ("back, and another", changed(&[22])),
            ("the first and the last", changed(&[1, 29])),
            ("the end of a segment goes", without(&[11])),
            ("it comes back", packs.clone()),
            ("a whole segment goes", without(&[8, 9, 10, 11])),
            ("one without rows goes", without(&[12])),
            ("all but one", without(&packs[1..].iter().map(|pack| pack.0).collect::<Vec<_>>())),
            ("all", packs.clone()),
        ];
        let same = |step: &str, ending: &str| {
            let read = |site: &Site| fs::read(site.folder().join(format!("elements.{ending}"))).unwrap();
            assert!(read(&site) == read(&fresh), "{step}: {ending}");
        };
        let mut before = None;
        for (step, packs) in &steps {
            before = Some(build(&site, packs, before.as_ref()));
            build(&fresh, packs, None);
            ["csv", "jsonl"].iter().for_each(|ending| same(step, ending));
            #[cfg(feature = "parquet")]
            same(step, "parquet");
        }
        // Saved anew by somebody, byte for byte or not: made again.
        let csv = site.folder().join("elements.csv");
        fs::write(&csv, "changed by hand").unwrap();
        #[cfg(feature = "parquet")]
        fs::remove_file(site.folder().join("elements.parquet")).unwrap();
        before = Some(build(&site, &packs, before.as_ref()));
        ["csv", "jsonl"].iter().for_each(|ending| same("saved anew", ending));
        #[cfg(feature = "parquet")]
        same("saved anew", "parquet");
        // Of changed JSON Lines nothing is used.
        fs::write(site.folder().join("elements.jsonl"), "{}").unwrap();
        assert!(OldTable::open(&site, &ELEMENTS, &before.unwrap().0).is_none());
    }

    #[cfg(feature = "parquet")]
    #[test]
    fn whole_segments_are_found_again() {
        let folder = tempfile::tempdir().unwrap();
        let site = Site::open(&folder.path().join("site")).unwrap();
        let packs: Vec<Pack> = (0..12).map(|name| (name, "plain")).collect();
        let (written, places) = build(&site, &packs, None);
        let old = OldTable::open(&site, &ELEMENTS, &written).unwrap().parquet;
        let groups = |of: std::ops::Range<usize>| {
            let rows: Vec<RowsAt> = places[of].iter().map(|(_, at)| *at).filter(|at| at.rows > 0).collect();
            old.groups(&rows).map(|(_, groups)| groups)
        };
        assert_eq!([groups(0..4), groups(4..8), groups(8..12)], [Some(0..1), Some(1..2), Some(2..3)]);
        assert_eq!([groups(0..2), groups(5..8), groups(4..12), groups(0..0)], [None, None, None, None]);
    }
}
