//! What the engine says of a rule: the outcome, and the working behind it.

use std::ops::Range;

use serde::Serialize;

use crate::judge::facts::{Missing, Subject};
use crate::record::words;

words! {
    /// How grave a nonconformity is, in the trade's words, gravest first.
    pub enum Grade {
        /// can hurt people or start a fire
        Critical = "critical",
        /// the pack does not do what its nameplate says
        Major = "major",
        /// workmanship, information, serviceability
        Minor = "minor",
        /// an opinion of the trade: it has no grade, whatever falls short of it
        Custom = "custom",
    }

    /// What a threshold rests on. A formula does not make a custom threshold physics.
    pub enum Class {
        /// physics or measurement
        Physics = "physics",
        /// a standard, a regulation or a data sheet that was read
        Published = "published",
        /// a custom of the trade: opinion
        Custom = "custom",
    }
}

impl Grade {
    /// True for what the headline and the exit status look at.
    pub const fn is_grave(self) -> bool {
        matches!(self, Self::Critical | Self::Major)
    }
}

/// Three outcomes, never two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, schemars::JsonSchema)]
pub enum Outcome {
    /// The requirement is not fulfilled.
    #[serde(rename = "falls short")]
    FallsShort,
    /// Facts are missing, or the limit lies inside the measurement uncertainty.
    #[serde(rename = "not decided")]
    NotDecided,
    /// The requirement is fulfilled.
    #[serde(rename = "meets")]
    Meets,
}

impl Outcome {
    /// What several outcomes come to: none is not decided.
    pub fn together(outcomes: impl IntoIterator<Item = Self>) -> Self {
        outcomes.into_iter().min().unwrap_or(Self::NotDecided)
    }

    /// The words for it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::FallsShort => "falls short",
            Self::NotDecided => "not decided",
            Self::Meets => "meets",
        }
    }

    /// A shape for it, so that colour alone never carries the meaning.
    pub const fn shape(self) -> &'static str {
        match self {
            Self::FallsShort => "▼",
            Self::NotDecided => "◇",
            Self::Meets => "●",
        }
    }
}

/// A fact that was put into a rule.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Used {
    /// Its name in the expression.
    pub name: String,
    /// Its value as a person would read it.
    pub value: String,
    /// How it came: a word of the record, `derived`, `limit`, or "not stated".
    pub how: String,
    /// The instrument, when it was measured with one that is named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub with: Option<String>,
    /// Photos of it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub photos: Vec<String>,
    /// How a derived value was worked out, line by line.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<String>,
    /// Sources of the physics behind a derived value.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<String>,
    /// What was assumed on the way.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub assumed: Vec<String>,
    /// Names of the claims that it is, or that a derived value rests on.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub claims: Vec<String>,
    /// Where it stands in the record, in bytes.
    #[serde(skip)]
    pub span: Range<usize>,
}

/// One side of a comparison.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct ComparedSide {
    /// Its value as a person would read it.
    pub value: String,
    /// Its value in SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub si: Option<f64>,
    /// Its expanded uncertainty (k = 2) in SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expanded_si: Option<f64>,
}

/// How an outcome came about.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Working {
    /// The requirement as written in the book.
    pub expression: String,
    /// The requirement with its numbers put in.
    pub numbers: String,
    /// Facts that went in.
    pub used: Vec<Used>,
    /// Left side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left: Option<ComparedSide>,
    /// Right side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub right: Option<ComparedSide>,
    /// By how much the requirement is met (positive) or missed (negative), with unit and percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<String>,
    /// What the decision rule says where uncertainty is at play.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decision: Option<String>,
}

/// A rule applied to a subject.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Finding {
    /// The rule's id.
    pub rule: String,
    /// What the rule requires, in a line.
    pub title: String,
    /// What is said of the pack: the nonconformity when the rule falls short, else what it requires.
    pub statement: String,
    /// The subject under which the rule is listed.
    pub topic: String,
    /// The claim that the rule tests; empty where it tests none.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub tests_claim: String,
    /// What the rule was applied to, as a person would say it; empty for the whole pack.
    pub subject: String,
    /// The part of the record it is about: an element's id or a part's name.
    pub part: String,
    /// Outcome.
    pub outcome: Outcome,
    /// Grade of the nonconformity, if it is one.
    pub grade: Grade,
    /// The working.
    pub working: Working,
    /// What is missing for a decision.
    pub missing: Vec<Missing>,
    /// True when the outcome rests on a claim rather than on a finding.
    pub rests_on_claims: bool,
    /// Names of those claims; the nameplate itself, which every rule may be held against, is not among them.
    pub claimed_facts: Vec<String>,
    /// What the rule's threshold rests on.
    pub class: Class,
    /// How it rests on it.
    pub basis: String,
    /// The sources that it cites, each with where and when it was read.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<String>,
    /// Why it matters.
    pub why: String,
    /// What to do about it.
    pub advice: String,
    /// Photos that show it.
    pub photos: Vec<String>,
    /// What the rule was applied to.
    #[serde(skip)]
    pub at: Subject,
}

/// A rule that was not applied, and why.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct NotApplied {
    /// The rule's id.
    pub rule: String,
    /// The rule's title.
    pub title: String,
    /// Why it does not apply, or why the house turned it off.
    pub because: String,
    /// True when the house turned it off.
    pub turned_off: bool,
}
