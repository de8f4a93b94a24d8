//! Parses the rows of one chunk, without looking at any other: chunks are parsed side by side.
//!
//! Nearly every row of nearly every log is plain numbers between delimiters. Such a row is read in one
//! pass ([`RowParser::plain`]); one that is anything else is read field by field, and what was odd about
//! it is noted beside the rows, in the order of the file. What depends on earlier rows (the order of
//! times, midnight, what is a footer) is left to [`super::LogReader`].

use super::chunk::{Chunk, LONGEST, text, without_cr};
use super::clock::TimeReader;
use super::column::{Column, Meaning, fits, holds};
use super::layout::{Field, Layout};
use super::number::{self, Cell, Notation};
use super::sign::CurrentSign;
use super::state::state;
use super::table::{self, names};
use super::unit::unit_of;

/// What the rows of a chunk are.
#[derive(Default)]
pub(super) struct Parsed {
    /// Time of each row, s, in the frame of its column.
    pub times: Vec<f64>,
    pub values: Vec<f64>,
    /// Lines that are no plain rows, in the order of the file.
    pub odd: Vec<Odd>,
    pub lines: u32,
    /// How many of them, from the first on, were not to be read.
    pub skipped: u32,
}

impl Parsed {
    fn clear(&mut self) {
        self.times.clear();
        self.values.clear();
        self.odd.clear();
        self.lines = 0;
        self.skipped = 0;
    }

    fn note(&mut self, line: u32, what: What) {
        // Whole stretches of such lines take the room of one.
        if let Some(last) = self.odd.last_mut()
            && last.what == what
            && what.joins()
            && last.line.checked_add(last.count) == Some(line)
        {
            last.count += 1;
            return;
        }
        let row = u32::try_from(self.times.len()).unwrap_or(u32::MAX);
        self.odd.push(Odd { line, row, count: 1, what });
    }
}

/// A line that is no plain row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Odd {
    /// Its number in the chunk, from 0.
    pub line: u32,
    /// Rows of the chunk before it.
    pub row: u32,
    /// Lines of this kind from here on.
    pub count: u32,
    pub what: What,
}

/// Kinds of such lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum What {
    /// Nothing but spaces.
    Blank,
    TooLong,
    /// Cut off at the end of the file.
    Truncated,
    Header,
    /// A row whose time cannot be read.
    NoTime,
    /// Zero bytes among it, as a broken disk or a power failure leaves them.
    Zeros,
    /// Another header than that of the table.
    OtherHeader,
    /// A row that the filter does not let through.
    LeftOut,
    NoData,
    /// A row that was read, but was not as it should be.
    Row(Marks),
}

impl What {
    fn joins(self) -> bool {
        !matches!(self, Self::Row(_))
    }
}

/// What was odd about a row that was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Marks {
    /// Fewer fields than the columns that are read.
    pub short: bool,
    /// More fields than headers.
    pub long: bool,
    /// It has no line end, and ends within the last field that is read.
    pub open: bool,
    /// Empty cells.
    pub missing: u8,
    /// Cells in which the instrument says that it could not read.
    pub overflow: u8,
    /// Cells that are no numbers.
    pub unreadable: u8,
    /// Numbers that no bench test gives.
    pub implausible: u8,
    /// Cells with a unit of their own.
    pub with_unit: u8,
}

/// Parses rows by a layout.
#[derive(Clone)]
pub(super) struct RowParser {
    /// What to do with each field of a row; ends with the last that is wanted.
    plan: Vec<Field>,
    width: usize,
    /// Fields that have a header.
    columns: usize,
    delimiter: u8,
    notation: Notation,
    time: TimeReader,
    other_time: Option<TimeReader>,
    /// Where the current has no sign of its own: the place of the state, and those of the currents and powers.
    by_state: Option<(usize, Vec<usize>)>,
    states: Vec<(String, f64)>,
    /// Units that stand beside values: place of the value, unit that is expected, meaning.
    units: Vec<(usize, String, Meaning)>,
    /// Only rows with this text in this field are read.
    filter: Option<(usize, String)>,
    /// The header, for finding it again.
    names: Vec<String>,
}

