//! Findings by cause: one defect is one finding, however many rules tell of it.
//!
//! Which rules belong together is data of the book ([`CauseRule`]). What no cause names stands for itself: findings of one
//! rule are one, with the places where it falls short.

use std::collections::BTreeMap;

use serde::Serialize;

use super::book::{Book, CauseRule, Telling};
use super::expr::{Val, evaluate};
use super::finding::{Finding, Grade, Outcome};
use crate::judge::facts::{Derived, Facts, Subject};
use crate::record::Record;
use crate::units::Amount;

/// A defect, with every finding that tells of it.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Cause {
    /// Its id in the book, or that of its only rule.
    pub id: String,
    /// What is said of the pack, in a line.
    pub statement: String,
    /// The gravest grade among its findings.
    pub grade: Grade,
    /// What it is about, the worst first; empty for the whole pack.
    pub places: Vec<String>,
    /// Places in the list of findings: the first is the one that tells most of it, then what it leads to.
    pub findings: Vec<usize>,
}

impl Cause {
    /// The finding that tells most of it.
    pub fn head<'a>(&self, findings: &'a [Finding]) -> Option<&'a Finding> {
        findings.get(*self.findings.first()?)
    }

    /// The other findings that tell of it.
    pub fn others<'a>(&self, findings: &'a [Finding]) -> impl Iterator<Item = &'a Finding> {
        self.findings.iter().skip(1).filter_map(|index| findings.get(*index))
    }
}

/// Groups what falls short by its cause. Every finding belongs to one cause: the first of the book that claims it.
pub(super) fn of(
    findings: &[Finding],
    record: &Record,
    derived: &Derived,
    limits: &BTreeMap<String, Amount>,
    book: &Book,
) -> Vec<Cause> {
    // A custom is opinion: it makes no defect and is no consequence of one.
    let of = |custom: bool| {
        let short = move |finding: &Finding| {
            finding.outcome == Outcome::FallsShort && (finding.grade == Grade::Custom) == custom
        };
        let short = findings.iter().enumerate().filter(|(_, finding)| short(finding)).collect();
        grouped(short, findings, (record, derived, limits), book)
    };
    [of(false), of(true)].concat()
}

fn grouped(
    mut short: BTreeMap<usize, &Finding>,
    findings: &[Finding],
    (record, derived, limits): (&Record, &Derived, &BTreeMap<String, Amount>),
    book: &Book,
) -> Vec<Cause> {
    let tells = |telling: &Telling, finding: &Finding| {
        let facts = Facts { record, derived, limits, subject: finding.at };
        telling.rule == finding.rule
            && telling.when.as_ref().is_none_or(|when| evaluate(when, &facts) == Ok(Val::YesNo(true)))
    };
    let mut causes = Vec::new();
    for rule in &book.causes {
        let among = |tellings: &[Telling], short: &BTreeMap<usize, &Finding>| -> Vec<usize> {
            let of = |telling| {
                let mut told: Vec<_> = short.iter().filter(|(_, finding)| tells(telling, finding)).collect();
                told.sort_by(|(_, a), (_, b)| missed(b).total_cmp(&missed(a)));
                told.into_iter().map(|(index, _)| *index).collect::<Vec<_>>()
            };
            tellings.iter().flat_map(of).collect()
        };
        let mut told = among(&rule.from, &short);
        if told.is_empty() {
            continue;
        }
        let parts: Vec<Subject> = told.iter().filter_map(|index| Some(short.get(index)?.at)).collect();
        told.retain(|index| short.contains_key(index));
        let led: Vec<usize> = among(&rule.leads_to, &short);
        let belongs = |index: &usize| {
            let at = short.get(index).map(|finding| finding.at);
            !rule.same_part || at.is_some_and(|at| at == Subject::Pack || parts.contains(&at))
        };
        told.extend(led.into_iter().filter(belongs));
        told.dedup();
        let cause = cause(rule.id.clone(), Some(rule), told, findings);
        cause.findings.iter().for_each(|index| _ = short.remove(index));
        causes.push(cause);
    }
    let mut alone: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (index, finding) in short {
        alone.entry(&finding.rule).or_default().push(index);
    }
    for (id, mut told) in alone {
        told.sort_by(|a, b| missed(&findings[*b]).total_cmp(&missed(&findings[*a])));
        causes.push(cause(id.to_owned(), None, told, findings));
    }
    causes.sort_by_key(|cause| (cause.grade, cause.findings.iter().min().copied()));
    causes
}

fn cause(id: String, rule: Option<&CauseRule>, told: Vec<usize>, findings: &[Finding]) -> Cause {
    let mut indexes: Vec<usize> = Vec::new();
    for index in told {
        if !indexes.contains(&index) {
            indexes.push(index);
        }
    }
    let of = |index: &usize| findings.get(*index);
    // What it is about is what makes it, not what it leads to.
    let makes =
        |finding: &&Finding| rule.is_none_or(|rule| rule.from.iter().any(|by| by.rule == finding.rule));
    let mut places: Vec<String> = Vec::new();
    for finding in indexes.iter().filter_map(of).filter(makes) {
        if !finding.subject.is_empty() && !places.contains(&finding.subject) {
            places.push(finding.subject.clone());
        }
    }
    let said = indexes.first().and_then(of).map(|finding| finding.statement.clone()).unwrap_or_default();
    Cause {
        id,
        statement: rule.map_or(said, |rule| rule.fault.clone()),
        grade: indexes.iter().filter_map(of).map(|finding| finding.grade).min().unwrap_or(Grade::Minor),
        places,
        findings: indexes,
    }
}

/// By how much of its limit a requirement is missed; nothing where no number says so.
fn missed(finding: &Finding) -> f64 {
    let side = |side: &Option<super::finding::ComparedSide>| side.as_ref().and_then(|side| side.si);
    match (side(&finding.working.left), side(&finding.working.right)) {
        (Some(left), Some(right)) if right != 0.0 => ((left - right) / right).abs(),
        _ => 0.0,
    }
}
