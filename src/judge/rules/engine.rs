//! Applies a book to a record.
//!
//! The decision rule is a guard band of one expanded uncertainty (ILAC-G8:09/2019, 4.2.2 with w = U;
//! JCGM 106:2012, 8.3.2): a requirement is met or missed only where the difference between the sides is
//! larger than its expanded uncertainty (k = 2). In between it is *not decided*, and the finding says how
//! much smaller the uncertainty must become.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::book::{Book, Change, Rule};
use super::causes::{self, Cause};
use super::doubts::{self, Clash};
use super::expr::{Env, Expr, Node, Relation, Val, evaluate, filled, gather, lack};
use super::finding::{ComparedSide, Finding, Grade, NotApplied, Outcome, Used, Working};
use super::scope::Scope;
use crate::judge::facts::{Bound, Derived, Facts, Missing, NAMED, Reason, Side, Subject, element_label};
use crate::record::field::Doubt;
use crate::record::parts::{ClaimVerdict, Element, ElementKind};
use crate::record::{How, Record, State};
use crate::units::{Amount, Dimension, Uncertain, show_difference, show_to};

/// Differences smaller than this share of the sides are rounding of decimal numbers, not a finding:
/// 8 × 3.65 V and 29.2 V are the same voltage.
const ROUNDING: f64 = 1e-9;

/// Everything the engine says of a record.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Judgement {
    /// Findings, gravest first.
    pub findings: Arc<Vec<Finding>>,
    /// What falls short, by its cause, gravest first.
    pub causes: Vec<Cause>,
    /// Rules that were not applied, and why.
    pub not_applied: Vec<NotApplied>,
    /// What a house changed in the book.
    pub changes: Vec<Change>,
    /// Values that are not taken as they stand.
    pub doubts: Vec<Doubt>,
}

impl Judgement {
    /// How many defects there are; customs are opinion and do not count.
    pub fn defects(&self) -> usize {
        self.causes.iter().filter(|cause| cause.grade != Grade::Custom).count()
    }

    /// How many findings have an outcome; customs are opinion and do not count.
    pub fn count(&self, outcome: Outcome) -> usize {
        let graded = self.findings.iter().filter(|finding| finding.grade != Grade::Custom);
        graded.filter(|finding| finding.outcome == outcome).count()
    }
}

/// Judges a record by a book.
pub fn judge(record: &Record, derived: &Derived, book: &Book) -> Judgement {
    let limits = book.limit_amounts();
    let clashes = doubts::clashes(record, derived, book, &limits);
    let mut doubts = doubts::noted(record, book);
    doubts.extend(clashes.iter().map(|clash| Doubt::clone(&clash.doubt)));
    let (mut findings, mut unapplied) = (Vec::with_capacity(2 * book.rules.len()), Vec::new());
    for rule in book.rules.iter().filter(|rule| !rule.scope.of_the_rig()) {
        if let Some(reason) = &rule.off {
            unapplied.push(NotApplied {
                rule: rule.id.clone(),
                title: rule.title.clone(),
                because: format!("turned off: {reason}"),
                turned_off: true,
            });
            continue;
        }
        apply(rule, record, derived, &limits, (&mut findings, &mut unapplied));
    }
    for finding in findings.iter_mut().filter(|finding| finding.outcome == Outcome::Meets) {
        let facts = Facts { record, derived, limits: &limits, subject: finding.at };
        if let Some(rule) = book.rule(&finding.rule) {
            take_away(finding, &contradictions(rule, &facts, &clashes));
            let claimed = only_claimed(rule, finding);
            take_away(finding, &claimed);
        }
    }
    against_claims(record, &mut findings, &mut doubts);
    findings.sort_by_key(|finding| (finding.outcome, finding.grade));
    let causes = causes::of(&findings, record, derived, &limits, book);
    let findings = Arc::new(findings);
    Judgement { findings, causes, not_applied: unapplied, changes: book.changes.clone(), doubts }
}

