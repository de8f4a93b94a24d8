//! Reads test logs as instruments write them.
//!
//! Recognised from the first lines: encoding, delimiter, decimal mark, preamble, header, a row of units,
//! the form of the time column and what each column means. The [`Layout`] says what was recognised and
//! can be printed; a caller may set any column by hand. Then the log streams past in blocks of a few
//! thousand samples, so that a log of any length takes the same memory.
//!
//! Refused, because a guess would be silent damage: a table without a time column, a decimal comma in a
//! table that is also divided by commas, a log written newest first. Everything else that is skipped or
//! repaired is counted in the [`ReadReport`] with the line where it was first met. Thousands marks are
//! not read as numbers: `1,234` is one thing to half of the world and another to the rest.

mod clock;
mod column;
mod head;
mod layout;
mod lines;
mod number;
mod order;
mod report;
mod rows;
mod settings;
mod sign;

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

use thiserror::Error;

use clock::Clock;
use lines::{Line, Lines};
use number::{Cell, DecimalMark};
use order::Order;

pub use clock::TimeForm;
pub use column::{Column, HowKnown, Meaning};
pub use layout::{Encoding, Layout, Slot};
pub use report::{Fault, ReadReport, Tally};
pub use rows::{Block, Sample};
pub use settings::{ColumnSetting, NotASetting, ReadSettings, SignSetting};
pub use sign::{CurrentSign, SignBasis};

/// Why a log cannot be read at all.
#[derive(Debug, Error)]
pub enum ReadError {
    /// The file could not be read.
    #[error("the log could not be read: {0}")]
    Io(#[from] io::Error),
    /// Not a regular file.
    #[error("the log is not a regular file")]
    NotAFile,
    /// No rows of numbers were found.
    #[error(
        "no table was found in the first {lines} lines: expected rows of at least two numbers or times, divided by comma, semicolon, tab or |"
    )]
    NoTable {
        /// Lines looked at.
        lines: u64,
    },
    /// Rows of numbers without names above them, and no settings.
    #[error(
        "the table at line {line} has no header, so no column has a meaning; set the columns by number, for example `#1 = time in s`"
    )]
    NoHeader {
        /// The first row of the table.
        line: u64,
    },
    /// No time column.
    #[error("no time column was recognised among: {columns}; set one, for example `{example} = time in s`")]
    NoTime {
        /// The headers.
        columns: String,
        /// A header to show in the example.
        example: String,
    },
    /// Only a time column.
    #[error(
        "beside the time no column was recognised among: {columns}; set one, for example `{example} = voltage in V`"
    )]
    NothingToRead {
        /// The headers.
        columns: String,
        /// A header to show in the example.
        example: String,
    },
    /// Decimal comma and comma as delimiter at once.
    #[error(
        "line {line} has {fields} fields under {columns} headers: the comma seems to be both the decimal mark and the delimiter; export the log with semicolons or tabs"
    )]
    CommaTwice {
        /// The first row of the table.
        line: u64,
        /// Fields of that row.
        fields: usize,
        /// Headers above it.
        columns: usize,
    },
    /// Times fall from row to row.
    #[error("the log is written newest first (the time falls from line {line} on); export it oldest first")]
    NewestFirst {
        /// First row of the table.
        line: u64,
    },
    /// A setting names a column that is not there.
    #[error("the settings name a column \"{wanted}\" that the log does not have; it has: {columns}{near}")]
    NoSuchColumn {
        /// What the setting names.
        wanted: String,
        /// The headers.
        columns: String,
        /// A did-you-mean, or nothing.
        near: String,
    },
}

/// Rows that are handed over at a time.
const BLOCK: usize = 4096;
/// Values beyond this in SI units come from no bench test: a broken cell, not a reading.
const IMPLAUSIBLE: f64 = 1e9;

/// A log that streams past.
pub struct LogReader<R> {
    lines: Lines<R>,
    layout: Layout,
    report: ReadReport,
    rows: rows::Rows,
    order: Order,
    clock: Clock,
    /// What to do with each field of a row.
    plan: Vec<Field>,
    row: Vec<f64>,
    released: usize,
    finished: bool,
    /// Unreadable rows since the last good one: a footer if no good one follows.
    trailing: Tally,
    header: Vec<u8>,
}

/// What is done with one field.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Field {
    Skip,
    Time,
    Date,
    Value { slot: usize, scale: f64, offset: f64 },
}

