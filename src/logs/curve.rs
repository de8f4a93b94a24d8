//! The discharge curve in bounded memory, and what is read off it.
//!
//! Definitions (common practice, no source): the *plateau* lies between 20 % and 80 % depth of discharge, its
//! *flatness* is the span of voltage there; the *knee* is the point between 50 % and the end that lies
//! farthest above the straight line between the two; the *sag* is the fall of voltage over the last 5 %.

use super::series::Thinned;

/// Points kept; thinned by halves beyond.
const POINTS: usize = 4096;
/// A discharge with fewer points has no curve.
const FEWEST: usize = 20;
/// Voltages of a pause that are kept.
const PAUSE: usize = 10;

/// A point of the discharge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Time, s.
    pub time: f64,
    /// Charge since the start, C.
    pub charge: f64,
    /// Voltage, V.
    pub voltage: f64,
    /// Current, A.
    pub current: f64,
}

/// What is read off the curve.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveFigures {
    /// Voltage at 10 %, 20 % … 90 % depth of discharge, V.
    pub at_depth: Vec<(f64, f64)>,
    /// Span of the voltage between 20 % and 80 %, V.
    pub flatness: f64,
    /// Depth of discharge and voltage at the knee, V; `None` where the curve does not bend down.
    pub knee: Option<(f64, f64)>,
    /// Fall of the voltage over the last 5 %, V.
    pub sag: f64,
}

#[derive(Debug, Clone)]
pub(super) struct Curve {
    points: Thinned<CurvePoint>,
    paused: Vec<f64>,
    /// Time of all pauses, s.
    rested: f64,
}

impl Curve {
    pub fn new() -> Self {
        Self { points: Thinned::new(POINTS), paused: Vec::new(), rested: 0.0 }
    }

    pub fn push(&mut self, time: f64, charge: f64, voltage: f64, current: f64) {
        self.paused.clear();
        if voltage.is_finite() {
            self.points.push(CurvePoint { time, charge, voltage, current });
        }
    }

    /// A voltage while the load was off.
    pub fn pause(&mut self, voltage: f64) {
        if self.paused.len() < PAUSE {
            self.paused.push(voltage);
        }
    }

    /// The load was off for so long, s.
    pub fn rest(&mut self, seconds: f64) {
        self.rested += seconds;
    }

    pub fn rested(&self) -> f64 {
        self.rested
    }

    pub fn paused(&self) -> &[f64] {
        &self.paused
    }

    pub fn points(&self) -> Vec<CurvePoint> {
        self.points.all()
    }

    /// Mean current by charge, and whether it stayed within `part` of it for `share` of the charge.
    pub fn current(&self, part: f64, share: f64) -> (f64, bool) {
        let points = self.points();
        let (mut charge, mut time, mut held) = (0.0, 0.0, 0.0);
        let pairs = || {
            points.windows(2).filter_map(|pair| match pair {
                [a, b] => Some((a, b)),
                _ => None,
            })
        };
        for (a, b) in pairs() {
            charge += b.charge - a.charge;
            time += b.time - a.time;
        }
        time -= self.rested;
        if time <= 0.0 || charge <= 0.0 {
            return (points.first().map_or(0.0, |point| point.current), false);
        }
        let mean = charge / time;
        for (a, b) in pairs() {
            if (a.current - mean).abs() <= part * mean && (b.current - mean).abs() <= part * mean {
                held += b.charge - a.charge;
            }
        }
        (mean, held >= share * charge)
    }

    pub fn figures(&self) -> Option<CurveFigures> {
        let points = self.points();
        if points.len() < FEWEST {
            return None;
        }
        let whole = points.last()?.charge;
        if whole <= 0.0 {
            return None;
        }
        let curve: Vec<(f64, f64)> = points.iter().map(|p| (p.charge / whole, p.voltage)).collect();
        let at = |depth: f64| interpolate(&curve, depth);
        let at_depth = (1..=9)
            .map(|tenth| f64::from(tenth) / 10.0)
            .filter_map(|depth| Some((depth, at(depth)?)))
            .collect();
        let inner = curve
            .iter()
            .filter(|(depth, _)| (0.2..=0.8).contains(depth))
            .map(|(_, v)| *v)
            .chain([at(0.2)?, at(0.8)?]);
        let (low, high) =
            inner.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        let end = curve.last()?.1;
        Some(CurveFigures {
            at_depth,
            flatness: high - low,
            knee: knee(&curve, at(0.5)?, end),
            sag: at(0.95)? - end,
        })
    }
}

fn interpolate(curve: &[(f64, f64)], depth: f64) -> Option<f64> {
    let after = curve.partition_point(|(d, _)| *d < depth);
    let (d1, v1) = *curve.get(after)?;
    let Some((d0, v0)) = after.checked_sub(1).and_then(|before| curve.get(before)) else {
        return Some(v1);
    };
    if d1 <= *d0 {
        return Some(v1);
    }
    Some(v0 + (v1 - v0) * (depth - d0) / (d1 - d0))
}

/// The point farthest above the line from half to the end.
fn knee(curve: &[(f64, f64)], middle: f64, end: f64) -> Option<(f64, f64)> {
    let fall = middle - end;
    if fall <= 0.0 {
        return None;
    }
    let (depth, voltage, height) = curve
        .iter()
        .filter(|(depth, _)| *depth >= 0.5)
        .map(|(depth, v)| (*depth, *v, v - (middle - fall * (depth - 0.5) / 0.5)))
        .max_by(|a, b| a.2.total_cmp(&b.2))?;
    // A straight line has no knee.
    (height > 0.1 * fall).then_some((depth, voltage))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Flat to 90 %, then straight down: every figure by hand, whatever the number of samples.
    #[test]
    fn plateau_knee_sag() {
        for samples in [200_u32, 100_000] {
            let mut curve = Curve::new();
            for n in 0..=samples {
                let depth = f64::from(n) / f64::from(samples);
                let v = if depth < 0.9 { 26.0 - 0.5 * depth } else { 25.55 - 50.0 * (depth - 0.9) };
                curve.push(depth * 3600.0, depth * 100.0, v, 100.0 / 3600.0);
            }
            let found = curve.figures().unwrap();
            assert!((found.flatness - 0.3).abs() < 1e-2);
            let (depth, _) = found.knee.unwrap();
            assert!((depth - 0.9).abs() < 2e-3, "{depth}");
            assert!((found.sag - 2.5).abs() < 1e-2);
            assert!((found.at_depth[4].1 - 25.75).abs() < 1e-3);
            assert_eq!(found.at_depth.len(), 9);
            assert!(curve.points().len() <= POINTS + 1);
            assert!(curve.current(0.05, 0.95).1);
        }
    }
}
