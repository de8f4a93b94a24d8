//! Findings across records, by rule and matched subject: gained, lost, changed, the same.
//!
//! Nothing here says that one pack is better than another. A finding that is gained or lost is what the rule itself
//! says of each record, with each record's own numbers; "not applied" and "not decided" are kept apart from "meets".

use std::collections::BTreeMap;

use serde::Serialize;

use super::matching::Rows;
use super::{Columns, Matches};
use crate::judge::facts::Subject;
use crate::judge::rules::{Finding, Grade, Outcome};

/// A rule applied to a matched subject, across all records.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct FindingComparison {
    /// The rule's id.
    pub rule: String,
    /// What the rule requires.
    pub title: String,
    /// The nonconformity where some record falls short, else what is required.
    pub statement: String,
    /// What it was applied to; empty for the pack.
    pub subject: String,
    /// Grade of the rule.
    pub grade: Grade,
    /// True where some record falls short.
    pub falls_short: bool,
    /// What each record says.
    pub states: Vec<FindingState>,
}

/// What the rule says of one record.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct FindingState {
    /// The outcome, or "not applied".
    pub word: &'static str,
    /// A shape for it.
    pub shape: &'static str,
    /// The numbers, what is missing, or why it was not applied.
    pub detail: String,
}

/// Findings across all records.
#[derive(Debug, Clone, Default, PartialEq, Serialize, schemars::JsonSchema)]
pub struct FindingsComparison {
    /// Falls short in a later record and not in the first.
    pub gained: Vec<FindingComparison>,
    /// Falls short in the first record and not in all later ones.
    pub lost: Vec<FindingComparison>,
    /// Another outcome, falling short nowhere or also in the first.
    pub changed: Vec<FindingComparison>,
    /// Falls short in all.
    pub kept: Vec<FindingComparison>,
    /// Applied in some records only, falling short in none.
    pub applied_in_some: Vec<FindingComparison>,
    /// Not decided in all.
    pub open_in_all: Vec<FindingComparison>,
    /// Customs of the trade with another outcome: opinion, counted nowhere else.
    pub customs: Vec<FindingComparison>,
    /// How many meet their rule in all.
    pub met_in_all: usize,
}

/// What a rule is applied to across records: its matched row among those of its kind; the order is that of the kinds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Place {
    Pack,
    Element(usize),
    Statement(usize),
    Layer(usize),
    Reading(usize),
    Test(usize),
    Instrument(usize),
    Photo(usize),
}

impl Place {
    /// Whether it is something that is built into the pack.
    pub(super) const fn is_built(self) -> bool {
        matches!(self, Self::Element(_) | Self::Layer(_))
    }

    /// What a record says that has none of it.
    pub(super) const fn none(self) -> &'static str {
        match self {
            Self::Pack | Self::Element(_) | Self::Layer(_) => "no such part",
            Self::Statement(_) => "no such claim",
            Self::Reading(_) => "no such reading",
            Self::Test(_) => "no such test",
            Self::Instrument(_) => "no such instrument",
            Self::Photo(_) => "no such photo",
        }
    }

    /// The records that have it: the part of each in its matched row.
    fn among(self, matches: &Matches) -> Option<&[Option<usize>]> {
        let (rows, row): (&Rows, usize) = match self {
            Self::Pack => return None,
            Self::Element(row) => (&matches.elements, row),
            Self::Statement(row) => (&matches.statements, row),
            Self::Layer(row) => (&matches.layers, row),
            Self::Reading(row) => (&matches.readings, row),
            Self::Test(row) => (&matches.tests, row),
            Self::Instrument(row) => (&matches.instruments, row),
            Self::Photo(row) => (&matches.photos, row),
        };
        Some(&rows.rows.get(row)?.at)
    }
}

/// Findings of all records by rule and matched subject: one of each record, as far as it has one.
pub(super) struct ByPlace<'a> {
    pub(super) all: BTreeMap<(&'a str, Place), Vec<Option<&'a Finding>>>,
    /// Why a rule was not applied, for each record.
    reasons: Vec<BTreeMap<&'a str, &'a str>>,
}

impl<'a> ByPlace<'a> {
    pub(super) fn of(columns: &Columns<'a>, matches: &Matches) -> Self {
        let mut all: BTreeMap<(&str, Place), Vec<Option<&Finding>>> = BTreeMap::new();
        let number = columns.inspections.len();
        for (record, inspection) in columns.inspections.iter().enumerate() {
            for finding in inspection.judgement.findings.iter() {
                let place = place(record, finding.at, matches);
                let cells = all.entry((&finding.rule, place)).or_insert_with(|| vec![None; number]);
                cells[record] = Some(finding);
            }
        }
        let reasons = columns.inspections.iter().map(|inspection| {
            let list = inspection.judgement.not_applied.iter();
            list.map(|n| (n.rule.as_str(), n.because.as_str())).collect()
        });
        Self { all, reasons: reasons.collect() }
    }