/// What the inspector says of a claim and what the rule about the same thing says must go together.
fn against_claims(record: &Record, findings: &mut [Finding], doubts: &mut Vec<Doubt>) {
    for (index, statement) in record.claims.statement.iter().enumerate() {
        let (Some(rule), Some(verdict)) = (statement.rule.text(), statement.verdict.known()) else {
            continue;
        };
        let claim = statement.text.text().or(statement.id.text()).unwrap_or("no. 1");
        let of_rule = |finding: &&mut Finding| finding.rule == rule;
        let short = findings.iter().any(|f| f.rule == rule && f.outcome == Outcome::FallsShort);
        let told = |outcome: &str| Doubt {
            name: "statement.verdict".to_owned(),
            what: format!("the claim “{claim}” is called {}, but rule `{rule}` {outcome}", verdict.word()),
            meant: None,
            implausible: false,
        };
        let (doubt, taken): (Doubt, Vec<&mut Finding>) = match verdict {
            ClaimVerdict::Contradicted if !short => {
                (told("meets"), findings.iter_mut().filter(of_rule).collect())
            }
            ClaimVerdict::Supported if short => {
                let own = |finding: &&mut Finding| finding.at == Subject::Statement(index);
                (told("falls short"), findings.iter_mut().filter(own).collect())
            }
            _ => continue,
        };
        let mut met = taken.into_iter().filter(|finding| finding.outcome == Outcome::Meets).peekable();
        if met.peek().is_some() {
            met.for_each(|finding| take_away(finding, &[Missing::doubt(&doubt)]));
            doubts.push(doubt);
        }
    }
}

/// Contradictions that a rule rests on.
fn contradictions(rule: &Rule, facts: &Facts<'_>, clashes: &[Clash]) -> Vec<Missing> {
    let mut names = rule.names();
    if let Some((_, when)) = &rule.when {
        gather(when, &mut names);
    }
    let mut found: Vec<Missing> = Vec::new();
    for name in &names {
        let derived = facts.worked(name);
        let of_derived =
            derived.and_then(|answer| answer.as_ref().ok()).map(|worked| worked.contradicted.as_slice());
        let of_record = facts.found(name).filter(|_| derived.is_none()).map(|found| found.doubts.as_slice());
        let of_both =
            clashes.iter().filter(|clash| clash.concerns(facts.subject, name)).map(|clash| &clash.doubt);
        for doubt in of_derived.into_iter().chain(of_record).flatten().chain(of_both) {
            let missing = Missing::doubt(doubt);
            if !found.contains(&missing) {
                found.push(missing);
            }
        }
    }
    found
}

/// What a critical rule would meet on that is only claimed: nobody found it, nor read it in the data sheet of the part.
fn only_claimed(rule: &Rule, finding: &Finding) -> Vec<Missing> {
    if rule.grade != Grade::Critical || finding.outcome != Outcome::Meets {
        return Vec::new();
    }
    let told = |name: &String| {
        let what = format!("`{name}` is only claimed: measure it, or read it off the part or its data sheet");
        Missing::told(name, what, Reason::InDoubt)
    };
    finding.claimed_facts.iter().map(told).collect()
}

/// A contradiction takes "meets" away: the values on which it rests cannot both be right.
fn take_away(finding: &mut Finding, contradictions: &[Missing]) {
    if contradictions.is_empty() {
        return;
    }
    finding.outcome = Outcome::NotDecided;
    finding.missing = contradictions.to_vec();
    finding.working.decision = Some("it would meet, but what it rests on is in doubt".to_owned());
}

/// Applies the rules of the test rig; `parts` gives the parts that a scope names, each with its facts.
pub(crate) fn judge_rig<'a>(book: &Book, parts: impl Fn(&Scope) -> Vec<Facts<'a>>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for rule in book.rules.iter().filter(|rule| rule.scope.of_the_rig() && rule.off.is_none()) {
        for facts in parts(&rule.scope) {
            let Ok(mut finding) = of_one(rule, &facts) else { continue };
            if finding.outcome == Outcome::Meets {
                take_away(&mut finding, &contradictions(rule, &facts, &[]));
                let claimed = only_claimed(rule, &finding);
                take_away(&mut finding, &claimed);
            }
            findings.push(finding);
        }
    }
    findings
}

/// The outcome of a rule for one part, where other facts are given to it; none where it does not apply to them.
pub(crate) fn again(rule: &Rule, facts: &Facts<'_>) -> Option<Outcome> {
    applied(rule, facts).map(|decided| decided.outcome)
}

