//! Judging: facts are derived here from record, logs and photos, and the rule engine alone decides what they mean.

pub mod bench_test;
pub mod facts;
pub mod inspection;
pub(crate) mod next;
pub mod rig;
pub mod rules;
pub(crate) mod seen;
pub(crate) mod support;
pub(crate) mod withhold;
