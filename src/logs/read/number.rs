//! Cells of a table: numbers, numbers with a unit, overflow marks, nothing, or text.
//!
//! Plain decimals of up to 15 digits are read by [`plain`], which is exact: digits as a whole number
//! below 2⁵³ over a power of ten up to 10²² is one correctly rounded division (Clinger 1990). Eight digits
//! are looked at together as the bytes of one word (Lemire, *Quickly parsing eight digits*, 2022; from
//! memory). All else goes through the standard library.

use crate::units::Dimension;

use super::column::is_of;
use super::unit::unit_of;

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

/// How the numbers of a table are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Notation {
    pub decimal: DecimalMark,
    /// Whether the other mark divides thousands, as was seen in numbers that can be read in no other way.
    pub grouped: bool,
}

impl Notation {
    /// A decimal mark, thousands not divided by the other one.
    pub fn plain(decimal: DecimalMark) -> Self {
        Self { decimal, grouped: false }
    }
}

/// What a cell holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell {
    /// A number in the column's unit.
    Number(f64),
    /// A number with a unit of its own, in SI units.
    Si(f64, Dimension),
    Empty,
    /// The instrument says that it could not read.
    Overflow,
    /// Something else.
    Text,
}

/// SCPI gives 9.9E37 for infinity and 9.91E37 for "not a number" (SCPI-1999 volume 1, 7.2.1; from memory).
const SCPI_INFINITY: f64 = 9.9e37;

/// Digits that are always below 2⁵³.
pub(super) const DIGITS: usize = 15;
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
#[inline(always)]
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
pub(super) fn cell(field: &[u8], notation: Notation) -> Cell {
    if let Some(value) = decimal(field, notation.decimal) {
        return Cell::Number(value);
    }
    let Ok(text) = std::str::from_utf8(field) else {
        // Latin-1: the only such characters in a cell are in its unit, or a space that does not break.
        return match super::chunk::text(field) {
            text if text.len() <= 40 => words(text.trim(), notation),
            _ => Cell::Text,
        };
    };
    words(text.trim(), notation)
}

/// A field that is a plain decimal and nothing else, as most cells of most logs are.
fn decimal(field: &[u8], mark: DecimalMark) -> Option<f64> {
    let mut padded = [0; 40];
    padded.get_mut(..field.len()).filter(|_| field.len() <= DIGITS + 2)?.copy_from_slice(field);
    plain(&padded, 0, 0, mark).filter(|(_, end)| *end == field.len()).map(|(value, _)| value)
}

fn words(text: &str, notation: Notation) -> Cell {
    let text = text.trim_matches(['"', '\'', '\u{a0}', ' ']);
    if text.is_empty() {
        return Cell::Empty;
    }
    if text.len() > 64 {
        return Cell::Text;
    }
    let checked =
        |value: f64| -> Option<f64> { (value.is_finite() && value.abs() < SCPI_INFINITY).then_some(value) };
    if let Some(value) = number(text, notation) {
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
    match (number(digits.trim(), notation), unit_of(unit)) {
        (Some(value), Some(unit)) => checked((value + unit.offset) * unit.factor)
            .map_or(Cell::Overflow, |value| Cell::Si(value, unit.dimension)),
        _ => Cell::Text,
    }
}

/// A number without a unit, with a minus of any kind, in the brackets by which spreadsheets mark negative
/// ones, with thousands set apart.
fn number(text: &str, notation: Notation) -> Option<f64> {
    if let Some(inner) = text.strip_prefix('(') {
        let inner = inner.strip_suffix(')')?;
        return number(inner.trim(), notation)
            .filter(|_| inner.starts_with(|c: char| c.is_ascii_digit()))
            .map(|v| -v);
    }
    if let Some(rest) = text.strip_prefix(['\u{2212}', '\u{2013}']) {
        let digits = rest.trim_start();
        return number(digits, notation)
            .filter(|_| digits.starts_with(|c: char| c.is_ascii_digit()))
            .map(|v| -v);
    }
    let mark = char::from(notation.decimal.byte());
    if !text.starts_with(['+', '-', '.', ',', '0', '1', '2', '3', '4', '5', '6', '7', '8', '9']) {
        return None;
    }
    let parsed = match notation.decimal {
        DecimalMark::Point => text.parse().ok(),
        DecimalMark::Comma if text.contains('.') => None,
        DecimalMark::Comma => text.replacen(',', ".", 1).parse().ok(),
    };
    parsed.or_else(|| {
        let ungrouped = ungroup(text, mark, notation.grouped)?;
        ungrouped.replacen(mark, ".", 1).parse().ok()
    })
}

/// A number whose thousands are set apart, without what sets them apart: `None` where that is not certain.
///
/// Spaces and apostrophes are never decimal marks. A point or comma is one as well, so `1,234` alone may be
/// one or one thousand: it counts only in a table that showed which (`grouped`), or when it is there twice
/// or before the decimal mark.
pub(super) fn ungroup(text: &str, decimal: char, grouped: bool) -> Option<String> {
    let other = if decimal == '.' { ',' } else { '.' };
    let (whole, part) = match text.split_once(decimal) {
        Some((whole, part)) => (whole, Some(part)),
        None => (text, None),
    };
    let digits = whole.trim_start_matches(['+', '-']);
    let divider = digits.chars().find(|c| !c.is_ascii_digit())?;
    if !matches!(divider, ' ' | '\'' | '\u{2019}' | '\u{a0}' | '\u{202f}' | '\u{2009}') && divider != other {
        return None;
    }
    let mut rest = digits.split(divider);
    let first = rest.next()?;
    let digits_only = |group: &str| group.bytes().all(|byte| byte.is_ascii_digit());
    let fits = (1..=3).contains(&first.len())
        && digits_only(first)
        && rest.clone().all(|group| group.len() == 3 && digits_only(group));
    let certain = divider != other || grouped || rest.count() > 1 || part.is_some();
    // "0,123" is no thousands.
    let leads = !first.starts_with('0');
    let ending =
        part.is_none_or(|part| part.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'+' | b'-')));
    (fits && certain && leads && ending).then(|| text.chars().filter(|c| *c != divider).collect())
}

