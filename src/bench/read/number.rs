//! Cells of a table: numbers, numbers with a unit, overflow marks, nothing, or text.
//!
//! Plain decimals of up to 15 digits are read by [`plain`], which is exact: digits as a whole number
//! below 2⁵³ over a power of ten up to 10²² is one correctly rounded division (Clinger 1990). Eight digits
//! are looked at together as the bytes of one word (Lemire, *Quickly parsing eight digits*, 2022; from
//! memory). All else goes through the standard library.

use crate::quantity::find_unit;

/// The decimal mark of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecimalMark {
    /// `3.14`
    Point,
    /// `3,14`
    Comma,
}

impl DecimalMark {
    pub(super) fn byte(self) -> u8 {
        match self {
            Self::Point => b'.',
            Self::Comma => b',',
        }
    }
}

/// What a cell holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell {
    /// A number in the column's unit.
    Number(f64),
    /// A number with a unit of its own, in SI units.
    Si(f64),
    /// Nothing.
    Empty,
    /// The instrument says that it could not read.
    Overflow,
    /// Something else.
    Text,
}

/// SCPI gives 9.9E37 for infinity and 9.91E37 for "not a number" (SCPI-1999 volume 1, 7.2.1; from memory).
const SCPI_INFINITY: f64 = 9.9e37;

/// Digits that are always below 2⁵³.
const DIGITS: usize = 15;
const TENS: [u64; 16] = {
    let mut tens = [1; 16];
    let mut n = 1;
    while n < tens.len() {
        tens[n] = tens[n - 1] * 10;
        n += 1;
    }
    tens
};
const POWERS: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// One in every byte.
const EACH: u64 = 0x0101_0101_0101_0101;

/// Eight bytes from a place on, the first one lowest.
#[inline]
fn word(text: &[u8], at: usize) -> Option<u64> {
    text.get(at..)?.first_chunk().map(|bytes| u64::from_le_bytes(*bytes))
}

/// Digits at the beginning of a word: how many, at most 8, and the number they are.
#[inline]
fn digits(word: u64) -> (usize, u64) {
    // Digits become their values, everything else more than 9.
    let values = word ^ (EACH * 0x30);
    let others = (((values & (EACH * 0x7f)) + EACH * 0x76) | values) & (EACH * 0x80);
    let count = others.trailing_zeros() / 8;
    // Zeros take the place of leading digits.
    let eight = values.checked_shl(64 - 8 * count).unwrap_or_default();
    let pairs = eight.wrapping_mul(10).wrapping_add(eight >> 8);
    let low = (pairs & 0x0000_00ff_0000_00ff).wrapping_mul(100 + (1_000_000 << 32));
    let high = ((pairs >> 16) & 0x0000_00ff_0000_00ff).wrapping_mul(1 + (10_000 << 32));
    (count as usize, low.wrapping_add(high) >> 32)
}

/// Reads a plain decimal at a place of a text that goes on for eight bytes after its end, spaces before it
/// passed over; gives the place after it too. `None` for anything that is not one or too long to be exact.
///
/// What follows the number is for the caller to look at.
#[inline]
pub(super) fn plain(text: &[u8], at: usize, delimiter: u8, decimal: DecimalMark) -> Option<(f64, usize)> {
    let mut at = at;
    while text.get(at) == Some(&b' ') {
        at += 1;
    }
    let negative = text.get(at) == Some(&b'-');
    at += usize::from(negative);
    let (mut count, mut mantissa) = digits(word(text, at)?);
    at += count;
    if count == 8 {
        let (more, low) = digits(word(text, at)?);
        at += more;
        count += more;
        mantissa = mantissa * *TENS.get(more)? + low;
    }
    let mark = decimal.byte();
    let mut scale = 1.0;
    if text.get(at) == Some(&mark) && mark != delimiter {
        at += 1;
        let (mut more, mut low) = digits(word(text, at)?);
        at += more;
        if more == 8 {
            let (further, lowest) = digits(word(text, at)?);
            at += further;
            more += further;
            low = low * *TENS.get(further)? + lowest;
        }
        count += more;
        if count > DIGITS {
            return None;
        }
        mantissa = mantissa * *TENS.get(more)? + low;
        scale = *POWERS.get(more)?;
    }
    if count == 0 || count > DIGITS {
        return None;
    }
    #[expect(clippy::cast_precision_loss, clippy::cast_possible_wrap, reason = "15 digits are below 2^53")]
    let value = mantissa as i64 as f64 / scale;
    Some((if negative { -value } else { value }, at))
}

/// Reads any cell.
pub(super) fn cell(field: &[u8], decimal: DecimalMark) -> Cell {
    let Ok(text) = std::str::from_utf8(field) else {
        // Latin-1: the only such characters in a cell are in its unit.
        return match super::chunk::text(field) {
            text if text.len() <= 40 => words(text.trim(), decimal),
            _ => Cell::Text,
        };
    };
    words(text.trim(), decimal)
}

