//! Temperatures in time.
//!
//! The method is the two-stage Rosenbrock method of second order after Verwer, Spee, Blom and Hundsdorfer (SIAM J. Sci.
//! Comput. 20 (1999) 1456; formula from memory): stable at any step, of second order with any matrix. The step follows
//! the difference to the result of first order. That difference also says how a step bends, so that no step has to end
//! where a temperature is asked for.

use std::cell::Cell;
use std::thread::LocalKey;

use fearless_simd::{Level, dispatch};
use rayon::prelude::*;

use super::circuit::{Case, Equations, Flow, Numbers};
use super::lanes::{add, each};
use super::network::NetworkRefusal;
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
    /// By the difference between the results of both orders, K, in one step.
    Error(f64),
    /// As in an earlier course. Where one of them is too long for what grows in it, that counts as melted.
    Same(&'a Laid<'a>),
}

/// Steps that an earlier course laid out, and what is kept of a course that follows them beside the ends of its phases.
#[derive(Debug, Clone, Copy)]
pub(super) struct Laid<'a> {
    /// Length of each step as a part of its phase.
    pub(super) parts: &'a [Vec<f64>],
    /// Times that are asked for, s from the start.
    pub(super) marks: &'a [f64],
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
    /// How each step bends, where all steps are kept: see [`bent`].
    bends: Vec<Vec<f64>>,
    /// What melts before the end.
    pub melted: Option<String>,
    /// Length of each step as a part of its phase.
    pub(super) parts: Vec<Vec<f64>>,
}

/// Difference between the results of both orders in one step, K, that answers are computed with, and one with which ranges
/// about them are: much more than the result misses by.
pub(super) const STEP_ERROR: f64 = 1.5;
pub(super) const COARSE_ERROR: f64 = 15.0;

impl Case<'_> {
    /// The course over some phases, from the starting temperature or from a state; it ends where something melts.
    pub fn course(&self, from: Option<&ThermalState>, phases: &[Phase]) -> Course {
        self.course_with(from, phases, Steps::Error(STEP_ERROR))
    }

    /// As [`Case::course`] from the starting temperature, with steps that may be wrong by so many times as much.
    pub fn course_within(&self, phases: &[Phase], times: f64) -> Course {
        self.course_with(None, phases, Steps::Error(times * STEP_ERROR))
    }

    pub(super) fn course_with(
        &self,
        from: Option<&ThermalState>,
        phases: &[Phase],
        steps: Steps<'_>,
    ) -> Course {
        match steps {
            Steps::Error(tolerance) => {
                let mut room = Room::<1>::PLACE.take().unwrap_or_default();
                let course = self.course_by(&mut room.stepper, from, phases, tolerance);
                room.keep();
                course
            }
            Steps::Same(laid) => {
                let run = Run { case: self, from, phases };
                courses(&[run], laid).swap_remove(0)
            }
        }
    }

    /// A course with steps that may each be wrong by so much, K.
    fn course_by(
        &self,
        stepper: &mut Stepper<1>,
        from: Option<&ThermalState>,
        phases: &[Phase],
        tolerance: f64,
    ) -> Course {
        stepper.begin();
        let mut course = self.begin(from, phases);
        let mut rows: Vec<[f64; 1]> = course.end().rows.as_chunks().0.to_vec();
        let (mut begin, mut guess, mut current) = (0.0, 0.0, f64::NAN);
        for phase in phases {
            let (mut done, mut parts) = (0.0, Vec::new());
            if phase.current != current {
                (guess, current) =
                    ((1e-3 * phase.seconds).clamp(1e-3, (2.0 * tolerance).max(1e-3)), phase.current);
            }
            while done < phase.seconds * (1.0 - 1e-9) {
                let left = phase.seconds - done;
                // Two equal steps rather than one and a splinter.
                let step = if guess >= left {
                    left
                } else if guess > 0.5 * left {
                    0.5 * left
                } else {
                    guess
                };
                let [error] = stepper.step(&self.equations(), &mut rows, [phase.current], [step]);
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
                done += step;
                parts.push(step / phase.seconds);
                stepper.account(&self.equations(), &mut course.energy, step);
                course.bends.push(stepper.apart.as_flattened().to_vec());
                course.keep(begin + done, rows.as_flattened().to_vec(), phase.current);
                let rows = &rows.as_flattened()[..self.circuit.unknown()];
                let endless = (parts.len() > MOST_STEPS).then_some(0);
                if let Some(row) = melts(rows.iter().copied(), error).or(endless) {
                    course.melted = Some(self.circuit.name_of(row));
                    return course;
                }
            }
            begin += phase.seconds;
            course.parts.push(parts);
        }
        course
    }

    /// A course that has only its first state.
    fn begin(&self, from: Option<&ThermalState>, phases: &[Phase]) -> Course {
        let mut rows = self.at_rest();
        if let Some(state) = from {
            rows[..self.circuit.unknown()].copy_from_slice(&state.rows[..self.circuit.unknown()]);
        }
        let current = phases.first().map_or(0.0, |phase| phase.current);
        Course { times: vec![0.0], states: vec![ThermalState { rows, current }], ..Course::default() }
    }
}

