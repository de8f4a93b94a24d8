//! The first look: the few facts that settle the headline questions, in the order in which they are asked.
//!
//! The questions and the rules that answer them are data of the book. A finding that falls short answers no; where none
//! does and all are decided, nothing was found against it. What looking cannot settle is said with what would.

use std::collections::BTreeMap;

use super::{Fact, Judged, LARGEST, LIKELY, Look, Open, Search, rate, subject, weight};
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
    /// Id of the cause that speaks against it.
    #[serde(skip)]
    pub(crate) cause: Option<String>,
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
    let mut headlines: Vec<Headline> =
        book.headlines.iter().map(|rule| headline(judged, causes, rule)).collect();
    let of_open = book.headlines.iter().zip(&headlines).filter(|(_, told)| told.answered == Answered::Open);
    let of_open: Vec<&String> = of_open.flat_map(|(rule, _)| &rule.rules).collect();
    let open = |id: &str| of_open.iter().any(|of| *of == id);
    let mut asks = Vec::new();
    let of_tests = |id: &str| {
        let tests = |rule: &Rule| rule.scope == Scope::Tests;
        book.rule(id).is_some_and(tests)
    };
    if book.rules.iter().any(|rule| open(&rule.id)) {
        let search = Search::of(judged, |finding| open(&finding.rule));
        let mut ranked = search.first();
        let order = |one: &Ranked<'_>| match stage(&one.look) {
            0 => (0, 0, one.rank),
            stage if one.rank == 2 => (2, stage, one.rank),
            stage => (1, stage, one.rank),
        };
        ranked.sort_by(|a, b| order(a).cmp(&order(b)).then(b.rate.total_cmp(&a.rate)));
        // What decides an open question alone is said of it.
        for (rule, told) in book.headlines.iter().zip(&mut headlines) {
            let alone = |Ranked { rank, fact, look, .. }: &&Ranked<'_>| {
                let waits = |open: &Open<'_>| open.waits_for == [*fact] && rule.rules.contains(&open.rule.id);
                *rank < 2
                    && look.decides.iter().any(|one| rule.rules.contains(&one.rule))
                    && search.open.iter().any(waits)
            };
            if told.answered == Answered::Open
                && let Some(Ranked { look, .. }) = ranked.iter().find(alone)
            {
                let of = if look.of.is_empty() { String::new() } else { format!(" ({})", look.of) };
                told.told = format!("This could decide it: {}{of}.", look.ask);
            }
        }
        let before = ranked.iter().take_while(|one| stage(&one.look) == 0).count();
        let looks = ranked
            .into_iter()
            .map(|one| (Wanted::Field(subject(one.fact.at), one.fact.name.to_owned()), Some(one.look)));
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
    let tells = rule.tells.as_ref().and_then(|[before, name, after]| {
        let figure = facts.worked(name)?.as_ref().ok()?.show();
        Some(format!("; {before}{figure}{after}"))
    });
    let tells = tells.unwrap_or_default();
    let meets = with(Outcome::Meets);
    let against = causes.iter().find(|cause| cause.findings.iter().any(of));
    let (answered, told) = match against {
        Some(cause) => {
            let at = cause.places.first().map_or_else(String::new, |place| format!(": {place}"));
            (Answered::No, format!("{}{at}{tells}", cause.statement))
        }
        None if with(Outcome::NotDecided) == 0 && meets > 0 && complete(judged, rule) => {
            let checks = count(meets, "check meets", "checks meet");
            (Answered::NothingAgainst, format!("nothing was found against it, {checks}{tells}"))
        }
        None => (Answered::Open, rule.beyond.clone()),
    };
    Headline { question: rule.question.clone(), answered, told, cause: against.map(|cause| cause.id.clone()) }
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

/// A fact that is asked for, with its worth over its cost.
struct Ranked<'a> {
    /// What may decide a question alone comes first, and last what only tells of heat: a test tells that sooner.
    rank: u8,
    rate: f64,
    fact: Fact<'a>,
    look: Look,
}

impl<'a> Search<'a> {
    /// Facts with their worth over their cost: of a finding that waits for several, each is worth its share.
    fn first(&self) -> Vec<Ranked<'a>> {
        let mut facts: BTreeMap<Fact<'a>, (u8, f64, Vec<usize>)> = BTreeMap::new();
        for (index, open) in self.open.iter().enumerate() {
            // What the rule compares itself, and a rating as it is printed, decide without heat.
            let compared =
                |fact: &Fact<'_>| fact.name == "element.rating" || open.rule.names().contains(&fact.name);
            let rank = match open.waits_for.as_slice() {
                [one] if compared(one) => 0,
                _ if self.of_network(index) => 2,
                [_] => 0,
                _ => 1,
            };
            for fact in &open.waits_for {
                let (known, worth, waiting) = facts.entry(*fact).or_insert((rank, 0.0, Vec::new()));
                // What it is worth to heat counts only where it is worth nothing else.
                if rank < 2 && *known == 2 {
                    (*worth, *waiting) = (0.0, Vec::new());
                }
                if rank < 2 || *known == 2 {
                    *worth += LIKELY * weight(open.rule.grade) / open.waits_for.len() as f64;
                    waiting.push(index);
                }
                *known = rank.min(*known);
            }
        }
        let of_test = |fact: &Fact<'_>| matches!(subject(fact.at), Subject::Test(_));
        // What was noted of a test is asked for where nothing else is missing.
        let brief = |(fact, (rank, ..)): &(Fact<'_>, (u8, f64, Vec<usize>))| {
            if of_test(fact) { *rank == 0 } else { self.judged.book.effort_of(fact.name).0.time_s <= LONGEST }
        };
        let mut facts: Vec<_> = facts.into_iter().filter(brief).collect();
        facts.sort_by(|a, b| a.1.0.cmp(&b.1.0).then(b.1.1.total_cmp(&a.1.1)));
        facts.truncate(MOST);
        let small = self.judged.record.path.element.len() <= LARGEST;
        let mut spare = self.judged.record.clone();
        let looks = facts.into_iter().enumerate().filter_map(|(place, (fact, (rank, worth, waiting)))| {
            let alone = |index: &usize| self.open[*index].waits_for.len() == 1 && !self.of_network(*index);
            // What a single fact would decide is tried: it may decide nothing, and then it is not asked.
            let (worth, decides) = if small && place < TRIED && waiting.iter().all(alone) {
                self.worth(fact, &self.try_out(&[fact], &mut spare))
            } else {
                (worth, waiting)
            };
            let mut look = self.look(&[fact], &decides);
            // The test was done: what was noted of it is written down.
            if of_test(&fact) {
                (look.time_s, look.stage) = (NOTED, Stage::LidOn);
                look.caution.clear();
            }
            (!decides.is_empty()).then(|| Ranked { rank, rate: rate(worth, &look), fact, look })
        });
        // That the path is complete is asked with its elements.
        looks.filter(|one| one.fact.name != "path.complete").collect()
    }
}