impl LogReader<File> {
    /// Opens a log.
    ///
    /// # Errors
    /// Refuses what is not a regular file, what cannot be read, and logs whose layout stays unknown.
    pub fn open(path: &Path, settings: &ReadSettings) -> Result<Self, ReadError> {
        let file = File::open(path)?;
        if !file.metadata()?.is_file() {
            return Err(ReadError::NotAFile);
        }
        Self::new(file, settings)
    }
}

impl<R: Read + Seek> LogReader<R> {
    /// Reads a log from anything that can be read twice (the sign of the current is looked for first).
    ///
    /// # Errors
    /// As [`LogReader::open`].
    pub fn new(mut source: R, settings: &ReadSettings) -> Result<Self, ReadError> {
        source.seek(SeekFrom::Start(0))?;
        let (layout, report) = head::recognise(&mut source, settings)?;
        let mut layout = layout;
        if layout.sign.is_none() {
            source.seek(SeekFrom::Start(0))?;
            let mut scan = LogReader::start(&mut source, layout.clone(), report.clone())?;
            let found = sign::detect(&mut scan)?;
            layout.set_sign(found);
        }
        source.seek(SeekFrom::Start(0))?;
        Self::start(source, layout, report)
    }
}

impl<R: Read> LogReader<R> {
    /// Streams a log whose layout is known, from its first byte.
    fn start(source: R, layout: Layout, report: ReadReport) -> Result<Self, ReadError> {
        let mut lines = Lines::new(source)?;
        // The head was read once to recognise it and is passed over now.
        while lines.number() + 1 < layout.first_row {
            if lines.next()?.is_none() {
                break;
            }
        }
        let plan = layout.plan();
        let width = layout.width();
        Ok(Self {
            lines,
            clock: Clock::new(&layout.time, layout.decimal),
            header: layout.header_line_text.clone(),
            layout,
            report,
            rows: rows::Rows::new(width),
            order: Order::new(width),
            plan,
            row: vec![f64::NAN; width],
            released: 0,
            finished: false,
            trailing: Tally::default(),
        })
    }

    /// What was recognised.
    #[must_use]
    pub fn layout(&self) -> &Layout {
        &self.layout
    }

    /// What was skipped and repaired so far; complete once [`LogReader::next_block`] has given `None`.
    #[must_use]
    pub fn report(&self) -> &ReadReport {
        &self.report
    }

    /// The next samples, in the order of their times, or `None` at the end of the log.
    ///
    /// # Errors
    /// When the file cannot be read any further.
    pub fn next_block(&mut self) -> Result<Option<Block<'_>>, ReadError> {
        self.rows.drain_front(self.released);
        self.released = 0;
        while !self.finished && self.rows.len() < BLOCK + order::WINDOW {
            self.read_line()?;
        }
        self.released =
            if self.finished { self.rows.len() } else { self.rows.len().saturating_sub(order::WINDOW) };
        if self.released == 0 {
            return Ok(None);
        }
        let block = self.rows.block(self.released);
        self.report.passed(block);
        Ok(Some(block))
    }

    /// Hands every sample to `take` and returns the report.
    ///
    /// # Errors
    /// As [`LogReader::next_block`].
    pub fn for_each(&mut self, mut take: impl FnMut(Sample<'_>)) -> Result<&ReadReport, ReadError> {
        while let Some(block) = self.next_block()? {
            for sample in block.samples() {
                take(sample);
            }
        }
        Ok(&self.report)
    }

    fn read_line(&mut self) -> Result<(), ReadError> {
        let number = self.lines.number() + 1;
        let quotes = self.lines.may_have_quotes();
        let Some(line) = self.lines.next()? else {
            self.order.finish(&mut self.rows, &mut self.report);
            self.report.add_all(Fault::Footer, self.trailing);
            self.report.midnights = self.clock.midnights();
            self.finished = true;
            return Ok(());
        };
        let (bytes, complete) = match line {
            Line::TooLong => {
                self.report.add(Fault::LineTooLong, number);
                return Ok(());
            }
            Line::Text { bytes, complete } => (bytes, complete),
        };
        if bytes.iter().all(u8::is_ascii_whitespace) {
            self.report.add(Fault::Blank, number);
            return Ok(());
        }
        self.report.rows += 1;
        let mut parsed = Parsed::default();
        self.row.fill(f64::NAN);
        let mut target = Target {
            plan: &self.plan,
            decimal: self.layout.decimal,
            clock: &mut self.clock,
            row: &mut self.row,
            parsed: &mut parsed,
        };
        let delimiter = self.layout.delimiter;
        if delimiter == b' ' || quotes && memchr::memchr(b'"', bytes).is_some() {
            for (index, field) in head::split(bytes, delimiter).iter().enumerate() {
                target.field(index, field);
            }
        } else {
            target.plain(bytes, delimiter);
        }
        let needed = self.plan.len();
        if !complete && parsed.fields < needed {
            // The last field may have lost digits when the logger was switched off.
            self.report.add(Fault::Truncated, number);
            return Ok(());
        }
        let Some(time) = self.clock.take(parsed.time, parsed.date) else {
            if !self.header.is_empty() && bytes.trim_ascii() == self.header.trim_ascii() {
                self.report.add(Fault::RepeatedHeader, number);
            } else if parsed.numbers > 0 && parsed.fields >= needed {
                self.report.add(Fault::UnreadableTime, number);
            } else {
                self.trailing.add(number);
            }
            return Ok(());
        };
        if self.trailing.count > 0 {
            self.report.add_all(Fault::UnreadableRow, self.trailing);
            self.trailing = Tally::default();
        }
        parsed.tell(number, needed, &mut self.report);
        self.order.push(&mut self.rows, number, time, &self.row, &mut self.report);
        Ok(())
    }
}

