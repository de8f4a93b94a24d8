//! What the open standards say of the text of a cell marking or a scanned code.
//!
//! Three kinds of text are told apart: the 24-character code of GB/T 34014-2017, the designations of IEC 62620
//! and IEC 61960-3, and dates after ISO 8601. The standards themselves could not be read: their layouts and
//! alphabets are from memory, and everything decoded here says so.
//!
//! Refused, with the place of the first wrong character: a code that does not fit its layout, a date that does
//! not exist, and every text with more than one honest reading, such as `05/06/2023` or a four-digit week code.
//! The manufacturer, specification and traceability fields are the maker's own; they are shown, never guessed at.

mod code;
mod date;
mod designation;
mod list;

use std::ops::Range;

use jiff::civil::Date;
use serde::Serialize;
use thiserror::Error;

pub use list::{CodeSummary, Repeated, summary};

/// The longest text that is looked at, in bytes: every marking is far shorter.
pub const LONGEST: usize = 120;

/// A text that no standard explains, and where it stops making sense.
#[derive(Debug, Clone, PartialEq, Eq, Error, Serialize, schemars::JsonSchema)]
#[error("{message}")]
pub struct NotAMarking {
    /// What is wrong.
    pub message: String,
    /// The bytes of the text that are wrong; they begin at the first wrong character.
    pub at: Range<usize>,
    /// A right example of what was tried.
    pub example: &'static str,
}

fn wrong(message: impl Into<String>, at: Range<usize>, example: &'static str) -> NotAMarking {
    NotAMarking { message: message.into(), at, example }
}

/// One field of a marking.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct MarkingField {
    /// What the field is.
    pub name: &'static str,
    /// The characters that hold it, counted in bytes from the start of the text.
    pub at: Range<usize>,
    /// Those characters.
    pub text: String,
    /// What they mean.
    pub meaning: String,
}

/// The kinds of text that are understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MarkingKind {
    /// A GB/T 34014-2017 code.
    TractionBatteryCode,
    /// A designation after IEC 62620 or IEC 61960-3.
    Designation,
    /// A date after ISO 8601.
    Date,
}

/// What makes one product of a GB/T code differ from another.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, schemars::JsonSchema)]
pub struct Identity {
    /// Everything before the date: manufacturer, product, chemistry, specification, traceability.
    pub design: String,
    /// The manufacturer's three characters.
    pub manufacturer: String,
    /// The running number of the day.
    pub serial: u32,
}

/// A decoded text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Marking {
    /// The text.
    pub text: String,
    /// What kind of text it is.
    pub kind: MarkingKind,
    /// The standard it was read after.
    pub standard: &'static str,
    /// What of it is from memory.
    pub from_memory: &'static str,
    /// Field by field.
    pub fields: Vec<MarkingField>,
    /// The first day it may have been made on, where the text holds a date.
    #[serde(skip_serializing_if = "Option::is_none", serialize_with = "maybe_date")]
    #[schemars(with = "Option<String>")]
    pub earliest: Option<Date>,
    /// The last day it may have been made on; differs from `earliest` for a bare month or week.
    #[serde(skip_serializing_if = "Option::is_none", serialize_with = "maybe_date")]
    #[schemars(with = "Option<String>")]
    pub latest: Option<Date>,
    /// What tells it apart from others, for a GB/T code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub identity: Option<Identity>,
}

/// Decodes the text of a marking, without outer spaces.
///
/// # Errors
/// [`NotAMarking`] when no standard known here explains the text.
pub fn decode(text: &str) -> Result<Marking, NotAMarking> {
    let text = text.trim();
    if text.is_empty() {
        return Err(wrong("nothing is written here", 0..0, code::EXAMPLE));
    }
    if text.len() > LONGEST {
        let message = format!("a marking is at most {LONGEST} bytes long");
        return Err(wrong(message, LONGEST..text.len(), code::EXAMPLE));
    }
    if date::looks_like(text) {
        return date::read(text);
    }
    if designation::looks_like(text) {
        return designation::read(text);
    }
    code::read(text)
}

/// A date as ISO 8601 writes it.
fn iso_date<S: serde::Serializer>(date: &Date, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(date)
}

fn maybe_date<S: serde::Serializer>(date: &Option<Date>, serializer: S) -> Result<S::Ok, S::Error> {
    match date {
        Some(date) => iso_date(date, serializer),
        None => serializer.serialize_none(),
    }
}

fn field(name: &'static str, text: &str, at: Range<usize>, meaning: impl Into<String>) -> MarkingField {
    let shown = text.get(at.clone()).unwrap_or_default().to_owned();
    MarkingField { name, at, text: shown, meaning: meaning.into() }
}

#[cfg(test)]
mod tests {
    use super::*;

    proptest::proptest! {
        #[test]
        fn any_text_is_decoded_or_refused_at_a_place_in_it(text in "[ -~é°]{0,40}|[0-9A-Z]{20,28}|[0-9]{0,2}[ILTX][CNMFpX]{1,2}[PR][0-9/tMHES+-]{0,30}|[0-9]{4}[-W/0-9]{0,8}") {
            match decode(&text) {
                Ok(marking) => {
                    for field in &marking.fields {
                        proptest::prop_assert_eq!(marking.text.get(field.at.clone()), Some(field.text.as_str()));
                    }
                }
                Err(error) => {
                    proptest::prop_assert!(error.at.start <= error.at.end && error.at.end <= text.trim().len());
                    proptest::prop_assert!(text.trim().is_char_boundary(error.at.start));
                    proptest::prop_assert!(text.trim().is_char_boundary(error.at.end));
                }
            }
        }
    }
}
