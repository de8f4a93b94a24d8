//! What was measured adjusts the free quantities; and what cannot be true together is named.
//!
//! Least squares after Gauss and Newton with the ranges as prior knowledge: each free quantity pulls towards its middle
//! with the standard deviation of its range and never leaves it. Residuals are divided by their own standard deviation
//! after the fit (Baarda 1968, from memory), so that a reading the network could have followed anyhow is no check of it.

use rayon::prelude::*;

use super::belief::{Belief, MODEL, MODEL_FITTED, RECTANGULAR, cholesky};
use super::circuit::{Case, Circuit, Flow};
use super::network::{ElementId, FreeId, NetworkRefusal};
use super::transient::{BESIDE, COARSE_ERROR, Course, Laid, Phase, Run, STEP_ERROR, Steps, courses};

/// A normalised residual above this contradicts (two-sided 1 % of a normal distribution).
pub const CONTRADICTS: f64 = 2.6;
/// Correlation of two residuals above which the fit cannot tell which of the two is wrong.
const TIED: f64 = 0.5;
/// Most rounds of the fit.
const ROUNDS: usize = 8;
/// The fit ends when a round brings the sum of squares down by less than this: a shift of a tenth of a standard deviation.
const CLOSED: f64 = 0.01;
/// A quantity of which the readings tell less than this part of what its range does keeps its first slopes: they narrow
/// its range by no more than half of that.
const HARDLY_TOLD: f64 = 0.02;
/// How far, in standard deviations of a reading, the coarse network is followed from where the fine one was solved last:
/// both say nearly the same of how readings change.
const FOLLOWED: f64 = 0.5;
/// Least part of a step that is tried.
const LEAST_PART: f64 = 0.05;
/// Step for slopes, in half ranges.
const SLOPE_STEP: f64 = 0.02;

/// What was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measurand {
    /// Temperature of an element, K: at a distance from its start, m, or where it is hottest.
    Temperature(ElementId, Option<f64>),
    /// Voltage drop over elements in a row, from the first to the last in the order of the network, V.
    Drop(ElementId, ElementId),
    /// Resistance of an element, Ω.
    Resistance(ElementId),
}

/// A reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measurement {
    /// What was read.
    pub quantity: Measurand,
    /// When, s from the start; infinite once nothing changed any more.
    pub time: f64,
    /// What it said, SI.
    pub value: f64,
    /// Its standard uncertainty, SI, without that of the network.
    pub deviation: f64,
}

/// A test: its course of current, what was known in it, and its readings.
#[derive(Debug, Clone)]
pub struct Experiment {
    /// The course of the current.
    pub phases: Vec<Phase>,
    /// Free quantities that were known in it, such as the ambient.
    pub known: Vec<(FreeId, f64)>,
    /// Its readings.
    pub readings: Vec<Measurement>,
}

/// A reading after the fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual {
    /// The experiment and the reading within it.
    pub reading: (usize, usize),
    /// What the fitted network says, SI.
    pub fitted: f64,
    /// Reading minus network, SI.
    pub residual: f64,
    /// The residual over its standard deviation after the fit; nought for a reading that checks nothing.
    pub normalised: f64,
}

/// The result of a fit.
#[derive(Debug, Clone)]
pub struct Fit {
    /// What is believed now.
    pub belief: Belief,
    /// Every reading.
    pub residuals: Vec<Residual>,
    /// Readings that contradict, worst first, with those they cannot be told apart from; empty if none does.
    pub clash: Vec<usize>,
    /// Free quantities that were pushed to an end of their range.
    pub at_end: Vec<FreeId>,
}

impl Measurand {
    fn read(self, case: &Case<'_>, state: &super::steady::ThermalState, flow: &mut Flow<1>) -> f64 {
        match self {
            Self::Temperature(element, None) => case.hottest(state, element),
            Self::Temperature(element, Some(at)) => {
                let profile = case.profile(state, element);
                let after = profile.partition_point(|&(x, _)| x < at).clamp(1, profile.len().max(2) - 1);
                let (Some(&(a, t)), Some(&(b, u))) = (profile.get(after - 1), profile.get(after)) else {
                    return case.hottest(state, element);
                };
                if b > a { t + (u - t) * ((at - a) / (b - a)).clamp(0.0, 1.0) } else { t }
            }
            Self::Drop(first, last) => {
                case.flow(&state.rows, state.current, flow);
                (first.0..=last.0).map(|e| case.electrical(ElementId(e), state.current, flow).1).sum()
            }
            Self::Resistance(element) => {
                case.flow(&state.rows, state.current, flow);
                case.electrical(element, state.current, flow).0
            }
        }
    }
}

