//! The picture of the current path: every element's permissible current against the rated current, on one axis.
//!
//! Bars differ by outline and pattern, not by colour alone; the numbers stand beside them, so that the picture can be read
//! in print, without colour and by a screen reader.

use std::fmt::Write;

use super::view::{ElementView, View};
use crate::render::markup::escape;
use crate::units::significant;

/// Width of the drawing in user units. The labels stand above the bars, so that it fits a phone.
const WIDTH: f64 = 360.0;
const ROW: f64 = 34.0;
const TOP: f64 = 34.0;
const LEFT: f64 = 6.0;
const RIGHT: f64 = 14.0;

/// Draws the path as SVG, or nothing when there is no element.
#[must_use]
pub fn path_picture(view: &View) -> Option<String> {
    let elements = &view.path.elements;
    if elements.is_empty() {
        return None;
    }
    let mut svg = String::new();
    let _ = draw(&mut svg, view, elements);
    Some(svg)
}

struct Axis {
    most: f64,
}

impl Axis {
    fn x(&self, amperes: f64) -> f64 {
        LEFT + (WIDTH - LEFT - RIGHT) * (amperes / self.most).clamp(0.0, 1.0)
    }
}

fn draw(svg: &mut String, view: &View, elements: &[ElementView]) -> std::fmt::Result {
    let known = elements.iter().filter_map(|e| e.permissible_current.si).fold(0.0_f64, f64::max);
    let fuse = view.path.fuse_rating.si;
    let rated = view.rated_current_si;
    let reach = [rated.map(|r| r * 1.25), fuse.map(|f| f * 1.1), view.tested_current_si]
        .into_iter()
        .flatten()
        .fold(0.0_f64, f64::max);
    // A very strong element must not press the others against the edge.
    let most = if reach > 0.0 { known.clamp(reach, reach * 2.0) } else { known }.max(1.0);
    let axis = Axis { most: nice(most) };
    let count = u32::try_from(elements.len()).unwrap_or(u32::MAX);
    let bottom = TOP + ROW * f64::from(count);
    let height = bottom + 40.0;
    write!(
        svg,
        r#"<svg class="path" viewBox="0 0 {WIDTH} {height}" role="img" aria-labelledby="path-title path-desc" xmlns="http://www.w3.org/2000/svg">"#
    )?;
    write!(
        svg,
        r#"<title id="path-title">Continuous permissible current of each element of the current path</title>"#
    )?;
    write!(svg, r#"<desc id="path-desc">{}</desc>"#, escape(&description(view, elements)))?;
    svg.push_str(PATTERNS);
    ticks(svg, &axis, bottom)?;
    for (index, element) in elements.iter().enumerate() {
        row(svg, &axis, element, TOP + ROW * index as f64, rated)?;
    }
    if let Some(tested) = view.tested_current_si {
        line(svg, &axis, tested, bottom, "tested", "", true)?;
    }
    if let Some(fuse) = fuse {
        line(svg, &axis, fuse, bottom, "fuse", &format!("fuse {} A", significant(fuse, 4)), true)?;
    }
    if let Some(rated) = rated {
        line(svg, &axis, rated, bottom, "rated", &format!("rated {} A", significant(rated, 4)), false)?;
    }
    svg.push_str("</svg>");
    Ok(())
}

const PATTERNS: &str = concat!(
    r##"<defs><pattern id="short" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">"##,
    r##"<rect width="6" height="6" class="short-back"/><path d="M0 0V6" class="short-line"/></pattern></defs>"##
);

/// The next round value at or above one.
fn nice(most: f64) -> f64 {
    let step = tick_step(most);
    (most / step).ceil() * step
}

/// A round step that divides a range into about five.
fn tick_step(most: f64) -> f64 {
    round_step(most, 5.0)
}

/// A round step, 1, 2 or 5 times a power of ten, that divides a range into at most so many parts.
pub(crate) fn round_step(range: f64, parts: f64) -> f64 {
    let raw = range / parts;
    let power = 10_f64.powf(raw.log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|step| *step >= raw).unwrap_or(10.0 * power)
}

fn ticks(svg: &mut String, axis: &Axis, bottom: f64) -> std::fmt::Result {
    let step = tick_step(axis.most);
    let mut at = 0.0;
    while at <= axis.most * 1.000_1 {
        let x = axis.x(at);
        write!(svg, r#"<path class="grid" d="M{x:.1} {TOP}V{bottom:.1}"/>"#)?;
        let anchor = if at == 0.0 { "start" } else { "middle" };
        let y = bottom + 13.0;
        write!(
            svg,
            r#"<text class="tick" x="{x:.1}" y="{y:.1}" text-anchor="{anchor}">{}</text>"#,
            significant(at, 4)
        )?;
        at += step;
    }
    let (x, y) = (WIDTH / 2.0, bottom + 30.0);
    write!(
        svg,
        r#"<text class="tick" x="{x}" y="{y:.1}" text-anchor="middle">continuous current in amperes</text>"#
    )
}

fn row(svg: &mut String, axis: &Axis, element: &ElementView, y: f64, rated: Option<f64>) -> std::fmt::Result {
    let opens_on_heat = element.responds_to.as_deref() == Some("temperature");
    let label = match (element.weakest, opens_on_heat) {
        (true, _) => format!("{} — weakest", element.label),
        (false, true) => format!("{} — not a fuse", element.label),
        (false, false) => element.label.clone(),
    };
    let label: String = label.chars().take(44).collect();
    let (text_y, bar_y) = (y + 12.0, y + 16.0);
    let weight = if element.weakest { " strong" } else { "" };
    write!(svg, r#"<text class="label{weight}" x="{LEFT}" y="{text_y:.1}">{}</text>"#, escape(&label))?;
    let value = match element.permissible_current.si {
        Some(si) => format!("{} A", significant(si, 3)),
        None => "not known".to_owned(),
    };
    let right = WIDTH - 2.0;
    write!(
        svg,
        r#"<text class="label{weight}" x="{right}" y="{text_y:.1}" text-anchor="end">{value}</text>"#
    )?;
    let Some(si) = element.permissible_current.si else {
        let end = axis.x(axis.most);
        return write!(svg, r#"<path class="unknown" d="M{LEFT} {:.1}H{end:.1}"/>"#, bar_y + 5.0);
    };
    let class = if rated.is_some_and(|rated| si < rated) { "bar falls-short" } else { "bar carries" };
    let width = axis.x(si) - LEFT;
    write!(svg, r#"<rect class="{class}" x="{LEFT}" y="{bar_y:.1}" width="{width:.1}" height="10"/>"#)?;
    if si > axis.most {
        let x = axis.x(axis.most);
        write!(svg, r#"<path class="beyond" d="M{:.1} {bar_y:.1}l6 5l-6 5"/>"#, x + 2.0)?;
    }
    if let Some(expanded) = element.permissible_current.expanded_si {
        let (low, high, middle) = (axis.x(si - expanded), axis.x(si + expanded), bar_y + 5.0);
        write!(
            svg,
            r#"<path class="spread" d="M{low:.1} {middle:.1}H{high:.1}M{low:.1} {:.1}v6M{high:.1} {:.1}v6"/>"#,
            middle - 3.0,
            middle - 3.0
        )?;
    }
    Ok(())
}

fn line(
    svg: &mut String,
    axis: &Axis,
    amperes: f64,
    bottom: f64,
    class: &str,
    label: &str,
    low: bool,
) -> std::fmt::Result {
    let x = axis.x(amperes);
    let y = if low { 28.0 } else { 14.0 };
    let anchor = if x > WIDTH * 0.7 { "end" } else { "middle" };
    write!(svg, r#"<path class="mark {class}" d="M{x:.1} {:.1}V{bottom:.1}"/>"#, y + 3.0)?;
    write!(
        svg,
        r#"<text class="label strong" x="{x:.1}" y="{y}" text-anchor="{anchor}">{}</text>"#,
        escape(label)
    )
}

fn description(view: &View, elements: &[ElementView]) -> String {
    let rows: Vec<String> = elements
        .iter()
        .map(|e| format!("{}: {}", e.label, e.permissible_current.value.as_deref().unwrap_or("not known")))
        .collect();
    let rated = view.rated_current.as_deref().unwrap_or("not recorded");
    format!("Rated continuous current {rated}. {}.", rows.join("; "))
}
