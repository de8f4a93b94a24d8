//! The recorded pack as one electro-thermal network, and what follows from it.
//!
//! A part has no ampacity of its own inside a pack: heat flows from the warm parts to the cool ones, through posts into
//! the cells, and to the air. What is asked is the temperature of each place at a current, after a time, against the
//! limit of that place. What nobody recorded is a range; see [`stand_in`].

mod build;
mod facts;
pub(super) mod limits;
mod measured;
pub(super) mod stand_in;

pub(crate) use build::{LINK_ENDS, LINK_FILM};
pub(crate) use facts::{PlaceTold, TOLD_ONLY, heated, is_fact, of};
pub(crate) use measured::{Measured, MeasuredTemperature};
