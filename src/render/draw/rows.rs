//! Lying rows on one axis: how warm each place of a current path becomes against its own limit, one number of each pack,
//! counts.
//!
//! What follows from the record is a bar from the lowest to the highest possible value, what was read a diamond, a limit a
//! tick with a foot and a head: three shapes, so that nothing hangs on colour.

use serde::{Deserialize, Serialize};

use super::glyph::{self, GUTTER, Glyph};
use super::labels::in_lines;
use super::scale::Scale;
use super::svg::{BOTTOM, Drawing, Paper};

const LEFT: f64 = 6.0;
const RIGHT: f64 = 14.0;
/// Height of a line of the legend, of a heading, of a name and of a row; and the distance to the next name.
const LEGEND: f64 = 14.0;
const HEADING: f64 = 14.0;
const NAME: f64 = 15.0;
const ROW: f64 = 13.0;
const GAP: f64 = 6.0;
/// Between the lines of a name that takes two, and the share of the paper that names beside the rows take.
const LINE: f64 = 11.5;
const BESIDE: f64 = 0.42;
/// Width of a shape of the legend with the space behind it.
const SAMPLE: f64 = 24.0;
/// Room of an axis without a name below the rows.
const UNNAMED: f64 = 16.0;
/// Share of the paper for the words of charts that share an axis, so that their axes lie below one another.
const SHARED: f64 = 0.3;
/// Height of a bar.
const THICK: f64 = 9.0;
/// An axis ends at most this share of the way from its beginning to the highest limit beyond that limit: one very hot
/// place must not press all others against the edge.
const BEYOND: f64 = 1.0;

/// A row.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(crate) struct Row {
    /// From the lowest to the highest possible value.
    pub range: Option<(f64, f64)>,
    /// True where it may be more than that.
    pub open: bool,
    /// What was read, with its uncertainty.
    pub reading: Option<(f64, f64)>,
    /// The limit.
    pub limit: Option<f64>,
    /// False where there is no such thing, rather than an unknown one.
    pub there: bool,
    /// The values in words.
    pub words: String,
    /// True where its words stand out.
    pub strong: bool,
    /// Pattern of the bar.
    #[serde(deserialize_with = "glyph::pattern")]
    pub class: glyph::Pattern,
}

/// Rows under one name.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(crate) struct Group {
    /// Heading over it and those that follow; empty where the last one still holds.
    pub heading: String,
    pub name: String,
    /// Words opposite the name.
    pub aside: String,
    pub rows: Vec<Row>,
    /// A line below the rows: what is missing.
    pub note: String,
    /// The part that it is about, drawn before the rows.
    pub glyph: Option<Glyph>,
}

/// What a line of the legend explains.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Sample {
    Bar(&'static str),
    Reading,
    Limit,
    /// The number of a photo.
    Photo,
    /// So many millimetres along the current, and across a section.
    Millimetres(f64, f64),
}

/// The chart.
#[derive(Debug, Clone, Default)]
pub(crate) struct RowChart<'a> {
    /// Name of the axis.
    pub axis: &'a str,
    /// Where the axis begins at the latest.
    pub from: Option<f64>,
    /// True where the axis counts whole things.
    pub whole: bool,
    pub groups: Vec<Group>,
    pub legend: Vec<(Sample, String)>,
    /// True where names stand beside the rows, on wide paper.
    pub beside: bool,
    /// True where lines stand close, for all places of several paths at a glance.
    pub close: bool,
    /// Ends of the axis that several charts share.
    pub axis_ends: Option<(f64, f64)>,
    /// The longest part of the charts that share a scale of lengths, mm.
    pub scale_of: Option<f64>,
}

