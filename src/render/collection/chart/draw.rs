//! The drawing of bars, histograms and scatters. Widths are those of a phone, so that text stays readable there.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::render::markup::escape;
use crate::render::write_up::round_step;
use crate::units::significant;

/// Unit of an axis that counts packs.
pub(super) const PACKS: &str = "packs";
/// Width of a drawing in user units.
const WIDTH: f64 = 360.0;
const LEFT: f64 = 40.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 18.0;
const BOTTOM: f64 = 40.0;
/// Height of a bar with the label above it.
const ROW: f64 = 32.0;
/// Edge of a cell that counts points.
const CELL: f64 = 7.0;

/// A round step that divides a range into at most so many parts; 1 where the range cannot be divided.
pub(super) fn step(range: f64, parts: usize) -> f64 {
    let step = round_step(range, parts as f64);
    if step.is_finite() && step > 0.0 { step } else { 1.0 }
}

fn minus(number: f64) -> String {
    significant(number, 4).replace('-', "−")
}

/// A linear axis.
struct Axis {
    from: f64,
    to: f64,
    low: f64,
    high: f64,
}

impl Axis {
    fn at(&self, value: f64) -> f64 {
        self.low + (self.high - self.low) * ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0)
    }

    /// Round values along it; packs are counted in whole ones.
    fn ticks(&self, parts: usize, whole: bool) -> Vec<f64> {
        let step = step(self.to - self.from, parts).max(if whole { 1.0 } else { 0.0 });
        let first = (self.from / step).ceil();
        (0..=2 * parts)
            .map(|index| (first + index as f64) * step)
            .take_while(|value| *value <= self.to + step * 1e-6)
            .collect()
    }
}

fn open(svg: &mut String, height: f64, id: &str, title: &str, words: &str) {
    let _ = write!(
        svg,
        r#"<svg class="path chart" viewBox="0 0 {WIDTH} {height:.0}" role="img" aria-labelledby="{id}-t {id}-d" xmlns="http://www.w3.org/2000/svg"><title id="{id}-t">{}</title><desc id="{id}-d">{}</desc>"#,
        escape(title),
        escape(words)
    );
}

fn text(svg: &mut String, class: &str, x: f64, y: f64, anchor: &str, words: &str) {
    let _ = write!(
        svg,
        r#"<text class="{class}" x="{x:.1}" y="{y:.1}" text-anchor="{anchor}">{}</text>"#,
        escape(words)
    );
}

fn vertical_grid(svg: &mut String, axis: &Axis, top: f64, bottom: f64, unit: &str) {
    for value in axis.ticks(5, unit == PACKS) {
        let x = axis.at(value);
        let _ = write!(svg, r#"<path class="grid" d="M{x:.1} {top:.1}V{bottom:.1}"/>"#);
        text(svg, "tick", x, bottom + 13.0, "middle", &minus(value));
    }
    text(svg, "tick", (axis.low + axis.high) / 2.0, bottom + 29.0, "middle", unit);
}

fn horizontal_grid(svg: &mut String, axis: &Axis, left: f64, right: f64, whole: bool) {
    for value in axis.ticks(5, whole) {
        let y = axis.at(value);
        let _ = write!(svg, r#"<path class="grid" d="M{left:.1} {y:.1}H{right:.1}"/>"#);
        text(svg, "tick", left - 4.0, y + 3.5, "end", &minus(value));
    }
}

/// Lying bars with their names above them.
pub(super) struct Bars<'a> {
    /// Name, value, and the value in words.
    pub bars: Vec<(String, f64, String)>,
    /// Unit of the axis.
    pub axis: &'a str,
    /// True where bars below zero are hatched.
    pub hatch_below_zero: bool,
}

impl Bars<'_> {
    pub fn svg(&self, id: &str, title: &str, words: &str) -> String {
        let values = || self.bars.iter().map(|(_, value, _)| *value);
        let (least, most) = (values().fold(0.0, f64::min), values().fold(0.0, f64::max));
        let most = if most > least { most } else { least + 1.0 };
        let grain = step(most - least, 5).max(if self.axis == PACKS { 1.0 } else { 0.0 });
        let axis = Axis {
            from: (least / grain).floor() * grain,
            to: (most / grain).ceil() * grain,
            low: 14.0,
            high: WIDTH - 20.0,
        };
        let bottom = TOP + ROW * self.bars.len() as f64;
        let mut svg = String::new();
        open(&mut svg, bottom + BOTTOM, id, title, words);
        vertical_grid(&mut svg, &axis, TOP - 6.0, bottom, self.axis);
        let zero = axis.at(0.0);
        for (index, (name, value, in_words)) in self.bars.iter().enumerate() {
            let y = TOP + ROW * index as f64;
            let x = axis.at(*value);
            let class = if self.hatch_below_zero && *value < 0.0 { "falls-short" } else { "carries" };
            let (left, width) = (zero.min(x), (zero - x).abs());
            let _ = write!(
                svg,
                r#"<rect class="bar {class}" x="{left:.1}" y="{:.1}" width="{width:.1}" height="11"/>"#,
                y + 14.0
            );
            // Beside the bar alone: a line all the way down would cross the names.
            let _ = write!(svg, r#"<path class="zero" d="M{zero:.1} {:.1}v15"/>"#, y + 12.0);
            text(&mut svg, "label", 2.0, y + 10.0, "start", name);
            text(&mut svg, "label strong", WIDTH - 2.0, y + 10.0, "end", in_words);
        }
        svg.push_str("</svg>");
        svg
    }
}

/// Packs between two borders.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bin {
    /// Lower border, counted in.
    pub from: f64,
    /// Upper border, not counted in.
    pub to: f64,
    /// How many.
    pub number: usize,
}