/// What a rule decides for one part; none where it does not apply to it.
fn applied(rule: &Rule, facts: &Facts<'_>) -> Option<Decided> {
    match rule.when.as_ref().map(|(_, when)| evaluate(when, facts)) {
        None | Some(Ok(Val::YesNo(true))) => Some(decide(rule, facts)),
        Some(Ok(_)) => None,
        Some(Err(missing)) => Some(Decided::open(missing)),
    }
}

/// What a rule says of one part; what its condition says where it does not apply.
fn of_one(rule: &Rule, facts: &Facts<'_>) -> Result<Finding, String> {
    match applied(rule, facts) {
        Some(decided) => Ok(finding(rule, facts, decided)),
        None => Err(excluded(rule, facts)),
    }
}

/// Why a rule does not apply.
fn excluded(rule: &Rule, facts: &Facts<'_>) -> String {
    let Some((text, when)) = &rule.when else { return String::new() };
    let mut names = Vec::new();
    gather(when, &mut names);
    let here = names.iter().map(|name| format!("`{name}` is {}", of_name(name, facts)));
    let here: Vec<String> = here.collect();
    format!("it applies where `{text}`; here {}", here.join(", "))
}

fn apply(
    rule: &Rule,
    record: &Record,
    derived: &Derived,
    limits: &BTreeMap<String, Amount>,
    (findings, unapplied): (&mut Vec<Finding>, &mut Vec<NotApplied>),
) {
    let subjects = subjects(&rule.scope, record);
    if subjects.is_empty() {
        match nothing_to_judge(rule, record) {
            Some(missing) => {
                let facts = Facts { record, derived, limits, subject: Subject::Pack };
                findings.push(finding(rule, &facts, Decided::open(vec![missing])));
            }
            None => unapplied.push(not_applied(rule, none_of(&rule.scope))),
        }
        return;
    }
    let mut excluded = Vec::new();
    let mut applied = false;
    for subject in subjects {
        let facts = Facts { record, derived, limits, subject };
        if let Subject::Element(index) = subject
            && record.path.element.get(index).is_some_and(hides_kind)
        {
            let missing = Missing::of_element("element.kind", record, index, Reason::Withheld);
            applied = true;
            findings.push(finding(rule, &facts, Decided::open(vec![missing])));
            continue;
        }
        match of_one(rule, &facts) {
            Ok(finding) => {
                applied = true;
                findings.push(finding);
            }
            Err(because) => excluded.push(because),
        }
    }
    if !applied {
        excluded.dedup();
        unapplied.push(not_applied(rule, some_of(&excluded)));
    }
}

/// Reasons in a line; beyond the first few they are counted.
fn some_of(reasons: &[String]) -> String {
    let shown = reasons.get(..NAMED).unwrap_or(reasons).join("; ");
    match reasons.len().saturating_sub(NAMED) {
        0 => shown,
        more => format!("{shown}; and {more} more"),
    }
}

fn not_applied(rule: &Rule, because: String) -> NotApplied {
    NotApplied { rule: rule.id.clone(), title: rule.title.clone(), because, turned_off: false }
}

/// What of a record a rule is applied to.
pub(crate) fn subjects(scope: &Scope, record: &Record) -> Vec<Subject> {
    let all = |length: usize, subject: fn(usize) -> Subject| (0..length).map(subject).collect();
    match scope {
        Scope::Pack => vec![Subject::Pack],
        Scope::Elements(kinds) => record
            .path
            .element
            .iter()
            .enumerate()
            .filter(|(_, element)| {
                hides_kind(element) || element.kind().is_some_and(|kind| kinds.contains(&kind))
            })
            .map(|(index, _)| Subject::Element(index))
            .collect(),
        Scope::Statements => all(record.claims.statement.len(), Subject::Statement),
        Scope::Layers => all(record.bms.layer.len(), Subject::Layer),
        Scope::Readings => all(record.cells.reading.len(), Subject::Reading),
        Scope::Photos => all(record.photo.len(), Subject::Photo),
        Scope::Tests => all(record.test.len(), Subject::Test),
        Scope::Instruments => all(record.instrument.len(), Subject::Instrument),
        Scope::Rig | Scope::Source | Scope::Loads | Scope::Meters | Scope::RigElements(_) => Vec::new(),
    }
}

/// True where it is withheld what an element is: any rule over elements may be about it.
fn hides_kind(element: &Element) -> bool {
    element.kind.found().state == State::Withheld
}

