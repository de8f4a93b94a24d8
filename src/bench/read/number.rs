//! Cells of a table: numbers, numbers with a unit, overflow marks, nothing, or text.
//!
//! Plain decimals of up to 15 digits are read by [`fast`], which is exact: digits as a whole number
//! below 2⁵³ over a power of ten up to 10²² is one correctly rounded division (Clinger 1990). All else
//! goes through the standard library.

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

const POWERS: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// Reads a plain decimal that ends at the delimiter or the end of the line; gives its length too.
#[inline]
pub(super) fn fast(text: &[u8], delimiter: u8, decimal: DecimalMark) -> Option<(f64, usize)> {
    let negative = text.first() == Some(&b'-');
    let begin = usize::from(negative);
    let mark = decimal.byte();
    let mut mantissa: u64 = 0;
    let mut digits = 0_usize;
    let mut point = None;
    let mut at = begin;
    for byte in text.get(begin..)? {
        let digit = byte.wrapping_sub(b'0');
        if digit < 10 {
            // Wraps only beyond 19 digits, and more than 15 are refused below.
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
            digits += 1;
        } else if *byte == mark && point.is_none() && mark != delimiter {
            point = Some(digits);
        } else if *byte == delimiter {
            break;
        } else {
            return None;
        }
        at += 1;
    }
    if digits == 0 || digits > 15 {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "15 digits are below 2^53")]
    let whole = mantissa as f64;
    let scale = POWERS.get(digits - point.unwrap_or(digits))?;
    let value = whole / scale;
    Some((if negative { -value } else { value }, at))
}

/// Reads any cell.
pub(super) fn cell(field: &[u8], decimal: DecimalMark) -> Cell {
    let Ok(text) = std::str::from_utf8(field) else {
        // Latin-1: the only such characters in a cell are in its unit.
        return match super::lines::text(field) {
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
    if is_overflow(text) {
        return Cell::Overflow;
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
        /// The fast way agrees to the last bit with the standard library's correctly rounded parser.
        #[test]
        fn fast_is_exact(whole in 0_u64..1_000_000_000, part in 0_u32..1_000_000, negative: bool) {
            let sign = if negative { "-" } else { "" };
            let text = format!("{sign}{whole}.{part:06}");
            let (value, used) = fast(text.as_bytes(), b';', DecimalMark::Point).unwrap();
            proptest::prop_assert_eq!(value.to_bits(), text.parse::<f64>().unwrap().to_bits());
            proptest::prop_assert_eq!(used, text.len());
        }

        #[test]
        fn any_bytes_are_some_cell(bytes: Vec<u8>) {
            let _ = cell(&bytes, DecimalMark::Point);
            let _ = fast(&bytes, b',', DecimalMark::Comma);
        }
    }
}
