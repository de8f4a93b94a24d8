//! The differential curve of a discharge, −dV/dQ: how fast the voltage falls with the charge taken out.
//!
//! At each place a straight line is fitted (least squares) to the samples within a window of *charge*, so that dense
//! and sparse sampling are smoothed alike; on an even grid this is the filter of Savitzky and Golay (*Anal. Chem.* 36,
//! 1627, 1964) of first or second degree. Where the window does not lie whole inside the discharge there is no value.
//!
//! A derivative makes noise larger, and the plateau of lithium iron phosphate is nearly flat. So the curve carries its
//! uncertainty: the scatter of the samples about the line, and the last digit of the voltage, d, which over a window w
//! can bend the line by up to 1.5 d/w either way and does not average out. The narrowest of three windows is taken at
//! which the curve is known well; where none is, there is no curve, and the reason is said. The curve of a discharge
//! whose current was not steady or that was interrupted shows the steps of the load, so it is refused too.

use std::fmt;

use super::curve::CurvePoint;
use super::median;
use crate::units::{COVERAGE, significant};

/// Windows that are tried, as parts of the whole charge (common practice, no source).
const WINDOWS: [f64; 3] = [0.01, 0.02, 0.05];
/// The curve is known well when its uncertainty is at most this part of its median (common practice, no source).
const WELL: f64 = 0.25;
/// Samples in a window at least.
const FEWEST: usize = 7;
/// Places along the charge.
const PLACES: usize = 400;
/// Beyond this multiple of its median the ends of the curve are cut off, or they would flatten the rest.
const STEEP: f64 = 5.0;
/// A place whose uncertainty is this many times the usual one, and no small part of its value, is left out.
const UNUSUAL: f64 = 3.0;
/// Peaks that are told.
const PEAKS: usize = 6;
/// Standard deviation of a slope, in digits of the voltage over the window: bounds of 1.5, rectangular.
const DIGIT: f64 = 1.5 / 1.732_050_807_568_877_2;

/// A place of the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Charge since the start, C.
    pub charge: f64,
    /// Fall of the voltage with the charge, V/C.
    pub fall: f64,
    /// Expanded uncertainty (k = 2), V/C.
    pub expanded: f64,
}

/// The differential curve.
#[derive(Debug, Clone, PartialEq)]
pub struct SlopeCurve {
    /// Window of charge, C.
    pub window: f64,
    /// The same as a part of the whole charge.
    pub part: f64,
    /// The places, in the order of the charge; steep ends are cut off.
    pub places: Vec<Slope>,
    /// Median of the fall, V/C.
    pub median: f64,
    /// Median of the expanded uncertainties, V/C.
    pub expanded: f64,
    /// Whether ends were cut off for their steepness.
    pub cut: bool,
    /// Places inside that are left out because a reading in their window is far off.
    pub left_out: usize,
    /// Where the curve stands out beyond its uncertainty, at most six, the highest.
    pub peaks: Vec<Slope>,
}

/// Why there is no differential curve.
#[derive(Debug, Clone, PartialEq)]
pub enum NoSlope {
    /// The discharge has too few samples for the widest window.
    FewSamples,
    /// The current was not held.
    NotHeld,
    /// The discharge was interrupted.
    Paused,
    /// Noise and digits hide it: median and uncertainty with the widest window, V/C.
    Hidden {
        /// Median of the fall.
        median: f64,
        /// Its expanded uncertainty.
        expanded: f64,
    },
}

impl fmt::Display for NoSlope {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FewSamples => {
                write!(f, "fewer than {FEWEST} samples lie in each 20th of the charge")
            }
            Self::NotHeld => f.write_str("the current was not held, and its steps would show"),
            Self::Paused => {
                f.write_str("the discharge was interrupted, and the recovery of the voltage would show")
            }
            Self::Hidden { median, expanded } => write!(
                f,
                "noise or the last digit of the voltage hides it: over 5 % of the charge it is known within {} mV/Ah (k = 2), and is {} mV/Ah in the middle",
                in_use(*expanded),
                in_use(*median)
            ),
        }
    }
}

/// V/C as mV/Ah, with the figures that are worth reading.
pub fn in_use(slope: f64) -> String {
    significant(millivolts_per_ampere_hour(slope), 3)
}

/// V/C as mV/Ah.
pub fn millivolts_per_ampere_hour(slope: f64) -> f64 {
    slope * 3600.0 * 1e3
}

