//! The current that brings the first place to its limit, and the time until that.

use rayon::prelude::*;

use super::circuit::{Case, Flow};
use super::network::{ElementId, NetworkRefusal};
use super::steady::ThermalState;
use super::transient::{Course, Laid, Phase, Run, STEP_ERROR, Steps, courses};

/// Currents that are looked through, A.
const RANGE: (f64, f64) = (1e-4, 1e7);
/// A current is found to this part of itself.
const PRECISION: f64 = 5e-4;
/// Most trials of a current.
const MOST_TRIALS: usize = 60;

/// For how long a current flows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Duty {
    /// Without end.
    Ever,
    /// For a time, s.
    For(f64),
    /// Until a charge has flowed, A·s: one full discharge.
    Charge(f64),
}

impl Duty {
    /// How long that is at a current, s; `None` without end.
    pub fn seconds(self, current: f64) -> Option<f64> {
        match self {
            Self::Ever => None,
            Self::For(seconds) => Some(seconds),
            Self::Charge(charge) => Some(charge / current.abs().max(RANGE.0)),
        }
    }
}

/// States at the end of a duty, each of a case from a state at a current, in the same steps; see [`Case::end_of`].
pub(super) fn ends_of(
    runs: &[(&Case<'_>, &ThermalState, f64)],
    duty: Duty,
    parts: &[Vec<f64>],
    near: &ThermalState,
) -> Vec<Result<ThermalState, NetworkRefusal>> {
    let phases: Option<Vec<[Phase; 1]>> = runs
        .iter()
        .map(|&(_, _, current)| Some([Phase { current, seconds: duty.seconds(current)? }]))
        .collect();
    let Some(phases) = phases else {
        return runs.par_iter().map(|(case, _, current)| case.steady_from(&near.rows, *current)).collect();
    };
    let runs =
        runs.iter().zip(&phases).map(|(&(case, from, _), phases)| Run { case, from: Some(from), phases });
    courses(&runs.collect::<Vec<_>>(), &Laid { parts, marks: &[] })
        .into_iter()
        .map(Course::into_end)
        .collect()
}

/// A current that brings the first place to its limit.
#[derive(Debug, Clone)]
pub struct Permissible {
    /// Terminal current, A.
    pub current: f64,
    /// The place that reaches its limit first.
    pub place: ElementId,
    /// The state at the end.
    pub state: ThermalState,
    /// Power of the current with which the place warms.
    power: f64,
}

/// Where a search for a permissible current begins, how it steps in time, and how near it comes.
pub(super) struct Guess {
    current: f64,
    /// Power of the current with which the first place warms.
    power: f64,
    /// Error, K, of one step.
    error: f64,
    /// The current is found to this part of itself.
    precision: f64,
}

impl Guess {
    /// From a current, A, with this error of one step, K.
    pub(super) fn at(current: f64, error: f64) -> Self {
        Self { current, power: 2.0, error, precision: PRECISION }
    }

    /// From what was found on another mesh.
    pub(super) fn near(found: &Permissible, error: f64) -> Self {
        Self { power: found.power, ..Self::at(found.current, error) }
    }

    /// To another part of itself.
    pub(super) fn to(self, precision: f64) -> Self {
        Self { precision, ..self }
    }
}

impl Case<'_> {
    /// Limits of the places that have one, K.
    pub(super) fn limits(&self) -> Vec<(ElementId, f64)> {
        let places = self.circuit.network.places.iter().enumerate();
        places
            .filter_map(|(index, p)| p.limit.map(|limit| (ElementId(index), limit.at(&self.free))))
            .collect()
    }

    /// State at the end of a duty, with the steps it was computed in if it has an end; a steady state is looked for from
    /// `near`.
    pub(super) fn end_of(
        &self,
        from: Option<&ThermalState>,
        duty: Duty,
        current: f64,
        steps: Steps<'_>,
        near: Option<&ThermalState>,
    ) -> Result<(ThermalState, Vec<Vec<f64>>), NetworkRefusal> {
        let Some(seconds) = duty.seconds(current) else {
            let state = match near {
                Some(state) => self.steady_from(&state.rows, current)?,
                None => self.steady(current)?,
            };
            return Ok((state, Vec::new()));
        };
        let mut course = self.course_with(from, &[Phase { current, seconds }], steps);
        let parts = std::mem::take(&mut course.parts);
        Ok((course.into_end()?, parts))
    }

    /// States at the end of a duty with an end at some currents, from the starting temperature, in steps chosen for one
    /// of these currents or one near them.
    ///
    /// # Errors
    /// As [`Case::course`], of each current; of all where something melts at the one that the steps are chosen for.
    pub fn ends(
        &self,
        duty: Duty,
        currents: &[f64],
        chosen_for: f64,
    ) -> Result<Vec<Result<ThermalState, NetworkRefusal>>, NetworkRefusal> {
        let rest = ThermalState { rows: self.at_rest(), current: 0.0 };
        // Steps that serve the coarse mesh serve the fine one.
        let coarse = self.circuit.coarse().at(&self.free);
        let (_, parts) = coarse.end_of(None, duty, chosen_for, Steps::Error(STEP_ERROR), None)?;
        let runs: Vec<_> = currents.iter().map(|current| (self, &rest, *current)).collect();
        Ok(ends_of(&runs, duty, &parts, &rest))
    }

    /// The current of a duty that brings the first place to its limit; from the starting temperature or a state.
    ///
    /// # Errors
    /// Refuses where no place has a limit, where one is passed without current, and where heat cannot leave.
    pub fn permissible(
        &self,
        from: Option<&ThermalState>,
        duty: Duty,
    ) -> Result<Permissible, NetworkRefusal> {
        self.permissible_near(from, duty, &Guess::at(100.0, STEP_ERROR))
    }

    /// As [`Case::permissible`], from a first guess.
    pub(super) fn permissible_near(
        &self,
        from: Option<&ThermalState>,
        duty: Duty,
        guess: &Guess,
    ) -> Result<Permissible, NetworkRefusal> {
        let limits = self.limits();
        if limits.is_empty() {
            return Err(NetworkRefusal::NoLimit);
        }
        if duty == Duty::Ever
            && let Some(row) = self.without_way_out()
        {
            return Err(NetworkRefusal::NoWayOut(self.circuit.name_of(row)));
        }
        let rest = ThermalState { rows: self.at_rest(), current: 0.0 };
        let rest = from.unwrap_or(&rest);
        let base: Vec<f64> = limits.iter().map(|&(place, _)| self.hottest(rest, place)).collect();
        for (&(place, limit), &t) in limits.iter().zip(&base) {
            if t >= limit {
                return Err(NetworkRefusal::TooHotAtRest(self.circuit.network.places[place.0].name.clone()));
            }
        }
        // How far the worst place is from its limit, as the logarithm of its rise over the rise it may have: about
        // twice the logarithm of the current.
        let worst = |state: &ThermalState| {
            let over = limits.iter().zip(&base).map(|(&(place, limit), &base)| {
                let rise = (self.hottest(state, place) - base).max(1e-12);
                (place, (rise / (limit - base)).ln())
            });
            over.max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((ElementId(0), f64::NEG_INFINITY))
        };
        let mut search = Search::new(guess);
        let (mut steps, mut laid_out): (Option<Vec<Vec<f64>>>, _) = (None, f64::NEG_INFINITY);
        let mut near: Option<ThermalState> = None;
        for _ in 0..MOST_TRIALS {
            let current = search.x.exp();
            // Steps chosen near this current serve it as well, and keep the answer smooth.
            let kept = steps.as_deref().filter(|_| (search.x - laid_out).abs() < 0.1);
            let kept = kept.map(|parts| Laid { parts, marks: &[] });
            let taken = kept.as_ref().map_or(Steps::Error(guess.error), Steps::Same);
            match self.end_of(Some(rest), duty, current, taken, Some(near.as_ref().unwrap_or(rest))) {
                Ok((state, parts)) => {
                    if kept.is_none() {
                        (steps, laid_out) = (Some(parts), search.x);
                    }
                    let (place, over) = worst(&state);
                    if over.abs() < guess.precision || search.high - search.low < guess.precision {
                        return Ok(Permissible { current, place, state, power: search.slope });
                    }
                    near = Some(state);
                    search.tried(over);
                }
                // Its own steps may have an answer.
                Err(NetworkRefusal::Runaway(_)) if kept.is_some() => steps = None,
                Err(NetworkRefusal::Runaway(_)) => {
                    (steps, near) = (None, None);
                    search.tried(f64::INFINITY);
                }
                Err(other) => return Err(other),
            }
            if search.low >= RANGE.1.ln() - 1e-9 {
                return Err(NetworkRefusal::NoLimit);
            }
        }
        Err(NetworkRefusal::Runaway(self.circuit.network.places[limits[0].0.0].name.clone()))
    }

    /// When the first place passes its limit in a course, s, and which; `None` if none does.
    pub fn first_limit(&self, course: &Course) -> Option<(f64, ElementId)> {
        let limits = self.limits();
        let (mut before, mut after) = (Flow::default(), Flow::default());
        for (index, state) in course.states.iter().enumerate() {
            let over: Vec<_> = limits.iter().filter(|&&(p, limit)| self.hottest(state, p) >= limit).collect();
            if over.is_empty() {
                continue;
            }
            if index == 0 {
                return Some((0.0, over[0].0));
            }
            let earlier = &course.states[index - 1];
            let (begin, step) = (course.times[index - 1], course.times[index] - course.times[index - 1]);
            self.flow(&earlier.rows, state.current, &mut before);
            self.flow(&state.rows, state.current, &mut after);
            let crossing = |&&(place, limit): &&(ElementId, f64)| {
                let rows = self.circuit.mesh.places[place.0].iter().map(|&(_, row)| row);
                let earliest = rows.filter(|&row| state.rows[row] >= limit).map(|row| {
                    let slope =
                        |flow: &Flow<1>| flow.heat[row][0] / self.equations().capacity()[row][0] * step;
                    let cubic = [earlier.rows[row], slope(&before), state.rows[row], slope(&after)];
                    begin + step * crossing_of(cubic, limit)
                });
                (earliest.fold(f64::INFINITY, f64::min), place)
            };
            return over.iter().map(crossing).min_by(|a, b| a.0.total_cmp(&b.0));
        }
        None
    }
}

/// The search for where a growing function crosses nought: by its slope between trials, inside what is known.
struct Search {
    /// Where to try.
    x: f64,
    low: f64,
    high: f64,
    slope: f64,
    last: Option<(f64, f64)>,
    trials: usize,
}

impl Search {
    fn new(guess: &Guess) -> Self {
        let (low, high) = (RANGE.0.ln(), RANGE.1.ln());
        let x = guess.current.ln().clamp(low, high);
        Self { x, low, high, slope: guess.power, last: None, trials: 0 }
    }

    fn tried(&mut self, y: f64) {
        if y < 0.0 {
            self.low = self.x;
        } else {
            self.high = self.x;
        }
        if let Some((x, before)) = self.last
            && y.is_finite()
        {
            let slope = (y - before) / (self.x - x);
            self.slope = if slope.is_finite() { slope.clamp(0.5, 20.0) } else { self.slope };
        }
        self.last = y.is_finite().then_some((self.x, y));
        self.trials += 1;
        let next = self.x - (y / self.slope).clamp(-3.0, 0.7);
        // Halving ends what the slope does not.
        let inside = next > self.low && next < self.high && self.trials < MOST_TRIALS / 3;
        self.x = if inside {
            next
        } else if y < 0.0 && self.x + 3.0 > RANGE.1.ln() {
            RANGE.1.ln()
        } else {
            0.5 * (self.low + self.high)
        };
    }
}

/// Where the cubic through two ends with their slopes passes a level, as a part of the way.
fn crossing_of([t0, s0, t1, s1]: [f64; 4], level: f64) -> f64 {
    let value = |x: f64| {
        let (a, b) = (1.0 - x, x);
        t0 * a * a * (1.0 + 2.0 * b) + s0 * b * a * a + t1 * b * b * (3.0 - 2.0 * b) - s1 * a * b * b
    };
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if value(middle) < level { low = middle } else { high = middle }
    }
    high
}
