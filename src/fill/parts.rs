//! Adding parts to a record: elements of the path in the order of the current and of the rig, claims, layers, tests,
//! instruments, loads, cell readings. What is written whole in one line is in `lines`.

use super::lines::{MOST_ADDED, Wanted};
use super::question::{Key, Question};
use super::sight::{FillError, Sight};
use super::subject::{Of, list_of, text_of};
use super::{lines, photo};
use crate::fill::checklist::{Adds, Scope};
use crate::record::Record;
use crate::record::edit::{Edit, Entered, Pick, Place};
use crate::record::parts::{ElementKind, Leg};
use crate::units::words::nearest;

/// What `add` means at a question.
pub(super) fn added(sight: &Sight, at: Option<&Key>, what: &str) -> Result<(Vec<Edit>, String), FillError> {
    let (first, rest) = what.trim().split_once(char::is_whitespace).unwrap_or((what.trim(), ""));
    let record = &sight.record;
    let adds = match first {
        "row" => return lines::rows(record, at.and_then(|key| sight.question(key)), rest),
        "reading" => {
            let wanted = rest.trim().trim_start_matches("cell").trim().parse::<u32>();
            let next = record.cells.reading.iter().filter_map(|r| r.position.count()).max().unwrap_or(0) + 1;
            let position = if rest.trim().is_empty() {
                next
            } else {
                wanted.map_err(|_| {
                    FillError::Words("expected the cell's position, such as: add reading 3".to_owned())
                })?
            };
            if record.cells.reading.iter().any(|r| r.position.count() == Some(position)) {
                return Err(FillError::Words(format!("cell {position} has a reading already")));
            }
            let list = Place::keys("cells.reading");
            let fields = vec![("position".to_owned(), position.to_string())];
            let at = record.cells.reading.len();
            return Ok((
                vec![Edit::Append { list, at, fields }],
                format!("reading of cell {position} added"),
            ));
        }
        "claim" | "statement" => Some(Adds::Statements),
        "layer" => Some(Adds::Layers),
        "test" => Some(Adds::Tests),
        "instrument" => Some(Adds::Instruments),
        "load" => Some(Adds::Loads),
        "meter" => Some(Adds::Meters),
        "area" => Some(Adds::Areas),
        _ => None,
    };
    if let Some(adds) = adds {
        return parts_to_add(record, &Wanted::plain(adds), rest);
    }
    let question = at.and_then(|key| sight.question(key));
    if let Some(wanted) = lines::of_test(record, question, first)? {
        return parts_to_add(record, &wanted, rest);
    }
    if let Some(wanted) = lines::of_rig(question, first) {
        return parts_to_add(record, &wanted, if first == "rig" { rest } else { what });
    }
    let behind = question.and_then(|question| match question.part.as_ref()?.0.last()?.pick {
        Some(Pick::Index(index)) if matches!(question.item.scope, Scope::Elements(_)) => Some(index),
        _ => None,
    });
    let leg = match behind.and_then(|index| record.path.element.get(index)) {
        Some(element) => element.leg.known(),
        None => question.and_then(|question| question.item.leg),
    };
    // The leg may be said: `positive busbar`.
    let said = Leg::from_word(first);
    let (leg, what, behind) = match said {
        Some(leg) => (Some(leg), rest, behind.filter(|_| leg_is(record, behind, leg))),
        None => (leg.or_else(|| leg_of_section(question)), what, behind),
    };
    let wanted = Wanted { adds: Adds::Elements, leg, of: Of::Pack, behind };
    let (edits, mut said) = parts_to_add(record, &wanted, what)?;
    if leg.is_none() {
        said.push_str(
            "; in no leg yet, so nothing is asked of it: add it in its leg, or as `add positive busbar`",
        );
    }
    Ok((edits, said))
}

