//! The log of a test: one file, or several of one instrument that are joined by their clocks.
//!
//! Files with dates are put on the clock of the earliest one; files without go on from each other only where the time of
//! each begins after the last time of the one before it. Files that overlap, that start their clocks anew, or whose
//! columns differ are refused with the reason: how long a log was off between two files is never guessed. What may have
//! flowed meanwhile is a gap like any other.

use std::fs::File;
use std::path::PathBuf;

use super::read::{
    ColumnSetting, CurrentSign, Layout, LogReader, Meaning, ReadError, ReadSettings, Sample, SignSetting,
    TimeForm,
};
use crate::units::{Dimension, show};

/// Files that are joined.
const FILES: usize = 64;

#[derive(Debug, Clone)]
pub struct LogFile {
    pub name: String,
    pub path: PathBuf,
}

struct Part {
    name: String,
    reader: LogReader<File>,
    /// What is added to its times, s.
    shift: f64,
}

/// A log that streams past, of one file or of several.
pub struct Joined {
    /// In the order of time; never empty.
    first: Part,
    others: Vec<Part>,
    window: (f64, f64),
}

/// A file and the times that it holds.
struct Span {
    first: f64,
    last: f64,
    /// Seconds since 1970 of its time zero, and whether by UTC.
    since_1970: Option<(f64, bool)>,
    /// What a clock that counts on from the first file's start shows at its first sample, where it looks like a time of
    /// day because this file does not begin with nothing.
    counts_from: Option<f64>,
}

impl Joined {
    /// Opens the files of a log.
    ///
    /// # Errors
    /// Says which file cannot be read, and why files cannot be joined.
    pub fn open(files: &[LogFile], settings: &ReadSettings) -> Result<Self, String> {
        let (first, more) = files.split_first().ok_or("the test names no log")?;
        if more.is_empty() {
            let part = Part::open(first, settings).map_err(|error| error.to_string())?;
            return Ok(Self { first: part, others: Vec::new(), window: (f64::NEG_INFINITY, f64::INFINITY) });
        }
        if files.len() > FILES {
            return Err(format!("a test names {} logs; up to {FILES} are joined", files.len()));
        }
        let parts = of_files(files, settings)?;
        let clock = parts.first().map(|part| part.reader.layout().time_name()).unwrap_or_default();
        let spans_of = |settings: &ReadSettings| -> Result<Vec<Span>, String> {
            of_files(files, settings)?.into_iter().map(Part::span).collect()
        };
        let mut settings = settings.clone();
        let mut parts = one_sign(files, &mut settings, parts)?;
        let mut spans = spans_of(&settings)?;
        // A clock that starts anew in each file stands back behind a second one with dates.
        if matches!(parts.first().map(|part| &part.reader.layout().time), Some(TimeForm::Elapsed)) {
            for (part, span) in parts.iter_mut().zip(&mut spans) {
                part.shift = span.counts_from.unwrap_or(0.0);
                (span.first, span.last) = (span.first + part.shift, span.last + part.shift);
            }
        }
        let anew = |spans: &[Span]| {
            spans.iter().any(|span| span.since_1970.is_none())
                && spans.windows(2).any(|pair| matches!(pair, [a, b] if b.first <= a.last))
        };
        let second = parts.iter().all(|p| p.reader.layout().slots(Meaning::OtherTime).next().is_some());
        if anew(&spans) && second {
            let header = clock.split('"').nth(1).unwrap_or_default();
            let setting = ColumnSetting::parse(&format!("{header} = ignore"));
            settings.columns.extend(setting);
            parts = of_files(files, &settings)?;
            spans = spans_of(&settings)?;
        }
        same_columns(&parts)?;
        join(parts, spans)
    }

    /// Leaves out what lies before `from` and after `to`, s.
    pub fn within(mut self, from: f64, to: f64) -> Self {
        self.window = (from.max(self.window.0), to.min(self.window.1));
        self
    }

    /// What was recognised in the first file; the others have the same columns.
    pub fn layout(&self) -> &Layout {
        self.first.reader.layout()
    }

    /// Seconds since 1970 of the log's time zero, and whether they are known by UTC.
    pub fn since_1970(&self) -> Option<(f64, bool)> {
        self.first.reader.dated()
    }

    /// Hands every sample to `take`.
    ///
    /// # Errors
    /// When a file cannot be read any further.
    pub fn for_each(&mut self, mut take: impl FnMut(Sample<'_>)) -> Result<(), String> {
        let (from, to) = self.window;
        for part in std::iter::once(&mut self.first).chain(&mut self.others) {
            let shift = part.shift;
            let read = part.reader.for_each(|sample| {
                let time = sample.time + shift;
                if time >= from && time <= to {
                    take(Sample { time, ..sample });
                }
            });
            read.map_err(|error| error.to_string())?;
        }
        Ok(())
    }

    /// What was skipped and repaired, by file where there are several.
    pub fn account(&self) -> String {
        if self.others.is_empty() {
            return self.first.reader.report().to_string();
        }
        let of = |part: &Part| {
            let report = part.reader.report().to_string().replace('\n', "; ");
            format!("{}, {} after the first: {report}", part.name, show(part.shift, Dimension::TIME))
        };
        std::iter::once(&self.first).chain(&self.others).map(of).collect::<Vec<_>>().join("\n")
    }
}

impl Part {
    fn open(file: &LogFile, settings: &ReadSettings) -> Result<Self, ReadError> {
        Ok(Self { name: file.name.clone(), reader: LogReader::open(&file.path, settings)?, shift: 0.0 })
    }

