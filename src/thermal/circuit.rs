//! The network made ready to be solved: numbers for one set of free quantities, heat flows and their slopes.

use std::sync::OnceLock;

use super::currents::Branches;
use super::film;
use super::lanes::{add, each, take};
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
    /// The same network on a coarse mesh, once it was asked for; nothing where it cannot be cut so.
    coarse: OnceLock<Option<Box<Self>>>,
}

/// A circuit with numbers.
#[derive(Debug, Clone)]
pub struct Case<'a> {
    pub(super) circuit: &'a Circuit,
    /// Its numbers, once it is solved alone.
    numbers: OnceLock<Numbers<1>>,
    /// Temperatures of the held rows, K.
    held: Vec<f64>,
    /// Temperature at which everything starts, K.
    pub(super) start: f64,
    /// The free quantities.
    pub(super) free: Vec<f64>,
}

/// The heat balances of one case, or of several side by side.
#[derive(Debug, Clone, Copy)]
pub(super) struct Equations<'a, const N: usize> {
    pub(super) circuit: &'a Circuit,
    pub(super) numbers: &'a Numbers<N>,
}

/// The numbers of the heat balances.
#[derive(Debug, Clone)]
pub(super) struct Numbers<const N: usize> {
    parts: Parts<N>,
    /// Heat that is made without current, W.
    watts: [f64; N],
    /// Slopes of the links, which do not change with temperature.
    constant: Vec<[f64; N]>,
}

impl<const N: usize> Default for Numbers<N> {
    fn default() -> Self {
        Self { parts: Parts::default(), watts: [0.0; N], constant: Vec::new() }
    }
}

/// Room for the numbers of one evaluation, used again and again.
#[derive(Debug, Clone)]
pub(super) struct Flow<const N: usize> {
    /// Heat into each row, W; for held rows what leaves the network there.
    pub(super) heat: Vec<[f64; N]>,
    /// Heat made, W.
    pub(super) made: [f64; N],
    pub(super) shares: Vec<[f64; N]>,
    ohms: Vec<[f64; N]>,
    /// Film coefficients, and the power of the difference with which each grows.
    films: Vec<[[f64; N]; 2]>,
}

impl<const N: usize> Default for Flow<N> {
    fn default() -> Self {
        let (heat, shares, ohms, films) = Default::default();
        Self { heat, made: [0.0; N], shares, ohms, films }
    }
}

impl Circuit {
    /// Checks and orders a network.
    ///
    /// # Errors
    /// Refuses a network that is open, shorts cells or is too large.
    pub fn new(network: Network) -> Result<Self, NetworkRefusal> {
        Self::cut(network, Fineness::Fine)
    }

    fn cut(network: Network, fineness: Fineness) -> Result<Self, NetworkRefusal> {
        let mut mesh = Mesh::new(&network, fineness);
        // Held points go last.
        let is_held = |point: usize| network.points.get(point).is_some_and(Option::is_some);
        let (found, held): (Vec<usize>, Vec<usize>) = (0..mesh.row.len()).partition(|&point| !is_held(point));
        let unknown = found.len();
        for (row, &point) in found.iter().chain(&held).enumerate() {
            mesh.row[point] = row;
        }
        let mut parts = Parts::default();
        mesh.fill(&mut parts, &network, [&network.middle()]);
        mesh.counted(&parts);
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
        Ok(Self { network, pattern, branches, mesh, slots, alone, coarse: OnceLock::new() })
    }

    /// The same network on a coarse mesh: for how answers change, not for the answers themselves. What cannot be cut so
    /// serves as it is.
    pub fn coarse(&self) -> &Self {
        let cut = || Self::cut(self.network.clone(), Fineness::Coarse).map(Box::new).ok();
        self.coarse.get_or_init(cut).as_deref().unwrap_or(self)
    }

    /// The network it was made from.
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// The circuit with numbers for these free quantities.
    pub fn at(&self, free: &[f64]) -> Case<'_> {
        let network = &self.network;
        let held: Vec<f64> = network.points.iter().flatten().map(|value| value.at(free)).collect();
        let start = network.start.map_or_else(|| held.first().copied().unwrap_or(293.15), |v| v.at(free));
        Case { circuit: self, numbers: OnceLock::new(), held, start, free: free.to_vec() }
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
fn pairs(parts: &Parts<1>) -> impl Iterator<Item = (usize, usize)> + '_ {
    let links = parts.links.iter().map(|&(a, b, _)| (a, b));
    let films = parts.films.iter().map(|part| part.ends);
    let radiations = parts.radiations.iter().map(|&(a, b, _)| (a, b));
    links.chain(films).chain(radiations).chain(parts.resistors.iter().map(|resistor| resistor.heat))
}

