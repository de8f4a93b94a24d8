//! Curves of bench tests: what a chart draws and what the CSV beside it holds.

use serde::Serialize;

use crate::render::markup::csv_cell;

/// A line of a curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// What it is; empty where a chart has one line only.
    pub name: String,
    /// Points, in the units of the axes.
    pub points: Vec<(f64, f64)>,
}

/// One or more lines over the same axes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Curve {
    /// What it shows.
    pub name: String,
    /// Quantity and unit along the horizontal axis.
    pub x: String,
    /// Quantity and unit along the vertical axis.
    pub y: String,
    /// The lines.
    pub series: Vec<Series>,
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

    /// The curve as CSV: one row a point, with the line's name before it where there are several.
    #[must_use]
    pub fn csv(&self) -> String {
        let several = self.series.len() > 1;
        let mut text = if several { "line,".to_owned() } else { String::new() };
        text.push_str(&format!("{},{}\n", csv_cell(&self.x), csv_cell(&self.y)));
        for series in &self.series {
            let name = if several { format!("{},", csv_cell(&series.name)) } else { String::new() };
            for (x, y) in &series.points {
                text.push_str(&format!("{name}{x},{y}\n"));
            }
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn csv_of_one_and_of_several_lines() {
        let line = |name: &str, y: f64| Series { name: name.to_owned(), points: vec![(0.0, y), (1.0, y)] };
        let mut curve = Curve {
            name: "voltage".to_owned(),
            x: "minutes".to_owned(),
            y: "voltage in V".to_owned(),
            series: vec![line("", 26.5)],
            marks: Vec::new(),
            levels: Vec::new(),
        };
        assert_eq!(curve.csv(), "minutes,voltage in V\n0,26.5\n1,26.5\n");
        curve.series = vec![line("cell 1, left", 1.0), line("b", 2.0)];
        assert_eq!(
            curve.csv(),
            "line,minutes,voltage in V\n\"cell 1, left\",0,1\n\"cell 1, left\",1,1\nb,0,2\nb,1,2\n"
        );
    }
}
