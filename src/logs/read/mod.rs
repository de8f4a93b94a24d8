//! Reads test logs as instruments write them.
//!
//! Recognised from the first lines: encoding, delimiter, decimal mark, preamble, header, a row of units,
//! the form of the time column and what each column means. The [`Layout`] says what was recognised and
//! can be printed; a caller may set any column by hand. Then the log streams past in blocks of a few
//! thousand samples, so that a log of any length takes the same memory.
//!
//! Refused, because a guess would be silent damage: a table without a time column, a decimal comma in a
//! table that is also divided by commas, a log written newest first, marks that would make volts of
//! millivolts if they divided thousands. Everything else that is skipped or repaired is counted in the
//! [`ReadReport`] with the line where it was first met. Thousands marks are read where they can be nothing
//! else: `1,234` alone is one thing to half of the world and another to the rest.

mod ahead;
mod chunk;
mod clock;
mod column;
mod container;
mod head;
mod layout;
mod levels;
mod long;
mod number;
mod order;
mod parse;
mod profile;
mod report;
mod rows;
mod settings;
mod sign;
mod spike;
mod state;
mod table;
mod timing;
mod unit;
#[cfg(feature = "workbooks")]
mod workbook;

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::ops::Range;
use std::path::Path;

use thiserror::Error;

use crate::record::open::{self, Refused};

use ahead::Ahead;
use chunk::FirstLines;
use clock::Clock;
use order::Order;
use parse::{Marks, Odd, Parsed, RowParser, What};

pub use clock::{DateOrder, TimeForm};
pub use column::{Column, HowKnown, Meaning, Role};
pub use layout::{Layout, Slot, is_gauge};
pub use profile::{FOLDER as PROFILES, ProfileError, check_name, profile_schema};
pub use report::{Fault, ReadReport, Tally};
pub use rows::{Block, Sample};
pub use settings::{
    ColumnSetting, NotASetting, Profile, Profiles, ReadSettings, RowFilter, SignSetting, parse_state,
};
pub use sign::{CurrentSign, SignBasis};
pub(super) use spike::{RUN, Spikes};

/// Why a log cannot be read at all.
#[derive(Debug, Error)]
pub enum ReadError {
    /// The file could not be read.
    #[error("the log could not be read: {0}")]
    Io(#[from] io::Error),
    /// What stands against it, with the way out.
    #[error("{0}")]
    Refused(String),
    /// The same of one table; the file may hold another below it.
    #[error("{0}")]
    NotThisTable(String),
}

impl ReadError {
    fn other_kind(kind: &str) -> Self {
        Self::Refused(format!(
            "the log is {kind}, not text; export it from the instrument's program as CSV, and name that file"
        ))
    }
}

/// The largest log that is read, in bytes: a year of ten samples a second is half of it.
const LARGEST: u64 = 16 << 30;
/// Rows that are handed over at a time.
const BLOCK: usize = 4096;

/// A log that streams past.
pub struct LogReader<R> {
    ahead: Ahead<R>,
    layout: Layout,
    report: ReadReport,
    rows: rows::Rows,
    order: Order,
    clock: Clock,
    /// Lines of the file before the chunk that is taken next.
    lines: u64,
    released: usize,
    finished: bool,
    /// Columns that are watched for samples far off.
    watched: Vec<Watched>,
    /// Rows stand under another header than the first.
    elsewhere: bool,
    /// Unreadable rows since the last good one: a footer if no good one follows.
    trailing: Tally,
}

impl LogReader<File> {
    /// Opens a log.
    ///
    /// # Errors
    /// Refuses what is not a regular file, what cannot be read, and logs whose layout stays unknown.
    pub fn open(path: &Path, settings: &ReadSettings) -> Result<Self, ReadError> {
        let refused = |why: Refused| match why {
            Refused::File(error) => ReadError::Io(error.source),
            other => ReadError::Refused(format!("the log cannot be read: {}", other.without_path())),
        };
        let (file, metadata) = open::plain(path).map_err(refused)?;
        if metadata.len() > LARGEST {
            return Err(refused(Refused::TooLarge { path: path.to_owned(), most: LARGEST }));
        }
        let container::Unpacked { text, sheet, long, first } = container::unpacked(file, settings)?;
        let mut log = Self::recognised(text, settings, first)?;
        (log.layout.sheet, log.layout.long) = (sheet, long);
        Ok(log)
    }
}

impl<R: Read + Seek> LogReader<R> {
    /// Reads a log from anything that can be read twice (the sign of the current is looked for first).
    ///
    /// # Errors
    /// As [`LogReader::open`].
    pub fn new(source: R, settings: &ReadSettings) -> Result<Self, ReadError> {
        Self::recognised(source, settings, None)
    }