    fn decided(&self) -> Option<SignSetting> {
        match self.reader.layout().sign {
            Some((CurrentSign::DischargePositive, _)) => Some(SignSetting::DischargePositive),
            Some((CurrentSign::DischargeNegative, _)) => Some(SignSetting::DischargeNegative),
            Some((CurrentSign::ByState | CurrentSign::NotDecided, _)) | None => None,
        }
    }

    /// Reads the file through for the times that it holds.
    fn span(mut self) -> Result<Span, String> {
        let (mut first, mut last) = (f64::INFINITY, f64::NEG_INFINITY);
        self.reader
            .for_each(|sample| (first, last) = (first.min(sample.time), last.max(sample.time)))
            .map_err(|error| format!("{}: {error}", self.name))?;
        if first > last {
            return Err(format!("{} holds no sample", self.name));
        }
        let (since_1970, counts_from) = (self.reader.since_1970(), self.reader.time_of_day());
        Ok(Span { first, last, since_1970, counts_from })
    }
}

fn of_files(files: &[LogFile], settings: &ReadSettings) -> Result<Vec<Part>, String> {
    let open = |file| Part::open(file, settings).map_err(|error| format!("{}: {error}", file.name));
    files.iter().map(open).collect()
}

/// One sign for all: that of the files which show it.
fn one_sign(files: &[LogFile], settings: &mut ReadSettings, parts: Vec<Part>) -> Result<Vec<Part>, String> {
    let shown: Vec<(SignSetting, &str)> =
        parts.iter().filter_map(|part| Some((part.decided()?, part.name.as_str()))).collect();
    let Some((sign, name)) = shown.first().copied() else { return Ok(parts) };
    if let Some((_, other)) = shown.iter().find(|(other, _)| *other != sign) {
        return Err(format!(
            "the current seems to count one way in {name} and the other way in {other}: write `sign = \"discharge positive\"` \
             or `\"discharge negative\"` in the test"
        ));
    }
    if shown.len() == parts.len() || settings.sign != SignSetting::Detect {
        return Ok(parts);
    }
    settings.sign = sign;
    of_files(files, settings)
}

/// Files of one instrument have the same columns.
fn same_columns(parts: &[Part]) -> Result<(), String> {
    let of = |part: &Part| -> Vec<(String, Meaning)> {
        let layout = part.reader.layout();
        layout.values().map(|(_, column)| (column.header.trim().to_lowercase(), column.meaning)).collect()
    };
    let Some((first, others)) = parts.split_first() else { return Ok(()) };
    let wanted = of(first);
    match others.iter().find(|part| of(part) != wanted) {
        None => Ok(()),
        Some(other) => Err(format!(
            "{} and {} do not have the same columns: `logs` joins files of one instrument; a second instrument's log is a \
             `[[test.branch]]`, or a test of its own",
            first.name, other.name
        )),
    }
}

fn join(parts: Vec<Part>, spans: Vec<Span>) -> Result<Joined, String> {
    let dated = spans.iter().all(|span| span.since_1970.is_some());
    let mut both: Vec<(Part, Span)> = parts.into_iter().zip(spans).collect();
    let began = |span: &Span| span.since_1970.map_or(0.0, |(zero, _)| zero) + span.first;
    if dated {
        let utc = |(_, span): &(Part, Span)| span.since_1970.map(|(_, utc)| utc);
        if both.windows(2).any(|pair| matches!(pair, [a, b] if utc(a) != utc(b))) {
            return Err(
                "some of the logs write times with a zone and some without: they have no common clock"
                    .to_owned(),
            );
        }
        both.sort_by(|a, b| began(&a.1).total_cmp(&began(&b.1)));
    }
    let zero = both.first().and_then(|(_, span)| span.since_1970).map_or(0.0, |(zero, _)| zero);
    let mut before: Option<(String, f64)> = None;
    let mut joined = Vec::new();
    for (mut part, span) in both {
        if dated {
            part.shift = span.since_1970.map_or(0.0, |(own, _)| own) - zero;
        }
        let by = if dated { part.shift } else { 0.0 };
        let (first, last) = (span.first + by, span.last + by);
        if let Some((name, end)) = &before
            && first < *end
        {
            let time = |t: f64| show(t, Dimension::TIME);
            return Err(if dated {
                format!(
                    "{name} and {} overlap by {}: give the clock of one with its right date, or name one of the logs",
                    part.name,
                    time(end - first)
                )
            } else {
                format!(
                    "{} begins at {} by its clock and {name} ends at {}: the clock does not go on from file to file and has no \
                     dates, so how long the log was off between them is not known; a log with dates tells it",
                    part.name,
                    time(first),
                    time(*end)
                )
            });
        }
        before = Some((part.name.clone(), last));
        joined.push(part);
    }
    let mut joined = joined.into_iter();
    let first = joined.next().ok_or("the test names no log")?;
    Ok(Joined { first, others: joined.collect(), window: (f64::NEG_INFINITY, f64::INFINITY) })
}
