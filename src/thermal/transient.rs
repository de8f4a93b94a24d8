//! Temperatures in time.
//!
//! The method is the two-stage Rosenbrock method of second order after Verwer, Spee, Blom and Hundsdorfer (SIAM J. Sci.
//! Comput. 20 (1999) 1456; formula from memory): stable at any step, of second order with any matrix. The step follows
//! the difference to the result of first order.

use super::circuit::{Case, Flow};
use super::steady::{MELTED, ThermalState};

/// 1 − 1/√2: with it the method damps what is fast.
const GAMMA: f64 = 1.0 - std::f64::consts::FRAC_1_SQRT_2;
/// Most steps of a phase.
const MOST_STEPS: usize = 20_000;

/// A stretch of constant current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phase {
    /// Terminal current, A, positive on discharge.
    pub current: f64,
    /// How long, s.
    pub seconds: f64,
}

/// How the steps in time are chosen.
#[derive(Debug, Clone, Copy)]
pub(super) enum Steps<'a> {
    /// By the error, K, of one step.
    Error(f64),
    /// As in an earlier course, as parts of each phase.
    Same(&'a [Vec<f64>]),
}

/// The course of all temperatures.
#[derive(Debug, Clone, Default)]
pub struct Course {
    /// Times, s; the first is nought.
    pub times: Vec<f64>,
    /// States at these times.
    pub states: Vec<ThermalState>,
    /// Heat taken up, made, and led away until the end, J.
    pub energy: [f64; 3],
    /// What melts before the end.
    pub melted: Option<String>,
    /// Length of each step as a part of its phase.
    pub(super) parts: Vec<Vec<f64>>,
}

/// Error of one step that answers are computed with, and one with which ranges about them are, K.
pub(super) const STEP_ERROR: f64 = 1.0;
pub(super) const COARSE_ERROR: f64 = 15.0;

impl Case<'_> {
    /// The course over some phases, from the starting temperature or from a state; it ends where something melts.
    pub fn course(&self, from: Option<&ThermalState>, phases: &[Phase]) -> Course {
        self.course_with(from, phases, Steps::Error(STEP_ERROR))
    }

    pub(super) fn course_with(
        &self,
        from: Option<&ThermalState>,
        phases: &[Phase],
        steps: Steps<'_>,
    ) -> Course {
        let mut rows = self.at_rest();
        if let Some(state) = from {
            rows[..self.circuit.unknown()].copy_from_slice(&state.rows[..self.circuit.unknown()]);
        }
        let mut course = Course::default();
        let first = phases.first().map_or(0.0, |phase| phase.current);
        course.times.push(0.0);
        course.states.push(ThermalState { rows: rows.clone(), current: first });
        let mut stepper = Stepper::default();
        let (mut begin, mut guess, mut current) = (0.0, 0.0, f64::NAN);
        for (index, phase) in phases.iter().enumerate() {
            let (mut done, mut parts) = (0.0, Vec::new());
            if phase.current != current {
                let first = if let Steps::Error(error) = steps { 2.0 * error } else { 0.0 };
                (guess, current) = ((1e-3 * phase.seconds).clamp(1e-3, first.max(1e-3)), phase.current);
            }
            while done < phase.seconds * (1.0 - 1e-9) {
                let step = match steps {
                    Steps::Error(_) => {
                        let left = phase.seconds - done;
                        // Two equal steps rather than one and a splinter.
                        if guess >= left {
                            left
                        } else if guess > 0.5 * left {
                            0.5 * left
                        } else {
                            guess
                        }
                    }
                    Steps::Same(known) => known[index][parts.len()] * phase.seconds,
                };
                let error = stepper.step(self, &mut rows, phase.current, step);
                if let Steps::Error(tolerance) = steps {
                    let ratio = error / tolerance;
                    if (ratio > 1.0 || ratio.is_nan()) && step > 1e-6 {
                        guess = step * (0.8 / ratio.sqrt()).clamp(0.1, 0.7);
                        if !guess.is_finite() {
                            guess = 0.1 * step;
                        }
                        stepper.undo(&mut rows);
                        continue;
                    }
                    guess = step * (0.85 / ratio.sqrt()).clamp(0.3, 4.0);
                }
                done += step;
                parts.push(step / phase.seconds);
                if matches!(steps, Steps::Error(_)) {
                    stepper.account(self, &mut course.energy, step);
                }
                // Where the steps are known only the ends of the phases are asked for.
                if matches!(steps, Steps::Error(_)) || done >= phase.seconds * (1.0 - 1e-9) {
                    course.times.push(begin + done);
                    course.states.push(ThermalState { rows: rows.clone(), current: phase.current });
                }
                let melted = rows[..self.circuit.unknown()].iter().position(|t| *t >= MELTED || t.is_nan());
                if let Some(row) = melted.or((parts.len() > MOST_STEPS).then_some(0)) {
                    course.melted = Some(self.circuit.name_of(row));
                    return course;
                }
            }
            begin += phase.seconds;
            course.parts.push(parts);
        }
        course
    }
}

