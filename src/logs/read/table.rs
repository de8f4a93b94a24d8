//! Finds the table in the first lines of a log: the delimiter, where it begins, how its numbers are written.

use std::borrow::Cow;

use csv_core::{ReadFieldResult, Reader, ReaderBuilder};

use super::chunk::{NumberedLine, text};
use super::clock;
use super::number::{self, Cell, DecimalMark, Notation};

/// A line of the head, and its fields.
#[derive(Clone)]
pub(super) struct Row<'a> {
    pub line: u64,
    pub fields: Vec<Cow<'a, [u8]>>,
    pub raw: &'a [u8],
}

pub(super) struct Table {
    pub delimiter: u8,
    pub notation: Notation,
    pub first: u64,
    pub columns: usize,
    pub rows: usize,
    /// Numbers and times in the first of those rows.
    pub cells: usize,
    /// A number that could be a thousand times larger.
    pub ambiguous: Option<Ambiguous>,
}

pub(super) struct Ambiguous {
    pub line: u64,
    pub cell: String,
}

/// The fields of one line. Quotes never span lines: no log needs it, and one stray quotation mark would
/// swallow the rest of the file.
pub(super) fn split(line: &[u8], delimiter: u8) -> Vec<Cow<'_, [u8]>> {
    if delimiter == b' ' {
        let fields = line.split(|byte| *byte == b' ').filter(|field| !field.is_empty());
        return fields.map(Cow::Borrowed).collect();
    }
    if memchr::memchr(b'"', line).is_none() {
        return line.split(|byte| *byte == delimiter).map(Cow::Borrowed).collect();
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
                fields.push(Cow::Owned(std::mem::take(&mut field)));
                if record_end {
                    break;
                }
            }
            ReadFieldResult::End => break,
        }
    }
    fields
}

/// The fields of a header, for comparing.
pub(super) fn names(bytes: &[u8], delimiter: u8) -> Vec<String> {
    let mut names: Vec<String> = split(bytes.trim_ascii(), delimiter)
        .iter()
        .map(|name| text(name).trim().trim_matches('"').trim().to_lowercase())
        .collect();
    while names.last().is_some_and(String::is_empty) {
        names.pop();
    }
    names
}

impl Table {
    /// The table that this delimiter would make of the lines: most rows of data with one count of fields. With it the
    /// lines that it divides.
    pub fn find<'a>(lines: &[NumberedLine<'a>], delimiter: u8) -> Option<(Self, Vec<Row<'a>>)> {
        let rows: Vec<Row<'a>> = lines
            .iter()
            .filter(|(_, raw)| memchr::memchr(delimiter, raw).is_some())
            .map(|&(line, raw)| Row { line, fields: split(raw, delimiter), raw })
            .filter(|row| row.fields.len() >= 2 && row.fields.len() <= 4096)
            .collect();
        let (notation, ambiguous) = notation(&rows);
        let data: Vec<(u64, usize, usize)> = rows
            .iter()
            .filter_map(|row| Some((row.line, row.fields.len(), data_cells(&row.fields, notation)?)))
            .collect();
        let count_of = |count: usize| data.iter().filter(|(_, c, _)| *c == count).count();
        let columns =
            data.iter().map(|(_, count, _)| *count).max_by_key(|count| (count_of(*count), *count))?;
        let of_table = || data.iter().filter(|(_, count, _)| *count == columns);
        let first = of_table().next()?.0;
        let cells = of_table().take(50).map(|(_, _, cells)| cells).sum();
        let count = count_of(columns);
        let table = Self { delimiter, notation, first, columns, rows: count, cells, ambiguous };
        Some((table, rows))
    }
}

