//! The time column in all its forms, turned into seconds.
//!
//! Elapsed times stay as written. Clock times, dates and timestamps count from the first sample on, so
//! that no precision is lost in large numbers. Timestamps without a zone are taken as one running clock:
//! a change to or from summer time then shows up as a restart or a gap of an hour, and is reported.

use std::fmt;

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

use crate::record::words;
use crate::units::{Dimension, show};

use super::number::{self, Cell, Notation};

/// Seconds of a day.
const DAY: f64 = 86_400.0;
const HOUR: f64 = 3600.0;
/// No log counts further, in s: 30 000 years.
const LATEST: f64 = 1e12;

/// Forms of a date that are tried, in this order; day first before month first.
const DATES: &[&str] = &[
    "%Y-%m-%d",
    "%Y/%m/%d",
    "%Y.%m.%d",
    "%d.%m.%Y",
    "%d/%m/%Y",
    "%m/%d/%Y",
    "%d-%m-%Y",
    "%m-%d-%Y",
    "%d.%m.%y",
    "%d/%m/%y",
    "%m/%d/%y",
    "%d-%m-%y",
    "%m-%d-%y",
    "%d-%b-%Y",
    "%d-%b-%y",
    "%d %b %Y",
    "%d %b %y",
    "%b %d %Y",
    "%b %d, %Y",
    "%Y%m%d",
];

words! {
    /// Which of day and month comes first in a date.
    pub enum DateOrder {
        /// 31/12/2026
        DayFirst = "day first",
        /// 12/31/2026
        MonthFirst = "month first",
    }
}

/// How the time column is written.
#[derive(Debug, Clone, PartialEq)]
pub enum TimeForm {
    /// A number of some unit.
    Number {
        /// The unit in seconds.
        factor: f64,
        /// Counted from 1970 rather than from the start.
        since_1970: bool,
    },
    /// There is none: a row stands for each interval.
    Rows {
        /// From one row to the next, s.
        interval: f64,
    },
    /// Days since 1900, as spreadsheets count dates.
    SerialDays,
    /// `h:mm:ss` since the start.
    Elapsed,
    /// `h:mm:ss` of the day, without a date.
    Clock,
    /// A date in one column, `h:mm:ss` of the day in another.
    DateAndClock {
        /// Form of the date, as `strftime` writes it.
        date: &'static str,
        /// Day and month could also be the other way round.
        ambiguous: bool,
    },
    /// Date and time in one cell; with a zone, or one running clock without.
    Timestamp {
        /// Form of the date, as `strftime` writes it.
        date: &'static str,
        /// Day and month could also be the other way round.
        ambiguous: bool,
        /// Whether the first sample gives its offset from UTC.
        zoned: bool,
    },
}

impl fmt::Display for TimeForm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let day_month = |ambiguous: &bool| {
            if *ambiguous { " (day and month could be the other way round)" } else { "" }
        };
        match self {
            Self::Number { factor, since_1970 } => {
                let unit = match factor {
                    f64::MIN..2e-9 => "ns",
                    2e-9..2e-6 => "us",
                    2e-6..0.002 => "ms",
                    0.002..2.0 => "s",
                    2.0..100.0 => "min",
                    100.0..4000.0 => "h",
                    _ => "d",
                };
                write!(f, "{unit}{}", if *since_1970 { " since 1970" } else { "" })
            }
            Self::Rows { interval } => write!(f, "a row each {}", show(*interval, Dimension::TIME)),
            Self::SerialDays => f.write_str("days since 1900, as spreadsheets count them"),
            Self::Elapsed => f.write_str("h:mm:ss since the start"),
            Self::Clock => f.write_str("clock time without date"),
            Self::DateAndClock { date, ambiguous } => {
                write!(f, "clock time, date as {date}{}", day_month(ambiguous))
            }
            Self::Timestamp { date, ambiguous, zoned } => {
                let zone = if *zoned { "with zone" } else { "without zone" };
                write!(f, "timestamp {zone}, date as {date}{}", day_month(ambiguous))
            }
        }
    }
}

