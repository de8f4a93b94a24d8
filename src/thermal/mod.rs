//! The pack as one network, electrical and thermal.
//!
//! A [`Network`] is described by points and elements: bars and cables with distributed heat, joints, cells, devices,
//! masses, faces to the air. Numbers are known or hang on free quantities with rectangular ranges. [`Circuit`] checks
//! and orders it; [`Circuit::at`] fills in numbers. A [`Case`] gives the steady state, the course in time, the time until
//! the first limit and the permissible current. [`fit()`] lets measurements narrow what is believed of the free
//! quantities, and names what contradicts; [`Spread`] carries that through to ranges of answers.
//!
//! Everything is plain SI (kelvin, watt, joule, metre, ohm, ampere, second). Nothing here knows of records or verdicts.

pub mod air;
mod belief;
mod circuit;
mod currents;
pub mod film;
mod fit;
mod lanes;
mod mesh;
mod network;
mod permissible;
mod ranges;
mod sparse;
mod steady;
mod transient;
pub use belief::Belief;
pub use circuit::{Case, Circuit};
pub use fit::{CONTRADICTS, Experiment, Fit, Measurand, Measurement, Residual, fit};
pub use mesh::LORENZ;
pub use network::{
    Bar, Cell, Cover, CrossSection, Device, ElementId, Film, Free, FreeId, FreeScope, Joint, Metal, Network,
    NetworkPlace, NetworkRefusal, NetworkValue, Overlap, Point, Post, Resistance, Surface,
};
pub use permissible::{Duty, Permissible};
pub use ranges::{PermissibleRange, Range, Spread, TemperatureRanges};
pub use steady::ThermalState;
pub use transient::{Course, Phase};
