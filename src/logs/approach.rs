//! Fit of the approach to a steady temperature, T(t) = T∞ − (T∞ − T₀)·e^(−t/τ).
//!
//! One time constant is a model of one lump; a pack has several. The fit is refused where the log does not
//! identify it: too few points, too little of the curve, a rise lost in the scatter. For any τ the other two
//! parameters follow by linear least squares, so that only τ is searched for (variable projection; Golub and
//! Pereyra 1973). The covariance comes from the Jacobian at the optimum, widened by the autocorrelation of
//! the residuals, because a lump too few shows as residuals that do not scatter independently.

use thiserror::Error;

use crate::units::{COVERAGE, significant};

/// Fewest points.
const POINTS: usize = 12;
/// The log must last this part of the time constant that it shows.
const SPAN: f64 = 0.7;
/// Widest expanded uncertainty of the final temperature, as a part of the rise.
const WIDEST: f64 = 0.5;
/// A steady state is reached when what is still to come is below this, K (common practice, no source).
pub const STEADY: f64 = 1.0;

/// Why there is no fit.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("the approach to a steady temperature cannot be told: {0}")]
pub struct NotIdentifiable(pub String);

/// Whether the temperature was steady at the end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Steady {
    /// Less than [`STEADY`] was still to come.
    Reached,
    /// More was still to come.
    NotReached,
    /// The uncertainty does not let it be said.
    NotDecided,
}

/// The fitted approach.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Approach {
    /// Predicted final temperature, K.
    pub final_temperature: f64,
    /// Its expanded uncertainty (k = 2), K, from the fit alone: the thermometer's own comes on top.
    pub expanded: f64,
    /// Temperature at the start of the fit, K.
    pub start_temperature: f64,
    /// Temperature of the curve at the end of the log, K.
    pub end_temperature: f64,
    /// Time constant, s.
    pub time_constant: f64,
    /// Expanded uncertainty of the time constant (k = 2), s.
    pub time_constant_expanded: f64,
    /// Root mean square of the residuals, K.
    pub residual: f64,
    /// Whether it was steady at the end.
    pub steady: Steady,
}

/// Fits the approach to points of time (s) and temperature (K), taken at a constant load.
///
/// # Errors
/// Says why the log does not identify the curve.
pub fn fit(points: &[(f64, f64)]) -> Result<Approach, NotIdentifiable> {
    let refuse = |why: String| Err(NotIdentifiable(why));
    let usable: Vec<(f64, f64)> =
        points.iter().filter(|(t, y)| t.is_finite() && y.is_finite()).copied().collect();
    if usable.len() < POINTS {
        return refuse(format!("{} points, at least {POINTS} are needed", usable.len()));
    }
    let (start, end) = match (usable.first(), usable.last()) {
        (Some(first), Some(last)) if last.0 > first.0 => (first.0, last.0),
        _ => return refuse("all points have one time".to_owned()),
    };
    let span = end - start;
    let points: Vec<(f64, f64)> = usable.iter().map(|(t, y)| ((t - start) / span, *y)).collect();
    // Search over ln τ (in spans): a grid, then the golden section.
    let cost = |ln: f64| linear(&points, ln.exp()).map_or(f64::INFINITY, |fit| fit.sum);
    let grid = (0..=30).map(|n| -6.0 + 0.3 * f64::from(n)).map(|ln| (ln, cost(ln)));
    let Some((best, _)) = grid.min_by(|a, b| a.1.total_cmp(&b.1)) else {
        return refuse("no curve fits".to_owned());
    };
    let ln = golden(cost, best - 0.3, best + 0.3);
    let tau = ln.exp();
    let Some(found) = linear(&points, tau) else {
        return refuse("no curve fits".to_owned());
    };
    if tau * SPAN > 1.0 {
        return refuse(format!(
            "the log shows only the beginning: it lasts {} of the time constant it seems to have, {SPAN} are needed",
            significant(1.0 / tau, 2)
        ));
    }
    let Some((final_u, tau_u, residual)) = uncertainty(&points, &found, tau) else {
        return refuse("the points do not fix the curve".to_owned());
    };
    let rise = found.amplitude.abs();
    // Amplitude is start minus final, so a rise has a negative one.
    if rise < COVERAGE * residual {
        return refuse("the change of temperature is lost in its scatter".to_owned());
    }
    let expanded = COVERAGE * final_u;
    if expanded > WIDEST * rise {
        return refuse(format!(
            "the final temperature would be uncertain by {} K at a change of {} K",
            significant(expanded, 2),
            significant(rise, 2)
        ));
    }
    let to_come = (found.amplitude * (-1.0 / tau).exp()).abs();
    let steady = if to_come + expanded <= STEADY {
        Steady::Reached
    } else if to_come - expanded > STEADY {
        Steady::NotReached
    } else {
        Steady::NotDecided
    };
    Ok(Approach {
        final_temperature: found.last,
        expanded,
        start_temperature: found.last + found.amplitude,
        end_temperature: found.last + found.amplitude * (-1.0 / tau).exp(),
        time_constant: tau * span,
        time_constant_expanded: COVERAGE * tau_u * span,
        residual,
        steady,
    })
}

struct Linear {
    last: f64,
    /// T₀ − T∞.
    amplitude: f64,
    sum: f64,
}