/// Reads time cells. It remembers nothing, so that rows can be read side by side.
#[derive(Debug, Clone)]
pub(super) struct TimeReader {
    form: TimeForm,
    notation: Notation,
    /// The first readable timestamp (ns) or date (days) of the log, from which the others count.
    base: i128,
    /// The cell from which that was read.
    first: Vec<u8>,
    /// How most timestamps are read.
    digits: Option<Digits>,
}

/// The form of a date with day and month the other way round.
pub(super) fn other_order(form: &str) -> Option<&'static str> {
    let turned = form.replace("%d", "%#").replace("%m", "%d").replace("%#", "%m");
    DATES.iter().copied().find(|known| *known == turned && turned != form)
}

impl TimeForm {
    /// Puts day or month first, where a date could be read both ways.
    pub fn set_order(&mut self, order: DateOrder) {
        let (Self::Timestamp { date, ambiguous, .. } | Self::DateAndClock { date, ambiguous }) = self else {
            return;
        };
        let wanted = if order == DateOrder::DayFirst { "%d" } else { "%m" };
        if *ambiguous && !date.starts_with(wanted) {
            *date = other_order(date).unwrap_or(date);
        }
        *ambiguous = false;
    }
}

impl TimeReader {
    /// For a form and the first cells of its column (of the date column where there are two).
    pub fn new<'a>(
        form: &TimeForm,
        notation: Notation,
        mut first_cells: impl Iterator<Item = &'a [u8]>,
    ) -> Self {
        let read = |cell: &[u8]| match form {
            TimeForm::Timestamp { date, .. } => timestamp(cell, date).map(|instant| instant.nanoseconds),
            TimeForm::DateAndClock { date, .. } => {
                date_of(clean(cell)?, date).map(|date| i128::from(days(date)))
            }
            _ => None,
        };
        let dated = matches!(form, TimeForm::Timestamp { .. } | TimeForm::DateAndClock { .. });
        let found = dated.then(|| first_cells.find_map(|cell| Some((read(cell)?, cell.to_vec())))).flatten();
        let (base, first) = found.unwrap_or_default();
        let digits = match form {
            TimeForm::Timestamp { date, .. } => Digits::of(date),
            _ => None,
        };
        Self { form: form.clone(), notation, base, first, digits }
    }

    /// The same from the same first cell with day and month the other way round.
    pub fn turned(&self, form: &TimeForm) -> Option<Self> {
        let turned = Self::new(form, self.notation, std::iter::once(self.first.as_slice()));
        (turned.base != 0).then_some(turned)
    }

    /// Seconds since 1970 of the log's time zero, and whether by UTC, where it has dates; `start` is the first time in
    /// the frame of this reader.
    #[expect(clippy::cast_precision_loss, reason = "exact to a microsecond for thousands of years")]
    pub fn since_1970(&self, start: Option<f64>) -> Option<(f64, bool)> {
        match self.form {
            TimeForm::Timestamp { zoned, .. } => Some((self.base as f64 / 1e9, zoned)),
            TimeForm::DateAndClock { .. } => Some((self.base as f64 * DAY + start?, false)),
            TimeForm::Number { since_1970: true, .. } => Some((start?, true)),
            // Day 25 569 of a spreadsheet is 1 January 1970.
            TimeForm::SerialDays => Some((start? - 25_569.0 * DAY, false)),
            _ => None,
        }
    }

    /// Seconds since 1970 of a cell of a clock with dates, and whether by UTC.
    #[expect(clippy::cast_precision_loss, reason = "exact to a microsecond for thousands of years")]
    pub fn absolute(&self, field: &[u8]) -> Option<(f64, bool)> {
        let time = self.read(field)?;
        match self.form {
            TimeForm::Timestamp { zoned, .. } => Some((self.base as f64 / 1e9 + time, zoned)),
            TimeForm::Number { since_1970: true, .. } => Some((time, true)),
            _ => None,
        }
    }

    /// Whether a row stands for each interval.
    pub fn is_of_rows(&self) -> bool {
        matches!(self.form, TimeForm::Rows { .. })
    }

    /// The factor of a column of plain numbers.
    pub fn factor(&self) -> Option<f64> {
        match self.form {
            TimeForm::Number { factor, .. } => Some(factor),
            TimeForm::SerialDays => Some(DAY),
            _ => None,
        }
    }

    /// A time cell; seconds in its own frame.
    pub fn read(&self, field: &[u8]) -> Option<f64> {
        match self.form {
            TimeForm::Number { factor, .. } => match number::cell(field, self.notation) {
                Cell::Number(value) => Some(value * factor),
                Cell::Si(value, Dimension::TIME) => Some(value),
                Cell::Si(..) | Cell::Empty | Cell::Overflow | Cell::Text => None,
            },
            TimeForm::SerialDays => match number::cell(field, self.notation) {
                Cell::Number(value) => Some(value * DAY),
                _ => None,
            },
            TimeForm::Rows { .. } => None,
            TimeForm::Elapsed => hms(field, true),
            TimeForm::Clock | TimeForm::DateAndClock { .. } => hms(field, false),
            #[expect(
                clippy::cast_precision_loss,
                reason = "a difference of times, exact to the nanosecond for a hundred days"
            )]
            TimeForm::Timestamp { date, .. } => {
                if let Some(own) = self.digits.and_then(|digits| digits.nanoseconds(field))
                    && let Ok(base) = i64::try_from(self.base)
                {
                    return Some((own - base) as f64 / 1e9);
                }
                Some((timestamp(field, date)?.nanoseconds - self.base) as f64 / 1e9)
            }
        }
    }

    /// A cell of a date column; seconds since the first date.
    pub fn read_date(&self, field: &[u8]) -> Option<f64> {
        let TimeForm::DateAndClock { date, .. } = self.form else {
            return None;
        };
        let found = i128::from(days(date_of(clean(field)?, date)?));
        i32::try_from(found - self.base).ok().map(|n| f64::from(n) * DAY)
    }

    /// Both together, where both can be read and the time is one that a log can hold.
    pub fn together(&self, time: Option<f64>, date: Option<f64>) -> Option<f64> {
        if let TimeForm::Rows { interval } = self.form {
            return Some(interval);
        }
        let time = time.filter(|time| time.is_finite() && time.abs() < LATEST)?;
        match self.form {
            TimeForm::DateAndClock { .. } => Some(time + date?),
            _ => Some(time),
        }
    }
}

