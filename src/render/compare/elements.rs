//! Elements of the current path across records: who stands for whom, and what each carries, drops and heats.

use serde::Serialize;

use super::difference::{ChangeKind, FieldChange, derived, margins};
use super::explain::{Matched, PermissibleCurrent, Rated};
use super::fields::{self, PartComparison, Row, RowCell, Sorted, fingerprint};
use super::matching::{Item, Rows};
use super::{Columns, explain};
use crate::judge::facts::{Answer, Side, element_label};
use crate::judge::inspection::Inspection;
use crate::record::Record;
use crate::record::parts::{Element, ElementKind, Leg};
use crate::units::{Amount, Dimension, show_difference};

/// An element across all records.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct ElementComparison {
    /// What it is called: as in the first record that has it.
    pub label: String,
    /// What it is called in each record; none where the record has no such element.
    pub labels: Vec<Option<String>>,
    /// What the elements were matched by; for one without a partner its role.
    pub matched_by: String,
    /// Names of the inspections that have it, where not all do.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub only_in: Vec<String>,
    /// What stands in its place in the other record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub in_place_of: Option<String>,
    /// The row of that.
    #[serde(skip)]
    pub(crate) slot: Option<usize>,
    /// Whether it is the weakest element known, in each record.
    pub weakest: Vec<bool>,
    /// Temperature after one full discharge at each record's own rated current, and the limit of the place.
    pub temperature: Vec<Row>,
    /// Permissible current.
    pub permissible_current: Row,
    /// Permissible current less each record's own rated continuous current.
    pub margin: Row,
    /// Resistance, drop and heat at each record's own rated continuous current.
    pub losses: Vec<Row>,
    /// What was recorded of it.
    pub found: PartComparison,
}

/// The elements of a record, to be matched.
pub(crate) fn items(record: &Record) -> Vec<Item> {
    let elements = &record.path.element;
    let stack = elements.iter().position(|element| element.kind() == Some(ElementKind::CellStack));
    elements
        .iter()
        .enumerate()
        .map(|(at, element)| {
            let kind = element.kind.word().unwrap_or_default();
            let leg = element.leg.word().unwrap_or_default();
            Item {
                group: format!("{kind}\n{leg}"),
                wider: Some(kind.to_owned()),
                vague: leg.is_empty(),
                id: element.id.text().unwrap_or_default().to_owned(),
                name: element.name.text().unwrap_or_default().to_owned(),
                facts: fingerprint(element, &["id", "kind", "leg", "name"]),
                // Counted from the cells, so that a list in the other direction gives the same places.
                place: Some(stack.map_or(at, |stack| at.abs_diff(stack))),
            }
        })
        .collect()
}

/// Kind and leg in words.
fn role(element: &Element) -> String {
    let kind = element.kind().map_or("element", ElementKind::word);
    match element.leg.known() {
        Some(Leg::Stack) => format!("{kind}, within the stack"),
        Some(leg @ (Leg::Positive | Leg::Negative)) => format!("{kind}, {} leg", leg.word()),
        None => format!("{kind}, leg not recorded"),
    }
}

/// What an element in a row is called.
pub(crate) fn label(columns: &Columns<'_>, rows: &Rows, row: usize) -> String {
    rows.rows
        .get(row)
        .and_then(|row| row.at.iter().enumerate().find_map(|(record, at)| at.map(|at| (record, at))))
        .map_or_else(String::new, |(record, at)| element_label(&columns.inspections[record].record, at))
}

/// Compares all elements.
pub(crate) fn compare(columns: &Columns<'_>, rows: &Rows) -> Vec<ElementComparison> {
    let slots = slots(rows);
    let weakest: Vec<Option<usize>> = columns.inspections.iter().map(weakest).collect();
    (0..rows.rows.len()).map(|row| one(columns, rows, row, &slots, &weakest)).collect()
}

