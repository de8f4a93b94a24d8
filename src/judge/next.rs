//! What to look at next: the missing facts that could decide the gravest open questions for the least effort.
//!
//! Nothing here judges. Each missing fact is given values over its range, everything is derived anew, and the rule engine
//! says what it would decide; where its outcome turns is found by halving. What takes how long, and when in a session it
//! can be looked at, is data of the book.

mod first;

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;
use serde::Serialize;

use crate::judge::facts::photos::PHOTO_COUNTS;
use crate::judge::facts::{
    Derived, FACTS, Facts, Missing, Reason, Subject, element_label, field_info, field_of, of_the_network,
};
use crate::judge::rules::expr::{Node, Relation, Val, evaluate};
use crate::judge::rules::{Book, Finding, Grade, Outcome, Rule, Scope, Stage, again};
use crate::record::field::Value;
use crate::record::{Kind, Record, State, read_answer, reads};
use crate::units::words::{in_a_sentence, list};
use crate::units::{Amount, Dimension, Quantity, show, significant};
pub(crate) use first::headline_of;
pub use first::{Answered, Headline, Wanted, first_look};

/// Looks that are worked out to the value at which they turn.
pub const MOST: usize = 5;
/// Elements, tests and readings of cells of a record beyond which no value is tried.
pub(super) const LARGEST: usize = 48;
/// Facts that are tried.
const MOST_TRIED: usize = 200;
/// A typical value is tried this many times smaller and larger.
const WIDE: f64 = 300.0;
/// Values that are tried over that range.
const TRIED: usize = 7;
/// Temperatures are tried this far below and above a typical one, K.
const KELVIN: f64 = 120.0;
/// How often a range is halved: enough for 1 %.
const HALVED: usize = 11;
/// Time to write an answer down, s.
const WRITING: f64 = 10.0;
/// What a way that needs a caution costs over one that does not.
const DANGER: f64 = 2.0;
/// Worth of a rule that is decided in all likelihood, as nothing was tried.
const LIKELY: f64 = 0.5;

/// A fact worth having, or two that decide only together.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Look {
    /// Names of the facts in expressions; none for a bench test.
    pub facts: Vec<String>,
    /// What to look at, in words.
    pub ask: String,
    /// The part it is of; empty for the pack.
    pub of: String,
    /// What it could decide, gravest first.
    pub decides: Vec<Settles>,
    /// The values at which a verdict turns, in words.
    pub turns: Vec<String>,
    /// How it is come by.
    pub effort: String,
    /// How long that takes, s.
    pub time_s: f64,
    /// When in a session.
    pub stage: Stage,
    /// How to get it.
    pub how: String,
    /// What to beware of.
    pub caution: String,
}

/// A rule that a fact could decide.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Settles {
    /// The rule's id.
    pub rule: String,
    /// What it requires.
    pub title: String,
    /// What it is applied to; empty for the pack.
    pub subject: String,
    /// Its grade.
    pub grade: Grade,
}

/// What to look at next, and what cannot be settled by looking.
#[derive(Debug, Clone, Default, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Next {
    /// Facts in order of worth.
    pub looks: Vec<Look>,
    /// What is not decided, and no single fact or pair decides.
    pub closed: Vec<Waiting>,
    /// What a photo is still wanted of: it is evidence of that part and decides nothing about the pack.
    pub photos: Vec<String>,
}

/// Checks that are not decided and wait for the same.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Waiting {
    /// What is missing; nothing where all is known, but not closely enough.
    pub missing: Vec<String>,
    /// The checks, gravest first.
    pub checks: Vec<Settles>,
}

/// What is not decided, by what is missing: first what the looks decide, in their order, then the gravest.
#[must_use]
pub fn waiting<'a>(findings: impl IntoIterator<Item = &'a Finding>, looks: &[Look]) -> Vec<Waiting> {
    let mut by: BTreeMap<BTreeSet<&str>, Waiting> = BTreeMap::new();
    for finding in findings.into_iter().filter(|finding| finding.outcome == Outcome::NotDecided) {
        let missing: Vec<&str> = finding.missing.iter().map(|missing| missing.what.as_str()).collect();
        let group = by.entry(missing.iter().copied().collect()).or_insert_with(|| Waiting {
            missing: missing.iter().map(|missing| (*missing).to_owned()).collect(),
            checks: Vec::new(),
        });
        group.checks.push(Settles::of(finding));
    }
    let mut all: Vec<Waiting> = by.into_values().collect();
    let place = |check: &Settles| {
        let decides = |look: &Look| look.decides.iter().any(|other| other.same(check));
        (looks.iter().position(decides).unwrap_or(usize::MAX), check.grade)
    };
    all.iter_mut().for_each(|group| group.checks.sort_by_key(|check| check.grade));
    all.sort_by_cached_key(|group| group.checks.iter().map(place).min());
    all
}

impl Settles {
    fn of(finding: &Finding) -> Self {
        let Finding { rule, title, subject, grade, .. } = finding;
        Self { rule: rule.clone(), title: title.clone(), subject: subject.clone(), grade: *grade }
    }

