//! Curves of bench tests: what a chart draws, and what stands beside it as CSV.

use serde::Serialize;

/// A line of a curve.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct CurveLine {
    /// What it is; empty where a chart has one line only.
    pub name: String,
    /// Points, in the units of the axes.
    pub points: Vec<(f64, f64)>,
}

/// One or more lines over the same axes.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Curve {
    /// What it shows.
    pub name: String,
    /// Quantity and unit along the horizontal axis.
    pub x: String,
    /// Quantity and unit along the vertical axis.
    pub y: String,
    /// The lines.
    pub series: Vec<CurveLine>,
    /// Marked values along the horizontal axis: value, label.
    pub marks: Vec<(f64, String)>,
    /// Marked values along the vertical axis: value, label.
    pub levels: Vec<(f64, String)>,
}

impl Curve {
    /// Every point of every line.
    pub fn points(&self) -> impl Iterator<Item = (f64, f64)> {
        self.series.iter().flat_map(|series| series.points.iter().copied())
    }
}