/// Brings times in the order of the file into one frame.
pub(super) struct Clock {
    form: TimeForm,
    start: Option<f64>,
    previous: f64,
    days: u32,
    rows: u64,
}

impl Clock {
    pub fn new(form: &TimeForm) -> Self {
        Self { form: form.clone(), start: None, previous: 0.0, days: 0, rows: 0 }
    }

    pub fn midnights(&self) -> u32 {
        self.days
    }

    /// The first time, where the others count from it.
    pub fn start(&self) -> Option<f64> {
        self.start
    }

    /// What is taken from every time, where nothing else is done with one: `first` is the next of them.
    pub fn constant(&mut self, first: f64) -> Option<f64> {
        match self.form {
            TimeForm::Number { since_1970: false, .. } | TimeForm::Timestamp { .. } => Some(0.0),
            TimeForm::Number { .. } | TimeForm::SerialDays | TimeForm::DateAndClock { .. } => {
                Some(*self.start.get_or_insert(first))
            }
            TimeForm::Elapsed | TimeForm::Clock | TimeForm::Rows { .. } => None,
        }
    }

    /// The time of the next row.
    pub fn take(&mut self, time: f64) -> f64 {
        if let Some(start) = self.constant(time) {
            return time - start;
        }
        match self.form {
            // Counted, not added up, or the last digits would run away.
            TimeForm::Rows { interval } => {
                self.rows += 1;
                #[expect(clippy::cast_precision_loss, reason = "a count of rows")]
                let passed = (self.rows - 1) as f64;
                passed * interval
            }
            TimeForm::Clock => {
                let time = self.over_midnight(time, 20.0 * HOUR, 4.0 * HOUR);
                time - *self.start.get_or_insert(time)
            }
            _ => self.over_midnight(time, 23.0 * HOUR, HOUR),
        }
    }

