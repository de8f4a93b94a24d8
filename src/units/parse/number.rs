//! Numbers as people write them: digit groups, fractions of an inch, exponents.
//!
//! A comma before exactly three digits is refused, because half of the world reads it as a decimal sign and the other half
//! as a mark for thousands.

use std::ops::Range;

use super::NotAQuantity;

/// Reads a number at the start of `text`; returns it with the bytes used.
///
/// Accepts a sign, digit groups of three set apart by (thin) spaces or `_`, a decimal point, an
/// exponent, and fractions: `1/8`, `1 1/8`, `1-1/8`.
pub(in crate::units) fn read_number(text: &str) -> Result<(f64, usize), NotAQuantity> {
    let wrong = |message: &str, at: Range<usize>| NotAQuantity::new(message, at, "250 A");
    let mut at = 0;
    let negative = match text.chars().next() {
        Some(sign @ ('-' | '\u{2212}')) => {
            at = sign.len_utf8();
            true
        }
        Some('+') => {
            at = 1;
            false
        }
        _ => false,
    };
    let start = at;
    let mut digits = String::new();
    at += take_digits(&text[at..], &mut digits);
    at += take_groups(&text[at..], &mut digits);
    let behind_comma = text[at..].strip_prefix(',').map(|rest| take_digits(rest, &mut String::new()));
    // No thousands begin with a nought, and none have one, two or four digits behind the mark.
    let decimal = digits == "0" || behind_comma.is_some_and(|digits| !matches!(digits, 0 | 3));
    if behind_comma.is_some() && (!decimal || text[at + 1..].contains(',')) {
        let message = "a comma is read as a decimal sign by half of the world; write a point, \
                       or leave thousands without a mark";
        return Err(wrong(message, at..at + 1));
    }
    if text[at..].starts_with(['.', ',']) {
        digits.push('.');
        at += 1;
        at += take_digits(&text[at..], &mut digits);
    }
    if !digits.bytes().any(|b| b.is_ascii_digit()) {
        let end = text.len().max(start);
        return Err(wrong("expected a number with a unit", 0..end));
    }
    at += take_exponent(&text[at..], &mut digits);
    let mut value: f64 = digits.parse().map_err(|_| wrong("expected a number with a unit", start..at))?;
    if let Some((fraction, used)) = mixed_fraction(&text[at..]) {
        value += fraction;
        at += used;
    } else if let Some((denominator, used)) = denominator(&text[at..]) {
        value /= denominator;
        at += used;
    }
    if !value.is_finite() {
        return Err(wrong("the number is too large", start..at));
    }
    Ok((if negative { -value } else { value }, at))
}

fn take_digits(text: &str, into: &mut String) -> usize {
    let end = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    into.push_str(&text[..end]);
    end
}

/// Groups of three digits behind a separator: `3 840`, `3_840`, with a thin or no-break space too.
fn take_groups(text: &str, into: &mut String) -> usize {
    if into.is_empty() || into.len() > 3 {
        return 0;
    }
    let mut at = 0;
    while let Some(separator) =
        text[at..].chars().next().filter(|c| matches!(c, ' ' | '_' | '\u{a0}' | '\u{2009}' | '\u{202f}'))
    {
        let group = &text[at + separator.len_utf8()..];
        let length = group.find(|c: char| !c.is_ascii_digit()).unwrap_or(group.len());
        if length != 3 || group[length..].starts_with('/') {
            break;
        }
        into.push_str(&group[..length]);
        at += separator.len_utf8() + length;
    }
    at
}

fn take_exponent(text: &str, into: &mut String) -> usize {
    let Some(rest) = text.strip_prefix(['e', 'E']) else {
        return 0;
    };
    let sign = usize::from(rest.starts_with(['+', '-']));
    let length = rest[sign..].bytes().take_while(u8::is_ascii_digit).count();
    if length == 0 || length > 3 {
        return 0;
    }
    into.push_str(&text[..1 + sign + length]);
    1 + sign + length
}

/// The `1/8` of `1 1/8` or `1-1/8`.
fn mixed_fraction(text: &str) -> Option<(f64, usize)> {
    let rest = text.strip_prefix([' ', '-'])?;
    let length = rest.bytes().take_while(u8::is_ascii_digit).count();
    let numerator: f64 = rest[..length].parse().ok()?;
    let (denominator, used) = denominator(&rest[length..])?;
    Some((numerator / denominator, 1 + length + used))
}

fn denominator(text: &str) -> Option<(f64, usize)> {
    let rest = text.strip_prefix('/')?;
    let length = rest.bytes().take_while(u8::is_ascii_digit).count();
    let value: f64 = rest[..length].parse().ok()?;
    (value > 0.0).then_some((value, 1 + length))
}