impl Experiment {
    /// A circuit with what was known in the test.
    fn case<'a>(&self, circuit: &'a Circuit, quantities: &[f64]) -> Case<'a> {
        let mut quantities = quantities.to_vec();
        for &(free, value) in &self.known {
            quantities[free.0] = value;
        }
        circuit.at(&quantities)
    }

    /// When something was read, s.
    fn marks(&self) -> Vec<f64> {
        let times = self.readings.iter().map(|reading| reading.time);
        let mut times: Vec<f64> = times.filter(|time| time.is_finite()).collect();
        times.sort_by(f64::total_cmp);
        times.dedup();
        times
    }

    /// What the network says for every reading, how far the equations may be wrong there, and the steps in time taken.
    fn predict(
        &self,
        circuit: &Circuit,
        quantities: &[f64],
        error: f64,
    ) -> Result<Predicted, NetworkRefusal> {
        let case = self.case(circuit, quantities);
        let course = case.course_with(None, &self.phases, Steps::Error(error));
        Ok((self.read(&case, &course)?, course.parts))
    }

    /// What a course says for every reading, and how far the equations may be wrong there.
    fn read(&self, case: &Case<'_>, course: &Course) -> Result<Vec<(f64, f64)>, NetworkRefusal> {
        course.whole()?;
        let last = self.phases.last().map_or(0.0, |phase| phase.current);
        let mut flow = Flow::default();
        let endless = self.readings.iter().any(|reading| !reading.time.is_finite());
        let steady = if endless { Some(case.steady(last)?) } else { None };
        let each = self.readings.iter().map(|reading| {
            let state = match &steady {
                Some(steady) if reading.time.is_infinite() => steady.clone(),
                _ => course.at(reading.time),
            };
            let value = reading.quantity.read(case, &state, &mut flow);
            let model = match reading.quantity {
                Measurand::Temperature(..) => MODEL * RECTANGULAR.sqrt() * (value - case.start),
                _ => 0.0,
            };
            (value, model)
        });
        Ok(each.collect())
    }
}

/// Readings with the errors of the equations, K, and the steps in time they were computed in.
type Predicted = (Vec<(f64, f64)>, Vec<Vec<f64>>);

