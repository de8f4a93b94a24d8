//! Adding parts to a record: elements of the path in the order of the current, claims, layers, tests, instruments,
//! cell readings.

use super::bench::{FillError, Sight};
use super::photo;
use super::question::{Key, Question};
use crate::checklist::{Adds, Scope};
use crate::record::Record;
use crate::record::edit::{Edit, Pick, Place};
use crate::record::parts::ELEMENT_KINDS;
use crate::words::nearest;

/// Parts that one answer may add.
const MOST_ADDED: usize = 64;

/// What `add` means at a question.
pub(super) fn added(sight: &Sight, at: Option<&Key>, what: &str) -> Result<(Vec<Edit>, String), FillError> {
    let (first, rest) = what.trim().split_once(char::is_whitespace).unwrap_or((what.trim(), ""));
    let record = &sight.record;
    let adds = match first {
        "row" => return rows(record, at.and_then(|key| sight.question(key)), rest),
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
        _ => None,
    };
    if let Some(adds) = adds {
        return parts_to_add(record, adds, None, rest, None);
    }
    let question = at.and_then(|key| sight.question(key));
    let behind = question.and_then(|question| match question.part.as_ref()?.0.last()?.pick {
        Some(Pick::Index(index)) if matches!(question.item.scope, Scope::Elements(_)) => Some(index),
        _ => None,
    });
    let leg = match behind.and_then(|index| record.path.element.get(index)) {
        Some(element) => element.leg.word(),
        None => question.and_then(|question| question.item.leg),
    };
    // The leg may be said: `positive busbar`.
    let said = LEGS.iter().find(|leg| **leg == first).copied();
    let (leg, what, behind) = match said {
        Some(leg) => (Some(leg), rest, behind.filter(|_| leg_is(record, behind, leg))),
        None => (leg.or_else(|| leg_of_section(question)), what, behind),
    };
    let (edits, mut said) = parts_to_add(record, Adds::Elements, leg, what, behind)?;
    if leg.is_none() {
        said.push_str(
            "; in no leg yet, so nothing is asked of it: add it in its leg, or as `add positive busbar`",
        );
    }
    Ok((edits, said))
}

const LEGS: [&str; 3] = ["positive", "negative", "stack"];

fn leg_is(record: &Record, index: Option<usize>, leg: &str) -> bool {
    index
        .and_then(|index| record.path.element.get(index))
        .is_some_and(|element| element.leg.word() == Some(leg))
}

/// Readings taken during a bench test, as rows of it: `15 min, 77 A, branch 1`, several with semicolons between. What a
/// row is of may be left out where the row before says it.
fn rows(record: &Record, question: Option<&Question>, typed: &str) -> Result<(Vec<Edit>, String), FillError> {
    const FORM: &str = "expected time, value and what was read, such as: row 15 min, 77 A, branch 1";
    let words = |text: String| FillError::Words(text);
    let named = typed.split_once(':').and_then(|(id, rest)| {
        let index = record.test.iter().position(|test| test.id.text() == Some(id.trim()))?;
        Some((index, rest))
    });
    let of_question = || {
        let first = question?.part.as_ref()?.0.first()?;
        match first.pick {
            Some(Pick::Index(index)) if first.key == "test" => Some(index),
            _ => None,
        }
    };
    let (index, typed) = match named {
        Some(named) => named,
        None => {
            let only = (record.test.len() == 1).then_some(0);
            let index = of_question().or(only).ok_or_else(|| {
                let ids: Vec<&str> = record.test.iter().filter_map(|test| test.id.text()).collect();
                words(match ids.as_slice() {
                    [] => "there is no bench test yet; for example: add test full load".to_owned(),
                    ids => format!(
                        "say of which test, such as row {}: 15 min, 77 A; there are: {}",
                        ids[0],
                        ids.join(", ")
                    ),
                })
            })?;
            (index, typed)
        }
    };
    let test = record.test.get(index).ok_or_else(|| words(FORM.to_owned()))?;
    let mut of = test.reading.last().and_then(|reading| reading.of.text()).map(str::to_owned);
    let mut edits = Vec::new();
    for row in typed.split(';').map(str::trim).filter(|row| !row.is_empty()) {
        let mut pieces = row.splitn(3, ',').map(str::trim);
        let (Some(at), Some(value)) = (pieces.next(), pieces.next()) else {
            return Err(words(format!("`{row}`: {FORM}")));
        };
        if let Some(own) = pieces.next().filter(|own| !own.is_empty()) {
            of = Some(own.to_owned());
        }
        let of = of.clone().ok_or_else(|| words(format!("`{row}`: {FORM}")))?;
        let fields = vec![
            ("of".to_owned(), of),
            ("at".to_owned(), at.to_owned()),
            ("value".to_owned(), value.to_owned()),
        ];
        edits.push(Edit::Append {
            list: Place::keys("test").at(index).then("reading"),
            at: usize::MAX,
            fields,
        });
        if edits.len() > MOST_ADDED {
            return Err(words(format!("more than {MOST_ADDED} rows at once")));
        }
    }
    if edits.is_empty() {
        return Err(words(FORM.to_owned()));
    }
    let id = test.id.text().unwrap_or("the test");
    let number = crate::words::count(edits.len(), "reading", "readings");
    Ok((edits, format!("{number} of {id} added ({})", of.unwrap_or_default())))
}