/// An empty list of elements proves nothing until the inspector says that the path is complete.
fn nothing_to_judge(rule: &Rule, record: &Record) -> Option<Missing> {
    match &rule.scope {
        Scope::Elements(_) if record.path.complete.found().state == State::Withheld => {
            Some(Missing::fact("path.complete", "", Reason::Withheld))
        }
        Scope::Elements(kinds) if record.path.complete.yes() != Some(true) => {
            let what = format!("no {} is recorded, and `path.complete` does not say yes", either(kinds));
            Some(Missing::told("path.complete", what, Reason::NotRecorded))
        }
        _ => None,
    }
}

fn either(kinds: &[ElementKind]) -> String {
    kinds.iter().map(|kind| kind.word()).collect::<Vec<_>>().join(" or ")
}

fn none_of(scope: &Scope) -> String {
    match scope {
        Scope::Elements(kinds) => format!("the path is complete and has no {}", either(kinds)),
        Scope::Statements => "no claim in words is recorded".to_owned(),
        Scope::Layers => "no layer of a heat path is recorded".to_owned(),
        Scope::Readings => "no cell reading is recorded".to_owned(),
        Scope::Photos => "no photo is recorded".to_owned(),
        Scope::Tests => "no bench test is recorded".to_owned(),
        Scope::Instruments => "no instrument is recorded".to_owned(),
        _ => "it does not apply to this pack".to_owned(),
    }
}

/// What a rule decides, before anything is put into words.
struct Decided {
    outcome: Outcome,
    missing: Vec<Missing>,
    /// Both sides where two were held against each other.
    sides: Option<(Relation, Val, Val)>,
    /// A bound took the outcome away.
    bounded: bool,
}

impl Decided {
    /// Not decided for want of these facts.
    const fn open(missing: Vec<Missing>) -> Self {
        Self { outcome: Outcome::NotDecided, missing, sides: None, bounded: false }
    }
}

fn decide(rule: &Rule, facts: &Facts<'_>) -> Decided {
    let Node::Compare(relation, left, right) = &rule.require.node else {
        return match evaluate(&rule.require, facts) {
            Ok(Val::YesNo(true)) => Decided { outcome: Outcome::Meets, ..Decided::open(Vec::new()) },
            Ok(_) => Decided { outcome: Outcome::FallsShort, ..Decided::open(Vec::new()) },
            Err(missing) => undecided(rule, missing),
        };
    };
    match (evaluate(left, &Bounds(facts)), evaluate(right, &Bounds(facts))) {
        (Ok(left), Ok(right)) => {
            let outcome = compare(*relation, &left, &right);
            let bound = only_bounded(rule, facts, *relation, outcome);
            let bounded = !bound.is_empty();
            let missing = match outcome {
                Outcome::NotDecided => would_narrow(rule, facts),
                _ => bound,
            };
            let outcome = if bounded { Outcome::NotDecided } else { outcome };
            Decided { outcome, missing, sides: Some((*relation, left, right)), bounded }
        }
        (left, right) => {
            let mut missing = left.err().unwrap_or_default();
            for more in right.err().unwrap_or_default() {
                if !missing.contains(&more) {
                    missing.push(more);
                }
            }
            undecided(rule, missing)
        }
    }
}

/// What is missing where an outcome rests on a bound and would change towards the true value.
///
/// The margin is taken again with the bounded fact moved a little to the side on which its true value lies: a pass that
/// shrinks is no pass, a nonconformity that shrinks is none either (unless the bound is the quantity's definition).
fn only_bounded(rule: &Rule, facts: &Facts<'_>, relation: Relation, outcome: Outcome) -> Vec<Missing> {
    let Node::Compare(_, left, right) = &rule.require.node else { return Vec::new() };
    if outcome == Outcome::NotDecided || !relation.orders() {
        return Vec::new();
    }
    let mut names = Vec::new();
    gather(&rule.require, &mut names);
    let mut missing: Vec<Missing> = Vec::new();
    for name in &names {
        let of_record = facts.recorded_bound(name).map(|(side, amount, missing)| {
            (Bound { side, missing: vec![missing], by_definition: false }, amount)
        });
        let of_derived = || {
            let worked = facts.worked(name)?.as_ref().ok()?;
            Some((worked.bound.clone()?, worked.value.amount()?.clone()))
        };
        let Some((bound, amount)) = of_record.or_else(of_derived) else { continue };
        let up = match bound.side {
            Side::AtLeast => 1.0,
            Side::AtMost => -1.0,
            Side::Within => continue,
        };
        // A bound of zero moves as well.
        let step = up * 1e-3 * if amount.value() == 0.0 { 1.0 } else { amount.value().abs() };
        let moved = Moved { facts, name, to: amount.number.shifted(step), dimension: amount.dimension };
        let margin = |env: &dyn Env| match (evaluate(left, env), evaluate(right, env)) {
            (Ok(Val::Amount(l)), Ok(Val::Amount(r))) => towards(relation) * (l.value() - r.value()),
            _ => f64::NAN,
        };
        let change = margin(&moved) - margin(&Bounds(facts));
        let rests_on_it = match outcome {
            Outcome::Meets => change < 0.0,
            _ => change > 0.0 && !bound.by_definition,
        };
        if rests_on_it {
            for lacking in &bound.missing {
                if !missing.contains(lacking) {
                    missing.push(lacking.clone());
                }
            }
        }
    }
    missing
}

