//! Claims beside what was found: for each claim the rules that use it, and the finding that weighs most.

use serde::Serialize;

use crate::judge::facts::Subject;
use crate::judge::rules::{Finding, Outcome};
use crate::record::parts::Claims;
use crate::record::{Part, Record, State};

/// A claim for display.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct ClaimView {
    /// What is claimed.
    pub what: String,
    /// The claimed value.
    pub claimed: String,
    /// What was found, in words; empty when nothing bears on it.
    pub found: String,
    /// Ids of rules that use it and their outcomes: each pair once, the rules as the book orders them.
    pub rules: Vec<(String, &'static str)>,
}

/// All claims that somebody looked for, then the statements of the maker.
pub(super) fn claims(record: &Record, findings: &[Finding]) -> Vec<ClaimView> {
    let looked_for = Claims::SHAPE.fields.iter().filter_map(|field| {
        let found = record.claims.found(field.name)?;
        if found.state == State::NotLooked {
            return None;
        }
        let name = format!("claims.{}", field.name);
        let bearing: Vec<&Finding> = findings
            .iter()
            .filter(|finding| finding.working.used.iter().any(|used| used.claims.contains(&name)))
            .collect();
        Some(ClaimView {
            what: field.name.replace('_', " "),
            claimed: found.show(),
            found: worst(&bearing).map_or_else(String::new, in_words),
            rules: rules(&bearing),
        })
    });
    let statements = record.claims.statement.iter().enumerate().map(|(index, statement)| {
        let bearing: Vec<&Finding> = findings.iter().filter(|f| f.at == Subject::Statement(index)).collect();
        let found = match (statement.verdict.word(), statement.because.text()) {
            (Some(verdict), Some(because)) => format!("{verdict}: {because}"),
            (Some(verdict), None) => verdict.to_owned(),
            (None, because) => because.unwrap_or_default().to_owned(),
        };
        let source = statement.source.text().map(|s| format!(" ({s})")).unwrap_or_default();
        ClaimView {
            what: format!("{}{source}", statement.subject.word().unwrap_or("claim")),
            claimed: format!("“{}”", statement.text.text().unwrap_or_default()),
            found,
            rules: rules(&bearing),
        }
    });
    looked_for.chain(statements).collect()
}

/// The gravest shortfall; among equally grave ones the largest in proportion to what is required.
fn worst<'a>(bearing: &[&'a Finding]) -> Option<&'a Finding> {
    let short = bearing.iter().filter(|finding| finding.outcome == Outcome::FallsShort);
    short.copied().min_by(|a, b| a.grade.cmp(&b.grade).then(shortfall(b).total_cmp(&shortfall(a))))
}

/// Distance of what was found from what is required, as a share of the requirement; 0 where there are no numbers.
fn shortfall(finding: &Finding) -> f64 {
    let side = |side: &Option<crate::judge::rules::ComparedSide>| side.as_ref().and_then(|side| side.si);
    match (side(&finding.working.left), side(&finding.working.right)) {
        (Some(left), Some(right)) if right != 0.0 => ((left - right) / right).abs(),
        _ => 0.0,
    }
}

fn in_words(finding: &Finding) -> String {
    if finding.subject.is_empty() {
        finding.working.numbers.clone()
    } else {
        format!("{}: {}", finding.subject, finding.working.numbers)
    }
}

fn rules(bearing: &[&Finding]) -> Vec<(String, &'static str)> {
    let mut order: Vec<&str> = Vec::new();
    for finding in bearing {
        if !order.contains(&finding.rule.as_str()) {
            order.push(&finding.rule);
        }
    }
    let mut pairs = Vec::new();
    for rule in order {
        for outcome in [Outcome::FallsShort, Outcome::NotDecided, Outcome::Meets] {
            if bearing.iter().any(|finding| finding.rule == rule && finding.outcome == outcome) {
                pairs.push((rule.to_owned(), outcome.words()));
            }
        }
    }
    pairs
}
