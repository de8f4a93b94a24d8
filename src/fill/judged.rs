//! What an answer decided: the difference between two judgements.

use serde::Serialize;

use super::bench_tests::waits;
use crate::judge::rules::{Finding, Grade, Judgement, Outcome};

/// A rule whose outcome an answer changed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Decided {
    /// The rule's id.
    pub rule: String,
    /// Its title.
    pub title: String,
    /// What it was applied to; empty for the pack.
    pub subject: String,
    /// The outcome before; nothing when the rule was not applied before.
    pub before: Option<Outcome>,
    /// The outcome now.
    pub now: Outcome,
    /// Grade of the nonconformity, if it is one.
    pub grade: Grade,
    /// The requirement with its numbers put in.
    pub numbers: String,
    /// By how much it is met or missed.
    pub margin: Option<String>,
    /// What is still missing.
    pub missing: Vec<String>,
}

impl Decided {
    /// A line for a terminal.
    #[must_use]
    pub fn line(&self) -> String {
        let of = if self.subject.is_empty() { String::new() } else { format!(" [{}]", self.subject) };
        let grade =
            if self.now == Outcome::FallsShort { format!(" ({})", self.grade.word()) } else { String::new() };
        let why = if self.now == Outcome::NotDecided {
            format!("missing: {}", self.missing.join("; "))
        } else {
            self.numbers.clone()
        };
        format!("{} {}{grade}: {}{of}: {why}", self.now.shape(), self.now.words(), self.title)
    }
}

/// The rules that ended otherwise before; those that are merely still open are left out.
#[must_use]
pub fn decided(before: &Judgement, now: &Judgement) -> Vec<Decided> {
    let mut changes = Vec::new();
    let key = |finding: &Finding| (finding.rule.clone(), finding.subject.clone());
    let old: std::collections::BTreeMap<_, Outcome> =
        before.findings.iter().map(|finding| (key(finding), finding.outcome)).collect();
    for finding in now.findings.iter() {
        let was = old.get(&key(finding)).copied();
        let open_before = was.is_none_or(|outcome| outcome == Outcome::NotDecided);
        // What waits for a log is told when the log has been read.
        let working =
            finding.outcome == Outcome::NotDecided && finding.missing.iter().any(|m| waits(&m.what));
        if working || was == Some(finding.outcome) || (open_before && finding.outcome == Outcome::NotDecided)
        {
            continue;
        }
        changes.push(Decided {
            rule: finding.rule.clone(),
            title: finding.title.clone(),
            subject: finding.subject.clone(),
            before: was,
            now: finding.outcome,
            grade: finding.grade,
            numbers: finding.working.numbers.clone(),
            margin: finding.working.margin.clone(),
            missing: finding.missing.iter().map(|missing| missing.what.clone()).collect(),
        });
    }
    changes
}
