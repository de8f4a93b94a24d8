//! Small pure functions over typed quantities; each carries its formula, its source and its range of
//! validity, and refuses outside it.
//!
//! Nothing here knows of records or rules. Every function is smooth inside its range, so that callers may
//! take its slopes by finite differences, and every solver runs to machine precision for the same reason.

pub mod adiabatic;
pub mod busbar;
pub mod cable;
pub(crate) mod cells;
pub mod fuse;
pub mod heat_path;
pub(crate) mod insulation;
pub mod joint;
pub(crate) mod marking;
pub mod material;
pub mod resistance;
pub mod short_circuit;

use thiserror::Error;

/// Why a function does not answer.
#[derive(Debug, Clone, PartialEq, Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum Refusal {
    #[error("{what} is {given}; the method holds from {from} to {to}")]
    Outside { what: &'static str, given: String, from: String, to: String },
    #[error("{0}")]
    NoResult(String),
}

/// A method, described for people: what the working and the explanations print.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
pub struct Method {
    /// Its name.
    pub name: &'static str,
    /// Its formula.
    pub formula: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// Where it holds.
    pub range: &'static str,
}

/// Checks that a plain SI value lies in a range; NaN never does.
fn within(
    what: &'static str,
    value: f64,
    from: f64,
    to: f64,
    scale: f64,
    unit: &str,
) -> Result<f64, Refusal> {
    if value >= from && value <= to {
        return Ok(value);
    }
    let show = |v: f64| {
        let shown = crate::units::significant(v * scale, 4);
        format!("{shown} {unit}").trim_end().to_owned()
    };
    Err(Refusal::Outside { what, given: show(value), from: show(from), to: show(to) })
}

/// Checks a temperature in kelvin, shown in °C.
fn within_temperature(what: &'static str, kelvin: f64, from: f64, to: f64) -> Result<f64, Refusal> {
    if kelvin >= from && kelvin <= to {
        return Ok(kelvin);
    }
    let show = |k: f64| format!("{} °C", crate::units::significant(k - ZERO_CELSIUS, 4));
    Err(Refusal::Outside { what, given: show(kelvin), from: show(from), to: show(to) })
}

/// Kelvin of 0 °C (exact; BIPM, SI brochure).
pub(crate) const ZERO_CELSIUS: f64 = 273.15;
/// Kelvin of the reference temperature of resistivity tables, 20 °C.
pub(crate) const REFERENCE: f64 = ZERO_CELSIUS + 20.0;