/// Packs counted between borders.
pub(super) struct Histogram {
    /// Neighbouring bins.
    pub bins: Vec<Bin>,
    /// How many lie beyond the ends and are counted in the outermost bins.
    pub clipped: usize,
}

impl Histogram {
    pub fn svg(&self, id: &str, title: &str, words: &str, unit: &str, hatch_below_zero: bool) -> String {
        const HEIGHT: f64 = 230.0;
        let first = self.bins.first().map_or(0.0, |bin| bin.from);
        let last = self.bins.last().map_or(1.0, |bin| bin.to);
        let most = self.bins.iter().map(|bin| bin.number).max().unwrap_or(1).max(1) as f64;
        let x = Axis { from: first, to: last, low: LEFT, high: WIDTH - RIGHT };
        let y = Axis { from: 0.0, to: most, low: HEIGHT - BOTTOM, high: TOP };
        let mut svg = String::new();
        open(&mut svg, HEIGHT, id, title, words);
        vertical_grid(&mut svg, &x, TOP, y.low, unit);
        horizontal_grid(&mut svg, &y, LEFT, WIDTH - RIGHT, true);
        text(&mut svg, "tick", 2.0, 11.0, "start", PACKS);
        for bin in self.bins.iter().filter(|bin| bin.number > 0) {
            let class = if hatch_below_zero && bin.to <= 0.0 { "falls-short" } else { "carries" };
            let (left, right, top) = (x.at(bin.from), x.at(bin.to), y.at(bin.number as f64));
            // One pack among thousands must still be seen.
            let height = (y.low - top).max(1.0);
            let _ = write!(
                svg,
                r#"<rect class="bar {class}" x="{left:.1}" y="{:.1}" width="{:.1}" height="{height:.1}"/>"#,
                y.low - height,
                right - left
            );
        }
        if hatch_below_zero {
            let _ = write!(svg, r#"<path class="zero" d="M{:.1} {TOP}V{:.1}"/>"#, x.at(0.0), y.low);
        }
        svg.push_str("</svg>");
        svg
    }
}

/// Points against a line on which both values are the same.
pub(super) struct Points<'a> {
    /// Points; none lies beyond `most`.
    pub points: Vec<(f64, f64)>,
    /// End of both axes.
    pub most: f64,
    /// True where points are counted in cells.
    pub in_cells: bool,
    /// Name of the horizontal axis.
    pub x: &'a str,
    /// Name of the vertical axis.
    pub y: &'a str,
}

impl Points<'_> {
    pub fn svg(&self, id: &str, title: &str, words: &str) -> String {
        const HEIGHT: f64 = 360.0;
        let grain = step(self.most.max(f64::MIN_POSITIVE), 5);
        let end = (self.most / grain).ceil().max(1.0) * grain;
        let x = Axis { from: 0.0, to: end, low: LEFT, high: WIDTH - RIGHT };
        let y = Axis { from: 0.0, to: end, low: HEIGHT - BOTTOM, high: TOP };
        let mut svg = String::new();
        open(&mut svg, HEIGHT, id, title, words);
        vertical_grid(&mut svg, &x, TOP, y.low, self.x);
        horizontal_grid(&mut svg, &y, LEFT, WIDTH - RIGHT, false);
        text(&mut svg, "tick", 2.0, 11.0, "start", self.y);
        let _ = write!(
            svg,
            r#"<path class="same" d="M{:.1} {:.1}L{:.1} {:.1}"/>"#,
            x.at(0.0),
            y.at(0.0),
            x.at(end),
            y.at(end)
        );
        let at = |point: &(f64, f64)| (x.at(point.0), y.at(point.1));
        if self.in_cells {
            self.cells(&mut svg, at);
        } else {
            let mut path = String::new();
            for point in &self.points {
                let (px, py) = at(point);
                // A line of no length with round ends is a dot.
                let _ = write!(path, "M{px:.1} {py:.1}h0");
            }
            let _ = write!(svg, r#"<path class="point" d="{path}"/>"#);
        }
        // Where hardly a pack holds: far more measured than claimed.
        let _ = write!(svg, r#"<path class="same" d="M{:.1} {:.1}h20"/>"#, LEFT + 8.0, TOP + 14.0);
        text(&mut svg, "label", LEFT + 33.0, TOP + 17.5, "start", "measured = claimed");
        svg.push_str("</svg>");
        svg
    }

    /// The number in each cell as a square whose area grows with it.
    fn cells(&self, svg: &mut String, at: impl Fn(&(f64, f64)) -> (f64, f64)) {
        let mut cells: BTreeMap<(i32, i32), usize> = BTreeMap::new();
        for point in &self.points {
            let (x, y) = at(point);
            #[expect(clippy::cast_possible_truncation, reason = "a place in a drawing of 360 units")]
            let place = ((x / CELL).floor() as i32, (y / CELL).floor() as i32);
            *cells.entry(place).or_default() += 1;
        }
        let most = cells.values().copied().max().unwrap_or(1) as f64;
        for ((column, row), number) in cells {
            let edge = (CELL * (number as f64 / most).sqrt()).max(1.6);
            let left = (f64::from(column) + 0.5) * CELL - edge / 2.0;
            let top = (f64::from(row) + 0.5) * CELL - edge / 2.0;
            let _ = write!(
                svg,
                r#"<rect class="cell" x="{left:.1}" y="{top:.1}" width="{edge:.1}" height="{edge:.1}"/>"#
            );
        }
    }
}
