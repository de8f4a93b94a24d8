//! The 24-character code of GB/T 34014-2017 for traction batteries, their modules and cells.
//!
//! Layout and alphabets from memory: manufacturer 3, product 1, chemistry 1, specification 2, traceability 7, date
//! 3, serial 7. The year's cycle begins with 1 = 2011 and repeats after thirty years; I, O, Q, U and Z stand for
//! no year, month or day, so that nobody takes them for digits or for each other.

use std::ops::Range;

use jiff::civil::Date;

use super::{Identity, Marking, MarkingKind, NotAMarking, field, wrong};

pub(super) const EXAMPLE: &str = "ABCCB12ABC1234DB50000123";

const LENGTH: usize = 24;
const FROM_MEMORY: &str = "layout, alphabets and meaning of all fields are from memory of GB/T 34014-2017";

/// Years from 2011 on, then again from the start: 1 to 9, A to Y without I, O, Q and U.
const YEARS: &str = "123456789ABCDEFGHJKLMNPRSTVWXY";
const FIRST_YEAR: i16 = 2011;
const MONTHS: &str = "123456789ABC";
/// Days: as the years, and 0 for the 31st.
const DAYS: &str = "123456789ABCDEFGHJKLMNPRSTVWXY0";

const PRODUCTS: &[(char, &str)] = &[('P', "battery pack"), ('M', "module"), ('C', "cell")];
const CHEMISTRIES: &[(char, &str)] = &[
    ('A', "nickel metal hydride"),
    ('B', "lithium iron phosphate (LFP)"),
    ('C', "lithium manganese oxide"),
    ('D', "lithium cobalt oxide"),
    ('E', "lithium nickel manganese cobalt or nickel cobalt aluminium oxide"),
    ('F', "supercapacitor"),
    ('G', "lithium titanate"),
    ('Z', "other"),
];

pub(super) fn read(text: &str) -> Result<Marking, NotAMarking> {
    characters(text)?;
    if text.len() != LENGTH {
        return Err(length(text));
    }
    let at = |range: Range<usize>| text.get(range).unwrap_or_default();
    let product = one_of(text, 3, PRODUCTS, "the fourth character tells pack (P), module (M) or cell (C)")?;
    let chemistry = one_of(text, 4, CHEMISTRIES, "the fifth character is a chemistry: A to G or Z")?;
    let date = date(text)?;
    let serial = serial(text)?;
    let own = "the maker's own; registered, not public";
    let fields = vec![
        field("manufacturer", text, 0..3, "assigned by the registry; not decoded here"),
        field("product", text, 3..4, product),
        field("chemistry", text, 4..5, chemistry),
        field("specification", text, 5..7, own),
        field("traceability", text, 7..14, own),
        field("year", text, 14..15, format!("{} (or thirty years later)", date.year())),
        field("month", text, 15..16, date.month().to_string()),
        field("day", text, 16..17, date.day().to_string()),
        field("serial", text, 17..24, format!("number {serial} of its day")),
    ];
    let identity = Identity { design: at(0..14).to_owned(), manufacturer: at(0..3).to_owned(), serial };
    Ok(Marking {
        text: text.to_owned(),
        kind: MarkingKind::TractionBatteryCode,
        standard: "GB/T 34014-2017",
        from_memory: FROM_MEMORY,
        fields,
        earliest: Some(date),
        latest: Some(date),
        identity: Some(identity),
    })
}

fn characters(text: &str) -> Result<(), NotAMarking> {
    let Some((at, c)) = text.char_indices().find(|(_, c)| !(c.is_ascii_digit() || c.is_ascii_uppercase()))
    else {
        return Ok(());
    };
    let here = at..at + c.len_utf8();
    // Nothing but the set of characters speaks for this kind of code: say what was looked for.
    let tried = "no date, no IEC designation, and no GB/T 34014 code";
    let message = if c.is_ascii_lowercase() {
        format!("{tried}: `{c}` is a small letter, the code has capital letters and digits")
    } else {
        format!("{tried}: `{}` is neither a digit nor a capital letter", c.escape_default())
    };
    Err(wrong(message, here, EXAMPLE))
}

fn length(text: &str) -> NotAMarking {
    let length = text.len();
    let message = format!(
        "no date and no IEC designation, and a GB/T 34014 code has {LENGTH} characters; this text has {length}"
    );
    let at = if length > LENGTH { LENGTH..length } else { length..length };
    wrong(message, at, EXAMPLE)
}

fn character(text: &str, at: usize) -> char {
    text.as_bytes().get(at).map_or(' ', |byte| char::from(*byte))
}

