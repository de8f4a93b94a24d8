//! Answers as ranges: what follows for temperatures and permissible currents from all free quantities together.
//!
//! The network is solved at the centre of what is believed; on a coarse mesh with coarse steps there as well and at both
//! sides of it in each free quantity. The difference of the two at the centre goes to all coarse answers. Through them
//! goes, for every place, a surface of second degree: the logarithm of the rise over the free quantities and over the
//! logarithm of the current. Draws of the free quantities are read off the surfaces; a few are solved, and what the
//! surfaces miss by widens the answer.

use rayon::prelude::*;

use super::belief::{Belief, MODEL, RECTANGULAR};
use super::circuit::{Case, Circuit};
use super::network::{ElementId, FreeId, Kind, NetworkRefusal, NetworkValue};
use super::permissible::{Duty, Guess, Permissible, ends_of};
use super::steady::{MELTED, ThermalState};
use super::transient::{COARSE_ERROR, Course, Laid, Phase, Run, STEP_ERROR, Steps, courses};

/// Where the sides are solved, in units of the half range: the outer nodes of Gauss and Legendre with three points.
const SIDE: f64 = 0.774_597;
/// Quantities whose effect is less than this part of the largest one are taken as straight.
const STRAIGHT: f64 = 0.03;
/// Draws about each point of a range that are solved in full.
const CHECKED: usize = 5;
/// Quantities whose effect on an output is less than this part of the largest one's are left out: twenty of them would
/// add a thousandth to the width of its range.
const NEGLIGIBLE: f64 = 0.02;
/// Places whose current, where it is lowest, is this many standard deviations above what another's is where it is
/// highest come to their limit in no draw.
const ASIDE: f64 = 3.0;
/// How near the current about which the surfaces are laid comes to the permissible one at the centre, as a part of it: what
/// is left they tell. And how near the coarse mesh comes to it first.
const ABOUT: f64 = 5e-3;
const NEAR: f64 = 0.02;
/// Step of the logarithm of the current.
const CURRENT_STEP: f64 = 0.25;
/// The first time at which a limit is looked for, s.
const SOONEST: f64 = 7.5;

/// A range: its 2.5 % point, its middle, its 97.5 % point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// 2.5 % of the draws lie below.
    pub low: f64,
    /// Half of the draws lie below.
    pub middle: f64,
    /// 97.5 % of the draws lie below.
    pub high: f64,
}

/// A permissible current as a range.
#[derive(Debug, Clone)]
pub struct PermissibleRange {
    /// The current, A.
    pub current: Range,
    /// At the centre of what is believed.
    pub centre: Permissible,
    /// Places that come to their limit first, with the part of the draws in which they do; most frequent first.
    pub places: Vec<(ElementId, f64)>,
    /// Part of the variance that each free quantity brings.
    pub shares: Vec<f64>,
    /// What the surfaces miss the full solution by, as a part of the current.
    pub missed: f64,
}

/// Temperatures as ranges.
#[derive(Debug, Clone)]
pub struct TemperatureRanges {
    /// For each time, each place in the order of the network: its hottest temperature, K. What only leads or sheds heat is
    /// no place of its own: it has the value at the centre of what is believed.
    pub hottest: Vec<Vec<Range>>,
    /// Time until the first limit, s; infinite where none is reached in the time asked for.
    pub first_limit: Option<Range>,
}

/// Draws of what is believed of a circuit.
#[derive(Debug)]
pub struct Spread<'a> {
    circuit: &'a Circuit,
    coarse: &'a Circuit,
    belief: &'a Belief,
    /// Distances from the centre in half ranges: for each free quantity a column of draws.
    draws: Vec<Vec<f64>>,
    /// Factor on rises for what the equations leave out, in each draw.
    model: Vec<f64>,
}

/// What was asked of a case.
type Answered = Result<Vec<f64>, NetworkRefusal>;

/// A surface of second degree without products: for each output its centre, and slope and curvature in each input.
#[derive(Debug)]
struct Surface {
    centre: Vec<f64>,
    terms: Vec<Vec<(f64, f64)>>,
}

