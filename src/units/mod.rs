//! Quantities as the trade writes them: a number, a unit, and perhaps a measurement uncertainty.
//!
//! `"250 A"`, `"25 x 3 mm"`, `"2/0 AWG"`, `"33 degF"`, `"1.8 mΩ"`, `"3.02 mm ± 0.05 mm"`. Inside the
//! program every value is in SI units with its [`Dimension`]; what the user typed is kept for display.
//!
//! A range is written as one: `"2 to 4 mm"`, `"at least 2 mm"`, `"at most 20 mV"`, `"about 25 mm"`, which means within a
//! fifth of it.
//!
//! Three things are refused because guessing them would be silent damage:
//! - a bare number where a unit is needed,
//! - a comma that may be a decimal mark or one of thousands (`2,000 A` is two amperes to half of the world; `2,5 mm` is
//!   read),
//! - kelvin for a temperature: here `°C` and `°F` are points on a scale and `K` is a difference, so
//!   that the two are never mixed up.
//!
//! What stands after `±` is read as the expanded uncertainty (coverage factor 2, about 95 %), the
//! reading that JCGM 100:2008 (GUM) 7.2.2 note warns readers will give it anyway.

mod dimension;
mod parse;
pub(crate) mod price;
mod show;
mod slip;
pub(crate) mod terminal;
mod uncertain;
mod unit;
pub(crate) mod words;

pub use dimension::Dimension;
pub(crate) use parse::{NotAQuantity, awg_square_millimetres, parse, parse_size};
pub(crate) use show::{
    rounded_to, show, show_difference, show_percent, show_percent_uncertain, show_range, show_to,
    show_uncertain, si_unit, significant,
};
pub(crate) use slip::likely_meant;
pub use uncertain::{Amount, SourceId, Uncertain, propagate};
pub(crate) use unit::{Unit, find_unit};

/// The coverage factor of every stated uncertainty and every decision: about 95 % for a normal
/// distribution (JCGM 100:2008 6.3.3; ILAC-G8:09/2019 uses the same for its guard bands).
pub const COVERAGE: f64 = 2.0;

/// A value that was read from text: SI value, dimension, uncertainty, and the text itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// The value in SI base units (a temperature in kelvin).
    pub value: f64,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// Expanded uncertainty (k = 2) in SI base units, when one was written.
    pub expanded: Option<f64>,
    /// The side on which the true value lies, where only a bound was written.
    pub bound: Option<OneSided>,
    /// The text as the user wrote it, without outer spaces.
    pub text: String,
}

impl Quantity {
    /// A quantity without uncertainty whose text is our own rendering of it.
    pub fn of(value: f64, dimension: Dimension) -> Self {
        Self { value, dimension, expanded: None, bound: None, text: show(value, dimension) }
    }
}

/// The end of a range of which the other end is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OneSided {
    /// The true value is at least this large.
    AtLeast,
    /// The true value is at most this large.
    AtMost,
}
