//! The elements of a drawing, and the axes that all drawings share.

use std::fmt::{Arguments, Write};

use super::scale::Scale;
use crate::render::markup::escape;

/// Width of a drawing, in user units.
pub(super) const WIDTH: f64 = 360.0;
/// Room below a plot, for the numbers and the name of the horizontal axis.
pub(super) const BOTTOM: f64 = 40.0;
/// Lines differ by their dashes, not by colour: they must be told apart in print and by everybody.
pub(super) const DASHES: [&str; 6] = ["", "7 3", "2 2.5", "10 3 2 3", "4 4", "14 4"];

/// Hatches: strokes that rise, strokes to the right, and level ones. Nothing is told by colour alone.
const PATTERNS: &str = concat!(
    r##"<defs><pattern id="short" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="6" height="6" class="short-back"/><path d="M0 0V6" class="short-line"/></pattern>"##,
    r##"<pattern id="pack-2" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="5" height="5" class="pack-back"/><path d="M0 0V5" class="pack-line"/></pattern>"##,
    r##"<pattern id="pack-3" width="4" height="4" patternUnits="userSpaceOnUse"><rect width="4" height="4" class="pack-back"/><path d="M0 0H4" class="pack-line"/></pattern></defs>"##
);

/// The dashes of a line among several.
fn dash(number: usize) -> String {
    match DASHES.get(number % DASHES.len()) {
        Some(dash) if !dash.is_empty() => format!(r#" stroke-dasharray="{dash}""#),
        _ => String::new(),
    }
}

/// What a drawing is, for a reader who does not see it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Named<'a> {
    /// Unique in the page.
    pub id: &'a str,
    /// Its title.
    pub title: &'a str,
    /// What it shows, in words.
    pub words: &'a str,
}

/// A drawing that is being made.
pub(super) struct Svg(String);

impl Svg {
    pub fn new(named: Named<'_>, height: f64) -> Self {
        let (id, title, words) = (named.id, escape(named.title), escape(named.words));
        Self(format!(
            r#"<svg class="path" viewBox="0 0 {WIDTH} {height:.0}" role="img" aria-labelledby="{id}-t {id}-d" xmlns="http://www.w3.org/2000/svg"><title id="{id}-t">{title}</title><desc id="{id}-d">{words}</desc>"#
        ))
    }

    /// The hatches, once in a page that has hatched bars.
    pub fn patterns(&mut self) {
        self.0.push_str(PATTERNS);
    }

    pub fn finish(mut self) -> String {
        self.0.push_str("</svg>");
        self.0
    }

    fn put(&mut self, element: Arguments<'_>) {
        // Writing to a String cannot fail.
        let _ = self.0.write_fmt(element);
    }

    pub fn path(&mut self, class: &str, d: Arguments<'_>) {
        self.put(format_args!(r#"<path class="{class}" d="{d}"/>"#));
    }

    /// A line with the dashes of its number.
    pub fn line(&mut self, class: &str, number: usize, d: Arguments<'_>) {
        self.put(format_args!(r#"<path class="{class}"{} d="{d}"/>"#, dash(number)));
    }

    pub fn rect(&mut self, class: &str, (x, y): (f64, f64), (width, height): (f64, f64)) {
        self.put(format_args!(
            r#"<rect class="{class}" x="{x:.1}" y="{y:.1}" width="{width:.1}" height="{height:.1}"/>"#
        ));
    }

    pub fn text(&mut self, class: &str, (x, y): (f64, f64), anchor: &str, words: &str) {
        let anchor = if anchor == "start" { String::new() } else { format!(r#" text-anchor="{anchor}""#) };
        self.put(format_args!(
            r#"<text class="{class}" x="{x:.1}" y="{y:.1}"{anchor}>{}</text>"#,
            escape(words)
        ));
    }

    /// The horizontal axis: lines up through the plot, numbers and the axis's name below it.
    pub fn across(&mut self, x: &Scale, (top, bottom): (f64, f64), name: &str) {
        for tick in x.ticks() {
            let at = x.at(tick);
            self.path("grid", format_args!("M{at:.1} {top:.1}V{bottom:.1}"));
            let anchor = if at < 8.0 { "start" } else { "middle" };
            self.text("tick", (at, bottom + 13.0), anchor, &x.number(tick));
        }
        self.text("tick", (f64::midpoint(x.low, x.high), bottom + 29.0), "middle", name);
    }

    /// The vertical axis: lines across the plot, numbers before it, the axis's name at the top left.
    pub fn upright(&mut self, y: &Scale, (left, right): (f64, f64), name: &str) {
        for tick in y.ticks() {
            let at = y.at(tick);
            self.path("grid", format_args!("M{left:.1} {at:.1}H{right:.1}"));
            self.text("tick", (left - 4.0, at + 3.5), "end", &y.number(tick));
        }
        self.text("tick", (2.0, 11.0), "start", name);
    }
}