/// A course to be computed: a case, what it starts from if not from its starting temperature, and its phases.
pub(super) struct Run<'a> {
    pub(super) case: &'a Case<'a>,
    pub(super) from: Option<&'a ThermalState>,
    pub(super) phases: &'a [Phase],
}

/// The row that melts in a step with this error, or that is the hottest where the step has no answer.
fn melts(rows: impl Iterator<Item = f64> + Clone, error: f64) -> Option<usize> {
    let hottest = || rows.clone().enumerate().max_by(|a, b| a.1.total_cmp(&b.1)).map(|(row, _)| row);
    let melted = rows.clone().position(|kelvin| kelvin >= MELTED);
    melted.or_else(|| error.is_infinite().then(hottest).flatten())
}

/// How many courses are computed side by side.
pub(super) const BESIDE: usize = 8;

/// Courses of cases of one circuit in the same steps, as parts of each phase: the same as each alone, to the last digit, in
/// the widest registers that the processor has.
pub(super) fn courses(runs: &[Run<'_>], laid: &Laid<'_>) -> Vec<Course> {
    let some = |some: &[Run<'_>]| match some.len() {
        1 => dispatch!(Level::new(), _ => beside::<1>(some, laid)),
        2..=4 => dispatch!(Level::new(), _ => beside::<4>(some, laid)),
        _ => dispatch!(Level::new(), _ => beside::<BESIDE>(some, laid)),
    };
    runs.par_chunks(BESIDE).flat_map_iter(some).collect()
}

/// Room that a thread uses again for the next courses: memory that was just used is near the processor.
#[derive(Debug, Default)]
struct Room<const N: usize> {
    numbers: Numbers<N>,
    stepper: Stepper<N>,
}

/// Entries of a matrix for which room is kept.
const KEPT: usize = 10_000;

impl<const N: usize> Room<N>
where
    Self: Kept,
{
    fn keep(self: Box<Self>) {
        if self.stepper.matrix.len() <= KEPT {
            Self::PLACE.set(Some(self));
        }
    }
}

trait Kept: Default + 'static {
    /// Where a thread keeps it.
    const PLACE: &LocalKey<Cell<Option<Box<Self>>>>;
}

macro_rules! kept {
    ($($place:ident for $count:expr),*) => {$(
        thread_local! {
            static $place: Cell<Option<Box<Room<$count>>>> = const { Cell::new(None) };
        }
        impl Kept for Room<$count> {
            const PLACE: &LocalKey<Cell<Option<Box<Self>>>> = &$place;
        }
    )*};
}
kept!(ALONE for 1, FEW for 4, MANY for BESIDE);