    /// A clock that starts again at 24 h: late before, early after.
    fn over_midnight(&mut self, time: f64, late: f64, early: f64) -> f64 {
        if (late..DAY).contains(&self.previous) && time < early {
            self.days += 1;
        } else if self.days > 0 && self.previous < early && (late..DAY).contains(&time) {
            // A row from before midnight that came late.
            return time + f64::from(self.days - 1) * DAY;
        }
        self.previous = time;
        time + f64::from(self.days) * DAY
    }
}

fn clean(field: &[u8]) -> Option<&str> {
    let text = std::str::from_utf8(field).ok()?;
    let text = text.trim_matches(['"', '\'', ' ', '\t', '[', ']']);
    (text.len() <= 64 && !text.is_empty()).then_some(text)
}

/// `h:mm:ss`, with a fraction, with days before it, or with `AM` and `PM`; seconds.
///
/// Two parts are minutes and seconds where time has elapsed, hours and minutes on a clock.
pub(super) fn hms(field: &[u8], elapsed: bool) -> Option<f64> {
    if let Some([hours, minutes, seconds]) = digits_only(field) {
        return (elapsed || hours <= 24).then(|| f64::from((hours * 60 + minutes) * 60 + seconds));
    }
    let text = clean(field)?;
    let (text, noon) = match text.get(text.len().saturating_sub(2)..) {
        Some(end) if end.eq_ignore_ascii_case("am") => (text.get(..text.len() - 2)?, Some(0.0)),
        Some(end) if end.eq_ignore_ascii_case("pm") => (text.get(..text.len() - 2)?, Some(12.0)),
        _ => (text, None),
    };
    let mut text = text.trim();
    let mut days = 0.0;
    // Days stand before the first colon.
    let days_before = text.split(':').next().is_some_and(|hours| hours.contains(['d', ' ', '.']));
    for mark in [" days ", " day ", "d ", "d", " ", "."].into_iter().filter(|_| days_before) {
        if let Some((before, after)) = text.split_once(mark)
            && after.contains(':')
            && !before.contains(':')
        {
            days = whole(before)?;
            text = after.trim();
            break;
        }
    }
    let mut parts = [0.0; 4];
    let mut count = 0;
    let mut last = "";
    for part in text.split(':') {
        *parts.get_mut(count)? = match part.split_once(['.', ',']) {
            Some((seconds, fraction)) => whole(seconds)? + fraction_of(fraction)?,
            None => whole(part)?,
        };
        last = part;
        count += 1;
    }
    let [a, b, c, d] = parts;
    let (hours, minutes, seconds) = match count {
        2 if elapsed => (0.0, a, b),
        2 => (a, b, 0.0),
        3 => (a, b, c),
        // h:mm:ss:fff, or d:hh:mm:ss.
        4 if last.len() == 3 => (a, b, c + d / 1e3),
        4 => {
            days += a;
            (b, c, d)
        }
        _ => return None,
    };
    let hours = match noon {
        Some(_) if !(1.0..=12.0).contains(&hours) => return None,
        Some(noon) => hours % 12.0 + noon,
        None => hours,
    };
    let two_parts_elapsed = count == 2 && elapsed;
    if seconds >= 61.0 || (minutes >= 60.0 && !two_parts_elapsed) || (!elapsed && hours > 24.0) {
        return None;
    }
    Some(days * DAY + hours * HOUR + minutes * 60.0 + seconds)
}

/// Hours, minutes and seconds of nothing but digits at their places, as most are written.
fn digits_only(field: &[u8]) -> Option<[u32; 3]> {
    let (hours, &[b':', m, n, b':', s, t]) = field.split_last_chunk::<6>()? else { return None };
    if !(1..=4).contains(&hours.len()) || m > b'5' || s > b'5' {
        return None;
    }
    let number = |digits: &[u8]| {
        digits.iter().try_fold(0, |sum, digit| Some(10 * sum + char::from(*digit).to_digit(10)?))
    };
    Some([number(hours)?, number(&[m, n])?, number(&[s, t])?])
}

/// A whole number of at most nine digits.
fn whole(text: &str) -> Option<f64> {
    let text = text.trim();
    if text.is_empty() || text.len() > 9 || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    text.parse::<u32>().ok().map(f64::from)
}

