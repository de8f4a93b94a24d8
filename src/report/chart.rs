//! Curves of bench tests as SVG: axes with units, marks with words, readable in print and without colour.

use std::fmt::Write;

use super::picture::{nice, tick_step, xml};
use crate::quantity::significant;
use crate::trial::Curve;

const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 210.0;
const LEFT: f64 = 44.0;
const RIGHT: f64 = 10.0;
const TOP: f64 = 16.0;
const BOTTOM: f64 = 40.0;
/// Height of a row of the legend.
const LEGEND: f64 = 15.0;
/// Lines differ by their dashes, not by colour: they must be told apart in print and by everybody.
const DASHES: [&str; 6] = ["", "7 3", "2 2.5", "10 3 2 3", "4 4", "14 4"];

fn dash(number: usize) -> String {
    match DASHES.get(number % DASHES.len()) {
        Some(dash) if !dash.is_empty() => format!(r#" stroke-dasharray="{dash}""#),
        _ => String::new(),
    }
}

struct Scale {
    from: f64,
    to: f64,
    low: f64,
    high: f64,
}

impl Scale {
    fn at(&self, value: f64) -> f64 {
        let share = (value - self.from) / (self.to - self.from);
        self.low + (self.high - self.low) * share.clamp(0.0, 1.0)
    }
}

/// Draws a curve; `id` makes its title unique in a page.
#[must_use]
pub fn chart(curve: &Curve, id: &str) -> String {
    let mut svg = String::new();
    // Writing to a String cannot fail.
    let _ = draw(&mut svg, curve, id);
    svg
}

fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    if high > low { (low, high) } else { (low - 1.0, high + 1.0) }
}

fn draw(svg: &mut String, curve: &Curve, id: &str) -> std::fmt::Result {
    let (x_low, x_high) = range(curve.points().map(|p| p.0).chain(curve.marks.iter().map(|m| m.0)));
    let (y_low, y_high) = range(curve.points().map(|p| p.1).chain(curve.levels.iter().map(|l| l.0)));
    let y_step = tick_step(y_high - y_low);
    let x = Scale { from: x_low.min(0.0), to: nice(x_high), low: LEFT, high: WIDTH - RIGHT };
    let y = Scale {
        from: (y_low / y_step).floor() * y_step,
        to: (y_high / y_step).ceil() * y_step,
        low: HEIGHT - BOTTOM,
        high: TOP,
    };
    let legend = curve.series.len() > 1;
    let height = if legend { HEIGHT + LEGEND * curve.series.len() as f64 } else { HEIGHT };
    write!(
        svg,
        r#"<svg class="path chart" viewBox="0 0 {WIDTH} {height:.0}" role="img" aria-labelledby="{id}-t {id}-d" xmlns="http://www.w3.org/2000/svg">"#
    )?;
    write!(svg, r#"<title id="{id}-t">{}</title>"#, xml(&curve.name))?;
    write!(
        svg,
        r#"<desc id="{id}-d">{}</desc>"#,
        xml(&description(curve, (x_low, x_high), (y_low, y_high)))
    )?;
    let (left, right, bottom) = (x.low, x.high, y.low);
    let mut at = y.from;
    while at <= y.to + y_step * 1e-6 {
        let place = y.at(at);
        write!(svg, r#"<path class="grid" d="M{left:.1} {place:.1}H{right:.1}"/>"#)?;
        write!(
            svg,
            r#"<text class="tick" x="{:.1}" y="{:.1}" text-anchor="end">{}</text>"#,
            left - 4.0,
            place + 3.5,
            significant(at, 4)
        )?;
        at += y_step;
    }
    let x_step = tick_step(x.to - x.from);
    let mut at = (x.from / x_step).ceil() * x_step;
    while at <= x.to + x_step * 1e-6 {
        let place = x.at(at);
        write!(svg, r#"<path class="grid" d="M{place:.1} {TOP}V{bottom:.1}"/>"#)?;
        write!(
            svg,
            r#"<text class="tick" x="{place:.1}" y="{:.1}" text-anchor="middle">{}</text>"#,
            bottom + 13.0,
            significant(at, 4)
        )?;
        at += x_step;
    }
    write!(
        svg,
        r#"<text class="tick" x="{:.1}" y="{:.1}" text-anchor="middle">{}</text>"#,
        (left + right) / 2.0,
        HEIGHT - 8.0,
        xml(&curve.x)
    )?;
    write!(svg, r#"<text class="tick" x="2" y="11">{}</text>"#, xml(&curve.y))?;
    for (number, series) in curve.series.iter().enumerate() {
        let mut line = String::new();
        for (index, (px, py)) in series.points.iter().enumerate() {
            write!(line, "{}{:.1} {:.1}", if index == 0 { "M" } else { "L" }, x.at(*px), y.at(*py))?;
        }
        write!(svg, r#"<path class="curve"{} d="{line}"/>"#, dash(number))?;
    }
    if legend {
        for (number, series) in curve.series.iter().enumerate() {
            let height = HEIGHT + LEGEND * number as f64;
            write!(svg, r#"<path class="curve"{} d="M{LEFT} {height:.1}h34"/>"#, dash(number))?;
            write!(
                svg,
                r#"<text class="label" x="{:.1}" y="{:.1}">{}</text>"#,
                LEFT + 40.0,
                height + 3.5,
                xml(&series.name)
            )?;
        }
    }
    for (index, (value, label)) in curve.marks.iter().enumerate() {
        let place = x.at(*value);
        let anchor = if place > WIDTH * 0.6 { "end" } else { "start" };
        let shift = if anchor == "end" { -3.0 } else { 3.0 };
        // Labels of neighbouring marks must not lie on each other.
        let height = TOP + 11.0 + 13.0 * index as f64;
        write!(svg, r#"<path class="mark fuse" d="M{place:.1} {TOP}V{bottom:.1}"/>"#)?;
        write!(
            svg,
            r#"<text class="label strong" x="{:.1}" y="{height:.1}" text-anchor="{anchor}">{} {}</text>"#,
            place + shift,
            xml(label),
            significant(*value, 4)
        )?;
    }
    for (value, label) in &curve.levels {
        let place = y.at(*value);
        write!(svg, r#"<path class="mark tested" d="M{left:.1} {place:.1}H{right:.1}"/>"#)?;
        write!(
            svg,
            r#"<text class="label strong" x="{:.1}" y="{:.1}">{} {}</text>"#,
            left + 4.0,
            place - 4.0,
            xml(label),
            significant(*value, 4)
        )?;
    }
    svg.push_str("</svg>");
    Ok(())
}

fn description(curve: &Curve, x: (f64, f64), y: (f64, f64)) -> String {
    let s = |value: f64| significant(value, 4);
    let marks: Vec<String> = curve.marks.iter().map(|(v, label)| format!("{label} at {}", s(*v))).collect();
    let lines: Vec<String> = curve
        .series
        .iter()
        .filter_map(|series| {
            let (first, last) = (series.points.first()?, series.points.last()?);
            let name = if series.name.is_empty() { String::new() } else { format!("{}: ", series.name) };
            Some(format!("{name}begins at {}, ends at {}", s(first.1), s(last.1)))
        })
        .collect();
    format!(
        "{} from {} to {}, {} from {} to {}; {}. {}",
        curve.x,
        s(x.0),
        s(x.1),
        curve.y,
        s(y.0),
        s(y.1),
        lines.join("; "),
        marks.join(", ")
    )
}
