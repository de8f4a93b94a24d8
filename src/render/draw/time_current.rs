//! A time-current chart: both axes logarithmic, lines told apart by their dashes, what nothing covers hatched.

use super::curve::through;
use super::svg::{BOTTOM, Drawing, Paper};
use crate::units::significant;

/// Height of the plot alone, on a page.
const PLOT: f64 = 230.0;
/// The least that a plot on a card gets.
const LEAST: f64 = 75.0;
const LEFT: f64 = 50.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 20.0;
/// Height of a row of the legend.
const LEGEND: f64 = 15.0;

/// A line of the chart: currents in A and times in s.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    pub name: String,
    pub points: Vec<(f64, f64)>,
}

/// What a chart shows.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct TimeCurrent {
    /// From the least to the greatest prospective current, A.
    pub prospective: (f64, f64),
    /// Times after which harm is done, and those in which something opens.
    pub lines: Vec<Line>,
    /// Currents at which nothing opens in time, each from the time of the harm to that of the opening.
    pub uncovered: Vec<Vec<(f64, f64, f64)>>,
    /// Currents with their words, such as the rated one.
    pub marks: Vec<(f64, String)>,
}

/// A logarithmic axis over whole decades.
#[derive(Debug, Clone, Copy)]
struct Decades {
    from: i32,
    to: i32,
    low: f64,
    high: f64,
}

impl Decades {
    fn of(values: impl Iterator<Item = f64>, (least, most): (i32, i32)) -> Self {
        let (from, to) = values.filter(|v| v.is_finite() && *v > 0.0).fold((i32::MAX, i32::MIN), |e, v| {
            // The exponent of an f64 is far inside i32.
            #[expect(clippy::cast_possible_truncation, reason = "log10 of a finite f64 is below 400")]
            let (down, up) = (v.log10().floor() as i32, v.log10().ceil() as i32);
            (e.0.min(down), e.1.max(up))
        });
        let from = from.clamp(least, most - 1);
        Self { from, to: to.clamp(from + 1, most), low: 0.0, high: 0.0 }
    }

    /// Place of a value; one beyond the axis lies at its end.
    fn at(&self, value: f64) -> f64 {
        let (from, to) = (f64::from(self.from), f64::from(self.to));
        let share = ((value.max(1e-300).log10() - from) / (to - from)).clamp(0.0, 1.0);
        self.low + (self.high - self.low) * share
    }

    fn ticks(&self) -> impl Iterator<Item = f64> {
        (self.from..=self.to).map(|exponent| 10_f64.powi(exponent))
    }
}

impl TimeCurrent {
    /// Draws the chart.
    pub(crate) fn draw(&self, paper: Paper) -> Drawing {
        let mut drawing = Drawing::new(paper);
        let points = || self.lines.iter().flat_map(|line| &line.points);
        let marked = self.marks.iter().map(|mark| mark.0);
        let currents = points().map(|p| p.0).chain([self.prospective.0, self.prospective.1]).chain(marked);
        let mut x = Decades::of(currents, (0, 6));
        let mut y = Decades::of(points().map(|p| p.1), (-5, 5));
        let hatched = usize::from(!self.uncovered.is_empty());
        let rows = (self.lines.len() + 1 + hatched) as f64;
        let plot =
            paper.height.map_or(PLOT, |height| (height - TOP - BOTTOM - 4.0 - rows * LEGEND).max(LEAST));
        let bottom = TOP + plot;
        drawing.height = bottom + BOTTOM + 4.0 + rows * LEGEND;
        (x.low, x.high) = (LEFT, paper.width - RIGHT);
        (y.low, y.high) = (bottom, TOP);
        self.shade(&mut drawing, x, y);
        axes(&mut drawing, x, y);
        for (number, line) in self.lines.iter().enumerate() {
            let places: Vec<_> = line.points.iter().map(|p| (x.at(p.0), y.at(p.1))).collect();
            drawing.line("curve", number, format_args!("{}", through(&places)));
        }
        for (current, words) in &self.marks {
            let at = x.at(*current);
            drawing.path("mark fuse", format_args!("M{at:.1} {TOP:.1}V{bottom:.1}"));
            let (at, anchor) = if at > 0.6 * x.high { (at - 3.0, "end") } else { (at + 3.0, "start") };
            drawing.text("label strong halo", (at, bottom - 5.0), anchor, words);
        }
        self.legend(&mut drawing, bottom + BOTTOM + 4.0);
        drawing
    }

    /// The prospective current as a band, and what nothing covers.
    fn shade(&self, drawing: &mut Drawing, x: Decades, y: Decades) {
        let (least, greatest) = (x.at(self.prospective.0), x.at(self.prospective.1));
        drawing.rect("band", (least, y.high), ((greatest - least).max(1.5), y.low - y.high));
        for region in &self.uncovered {
            let harm = region.iter().map(|(current, from, _)| (x.at(*current), y.at(*from)));
            let open = region.iter().rev().map(|(current, _, to)| (x.at(*current), y.at(*to)));
            let outline: Vec<_> = harm.chain(open).collect();
            drawing.hatch(format_args!("{}Z", through(&outline)));
        }
    }

