//! What would make a claim true: the figure that holds as built, and the smallest changes with which the claim would hold.
//!
//! Nothing here judges. A change is put into the record, everything is derived anew by the same network, and the rule
//! engine says whether the rules of the claim then meet. Bench tests were of the pack as it is: a changed pack is worked out
//! without them, so that what they narrowed is a wide range again. Which changes are tried is data of the book.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use rayon::prelude::*;
use serde::Serialize;

use super::facts::{Facts, Subject, element_label, field_of};
use super::next::{Judged, LARGEST, told};
use super::rules::expr::{Val, evaluate};
use super::rules::{Finding, Modification, Outcome, SupportRule, judge, subjects};
use crate::record::field::Value;
use crate::record::parts::{Element, ElementKind, Leg};
use crate::record::{Part, Record, State};
use crate::units::words::{count, list};
use crate::units::{Amount, Quantity, show};

/// Changes beyond this number are another pack.
const MOST: usize = 3;
/// How often the range of a claim is halved: to a few ten-thousandths.
const HALVED: usize = 12;
/// Share of a claim that is tried first: what does not hold there is not looked for.
const SMALL: f64 = 0.1;
/// What goes before every change.
pub const CAUTION: &str =
    "Not tested. No advice to change a pack: work on live cells is for someone trained, under local codes.";

/// A claim that falls short, with what would make it true.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Support {
    /// The claim in words.
    pub claim: String,
    /// What is claimed; empty where it is no figure.
    pub claimed: String,
    /// The figure that holds as built, or that none is known to.
    pub as_built: String,
    /// The smallest changes with which it would hold; none where none were found.
    pub changes: Vec<String>,
    /// All of it in a sentence or two.
    pub told: String,
}

/// A change at a part; the value that it is tried at.
#[derive(Clone, Copy)]
struct Change<'a> {
    by: &'a Modification,
    at: Subject,
    value: usize,
}

/// Changed records and what the engine says of them, by their changes.
type Known = BTreeMap<Vec<(String, String, usize)>, Option<Arc<(Record, Arc<Vec<Finding>>)>>>;

struct Trial<'a> {
    judged: Judged<'a>,
    rule: &'a SupportRule,
    limits: BTreeMap<String, Amount>,
    /// The record without its bench tests.
    untested: &'a Record,
    /// What falls short of it without them.
    short: BTreeSet<Named>,
    /// What of the claim is not decided without them.
    undecided: BTreeSet<Named>,
    /// What was worked out of changed records, the unchanged one too.
    known: Mutex<Known>,
}

/// Works out what would make the claims true that fall short.
#[must_use]
pub fn supports(judged: Judged<'_>) -> Vec<Support> {
    if judged.record.path.element.len() > LARGEST {
        return Vec::new();
    }
    let short = |rule: &&SupportRule| {
        let of = |finding: &Finding| rule.rules.contains(&finding.rule) || finding.tests_claim == rule.claim;
        judged.findings.iter().any(|finding| finding.outcome == Outcome::FallsShort && of(finding))
    };
    let short: Vec<&SupportRule> = judged.book.supports.iter().filter(short).collect();
    if short.is_empty() {
        return Vec::new();
    }
    let mut untested = judged.record.clone();
    untested.test.clear();
    let limits = judged.book.limit_amounts();
    let derived = judged.derived.untested(&untested, &limits);
    let findings = judge(&untested, &derived, judged.book).findings;
    let base = Arc::new((untested, findings));
    short.into_iter().filter_map(|rule| support(judged, rule, &base)).collect()
}