/// What would narrow the bounds and ranges that a requirement rests on.
fn would_narrow(rule: &Rule, facts: &Facts<'_>) -> Vec<Missing> {
    let mut names = Vec::new();
    gather(&rule.require, &mut names);
    let bounds = names.iter().filter_map(|name| facts.worked(name)?.as_ref().ok()?.bound.as_ref());
    bounds.flat_map(|bound| bound.missing.iter().cloned()).collect()
}

/// Facts with one of them moved.
struct Moved<'a> {
    facts: &'a Facts<'a>,
    name: &'a str,
    to: Uncertain,
    dimension: Dimension,
}

impl Env for Moved<'_> {
    fn fact(&self, name: &str) -> Result<Val, Vec<Missing>> {
        if name == self.name {
            return Ok(Val::Amount(Amount { number: self.to.clone(), dimension: self.dimension }));
        }
        Bounds(self.facts).fact(name)
    }
}

/// Facts, with bounds of the record as their values: a requirement may hold at a bound.
struct Bounds<'a>(&'a Facts<'a>);

impl Env for Bounds<'_> {
    fn fact(&self, name: &str) -> Result<Val, Vec<Missing>> {
        match self.0.recorded_bound(name) {
            Some((_, amount, _)) => Ok(Val::Amount(amount)),
            None => self.0.fact(name),
        }
    }
}

/// The sign that makes a margin positive when a relation holds.
const fn towards(relation: Relation) -> f64 {
    if matches!(relation, Relation::AtLeast | Relation::Above) { 1.0 } else { -1.0 }
}

fn undecided(rule: &Rule, missing: Vec<Missing>) -> Decided {
    let all_absent = missing.iter().all(|m| m.reason == Reason::Absent);
    let falls_short = rule.absent_falls_short && all_absent && !missing.is_empty();
    let outcome = if falls_short { Outcome::FallsShort } else { Outcome::NotDecided };
    Decided { outcome, ..Decided::open(missing) }
}

/// Both sides held against each other.
fn compare(relation: Relation, left: &Val, right: &Val) -> Outcome {
    let holds = match (relation, left, right) {
        (_, Val::Amount(l), Val::Amount(r)) if relation.orders() => return guarded(relation, l, r).outcome,
        (Relation::AtLeast, Val::Date(l), Val::Date(r)) => l >= r,
        (Relation::AtMost, Val::Date(l), Val::Date(r)) => l <= r,
        (Relation::Above, Val::Date(l), Val::Date(r)) => l > r,
        (Relation::Below, Val::Date(l), Val::Date(r)) => l < r,
        (Relation::IsNot, ..) => left != right,
        _ => left == right,
    };
    if holds { Outcome::Meets } else { Outcome::FallsShort }
}

/// Whether one amount is at least another, as a rule would decide it.
pub(crate) fn at_least(found: &Amount, wanted: &Amount) -> Outcome {
    guarded(Relation::AtLeast, found, wanted).outcome
}

/// A guard-banded comparison of two amounts, in SI units.
struct Guarded {
    outcome: Outcome,
    margin: f64,
    /// Expanded uncertainty of the margin.
    expanded: f64,
}