fn words(text: &str, decimal: DecimalMark) -> Cell {
    let text = text.trim_matches(['"', '\'', '\u{a0}', ' ']);
    if text.is_empty() {
        return Cell::Empty;
    }
    if text.len() > 64 {
        return Cell::Text;
    }
    let number = |part: &str| -> Option<f64> {
        if !part.starts_with(['+', '-', '.', ',', '0', '1', '2', '3', '4', '5', '6', '7', '8', '9']) {
            return None;
        }
        match decimal {
            DecimalMark::Point => part.parse().ok(),
            DecimalMark::Comma if part.contains('.') => None,
            DecimalMark::Comma => part.replacen(',', ".", 1).parse().ok(),
        }
    };
    let checked =
        |value: f64| -> Option<f64> { (value.is_finite() && value.abs() < SCPI_INFINITY).then_some(value) };
    if let Some(value) = number(text) {
        return checked(value).map_or(Cell::Overflow, Cell::Number);
    }
    if is_overflow(text) {
        return Cell::Overflow;
    }
    let split = text
        .char_indices()
        .find(|(_, c)| c.is_alphabetic() || matches!(c, '°' | '%' | '\u{b5}' | 'Ω'))
        .map_or(text.len(), |(at, _)| at);
    let (digits, unit) = text.split_at(split);
    match (number(digits.trim()), find_unit(unit.trim())) {
        (Some(value), Some(unit)) => {
            checked((value + unit.offset) * unit.factor).map_or(Cell::Overflow, Cell::Si)
        }
        _ => Cell::Text,
    }
}

/// Marks that instruments write where they have no reading.
fn is_overflow(text: &str) -> bool {
    const MARKS: &[&str] = &[
        "OL",
        "O.L",
        "O.L.",
        "0L",
        "OVL",
        "OVLD",
        "OVER",
        "OVERFLOW",
        "OVERLOAD",
        "OVERRANGE",
        "OPEN",
        "INF",
        "INFINITY",
        "NAN",
        "NA",
        "N/A",
        "#N/A",
        "#NUM!",
        "#DIV/0!",
        "NULL",
        "NONE",
        "ERR",
        "ERROR",
    ];
    let bare = text.trim_start_matches(['+', '-']);
    text.bytes().all(|byte| matches!(byte, b'-' | b'*' | b'?' | b'_' | b'.'))
        || MARKS.iter().any(|mark| bare.eq_ignore_ascii_case(mark))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells() {
        use Cell::{Empty, Number, Overflow, Si, Text};
        use DecimalMark::{Comma, Point};
        let cases = [
            ("3.25", Point, Number(3.25)),
            ("3,25", Comma, Number(3.25)),
            (" -0.001 ", Point, Number(-0.001)),
            ("+1.5E-3", Point, Number(0.0015)),
            ("1,5e2", Comma, Number(150.0)),
            ("1,234.5", Point, Text),
            ("1.234,5", Comma, Text),
            ("", Point, Empty),
            ("  ", Point, Empty),
            ("OL", Point, Overflow),
            ("-O.L", Point, Overflow),
            ("---", Point, Overflow),
            ("9.9E+37", Point, Overflow),
            ("9.91E37", Point, Overflow),
            ("1e999", Point, Overflow),
            ("NaN", Point, Overflow),
            ("950 mV", Point, Si(0.95)),
            ("12.5A", Point, Si(12.5)),
            ("25 °C", Point, Si(298.15)),
            ("Pass", Point, Text),
            ("12 monkeys", Point, Text),
        ];
        for (text, decimal, wanted) in cases {
            let got = cell(text.as_bytes(), decimal);
            match (got, wanted) {
                (Si(a), Si(b)) => assert!((a - b).abs() < 1e-9, "{text}: {a}"),
                _ => assert_eq!(got, wanted, "{text}"),
            }
        }
    }

    proptest::proptest! {
        /// The fast way agrees to the last bit with the standard library's correctly rounded parser, or
        /// leaves the number to it.
        #[test]
        fn plain_is_exact(text in "-?[0-9]{0,16}[.]?[0-9]{0,16}", after in "[;\n eE+]?", zeros in 0_usize..4) {
            let number = if let Some(rest) = text.strip_prefix('-') {
                format!("-{}{rest}", "0".repeat(zeros))
            } else {
                format!("{}{text}", "0".repeat(zeros))
            };
            let padded = format!("{number}{after}\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0");
            let count = number.bytes().filter(u8::is_ascii_digit).count();
            match plain(padded.as_bytes(), 0, b';', DecimalMark::Point) {
                Some((value, end)) => {
                    proptest::prop_assert_eq!(end, number.len());
                    proptest::prop_assert_eq!(value.to_bits(), number.parse::<f64>().unwrap().to_bits());
                }
                None => proptest::prop_assert!(count == 0 || count > DIGITS, "{}", number),
            }
            let comma = padded.replace('.', ",");
            let with_comma = plain(comma.as_bytes(), 0, b';', DecimalMark::Comma);
            proptest::prop_assert_eq!(with_comma, plain(padded.as_bytes(), 0, b';', DecimalMark::Point));
        }

        #[test]
        fn any_bytes_are_some_cell(bytes: Vec<u8>) {
            let _ = cell(&bytes, DecimalMark::Point);
            let _ = plain(&bytes, 0, b',', DecimalMark::Comma);
        }
    }
}
