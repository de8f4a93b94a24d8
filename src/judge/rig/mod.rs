//! The bench session before it happens: what to set, in which order, and whether the test rig carries it.
//!
//! The rig is a current path of its own. Each group of its elements (those that carry the whole current, and those of
//! each load) is put in the place of a pack's path, with the group's current in the place of the rated one; what every
//! element carries, drops and heats up to then comes from the same code that judges packs. There is no second model, and no
//! second judge: facts are derived here, and the rule book (`checklists/rig.toml`) says what they have to be.
//!
//! A part of the rig whose permissible current cannot be known leaves the rig *not decided* and is named with the line of the
//! record that would tell. A rig is never passed by what nobody wrote down: not by a missing ambient, not by an
//! unlisted lead, not by an instrument without an accuracy. And a rig that meets every check is not called safe.
//!
//! What is planned comes from the claims; a missing claim takes away what follows from it and nothing else.

mod bank;
mod branch;
mod charging;
mod check;
mod circuit;
mod claims;
mod equipment;
mod judged;
mod line;
mod plan;
mod proposals;
mod sheet;
mod view;
mod workup;

pub(crate) use check::{Lacking, RigCheck};
pub use claims::Given;
pub(crate) use line::{Line, Planned};
pub(crate) use proposals::Leads;
pub use sheet::Sheet;
pub(crate) use view::{RigElementRow, RigView};