impl Surface {
    /// Through outputs at the centre, and at one or two sides of each input.
    fn through(centre: Vec<f64>, sides: &[Vec<(f64, Vec<f64>)>]) -> Self {
        let terms = sides
            .iter()
            .map(|sides| {
                let one = |k: usize| match &sides[..] {
                    [] => (0.0, 0.0),
                    [(x, y)] => ((y[k] - centre[k]) / x, 0.0),
                    [(x, y), (v, w), ..] => {
                        let (a, b) = ((y[k] - centre[k]) / x, (w[k] - centre[k]) / v);
                        let curve = (a - b) / (x - v);
                        (a - curve * x, curve)
                    }
                };
                (0..centre.len()).map(one).collect()
            })
            .collect();
        Self { centre, terms }
    }

    /// One output for every draw.
    fn read(&self, output: usize, draws: &[Vec<f64>]) -> Vec<f64> {
        let mut values = vec![self.centre[output]; draws.first().map_or(0, Vec::len)];
        let effect = |(slope, curve): (f64, f64)| slope.abs() + curve.abs();
        let least = self.terms.iter().fold(0.0_f64, |most, term| most.max(effect(term[output]))) * NEGLIGIBLE;
        for (term, column) in self.terms.iter().zip(draws) {
            let (slope, curve) = term[output];
            if effect((slope, curve)) > least {
                for (value, x) in values.iter_mut().zip(column) {
                    *value += x * (slope + curve * x);
                }
            }
        }
        values
    }
}

impl<'a> Spread<'a> {
    /// Draws from what is believed.
    pub fn new(circuit: &'a Circuit, belief: &'a Belief) -> Self {
        let mut draws = belief.draws();
        let spare = draws.pop().unwrap_or_default();
        let model = spare.iter().map(|u| 1.0 + belief.allowance * u).collect();
        Self { circuit, coarse: circuit.coarse(), belief, draws, model }
    }