fn support(
    judged: Judged<'_>,
    rule: &SupportRule,
    base: &Arc<(Record, Arc<Vec<Finding>>)>,
) -> Option<Support> {
    let claimed = judged.record.claims.found(&rule.claim)?;
    let figure = match claimed.state() {
        State::Known(Value::Quantity(quantity)) => Some(quantity.clone()),
        State::Withheld => return None,
        _ => None,
    };
    let limits = judged.book.limit_amounts();
    let known = Mutex::new(BTreeMap::from([(Vec::new(), Some(Arc::clone(base)))]));
    let (untested, findings) = (&base.0, &base.1);
    let of_claim = || findings.iter().filter(|finding| rule.rules.contains(&finding.rule));
    let open = of_claim().filter(|finding| finding.outcome == Outcome::NotDecided);
    let undecided = open.map(|finding| named(untested, finding)).collect();
    let trial = Trial { judged, rule, limits, untested, short: short(untested, findings), undecided, known };
    let as_built = match &figure {
        Some(figure) => trial.as_built(figure)?,
        None => "as built it falls short".to_owned(),
    };
    let claimed = figure.map(|figure| figure.text).unwrap_or_default();
    let holds = of_claim().all(|finding| finding.outcome != Outcome::FallsShort);
    let (changes, then) = if rule.modifications.is_empty() {
        (Vec::new(), ".".to_owned())
    } else if holds {
        (Vec::new(), ". Nothing that is recorded of its parts speaks against it: a test does.".to_owned())
    } else {
        match trial.changes() {
            Ok((changes, open)) => {
                let with = if claimed.is_empty() { "with" } else { &format!("{claimed} with") };
                let open = match open {
                    0 => String::new(),
                    open => format!("; {} open", count(open, "check stays", "checks stay")),
                };
                let said = format!("; {with} {}{open}.", list(&changes, "and"));
                (changes, said)
            }
            Err(why) => (Vec::new(), format!(".{why}")),
        }
    };
    let head = if claimed.is_empty() { String::new() } else { format!("{claimed} claimed; ") };
    let told = format!("{head}{as_built}{then}");
    Some(Support { claim: rule.said.clone(), claimed, as_built, changes, told })
}

impl<'a> Trial<'a> {
    /// What the engine says of a record without bench tests.
    fn judge(&self, record: &Record) -> Arc<Vec<Finding>> {
        let derived = self.judged.derived.untested(record, &self.limits);
        judge(record, &derived, self.judged.book).findings
    }

    fn of<'b>(&'b self, findings: &'b [Finding]) -> impl Iterator<Item = &'b Finding> {
        findings.iter().filter(|finding| self.rule.rules.contains(&finding.rule))
    }

    /// The largest figure of the claim that holds as built, tests and all; else the one above which it falls short.
    fn as_built(&self, claimed: &Quantity) -> Option<String> {
        let Judged { record, derived, .. } = self.judged;
        let facts = Facts { record, derived, limits: &self.limits, subject: Subject::Pack };
        if let Some(figure) = &self.rule.figure {
            let worked = facts.worked(figure).and_then(|worked| worked.as_ref().ok());
            return Some(
                worked
                    .map_or("not known as built".to_owned(), |worked| format!("{} as built", worked.show())),
            );
        }
        let outcome = |value: f64| {
            let mut record = self.judged.record.clone();
            let found = record.claims.found_mut(&self.rule.claim)?;
            found.state = State::Known(Value::Quantity(Quantity::of(value, claimed.dimension)));
            let derived = self.judged.derived.with_same_tests(&record, &self.limits);
            let findings = judge(&record, &derived, self.judged.book).findings;
            Some(Outcome::together(self.of(&findings).map(|finding| finding.outcome)))
        };
        let shown = |value| told(value, claimed.dimension, Some(false));
        // The largest value below `high` with at least this outcome, to two digits.
        let largest = |mut low: f64, mut high: f64, wanted: Outcome| {
            if outcome(high)? >= wanted {
                return Some(high);
            }
            for _ in 0..HALVED {
                if shown(low) == shown(high) {
                    break;
                }
                let middle = f64::midpoint(low, high);
                if outcome(middle)? >= wanted { low = middle } else { high = middle }
            }
            Some(high)
        };
        let small = SMALL * claimed.value;
        let least = outcome(small)?;
        if least == Outcome::FallsShort {
            return Some(format!("as built it falls short above {}", shown(small)));
        }
        let most = largest(small, claimed.value, Outcome::NotDecided)?;
        Some(match least {
            Outcome::Meets => format!("{} holds as built", shown(largest(small, most, Outcome::Meets)?)),
            _ => format!("as built it falls short above {}", shown(most)),
        })
    }