    /// As [`LogReader::new`], where the first lines may have been read already.
    fn recognised(
        mut source: R,
        settings: &ReadSettings,
        first: Option<FirstLines>,
    ) -> Result<Self, ReadError> {
        let lines = |source: &mut R, skip: u64| {
            source.seek(SeekFrom::Start(0))?;
            head::first_lines(source, skip)
        };
        let mut first = match first {
            Some(first) => first,
            None => lines(&mut source, 0)?,
        };
        let mut told = None;
        if settings.profile.is_some() || !settings.known.is_empty() {
            told = Some(settings.with_profile(&first.lines()).map_err(ReadError::Refused)?);
        }
        let settings = told.as_ref().unwrap_or(settings);
        if settings.skip > 0 {
            first = lines(&mut source, settings.skip)?;
        }
        let (mut layout, report) = head::recognise(&first, settings)?;
        if let Some(turned) = layout.other_date_order() {
            let read = |layout: &Layout, source: &mut R| -> Result<(u64, f64), ReadError> {
                source.seek(SeekFrom::Start(0))?;
                let mut scan = LogReader::start(source, layout.clone(), report.clone())?;
                let (mut first, mut last) = (f64::INFINITY, f64::NEG_INFINITY);
                while let Some(block) = scan.next_block()? {
                    for sample in block.samples() {
                        (first, last) = (first.min(sample.time), last.max(sample.time));
                    }
                }
                let lost = [Fault::UnreadableTime, Fault::TimeFault, Fault::ClockRestart, Fault::TimeSpike];
                let lost = lost.iter().map(|fault| scan.report().tally(*fault).count).sum();
                Ok((lost, last - first))
            };
            let (here, there) = (read(&layout, &mut source)?, read(&turned, &mut source)?);
            // What can be read throughout, and of two such orders the one that makes less of the log a gap.
            if (there.0, there.1) < (here.0, here.1) {
                layout = turned;
            }
            if here.0 != there.0 || here.1 == there.1 {
                layout.date_order_is_known();
            }
        }
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
    fn start(source: R, layout: Layout, mut report: ReadReport) -> Result<Self, ReadError> {
        let parser = RowParser::new(&layout, report.columns);
        let width = parser.width();
        let watched = layout
            .values()
            .filter(|(_, column)| matches!(column.meaning, Meaning::Voltage | Meaning::Current))
            .map(|(slot, _)| Watched::new(slot))
            .collect();
        report.sign_not_decided = matches!(layout.sign, Some((CurrentSign::NotDecided, _)))
            && layout.values().any(|(_, column)| {
                matches!(column.meaning, Meaning::Current | Meaning::Power) && column.direction.is_none()
            });
        Ok(Self {
            // The head was read once to recognise it and is passed over now.
            ahead: Ahead::new(source, parser, layout.first_row.saturating_sub(1))?,
            clock: Clock::new(&layout.time),
            layout,
            report,
            rows: rows::Rows::new(width),
            order: Order::new(width),
            lines: 0,
            released: 0,
            finished: false,
            watched,
            elsewhere: false,
            trailing: Tally::default(),
        })
    }

    /// What was recognised.
    pub fn layout(&self) -> &Layout {
        &self.layout
    }

    /// Seconds since 1970 of the log's time zero, and whether they are known by UTC; `None` where the log has no date, and
    /// before the first sample was read.
    pub fn since_1970(&self) -> Option<(f64, bool)> {
        let (time, utc) = self.layout.time_reader.since_1970(self.clock.start())?;
        Some((time + self.layout.clock_offset, utc))
    }

    /// As [`LogReader::since_1970`], by the dates of a second clock where the first has none.
    pub fn dated(&self) -> Option<(f64, bool)> {
        let second = || self.layout.second_zero.map(|(zero, utc)| (zero + self.layout.clock_offset, utc));
        self.since_1970().or_else(second)
    }

    /// The first time of day of a log whose clock has no dates, s; its times count from there. `None` before the first
    /// sample was read.
    pub fn time_of_day(&self) -> Option<f64> {
        matches!(self.layout.time, TimeForm::Clock).then(|| self.clock.start())?
    }

    /// What was skipped and repaired so far; complete once [`LogReader::next_block`] has given `None`.
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
            self.read_chunk()?;
        }
        self.released =
            if self.finished { self.rows.len() } else { self.rows.len().saturating_sub(order::WINDOW) };
        if self.released == 0 {
            return Ok(None);
        }
        let block = self.rows.block(self.released);
        self.report.passed(block);
        for watched in &mut self.watched {
            watched.watch(block, &mut self.report);
        }
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

    fn read_chunk(&mut self) -> Result<(), ReadError> {
        let Some(work) = self.ahead.next()? else {
            self.order.finish(&mut self.rows, &mut self.report);
            self.report.add_all(Fault::Footer, self.trailing);
            self.report.midnights = self.clock.midnights();
            self.finished = true;
            return Ok(());
        };
        self.absorb(&work.parsed);
        self.lines += u64::from(work.parsed.lines);
        self.ahead.done(work);
        Ok(())
    }

