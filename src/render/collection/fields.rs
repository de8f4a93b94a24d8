//! The description of the tables: a page for people, and W3C tabular metadata for programs. Both are made from the
//! columns themselves.

use serde::Serialize;
use serde_json::{Value, json};

use super::column::{Info, Table};

/// A table, described.
#[derive(Debug, Serialize)]
pub(super) struct Described {
    name: &'static str,
    about: &'static str,
    number: usize,
    columns: Vec<Field>,
}

#[derive(Debug, Serialize)]
struct Field {
    name: &'static str,
    kind: &'static str,
    parquet: &'static str,
    unit: &'static str,
    about: &'static str,
}

/// Describes a table with so many rows.
pub(super) fn describe<R>(table: &Table<R>, number: usize) -> Described {
    let columns = table.infos().map(|info| Field {
        name: info.name,
        kind: info.kind.names().word,
        parquet: info.kind.names().parquet,
        unit: info.unit,
        about: info.about,
    });
    Described { name: table.name, about: table.about, number, columns: columns.collect() }
}

/// The metadata of a CSV file, as W3C's Metadata Vocabulary for Tabular Data (2015) has it.
pub(super) fn metadata<R>(table: &Table<R>) -> Value {
    let column = |info: &Info| {
        let mut column = json!({
            "name": info.name,
            "titles": info.name,
            "datatype": info.kind.names().csvw,
            "null": "",
            "dc:description": info.about,
        });
        if let (Some(object), false) = (column.as_object_mut(), info.unit.is_empty()) {
            object.insert("schema:unitText".to_owned(), info.unit.into());
        }
        column
    };
    json!({
        "url": format!("{}.csv", table.name),
        "dc:description": table.about,
        "dialect": { "header": true, "encoding": "utf-8", "lineTerminators": ["\n"] },
        "tableSchema": { "columns": table.infos().map(column).collect::<Vec<Value>>() },
    })
}

/// The file that describes several tables.
pub(super) fn group(tables: Vec<Value>) -> String {
    let group = json!({ "@context": "http://www.w3.org/ns/csvw", "tables": tables });
    let mut text = serde_json::to_string_pretty(&group).unwrap_or_default();
    text.push('\n');
    text
}