    fn legend(&self, drawing: &mut Drawing, top: f64) {
        let mut row = 0.0;
        for (number, line) in self.lines.iter().enumerate() {
            let height = top + LEGEND * row;
            drawing.line("curve", number, format_args!("M{LEFT:.1} {height:.1}h34"));
            drawing.text("label", (LEFT + 40.0, height + 3.5), "start", &line.name);
            row += 1.0;
        }
        let height = top + LEGEND * row;
        drawing.rect("band", (LEFT, height - 5.0), (34.0, 10.0));
        drawing.text("label", (LEFT + 40.0, height + 3.5), "start", "prospective short-circuit current");
        if !self.uncovered.is_empty() {
            let height = height + LEGEND;
            drawing.rect("falls-short", (LEFT, height - 5.0), (34.0, 10.0));
            drawing.text("label", (LEFT + 40.0, height + 3.5), "start", "nothing is known to open in time");
        }
    }
}

fn axes(drawing: &mut Drawing, x: Decades, y: Decades) {
    for tick in y.ticks() {
        let at = y.at(tick);
        drawing.path("grid", format_args!("M{:.1} {at:.1}H{:.1}", x.low, x.high));
        let words =
            if tick < 0.9 { format!("{} ms", significant(1e3 * tick, 1)) } else { format!("{tick:.0} s") };
        drawing.text("tick", (x.low - 4.0, at + 3.5), "end", &words);
    }
    for tick in x.ticks() {
        let at = x.at(tick);
        drawing.path("grid", format_args!("M{at:.1} {:.1}V{:.1}", y.high, y.low));
        let words = crate::units::show(tick, crate::units::Dimension::CURRENT);
        let anchor = if at + 20.0 > x.high { "end" } else { "middle" };
        drawing.text("tick", (at, y.low + 13.0), anchor, &words);
    }
    drawing.text("tick", (2.0, 11.0), "start", "time");
    drawing.text("tick", (f64::midpoint(x.low, x.high), y.low + 29.0), "middle", "current");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::draw::Named;

    fn svg(chart: &TimeCurrent) -> String {
        let named = Named { id: "t", title: "title", words: "words" };
        chart.draw(Paper::PAGE).svg(named)
    }

    /// Places of the points of the first line of a drawing.
    fn places(svg: &str) -> Vec<(f64, f64)> {
        let d = svg.split(r#"class="curve" d=""#).nth(1).unwrap().split('"').next().unwrap();
        let pair = |point: &str| {
            let (x, y) = point.split_once(' ').unwrap();
            (x.parse().unwrap(), y.parse().unwrap())
        };
        d.trim_start_matches('M').split('L').map(pair).collect()
    }

    /// On two logarithmic axes I²t = const is a straight line that falls two decades of time for a decade of current.
    #[test]
    fn an_amount_of_heat_is_a_straight_line() {
        let points = [10.0, 100.0, 1000.0].map(|current: f64| (current, 1e4 / current.powi(2))).to_vec();
        let line = Line { name: "melts".to_owned(), points };
        let chart =
            TimeCurrent { prospective: (1000.0, 1000.0), lines: vec![line], ..TimeCurrent::default() };
        let drawn = svg(&chart);
        let [a, b, c] = places(&drawn)[..] else { panic!("{drawn}") };
        assert!(((b.1 - a.1) / (b.0 - a.0) - (c.1 - b.1) / (c.0 - b.0)).abs() < 0.01, "{a:?} {b:?} {c:?}");
        for told in [">10 ms<", ">100 s<", ">1 s<", ">10 A<", ">1000 A<", ">melts<"] {
            assert!(drawn.contains(told), "{told} is not in {drawn}");
        }
        assert!(!drawn.contains("url(#short)") && !drawn.contains("nothing is known to open in time"));
    }

    #[test]
    fn ugly_currents_are_drawn() {
        for (current, time) in
            [(0.0, 0.0), (-1.0, 1.0), (f64::NAN, 1.0), (1.0, f64::INFINITY), (1e300, 1e-300)]
        {
            let chart = TimeCurrent {
                prospective: (current, current),
                lines: vec![Line { name: "<b>".to_owned(), points: vec![(current, time), (5.0, 1.0)] }],
                uncovered: vec![vec![(current, time, time), (5.0, 1.0, 2.0)]],
                marks: vec![(current, "<b>".to_owned())],
            };
            let drawn = svg(&chart);
            assert!(drawn.contains("nothing is known to open in time"));
            for bad in ["NaN", "inf", "<b>", "width=\"-"] {
                assert!(!drawn.contains(bad), "{bad} in {drawn}");
            }
        }
    }
}
