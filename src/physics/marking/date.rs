//! Plain dates, where only one reading is possible: calendar dates, months and weeks after ISO 8601.

use jiff::civil::{Date, ISOWeekDate, Weekday};

use super::{Marking, MarkingKind, NotAMarking, field, wrong};

const EXAMPLE: &str = "2023-11-05";
/// No lithium-ion cell was sold before this year (general history of the trade).
const FIRST_YEAR: i16 = 1991;
const LAST_YEAR: i16 = 2099;

/// Texts that want to be a date, right or wrong.
pub(super) fn looks_like(text: &str) -> bool {
    let digits = text.bytes().filter(u8::is_ascii_digit).count();
    let only = text.bytes().all(|b| b.is_ascii_digit() || b"-/.W ".contains(&b));
    only && (1..=8).contains(&digits) && text.len() <= 12
}

pub(super) fn read(text: &str) -> Result<Marking, NotAMarking> {
    let bytes = text.as_bytes();
    let dashed = |place: usize| bytes.get(place) == Some(&b'-');
    if let Some(at) = text.find(['/', '.', ' ']) {
        let message = "day, month and year can be read in more than one order; only ISO dates, year first, are unambiguous";
        return Err(wrong(message, at..at + 1, EXAMPLE));
    }
    if text.contains('W') {
        return week(text);
    }
    match text.len() {
        8 if !text.contains('-') => {
            let (year, month) = (year(text)?, number(text, 4, 6)?);
            calendar(text, year, (month, 4), (number(text, 6, 8)?, 6))
        }
        10 if dashed(4) && dashed(7) => {
            let (year, month) = (year(text)?, number(text, 5, 7)?);
            calendar(text, year, (month, 5), (number(text, 8, 10)?, 8))
        }
        7 if dashed(4) => month(text),
        _ if !text.contains('-') => {
            let message = "digits alone are a date only as year, month and day together: 20231105; \
                           shorter codes can be a week, a month or a lot";
            Err(wrong(message, text.len()..text.len(), EXAMPLE))
        }
        _ => {
            let dash = text.find('-').unwrap_or(0);
            let at = if dash == 4 { text.len() } else { dash };
            let message = "a date is written year-month-day with two digits each for month and day";
            Err(wrong(message, at..(at + 1).min(text.len()), EXAMPLE))
        }
    }
}

/// Digits between two places; the first character that is none is named.
fn number(text: &str, from: usize, to: usize) -> Result<i16, NotAMarking> {
    let digits = text.get(from..to).unwrap_or_default();
    if let Some(at) = digits.find(|c: char| !c.is_ascii_digit()) {
        return Err(wrong("a digit is needed here", from + at..from + at + 1, EXAMPLE));
    }
    let short = || wrong("the date ends too early", text.len()..text.len(), EXAMPLE);
    if digits.len() != to - from {
        return Err(short());
    }
    digits.parse().map_err(|_| short())
}

fn year(text: &str) -> Result<i16, NotAMarking> {
    let year = number(text, 0, 4)?;
    if (FIRST_YEAR..=LAST_YEAR).contains(&year) {
        return Ok(year);
    }
    let message = format!("{year:04} is no year of a lithium cell ({FIRST_YEAR} to {LAST_YEAR})");
    Err(wrong(message, 0..4, EXAMPLE))
}

fn checked_month((month, at): (i16, usize)) -> Result<i8, NotAMarking> {
    let fits = i8::try_from(month).ok().filter(|month| (1..=12).contains(month));
    fits.ok_or_else(|| wrong(format!("there is no month {month}"), at..at + 2, EXAMPLE))
}

fn calendar(text: &str, year: i16, month: (i16, usize), day: (i16, usize)) -> Result<Marking, NotAMarking> {
    let month_at = month.1..month.1 + 2;
    let month = checked_month(month)?;
    let (day, at) = day;
    let date = i8::try_from(day).ok().and_then(|day| Date::new(year, month, day).ok());
    let date =
        date.ok_or_else(|| wrong(format!("month {month} of {year} has no day {day}"), at..at + 2, EXAMPLE))?;
    let fields = vec![
        field("year", text, 0..4, year.to_string()),
        field("month", text, month_at, month.to_string()),
        field("day", text, at..at + 2, day.to_string()),
    ];
    Ok(marking(text, fields, date, date))
}

fn month(text: &str) -> Result<Marking, NotAMarking> {
    let year = year(text)?;
    let month = checked_month((number(text, 5, 7)?, 5))?;
    let first = Date::new(year, month, 1).map_err(|_| wrong("no such month", 5..7, EXAMPLE))?;
    let fields = vec![
        field("year", text, 0..4, year.to_string()),
        field("month", text, 5..7, format!("{month}; the day is not said")),
    ];
    Ok(marking(text, fields, first, first.last_of_month()))
}

