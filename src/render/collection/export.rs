//! The tables as CSV (RFC 4180, lines end with LF) and as JSON Lines.
//!
//! A spreadsheet may take a cell that begins with `=`, `+`, `-`, `@` or a tab for a formula: in the CSV such a text has an
//! apostrophe before it, in JSON and Parquet it stands as recorded. The page of fields says so beside the files, and
//! [`Lines::like_formulas`] counts such cells, so that the command can tell.

use std::fmt::Write;

use serde_json::Value;

use super::column::{KEY, Table, TableCell, digits};
use crate::render::markup::csv_cell;

/// Rows of a table as text.
#[derive(Debug, Clone, Default)]
pub struct Lines {
    /// CSV.
    pub csv: String,
    /// JSON Lines.
    pub json: String,
    /// Cells of text that a spreadsheet may take for a formula.
    pub like_formulas: usize,
}

impl Lines {
    /// Adds a row.
    pub fn push<R>(&mut self, table: &Table<R>, key: &str, row: &R) {
        self.csv.push_str(key);
        self.json.push('{');
        json_name(&mut self.json, KEY.name);
        json_text(&mut self.json, key);
        for column in table.columns {
            let cell = (column.get)(row);
            if let TableCell::Text(text) = cell {
                self.like_formulas += usize::from(text.starts_with(['=', '+', '-', '@', '\t', '\r']));
            }
            self.csv.push(',');
            csv_field(&mut self.csv, cell);
            self.json.push(',');
            json_name(&mut self.json, column.info.name);
            json_cell(&mut self.json, cell);
        }
        self.csv.push('\n');
        self.json.push_str("}\n");
    }
}

/// Adds a line to a CSV file: the key of an inspection and the cells that follow.
pub fn csv_line(out: &mut String, cells: &[TableCell<'_>]) {
    for (index, cell) in cells.iter().enumerate() {
        if index > 0 {
            out.push(',');
        }
        csv_field(out, *cell);
    }
    out.push('\n');
}

/// The first line of a CSV file.
pub fn csv_header<R>(table: &Table<R>) -> String {
    let names: Vec<&str> = table.infos().map(|info| info.name).collect();
    format!("{}\n", names.join(","))
}

fn csv_field(out: &mut String, cell: TableCell<'_>) {
    match cell {
        TableCell::Null => {}
        TableCell::Text(text) => out.push_str(&csv_cell(text)),
        other => plain(out, other),
    }
}

fn json_cell(out: &mut String, cell: TableCell<'_>) {
    match cell {
        TableCell::Null => out.push_str("null"),
        TableCell::Text(text) => json_text(out, text),
        TableCell::Date(date) => {
            let _ = write!(out, "\"{date}\"");
        }
        other => plain(out, other),
    }
}

/// Cells that are written alike in both formats.
fn plain(out: &mut String, cell: TableCell<'_>) {
    // Writing to a String cannot fail.
    let _ = match cell {
        TableCell::Number(number) => {
            digits(number, out);
            Ok(())
        }
        TableCell::Count(count) => write!(out, "{count}"),
        TableCell::YesNo(yes) => write!(out, "{yes}"),
        TableCell::Date(date) => write!(out, "{date}"),
        TableCell::Null | TableCell::Text(_) => Ok(()),
    };
}

/// Names of columns hold nothing that JSON would escape.
fn json_name(out: &mut String, name: &str) {
    out.push('"');
    out.push_str(name);
    out.push_str("\":");
}

/// A text as JSON, its quotation marks included. A data block in a page must not hold the end of its own element: `<` is
/// written as an escape, which reads as the same text.
pub(super) fn json_text(out: &mut String, text: &str) {
    let plain = |byte: u8| byte >= b' ' && !matches!(byte, b'"' | b'\\' | b'<');
    if text.bytes().all(plain) {
        out.extend(["\"", text, "\""]);
    } else {
        out.push_str(&Value::from(text).to_string().replace('<', "\\u003c"));
    }
}

#[cfg(test)]
mod tests {
    use super::super::column::CellValue;
    use super::*;

    #[test]
    fn cells_of_text() {
        let cases = [
            ("plain", "plain", r#""plain""#),
            ("a, b", "\"a, b\"", r#""a, b""#),
            ("say \"x\"", "\"say \"\"x\"\"\"", r#""say \"x\"""#),
            ("two\nlines", "\"two\nlines\"", r#""two\nlines""#),
            ("=1+1", "\"'=1+1\"", r#""=1+1""#),
            (" kept ", "\" kept \"", r#"" kept ""#),
            ("</script>", "</script>", r#""\u003c/script>""#),
            ("C:\\x", "C:\\x", r#""C:\\x""#),
        ];
        for (text, csv, json) in cases {
            let (mut c, mut j) = (String::new(), String::new());
            csv_field(&mut c, TableCell::Text(text));
            json_cell(&mut j, TableCell::Text(text));
            assert_eq!((c.as_str(), j.as_str()), (csv, json));
            assert_eq!(serde_json::from_str::<String>(&j).unwrap(), text);
        }
    }

    #[test]
    fn numbers_read_back_as_they_were() {
        for number in [0.0, 150.0, -12.3, 1.0 / 3.0, 1e300, 1e-12, 123_456_789.0, f64::MIN_POSITIVE] {
            let mut text = String::new();
            json_cell(&mut text, TableCell::Number(number));
            assert_eq!(text.parse::<f64>().unwrap().to_bits(), number.to_bits(), "{text}");
            assert!(text.len() < 30, "{text}");
        }
        let mut text = String::new();
        json_cell(&mut text, f64::NAN.cell());
        assert_eq!(text, "null");
    }
}
