//! The tables as Parquet (Apache Parquet format, snappy pages), written column by column.
//!
//! Every column is optional and flat. Rows are gathered into row groups of bounded size, so that a table of a million
//! findings is never in memory as a whole. The file carries no time and no path: the same rows give the same bytes.
//!
//! Row groups end with a segment at the latest, and where a segment ends follows from the keys alone: an inspection that
//! changes, comes or goes changes the row groups of one segment, and those of all others are copied from the file of the last
//! build.
//!
//! The file is made on a thread of its own: beside everything else, the rows around a change are read and written again.

use std::collections::HashMap;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::ops::Range;
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::JoinHandle;

use jiff::civil::date;
use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::column::writer::ColumnCloseResult;
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::{
    ColumnChunkMetaData, KeyValue, ParquetMetaData, ParquetMetaDataOptions, ParquetMetaDataReader,
};
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::statistics::Statistics;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use serde::{Deserialize, Serialize};

use super::CollectionError;
use super::column::{ColumnKind, Info, Table, TableCell};
use super::old_rows::{Bytes, OldJson, RowsAt};
use super::site::{Site, SitePart, Written};

/// Most rows of a row group: large enough to compress well, small enough to hold.
const GROUP: usize = 1 << 16;

/// True where a segment ends with an inspection, which one in so many does. Other digits of its key say which share of a
/// collection it is in.
pub(super) fn ends_segment(key: &str, segment: u32) -> bool {
    let number = key.get(8..16).and_then(|digits| u32::from_str_radix(digits, 16).ok());
    number.is_some_and(|number| number % segment == 0)
}

/// The row groups of a segment, and which bytes of the JSON Lines have the same rows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Segment {
    json: Bytes,
    groups: Range<usize>,
}

/// The last build, from which row groups are copied, or their rows read where the file is no longer what was written.
#[derive(Debug)]
pub(super) struct OldParquet {
    json: OldJson,
    groups: Option<OldGroups>,
}

/// The row groups of the last build.
#[derive(Debug)]
pub(super) struct OldGroups {
    file: File,
    meta: ParquetMetaData,
    segments: Vec<Segment>,
}

impl OldGroups {
    /// Reads where they are; none where the file cannot be read.
    fn open(file: File, segments: Vec<Segment>) -> Option<Self> {
        // As written: a summary in their place would not be written the same again.
        let whole = ParquetMetaDataOptions::new().with_encoding_stats_as_mask(false);
        let reader = ParquetMetaDataReader::new().with_metadata_options(Some(whole));
        let meta = reader.parse_and_finish(&file).ok()?;
        Some(Self { file, meta, segments })
    }
}

impl OldParquet {
    /// With a handle of its own on the JSON Lines, and the file itself where it is as it was written.
    pub(super) fn new(json: OldJson, file: Option<File>, segments: &[Segment]) -> Self {
        Self { json, groups: file.and_then(|file| OldGroups::open(file, segments.to_vec())) }
    }

    /// The row groups that hold just these rows, where there are any, and the file with them.
    pub(super) fn groups(&self, rows: &[RowsAt]) -> Option<(&OldGroups, Range<usize>)> {
        let old = self.groups.as_ref()?;
        let from = rows.first()?.json.0;
        let end = rows.iter().try_fold(from, |end, at| (at.json.0 == end).then(|| end + at.json.1))?;
        let same = old.segments.iter().find(|segment| segment.json == (from, end - from))?;
        let number: i64 = rows.iter().map(|at| i64::from(at.rows)).sum();
        let groups = old.meta.row_groups().get(same.groups.clone())?;
        let alike = groups.iter().map(|group| group.num_rows()).sum::<i64>() == number;
        alike.then(|| (old, same.groups.clone()))
    }
}

/// Steps that may wait for the thread: with the rows of so many inspections, or so many segments to be copied.
const WAITING: usize = 64;

/// What comes next in the file of a table.
enum Step<R> {
    /// Rows of an inspection that were made now, under its key.
    Made(String, Vec<R>),
    /// Rows of the last build.
    Kept(Vec<RowsAt>),
    /// The end of a segment, whose JSON Lines end there.
    End(u64),
}

/// The file of a table, as it is made beside everything else.
pub(super) struct ParquetThread<R: 'static> {
    to: SyncSender<Step<R>>,
    thread: JoinHandle<Result<Groups<R>, CollectionError>>,
    /// Rows of the last build that are not yet handed over: those of a segment go in one step.
    kept: Vec<RowsAt>,
}

