//! Recognises the layout of a log from its first lines.

use std::borrow::Cow;
use std::io::Read;

use crate::units::words;

use super::ReadError::{self, NotThisTable, Refused};
use super::chunk::{Chunks, FirstLines, kind_of, text};
use super::clock::{TimeForm, TimeReader};
use super::column::{Column, HowKnown, Meaning, fits, is_of};
use super::layout::Layout;
use super::levels;
use super::number::{self, Cell, DecimalMark, Notation};
use super::report::{Fault, ReadReport, Tally};
use super::settings::{ReadSettings, RowFilter, SignSetting, numbered};
use super::sign::{CurrentSign, SignBasis};
use super::state::state;
use super::table::{Row, Table, data_cells, split};
use super::timing::{FoundTime, cells_of, find_time, pace};
use super::unit::{COLUMN as UNIT, unit_of};

/// Lines that are looked at: preambles of instruments are shorter than this by far.
const LINES: u64 = 400;
/// Bytes that are looked at.
const BYTES: usize = 512 * 1024;
/// Columns that are read at most.
const COLUMNS: usize = 256;
/// A log whose voltages all lie below this is not one of a cell or pack, V.
const LEAST_VOLTAGE: f64 = 0.5;
/// Two clocks go alike within this part over the head of a log.
const CLOCKS_AGREE: f64 = 0.1;
/// A voltage without a unit from this number on is in millivolts: no bench test of a pack has kilovolts (common practice,
/// no source).
const NO_VOLTS: f64 = 1500.0;
/// Values handed over with each sample at most.
const VALUES: usize = 64;

/// The first lines of a log, so many more of them as are skipped.
pub(super) fn first_lines(source: impl Read, skip: u64) -> Result<FirstLines, ReadError> {
    Ok(FirstLines::read(&mut Chunks::new(source)?, LINES + skip, BYTES)?)
}

/// The layout, and the report with what stands above the table.
pub(super) fn recognise(
    first: &FirstLines,
    settings: &ReadSettings,
) -> Result<(Layout, ReadReport), ReadError> {
    let (mut held, seen, encoding) = (first.lines(), first.seen, first.encoding);
    held.retain(|(line, _)| *line > settings.skip);
    let found = [b'\t', b';', b',', b'|', b' ']
        .into_iter()
        .filter_map(|delimiter| Table::find(&held, delimiter))
        // The first of equals wins: a space divides only what nothing else does.
        .rev()
        .max_by_key(|(table, _)| (table.rows.min(50), table.cells, table.columns));
    let Some((mut table, divided)) = found else {
        return Err(kind_of(&held).map_or_else(
            || {
                Refused(format!(
                    "no table was found in the first {seen} lines: expected rows of at least two numbers or times, divided by \
                     comma, semicolon, tab or |"
                ))
            },
            ReadError::other_kind,
        ));
    };
    let mut divided = divided.into_iter().peekable();
    let mut rows: Vec<Row<'_>> = held
        .iter()
        .map(|&(line, raw)| {
            let known = divided.next_if(|row| row.line == line);
            known.unwrap_or_else(|| Row { line, fields: split(raw, table.delimiter), raw })
        })
        .filter(|row| !is_blank(row.raw))
        .collect();
    if let Some(filter) = &settings.rows {
        table.first = only_rows(&mut rows, filter).ok_or_else(|| {
            let RowFilter { column, text } = filter;
            Refused(format!(
                "the settings ask for rows where {column} is \"{text}\", and the log's first lines hold none"
            ))
        })?;
        table.columns =
            rows.iter().find(|row| row.line == table.first).map_or(table.columns, |row| row.fields.len());
    }
    if let Some(next) = levels::numbered_columns(&rows, &table) {
        table.first = next;
    }
    let mut refused = None;
    loop {
        let first = rows.iter().position(|row| row.line == table.first).unwrap_or_default();
        let data = rows.get(first..).unwrap_or_default();
        let mut above: Vec<Row<'_>> = rows.get(..first).unwrap_or_default().to_vec();
        join_broken_header(&mut above, &table);
        match build(&table, &above, data, encoding, settings) {
            // A summary may stand above the log: a table of its own, without a time.
            Err(NotThisTable(why)) => {
                let why = refused.get_or_insert(why);
                let Some(next) = next_table(data, &table) else {
                    return Err(Refused(std::mem::take(why)));
                };
                table.first = next;
            }
            other => return other,
        }
    }
}

