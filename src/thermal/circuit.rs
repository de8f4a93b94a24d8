//! The network made ready to be solved: numbers for one set of free quantities, heat flows and their slopes.

use super::currents::Branches;
use super::network::{ElementId, LORENZ, Network, Parts, Refusal};
use super::sparse::Pattern;
use crate::physics::film;

/// Least heat capacity of a point, J/K: a tenth of a gram of metal, so that every point follows in time.
const LEAST_CAPACITY: f64 = 0.05;
/// Resistances never fall under this part of their value at the reference temperature.
const LEAST_RESISTANCE: f64 = 0.2;

/// A network whose structure has been checked and ordered; numbers are filled in by [`Circuit::at`].
#[derive(Debug, Clone)]
pub struct Circuit {
    pub(super) network: Network,
    pub(super) pattern: Pattern,
    branches: Branches,
    /// Row of each point: those to be found first, then those held.
    pub(super) row: Vec<usize>,
    /// Slots of the four entries of each link, film, radiation, resistor's heat.
    slots: Vec<[usize; 4]>,
}

/// A circuit with numbers.
#[derive(Debug, Clone)]
pub struct Case<'a> {
    pub(super) circuit: &'a Circuit,
    parts: Parts,
    /// Slopes of the links, which do not change with temperature.
    constant: Vec<f64>,
    /// Heat capacity of each row, J/K.
    pub(super) capacity: Vec<f64>,
    /// Temperatures of the held rows, K.
    held: Vec<f64>,
    /// Temperature at which everything starts, K.
    pub(super) start: f64,
    /// The free quantities.
    pub(super) free: Vec<f64>,
}

/// Room for the numbers of one evaluation, used again and again.
#[derive(Debug, Clone, Default)]
pub(super) struct Flow {
    /// Heat into each row, W; for held rows what leaves the network there.
    pub(super) heat: Vec<f64>,
    /// Heat made, W.
    pub(super) made: f64,
    pub(super) shares: Vec<f64>,
    ohms: Vec<f64>,
}

impl Circuit {
    /// Checks and orders a network.
    ///
    /// # Errors
    /// Refuses a network that is open, shorts cells or is too large.
    pub fn new(network: Network) -> Result<Self, Refusal> {
        let mut parts = Parts::default();
        network.parts(&network.middle(), &mut parts);
        let branches = Branches::new(&network, &parts.resistors)?;
        let mut row = vec![usize::MAX; network.points.len()];
        let mut points = Vec::new();
        for (point, held) in network.points.iter().enumerate() {
            if held.is_none() {
                row[point] = points.len();
                points.push(point);
            }
        }
        let pairs: Vec<_> =
            pairs(&parts).filter(|&(a, b)| row[a] < points.len() && row[b] < points.len()).collect();
        let pattern = Pattern::new(points.len(), pairs.iter().map(|&(a, b)| (row[a], row[b])))
            .ok_or(Refusal::TooLarge(network.places.len()))?;
        for &point in &points {
            row[point] = pattern.row[row[point]];
        }
        let mut next = points.len();
        for (point, held) in network.points.iter().enumerate() {
            if held.is_some() {
                row[point] = next;
                next += 1;
            }
        }
        let unknown = points.len();
        let spare = pattern.entries_end();
        let slot = |a: usize, b: usize| if a < unknown && b < unknown { pattern.slot(a, b) } else { spare };
        let slots = self::pairs(&parts)
            .map(|(a, b)| {
                let (a, b) = (row[a], row[b]);
                [slot(a, a), slot(a, b), slot(b, a), slot(b, b)]
            })
            .collect();
        Ok(Self { network, pattern, branches, row, slots })
    }

    /// The network it was made from.
    #[must_use]
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// The circuit with numbers for these free quantities.
    #[must_use]
    pub fn at(&self, free: &[f64]) -> Case<'_> {
        let mut case = Case {
            circuit: self,
            parts: Parts::default(),
            constant: Vec::new(),
            capacity: Vec::new(),
            held: Vec::new(),
            start: 293.15,
            free: Vec::new(),
        };
        case.set(free);
        case
    }

    /// Number of temperatures to be found.
    #[must_use]
    pub fn size(&self) -> usize {
        self.unknown()
    }

    /// Number of rows to be found.
    pub(super) fn unknown(&self) -> usize {
        self.pattern.size()
    }

    /// Limit of a place that has one, K.
    pub(super) fn limit(&self, place: ElementId, free: &[f64]) -> f64 {
        self.network.places[place.0].limit.map_or(f64::INFINITY, |limit| limit.at(free))
    }

    /// Name of the first place that has the row, for refusals.
    pub(super) fn name_of(&self, row: usize) -> String {
        let place =
            self.network.places.iter().find(|p| p.points.iter().any(|&(_, point)| self.row[point] == row));
        place.map_or_else(|| "a point".to_owned(), |place| place.name.clone())
    }
}

