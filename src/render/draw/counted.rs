//! Counts in bins, and points against a line on which both values are the same.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::scale::Scale;
use super::svg::{BOTTOM, Drawing, Named};

const RIGHT: f64 = 12.0;
const TOP: f64 = 18.0;
/// Edge of a cell that counts points.
const CELL: f64 = 7.0;

/// Packs between two borders.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bin {
    /// Lower border, counted in.
    pub from: f64,
    /// Upper border, not counted in.
    pub to: f64,
    /// How many.
    pub number: usize,
}

/// Packs counted between borders.
pub(crate) struct Histogram {
    /// Neighbouring bins.
    pub bins: Vec<Bin>,
    /// How many lie beyond the ends and are counted in the outermost bins.
    pub clipped: usize,
}

impl Histogram {
    pub(crate) fn svg(
        &self,
        named: Named<'_>,
        (unit, counted): (&str, &str),
        hatch_below_zero: bool,
    ) -> String {
        const HEIGHT: f64 = 230.0;
        let first = self.bins.first().map_or(0.0, |bin| bin.from);
        let last = self.bins.last().map_or(1.0, |bin| bin.to);
        let most = self.bins.iter().map(|bin| bin.number).max().unwrap_or(1).max(1) as f64;
        let y = Scale::of([0.0, most].into_iter(), 5.0, HEIGHT - BOTTOM, TOP)
            .in_whole_steps()
            .ending_at(0.0, most);
        let mut svg = Drawing::of_height(HEIGHT);
        let (left, right) = (svg.before(&y), svg.paper.width - RIGHT);
        let x = Scale::of([first, last].into_iter(), 5.0, left, right).ending_at(first, last);
        svg.across(&x, (TOP, y.low), unit);
        svg.upright(&y, (left, right), counted);
        for bin in self.bins.iter().filter(|bin| bin.number > 0) {
            let class = if hatch_below_zero && bin.to <= 0.0 { "falls-short" } else { "carries" };
            let (left, right, top) = (x.at(bin.from), x.at(bin.to), y.at(bin.number as f64));
            // One pack among thousands must still be seen.
            let height = (y.low - top).max(1.0);
            svg.rect(&format!("bar {class}"), (left, y.low - height), (right - left, height));
        }
        if hatch_below_zero {
            svg.path("zero", format_args!("M{:.1} {TOP}V{:.1}", x.at(0.0), y.low));
        }
        svg.svg(named)
    }
}

/// Points against a line on which both values are the same.
pub(crate) struct Points<'a> {
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
    /// Words for the line on which both are the same.
    pub same: &'a str,
}

impl Points<'_> {
    pub(crate) fn svg(&self, named: Named<'_>) -> String {
        const HEIGHT: f64 = 360.0;
        let axis = |low, high| Scale::of([0.0, self.most].into_iter(), 5.0, low, high);
        let mut svg = Drawing::of_height(HEIGHT);
        let y = axis(HEIGHT - BOTTOM, TOP);
        let (left, right) = (svg.before(&y), svg.paper.width - RIGHT);
        let x = axis(left, right);
        svg.across(&x, (TOP, y.low), self.x);
        svg.upright(&y, (left, right), self.y);
        svg.path("same", format_args!("M{:.1} {:.1}L{:.1} {:.1}", x.low, y.low, x.high, y.high));
        let at = |point: &(f64, f64)| (x.at(point.0), y.at(point.1));
        if self.in_cells {
            self.cells(&mut svg, at);
        } else {
            let mut path = String::new();
            for (px, py) in self.points.iter().map(at) {
                // A line of no length with round ends is a dot.
                let _ = write!(path, "M{px:.1} {py:.1}h0");
            }
            svg.path("point", format_args!("{path}"));
        }
        // Where hardly a pack holds: far more measured than claimed.
        svg.path("same", format_args!("M{:.1} {:.1}h20", left + 8.0, TOP + 14.0));
        svg.text("label", (left + 33.0, TOP + 17.5), "start", self.same);
        svg.svg(named)
    }

    /// The number in each cell as a square whose area grows with it.
    fn cells(&self, svg: &mut Drawing, at: impl Fn(&(f64, f64)) -> (f64, f64)) {
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
            let place = |cell: i32| (f64::from(cell) + 0.5) * CELL - edge / 2.0;
            svg.rect("cell", (place(column), place(row)), (edge, edge));
        }
    }
}