/// How numbers are written, by what can be read in one way only; and a cell that can be read in two where
/// no other decides.
fn notation(rows: &[Row<'_>]) -> (Notation, Option<Ambiguous>) {
    /// Numbers with a point, and with a comma, that show what the mark is.
    #[derive(Default)]
    struct Seen {
        /// It can only be the decimal mark.
        decimal: usize,
        /// It can only divide thousands.
        thousands: usize,
        /// Three digits follow: either.
        either: Option<Ambiguous>,
        eithers: usize,
    }
    let (mut point, mut comma) = (Seen::default(), Seen::default());
    for Row { line, fields, .. } in rows {
        for field in fields {
            match bare(field) {
                Some(Bare { mark: None, .. }) => continue,
                Some(Bare { mark: Some(mark), thousands: false }) => {
                    let seen = if mark == b'.' { &mut point } else { &mut comma };
                    seen.decimal += 1;
                    continue;
                }
                _ => {}
            }
            let Ok(cell) = std::str::from_utf8(field) else { continue };
            let cell = cell.trim_matches(['"', ' ']);
            for (decimal, mark, other, here) in
                [(DecimalMark::Point, '.', ',', &mut point), (DecimalMark::Comma, ',', '.', &mut comma)]
            {
                if !cell.contains(mark) {
                    continue;
                }
                let as_decimal = matches!(number::cell(field, Notation::plain(decimal)), Cell::Number(_));
                let as_thousands =
                    number::ungroup(cell, other, true).is_some_and(|bare| !bare.contains(mark));
                match (as_decimal, as_thousands) {
                    (true, false) => here.decimal += 1,
                    (false, true) => here.thousands += 1,
                    (true, true) if cell.matches(mark).count() == 1 => {
                        here.eithers += 1;
                        here.either.get_or_insert(Ambiguous { line: *line, cell: cell.to_owned() });
                    }
                    _ => {}
                }
            }
        }
    }
    let for_point = point.decimal + comma.thousands;
    let for_comma = comma.decimal + point.thousands;
    let (decimal, other, open) = if for_comma > for_point {
        (DecimalMark::Comma, &point, comma.decimal == 0 && point.thousands == 0)
    } else if for_point > 0 || point.eithers >= comma.eithers {
        (DecimalMark::Point, &comma, point.decimal == 0 && comma.thousands == 0)
    } else {
        (DecimalMark::Comma, &point, true)
    };
    let grouped = other.thousands > 0 && other.decimal == 0;
    let either = match decimal {
        DecimalMark::Point => point.either,
        DecimalMark::Comma => comma.either,
    };
    (Notation { decimal, grouped }, either.filter(|_| open))
}

/// A cell of nothing but digits, few enough to be exact, with a minus before them and one mark among them at most.
struct Bare {
    mark: Option<u8>,
    /// Whether the mark may divide thousands: three digits follow it, and before it stands what may begin a number.
    thousands: bool,
}

fn bare(field: &[u8]) -> Option<Bare> {
    let digits = field.strip_prefix(b"-").unwrap_or(field);
    if digits.len() > number::DIGITS + 1 {
        return None;
    }
    let at = digits.iter().position(|byte| !byte.is_ascii_digit()).unwrap_or(digits.len());
    match digits.split_at(at) {
        (whole, []) => {
            (1..=number::DIGITS).contains(&whole.len()).then_some(Bare { mark: None, thousands: false })
        }
        (whole @ [first, ..], [mark @ (b'.' | b','), part @ ..])
            if !part.is_empty() && part.iter().all(u8::is_ascii_digit) =>
        {
            let thousands = part.len() == 3 && whole.len() <= 3 && *first != b'0';
            Some(Bare { mark: Some(*mark), thousands })
        }
        _ => None,
    }
}

/// Numbers and times in these fields when they are a row of a log: at least two, and no more words.
pub(super) fn data_cells(fields: &[impl AsRef<[u8]>], notation: Notation) -> Option<usize> {
    let (mut values, mut words) = (0, 0);
    for field in fields.iter().map(AsRef::as_ref) {
        if bare(field).is_some_and(|bare| bare.mark.is_none_or(|mark| mark == notation.decimal.byte())) {
            values += 1;
            continue;
        }
        // No number, time or unit has what divides the cells of another kind of log.
        if memchr::memchr2(b';', b'|', field).is_some() {
            words += 1;
            continue;
        }
        if is_time(field) {
            values += 1;
            continue;
        }
        match number::cell(field, notation) {
            Cell::Number(_) | Cell::Si(..) => values += 1,
            Cell::Empty | Cell::Overflow => {}
            Cell::Text => words += 1,
        }
    }
    (values >= 2 && values >= words).then_some(values)
}

fn is_time(field: &[u8]) -> bool {
    if field.contains(&b':') {
        return clock::hms(field, true).is_some() || clock::date_form(&[field], true).is_some();
    }
    // Trying every form of a date on every number of the head would cost more than reading the log.
    let parts = || field.iter().filter(|byte| b"-/. ".contains(byte)).count();
    field.len() >= 8 && parts() >= 2 && clock::date_form(&[field], false).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bare_number_is_what_the_long_way_finds() {
        let wholes = ["", "0", "7", "12", "123", "012", "1234", "123456789012", "123456789012345"];
        let parts = ["", "5", "12", "345", "3456"];
        let marks = [('.', ',', DecimalMark::Point), (',', '.', DecimalMark::Comma)];
        for (mark, other, decimal) in marks {
            for (whole, part) in wholes.iter().flat_map(|whole| parts.iter().map(move |part| (whole, part))) {
                for cell in [format!("{whole}{mark}{part}"), format!("-{whole}{mark}{part}")] {
                    let found = bare(cell.as_bytes());
                    // More digits are left to the long way, and so is a mark at an end.
                    let few = whole.len() + part.len() <= number::DIGITS;
                    assert_eq!(found.is_some(), few && !whole.is_empty() && !part.is_empty(), "{cell}");
                    let Some(found) = found else { continue };
                    let number = number::cell(cell.as_bytes(), Notation::plain(decimal));
                    assert!(matches!(number, Cell::Number(_)), "{cell}");
                    let thousands =
                        number::ungroup(&cell, other, true).is_some_and(|bare| !bare.contains(mark));
                    assert_eq!((found.mark, found.thousands), (Some(decimal.byte()), thousands), "{cell}");
                }
            }
        }
        for cell in ["0", "12", "-7", "123456789012345"] {
            assert!(bare(cell.as_bytes()).is_some_and(|bare| bare.mark.is_none()), "{cell}");
            assert!(matches!(
                number::cell(cell.as_bytes(), Notation::plain(DecimalMark::Comma)),
                Cell::Number(_)
            ));
        }
        let long = "1234567890123456";
        for cell in [long, "1.2.3", "1,2.3", "1.5e3", "1.5 V", " 1.5", "+1.5", "\"1.5\"", ".", "-", "--1", ""]
        {
            assert!(bare(cell.as_bytes()).is_none(), "{cell}");
        }
    }
}
