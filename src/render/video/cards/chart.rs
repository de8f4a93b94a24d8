//! Drawings of the cards: bars of the current path, and curves of bench tests.
//!
//! A bar that falls short is hatched and has the shape ▼ beside its number, an unknown one is a dotted line with ◇, so
//! that nothing hangs on colour. Lines are told apart by their dashes and by words.

use std::fmt::Write;

use super::super::measure::{Weight, width};
use super::flow::{Area, Format, SMALLEST, Text, label, small_width, tenth};
use crate::judge::bench_test::Curve;
use crate::render::draw::bars::{beside, reach};
use crate::render::draw::curve::{in_words, through};
use crate::render::draw::scale::Scale;
use crate::units::significant;

/// A drawing: shapes as SVG, and the texts beside them.
#[derive(Debug, Default)]
pub(super) struct Drawing {
    pub(super) shapes: String,
    pub(super) texts: Vec<Text>,
}

impl Drawing {
    fn path(&mut self, class: &str, d: &str) {
        // Writing to a String cannot fail.
        let _ = write!(self.shapes, r#"<path class="{class}" d="{d}"/>"#);
    }

    fn bar(&mut self, class: &str, at: Area) {
        let (x, y, w, h) = (tenth(at.x), tenth(at.y), tenth(at.width.max(1.0)), tenth(at.height));
        let _ = write!(self.shapes, r#"<rect class="{class}" x="{x}" y="{y}" width="{w}" height="{h}"/>"#);
    }
}

/// A bar of the path.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub(super) label: String,
    /// Amperes, where known.
    pub(super) value: Option<f64>,
    /// Expanded uncertainty in amperes.
    pub(super) spread: Option<f64>,
    pub(super) strong: bool,
    pub(super) falls_short: bool,
}

/// A line across the bars: amperes, label, class.
pub(super) type Mark = (f64, String, &'static str);

/// Height of a row, px.
const fn row_height(format: Format) -> (f64, f64) {
    match format {
        // Least and most.
        Format::Wide => (47.0, 80.0),
        Format::Tall => (76.0, 110.0),
    }
}

/// Height of a mark's label, px.
const MARK: f64 = 46.0;

/// How many rows an area has room for beside that many marks.
pub(super) fn room_for(area: Area, format: Format, marks: usize) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small positive number")]
    let rows = ((area.height - MARK * marks as f64) / row_height(format).0).max(0.0) as usize;
    rows
}

/// Draws bars on one axis, with lines across them.
pub(super) fn bars(rows: &[Row], marks: &[Mark], area: Area, format: Format) -> Drawing {
    let mut drawing = Drawing::default();
    let most = reach(rows.iter().filter_map(|row| row.value), marks.iter().map(|mark| mark.0)).max(1.0);
    let values: Vec<String> = rows.iter().map(value).collect();
    let value_room =
        values.iter().map(|v| small_width(v, Weight::Bold)).fold(0.0_f64, f64::max).min(0.4 * area.width);
    let label_room = rows.iter().map(|row| small_width(&row.label, Weight::Bold)).fold(0.0_f64, f64::max);
    let (left, right) = match format {
        Format::Wide => (area.x + label_room.min(0.4 * area.width) + 24.0, area.right() - value_room - 40.0),
        Format::Tall => (area.x, area.right() - 26.0),
    };
    let x = Scale::of([0.0, most].into_iter(), 5.0, left, right).ending_at(0.0, most);
    let top = area.y + MARK * marks.len() as f64;
    let (least, tallest) = row_height(format);
    let pitch = ((area.bottom() - top) / rows.len().max(1) as f64).clamp(least, tallest);
    let bottom = top + pitch * rows.len() as f64;
    let mut stretches = Vec::new();
    for (index, (row, value)) in rows.iter().zip(&values).enumerate() {
        let y = top + pitch * index as f64;
        let weight = if row.strong { Weight::Bold } else { Weight::Book };
        let thick = match format {
            Format::Wide => 0.62 * pitch,
            Format::Tall => (pitch - 50.0).min(44.0),
        };
        let bar_y = match format {
            Format::Wide => y + (pitch - thick) / 2.0,
            Format::Tall => y + 44.0,
        };
        let text_y = match format {
            Format::Wide => y + (pitch - SMALLEST * 1.2) / 2.0,
            Format::Tall => y,
        };
        let room = match format {
            Format::Wide => left - 24.0 - area.x,
            Format::Tall => area.width - value_room - 30.0,
        };
        drawing.texts.push(label(area.x, text_y, SMALLEST, weight, "ink", &row.label, room));
        let class = if row.falls_short { "bad" } else { "ink" };
        drawing.texts.push(
            label(area.right(), text_y, SMALLEST, weight, class, value, value_room + 1.0).anchored("end"),
        );
        // On a tall card the texts stand between the bars: a line across them would strike them out.
        stretches.push(match format {
            Format::Wide => (y, y + pitch),
            Format::Tall => (bar_y - 4.0, bar_y + thick + 4.0),
        });
        let middle = bar_y + thick / 2.0;
        let Some(si) = row.value else {
            drawing.path("unknown", &format!("M{left:.1} {middle:.1}H{right:.1}"));
            continue;
        };
        let class = if row.falls_short { "bar short" } else { "bar carries" };
        drawing.bar(class, Area { x: left, y: bar_y, width: x.at(si) - left, height: thick });
        if let Some((class, d)) = beside(&x, (si, row.spread), (bar_y, thick)) {
            drawing.path(class, &d);
        }
    }
    for (index, (amperes, words, class)) in marks.iter().enumerate() {
        let at = x.at(*amperes);
        let y = area.y + MARK * index as f64;
        let wide = small_width(words, Weight::Bold);
        // Beside the line, on the side where there is room.
        let (place, anchor) =
            if at + 12.0 + wide <= area.right() { (at + 12.0, "start") } else { (at - 12.0, "end") };
        drawing
            .texts
            .push(label(place, y, SMALLEST, Weight::Bold, "ink", words, wide + 1.0).anchored(anchor));
        let mut line =
            format!("M{at:.1} {:.1}V{:.1}", y + 6.0, if format == Format::Wide { bottom } else { top });
        for (from, to) in stretches.iter().filter(|_| format == Format::Tall) {
            let _ = write!(line, "M{at:.1} {from:.1}V{to:.1}");
        }
        drawing.path(&format!("mark {class}"), &line);
    }
    drawing
}

fn value(row: &Row) -> String {
    match row.value {
        Some(si) if row.falls_short => format!("▼ {} A", significant(si, 3)),
        Some(si) => format!("{} A", significant(si, 3)),
        None => "◇ not known".to_owned(),
    }
}

/// Draws a curve with its axes, marks and levels.
pub(super) fn curve(curve: &Curve, area: Area) -> Drawing {
    let mut drawing = Drawing::default();
    let xs = || curve.points().map(|p| p.0).chain(curve.marks.iter().map(|m| m.0)).filter(|x| x.is_finite());
    let ys = curve.points().map(|p| p.1).chain(curve.levels.iter().map(|l| l.0));
    // Where the axes lie is known once the room for their numbers is.
    let mut x = Scale::of(xs().chain([0.0]), 5.0, 0.0, 0.0);
    x = x.ending_at(xs().fold(0.0, f64::min), x.to);
    let mut y = Scale::of(ys, 5.0, 0.0, 0.0);
    let tick_room =
        y.ticks().iter().map(|tick| small_width(&y.number(*tick), Weight::Book)).fold(0.0_f64, f64::max);
    let plot = Area {
        x: area.x + tick_room + 16.0,
        y: area.y + 76.0,
        width: area.width - tick_room - 66.0,
        height: (area.height - 176.0).max(10.0),
    };
    (y.low, y.high) = (plot.bottom(), plot.y);
    (x.low, x.high) = (plot.x, plot.right());
    drawing.texts.push(label(area.x, area.y, SMALLEST, Weight::Book, "soft", &curve.y, area.width));
    for tick in y.ticks() {
        let at = y.at(tick);
        drawing.path("grid", &format!("M{:.1} {at:.1}H{:.1}", plot.x, plot.right()));
        let text = y.number(tick);
        drawing.texts.push(
            label(plot.x - 14.0, at - 22.0, SMALLEST, Weight::Book, "soft", &text, tick_room + 1.0)
                .anchored("end"),
        );
    }
    let mut free_from = f64::NEG_INFINITY;
    for tick in x.ticks() {
        let at = x.at(tick);
        drawing.path("grid", &format!("M{at:.1} {:.1}V{:.1}", plot.y, plot.bottom()));
        let text = x.number(tick);
        let half = small_width(&text, Weight::Book) / 2.0;
        if at - half > free_from && at + half <= area.right() {
            free_from = at + half + 24.0;
            drawing.texts.push(
                label(at, plot.bottom() + 8.0, SMALLEST, Weight::Book, "soft", &text, 2.0 * half + 1.0)
                    .anchored("middle"),
            );
        }
    }
    drawing.texts.push(
        label(
            plot.x + plot.width / 2.0,
            plot.bottom() + 52.0,
            SMALLEST,
            Weight::Book,
            "soft",
            &curve.x,
            plot.width,
        )
        .anchored("middle"),
    );
    for (number, series) in curve.series.iter().enumerate() {
        let finite = series.points.iter().filter(|p| p.0.is_finite() && p.1.is_finite());
        let line = through(&finite.map(|(px, py)| (x.at(*px), y.at(*py))).collect::<Vec<_>>());
        if !line.is_empty() {
            drawing.path(&format!("curve dash-{}", number % 4), &line);
        }
    }
    let mut taken = Vec::new();
    for (value, words) in &curve.levels {
        let at = y.at(*value);
        drawing.path("mark tested", &format!("M{:.1} {at:.1}H{:.1}", plot.x, plot.right()));
        let text = in_words(*value, words, &curve.y);
        // Above its line; below one that lies at the top, which would strike it out.
        let top = if at - 52.0 >= plot.y { at - 52.0 } else { at + 8.0 };
        let room = plot.width - 14.0;
        let wide = width(&text, SMALLEST, Weight::Bold).min(room);
        taken.push(Area { x: plot.x + 14.0, y: top, width: wide, height: LABEL });
        drawing.texts.push(label(plot.x + 14.0, top, SMALLEST, Weight::Bold, "ink", &text, room));
    }
    let points: Vec<(f64, f64)> = curve.points().map(|(px, py)| (x.at(px), y.at(py))).collect();
    let first = curve.marks.iter().map(|mark| x.at(mark.0)).fold(plot.right(), f64::min);
    for (index, (value, words)) in curve.marks.iter().enumerate() {
        let at = x.at(*value);
        drawing.path("mark fuse", &format!("M{at:.1} {:.1}V{:.1}", plot.y, plot.bottom()));
        let text = in_words(*value, words, &curve.x);
        let wide = width(&text, SMALLEST, Weight::Bold) + 1.0;
        let (place, leader) = free_place(plot, area, (at, first, wide), index, &points, &taken);
        taken.push(place);
        let (from, anchor) = if place.x < at { (place.right(), "end") } else { (place.x, "start") };
        if leader {
            let middle = place.y + LABEL / 2.0;
            drawing.path("leader", &format!("M{:.1} {middle:.1}H{at:.1}", from + 12.0));
        }
        drawing
            .texts
            .push(label(from, place.y, SMALLEST, Weight::Bold, "ink", &text, place.width).anchored(anchor));
    }
    drawing
}

/// Height of a label in a plot, px.
const LABEL: f64 = 46.0;

/// Where a mark's words stand: left of all marks with a leader, where a discharge leaves room below its curve, else to the right
/// or the left of the mark; at the first height at which neither a curve nor other words are in the way.
fn free_place(
    plot: Area,
    area: Area,
    (at, first, wide): (f64, f64, f64),
    index: usize,
    points: &[(f64, f64)],
    taken: &[Area],
) -> (Area, bool) {
    let free = |place: &Area| {
        let within = |(px, py): &(f64, f64)| {
            (place.x - 4.0..place.right() + 4.0).contains(px) && (place.y..place.bottom()).contains(py)
        };
        let overlaps = |other: &Area| {
            place.x < other.right()
                && other.x < place.right()
                && place.y < other.bottom()
                && other.y < place.bottom()
        };
        !points.iter().any(within) && !taken.iter().any(overlaps)
    };
    let mut places = Vec::new();
    for share in [0.4, 0.58, 0.22, 0.76, 0.15, 0.9, 0.05] {
        // Marks that lie close together have their words below one another.
        let top = (plot.y + share * plot.height + 58.0 * index as f64).min(plot.bottom() - LABEL - 4.0);
        for (left, leader) in [(first - 60.0 - wide, true), (at + 14.0, false), (at - 14.0 - wide, false)] {
            let place = Area { x: left, y: top, width: wide, height: LABEL };
            if left >= plot.x && place.right() <= area.right() {
                places.push((place, leader));
            }
        }
    }
    let fallback =
        Area { x: at + 14.0, y: plot.y + 0.4 * plot.height, width: area.right() - at - 14.0, height: LABEL };
    places.iter().find(|(place, _)| free(place)).or(places.first()).copied().unwrap_or((fallback, false))
}
