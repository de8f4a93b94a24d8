//! The first look: the few facts that settle the headline questions, in the order in which they are asked.
//!
//! The questions and the rules that answer them are data of the book. A finding that falls short answers no; where none
//! does and all are decided, nothing was found against it. What looking cannot settle is said with what would.

use std::collections::BTreeMap;

use super::{Fact, Judged, LARGEST, LIKELY, Look, Search, rate, subject, weight};
use crate::judge::facts::{Facts, Subject};
use crate::judge::rules::{Cause, HeadlineRule, Outcome, Rule, Scope, Stage};
use crate::units::words::count;

/// What takes longer is a test or is taken apart, s: it is not asked for in a first look.
const LONGEST: f64 = 600.0;
/// What takes this long is read in papers, s: it comes after what is seen at the bench.
const PAPERS: f64 = 300.0;
/// Facts of which values are tried, the most promising first.
const TRIED: usize = 16;
/// Facts that are ranked.
const MOST: usize = 64;
/// Time to read what was noted of a test, s.
const NOTED: f64 = 20.0;

/// How far a headline question is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Answered {
    /// Something falls short.
    No,
    /// All that was asked of it meets.
    NothingAgainst,
    /// Something is not decided.
    Open,
}

/// A headline question and how far it is.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Headline {
    /// The question.
    pub question: String,
    /// How far it is.
    pub answered: Answered,
    /// The answer in words; what would decide it while it is open.
    pub told: String,
}

/// What is asked for.
#[derive(Debug, Clone, PartialEq)]
pub enum Wanted {
    /// A field of the record.
    Field(Subject, String),
    /// The elements of the path.
    Elements,
    /// The bench tests.
    Tests,
}

/// What the first look asks, in order, and how far the headline questions are.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FirstLook {
    /// The headline questions.
    pub headlines: Vec<Headline>,
    /// What to ask, with what each could decide; none for what only says what there is.
    pub asks: Vec<(Wanted, Option<Look>)>,
}

/// Works out what the first look asks of a record.
#[must_use]
pub fn first_look(judged: Judged<'_>, causes: &[Cause]) -> FirstLook {
    let Judged { book, record, .. } = judged;
    let headlines: Vec<Headline> = book.headlines.iter().map(|rule| headline(judged, causes, rule)).collect();
    let open = |id: &str| {
        let pairs = book.headlines.iter().zip(&headlines);
        pairs
            .filter(|(_, told)| told.answered == Answered::Open)
            .any(|(rule, _)| rule.rules.iter().any(|of| of == id))
    };
    let mut asks = Vec::new();
    let of_tests = |id: &str| {
        let tests = |rule: &Rule| rule.scope == Scope::Tests;
        book.rule(id).is_some_and(tests)
    };
    if book.rules.iter().any(|rule| open(&rule.id)) {
        let search = Search::of(judged, |finding| open(&finding.rule));
        let mut ranked = search.first();
        ranked.sort_by(|(a, _, look), (b, _, other)| stage(look).cmp(&stage(other)).then(b.total_cmp(a)));
        let before = ranked.iter().take_while(|(.., look)| stage(look) == 0).count();
        let looks = ranked
            .into_iter()
            .map(|(_, fact, look)| (Wanted::Field(subject(fact.at), fact.name.to_owned()), Some(look)));
        asks.extend(looks);
        // Tests are done with the lid on, and what the path is made of is seen before anything of it is read.
        let mut said = Vec::new();
        if record.test.is_empty() && book.rules.iter().any(|rule| open(&rule.id) && of_tests(&rule.id)) {
            said.push((Wanted::Tests, None));
        }
        let elements = |rule: &Rule| matches!(rule.scope, Scope::Elements(_)) && open(&rule.id);
        if record.path.complete.yes().is_none() && book.rules.iter().any(elements) {
            said.push((Wanted::Elements, None));
        }
        asks.splice(before..before, said);
    }
    FirstLook { headlines, asks }
}

/// A headline question of the book and how far it is.
pub(crate) fn headline_of(judged: Judged<'_>, causes: &[Cause], id: &str) -> Option<Headline> {
    let rule = judged.book.headlines.iter().find(|rule| rule.id == id)?;
    Some(headline(judged, causes, rule))
}

impl Answered {
    /// The outcome that it is shown as.
    pub(crate) const fn outcome(self) -> Outcome {
        match self {
            Self::No => Outcome::FallsShort,
            Self::NothingAgainst => Outcome::Meets,
            Self::Open => Outcome::NotDecided,
        }
    }
}