/// What one row gave beside its values.
#[derive(Debug, Default)]
struct Parsed {
    fields: usize,
    numbers: usize,
    time: Option<f64>,
    date: Option<f64>,
    missing: u32,
    overflow: u32,
    unreadable: u32,
    implausible: u32,
    with_unit: u32,
}

impl Parsed {
    fn tell(&self, number: u64, needed: usize, report: &mut ReadReport) {
        if self.fields < needed {
            report.add(Fault::ShortRow, number);
        } else if self.fields > report.columns {
            report.add(Fault::LongRow, number);
        }
        for (count, fault) in [
            (self.missing, Fault::Missing),
            (self.overflow, Fault::Overflow),
            (self.unreadable, Fault::UnreadableValue),
            (self.implausible, Fault::Implausible),
            (self.with_unit, Fault::UnitInCell),
        ] {
            if count > 0 {
                report.add_many(fault, u64::from(count), number);
            }
        }
    }
}

struct Target<'a> {
    plan: &'a [Field],
    decimal: DecimalMark,
    clock: &'a mut Clock,
    row: &'a mut [f64],
    parsed: &'a mut Parsed,
}

impl Target<'_> {
    /// A line without quotes: fields are read where they stand.
    fn plain(&mut self, line: &[u8], delimiter: u8) {
        let mut rest = line;
        let mut index = 0;
        loop {
            // Plain numbers, nearly every field of nearly every log, are read without looking for
            // their end first.
            if let Some(Field::Value { slot, scale, offset }) = self.plan.get(index)
                && let Some((value, used)) = number::fast(rest, delimiter, self.decimal)
            {
                self.value(*slot, value * scale + offset);
                rest = rest.get(used..).unwrap_or_default();
            } else {
                let end = memchr::memchr(delimiter, rest).unwrap_or(rest.len());
                let (field, after) = rest.split_at(end);
                self.cell(index, field);
                rest = after;
            }
            index += 1;
            match rest.split_first() {
                Some((_, after)) => rest = after,
                None => break,
            }
            if index >= self.plan.len() {
                // Nothing further is wanted; only the number of fields counts.
                index += 1 + memchr::memchr_iter(delimiter, rest).count();
                break;
            }
        }
        self.parsed.fields = index;
    }

    fn field(&mut self, index: usize, field: &[u8]) {
        self.parsed.fields = index + 1;
        self.cell(index, field);
    }

    fn value(&mut self, slot: usize, value: f64) {
        self.parsed.numbers += 1;
        if value.abs() > IMPLAUSIBLE {
            self.parsed.implausible += 1;
        } else if let Some(place) = self.row.get_mut(slot) {
            *place = value;
        }
    }

    fn cell(&mut self, index: usize, field: &[u8]) {
        match self.plan.get(index) {
            None | Some(Field::Skip) => {}
            Some(Field::Time) => self.parsed.time = self.clock.read(field),
            Some(Field::Date) => self.parsed.date = self.clock.read_date(field),
            Some(Field::Value { slot, scale, offset }) => match number::cell(field, self.decimal) {
                Cell::Number(value) => self.value(*slot, value * scale + offset),
                Cell::Si(value) => {
                    self.parsed.with_unit += 1;
                    // The column's sign still holds.
                    self.value(*slot, value * scale.signum());
                }
                Cell::Empty => self.parsed.missing += 1,
                Cell::Overflow => self.parsed.overflow += 1,
                Cell::Text => self.parsed.unreadable += 1,
            },
        }
    }
}
