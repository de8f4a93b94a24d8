//! Recognises the layout of a log from its first lines.

use std::io::Read;

use csv_core::{ReadFieldResult, Reader, ReaderBuilder};

use crate::words;

use super::chunk::{Chunks, FirstLines, text};
use super::clock::{self, TimeForm, TimeReader};
use super::column::{Column, HowKnown, Meaning, unit_of};
use super::layout::Layout;
use super::number::{self, Cell, DecimalMark};
use super::report::{Fault, ReadReport, Tally};
use super::settings::{ReadSettings, SignSetting};
use super::sign::{CurrentSign, SignBasis};
use super::{ReadError, ReadError as Error};

/// Lines that are looked at: preambles of instruments are shorter than this by far.
const LINES: u64 = 400;
/// Bytes that are looked at.
const BYTES: usize = 512 * 1024;
/// Columns that are read at most.
const COLUMNS: usize = 256;
/// Values handed over with each sample at most.
const VALUES: usize = 64;

struct Row<'a> {
    line: u64,
    fields: Vec<Vec<u8>>,
    raw: &'a [u8],
}

/// The layout, and the report with what stands above the table.
pub(super) fn recognise(
    source: impl Read,
    settings: &ReadSettings,
) -> Result<(Layout, ReadReport), ReadError> {
    let mut chunks = Chunks::new(source)?;
    let encoding = chunks.encoding();
    let FirstLines { lines: held, seen } = FirstLines::read(&mut chunks, LINES, BYTES)?;
    let found = [b'\t', b';', b',', b'|', b' ']
        .into_iter()
        .filter_map(|delimiter| Table::find(&held, delimiter))
        // The first of equals wins: a space divides only what nothing else does.
        .rev()
        .max_by_key(|table| (table.rows.min(50), table.columns));
    let Some(table) = found else {
        return Err(Error::NoTable { lines: seen });
    };
    let rows: Vec<Row<'_>> = held
        .iter()
        .filter(|(_, line)| !line.iter().all(u8::is_ascii_whitespace))
        .map(|(line, raw)| Row { line: *line, fields: split(raw, table.delimiter), raw })
        .collect();
    let first = rows.iter().position(|row| row.line == table.first).unwrap_or_default();
    let (above, data) = rows.split_at(first);
    build(&table, above, data, encoding, settings)
}