fn guarded(relation: Relation, left: &Amount, right: &Amount) -> Guarded {
    let difference = left.number.minus(&right.number);
    let scale = left.value().abs().max(right.value().abs());
    let mut margin = towards(relation) * difference.value;
    if margin.abs() <= ROUNDING * scale {
        margin = 0.0;
    }
    let expanded = difference.expanded();
    let strict = matches!(relation, Relation::Above | Relation::Below);
    let outcome = if expanded > 0.0 && margin.abs() < expanded {
        Outcome::NotDecided
    } else if margin > 0.0 || (margin == 0.0 && !strict) {
        Outcome::Meets
    } else {
        Outcome::FallsShort
    };
    Guarded { outcome, margin, expanded }
}

/// The margin of a comparison, and how it was decided, in words.
fn guarded_words(relation: Relation, left: &Amount, right: &Amount) -> (Option<String>, Option<String>) {
    let Guarded { outcome, margin, expanded } = guarded(relation, left, right);
    let step = Dimension { point: false, ..left.dimension };
    let whole = |amount: &Amount| amount.number.is_exact() && amount.value().fract() == 0.0;
    // By how many of them a count is missed is plain from the two numbers.
    let counted = left.dimension == Dimension::NONE && whole(left) && whole(right);
    let of = Some(right.value()).filter(|_| !left.dimension.point);
    let margin_text = (!counted).then(|| show_difference(margin, expanded, left.dimension, of));
    let decision = (expanded > 0.0).then(|| {
        let band = show_to(expanded, 2, step);
        let apart = show_to(margin.abs(), 2, step);
        match outcome {
            Outcome::NotDecided if margin == 0.0 => {
                format!(
                    "both sides are equal; the expanded uncertainty of their difference is {band} (k = 2)"
                )
            }
            Outcome::NotDecided => format!(
                "the limit lies inside the measurement uncertainty: the sides differ by {apart}, the expanded \
                 uncertainty of the difference is {band} (k = 2); it must come down to {apart} to decide"
            ),
            _ => format!("the difference is larger than its expanded uncertainty of {band} (k = 2)"),
        }
    });
    (margin_text, decision)
}

/// One side of a comparison in words; of an amount that is put in order its figures too.
fn side_of(relation: Relation, value: &Val) -> ComparedSide {
    let amount = value.amount().filter(|_| relation.orders());
    ComparedSide {
        value: value.show(),
        si: amount.map(Amount::value),
        expanded_si: amount.filter(|a| !a.number.is_exact()).map(|a| a.number.expanded()),
    }
}

/// Puts what was decided into words.
fn finding(rule: &Rule, facts: &Facts<'_>, decided: Decided) -> Finding {
    let Decided { outcome, missing, sides, bounded } = decided;
    let mut names = Vec::new();
    gather(&rule.require, &mut names);
    if let Some((_, when)) = &rule.when {
        gather(when, &mut names);
    }
    // Of what does not fall short, tables show no working.
    let told = outcome == Outcome::FallsShort || !facts.derived.is_for_tables();
    let used: Vec<Used> = names.iter().filter_map(|name| used(name, facts, told)).collect();
    let mut claimed_facts: Vec<String> = Vec::new();
    for claim in used.iter().flat_map(|used| &used.claims) {
        if !claim.starts_with("claims.") && !claimed_facts.contains(claim) {
            claimed_facts.push(claim.clone());
        }
    }
    let (subject, part, mut photos) = subject_words(facts);
    for used in &used {
        photos.extend(used.photos.iter().cloned());
    }
    photos.sort();
    photos.dedup();
    let (margin, decision) = match &sides {
        Some((relation, Val::Amount(left), Val::Amount(right))) if relation.orders() => {
            guarded_words(*relation, left, right)
        }
        _ => (None, None),
    };
    let decision = if bounded {
        Some("one side is only a bound, and what it leaves out could change the outcome".to_owned())
    } else {
        decision
    };
    let side =
        |pick: fn(&(Relation, Val, Val)) -> &Val| sides.as_ref().map(|sides| side_of(sides.0, pick(sides)));
    let word = |value: String| ComparedSide { value, si: None, expanded_si: None };
    let (left, right) = match &rule.require.node {
        Node::OneOf(found, _) if outcome != Outcome::NotDecided => (
            evaluate(found, facts).ok().map(|found| word(found.show())),
            Some(word(one_of(&rule.require, facts))),
        ),
        _ => (side(|sides| &sides.1), side(|sides| &sides.2)),
    };
    Finding {
        rule: rule.id.clone(),
        title: rule.title.clone(),
        statement: if outcome == Outcome::FallsShort { &rule.fault } else { &rule.title }.clone(),
        topic: rule.subject.clone(),
        tests_claim: rule.tests_claim.clone(),
        subject,
        part,
        outcome,
        grade: rule.grade,
        working: Working {
            expression: rule.require_text.clone(),
            numbers: in_words(&rule.require, facts),
            used,
            left,
            right,
            margin,
            decision,
        },
        missing,
        rests_on_claims: !claimed_facts.is_empty(),
        claimed_facts,
        class: rule.class,
        basis: rule.basis.clone(),
        sources: rule.cited.clone(),
        why: rule.why.clone(),
        advice: rule.advice.clone(),
        photos,
        at: facts.subject,
    }
}