impl<R: Send + 'static> ParquetThread<R> {
    pub(super) fn begin(
        site: &Site,
        table: &'static Table<R>,
        old: Option<OldParquet>,
    ) -> Result<Self, CollectionError> {
        let mut groups = Groups::new(Parquet::begin(site, table)?, old);
        let (to, from) = sync_channel(WAITING);
        let thread = std::thread::spawn(move || {
            for step in from {
                match step {
                    Step::Made(key, rows) => groups.push(&key, &rows)?,
                    Step::Kept(kept) => kept.into_iter().try_for_each(|at| groups.keep(at))?,
                    Step::End(to) => groups.end_segment(to)?,
                }
            }
            Ok(groups)
        });
        Ok(Self { to, thread, kept: Vec::new() })
    }

    /// Adds rows that were made now.
    pub(super) fn push(&mut self, key: &str, rows: Vec<R>) {
        if !rows.is_empty() {
            self.hand_over();
            self.send(Step::Made(key.to_owned(), rows));
        }
    }

    /// Adds rows of the last build.
    pub(super) fn keep(&mut self, at: RowsAt) {
        if at.rows > 0 {
            self.kept.push(at);
        }
    }

    /// Ends a segment, whose JSON Lines end at `to`.
    pub(super) fn end_segment(&mut self, to: u64) {
        self.hand_over();
        self.send(Step::End(to));
    }

    fn hand_over(&mut self) {
        if !self.kept.is_empty() {
            let kept = std::mem::take(&mut self.kept);
            self.send(Step::Kept(kept));
        }
    }

    /// A thread that has ended has an error to tell, which `finish` gives.
    fn send(&self, step: Step<R>) {
        let _ = self.to.send(step);
    }

    /// Ends the file.
    pub(super) fn finish(mut self, to: u64) -> Result<(Written, Vec<Segment>), CollectionError> {
        self.end_segment(to);
        drop(self.to);
        let ended = self.thread.join();
        ended.map_err(|_| CollectionError::Inner("the writer of Parquet stopped".to_owned()))??.finish()
    }
}

/// The row groups of a table, segment by segment: made where something changed, else copied.
struct Groups<R: 'static> {
    parquet: Parquet<R>,
    old: Option<OldParquet>,
    segments: Vec<Segment>,
    /// Where the segment begins in the JSON Lines, and its first row group.
    from: (u64, usize),
    /// Rows of the segment that are not yet read, because it may be copied whole. None once a row was made.
    kept: Option<Vec<RowsAt>>,
}

impl<R> Groups<R> {
    fn new(parquet: Parquet<R>, old: Option<OldParquet>) -> Self {
        Self { parquet, old, segments: Vec::new(), from: (0, 0), kept: Some(Vec::new()) }
    }

    fn push(&mut self, key: &str, rows: &[R]) -> Result<(), CollectionError> {
        self.read_kept()?;
        self.parquet.push(key, rows)
    }

    fn keep(&mut self, at: RowsAt) -> Result<(), CollectionError> {
        match &mut self.kept {
            Some(kept) => kept.push(at),
            None => self.read(&at)?,
        }
        Ok(())
    }

    fn read_kept(&mut self) -> Result<(), CollectionError> {
        let kept = self.kept.take().unwrap_or_default();
        kept.iter().try_for_each(|at| self.read(at))
    }

    fn read(&mut self, at: &RowsAt) -> Result<(), CollectionError> {
        let Some(old) = &self.old else { return Ok(()) };
        old.json.each(at, self.parquet.table, |cells| {
            self.parquet.writer.push(cells.iter().copied()).map_err(wrong)
        })
    }

    fn end_segment(&mut self, to: u64) -> Result<(), CollectionError> {
        let same = self.kept.as_deref().zip(self.old.as_ref());
        match same.and_then(|(kept, old)| old.groups(kept)) {
            Some((file, groups)) => self.parquet.writer.copy(file, groups).map_err(wrong)?,
            None => {
                self.read_kept()?;
                self.parquet.writer.flush().map_err(wrong)?;
            }
        }
        let groups = self.from.1..self.parquet.writer.groups;
        if !groups.is_empty() {
            self.segments.push(Segment { json: (self.from.0, to - self.from.0), groups: groups.clone() });
        }
        (self.from, self.kept) = ((to, groups.end), Some(Vec::new()));
        Ok(())
    }

    fn finish(self) -> Result<(Written, Vec<Segment>), CollectionError> {
        Ok((self.parquet.finish()?, self.segments))
    }
}

enum Values {
    Text(Vec<ByteArray>),
    Number(Vec<f64>),
    Count(Vec<i64>),
    YesNo(Vec<bool>),
    Date(Vec<i32>),
}

