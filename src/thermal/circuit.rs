//! The network made ready to be solved: numbers for one set of free quantities, heat flows and their slopes.

use super::currents::Branches;
use super::film;
use super::mesh::{Fineness, LORENZ, Mesh, Parts};
use super::network::{ElementId, Network, NetworkRefusal};
use super::sparse::Pattern;

/// Least heat capacity of a point, J/K: two milligrams of metal, so that every point follows in time.
const LEAST_CAPACITY: f64 = 1e-3;
/// Resistances never fall under this part of their value at the reference temperature.
const LEAST_RESISTANCE: f64 = 0.2;

/// A network whose structure has been checked and ordered; numbers are filled in by [`Circuit::at`].
#[derive(Debug, Clone)]
pub struct Circuit {
    pub(super) network: Network,
    pub(super) pattern: Pattern,
    branches: Branches,
    /// Its points; the rows to be found come first, then those held.
    pub(super) mesh: Mesh,
    /// Slots of the four entries of each link, film, radiation, resistor's heat.
    slots: Vec<[usize; 4]>,
    /// Rows of points that nothing touches.
    alone: Vec<usize>,
}

/// A circuit with numbers.
#[derive(Debug, Clone)]
pub struct Case<'a> {
    pub(super) circuit: &'a Circuit,
    parts: Parts,
    /// Heat that is made without current, W.
    watts: f64,
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
    /// Film coefficients, and the power of the difference with which each grows.
    films: Vec<(f64, f64)>,
}

impl Circuit {
    /// Checks and orders a network.
    ///
    /// # Errors
    /// Refuses a network that is open, shorts cells or is too large.
    pub fn new(network: Network) -> Result<Self, NetworkRefusal> {
        Self::cut(network, Fineness::Fine)
    }

    /// As [`Circuit::new`], on a mesh of its own.
    pub(super) fn cut(network: Network, fineness: Fineness) -> Result<Self, NetworkRefusal> {
        let mut parts = Parts::default();
        let mut mesh = Mesh::new(&network, fineness);
        // Held points go last.
        let is_held = |point: usize| network.points.get(point).is_some_and(Option::is_some);
        let (found, held): (Vec<usize>, Vec<usize>) = (0..mesh.row.len()).partition(|&point| !is_held(point));
        let unknown = found.len();
        for (row, &point) in found.iter().chain(&held).enumerate() {
            mesh.row[point] = row;
        }
        mesh.parts(&network, &network.middle(), &mut parts);
        let branches = Branches::new(&network, &parts.resistors)?;
        let pattern = Pattern::new(unknown, pairs(&parts).filter(|&(a, b)| a.max(b) < unknown))
            .ok_or(NetworkRefusal::TooLarge(network.places.len()))?;
        let row = |row: usize| pattern.row.get(row).copied().unwrap_or(row);
        // What leaves at held rows changes with each row: entries of their own behind the matrix.
        let slot = |a: usize, b: usize| match a.max(b) < unknown {
            true => pattern.slot(a, b),
            false => pattern.entries_end() + b,
        };
        let slots = pairs(&parts)
            .map(|(a, b)| {
                let (a, b) = (row(a), row(b));
                [slot(a, a), slot(a, b), slot(b, a), slot(b, b)]
            })
            .collect();
        let mut alone: Vec<bool> = vec![true; mesh.row.len()];
        for (a, b) in pairs(&parts).filter(|(a, b)| a != b) {
            (alone[a], alone[b]) = (false, false);
        }
        let alone = (0..unknown).filter(|&r| alone[r]).map(row).collect();
        mesh.row.iter_mut().for_each(|r| *r = row(*r));
        mesh.places.iter_mut().flatten().for_each(|(_, point)| *point = mesh.row[*point]);
        Ok(Self { network, pattern, branches, mesh, slots, alone })
    }

