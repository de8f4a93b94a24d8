//! Claims beside what was found: for each claim the rules that use it, and the finding that weighs most.

use serde::Serialize;

use crate::judge::facts::Subject;
use crate::judge::rules::{Finding, Grade, Outcome};
use crate::record::parts::Claims;
use crate::record::{Found, Part, Record, State, Value};
use crate::units::words::of_fact;

/// A claim for display.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct ClaimView {
    /// What is claimed.
    pub what: String,
    /// The claimed value.
    pub claimed: String,
    /// What became of it: "supported" (by a bench test), "nothing against it", "contradicted", "not decided", "not checked", "not stated".
    pub verdict: &'static str,
    /// What was found, in words; empty when nothing bears on it.
    pub found: String,
    /// Ids of rules that use it and their outcomes: each pair once, the rules as the book orders them.
    pub rules: Vec<(String, &'static str)>,
}

/// All claims that somebody looked for, then the statements of the maker. The rules that test a claim say what became of
/// it; of a statement the inspector says so.
pub(super) fn claims(record: &Record, findings: &[Finding]) -> Vec<ClaimView> {
    let looked_for = Claims::SHAPE.fields.iter().filter_map(|field| {
        let found = record.claims.found(field.name)?;
        if found.state == State::NotLooked {
            return None;
        }
        let name = format!("claims.{}", field.name);
        let uses = |finding: &&Finding| finding.working.used.iter().any(|used| used.claims.contains(&name));
        let bearing: Vec<&Finding> = findings.iter().filter(uses).collect();
        let bears = |f: &&Finding| f.tests_claim == field.name && f.grade != Grade::Custom;
        let tests: Vec<&Finding> = findings.iter().filter(bears).collect();
        let measured = tests.iter().any(|finding| matches!(finding.at, Subject::Test(_)));
        let (verdict, said) = match tests.iter().map(|finding| finding.outcome).min() {
            _ if found.value().is_none() => ("not stated", String::new()),
            Some(Outcome::FallsShort) => ("contradicted", worst(&tests).map_or_else(String::new, in_words)),
            Some(Outcome::NotDecided) => ("not decided", lacking(&tests)),
            // Papers that agree with each other support nothing.
            Some(Outcome::Meets) if !measured => {
                ("nothing against it", tests.first().copied().map_or_else(String::new, in_words))
            }
            Some(Outcome::Meets) => ("supported", tests.first().copied().map_or_else(String::new, in_words)),
            // No rule compares it: what was weighed or measured is told all the same.
            None => ("not checked", record.inspection.found(field.name).map_or_else(String::new, value)),
        };
        Some(ClaimView {
            what: of_fact(field.name),
            claimed: found.show(),
            verdict,
            found: said,
            rules: rules(&bearing),
        })
    });
    let statements = record.claims.statement.iter().enumerate().map(|(index, statement)| {
        let bearing: Vec<&Finding> = findings.iter().filter(|f| f.at == Subject::Statement(index)).collect();
        let source = statement.source.text().map(|s| format!(" ({s})")).unwrap_or_default();
        ClaimView {
            what: format!("{}{source}", statement.subject.word().unwrap_or("claim")),
            claimed: format!("“{}”", statement.text.text().unwrap_or_default()),
            verdict: statement.verdict.word().unwrap_or("not checked"),
            found: statement.because.text().unwrap_or_default().to_owned(),
            rules: rules(&bearing),
        }
    });
    looked_for.chain(statements).collect()
}

/// A value that was found; empty where there is none.
fn value(found: &Found) -> String {
    found.value().map_or_else(String::new, Value::show)
}

/// What was found so far, and what is missing for the gravest decision.
fn lacking(tests: &[&Finding]) -> String {
    let open = tests.iter().filter(|finding| finding.outcome == Outcome::NotDecided);
    let Some(finding) = open.min_by_key(|finding| finding.grade) else { return String::new() };
    let numbers = finding.working.left.as_ref().and(finding.working.numbers.split("; ").next());
    let found = numbers.map(str::to_owned);
    let missing = finding.missing.first().map(|first| format!("missing: {}", in_plain_names(&first.what)));
    let within = (missing.is_none() && found.is_some()).then(|| "within its uncertainty".to_owned());
    let of = if finding.subject.is_empty() { String::new() } else { format!("{}: ", finding.subject) };
    of + &[found, missing, within].into_iter().flatten().collect::<Vec<_>>().join("; ")
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

/// A text with the names of facts in it as words: "`bms.low_temperature_limit`" as "low temperature limit".
pub(crate) fn in_plain_names(text: &str) -> String {
    let part = |(number, part): (usize, &str)| match number % 2 {
        0 => part.to_owned(),
        _ => of_fact(part),
    };
    text.split('`').enumerate().map(part).collect()
}

/// The fact that the claim was tested with, after the name of its place.
fn in_words(finding: &Finding) -> String {
    let fact =
        finding.working.used.iter().find(|used| !used.name.starts_with("claims.") && used.how != "limit");
    let said = fact.map_or_else(String::new, |used| format!("{} {}", of_fact(&used.name), used.value));
    match finding.at {
        _ if finding.subject.is_empty() => said,
        Subject::Test(_) => format!("{said} ({})", finding.subject),
        _ => format!("{}: {said}", finding.subject),
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
