//! How the current divides: parallel bars, cells and strings share it by their resistance at temperature.
//!
//! Elements in series are gathered into branches once; only the few potentials at which branches meet are solved for.

use std::collections::{BTreeMap, VecDeque};

use super::mesh::Resistor;
use super::network::{Network, Refusal};

/// Most points at which branches may meet.
const MOST_MEETINGS: usize = 250;

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
    /// Points where branches meet; the negative terminal is the first, the positive the second.
    meetings: usize,
    resistors: usize,
}

impl Branches {
    /// Gathers the branches.
    pub(super) fn new(network: &Network, resistors: &[Resistor]) -> Result<Self, Refusal> {
        let Some((minus, plus)) = network.terminals else {
            return Ok(Self { branches: Vec::new(), meetings: 0, resistors: resistors.len() });
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
        if number.len() > MOST_MEETINGS {
            return Err(Refusal::TooLarge(MOST_MEETINGS));
        }
        let mut used = vec![false; resistors.len()];
        let mut branches = Vec::new();
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
        Ok(Self { branches, meetings: number.len(), resistors: resistors.len() })
    }

    /// Whether the shares change with the resistances.
    pub(super) fn divides(&self) -> bool {
        self.branches.len() > 1
    }

    /// Share of the terminal current in each resistor, positive from its first end to its second.
    pub(super) fn shares(&self, ohms: &[f64], shares: &mut Vec<f64>) {
        shares.clear();
        shares.resize(self.resistors, 0.0);
        // Potentials against the negative terminal for one ampere that enters the network there.
        let size = self.meetings.saturating_sub(1);
        let mut matrix = vec![0.0; size * size];
        let mut potential = vec![0.0; size];
        let conductance =
            |branch: &Branch| 1.0 / branch.chain.iter().map(|&(index, _)| ohms[index]).sum::<f64>();
        if self.divides() {
            for branch in &self.branches {
                let g = conductance(branch);
                for (a, b) in [(branch.from, branch.to), (branch.to, branch.from)] {
                    if a > 0 {
                        matrix[(a - 1) * size + a - 1] += g;
                        if b > 0 {
                            matrix[(a - 1) * size + b - 1] -= g;
                        }
                    }
                }
            }
            potential[0] = -1.0;
            solve_dense(&mut matrix, &mut potential);
        } else if let Some(branch) = self.branches.first() {
            potential[0] = -1.0 / conductance(branch);
        }
        let level = |meeting: usize| if meeting == 0 { 0.0 } else { potential[meeting - 1] };
        for branch in &self.branches {
            let current = (level(branch.from) - level(branch.to)) * conductance(branch);
            for &(index, sense) in &branch.chain {
                shares[index] = sense * current;
            }
        }
    }
}

/// Counts cells round every loop, and looks whether the terminals are joined.
fn check_loops(
    network: &Network,
    resistors: &[Resistor],
    at: &BTreeMap<usize, Vec<usize>>,
    (minus, plus): (usize, usize),
) -> Result<(), Refusal> {
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
                        return Err(Refusal::Shorted(network.places[resistor.element].name.clone()));
                    }
                    Some(_) => {}
                }
            }
        }
        if start == minus && !cells.contains_key(&plus) {
            return Err(Refusal::Open);
        }
    }
    Ok(())
}

/// Solves a small symmetric positive system in place; what hangs on nothing stays at nought.
fn solve_dense(matrix: &mut [f64], right: &mut [f64]) {
    let size = right.len();
    for pivot in 0..size {
        let diagonal = matrix[pivot * size + pivot];
        if diagonal <= 0.0 {
            continue;
        }
        for row in pivot + 1..size {
            let factor = matrix[row * size + pivot] / diagonal;
            if factor != 0.0 {
                for column in pivot..size {
                    matrix[row * size + column] -= factor * matrix[pivot * size + column];
                }
                right[row] -= factor * right[pivot];
            }
        }
    }
    for row in (0..size).rev() {
        let known: f64 = (row + 1..size).map(|column| matrix[row * size + column] * right[column]).sum();
        let diagonal = matrix[row * size + row];
        right[row] = if diagonal > 0.0 { (right[row] - known) / diagonal } else { 0.0 };
    }
}
