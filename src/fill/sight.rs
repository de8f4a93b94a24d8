//! How a record stands while it is filled: its questions and findings, and why an answer was not saved.

use std::sync::{Arc, OnceLock};

use thiserror::Error;

use super::bench_tests::Stamp;
use super::judged::Decided;
use super::question::{Applies, Key, Question};
use crate::fill::checklist::Fills;
use crate::judge::facts::Derived;
use crate::judge::inspection::OpenError;
use crate::judge::next::{Headline, Judged, Look, MOST, Next, next};
use crate::judge::rules::{Book, Judgement};
use crate::judge::support::{Support, supports};
use crate::record::Record;
use crate::record::edit::{EditRefused, Entered};
use crate::record::problem::Problems;

/// Why an answer was not saved.
#[derive(Debug, Error)]
pub enum FillError {
    /// The record or a house file cannot be opened.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The answer was refused; the record is unchanged.
    #[error(transparent)]
    EditRefused(#[from] EditRefused),
    /// The answer was refused; the record is unchanged.
    #[error("{0}")]
    Words(String),
    /// The record could not be written; it is unchanged.
    #[error("not saved, the record is unchanged: {0}")]
    NotSaved(std::io::Error),
    /// Fields have changed since the answers were made: each with what it says now.
    #[error("changed meanwhile: now {}", .0.iter().map(|(_, now)| now.as_str()).collect::<Vec<_>>().join("; "))]
    Conflict(Vec<(Key, String)>),
}

impl From<Problems> for FillError {
    fn from(problems: Problems) -> Self {
        Self::Open(OpenError::Problems(problems))
    }
}

/// An answer to a question.
#[derive(Debug)]
pub(super) struct Given {
    pub(super) key: Key,
    pub(super) answer: Entered,
    /// The revision it was made upon; an answer on another one is refused, unless the record says the same already.
    pub(super) seen: Option<String>,
}

/// An answer that is in the record now.
#[derive(Debug)]
pub struct Saved {
    /// Rules that ended otherwise before.
    pub decided: Vec<Decided>,
    /// What was written, as a person would say it.
    pub said: String,
    /// How things stand now.
    pub sight: Arc<Sight>,
}

/// A question of the first look, with what its answer could decide.
#[derive(Debug)]
pub struct Ask {
    /// The question.
    pub key: Key,
    /// What it could decide; none where it only says what there is.
    pub look: Option<Look>,
}

/// The first look at a record.
#[derive(Debug, Default)]
pub struct First {
    /// The headline questions, with how far they are.
    pub headlines: Vec<Headline>,
    /// What to ask, in order.
    pub asks: Vec<Ask>,
}

/// The record as it is now, with what follows from it.
#[derive(Debug)]
pub struct Sight {
    /// The record's text.
    pub text: String,
    /// The record.
    pub record: Box<Record>,
    /// The judgement.
    pub judgement: Judgement,
    /// What follows from the record, and the book that judges it.
    pub(super) derived: Derived,
    pub(super) book: Arc<Book>,
    pub(super) first: OnceLock<First>,
    /// The questions in the order they are asked.
    pub questions: Vec<Question>,
    /// The kind of pack whose checklist is asked.
    pub kind: String,
    /// True while bench tests are being worked out beside: their findings follow.
    pub beside: bool,
    /// Which logs, and which working of the bench tests, the judgement rests on.
    pub(super) upon: (Vec<Stamp>, u64),
}

/// A fingerprint of a record and of which working of its bench tests is known.
pub(super) fn revision(text: &str, generation: u64) -> String {
    format!("{text}\0{generation}")
}

impl Sight {
    /// As the revision of the record in the folder, of what was looked at.
    pub(super) fn revision(&self) -> String {
        revision(&self.text, self.upon.1)
    }

    /// The record as it was judged.
    pub(super) fn judged(&self) -> Judged<'_> {
        let (record, derived, book) = (&*self.record, &self.derived, &*self.book);
        Judged { record, derived, book, findings: &self.judgement.findings }
    }

    /// What to look at next of all that is not decided.
    pub(super) fn next(&self) -> Next {
        next(self.judged(), MOST)
    }

    /// What would make the claims true that fall short.
    pub(super) fn supports(&self) -> Vec<Support> {
        supports(self.judged())
    }

    /// A question by its key.
    #[must_use]
    pub fn question(&self, key: &Key) -> Option<&Question> {
        self.questions.iter().find(|question| question.key == *key)
    }

    /// What is asked on one screen with a question, from it on: what is read off one card of its part and the walk would
    /// stop at. With `more`, all that is open of the part, what is seldom wanted included.
    #[must_use]
    pub fn screen(&self, key: &Key, more: bool) -> Vec<&Question> {
        let Some(first) = self.question(key) else { return Vec::new() };
        let of_part = |other: &&Question| other.section == first.section && other.key.part == first.key.part;
        let with = |other: &&Question| {
            other.key == *key
                || if more {
                    other.is_open()
                        && other.applies == Applies::Yes
                        && matches!(other.item.fills, Fills::Field { .. })
                } else {
                    first.is_asked()
                        && first.item.card.is_some()
                        && other.item.card == first.item.card
                        && other.is_asked()
                }
        };
        self.questions
            .iter()
            .skip_while(|other| other.key != *key && !more)
            .filter(of_part)
            .filter(with)
            .collect()
    }
}

/// A question of the record as it is now.
pub(super) fn question<'a>(sight: &'a Sight, key: &Key) -> Result<&'a Question, FillError> {
    sight
        .question(key)
        .ok_or_else(|| FillError::Words(format!("there is no question `{key}` in this record any more")))
}
