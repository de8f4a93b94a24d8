//! What a sheet is made of: named values, and the steps of a session.

use serde::Serialize;

use crate::units::{Dimension, Quantity, show, show_to, significant};

/// Durations from here on are told in hours, s.
const TWO_HOURS: f64 = 7_200.0;
/// Longer ones are told in days, s.
const FOUR_DAYS: f64 = 345_600.0;

/// A named value.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Line {
    /// Its name.
    pub name: String,
    /// Its value, for people.
    pub value: String,
    /// Its value in SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub si: Option<f64>,
    /// The unit of that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub si_unit: Option<String>,
}

impl Line {
    pub(super) fn words(name: &str, value: &str) -> Self {
        Self { name: name.to_owned(), value: value.to_owned(), si: None, si_unit: None }
    }

    pub(super) fn of(name: &str, value: f64, dimension: Dimension) -> Self {
        Self {
            name: name.to_owned(),
            value: show(value, dimension),
            si: Some(value),
            si_unit: Some(dimension.to_string()),
        }
    }

    /// What is only expected: two digits.
    pub(super) fn about(name: &str, value: f64, dimension: Dimension) -> Self {
        Self { value: show_to(value, 2, dimension), ..Self::of(name, value, dimension) }
    }

    pub(super) fn recorded(name: &str, quantity: &Quantity) -> Self {
        Self { value: quantity.text.clone(), ..Self::of(name, quantity.value, quantity.dimension) }
    }

    /// A duration; from two hours on in hours, as a clock at the bench shows it.
    pub(super) fn duration(name: &str, seconds: f64) -> Self {
        let mut line = Self::of(name, seconds, Dimension::TIME);
        if (TWO_HOURS..FOUR_DAYS).contains(&seconds) {
            line.value = format!("{} h", significant(seconds / 3600.0, 3));
        }
        line
    }

    pub(super) fn and(mut self, more: &str) -> Self {
        self.value.push_str(more);
        self
    }
}

/// One step of the session, in its order.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct Planned {
    /// Its name for machines.
    pub id: &'static str,
    /// Its title.
    pub title: String,
    /// What to set, and what to expect.
    pub settings: Vec<Line>,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// What to write down.
    pub note: Vec<String>,
    /// Where it is dangerous.
    pub cautions: Vec<String>,
}