impl RowChart<'_> {
    /// Width of the column of drawn parts; names beside the rows leave no room for it.
    fn gutter(&self) -> f64 {
        let drawn = !self.beside && self.groups.iter().any(|group| group.glyph.is_some());
        if drawn { GUTTER } else { 0.0 }
    }

    /// Units of the drawing for a millimetre along the current.
    fn along(&self) -> Option<f64> {
        self.scale_of.or_else(|| self.longest()).map(|longest| glyph::scale(longest, self.close))
    }

    /// The longest part that is drawn to scale, mm.
    pub(crate) fn longest(&self) -> Option<f64> {
        let lengths = self.groups.iter().filter_map(|group| group.glyph.as_ref()?.known_length());
        lengths.reduce(f64::max)
    }

    /// True where it fits on paper of a given height.
    #[cfg(feature = "video")]
    pub(crate) fn fits(&self, paper: Paper) -> bool {
        paper.height.is_none_or(|height| self.draw(paper).height + 2.0 <= height)
    }

    /// Where each entry of the legend stands: one behind the other, as many lines as it takes.
    fn explained(&self, drawing: &Drawing) -> Vec<(f64, f64)> {
        let (mut x, mut y) = (LEFT, 0.0);
        let place = |(sample, words): &(Sample, String)| {
            let wide = self.sample_width(sample) + drawing.wide("label", words);
            if x > LEFT && x + wide > drawing.paper.width {
                (x, y) = (LEFT, y + LEGEND);
            }
            let at = (x, y);
            x += wide + 12.0;
            at
        };
        self.legend.iter().map(place).collect()
    }

    /// Width of a shape of the legend with the space behind it.
    fn sample_width(&self, sample: &Sample) -> f64 {
        match sample {
            Sample::Millimetres(length, section) => {
                self.along().map_or(0.0, |along| along * length) + glyph::SECTION * section + 6.0
            }
            _ => SAMPLE,
        }
    }

    /// Lowest and highest value of the axis.
    pub(crate) fn ends(&self) -> (f64, f64) {
        if let Some(ends) = self.axis_ends {
            return ends;
        }
        let rows = || self.groups.iter().flat_map(|group| &group.rows);
        let limit = rows().filter_map(|row| row.limit).filter(|v| v.is_finite()).reduce(f64::max);
        let values = rows().flat_map(|row| [row.range, row.reading]).flatten().flat_map(|(a, b)| [a, b]);
        let values = values.chain(rows().filter_map(|row| row.limit)).chain(self.from);
        let values = values.filter(|value| value.is_finite());
        let (least, most) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        match limit {
            _ if !least.is_finite() => (0.0, 1.0),
            Some(limit) => (least, most.min(limit + BEYOND * (limit - least)).max(limit)),
            None => (least, most),
        }
    }

    pub(crate) fn draw(&self, paper: Paper) -> Drawing {
        let mut drawing = Drawing::new(paper);
        let rows = || self.groups.iter().flat_map(|group| &group.rows);
        let longest = rows().map(|row| drawing.wide("strong", &row.words)).fold(0.0, f64::max);
        let words =
            if self.axis_ends.is_some() { SHARED * paper.width } else { longest.min(0.45 * paper.width) };
        let names = self.groups.iter().map(|group| drawing.wide("label", &group.name)).fold(0.0, f64::max);
        let left = if self.beside { names.min(BESIDE * paper.width) + 10.0 } else { LEFT + self.gutter() };
        let right = paper.width - if words > 0.0 { words + 14.0 } else { RIGHT };
        let (least, most) = self.ends();
        let mut x = Scale::of([least, most].into_iter(), 6.0, left, right);
        if self.whole {
            x = x.in_whole_steps();
        }
        let explained = self.explained(&drawing);
        let top = explained.last().map_or(0.0, |(_, y)| y + LEGEND) + 4.0;
        let named: Vec<Vec<String>> = self.groups.iter().map(|group| self.name(&drawing, group)).collect();
        let heights: Vec<f64> =
            self.groups.iter().zip(&named).map(|(group, name)| self.height(group, name.len())).collect();
        let bottom = top + heights.iter().sum::<f64>();
        drawing.across(&x, (top, bottom), self.axis);
        for ((sample, words), at) in self.legend.iter().zip(explained) {
            legend(&mut drawing, *sample, words, (at, self.sample_width(sample)));
        }
        let mut y = top;
        let mut drawn: Vec<(f64, &Glyph)> = Vec::new();
        for ((group, name), height) in self.groups.iter().zip(&named).zip(heights) {
            self.group(&mut drawing, group, name, (&x, y));
            let heading = if group.heading.is_empty() { 0.0 } else { HEADING };
            if let Some(glyph) = group.glyph.as_ref().filter(|_| self.gutter() > 0.0) {
                drawn.push((y + f64::midpoint(heading, height - if self.close { 0.0 } else { GAP }), glyph));
            }
            y += height;
        }
        if let (Some((from, _)), Some((to, _))) = (drawn.first(), drawn.last()) {
            glyph::wire(&mut drawing, LEFT, *from, *to);
        }
        for (middle, glyph) in drawn {
            glyph.draw(&mut drawing, LEFT, middle, self.along());
        }
        drawing.height = bottom + if self.axis.is_empty() { UNNAMED } else { BOTTOM };
        drawing
    }

    /// The name in as many lines as it takes.
    fn name(&self, drawing: &Drawing, group: &Group) -> Vec<String> {
        let width = drawing.paper.width;
        let aside = drawing.wide("label halo", &group.aside);
        let room = if self.beside { BESIDE * width } else { width - LEFT - self.gutter() - aside - 10.0 };
        in_lines(&group.name, room, |text| drawing.wide("label halo", text))
    }

    fn height(&self, group: &Group, lines: usize) -> f64 {
        let further = LINE * (lines.max(1) - 1) as f64;
        let rows = ROW * group.rows.len() as f64;
        if self.beside {
            return rows.max(ROW + further) + if further > 0.0 { 3.0 } else { 1.0 };
        }
        let rows = rows + further;
        if self.close {
            let drawn = group.glyph.as_ref().map_or(0.0, |glyph| glyph.height(self.along()) + 2.0);
            return (NAME + rows - 2.0).max(drawn);
        }
        let heading = if group.heading.is_empty() { 0.0 } else { HEADING };
        let note = if group.note.is_empty() { 0.0 } else { ROW };
        let drawn = group.glyph.as_ref().filter(|_| self.gutter() > 0.0);
        let drawn = drawn.map_or(0.0, |glyph| glyph.height(self.along()) + 2.0);
        heading + (NAME + rows + note).max(drawn) + GAP
    }

    fn group(&self, drawing: &mut Drawing, group: &Group, name: &[String], (x, mut y): (&Scale, f64)) {
        let width = drawing.paper.width;
        let from = LEFT + self.gutter();
        if !self.beside && !group.heading.is_empty() {
            drawing.text("tick halo", (from, y + 11.0), "start", &group.heading.to_uppercase());
            y += HEADING;
        }
        let class = "label halo";
        let mut baseline = y + 10.5;
        for line in name {
            drawing.text(class, (if self.beside { 0.0 } else { from }, baseline), "start", line);
            baseline += LINE;
        }
        if !self.beside {
            drawing.text(class, (width - 2.0, y + 10.5), "end", &group.aside);
            y = baseline - 10.5 - LINE + if self.close { NAME - 2.0 } else { NAME };
        }
        for row in &group.rows {
            let class = if row.strong { "label strong" } else { "label" };
            drawing.text(class, (width - 2.0, y + 9.5), "end", &row.words);
            marks(drawing, row, x, y + 1.0);
            y += ROW;
        }
        if !self.beside && !group.note.is_empty() {
            drawing.text("tick halo", (from, y + 9.5), "start", &group.note);
        }
    }
}

