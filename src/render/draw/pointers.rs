//! Numbered pointers over a photo: a ring or a frame at the place, a line to a number that stands beside it and not on it.
//!
//! A photo has any colours, so every line is dark inside white and can be told on all of them, in grey too. The drawing is a
//! fragment in the units of the picture, for a page or for a card.

use std::fmt::Write;

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

/// Draws the spots in their order, numbered from 1, over a picture of a width and a height.
pub(crate) fn pointers(spots: &[Spot], (width, height): (u32, u32)) -> String {
    let (width, height) = (f64::from(width), f64::from(height));
    // A hundredth of the longer side: a number is as large as small print when a phone shows the picture.
    let unit = width.max(height) / 100.0;
    let mut out = String::new();
    let mut numbers: Vec<(f64, f64)> = Vec::new();
    for (index, spot) in spots.iter().enumerate() {
        let at = place(*spot, spots, &numbers, (width, height), unit);
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

/// Radius of a number's disc, in hundredths of the longer side.
const NUMBER: f64 = 2.8;

/// Where a number stands: in the picture, and as far as it can be from all spots and from other numbers.
fn place(
    spot: Spot,
    spots: &[Spot],
    numbers: &[(f64, f64)],
    (width, height): (f64, f64),
    unit: f64,
) -> (f64, f64) {
    let room = (NUMBER + 0.6) * unit;
    let (x, y) = spot.middle();
    let reach = (spot.width / 2.0 + 8.0 * unit, spot.height / 2.0 + 8.0 * unit);
    let free = |at: &(f64, f64)| {
        let from_spots = spots.iter().map(|other| other.distance(*at));
        let from_numbers = numbers.iter().map(|other| (other.0 - at.0).hypot(other.1 - at.1));
        from_spots.chain(from_numbers).fold(f64::INFINITY, f64::min).min(9.0 * unit)
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
            if free > best.1 + 1e-6 { (at, free) } else { best }
        })
        .0
}

#[cfg(test)]
mod tests {
    use super::*;

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
                let at = place(*spot, &spots, &numbers, (1200.0, 900.0), 12.0);
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
            assert_eq!(pointers(&spots, (1200, 900)).matches("<text").count(), spots.len());
        }
    }
}