impl Case<'_> {
    /// Its heat balances.
    pub(super) fn equations(&self) -> Equations<'_, 1> {
        let filled = || {
            let mut numbers = Numbers::default();
            numbers.fill([self]);
            numbers
        };
        Equations { circuit: self.circuit, numbers: self.numbers.get_or_init(filled) }
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
    pub(super) fn flow(&self, t: &[f64], current: f64, flow: &mut Flow<1>) {
        self.equations().flow(t.as_chunks().0, [current], flow);
    }

    /// Resistance of an element at these temperatures, Ω, and the drop over it at a terminal current, V.
    pub(super) fn electrical(&self, element: ElementId, current: f64, flow: &Flow<1>) -> (f64, f64) {
        let (mut ohms, mut drop) = (0.0, 0.0);
        for ((r, &[each]), &[share]) in
            self.equations().numbers.parts.resistors.iter().zip(&flow.ohms).zip(&flow.shares)
        {
            if r.element == element.0 {
                ohms += each;
                drop += each * (current * share).abs();
            }
        }
        (ohms, drop)
    }

    /// Row that no conductance leads to a held row, if there is one.
    pub(super) fn without_way_out(&self) -> Option<usize> {
        let parts = &self.equations().numbers.parts;
        let mut near = vec![Vec::new(); self.circuit.mesh.row.len()];
        let films = parts.films.iter().map(|part| (part.ends.0, part.ends.1, part.area));
        let metallic =
            parts.resistors.iter().filter(|r| r.metallic > 0.0).map(|r| (r.heat.0, r.heat.1, [1.0]));
        let links = parts.links.iter().chain(&parts.radiations).copied();
        for (a, b, [g]) in links.chain(films).chain(metallic) {
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

impl<const N: usize> Numbers<N> {
    /// Takes those of several cases of one circuit.
    pub(super) fn fill(&mut self, cases: [&Case<'_>; N]) {
        let circuit = cases[0].circuit;
        let Self { parts, watts, constant } = self;
        circuit.mesh.fill(parts, &circuit.network, cases.map(|case| &case.free[..]));
        parts.capacity.as_flattened_mut().iter_mut().for_each(|joules| *joules = joules.max(LEAST_CAPACITY));
        *watts = each(|k| parts.watts.iter().map(|watts| watts[k]).sum());
        constant.clear();
        constant.resize(circuit.pattern.entries_end() + 2 * circuit.mesh.row.len(), [0.0; N]);
        for (&(_, _, g), slots) in parts.links.iter().zip(&circuit.slots) {
            let less = each(|k| -g[k]);
            couple(constant, slots, [g, less, less, g]);
        }
        for &row in &circuit.alone {
            constant[row] = [1.0; N];
        }
    }
}

impl<const N: usize> Equations<'_, N> {
    /// Heat capacity of each row, J/K.
    pub(super) fn capacity(&self) -> &[[f64; N]] {
        &self.numbers.parts.capacity
    }

    /// Heat flows at these temperatures, K, and these terminal currents, A (positive on discharge).
    #[inline(always)]
    pub(super) fn flow(&self, t: &[[f64; N]], current: [f64; N], flow: &mut Flow<N>) {
        let parts = &self.numbers.parts;
        flow.ohms.clear();
        for r in &parts.resistors {
            let (a, b) = (t[r.heat.0], t[r.heat.1]);
            flow.ohms.push(each(|k| {
                let mean = 0.5 * (a[k] + b[k]);
                r.ohms[k] * (1.0 + r.coefficient[k] * (mean - r.reference)).max(LEAST_RESISTANCE)
            }));
        }
        if self.circuit.branches.divides() || flow.shares.len() != parts.resistors.len() {
            self.circuit.branches.shares(&flow.ohms, &mut flow.shares);
        }
        flow.heat.clear();
        flow.heat.extend_from_slice(&parts.watts);
        flow.made = self.numbers.watts;
        let heat = &mut flow.heat[..];
        for &(a, b, g) in &parts.links {
            let (ta, tb) = (t[a], t[b]);
            pass(heat, (a, b), each(|k| g[k] * (ta[k] - tb[k])));
        }
        flow.films.clear();
        for part in &parts.films {
            let (a, b) = part.ends;
            let (ta, tb) = (t[a], t[b]);
            let [film, power] = natural(part.length, ta, tb);
            flow.films.push([film, power]);
            pass(heat, (a, b), each(|k| part.area[k] * film[k] * (ta[k] - tb[k])));
        }
        for &(a, b, s) in &parts.radiations {
            let [ta, tb]: [[f64; N]; 2] = [each(|k| t[a][k] * t[a][k]), each(|k| t[b][k] * t[b][k])];
            pass(heat, (a, b), each(|k| s[k] * (ta[k] + tb[k]) * (ta[k] - tb[k])));
        }
        for ((r, &ohms), &share) in parts.resistors.iter().zip(&flow.ohms).zip(&flow.shares) {
            let (a, b) = r.heat;
            let (ta, tb) = (t[a], t[b]);
            let q: [f64; N] = each(|k| {
                let i = current[k] * share[k];
                i * i * ohms[k] + i.abs() * r.overvoltage[k] + i * r.reversible[k] * ta[k]
            });
            add(&mut flow.made, q);
            let half = each(|k| 0.5 * q[k]);
            add(&mut heat[a], half);
            add(&mut heat[b], half);
            if r.metallic > 0.0 {
                let q = each(|k| r.metallic * LORENZ * 0.5 * (ta[k] * ta[k] - tb[k] * tb[k]) / ohms[k]);
                pass(heat, (a, b), q);
            }
        }
    }

    /// Minus the slopes of [`Equations::flow`]; behind the matrix stand those of the heat that leaves at held rows, and the
    /// slopes of the heat made ([`Equations::beyond`]).
    #[inline(always)]
    pub(super) fn slopes(
        &self,
        t: &[[f64; N]],
        current: [f64; N],
        flow: &Flow<N>,
        matrix: &mut Vec<[f64; N]>,
    ) {
        let parts = &self.numbers.parts;
        matrix.clear();
        matrix.extend_from_slice(&self.numbers.constant);
        let made = self.circuit.pattern.entries_end() + self.circuit.mesh.row.len();
        let slots = &self.circuit.slots[parts.links.len()..];
        let (films, slots) = slots.split_at(parts.films.len());
        let (radiations, resistors) = slots.split_at(parts.radiations.len());
        for ((part, [film, power]), slots) in parts.films.iter().zip(&flow.films).zip(films) {
            let g: [f64; N] = each(|k| (1.0 + power[k]) * part.area[k] * film[k]);
            let less = each(|k| -g[k]);
            couple(matrix, slots, [g, less, less, g]);
        }
        for (&(a, b, s), slots) in parts.radiations.iter().zip(radiations) {
            let cubed = |t: [f64; N]| -> [f64; N] { each(|k| 4.0 * s[k] * t[k] * t[k] * t[k]) };
            let (ga, gb) = (cubed(t[a]), cubed(t[b]));
            couple(matrix, slots, [ga, each(|k| -gb[k]), each(|k| -ga[k]), gb]);
        }
        let of_resistors = parts.resistors.iter().zip(resistors);
        for ((r, slots), (ohms, share)) in of_resistors.zip(flow.ohms.iter().zip(&flow.shares)) {
            let (a, b) = r.heat;
            let i: [f64; N] = each(|k| current[k] * share[k]);
            let grows: [f64; N] = each(|k| {
                let grows = 0.25 * i[k] * i[k] * r.ohms[k] * r.coefficient[k];
                if ohms[k] > r.ohms[k] * LEAST_RESISTANCE { grows } else { 0.0 }
            });
            let half: [f64; N] = each(|k| -grows[k] - 0.5 * i[k] * r.reversible[k]);
            let across: [f64; N] =
                each(|k| if r.metallic > 0.0 { r.metallic * LORENZ / ohms[k] } else { 0.0 });
            let [ga, gb]: [[f64; N]; 2] = [each(|k| across[k] * t[a][k]), each(|k| across[k] * t[b][k])];
            let [upper, lower] = [each(|k| -grows[k] - gb[k]), each(|k| half[k] - ga[k])];
            couple(matrix, slots, [each(|k| half[k] + ga[k]), upper, lower, each(|k| -grows[k] + gb[k])]);
            take(&mut matrix[made + a], each(|k| 2.0 * half[k]));
            add(&mut matrix[made + b], each(|k| 2.0 * grows[k]));
        }
    }
}

impl Equations<'_, 1> {
    /// What a change of the temperatures adds to the heat made and to the heat led away, after [`Equations::slopes`], W.
    pub(super) fn beyond(&self, matrix: &[[f64; 1]], change: &[[f64; 1]]) -> [f64; 2] {
        let behind = &matrix[self.circuit.pattern.entries_end()..];
        let (away, made) = behind.split_at(self.circuit.mesh.row.len());
        let along = |slopes: &[[f64; 1]]| slopes.iter().zip(change).map(|([s], [c])| s * c).sum::<f64>();
        [along(made), -along(away)]
    }
}

/// Heat that passes from one row to another.
#[inline(always)]
fn pass<const N: usize>(heat: &mut [[f64; N]], (from, to): (usize, usize), watts: [f64; N]) {
    take(&mut heat[from], watts);
    add(&mut heat[to], watts);
}

/// Adds the slopes of one part to its four entries.
#[inline(always)]
fn couple<const N: usize>(matrix: &mut [[f64; N]], slots: &[usize; 4], slopes: [[f64; N]; 4]) {
    for (&slot, slope) in slots.iter().zip(slopes) {
        add(&mut matrix[slot], slope);
    }
}

/// Film coefficient of a height, or minus the width of a level strip, and its power.
#[inline(always)]
fn natural<const N: usize>(length: f64, surface: [f64; N], air: [f64; N]) -> [[f64; N]; 2] {
    let (mut films, mut powers) = ([0.0; N], [0.0; N]);
    for k in 0..N {
        (films[k], powers[k]) = if length > 0.0 {
            film::upright(length, surface[k], air[k])
        } else {
            film::level(-length, surface[k], air[k])
        };
    }
    [films, powers]
}
