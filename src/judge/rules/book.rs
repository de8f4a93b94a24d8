//! The rule book: rules and named limits as TOML, checked when they are loaded.
//!
//! A house book is read after the built-in one. It may add rules, set limits, change a grade or turn a
//! rule off with a reason; the write-up prints every such change.

mod load;
mod origin;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

use super::expr::{Expr, Node, Relation, gather};
use super::finding::{Class, Grade};
use super::scope::Scope;
use crate::evidence::hash::Sha256Digest;
use crate::record::problem::Problems;
use crate::record::words;
use crate::units::Amount;
pub use origin::RuleFile;

/// The rule book that is compiled in: its sources, the pack's rules, then those of the test rig.
pub(crate) const BUILT_IN: [(&str, &str); 3] = [
    ("checklists/sources.toml", include_str!("../../../checklists/sources.toml")),
    ("checklists/rules.toml", include_str!("../../../checklists/rules.toml")),
    ("checklists/rig.toml", include_str!("../../../checklists/rig.toml")),
];

/// A rule, checked.
#[derive(Debug, Clone)]
pub struct Rule {
    /// Unique id.
    pub id: String,
    /// What it requires, in a line.
    pub title: String,
    /// What is said when it falls short, in a line.
    pub fault: String,
    /// The subject it is listed under.
    pub subject: String,
    /// What it is applied to.
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
    /// Why it matters.
    pub why: String,
    /// What to measure and how.
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
    pub(crate) fn names(&self) -> Vec<String> {
        let mut names = Vec::new();
        gather(&self.require, &mut names);
        names
    }

    /// How much of a counted fact it asks for.
    fn asks(&self, fact: &str) -> Option<usize> {
        let mut names = self.names();
        if let Some((_, when)) = &self.when {
            gather(when, &mut names);
        }
        if !names.iter().any(|name| name == fact) {
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

/// A named limit.
#[derive(Debug, Clone)]
pub struct Limit {
    /// Its name, without `limit.`.
    pub name: String,
    /// Its value.
    pub amount: Amount,
    /// Its value as written.
    pub text: String,
    /// What it is.
    pub about: String,
    /// What its value rests on.
    pub class: Class,
    /// How it rests on it.
    pub basis: String,
    /// Ids of the sources that it cites.
    pub sources: Vec<String>,
}

/// Something that was read, or a law of physics with its argument.
#[derive(Debug, Clone)]
pub struct Source {
    /// Unique id.
    pub id: String,
    /// What it is a source of: physics or published.
    pub class: Class,
    /// Title, with the edition.
    pub title: String,
    /// Clause, table or page.
    pub clause: String,
    /// How it was read.
    pub read: Option<Reading>,
    /// Where it was read.
    pub address: String,
    /// When it was read.
    pub date: String,
    /// What it says, as far as the book rests on it.
    pub says: String,
}

words! {
    /// How a source was read.
    pub enum Reading {
        /// the text itself, in a public copy
        Copy = "public copy",
        /// another author's account of it
        SecondHand = "second-hand",
    }
}

impl Source {
    /// It in a line, as a finding cites it.
    #[must_use]
    pub fn cite(&self) -> String {
        let clause = if self.clause.is_empty() { String::new() } else { format!(", {}", self.clause) };
        let read = match self.read {
            Some(Reading::Copy) => format!(" (read {}: {})", self.date, self.address),
            Some(Reading::SecondHand) => format!(" (read second-hand {}: {})", self.date, self.address),
            None => String::new(),
        };
        format!("{}{clause}{read}", self.title)
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
    /// What a house changed.
    pub changes: Vec<Change>,
    /// The files of rules beside the built-in ones, those that were left aside included.
    pub files: Vec<RuleFile>,
}

impl Book {
    /// SHA-256 of the rules in force: the built-in files and those of the house that were applied.
    #[must_use]
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
            changes: Vec::new(),
            files: Vec::new(),
        };
        for (file, text) in files {
            load::add(&mut book, file, text, false)?;
        }
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

    /// A rule by its id.
    #[must_use]
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.iter().find(|rule| rule.id == id)
    }

    /// A source by its id.
    #[must_use]
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
    #[must_use]
    pub fn limit_amounts(&self) -> BTreeMap<String, Amount> {
        self.limits.iter().map(|limit| (limit.name.clone(), limit.amount.clone())).collect()
    }
}
