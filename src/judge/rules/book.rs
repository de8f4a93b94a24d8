//! The rule book: rules and named limits as TOML, checked when they are loaded.
//!
//! A house book is read after the built-in one. It may add rules, set limits, change a grade or turn a
//! rule off with a reason; the write-up prints every such change.

mod load;
mod origin;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

use rayon::prelude::*;

use super::expr::{Expr, Node, Relation, gather, mentions};
use super::finding::{Class, Grade};
use super::scope::Scope;
use crate::evidence::hash::Sha256Digest;
use crate::record::parts::ElementKind;
use crate::record::problem::Problems;
use crate::record::{State, words};
use crate::units::Amount;
pub use origin::RuleFile;

/// The rule book that is compiled in: its sources, the pack's rules, those of the test rig, what values are plausible, what
/// several rules tell of together, and what it takes to look at a fact.
pub(crate) const BUILT_IN: [(&str, &str); 7] = [
    ("checklists/sources.toml", include_str!("../../../checklists/sources.toml")),
    ("checklists/rules.toml", include_str!("../../../checklists/rules.toml")),
    ("checklists/rig.toml", include_str!("../../../checklists/rig.toml")),
    ("checklists/plausible.toml", include_str!("../../../checklists/plausible.toml")),
    ("checklists/causes.toml", include_str!("../../../checklists/causes.toml")),
    ("checklists/looks.toml", include_str!("../../../checklists/looks.toml")),
    ("checklists/modifications.toml", include_str!("../../../checklists/modifications.toml")),
];

/// SHA-256 of the compiled-in rule book, its files in their order.
pub(crate) fn built_in_digest() -> Sha256Digest {
    let text: String = BUILT_IN.iter().map(|(_, text)| *text).collect();
    Sha256Digest::of(text.as_bytes())
}

/// A rule, checked.
#[derive(Debug, Clone)]
pub struct Rule {
    pub id: String,
    /// What it requires, in a line.
    pub title: String,
    /// What is said when it falls short, in a line.
    pub fault: String,
    /// The subject it is listed under.
    pub subject: String,
    /// The claim that it tests; empty where it tests none.
    pub tests_claim: String,
    pub scope: Scope,
    /// When it applies, as written and as read.
    pub when: Option<(String, Expr)>,
    /// The comparison as written.
    pub require_text: String,
    /// The comparison as read.
    pub require: Expr,
    /// Grade of the nonconformity; custom where its threshold is one.
    pub grade: Grade,
    /// What its threshold rests on: the weakest of what it says itself and of what its limits say.
    pub class: Class,
    /// Class and grade as the book states them.
    stated: (Class, Grade),
    /// True when an absent fact is the nonconformity.
    pub absent_falls_short: bool,
    /// How its threshold rests on its sources.
    pub basis: String,
    /// Ids of the sources that it cites.
    pub sources: Vec<String>,
    /// Its sources and those of its limits, each in a line.
    pub cited: Vec<String>,
    /// The most favourable record on which it may say "meets", argued in a line; every critical rule has it.
    pub meets_when: String,
    /// Its grade in the first edition, where it was another one.
    pub was: Option<Grade>,
    /// What changed since the first edition, and why.
    pub changed: String,
    pub why: String,
    pub measure: String,
    /// What to do when it falls short.
    pub advice: String,
    /// The reason for which the house turned it off.
    pub off: Option<String>,
    /// True when it comes from a house book.
    pub house: bool,
}

impl Rule {
    /// The names of the facts that it compares.
    pub(crate) fn names(&self) -> Vec<&str> {
        let mut names = Vec::new();
        gather(&self.require, &mut names);
        names
    }

    /// How much of a counted fact it asks for.
    fn asks(&self, fact: &str) -> Option<usize> {
        let when = self.when.as_ref().map(|(_, when)| when);
        if !when.into_iter().chain([&self.require]).any(|expr| mentions(expr, fact)) {
            return None;
        }
        match &self.require.node {
            Node::Compare(Relation::AtLeast, left, right)
                if self.when.is_none() && left.node == Node::Name(fact.to_owned()) =>
            {
                match &right.node {
                    // A count is far smaller than what a float holds exactly.
                    Node::Number(number, _) => Some(number.value().clamp(0.0, 1e9).ceil() as usize),
                    _ => Some(usize::MAX),
                }
            }
            _ => Some(usize::MAX),
        }
    }
}

