//! The tables as Parquet (Apache Parquet format, snappy pages), written column by column.
//!
//! Every column is optional and flat. Rows are gathered into row groups of bounded size, so that a table of a million
//! findings is never in memory as a whole. The file carries no time and no path: the same rows give the same bytes.

use std::collections::HashMap;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::sync::Arc;

use jiff::civil::date;
use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;

use super::CollectionError;
use super::column::{ColumnKind, Info, Table, TableCell};
use super::site::{Site, SitePart};

/// Rows of a row group: large enough to compress well, small enough to hold.
const GROUP: usize = 1 << 16;

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
        rows.iter().try_for_each(|row| self.writer.push(self.table, key, row)).map_err(wrong)
    }

    pub(super) fn finish(self) -> Result<(), CollectionError> {
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
            .build();
        let file = SerializedFileWriter::new(to, Arc::new(schema), Arc::new(properties))?;
        let columns = table.infos().map(|info| Gathered {
            values: Values::of(info.kind),
            levels: Vec::new(),
            known: HashMap::new(),
            last: None,
        });
        Ok(Self { file, columns: columns.collect(), rows: 0 })
    }

    /// Adds a row.
    fn push<R>(&mut self, table: &Table<R>, key: &str, row: &R) -> Result<(), ParquetError> {
        let mut columns = self.columns.iter_mut();
        if let Some(first) = columns.next() {
            first.push(TableCell::Text(key));
        }
        for (gathered, column) in columns.zip(table.columns) {
            gathered.push((column.get)(row));
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
