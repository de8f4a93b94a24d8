//! Moves a tap onto the edge that was meant, and says how well the edge is known.
//!
//! The direction of the edge is that of the structure tensor round the tap (Förstner and Gülch 1987); the place is where the
//! levels across the edge, summed along it, change fastest. Blur widens an edge and does not move it; the curve of the
//! camera's levels moves it by a part of its width, which is in the stated uncertainty.

use image::GrayImage;

use super::corners::{Gradients, gradients, level};

/// Standard uncertainty of an edge that is perfectly sharp, pixels, and the part of its width that is added (own trial).
const SHARP: f64 = 0.22;
const OF_WIDTH: f64 = 0.15;
/// Levels over which an edge must rise.
const LEAST: f64 = 8.0;
/// Another edge within reach counts when it has this share of the weight of the one that was chosen.
const OTHER: f64 = 0.1;
/// Least share by which levels change in one direction rather than in all.
const IN_ONE: f64 = 0.3;
/// Steps of the levels across an edge, pixels.
const STEP: f64 = 0.25;

/// An edge near a tap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edge {
    pub at: [f64; 2],
    /// The direction across it, of length 1.
    pub across: [f64; 2],
    /// Standard uncertainty across, pixels.
    pub sigma: f64,
}

/// The edge that a tap means; nothing where there is none within reach, or only a corner.
pub(super) fn near(picture: &GrayImage, tap: [f64; 2], scatter: f64) -> Option<Edge> {
    let reach = (4.0 * scatter + 2.0).clamp(5.0, 40.0);
    let across = direction(picture, tap, reach)?;
    let first = on_line(picture, tap, across, reach, reach.min(6.0))?;
    // The direction again where the edge is, with less beside it.
    let close = reach.min(5.0);
    let Some(across) = direction(picture, first.at, close) else { return Some(first) };
    let second = on_line(picture, first.at, across, close, close)?;
    // What else lies within reach of the tap is not forgotten.
    Some(Edge { sigma: second.sigma.max(first.sigma), ..second })
}

/// The edge on a line through a place, across the edge.
pub(super) fn on_line(
    picture: &GrayImage,
    place: [f64; 2],
    across: [f64; 2],
    reach: f64,
    wide: f64,
) -> Option<Edge> {
    let along = [-across[1], across[0]];
    let half = (reach / STEP).ceil() as i32;
    let side = wide.round().max(1.0) as i32;
    let levels: Vec<f64> = (-half - 4..=half + 4)
        .map(|step| {
            let by = f64::from(step) * STEP;
            let sum: Option<f64> = (-side..=side)
                .map(|beside| {
                    level(
                        picture,
                        [0, 1].map(|axis| place[axis] + by * across[axis] + f64::from(beside) * along[axis]),
                    )
                })
                .sum();
            sum.map(|sum| sum / f64::from(2 * side + 1))
        })
        .collect::<Option<_>>()?;
    // Slopes over two pixels, levels a pixel.
    let slopes: Vec<f64> = levels.windows(9).map(|window| (window[8] - window[0]) / (8.0 * STEP)).collect();
    let peaks: Vec<usize> = (1..slopes.len().saturating_sub(1))
        .filter(|at| {
            let here = slopes[*at].abs();
            here >= slopes[at - 1].abs() && here > slopes[at + 1].abs() && here >= LEAST / 4.0
        })
        .collect();
    // The strongest, and of two the nearer: a tap is off by a quarter of the reach, an edge that is sought by half.
    let weight = |at: usize| {
        let by = (at as f64 - f64::from(half)) * STEP / (0.4 * reach);
        slopes[at].abs() * (-0.5 * by * by).exp()
    };
    let best = peaks.iter().copied().max_by(|a, b| weight(*a).total_cmp(&weight(*b)))?;
    // An edge is as far as the slope keeps its sign and a third of its top; its place is the middle of that, weighted.
    let whole = |peak: usize| {
        let belongs = |at: &usize| slopes.get(*at).is_some_and(|slope| slope / slopes[peak] > 0.33);
        let first = (0..=peak).rev().take_while(belongs).last()?;
        Some((first, (peak..slopes.len()).take_while(belongs).last()?))
    };
    // One that ends with the window was not seen whole.
    let cut = |(first, last): (usize, usize)| first == 0 || last + 1 == slopes.len();
    let rise = |(first, last): (usize, usize)| {
        slopes.get(first..=last).map_or(0.0, |slopes| slopes.iter().sum::<f64>().abs() * STEP)
    };
    let (first, last) = whole(best)?;
    let top = slopes[best];
    let (mut sum, mut first_moment, mut second_moment) = (0.0, 0.0, 0.0);
    for (at, slope) in slopes.iter().enumerate().take(last + 1).skip(first) {
        let (w, by) = (slope / top - 0.33, (at as f64 - f64::from(half)) * STEP);
        sum += w;
        first_moment += w * by;
        second_moment += w * by * by;
    }
    if sum <= 0.0 {
        return None;
    }
    let place_of = first_moment / sum;
    let width = (second_moment / sum - place_of * place_of).max(0.0).sqrt();
    if rise((first, last)) < LEAST || cut((first, last)) {
        return None;
    }
    let mut sigma = SHARP + OF_WIDTH * width;
    for other in peaks {
        // What rises by less than an edge is noise.
        let is_edge = whole(other).is_some_and(|span| cut(span) || rise(span) >= LEAST);
        if (other < first || other > last) && weight(other) > OTHER * weight(best) && is_edge {
            let apart = ((other as f64 - f64::from(half)) * STEP - place_of).abs();
            // The other may be meant: the interval of two standard uncertainties holds both.
            sigma = sigma.max(0.55 * apart + SHARP);
        }
    }
    Some(Edge { at: [0, 1].map(|axis| place[axis] + place_of * across[axis]), across, sigma })
}