/// A cause: one defect that several rules tell of.
#[derive(Debug, Clone)]
pub struct CauseRule {
    pub id: String,
    /// What is said of the pack, in a line.
    pub fault: String,
    /// The rules that make it: where one of them falls short, it is there.
    pub from: Vec<Telling>,
    /// The rules that fall short because of it.
    pub leads_to: Vec<Telling>,
    /// True where only findings about the same part belong together.
    pub same_part: bool,
}

#[derive(Debug, Clone)]
pub struct Telling {
    /// The rule's id.
    pub rule: String,
    /// Where it does, when not everywhere.
    pub when: Option<Expr>,
}

/// How a fact is come by.
#[derive(Debug, Clone)]
pub struct Effort {
    pub id: String,
    /// How long it takes, s.
    pub time_s: f64,
    pub caution: String,
}

words! {
    /// When in a session a fact can be looked at, in order.
    pub enum Stage {
        /// before the lid comes off
        LidOn = "lid on",
        /// with the lid off
        LidOff = "lid off",
        /// with parts unbolted, which may not go back as they were
        Apart = "parts apart",
    }
}

/// Facts and rules with what it takes to look at them.
#[derive(Debug, Clone)]
pub struct LookRule {
    /// Names of facts; `part.*` is all of a part.
    pub facts: Vec<String>,
    /// Ids of rules that a closer measure would decide.
    pub rules: Vec<String>,
    pub effort: Effort,
    pub stage: Stage,
    /// How to get them; empty where the rules say it.
    pub how: String,
}

/// A question that the first look is for.
#[derive(Debug, Clone)]
pub struct HeadlineRule {
    pub id: String,
    pub question: String,
    /// Ids of the rules that answer it.
    pub rules: Vec<String>,
    /// What is told with the answer: words, a fact of the pack, and words after it.
    pub tells: Option<[String; 3]>,
    /// What decides it where looking does not.
    pub beyond: String,
}

/// A change to a pack that could support a claim.
#[derive(Debug, Clone)]
pub struct Modification {
    pub id: String,
    pub scope: Scope,
    pub when: Option<Expr>,
    /// Fields of the part that stay; all of them where there are none.
    pub keeps: Vec<String>,
    pub sets: Vec<(String, State)>,
    /// A field with its values, from the smallest change to the largest.
    pub values: Vec<(String, State)>,
    /// The first value that is not below this is the only one tried.
    pub least: Option<Expr>,
    /// True where the part is taken out.
    pub takes_out: bool,
    /// True where a part is added.
    pub adds: bool,
    /// It in words, with `{part}` and `{value}`.
    pub said: String,
}

/// A claim, with the rules that it has to pass and the changes that could support it.
#[derive(Debug, Clone)]
pub struct SupportRule {
    /// A key of `[claims]`.
    pub claim: String,
    /// The claim in words.
    pub said: String,
    /// The fact that is its figure as built; where there is none the figure is looked for.
    pub figure: Option<String>,
    /// Ids of the rules that it has to pass.
    pub rules: Vec<String>,
    /// The changes that are tried.
    pub modifications: Vec<Modification>,
}

impl LookRule {
    fn names(&self, fact: &str) -> bool {
        self.facts
            .iter()
            .any(|name| name.strip_suffix('*').map_or(name == fact, |part| fact.starts_with(part)))
    }
}

/// A named limit.
#[derive(Debug, Clone)]
pub struct Limit {
    /// Its name, without `limit.`.
    pub name: String,
    pub amount: Amount,
    /// Its value as written.
    pub text: String,
    pub about: String,
    pub class: Class,
    pub basis: String,
    /// Ids of the sources that it cites.
    pub sources: Vec<String>,
}

/// Something that was read, or a law of physics with its argument.
#[derive(Debug, Clone)]
pub struct Source {
    pub id: String,
    /// What it is a source of: physics or published.
    pub class: Class,
    pub title: String,
    /// Clause, table or page.
    pub clause: String,
    pub read: Option<SourceReading>,
    /// Where it was read.
    pub address: String,
    /// When it was read.
    pub date: String,
    /// What it says, as far as the book rests on it.
    pub says: String,
}

words! {
    /// How a source was read.
    pub enum SourceReading {
        /// the text itself, in a public copy
        Copy = "public copy",
        /// another author's account of it
        SecondHand = "second-hand",
    }
}