/// Least squares of T = T∞ + A·e^(−t/τ) for one τ.
#[expect(clippy::cast_precision_loss, reason = "a count of points")]
fn linear(points: &[(f64, f64)], tau: f64) -> Option<Linear> {
    let n = points.len() as f64;
    let left: Vec<f64> = points.iter().map(|(t, _)| (-t / tau).exp()).collect();
    let mean_e = left.iter().sum::<f64>() / n;
    let mean_y = points.iter().map(|(_, y)| y).sum::<f64>() / n;
    let (mut ee, mut ey) = (0.0, 0.0);
    for (left, (_, y)) in left.iter().zip(points) {
        let e = left - mean_e;
        ee += e * e;
        ey += e * (y - mean_y);
    }
    if ee <= f64::EPSILON * n {
        return None;
    }
    let amplitude = ey / ee;
    let last = mean_y - amplitude * mean_e;
    let sum = left.iter().zip(points).map(|(left, (_, y))| (y - last - amplitude * left).powi(2)).sum();
    Some(Linear { last, amplitude, sum })
}

fn golden(cost: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let ratio = (5_f64.sqrt() - 1.0) / 2.0;
    let (mut a, mut b) = (high - ratio * (high - low), low + ratio * (high - low));
    let (mut at_a, mut at_b) = (cost(a), cost(b));
    // To a millionth of the time constant, far below its uncertainty.
    while high - low > 1e-6 {
        if at_a <= at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - ratio * (high - low);
            at_a = cost(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + ratio * (high - low);
            at_b = cost(b);
        }
    }
    f64::midpoint(low, high)
}

/// Standard uncertainties of T∞ and τ, and the residual.
#[expect(clippy::cast_precision_loss, reason = "a count of points")]
fn uncertainty(points: &[(f64, f64)], fit: &Linear, tau: f64) -> Option<(f64, f64, f64)> {
    let n = points.len() as f64;
    let mut normal = [[0.0; 3]; 3];
    let mut residuals = Vec::with_capacity(points.len());
    for (t, y) in points {
        let e = (-t / tau).exp();
        let slopes = [1.0, e, fit.amplitude * e * t / (tau * tau)];
        for (row, a) in normal.iter_mut().zip(slopes) {
            for (cell, b) in row.iter_mut().zip(slopes) {
                *cell += a * b;
            }
        }
        residuals.push(y - fit.last - fit.amplitude * e);
    }
    let variance = fit.sum / (n - 3.0);
    let lagged: f64 = residuals
        .windows(2)
        .map(|pair| match pair {
            [a, b] => a * b,
            _ => 0.0,
        })
        .sum();
    let correlation = if fit.sum > 0.0 { (lagged / fit.sum).clamp(0.0, 0.99) } else { 0.0 };
    let widened = variance * (1.0 + correlation) / (1.0 - correlation);
    let [last, _, tau_variance] = diagonal_of_inverse(&normal)?;
    Some(((widened * last).sqrt(), (widened * tau_variance).sqrt(), variance.sqrt()))
}

/// Diagonal of the inverse of a symmetric 3 × 3 matrix, by cofactors.
fn diagonal_of_inverse(m: &[[f64; 3]; 3]) -> Option<[f64; 3]> {
    let [[a, b, c], [_, d, e], [_, _, f]] = *m;
    let cofactors = [d * f - e * e, a * f - c * c, a * d - b * b];
    let determinant = a * cofactors[0] - b * (b * f - c * e) + c * (b * e - c * d);
    let scale = a * d * f;
    (determinant > 1e-14 * scale && determinant.is_finite())
        .then(|| cofactors.map(|cofactor| cofactor / determinant))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Scatter that repeats itself: the same on every machine.
    fn scatter(n: u32) -> f64 {
        let mixed = n.wrapping_mul(2_654_435_761).rotate_left(13).wrapping_mul(2_246_822_519);
        f64::from(mixed) / f64::from(u32::MAX) - 0.5
    }

    fn curve(end: f64, noise: f64) -> Vec<(f64, f64)> {
        (0..200)
            .map(|n| {
                let t = end * f64::from(n) / 199.0;
                (t, 340.0 - 42.0 * (-t / 600.0).exp() + noise * scatter(n))
            })
            .collect()
    }

    #[test]
    fn parameters_come_back() {
        let fit = fit(&curve(1500.0, 0.0)).unwrap();
        assert!((fit.final_temperature - 340.0).abs() < 1e-4, "{fit:?}");
        assert!((fit.time_constant - 600.0).abs() < 1e-2, "{fit:?}");
        assert!((fit.start_temperature - 298.0).abs() < 1e-3, "{fit:?}");
        assert_eq!(fit.steady, Steady::NotReached);
    }

    #[test]
    fn noise_stays_inside_the_uncertainty() {
        for end in [900.0, 1200.0, 1800.0, 3000.0, 6000.0] {
            let fit = fit(&curve(end, 0.5)).unwrap();
            let error = (fit.final_temperature - 340.0).abs();
            assert!(error <= 1.5 * fit.expanded, "{end}: {error} {}", fit.expanded);
        }
        assert_eq!(fit(&curve(6000.0, 0.1)).unwrap().steady, Steady::Reached);
    }

    #[test]
    fn refusals() {
        assert!(fit(&curve(60.0, 0.5)).is_err(), "only the beginning");
        assert!(fit(&curve(1500.0, 0.5)[..5]).is_err(), "too few points");
        let flat: Vec<(f64, f64)> = (0..100).map(|n| (f64::from(n), 300.0 + 0.2 * scatter(n))).collect();
        assert!(fit(&flat).is_err(), "no change");
        let line: Vec<(f64, f64)> = (0..100).map(|n| (f64::from(n), 300.0 + f64::from(n))).collect();
        assert!(fit(&line).is_err(), "a straight line has no end");
        assert!(fit(&[]).is_err());
    }
}
