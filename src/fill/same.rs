//! A part that is like another one: its open questions are answered as that one's were.
//!
//! Packs repeat themselves: two joints of one make, two bars of one metal. What was seen or read off is taken over when
//! somebody says `same`. What was measured, estimated or computed is never taken over, because a measurement of one part
//! is none of another, nor are names, dates and what could not be seen.

use std::collections::BTreeMap;

use super::bench::{FillError, Sight};
use super::question::{Applies, Key, Question};
use crate::checklist::{Fills, Scope};
use crate::record::edit::{Answer, Edit};
use crate::record::field::ABSENT;
use crate::record::{How, Kind, State};
use crate::words::{count, list};

/// Fields that belong to one part alone.
const OWN: [&str; 6] = ["name", "code", "serial", "file", "caption", "log"];

/// The edits that answer what is open of a part as it is answered of another one of its kind.
pub(super) fn same(sight: &Sight, key: &Key, from: &str) -> Result<(Vec<Edit>, String), FillError> {
    let words = |text: &str| FillError::Words(text.to_owned());
    let at = sight.questions.iter().position(|question| question.key == *key);
    let question = at.and_then(|at| sight.questions.get(at));
    let question = question.filter(|question| !question.key.part.is_empty() && question.part.is_some());
    let question =
        question.ok_or_else(|| words("`same` is for a part that is like another one of its kind"))?;
    if !matches!(question.item.scope, Scope::Elements(_) | Scope::Layers | Scope::Tests | Scope::Instruments)
    {
        return Err(words("`same` is for elements, layers, tests and instruments"));
    }
    let kind = |question: &Question| match question.item.scope {
        Scope::Elements(_) => sight
            .record
            .path
            .element
            .iter()
            .find(|element| element.id.text() == Some(&question.key.part))
            .and_then(|element| element.kind.word()),
        _ => None,
    };
    let wanted = kind(question);
    let alike = |other: &&Question| {
        let list = |question: &Question| question.part.as_ref()?.0.first().map(|step| step.key.clone());
        other.key.part != question.key.part
            && list(other) == list(question)
            && other.part.as_ref().map(|part| part.0.len()) == question.part.as_ref().map(|part| part.0.len())
            && kind(other) == wanted
            && (from.is_empty() || other.key.part == from)
    };
    // The one before is the nearest above that has an answer; the first ones look below.
    let (before, after) = sight.questions.split_at(at.unwrap_or(0));
    let like = before
        .iter()
        .rev()
        .chain(after)
        .filter(alike)
        .find(|other| !other.is_open() && other.found.value().is_some())
        .map(|other| other.key.part.clone());
    let like = like.ok_or_else(|| {
        let what = wanted.unwrap_or("part of this kind");
        if from.is_empty() {
            words(&format!("no other {what} has answers yet"))
        } else {
            words(&format!("there is no other {what} `{from}` with answers"))
        }
    })?;
    let known: BTreeMap<&str, &Question> = sight
        .questions
        .iter()
        .filter(|other| other.key.part == like)
        .filter_map(|other| Some((field(other)?, other)))
        .collect();
    let mut edits = Vec::new();
    let mut taken = Vec::new();
    let mut left = Vec::new();
    let open = sight.questions.iter().filter(|other| other.key.part == question.key.part);
    for other in open.filter(|other| other.is_open() && other.applies == Applies::Yes) {
        let (Some(name), Some(place)) = (field(other), &other.place) else { continue };
        let Some(found) = known.get(name).map(|known| &known.found) else { continue };
        if OWN.contains(&name) || matches!(other.kind(), Kind::Date | Kind::Markdown) {
            continue;
        }
        let value = match &found.state {
            State::Absent => ABSENT.to_owned(),
            State::Known(value) => value.show(),
            State::NotLooked | State::NotVisible | State::Withheld => continue,
        };
        let of_its_own = matches!(found.how, Some(How::Measured | How::Estimated | How::Computed));
        if of_its_own || found.with.is_some() {
            left.push(name);
            continue;
        }
        let how = found.how.map(|how| how.word().to_owned());
        taken.push(format!("{name} = {value}"));
        edits.push(Edit::Set {
            place: place.clone(),
            answer: Answer { value: Some(value), how, ..Answer::default() },
        });
    }
    if edits.is_empty() {
        return Err(words(&format!("nothing that is open here can be taken over from {like}")));
    }
    let mut said = format!("{} as {like}: {}", count(edits.len(), "answer", "answers"), taken.join(", "));
    if !left.is_empty() {
        said.push_str(&format!("; still to be measured here: {}", list(&left, "and")));
    }
    Ok((edits, said))
}

fn field(question: &Question) -> Option<&'static str> {
    match &question.item.fills {
        Fills::Field { info, .. } => Some(info.name),
        Fills::Adds(_) | Fills::Remark => None,
    }
}