    /// The coarse case with one quantity at a distance from its centre in half ranges.
    fn beside(&self, index: usize, x: f64) -> Case<'a> {
        let mut quantities = self.belief.centre.clone();
        quantities[index] += x * self.belief.half(index);
        self.coarse.at(&quantities)
    }

    /// Runs something at the sides of every free quantity, about what it gave at the centre; `judged` outputs say which
    /// quantities are worth a second side.
    fn surface(
        &self,
        centre: Vec<f64>,
        judged: std::ops::Range<usize>,
        run: impl Fn(&[&Case<'_>]) -> Vec<Answered>,
    ) -> Surface {
        let size = self.belief.frees.len();
        let sides = |wanted: &[usize], sense: f64| -> Vec<Option<(f64, Vec<f64>)>> {
            let mut found = vec![None; wanted.len()];
            let begin = |(place, &index): (usize, &usize)| {
                let (low, high) = self.belief.ends(index);
                let reach = SIDE * (3.0_f64.sqrt() * self.belief.deviation(index)).min(1.0);
                let x = (sense * reach).clamp(low, high);
                (x.abs() > 1e-3 * reach).then_some((place, index, x))
            };
            let mut open: Vec<(usize, usize, f64)> = wanted.iter().enumerate().filter_map(begin).collect();
            // Where there is no answer on this side there may be one nearer to the centre.
            for _ in 0..4 {
                let cases: Vec<_> = open.iter().map(|&(_, index, x)| self.beside(index, x)).collect();
                let answers = run(&cases.iter().collect::<Vec<_>>());
                let mut refused = Vec::new();
                for ((place, index, x), answer) in open.into_iter().zip(answers) {
                    match answer {
                        Ok(outputs) => found[place] = Some((x, outputs)),
                        Err(_) => refused.push((place, index, 0.4 * x)),
                    }
                }
                open = refused;
            }
            found
        };
        let all: Vec<usize> = (0..size).collect();
        let mut first = sides(&all, 1.0);
        let without: Vec<usize> = all.into_iter().filter(|&index| first[index].is_none()).collect();
        for (&index, found) in without.iter().zip(sides(&without, -1.0)) {
            first[index] = found;
        }
        let effect = |outputs: &[f64]| {
            let changes = outputs[judged.clone()].iter().zip(&centre[judged.clone()]);
            changes.fold(0.0_f64, |most, (a, b)| most.max((a - b).abs()))
        };
        let effects: Vec<f64> = first.iter().map(|s| s.as_ref().map_or(0.0, |(_, y)| effect(y))).collect();
        let largest = effects.iter().fold(0.0_f64, |m, &e| m.max(e));
        let bent = |&index: &usize| {
            first[index].as_ref().is_some_and(|(x, _)| effects[index] > STRAIGHT * largest && *x > 0.0)
        };
        let bent: Vec<usize> = (0..size).filter(bent).collect();
        let mut sides_of: Vec<Vec<_>> = first.into_iter().map(Vec::from_iter).collect();
        for (&index, second) in bent.iter().zip(sides(&bent, -1.0)) {
            sides_of[index].extend(second);
        }
        Surface::through(centre, &sides_of)
    }

    /// The current of a duty that brings the first place to its limit, after another current if one is given.
    ///
    /// # Errors
    /// As [`Case::permissible`], at the centre of what is believed.
    pub fn permissible(
        &self,
        after: Option<(f64, Duty)>,
        duty: Duty,
        guess: f64,
    ) -> Result<PermissibleRange, NetworkRefusal> {
        Ok(self.search(after, duty, guess, &[])?.0)
    }

    /// As [`Spread::permissible`] from the start, and the same where quantities that everything starts from or ends in,
    /// such as the room, are others: nought where a place is over its limit before any current flows.
    ///
    /// # Errors
    /// As [`Case::permissible`], at the centre of what is believed.
    pub fn permissible_beside(
        &self,
        duty: Duty,
        guess: f64,
        beside: &[Vec<(FreeId, f64)>],
    ) -> Result<(PermissibleRange, Vec<Range>), NetworkRefusal> {
        self.search(None, duty, guess, beside)
    }

    fn search(
        &self,
        after: Option<(f64, Duty)>,
        duty: Duty,
        guess: f64,
        rooms: &[Vec<(FreeId, f64)>],
    ) -> Result<(PermissibleRange, Vec<Range>), NetworkRefusal> {
        let case = self.circuit.at(&self.belief.centre);
        let prepare = |case: &Case<'_>,
                       error: f64,
                       near: Option<&ThermalState>|
         -> Result<ThermalState, NetworkRefusal> {
            let Some((current, duty)) = after else {
                return Ok(ThermalState { rows: case.at_rest(), current: 0.0 });
            };
            Ok(case.end_of(None, duty, current, Steps::Error(error), near)?.0)
        };
        let rest = prepare(&case, STEP_ERROR, None)?;
        let coarse = self.coarse.at(&self.belief.centre);
        let coarse_rest = prepare(&coarse, COARSE_ERROR, None)?;
        // What the coarse mesh says is near enough to start from.
        let guessed = Guess::at(guess, COARSE_ERROR).to(NEAR);
        let near = coarse.permissible_near(Some(&coarse_rest), duty, &guessed);
        let guess = near.map_or(Guess::at(guess, STEP_ERROR), |near| Guess::near(&near, STEP_ERROR));
        let centre = case.permissible_near(Some(&rest), duty, &guess.to(ABOUT))?;
        let limits = case.limits();
        // For each place with a limit its rise, and where it rises from.
        let outputs = |case: &Case<'_>, rest: &ThermalState, end: &ThermalState| -> Vec<f64> {
            let bases = limits.iter().map(|&(place, _)| case.hottest(rest, place));
            let rises = limits.iter().zip(bases.clone());
            rises.map(|(&(place, _), base)| arched(case.hottest(end, place) - base)).chain(bases).collect()
        };
        let fine = outputs(&case, &rest, &centre.state);
        let start = case.start;
        let (case, rest) = (coarse, coarse_rest);
        let (end, steps) =
            case.end_of(Some(&rest), duty, centre.current, Steps::Error(COARSE_ERROR), Some(&rest))?;
        let shift: Vec<f64> = fine.iter().zip(outputs(&case, &rest, &end)).map(|(a, b)| a - b).collect();
        let run = |cases: &[(&Case<'_>, f64)]| -> Vec<Answered> {
            let rests: Vec<_> =
                cases.par_iter().map(|(case, _)| prepare(case, COARSE_ERROR, Some(&rest))).collect();
            let begun = cases.iter().zip(&rests);
            let begun =
                begun.filter_map(|(&(case, current), rest)| Some((case, rest.as_ref().ok()?, current)));
            let begun: Vec<_> = begun.collect();
            let ends = ends_of(&begun, duty, &steps, &end);
            let answers = begun.iter().zip(ends).map(|((case, rest, _), end)| -> Answered {
                Ok(outputs(case, rest, &end?).iter().zip(&shift).map(|(y, shift)| y + shift).collect())
            });
            let mut answers = answers.collect::<Vec<_>>().into_iter();
            let refused = rests.iter().map(|rest| rest.as_ref().err());
            refused
                .filter_map(|refused| refused.map_or_else(|| answers.next(), |why| Some(Err(why.clone()))))
                .collect()
        };
        let all = 0..fine.len();
        let surface = self.surface(fine, all, |cases| {
            run(&cases.iter().map(|case| (*case, centre.current)).collect::<Vec<_>>())
        });
        let beside = [CURRENT_STEP, -CURRENT_STEP];
        let answers = run(&beside.map(|step| (&case, centre.current * step.exp())));
        let at_currents = beside.into_iter().zip(answers).map(|(step, answer)| Ok((step, answer?)));
        let growth = Surface::through(surface.centre.clone(), &[at_currents.collect::<Result<_, _>>()?]);
        let base = limits.len();
        let at = |u: f64| centre.current * u.exp();
        let range = |known: &[(FreeId, f64)]| {
            let set = |mut quantities: Vec<f64>| {
                known.iter().for_each(|&(free, value)| quantities[free.0] = value);
                quantities
            };
            let warmer = self.coarse.at(&set(self.belief.centre.clone())).start - start;
            let drawn = self.first_limits(&limits, &surface, &growth, warmer);
            let exact = |draws: &[usize]| -> Vec<Option<f64>> {
                let case = |&draw: &usize| self.coarse.at(&set(self.quantities(draw)));
                let cases: Vec<_> = draws.iter().map(case).collect();
                let runs = cases.iter().zip(draws).map(|(case, &draw)| (case, at(drawn[draw].1)));
                let answers = run(&runs.collect::<Vec<_>>());
                let miss = |((case, &draw), answer): ((&Case<'_>, &usize), Answered)| {
                    let (k, outputs) = (drawn[draw].0, answer.ok()?);
                    let may =
                        (self.circuit.limit(limits[k].0, &case.free) - outputs[base + k]) / self.model[draw];
                    Some((flattened(outputs[k]) / may).ln() / growth.terms[0][k].0)
                        .filter(|miss| miss.is_finite())
                };
                cases.iter().zip(draws).zip(answers).map(miss).collect()
            };
            let logarithms: Vec<f64> = drawn.iter().map(|d| d.1).collect();
            let (range, missed) = corrected(&logarithms, exact);
            let range = Range { low: at(range.low), middle: at(range.middle), high: at(range.high) };
            (range, missed, drawn, logarithms)
        };
        let (current, missed, drawn, logarithms) = range(&[]);
        let shares = self.shares(&logarithms);
        let mut counts = vec![0_usize; limits.len()];
        for &(k, _) in &drawn {
            counts[k] += 1;
        }
        let mut places: Vec<(ElementId, f64)> = counts
            .iter()
            .enumerate()
            .filter(|&(_, &n)| n > 0)
            .map(|(k, &n)| (limits[k].0, n as f64 / drawn.len() as f64))
            .collect();
        places.sort_by(|a, b| b.1.total_cmp(&a.1));
        let others = rooms.iter().map(|known| range(known).0).collect();
        Ok((PermissibleRange { current, centre, places, shares, missed }, others))
    }

    /// For each draw the place that comes to its limit first, and at which logarithm of the current over that of the
    /// centre, where everything starts this much warmer, K.
    fn first_limits(
        &self,
        limits: &[(ElementId, f64)],
        surface: &Surface,
        growth: &Surface,
        warmer: f64,
    ) -> Vec<(usize, f64)> {
        let base = limits.len();
        // Between which logarithms of the current each place comes to its limit.
        let ends: Vec<(f64, f64)> = (0..base)
            .map(|k| {
                let variance = |output: usize| {
                    let effects =
                        surface.terms.iter().map(|term| term[output].0.powi(2) + term[output].1.powi(2));
                    effects.sum::<f64>()
                };
                let (may, slope) = (limits[k].1 - surface.centre[base + k] - warmer, growth.terms[0][k].0);
                if may <= 0.0 {
                    return (f64::NEG_INFINITY, f64::NEG_INFINITY);
                }
                if slope <= 0.0 {
                    return (f64::INFINITY, f64::INFINITY);
                }
                let reach = (arched(may) - surface.centre[k]) / slope;
                let bases = variance(base + k) + self.half_of_limit(limits[k]).powi(2);
                let scatter = (variance(k) + bases / (may * may) + MODEL * MODEL).sqrt();
                let scatter = ASIDE * RECTANGULAR.sqrt() * scatter / slope;
                (reach - scatter, reach + scatter)
            })
            .collect();
        let highest = ends.iter().fold(f64::INFINITY, |least, end| least.min(end.1));
        let mut drawn = vec![(0, f64::INFINITY); self.model.len()];
        for k in (0..base).filter(|&k| ends[k].0 <= highest) {
            let (rises, bases) = (surface.read(k, &self.draws), surface.read(base + k, &self.draws));
            let limits = self.limits(limits[k].0);
            let (slope, curve) = growth.terms[0][k];
            for (d, first) in drawn.iter_mut().enumerate() {
                let may = (limits[d] - bases[d] - warmer) / self.model[d];
                let y = rises[d] - arched(may.max(0.0));
                let root = slope * slope - 4.0 * curve * y;
                // The branch that goes through nought with the slope at the centre.
                let reach = match may > 0.0 {
                    true if root > 0.0 => -2.0 * y / (slope + root.sqrt()),
                    true => -y / slope,
                    false => f64::NEG_INFINITY,
                };
                if reach < first.1 {
                    *first = (k, reach);
                }
            }
        }
        drawn
    }

    /// The free quantities of a draw.
    fn quantities(&self, draw: usize) -> Vec<f64> {
        let distances: Vec<f64> = self.draws.iter().map(|column| column[draw]).collect();
        self.belief.quantities(&distances)
    }

    /// Half the range of a limit, K.
    fn half_of_limit(&self, (place, limit): (ElementId, f64)) -> f64 {
        let free = self.circuit.network.places[place.0].limit.and_then(NetworkValue::free);
        free.map_or(0.0, |free| self.belief.half(free.0) * limit / self.belief.centre[free.0])
    }

    /// The limit of a place in every draw, K.
    fn limits(&self, place: ElementId) -> Vec<f64> {
        let limit = self.circuit.network.places[place.0].limit.unwrap_or(f64::INFINITY.into());
        match limit.free() {
            None => vec![limit.at(&[]); self.model.len()],
            Some(_) => (0..self.model.len()).map(|draw| limit.at(&self.quantities(draw))).collect(),
        }
    }

    /// Part of the variance of some values that goes with each free quantity.
    fn shares(&self, values: &[f64]) -> Vec<f64> {
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
        let share = |column: &Vec<f64>| {
            let centre = column.iter().sum::<f64>() / count;
            let both: f64 = column.iter().zip(values).map(|(x, v)| (x - centre) * (v - mean)).sum();
            let own: f64 = column.iter().map(|x| (x - centre).powi(2)).sum();
            if own > 0.0 && variance > 0.0 { both * both / (own * variance) } else { 0.0 }
        };
        self.draws.iter().map(share).collect()
    }

    /// Temperatures of all places at some times, s, of a course, infinite for the steady state of its last phase.
    ///
    /// # Errors
    /// As [`Case::course`] and [`Case::steady`], at the centre of what is believed.
    pub fn temperatures(&self, phases: &[Phase], times: &[f64]) -> Result<TemperatureRanges, NetworkRefusal> {
        self.ranges_at(phases, times, &watched(times), None)
    }

    /// As [`Spread::temperatures`], with closest regard to one of the times, which has an end. Where `only` that one is told
    /// there are no ranges at the others, and no time until a limit.
    ///
    /// # Errors
    /// As [`Spread::temperatures`].
    pub fn temperatures_at(
        &self,
        phases: &[Phase],
        times: &[f64],
        judged: f64,
        only: bool,
    ) -> Result<TemperatureRanges, NetworkRefusal> {
        let solved = if only { vec![judged] } else { watched(times) };
        self.ranges_at(phases, times, &solved, Some(judged))
    }

    /// Ranges at those of the times asked for that are solved, in rising order.
    fn ranges_at(
        &self,
        phases: &[Phase],
        asked: &[f64],
        solved: &[f64],
        judged: Option<f64>,
    ) -> Result<TemperatureRanges, NetworkRefusal> {
        let (times, endless) = solved.split_at(solved.partition_point(|time| time.is_finite()));
        let case = self.circuit.at(&self.belief.centre);
        let nominal = case.course(None, phases);
        nominal.whole()?;
        let coarse = self.coarse.at(&self.belief.centre);
        let coarsely = coarse.course_with(None, phases, Steps::Error(COARSE_ERROR));
        coarsely.whole()?;
        let last = phases.last().map_or(0.0, |phase| phase.current);
        let ends = match endless {
            [] => None,
            _ => Some((case.steady(last)?, coarse.steady(last)?)),
        };
        let kinds = self.circuit.network.kinds.iter().enumerate();
        let warms = |kind: &Kind| !matches!(kind, Kind::Link { .. } | Kind::Face { .. });
        let places: Vec<usize> = kinds.filter(|(_, kind)| warms(kind)).map(|(place, _)| place).collect();
        let outputs = |case: &Case<'_>, states: &[ThermalState]| -> Vec<f64> {
            let rise =
                |state: &ThermalState, place| arched(case.hottest(state, ElementId(place)) - case.start);
            let rises = states.iter().flat_map(|state| places.iter().map(move |&place| rise(state, place)));
            rises.chain([case.start]).collect()
        };
        let at_times = |course: &Course| times.iter().map(|&time| course.at(time)).collect::<Vec<_>>();
        let at_centre = at_times(&nominal);
        let fine = outputs(&case, &at_centre);
        let coarsely_told = outputs(&coarse, &at_times(&coarsely));
        let shift: Vec<f64> = fine.iter().zip(&coarsely_told).map(|(a, b)| a - b).collect();
        let laid = Laid { parts: &coarsely.parts, marks: times };
        let run = |cases: &[&Case<'_>]| -> Vec<Answered> {
            let runs: Vec<_> = cases.iter().map(|case| Run { case, from: None, phases }).collect();
            let answer = |(case, course): (&Case<'_>, &Course)| -> Answered {
                course.whole()?;
                Ok(outputs(case, &at_times(course)).iter().zip(&shift).map(|(y, shift)| y + shift).collect())
            };
            cases.par_iter().copied().zip(&courses(&runs, &laid)).map(answer).collect()
        };
        let judged = judged.and_then(|judged| times.iter().position(|time| *time == judged));
        let judged = judged.map_or(0..fine.len(), |at| at * places.len()..(at + 1) * places.len());
        let surface = self.surface(fine, judged, run);
        let without_end = ends.as_ref().map(|(fine, near)| {
            let told = outputs(&case, std::slice::from_ref(fine));
            let coarsely_told = outputs(&coarse, std::slice::from_ref(near));
            let shift: Vec<f64> = told.iter().zip(&coarsely_told).map(|(a, b)| a - b).collect();
            let answer = |case: &&Case<'_>| -> Answered {
                let end = case.steady_from(&near.rows, last)?;
                Ok(outputs(case, &[end]).iter().zip(&shift).map(|(y, shift)| y + shift).collect())
            };
            let all = 0..told.len();
            self.surface(told, all, |cases| cases.par_iter().map(answer).collect())
        });
        let start = surface.read(places.len() * times.len(), &self.draws);
        let warmed = |surface: &Surface, output: usize| -> Vec<f64> {
            let rises = surface.read(output, &self.draws).into_iter().zip(&start).zip(&self.model);
            rises.map(|((rise, start), model)| (start + flattened(rise) * model).min(MELTED)).collect()
        };
        let mut first = vec![f64::INFINITY; start.len()];
        let states = at_centre.iter().chain(ends.as_ref().map(|(fine, _)| fine));
        // What only leads or sheds heat has no range.
        let without_range = |state: &ThermalState| -> Vec<Range> {
            let hottest =
                (0..self.circuit.network.places.len()).map(|place| case.hottest(state, ElementId(place)));
            hottest.map(|kelvin| Range { low: kelvin, middle: kelvin, high: kelvin }).collect()
        };
        let centre = |time: &f64| solved.iter().zip(states.clone()).find(|(known, _)| *known == time);
        let of_centre = |time: &f64| centre(time).map(|(_, state)| without_range(state)).unwrap_or_default();
        let mut hottest: Vec<Vec<Range>> = asked.iter().map(of_centre).collect();
        for (output, &place) in places.iter().enumerate() {
            let limit = self.circuit.network.places[place].limit.filter(|_| times.len() > 1);
            let limits = limit.map(|_| self.limits(ElementId(place)));
            let mut before: Vec<f64> = start.clone();
            for (index, &time) in times.iter().enumerate() {
                if limits.is_none() && !asked.contains(&time) {
                    continue;
                }
                let mut now = warmed(&surface, index * places.len() + output);
                if let Some(limits) = &limits {
                    // What warms towards a level lies nearer to a straight line over the logarithm of time.
                    let crossed = |part: f64| match index.checked_sub(1).map(|before| times[before]) {
                        Some(earlier) => earlier * (time / earlier).powf(part),
                        None => part * time,
                    };
                    for (d, &limit) in
                        limits.iter().enumerate().filter(|&(d, limit)| now[d] >= *limit && before[d] < *limit)
                    {
                        let part = (limit - before[d]) / (now[d] - before[d]);
                        first[d] = first[d].min(crossed(part));
                    }
                    before.clone_from(&now);
                }
                for (_, hottest) in asked.iter().zip(&mut hottest).filter(|(asked, _)| **asked == time) {
                    hottest[place] = quantiles(&mut now);
                }
            }
            if let Some(surface) = &without_end {
                let mut now = warmed(surface, output);
                for (_, hottest) in asked.iter().zip(&mut hottest).filter(|(asked, _)| asked.is_infinite()) {
                    hottest[place] = quantiles(&mut now);
                }
            }
        }
        let reached = first.iter().any(|t| t.is_finite());
        let first_limit = reached.then(|| quantiles(&mut first));
        Ok(TemperatureRanges { hottest, first_limit })
    }
}

