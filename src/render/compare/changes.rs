//! What changed of the parts of the path, and what that did: one line a part.

use serde::Serialize;

use super::difference::ChangeKind;
use super::fields::Row;
use super::matching::Rows;
use super::{Columns, ElementComparison};
use crate::render::write_up::picture::hottest;
use crate::render::write_up::{ElementView, View};

/// What somebody read of a part tells what it does, not how it is built; its name and what is printed on it are no part
/// of its build either.
const READ: [&str; 14] = [
    "name",
    "mass",
    "drop",
    "drop current",
    "resistance",
    "temperature rise",
    "rise current",
    "rise time",
    "magnetic",
    "finish",
    "marking",
    "video",
    "distance from cells",
    "torque",
];
/// Facts of a part that a line names.
const NAMED: usize = 2;

/// A part of the path that is not built alike in all records. Each list has an entry for each record.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PartChange {
    /// What it is called.
    pub part: String,
    /// How it is built; "not there" where the record has no such part.
    pub built: Vec<String>,
    /// How warm it becomes at rated current, as it was measured, else as it was calculated.
    pub temperature: Vec<String>,
}

/// The parts that changed, in the order of the path; what stands in the place of another part is told with it.
pub(super) fn changes(
    columns: &Columns<'_>,
    views: &[View],
    rows: &Rows,
    elements: &[ElementComparison],
) -> Vec<PartChange> {
    let one = |(row, element): (usize, &ElementComparison)| {
        let other = element.slot;
        if other.is_some_and(|other| other < row) {
            return None;
        }
        let differing: Vec<&Row> = element.found.fields.changed.iter().filter(|row| is_built(row)).collect();
        if element.only_in.is_empty() && differing.is_empty() {
            return None;
        }
        let each: Vec<Option<&ElementView>> = (0..columns.inspections.len())
            .map(|record| {
                let at = |row: usize| rows.rows[row].at[record];
                views[record].path.elements.get(at(row).or_else(|| other.and_then(at))?)
            })
            .collect();
        let built = each.iter().enumerate().map(|(record, part)| match part {
            None => "not there".to_owned(),
            Some(part) if !element.only_in.is_empty() => part.kind.replace('-', " "),
            Some(_) => {
                let facts = differing.iter().take(NAMED).map(|row| fact(row, record));
                facts.collect::<Vec<_>>().join(", ")
            }
        });
        let mut called: Vec<&str> = each.iter().flatten().map(|part| part.called.as_str()).collect();
        called.dedup();
        Some(PartChange {
            part: called.join(" → "),
            built: built.collect(),
            temperature: each
                .iter()
                .map(|part| part.map_or_else(|| "–".to_owned(), |part| hottest(&part.place).0))
                .collect(),
        })
    };
    elements.iter().enumerate().filter_map(one).collect()
}

/// True for a fact of how a part is built that differs.
fn is_built(row: &Row) -> bool {
    !READ.contains(&row.what.as_str()) && matches!(row.kind, ChangeKind::Changed | ChangeKind::AsRecorded)
}

/// A fact in a few words: the value says by itself what a material or a section is.
fn fact(row: &Row, record: usize) -> String {
    let value = row.cells.get(record).map_or("", |cell| cell.text.as_str());
    match row.what.as_str() {
        "material" | "section" | "size" | "bolt" | "rating" | "fuse" => value.to_owned(),
        what => format!("{what} {value}"),
    }
}