/// The direction in which levels change round a place, where they change in one.
fn direction(picture: &GrayImage, place: [f64; 2], reach: f64) -> Option<[f64; 2]> {
    let Gradients { xx, xy, yy, .. } = gradients(picture, place, reach)?;
    let apart = ((xx - yy).powi(2) + 4.0 * xy * xy).sqrt();
    if apart < IN_ONE * (xx + yy) || xx + yy <= 0.0 {
        return None;
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    Some([angle.cos(), angle.sin()])
}

#[cfg(test)]
mod tests {
    use image::Luma;

    use super::*;

    /// An edge at 20.4 pixels along a direction, blurred over some pixels; behind it perhaps a second one.
    fn picture(angle: f64, blur: f64, second: Option<f64>) -> GrayImage {
        let (sin, cos) = angle.sin_cos();
        GrayImage::from_fn(60, 60, |x, y| {
            let by = (f64::from(x) - 30.0) * cos + (f64::from(y) - 30.0) * sin;
            let rise = |at: f64| 1.0 / (1.0 + (-(by - at) / blur * 1.7).exp());
            Luma([(60.0 + 110.0 * rise(0.4) - second.map_or(0.0, |at| 90.0 * rise(at))) as u8])
        })
    }

    #[test]
    fn a_tap_goes_to_the_edge() {
        for (angle, blur) in [(0.0, 0.5), (0.6, 0.8), (1.9, 1.5), (-1.2, 2.5)] {
            let picture = picture(angle, blur, None);
            let edge = near(&picture, [31.5, 28.2], 1.5).unwrap();
            let by = (edge.at[0] - 30.0) * angle.cos() + (edge.at[1] - 30.0) * angle.sin();
            assert!((by - 0.4).abs() < 0.1, "{angle}: {edge:?} {by}");
            assert!((0.2..0.9).contains(&edge.sigma), "{edge:?}");
        }
        assert_eq!(near(&GrayImage::from_pixel(60, 60, Luma([90])), [30.0, 30.0], 1.5), None);
        assert_eq!(near(&picture(0.0, 0.5, None), [1.0, 30.0], 1.5), None);
    }

    #[test]
    fn a_second_edge_within_reach_widens() {
        let edge = near(&picture(0.3, 0.6, Some(5.0)), [30.5, 30.0], 1.5).unwrap();
        assert!(edge.sigma > 2.2, "{edge:?}");
    }
}