/// Memory of one step.
#[derive(Debug, Default)]
struct Stepper {
    flow: Flow,
    later: Flow,
    matrix: Vec<f64>,
    before: Vec<f64>,
    rates: [Vec<f64>; 2],
    middle: Vec<f64>,
    taken: f64,
    /// Mean of both rates: what separates the two orders.
    apart: Vec<f64>,
}

impl Stepper {
    /// Advances the rows by one step and gives its error, K.
    fn step(&mut self, case: &Case<'_>, rows: &mut [f64], current: f64, step: f64) -> f64 {
        let unknown = case.circuit.unknown();
        self.before.clear();
        self.before.extend_from_slice(rows);
        case.flow(rows, current, &mut self.flow);
        case.slopes(rows, current, &self.flow, &mut self.matrix);
        let scale = 1.0 / (GAMMA * step);
        for row in 0..unknown {
            self.matrix[row] += case.capacity[row] * scale;
        }
        if !case.circuit.pattern.eliminate(&mut self.matrix) {
            return f64::INFINITY;
        }
        let [first, second] = &mut self.rates;
        // Rates times the step: (C/γh + A) · k = f / γ.
        first.clear();
        self.flow.heat[..unknown].iter().for_each(|q| first.push(q / GAMMA));
        case.circuit.pattern.solve(&self.matrix, first);
        self.middle.clear();
        self.middle.extend_from_slice(rows);
        for (middle, rate) in self.middle.iter_mut().zip(first.iter()).take(unknown) {
            *middle += rate;
        }
        case.flow(&self.middle, current, &mut self.later);
        second.clear();
        for (row, rate) in first.iter().enumerate().take(unknown) {
            second.push(self.later.heat[row] / GAMMA - 2.0 * case.capacity[row] * rate * scale);
        }
        case.circuit.pattern.solve(&self.matrix, second);
        let mut error = 0.0_f64;
        self.taken = 0.0;
        self.apart.clear();
        for row in 0..unknown {
            let change = 1.5 * first[row] + 0.5 * second[row];
            rows[row] += change;
            self.taken += change * case.capacity[row];
            let apart = 0.5 * (first[row] + second[row]);
            self.apart.push(apart);
            error = error.max(apart.abs());
            if !change.is_finite() {
                return f64::INFINITY;
            }
        }
        error
    }

    fn undo(&mut self, rows: &mut Vec<f64>) {
        std::mem::swap(rows, &mut self.before);
    }

    /// Adds heat taken up, made and led away. Heat made and heat led away are integrated by the rule that the
    /// temperatures follow, so that nothing is lost between them.
    fn account(&self, case: &Case<'_>, energy: &mut [f64; 3], step: f64) {
        let unknown = case.circuit.unknown();
        let away = |flow: &Flow| flow.heat[unknown..].iter().sum::<f64>();
        let [made, led] = case.beyond(&self.matrix, &self.apart);
        energy[0] += self.taken;
        energy[1] += step * (0.5 * (self.flow.made + self.later.made) + GAMMA * made);
        energy[2] += step * (0.5 * (away(&self.flow) + away(&self.later)) + GAMMA * led);
    }
}

impl Course {
    /// The last state: a course has at least its first one.
    pub fn end(&self) -> &ThermalState {
        &self.states[self.states.len() - 1]
    }

    /// The state at a time, s, straight between steps; the last one after the end.
    pub fn at(&self, time: f64) -> ThermalState {
        let after = self.times.partition_point(|&t| t < time);
        if after == 0 || after == self.times.len() {
            return self.states[after.min(self.times.len() - 1)].clone();
        }
        let part = (time - self.times[after - 1]) / (self.times[after] - self.times[after - 1]);
        let rows = self.states[after - 1].rows.iter().zip(&self.states[after].rows);
        ThermalState {
            rows: rows.map(|(a, b)| a + part * (b - a)).collect(),
            current: self.states[after].current,
        }
    }
}