impl RowParser {
    pub fn new(layout: &Layout, columns: usize) -> Self {
        Self {
            plan: layout.plan(),
            width: layout.width(),
            columns,
            delimiter: layout.delimiter,
            notation: layout.notation,
            time: layout.time_reader.clone(),
            other_time: layout.other_time.as_ref().map(|(_, reader)| reader.clone()),
            by_state: by_state(layout),
            states: layout.states.clone(),
            units: layout.units_beside(),
            filter: layout.filter(),
            names: names(&layout.header_line_text, layout.delimiter),
        }
    }

    /// Values that come with each row.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Reads every line of a chunk after the first `skip` ones.
    pub fn parse(&self, chunk: &Chunk, skip: u32, out: &mut Parsed) {
        out.clear();
        let text = chunk.padded();
        let end = chunk.lines().len();
        let mut at = 0;
        let mut too_long = chunk.begins_too_long;
        while at < end || too_long {
            let line = out.lines;
            let plain = self.delimiter != b' ' && self.filter.is_none() && !too_long && line >= skip;
            if plain && let Some(next) = self.plain(text, at, chunk.line_end, out) {
                at = next;
                out.lines += 1;
                continue;
            }
            let rest = chunk.lines().get(at..).unwrap_or_default();
            let length = memchr::memchr(chunk.line_end, rest);
            let bytes = rest.get(..length.unwrap_or(rest.len())).unwrap_or_default();
            if line >= skip {
                if std::mem::take(&mut too_long) || bytes.len() > LONGEST {
                    out.note(line, What::TooLong);
                } else {
                    self.line(without_cr(bytes), length.is_some(), line, out);
                }
            }
            if line < skip {
                out.skipped = line + 1;
            }
            too_long = false;
            at += bytes.len() + 1;
            out.lines += 1;
        }
    }

    /// A row of plain numbers: gives where the next line begins, or `None` for a row that is anything else,
    /// of which nothing is kept.
    #[inline]
    fn plain(&self, text: &[u8], begin: usize, line_end: u8, out: &mut Parsed) -> Option<usize> {
        let first_value = out.values.len();
        let row = self.plain_row(text, begin, line_end, &mut out.values);
        if let Some((time, next)) = row {
            out.times.push(time);
            self.turn(out.values.get_mut(first_value..).unwrap_or_default());
            return Some(next);
        }
        out.values.truncate(first_value);
        None
    }

    #[inline]
    fn plain_row(
        &self,
        text: &[u8],
        begin: usize,
        line_end: u8,
        values: &mut Vec<f64>,
    ) -> Option<(f64, usize)> {
        let (mut time, mut date) = (None, None);
        let mut at = begin;
        let mut fields = self.plan.iter();
        while let Some(field) = fields.next() {
            match *field {
                Field::Value { scale, offset, low, high, .. } => {
                    let (value, end) = number::plain(text, at, self.delimiter, self.notation.decimal)?;
                    let value = value * scale + offset;
                    if value < low || value > high {
                        return None;
                    }
                    values.push(value);
                    at = end;
                }
                Field::Number { factor } => {
                    let (value, end) = number::plain(text, at, self.delimiter, self.notation.decimal)?;
                    time = Some(value * factor);
                    at = end;
                }
                Field::Time
                | Field::Date
                | Field::Skip
                | Field::State { .. }
                | Field::Unit { .. }
                | Field::OtherTime { .. } => {
                    let rest = text.get(at..)?;
                    let length = memchr::memchr3(self.delimiter, line_end, b'"', rest)?;
                    let cell = rest.get(..length)?;
                    match field {
                        Field::Time => time = Some(self.time.read(cell)?),
                        Field::Date => date = Some(self.time.read_date(cell)?),
                        Field::State { .. } => values.push(state(cell, &self.states).unwrap_or(f64::NAN)),
                        Field::OtherTime { .. } => values.push(self.other(cell)),
                        Field::Unit { slot } => self.is_unit(*slot, cell).then_some(())?,
                        _ => {}
                    }
                    at += length;
                }
            }
            if fields.len() > 0 {
                if *text.get(at)? != self.delimiter {
                    return None;
                }
                at += 1;
            }
        }
        let mut stop = *text.get(at)?;
        if stop == self.delimiter {
            // Nothing further is wanted; only the number of fields counts.
            let rest = text.get(at..)?;
            let surplus = rest.get(..memchr::memchr(line_end, rest)?)?;
            let fields = self.plan.len() + memchr::memchr_iter(self.delimiter, surplus).count();
            let empty = || surplus.iter().all(|byte| *byte == self.delimiter || *byte == b'\r');
            if (fields > self.columns && !empty()) || memchr::memchr(b'"', surplus).is_some() {
                return None;
            }
            at += surplus.len();
            stop = line_end;
        } else if stop == b'\r' && line_end != b'\r' {
            at += 1;
            stop = *text.get(at)?;
        }
        let time = self.time.together(time, date)?;
        (stop == line_end && at - begin <= LONGEST).then_some((time, at + 1))
    }