/// At most `N` courses side by side; each ends where something melts in it.
#[inline(always)]
fn beside<const N: usize>(runs: &[Run<'_>], laid: &Laid<'_>) -> Vec<Course>
where
    Room<N>: Kept,
{
    let mut room = Room::<N>::PLACE.take().unwrap_or_default();
    let cases = std::array::from_fn(|k| runs[k.min(runs.len() - 1)].case);
    room.numbers.fill(cases);
    let equations = Equations { circuit: cases[0].circuit, numbers: &room.numbers };
    let courses = stepped(&equations, &mut room.stepper, runs, laid);
    room.keep();
    courses
}

#[inline(always)]
fn stepped<const N: usize>(
    equations: &Equations<'_, N>,
    stepper: &mut Stepper<N>,
    runs: &[Run<'_>],
    laid: &Laid<'_>,
) -> Vec<Course> {
    // What is left over does what the last one does.
    let run = |k: usize| &runs[k.min(runs.len() - 1)];
    let mut courses: Vec<Course> = runs.iter().map(|run| run.case.begin(run.from, run.phases)).collect();
    let first = |k: usize| &courses[k.min(runs.len() - 1)].states[0].rows;
    let mut rows: Vec<[f64; N]> = (0..first(0).len()).map(|row| each(|k| first(k)[row])).collect();
    let unknown = equations.circuit.unknown();
    stepper.begin();
    let mut begin = [0.0; N];
    for (index, parts) in laid.parts.iter().enumerate() {
        let phase = |k: usize| run(k).phases[index];
        let mut done = [0.0; N];
        for part in parts {
            let step: [f64; N] = each(|k| part * phase(k).seconds);
            let error = stepper.step(equations, &mut rows, each(|k| phase(k).current), step);
            let whole = |course: &Course| course.melted.is_none();
            let rows = &rows[..];
            let all_solid = error.iter().all(|error| error.is_finite())
                && rows[..unknown].as_flattened().iter().all(|kelvin| *kelvin < MELTED);
            for (k, course) in courses.iter_mut().enumerate().filter(|(_, course)| whole(course)) {
                let within = |part| stepper.within(rows, part, k);
                course.mark(laid.marks, begin[k] + done[k], step[k], phase(k).current, within);
                if all_solid {
                    continue;
                }
                let melted = melts(rows[..unknown].iter().map(|row| row[k]), error[k]);
                course.melted = melted.map(|row| equations.circuit.name_of(row));
            }
            if !courses.iter().any(whole) {
                return courses;
            }
            add(&mut done, step);
        }
        let whole = courses.iter_mut().enumerate().filter(|(_, course)| course.melted.is_none());
        for (k, course) in whole.filter(|_| !parts.is_empty()) {
            course.keep(begin[k] + done[k], rows.iter().map(|row| row[k]).collect(), phase(k).current);
        }
        begin = each(|k| begin[k] + phase(k).seconds);
    }
    courses
}

/// Memory of one step.
#[derive(Debug)]
struct Stepper<const N: usize> {
    flow: Flow<N>,
    later: Flow<N>,
    matrix: Vec<[f64; N]>,
    before: Vec<[f64; N]>,
    rates: [Vec<[f64; N]>; 2],
    middle: Vec<[f64; N]>,
    taken: [f64; N],
    /// Mean of both rates: what separates the two orders.
    apart: Vec<[f64; N]>,
}

impl<const N: usize> Default for Stepper<N> {
    fn default() -> Self {
        let (flow, later, matrix, before, rates, middle, apart) = Default::default();
        Self { flow, later, matrix, before, rates, middle, taken: [0.0; N], apart }
    }
}

impl<const N: usize> Stepper<N> {
    /// Forgets how the current divided in what was stepped before.
    fn begin(&mut self) {
        self.flow.shares.clear();
        self.later.shares.clear();
    }

    /// Advances the rows by one step and gives its error, K; infinite where there is no answer and the rows stay
    /// as they were.
    #[inline(always)]
    fn step(
        &mut self,
        equations: &Equations<'_, N>,
        rows: &mut [[f64; N]],
        current: [f64; N],
        step: [f64; N],
    ) -> [f64; N] {
        let pattern = &equations.circuit.pattern;
        let unknown = pattern.size();
        self.before.clear();
        self.before.extend_from_slice(rows);
        equations.flow(rows, current, &mut self.flow);
        equations.slopes(rows, current, &self.flow, &mut self.matrix);
        let scale: [f64; N] = each(|k| 1.0 / (GAMMA * step[k]));
        for (diagonal, capacity) in self.matrix[..unknown].iter_mut().zip(equations.capacity()) {
            add(diagonal, each(|k| capacity[k] * scale[k]));
        }
        let mut sound = pattern.eliminate(&mut self.matrix);
        if sound == [false; N] {
            return [f64::INFINITY; N];
        }
        let [first, second] = &mut self.rates;
        // Rates times the step: (C/γh + A) · k = f / γ.
        first.clear();
        first.extend(self.flow.heat[..unknown].iter().map(|q| -> [f64; N] { each(|k| q[k] / GAMMA) }));
        pattern.solve(&self.matrix, first);
        self.middle.clear();
        self.middle.extend_from_slice(rows);
        self.middle.iter_mut().zip(first.iter()).for_each(|(middle, rate)| add(middle, *rate));
        equations.flow(&self.middle, current, &mut self.later);
        second.clear();
        for ((heat, capacity), rate) in self.later.heat.iter().zip(equations.capacity()).zip(first.iter()) {
            second.push(each(|k| heat[k] / GAMMA - 2.0 * capacity[k] * rate[k] * scale[k]));
        }
        pattern.solve(&self.matrix, second);
        let mut error = [0.0_f64; N];
        self.taken = [0.0; N];
        self.apart.clear();
        let rates = first.iter().zip(second.iter());
        for ((row, capacity), (first, second)) in rows.iter_mut().zip(equations.capacity()).zip(rates) {
            let change: [f64; N] = each(|k| 1.5 * first[k] + 0.5 * second[k]);
            add(row, change);
            add(&mut self.taken, each(|k| change[k] * capacity[k]));
            let apart: [f64; N] = each(|k| 0.5 * (first[k] + second[k]));
            self.apart.push(apart);
            error = each(|k| error[k].max(apart[k].abs()));
            for (sound, change) in sound.iter_mut().zip(change) {
                *sound &= change.is_finite();
            }
        }
        if sound != [true; N] {
            for (row, before) in rows.iter_mut().zip(&self.before) {
                *row = each(|k| if sound[k] { row[k] } else { before[k] });
            }
        }
        each(|k| if sound[k] { error[k] } else { f64::INFINITY })
    }

    /// The rows of one case at a part of the step that led to these.
    fn within(&self, rows: &[[f64; N]], part: f64, k: usize) -> Vec<f64> {
        let bends = self.apart.iter().map(|apart| apart[k]).chain(std::iter::repeat(0.0));
        let ends = self.before.iter().zip(rows).zip(bends);
        ends.map(|((before, after), bend)| bent(before[k], after[k], bend, part)).collect()
    }

    fn undo(&mut self, rows: &mut Vec<[f64; N]>) {
        std::mem::swap(rows, &mut self.before);
    }
}

impl Stepper<1> {
    /// Adds heat taken up, made and led away. Heat made and heat led away are integrated by the rule that the
    /// temperatures follow, so that nothing is lost between them.
    fn account(&self, equations: &Equations<'_, 1>, energy: &mut [f64; 3], step: f64) {
        let unknown = equations.circuit.unknown();
        let away = |flow: &Flow<1>| flow.heat[unknown..].as_flattened().iter().sum::<f64>();
        let [made, led] = equations.beyond(&self.matrix, &self.apart);
        energy[0] += self.taken[0];
        energy[1] += step * (0.5 * (self.flow.made[0] + self.later.made[0]) + GAMMA * made);
        energy[2] += step * (0.5 * (away(&self.flow) + away(&self.later)) + GAMMA * led);
    }
}

/// A temperature at a part of a step, from those at its ends and the difference between the results of both orders: that is
/// 1/2 − γ times the square of the step times the second derivative.
fn bent(before: f64, after: f64, apart: f64, part: f64) -> f64 {
    before + part * (after - before) - part * (1.0 - part) * apart / (1.0 - 2.0 * GAMMA)
}

impl Course {
    fn keep(&mut self, time: f64, rows: Vec<f64>, current: f64) {
        self.times.push(time);
        self.states.push(ThermalState { rows, current });
    }

    /// Keeps what is asked for in a step.
    fn mark(&mut self, marks: &[f64], begin: f64, step: f64, current: f64, rows: impl Fn(f64) -> Vec<f64>) {
        for &mark in marks.iter().filter(|mark| (begin..begin + step).contains(*mark)) {
            self.keep(mark, rows((mark - begin) / step), current);
        }
    }

    /// The last state: a course has at least its first one.
    pub fn end(&self) -> &ThermalState {
        &self.states[self.states.len() - 1]
    }

    /// Refuses a course in which something melts.
    pub(super) fn whole(&self) -> Result<(), NetworkRefusal> {
        self.melted.as_ref().map_or(Ok(()), |name| Err(NetworkRefusal::Runaway(name.clone())))
    }

    /// The last state, or what melts before.
    pub(super) fn into_end(mut self) -> Result<ThermalState, NetworkRefusal> {
        self.whole()?;
        Ok(self.states.swap_remove(self.states.len() - 1))
    }

    /// The state at a time, s; the last one after the end.
    pub fn at(&self, time: f64) -> ThermalState {
        let after = self.times.partition_point(|&t| t < time);
        if after == 0 || after == self.times.len() {
            return self.states[after.min(self.times.len() - 1)].clone();
        }
        let part = (time - self.times[after - 1]) / (self.times[after] - self.times[after - 1]);
        let bends = self.bends.get(after - 1).into_iter().flatten().copied().chain(std::iter::repeat(0.0));
        let rows = self.states[after - 1].rows.iter().zip(&self.states[after].rows).zip(bends);
        ThermalState {
            rows: rows.map(|((a, b), apart)| bent(*a, *b, apart, part)).collect(),
            current: self.states[after].current,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::circuit::Circuit;
    use super::super::network::{Bar, CrossSection, Film, FreeScope, Metal, Network, Surface};
    use super::*;

    /// A copper bar between its terminals, with a free factor on its film.
    fn bar() -> Circuit {
        let mut network = Network::new();
        let factor = network.free("factor on the film", 0.5, 1.5, FreeScope::Surroundings);
        let (air, minus, plus) = (network.held(298.15), network.point(), network.point());
        network.terminals(minus, plus);
        let film = Film::Level { width: 0.02, factor: factor.into() };
        let bar = Bar {
            name: "bar".to_owned(),
            from: minus,
            to: plus,
            length: 0.2.into(),
            section: CrossSection::Flat { width: 0.02.into(), thickness: 0.002.into() },
            metal: Metal {
                resistivity: 1.7e-8.into(),
                coefficient: 3.9e-3,
                conductivity: 390.0.into(),
                capacity: 3.4e6,
            },
            cover: None,
            surface: Some(Surface { film, air, emissivity: 0.1.into(), faced: air }),
            limit: None,
        };
        network.bar(bar).unwrap();
        Circuit::new(network).unwrap()
    }

    #[test]
    fn between_its_steps_a_course_is_near_one_that_ends_there() {
        let circuit = bar();
        let case = circuit.at(&[1.0]);
        let phases = [Phase { current: 250.0, seconds: 600.0 }, Phase { current: 60.0, seconds: 1200.0 }];
        let course = case.course(None, &phases);
        let warmest = course.states.iter().flat_map(|state| &state.rows).fold(0.0_f64, |m, t| m.max(*t));
        assert!(warmest > case.start + 60.0 && course.times.len() < 60, "{warmest} K, {:?}", course.times);
        for second in (20..1800).step_by(20).map(f64::from) {
            let mut ends = phases;
            ends[0].seconds = second.min(600.0);
            ends[1].seconds = (second - 600.0).max(0.0);
            let ends = if second > 600.0 { &ends[..] } else { &ends[..1] };
            let exact = case.course_with(None, ends, Steps::Error(0.01)).end().clone();
            for (a, b) in course.at(second).rows.iter().zip(&exact.rows) {
                let allowed = 0.3 + 0.01 * (b - case.start).abs();
                assert!((a - b).abs() < allowed, "after {second} s {a} K, exactly {b} K");
            }
        }
    }

    #[test]
    fn courses_beside_each_other_are_those_alone() {
        let circuit = bar();
        let cases: Vec<Case<'_>> = (0..11).map(|n| circuit.at(&[0.5 + 0.1 * f64::from(n)])).collect();
        for current in [150.0, 3000.0] {
            let phases = [Phase { current, seconds: 300.0 }, Phase { current: 80.0, seconds: 100.0 }];
            let cut = [Phase { current: 150.0, ..phases[0] }, phases[1]];
            let parts = &cases[0].course_with(None, &cut, Steps::Error(COARSE_ERROR)).parts;
            let laid = Laid { parts, marks: &[20.0, 300.0, 399.0] };
            let runs: Vec<Run<'_>> =
                cases.iter().map(|case| Run { case, from: None, phases: &phases }).collect();
            for (run, beside) in runs.iter().zip(courses(&runs, &laid)) {
                let alone = run.case.course_with(None, &phases, Steps::Same(&laid));
                assert_eq!(beside.melted, alone.melted);
                assert_eq!(alone.melted.is_some(), current > 1000.0, "{current} A");
                assert_eq!(beside.times, alone.times);
                let rows = |course: &Course| -> Vec<Vec<f64>> {
                    course.states.iter().map(|state| state.rows.clone()).collect()
                };
                assert_eq!(rows(&beside), rows(&alone));
            }
        }
    }
}