/// The bar, the reading and the limit of a row.
fn marks(drawing: &mut Drawing, row: &Row, x: &Scale, top: f64) {
    let middle = top + THICK / 2.0;
    let mut beyond = row.open;
    let finite = |(low, high): &(f64, f64)| low.is_finite() && high.is_finite();
    match row.range.filter(finite) {
        Some((low, high)) => {
            beyond |= high > x.to;
            if low <= x.to {
                let (from, to) = (x.at(low), x.at(high));
                drawing.rect(&format!("bar {}", row.class), (from, top), ((to - from).max(1.5), THICK));
            }
            if beyond {
                let at = x.at(high) + 2.0;
                drawing.path("beyond", format_args!("M{at:.1} {top:.1}l6 4.5l-6 4.5z"));
            }
        }
        None if row.there && row.reading.is_none() => {
            drawing.path("unknown", format_args!("M{:.1} {middle:.1}H{:.1}", x.low, x.high));
        }
        None => {}
    }
    if x.from < 0.0 && row.range.is_some() {
        // Beside the bar alone: a line all the way down would cross the names.
        drawing.path("zero", format_args!("M{:.1} {:.1}v13", x.at(0.0), top - 2.0));
    }
    if let Some(value) = row.limit.filter(|limit| limit.is_finite()) {
        limit(drawing, x.at(value), top);
    }
    if let Some((low, high)) = row.reading.filter(finite) {
        let (from, to, at) = (x.at(low), x.at(high), x.at(f64::midpoint(low, high)));
        if to - from > 9.0 {
            drawing.path("spread", format_args!("M{from:.1} {middle:.1}H{to:.1}"));
        }
        diamond(drawing, (at, middle));
        if row.range.is_none() && (row.open || high > x.to) {
            drawing.path("beyond", format_args!("M{:.1} {top:.1}l6 4.5l-6 4.5z", at + 6.0));
        }
    }
}

fn diamond(drawing: &mut Drawing, (x, y): (f64, f64)) {
    drawing.path("reading", format_args!("M{:.1} {y:.1}l4.5 -4.5l4.5 4.5l-4.5 4.5z", x - 4.5));
}