impl Source {
    /// It in a line, as a finding cites it.
    pub fn cite(&self) -> String {
        let clause = if self.clause.is_empty() { String::new() } else { format!(", {}", self.clause) };
        let read = match self.read {
            Some(SourceReading::Copy) => format!(" (read {}: {})", self.date, self.address),
            Some(SourceReading::SecondHand) => format!(" (read second-hand {}: {})", self.date, self.address),
            None => String::new(),
        };
        format!("{}{clause}{read}", self.title)
    }
}

/// The range in which a value of the record is taken as it stands.
#[derive(Debug, Clone)]
pub struct Plausible {
    /// The field by its name in expressions.
    pub of: String,
    /// Kinds of element that it holds for; all where there are none.
    pub kinds: Vec<ElementKind>,
    pub when: Option<Expr>,
    /// Lower end.
    pub least: Option<Expr>,
    /// Upper end.
    pub most: Option<Expr>,
    pub about: String,
    pub basis: String,
}

impl Plausible {
    /// The part of the record that its field belongs to.
    pub(crate) fn head(&self) -> &str {
        self.of.split('.').next().unwrap_or_default()
    }
}

/// Two ways to the same thing: where they are further apart than this, the record contradicts itself.
#[derive(Debug, Clone)]
pub struct Agree {
    /// What is compared, in a line.
    pub title: String,
    /// The part that it is about, and kinds of element.
    pub head: String,
    /// Kinds of element that it holds for; all where there are none.
    pub kinds: Vec<ElementKind>,
    pub when: Option<Expr>,
    /// One side, as written and as read.
    pub this: (String, Expr),
    /// The other side.
    pub that: (String, Expr),
    /// Least ratio of the first to the second.
    pub least: Option<f64>,
    /// Largest ratio of the first to the second.
    pub most: Option<f64>,
    /// Facts besides the two that rest on them.
    pub takes: Vec<String>,
    /// True where the difference is told as what nothing explains.
    pub unexplained: bool,
    pub basis: String,
    /// True where both sides stand in the record itself.
    pub of_record: bool,
}

impl Agree {
    /// The facts that are compared.
    pub(crate) fn names(&self) -> Vec<&str> {
        let mut names = Vec::new();
        gather(&self.this.1, &mut names);
        gather(&self.that.1, &mut names);
        names.retain(|name| !name.starts_with("limit."));
        names
    }
}

/// Something a house changed, for the write-up.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
pub struct Change {
    /// What was changed, as a person would say it.
    pub what: String,
    /// Why.
    pub reason: String,
}

/// Rules and limits, checked.
#[derive(Debug, Clone)]
pub struct Book {
    /// The rules in the order of the files.
    pub rules: Vec<Rule>,
    /// The limits.
    pub limits: Vec<Limit>,
    /// What they cite.
    pub sources: Vec<Source>,
    /// What several rules tell of together.
    pub causes: Vec<CauseRule>,
    /// How a fact is come by, the easiest first.
    pub efforts: Vec<Effort>,
    /// What it takes to look at facts.
    pub looks: Vec<LookRule>,
    /// The questions that the first look is for.
    pub headlines: Vec<HeadlineRule>,
    /// What claims have to pass, and what could support them.
    pub supports: Vec<SupportRule>,
    /// Ranges in which a value is taken as it stands.
    pub plausible: Vec<Plausible>,
    /// What a record says twice.
    pub agree: Vec<Agree>,
    /// What a house changed.
    pub changes: Vec<Change>,
    /// The files of rules beside the built-in ones, those that were left aside included.
    pub files: Vec<RuleFile>,
}

impl Book {
    /// SHA-256 of the rules in force: the built-in files and those of the house that were applied.
    pub fn digest(&self) -> Sha256Digest {
        let mut text = String::new();
        for (name, content) in BUILT_IN {
            text.push_str(&format!("{}  {name}\n", Sha256Digest::of(content.as_bytes())));
        }
        for file in self.files.iter().filter(|file| file.applied) {
            text.push_str(&format!("{}  {}\n", file.sha256.as_deref().unwrap_or_default(), file.name));
        }
        Sha256Digest::of(text.as_bytes())
    }

    /// The built-in book.
    ///
    /// # Errors
    /// [`Problems`] when the built-in book itself is wrong, which a test excludes.
    pub fn built_in() -> Result<Arc<Self>, Problems> {
        static LOADED: OnceLock<Result<Arc<Book>, Problems>> = OnceLock::new();
        LOADED.get_or_init(|| Self::of(&BUILT_IN).map(Arc::new)).clone()
    }

