//! Edits to a record's text: one field set, one part added, everything else left as the user wrote it.
//!
//! Comments, order and spacing stay. A key that stands commented out, as in a starting record, is filled in at
//! its line. The edited text is read again before anybody gets it: an edit after which the record would no
//! longer read is refused with the problem, so that a file on disk is never made worse by an answer.

mod place;
mod write;

use std::fmt;

use thiserror::Error;

use super::field::{Kind, State};
use super::part::FieldInfo;
use super::read::read;
use super::read_answer;
use crate::record::problem::{Problem, Problems};

pub use place::{NoSuchPlace, Pick, Place, PlaceStep};
use place::{Slot, slot_of};

/// What is written into a field. What is `None` stays as it is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Entered {
    /// The value as typed, `absent` or `could not see`.
    pub value: Option<String>,
    /// How it came, a word of [`How::WORDS`](super::How::WORDS); empty takes the word away.
    pub how: Option<String>,
    /// The instrument it was measured with, by id; empty takes it away.
    pub with: Option<String>,
    /// Photos to add, by file name.
    pub photos: Vec<String>,
    /// A remark; empty takes it away.
    pub note: Option<String>,
    /// Whether the value was looked at again and stands, although it is not plausible. A value without it is asked anew.
    pub confirmed: bool,
}

impl Entered {
    /// The same with "confirmed" behind its value read as what it says.
    pub fn with_its_word(mut self) -> Self {
        if let Some(value) =
            self.value.as_deref().and_then(|value| value.trim_end().strip_suffix(" confirmed"))
        {
            self.value = Some(value.trim_end().to_owned());
            self.confirmed = true;
        }
        self
    }

    /// Only a value.
    pub fn of(value: &str) -> Self {
        Self { value: Some(value.to_owned()), ..Self::default() }
    }
}

/// One edit.
#[derive(Debug, Clone)]
pub enum Edit {
    /// Writes a field, or a key that every part has (`how`, `with`, `photos`, `note`, `video`).
    Set {
        /// The field, such as `path.element[id=main-fuse].rating`.
        place: Place,
        /// What is written.
        answer: Entered,
    },
    /// Takes a key away, so that the field is no longer recorded.
    Clear {
        /// The field.
        place: Place,
    },
    /// Adds a part to a list of parts.
    Append {
        /// The list, such as `path.element`.
        list: Place,
        /// How many parts of the list stand before it; at the end when there are fewer.
        at: usize,
        /// Keys and values as typed.
        fields: Vec<(String, String)>,
    },
    /// Moves a part of a list to another place in it, or takes it out.
    Move {
        /// The list, such as `path.element`.
        list: Place,
        /// Where the part stands.
        from: usize,
        /// Where it goes, counted without it; nowhere where it is taken out.
        to: Option<usize>,
    },
}

/// Why an edit was not made. The text is unchanged.
#[derive(Debug, Clone, Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum EditRefused {
    #[error(transparent)]
    Place(#[from] NoSuchPlace),
    #[error("{0}")]
    Value(Shown),
    #[error("{0}")]
    Reads(Problems),
}

/// A problem with a typed value, printed with what was expected and a right example.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown(pub Problem);

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Problem { message, expected, example, .. } = &self.0;
        write!(f, "{message}; {expected}")?;
        if example.is_empty() { Ok(()) } else { write!(f, "\nfor example: {example}") }
    }
}

/// Makes edits one after the other and gives the new text; `file` names the record in messages.
///
/// # Errors
/// [`EditRefused`]; then nothing was edited.
pub fn apply(file: &str, text: &str, edits: &[Edit]) -> Result<String, EditRefused> {
    let mut text = text.to_owned();
    for edit in edits {
        text = match edit {
            Edit::Set { place, answer } => set(file, &text, place, answer)?,
            Edit::Clear { place } => {
                slot_of(place)?;
                write::clear(&parse(file, &text)?, place)?
            }
            Edit::Move { list, from, to } => {
                place::list_shape(list)?;
                write::move_part(&parse(file, &text)?, list, *from, *to)?
            }
            Edit::Append { list, at, fields } => {
                let shape = place::list_shape(list)?;
                let mut written = Vec::with_capacity(fields.len());
                for (name, value) in fields {
                    let slot = place::slot_in(shape, name)?;
                    if let Slot::Field(info) = slot {
                        fits(info, value)?;
                    }
                    written.push((name.as_str(), write::value_of(slot, value)));
                }
                write::append(&text, &parse(file, &text)?, list, *at, &written)?
            }
        };
    }
    read(file, &text).map_err(EditRefused::Reads)?;
    Ok(text)
}

fn set(file: &str, text: &str, place: &Place, answer: &Entered) -> Result<String, EditRefused> {
    let slot = slot_of(place)?;
    if let (Slot::Field(info), Some(value)) = (slot, &answer.value) {
        fits(info, value)?;
    }
    for text in [&answer.note, &answer.with, &answer.how].into_iter().flatten() {
        plain_text(text)?;
    }
    if matches!(slot, Slot::CommonText) {
        if answer.value.is_none() {
            return Err(NoSuchPlace(format!("`{place}` is a text alone; nothing belongs to it")).into());
        }
        plain_text(answer.value.as_deref().unwrap_or_default())?;
    }
    write::set(text, &parse(file, text)?, place, slot, answer)
}

fn parse(file: &str, text: &str) -> Result<toml_edit::DocumentMut, EditRefused> {
    text.parse().map_err(|error: toml_edit::TomlError| {
        let problem = Problem {
            span: error.span().unwrap_or(0..0),
            message: error.message().to_owned(),
            expected: "this is not valid TOML".to_owned(),
            example: String::new(),
        };
        EditRefused::Reads(Problems::new(file, text, vec![problem]))
    })
}

/// Refuses what could play tricks on a terminal that shows the record.
fn plain_text(text: &str) -> Result<(), EditRefused> {
    if text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\t')) {
        return Err(EditRefused::Value(Shown(Problem {
            span: 0..0,
            message: "the answer contains control characters".to_owned(),
            expected: "expected plain text".to_owned(),
            example: String::new(),
        })));
    }
    Ok(())
}

/// Refuses what the field does not take, and an empty answer.
fn fits(info: &FieldInfo, value: &str) -> Result<(), EditRefused> {
    plain_text(value)?;
    match read_answer(info, value) {
        Ok(State::NotLooked) => Err(unfit(info, "nothing is written here")),
        Ok(_) => Ok(()),
        Err(problem) => Err(EditRefused::Value(Shown(problem))),
    }
}

fn unfit(info: &FieldInfo, message: &str) -> EditRefused {
    let example = match info.kind {
        Kind::Markdown => String::new(),
        _ => info.example.to_owned(),
    };
    EditRefused::Value(Shown(Problem {
        span: 0..0,
        message: message.to_owned(),
        expected: format!("expected {}", info.kind.expected()),
        example,
    }))
}

#[cfg(test)]
mod tests;
