//! Finds the time column of a log and the form it is written in.

use crate::units::Dimension;

use super::clock::{self, TimeForm};
use super::column::{Column, HowKnown, Meaning};
use super::number::{self, Cell, Notation};
use super::table::Row;

/// The time column and its form: one set by hand, else elapsed time, else timestamps, else dates with a clock.
pub(super) fn find_time(
    columns: &mut [Column],
    data: &[Row<'_>],
    notation: Notation,
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

pub(super) fn cells_of<'a>(data: &'a [Row<'_>], index: usize) -> Vec<&'a [u8]> {
    data.iter().filter_map(|row| row.fields.get(index)).map(Vec::as_slice).take(200).collect()
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