    /// A line of any kind, without its end.
    fn line(&self, bytes: &[u8], complete: bool, line: u32, out: &mut Parsed) {
        // A row of nothing but delimiters is as blank.
        if bytes.iter().all(|byte| byte.is_ascii_whitespace() || *byte == self.delimiter || *byte == b'"') {
            out.note(line, What::Blank);
            return;
        }
        if memchr::memchr(0, bytes).is_some() {
            out.note(line, What::Zeros);
            return;
        }
        if let Some((at, wanted)) = &self.filter
            && table::split(bytes, self.delimiter).get(*at).is_none_or(|cell| text(cell).trim() != wanted)
        {
            out.note(line, What::LeftOut);
            return;
        }
        let mut row = Row::default();
        let first_value = out.values.len();
        out.values.resize(first_value + self.width, f64::NAN);
        let values = out.values.get_mut(first_value..).unwrap_or_default();
        if self.delimiter == b' ' || memchr::memchr(b'"', bytes).is_some() {
            for field in table::split(bytes, self.delimiter) {
                self.field(&field, values, &mut row);
            }
        } else {
            for field in bytes.split(|byte| *byte == self.delimiter) {
                self.field(field, values, &mut row);
            }
        }
        let needed = self.plan.len();
        let what = if !complete && row.fields < needed {
            // The last field may have lost digits when the logger was switched off.
            What::Truncated
        } else if let Some(time) =
            self.time.together(row.time, row.date).filter(|_| row.is_sample(&self.time))
        {
            row.marks.short = row.fields < needed;
            // A delimiter at the end of every row makes no field.
            row.marks.long = row.last_filled > self.columns;
            row.marks.open = !complete && row.fields == needed;
            self.turn(out.values.get_mut(first_value..).unwrap_or_default());
            if row.marks != Marks::default() {
                out.note(line, What::Row(row.marks));
            }
            out.times.push(time);
            return;
        } else if row.numbers == 0 && self.is_header(bytes) {
            What::Header
        } else if row.numbers == 0 && self.is_other_header(bytes) {
            What::OtherHeader
        } else if row.numbers > 0 && row.fields >= needed {
            What::NoTime
        } else {
            What::NoData
        };
        out.values.truncate(first_value);
        out.note(line, what);
    }

    /// Whether a cell beside a value is its usual unit, or empty.
    fn is_unit(&self, slot: usize, cell: &[u8]) -> bool {
        let cell = cell.trim_ascii();
        cell.is_empty() || self.units.iter().any(|(of, unit, _)| *of == slot && cell == unit.as_bytes())
    }

    /// How many usual units the unit in a cell beside a value is; nothing where it is none, or one of a point.
    fn times(&self, slot: usize, cell: &[u8]) -> Option<f64> {
        let (_, usual, meaning) = self.units.iter().find(|(of, ..)| *of == slot)?;
        let (usual, own) = (unit_of(usual)?, unit_of(&text(cell))?);
        let alike =
            fits(*meaning, own.dimension) && usual.offset == own.offset && *meaning != Meaning::Temperature;
        alike.then_some(own.factor / usual.factor)
    }

    fn other(&self, cell: &[u8]) -> f64 {
        self.other_time.as_ref().and_then(|reader| reader.read(cell)).unwrap_or(f64::NAN)
    }

    /// Gives currents without a sign the one of the state.
    #[inline]
    fn turn(&self, values: &mut [f64]) {
        let Some((state, slots)) = &self.by_state else { return };
        let way = match values.get(*state).copied() {
            Some(way) if way != 0.0 => way,
            _ => 1.0,
        };
        for slot in slots {
            if let Some(value) = values.get_mut(*slot) {
                *value = value.abs() * way;
            }
        }
    }