impl Values {
    const fn of(kind: ColumnKind) -> Self {
        match kind {
            ColumnKind::Text => Self::Text(Vec::new()),
            ColumnKind::Number => Self::Number(Vec::new()),
            ColumnKind::Count => Self::Count(Vec::new()),
            ColumnKind::YesNo => Self::YesNo(Vec::new()),
            ColumnKind::Date => Self::Date(Vec::new()),
        }
    }

    fn clear(&mut self) {
        match self {
            Self::Text(values) => values.clear(),
            Self::Number(values) => values.clear(),
            Self::Count(values) => values.clear(),
            Self::YesNo(values) => values.clear(),
            Self::Date(values) => values.clear(),
        }
    }
}

struct Gathered {
    values: Values,
    /// 1 where there is a value, 0 where there is none.
    levels: Vec<i16>,
    /// The same text occurs in thousands of rows: it is kept once in a row group, and often a row has that of the one before.
    known: HashMap<String, ByteArray>,
    last: Option<ByteArray>,
}

impl Gathered {
    fn push(&mut self, cell: TableCell<'_>) {
        let there = match (&mut self.values, cell) {
            (Values::Text(values), TableCell::Text(text)) => {
                let again = self.last.take().filter(|last| last.data() == text.as_bytes());
                let value = again.or_else(|| self.known.get(text).cloned()).unwrap_or_else(|| {
                    let value = ByteArray::from(text.as_bytes().to_vec());
                    self.known.insert(text.to_owned(), value.clone());
                    value
                });
                self.last = Some(value.clone());
                values.push(value);
                true
            }
            (Values::Number(values), TableCell::Number(number)) => {
                values.push(number);
                true
            }
            (Values::Count(values), TableCell::Count(count)) => {
                values.push(count);
                true
            }
            (Values::YesNo(values), TableCell::YesNo(yes)) => {
                values.push(yes);
                true
            }
            (Values::Date(values), TableCell::Date(day)) => match days(day) {
                Some(days) => {
                    values.push(days);
                    true
                }
                None => false,
            },
            // A cell of another kind than its column would be our own mistake; tests/collection.rs writes every column.
            _ => false,
        };
        self.levels.push(i16::from(there));
    }
}

/// Days since 1970-01-01, as Parquet's DATE counts them.
fn days(day: jiff::civil::Date) -> Option<i32> {
    let span = day.since((jiff::Unit::Day, date(1970, 1, 1))).ok()?;
    Some(span.get_days())
}

/// The file of one table in a site.
pub(super) struct Parquet<R: 'static> {
    table: &'static Table<R>,
    part: SitePart,
    /// On a second handle, because the library's writer keeps what it writes to.
    writer: Writer<BufWriter<File>>,
}

impl<R> Parquet<R> {
    pub(super) fn begin(site: &Site, table: &'static Table<R>) -> Result<Self, CollectionError> {
        let part = site.begin(&format!("{}.parquet", table.name))?;
        let file = part.to.get_ref().try_clone().map_err(CollectionError::write(part.path()))?;
        let writer = Writer::new(BufWriter::with_capacity(1 << 18, file), table).map_err(wrong)?;
        Ok(Self { table, part, writer })
    }

    pub(super) fn push(&mut self, key: &str, rows: &[R]) -> Result<(), CollectionError> {
        let table = self.table;
        let cells = |row| std::iter::once(TableCell::Text(key)).chain(table.cells(row));
        rows.iter().try_for_each(|row| self.writer.push(cells(row))).map_err(wrong)
    }

    pub(super) fn finish(self) -> Result<Written, CollectionError> {
        let mut file = self.writer.finish().map_err(wrong)?;
        file.flush().map_err(CollectionError::write(self.part.path()))?;
        self.part.finish()
    }
}

fn wrong(error: ParquetError) -> CollectionError {
    CollectionError::Inner(format!("Parquet: {error}"))
}

/// Writes one table.
struct Writer<W: Write + Send> {
    file: SerializedFileWriter<W>,
    columns: Vec<Gathered>,
    rows: usize,
    groups: usize,
}

impl<W: Write + Send> Writer<W> {
    /// Begins a file.
    ///
    /// # Errors
    /// What the system or the library says.
    fn new<R>(to: W, table: &Table<R>) -> Result<Self, ParquetError> {
        let fields = table.infos().map(|info| field(info).map(Arc::new)).collect::<Result<Vec<_>, _>>()?;
        let schema = Type::group_type_builder(table.name).with_fields(fields).build()?;
        let notes = table.infos().map(|info| {
            let unit = if info.unit.is_empty() { String::new() } else { format!(" ({})", info.unit) };
            KeyValue::new(format!("column.{}", info.name), format!("{}{unit}", info.about))
        });
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_created_by(format!("underlid {}", env!("CARGO_PKG_VERSION")))
            .set_key_value_metadata(Some(notes.collect()))
            // Row groups are small enough to be skipped as wholes.
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_offset_index_disabled(true)
            .build();
        let file = SerializedFileWriter::new(to, Arc::new(schema), Arc::new(properties))?;
        let columns = table.infos().map(|info| Gathered {
            values: Values::of(info.kind),
            levels: Vec::new(),
            known: HashMap::new(),
            last: None,
        });
        Ok(Self { file, columns: columns.collect(), rows: 0, groups: 0 })
    }