/// Keeps the rows that a filter lets through and what stands above the first of them; gives its line.
fn only_rows(rows: &mut Vec<Row<'_>>, filter: &RowFilter) -> Option<u64> {
    let by_name = |row: &Row<'_>| row.fields.iter().position(|field| text(field).trim() == filter.column);
    let place = rows.iter().find_map(by_name).or_else(|| numbered(&filter.column))?;
    let through =
        |row: &Row<'_>| row.fields.get(place).is_some_and(|field| text(field).trim() == filter.text);
    let first = rows.iter().find(|row| through(row))?.line;
    rows.retain(|row| row.line < first || through(row));
    Some(first)
}

/// Nothing to read: spaces only, or a rule drawn with signs.
fn is_blank(line: &[u8]) -> bool {
    line.iter().all(|byte| byte.is_ascii_whitespace() || matches!(byte, b'-' | b'|' | b'+' | b'=' | b':'))
}

/// First line of the next table below: a row of data under one that is none.
fn next_table(data: &[Row<'_>], table: &Table) -> Option<u64> {
    let is_data = |row: &Row<'_>| {
        row.fields.len() == table.columns && data_cells(&row.fields, table.notation).is_some()
    };
    data.windows(2).find_map(|pair| match pair {
        [above, below] if !is_data(above) && is_data(below) => Some(below.line),
        _ => None,
    })
}