fn one(
    columns: &Columns<'_>,
    rows: &Rows,
    row: usize,
    slots: &[Option<usize>],
    weakest: &[Option<usize>],
) -> ElementComparison {
    let at = &rows.rows[row].at;
    let parts: Vec<Option<&Element>> = at
        .iter()
        .zip(columns.inspections)
        .map(|(at, inspection)| at.and_then(|at| inspection.record.path.element.get(at)))
        .collect();
    let labels: Vec<Option<String>> = at
        .iter()
        .zip(columns.inspections)
        .map(|(at, inspection)| at.map(|at| element_label(&inspection.record, at)))
        .collect();
    let role = parts.iter().flatten().next().map_or_else(String::new, |element| role(element));
    let matched_by = match rows.rows[row].tie {
        Some((tie, vague)) => {
            let vague = if vague { ", leg not recorded in all" } else { "" };
            format!("{role}{vague}, {}", tie.words(" from the cells"))
        }
        None => role,
    };
    let only_in = columns.only_in(at);
    let answers = |name: &'static str| -> Vec<Option<&Answer>> {
        at.iter()
            .zip(columns.inspections)
            .map(|(at, inspection)| at.and_then(|at| inspection.derived.of_element(at, name)))
            .collect()
    };
    let losses = [
        ("resistance", "element.resistance_found"),
        ("drop at own rated current", "element.drop_at_rated"),
        ("heat at own rated current", "element.heat"),
    ];
    let temperature = [
        ("temperature at own rated current", "element.temperature_at_rated"),
        ("measured temperature", "element.measured_temperature"),
        ("highest temperature allowed", "element.temperature_limit"),
    ];
    let permissible_current = answers("element.permissible_current");
    let first = labels.iter().flatten().next().cloned().unwrap_or_default();
    ElementComparison {
        label: first,
        temperature: temperature
            .iter()
            .map(|(what, name)| of_answers(what, &answers(name), columns))
            .collect(),
        weakest: at.iter().zip(weakest).map(|(at, weakest)| at.is_some() && at == weakest).collect(),
        permissible_current: of_answers("permissible current", &permissible_current, columns),
        margin: margin(&permissible_current, columns),
        losses: losses.iter().map(|(what, name)| of_answers(what, &answers(name), columns)).collect(),
        found: PartComparison {
            name: String::new(),
            matched_by: None,
            only_in: only_in.clone(),
            fields: Sorted::of(fields::rows(&parts, columns, &["id", "kind", "leg"], false)),
        },
        slot: slots[row],
        in_place_of: slots[row].map(|other| label(columns, rows, other)),
        labels,
        matched_by,
        only_in,
    }
}

/// A row of derived values; none where the record has no such part.
pub(crate) fn of_answers(what: &str, answers: &[Option<&Answer>], columns: &Columns<'_>) -> Row {
    let cells = answers.iter().map(|answer| match answer {
        None => RowCell::text("–"),
        Some(Err(missing)) => RowCell {
            note: Some(missing.iter().map(|m| m.what.clone()).collect::<Vec<_>>().join("; ")),
            ..RowCell::text("not known")
        },
        Some(Ok(worked)) => {
            let mut cell =
                worked.value.amount().map_or_else(|| RowCell::text(worked.value.show()), RowCell::of_amount);
            match worked.bound.as_ref().map(|bound| bound.side) {
                Some(Side::AtLeast) => cell.text = format!("at least {}", cell.text),
                Some(Side::AtMost) => cell.text = format!("at most {}", cell.text),
                Some(Side::Within) | None => {}
            }
            cell
        }
    });
    let changes = (1..answers.len()).map(|at| {
        let names = columns.names(0, at);
        match (answers[0], answers[at]) {
            (Some(Ok(a)), Some(Ok(b))) => derived(a, b, names),
            (None, None) => FieldChange::plain(ChangeKind::NotCompared, "no such part in either"),
            (None, _) | (_, None) => {
                FieldChange::plain(ChangeKind::OneOnly, fields::only_in(names, answers[0].is_none()))
            }
            (Some(Err(_)), Some(Err(_))) => {
                FieldChange::plain(ChangeKind::NotCompared, "not known in either")
            }
            (Some(Err(_)), _) => {
                FieldChange::plain(ChangeKind::NotCompared, format!("not known in {}", names.first))
            }
            _ => FieldChange::plain(ChangeKind::NotCompared, format!("not known in {}", names.second)),
        }
    });
    Row::new(what, cells.collect(), changes.collect())
}

/// Permissible current less rated continuous current, each by its own record.
fn margin(permissible_current: &[Option<&Answer>], columns: &Columns<'_>) -> Row {
    let known: Vec<Option<(Amount, f64)>> = permissible_current
        .iter()
        .zip(columns.inspections)
        .map(|(answer, inspection)| {
            let amount = answer.and_then(|answer| answer.as_ref().ok())?.value.amount()?;
            let rated = rated(inspection)?;
            let number = amount.number.minus(&rated.number);
            Some((Amount { number, dimension: Dimension::CURRENT }, rated.value()))
        })
        .collect();
    let cells = known.iter().zip(permissible_current).map(|(margin, answer)| match margin {
        None if answer.is_none() => RowCell::text("–"),
        None => RowCell::text("not known"),
        Some((amount, rated)) => {
            let expanded = amount.number.expanded();
            let text = show_difference(amount.value(), expanded, Dimension::CURRENT, Some(*rated));
            RowCell { text, ..RowCell::of_amount(amount) }
        }
    });
    let changes = (1..known.len()).map(|at| match (&known[0], &known[at]) {
        (Some((a, _)), Some((b, _))) => margins(a, b, columns.names(0, at)),
        _ => FieldChange::plain(ChangeKind::NotCompared, "not known in both"),
    });
    Row::new("margin against own rated current", cells.collect(), changes.collect())
}

