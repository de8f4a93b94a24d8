//! Text into tokens.

use std::ops::Range;

use super::ExprError;
use crate::units::{self, Amount, Uncertain, find_unit};

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Token {
    Number(Amount, String),
    Word(String),
    Text(String),
    Sign(&'static str),
}

/// Longest expression accepted, in bytes.
const LONGEST: usize = 2000;

const SIGNS: &[&str] =
    &[">=", "<=", "==", "!=", "≥", "≤", ">", "<", "+", "-", "−", "*", "×", "·", "/", "^", "(", ")", ","];

const KEYWORDS: &[&str] = &["and", "or", "not", "is", "one", "of", "yes", "no"];

pub(super) fn tokens(text: &str) -> Result<Vec<(Token, Range<usize>)>, ExprError> {
    if text.len() > LONGEST {
        return Err(error(
            0..text.len(),
            format!("the expression is longer than {LONGEST} bytes"),
            "a shorter one",
        ));
    }
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(first) = text.get(at..).and_then(|rest| rest.chars().next()) {
        let rest = &text[at..];
        if first.is_whitespace() {
            at += first.len_utf8();
            continue;
        }
        let (token, length) = if first.is_ascii_digit() || first == '.' {
            number(rest, at)?
        } else if first.is_ascii_alphabetic() || first == '_' {
            let end = rest
                .find(|c: char| !(c.is_ascii_alphanumeric() || c == '_' || c == '.'))
                .unwrap_or(rest.len());
            (Token::Word(rest[..end].to_owned()), end)
        } else if first == '"' || first == '\'' {
            let inner = &rest[1..];
            let end = inner.find(first).ok_or_else(|| {
                error(at..text.len(), "a quoted text without its end".to_owned(), "a closing quote")
            })?;
            (Token::Text(inner[..end].to_owned()), end + 2)
        } else if let Some(sign) = SIGNS.iter().find(|sign| rest.starts_with(**sign)) {
            (Token::Sign(sign), sign.len())
        } else {
            let end = at + first.len_utf8();
            return Err(error(
                at..end,
                format!("`{first}` has no meaning here"),
                "a number, a name or a sign",
            ));
        };
        found.push((token, at..at + length));
        at += length;
    }
    Ok(found)
}

/// A number with the unit behind it, when there is one.
fn number(rest: &str, at: usize) -> Result<(Token, usize), ExprError> {
    let digits = rest.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(rest.len());
    let gap = rest[digits..].len() - rest[digits..].trim_start_matches(' ').len();
    let unit_start = digits + gap;
    let unit_length = rest[unit_start..]
        .find(|c: char| !(c.is_alphabetic() || "°%µ²³·".contains(c)))
        .unwrap_or(rest.len() - unit_start);
    let mut end = unit_start + unit_length;
    // "mm2" and "mm3" end in a digit.
    if rest[unit_start..end].ends_with('m') && rest[end..].starts_with(['2', '3']) {
        end += 1;
    }
    let unit = &rest[unit_start..end];
    let (text, length) = if unit.is_empty() || KEYWORDS.contains(&unit) {
        (&rest[..digits], digits)
    } else if find_unit(unit).is_some() {
        (&rest[..end], end)
    } else {
        let expected = "a unit, or a sign between the number and the name";
        return Err(error(at + unit_start..at + end, format!("`{unit}` is not a unit"), expected));
    };
    let read = units::parse(text)
        .map_err(|e| error(at..at + length, e.message.clone(), "a number such as 1.25 or 30 K"))?;
    let amount = Amount { number: Uncertain::exact(read.value), dimension: read.dimension };
    Ok((Token::Number(amount, text.to_owned()), length))
}

pub(super) fn error(at: Range<usize>, message: String, expected: &str) -> ExprError {
    ExprError { at, message, expected: expected.to_owned() }
}