    /// True for the same rule of the same part.
    pub fn same(&self, other: &Self) -> bool {
        self.rule == other.rule && self.subject == other.subject
    }
}

/// A record as it was judged.
#[derive(Debug, Clone, Copy)]
pub struct Judged<'a> {
    /// The record.
    pub record: &'a Record,
    /// What follows from it.
    pub derived: &'a Derived,
    /// The book that judges it.
    pub book: &'a Book,
    /// What the engine said.
    pub findings: &'a [Finding],
}

/// A fact of the record that is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Fact<'a> {
    at: At,
    name: &'a str,
}

/// [`Subject`], in an order.
type At = (u8, usize);

/// A finding that is not decided, with its rule and the facts it waits for.
struct Open<'a> {
    finding: &'a Finding,
    rule: &'a Rule,
    waits_for: Vec<Fact<'a>>,
}

struct Search<'a> {
    judged: Judged<'a>,
    limits: BTreeMap<String, Amount>,
    open: Vec<Open<'a>>,
    /// What is derived anew where nothing is given.
    before: Derived,
    /// What every open finding is then: open, but for what is not derived anew.
    base: Vec<Outcome>,
}

/// What a fact can change: steps of the derivation, all of them if it is not known, and open findings.
struct Reach {
    steps: Option<Vec<bool>>,
    open: Vec<usize>,
}

/// What is tried of a fact, and what each finding becomes.
struct Tried {
    reach: Reach,
    /// States in rising order, with the outcome of each open finding.
    states: Vec<(State, Vec<Outcome>)>,
}

/// A look with its worth over its cost, and what was tried where it is a single fact.
struct Ranked<'a> {
    rate: f64,
    look: Look,
    trial: Option<(Fact<'a>, Tried, Vec<usize>)>,
}