/// Every pair of points that a part couples, in the order in which parts are evaluated.
fn pairs(parts: &Parts) -> impl Iterator<Item = (usize, usize)> + '_ {
    let links = parts.links.iter().map(|&(a, b, _)| (a, b));
    let films = parts.films.iter().map(|part| part.ends);
    let radiations = parts.radiations.iter().map(|&(a, b, _)| (a, b));
    links.chain(films).chain(radiations).chain(parts.resistors.iter().map(|resistor| resistor.heat))
}

impl Case<'_> {
    /// Fills in other free quantities.
    pub(super) fn set(&mut self, free: &[f64]) {
        let circuit = self.circuit;
        let network = &circuit.network;
        network.parts(free, &mut self.parts);
        let row = &circuit.row;
        self.capacity.clear();
        self.capacity.resize(row.len(), 0.0);
        let mut watts = vec![0.0; row.len()];
        for (point, &row) in row.iter().enumerate() {
            self.capacity[row] = self.parts.capacity[point].max(LEAST_CAPACITY);
            watts[row] = self.parts.watts[point];
        }
        self.parts.watts = watts;
        for link in &mut self.parts.links {
            (link.0, link.1) = (row[link.0], row[link.1]);
        }
        for part in &mut self.parts.films {
            part.ends = (row[part.ends.0], row[part.ends.1]);
        }
        for part in &mut self.parts.radiations {
            (part.0, part.1) = (row[part.0], row[part.1]);
        }
        for resistor in &mut self.parts.resistors {
            resistor.heat = (row[resistor.heat.0], row[resistor.heat.1]);
        }
        self.constant.clear();
        self.constant.resize(circuit.pattern.entries_end() + 1, 0.0);
        for (&(_, _, g), slot) in self.parts.links.iter().zip(&circuit.slots) {
            for (slot, g) in slot.iter().zip([g, -g, -g, g]) {
                self.constant[*slot] += g;
            }
        }
        self.held.clear();
        self.held.extend(network.points.iter().flatten().map(|value| value.at(free)));
        self.start =
            network.start.map_or_else(|| self.held.first().copied().unwrap_or(293.15), |v| v.at(free));
        self.free.clear();
        self.free.extend_from_slice(free);
    }

    /// Temperature at which everything starts, K.
    #[must_use]
    pub fn start(&self) -> f64 {
        self.start
    }

    /// All rows at the starting temperature, the held rows at theirs.
    pub(super) fn at_rest(&self) -> Vec<f64> {
        let mut temperatures = vec![self.start; self.circuit.unknown()];
        temperatures.extend_from_slice(&self.held);
        temperatures
    }

    /// Heat flows at these temperatures, K, and this terminal current, A (positive on discharge).
    pub(super) fn flow(&self, t: &[f64], current: f64, flow: &mut Flow) {
        let parts = &self.parts;
        flow.ohms.clear();
        flow.ohms.extend(parts.resistors.iter().map(|r| {
            let mean = 0.5 * (t[r.heat.0] + t[r.heat.1]);
            r.ohms * (1.0 + r.coefficient * (mean - r.reference)).max(LEAST_RESISTANCE)
        }));
        if self.circuit.branches.divides() || flow.shares.len() != parts.resistors.len() {
            self.circuit.branches.shares(&flow.ohms, &mut flow.shares);
        }
        flow.heat.clear();
        flow.heat.extend_from_slice(&parts.watts);
        flow.made = parts.watts.iter().sum();
        for &(a, b, g) in &parts.links {
            let q = g * (t[a] - t[b]);
            flow.heat[a] -= q;
            flow.heat[b] += q;
        }
        for part in &parts.films {
            let (a, b) = part.ends;
            let q = part.area * natural(part.length, t[a], t[b]) * (t[a] - t[b]);
            flow.heat[a] -= q;
            flow.heat[b] += q;
        }
        for &(a, b, s) in &parts.radiations {
            let (ta, tb) = (t[a] * t[a], t[b] * t[b]);
            let q = s * (ta + tb) * (ta - tb);
            flow.heat[a] -= q;
            flow.heat[b] += q;
        }
        for ((r, &ohms), &share) in parts.resistors.iter().zip(&flow.ohms).zip(&flow.shares) {
            let (a, b) = r.heat;
            let i = current * share;
            let q = i * i * ohms + i.abs() * r.overvoltage + i * r.reversible * t[a];
            flow.made += q;
            flow.heat[a] += 0.5 * q;
            flow.heat[b] += 0.5 * q;
            if r.metallic > 0.0 {
                let q = r.metallic * LORENZ * 0.5 * (t[a] * t[a] - t[b] * t[b]) / ohms;
                flow.heat[a] -= q;
                flow.heat[b] += q;
            }
        }
    }

    /// Minus the slopes of [`Case::flow`]; the matrix has one spare entry at its end.
    pub(super) fn slopes(&self, t: &[f64], current: f64, flow: &Flow, matrix: &mut Vec<f64>) {
        let parts = &self.parts;
        matrix.clone_from(&self.constant);
        let mut slots = self.circuit.slots[parts.links.len()..].iter();
        let mut couple = |matrix: &mut Vec<f64>, [aa, ab, ba, bb]: [f64; 4]| {
            if let Some(slot) = slots.next() {
                matrix[slot[0]] += aa;
                matrix[slot[1]] += ab;
                matrix[slot[2]] += ba;
                matrix[slot[3]] += bb;
            }
        };
        for part in &parts.films {
            // The film grows with about the fourth root of the difference.
            let g = 1.25 * part.area * natural(part.length, t[part.ends.0], t[part.ends.1]);
            couple(matrix, [g, -g, -g, g]);
        }
        for &(a, b, s) in &parts.radiations {
            let (ga, gb) = (4.0 * s * t[a].powi(3), 4.0 * s * t[b].powi(3));
            couple(matrix, [ga, -gb, -ga, gb]);
        }
        for ((r, &ohms), &share) in parts.resistors.iter().zip(&flow.ohms).zip(&flow.shares) {
            let i = current * share;
            let grows =
                if ohms > r.ohms * LEAST_RESISTANCE { 0.25 * i * i * r.ohms * r.coefficient } else { 0.0 };
            let reversible = 0.5 * i * r.reversible;
            let half = -grows - reversible;
            let (a, b) = r.heat;
            let across = if r.metallic > 0.0 { r.metallic * LORENZ / ohms } else { 0.0 };
            let (ga, gb) = (across * t[a], across * t[b]);
            couple(matrix, [half + ga, -grows - gb, half - ga, -grows + gb]);
        }
    }

    /// Resistance of an element at these temperatures, Ω, and the drop over it at a terminal current, V.
    pub(super) fn electrical(&self, element: ElementId, current: f64, flow: &Flow) -> (f64, f64) {
        let (mut ohms, mut drop) = (0.0, 0.0);
        for ((r, &each), &share) in self.parts.resistors.iter().zip(&flow.ohms).zip(&flow.shares) {
            if r.element == element.0 {
                ohms += each;
                drop += each * (current * share).abs();
            }
        }
        (ohms, drop)
    }

    /// Row that no conductance leads to a held row, if there is one.
    pub(super) fn without_way_out(&self) -> Option<usize> {
        let mut near = vec![Vec::new(); self.circuit.row.len()];
        let films = self.parts.films.iter().map(|part| (part.ends.0, part.ends.1, part.area));
        let metallic =
            self.parts.resistors.iter().filter(|r| r.metallic > 0.0).map(|r| (r.heat.0, r.heat.1, 1.0));
        let links = self.parts.links.iter().chain(&self.parts.radiations).copied();
        for (a, b, g) in links.chain(films).chain(metallic) {
            if g > 0.0 {
                near[a].push(b);
                near[b].push(a);
            }
        }
        let mut reached = vec![false; near.len()];
        let mut waiting: Vec<usize> = (self.circuit.unknown()..near.len()).collect();
        while let Some(row) = waiting.pop() {
            if !std::mem::replace(&mut reached[row], true) {
                waiting.extend(near[row].iter().copied());
            }
        }
        (0..near.len()).find(|&row| !reached[row] && !near[row].is_empty())
    }
}

/// Film coefficient of a height, or minus the width of a level strip.
fn natural(length: f64, surface: f64, air: f64) -> f64 {
    if length > 0.0 { film::upright(length, surface, air) } else { film::level(-length, surface, air) }
}