    /// Takes the rows of a chunk in the order of the file.
    fn absorb(&mut self, parsed: &Parsed) {
        let first = self.lines + 1;
        // The next row of the chunk and its line.
        let (mut row, mut line) = (0, first + u64::from(parsed.skipped));
        for odd in &parsed.odd {
            let until = odd.row as usize;
            self.take(parsed, row..until, line);
            (row, line) = (until, first + u64::from(odd.line));
            if let What::Row(marks) = odd.what {
                if !self.elsewhere {
                    self.tell(marks, line);
                }
            } else {
                self.pass_over(odd, line);
                line += u64::from(odd.count);
            }
        }
        self.take(parsed, row..parsed.times.len(), line);
    }

    /// Rows on consecutive lines.
    fn take(&mut self, parsed: &Parsed, rows: Range<usize>, first_line: u64) {
        let times = parsed.times.get(rows.clone()).unwrap_or_default();
        let Some(first) = times.first() else {
            return;
        };
        self.report.rows += times.len() as u64;
        if self.elsewhere {
            self.report.add_many(Fault::UnderOtherHeader, times.len() as u64, first_line);
            return;
        }
        if self.trailing.count > 0 {
            self.report.add_all(Fault::UnreadableRow, self.trailing);
            self.trailing = Tally::default();
        }
        let width = self.rows.width();
        let values = parsed.values.get(rows.start * width..rows.end * width).unwrap_or_default();
        let start = self.clock.constant(*first);
        let mut done = 0;
        while let Some(time) = times.get(done) {
            if let Some(start) = start {
                let (times, values) =
                    (times.get(done..).unwrap_or_default(), values.get(done * width..).unwrap_or_default());
                let taken = self.order.run(&mut self.rows, first_line + done as u64, times, start, values);
                if taken > 0 {
                    done += taken;
                    continue;
                }
            }
            let time = self.clock.take(*time);
            let values = values.get(done * width..(done + 1) * width).unwrap_or_default();
            self.order.push(&mut self.rows, first_line + done as u64, time, values, &mut self.report);
            done += 1;
        }
    }

    fn tell(&mut self, marks: Marks, line: u64) {
        for (count, fault) in [
            (u8::from(marks.short), Fault::ShortRow),
            (u8::from(marks.long), Fault::LongRow),
            (u8::from(marks.open), Fault::OpenEnd),
            (marks.missing, Fault::Missing),
            (marks.overflow, Fault::Overflow),
            (marks.unreadable, Fault::UnreadableValue),
            (marks.implausible, Fault::Implausible),
            (marks.with_unit, Fault::UnitInCell),
        ] {
            if count > 0 {
                self.report.add_many(fault, u64::from(count), line);
            }
        }
    }

    fn pass_over(&mut self, odd: &Odd, line: u64) {
        let count = u64::from(odd.count);
        let fault = match odd.what {
            What::Blank => Fault::Blank,
            What::TooLong => Fault::LineTooLong,
            What::Truncated => Fault::Truncated,
            What::Header => {
                self.elsewhere = false;
                Fault::RepeatedHeader
            }
            What::OtherHeader => {
                self.elsewhere = true;
                Fault::OtherHeader
            }
            What::Zeros => Fault::Zeros,
            What::LeftOut => Fault::LeftOut,
            What::NoTime => Fault::UnreadableTime,
            What::NoData | What::Row(_) => {
                self.report.rows += count;
                if self.trailing.count == 0 {
                    self.trailing.first_line = line;
                }
                self.trailing.count += count;
                return;
            }
        };
        if !matches!(fault, Fault::Blank | Fault::LineTooLong) {
            self.report.rows += count;
        }
        self.report.add_many(fault, count, line);
    }
}

/// A channel that is watched for samples far off, with the lines of the last ones.
struct Watched {
    slot: Slot,
    spikes: Spikes,
    lines: [u64; RUN],
    taken: usize,
}

impl Watched {
    fn new(slot: Slot) -> Self {
        Self { slot, spikes: Spikes::default(), lines: [0; RUN], taken: 0 }
    }

    /// Counts samples far off what lies before and after them.
    fn watch(&mut self, block: Block<'_>, report: &mut ReadReport) {
        let slot = self.slot;
        if !block.has_breaks() && self.spikes.take_quiet(block.samples().map(|sample| sample.get(slot))) {
            let last = block.samples().enumerate().skip(block.len().saturating_sub(RUN));
            last.for_each(|(n, sample)| self.note(self.taken + n, sample.line));
            self.taken += block.len();
            return;
        }
        for sample in block.samples() {
            if sample.after_break {
                self.spikes.interrupt();
            }
            let value = sample.get(self.slot);
            // Where a value is missing its neighbours follow each other.
            if value.is_nan() {
                continue;
            }
            let count = self.spikes.push(value);
            if count > 0 {
                let first = self.taken.checked_sub(count).and_then(|n| self.lines.get(n % RUN));
                let fault = if count == 1 { Fault::Spike } else { Fault::SpikeRun };
                report.add_many(fault, count as u64, first.copied().unwrap_or_default());
            }
            self.note(self.taken, sample.line);
            self.taken += 1;
        }
    }

    /// The line of the `n`th value.
    fn note(&mut self, n: usize, line: u64) {
        if let Some(place) = self.lines.get_mut(n % RUN) {
            *place = line;
        }
    }
}