/// A fact as a person would read it, or how it is missing.
fn of_name(name: &str, facts: &Facts<'_>) -> String {
    facts.fact(name).map_or_else(|missing| lack(&missing).to_owned(), |value| value.show())
}

/// What was found, and what is required: "150 A; at least 200 A is required", "100 °C; at most 90 °C is
/// allowed". Never a sum that is false as it stands.
fn in_words(require: &Expr, facts: &Facts<'_>) -> String {
    let side = |expr: &Expr| {
        if let Node::Name(name) = &expr.node {
            return match (facts.fact(name), facts.bound(name)) {
                (Ok(value), Some(bound)) => format!("{bound} {}", value.show()),
                (Ok(value), None) => value.show(),
                (Err(missing), _) => lack(&missing).to_owned(),
            };
        }
        let text = filled(expr, facts);
        match (&expr.node, evaluate(expr, facts)) {
            (Node::Number(..) | Node::Text(_), _) => crate::units::words::in_symbols(&text),
            (Node::Absent(name), Ok(Val::YesNo(true))) => {
                format!("`{name}` was looked for and is not there")
            }
            (Node::Absent(name) | Node::Recorded(name), Ok(_)) => {
                format!("`{name}` is recorded")
            }
            (_, Ok(value)) if value.show() == text => text,
            (_, Ok(value)) => format!("{} ({text})", value.show()),
            (_, Err(_)) => format!("not known ({text})"),
        }
    };
    let same = |left: &Expr, right: &Expr| evaluate(left, facts).ok() == evaluate(right, facts).ok();
    match &require.node {
        Node::Compare(relation, left, right) => match relation.required() {
            Some(_) if evaluate(right, facts).is_err() => {
                format!("{}; what is required is {}", side(left), side(right))
            }
            // "At least at most 3 kA" is no sentence.
            Some(_) if matches!(&right.node, Node::Name(name) if facts.bound(name).is_some()) => {
                format!("{}; the limit is {}", side(left), side(right))
            }
            // "0; at least 1 is required" is a sum, not a sentence.
            Some(required) => match side(left).as_str() {
                "0" if side(right) == "1" => "none is recorded".to_owned(),
                "absent" => "looked for and not there".to_owned(),
                found => format!(
                    "{}{found}; {required} {} is {}",
                    whose(left, facts),
                    side(right),
                    relation.asked()
                ),
            },
            // What a yes or a no ought to be, the finding's statement says.
            None if *relation == Relation::IsNot
                || matches!(right.node, Node::YesNo(_))
                || same(left, right) =>
            {
                format!("{}{}", named(left), side(left))
            }
            None => format!("{}{}; {} is required", named(left), side(left), side(right)),
        },
        Node::OneOf(left, _) => {
            format!("{}{}; {} is required", named(left), side(left), one_of(require, facts))
        }
        Node::And(left, right) => format!("{}; and {}", in_words(left, facts), in_words(right, facts)),
        Node::Or(left, right) => format!("{}; or {}", in_words(left, facts), in_words(right, facts)),
        Node::Not(inner) => format!("not to be: {}", in_words(inner, facts)),
        _ => side(require),
    }
}

/// What a fact is called before its word: "strain relief: ". A name in words of its own needs none.
fn named(expr: &Expr) -> String {
    match &expr.node {
        Node::Name(name) => format!("{}: ", crate::units::words::of_fact(name)),
        _ => String::new(),
    }
}

