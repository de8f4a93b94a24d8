//! How the current divides: parallel bars, cells and strings share it by their resistance at temperature.
//!
//! Elements in series are gathered into branches once; only the few potentials at which branches meet are solved for.

use std::collections::{BTreeMap, VecDeque};

use super::lanes::{add, each, take};
use super::mesh::Resistor;
use super::network::{Network, NetworkRefusal};
use super::sparse::Pattern;

/// Conductance from every meeting point to the negative terminal, as a part of that of its branches: what hangs on nothing
/// else thus has a potential.
const LEAKAGE: f64 = 1e-12;

/// Resistors in series, each with the sense in which the branch passes it.
#[derive(Debug, Clone)]
struct Branch {
    from: usize,
    to: usize,
    chain: Vec<(usize, f64)>,
}

/// The branches between the terminals.
#[derive(Debug, Clone)]
pub(super) struct Branches {
    branches: Vec<Branch>,
    /// Equations of the points where branches meet; the negative terminal, the first of them, has none.
    pattern: Pattern,
    resistors: usize,
}

impl Branches {
    /// Gathers the branches.
    pub(super) fn new(network: &Network, resistors: &[Resistor<1>]) -> Result<Self, NetworkRefusal> {
        let Some((minus, plus)) = network.terminals else {
            return Ok(Self {
                branches: Vec::new(),
                pattern: Pattern::default(),
                resistors: resistors.len(),
            });
        };
        let (minus, plus) = (minus.0, plus.0);
        let mut at: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (index, resistor) in resistors.iter().enumerate() {
            at.entry(resistor.ends.0).or_default().push(index);
            at.entry(resistor.ends.1).or_default().push(index);
        }
        let other = |index: usize, point: usize| {
            let (a, b) = resistors[index].ends;
            if point == a { b } else { a }
        };
        check_loops(network, resistors, &at, (minus, plus))?;
        // Dead ends carry nothing.
        let mut dead: VecDeque<usize> = at.keys().copied().collect();
        while let Some(point) = dead.pop_front() {
            if point != minus && point != plus && at.get(&point).is_some_and(|near| near.len() == 1) {
                let index = at.remove(&point).unwrap_or_default()[0];
                let end = other(index, point);
                if let Some(near) = at.get_mut(&end) {
                    near.retain(|&kept| kept != index);
                }
                dead.push_back(end);
            }
        }
        let meets = |point: usize, near: &[usize]| point == minus || point == plus || near.len() > 2;
        let mut number = BTreeMap::from([(minus, 0), (plus, 1)]);
        for (&point, near) in &at {
            if meets(point, near) {
                let next = number.len();
                number.entry(point).or_insert(next);
            }
        }
        let mut used = vec![false; resistors.len()];
        let mut branches: Vec<Branch> = Vec::new();
        for (&start, &from) in &number {
            for &first in at.get(&start).map_or(&[][..], Vec::as_slice) {
                let (mut point, mut index) = (start, first);
                let mut chain = Vec::new();
                while !used[index] {
                    used[index] = true;
                    chain.push((index, if resistors[index].ends.0 == point { 1.0 } else { -1.0 }));
                    point = other(index, point);
                    if number.contains_key(&point) {
                        break;
                    }
                    index = at[&point].iter().copied().find(|&next| next != index).unwrap_or(index);
                }
                if let Some(&to) = number.get(&point)
                    && !chain.is_empty()
                    && from != to
                {
                    branches.push(Branch { from, to, chain });
                }
            }
        }
        let pairs = branches.iter().map(|branch| (branch.from, branch.to));
        let pairs = pairs.filter(|&(a, b)| a.min(b) > 0).map(|(a, b)| (a - 1, b - 1));
        let pattern =
            Pattern::new(number.len() - 1, pairs).ok_or(NetworkRefusal::TooLarge(network.places.len()))?;
        Ok(Self { branches, pattern, resistors: resistors.len() })
    }

    /// Whether the shares change with the resistances.
    pub(super) fn divides(&self) -> bool {
        self.branches.len() > 1
    }

    /// Share of the terminal current in each resistor, positive from its first end to its second.
    pub(super) fn shares<const N: usize>(&self, ohms: &[[f64; N]], shares: &mut Vec<[f64; N]>) {
        shares.clear();
        shares.resize(self.resistors, [0.0; N]);
        if self.branches.is_empty() {
            return;
        }
        // Potentials against the negative terminal for one ampere that enters the network there.
        let mut matrix = vec![[0.0; N]; self.pattern.entries_end()];
        let mut potential = vec![[0.0; N]; self.pattern.size()];
        let row = |meeting: usize| meeting.checked_sub(1).map(|index| self.pattern.row[index]);
        let conductance = |branch: &Branch| -> [f64; N] {
            let mut sum = [0.0; N];
            branch.chain.iter().for_each(|&(index, _)| add(&mut sum, ohms[index]));
            each(|k| 1.0 / sum[k])
        };
        for branch in &self.branches {
            let g = conductance(branch);
            let ends = [row(branch.from), row(branch.to)];
            let grown = each(|k| g[k] * (1.0 + LEAKAGE));
            ends.iter().flatten().for_each(|&end| add(&mut matrix[end], grown));
            if let [Some(a), Some(b)] = ends {
                take(&mut matrix[self.pattern.slot(a, b)], g);
                take(&mut matrix[self.pattern.slot(b, a)], g);
            }
        }
        if let Some(plus) = row(1) {
            potential[plus] = [-1.0; N];
        }
        self.pattern.eliminate(&mut matrix);
        self.pattern.solve(&matrix, &mut potential);
        let level = |meeting: usize| row(meeting).map_or([0.0; N], |row| potential[row]);
        for branch in &self.branches {
            let (from, to, g) = (level(branch.from), level(branch.to), conductance(branch));
            for &(index, sense) in &branch.chain {
                shares[index] = each(|k| sense * ((from[k] - to[k]) * g[k]));
            }
        }
    }
}

/// Counts cells round every loop, and looks whether the terminals are joined.
fn check_loops(
    network: &Network,
    resistors: &[Resistor<1>],
    at: &BTreeMap<usize, Vec<usize>>,
    (minus, plus): (usize, usize),
) -> Result<(), NetworkRefusal> {
    let mut cells: BTreeMap<usize, i32> = BTreeMap::new();
    for &start in std::iter::once(&minus).chain(at.keys()) {
        if cells.contains_key(&start) {
            continue;
        }
        cells.insert(start, 0);
        let mut waiting = VecDeque::from([start]);
        while let Some(point) = waiting.pop_front() {
            let here = cells[&point];
            for &index in at.get(&point).map_or(&[][..], Vec::as_slice) {
                let resistor = &resistors[index];
                let (end, there) = if resistor.ends.0 == point {
                    (resistor.ends.1, here + resistor.cells)
                } else {
                    (resistor.ends.0, here - resistor.cells)
                };
                match cells.get(&end) {
                    None => {
                        cells.insert(end, there);
                        waiting.push_back(end);
                    }
                    Some(&known) if known != there => {
                        return Err(NetworkRefusal::Shorted(network.places[resistor.element].name.clone()));
                    }
                    Some(_) => {}
                }
            }
        }
        if start == minus && !cells.contains_key(&plus) {
            return Err(NetworkRefusal::Open);
        }
    }
    Ok(())
}
