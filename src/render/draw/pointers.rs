//! Over a photo: numbered pointers, a ring or a frame at the place and a line to a number that stands beside it and not on it;
//! and lengths that were measured in it, a line with ends and the value beside it.
//!
//! A photo has any colours, so every line is dark inside white and can be told on all of them, in grey too. The drawing is a
//! fragment in the units of the picture, for a page or for a card.

use std::fmt::Write;

use image::GrayImage;

use crate::record::parts::Measure;
use crate::render::markup::escape;

/// A place on a picture, in its pixels; a point has no size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spot {
    /// Left edge.
    pub x: f64,
    /// Top edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Spot {
    fn middle(self) -> (f64, f64) {
        (self.x + self.width / 2.0, self.y + self.height / 2.0)
    }

    fn is_point(self) -> bool {
        self.width <= 0.0 || self.height <= 0.0
    }

    /// The point of it that is nearest to another.
    fn nearest(self, (x, y): (f64, f64)) -> (f64, f64) {
        (x.clamp(self.x, self.x + self.width), y.clamp(self.y, self.y + self.height))
    }

    fn distance(self, from: (f64, f64)) -> f64 {
        let (x, y) = self.nearest(from);
        (x - from.0).hypot(y - from.1)
    }
}

/// Draws the spots in their order, numbered from 1, over a picture. A number stands where the picture shows least.
pub(crate) fn pointers(spots: &[Spot], picture: &GrayImage) -> String {
    let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
    // A hundredth of the longer side: a number is as large as small print when a phone shows the picture.
    let unit = width.max(height) / 100.0;
    let mut out = String::new();
    let mut numbers: Vec<(f64, f64)> = Vec::new();
    for (index, spot) in spots.iter().enumerate() {
        let at = place(*spot, spots, &numbers, picture, unit);
        numbers.push(at);
        let ring = 1.4 * unit;
        let (mark, edge) = if spot.is_point() {
            let (x, y) = spot.middle();
            let away = (at.0 - x).hypot(at.1 - y).max(1.0);
            let edge = (x + (at.0 - x) / away * ring, y + (at.1 - y) / away * ring);
            (format!(r#"<circle cx="{x:.0}" cy="{y:.0}" r="{ring:.0}"/>"#), edge)
        } else {
            let Spot { x, y, width, height } = *spot;
            let frame = format!(r#"<rect x="{x:.0}" y="{y:.0}" width="{width:.0}" height="{height:.0}"/>"#);
            (frame, spot.nearest(at))
        };
        let line = format!(r#"{mark}<path d="M{:.0} {:.0}L{:.0} {:.0}"/>"#, edge.0, edge.1, at.0, at.1);
        let (outer, inner) = (1.1 * unit, 0.45 * unit);
        // Writing to a String cannot fail.
        let _ = write!(
            out,
            r##"<g fill="none" stroke="#fff" stroke-width="{outer:.1}">{line}</g><g fill="none" stroke="#111" stroke-width="{inner:.1}">{line}</g><circle cx="{x:.0}" cy="{y:.0}" r="{r:.0}" fill="#fff" stroke="#111" stroke-width="{inner:.1}"/><text x="{x:.0}" y="{base:.0}" font-size="{size:.0}" font-weight="700" text-anchor="middle" fill="#111">{number}</text>"##,
            x = at.0,
            y = at.1,
            r = NUMBER * unit,
            base = at.1 + 1.35 * unit,
            size = 3.8 * unit,
            number = index + 1,
        );
    }
    out
}

/// Draws a measured length over a picture of a width and a height: what was tapped, the length between, its value. `labels`
/// holds where values stand already: middle, half width and half height.
pub(crate) fn measured(
    kind: Measure,
    taps: &[(f64, f64)],
    value: &str,
    (width, height): (u32, u32),
    labels: &mut Vec<[f64; 4]>,
) -> String {
    let (width, height) = (f64::from(width), f64::from(height));
    let unit = width.max(height) / 100.0;
    let middle = |a: (f64, f64), b: (f64, f64)| (f64::midpoint(a.0, b.0), f64::midpoint(a.1, b.1));
    let apart = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).hypot(a.1 - b.1);
    let (edges, from, to) = match (kind, taps) {
        (Measure::Length, &[a, b]) => (vec![], a, b),
        (Measure::Width, &[a, b, c]) => (vec![(a, b)], middle(a, b), c),
        (Measure::Width | Measure::Overlap, &[a, b, c, d]) => {
            (vec![(a, b), (c, d)], middle(a, b), middle(c, d))
        }
        (Measure::Diameter, &[first, .., last]) => {
            let pairs = taps.iter().flat_map(|a| taps.iter().map(|b| (*a, *b)));
            let (a, b) =
                pairs.max_by(|x, y| apart(x.0, x.1).total_cmp(&apart(y.0, y.1))).unwrap_or((first, last));
            (vec![], a, b)
        }
        _ => return String::new(),
    };
    let length = apart(from, to).max(1e-9);
    let across = (-(to.1 - from.1) / length, (to.0 - from.0) / length);
    let mut lines = String::new();
    let end = 1.5 * unit;
    let ends = [from, to].map(|at| {
        let by = |sign: f64| (at.0 + sign * end * across.0, at.1 + sign * end * across.1);
        (by(1.0), by(-1.0))
    });
    for (a, b) in edges.into_iter().chain(ends).chain([(from, to)]) {
        // Writing to a String cannot fail.
        let _ = write!(lines, "M{:.0} {:.0}L{:.0} {:.0}", a.0, a.1, b.0, b.1);
    }
    // Beyond an end of the line, where the part is over; beside its middle where the picture ends or another value stands.
    let size = 3.2 * unit;
    let half = 0.34 * size * value.chars().count() as f64;
    let (wide, high) = (half + 0.8 * unit, 0.7 * size);
    let along = ((to.0 - from.0) / length, (to.1 - from.1) / length);
    let off = |(x, y): (f64, f64)| wide * x.abs() + high * y.abs() + 2.0 * unit;
    let beyond = |at: (f64, f64), way: (f64, f64)| (at.0 + off(way) * way.0, at.1 + off(way) * way.1);
    let back = |(x, y): (f64, f64)| (-x, -y);
    let places = [
        beyond(to, along),
        beyond(from, back(along)),
        beyond(middle(from, to), across),
        beyond(middle(from, to), back(across)),
    ]
    .map(|(x, y)| {
        let inside =
            |at: f64, half: f64, all: f64| at.clamp(half.min(all / 2.0), (all - half).max(all / 2.0));
        [inside(x, wide, width), inside(y, high, height), wide, high]
    });
    let covers = |place: &[f64; 4]| {
        let taken = labels.iter().copied();
        let points = taps.iter().chain([&from, &to]).map(|(x, y)| [*x, *y, unit, unit]);
        let hit =
            |other: &[f64; 4]| (0..2).all(|a| (place[a] - other[a]).abs() < place[a + 2] + other[a + 2]);
        taken.chain(points).filter(hit).count()
    };
    let best = places.into_iter().min_by_key(covers).unwrap_or(places[0]);
    labels.push(best);
    let [x, y, ..] = best;
    format!(
        r##"<path d="{lines}" fill="none" stroke="#fff" stroke-width="{:.1}"/><path d="{lines}" fill="none" stroke="#111" stroke-width="{:.1}"/><rect x="{:.0}" y="{:.0}" width="{:.0}" height="{:.0}" fill="#fff" stroke="#111" stroke-width="{:.1}"/><text x="{x:.0}" y="{:.0}" font-size="{size:.0}" font-weight="700" text-anchor="middle" textLength="{:.0}" lengthAdjust="spacingAndGlyphs" fill="#111">{}</text>"##,
        1.1 * unit,
        0.45 * unit,
        x - wide,
        y - high,
        2.0 * wide,
        2.0 * high,
        0.2 * unit,
        y + 0.35 * size,
        2.0 * half,
        escape(value),
    )
}

/// Radius of a number's disc, in hundredths of the longer side.
const NUMBER: f64 = 2.8;

/// Where a number stands: in the picture, away from all spots and from other numbers, and where the picture is plain.
fn place(spot: Spot, spots: &[Spot], numbers: &[(f64, f64)], picture: &GrayImage, unit: f64) -> (f64, f64) {
    let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
    let room = (NUMBER + 0.6) * unit;
    let (x, y) = spot.middle();
    let reach = (spot.width / 2.0 + 8.0 * unit, spot.height / 2.0 + 8.0 * unit);
    let free = |at: &(f64, f64)| {
        let from_spots = spots.iter().map(|other| other.distance(*at));
        let from_numbers = numbers.iter().map(|other| (other.0 - at.0).hypot(other.1 - at.1));
        from_spots.chain(from_numbers).fold(f64::INFINITY, f64::min).min(9.0 * unit) / unit
    };
    let inside = |at: f64, size: f64| at.clamp(room.min(size / 2.0), (size - room).max(size / 2.0));
    (0..8)
        .map(|eighth| {
            let angle = f64::from(eighth).mul_add(45.0, -45.0).to_radians();
            (inside(x + reach.0 * angle.cos(), width), inside(y + reach.1 * angle.sin(), height))
        })
        // The first of several that are as good, so that the same record gives the same drawing.
        .fold(((x, y), f64::NEG_INFINITY), |best, at| {
            let free = free(&at);
            // What lies on a spot or on another number is no place, however plain.
            let worth = if free > 2.0 * NUMBER { PLAIN - spread(picture, at, NUMBER * unit) } else { 0.0 };
            let worth = free + worth / SHADES;
            if worth > best.1 + 1e-6 { (at, worth) } else { best }
        })
        .0
}

/// More than the shades of any picture differ, and how many of them outweigh a hundredth of the longer side.
const PLAIN: f64 = 300.0;
const SHADES: f64 = 8.0;

/// Standard deviation of the shades round a point, 0 to 128.
fn spread(picture: &GrayImage, (x, y): (f64, f64), radius: f64) -> f64 {
    let around = (-4..=4).flat_map(|across| (-4..=4).map(move |down| (f64::from(across), f64::from(down))));
    let shades = around.filter_map(|(across, down)| {
        let at = |middle: f64, steps: f64| (middle + steps / 4.0 * radius).max(0.0) as u32;
        picture.get_pixel_checked(at(x, across), at(y, down)).map(|pixel| f64::from(pixel.0[0]))
    });
    let (count, sum, squares) = shades
        .fold((0.0, 0.0, 0.0), |(n, sum, squares), shade| (n + 1.0, sum + shade, squares + shade * shade));
    let mean: f64 = sum / f64::max(count, 1.0);
    (squares / f64::max(count, 1.0) - mean * mean).max(0.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_measured_length_stands_beside_its_line() {
        let mut labels = Vec::new();
        let mut drawn =
            |kind, taps: &[(f64, f64)]| measured(kind, taps, "60.0 mm ± 0.2 mm", (1200, 900), &mut labels);
        let length = drawn(Measure::Length, &[(300.0, 400.0), (900.0, 400.0)]);
        assert!(length.contains("M300 400L900 400") && length.contains("M300 418L300 382"), "{length}");
        assert!(length.contains(">60.0 mm ± 0.2 mm<"), "{length}");
        let width = drawn(Measure::Width, &[(0.0, 0.0), (100.0, 0.0), (0.0, 90.0), (100.0, 90.0)]);
        assert!(width.contains("M0 0L100 0M0 90L100 90") && width.contains("M50 0L50 90"), "{width}");
        let rim = [(100.0, 50.0), (50.0, 100.0), (0.0, 50.0)];
        assert!(
            drawn(Measure::Diameter, &rim).contains("M100 50L0 50")
                || drawn(Measure::Diameter, &rim).contains("M0 50L100 50")
        );
        assert_eq!(drawn(Measure::Overlap, &rim), "");
        for at in 1..5 {
            // The same length again: each value stands in the picture and on no other one.
            drawn(Measure::Length, &[(300.0, 400.0), (900.0, 400.0)]);
            assert!(drawn(Measure::Length, &[(20.0, 880.0), (1190.0, 870.0)]).contains("<text"), "{at}");
        }
        let apart = |a: &[f64; 4], b: &[f64; 4]| (0..2).any(|i| (a[i] - b[i]).abs() >= a[i + 2] + b[i + 2]);
        assert!(labels[0][1] - labels[0][3] > 400.0, "beside it, no room beyond: {:?}", labels[0]);
        assert!(apart(&labels[0], &labels[3]) && apart(&labels[3], &labels[5]), "{labels:?}");
        for [x, y, wide, high] in &labels {
            assert!(x - wide >= 0.0 && x + wide <= 1200.0 && y - high >= 0.0 && y + high <= 900.0);
        }
        measured(Measure::Length, &[(100.0, 700.0), (500.0, 700.0)], "60 mm", (1200, 900), &mut labels);
        assert!(labels.last().is_some_and(|[x, _, wide, _]| x - wide > 500.0), "beyond the end: {labels:?}");
        assert!(measured(Measure::Length, &rim[..2], "<b>", (9, 9), &mut labels).contains("&lt;b&gt;"));
    }

    #[test]
    fn numbers_stand_in_the_picture_and_on_nothing() {
        let point = |x, y| Spot { x, y, width: 0.0, height: 0.0 };
        let area = Spot { x: 500.0, y: 300.0, width: 300.0, height: 200.0 };
        for spots in [
            vec![point(0.0, 0.0), point(1199.0, 899.0), point(600.0, 0.0), area],
            vec![point(600.0, 450.0), point(640.0, 470.0), point(560.0, 430.0)],
            vec![Spot { x: 0.0, y: 0.0, width: 1200.0, height: 900.0 }],
        ] {
            let mut numbers = Vec::new();
            for spot in &spots {
                let at = place(*spot, &spots, &numbers, &GrayImage::new(1200, 900), 12.0);
                assert!((30.0..=1170.0).contains(&at.0) && (30.0..=870.0).contains(&at.1), "{at:?}");
                // A frame round all of the picture has no outside.
                if spots.len() > 1 {
                    assert!(
                        spots.iter().all(|spot| spot.distance(at) > NUMBER * 12.0),
                        "{at:?} of {spots:?}"
                    );
                    assert!(
                        numbers
                            .iter()
                            .all(|n: &(f64, f64)| (n.0 - at.0).hypot(n.1 - at.1) > 2.0 * NUMBER * 12.0)
                    );
                }
                numbers.push(at);
            }
            assert_eq!(pointers(&spots, &GrayImage::new(1200, 900)).matches("<text").count(), spots.len());
        }
    }

    #[test]
    fn a_number_hides_nothing_where_the_picture_is_plain_elsewhere() {
        let spot = Spot { x: 500.0, y: 300.0, width: 200.0, height: 100.0 };
        let stripes = |x: u32| image::Luma([if (x / 7).is_multiple_of(2) { 255 } else { 0 }]);
        let half = GrayImage::from_fn(1200, 900, |x, y| if y < 350 { stripes(x) } else { image::Luma([90]) });
        let (_, y) = place(spot, &[spot], &[], &half, 12.0);
        assert!(y > 350.0 + NUMBER * 12.0, "{y}");
    }
}