/// When something is asked: with the lid on, with the lid off, in papers.
fn stage(look: &Look) -> u8 {
    match look.stage {
        _ if look.time_s >= PAPERS => 2,
        Stage::LidOn => 0,
        Stage::LidOff | Stage::Apart => 1,
    }
}

fn headline(judged: Judged<'_>, causes: &[Cause], rule: &HeadlineRule) -> Headline {
    let Judged { record, derived, book, findings } = judged;
    let of = |index: &usize| findings.get(*index).is_some_and(|finding| rule.rules.contains(&finding.rule));
    let own: Vec<Outcome> =
        findings.iter().filter(|finding| rule.rules.contains(&finding.rule)).map(|f| f.outcome).collect();
    let with = |outcome: Outcome| own.iter().filter(|own| **own == outcome).count();
    let limits = book.limit_amounts();
    let facts = Facts { record, derived, limits: &limits, subject: Subject::Pack };
    let shows: Vec<String> =
        rule.shows.iter().filter_map(|name| Some(facts.worked(name)?.as_ref().ok()?.show())).collect();
    let shows = if shows.is_empty() { String::new() } else { format!(" ({})", shows.join(": ")) };
    let meets = with(Outcome::Meets);
    let (answered, told) = match causes.iter().find(|cause| cause.findings.iter().any(of)) {
        Some(cause) => {
            let at = cause.places.first().map_or_else(String::new, |place| format!(": {place}"));
            (Answered::No, format!("{}{at}{shows}", cause.statement))
        }
        None if with(Outcome::NotDecided) == 0 && meets > 0 && complete(judged, rule) => {
            let checks = count(meets, "check meets", "checks meet");
            (Answered::NothingAgainst, format!("nothing was found against it, {checks}{shows}"))
        }
        None => (Answered::Open, rule.beyond.clone()),
    };
    Headline { question: rule.question.clone(), answered, told }
}

/// Whether all that a headline's rules are about is recorded: of an element that nobody listed nothing is asked, and a test
/// that nobody did shows nothing.
fn complete(judged: Judged<'_>, headline: &HeadlineRule) -> bool {
    let listed = judged.record.path.complete.yes() == Some(true);
    let said = |id: &String| match judged.book.rule(id).map(|rule| &rule.scope) {
        Some(Scope::Elements(_)) => listed,
        Some(Scope::Tests) => judged.findings.iter().any(|finding| finding.rule == *id),
        _ => true,
    };
    headline.rules.iter().all(said)
}

impl<'a> Search<'a> {
    /// Facts with their worth over their cost: of a finding that waits for several, each is worth its share.
    fn first(&self) -> Vec<(f64, Fact<'a>, Look)> {
        let mut facts: BTreeMap<Fact<'a>, (f64, Vec<usize>)> = BTreeMap::new();
        for (index, open) in self.open.iter().enumerate() {
            for fact in &open.waits_for {
                let (worth, waiting) = facts.entry(*fact).or_default();
                *worth += LIKELY * weight(open.rule.grade) / open.waits_for.len() as f64;
                waiting.push(index);
            }
        }
        let of_test = |fact: &Fact<'_>| matches!(subject(fact.at), Subject::Test(_));
        let brief =
            |fact: &Fact<'_>| of_test(fact) || self.judged.book.effort_of(fact.name).0.time_s <= LONGEST;
        let mut facts: Vec<_> = facts.into_iter().filter(|(fact, _)| brief(fact)).collect();
        facts.sort_by(|a, b| b.1.0.total_cmp(&a.1.0));
        facts.truncate(MOST);
        let small = self.judged.record.path.element.len() <= LARGEST;
        let looks = facts.into_iter().enumerate().filter_map(|(place, (fact, (worth, waiting)))| {
            let alone = |index: &usize| self.open[*index].waits_for.len() == 1 && !self.of_network(*index);
            // What a single fact would decide is tried: it may decide nothing, and then it is not asked.
            let (worth, decides) = if small && place < TRIED && waiting.iter().all(alone) {
                self.worth(fact, &self.try_out(&[fact]))
            } else {
                (worth, waiting)
            };
            let mut look = self.look(&[fact], &decides);
            // The test was done: what was noted of it is written down.
            if of_test(&fact) {
                (look.time_s, look.stage) = (NOTED, Stage::LidOn);
                look.caution.clear();
            }
            (!decides.is_empty()).then(|| (rate(worth, &look), fact, look))
        });
        // That the path is complete is asked with its elements.
        looks.filter(|(_, fact, _)| fact.name != "path.complete").collect()
    }
}