/// `2023-W45`, `2023W45`, with or without a day of the week from 1 (Monday) to 7.
fn week(text: &str) -> Result<Marking, NotAMarking> {
    let year = year(text)?;
    let dash = usize::from(text.as_bytes().get(4) == Some(&b'-'));
    let at = 4 + dash;
    if text.as_bytes().get(at) != Some(&b'W') {
        let found = text.find('W').unwrap_or(at);
        return Err(wrong("the W of a week stands behind the year", found..found + 1, "2023-W45"));
    }
    let week = number(text, at + 1, at + 3)?;
    let missing = || wrong(format!("{year} has no week {week}"), at + 1..at + 3, "2023-W45");
    let of = |weekday| {
        let week = i8::try_from(week).ok()?;
        ISOWeekDate::new(year, week, weekday).ok().map(|date| date.date())
    };
    let mut fields = vec![
        field("year", text, 0..4, format!("{year}, the year of the week")),
        field("week", text, at + 1..at + 3, format!("week {week} after ISO 8601")),
    ];
    let rest = text.get(at + 3..).unwrap_or_default();
    if rest.is_empty() {
        let (first, last) = of(Weekday::Monday).zip(of(Weekday::Sunday)).ok_or_else(missing)?;
        return Ok(marking(text, fields, first, last));
    }
    let day_at = at + 3 + dash;
    let day = number(text, day_at, day_at + 1)?;
    if text.len() > day_at + 1 || (dash == 1 && !rest.starts_with('-')) {
        let here = if dash == 1 && !rest.starts_with('-') { at + 3 } else { day_at + 1 };
        return Err(wrong("this is left over behind the week", here..text.len(), "2023-W45-7"));
    }
    let weekday = i8::try_from(day).ok().and_then(|day| Weekday::from_monday_one_offset(day).ok());
    let weekday = weekday.ok_or_else(|| {
        wrong("a day of the week is 1 (Monday) to 7 (Sunday)", day_at..day_at + 1, "2023-W45-7")
    })?;
    let date = of(weekday).ok_or_else(missing)?;
    fields.push(field("day of the week", text, day_at..day_at + 1, format!("{weekday:?}")));
    Ok(marking(text, fields, date, date))
}

fn marking(text: &str, fields: Vec<super::MarkingField>, earliest: Date, latest: Date) -> Marking {
    Marking {
        text: text.to_owned(),
        kind: MarkingKind::Date,
        standard: "ISO 8601",
        from_memory: "the forms of ISO 8601 are from memory; what was dated, the text does not say",
        fields,
        earliest: Some(earliest),
        latest: Some(latest),
        identity: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn iso_dates() {
        let cases = [
            ("2023-11-05", (2023, 11, 5), (2023, 11, 5)),
            ("20231105", (2023, 11, 5), (2023, 11, 5)),
            ("2024-02-29", (2024, 2, 29), (2024, 2, 29)),
            ("2000-02-29", (2000, 2, 29), (2000, 2, 29)),
            ("2024-02", (2024, 2, 1), (2024, 2, 29)),
            // ISO 8601: week 1 holds the first Thursday; 2020 had 53 weeks.
            ("2020-W53", (2020, 12, 28), (2021, 1, 3)),
            ("2021W01", (2021, 1, 4), (2021, 1, 10)),
            ("2023-W45-7", (2023, 11, 12), (2023, 11, 12)),
            ("2023W457", (2023, 11, 12), (2023, 11, 12)),
        ];
        for (text, (y1, m1, d1), (y2, m2, d2)) in cases {
            let read = read(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert_eq!(read.earliest, Some(Date::constant(y1, m1, d1)), "{text}");
            assert_eq!(read.latest, Some(Date::constant(y2, m2, d2)), "{text}");
        }
    }

    #[test]
    fn what_is_no_date_or_more_than_one() {
        let cases = [
            ("05/06/2023", 2, "more than one order"),
            ("5.6.23", 1, "more than one order"),
            ("2345", 4, "shorter codes"),
            ("230517", 6, "shorter codes"),
            ("2023-02-29", 8, "has no day 29"),
            ("2100-02-29", 0, "no year of a lithium cell"),
            ("1900-02-28", 0, "no year of a lithium cell"),
            ("2023-13-01", 5, "no month 13"),
            ("2023-00-01", 5, "no month 0"),
            ("2021-W53", 6, "no week 53"),
            ("2023-W45-8", 9, "day of the week"),
            ("2023-W4", 7, "ends too early"),
            ("23-11-05", 2, "year-month-day"),
            ("2023-1-05", 9, "year-month-day"),
        ];
        for (text, at, expected) in cases {
            assert!(looks_like(text), "{text}");
            let error = read(text).unwrap_err();
            assert!(error.message.contains(expected), "{text}: {error}");
            assert_eq!(error.at.start, at, "{text}: {error}");
        }
    }
}
