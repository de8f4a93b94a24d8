//! Part by part over the whole record: the fields of each part walked by its schema, none named here.

use serde::Serialize;

use super::Columns;
use super::difference::{ChangeKind, FieldChange, Names, Sourced, fields};
use crate::record::field::{Found, Value};
use crate::record::{Part, State};
use crate::units::Amount;

/// What one record says.
#[derive(Debug, Clone, Default, PartialEq, Serialize, schemars::JsonSchema)]
pub struct RowCell {
    /// As a person would read it; "not recorded", "absent", "could not see".
    pub text: String,
    /// How it came, and the instrument.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
    /// A remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The value in SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub si: Option<f64>,
    /// Its expanded uncertainty (k = 2), SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expanded_si: Option<f64>,
}

impl RowCell {
    pub(crate) fn of_amount(amount: &Amount) -> Self {
        Self {
            text: amount.show(),
            si: Some(amount.value()),
            expanded_si: Some(amount.number.expanded()).filter(|expanded| *expanded > 0.0),
            ..Self::default()
        }
    }

    pub(crate) fn text(text: impl Into<String>) -> Self {
        Self { text: text.into(), ..Self::default() }
    }
}

/// One thing across all records.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Row {
    /// What it is.
    pub what: String,
    /// What each record says, in the order of the inspections.
    pub cells: Vec<RowCell>,
    /// Each further record against the first.
    pub changes: Vec<FieldChange>,
    /// The gravest of the changes.
    pub kind: ChangeKind,
}

impl Row {
    pub(crate) fn new(what: impl Into<String>, cells: Vec<RowCell>, changes: Vec<FieldChange>) -> Self {
        let kind = changes.iter().map(|change| change.kind).max().unwrap_or(ChangeKind::Same);
        Self { what: what.into(), cells, changes, kind }
    }
}

/// The rows of a part, sorted by what is said of them.
#[derive(Debug, Clone, Default, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Sorted {
    /// Changed, or differing as recorded.
    pub changed: Vec<Row>,
    /// Recorded in some of the records only.
    pub one_only: Vec<Row>,
    /// Could not be seen, or known only as a bound.
    pub not_compared: Vec<Row>,
    /// Differences within the uncertainty.
    pub within: Vec<Row>,
    /// The same.
    pub same: Vec<Row>,
}

impl Sorted {
    pub(crate) fn of(rows: Vec<Row>) -> Self {
        let mut sorted = Self::default();
        for row in rows {
            match row.kind {
                ChangeKind::Changed | ChangeKind::AsRecorded => sorted.changed.push(row),
                ChangeKind::OneOnly => sorted.one_only.push(row),
                ChangeKind::NotCompared => sorted.not_compared.push(row),
                ChangeKind::NoDifferenceShown => sorted.within.push(row),
                ChangeKind::Same => sorted.same.push(row),
            }
        }
        sorted
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.lists().iter().all(|rows| rows.is_empty())
    }

    /// The lists, what matters most first.
    pub(crate) fn lists(&self) -> [&[Row]; 5] {
        [&self.changed, &self.one_only, &self.not_compared, &self.within, &self.same]
    }
}

/// A part across all records.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PartComparison {
    /// Its name.
    pub name: String,
    /// What it was matched by, where there are several of its kind.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub matched_by: Option<String>,
    /// Names of the inspections that have it, where not all do.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub only_in: Vec<String>,
    /// Its fields.
    pub fields: Sorted,
}

/// The rows of a part that each record may have.
pub(crate) fn rows<P: Part>(
    parts: &[Option<&P>],
    columns: &Columns<'_>,
    without: &[&str],
    claim: bool,
) -> Vec<Row> {
    let nothing = Found::default();
    let mut rows = Vec::new();
    for field in P::SHAPE.fields.iter().filter(|field| !without.contains(&field.name)) {
        let found: Vec<Option<&Found>> =
            parts.iter().map(|part| part.map(|part| part.found(field.name).unwrap_or(&nothing))).collect();
        if found.iter().flatten().all(|found| found.state == State::NotLooked) {
            continue;
        }
        let sourced =
            |at: usize, found| Sourced { found, sources: &columns.inspections[at].derived.sources, claim };
        let cells = found.iter().enumerate().map(|(at, found)| match found {
            None => RowCell::text("–"),
            Some(found) => cell(sourced(at, found)),
        });
        let changes = (1..found.len()).map(|at| {
            let names = columns.names(0, at);
            match (found[0], found[at]) {
                (Some(a), Some(b)) => fields(sourced(0, a), sourced(at, b), names, field),
                (None, None) => FieldChange::plain(ChangeKind::NotCompared, "no such part in either"),
                (a, _) => FieldChange::plain(ChangeKind::OneOnly, only_in(names, a.is_none())),
            }
        });
        rows.push(Row::new(crate::units::words::of_fact(field.name), cells.collect(), changes.collect()));
    }
    rows.extend(remark(parts, columns));
    rows
}

pub(crate) fn only_in(names: Names<'_>, second: bool) -> String {
    format!("only in {}", if second { names.second } else { names.first })
}

/// The inspector's remark on the part.
fn remark<P: Part>(parts: &[Option<&P>], columns: &Columns<'_>) -> Option<Row> {
    let notes: Vec<Option<&str>> =
        parts.iter().map(|part| part.and_then(|part| part.own().note.as_deref())).collect();
    notes.iter().flatten().next()?;
    let cells = notes.iter().map(|note| RowCell::text(note.unwrap_or("not recorded")));
    let changes = (1..notes.len()).map(|at| {
        let names = columns.names(0, at);
        match (notes[0], notes[at]) {
            (Some(a), Some(b)) if a.trim() == b.trim() => FieldChange::plain(ChangeKind::Same, "the same"),
            (Some(_), Some(_)) => FieldChange::plain(ChangeKind::Changed, "differs"),
            (None, None) => FieldChange::plain(ChangeKind::NotCompared, "not recorded in either"),
            (None, _) => FieldChange::plain(ChangeKind::OneOnly, format!("not recorded in {}", names.first)),
            (_, None) => FieldChange::plain(ChangeKind::OneOnly, format!("not recorded in {}", names.second)),
        }
    });
    Some(Row::new("remark", cells.collect(), changes.collect()))
}

fn cell(sourced: Sourced<'_>) -> RowCell {
    let found = sourced.found;
    let amount = match found.value() {
        Some(Value::Quantity(quantity)) => Some(sourced.sources.amount(quantity, found, 0)),
        _ => None,
    };
    RowCell {
        text: found.show(),
        how: found.how.map(|how| match &found.with {
            Some(with) => format!("{}, {with}", how.word()),
            None => how.word().to_owned(),
        }),
        note: found.note.clone(),
        si: amount.as_ref().map(Amount::value),
        expanded_si: amount.map(|a| a.number.expanded()).filter(|expanded| *expanded > 0.0),
    }
}

/// Everything recorded of a part as one text, to tell twins from others.
pub(crate) fn fingerprint<P: Part>(part: &P, without: &[&str]) -> String {
    let mut text = String::new();
    for field in P::SHAPE.fields.iter().filter(|field| !without.contains(&field.name)) {
        if let Some(found) = part.found(field.name).filter(|found| found.state != State::NotLooked) {
            text.push_str(field.name);
            text.push('=');
            text.push_str(&found.show());
            text.push('\n');
        }
    }
    text
}
