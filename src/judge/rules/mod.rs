//! The rule engine: one comparison a rule, three outcomes, the working always shown.
//!
//! Rules are data ([`Book`]); their expressions are checked for existence and dimension when a book is
//! loaded. The engine puts a record's facts in and ends each rule as *meets*, *falls short* or *not
//! decided*. What is missing is never guessed: it is listed.

mod book;
mod engine;
pub mod expr;
mod finding;
pub(crate) mod names;
pub(crate) mod page;
mod scope;

pub use crate::judge::facts::{Facts, Missing, Subject};
pub(crate) use book::BUILT_IN;
pub use book::{Book, Change, Limit, Rule, RuleFile, Source};
pub use engine::{Judgement, judge};
pub(crate) use engine::{judge_rig, subjects};
pub use finding::{Class, ComparedSide, Finding, Grade, NotApplied, Outcome, Used, Working};
pub use scope::Scope;