/// The shape and the words of an entry of the legend.
fn legend(drawing: &mut Drawing, sample: Sample, words: &str, ((x, y), wide): ((f64, f64), f64)) {
    let top = y + 2.0;
    match sample {
        Sample::Bar(class) => drawing.rect(&format!("bar {class}"), (x, top), (18.0, THICK)),
        Sample::Reading => diamond(drawing, (x + 9.0, top + THICK / 2.0)),
        Sample::Limit => limit(drawing, x + 9.0, top),
        Sample::Photo => glyph::frame(drawing, (x + 1.0, y), "1"),
        Sample::Millimetres(..) => {
            let (middle, wide) = (top + THICK / 2.0, wide - 6.0);
            drawing.path(
                "limit",
                format_args!("M{x:.1} {:.1}v6M{x:.1} {middle:.1}h{wide:.1}m0 -3v6", middle - 3.0),
            );
        }
    }
    drawing.text("label", (x + wide, y + 10.0), "start", words);
}

/// A limit beside a bar whose upper edge lies at `top`.
fn limit(drawing: &mut Drawing, at: f64, top: f64) {
    let (left, from, to) = (at - 3.5, top - 1.5, top + THICK + 1.5);
    drawing
        .path("limit", format_args!("M{left:.1} {from:.1}h7M{at:.1} {from:.1}V{to:.1}M{left:.1} {to:.1}h7"));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::draw::Named;

    fn chart(ranges: &[Option<(f64, f64)>], limit: Option<f64>) -> String {
        let group = |range: &Option<(f64, f64)>| Group {
            heading: "positive leg".to_owned(),
            name: "<b>".repeat(40),
            aside: "limit".to_owned(),
            rows: vec![
                Row { range: *range, limit, there: true, class: "carries", ..Row::default() },
                Row { reading: *range, limit, there: true, open: true, ..Row::default() },
            ],
            note: "missing: <b>".to_owned(),
            glyph: None,
        };
        let legend = vec![(Sample::Bar("falls-short"), "bar".to_owned()), (Sample::Limit, "<b>".to_owned())];
        let groups = ranges.iter().map(group).collect();
        let chart = RowChart { axis: "°C", groups, legend, ..RowChart::default() };
        let wide = RowChart { beside: true, ..chart.clone() }.draw(Paper::PAGE);
        let named = Named { id: "b", title: "bars", words: "in words" };
        format!("{}{}", chart.draw(Paper::PAGE).svg(named), wide.svg(named))
    }

    #[test]
    fn ugly_rows_are_drawn() {
        for ranges in [
            &[][..],
            &[None],
            &[Some((0.0, 0.0))],
            &[Some((-5.0, 1e300))],
            &[Some((f64::NAN, 1.0))],
            &[Some((3.0, f64::INFINITY)), Some((1.0, 2.0))],
        ] {
            for limit in [None, Some(200.0), Some(f64::NAN)] {
                let svg = chart(ranges, limit);
                for bad in ["NaN", "inf", "<b>", "width=\"-"] {
                    assert!(!svg.contains(bad), "{bad} in {svg}");
                }
            }
        }
    }

    #[test]
    fn bars_and_limits_lie_at_their_values() {
        let svg = chart(&[Some((20.0, 60.0)), Some((40.0, 120.0))], Some(120.0));
        let svg = svg.split("</svg>").next().unwrap();
        let wide = |bar: &str| -> f64 {
            bar.split("width=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
        };
        let bars: Vec<f64> = svg.split("class=\"bar carries\"").skip(1).map(wide).collect();
        assert!(bars.len() == 2 && (bars[1] / bars[0] - 2.0).abs() < 0.01, "{bars:?}");
        // One of each row, and that of the legend.
        assert_eq!(svg.matches("class=\"limit\"").count(), 5);
        assert_eq!(svg.matches("class=\"reading\"").count(), 2);
    }

    #[test]
    fn a_very_hot_place_does_not_press_the_others() {
        let row = |range, limit| Row { range: Some(range), limit: Some(limit), ..Row::default() };
        for (rows, ends) in [
            (vec![row((20.0, 60.0), 90.0)], (20.0, 90.0)),
            (vec![row((20.0, 60.0), 90.0), row((80.0, 100.0), 90.0)], (20.0, 100.0)),
            (vec![row((20.0, 60.0), 90.0), row((260.0, 508.0), 90.0)], (20.0, 160.0)),
        ] {
            let groups = vec![Group { rows, ..Group::default() }];
            assert_eq!(RowChart { groups, ..RowChart::default() }.ends(), ends);
        }
    }
}