/// A rise on a scale that is logarithmic for large rises and straight about nought.
fn arched(rise: f64) -> f64 {
    let part = 0.5 * rise;
    (part.abs() + (part * part + 1.0).sqrt()).ln().copysign(part)
}

fn flattened(arched: f64) -> f64 {
    let grown = arched.exp();
    grown - 1.0 / grown
}

/// Times in rising order at which a limit is looked for, s: those that are asked for, and between the start and the last
/// of them ever twice as long a time.
fn watched(asked: &[f64]) -> Vec<f64> {
    let last = asked.iter().copied().filter(|time| time.is_finite()).fold(0.0, f64::max);
    let doubled =
        std::iter::successors(Some(SOONEST), |time| Some(2.0 * time)).take_while(|time| *time < last);
    let mut times: Vec<f64> = asked.iter().copied().chain(doubled).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    times
}

/// The 2.5 %, 50 % and 97.5 % points.
fn quantiles(values: &mut [f64]) -> Range {
    let [low, middle, high] = [0.025, 0.5, 0.975].map(|part| (values.len() as f64 * part) as usize);
    let (below, &mut at, above) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let point = |values: &mut [f64], index: usize| *values.select_nth_unstable_by(index, f64::total_cmp).1;
    Range { low: point(below, low), middle: at, high: point(above, high - middle - 1) }
}