/// Adjusts what is believed to experiments on one circuit.
///
/// # Errors
/// As [`Case::course`] and [`Case::steady`].
pub fn fit(circuit: &Circuit, belief: &Belief, experiments: &[Experiment]) -> Result<Fit, NetworkRefusal> {
    let size = belief.frees.len();
    let predict = |circuit: &Circuit, x: &[f64], error: f64| -> Result<Vec<Predicted>, NetworkRefusal> {
        let quantities = belief.quantities(x);
        let one = |experiment: &Experiment| experiment.predict(circuit, &quantities, error);
        experiments.par_iter().map(one).collect()
    };
    let finely = |x: &[f64]| -> Result<Vec<(f64, f64)>, NetworkRefusal> {
        Ok(predict(circuit, x, STEP_ERROR)?.into_iter().flat_map(|(each, _)| each).collect())
    };
    let coarse = circuit.coarse();
    let readings: Vec<(usize, usize, Measurement)> = experiments
        .iter()
        .enumerate()
        .flat_map(|(e, experiment)| {
            experiment.readings.iter().enumerate().map(move |(r, &reading)| (e, r, reading))
        })
        .collect();
    let prior = invert(&prior_covariance(belief), size);
    let values = |told: Vec<(f64, f64)>| -> Vec<f64> { told.into_iter().map(|(value, _)| value).collect() };
    let mut x = vec![0.0; size];
    let at_start = finely(&x)?;
    // The weights stay those of the start, so that the fit cannot buy doubt by getting hotter.
    let weight: Vec<f64> = readings
        .iter()
        .zip(&at_start)
        .map(|((_, _, reading), (_, model))| {
            1.0 / (reading.deviation.powi(2) + model.min(MODEL * 60.0).powi(2))
        })
        .collect();
    let cost = |x: &[f64], now: &[f64]| {
        let misfit: f64 =
            readings.iter().zip(now).zip(&weight).map(|((r, n), w)| w * (r.2.value - n).powi(2)).sum();
        misfit + quadratic(&prior, x)
    };
    let mut now = values(at_start);
    // What the fine network said where it was solved last, and whether that is far.
    let mut fine = now.clone();
    let far = |now: &[f64], fine: &[f64]| {
        let moved = now.iter().zip(fine).zip(&weight);
        moved.fold(0.0_f64, |most, ((now, fine), w)| most.max((now - fine).abs() * w.sqrt())) > FOLLOWED
    };
    // Where slopes were taken last, what was told there, and what the coarse network says there with its steps: from there
    // it tells the difference.
    let mut anchor = (x.clone(), now.clone());
    let mut here: Vec<Predicted> = Vec::new();
    // What the coarse one says where the fit stands now.
    let mut roughly_now: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut slopes = vec![vec![0.0; size]; readings.len()];
    let mut normal = prior.clone();
    let mut told: Vec<usize> = (0..size).collect();
    let (mut stale, mut moved) = (true, false);
    for _ in 0..ROUNDS {
        if stale {
            if far(&now, &fine) {
                // What melts on the fine mesh alone is not followed.
                let Ok(there) = finely(&x) else {
                    (x, now) = anchor.clone();
                    break;
                };
                now = values(there);
                fine.clone_from(&now);
            }
            anchor = (x.clone(), now.clone());
            // Slopes on the coarse mesh, with the same steps on both sides.
            here = if here.is_empty() {
                predict(coarse, &x, COARSE_ERROR)?
            } else {
                roughly_now.drain(..).zip(here).map(|(there, (_, parts))| (there, parts)).collect()
            };
            // On which side of each quantity there is room.
            let side = |&i: &usize| {
                let (low, high) = belief.ends(i);
                let step = if x[i] + SLOPE_STEP <= high { SLOPE_STEP } else { -SLOPE_STEP };
                (x[i] + step >= low && high - low > 0.0).then_some((i, step))
            };
            let sides: Vec<(usize, f64)> = told.iter().filter_map(side).collect();
            let beside = |&(i, step): &(usize, f64)| {
                let mut beside = x.clone();
                beside[i] += step;
                belief.quantities(&beside)
            };
            slopes.iter_mut().for_each(|slope| told.iter().for_each(|&i| slope[i] = 0.0));
            let mut first = 0;
            for (experiment, (here, parts)) in experiments.iter().zip(&here) {
                let phases = &experiment.phases;
                let laid = Laid { parts, marks: &experiment.marks() };
                // As many as are computed side by side, and then the next: what they need is used again.
                let some = |some: &[(usize, f64)]| -> Vec<_> {
                    let case = |side| experiment.case(coarse, &beside(side));
                    let cases: Vec<_> = some.iter().map(case).collect();
                    let runs: Vec<_> = cases.iter().map(|case| Run { case, from: None, phases }).collect();
                    let told = cases.iter().zip(courses(&runs, &laid));
                    told.map(|(case, course)| experiment.read(case, &course)).collect()
                };
                let told: Vec<_> = sides.par_chunks(BESIDE).flat_map_iter(some).collect();
                for (&(i, step), there) in sides.iter().zip(told) {
                    // A side on which something melts tells nothing: what is believed of the quantity stays.
                    let Ok(there) = there else { continue };
                    for ((slope, there), here) in slopes[first..].iter_mut().zip(there).zip(here) {
                        slope[i] = (there.0 - here.0) / step;
                    }
                }
                first += here.len();
            }
            normal.clone_from(&prior);
            for (slope, w) in slopes.iter().zip(&weight) {
                for i in 0..size {
                    for j in 0..size {
                        normal[i * size + j] += w * slope[i] * slope[j];
                    }
                }
            }
            told.retain(|i| {
                let at = i * size + i;
                normal[at] - prior[at] > HARDLY_TOLD * prior[at]
            });
        }
        let mut gradient: Vec<f64> =
            (0..size).map(|i| -(0..size).map(|j| prior[i * size + j] * x[j]).sum::<f64>()).collect();
        for (((_, _, reading), slope), (here, w)) in readings.iter().zip(&slopes).zip(now.iter().zip(&weight))
        {
            for i in 0..size {
                gradient[i] += w * slope[i] * (reading.value - here);
            }
        }
        let roughly = |trial: &[f64]| -> Result<Vec<Vec<(f64, f64)>>, NetworkRefusal> {
            let quantities = belief.quantities(trial);
            let one = |(experiment, (_, parts)): (&Experiment, &Predicted)| {
                let case = experiment.case(coarse, &quantities);
                let laid = Laid { parts, marks: &experiment.marks() };
                let course = case.course_with(None, &experiment.phases, Steps::Same(&laid));
                experiment.read(&case, &course)
            };
            experiments.par_iter().zip(&here).map(one).collect()
        };
        let told_by = |roughly: &[Vec<(f64, f64)>]| -> Vec<f64> {
            let here = here.iter().flat_map(|(here, _)| here);
            let changes = roughly.iter().flatten().zip(here).map(|(there, here)| there.0 - here.0);
            anchor.1.iter().zip(changes).map(|(known, change)| known + change).collect()
        };
        let step = bounded_step(&normal, &gradient, &x, belief);
        let before = cost(&x, &now);
        // What the sum of squares falls by along the step, by its slope.
        let falls = 2.0 * step.iter().zip(&gradient).map(|(step, slope)| step * slope).sum::<f64>();
        // What the slopes say is not worth a trial is not tried.
        let worth = falls - quadratic(&normal, &step) > CLOSED;
        let mut part = 1.0;
        moved = false;
        while worth && part > LEAST_PART {
            let trial: Vec<f64> = x.iter().zip(&step).map(|(x, d)| x + part * d).collect();
            let mut nearer = 0.4;
            if let Ok(roughly) = roughly(&trial) {
                let there = told_by(&roughly);
                let after = cost(&trial, &there);
                if after < before {
                    moved = before - after > CLOSED;
                    (x, now, roughly_now) = (trial, there, roughly);
                    break;
                }
                // The lowest point of the parabola through both sums with that slope.
                nearer = (0.5 * falls * part / (after - before + falls * part)).clamp(0.1, 0.5);
            }
            part *= nearer;
        }
        // Slopes serve twice: they change little, and taking them is most of the work. They serve to the end where what they
        // were taken at is near.
        if !moved && (stale || !(worth || far(&now, &anchor.1))) {
            break;
        }
        stale = !stale;
    }
    // Where the rounds ended before the fit closed.
    if moved && far(&now, &fine) {
        now = values(finely(&x)?);
    }
    let covariance = invert(&normal, size);
    let residuals_covariance = residual_covariance(&slopes, &weight, &covariance, size);
    let count = readings.len();
    let residuals: Vec<Residual> = readings
        .iter()
        .zip(&now)
        .enumerate()
        .map(|(k, ((e, r, reading), fitted))| {
            let residual = reading.value - fitted;
            let variance = residuals_covariance[k * count + k];
            let checks = variance > 1e-3 / weight[k];
            let normalised = if checks { residual / variance.sqrt() } else { 0.0 };
            Residual { reading: (*e, *r), fitted: *fitted, residual, normalised }
        })
        .collect();
    let mut clash: Vec<usize> = (0..count).filter(|&k| residuals[k].normalised.abs() > CONTRADICTS).collect();
    clash.sort_by(|&a, &b| residuals[b].normalised.abs().total_cmp(&residuals[a].normalised.abs()));
    if let Some(&worst) = clash.first() {
        let at = |a: usize, b: usize| residuals_covariance[a * count + b];
        let tied = |k: &usize| at(worst, *k).abs() > TIED * (at(worst, worst) * at(*k, *k)).max(0.0).sqrt();
        let others: Vec<usize> = (0..count).filter(|k| !clash.contains(k) && tied(k)).collect();
        clash.extend(others);
    }
    let at_end = (0..size)
        .filter(|&i| {
            let (low, high) = belief.ends(i);
            high > low && (x[i] <= low + 1e-6 || x[i] >= high - 1e-6)
        })
        .map(FreeId)
        .collect();
    let belief = Belief {
        centre: belief.quantities(&x),
        covariance: Some(covariance),
        allowance: MODEL_FITTED,
        ..belief.clone()
    };
    Ok(Fit { belief, residuals, clash, at_end })
}