    /// The network it was made from.
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// The circuit with numbers for these free quantities.
    pub fn at(&self, free: &[f64]) -> Case<'_> {
        let mut case = Case {
            circuit: self,
            parts: Parts::default(),
            watts: 0.0,
            constant: Vec::new(),
            capacity: Vec::new(),
            held: Vec::new(),
            start: 293.15,
            free: Vec::new(),
        };
        case.set(free);
        case
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
        let place = self.mesh.places.iter().position(|points| points.iter().any(|&(_, at)| at == row));
        place.map_or_else(|| "a point".to_owned(), |place| self.network.places[place].name.clone())
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
        circuit.mesh.parts(network, free, &mut self.parts);
        self.capacity.clear();
        self.capacity.extend(self.parts.capacity.iter().map(|c| c.max(LEAST_CAPACITY)));
        self.constant.clear();
        self.constant.resize(circuit.pattern.entries_end() + 2 * circuit.mesh.row.len(), 0.0);
        for (index, &(_, _, g)) in self.parts.links.iter().enumerate() {
            couple(&mut self.constant, &circuit.slots[index], [g, -g, -g, g]);
        }
        self.watts = self.parts.watts.iter().sum();
        for &row in &circuit.alone {
            self.constant[row] = 1.0;
        }
        self.held.clear();
        self.held.extend(network.points.iter().flatten().map(|value| value.at(free)));
        self.start =
            network.start.map_or_else(|| self.held.first().copied().unwrap_or(293.15), |v| v.at(free));
        self.free.clear();
        self.free.extend_from_slice(free);
    }

    /// Temperature at which everything starts, K.
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
        for r in &parts.resistors {
            let mean = 0.5 * (t[r.heat.0] + t[r.heat.1]);
            flow.ohms.push(r.ohms * (1.0 + r.coefficient * (mean - r.reference)).max(LEAST_RESISTANCE));
        }
        if self.circuit.branches.divides() || flow.shares.len() != parts.resistors.len() {
            self.circuit.branches.shares(&flow.ohms, &mut flow.shares);
        }
        flow.heat.clear();
        flow.heat.extend_from_slice(&parts.watts);
        flow.made = self.watts;
        let heat = &mut flow.heat[..];
        for &(a, b, g) in &parts.links {
            let q = g * (t[a] - t[b]);
            heat[a] -= q;
            heat[b] += q;
        }
        flow.films.clear();
        for part in &parts.films {
            let (a, b) = part.ends;
            let film = natural(part.length, t[a], t[b]);
            flow.films.push(film);
            let q = part.area * film.0 * (t[a] - t[b]);
            heat[a] -= q;
            heat[b] += q;
        }
        for &(a, b, s) in &parts.radiations {
            let (ta, tb) = (t[a] * t[a], t[b] * t[b]);
            let q = s * (ta + tb) * (ta - tb);
            heat[a] -= q;
            heat[b] += q;
        }
        for (index, r) in parts.resistors.iter().enumerate() {
            let (a, b) = r.heat;
            let (i, ohms) = (current * flow.shares[index], flow.ohms[index]);
            let q = i * i * ohms + i.abs() * r.overvoltage + i * r.reversible * t[a];
            flow.made += q;
            heat[a] += 0.5 * q;
            heat[b] += 0.5 * q;
            if r.metallic > 0.0 {
                let q = r.metallic * LORENZ * 0.5 * (t[a] * t[a] - t[b] * t[b]) / ohms;
                heat[a] -= q;
                heat[b] += q;
            }
        }
    }

    /// Minus the slopes of [`Case::flow`]; behind the matrix stand those of the heat that leaves at held rows, and the
    /// slopes of the heat made ([`Case::beyond`]).
    pub(super) fn slopes(&self, t: &[f64], current: f64, flow: &Flow, matrix: &mut Vec<f64>) {
        let parts = &self.parts;
        matrix.clear();
        matrix.extend_from_slice(&self.constant);
        let made = self.circuit.pattern.entries_end() + self.circuit.mesh.row.len();
        let slots = &self.circuit.slots[parts.links.len()..];
        let (films, slots) = slots.split_at(parts.films.len());
        let (radiations, resistors) = slots.split_at(parts.radiations.len());
        for (index, part) in parts.films.iter().enumerate() {
            let (film, power) = flow.films[index];
            let g = (1.0 + power) * part.area * film;
            couple(matrix, &films[index], [g, -g, -g, g]);
        }
        for (index, &(a, b, s)) in parts.radiations.iter().enumerate() {
            let (ga, gb) = (4.0 * s * t[a] * t[a] * t[a], 4.0 * s * t[b] * t[b] * t[b]);
            couple(matrix, &radiations[index], [ga, -gb, -ga, gb]);
        }
        for (index, r) in parts.resistors.iter().enumerate() {
            let (i, ohms) = (current * flow.shares[index], flow.ohms[index]);
            let grows =
                if ohms > r.ohms * LEAST_RESISTANCE { 0.25 * i * i * r.ohms * r.coefficient } else { 0.0 };
            let reversible = 0.5 * i * r.reversible;
            let half = -grows - reversible;
            let (a, b) = r.heat;
            let across = if r.metallic > 0.0 { r.metallic * LORENZ / ohms } else { 0.0 };
            let (ga, gb) = (across * t[a], across * t[b]);
            couple(matrix, &resistors[index], [half + ga, -grows - gb, half - ga, -grows + gb]);
            matrix[made + a] -= 2.0 * half;
            matrix[made + b] += 2.0 * grows;
        }
    }

    /// What a change of the temperatures adds to the heat made and to the heat led away, after [`Case::slopes`], W.
    pub(super) fn beyond(&self, matrix: &[f64], change: &[f64]) -> [f64; 2] {
        let behind = &matrix[self.circuit.pattern.entries_end()..];
        let (away, made) = behind.split_at(self.circuit.mesh.row.len());
        let along = |slopes: &[f64]| slopes.iter().zip(change).map(|(s, c)| s * c).sum::<f64>();
        [along(made), -along(away)]
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
        let mut near = vec![Vec::new(); self.circuit.mesh.row.len()];
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

/// Adds the slopes of one part to its four entries.
#[inline]
fn couple(matrix: &mut [f64], slot: &[usize; 4], slopes: [f64; 4]) {
    matrix[slot[0]] += slopes[0];
    matrix[slot[1]] += slopes[1];
    matrix[slot[2]] += slopes[2];
    matrix[slot[3]] += slopes[3];
}

/// Film coefficient of a height, or minus the width of a level strip, and its power.
fn natural(length: f64, surface: f64, air: f64) -> (f64, f64) {
    if length > 0.0 { film::upright(length, surface, air) } else { film::level(-length, surface, air) }
}