    /// A whole book from its text; `file` names it in messages.
    ///
    /// # Errors
    /// [`Problems`] with every place that is wrong.
    pub fn read(file: &str, text: &str) -> Result<Self, Problems> {
        Self::of(&[(file, text)])
    }

    /// A whole book from its files in order.
    fn of(files: &[(&str, &str)]) -> Result<Self, Problems> {
        let mut book = Self {
            rules: Vec::new(),
            limits: Vec::new(),
            sources: Vec::new(),
            causes: Vec::new(),
            efforts: Vec::new(),
            looks: Vec::new(),
            headlines: Vec::new(),
            supports: Vec::new(),
            plausible: Vec::new(),
            agree: Vec::new(),
            changes: Vec::new(),
            files: Vec::new(),
        };
        let entries: Vec<_> = files.par_iter().map(|(file, text)| load::entries(file, text)).collect();
        for ((file, text), entries) in files.iter().zip(entries) {
            load::add(&mut book, file, text, &entries?, false)?;
        }
        book.settle();
        Ok(book)
    }

    /// The largest number of something that a rule asks for, where a fact counts it: more than this need not be counted.
    /// None where no rule asks for the fact.
    pub(crate) fn most_asked(&self, fact: &str) -> Option<usize> {
        self.asking(fact).map(|(_, enough)| enough).max()
    }

    /// The rules that ask for a fact, with how much of it they ask for.
    pub(crate) fn asking(&self, fact: &str) -> impl Iterator<Item = (&Rule, usize)> {
        let rules = self.rules.iter().filter(|rule| rule.off.is_none());
        rules.filter_map(move |rule| Some((rule, rule.asks(fact)?)))
    }

    /// True where a rule is applied to each photo.
    pub(crate) fn asks_photos(&self) -> bool {
        self.rules.iter().any(|rule| rule.off.is_none() && rule.scope == Scope::Photos)
    }

    /// How a fact is come by and when: the first that the book says of it.
    pub(crate) fn effort_of(&self, fact: &str) -> (&Effort, Stage) {
        self.effort_where(|look| look.names(fact))
    }

    /// How a closer measure for a rule is come by and when.
    pub(crate) fn effort_of_rule(&self, id: &str) -> (&Effort, Stage) {
        self.effort_where(|look| look.rules.iter().any(|rule| rule == id || rule == "*"))
    }

    /// How to get a fact, where the book says it of the fact itself.
    pub(crate) fn how_to_get(&self, fact: &str) -> Option<&str> {
        let look = self.looks.iter().find(|look| look.names(fact))?;
        Some(look.how.as_str()).filter(|how| !how.is_empty())
    }

    fn effort_where(&self, wanted: impl Fn(&LookRule) -> bool) -> (&Effort, Stage) {
        /// What nothing is said of.
        static UNKNOWN: Effort = Effort { id: String::new(), time_s: 60.0, caution: String::new() };
        self.looks
            .iter()
            .find(|look| wanted(look))
            .map_or((&UNKNOWN, Stage::LidOff), |look| (&look.effort, look.stage))
    }

    /// A rule by its id.
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.iter().find(|rule| rule.id == id)
    }

    /// A source by its id.
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }

    /// The limits that a rule compares with.
    pub fn limits_of(&self, rule: &Rule) -> impl Iterator<Item = &Limit> {
        let names = rule.names();
        let named =
            move |limit: &&Limit| names.iter().any(|name| name.strip_prefix("limit.") == Some(&limit.name));
        self.limits.iter().filter(named)
    }

    /// Takes class and sources of every rule from what it says itself and from its limits: a rule is worth no more than
    /// its threshold, and a custom has no grade.
    fn settle(&mut self) {
        let mut rules = std::mem::take(&mut self.rules);
        for rule in &mut rules {
            let (class, grade) = rule.stated;
            let custom =
                class == Class::Custom || self.limits_of(rule).any(|limit| limit.class == Class::Custom);
            (rule.class, rule.grade) = if custom { (Class::Custom, Grade::Custom) } else { (class, grade) };
            let of_limits = self.limits_of(rule).flat_map(|limit| &limit.sources);
            let ids: BTreeSet<&String> = rule.sources.iter().chain(of_limits).collect();
            rule.cited = ids.into_iter().filter_map(|id| self.source(id)).map(Source::cite).collect();
        }
        self.rules = rules;
    }

    /// The limits by name.
    pub fn limit_amounts(&self) -> BTreeMap<String, Amount> {
        self.limits.iter().map(|limit| (limit.name.clone(), limit.amount.clone())).collect()
    }
}