fn one_of(
    text: &str,
    at: usize,
    table: &[(char, &'static str)],
    expected: &str,
) -> Result<&'static str, NotAMarking> {
    let found = character(text, at);
    table
        .iter()
        .find(|(known, _)| *known == found)
        .map(|(_, meaning)| *meaning)
        .ok_or_else(|| wrong(format!("`{found}` does not fit: {expected}"), at..at + 1, EXAMPLE))
}

/// Where a character stands in an alphabet, counted from 1.
fn place(text: &str, at: usize, alphabet: &str, expected: &str) -> Result<i8, NotAMarking> {
    let found = character(text, at);
    alphabet
        .find(found)
        .and_then(|index| i8::try_from(index + 1).ok())
        .ok_or_else(|| wrong(format!("`{found}` does not fit: {expected}"), at..at + 1, EXAMPLE))
}

fn date(text: &str) -> Result<Date, NotAMarking> {
    let year = place(text, 14, YEARS, "a year is 1 to 9 or A to Y without I, O, Q, U")?;
    let month = place(text, 15, MONTHS, "a month is 1 to 9, A (October), B or C")?;
    let day = place(text, 16, DAYS, "a day is 1 to 9, A (10th) to Y (30th) without I, O, Q, U, or 0 (31st)")?;
    let year = FIRST_YEAR + i16::from(year) - 1;
    Date::new(year, month, day).map_err(|_| {
        let message = format!("month {month} of {year} has no day {day}");
        wrong(message, 16..17, EXAMPLE)
    })
}

fn serial(text: &str) -> Result<u32, NotAMarking> {
    let digits = text.get(17..24).unwrap_or_default();
    if let Some(at) = digits.find(|c: char| !c.is_ascii_digit()) {
        let message = format!("`{}` does not fit: the serial is seven digits", character(digits, at));
        return Err(wrong(message, 17 + at..18 + at, EXAMPLE));
    }
    match digits.parse() {
        Ok(0) | Err(_) => Err(wrong("a day's serial numbers begin with 1", 17..24, EXAMPLE)),
        Ok(serial) => Ok(serial),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The alphabets have one character for each value of a cycle.
    #[test]
    fn alphabets() {
        assert_eq!((YEARS.len(), MONTHS.len(), DAYS.len()), (30, 12, 31));
        for letter in ['I', 'O', 'Q', 'U', 'Z'] {
            assert!(!YEARS.contains(letter) && !DAYS.contains(letter));
        }
    }

    /// Layout and alphabets from memory; the codes are invented.
    #[test]
    fn an_invented_cell() {
        let read = read("ABCCB12ABC1234DB50000123").unwrap();
        assert_eq!(read.earliest, Some(Date::constant(2023, 11, 5)));
        assert_eq!(read.identity.unwrap().serial, 123);
        let meanings: Vec<&str> = read.fields.iter().map(|f| f.meaning.as_str()).collect();
        assert!(meanings.contains(&"cell") && meanings.contains(&"lithium iron phosphate (LFP)"));
        let length: usize = read.fields.iter().map(|f| f.text.len()).sum();
        assert_eq!(length, LENGTH, "every character belongs to one field");
    }

    #[test]
    fn the_first_wrong_character_is_named() {
        let cases = [
            ("ABCXB12ABC1234DB50000123", 3, "pack (P)"),
            ("ABCCH12ABC1234DB50000123", 4, "chemistry"),
            ("ABCCB12ABC1234IB50000123", 14, "a year is"),
            ("ABCCB12ABC1234DD50000123", 15, "a month is"),
            ("ABCCB12ABC1234DBU0000123", 16, "a day is"),
            ("ABCCB12ABC1234DB00000123", 16, "month 11 of 2023 has no day 31"),
            ("ABCCB12ABC1234D2X0000123", 16, "month 2 of 2023 has no day 29"),
            ("ABCCB12ABC1234DB5000O123", 20, "seven digits"),
            ("ABCCB12ABC1234DB50000000", 17, "begin with 1"),
            ("ABCCB12abc1234DB50000123", 7, "small letter"),
            ("ABCCB12 BC1234DB50000123", 7, "neither a digit"),
            ("ABCCB12ABC1234DB5000012", 23, "this text has 23"),
            ("ABCCB12ABC1234DB500001234", 24, "this text has 25"),
        ];
        for (text, at, expected) in cases {
            let error = read(text).unwrap_err();
            assert_eq!(error.at.start, at, "{text}: {error}");
            assert!(error.message.contains(expected), "{text}: {error}");
        }
    }

    #[test]
    fn leap_years() {
        let of = |date: &str| read(&format!("ABCCB12ABC1234{date}0000123"));
        // E is 2024, D is 2023; X is the 29th.
        assert_eq!(of("E2X").unwrap().earliest, Some(Date::constant(2024, 2, 29)));
        assert!(of("D2X").is_err());
        assert_eq!(of("DC0").unwrap().earliest, Some(Date::constant(2023, 12, 31)));
        assert_eq!(of("111").unwrap().earliest, Some(Date::constant(2011, 1, 1)));
        assert_eq!(of("Y11").unwrap().earliest, Some(Date::constant(2040, 1, 1)));
    }
}