    /// The smallest changes with which the claim would hold, in words, and how many of its checks stay open; else why there
    /// are none.
    fn changes(&self) -> Result<(Vec<String>, usize), String> {
        let mut tried: Vec<Change<'_>> = Vec::new();
        let mut open = self.undecided.len();
        // First what falls short is changed; then what is not decided too, and what only then falls short.
        for (round, wanted) in
            [Outcome::FallsShort, Outcome::NotDecided, Outcome::NotDecided].into_iter().enumerate()
        {
            let found = self.with(&tried);
            let against = |finding: &&Finding| {
                finding.outcome == Outcome::FallsShort
                    || finding.outcome == wanted && self.rule.rules.contains(&finding.rule)
            };
            let at: Vec<Subject> = found
                .iter()
                .flat_map(|found| found.1.iter())
                .filter(against)
                .map(|finding| finding.at)
                .collect();
            for change in self.rule.modifications.iter().flat_map(|by| self.places(by, &at)) {
                let same = |known: &Change<'_>| known.at == change.at && known.by.id == change.by.id;
                if !tried.iter().any(same) {
                    tried.push(change);
                }
            }
            if round == 0 && self.passes(&tried, open) {
                break;
            }
        }
        if self.passes(&tried, 0) {
            open = 0;
        } else if !self.passes(&tried, open) {
            return Err(self.still(&tried));
        }
        let without = |index: usize| -> Vec<Change<'_>> {
            tried.iter().enumerate().filter(|(at, _)| *at != index).map(|(_, change)| *change).collect()
        };
        // What all the others together cannot replace is needed.
        let needed: Vec<bool> =
            (0..tried.len()).into_par_iter().map(|index| !self.passes(&without(index), open)).collect();
        let of =
            |wanted: bool| tried.iter().zip(&needed).filter(move |(_, n)| **n == wanted).map(|(c, _)| *c);
        let (needed, others): (Vec<_>, Vec<_>) = (of(true).collect(), of(false).collect());
        let Some(mut found) = self.smallest_set(&needed, &others, open) else {
            let parts: BTreeSet<String> = needed.iter().map(|change| self.part(change)).collect();
            let parts: Vec<&str> = parts.iter().map(String::as_str).filter(|part| !part.is_empty()).collect();
            let of = if parts.is_empty() {
                String::new()
            } else {
                format!(", {} among them", list(&parts, "and"))
            };
            return Err(format!(" More than three changes would be needed to support it{of}."));
        };
        for index in 0..found.len() {
            let (mut low, mut high) = (self.first(&found[index]), found[index].value);
            while low < high {
                let middle = usize::midpoint(low, high);
                found[index].value = middle;
                if self.passes(&found, open) { high = middle } else { low = middle + 1 }
            }
            found[index].value = high;
        }
        // What is said is what the rules pass.
        let passed =
            self.with(&found).filter(|_| self.passes(&found, open)).ok_or_else(|| self.still(&found))?;
        let open = self.of(&passed.1).filter(|finding| finding.outcome == Outcome::NotDecided).count();
        Ok((found.iter().map(|change| self.said(change)).collect(), open))
    }

    /// What stands against a claim although all changes are made.
    fn still(&self, changes: &[Change<'_>]) -> String {
        let found = self.with(changes);
        let against = |finding: &&Finding| {
            let new = found.as_ref().map(|found| named(&found.0, finding));
            match finding.outcome {
                Outcome::Meets => false,
                _ if self.rule.rules.contains(&finding.rule) => true,
                Outcome::NotDecided => false,
                Outcome::FallsShort => {
                    finding.grade.is_grave() && new.is_none_or(|new| !self.short.contains(&new))
                }
            }
        };
        let against: Vec<&Finding> = found.iter().flat_map(|found| found.1.iter()).filter(against).collect();
        let Some(first) = against.first() else {
            return " No change that was tried would support it.".to_owned();
        };
        let of = if first.subject.is_empty() { String::new() } else { format!(" ({})", first.subject) };
        let more = match against.len() - 1 {
            0 => String::new(),
            more => format!(", and {}", count(more, "more check does not meet", "more checks do not meet")),
        };
        // What nobody looked at is not the fault of a change.
        if against.iter().all(|finding| finding.outcome == Outcome::NotDecided) {
            let missing =
                first.missing.first().map_or_else(String::new, |missing| format!(": {}", missing.what));
            return format!(
                " Whether a change would support it is not decided: with all that were tried together “{}”{of} is still open{missing}{more}.",
                first.title
            );
        }
        let outcome = match first.outcome {
            Outcome::FallsShort => "still falls short",
            _ => "is still not decided",
        };
        format!(
            " No change that was tried would support it: with all of them together “{}”{of} {outcome}{more}.",
            first.title
        )
    }

    /// The fewest changes that pass: those that are needed, with as few of the others as it takes.
    fn smallest_set(
        &self,
        needed: &[Change<'a>],
        others: &[Change<'a>],
        open: usize,
    ) -> Option<Vec<Change<'a>>> {
        let mut sets: Vec<(Vec<Change<'a>>, usize)> = vec![(needed.to_vec(), 0)];
        while let Some((set, _)) = sets.first()
            && set.len() <= MOST
        {
            if let Some((set, _)) = sets.iter().find(|(set, _)| !set.is_empty() && self.passes(set, open)) {
                return Some(set.clone());
            }
            let longer = |(set, from): &(Vec<Change<'a>>, usize)| {
                let more = others.iter().enumerate().skip(*from);
                more.map(|(at, change)| ([set.as_slice(), &[*change]].concat(), at + 1)).collect::<Vec<_>>()
            };
            sets = sets.iter().flat_map(longer).collect();
        }
        None
    }

    /// Where a change may be made: the pack, or the elements that do not meet.
    fn places<'b>(&self, by: &'b Modification, open: &[Subject]) -> Vec<Change<'b>> {
        let record = self.untested;
        let derived = self.judged.derived;
        let wanted = |at: &Subject| *at == Subject::Pack || open.contains(at);
        let change = |at: Subject| {
            let facts = Facts { record, derived, limits: &self.limits, subject: at };
            if by.when.as_ref().is_some_and(|when| evaluate(when, &facts) != Ok(Val::YesNo(true))) {
                return None;
            }
            let last = by.values.len().saturating_sub(1);
            let value = match &by.least {
                None => last,
                Some(least) => {
                    let Ok(Val::Amount(least)) = evaluate(least, &facts) else { return None };
                    let enough = |(_, state): &(String, State)| matches!(state, State::Known(Value::Quantity(q)) if q.value >= least.value());
                    by.values.iter().position(enough)?
                }
            };
            Some(Change { by, at, value })
        };
        subjects(&by.scope, record).into_iter().filter(wanted).filter_map(change).collect()
    }

    /// The smallest value that a change is tried at.
    fn first(&self, change: &Change<'_>) -> usize {
        if change.by.least.is_some() { change.value } else { 0 }
    }

    /// Whether every rule of the claim meets with these changes, but for `open` that were not decided before, and nothing
    /// falls short that did not before.
    fn passes(&self, changes: &[Change<'_>], open: usize) -> bool {
        let Some(found) = self.with(changes) else { return false };
        let (record, findings) = &*found;
        let allowed = |finding: &Finding| {
            finding.outcome == Outcome::NotDecided
                && open > 0
                && self.undecided.contains(&named(record, finding))
        };
        let mut of_claim = self.of(findings).peekable();
        of_claim.peek().is_some()
            && of_claim.all(|finding| finding.outcome == Outcome::Meets || allowed(finding))
            && short(record, findings).is_subset(&self.short)
    }

    /// The record with these changes, and what the engine says of it.
    fn with(&self, changes: &[Change<'_>]) -> Option<Arc<(Record, Arc<Vec<Finding>>)>> {
        let key = changes
            .iter()
            .map(|change| (change.by.id.clone(), format!("{:?}", change.at), change.value))
            .collect();
        let known = || self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = known().get(&key) {
            return found.clone();
        }
        let found = self.changed(changes).map(|record| {
            let findings = self.judge(&record);
            Arc::new((record, findings))
        });
        known().insert(key, found.clone());
        found
    }

    /// The record with these changes.
    fn changed(&self, changes: &[Change<'_>]) -> Option<Record> {
        let mut record = self.untested.clone();
        for change in changes.iter().filter(|change| !change.by.adds) {
            if let Subject::Element(index) = change.at
                && !change.by.keeps.is_empty()
            {
                let old = std::mem::take(record.path.element.get_mut(index)?);
                let new = record.path.element.get_mut(index)?;
                for name in &change.by.keeps {
                    *new.found_mut(name)? = old.found(name)?.clone();
                }
            }
            set(&mut record, change, change.at)?;
        }
        let mut gone: Vec<usize> =
            changes.iter().filter(|change| change.by.takes_out).filter_map(element).collect();
        gone.sort_unstable();
        gone.into_iter().rev().for_each(|index| _ = record.path.element.remove(index));
        for change in changes.iter().filter(|change| change.by.adds) {
            let stack = |element: &Element| {
                element.kind() == Some(ElementKind::CellStack) || element.leg.known() == Some(Leg::Stack)
            };
            let at = record.path.element.iter().rposition(stack)? + 1;
            record.path.element.insert(at, Element::default());
            set(&mut record, change, Subject::Element(at))?;
        }
        Some(record)
    }

    fn part(&self, change: &Change<'_>) -> String {
        element(change).map(|index| element_label(self.untested, index)).unwrap_or_default()
    }

    fn said(&self, change: &Change<'_>) -> String {
        let part = self.part(change);
        let value = match change.by.values.get(change.value) {
            Some((_, State::Known(Value::Quantity(quantity)))) => show(quantity.value, quantity.dimension),
            Some((_, State::Known(value))) => value.show(),
            _ => String::new(),
        };
        change.by.said.replace("{part}", &part).replace("{value}", &value)
    }
}

fn element(change: &Change<'_>) -> Option<usize> {
    match change.at {
        Subject::Element(index) => Some(index),
        _ => None,
    }
}

/// Puts what a change sets into a record.
fn set(record: &mut Record, change: &Change<'_>, at: Subject) -> Option<()> {
    for (name, state) in change.by.sets.iter().chain(change.by.values.get(change.value)) {
        field_of(record, at, name)?.state = state.clone();
    }
    Some(())
}

/// A finding by its rule and the part that it is of.
type Named = (String, String);

fn named(record: &Record, finding: &Finding) -> Named {
    let of = match finding.at {
        Subject::Element(index) => record
            .path
            .element
            .get(index)
            .and_then(|element| element.id.text())
            .unwrap_or_default()
            .to_owned(),
        _ => finding.subject.clone(),
    };
    (finding.rule.clone(), of)
}

/// What falls short of a record and is grave.
fn short(record: &Record, findings: &[Finding]) -> BTreeSet<Named> {
    let graded = findings.iter().filter(|f| f.outcome == Outcome::FallsShort && f.grade.is_grave());
    graded.map(|finding| named(record, finding)).collect()
}
