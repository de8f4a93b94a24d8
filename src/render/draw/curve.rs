//! Curves of bench tests as SVG: axes with units, marks with words, readable in print and without colour.
//!
//! Lines differ by their dashes, marks stand in rows above the plot, and a level's words stand where they hide
//! least. Every chart has a title and a description in words; the data lie beside it as CSV.

use std::borrow::Cow;
use std::fmt::Write;

use super::labels::{Area, ROW, above, at_level};
use super::scale::{Scale, range};
use super::svg::{BOTTOM, DASHES, Drawing, Named, Paper};
use crate::judge::bench_test::Curve;
use crate::render::markup::csv_cell;
use crate::units::significant;

/// Height of the plot alone, where the paper does not give it, and the least.
const PLOT: f64 = 154.0;
const LEAST: f64 = 60.0;
const RIGHT: f64 = 12.0;
/// Room above the rows of marks, for the name of the vertical axis.
const TOP: f64 = 20.0;
/// Height of a row of the legend.
const LEGEND: f64 = 15.0;
/// Times up to this many minutes are drawn in seconds.
const SECONDS_UP_TO: f64 = 2.0;
/// Times from this many minutes on are drawn in hours.
const HOURS_FROM: f64 = 600.0;
/// The unit at the end of an axis's name: "charge in Ah", "minutes under load".
fn unit(axis: &str) -> &str {
    match axis.rsplit_once(" in ") {
        Some((_, unit)) if !unit.contains(' ') => unit,
        _ if axis.starts_with("seconds") => "s",
        _ if axis.starts_with("minutes") => "min",
        _ if axis.starts_with("hours") => "h",
        _ => "",
    }
}

/// A marked value in words; what lies at zero needs no number.
fn in_words(value: f64, label: &str, axis: &str) -> String {
    if value == 0.0 && matches!(unit(axis), "s" | "min" | "h") {
        return label.to_owned();
    }
    let unit = unit(axis);
    let space = if unit.is_empty() { "" } else { " " };
    format!("{label} {}{space}{unit}", significant(value, 4).replace('-', "−"))
}

/// Draws a curve for a page; `id` makes its title unique there.
#[must_use]
pub(crate) fn chart(curve: &Curve, id: &str) -> String {
    let curve = in_readable_time(curve);
    draw(&curve, Paper::PAGE).svg(Named { id, title: &curve.name, words: &description(&curve) })
}

/// Draws a curve on any paper.
#[cfg(feature = "video")]
pub(crate) fn on(curve: &Curve, paper: Paper) -> Drawing {
    draw(&in_readable_time(curve), paper)
}

/// The curve as CSV: one row a point, with the line's name before it where there are several.
pub(crate) fn csv(curve: &Curve) -> String {
    let several = curve.series.len() > 1;
    let mut text = if several { "line,".to_owned() } else { String::new() };
    text.push_str(&format!("{},{}\n", csv_cell(&curve.x), csv_cell(&curve.y)));
    for series in &curve.series {
        let name = if several { format!("{},", csv_cell(&series.name)) } else { String::new() };
        for (x, y) in &series.points {
            text.push_str(&format!("{name}{x},{y}\n"));
        }
    }
    text
}

/// The curve with its minutes as seconds or hours, where minutes read badly. The data beside it stay in minutes, so that
/// tests of any length can be laid over each other.
fn in_readable_time(curve: &Curve) -> Cow<'_, Curve> {
    let Some(rest) = curve.x.strip_prefix("minutes") else { return Cow::Borrowed(curve) };
    let (low, high) = range(curve.points().map(|point| point.0));
    let (word, scale) = match high - low {
        span if span <= SECONDS_UP_TO => ("seconds", 60.0),
        span if span >= HOURS_FROM => ("hours", 1.0 / 60.0),
        _ => return Cow::Borrowed(curve),
    };
    let mut curve = curve.clone();
    curve.x = format!("{word}{rest}");
    for point in curve.series.iter_mut().flat_map(|series| &mut series.points) {
        point.0 *= scale;
    }
    for mark in &mut curve.marks {
        mark.0 *= scale;
    }
    Cow::Owned(curve)
}

/// Where everything lies.
struct Layout {
    x: Scale,
    y: Scale,
    /// Upper edge of the plot.
    top: f64,
    bottom: f64,
}

