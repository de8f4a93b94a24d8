//! What falls short across records, by cause: found newly, in all, no longer; and why it is no longer found.
//!
//! A cause that is gone because its part is gone is no improvement, and stands apart from one whose rule is met now.

use serde::Serialize;

use super::Columns;
use super::Matches;
use super::findings::{ByPlace, Place, place};
use crate::judge::rules::{Cause, Grade, Outcome};
use crate::render::write_up::{View, in_plain_names};

/// A cause across all records.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct CauseComparison {
    /// Its id in the book, or that of its only rule.
    pub id: String,
    /// What is said of the pack, in a line.
    pub statement: String,
    /// The gravest grade that it has in a record.
    pub grade: Grade,
    /// What became of it in each record.
    pub states: Vec<CauseState>,
}

/// A cause in one record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct CauseState {
    /// "falls short", "meets", "not decided", "the part is gone", "no such part" or "not applied".
    pub word: &'static str,
    /// A shape for it.
    pub shape: &'static str,
    /// Where and what was found, what is missing, or why it was not applied.
    pub said: String,
}

impl CauseState {
    /// Whether it falls short here.
    pub(super) fn is_found(&self) -> bool {
        self.word == Outcome::FallsShort.words()
    }
}

/// The causes of all records, gravest first; customs of the trade are opinion and stand elsewhere.
pub(super) fn compare(
    columns: &Columns<'_>,
    views: &[View],
    by_place: &ByPlace<'_>,
    matches: &Matches,
) -> Vec<CauseComparison> {
    let mut compared: Vec<CauseComparison> = Vec::new();
    for cause in views.iter().flat_map(|view| &view.causes) {
        if compared.iter().any(|known| known.id == cause.id) {
            continue;
        }
        let each = || views.iter().map(|view| view.causes.iter().find(|other| other.id == cause.id));
        let before = |record: usize| each().take(record).any(|found| found.is_some());
        let told = told(columns, &cause.id, matches);
        let states = each().zip(views).enumerate().map(|(record, (found, view))| match found {
            Some(cause) => CauseState {
                word: Outcome::FallsShort.words(),
                shape: Outcome::FallsShort.shape(),
                said: view.found(cause),
            },
            None => otherwise(record, before(record), &told, by_place, matches),
        });
        compared.push(CauseComparison {
            id: cause.id.clone(),
            statement: cause.statement.clone(),
            grade: each().flatten().map(|cause| cause.grade).min().unwrap_or(cause.grade),
            states: states.collect(),
        });
    }
    compared.sort_by_key(|cause| cause.grade);
    compared
}

/// Rule and place of everything that tells of a cause in any record, what tells most first.
fn told<'a>(columns: &Columns<'a>, id: &str, matches: &Matches) -> Vec<(&'a str, Place)> {
    let mut told = Vec::new();
    for (record, inspection) in columns.inspections.iter().enumerate() {
        let judgement = &inspection.judgement;
        let of_it = judgement.causes.iter().filter(|cause: &&Cause| cause.id == id);
        for finding in of_it.flat_map(|cause| &cause.findings).filter_map(|at| judgement.findings.get(*at)) {
            let key = (finding.rule.as_str(), place(record, finding.at, matches));
            if !told.contains(&key) {
                told.push(key);
            }
        }
    }
    told
}

/// What is said of a cause in a record where it is not found.
fn otherwise(
    record: usize,
    found_before: bool,
    told: &[(&str, Place)],
    by_place: &ByPlace<'_>,
    matches: &Matches,
) -> CauseState {
    let finding = |key: &(&str, Place)| by_place.all.get(key).and_then(|cells| cells[record]);
    let state = |outcome: Outcome, said| CauseState { word: outcome.words(), shape: outcome.shape(), said };
    if let Some(open) = told.iter().filter_map(finding).find(|finding| finding.outcome == Outcome::NotDecided)
    {
        let lacking =
            open.missing.first().map(|missing| format!("missing: {}", in_plain_names(&missing.what)));
        return state(Outcome::NotDecided, lacking.unwrap_or_else(|| open.working.numbers.clone()));
    }
    let nothing = |word, said: &str| CauseState { word, shape: "–", said: said.to_owned() };
    match told.first() {
        Some(head) if finding(head).is_none() => {
            match by_place.not_applied(record, head.0, head.1, matches) {
                None if found_before && head.1.is_built() => {
                    nothing("the part is gone", "that is no improvement")
                }
                None => nothing(head.1.none(), ""),
                Some(why) => nothing("not applied", why),
            }
        }
        _ => state(Outcome::Meets, String::new()),
    }
}