/// Marks that instruments write where they have no reading.
fn is_overflow(text: &str) -> bool {
    const MARKS: &str = "OL O.L O.L. 0L OVL OVLD OVER OVERFLOW OVERLOAD OVERRANGE OPEN INF INFINITY NAN \
         NA N/A #N/A #NUM! #DIV/0! NULL NONE ERR ERROR";
    const LONGEST: usize = "OVERRANGE".len();
    let bare = text.trim_start_matches(['+', '-']);
    text.bytes().all(|byte| matches!(byte, b'-' | b'*' | b'?' | b'_' | b'.'))
        || (bare.len() <= LONGEST && is_of(&bare.to_ascii_uppercase(), MARKS))
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
            ("1,234.5", Point, Number(1234.5)),
            ("1.234,5", Comma, Number(1234.5)),
            ("1,234,567", Point, Number(1_234_567.0)),
            ("-12.345.678,9", Comma, Number(-12_345_678.9)),
            // One or one thousand?
            ("1,234", Point, Text),
            ("1.234", Comma, Text),
            ("1,23.4", Point, Text),
            ("0,123.4", Point, Text),
            ("26 600", Point, Number(26_600.0)),
            ("26\u{202f}600,5", Comma, Number(26_600.5)),
            ("26'600.5", Point, Number(26_600.5)),
            ("26 60", Point, Text),
            ("\u{2212}3.5", Point, Number(-3.5)),
            ("(3.5)", Point, Number(-3.5)),
            ("(A)", Point, Text),
            ("()", Point, Text),
            ("", Point, Empty),
            ("  ", Point, Empty),
            ("OL", Point, Overflow),
            ("-O.L", Point, Overflow),
            ("---", Point, Overflow),
            ("9.9E+37", Point, Overflow),
            ("9.91E37", Point, Overflow),
            ("1e999", Point, Overflow),
            ("NaN", Point, Overflow),
            ("950 mV", Point, Si(0.95, Dimension::VOLTAGE)),
            ("12.5A", Point, Si(12.5, Dimension::CURRENT)),
            ("25 °C", Point, Si(298.15, Dimension::TEMPERATURE)),
            ("Pass", Point, Text),
            ("12 monkeys", Point, Text),
        ];
        for (text, decimal, wanted) in cases {
            let got = cell(text.as_bytes(), Notation::plain(decimal));
            match (got, wanted) {
                (Si(a, x), Si(b, y)) => assert!((a - b).abs() < 1e-9 && x == y, "{text}: {a}"),
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
            let alone = decimal(number.as_bytes(), DecimalMark::Point);
            match number.parse::<f64>() {
                Ok(value) if count <= DIGITS => proptest::prop_assert_eq!(alone.map(f64::to_bits), Some(value.to_bits())),
                _ => proptest::prop_assert_eq!(alone, None),
            }
            let comma = padded.replace('.', ",");
            let with_comma = plain(comma.as_bytes(), 0, b';', DecimalMark::Comma);
            proptest::prop_assert_eq!(with_comma, plain(padded.as_bytes(), 0, b';', DecimalMark::Point));
        }

        #[test]
        fn any_bytes_are_some_cell(bytes: Vec<u8>) {
            let _ = cell(&bytes, Notation::plain(DecimalMark::Point));
            let _ = plain(&bytes, 0, b',', DecimalMark::Comma);
        }
    }
}