fn draw(curve: &Curve, paper: Paper) -> Drawing {
    let mut drawing = Drawing::new(paper);
    let xs = || curve.points().map(|p| p.0).chain(curve.marks.iter().map(|m| m.0));
    let ys = || curve.points().map(|p| p.1).chain(curve.levels.iter().map(|l| l.0));
    let (x_low, x_high) = range(xs());
    let mut y = Scale::of(ys(), 5.0, 0.0, 0.0);
    let (left, right) = (drawing.before(&y), paper.width - RIGHT);
    let x = Scale::of(xs(), 6.0, left, right).ending_at(x_low.min(0.0), x_high);
    let marks = curve
        .marks
        .iter()
        .filter(|(value, _)| value.is_finite())
        .map(|(value, label)| (x.at(*value), in_words(*value, label, &curve.x)))
        .collect();
    let marks = above(marks, left - 8.0, paper.width - 2.0, |text| drawing.wide("strong", text));
    let rows = marks.iter().map(|mark| mark.row + 1).max().unwrap_or(0) as f64;
    let top = TOP + rows * ROW;
    let mut named = if curve.series.len() > 1 { curve.series.len() } else { 0 };
    let plot = paper.height.map_or(PLOT, |height| {
        let rest = height - top - BOTTOM - 4.0;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few lines")]
        let room = (0.4 * rest / LEGEND).max(0.0) as usize;
        named = named.min(room);
        (rest - LEGEND * named as f64).max(LEAST)
    });
    let bottom = top + plot;
    (y.low, y.high) = (bottom, top);
    drawing.height = bottom + BOTTOM + if named > 0 { LEGEND * named as f64 + 4.0 } else { 0.0 };
    let layout = Layout { x, y, top, bottom };
    drawing.upright(&layout.y, (x.low, x.high), &curve.y);
    drawing.across(&x, (top, bottom), &curve.x);
    let baseline = |row: usize| top - 3.5 - row as f64 * ROW;
    for mark in &marks {
        let line = format!("M{:.1} {:.1}V{bottom:.1}", mark.at, baseline(mark.row) - 8.0);
        drawing.path("mark fuse", format_args!("{line}"));
    }
    let data = lines(&mut drawing, curve, &layout, named);
    for mark in &marks {
        // A label before its mark ends at it, however wide the font makes it.
        let (at, anchor) = mark.ends_at().map_or((mark.left, "start"), |end| (end, "end"));
        drawing.text("label strong halo", (at, baseline(mark.row)), anchor, &mark.text);
    }
    levels(&mut drawing, curve, &layout, &data);
    drawing
}

/// Draws the lines and the legend of so many; gives the lines in the units of the picture.
fn lines(drawing: &mut Drawing, curve: &Curve, layout: &Layout, named: usize) -> Vec<Vec<(f64, f64)>> {
    let mut drawn = Vec::new();
    // Past the dashes that there are, a number at its end tells a line; on a card there is no room for it.
    let numbered = curve.series.len() > DASHES.len() && drawing.paper.height.is_none();
    for (number, series) in curve.series.iter().enumerate() {
        let places: Vec<(f64, f64)> = series
            .points
            .iter()
            .filter(|(px, py)| px.is_finite() && py.is_finite())
            .map(|(px, py)| (layout.x.at(*px), layout.y.at(*py)))
            .collect();
        drawing.line("curve", number, format_args!("{}", through(&places)));
        if let Some((px, py)) = places.last().filter(|_| numbered) {
            // Neighbouring ends take turns at two places.
            let aside = if number % 2 == 0 { 4.0 } else { 16.0 };
            drawing.text("label halo", (px - aside, py - 3.0), "end", &(number + 1).to_string());
        }
        drawn.push(places);
    }
    let left = layout.x.low;
    for (number, series) in curve.series.iter().enumerate().take(named) {
        let height = layout.bottom + BOTTOM + 4.0 + LEGEND * number as f64;
        drawing.line("curve", number, format_args!("M{left:.1} {height:.1}h34"));
        let which = if numbered { format!("{} ", number + 1) } else { String::new() };
        let left_out = curve.series.len() - named;
        let more = if number + 1 == named && left_out > 0 {
            format!(", and {left_out} more")
        } else {
            String::new()
        };
        let name = format!("{which}{}{more}", series.name);
        drawing.text("label", (left + 40.0, height + 3.5), "start", &name);
    }
    drawn
}

/// A line through places.
pub(super) fn through(places: &[(f64, f64)]) -> String {
    let mut line = String::new();
    for (index, (x, y)) in places.iter().enumerate() {
        // Writing to a String cannot fail.
        let _ = write!(line, "{}{x:.1} {y:.1}", if index == 0 { "M" } else { "L" });
    }
    line
}

fn levels(drawing: &mut Drawing, curve: &Curve, layout: &Layout, data: &[Vec<(f64, f64)>]) {
    let across = (layout.x.low, layout.x.high);
    let mut taken: Vec<Area> = Vec::new();
    for (value, label) in curve.levels.iter().filter(|(value, _)| value.is_finite()) {
        let place = layout.y.at(*value);
        drawing.path("mark tested", format_args!("M{:.1} {place:.1}H{:.1}", across.0, across.1));
        let text = in_words(*value, label, &curve.y);
        let wide = drawing.wide("strong", &text);
        let found = at_level(place, wide, across, (layout.top, layout.bottom), data, &mut taken);
        drawing.text("label strong halo", (found.left, found.baseline), "start", &text);
    }
}

