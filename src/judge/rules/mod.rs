//! The rule engine: one comparison a rule, three outcomes, the working always shown.
//!
//! Rules are data ([`Book`]); their expressions are checked for existence and dimension when a book is
//! loaded. The engine puts a record's facts in and ends each rule as *meets*, *falls short* or *not
//! decided*. What is missing is never guessed: it is listed.

mod book;
mod causes;
pub(crate) mod doubts;
mod engine;
pub mod expr;
mod finding;
pub(crate) mod names;
pub(crate) mod page;
mod scope;

pub(crate) use book::BUILT_IN;
pub use book::Book;
pub(crate) use book::{
    Change, Effort, HeadlineRule, Limit, Modification, Rule, RuleFile, Stage, SupportRule, built_in_digest,
};
pub(crate) use causes::Cause;
pub use engine::judge;
pub(crate) use engine::{Judgement, again, at_least, judge_rig, subjects};
pub(crate) use finding::{Class, ComparedSide, Grade, NotApplied};
pub use finding::{Finding, Outcome};
pub use scope::Scope;