/// Rated continuous current of a record.
pub(crate) fn rated(inspection: &Inspection) -> Option<Amount> {
    let claim = &inspection.record.claims.continuous_current;
    claim.quantity().map(|quantity| inspection.derived.sources.amount(quantity, claim.found(), 0))
}

/// The weakest element whose permissible current is known.
pub(crate) fn weakest(inspection: &Inspection) -> Option<usize> {
    let permissible_current =
        |at: usize| match inspection.derived.of_element(at, "element.permissible_current") {
            Some(Ok(worked)) => worked.value.amount().map(Amount::value),
            _ => None,
        };
    (0..inspection.record.path.element.len())
        .filter_map(|at| permissible_current(at).map(|value| (at, value)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(at, _)| at)
}

/// For each row without a partner: the row that stands between the same neighbours in another record, if there is one only.
fn slots(rows: &Rows) -> Vec<Option<usize>> {
    use std::collections::HashMap;
    let whole = |row: usize| rows.rows[row].at.iter().all(Option::is_some);
    let mut between: HashMap<[Option<usize>; 2], Vec<(usize, usize)>> = HashMap::new();
    for (record, list) in rows.row_of.iter().enumerate() {
        let mut before = None;
        let mut waiting: Vec<usize> = Vec::new();
        for row in list.iter().copied().map(Some).chain([None]) {
            match row {
                Some(row) if !whole(row) => waiting.push(row),
                end => {
                    let mut key = [before, end];
                    key.sort_unstable();
                    between.entry(key).or_default().extend(waiting.drain(..).map(|row| (record, row)));
                    before = end;
                }
            }
        }
    }
    let mut slots = vec![None; rows.rows.len()];
    for some in between.values() {
        if let [(one, a), (other, b)] = some.as_slice()
            && one != other
            && a != b
        {
            slots[*a] = Some(*b);
            slots[*b] = Some(*a);
        }
    }
    slots
}

/// The answer to why the rating changed between two records.
pub(crate) fn answer(columns: &Columns<'_>, first: usize, second: usize) -> explain::RatingAnswer {
    let pair = [&columns.inspections[first], &columns.inspections[second]];
    let lists = pair.map(|inspection| items(&inspection.record));
    let rows = super::matching::rows(&lists);
    let rated = [first, second].map(|at| {
        let inspection = &columns.inspections[at];
        Rated {
            name: columns.names[at].clone(),
            current: rated(inspection),
            complete: inspection.record.path.complete.yes() == Some(true),
        }
    });
    let matched: Vec<Matched> = rows
        .rows
        .iter()
        .map(|row| {
            let of = |side: usize| match row.at[side] {
                None => PermissibleCurrent::NotThere,
                Some(at) => permissible_current(pair[side], at),
            };
            let name = |side: usize| {
                let element = pair[side].record.path.element.get(row.at[side]?)?;
                element.name.text().map(str::to_owned)
            };
            let label = |side: usize| row.at[side].map(|at| element_label(&pair[side].record, at));
            // Where one of them has no name, that of the other serves both.
            let either = (0..2).find_map(name).or_else(|| (0..2).find_map(label)).unwrap_or_default();
            let labels = [name(0), name(1)].map(|own| own.unwrap_or_else(|| either.clone()));
            Matched { labels, permissible_current: [of(0), of(1)] }
        })
        .collect();
    explain::explain(&rated, &matched)
}

fn permissible_current(inspection: &Inspection, at: usize) -> PermissibleCurrent {
    match inspection.derived.of_element(at, "element.permissible_current") {
        // A bound is not a permissible current: the true one may lie on either side of the rating.
        Some(Ok(worked)) => match (worked.value.amount(), &worked.bound) {
            (Some(amount), None) => PermissibleCurrent::Known(amount.clone()),
            _ => PermissibleCurrent::Unknown,
        },
        _ => PermissibleCurrent::Unknown,
    }
}