fn prior_covariance(belief: &Belief) -> Vec<f64> {
    let size = belief.frees.len();
    belief.covariance.clone().unwrap_or_else(|| {
        let mut even = vec![0.0; size * size];
        for i in 0..size {
            even[i * size + i] = RECTANGULAR;
        }
        even
    })
}

fn quadratic(matrix: &[f64], x: &[f64]) -> f64 {
    let size = x.len();
    (0..size).map(|i| x[i] * (0..size).map(|j| matrix[i * size + j] * x[j]).sum::<f64>()).sum()
}

/// The step of Gauss and Newton that leaves no range: what runs into an end stays there, and the rest is solved again.
fn bounded_step(normal: &[f64], gradient: &[f64], x: &[f64], belief: &Belief) -> Vec<f64> {
    let size = x.len();
    let mut step = vec![0.0; size];
    let mut stuck = vec![false; size];
    for _ in 0..=size {
        let (mut matrix, mut right) = (normal.to_vec(), gradient.to_vec());
        for i in 0..size {
            for j in (0..size).filter(|&j| stuck[j]) {
                right[i] -= normal[i * size + j] * step[j];
            }
        }
        for i in (0..size).filter(|&i| stuck[i]) {
            for j in 0..size {
                matrix[i * size + j] = 0.0;
                matrix[j * size + i] = 0.0;
            }
            matrix[i * size + i] = 1.0;
            right[i] = step[i];
        }
        let mut again = false;
        for (i, solved) in solved(&matrix, right).into_iter().enumerate().filter(|&(i, _)| !stuck[i]) {
            step[i] = solved;
        }
        for i in (0..size).filter(|&i| !stuck[i]).collect::<Vec<_>>() {
            let (low, high) = belief.ends(i);
            if x[i] + step[i] < low || x[i] + step[i] > high {
                step[i] = (x[i] + step[i]).clamp(low, high) - x[i];
                stuck[i] = true;
                again = true;
            }
        }
        if !again {
            break;
        }
    }
    step
}

