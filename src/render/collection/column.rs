//! Columns: one description from which the CSV header, the JSON keys, the Parquet schema and the page of fields are
//! made, so that the four cannot drift apart.
//!
//! A cell is empty where something was not recorded or is not known. Nothing is ever put in its place: no zero, no
//! dash, no mean.

use std::fmt;

use jiff::civil::Date;
use serde::de::{Deserialize, Deserializer, IgnoredAny, MapAccess, Visitor};
use serde_json::{Map, Value, json};

use crate::judge::rules::{Grade, Outcome};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColumnKind {
    /// Text as recorded.
    Text,
    /// A number, in the column's unit.
    Number,
    /// A whole number.
    Count,
    /// Yes or no.
    YesNo,
    /// A day.
    Date,
}

/// What a kind is called where a column is described.
pub struct KindNames {
    /// On the page of fields.
    pub word: &'static str,
    /// In the Parquet file.
    pub parquet: &'static str,
    /// In a JSON Schema.
    pub json: &'static str,
    /// In W3C tabular metadata (Metadata Vocabulary for Tabular Data, 5.11.1).
    pub csvw: &'static str,
}

impl ColumnKind {
    /// Its names.
    pub const fn names(self) -> KindNames {
        let (word, parquet, json, csvw) = match self {
            Self::Text => ("text", "BYTE_ARRAY (STRING)", "string", "string"),
            Self::Number => ("number", "DOUBLE", "number", "double"),
            Self::Count => ("whole number", "INT64", "integer", "integer"),
            Self::YesNo => ("true or false", "BOOLEAN", "boolean", "boolean"),
            Self::Date => ("date", "INT32 (DATE)", "string", "date"),
        };
        KindNames { word, parquet, json, csvw }
    }

    /// A cell from how it stands in JSON Lines.
    fn read(self, value: &Value) -> Option<TableCell<'_>> {
        match (self, value) {
            (_, Value::Null) => Some(TableCell::Null),
            (Self::Text, Value::String(text)) => Some(TableCell::Text(text)),
            (Self::Date, Value::String(day)) => day.parse().ok().map(TableCell::Date),
            (Self::YesNo, Value::Bool(yes)) => Some(TableCell::YesNo(*yes)),
            (Self::Number, value) => value.as_f64().map(TableCell::Number),
            (Self::Count, value) => value.as_i64().map(TableCell::Count),
            _ => None,
        }
    }
}

/// A value of a column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TableCell<'a> {
    /// Not recorded, or not known.
    Null,
    /// Text.
    Text(&'a str),
    /// A number.
    Number(f64),
    /// A whole number.
    Count(i64),
    /// Yes or no.
    YesNo(bool),
    /// A day.
    Date(Date),
}

/// A value of a row that stands in a column: what the column holds follows from its type.
pub trait CellValue {
    /// What the column holds.
    const KIND: ColumnKind;

    /// The cell.
    fn cell(&self) -> TableCell<'_>;
}

/// Names the kind of a type and how a value of it becomes a cell.
macro_rules! cell_values {
    ($($of:ty, $kind:ident, $value:ident => $cell:expr;)*) => {
        $(impl CellValue for $of {
            const KIND: ColumnKind = ColumnKind::$kind;

            fn cell(&self) -> TableCell<'_> {
                let $value = self;
                $cell
            }
        })*
    };
}

cell_values! {
    String, Text, text => if text.is_empty() { TableCell::Null } else { TableCell::Text(text) };
    Grade, Text, grade => TableCell::Text(grade.word());
    Outcome, Text, outcome => TableCell::Text(outcome.words());
    // JSON has no word for infinity, and neither has a pack.
    f64, Number, number => if number.is_finite() { TableCell::Number(*number) } else { TableCell::Null };
    u32, Count, count => TableCell::Count(i64::from(*count));
    bool, YesNo, yes => TableCell::YesNo(*yes);
    Date, Date, day => TableCell::Date(*day);
}

impl<T: CellValue> CellValue for Option<T> {
    const KIND: ColumnKind = T::KIND;

