//! What falls short, by cause, in words.

use serde::Serialize;

use crate::judge::rules::{Cause, Finding, Grade, Judgement};

/// Places that a line names; further ones it counts.
const NAMED: usize = 3;

/// A defect, with everything that tells of it.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct CauseView {
    /// Its id in the book, or that of its only rule.
    pub id: String,
    /// What is said of the pack, in a line.
    pub statement: String,
    /// The gravest grade among its findings.
    pub grade: Grade,
    /// What it is about, the worst first; empty for the whole pack.
    pub places: Vec<String>,
    /// The same in a line; empty for the whole pack.
    pub of: String,
    /// What was found where it is worst, in words; empty where the statement says it all.
    pub found: String,
    /// Why it matters.
    pub why: String,
    /// What to do about it.
    pub advice: String,
    /// One line of working of the finding that tells most; empty where there is none.
    pub working: String,
    /// Photos that show it.
    pub photos: Vec<String>,
    /// The findings that tell of it: the one that tells most first, then what it leads to.
    pub told: Vec<ToldRule>,
    /// The finding that tells most of it.
    #[serde(skip)]
    pub head: Finding,
}

/// What the findings of one rule tell of a cause.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct ToldRule {
    /// The rule's id.
    pub rule: String,
    /// The rule's grade.
    pub grade: Grade,
    /// What the rule says.
    pub statement: String,
    /// What was found: the place, empty for the whole pack, and the comparison in words; these are empty where the
    /// statement says it all.
    pub found: Vec<(String, String)>,
}

impl ToldRule {
    /// What was found, in a line; a place that is named already is not named again.
    #[must_use]
    pub fn found_in_a_line(&self, named: &str) -> String {
        let found = self.found.iter().map(|(place, found)| match (place.as_str(), found.as_str()) {
            (place, found) if place.is_empty() || place == named => found.to_owned(),
            (place, "") => place.to_owned(),
            (place, found) => format!("{place}: {found}"),
        });
        found.filter(|found| !found.is_empty()).collect::<Vec<_>>().join("; ")
    }
}

impl CauseView {
    fn of(cause: &Cause, findings: &[Finding]) -> Option<Self> {
        let head = cause.head(findings)?;
        let mut told: Vec<ToldRule> = Vec::new();
        let mut photos = head.photos.clone();
        for finding in std::iter::once(head).chain(cause.others(findings)) {
            let found = Some((finding.subject.clone(), found(finding)));
            let found = found.filter(|(place, found)| !place.is_empty() || !found.is_empty());
            match told.iter_mut().find(|told| told.rule == finding.rule) {
                Some(told) => told.found.extend(found),
                None => told.push(ToldRule {
                    rule: finding.rule.clone(),
                    grade: finding.grade,
                    statement: finding.statement.clone(),
                    found: found.into_iter().collect(),
                }),
            }
            photos.extend(finding.photos.iter().filter(|photo| !head.photos.contains(photo)).cloned());
        }
        photos.dedup();
        let of = match cause.places.get(..NAMED) {
            Some(some) if cause.places.len() > NAMED => {
                format!("{} and {} more", some.join(", "), cause.places.len() - NAMED)
            }
            _ => crate::units::words::list(&cause.places, "and"),
        };
        Some(Self {
            id: cause.id.clone(),
            statement: cause.statement.clone(),
            grade: cause.grade,
            places: cause.places.clone(),
            found: found(head),
            working: working(head),
            why: head.why.clone(),
            advice: head.advice.clone(),
            head: Finding {
                statement: cause.statement.clone(),
                subject: of.clone(),
                grade: cause.grade,
                photos: photos.clone(),
                ..head.clone()
            },
            of,
            photos,
            told,
        })
    }

    /// What its findings tell, each in a line: the words of a rule that says something else than the cause, its figures,
    /// and the rule's id.
    #[must_use]
    pub fn lines(&self) -> Vec<(String, &str)> {
        let lines = self.told.iter().map(|told| {
            let found = told.found_in_a_line(&self.of);
            let said = if told.statement == self.statement { "" } else { told.statement.as_str() };
            let between = if said.is_empty() || found.is_empty() { "" } else { ": " };
            (format!("{said}{between}{found}"), told.rule.as_str())
        });
        lines.filter(|(line, _)| !line.is_empty()).collect()
    }

    /// What is said and of what, in a line.
    #[must_use]
    pub fn line(&self) -> String {
        if self.of.is_empty() { self.statement.clone() } else { format!("{} ({})", self.statement, self.of) }
    }
}

/// What was found, for people who have read what the rule says: a yes or a no adds nothing to that.
fn found(finding: &Finding) -> String {
    let Some(left) = &finding.working.left else { return String::new() };
    match left.si {
        // A missing thing that ought to be there: how many are missing adds nothing to what the rule says.
        Some(_) if left.value == "0" => String::new(),
        Some(_) => finding.working.numbers.clone(),
        None if ["yes", "no", "absent", "contradicted", "not checked"].contains(&left.value.as_str()) => {
            String::new()
        }
        // "responds to: temperature", without what is required.
        None => finding.working.numbers.split("; ").next().unwrap_or_default().to_owned(),
    }
}

/// The first line of the working of what was derived.
fn working(finding: &Finding) -> String {
    let derived = finding.working.used.iter().filter(|used| used.how == "derived");
    derived.filter_map(|used| used.steps.first()).next().cloned().unwrap_or_default()
}

/// The causes of a judgement in words, gravest first.
#[must_use]
pub fn causes(judgement: &Judgement) -> Vec<CauseView> {
    judgement.causes.iter().filter_map(|cause| CauseView::of(cause, &judgement.findings)).collect()
}