/// The fall of the voltage at one charge over a window around it, by a straight line through the samples in it.
///
/// `points` are charge (C, rising) and voltage (V); `digit` is the last digit of the voltage, V. Nothing where the
/// window reaches beyond the points, or holds fewer than three.
pub fn slope_at(points: &[(f64, f64)], charge: f64, window: f64, digit: f64) -> Option<(Slope, usize)> {
    let half = window / 2.0 * (1.0 + 1e-9);
    let (low, high) = (charge - half, charge + half);
    if points.first()?.0 > charge - window / 2.0 + 1e-9 * window
        || points.last()?.0 < charge + window / 2.0 - 1e-9 * window
    {
        return None;
    }
    let from = points.partition_point(|(q, _)| *q < low);
    let inside = || points.iter().skip(from).take_while(|(q, _)| *q <= high);
    let count = inside().count();
    if count < 3 {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let n = count as f64;
    let (mean_q, mean_v) = inside().fold((0.0, 0.0), |(q, v), point| (q + point.0 / n, v + point.1 / n));
    let (mut square, mut product) = (0.0, 0.0);
    for (q, v) in inside() {
        square += (q - mean_q).powi(2);
        product += (q - mean_q) * (v - mean_v);
    }
    if square <= 0.0 {
        return None;
    }
    let slope = product / square;
    let rest: f64 = inside().map(|(q, v)| (v - mean_v - slope * (q - mean_q)).powi(2)).sum();
    let scatter = (rest / (n - 2.0)).sqrt() / square.sqrt();
    let standard = scatter.hypot(DIGIT * digit / window);
    Some((Slope { charge, fall: -slope, expanded: COVERAGE * standard }, count))
}

/// The differential curve of a discharge, or why there is none.
///
/// # Errors
/// Where the samples do not support it.
pub fn slope_curve(points: &[CurvePoint], held: bool, pauses: u32) -> Result<SlopeCurve, NoSlope> {
    if pauses > 0 {
        return Err(NoSlope::Paused);
    }
    if !held {
        return Err(NoSlope::NotHeld);
    }
    let points: Vec<(f64, f64)> = points.iter().map(|point| (point.charge, point.voltage)).collect();
    let digit = last_digit(&points);
    let mut refused = NoSlope::FewSamples;
    for part in WINDOWS {
        match with_window(&points, part, digit) {
            Some(curve) if curve.expanded <= WELL * curve.median => return Ok(trimmed(curve)),
            Some(SlopeCurve { median, expanded, .. }) => refused = NoSlope::Hidden { median, expanded },
            None => {}
        }
    }
    Err(refused)
}

/// The curve with one window, or nothing where the samples lie too far apart for it.
fn with_window(points: &[(f64, f64)], part: f64, digit: f64) -> Option<SlopeCurve> {
    let (first, last) = (points.first()?.0, points.last()?.0);
    let window = part * (last - first);
    if window.is_nan() || window <= 0.0 {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "a few hundred places")]
    let places: Option<Vec<Slope>> = (0..PLACES)
        .map(|n| {
            let along = n as f64 / (PLACES - 1) as f64;
            let charge = first + window / 2.0 + (last - first - window) * along;
            let (slope, count) = slope_at(points, charge, window, digit)?;
            (count >= FEWEST).then_some(slope)
        })
        .collect();
    let places = places?;
    let median = median(places.iter().map(|place| place.fall.abs()))?;
    let expanded = super::median(places.iter().map(|place| place.expanded))?;
    Some(SlopeCurve { window, part, places, median, expanded, cut: false, left_out: 0, peaks: Vec::new() })
}

/// Cuts off steep ends and leaves out what a reading far off makes uncertain; then looks for peaks.
fn trimmed(mut curve: SlopeCurve) -> SlopeCurve {
    let gentle = |place: &Slope| place.fall.abs() <= STEEP * curve.median;
    let from = curve.places.iter().position(gentle).unwrap_or(0);
    let to = curve.places.iter().rposition(gentle).map_or(0, |last| last + 1);
    curve.cut = from > 0 || to < curve.places.len();
    let inside = curve.places.get(from..to).unwrap_or_default();
    let limit = UNUSUAL * curve.expanded;
    let known = |place: &&Slope| place.expanded <= limit.max(WELL * place.fall.abs());
    let places: Vec<Slope> = inside.iter().filter(known).copied().collect();
    curve.left_out = inside.len() - places.len();
    curve.peaks = peaks(&places);
    curve.places = places;
    curve
}