    fn cell(&self) -> TableCell<'_> {
        self.as_ref().map_or(TableCell::Null, CellValue::cell)
    }
}

/// The values of a line of JSON Lines, in the order of the columns, whose names stand before them.
pub(super) struct LineValues(Vec<Value>);

impl<'de> Deserialize<'de> for LineValues {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Line;

        impl<'de> Visitor<'de> for Line {
            type Value = LineValues;

            fn expecting(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
                to.write_str("a row")
            }

            fn visit_map<M: MapAccess<'de>>(self, mut row: M) -> Result<LineValues, M::Error> {
                let mut values = Vec::new();
                while let Some((_, value)) = row.next_entry::<IgnoredAny, Value>()? {
                    values.push(value);
                }
                Ok(LineValues(values))
            }
        }

        from.deserialize_map(Line)
    }
}

/// A column, described.
#[derive(Debug, Clone, Copy)]
pub struct Info {
    /// Its name in every file.
    pub name: &'static str,
    /// What it holds.
    pub kind: ColumnKind,
    /// Its unit; empty where it has none.
    pub unit: &'static str,
    /// What it means.
    pub about: &'static str,
}

/// A column of rows `R`.
pub struct TableColumn<R: 'static> {
    /// Its description.
    pub info: Info,
    /// Its value in a row.
    pub get: for<'a> fn(&'a R) -> TableCell<'a>,
}

/// A table: its file name without ending, what a row is, its columns after [`KEY`].
pub struct Table<R: 'static> {
    /// File name without ending.
    pub name: &'static str,
    /// What one row is.
    pub about: &'static str,
    /// One inspection in so many ends a row group of the Parquet file, which has some thousand rows then.
    pub segment: u32,
    /// Columns after the key.
    pub columns: &'static [TableColumn<R>],
}

impl<R> Table<R> {
    /// Descriptions of all columns, the key first.
    pub fn infos(&self) -> impl Iterator<Item = &'static Info> + use<R> {
        std::iter::once(&KEY).chain(self.columns.iter().map(|column| &column.info))
    }
}

impl<R> Table<R> {
    /// The cells of a row, after the key.
    pub(super) fn cells<'a>(&self, row: &'a R) -> impl Iterator<Item = TableCell<'a>> + use<'a, R> {
        self.columns.iter().map(|column| (column.get)(row))
    }

    /// The cells of a line of its JSON Lines, the key first; none where it is no such line.
    pub(super) fn cells_of<'a>(&self, line: &'a LineValues) -> Option<Vec<TableCell<'a>>> {
        let LineValues(values) = line;
        let cells = self.infos().zip(values).map(|(info, value)| info.kind.read(value));
        (values.len() == self.columns.len() + 1).then(|| cells.collect())?
    }

    /// The JSON Schema (draft 2020-12) of a line of its JSON Lines.
    pub(super) fn json_schema(&self) -> Value {
        let property = |info: &Info| {
            let unit = if info.unit.is_empty() { String::new() } else { format!(", in {}", info.unit) };
            let about = json!({ "type": [info.kind.names().json, "null"], "description": format!("{}{unit}", info.about) });
            (info.name.to_owned(), about)
        };
        json!({
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": format!("underlid: a line of {}.jsonl", self.name),
            "description": self.about,
            "type": "object",
            "properties": self.infos().map(property).collect::<Map<_, _>>(),
            "required": self.infos().map(|info| info.name).collect::<Vec<_>>(),
            "additionalProperties": false,
        })
    }
}

/// The first column of every table.
pub const KEY: Info = Info {
    name: "inspection",
    kind: ColumnKind::Text,
    unit: "",
    about: "key of the inspection: the first 16 hexadecimal digits of the SHA-256 of its folder's path below the root; joins the tables",
};

/// A number as it is written in CSV and JSON: the shortest digits that read back as the same number.
pub(super) fn digits(number: f64, out: &mut String) {
    use std::fmt::Write;
    let size = number.abs();
    // Writing to a String cannot fail.
    let _ = if size != 0.0 && !(1e-9..1e15).contains(&size) {
        write!(out, "{number:e}")
    } else {
        write!(out, "{number}")
    };
}
