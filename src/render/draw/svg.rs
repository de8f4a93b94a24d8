//! A drawing that is being made: its paper, the elements of SVG, and the axes that all drawings share.

use std::fmt::{Arguments, Write};

use super::labels::fitted;
use super::scale::Scale;
use crate::render::markup::escape;

/// Height of all texts, in units of a drawing. Whoever scales a drawing scales it by its texts.
#[cfg(feature = "video")]
pub(crate) const TEXT: f64 = 10.5;
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

/// What a drawing is made on: its size, and how wide a text of [`TEXT`] is there, bold or not.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Paper {
    pub(crate) width: f64,
    /// None where a drawing takes the height that it needs.
    pub(crate) height: Option<f64>,
    pub(crate) measure: fn(&str, bool) -> f64,
}

impl Paper {
    /// A page, with the width of a phone. Its fonts are not known: a letter is taken a little wider than usual.
    pub(crate) const PAGE: Self = Self { width: 360.0, height: None, measure: letters };
}

fn letters(text: &str, bold: bool) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a count of letters")]
    let letters = text.chars().count() as f64;
    letters * if bold { 6.8 } else { 6.1 }
}

/// A text in its place: baseline, and where it is anchored.
#[derive(Debug, Clone)]
pub(crate) struct Words {
    pub(crate) class: &'static str,
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) anchor: &'static str,
    pub(crate) text: String,
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

/// A drawing: shapes, and the texts that stand over them.
#[derive(Debug)]
pub(crate) struct Drawing {
    pub(super) paper: Paper,
    /// Its height, known once it is drawn.
    pub(super) height: f64,
    pub(crate) shapes: String,
    pub(crate) texts: Vec<Words>,
    hatched: bool,
}

impl Drawing {
    pub(super) const fn new(paper: Paper) -> Self {
        Self { paper, height: 0.0, shapes: String::new(), texts: Vec::new(), hatched: false }
    }

    /// A drawing of known height for a page.
    pub(super) fn of_height(height: f64) -> Self {
        Self { height, ..Self::new(Paper::PAGE) }
    }

    /// The drawing for a page.
    pub(crate) fn svg(&self, named: Named<'_>) -> String {
        let (id, title, words) = (named.id, escape(named.title), escape(named.words));
        let Self { paper: Paper { width, .. }, height, shapes, .. } = self;
        let patterns = if self.hatched { PATTERNS } else { "" };
        let mut svg = format!(
            r#"<svg class="path" viewBox="0 0 {width:.0} {height:.0}" role="img" aria-labelledby="{id}-t {id}-d" xmlns="http://www.w3.org/2000/svg"><title id="{id}-t">{title}</title><desc id="{id}-d">{words}</desc>{patterns}{shapes}"#
        );
        for Words { class, x, y, anchor, text } in &self.texts {
            let anchor =
                if *anchor == "start" { String::new() } else { format!(r#" text-anchor="{anchor}""#) };
            let text = escape(text);
            // Writing to a String cannot fail.
            let _ = write!(svg, r#"<text class="{class}" x="{x:.1}" y="{y:.1}"{anchor}>{text}</text>"#);
        }
        svg.push_str("</svg>");
        svg
    }

    /// The drawing as a file of its own, with the colours and letters of a page.
    pub(crate) fn alone(&self, named: Named<'_>) -> String {
        let style = include_str!("../../../templates/style.css").lines();
        let style = style
            .filter(|line| line.starts_with(":root{color-scheme:light dark") || line.starts_with("svg.path"));
        let style: String = style.collect();
        self.svg(named).replacen("<title", &format!("<style>{style}</style><title"), 1)
    }

    fn put(&mut self, element: Arguments<'_>) {
        let _ = self.shapes.write_fmt(element);
    }

    pub(super) fn path(&mut self, class: &str, d: Arguments<'_>) {
        self.put(format_args!(r#"<path class="{class}" d="{d}"/>"#));
    }

    /// A closed outline with a hatch or a colour of its class.
    pub(super) fn shape(&mut self, class: &str, d: Arguments<'_>) {
        self.hatched |= class.contains("falls-short");
        self.path(class, d);
    }

    /// A line with the dashes of its number.
    pub(super) fn line(&mut self, class: &str, number: usize, d: Arguments<'_>) {
        match DASHES.get(number % DASHES.len()) {
            Some(dash) if !dash.is_empty() => {
                self.put(format_args!(r#"<path class="{class}" stroke-dasharray="{dash}" d="{d}"/>"#));
            }
            _ => self.path(class, d),
        }
    }

    /// A rectangle with a hatch or a colour of its class.
    pub(super) fn rect(&mut self, class: &str, (x, y): (f64, f64), (width, height): (f64, f64)) {
        self.hatched |= class.contains("falls-short") || class.contains("pack-");
        self.put(format_args!(
            r#"<rect class="{class}" x="{x:.1}" y="{y:.1}" width="{width:.1}" height="{height:.1}"/>"#
        ));
    }

    /// An outline that is hatched.
    pub(super) fn hatch(&mut self, d: Arguments<'_>) {
        self.hatched = true;
        self.path("falls-short", d);
    }

    /// Width of a text of a class.
    pub(super) fn wide(&self, class: &str, text: &str) -> f64 {
        (self.paper.measure)(text, class.contains("strong"))
    }

    /// A text; what does not fit on the paper is shortened.
    pub(super) fn text(
        &mut self,
        class: &'static str,
        (x, y): (f64, f64),
        anchor: &'static str,
        words: &str,
    ) {
        let room = match anchor {
            "end" => x,
            "middle" => 2.0 * x.min(self.paper.width - x),
            _ => self.paper.width - x,
        };
        let text = fitted(words, room, |text| self.wide(class, text));
        self.texts.push(Words { class, x, y, anchor, text });
    }

    /// The horizontal axis: lines up through the plot, numbers and the axis's name below it.
    pub(super) fn across(&mut self, x: &Scale, (top, bottom): (f64, f64), name: &str) {
        let mut free_from = f64::NEG_INFINITY;
        for tick in x.ticks() {
            let at = x.at(tick);
            self.path("grid", format_args!("M{at:.1} {top:.1}V{bottom:.1}"));
            let number = x.number(tick);
            let half = 0.5 * self.wide("tick", &number);
            let (from, anchor) = if at < half { (at, "start") } else { (at - half, "middle") };
            if from > free_from && from + 2.0 * half <= self.paper.width {
                free_from = from + 2.0 * half + 4.0;
                self.text("tick", (at, bottom + 13.0), anchor, &number);
            }
        }
        let middle = f64::midpoint(x.low, x.high);
        let half = 0.5 * self.wide("tick", name);
        let middle = middle.min(self.paper.width - half).max(half);
        self.text("tick", (middle, bottom + 29.0), "middle", name);
    }

    /// Room that the numbers of a vertical axis take before it.
    pub(super) fn before(&self, y: &Scale) -> f64 {
        let numbers = y.ticks().into_iter().map(|tick| self.wide("tick", &y.number(tick)));
        numbers.fold(20.0, f64::max) + 8.0
    }

    /// The vertical axis: lines across the plot, numbers before it, the axis's name at the top left.
    pub(super) fn upright(&mut self, y: &Scale, (left, right): (f64, f64), name: &str) {
        for tick in y.ticks() {
            let at = y.at(tick);
            self.path("grid", format_args!("M{left:.1} {at:.1}H{right:.1}"));
            self.text("tick", (left - 4.0, at + 3.5), "end", &y.number(tick));
        }
        self.text("tick", (2.0, 11.0), "start", name);
    }
}
