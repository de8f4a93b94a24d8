//! Temperatures that no longer change.

use super::circuit::{Case, Flow};
use super::network::{ElementId, NetworkRefusal};

/// Steps until the balance must be closed.
const MOST_STEPS: usize = 200;
/// Heat that may be left over, as a part of the heat made and led through.
const BALANCE: f64 = 1e-9;
/// Above this nothing is told: copper has melted, K.
pub(super) const MELTED: f64 = 1400.0;

/// Temperatures of a network at one time, with the current at which they hold.
#[derive(Debug, Clone)]
pub struct ThermalState {
    /// Temperature of each row, K.
    pub(super) rows: Vec<f64>,
    /// Terminal current, A.
    pub(super) current: f64,
}

impl Case<'_> {
    /// Temperatures without end at a terminal current, A.
    ///
    /// # Errors
    /// Refuses where heat cannot leave, or is made faster than it leaves.
    pub fn steady(&self, current: f64) -> Result<ThermalState, NetworkRefusal> {
        if let Some(row) = self.without_way_out() {
            return Err(NetworkRefusal::NoWayOut(self.circuit.name_of(row)));
        }
        self.steady_from(&self.at_rest(), current)
    }

    /// As [`Case::steady`], from temperatures near the answer.
    pub(super) fn steady_from(&self, from: &[f64], current: f64) -> Result<ThermalState, NetworkRefusal> {
        let unknown = self.circuit.unknown();
        let mut rows = self.at_rest();
        rows[..unknown].copy_from_slice(&from[..unknown]);
        let (mut flow, mut trial) = (Flow::default(), Flow::default());
        let mut matrix = Vec::new();
        let into = |flow: &Flow<1>, rows: std::ops::Range<usize>| -> f64 {
            flow.heat[rows].iter().map(|[q]| q.abs()).sum()
        };
        let all = self.circuit.mesh.row.len();
        self.flow(&rows, current, &mut flow);
        // Without a clock where that leads to the answer; else in time, with steps that grow as the balance closes.
        let mut pace = f64::INFINITY;
        for _ in 0..MOST_STEPS {
            let left = into(&flow, 0..unknown);
            if left <= BALANCE * (flow.made[0].abs() + into(&flow, unknown..all)) {
                return Ok(ThermalState { rows, current });
            }
            self.equations().slopes(rows.as_chunks().0, [current], &flow, &mut matrix);
            if pace.is_finite() {
                for ([diagonal], [capacity]) in matrix[..unknown].iter_mut().zip(self.equations().capacity())
                {
                    *diagonal += capacity / pace;
                }
            }
            let mut step = flow.heat[..unknown].to_vec();
            let [stable] = self.circuit.pattern.eliminate(&mut matrix);
            if stable {
                self.circuit.pattern.solve(&matrix, &mut step);
            }
            let sound = stable && step.as_flattened().iter().all(|d| d.is_finite() && d.abs() < 2.0 * MELTED);
            let moved: Vec<f64> =
                rows.iter().zip(step.iter().chain(std::iter::repeat(&[0.0]))).map(|(t, [d])| t + d).collect();
            if !sound || moved[..unknown].iter().any(|&t| t < 100.0) {
                pace = if pace.is_finite() { 0.2 * pace } else { 10.0 };
                continue;
            }
            if let Some(row) = moved[..unknown].iter().position(|&t| t > MELTED)
                && pace.is_finite()
            {
                return Err(NetworkRefusal::Runaway(self.circuit.name_of(row)));
            }
            if moved[..unknown].iter().any(|&t| t > MELTED) {
                pace = 10.0;
                continue;
            }
            self.flow(&moved, current, &mut trial);
            std::mem::swap(&mut flow, &mut trial);
            rows = moved;
            if pace.is_finite() {
                pace *= 4.0;
            }
        }
        let worst = (0..unknown).max_by(|&a, &b| flow.heat[a][0].abs().total_cmp(&flow.heat[b][0].abs()));
        Err(NetworkRefusal::Runaway(self.circuit.name_of(worst.unwrap_or(0))))
    }

    /// Heat made and heat that leaves at the held points, W: equal when the balance is closed.
    pub fn balance(&self, state: &ThermalState) -> (f64, f64) {
        let mut flow = Flow::default();
        self.flow(&state.rows, state.current, &mut flow);
        (flow.made[0], flow.heat[self.circuit.unknown()..].as_flattened().iter().sum())
    }

    /// Hottest temperature of an element, K: along a bar the top of the parabola through its hottest three points.
    pub fn hottest(&self, state: &ThermalState, element: ElementId) -> f64 {
        let points = &self.circuit.mesh.places[element.0];
        let t = |index: usize| state.rows[points[index].1];
        let top = (1..points.len()).fold(0, |top, index| if t(index) > t(top) { index } else { top });
        let hottest = t(top);
        if top == 0 || top + 1 >= points.len() || points[top + 1].0 <= points[top - 1].0 {
            return hottest;
        }
        let (a, b) = (points[top].0 - points[top - 1].0, points[top + 1].0 - points[top].0);
        let (rise, fall) = ((hottest - t(top - 1)) / a, (hottest - t(top + 1)) / b);
        let (slope, bend) = ((rise * b - fall * a) / (a + b), (rise + fall) / (a + b));
        if bend > 0.0 { hottest + slope * slope / (4.0 * bend) } else { hottest }
    }

    /// Temperature along an element: distance from its start, m, and temperature, K.
    pub fn profile(&self, state: &ThermalState, element: ElementId) -> Vec<(f64, f64)> {
        self.circuit.mesh.places[element.0].iter().map(|&(at, row)| (at, state.rows[row])).collect()
    }

    /// Resistance of an element at its temperature, Ω, and the drop over it, V.
    pub fn resistance_and_drop(&self, state: &ThermalState, element: ElementId) -> (f64, f64) {
        let mut flow = Flow::default();
        self.flow(&state.rows, state.current, &mut flow);
        self.electrical(element, state.current, &flow)
    }
}