    /// Whether these are the names of the table, however they are quoted and spaced.
    fn is_header(&self, bytes: &[u8]) -> bool {
        !self.names.is_empty() && names(bytes, self.delimiter) == self.names
    }

    /// Whether these are names of columns, with a time among them.
    fn is_other_header(&self, bytes: &[u8]) -> bool {
        let known = |meaning: fn(Meaning) -> bool| {
            names(bytes, self.delimiter)
                .iter()
                .take(MOST_NAMES)
                .filter(|name| name.len() <= LONGEST_NAME)
                .filter(|name| meaning(Column::recognise(0, name, None).meaning))
                .count()
        };
        let delimiters = memchr::memchr_iter(self.delimiter, bytes).count();
        delimiters > 0
            && known(|meaning| matches!(meaning, Meaning::Time | Meaning::Date)) > 0
            && known(Meaning::is_value) > 0
    }

    fn field(&self, field: &[u8], values: &mut [f64], row: &mut Row) {
        let index = row.fields;
        row.fields += 1;
        if index >= self.columns && !field.trim_ascii().is_empty() {
            row.last_filled = row.fields;
        }
        match self.plan.get(index) {
            None | Some(Field::Skip) => {}
            Some(Field::Time | Field::Number { .. }) => row.time = self.time.read(field),
            Some(Field::Date) => row.date = self.time.read_date(field),
            Some(Field::State { slot }) => {
                if let Some(place) = values.get_mut(*slot) {
                    *place = state(field, &self.states).unwrap_or(f64::NAN);
                }
            }
            Some(Field::Unit { slot }) => {
                if let Some(place) = values.get_mut(*slot).filter(|_| !self.is_unit(*slot, field)) {
                    let count = match self.times(*slot, field) {
                        Some(times) => {
                            *place *= times;
                            &mut row.marks.with_unit
                        }
                        None => {
                            *place = f64::NAN;
                            &mut row.marks.unreadable
                        }
                    };
                    *count = count.saturating_add(1);
                }
            }
            Some(Field::OtherTime { slot }) => {
                if let Some(place) = values.get_mut(*slot) {
                    *place = self.other(field);
                }
            }
            Some(Field::Value { slot, scale, offset, meaning, low, high }) => {
                let more = |count: &mut u8| *count = count.saturating_add(1);
                let value = match number::cell(field, self.notation) {
                    Cell::Number(value) => value * scale + offset,
                    Cell::Si(value, dimension) if holds(*meaning, dimension) => {
                        more(&mut row.marks.with_unit);
                        // The column's sign still holds.
                        value * scale.signum()
                    }
                    Cell::Empty => return more(&mut row.marks.missing),
                    Cell::Overflow => return more(&mut row.marks.overflow),
                    Cell::Si(..) | Cell::Text => return more(&mut row.marks.unreadable),
                };
                row.numbers += 1;
                if value < *low || value > *high {
                    more(&mut row.marks.implausible);
                } else if let Some(place) = values.get_mut(*slot) {
                    *place = value;
                }
            }
        }
    }
}

/// Where the state stands in a row, and what takes its sign from it.
fn by_state(layout: &Layout) -> Option<(usize, Vec<usize>)> {
    if !matches!(layout.sign, Some((CurrentSign::ByState, _))) {
        return None;
    }
    let (state, _) = layout.slots(Meaning::State).next()?;
    let turned = |meaning: Meaning| matches!(meaning, Meaning::Current | Meaning::Power);
    let slots =
        layout.values().filter(|(_, c)| turned(c.meaning) && c.direction.is_none()).map(|(slot, _)| slot.0);
    Some((state.0, slots.collect()))
}

/// Names in a header that are looked at, and their length.
const MOST_NAMES: usize = 64;
const LONGEST_NAME: usize = 100;

impl Row {
    /// Where the rows are the clock, a line without a reading is a title or a footer.
    fn is_sample(&self, time: &TimeReader) -> bool {
        self.numbers > 0 || self.marks.overflow > 0 || !time.is_of_rows()
    }
}

/// What is known of a row while its fields are read.
#[derive(Default)]
struct Row {
    fields: usize,
    last_filled: usize,
    numbers: usize,
    time: Option<f64>,
    date: Option<f64>,
    marks: Marks,
}