/// The range of some values of which a few about each of its points are solved in full: the points move by what the
/// values miss there on the mean, and the ends move outward by its scatter. Second, the root mean square missed.
fn corrected(values: &[f64], exact: impl Fn(&[usize]) -> Vec<Option<f64>>) -> (Range, f64) {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_unstable_by(|&a, &b| values[a].total_cmp(&values[b]));
    let places: Vec<usize> = [0.025, 0.5, 0.975]
        .iter()
        .flat_map(|part| {
            let middle = (part * values.len() as f64) as usize;
            (0..CHECKED).map(move |k| middle + 3 * k - 3 * (CHECKED / 2))
        })
        .collect();
    let misses = exact(&places.iter().map(|&place| order[place]).collect::<Vec<_>>());
    let known: Vec<f64> = misses.iter().flatten().copied().collect();
    let missed = (known.iter().map(|m| m * m).sum::<f64>() / known.len().max(1) as f64).sqrt();
    let point = |index: usize| {
        let known: Vec<f64> =
            misses[index * CHECKED..(index + 1) * CHECKED].iter().flatten().copied().collect();
        let mean = known.iter().sum::<f64>() / known.len().max(1) as f64;
        let scatter = known.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / known.len().max(1) as f64;
        (values[order[places[index * CHECKED + CHECKED / 2]]] - mean, scatter.sqrt())
    };
    let [(low, a), (middle, _), (high, b)] = [0, 1, 2].map(point);
    let outward = |end: f64, scatter: f64| {
        if !(end - middle).is_finite() {
            return end;
        }
        middle + (end - middle).signum() * ((end - middle).powi(2) + (1.96 * scatter).powi(2)).sqrt()
    };
    (Range { low: outward(low, a), middle, high: outward(high, b) }, missed)
}
