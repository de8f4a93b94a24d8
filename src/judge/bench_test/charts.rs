//! The charts of a log: voltage, current and temperatures over one axis of time, with what happened marked on it.

use super::course::{Channel, Course};
use super::{CURVE_POINTS, Curve, CurveLine, Work};
use crate::logs::downsample::lttb;
use crate::logs::integrate::{Gap, Integral};
use crate::logs::read::Meaning;
use crate::physics::ZERO_CELSIUS;

/// Gaps that are marked in a chart.
const GAPS: usize = 2;

/// Marked values with their labels.
pub(super) type Marks = Vec<(f64, String)>;

/// A line of a chart before it is thinned: name and points.
pub(super) type Line = (String, Vec<(f64, f64)>);

/// Points of a line where a chart has several.
fn points_each(lines: usize) -> usize {
    (2 * CURVE_POINTS / lines.max(1)).clamp(120, CURVE_POINTS)
}

/// Seconds of a log as minutes since `from`.
fn minutes(points: &[(f64, f64)], from: f64, offset: f64, sign: f64) -> Vec<(f64, f64)> {
    points.iter().map(|(time, y)| ((time - from) / 60.0, sign * y - offset)).collect()
}

/// What a line of a temperature is called: its part, with the column where that says something else.
fn line_name(channel: &Channel) -> String {
    match &channel.part {
        Some(part) if !part.eq_ignore_ascii_case(&channel.label) => format!("{part} ({})", channel.label),
        Some(part) => part.clone(),
        None => channel.label.clone(),
    }
}

/// Where the longest gaps of the log begin: a line that is drawn over them is no reading.
pub(super) fn gap_marks(integral: &Integral, from: f64) -> Marks {
    let mut longest: Vec<&Gap> = integral.gaps.iter().collect();
    longest.sort_by(|a, b| b.length.total_cmp(&a.length));
    let mark = |time: f64, word: &str| ((time - from) / 60.0, word.to_owned());
    let both = longest.iter().take(GAPS).flat_map(|gap| {
        let (begins, length) = (gap.from, gap.length);
        [mark(begins, "gap from"), mark(begins + length, "gap to")]
    });
    both.collect()
}

impl Work<'_> {
    /// A chart of one line.
    pub(super) fn curve(
        &mut self,
        name: &str,
        x: &str,
        y: &str,
        points: &[(f64, f64)],
        marks: Marks,
        levels: Marks,
    ) {
        self.chart(name, x, y, vec![(String::new(), points.to_vec())], marks, levels);
    }

    /// A chart of several lines; those without two points are left out, and a chart without a line.
    pub(super) fn chart(
        &mut self,
        name: &str,
        x: &str,
        y: &str,
        lines: Vec<Line>,
        marks: Marks,
        levels: Marks,
    ) {
        let each = points_each(lines.len());
        let mut series: Vec<CurveLine> = lines
            .into_iter()
            .map(|(name, points)| {
                let finite: Vec<(f64, f64)> =
                    points.into_iter().filter(|(x, y)| x.is_finite() && y.is_finite()).collect();
                CurveLine { name, points: lttb(&finite, each) }
            })
            .filter(|series| series.points.len() >= 2)
            .collect();
        if series.is_empty() {
            return;
        }
        if let [only] = series.as_mut_slice() {
            only.name.clear();
        }
        let (name, x, y) = (name.to_owned(), x.to_owned(), y.to_owned());
        self.result.curves.push(Curve { name, x, y, series, marks, levels });
    }

    /// Voltage over time, with the gauge's where the log has it.
    pub(super) fn chart_voltage(
        &mut self,
        course: &Course,
        from: f64,
        under: &str,
        marks: Marks,
        levels: Marks,
    ) {
        let mut lines: Vec<Line> = Vec::new();
        if let Some(channel) = &course.voltage {
            lines.push(("terminals".to_owned(), minutes(&channel.picture.points(), from, 0.0, 1.0)));
        }
        for (_, channel) in course.gauge.iter().filter(|(meaning, _)| *meaning == Meaning::Voltage) {
            lines.push(("gauge".to_owned(), minutes(&channel.picture.points(), from, 0.0, 1.0)));
        }
        self.chart("voltage over time", &format!("minutes {under}"), "voltage in V", lines, marks, levels);
    }

    /// Current over time: the whole, its branches, the gauge's.
    pub(super) fn chart_current(&mut self, course: &Course, from: f64, under: &str, marks: Marks, sign: f64) {
        let lines = current_lines(course, from, sign);
        self.chart(
            "current over time",
            &format!("minutes {under}"),
            "current in A",
            lines,
            marks,
            Vec::new(),
        );
    }

    /// All temperatures of a log in one chart.
    pub(super) fn chart_temperatures(
        &mut self,
        course: &Course,
        from: f64,
        under: &str,
        marks: Marks,
        levels: Marks,
    ) {
        let lines: Vec<Line> = course
            .temperatures
            .iter()
            .map(|channel| (line_name(channel), minutes(&channel.picture.points(), from, ZERO_CELSIUS, 1.0)))
            .collect();
        let name = match lines.as_slice() {
            [(only, _)] => format!("temperature over time: {only}"),
            _ => "temperatures over time".to_owned(),
        };
        self.chart(&name, &format!("minutes {under}"), "temperature in °C", lines, marks, levels);
    }
}

/// The currents of a course as lines: the sum first where there are several.
pub(super) fn current_lines(course: &Course, from: f64, sign: f64) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    if !course.currents.is_empty() {
        let name = if course.currents.len() > 1 { "sum" } else { "whole current" };
        lines.push((name.to_owned(), minutes(&course.current_picture.points(), from, 0.0, sign)));
    }
    if course.currents.len() > 1 {
        for channel in &course.currents {
            lines.push((channel.label.clone(), minutes(&channel.picture.points(), from, 0.0, sign)));
        }
    }
    for (_, channel) in course.gauge.iter().filter(|(meaning, _)| *meaning == Meaning::Current) {
        lines.push(("gauge".to_owned(), minutes(&channel.picture.points(), from, 0.0, sign)));
    }
    lines
}

/// Points of a branch on the chart's axis.
pub(super) fn branch_line(name: &str, points: &[(f64, f64)], from: f64) -> Line {
    (name.to_owned(), minutes(points, from, 0.0, 1.0))
}
