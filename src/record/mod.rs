//! The record: a TOML file that says what was claimed, found and measured, and how each value came.
//!
//! The record knows nothing of rules. It keeps *absent* (looked for, not there), *could not see* and
//! *not recorded* apart, because a rule must never pass on something that nobody looked at. Its
//! schema is the declarations in [`parts`]: the reader, the JSON Schema, the rule names and the
//! checklists are all made from them.

pub(crate) mod area;
pub(crate) mod doubt;
pub mod edit;
pub mod field;
pub(crate) mod migrate;
pub(crate) mod open;
pub(crate) mod part;
pub mod parts;
pub mod problem;
pub(crate) mod read;
pub(crate) mod reads;
pub(crate) mod renamed;
pub(crate) mod save;
pub(crate) mod schema;
mod starter;

/// Records are written like every other file.
pub(crate) use field::words;
pub(crate) use field::{Entry, Words};
pub use field::{Found, How, Kind, State, Value};
pub use part::reader::read_answer;
pub(crate) use part::reader::{LARGEST, SCHEMA};
pub(crate) use part::{AnyPart, ChildInfo, Inner, Own};
pub use part::{FieldInfo, Part, Shape};
pub use parts::Record;
pub use read::read;
pub use starter::starter;