fn description(curve: &Curve) -> String {
    let x = range(curve.points().map(|p| p.0).chain(curve.marks.iter().map(|m| m.0)));
    let y = range(curve.points().map(|p| p.1).chain(curve.levels.iter().map(|l| l.0)));
    let s = |value: f64| significant(value, 4);
    let words = |values: &[(f64, String)]| -> Vec<String> {
        values.iter().map(|(v, label)| format!("{label} at {}", s(*v))).collect()
    };
    let lines: Vec<String> = curve
        .series
        .iter()
        .filter_map(|series| {
            let (first, last) = (series.points.first()?, series.points.last()?);
            let (low, high) = range(series.points.iter().map(|point| point.1));
            let name = if series.name.is_empty() { String::new() } else { format!("{}: ", series.name) };
            Some(format!(
                "{name}begins at {}, ends at {}, lies between {} and {}",
                s(first.1),
                s(last.1),
                s(low),
                s(high)
            ))
        })
        .collect();
    let mut text = format!(
        "{} from {} to {}, {} from {} to {}; {}.",
        curve.x,
        s(x.0),
        s(x.1),
        curve.y,
        s(y.0),
        s(y.1),
        lines.join("; ")
    );
    let marked: Vec<String> = words(&curve.marks).into_iter().chain(words(&curve.levels)).collect();
    if !marked.is_empty() {
        text.push_str(&format!(" Marked: {}.", marked.join(", ")));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::bench_test::CurveLine;

    fn curve(series: Vec<CurveLine>) -> Curve {
        Curve {
            name: "voltage over time".to_owned(),
            x: "minutes under load".to_owned(),
            y: "voltage in V".to_owned(),
            series,
            marks: vec![(0.0, "load on".to_owned()), (15.25, "load off".to_owned())],
            levels: vec![(20.0, "cut-off".to_owned())],
        }
    }

    #[test]
    fn words_of_marks_and_levels() {
        let points = vec![(-0.5, 26.4), (0.0, 25.8), (15.25, 25.7), (16.0, 26.3)];
        let svg = chart(&curve(vec![CurveLine { name: String::new(), points }]), "c");
        for text in
            [">load on<", ">load off 15.25 min<", ">cut-off 20 V<", ">voltage in V<", ">minutes under load<"]
        {
            assert!(svg.contains(text), "{text} is missing in {svg}");
        }
        assert!(svg.contains("Marked: load on at 0, load off at 15.25, cut-off at 20."));
    }

    #[test]
    fn csv_of_one_and_of_several_lines() {
        let line = |name: &str, y: f64| CurveLine { name: name.to_owned(), points: vec![(0.0, y), (1.0, y)] };
        let mut curve = Curve {
            name: "voltage".to_owned(),
            x: "minutes".to_owned(),
            y: "voltage in V".to_owned(),
            series: vec![line("", 26.5)],
            marks: Vec::new(),
            levels: Vec::new(),
        };
        assert_eq!(csv(&curve), "minutes,voltage in V\n0,26.5\n1,26.5\n");
        curve.series = vec![line("cell 1, left", 1.0), line("b", 2.0)];
        assert_eq!(
            csv(&curve),
            "line,minutes,voltage in V\n\"cell 1, left\",0,1\n\"cell 1, left\",1,1\nb,0,2\nb,1,2\n"
        );
    }

    /// Names come from strangers' logs, and values may be anything.
    #[test]
    fn ugly_curves_are_drawn() {
        let hostile = "<script>\"&\u{7}".repeat(40);
        let line = |points: Vec<(f64, f64)>| CurveLine { name: hostile.clone(), points };
        for series in [
            vec![],
            vec![line(vec![])],
            vec![line(vec![(0.0, f64::NAN), (f64::INFINITY, 1.0)])],
            vec![line(vec![(0.0, 5.0), (1.0, 5.0)])],
            vec![line(vec![(0.0, -1e300), (1e300, 1e300)])],
            (0..32).map(|n| line(vec![(0.0, f64::from(n)), (1.0, 0.0)])).collect(),
        ] {
            let svg = chart(&curve(series), "c");
            assert!(!svg.contains("<script") && !svg.contains("NaN") && !svg.contains("inf"), "{svg}");
            assert_eq!(svg.matches("<svg").count(), 1);
            assert!(svg.len() < 200_000);
        }
    }

    #[test]
    fn times_are_drawn_in_a_unit_that_reads_well() {
        for (minutes, axis, off) in [
            (0.3, ">seconds under load<", ">load off 18 s<"),
            (15.25, ">minutes under load<", ">load off 15.25 min<"),
            (2400.0, ">hours under load<", ">load off 40 h<"),
        ] {
            let mut curve =
                curve(vec![CurveLine { name: String::new(), points: vec![(0.0, 25.8), (minutes, 25.7)] }]);
            curve.marks = vec![(0.0, "load on".to_owned()), (minutes, "load off".to_owned())];
            let svg = chart(&curve, "c");
            for text in [axis, off, ">load on<"] {
                assert!(svg.contains(text), "{text} is missing in {svg}");
            }
        }
    }
}