/// Places higher than what lies on both sides by more than twice their uncertainty.
fn peaks(places: &[Slope]) -> Vec<Slope> {
    let mut found: Vec<Slope> = Vec::new();
    for (index, place) in places.iter().enumerate() {
        let least = place.fall - 2.0 * place.expanded;
        let falls = |side: &mut dyn Iterator<Item = &Slope>| {
            side.take_while(|other| other.fall <= place.fall).any(|other| other.fall < least)
        };
        let (before, after) = (places.get(..index), places.get(index + 1..));
        if falls(&mut before.unwrap_or_default().iter().rev()) && falls(&mut after.unwrap_or_default().iter())
        {
            found.push(*place);
        }
    }
    found.sort_by(|a, b| b.fall.total_cmp(&a.fall));
    found.truncate(PEAKS);
    found.sort_by(|a, b| a.charge.total_cmp(&b.charge));
    found
}

/// The last digit of readings: the smallest change between neighbours; 0 where there is none.
pub(crate) fn last_digit(points: &[(f64, f64)]) -> f64 {
    let changes = points.windows(2).filter_map(|pair| match pair {
        [a, b] if (b.1 - a.1).abs() > 1e-9 => Some((b.1 - a.1).abs()),
        _ => None,
    });
    changes.min_by(f64::total_cmp).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 150 Ah from 26.8 V, falling by 2 mV/Ah, with a bump of the fall at 60 Ah and a knee at the end.
    fn discharge(samples: u32, digit: f64, noise: f64) -> Vec<CurvePoint> {
        let whole = 150.0 * 3600.0;
        (0..=samples)
            .map(|n| {
                let ah = 150.0 * f64::from(n) / f64::from(samples);
                let bump = -0.03 / (1.0 + (-(ah - 60.0) / 2.0).exp());
                let knee = -0.5 * ((ah - 150.0) / 3.0).exp();
                let wobble = noise * (f64::from(n * 7919 % 101) / 50.0 - 1.0);
                let v = 26.8 - 0.002 * ah + bump + knee + wobble;
                let shown = if digit > 0.0 { (v / digit).round() * digit } else { v };
                CurvePoint { time: f64::from(n), charge: ah / 150.0 * whole, voltage: shown, current: 30.0 }
            })
            .collect()
    }

    #[test]
    fn a_bump_is_found_where_it_is() {
        for samples in [1000, 4000] {
            let curve = slope_curve(&discharge(samples, 1e-5, 0.0), true, 0).unwrap();
            assert!(curve.cut, "the knee is steeper than the rest");
            let [peak] = curve.peaks.as_slice() else { panic!("{:?}", curve.peaks) };
            assert!((peak.charge / 3600.0 - 60.0).abs() < 0.5, "{peak:?}");
            // 2 mV/Ah and the bump's 30 mV over 4 times 2 Ah (derivative of the logistic function by hand).
            let top = millivolts_per_ampere_hour(peak.fall);
            assert!((top - 5.75).abs() < 0.1, "{top}");
            assert!((millivolts_per_ampere_hour(curve.median) - 2.0).abs() < 0.1);
            assert_eq!(curve.left_out, 0);
        }
    }

    #[test]
    fn coarse_or_noisy_voltages_widen_the_window_or_give_no_curve() {
        let part =
            |digit: f64, noise: f64| slope_curve(&discharge(4000, digit, noise), true, 0).map(|c| c.part);
        assert_eq!(part(1e-5, 0.0), Ok(0.01));
        assert_eq!(part(1e-3, 0.0), Ok(0.05));
        assert!(matches!(part(1e-2, 0.0), Err(NoSlope::Hidden { .. })), "steps of 10 mV");
        assert!(matches!(part(0.0, 0.5), Err(NoSlope::Hidden { .. })), "noise of 0.5 V");
        assert_eq!(slope_curve(&discharge(60, 1e-5, 0.0), true, 0), Err(NoSlope::FewSamples));
        assert_eq!(slope_curve(&discharge(1000, 1e-5, 0.0), false, 0), Err(NoSlope::NotHeld));
        assert_eq!(slope_curve(&discharge(1000, 1e-5, 0.0), true, 1), Err(NoSlope::Paused));
        assert_eq!(slope_curve(&[], true, 0), Err(NoSlope::FewSamples));
    }

    /// A false reading is in every window around it: those places are left out, and none becomes a peak.
    #[test]
    fn a_false_reading_makes_no_peak() {
        let mut points = discharge(4000, 1e-5, 0.0);
        points[3000].voltage = 25.0;
        let curve = slope_curve(&points, true, 0).unwrap();
        assert!(curve.left_out > 0);
        assert_eq!(curve.peaks.len(), 1, "{:?}", curve.peaks);
    }
}