    /// Adds a row: its key, and the cells that follow.
    fn push<'a>(&mut self, cells: impl Iterator<Item = TableCell<'a>>) -> Result<(), ParquetError> {
        for (gathered, cell) in self.columns.iter_mut().zip(cells) {
            gathered.push(cell);
        }
        self.rows += 1;
        if self.rows >= GROUP { self.flush() } else { Ok(()) }
    }

    fn flush(&mut self) -> Result<(), ParquetError> {
        if self.rows == 0 {
            return Ok(());
        }
        let mut group = self.file.next_row_group()?;
        for gathered in &mut self.columns {
            write(&mut group, gathered)?;
            gathered.values.clear();
            gathered.levels.clear();
            gathered.known.clear();
        }
        group.close()?;
        self.rows = 0;
        self.groups += 1;
        Ok(())
    }

    /// Copies row groups as they stand in another file.
    fn copy(&mut self, old: &OldGroups, groups: Range<usize>) -> Result<(), ParquetError> {
        for old_group in old.meta.row_groups().get(groups).unwrap_or_default() {
            let mut group = self.file.next_row_group()?;
            for metadata in old_group.columns() {
                let (bytes, rows) = (metadata.compressed_size(), old_group.num_rows());
                let copied = ColumnCloseResult {
                    bytes_written: u64::try_from(bytes).unwrap_or_default(),
                    rows_written: u64::try_from(rows).unwrap_or_default(),
                    metadata: as_written(metadata)?,
                    bloom_filter: None,
                    column_index: None,
                    offset_index: None,
                };
                group.append_column(&old.file, copied)?;
            }
            group.close()?;
            self.groups += 1;
        }
        Ok(())
    }

    /// Ends the file and gives back where it was written to.
    fn finish(mut self) -> Result<W, ParquetError> {
        self.flush()?;
        self.file.into_inner()
    }
}

fn write<W: Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    gathered: &Gathered,
) -> Result<(), ParquetError> {
    let Some(mut column) = group.next_column()? else {
        return Err(ParquetError::General("a column too many".to_owned()));
    };
    let levels = Some(gathered.levels.as_slice());
    match &gathered.values {
        Values::Text(values) => column.typed::<ByteArrayType>().write_batch(values, levels, None)?,
        Values::Number(values) => column.typed::<DoubleType>().write_batch(values, levels, None)?,
        Values::Count(values) => column.typed::<Int64Type>().write_batch(values, levels, None)?,
        Values::YesNo(values) => column.typed::<BoolType>().write_batch(values, levels, None)?,
        Values::Date(values) => column.typed::<Int32Type>().write_batch(values, levels, None)?,
    };
    column.close()
}

/// What a file says of a column, as it was written: whole numbers have their least and their greatest value in an older place too,
/// which reading lets go.
fn as_written(metadata: &ColumnChunkMetaData) -> Result<ColumnChunkMetaData, ParquetError> {
    let Some(statistics) = metadata.statistics().cloned() else { return Ok(metadata.clone()) };
    let statistics = match statistics {
        Statistics::Int32(values) => values.with_backwards_compatible_min_max(true).into(),
        Statistics::Int64(values) => values.with_backwards_compatible_min_max(true).into(),
        other => other,
    };
    metadata.clone().into_builder().set_statistics(statistics).build()
}

fn field(info: &Info) -> Result<Type, ParquetError> {
    let (physical, logical) = match info.kind {
        ColumnKind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        ColumnKind::Number => (Physical::DOUBLE, None),
        ColumnKind::Count => (Physical::INT64, None),
        ColumnKind::YesNo => (Physical::BOOLEAN, None),
        ColumnKind::Date => (Physical::INT32, Some(LogicalType::Date)),
    };
    Type::primitive_type_builder(info.name, physical)
        .with_logical_type(logical)
        .with_repetition(Repetition::OPTIONAL)
        .build()
}

#[cfg(test)]
mod tests {
    use super::days;

    #[test]
    fn dates_count_from_1970() {
        for (day, expected) in
            [("1970-01-01", 0), ("1969-12-31", -1), ("2026-03-14", 20526), ("2000-02-29", 11016)]
        {
            assert_eq!(days(day.parse().unwrap()), Some(expected), "{day}");
        }
    }
}