fn fraction_of(digits: &str) -> Option<f64> {
    let digits = digits.get(..digits.len().min(9))?;
    let power = i32::try_from(digits.len()).ok()?;
    Some(if digits.is_empty() { 0.0 } else { whole(digits)? / 10_f64.powi(power) })
}

/// Timestamps of nothing but digits at fixed places: year, month and day with a mark between them, and `hh:mm:ss` with a
/// fraction of a second or without. They are most of all, and reading them so is several times as fast.
#[derive(Debug, Clone, Copy)]
struct Digits {
    /// Places of year, month and day.
    places: [usize; 3],
    mark: u8,
}

impl Digits {
    /// For a form of a date.
    fn of(form: &str) -> Option<Self> {
        let mark = *form.as_bytes().get(2)?;
        let places = match form.replace(char::from(mark), "").as_str() {
            "%Y%m%d" => [0, 5, 8],
            "%d%m%Y" => [6, 3, 0],
            "%m%d%Y" => [6, 0, 3],
            _ => return None,
        };
        b"-/.".contains(&mark).then_some(Self { places, mark })
    }

    /// Nanoseconds since 1970; nothing where it is written in any other way, or is no date.
    #[inline]
    fn nanoseconds(self, cell: &[u8]) -> Option<i64> {
        let (date, time) = (cell.first_chunk::<10>()?, cell.get(11..19)?.first_chunk::<8>()?);
        let two = |text: &[u8], at: usize| match text.get(at..at + 2) {
            Some([a @ b'0'..=b'9', b @ b'0'..=b'9']) => Some(i64::from(a - b'0') * 10 + i64::from(b - b'0')),
            _ => None,
        };
        let [year_at, month_at, day_at] = self.places;
        let marks = if year_at == 0 { [4, 7] } else { [2, 5] };
        let right = marks.iter().all(|at| date.get(*at) == Some(&self.mark))
            && matches!(cell.get(10), Some(b' ' | b'T'))
            && time.get(2) == Some(&b':')
            && time.get(5) == Some(&b':');
        let year = two(date, year_at)? * 100 + two(date, year_at + 2)?;
        let (month, day) = (two(date, month_at)?, two(date, day_at)?);
        let (hour, minute, second) = (two(time, 0)?, two(time, 3)?, two(time, 6)?);
        Date::new(i16::try_from(year).ok()?, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()?;
        if !right || !(1970..2200).contains(&year) {
            return None;
        }
        if hour > 23 || minute > 59 || second > 59 {
            return None;
        }
        let mut fraction = 0;
        if let Some(rest) = cell.get(19..).filter(|rest| !rest.is_empty()) {
            let [b'.' | b',', digits @ ..] = rest else { return None };
            if digits.is_empty() || digits.len() > 9 {
                return None;
            }
            for digit in digits {
                fraction = fraction * 10 + i64::from(digit.checked_sub(b'0').filter(|digit| *digit < 10)?);
            }
            fraction *=
                [1_000_000_000, 100_000_000, 10_000_000, 1_000_000, 100_000, 10_000, 1000, 100, 10, 1]
                    .get(digits.len())?;
        }
        // Days since 1970 in the Gregorian calendar: years begin in March, so that a leap day ends one.
        let (y, m) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
        let days = 365 * y + y / 4 - y / 100 + y / 400 + (153 * m + 2) / 5 + day - 1 - 719_468;
        Some((((days * 24 + hour) * 60 + minute) * 60 + second) * 1_000_000_000 + fraction)
    }
}

/// An instant, and whether its offset from UTC was written.
pub(super) struct Instant {
    pub nanoseconds: i128,
    pub zoned: bool,
}

/// Date and time in one cell.
pub(super) fn timestamp(field: &[u8], form: &str) -> Option<Instant> {
    let text = clean(field)?;
    for zone in [" UTC", " GMT"] {
        if let Some(local) = text.strip_suffix(zone) {
            return timestamp(local.as_bytes(), form).map(|instant| Instant { zoned: true, ..instant });
        }
    }
    // A date alone is no instant.
    if form == "%Y-%m-%d" && text.len() > "2026-09-18".len() {
        if let Ok(instant) = text.parse::<Timestamp>() {
            return Some(Instant { nanoseconds: instant.as_nanosecond(), zoned: true });
        }
        if let Ok(local) = text.parse::<DateTime>() {
            return Some(Instant { nanoseconds: nanoseconds(local)?, zoned: false });
        }
    }
    let colon = text.find(':')?;
    let split = text.get(..colon)?.rfind([' ', 'T', ',', '_'])?;
    let date = date_of(text.get(..split)?.trim_end_matches(',').trim(), form)?;
    let time = hms(text.get(split + 1..)?.as_bytes(), false)?;
    let midnight = nanoseconds(date.at(0, 0, 0, 0))?;
    #[expect(clippy::cast_possible_truncation, reason = "below a day")]
    Some(Instant { nanoseconds: midnight + (time * 1e9).round() as i128, zoned: false })
}

fn nanoseconds(local: DateTime) -> Option<i128> {
    let instant = TimeZone::UTC.to_timestamp(local).ok()?;
    Some(instant.as_nanosecond())
}

fn days(date: Date) -> i64 {
    // Whole days: a day is 86 400 s on a clock without zone.
    nanoseconds(date.at(0, 0, 0, 0))
        .and_then(|ns| i64::try_from(ns / 86_400_000_000_000).ok())
        .unwrap_or_default()
}

fn date_of(text: &str, form: &str) -> Option<Date> {
    let date = Date::strptime(form, text).ok()?;
    // `%Y` reads the year 26 as well.
    (1970..2200).contains(&date.year()).then_some(date)
}

/// The form of all these dates or timestamps, and whether day and month could change places.
pub(super) fn date_form(cells: &[&[u8]], with_time: bool) -> Option<(&'static str, bool)> {
    let mut cells: Vec<&[u8]> = cells.iter().copied().filter(|c| clean(c).is_some()).collect();
    // A broken cell or two must not hide the form.
    let form_of = |form: &str| -> Vec<i128> {
        cells
            .iter()
            .filter_map(|cell| {
                if with_time {
                    timestamp(cell, form).map(|instant| instant.nanoseconds)
                } else {
                    date_of(clean(cell)?, form).map(|date| i128::from(days(date)))
                }
            })
            .collect()
    };
    let fits: Vec<(&'static str, Vec<i128>)> = DATES
        .iter()
        .map(|form| (*form, form_of(form)))
        .filter(|(_, read)| !read.is_empty() && read.len() * 10 >= cells.len() * 8)
        .collect();
    let most = fits.iter().map(|(_, read)| read.len()).max()?;
    let span = |read: &[i128]| match (read.first(), read.last()) {
        (Some(a), Some(b)) => (b - a).unsigned_abs(),
        _ => 0,
    };
    let best: Vec<_> = fits.iter().filter(|(_, read)| read.len() == most).collect();
    let shortest = best.iter().map(|(_, read)| span(read)).min()?;
    let best: Vec<_> = best.into_iter().filter(|(_, read)| span(read) == shortest).collect();
    cells.clear();
    best.first().map(|(form, _)| (*form, best.len() > 1))
}

#[cfg(test)]
mod tests {
    use super::super::number::DecimalMark;
    use super::*;

    #[test]
    fn hours_minutes_seconds() {
        let cases = [
            ("0:00:01", true, Some(1.0)),
            ("26:13:05.250", true, Some(94_385.25)),
            ("26:13:05", true, Some(94_385.0)),
            ("26:13:05", false, None),
            ("24:00:00", false, Some(86_400.0)),
            ("0:00:60", true, Some(60.0)),
            ("0:0a:00", true, None),
            ("26:13:05,250", true, Some(94_385.25)),
            ("00:01:02:500", true, Some(62.5)),
            ("1d 02:03:04", true, Some(93_784.0)),
            ("1.02:03:04", true, Some(93_784.0)),
            ("1 days 02:03:04.5", true, Some(93_784.5)),
            ("75:30", true, Some(4530.0)),
            ("14:05", false, Some(50_700.0)),
            ("11:59:59 PM", false, Some(86_399.0)),
            ("12:00:00 am", false, Some(0.0)),
            ("13:00:00 PM", false, None),
            ("0:61:00", true, None),
            ("a:b:c", true, None),
            ("1:2:3:4:5", true, None),
            ("", true, None),
        ];
        for (text, elapsed, wanted) in cases {
            assert_eq!(hms(text.as_bytes(), elapsed), wanted, "{text}");
        }
    }

    #[test]
    fn timestamps() {
        let ns = |text: &str, form: &str| timestamp(text.as_bytes(), form).map(|i| i.nanoseconds);
        let reference = ns("2026-09-18T12:00:00Z", "%Y-%m-%d");
        assert!(reference.is_some());
        for (text, form) in [
            ("2026-09-18T14:00:00+02:00", "%Y-%m-%d"),
            ("2026-09-18 12:00:00", "%Y-%m-%d"),
            ("2026-09-18 12:00:00 UTC", "%Y-%m-%d"),
            ("20260918T120000", "%Y-%m-%d"),
            ("2026-09-18 12:00:00.000", "%Y-%m-%d"),
            ("18.09.2026 12:00:00", "%d.%m.%Y"),
            ("09/18/2026 12:00:00 PM", "%m/%d/%Y"),
            ("18-Sep-2026 12:00:00", "%d-%b-%Y"),
            ("2026/09/18 12:00:00,000", "%Y/%m/%d"),
        ] {
            assert_eq!(ns(text, form), reference, "{text}");
        }
        assert_eq!(ns("2026-09-18", "%Y-%m-%d"), None, "a date alone is no instant");
        let form = |cells: &[&str]| {
            let cells: Vec<&[u8]> = cells.iter().map(|cell| cell.as_bytes()).collect();
            date_form(&cells, true)
        };
        assert_eq!(form(&["18/09/2026 12:00:00"]), Some(("%d/%m/%Y", false)));
        assert_eq!(form(&["09/18/2026 12:00:00"]), Some(("%m/%d/%Y", false)));
        assert_eq!(form(&["03/04/2026 12:00:00"]), Some(("%d/%m/%Y", true)));
        // Over midnight the order shows itself.
        assert_eq!(form(&["03/04/2026 23:59:59", "03/05/2026 00:00:00"]), Some(("%m/%d/%Y", false)));
    }

    /// Against the calendar of the library `jiff`, for every day of 230 years.
    #[test]
    fn digits_are_read_as_the_library_reads_them() {
        for form in DATES.iter().filter(|form| Digits::of(form).is_some()) {
            let digits = Digits::of(form).unwrap();
            let mut date = Date::constant(1970, 1, 1);
            while date.year() < 2200 {
                let second = u32::from(date.day().unsigned_abs()) % 60;
                let text =
                    format!("{} 23:0{}:{second:02}.{}", date.strftime(form), date.month() % 10, date.day());
                let wanted = timestamp(text.as_bytes(), form).unwrap().nanoseconds;
                assert_eq!(digits.nanoseconds(text.as_bytes()).map(i128::from), Some(wanted), "{text}");
                date = date.tomorrow().unwrap();
            }
        }
        assert_eq!(DATES.iter().filter(|form| Digits::of(form).is_some()).count(), 8);
        let iso = Digits::of("%Y-%m-%d").unwrap();
        for other in [
            "2026-02-29 12:00:00",
            "2026-09-18 24:00:00",
            "2026-09-18 12:00:60",
            "2026-09-18 12:00:00Z",
            "2026-09-18 12:00:00.",
            "2026-09-18 12:00",
            "2026-9-18 12:00:00",
            "2026/09/18 12:00:00",
            "",
        ] {
            assert_eq!(iso.nanoseconds(other.as_bytes()), None, "{other}");
        }
    }

    #[test]
    fn midnight() {
        let reader =
            TimeReader::new(&TimeForm::Clock, Notation::plain(DecimalMark::Point), std::iter::empty());
        let mut clock = Clock::new(&TimeForm::Clock);
        let times: Vec<_> = ["23:59:58", "23:59:59", "00:00:00", "23:59:59.5", "00:00:01"]
            .iter()
            .map(|text| {
                let read = reader.together(reader.read(text.as_bytes()), None);
                clock.take(read.unwrap())
            })
            .collect();
        assert_eq!(times, [0.0, 1.0, 2.0, 1.5, 3.0]);
        assert_eq!(clock.midnights(), 1);
    }
}
