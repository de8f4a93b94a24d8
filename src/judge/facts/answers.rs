//! Derived facts as they are gathered, with a watch on what is withheld.

use super::Values;
use super::value::{Answer, Missing, Reason, capped};
use crate::record::field::Doubt;
use crate::record::reads;
use std::sync::Arc;

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
        self.0.insert(name, as_read(answer));
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

/// An answer that rests on what was read since [`reads::watch`] began.
pub(crate) fn as_read(answer: Answer) -> Answer {
    let answer = if reads::met() { withheld(answer) } else { answer };
    in_doubt(answer, &reads::doubts())
}

/// An answer that rests on values that are in doubt: on one that is not plausible nothing rests, a contradiction between
/// two is carried on.
pub(crate) fn in_doubt(answer: Answer, doubts: &[Arc<Doubt>]) -> Answer {
    if doubts.is_empty() {
        return answer;
    }
    let implausible: Vec<Missing> =
        doubts.iter().filter(|doubt| doubt.implausible).map(|doubt| Missing::doubt(doubt)).collect();
    match answer {
        Ok(mut worked) if implausible.is_empty() => {
            for doubt in doubts {
                if !worked.contradicted.contains(doubt) {
                    worked.contradicted.push(Arc::clone(doubt));
                }
            }
            Ok(worked)
        }
        Ok(_) => Err(capped(implausible)),
        Err(missing) => Err(capped(missing.into_iter().chain(implausible))),
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