fn leg_of_section(question: Option<&Question>) -> Option<&'static str> {
    match question?.section.as_str() {
        "negative-leg" => Some("negative"),
        "positive-leg" => Some("positive"),
        "cells" => Some("stack"),
        _ => None,
    }
}

/// The parts that an answer adds, as edits.
pub(super) fn parts_to_add(
    record: &Record,
    adds: Adds,
    leg: Option<&'static str>,
    typed: &str,
    behind: Option<usize>,
) -> Result<(Vec<Edit>, String), FillError> {
    let separator = if adds == Adds::Statements { ';' } else { ',' };
    let wanted: Vec<&str> = typed.split(separator).map(str::trim).filter(|part| !part.is_empty()).collect();
    if wanted.is_empty() || wanted.len() > MOST_ADDED {
        return Err(FillError::Words(format!("expected 1 to {MOST_ADDED} parts, found {}", wanted.len())));
    }
    let (list, taken): (&str, Vec<&str>) = match adds {
        Adds::Elements => ("path.element", record.path.element.iter().filter_map(|e| e.id.text()).collect()),
        Adds::Statements => {
            ("claims.statement", record.claims.statement.iter().filter_map(|s| s.id.text()).collect())
        }
        Adds::Layers => ("bms.layer", record.bms.layer.iter().filter_map(|l| l.name.text()).collect()),
        Adds::Tests => ("test", record.test.iter().filter_map(|t| t.id.text()).collect()),
        Adds::Instruments => ("instrument", record.instrument.iter().filter_map(|i| i.id.text()).collect()),
    };
    let mut taken: Vec<String> = taken.into_iter().map(str::to_owned).collect();
    let mut edits = Vec::new();
    let mut names = Vec::new();
    for (number, part) in wanted.into_iter().enumerate() {
        let mut own_id = |id: Option<&str>, or: &str| -> Result<String, FillError> {
            let id = match id.map(str::trim).filter(|id| !id.is_empty()) {
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
                let kind = kind_of(part)?;
                let id = part.split_once(char::is_whitespace).map_or("", |(_, id)| id);
                let usual = match leg {
                    Some(leg @ ("positive" | "negative")) => format!("{leg}-{kind}"),
                    _ => kind.to_owned(),
                };
                put("id", own_id(Some(id), &usual)?);
                put("kind", kind.to_owned());
                if let Some(leg) = leg {
                    put("leg", leg.to_owned());
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
            Adds::Tests => {
                let kinds = ["capacity", "full load", "cold charge", "charge"];
                let Some(kind) = kinds.iter().find(|kind| part.starts_with(**kind)) else {
                    return Err(FillError::Words(format!(
                        "`{part}` is no kind of test; expected one of: {}",
                        kinds.join(", ")
                    )));
                };
                put("id", own_id(part.get(kind.len()..), &photo::slug(kind))?);
                put("kind", (*kind).to_owned());
            }
            Adds::Instruments => put("id", own_id(Some(&photo::slug(part)), "instrument")?),
        }
        names.push(fields.first().map(|(_, name)| name.clone()).unwrap_or_default());
        edits.push(Edit::Append { list: Place::keys(list), at, fields });
    }
    Ok((edits, format!("added: {}", names.join(", "))))
}

/// The kind of element a text begins with.
fn kind_of(part: &str) -> Result<&'static str, FillError> {
    let known = ELEMENT_KINDS.iter().map(|word| word.word);
    let first = part.split_whitespace().next().unwrap_or_default();
    // The beginning of a kind is enough, when only one begins so.
    let begins = || {
        let mut all = known.clone().filter(|kind| kind.starts_with(first));
        all.next().filter(|_| all.next().is_none() && !first.is_empty())
    };
    known.clone().find(|kind| *kind == first).or_else(begins).ok_or_else(|| {
        let hint = nearest(first, known.clone())
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

/// Where the elements of a leg end: the path runs negative leg, stack, positive leg.
fn end_of_leg(record: &Record, leg: Option<&str>) -> usize {
    let rank = |leg: Option<&str>| match leg {
        Some("negative") => 0,
        Some("stack") => 1,
        _ => 2,
    };
    let own = rank(leg);
    let elements = &record.path.element;
    elements.iter().rposition(|element| rank(element.leg.word()) <= own).map_or(0, |index| index + 1)
}