fn build(
    table: &Table,
    above: &[Row<'_>],
    data: &[Row<'_>],
    encoding: &'static encoding_rs::Encoding,
    settings: &ReadSettings,
) -> Result<(Layout, ReadReport), ReadError> {
    let (header, units) = find_header(above, table.columns);
    let mut names: Vec<String> =
        header.map(|row| row.fields.iter().map(|field| text(field)).collect()).unwrap_or_default();
    if table.delimiter == b','
        && let Some(last) = above.last()
    {
        let named = last.fields.iter().filter(|name| !name.trim_ascii().is_empty()).count();
        if named >= 2 && table.columns >= 2 * named - 1 {
            return Err(Refused(format!(
                "line {} has {} fields under {named} headers: the comma seems to be both the decimal mark and the delimiter; \
                 export the log with semicolons or tabs",
                table.first, table.columns
            )));
        }
    }
    let nameless = match alignment(table, data, &names) {
        Some(nameless) => nameless,
        // Columns that are told by number need no names.
        None if settings.columns.iter().any(|setting| numbered(&setting.column).is_some()) => {
            names.clear();
            false
        }
        None => {
            return Err(Refused(format!(
                "line {} has {} fields under {} headers, and which header belongs to which is not known; give every column a \
                 header, or set the columns by number",
                table.first,
                table.columns,
                names.len()
            )));
        }
    };
    if nameless {
        names.insert(0, String::new());
    }
    let count = table.columns.max(names.len());
    let recognised = |names: &[String]| -> Vec<Column> {
        let unit_of = |index: usize| {
            let index = index.checked_sub(usize::from(nameless))?;
            units.and_then(|row| row.fields.get(index)).map(|field| text(field))
        };
        (0..count.min(COLUMNS))
            .map(|index| {
                let name = names.get(index).map_or("", String::as_str);
                Column::recognise(index, name, unit_of(index).as_deref())
            })
            .collect()
    };
    let mut columns = recognised(&names);
    // Where the names of places stand under those of quantities, both rows make the name.
    if !levels::tells_a_log(&columns)
        && let Some(upper) = header.and_then(|header| above.iter().rfind(|row| row.line < header.line))
        && upper.fields.len().abs_diff(names.len()) <= 1
    {
        let both = recognised(&levels::joined(&upper.fields, &names));
        if levels::tells_a_log(&both) {
            columns = both;
        }
    }
    if names.is_empty() && settings.columns.is_empty() {
        return Err(no_header(table.first, data));
    }
    name_apart(&mut columns, above, header, table.columns);
    bare_ampere(&mut columns);
    apply(&mut columns, settings)?;
    refuse_thousands(table, &columns, data)?;
    refuse_both_marks(table, &columns, data)?;
    states(&mut columns, data, &settings.states);
    units_beside(&mut columns, data);
    for column in columns.iter_mut().filter(|column| column.meaning.is_value()) {
        let cells = cells_of(data, column.index);
        column.empty = cells.len() >= 2 && cells.iter().all(|cell| cell.trim_ascii().is_empty());
        let large = |cell: &&[u8]| matches!(number::cell(cell, table.notation), Cell::Number(value) if value.abs() >= NO_VOLTS);
        if column.meaning == Meaning::Voltage
            && column.unit_assumed
            && cells.iter().filter(|cell| large(cell)).count() * 2 > cells.len()
        {
            column.millivolts();
        }
    }
    let left_out = limit(&mut columns) + count.saturating_sub(COLUMNS);
    let FoundTime { column: time_column, date: date_column, form: mut time, other } = match (
        find_time(&mut columns, data, table.notation),
        settings.interval,
    ) {
        (Some(found), None) => found,
        (found, Some(interval)) => FoundTime::rows(interval, found, &mut columns),
        (None, None) => {
            return Err(NotThisTable(format!(
                "no time column was recognised among: {}; set one, for example `{} = time in s` (in `columns`, or after \
                     `--column`), or where the log has no clock say how far apart its rows are: `interval = \"3 s\"` \
                     (`--interval`)",
                listed(&columns),
                example(&columns)
            )));
        }
    };
    if let Some(order) = settings.dates {
        time.set_order(order);
    }
    let other_time = other.map(|(index, form)| {
        (index, TimeReader::new(&form, table.notation, cells_of(data, index).into_iter()))
    });
    let time_confirmed = unit_of_clock(
        &mut time,
        time_column.and_then(|index| columns.get_mut(index)),
        other_time.as_ref(),
        data,
        table.notation,
    );
    // A clock that counts from the start has its dates from the one beside it.
    let counts = matches!(time, TimeForm::Number { since_1970: false, .. } | TimeForm::Elapsed);
    let second_zero = other_time.as_ref().filter(|_| counts).and_then(|(beside, other)| {
        let own = TimeReader::new(&time, table.notation, std::iter::empty());
        data.iter().find_map(|row| {
            let (absolute, utc) = other.absolute(row.fields.get(*beside)?)?;
            Some((absolute - own.read(row.fields.get(time_column?)?)?, utc))
        })
    });
    let beside = |meaning: Meaning| {
        meaning.is_value()
            && !matches!(
                meaning,
                Meaning::State | Meaning::OtherTime | Meaning::SinceStep | Meaning::Step | Meaning::Cycle
            )
    };
    if !columns.iter().any(|column| beside(column.meaning)) {
        return Err(NotThisTable(format!(
            "beside the time no column was recognised among: {}; set one, for example `{} = voltage in V` (in `columns`, or \
             after `--column`)",
            listed(&columns),
            example(&columns)
        )));
    }
    let mut layout = Layout {
        encoding,
        delimiter: table.delimiter,
        decimal: table.notation.decimal,
        notation: table.notation,
        header_line: header.map(|row| row.line),
        units_line: units.map(|row| row.line),
        first_row: table.first,
        time_reader: TimeReader::new(
            &time,
            table.notation,
            data.iter().filter_map(|row| row.fields.get(date_column.or(time_column)?)).map(AsRef::as_ref),
        ),
        time,
        columns,
        columns_left_out: left_out,
        sign: None,
        header_line_text: header.map(|row| row.raw.to_vec()).unwrap_or_default(),
        time_column,
        date_column,
        other_time,
        second_zero,
        time_confirmed,
        profile: settings.profile.clone(),
        rows: settings.rows.clone(),
        states: settings.states.clone(),
        clock_offset: settings.clock_offset,
        sheet: None,
        long: false,
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
        SignSetting::ByState => layout.set_sign((CurrentSign::ByState, SignBasis::Stated)),
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

/// Columns that hold the unit of the one before them, as meters with several ranges write it.
fn units_beside(columns: &mut [Column], data: &[Row<'_>]) {
    for index in 1..columns.len() {
        let Some([value, beside]) = columns.get_mut(index - 1..=index) else { continue };
        if !is_of(&beside.header.to_lowercase(), UNIT) || beside.known == HowKnown::Set {
            continue;
        }
        let cells = cells_of(data, index);
        let units: Vec<String> = cells.iter().map(|cell| text(cell).trim().to_owned()).collect();
        let units = units.iter().filter(|unit| !unit.is_empty());
        // A header that says nothing takes its meaning from the unit.
        if let (HowKnown::NotKnown, Some(unit)) = (value.known, units.clone().next()) {
            let by_unit = Column::recognise(value.index, &format!("{} ({unit})", value.header), None);
            if by_unit.meaning.is_value() {
                *value = by_unit.renamed(&value.header);
            }
        }
        let fits = |unit: &&String| unit_of(unit).is_some_and(|unit| fits(value.meaning, unit.dimension));
        let fitting = units.clone().filter(fits);
        let Some(unit) =
            fitting.clone().next().filter(|_| 10 * fitting.count() >= 9 * units.count()).cloned()
        else {
            continue;
        };
        if value.known != HowKnown::Set {
            value.unit_beside(&unit);
        }
        (beside.meaning, beside.known) = (Meaning::UnitBeside, HowKnown::Header);
        // What the rows say is held against the first of them.
        beside.unit = unit;
    }
}

/// A column of states is one where its cells are words for charge, discharge or rest; the first of several counts.
fn states(columns: &mut [Column], data: &[Row<'_>], told: &[(String, f64)]) {
    let mut known = false;
    for column in columns.iter_mut().filter(|column| column.meaning == Meaning::State) {
        let cells = cells_of(data, column.index);
        let filled = cells.iter().filter(|cell| !cell.trim_ascii().is_empty()).count();
        let words = cells.iter().filter(|cell| state(cell, told).is_some()).count();
        let set = column.known == HowKnown::Set;
        if known || !set && (words == 0 || words * 10 < filled * 6) {
            column.meaning = Meaning::Ignored;
        } else {
            known = true;
        }
    }
}

/// Takes an assumed unit of the clock from the clock beside it; tells whether that one confirms the unit.
fn unit_of_clock(
    time: &mut TimeForm,
    column: Option<&mut Column>,
    other: Option<&(usize, TimeReader)>,
    data: &[Row<'_>],
    notation: Notation,
) -> bool {
    let (Some(column), Some((beside, other))) = (column, other) else { return false };
    let reader = TimeReader::new(time, notation, std::iter::empty());
    let Some(pace) = pace(&reader, column.index, other, *beside, data) else { return false };
    if let TimeForm::Number { factor, since_1970: false } = time
        && column.unit_assumed
        && let Some((unit, step)) = [("min", 60.0), ("h", 3600.0), ("ms", 1e-3), ("us", 1e-6)]
            .into_iter()
            .find(|(_, step)| (pace / step - 1.0).abs() < CLOCKS_AGREE)
    {
        *factor *= step;
        unit.clone_into(&mut column.unit);
        column.unit_assumed = false;
        return true;
    }
    (pace - 1.0).abs() < CLOCKS_AGREE
}

/// A header whose quoted names hold line ends stands on several lines: they become one row.
fn join_broken_header(above: &mut Vec<Row<'_>>, table: &Table) {
    let odd = |row: &Row<'_>| memchr::memchr_iter(b'"', row.raw).count() % 2 == 1;
    let Some((last, before)) = above.split_last() else {
        return;
    };
    if !odd(last) {
        return;
    }
    let Some(begin) = before.iter().rposition(odd) else {
        return;
    };
    let parts: Vec<&[u8]> = above.iter().skip(begin).map(|row| row.raw).collect();
    let line = parts.join(&b' ');
    let fields = split(&line, table.delimiter).into_iter().map(|field| Cow::Owned(field.into_owned()));
    let fields: Vec<Cow<'_, [u8]>> = fields.collect();
    if fields.len().abs_diff(table.columns) <= 1
        && let Some(first) = above.get_mut(begin)
    {
        first.fields = fields;
        above.truncate(begin + 1);
    }
}

/// The header above the table, and the row of units below or above it.
fn find_header<'a, 'b>(above: &'a [Row<'b>], columns: usize) -> (Option<&'a Row<'b>>, Option<&'a Row<'b>>) {
    let near = |row: &&Row<'_>| row.fields.len() + 1 >= columns && row.fields.len() >= 2;
    let fillers = above.iter().rev().take_while(|row| levels::is_filler(&row.fields)).count();
    let Some((last, before)) = above.get(..above.len() - fillers).and_then(<[Row<'b>]>::split_last) else {
        return (None, None);
    };
    // A header of bare symbols ("t", "V", "A") could pass for units: there must be names beside them.
    let other = before.last().filter(near);
    match (levels::is_units(&last.fields), other) {
        (true, Some(header)) => (Some(header), Some(last)),
        (false, Some(units)) if levels::is_units(&units.fields) => (Some(last).filter(near), Some(units)),
        _ => (Some(last).filter(near), None),
    }
}

fn apply(columns: &mut [Column], settings: &ReadSettings) -> Result<(), ReadError> {
    for setting in &settings.columns {
        let by_number = numbered(&setting.column);
        let wanted = setting.column.trim();
        let exact = columns.iter().position(|column| column.header == wanted);
        let place = exact
            .or(by_number)
            .or_else(|| columns.iter().position(|column| column.header.eq_ignore_ascii_case(wanted)));
        let Some(column) = place.and_then(|place| columns.get_mut(place)) else {
            let near = words::nearest(wanted, columns.iter().map(|column| column.header.as_str()))
                .map_or(String::new(), |near| format!("; did you mean \"{near}\"?"));
            return Err(Refused(format!(
                "the settings name a column \"{wanted}\" that the log does not have; it has: {}{near}",
                listed(columns)
            )));
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

/// Whether the first field of every row is the one without a name, where one name is missing; `None` where that does not
/// show: where neither way or both ways make a clock of the column that is named so, and the first field is no count.
fn alignment(table: &Table, data: &[Row<'_>], names: &[String]) -> Option<bool> {
    let rows: Vec<&Row<'_>> = data.iter().filter(|row| row.fields.len() == table.columns).collect();
    // A delimiter at the end of every row makes no field.
    let surplus =
        rows.iter().any(|row| row.fields.last().is_some_and(|field| !field.trim_ascii().is_empty()));
    if names.is_empty() || names.len() + 1 != table.columns || !surplus {
        return Some(false);
    }
    let numbers = |at: usize| -> Vec<Option<f64>> {
        rows.iter()
            .map(|row| match number::cell(row.fields.get(at)?, table.notation) {
                Cell::Number(value) => Some(value),
                _ => None,
            })
            .collect()
    };
    let all = |at: usize, holds: fn(f64, f64) -> bool| {
        let numbers = numbers(at);
        numbers.len() >= 2
            && numbers.windows(2).all(|pair| matches!(pair, [Some(a), Some(b)] if holds(*a, *b)))
    };
    let clock = names.iter().position(|name| Column::recognise(0, name, None).meaning == Meaning::Time);
    let rises = |shift: usize| clock.is_some_and(|at| all(at + shift, |a, b| b > a));
    match (rises(0), rises(1)) {
        (true, false) => Some(false),
        (false, true) => Some(true),
        _ => all(0, |a, b| b - a == 1.0).then_some(true),
    }
}

/// Labels that tell columns apart: by the groups in a row above the header, else by a number.
fn name_apart(columns: &mut [Column], above: &[Row<'_>], header: Option<&Row<'_>>, count: usize) {
    let labels: Vec<(Meaning, String)> =
        columns.iter().map(|column| (column.meaning, column.label.to_lowercase())).collect();
    let same = |index: usize, columns: &[Column]| -> Vec<usize> {
        columns
            .iter()
            .enumerate()
            .filter(|(other, column)| column.meaning.is_value() && labels.get(*other) == labels.get(index))
            .map(|(other, _)| other)
            .collect()
    };
    let groups = header
        .and_then(|header| above.iter().rfind(|row| row.line < header.line))
        .filter(|row| row.fields.len().abs_diff(count) <= 1)
        .map(|row| {
            let mut group = String::new();
            row.fields
                .iter()
                .map(|field| {
                    let name = text(field).trim().to_owned();
                    if !name.is_empty() {
                        group = name;
                    }
                    group.clone()
                })
                .collect::<Vec<String>>()
        })
        .unwrap_or_default();
    for index in 0..columns.len() {
        let alike = same(index, columns);
        let Some(place) = alike.iter().position(|other| *other == index).filter(|_| alike.len() > 1) else {
            continue;
        };
        let group = |of: usize| groups.get(of).map(String::as_str).filter(|group| !group.is_empty());
        let apart = alike.iter().all(|other| group(*other).is_some())
            && alike
                .iter()
                .enumerate()
                .all(|(n, a)| alike.iter().skip(n + 1).all(|b| group(*a) != group(*b)));
        if let Some(column) = columns.get_mut(index) {
            column.label = match group(index).filter(|_| apart) {
                Some(group) => format!("{group} {}", column.label),
                None => format!("{} {}", column.label, place + 1),
            };
        }
    }
}

/// A column named "A" beside one of a voltage is a current, when there is no other; alone it is a letter.
fn bare_ampere(columns: &mut [Column]) {
    let has = |meaning: Meaning| columns.iter().any(|column| column.meaning == meaning);
    if has(Meaning::Voltage)
        && !has(Meaning::Current)
        && let Some(column) = columns.iter_mut().find(|column| column.header == "A")
    {
        *column = Column::recognise(column.index, "Current (A)", None).renamed("A");
    }
}

/// A thousands mark that passes for a decimal mark makes millivolts of volts. Three digits after the only
/// mark are decimals almost always, so they are refused only where they give a voltage that no pack has.
fn refuse_thousands(table: &Table, columns: &[Column], data: &[Row<'_>]) -> Result<(), ReadError> {
    let Some(ambiguous) = &table.ambiguous else {
        return Ok(());
    };
    let voltages: Vec<f64> = columns
        .iter()
        .filter(|column| column.meaning == Meaning::Voltage)
        .flat_map(|column| {
            cells_of(data, column.index).into_iter().filter_map(|cell| {
                match number::cell(cell, table.notation) {
                    Cell::Number(value) => Some((value * column.scale).abs()),
                    _ => None,
                }
            })
        })
        .collect();
    let largest = voltages.iter().copied().fold(0.0, f64::max);
    let decimals_cannot_be = largest > 0.0 && largest < LEAST_VOLTAGE;
    let quoted_commas = table.delimiter == b',' && table.notation.decimal == DecimalMark::Comma;
    if decimals_cannot_be || (quoted_commas && voltages.is_empty()) {
        return Err(Refused(format!(
            "\"{}\" in line {} may be a number with three decimals or one with thousands set apart, and as decimals no voltage of \
             the log is one of a cell or pack; export the log without thousands marks",
            ambiguous.cell, ambiguous.line
        )));
    }
    Ok(())
}

/// Numbers with both decimal marks: read with one of them the others would be lost, or a thousand times too large. A
/// single one is a damaged cell, and is told as such.
fn refuse_both_marks(table: &Table, columns: &[Column], data: &[Row<'_>]) -> Result<(), ReadError> {
    let mark = |decimal: DecimalMark| char::from(decimal.byte());
    let own = table.notation.decimal;
    let other = match own {
        DecimalMark::Point => DecimalMark::Comma,
        DecimalMark::Comma => DecimalMark::Point,
    };
    let read = |column: &&Column| column.meaning.is_value() || column.meaning == Meaning::Time;
    let cells = |decimal: DecimalMark| {
        data.iter().filter(|row| row.fields.len() == table.columns).flat_map(move |row| {
            columns.iter().filter(read).filter_map(move |column| {
                let field = row.fields.get(column.index).filter(|field| field.contains(&decimal.byte()))?;
                Some((row.line, column, text(field).trim().to_owned()))
            })
        })
    };
    let with = |cell: &str, decimal: DecimalMark| {
        cell.matches(mark(decimal)).count() == 1
            && matches!(number::cell(cell.as_bytes(), Notation::plain(decimal)), Cell::Number(_))
            && !matches!(number::cell(cell.as_bytes(), table.notation), Cell::Number(_) if decimal != own)
    };
    let mut foreign = cells(other).filter(|(.., cell)| with(cell, other));
    let (Some((line, column, cell)), Some(_)) = (foreign.next(), foreign.next()) else { return Ok(()) };
    let Some((usual_line, usual_column, usual)) = cells(own).find(|(.., cell)| with(cell, own)) else {
        return Ok(());
    };
    Err(Refused(format!(
        "line {line}, column {} (\"{}\"): \"{cell}\" has another decimal mark than \"{usual}\" in line {usual_line}, column {}; \
         expected one mark in the whole log, here for example \"{}\"",
        column.index + 1,
        column.header.chars().take(40).collect::<String>(),
        usual_column.index + 1,
        cell.replace(mark(other), &mark(own).to_string())
    )))
}

fn refuse_newest_first(layout: &Layout, data: &[Row<'_>]) -> Result<(), ReadError> {
    let times: Vec<f64> = data
        .iter()
        .filter_map(|row| {
            let time = layout.time_reader.read(row.fields.get(layout.time_column?)?);
            let date =
                layout.date_column.and_then(|index| layout.time_reader.read_date(row.fields.get(index)?));
            Some(time? + date.unwrap_or_default())
        })
        .collect();
    let falls = times.windows(2).filter(|pair| matches!(pair, [a, b] if b < a)).count();
    if falls >= 3 && falls * 10 >= times.len() * 8 {
        return Err(Refused(format!(
            "the log is written newest first (the time falls from line {} on); export it oldest first",
            layout.first_row
        )));
    }
    Ok(())
}

/// A table of which nothing says what its columns are.
fn no_header(line: u64, data: &[Row<'_>]) -> ReadError {
    let fields = data.first().map(|row| row.fields.as_slice()).unwrap_or_default();
    let shown = fields.iter().enumerate().take(24).map(|(at, field)| {
        format!("#{} \"{}\"", at + 1, text(field).trim().chars().take(24).collect::<String>())
    });
    let more = if fields.len() > 24 { ", …" } else { "" };
    NotThisTable(format!(
        "the table at line {line} has no header, so no column has a meaning; its first row is {}{more}; set the columns by \
         number, for example `#1 = time in s` (in `columns`, or after `--column`); where none of them is a clock, say how far \
         apart the rows are: `interval = \"3 s\"` (`--interval`)",
        shown.collect::<Vec<_>>().join(", ")
    ))
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