    /// Why a rule has nothing to say of a subject in a record: `None` where the record has no such part.
    pub(super) fn not_applied(
        &self,
        record: usize,
        rule: &str,
        place: Place,
        matches: &Matches,
    ) -> Option<&str> {
        if place.among(matches).is_some_and(|at| at[record].is_none()) {
            return None;
        }
        Some(self.reasons[record].get(rule).copied().unwrap_or("it does not apply here"))
    }
}

/// Compares the findings of all records.
pub(super) fn compare(by_place: &ByPlace<'_>, matches: &Matches) -> FindingsComparison {
    let mut sorted = FindingsComparison::default();
    for ((rule, place), cells) in &by_place.all {
        let (rule, place) = (*rule, *place);
        let short = |cell: &Option<&Finding>| cell.is_some_and(|f| f.outcome == Outcome::FallsShort);
        let word = |cell: &Option<&Finding>| cell.map(|f| f.outcome);
        let same = cells.windows(2).all(|pair| word(&pair[0]) == word(&pair[1]));
        let outcome = cells.first().and_then(word);
        let custom = cells.iter().flatten().any(|finding| finding.grade == Grade::Custom);
        if same && (custom || outcome == Some(Outcome::Meets)) {
            sorted.met_in_all += usize::from(!custom);
            continue;
        }
        let list = if custom {
            &mut sorted.customs
        } else if same && outcome == Some(Outcome::FallsShort) {
            &mut sorted.kept
        } else if same {
            &mut sorted.open_in_all
        } else if cells.first().is_some_and(short) {
            &mut sorted.lost
        } else if cells.iter().any(short) {
            &mut sorted.gained
        } else if cells.iter().any(Option::is_none) {
            &mut sorted.applied_in_some
        } else {
            &mut sorted.changed
        };
        let told = cells.iter().flatten().find(|f| f.outcome == Outcome::FallsShort);
        let Some(told) = told.or_else(|| cells.iter().flatten().next()) else { continue };
        list.push(FindingComparison {
            rule: rule.to_owned(),
            title: told.title.clone(),
            statement: told.statement.clone(),
            subject: told.subject.clone(),
            grade: told.grade,
            falls_short: told.outcome == Outcome::FallsShort,
            states: cells
                .iter()
                .enumerate()
                .map(|(record, cell)| {
                    state(*cell, || {
                        let why = by_place.not_applied(record, rule, place, matches);
                        why.unwrap_or(place.none()).to_owned()
                    })
                })
                .collect(),
        });
    }
    for list in [
        &mut sorted.gained,
        &mut sorted.lost,
        &mut sorted.changed,
        &mut sorted.kept,
        &mut sorted.applied_in_some,
        &mut sorted.open_in_all,
    ] {
        // Stable: within a grade the order of rule ids and of the path stays.
        list.sort_by_key(|finding| finding.grade);
    }
    sorted
}

pub(super) fn place(record: usize, subject: Subject, matches: &Matches) -> Place {
    let row = |rows: &Rows, at: usize| rows.of(record, at).unwrap_or(usize::MAX);
    match subject {
        // The rig is judged by `plan` alone.
        Subject::Pack | Subject::Rig | Subject::Source | Subject::Load(_) | Subject::Meter(_) => Place::Pack,
        Subject::Element(at) => Place::Element(row(&matches.elements, at)),
        Subject::Statement(at) => Place::Statement(row(&matches.statements, at)),
        Subject::Layer(at) => Place::Layer(row(&matches.layers, at)),
        Subject::Reading(at) => Place::Reading(row(&matches.readings, at)),
        Subject::Test(at) => Place::Test(row(&matches.tests, at)),
        Subject::Instrument(at) => Place::Instrument(row(&matches.instruments, at)),
        Subject::Photo(at) => Place::Photo(row(&matches.photos, at)),
    }
}

fn state(finding: Option<&Finding>, reason: impl Fn() -> String) -> FindingState {
    let Some(finding) = finding else {
        return FindingState { word: "not applied", shape: "–", detail: reason() };
    };
    let working = &finding.working;
    let missing: Vec<&str> = finding.missing.iter().map(|m| m.what.as_str()).collect();
    let detail = if finding.outcome == Outcome::NotDecided && !missing.is_empty() {
        format!("missing: {}", missing.join("; "))
    } else {
        let decision = working.decision.as_ref().filter(|_| finding.outcome == Outcome::NotDecided);
        match (&working.margin, decision) {
            (_, Some(decision)) => format!("{}; {decision}", working.numbers),
            (Some(margin), None) => format!("{}; margin {margin}", working.numbers),
            (None, None) => working.numbers.clone(),
        }
    };
    FindingState { word: finding.outcome.words(), shape: finding.outcome.shape(), detail }
}
