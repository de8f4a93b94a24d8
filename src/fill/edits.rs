//! From an answer to edits of the record, and how an answer is named when it is confirmed.

use super::question::Question;
use super::sight::FillError;
use crate::fill::checklist::{Fills, Scope};
use crate::record::edit::{Edit, Entered, Pick, Place, PlaceStep};
use crate::record::{self, How};
use crate::units::words::hint;

/// What was answered, as a person would name it: `main-fuse: rating`, `claims.capacity`.
pub(super) fn named(question: &Question) -> String {
    let field = question.place.as_ref().and_then(|place| place.0.last()).map(|step| step.key.as_str());
    match (&question.place, field) {
        (_, Some(field)) if !question.key.part.is_empty() => format!("{}: {field}", part_named(question)),
        (Some(place), _) => place.to_string(),
        (None, _) => question.key.to_string(),
    }
}

/// A part by its id, or by its kind and number where it has none.
pub(super) fn part_named(question: &Question) -> &str {
    let Question { key, of, .. } = question;
    let numbered = key.part.starts_with('#') || key.part.chars().all(|c| c.is_ascii_digit());
    if numbered || key.part.is_empty() { of } else { &key.part }
}

/// True when the record already says what an answer says: an answer that was sent twice.
pub(super) fn says_the_same(question: &Question, answer: &Entered) -> bool {
    let Fills::Field { info, .. } = &question.item.fills else {
        return answer.value.as_deref() == Some(question.found.show().as_str());
    };
    let same_value = answer.value.as_ref().is_none_or(|value| {
        record::read_answer(info, value).is_ok_and(|state| state == question.found.state)
    });
    let same = |new: &Option<String>, old: Option<&str>| {
        new.as_deref().is_none_or(|new| new == old.unwrap_or_default())
    };
    same_value
        && answer.confirmed == question.found.confirmed
        && same(&answer.note, question.found.note.as_deref())
        && same(&answer.with, question.found.with.as_deref())
        && same(&answer.how, question.found.how.map(How::word))
}

/// What the item says of how a value comes, unless the answer says it; only what is known came somehow.
pub(super) fn with_what_the_item_says(answer: &mut Entered, question: &Question) -> Result<(), FillError> {
    if let Some(how) = answer.how.as_deref().filter(|how| !how.is_empty())
        && How::from_word(how).is_none()
    {
        let hint = hint(how, How::ALL.into_iter().map(How::word));
        return Err(FillError::Words(format!("`{how}` is no way a value comes{hint}")));
    }
    let known = !matches!(
        answer.value.as_deref().map(str::trim),
        None | Some(record::field::ABSENT | record::field::NOT_VISIBLE)
    );
    let says = answer.how.is_some() || answer.with.is_some() || question.found.how.is_some();
    if known
        && !says
        && let Some(how) = question.item.how
    {
        answer.how = Some(how.word().to_owned());
    }
    Ok(())
}

pub(super) fn edits_for(question: &Question, answer: &Entered) -> Vec<Edit> {
    if let Some(place) = &question.place {
        return vec![Edit::Set { place: place.clone(), answer: answer.clone() }];
    }
    match (&question.item.fills, &question.item.scope) {
        (Fills::Field { info, .. }, Scope::Readings) => {
            let list = Place::keys("cells.reading");
            let position = ("position".to_owned(), question.key.part.clone());
            let place = Place(vec![
                PlaceStep { key: "cells".to_owned(), pick: None },
                PlaceStep {
                    key: "reading".to_owned(),
                    pick: Some(Pick::Where { key: "position".to_owned(), is: question.key.part.clone() }),
                },
            ]);
            vec![
                Edit::Append { list, at: usize::MAX, fields: vec![position] },
                Edit::Set { place: place.then(info.name), answer: answer.clone() },
            ]
        }
        _ => {
            let mut fields = vec![("id".to_owned(), question.item.id.clone())];
            fields.extend(answer.value.clone().map(|value| ("answer".to_owned(), value)));
            fields.extend(answer.note.clone().map(|note| ("note".to_owned(), note)));
            if !answer.photos.is_empty() {
                fields.push(("photos".to_owned(), answer.photos.join(", ")));
            }
            vec![Edit::Append { list: Place::keys("item"), at: usize::MAX, fields }]
        }
    }
}
