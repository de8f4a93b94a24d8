//! Headers on several levels: names, units, groups, kinds of numbers, numbers of columns.
//!
//! Names and units may stand on two lines, either one above the other; a line of groups above the names tells columns of
//! one name apart. Where the quantities stand above and the places below ("Voltage (V)" over "pack" and "cell 1"), neither
//! line tells a log by itself and both together make the name. What only counts or types the columns is passed over.

use std::borrow::Cow;

use super::chunk::text;
use super::column::{Column, Meaning, is_of};
use super::number::{self, Cell};
use super::table::{Row, Table, data_cells};
use super::unit::unit_of;

/// Words for kinds of numbers, as exports of databases and data frames write them under the names.
const KINDS: &str = "bool boolean date datetime double float float32 float64 int int32 int64 integer \
     number real str string text time timestamp";

fn filled(fields: &[Cow<'_, [u8]>]) -> Vec<String> {
    let cells = fields.iter().map(|field| text(field).trim().to_owned());
    cells.filter(|cell| !cell.is_empty() && cell != "-").collect()
}

/// Most of the cells are units.
pub(super) fn is_units(fields: &[Cow<'_, [u8]>]) -> bool {
    let cells = filled(fields);
    let is_unit = |cell: &&String| {
        let bare = cell.trim_matches(['(', ')', '[', ']']);
        unit_of(bare).is_some() || bare.contains(":m")
    };
    let units = cells.iter().filter(is_unit).count();
    units >= 2 && units * 10 >= cells.len() * 7
}

/// A row that says nothing of what the columns mean: kinds of numbers, or the numbers of the columns.
pub(super) fn is_filler(fields: &[Cow<'_, [u8]>]) -> bool {
    let cells = filled(fields);
    let kinds = cells.iter().all(|cell| is_of(&cell.to_lowercase(), KINDS));
    // Three at least, or a header of "time" and "number" would pass.
    cells.len() >= 3 && (kinds || counts(&cells))
}

/// 1, 2, 3, … or 0, 1, 2, …
fn counts(cells: &[String]) -> bool {
    [0, 1].into_iter().any(|from| {
        cells.iter().enumerate().all(|(index, cell)| cell.parse::<usize>().is_ok_and(|n| n == index + from))
    })
}

/// Where the first row of a table only numbers its columns: the line of the row after it.
///
/// A sample may look the same, so the row must also stand out of the time that follows: the first cell falls.
pub(super) fn numbered_columns(rows: &[Row<'_>], table: &Table) -> Option<u64> {
    let place = rows.iter().position(|row| row.line == table.first)?;
    let (first, next) = (rows.get(place)?, rows.get(place + 1)?);
    let value = |row: &Row<'_>| match number::cell(row.fields.first()?, table.notation) {
        Cell::Number(value) => Some(value),
        _ => None,
    };
    let is_data = next.fields.len() == table.columns && data_cells(&next.fields, table.notation).is_some();
    (is_filler(&first.fields) && is_data && value(next)? < value(first)?).then_some(next.line)
}

/// Whether these columns make a log: a time, and something beside it.
pub(super) fn tells_a_log(columns: &[Column]) -> bool {
    let has = |wanted: &dyn Fn(Meaning) -> bool| columns.iter().any(|column| wanted(column.meaning));
    let time = |meaning| matches!(meaning, Meaning::Time | Meaning::Date | Meaning::StepTime);
    has(&time) && has(&|meaning| meaning.is_value())
}

/// The lower name before the upper one, which reaches over the empty cells to its right.
pub(super) fn joined(upper: &[Cow<'_, [u8]>], lower: &[String]) -> Vec<String> {
    let mut group = String::new();
    lower
        .iter()
        .enumerate()
        .map(|(index, lower)| {
            let above = upper.get(index).map(|field| text(field).trim().to_owned()).unwrap_or_default();
            if !above.is_empty() {
                group = above;
            }
            format!("{} {group}", lower.trim()).trim().to_owned()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row<'a>(cells: &[&'a str]) -> Vec<Cow<'a, [u8]>> {
        cells.iter().map(|cell| Cow::Borrowed(cell.as_bytes())).collect()
    }

    #[test]
    fn rows_that_are_no_names() {
        for (cells, units, filler) in [
            (&["s", "V", "A"][..], true, false),
            (&["[s]", "(mV)", "-"], true, false),
            (&["Time", "Voltage", "Current"], false, false),
            (&["float", "float", "Int64"], false, true),
            (&["1", "2", "3"], false, true),
            (&["0", "1", "2", "3"], false, true),
            (&["1", "2", "4"], false, false),
            (&["time", "number"], false, false),
            (&["", "", ""], false, false),
        ] {
            assert_eq!((is_units(&row(cells)), is_filler(&row(cells))), (units, filler), "{cells:?}");
        }
    }

    #[test]
    fn two_levels_make_one_name() {
        let lower = ["", "pack", "cell 1", "load"].map(str::to_owned);
        let names = joined(&row(&["Time (s)", "Voltage (V)", "", "Current (A)"]), &lower);
        assert_eq!(names, ["Time (s)", "pack Voltage (V)", "cell 1 Voltage (V)", "load Current (A)"]);
    }
}
