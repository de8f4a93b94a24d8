//! Finds the time column of a log and the form it is written in.

use crate::units::Dimension;

use super::clock::{self, TimeForm, TimeReader};
use super::column::{Column, HowKnown, Meaning};
use super::number::{self, Cell, Notation};
use super::table::Row;

/// The clock of a log.
pub(super) struct FoundTime {
    /// None where a row stands for each interval.
    pub column: Option<usize>,
    pub date: Option<usize>,
    pub form: TimeForm,
    /// A second clock and its form.
    pub other: Option<(usize, TimeForm)>,
}

/// The time column and its form: one set by hand, else elapsed time, else timestamps, else dates with a clock. Of several
/// the time of the whole test comes before that of a part of it, and one that rises before one that falls back.
pub(super) fn find_time(columns: &mut [Column], data: &[Row<'_>], notation: Notation) -> Option<FoundTime> {
    let mut found: Vec<([u8; 3], usize, Option<usize>, TimeForm)> = Vec::new();
    let date = columns.iter().find(|column| column.meaning == Meaning::Date).map(|column| column.index);
    for column in columns.iter() {
        if !matches!(column.meaning, Meaning::Time | Meaning::Date | Meaning::StepTime) {
            continue;
        }
        let cells = cells_of(data, column.index);
        let Some(form) = time_form(column, &cells, notation) else {
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
            TimeForm::Timestamp { .. } | TimeForm::SerialDays => (2, None, form),
            TimeForm::Number { .. } | TimeForm::DateAndClock { .. } | TimeForm::Rows { .. } => {
                (3, None, form)
            }
            TimeForm::Clock => (4, None, form),
        };
        let rank = match column.known {
            HowKnown::Set if column.meaning != Meaning::StepTime => 0,
            _ if column.meaning == Meaning::StepTime => 9,
            // A clock that stands still or starts anew in the head is one only where there is no other.
            _ if rank == 1 && !rises(&form, &cells, notation) => 8,
            _ => rank,
        };
        let name = column.header.to_lowercase();
        let total =
            ["total", "test", "elapsed", "gesamt", "run", "since"].iter().any(|word| name.contains(word));
        found.push(([rank, u8::from(!total), 0], column.index, date_column, form));
    }
    let alone = found.len() == 1;
    let (rank, time, date, form) = found.iter().min_by_key(|(rank, index, ..)| (*rank, *index)).cloned()?;
    // The length of a sample is no clock, even where there is no other.
    if rank.first() == Some(&9) && alone && !rises(&form, &cells_of(data, time), notation) {
        return None;
    }
    let other = found
        .iter()
        .filter(|(rank, index, date_of, form)| {
            *index != time
                && Some(*index) != date
                && date_of.is_none()
                && rank.first().is_some_and(|rank| *rank < 8)
                && !matches!(form, TimeForm::DateAndClock { .. })
        })
        .min_by_key(|(rank, index, ..)| (*rank, *index))
        .map(|(_, index, _, form)| (*index, form.clone()));
    let since = found
        .iter()
        .find(|(rank, index, _, form)| {
            rank.first() == Some(&9)
                && *index != time
                && matches!(form, TimeForm::Number { since_1970: false, .. })
        })
        .map(|(_, index, ..)| *index);
    // Further times are not read; they must not pass for the one that is.
    for column in columns.iter_mut() {
        let used = column.index == time || Some(column.index) == date;
        if other.as_ref().is_some_and(|(index, _)| *index == column.index) {
            column.meaning = Meaning::OtherTime;
        } else if since == Some(column.index) && is_step(column) {
            column.meaning = Meaning::SinceStep;
            if let TimeForm::Number { factor, .. } = form {
                column.as_clock(factor);
            }
        } else if !used && matches!(column.meaning, Meaning::Time | Meaning::Date | Meaning::StepTime) {
            column.meaning = Meaning::Ignored;
        }
    }
    Some(FoundTime { column: Some(time), date, form, other })
}

impl FoundTime {
    /// A row for each interval; a clock that the log has all the same checks it.
    pub fn rows(interval: f64, found: Option<Self>, columns: &mut [Column]) -> Self {
        let beside = found.and_then(|found| match (found.date, found.column) {
            (None, Some(index)) => Some((index, found.form)),
            _ => None,
        });
        for column in columns.iter_mut() {
            if beside.as_ref().is_some_and(|(index, _)| *index == column.index) {
                column.meaning = Meaning::OtherTime;
            } else if matches!(
                column.meaning,
                Meaning::Time | Meaning::Date | Meaning::OtherTime | Meaning::SinceStep
            ) {
                column.meaning = Meaning::Ignored;
            }
        }
        Self { column: None, date: None, form: TimeForm::Rows { interval }, other: beside }
    }
}

/// Whether a column tells the time of a step, not how long a sample took.
fn is_step(column: &Column) -> bool {
    let name = column.header.to_lowercase();
    name.contains("step") || name.contains("schritt")
}

/// Whether a clock goes on through the head: it falls back in few places and does not stand still.
fn rises(form: &TimeForm, cells: &[&[u8]], notation: Notation) -> bool {
    let reader = TimeReader::new(form, notation, cells.iter().copied());
    let times: Vec<f64> = cells.iter().filter_map(|cell| reader.read(cell)).collect();
    let (mut up, mut down, mut level) = (0_usize, 0_usize, 0_usize);
    for pair in times.windows(2) {
        if let [a, b] = pair {
            match b.total_cmp(a) {
                std::cmp::Ordering::Greater => up += 1,
                std::cmp::Ordering::Less => down += 1,
                std::cmp::Ordering::Equal => level += 1,
            }
        }
    }
    times.len() < 3 || (up > 0 && down <= 1 + times.len() / 50 && (up * 20 >= level || up > 3))
}

/// How long a second of the clock is on the other clock, over the head; `None` where it does not show.
pub(super) fn pace(
    time: &TimeReader,
    at: usize,
    other: &TimeReader,
    beside: usize,
    data: &[Row<'_>],
) -> Option<f64> {
    let both: Vec<(f64, f64)> = data
        .iter()
        .filter_map(|row| Some((time.read(row.fields.get(at)?)?, other.read(row.fields.get(beside)?)?)))
        .collect();
    let (mut own, mut its) = (0.0, 0.0);
    for pair in both.windows(2) {
        if let [a, b] = pair
            && b.0 > a.0
            && b.1 >= a.1
        {
            own += b.0 - a.0;
            its += b.1 - a.1;
        }
    }
    (both.len() >= 4 && own > 0.0 && its > 0.0).then(|| its / own)
}

pub(super) fn cells_of<'a>(data: &'a [Row<'_>], index: usize) -> Vec<&'a [u8]> {
    data.iter().filter_map(|row| row.fields.get(index)).map(AsRef::as_ref).take(200).collect()
}

/// The form of a time column by what most of its cells are.
fn time_form(column: &Column, cells: &[&[u8]], notation: Notation) -> Option<TimeForm> {
    let most = |count: usize| count > 0 && count * 10 >= cells.len() * 6;
    let numbers: Vec<f64> = cells
        .iter()
        .filter_map(|cell| match number::cell(cell, notation) {
            Cell::Number(value) => Some(value),
            Cell::Si(value, Dimension::TIME) => Some(value / column.scale),
            _ => None,
        })
        .collect();
    if most(numbers.len()) {
        return number_form(column, &numbers);
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

/// The form of a time column of plain numbers.
fn number_form(column: &Column, numbers: &[f64]) -> Option<TimeForm> {
    let name = column.header.to_lowercase();
    let first = *numbers.first()?;
    let rises: Vec<f64> = numbers
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] if b > a => Some(b - a),
            _ => None,
        })
        .collect();
    // 40 000 days since 1900 are in the year 2009, 60 000 in 2064; no instrument takes a sample every
    // hundredth of a second from eleven hours on.
    let named = ["date", "time", "stamp", "zeit", "datum"].iter().any(|word| name.contains(word));
    let small = !rises.is_empty() && rises.iter().all(|rise| *rise < 0.01);
    if column.unit_assumed && named && (40_000.0..60_000.0).contains(&first) && small {
        return Some(TimeForm::SerialDays);
    }
    if column.meaning == Meaning::Date {
        return None;
    }
    // Since 1970 in the unit that the number tells: 10⁹ s were reached in 2001, 10¹⁰ s will be in 2286.
    let since = [1.0, 1e-3, 1e-6, 1e-9].into_iter().find(|factor| (1e9..1e10).contains(&(first * factor)));
    match since {
        Some(factor) if column.unit_assumed || first * column.scale >= 1e10 => {
            Some(TimeForm::Number { factor, since_1970: true })
        }
        _ => {
            let since_1970 = name.contains("unix") || name.contains("epoch") || first * column.scale > 1e9;
            Some(TimeForm::Number { factor: column.scale, since_1970 })
        }
    }
}