/// What becomes of an element of the path.
pub(super) enum Change<'a> {
    /// It is called so.
    Rename(&'a str),
    /// It stands behind the one with this id; before all of its leg where that is empty.
    Move(&'a str),
    /// It is taken out; its id is named again, so that nothing goes by a slip.
    Remove(&'a str),
}

/// Edits that rename, move or take out the element that a question is of.
pub(super) fn changed(
    sight: &Sight,
    key: &Key,
    change: &Change<'_>,
) -> Result<(Vec<Edit>, String), FillError> {
    let elements = &sight.record.path.element;
    let words = |text: String| FillError::Words(text);
    let index = match sight.question(key).map(|question| question.of_what) {
        Some(Of::Element(index)) if index < elements.len() => index,
        _ => {
            return Err(words("only parts of the current path can be renamed, moved and removed: go to one first, such as `go bar-1`".to_owned()));
        }
    };
    let list = Place::keys("path.element");
    let id = elements[index].id.text().unwrap_or_default();
    let known = |id: &str| elements.iter().position(|element| element.id.text() == Some(id));
    match *change {
        Change::Rename(new) if known(new).is_some() => Err(words(format!("there is a `{new}` already"))),
        Change::Rename(new) => {
            let set = |place: Place, value: String| Edit::Set { place, answer: Entered::of(&value) };
            let mut edits = vec![set(list.at(index).then("id"), new.to_owned())];
            // What names it goes on naming it.
            for (at, photo) in sight.record.photo.iter().enumerate() {
                if photo.shows.list().iter().any(|shown| shown == id) {
                    let shows = photo.shows.list().iter().map(|shown| if shown == id { new } else { shown });
                    let shows = shows.collect::<Vec<_>>().join(", ");
                    edits.push(set(Place::keys("photo").at(at).then("shows"), shows));
                }
            }
            for (at, test) in sight.record.test.iter().enumerate() {
                for (sensor, _) in
                    test.sensor.iter().enumerate().filter(|(_, sensor)| sensor.part.text() == Some(id))
                {
                    let place = Place::keys("test").at(at).then("sensor").at(sensor).then("part");
                    edits.push(set(place, new.to_owned()));
                }
            }
            Ok((edits, format!("{id} is called {new} now")))
        }
        Change::Move(behind) => {
            let leg = elements[index].leg.known();
            let to = match known(behind) {
                Some(other) if other == index => return Err(words("it stands there".to_owned())),
                Some(other) => {
                    if other > index {
                        other
                    } else {
                        other + 1
                    }
                }
                None if behind.is_empty() => {
                    elements.iter().position(|element| element.leg.known() == leg).unwrap_or(0)
                }
                None => {
                    let near = nearest(behind, elements.iter().filter_map(|e| e.id.text()));
                    let near = near.map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
                    return Err(words(format!("there is no element `{behind}`{near}")));
                }
            };
            let said = if behind.is_empty() {
                "is the first of its leg".to_owned()
            } else {
                format!("stands behind {behind}")
            };
            Ok((vec![Edit::Move { list, from: index, to: Some(to) }], format!("{id} {said} now")))
        }
        Change::Remove(named) if named != id => {
            Err(words(format!("this is `{id}`; `remove {id}` takes it out of the record, with its answers")))
        }
        Change::Remove(_) => Ok((vec![Edit::Move { list, from: index, to: None }], format!("{id} removed"))),
    }
}

fn leg_is(record: &Record, index: Option<usize>, leg: Leg) -> bool {
    index
        .and_then(|index| record.path.element.get(index))
        .is_some_and(|element| element.leg.known() == Some(leg))
}

fn leg_of_section(question: Option<&Question>) -> Option<Leg> {
    match question?.section.as_str() {
        "negative-leg" => Some(Leg::Negative),
        "positive-leg" => Some(Leg::Positive),
        "cells" | "links" => Some(Leg::Stack),
        _ => None,
    }
}

/// The parts that an answer adds, as edits.
pub(super) fn parts_to_add(
    record: &Record,
    wanted: &Wanted,
    typed: &str,
) -> Result<(Vec<Edit>, String), FillError> {
    let Wanted { adds, leg, of, behind } = *wanted;
    // A comma may be part of a claim, and of a name where semicolons stand between.
    let separator = if adds == Adds::Statements || typed.contains(';') { ';' } else { ',' };
    let parts = typed.split(separator).map(str::trim).filter(|part| !part.is_empty());
    let several = matches!(adds, Adds::Elements | Adds::RigElements);
    let parts: Vec<&str> = parts
        .flat_map(|part| match part.split_once(' ').filter(|_| several) {
            // `3 busbar link`: as many of them, numbered.
            Some((number, part)) if number.parse::<usize>().is_ok_and(|n| (1..=MOST_ADDED).contains(&n)) => {
                vec![part.trim(); number.parse().unwrap_or(1)]
            }
            _ => vec![part],
        })
        .collect();
    let repeated = |part: &str| parts.iter().filter(|other| **other == part).count() > 1;
    let repeated: Vec<bool> = parts.iter().map(|part| several && repeated(part)).collect();
    if parts.is_empty() || parts.len() > MOST_ADDED {
        return Err(FillError::Words(format!("expected 1 to {MOST_ADDED} parts, found {}", parts.len())));
    }
    let mut taken = taken(record, adds);
    let list = list_of(adds, of);
    let mut edits = Vec::new();
    let mut names = Vec::new();
    for (number, part) in parts.into_iter().enumerate() {
        let mut own_id = |id: Option<&str>, or: &str| -> Result<String, FillError> {
            let id = match id.map(str::trim).filter(|id| !id.is_empty()) {
                Some(id) if repeated.get(number) == Some(&true) => numbered(id, &taken),
                Some(id) if taken.iter().any(|t| t == id) => {
                    return Err(FillError::Words(format!("there is a `{id}` already")));
                }
                Some(id) => id.to_owned(),
                None => free(or, &taken),
            };
            taken.push(id.clone());
            Ok(id)
        };
        let mut at = usize::MAX;
        let mut fields = Vec::new();
        let mut put = |key: &str, value: String| fields.push((key.to_owned(), value));
        match adds {
            Adds::Elements => {
                let kind = kind_of(part)?.word();
                let id = part.split_once(char::is_whitespace).map_or("", |(_, id)| id);
                let usual = match leg {
                    Some(leg @ (Leg::Positive | Leg::Negative)) => format!("{}-{kind}", leg.word()),
                    Some(Leg::Stack) | None => kind.to_owned(),
                };
                put("id", own_id(Some(id), &usual)?);
                put("kind", kind.to_owned());
                if let Some(leg) = leg {
                    put("leg", leg.word().to_owned());
                }
                at = behind.map_or_else(|| end_of_leg(record, leg), |index| index + 1) + number;
            }
            Adds::Statements => {
                let (id, text) = match part.split_once('=') {
                    Some((id, text)) if !id.trim().contains(' ') => (Some(id), text.trim()),
                    _ => (None, part),
                };
                put("id", own_id(id, &photo::slug(text))?);
                put("text", text.to_owned());
            }
            Adds::Layers => put("name", own_id(Some(part), "layer")?),
            Adds::Tests | Adds::Loads => {
                let what = if adds == Adds::Tests { "test" } else { "load" };
                let (kind, id) = kind_and_id(part, what)?;
                put("id", own_id(Some(id), &photo::slug(kind))?);
                put("kind", kind.to_owned());
            }
            Adds::RigElements => {
                let kind = kind_of(part)?.word();
                let id = part.split_once(char::is_whitespace).map_or("", |(_, id)| id);
                let load = match of {
                    Of::Load(load) => record.rig.load.get(load).and_then(|load| load.id.text()),
                    _ => None,
                };
                put("id", own_id(Some(id), &format!("{}-{kind}", load.unwrap_or("rig")))?);
                put("kind", kind.to_owned());
                at = behind.map_or(at, |index| index + 1 + number);
            }
            Adds::Meters | Adds::Branches | Adds::Sensors | Adds::Areas => {
                fields = lines::fields(record, adds, part)?;
            }
            Adds::Instruments => put("id", own_id(Some(&photo::slug(part)), "instrument")?),
        }
        names.push(match adds {
            Adds::Meters | Adds::Branches | Adds::Sensors | Adds::Areas => lines::said(&fields),
            _ => fields.first().map(|(_, name)| name.clone()).unwrap_or_default(),
        });
        edits.push(Edit::Append { list: list.clone(), at, fields });
    }
    Ok((edits, format!("added: {}", names.join(", "))))
}

/// Ids that are given already.
fn taken(record: &Record, adds: Adds) -> Vec<String> {
    let mut parts = list_of(adds, Of::Pack).parts(record);
    if adds == Adds::RigElements {
        parts.extend(Place::keys("rig.load.element").parts(record));
    }
    let key = if adds == Adds::Layers { "name" } else { "id" };
    parts.into_iter().filter_map(|part| text_of(part, key)).map(str::to_owned).collect()
}

/// The kind of test or load that a text begins with, and the id behind it. Where the first word is the beginning of one
/// kind alone, it is enough.
fn kind_and_id<'a>(part: &'a str, what: &str) -> Result<(&'static str, &'a str), FillError> {
    let kinds = lines::words_of(&format!("{what}.kind"));
    let first = part.split_whitespace().next().unwrap_or_default();
    let begins: Vec<&'static str> = kinds.iter().copied().filter(|kind| kind.starts_with(first)).collect();
    let whole = kinds.iter().find_map(|kind| Some((*kind, part.strip_prefix(kind)?)));
    let whole = whole.filter(|(_, id)| id.is_empty() || id.starts_with(char::is_whitespace));
    match (whole, begins.as_slice()) {
        (Some(whole), _) => Ok(whole),
        (None, [kind]) if !first.is_empty() => Ok((kind, part.get(first.len()..).unwrap_or_default())),
        _ => Err(FillError::Words(format!(
            "`{part}` is no kind of {what}; expected one of: {}",
            kinds.join(", ")
        ))),
    }
}

/// The kind of element a text begins with.
fn kind_of(part: &str) -> Result<ElementKind, FillError> {
    let known = ElementKind::ALL.into_iter().map(ElementKind::word);
    let first = part.split_whitespace().next().unwrap_or_default();
    // The beginning of a kind is enough, when only one begins so.
    let begins = || {
        let mut all = known.clone().filter(|kind| kind.starts_with(first));
        all.next().filter(|_| all.next().is_none() && !first.is_empty())
    };
    ElementKind::from_word(first).or_else(|| begins().and_then(ElementKind::from_word)).ok_or_else(|| {
        // `bar` is part of `busbar`, and too short to be near to it.
        let within = || known.clone().find(|kind| first.len() > 2 && kind.contains(first));
        let hint = nearest(first, known.clone())
            .or_else(within)
            .map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        let known: Vec<&str> = known.collect();
        FillError::Words(format!("`{first}` is no kind of element{hint}\nkinds: {}", known.join(", ")))
    })
}

fn free(wanted: &str, taken: &[String]) -> String {
    let mut number = 1;
    let mut id = wanted.to_owned();
    while taken.contains(&id) {
        number += 1;
        id = format!("{wanted}-{number}");
    }
    id
}

/// The first of `link-1`, `link-2`, … that is free.
fn numbered(id: &str, taken: &[String]) -> String {
    (1_usize..).map(|number| format!("{id}-{number}")).find(|id| !taken.contains(id)).unwrap_or_default()
}

/// Where the elements of a leg end: the path runs negative leg, stack, positive leg.
fn end_of_leg(record: &Record, leg: Option<Leg>) -> usize {
    let rank = |leg: Option<Leg>| match leg {
        Some(Leg::Negative) => 0,
        Some(Leg::Stack) => 1,
        Some(Leg::Positive) | None => 2,
    };
    let own = rank(leg);
    let elements = &record.path.element;
    elements.iter().rposition(|element| rank(element.leg.known()) <= own).map_or(0, |index| index + 1)
}