fn build(
    table: &Table,
    above: &[Row<'_>],
    data: &[Row<'_>],
    encoding: super::layout::Encoding,
    settings: &ReadSettings,
) -> Result<(Layout, ReadReport), ReadError> {
    let (header, units) = find_header(above, table.columns);
    let names: Vec<String> =
        header.map(|row| row.fields.iter().map(|field| text(field)).collect()).unwrap_or_default();
    if table.delimiter == b','
        && let Some(last) = above.last()
    {
        let named = last.fields.iter().filter(|name| !name.trim_ascii().is_empty()).count();
        if named >= 2 && table.columns >= 2 * named - 1 {
            return Err(Error::CommaTwice { line: table.first, fields: table.columns, columns: named });
        }
    }
    let count = table.columns.max(names.len());
    let mut columns: Vec<Column> = (0..count.min(COLUMNS))
        .map(|index| {
            let unit = units.and_then(|row| row.fields.get(index)).map(|field| text(field));
            let name = names.get(index).map_or("", String::as_str);
            Column::recognise(index, name, unit.as_deref())
        })
        .collect();
    if names.is_empty() && settings.columns.is_empty() {
        return Err(Error::NoHeader { line: table.first });
    }
    apply(&mut columns, settings)?;
    let left_out = limit(&mut columns) + count.saturating_sub(COLUMNS);
    let (time_column, date_column, time) = find_time(&mut columns, data, table.decimal)
        .ok_or_else(|| Error::NoTime { columns: listed(&columns), example: example(&columns) })?;
    if !columns.iter().any(|column| column.meaning.is_value()) {
        return Err(Error::NothingToRead { columns: listed(&columns), example: example(&columns) });
    }
    let mut layout = Layout {
        encoding,
        delimiter: table.delimiter,
        decimal: table.decimal,
        header_line: header.map(|row| row.line),
        units_line: units.map(|row| row.line),
        first_row: table.first,
        time_reader: TimeReader::new(
            &time,
            table.decimal,
            data.iter()
                .filter_map(|row| row.fields.get(date_column.unwrap_or(time_column)))
                .map(Vec::as_slice),
        ),
        time,
        columns,
        columns_left_out: left_out,
        sign: None,
        header_line_text: header.map(|row| row.raw.to_vec()).unwrap_or_default(),
        time_column,
        date_column,
    };
    refuse_newest_first(&layout, data)?;
    match settings.sign {
        SignSetting::Detect => {}
        SignSetting::DischargePositive => {
            layout.set_sign((CurrentSign::DischargePositive, SignBasis::Stated));
        }
        SignSetting::DischargeNegative => {
            layout.set_sign((CurrentSign::DischargeNegative, SignBasis::Stated));
        }
    }
    let mut report = ReadReport::default();
    report.columns = count;
    let preamble = above
        .iter()
        .filter(|row| Some(row.line) != layout.header_line && Some(row.line) != layout.units_line);
    let mut tally = Tally::default();
    for row in preamble {
        tally.add(row.line);
    }
    report.add_all(Fault::Preamble, tally);
    Ok((layout, report))
}

/// The fields of one line. Quotes never span lines: no log needs it, and one stray quotation mark would
/// swallow the rest of the file.
pub(super) fn split(line: &[u8], delimiter: u8) -> Vec<Vec<u8>> {
    if delimiter == b' ' {
        return line
            .split(|byte| *byte == b' ')
            .filter(|field| !field.is_empty())
            .map(<[u8]>::to_vec)
            .collect();
    }
    if memchr::memchr(b'"', line).is_none() {
        return line.split(|byte| *byte == delimiter).map(<[u8]>::to_vec).collect();
    }
    let mut reader: Reader = ReaderBuilder::new().delimiter(delimiter).build();
    let mut fields = Vec::new();
    let mut field = Vec::new();
    let mut room = [0_u8; 256];
    let mut rest = line;
    // An empty input tells the parser that the line is at its end; it then gives the last field.
    while fields.len() <= line.len() {
        let (result, read, written) = reader.read_field(rest, &mut room);
        rest = rest.get(read..).unwrap_or_default();
        field.extend_from_slice(room.get(..written).unwrap_or_default());
        match result {
            ReadFieldResult::InputEmpty | ReadFieldResult::OutputFull => {}
            ReadFieldResult::Field { record_end } => {
                fields.push(std::mem::take(&mut field));
                if record_end {
                    break;
                }
            }
            ReadFieldResult::End => break,
        }
    }
    fields
}

struct Table {
    delimiter: u8,
    decimal: DecimalMark,
    first: u64,
    columns: usize,
    rows: usize,
}

impl Table {
    /// The table that this delimiter would make of the lines: most rows of data with one count of fields.
    fn find(lines: &[(u64, Vec<u8>)], delimiter: u8) -> Option<Self> {
        let rows: Vec<(u64, Vec<Vec<u8>>)> = lines
            .iter()
            .map(|(line, raw)| (*line, split(raw, delimiter)))
            .filter(|(_, fields)| fields.len() >= 2 && fields.len() <= 4096)
            .collect();
        let decimal = decimal_mark(&rows, delimiter);
        let data: Vec<(u64, usize)> = rows
            .iter()
            .filter(|(_, fields)| is_data(fields, decimal))
            .map(|(line, fields)| (*line, fields.len()))
            .collect();
        let count_of = |count: usize| data.iter().filter(|(_, c)| *c == count).count();
        let columns = data.iter().map(|(_, count)| *count).max_by_key(|count| (count_of(*count), *count))?;
        let first = data.iter().find(|(_, count)| *count == columns)?.0;
        Some(Self { delimiter, decimal, first, columns, rows: count_of(columns) })
    }
}

fn decimal_mark(rows: &[(u64, Vec<Vec<u8>>)], delimiter: u8) -> DecimalMark {
    let numbers = |mark: DecimalMark| {
        rows.iter()
            .flat_map(|(_, fields)| fields)
            .filter(|field| field.contains(&mark.byte()))
            .filter(|field| matches!(number::cell(field, mark), Cell::Number(_)))
            .count()
    };
    if delimiter != b',' || numbers(DecimalMark::Comma) > 0 {
        let (point, comma) = (numbers(DecimalMark::Point), numbers(DecimalMark::Comma));
        if comma > point {
            return DecimalMark::Comma;
        }
    }
    DecimalMark::Point
}

/// Whether these fields are a row of a log: at least two numbers or times, and mostly such.
fn is_data(fields: &[Vec<u8>], decimal: DecimalMark) -> bool {
    let (mut values, mut words) = (0, 0);
    for field in fields {
        if is_time(field) {
            values += 1;
            continue;
        }
        match number::cell(field, decimal) {
            Cell::Number(_) | Cell::Si(_) => values += 1,
            Cell::Empty | Cell::Overflow => {}
            Cell::Text => words += 1,
        }
    }
    values >= 2 && values >= words
}

fn is_time(field: &[u8]) -> bool {
    field.contains(&b':') && (clock::hms(field, true).is_some() || clock::date_form(&[field], true).is_some())
        || clock::date_form(&[field], false).is_some() && field.len() >= 8
}

/// The header above the table, and the row of units between them.
fn find_header<'a, 'b>(above: &'a [Row<'b>], columns: usize) -> (Option<&'a Row<'b>>, Option<&'a Row<'b>>) {
    let near = |row: &&Row<'_>| row.fields.len() + 1 >= columns && row.fields.len() >= 2;
    let Some((last, before)) = above.split_last() else {
        return (None, None);
    };
    let is_units = {
        let cells: Vec<String> = last
            .fields
            .iter()
            .map(|field| text(field).trim().to_owned())
            .filter(|cell| !cell.is_empty() && cell != "-")
            .collect();
        let units = cells
            .iter()
            .filter(|cell| {
                let bare = cell.trim_matches(['(', ')', '[', ']']);
                unit_of(bare).is_some() || bare.contains(":m")
            })
            .count();
        units >= 2 && units * 10 >= cells.len() * 7
    };
    // A header of bare symbols ("t", "V", "A") could pass for units: there must be names above them.
    if is_units && let Some(header) = before.last().filter(near) {
        return (Some(header), Some(last));
    }
    (Some(last).filter(near), None)
}

fn apply(columns: &mut [Column], settings: &ReadSettings) -> Result<(), ReadError> {
    for setting in &settings.columns {
        let by_number = setting
            .column
            .strip_prefix('#')
            .and_then(|number| number.parse::<usize>().ok())
            .and_then(|number| number.checked_sub(1));
        let wanted = setting.column.trim();
        let exact = columns.iter().position(|column| column.header == wanted);
        let place = exact
            .or(by_number)
            .or_else(|| columns.iter().position(|column| column.header.eq_ignore_ascii_case(wanted)));
        let Some(column) = place.and_then(|place| columns.get_mut(place)) else {
            let headers: Vec<&str> = columns.iter().map(|c| c.header.as_str()).collect();
            return Err(Error::NoSuchColumn {
                wanted: wanted.to_owned(),
                near: words::nearest(wanted, headers.iter().copied())
                    .map_or(String::new(), |near| format!("; did you mean \"{near}\"?")),
                columns: listed(columns),
            });
        };
        column.set(setting.meaning, setting.label.as_deref(), setting.unit.as_deref());
    }
    Ok(())
}

/// Leaves out values beyond what a sample holds; gives their number.
fn limit(columns: &mut [Column]) -> usize {
    let mut surplus = 0;
    for column in columns.iter_mut().filter(|column| column.meaning.is_value()).skip(VALUES) {
        column.meaning = Meaning::Ignored;
        surplus += 1;
    }
    surplus
}

/// The time column and its form: one set by hand, else elapsed time, else timestamps, else dates with a clock.
fn find_time(
    columns: &mut [Column],
    data: &[Row<'_>],
    decimal: DecimalMark,
) -> Option<(usize, Option<usize>, TimeForm)> {
    let mut found: Vec<(u8, usize, Option<usize>, TimeForm)> = Vec::new();
    let date = columns.iter().find(|column| column.meaning == Meaning::Date).map(|column| column.index);
    let step_time_only = !columns.iter().any(|c| c.meaning == Meaning::Time);
    for column in columns.iter() {
        let wanted = matches!(column.meaning, Meaning::Time | Meaning::Date)
            || (step_time_only && column.meaning == Meaning::StepTime);
        if !wanted {
            continue;
        }
        let cells = cells_of(data, column.index);
        let Some(form) = time_form(column, &cells, decimal) else {
            continue;
        };
        let (rank, date_column, form) = match form {
            TimeForm::Clock if date.is_some() => {
                let date_index = date?;
                match clock::date_form(&cells_of(data, date_index), false) {
                    Some((form, ambiguous)) => {
                        (2, Some(date_index), TimeForm::DateAndClock { date: form, ambiguous })
                    }
                    None => (4, None, TimeForm::Clock),
                }
            }
            TimeForm::Number { since_1970: false, .. } | TimeForm::Elapsed => (1, None, form),
            TimeForm::Timestamp { .. } => (2, None, form),
            TimeForm::Number { .. } | TimeForm::DateAndClock { .. } => (3, None, form),
            TimeForm::Clock => (4, None, form),
        };
        let rank = match column.known {
            HowKnown::Set => 0,
            _ if column.meaning == Meaning::StepTime => 5,
            _ => rank,
        };
        found.push((rank, column.index, date_column, form));
    }
    let (_, time, date, form) = found.into_iter().min_by_key(|(rank, index, ..)| (*rank, *index))?;
    // Further times are not read; they must not pass for the one that is.
    for column in columns.iter_mut() {
        let other = column.index != time && Some(column.index) != date;
        if other && matches!(column.meaning, Meaning::Time | Meaning::Date | Meaning::StepTime) {
            column.meaning = Meaning::Ignored;
        }
    }
    Some((time, date, form))
}

fn cells_of<'a>(data: &'a [Row<'_>], index: usize) -> Vec<&'a [u8]> {
    data.iter().filter_map(|row| row.fields.get(index)).map(Vec::as_slice).take(200).collect()
}

/// The form of a time column by what most of its cells are.
fn time_form(column: &Column, cells: &[&[u8]], decimal: DecimalMark) -> Option<TimeForm> {
    let most = |count: usize| count > 0 && count * 10 >= cells.len() * 6;
    let numbers = cells.iter().filter(|cell| matches!(number::cell(cell, decimal), Cell::Number(_))).count();
    if most(numbers) {
        if column.meaning == Meaning::Date {
            return None;
        }
        let name = column.header.to_lowercase();
        let first = cells.iter().find_map(|cell| match number::cell(cell, decimal) {
            Cell::Number(value) => Some(value * column.scale),
            _ => None,
        })?;
        // Seconds since 1970 by name, or by a number that no test reaches (September 2001).
        let since_1970 = name.contains("unix") || name.contains("epoch") || first > 1e9;
        return Some(TimeForm::Number { factor: column.scale, since_1970 });
    }
    let times: Vec<f64> = cells.iter().filter_map(|cell| clock::hms(cell, true)).collect();
    if most(times.len()) {
        let name = column.header.to_lowercase();
        let clock_words = ["clock", "uhr", "time of day", "local", "heure"];
        let named = clock_words.iter().any(|word| name.contains(word));
        let shown = cells.iter().any(|cell| {
            let cell = cell.trim_ascii().to_ascii_lowercase();
            cell.ends_with(b"am") || cell.ends_with(b"pm")
        });
        let late = times.first().is_some_and(|first| *first > 120.0)
            && !name.contains("elapsed")
            && !name.contains("test")
            && times.iter().all(|time| *time < 86_400.0);
        return Some(if named || shown || late { TimeForm::Clock } else { TimeForm::Elapsed });
    }
    let (date, ambiguous) = clock::date_form(cells, true)?;
    let zoned =
        cells.iter().find_map(|cell| clock::timestamp(cell, date)).is_some_and(|instant| instant.zoned);
    Some(TimeForm::Timestamp { date, ambiguous, zoned })
}

fn refuse_newest_first(layout: &Layout, data: &[Row<'_>]) -> Result<(), ReadError> {
    let times: Vec<f64> = data
        .iter()
        .filter_map(|row| {
            let time = layout.time_reader.read(row.fields.get(layout.time_column)?);
            let date =
                layout.date_column.and_then(|index| layout.time_reader.read_date(row.fields.get(index)?));
            Some(time? + date.unwrap_or_default())
        })
        .collect();
    let falls = times.windows(2).filter(|pair| matches!(pair, [a, b] if b < a)).count();
    if falls >= 3 && falls * 10 >= times.len() * 8 {
        return Err(Error::NewestFirst { line: layout.first_row });
    }
    Ok(())
}

fn listed(columns: &[Column]) -> String {
    let names: Vec<String> = columns
        .iter()
        .take(20)
        .map(|column| {
            if column.header.is_empty() {
                format!("#{}", column.index + 1)
            } else {
                format!("\"{}\"", column.header.chars().take(40).collect::<String>())
            }
        })
        .collect();
    let more = if columns.len() > 20 { ", ..." } else { "" };
    format!("{}{more}", names.join(", "))
}

fn example(columns: &[Column]) -> String {
    columns
        .iter()
        .map(|column| column.header.as_str())
        .find(|header| !header.is_empty() && header.len() <= 40)
        .map_or("#1".to_owned(), str::to_owned)
}