/// Works out what to look at next; all but the first `most` without the value at which they turn.
#[must_use]
pub fn next(judged: Judged<'_>, most: usize) -> Next {
    let search = Search::of(judged, |_| true);
    let mut facts: Vec<Fact<'_>> =
        search.open.iter().flat_map(|open| open.waits_for.iter().copied()).collect();
    facts.sort_unstable();
    facts.dedup();
    // Each fact is a judgement of its own: a record of thousands of parts would take the square of their number.
    let Record { path, test, cells, .. } = judged.record;
    if path.element.len() + test.len() + cells.reading.len() > LARGEST {
        let closed = waiting(search.open.iter().map(|open| open.finding), &[]);
        return Next { looks: Vec::new(), closed, photos: photos(judged) };
    }
    facts.truncate(MOST_TRIED);
    // A copy of the record for many trials.
    let spare = || judged.record.clone();
    let tried: Vec<(Fact<'_>, Tried)> =
        facts.into_par_iter().map_init(spare, |spare, fact| (fact, search.try_out(&[fact], spare))).collect();
    let mut ranked: Vec<Ranked<'_>> = Vec::new();
    let mut settled = vec![false; search.open.len()];
    for (fact, tried) in tried {
        let (worth, decides) = search.worth(fact, &tried);
        if !decides.is_empty() {
            decides.iter().for_each(|index| settled[*index] = true);
            let look = search.look(&[fact], &decides);
            ranked.push(Ranked { rate: rate(worth, &look), look, trial: Some((fact, tried, decides)) });
        }
    }
    // What no single fact decides may be decided by two.
    let mut pairs: BTreeMap<Vec<Fact<'_>>, Vec<usize>> = BTreeMap::new();
    for (index, open) in search.open.iter().enumerate().filter(|(index, _)| !settled[*index]) {
        if let [_, _] = open.waits_for.as_slice() {
            pairs.entry(open.waits_for.clone()).or_default().push(index);
        }
    }
    let pairs: Vec<_> = pairs
        .into_par_iter()
        .map_init(spare, |spare, (facts, waiting)| {
            let tried = search.try_out(&facts, spare);
            (facts, waiting, tried)
        })
        .collect();
    for (facts, waiting, tried) in pairs {
        let some =
            |index: &usize| tried.states.iter().any(|(_, outcomes)| outcomes[*index] != Outcome::NotDecided);
        let decides: Vec<usize> =
            waiting.into_iter().filter(|index| search.of_network(*index) || some(index)).collect();
        if !decides.is_empty() {
            decides.iter().for_each(|index| settled[*index] = true);
            let worth = decides.iter().map(|index| LIKELY * weight(search.open[*index].rule.grade)).sum();
            let look = search.look(&facts, &decides);
            ranked.push(Ranked { rate: rate(worth, &look), look, trial: None });
        }
    }
    for (worth, decides, look) in search.closer_looks(&settled) {
        decides.iter().for_each(|index| settled[*index] = true);
        ranked.push(Ranked { rate: rate(worth, &look), look, trial: None });
    }
    if let Some(look) = search.tests() {
        let worth = look.decides.iter().map(|settles| LIKELY * weight(settles.grade)).sum();
        ranked.push(Ranked { rate: rate(worth, &look), look, trial: None });
    }
    // What cannot be undone comes last; before the lid comes off, what is looked at with the lid on comes first. What is
    // minor waits until all that is graver was looked at.
    let lid_off = search.lid_is_off();
    let stage = |look: &Look| match look.stage {
        Stage::Apart => 2,
        Stage::LidOff if !lid_off => 1,
        _ => 0,
    };
    let minor = |look: &Look| look.decides.iter().all(|settles| settles.grade >= Grade::Minor);
    let key = |ranked: &Ranked<'_>| (minor(&ranked.look), stage(&ranked.look));
    ranked.sort_by(|a, b| key(a).cmp(&key(b)).then(b.rate.total_cmp(&a.rate)));
    let ranked = alike(ranked);
    let refine = |spare: &mut Record, (place, Ranked { mut look, trial, .. }): (usize, Ranked<'_>)| {
        if let Some((fact, tried, decides)) = trial.filter(|_| place < most) {
            look.turns = search.turns(fact, &tried, &decides, spare);
        }
        look
    };
    let looks = ranked.into_par_iter().enumerate().map_init(spare, refine).collect();
    let closed = search.open.iter().zip(settled).filter(|(open, settled)| !settled && !of_photo(open.rule));
    Next { looks, closed: waiting(closed.map(|(open, _)| open.finding), &[]), photos: photos(judged) }
}

/// True for a rule that counts photos.
fn of_photo(rule: &Rule) -> bool {
    rule.names()
        .iter()
        .any(|&name| name == "element.photos" || PHOTO_COUNTS.iter().any(|(own, _)| *own == name))
}

/// What a rule wants a photo of that is not there.
fn photos(judged: Judged<'_>) -> Vec<String> {
    let wanted = |finding: &&Finding| {
        finding.outcome != Outcome::Meets && judged.book.rule(&finding.rule).is_some_and(of_photo)
    };
    let what = |Finding { title, subject, .. }: &Finding| {
        let of = title.strip_prefix("A photo shows ").unwrap_or(title);
        if subject.is_empty() { of.to_owned() } else { format!("{of} ({subject})") }
    };
    let mut all = judged.findings.iter().filter(wanted).map(what);
    let mut first: Vec<String> = all.by_ref().take(MOST).collect();
    let more = all.count();
    first.extend((more > 0).then(|| format!("{more} more parts")));
    first
}

/// What a grade is worth: one critical question before any number of others that are likely to be asked with it.
const fn weight(grade: Grade) -> f64 {
    match grade {
        Grade::Critical => 27.0,
        Grade::Major => 9.0,
        Grade::Minor => 1.0,
        Grade::Custom => 0.3,
    }
}

/// Looks at the same fact of several parts as one, in the place of the first.
fn alike(ranked: Vec<Ranked<'_>>) -> Vec<Ranked<'_>> {
    let mut merged: Vec<Ranked<'_>> = Vec::new();
    for mut one in ranked {
        let rule = |look: &Look| look.decides.first().map(|settles| settles.rule.clone());
        let same = merged.iter_mut().find(|other| {
            !one.look.facts.is_empty()
                && other.look.facts == one.look.facts
                && rule(&other.look) == rule(&one.look)
        });
        let Some(other) = same.filter(|_| !one.look.of.is_empty()) else {
            merged.push(one);
            continue;
        };
        other.look.of = format!("{}, {}", other.look.of, one.look.of);
        other.look.time_s += one.look.time_s;
        one.look.decides.retain(|settles| !other.look.decides.contains(settles));
        other.look.decides.append(&mut one.look.decides);
    }
    merged
}

/// Worth over cost.
fn rate(worth: f64, look: &Look) -> f64 {
    let danger = if look.caution.is_empty() { 1.0 } else { DANGER };
    worth / (danger * (look.time_s + WRITING))
}

impl<'a> Search<'a> {
    /// What is not decided of the findings that are wanted.
    fn of(judged: Judged<'a>, wanted: impl Fn(&Finding) -> bool) -> Self {
        let mut open = Vec::new();
        let undecided = |finding: &&Finding| finding.outcome == Outcome::NotDecided && wanted(finding);
        for finding in judged.findings.iter().filter(undecided) {
            let Some(rule) = judged.book.rule(&finding.rule) else { continue };
            let mut waits_for: Vec<Fact<'_>> = finding
                .missing
                .iter()
                .filter_map(|missing| fact_of(judged.record, finding, missing))
                .collect();
            waits_for.sort_unstable();
            waits_for.dedup();
            open.push(Open { finding, rule, waits_for });
        }
        let limits = judged.book.limit_amounts();
        let (before, _) = judged.derived.again(judged.record, &limits, None);
        let search = Self { judged, limits, open, before, base: Vec::new() };
        let base = search.open.iter().map(|open| search.outcome(open, judged.record, &search.before));
        Self { base: base.collect(), ..search }
    }

    fn of_network(&self, index: usize) -> bool {
        self.open[index].rule.names().iter().any(|name| of_the_network(name))
    }

    /// What follows where facts of a record are in these states.
    fn derived(&self, record: &mut Record, facts: &[(Fact<'_>, State)], reach: &Reach) -> Derived {
        set(record, facts);
        self.before.again(record, &self.limits, reach.steps.as_deref()).0
    }

    /// What some facts can change: what reads them where they are withheld. Where a fact that was derived is then not there
    /// at all, or the facts say what an instrument can do, they may change anything.
    fn reach(&self, record: &mut Record, facts: &[Fact<'_>]) -> Reach {
        let withheld: Vec<_> = facts.iter().map(|fact| (*fact, State::Withheld)).collect();
        set(record, &withheld);
        let record = &*record;
        let (derived, steps) = self.before.again(record, &self.limits, None);
        let instrument = |fact: &Fact<'_>| matches!(subject(fact.at), Subject::Instrument(_));
        if facts.iter().any(instrument) || !derived.has_the_facts_of(&self.before) {
            return Reach { steps: None, open: (0..self.open.len()).collect() };
        }
        let reads = |index: &usize| reads::any(|| self.outcome(&self.open[*index], record, &derived)).1;
        Reach { steps: Some(steps), open: (0..self.open.len()).filter(reads).collect() }
    }

    /// What an open finding becomes.
    fn outcome(&self, open: &Open<'_>, record: &Record, derived: &Derived) -> Outcome {
        let facts = Facts { record, derived, limits: &self.limits, subject: open.finding.at };
        // A rule over elements that are not there is open for the pack.
        match open.finding.at {
            Subject::Pack if open.rule.scope != Scope::Pack => {
                let decided =
                    self.judged.record.path.element.is_empty() && record.path.complete.yes() == Some(true);
                if decided { Outcome::Meets } else { Outcome::NotDecided }
            }
            // A rule that would not apply any more is decided.
            _ => again(open.rule, &facts).unwrap_or(Outcome::Meets),
        }
    }

    /// What every open finding becomes where facts of a record are in these states.
    fn outcomes(&self, record: &mut Record, facts: &[(Fact<'_>, State)], reach: &Reach) -> Vec<Outcome> {
        let mut outcomes = self.base.clone();
        if reach.open.is_empty() {
            return outcomes;
        }
        let derived = self.derived(record, facts, reach);
        for &index in &reach.open {
            outcomes[index] = self.outcome(&self.open[index], record, &derived);
        }
        outcomes
    }

    /// Tries values of one or two facts over their range; of two, the ends. The copy of the record is afterwards as before.
    fn try_out(&self, facts: &[Fact<'_>], record: &mut Record) -> Tried {
        let states: Vec<Vec<State>> = facts.iter().map(|fact| states_of(fact.name)).collect();
        let each: Vec<Vec<State>> = match states.as_slice() {
            [one] => one.iter().map(|state| vec![state.clone()]).collect(),
            [one, other] => {
                let ends = |states: &[State]| {
                    [states.first().cloned(), states.last().cloned()]
                        .into_iter()
                        .flatten()
                        .collect::<Vec<_>>()
                };
                let (one, other) = (ends(one), ends(other));
                one.iter().flat_map(|a| other.iter().map(move |b| vec![a.clone(), b.clone()])).collect()
            }
            _ => Vec::new(),
        };
        let before = states_in(record, facts);
        let reach = self.reach(record, facts);
        let mut outcome = |states: Vec<State>| {
            let set: Vec<(Fact<'_>, State)> = facts.iter().copied().zip(states.iter().cloned()).collect();
            (states.into_iter().next().unwrap_or_default(), self.outcomes(record, &set, &reach))
        };
        let states = each.into_iter().map(&mut outcome).collect();
        set(record, &before);
        Tried { states, reach }
    }

    /// What a fact could decide, gravest first, and what that is worth.
    fn worth(&self, fact: Fact<'_>, tried: &Tried) -> (f64, Vec<usize>) {
        let mut worth = 0.0;
        let mut decides = Vec::new();
        for (index, open) in self.open.iter().enumerate() {
            let decided = tried.states.iter().filter(|(_, outcomes)| outcomes[index] != Outcome::NotDecided);
            let share = match decided.count() {
                _ if self.base[index] != Outcome::NotDecided => continue,
                // What heat does was not worked out anew.
                0 if self.of_network(index) && open.waits_for == [fact] => LIKELY,
                0 => continue,
                some => some as f64 / tried.states.len() as f64,
            };
            worth += share * weight(open.rule.grade);
            decides.push(index);
        }
        // Of the same grade, what compares the fact itself comes before what is worked out from it.
        let own = |index: &usize| self.open[*index].rule.names().contains(&fact.name);
        decides.sort_by_key(|index| (self.open[*index].rule.grade, !own(index), self.of_network(*index)));
        (worth, decides)
    }

    fn look(&self, facts: &[Fact<'_>], decides: &[usize]) -> Look {
        let asks: Vec<String> = facts.iter().map(|fact| ask(fact.name)).collect();
        let of: Vec<String> = facts.iter().map(|fact| place(self.judged.record, fact.at)).collect();
        let same = of.windows(2).all(|two| two[0] == two[1]);
        let alike = asks.windows(2).all(|two| two[0] == two[1]);
        let ask = if same {
            list(&asks, "and")
        } else if alike {
            format!("{}, of {}", asks.first().map_or("", String::as_str), list(&of, "and"))
        } else {
            let each = asks.iter().zip(&of).map(|(ask, of)| format!("{ask} of {of}"));
            list(&each.collect::<Vec<_>>(), "and")
        };
        let efforts = facts.iter().map(|fact| self.judged.book.effort_of(fact.name));
        let hardest = efforts.max_by(|a, b| a.1.cmp(&b.1).then(a.0.time_s.total_cmp(&b.0.time_s)));
        let (effort, stage) = hardest.unwrap_or_else(|| self.judged.book.effort_of(""));
        Look {
            facts: facts.iter().map(|fact| fact.name.to_owned()).collect(),
            ask,
            of: if same { of.into_iter().next().unwrap_or_default() } else { String::new() },
            decides: decides.iter().map(|index| Settles::of(self.open[*index].finding)).collect(),
            turns: Vec::new(),
            effort: effort.id.clone(),
            time_s: effort.time_s * facts.len() as f64,
            stage,
            how: self.how(facts, decides),
            caution: effort.caution.clone(),
        }
    }

    /// How to get a fact: what the book says of it, else what the rule says that compares it.
    fn how(&self, facts: &[Fact<'_>], decides: &[usize]) -> String {
        let mut said: Vec<&str> =
            facts.iter().filter_map(|fact| self.judged.book.how_to_get(fact.name)).collect();
        said.dedup();
        if !said.is_empty() {
            return said.join(" ");
        }
        let compares = |index: &&usize| {
            let names = self.open[**index].rule.names();
            facts.iter().any(|fact| names.contains(&fact.name))
        };
        let rule = decides.iter().find(compares).or(decides.first()).map(|index| self.open[*index].rule);
        rule.map(|rule| rule.measure.clone()).unwrap_or_default()
    }

    /// What is known, but not closely enough: a closer measure of each, one look for a rule.
    fn closer_looks(&self, settled: &[bool]) -> Vec<(f64, Vec<usize>, Look)> {
        let mut by_rule: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (index, open) in self.open.iter().enumerate() {
            let known = open.finding.working.left.as_ref().zip(open.finding.working.right.as_ref());
            if !settled[index] && known.is_some_and(|(left, right)| left.si.is_some() && right.si.is_some()) {
                by_rule.entry(&open.rule.id).or_default().push(index);
            }
        }
        let look = |(_, indexes): (&str, Vec<usize>)| {
            let first = &self.open[*indexes.first()?];
            let (effort, stage) = self.judged.book.effort_of_rule(&first.rule.id);
            let of: Vec<&str> =
                indexes.iter().map(|index| self.open[*index].finding.subject.as_str()).collect();
            let right = first.finding.working.right.as_ref()?;
            let side = side_words(first.rule)?;
            let turns = indexes.iter().filter_map(|index| {
                let working = &self.open[*index].finding.working;
                let (left, right) = (working.left.as_ref()?, working.right.as_ref()?);
                Some(format!("{} so far, {side} {} meets", left.value, right.value))
            });
            let mut turns: Vec<String> = turns.collect();
            let rights =
                |index: &usize| self.open[*index].finding.working.right.as_ref().map(|right| &right.value);
            if indexes.len() > 1 {
                turns = if indexes.iter().all(|index| rights(index) == Some(&right.value)) {
                    vec![format!("{side} {} meets", right.value)]
                } else {
                    let each = |index: &usize| {
                        Some(format!(
                            "{}: {side} {} meets",
                            self.open[*index].finding.subject,
                            rights(index)?
                        ))
                    };
                    indexes.iter().filter_map(each).collect()
                };
            }
            let look = Look {
                facts: Vec::new(),
                ask: format!("a closer measure: {}", in_a_sentence(&first.rule.title)),
                of: list(&of.into_iter().filter(|of| !of.is_empty()).collect::<Vec<_>>(), "and"),
                decides: indexes.iter().map(|index| Settles::of(self.open[*index].finding)).collect(),
                turns,
                effort: effort.id.clone(),
                time_s: effort.time_s,
                stage,
                how: first.rule.measure.clone(),
                caution: effort.caution.clone(),
            };
            let worth = indexes.iter().map(|index| LIKELY * weight(self.open[*index].rule.grade)).sum();
            Some((worth, indexes, look))
        };
        by_rule.into_iter().filter_map(look).collect()
    }

    /// Bench tests of which none is recorded, with what they could decide.
    fn tests(&self) -> Option<Look> {
        let Judged { record, derived, book, .. } = self.judged;
        let mut by_kind: BTreeMap<&str, Vec<&Rule>> = BTreeMap::new();
        for rule in book.rules.iter().filter(|rule| rule.off.is_none()) {
            let Some((_, when)) = &rule.when else { continue };
            let Node::Compare(Relation::Is, left, right) = &when.node else { continue };
            if let (Node::Name(name), Node::Text(kind)) = (&left.node, &right.node)
                && name == "test.kind"
                && !record.test.iter().any(|test| test.kind.word() == Some(kind))
            {
                by_kind.entry(kind).or_default().push(rule);
            }
        }
        let facts = Facts { record, derived, limits: &self.limits, subject: Subject::Pack };
        let turn = |rule: &&Rule| {
            let Node::Compare(_, left, right) = &rule.require.node else { return None };
            let Node::Name(name) = &left.node else { return None };
            let Ok(Val::Amount(right)) = evaluate(right, &facts) else { return None };
            Some(format!("{}: {} {} meets", ask(name), side_words(rule)?, right.show()))
        };
        let kinds: Vec<&str> = by_kind.keys().copied().collect();
        let mut rules: Vec<&Rule> = by_kind.values().flatten().copied().collect();
        rules.sort_by_key(|rule| rule.grade);
        let first = *rules.first()?;
        let (effort, stage) = book.effort_of_rule(&first.id);
        let times =
            by_kind.values().filter_map(|rules| Some(book.effort_of_rule(&rules.first()?.id).0.time_s));
        let settled = |rule: &&Rule| Settles {
            rule: rule.id.clone(),
            title: rule.title.clone(),
            subject: String::new(),
            grade: rule.grade,
        };
        Some(Look {
            facts: Vec::new(),
            ask: format!("bench tests: {}", list(&kinds, "and")),
            of: String::new(),
            turns: rules.iter().filter_map(turn).collect(),
            effort: effort.id.clone(),
            time_s: times.sum(),
            stage,
            how: by_kind
                .values()
                .filter_map(|rules| Some(rules.first()?.measure.as_str()))
                .collect::<Vec<_>>()
                .join(" "),
            caution: effort.caution.clone(),
            decides: rules.iter().map(settled).collect(),
        })
    }

    /// True where something is recorded that can be seen only with the lid off.
    fn lid_is_off(&self) -> bool {
        let record = self.judged.record;
        !record.path.element.is_empty()
            || record.path.complete.yes().is_some()
            || record.cells.series.found().value().is_some()
            || record.bms.marking.text().is_some()
    }

    /// The values at which a fact turns the gravest verdict that it decides, in words.
    fn turns(&self, fact: Fact<'_>, tried: &Tried, decides: &[usize], record: &mut Record) -> Vec<String> {
        let Some(&index) = decides.iter().find(|index| !self.of_network(**index)) else { return Vec::new() };
        let falls = format!("falls short, {}", self.open[index].rule.grade.word());
        let said = |outcome| match outcome {
            Outcome::FallsShort => falls.as_str(),
            other => other.words(),
        };
        let dimension = match field_info(fact.name).map(|info| info.kind) {
            Some(Kind::Quantity(dimension)) => dimension,
            // Words and yes or no are told each with its outcome, alike ones together.
            _ => {
                let mut by: BTreeMap<Outcome, Vec<String>> = BTreeMap::new();
                for (state, outcomes) in &tried.states {
                    by.entry(outcomes[index]).or_default().push(match state {
                        State::Known(value) => value.show(),
                        _ => "not there".to_owned(),
                    });
                }
                let by = by.into_iter().filter(|(outcome, _)| *outcome != Outcome::NotDecided);
                return by
                    .map(|(outcome, values)| format!("{}: {}", list(&values, "or"), said(outcome)))
                    .collect();
            }
        };
        let value = |state: &State| match state {
            State::Known(Value::Quantity(quantity)) => Some(quantity.value),
            _ => None,
        };
        let before = states_in(record, &[fact]);
        let mut outcome = |value: f64| {
            let state = State::Known(Value::Quantity(Quantity::of(value, dimension)));
            let derived = self.derived(record, &[(fact, state)], &tried.reach);
            self.outcome(&self.open[index], record, &derived)
        };
        let mut points: Vec<(f64, Outcome)> = tried
            .states
            .iter()
            .filter_map(|(state, outcomes)| Some((value(state)?, outcomes[index])))
            .collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Where one outcome ends and the next begins.
        let mut ends: Vec<(f64, f64, Outcome)> = Vec::new();
        for two in points.windows(2) {
            let [(mut low, below), (mut high, above)] = *two else { continue };
            if below == above {
                continue;
            }
            for _ in 0..HALVED {
                let middle = if dimension.point { f64::midpoint(low, high) } else { (low * high).sqrt() };
                if outcome(middle) == below { low = middle } else { high = middle }
            }
            ends.push((low, high, above));
        }
        set(record, &before);
        let first = points.first().map_or(Outcome::NotDecided, |(_, outcome)| *outcome);
        let mut turns = Vec::new();
        match ends.as_slice() {
            [] => {}
            // Nothing lies between two decided outcomes: one value says it all.
            [(_, high, above)] if first != Outcome::NotDecided && *above != Outcome::NotDecided => {
                let side = if *above == Outcome::Meets { "at least" } else { "above" };
                turns.push(format!(
                    "{side} {}: {}; less: {}",
                    told(*high, dimension, None),
                    said(*above),
                    said(first)
                ));
            }
            ends => {
                if first != Outcome::NotDecided {
                    turns.push(format!(
                        "at most {}: {}",
                        told(ends[0].0, dimension, Some(false)),
                        said(first)
                    ));
                }
                for (place, (_, from, outcome)) in ends.iter().enumerate() {
                    if *outcome == Outcome::NotDecided {
                        continue;
                    }
                    let from = told(*from, dimension, Some(true));
                    turns.push(match ends.get(place + 1) {
                        Some((to, ..)) => {
                            format!("{from} to {}: {}", told(*to, dimension, Some(false)), said(*outcome))
                        }
                        None => format!("at least {from}: {}", said(*outcome)),
                    });
                }
            }
        }
        if ends.is_empty() && first != Outcome::NotDecided {
            turns.push(format!("whatever it is: {}", said(first)));
        }
        if tried
            .states
            .iter()
            .any(|(state, outcomes)| *state == State::Absent && outcomes[index] == Outcome::FallsShort)
        {
            turns.push(format!("not there: {falls}"));
        }
        // Whose verdict it is, where it is not that of the first check.
        if decides.first() != Some(&index) {
            let title = &self.open[index].rule.title;
            turns = turns.into_iter().map(|turn| format!("{title}: {turn}")).collect();
        }
        turns
    }
}

/// The words for the side of a requirement that is met.
fn side_words(rule: &Rule) -> Option<&'static str> {
    let Node::Compare(relation, ..) = &rule.require.node else { return None };
    Some(match relation {
        Relation::AtLeast => "at least",
        Relation::AtMost => "at most",
        Relation::Above => "more than",
        Relation::Below => "less than",
        Relation::Is | Relation::IsNot => return None,
    })
}

/// A value in the unit it is shown in: three digits at a sharp turn, else two on the side that keeps the outcome.
pub(super) fn told(value: f64, dimension: Dimension, up: Option<bool>) -> String {
    let shown = show(value, dimension);
    let unit = shown.trim_start_matches(|c: char| c.is_ascii_digit() || ['.', '-', 'e'].contains(&c));
    let Ok(number) = shown[..shown.len() - unit.len()].parse::<f64>() else { return shown };
    if number == 0.0 {
        return shown;
    }
    let digits = if up.is_some() { 1.0 } else { 2.0 };
    let step = if dimension.point { 1.0 } else { 10f64.powf(number.abs().log10().floor() - digits) };
    let steps = match up {
        Some(true) => (number / step - 1e-9).ceil(),
        Some(false) => (number / step + 1e-9).floor(),
        None => (number / step).round(),
    };
    format!("{}{unit}", significant(step * steps, 3))
}

/// The states that are tried of a field: values over its range, and that it was looked for and is not there.
fn states_of(name: &str) -> Vec<State> {
    let Some(info) = field_info(name) else { return Vec::new() };
    let known = |typed: &str| read_answer(info, typed).ok();
    match info.kind {
        Kind::YesNo => ["no", "yes"].into_iter().filter_map(known).collect(),
        Kind::Word(words) => words.iter().filter_map(|word| known(word.word)).collect(),
        Kind::Count => {
            ["1", "2", "4", "8", "16"].into_iter().filter_map(known).chain([State::Absent]).collect()
        }
        Kind::Quantity(dimension) => {
            let Some(State::Known(Value::Quantity(typical))) = known(info.example) else { return Vec::new() };
            let at = |step: usize| {
                let share = 2.0 * step as f64 / (TRIED - 1) as f64 - 1.0;
                let value = if dimension.point {
                    typical.value + KELVIN * share
                } else {
                    typical.value * WIDE.powf(share)
                };
                State::Known(Value::Quantity(Quantity::of(value, dimension)))
            };
            (0..TRIED).map(at).chain([State::Absent]).collect()
        }
        _ => known(info.example).into_iter().collect(),
    }
}

/// A field in words: the first sentence of what it is.
fn ask(name: &str) -> String {
    let derived = || FACTS.iter().find(|fact| fact.name == name).map_or(name, |fact| fact.about);
    let about = field_info(name).map_or_else(derived, |info| info.about.trim());
    let first = about.split(". ").next().unwrap_or(about).trim_end_matches('.');
    in_a_sentence(first.split(": ").next().unwrap_or(first))
}

/// The fact of the record that something missing names, where looking could find it.
fn fact_of<'a>(record: &Record, finding: &Finding, missing: &'a Missing) -> Option<Fact<'a>> {
    if !matches!(missing.reason, Reason::NotRecorded | Reason::NotVisible) {
        return None;
    }
    let name = missing.name.as_str();
    field_info(name)?;
    let head = name.split('.').next().unwrap_or_default();
    let subject = match head {
        "element" => match (missing.element, finding.at) {
            (Some(index), _) | (None, Subject::Element(index)) => Subject::Element(index),
            _ => return None,
        },
        "layer" => {
            let named = record
                .bms
                .layer
                .iter()
                .position(|layer| layer.name.text().is_some_and(|name| missing.what.contains(name)));
            Subject::Layer(named.unwrap_or(0))
        }
        "statement" | "reading" | "photo" | "test" | "instrument" => finding.at,
        "rig" | "source" | "load" | "meter" => return None,
        _ => Subject::Pack,
    };
    Some(Fact { at: at(subject), name })
}

/// The states of some facts of a record.
fn states_in<'a>(record: &mut Record, facts: &[Fact<'a>]) -> Vec<(Fact<'a>, State)> {
    let state = |fact: &Fact<'a>| {
        let found = field_of(record, subject(fact.at), fact.name)?;
        Some((*fact, found.state.clone()))
    };
    facts.iter().filter_map(state).collect()
}

/// Puts facts of a record into states.
fn set(record: &mut Record, facts: &[(Fact<'_>, State)]) {
    for (fact, state) in facts {
        if let Some(found) = field_of(record, subject(fact.at), fact.name) {
            found.state = state.clone();
        }
    }
}

const fn at(subject: Subject) -> At {
    match subject {
        Subject::Element(index) => (1, index),
        Subject::Statement(index) => (2, index),
        Subject::Layer(index) => (3, index),
        Subject::Reading(index) => (4, index),
        Subject::Photo(index) => (5, index),
        Subject::Test(index) => (6, index),
        Subject::Instrument(index) => (7, index),
        _ => (0, 0),
    }
}

const fn subject((kind, index): At) -> Subject {
    match kind {
        1 => Subject::Element(index),
        2 => Subject::Statement(index),
        3 => Subject::Layer(index),
        4 => Subject::Reading(index),
        5 => Subject::Photo(index),
        6 => Subject::Test(index),
        7 => Subject::Instrument(index),
        _ => Subject::Pack,
    }
}

/// The part that a fact is of, as a person would name it; empty for the pack.
fn place(record: &Record, at: At) -> String {
    match subject(at) {
        Subject::Element(index) => element_label(record, index),
        Subject::Statement(index) => {
            let statement = record.claims.statement.get(index);
            format!("claim “{}”", statement.and_then(|s| s.text.text()).unwrap_or_default())
        }
        Subject::Layer(index) => {
            let name = record.bms.layer.get(index).and_then(|layer| layer.name.text());
            name.map_or_else(|| format!("layer {}", index + 1), str::to_owned)
        }
        Subject::Reading(index) => format!("cell reading {}", index + 1),
        Subject::Photo(index) => format!("photo {}", index + 1),
        Subject::Test(index) => {
            let id = record.test.get(index).and_then(|test| test.id.text());
            format!("test {}", id.unwrap_or_default())
        }
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::Path;

    use super::*;
    use crate::judge::inspection::{House, Inspection};
    use crate::judge::withhold::OwnWords;

    #[test]
    fn what_a_fact_does_not_reach_stays() {
        for name in ["harbour-24-150-rev-a", "harbour-24-150-rev-b"] {
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("example-inspections").join(name);
            let mut inspection =
                Inspection::open(&folder, &House::default(), &OwnWords::new(String::new)).unwrap();
            // With more that is open.
            inspection.record.bms = Default::default();
            inspection.record.path.element.iter_mut().step_by(2).for_each(|element| {
                let (kind, id) = (element.kind.clone(), element.id.clone());
                (*element, element.kind, element.id) = (Default::default(), kind, id);
            });
            let limits = inspection.book.limit_amounts();
            let derived = inspection.derived.with_same_tests(&inspection.record, &limits);
            let findings =
                crate::judge::rules::judge(&inspection.record, &derived, &inspection.book).findings;
            let Inspection { record, book, .. } = &inspection;
            let search =
                Search::of(Judged { record, derived: &derived, book, findings: &findings }, |_| true);
            let facts: BTreeSet<_> = search.open.iter().flat_map(|open| open.waits_for.clone()).collect();
            assert!(facts.len() > 40, "{}", facts.len());
            let mut fewer = 0;
            for fact in facts {
                let tried = search.try_out(&[fact], &mut record.clone());
                fewer += usize::from(tried.reach.steps.as_ref().is_some_and(|steps| steps.contains(&false)));
                let all = Reach { steps: None, open: (0..search.open.len()).collect() };
                for (state, outcomes) in tried.states {
                    let anew = search.outcomes(&mut record.clone(), &[(fact, state)], &all);
                    assert_eq!(outcomes, anew, "{fact:?}");
                }
            }
            assert!(fewer > 30, "{fewer}");
        }
    }
}
