//! Derived facts as they are gathered, with a watch on what is withheld.

use super::Values;
use super::value::{Answer, Missing, Reason};
use crate::record::reads;

/// Facts of one subject while they are worked out.
///
/// A fact that was worked out after a withheld field was read is missing because of it: also where another way to it was
/// found, for that way gives another value than the truth. What is worked out in [`Answers::derive`] or
/// [`Answers::group`] answers only for its own reads.
#[derive(Debug, Default)]
pub(crate) struct Answers(Values);

impl Answers {
    /// Adds facts that a function works out.
    pub(crate) fn of(fill: impl FnOnce(&mut Self)) -> Values {
        let mut answers = Self::default();
        answers.group(fill);
        answers.0
    }

    /// Adds a fact.
    pub(crate) fn insert(&mut self, name: &'static str, answer: Answer) {
        self.0.insert(name, if reads::met() { withheld(answer) } else { answer });
    }

    /// Works a fact out and adds it.
    pub(crate) fn derive(&mut self, name: &'static str, work: impl FnOnce() -> Answer) {
        self.group(|answers| {
            let answer = work();
            answers.insert(name, answer);
        });
    }

    /// Works several facts out that have something in common, and adds them.
    pub(crate) fn group(&mut self, fill: impl FnOnce(&mut Self)) {
        reads::watch(|| fill(self));
    }
}

/// An answer that rests on something withheld.
pub(crate) fn withheld(answer: Answer) -> Answer {
    match answer {
        Ok(_) => Err(vec![Missing::withheld()]),
        Err(mut missing) => {
            if missing.iter().all(|missing| missing.reason != Reason::Withheld) {
                missing.push(Missing::withheld());
            }
            Err(missing)
        }
    }
}