/// Covariance of the residuals: that of the readings less what the fit followed.
fn residual_covariance(slopes: &[Vec<f64>], weight: &[f64], covariance: &[f64], size: usize) -> Vec<f64> {
    let count = slopes.len();
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let carried = |slope: &Vec<f64>| covariance.chunks(size.max(1)).map(|row| product(row, slope)).collect();
    let carried: Vec<Vec<f64>> = slopes.iter().map(carried).collect();
    let mut result = vec![0.0; count * count];
    for a in 0..count {
        for b in 0..count {
            let followed = product(&slopes[a], &carried[b]);
            result[a * count + b] = if a == b { 1.0 / weight[a] } else { 0.0 } - followed;
        }
    }
    result
}

/// Solution with a symmetric positive matrix (Cholesky); nought in rows without a pivot.
fn solved(matrix: &[f64], mut right: Vec<f64>) -> Vec<f64> {
    let size = right.len();
    let factor = cholesky(matrix, size);
    let divided = |sum: f64, pivot: f64| if pivot > 0.0 { sum / pivot } else { 0.0 };
    for i in 0..size {
        let sum: f64 = (0..i).map(|j| factor[i * size + j] * right[j]).sum();
        right[i] = divided(right[i] - sum, factor[i * size + i]);
    }
    for i in (0..size).rev() {
        let sum: f64 = (i + 1..size).map(|j| factor[j * size + i] * right[j]).sum();
        right[i] = divided(right[i] - sum, factor[i * size + i]);
    }
    right
}

/// Inverse of a symmetric positive matrix (Gauss and Jordan); rows without a pivot become nought.
fn invert(matrix: &[f64], size: usize) -> Vec<f64> {
    // Each row with that of the inverse behind it. Before the pivot's column the first is done with, and the second is
    // nought beyond it.
    let width = 2 * size;
    let mut rows = vec![0.0; size * width];
    for i in 0..size {
        rows[i * width..i * width + size].copy_from_slice(&matrix[i * size..(i + 1) * size]);
        rows[i * width + size + i] = 1.0;
    }
    for pivot in 0..size {
        let alive = pivot..=size + pivot;
        let of_pivot = &mut rows[pivot * width..(pivot + 1) * width][alive.clone()];
        let diagonal = of_pivot[0];
        if diagonal <= 0.0 {
            continue;
        }
        of_pivot.iter_mut().for_each(|number| *number /= diagonal);
        let of_pivot = of_pivot.to_vec();
        for i in (0..size).filter(|&i| i != pivot) {
            let row = &mut rows[i * width..(i + 1) * width][alive.clone()];
            let factor = row[0];
            if factor != 0.0 {
                row.iter_mut().zip(&of_pivot).for_each(|(number, of_pivot)| *number -= factor * of_pivot);
            }
        }
    }
    rows.chunks(width).flat_map(|row| &row[size..]).copied().collect()
}
