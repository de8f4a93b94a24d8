//! A part that is like another one: its open questions are answered as that one's were.
//!
//! Packs repeat themselves: two joints of one make, two bars of one metal. What was seen or read off is taken over when
//! somebody says `same`. What was measured, estimated or computed is never taken over, because a measurement of one part
//! is none of another, nor are names, dates and what could not be seen.

use std::collections::BTreeMap;

use super::question::{Applies, Key, Question};
use super::sight::{FillError, Sight};
use crate::fill::checklist::{Fills, Scope};
use crate::record::edit::{Edit, Entered};
use crate::record::field::ABSENT;
use crate::record::parts::ElementKind;
use crate::record::{How, Kind, State};
use crate::units::words::{count, list};

/// Fields that belong to one part alone.
const OWN: [&str; 7] = ["name", "code", "serial", "file", "caption", "log", "logs"];

/// The edits that answer what is open of a part as it is answered of another one of its kind.
pub(super) fn same(sight: &Sight, key: &Key, from: &str) -> Result<(Vec<Edit>, String), FillError> {
    let words = |text: &str| FillError::Words(text.to_owned());
    let at = sight.questions.iter().position(|question| question.key == *key);
    let question = at.and_then(|at| sight.questions.get(at));
    let question = question.filter(|question| !question.key.part.is_empty() && question.part.is_some());
    let question =
        question.ok_or_else(|| words("`same` is for a part that is like another one of its kind"))?;
    let of_parts = matches!(question.item.scope, Scope::Layers | Scope::Tests | Scope::Instruments);
    if !of_parts && !of_element(question) {
        return Err(words("`same` is for elements, layers, tests and instruments"));
    }
    let like = like(sight, question, from);
    let like = like.ok_or_else(|| {
        let what = kind(sight, question).map_or("part of this kind", ElementKind::word);
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
            answer: Entered { value: Some(value), how, ..Entered::default() },
        });
    }
    if edits.is_empty() {
        return Ok((edits, format!("nothing more that is open here can be taken over from {like}")));
    }
    let mut said = format!("{} as {like}: {}", count(edits.len(), "answer", "answers"), taken.join(", "));
    if !left.is_empty() {
        said.push_str(&format!("; still to be measured here: {}", list(&left, "and")));
    }
    Ok((edits, said))
}

/// The edits that answer what is open of every other part of the kind and section of a question as it is answered here; as
/// the one before is answered, where nothing is answered here yet.
pub(super) fn alike(sight: &Sight, key: &Key) -> Result<(Vec<Edit>, String), FillError> {
    let question = sight.question(key).filter(|question| of_element(question));
    let question = question.ok_or_else(|| FillError::Words("`alike` is for elements".to_owned()))?;
    let wanted = kind(sight, question);
    let answered = |other: &&Question| other.key.part == key.part && !other.is_open();
    let from = match like(sight, question, "") {
        Some(like) if sight.questions.iter().find(answered).is_none() => like,
        _ => key.part.clone(),
    };
    let mut others: Vec<&Question> = sight
        .questions
        .iter()
        .filter(|other| of_element(other) && other.section == question.section)
        .filter(|other| other.key.part != from && kind(sight, other) == wanted)
        .collect();
    others.dedup_by_key(|other| &other.key.part);
    let (mut edits, mut parts) = (Vec::new(), Vec::new());
    for other in others {
        let (more, _) = same(sight, &other.key, &from)?;
        if !more.is_empty() && !parts.contains(&other.key.part) {
            parts.push(other.key.part.clone());
            edits.extend(more);
        }
    }
    let answers = count(edits.len(), "answer", "answers");
    Ok((edits, format!("{answers} as {from}: {}", list(&parts, "and"))))
}

/// True when a question is asked of an element of the pack or the rig.
fn of_element(question: &Question) -> bool {
    matches!(question.item.scope, Scope::Elements(_) | Scope::RigElements(_))
}

/// The kind of element a question is about.
fn kind(sight: &Sight, question: &Question) -> Option<ElementKind> {
    question.of_what.element(&sight.record)?.kind()
}

/// The part of the same kind that has answers, by its id: the nearest one before, or the one that is named.
pub(super) fn like(sight: &Sight, question: &Question, from: &str) -> Option<String> {
    let wanted = kind(sight, question);
    let alike = |other: &&Question| {
        let list = |question: &Question| question.part.as_ref()?.0.first().map(|step| step.key.clone());
        other.key.part != question.key.part
            && list(other) == list(question)
            && other.part.as_ref().map(|part| part.0.len()) == question.part.as_ref().map(|part| part.0.len())
            && kind(sight, other) == wanted
            && (from.is_empty() || other.key.part == from)
    };
    // The one before is the nearest above that has an answer; the first ones look below.
    let at = sight.questions.iter().position(|other| other.key == question.key);
    let (before, after) = sight.questions.split_at(at.unwrap_or(0));
    before
        .iter()
        .rev()
        .chain(after)
        .filter(alike)
        .find(|other| !other.is_open() && other.found.value().is_some())
        .map(|other| other.key.part.clone())
}

/// Parts that may be answered as the one before of their kind was, with that one's id.
#[cfg(feature = "page")]
pub(super) fn likes(sight: &Sight) -> BTreeMap<String, String> {
    let mut likes = BTreeMap::new();
    let mut seen = std::collections::BTreeSet::new();
    for question in &sight.questions {
        if of_element(question)
            && seen.insert(&question.key.part)
            && let Some(like) = like(sight, question, "")
            && same(sight, &question.key, &like).is_ok_and(|(edits, _)| edits.len() > 1)
        {
            likes.insert(question.key.part.clone(), like);
        }
    }
    likes
}

fn field(question: &Question) -> Option<&'static str> {
    match &question.item.fills {
        Fills::Field { info, .. } => Some(info.name),
        Fills::Adds(_) | Fills::Remark => None,
    }
}