/// The name of what is compared, where no part or reading is named before it: "held for 195 s".
fn whose(expr: &Expr, facts: &Facts<'_>) -> String {
    match &expr.node {
        Node::Name(name) if matches!(facts.subject, Subject::Pack | Subject::Test(_)) => {
            format!("{} ", crate::units::words::of_fact(name))
        }
        _ => String::new(),
    }
}

/// The words that a list allows.
fn one_of(require: &Expr, facts: &Facts<'_>) -> String {
    let Node::OneOf(_, listed) = &require.node else { return String::new() };
    let listed: Vec<String> = listed.iter().map(|item| filled(item, facts)).collect();
    crate::units::words::list(&listed, "or")
}

fn subject_words(facts: &Facts<'_>) -> (String, String, Vec<String>) {
    let record = facts.record;
    match facts.subject {
        Subject::Element(index) => {
            let element = record.path.element.get(index);
            let id = element.and_then(|e| e.id.text()).unwrap_or_default().to_owned();
            let photos = element.map(|e| e.own.photos.clone()).unwrap_or_default();
            (element_label(record, index), id, photos)
        }
        Subject::Statement(index) => {
            let statement = record.claims.statement.get(index);
            let text = statement.and_then(|s| s.text.text().or(s.id.text())).unwrap_or_default();
            let photos = statement.map(|s| s.own.photos.clone()).unwrap_or_default();
            (format!("claim “{text}”"), "claims".to_owned(), photos)
        }
        Subject::Layer(index) => {
            let name = record.bms.layer.get(index).and_then(|l| l.name.text()).unwrap_or("layer");
            (name.to_owned(), "bms".to_owned(), Vec::new())
        }
        Subject::Reading(index) => (format!("cell reading {}", index + 1), "cells".to_owned(), Vec::new()),
        Subject::Photo(index) => {
            let file = record.photo.get(index).and_then(|p| p.file.text()).unwrap_or("photo");
            (file.to_owned(), "photo".to_owned(), Vec::new())
        }
        Subject::Test(index) => {
            let test = record.test.get(index);
            let id = test.and_then(|t| t.id.text().or(t.kind.word())).unwrap_or("test");
            (format!("test {id}"), "test".to_owned(), Vec::new())
        }
        Subject::Instrument(index) => {
            let id = record.instrument.get(index).and_then(|i| i.id.text()).unwrap_or("instrument");
            (id.to_owned(), "instrument".to_owned(), Vec::new())
        }
        // Whoever judges the rig names its parts.
        Subject::Rig | Subject::Source | Subject::Load(_) | Subject::Meter(_) => {
            ("the rig".to_owned(), "rig".to_owned(), Vec::new())
        }
        Subject::Pack => (String::new(), String::new(), Vec::new()),
    }
}

/// A fact that went in; with its working where that is `told`.
fn used(name: &str, facts: &Facts<'_>, told: bool) -> Option<Used> {
    let mut used = Used {
        name: name.to_owned(),
        value: String::new(),
        how: String::new(),
        with: None,
        photos: Vec::new(),
        steps: Vec::new(),
        sources: Vec::new(),
        assumed: Vec::new(),
        claims: facts.claims_of(name),
        span: 0..0,
    };
    if name.starts_with("limit.") {
        used.value = facts.fact(name).ok()?.show();
        used.how = "limit".to_owned();
        return Some(used);
    }
    if let Some(worked) = facts.worked(name) {
        let worked = worked.as_ref().ok()?;
        used.value = worked.show();
        used.how = "derived".to_owned();
        if told {
            used.steps.clone_from(&worked.steps);
            used.sources.clone_from(&worked.sources);
            used.assumed.clone_from(&worked.assumed);
        }
        return Some(used);
    }
    let found = facts.found(name)?;
    if found.state == State::NotLooked {
        return None;
    }
    used.value = match facts.fact(name) {
        Ok(value) => value.show(),
        Err(_) => found.show(),
    };
    used.how = match found.how {
        Some(how) => how.word().to_owned(),
        None if name.starts_with("claims.") => How::Claimed.word().to_owned(),
        None => "not stated".to_owned(),
    };
    used.with.clone_from(&found.with);
    used.photos.clone_from(&found.photos);
    used.span = found.span.clone();
    Some(used)
}
