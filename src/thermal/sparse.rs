//! Linear equations of a network: elimination on a pattern that is worked out once.
//!
//! The matrices are those of heat conduction: symmetric in pattern, nearly so in value, the diagonal dominant as long
//! as the network is stable. Elimination therefore needs no pivoting; a pivot that is not positive says that heat is
//! made faster than it can leave. Points of least degree go first, so that the air, which touches everything, is last.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};

use super::lanes::{each, take};

/// Most products an elimination may take; a network of 10,000 bars needs about a million.
const MOST_PRODUCTS: usize = 5_000_000;

/// Where the entries of a matrix stand, and in which order they are eliminated.
#[derive(Debug, Clone, Default)]
pub(super) struct Pattern {
    /// The row of each point that the caller numbered: the order of elimination.
    pub(super) row: Vec<usize>,
    /// First entry of each row to the right of the diagonal.
    first: Vec<usize>,
    /// Column of each entry right of the diagonal.
    column: Vec<u32>,
    /// Places that each product of an elimination step is taken from, in the order of the steps.
    target: Vec<u32>,
}

impl Pattern {
    /// Orders and fills the pattern of `size` points with these pairs; `None` if it would fill up too far.
    pub(super) fn new(size: usize, pairs: impl Iterator<Item = (usize, usize)>) -> Option<Self> {
        let mut neighbours = vec![BTreeSet::new(); size];
        for (a, b) in pairs.filter(|(a, b)| a != b) {
            neighbours[a].insert(b);
            neighbours[b].insert(a);
        }
        let mut waiting: BinaryHeap<_> =
            neighbours.iter().enumerate().map(|(point, near)| Reverse((near.len(), point))).collect();
        let mut row = vec![usize::MAX; size];
        let mut later: Vec<Vec<usize>> = Vec::with_capacity(size);
        let mut products = 0;
        while let Some(Reverse((degree, point))) = waiting.pop() {
            if row[point] != usize::MAX || degree != neighbours[point].len() {
                continue;
            }
            row[point] = later.len();
            let near: Vec<usize> = std::mem::take(&mut neighbours[point]).into_iter().collect();
            products += near.len() * near.len();
            if products > MOST_PRODUCTS {
                return None;
            }
            for &a in &near {
                neighbours[a].remove(&point);
                neighbours[a].extend(near.iter().copied().filter(|&b| b != a));
                waiting.push(Reverse((neighbours[a].len(), a)));
            }
            later.push(near);
        }
        let mut first = vec![0];
        let mut column = Vec::new();
        for near in &later {
            let start = column.len();
            column.extend(near.iter().map(|&point| row[point] as u32));
            column[start..].sort_unstable();
            first.push(column.len());
        }
        let mut pattern = Self { row, first, column, target: Vec::with_capacity(products) };
        for pivot in 0..size {
            let entries = pattern.entries(pivot);
            for a in entries.clone() {
                for b in entries.clone() {
                    let target = pattern.slot(pattern.column[a] as usize, pattern.column[b] as usize);
                    pattern.target.push(target as u32);
                }
            }
        }
        Some(pattern)
    }

    /// Number of rows.
    pub(super) fn size(&self) -> usize {
        self.row.len()
    }

    /// Number of entries of a matrix.
    pub(super) fn entries_end(&self) -> usize {
        self.size() + 2 * self.column.len()
    }

    fn entries(&self, row: usize) -> std::ops::Range<usize> {
        self.first[row]..self.first[row + 1]
    }

    /// Where the entry of a row and a column stands; the pair must be in the pattern.
    pub(super) fn slot(&self, row: usize, column: usize) -> usize {
        if row == column {
            return row;
        }
        let (low, high) = (row.min(column), row.max(column));
        let entries = self.entries(low);
        let entry =
            entries.start + self.column[entries].binary_search(&(high as u32)).unwrap_or_else(|next| next);
        self.size() + 2 * entry + usize::from(row > column)
    }

    /// Eliminates in place; `false` for those in which a pivot is not positive. This is where the time of an answer goes.
    #[inline(always)]
    pub(super) fn eliminate<const N: usize>(&self, matrix: &mut [[f64; N]]) -> [bool; N] {
        let size = self.size();
        let mut targets = &self.target[..];
        let mut right: Vec<[f64; N]> = Vec::new();
        let mut stable = [true; N];
        for pivot in 0..size {
            let diagonal = matrix[pivot];
            for (stable, diagonal) in stable.iter_mut().zip(&diagonal) {
                *stable &= *diagonal > 0.0;
            }
            let inverse = each(|k| 1.0 / diagonal[k]);
            matrix[pivot] = inverse;
            let entries = self.entries(pivot);
            right.clear();
            right.extend(entries.clone().map(|entry| matrix[size + 2 * entry]));
            for entry in entries {
                let below = &mut matrix[size + 2 * entry + 1];
                let factor = each(|k| below[k] * inverse[k]);
                *below = factor;
                let (these, rest) = targets.split_at(right.len());
                targets = rest;
                for (&target, right) in these.iter().zip(&right) {
                    take(&mut matrix[target as usize], each(|k| factor[k] * right[k]));
                }
            }
        }
        stable
    }

    /// Solves with an eliminated matrix, in place.
    #[inline(always)]
    pub(super) fn solve<const N: usize>(&self, eliminated: &[[f64; N]], right: &mut [[f64; N]]) {
        let size = self.size();
        let (diagonal, pairs) = (&eliminated[..size], eliminated[size..].as_chunks::<2>().0);
        for row in 0..size {
            let known = right[row];
            let entries = self.entries(row);
            for (&column, [_, below]) in self.column[entries.clone()].iter().zip(&pairs[entries]) {
                take(&mut right[column as usize], each(|k| below[k] * known[k]));
            }
        }
        for row in (0..size).rev() {
            let mut sum = right[row];
            let entries = self.entries(row);
            for (&column, [beside, _]) in self.column[entries.clone()].iter().zip(&pairs[entries]) {
                let known = right[column as usize];
                take(&mut sum, each(|k| beside[k] * known[k]));
            }
            right[row] = each(|k| sum[k] * diagonal[row][k]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves_what_it_multiplied() {
        // A ring of 30 points that all touch a hub, unsymmetric in value.
        let pairs: Vec<_> = (0..30).flat_map(|i| [(i, (i + 1) % 30), (i, 30)]).collect();
        let pattern = Pattern::new(31, pairs.iter().copied()).unwrap();
        let mut matrix = vec![[0.0]; pattern.entries_end()];
        let mut dense = vec![vec![0.0; 31]; 31];
        for (k, &(a, b)) in pairs.iter().enumerate() {
            let (a, b, g) = (pattern.row[a], pattern.row[b], 1.0 + k as f64 * 0.1);
            for (i, j, value) in [(a, a, g), (b, b, g), (a, b, -0.9 * g), (b, a, -0.8 * g)] {
                matrix[pattern.slot(i, j)][0] += value;
                dense[i][j] += value;
            }
        }
        let wanted: Vec<f64> = (0..31).map(|i| f64::from(i).sin()).collect();
        let mut right: Vec<[f64; 1]> =
            dense.iter().map(|row| [row.iter().zip(&wanted).map(|(a, x)| a * x).sum()]).collect();
        assert_eq!(pattern.eliminate(&mut matrix), [true]);
        pattern.solve(&matrix, &mut right);
        for ([x], y) in right.iter().zip(&wanted) {
            assert!((x - y).abs() < 1e-11, "{x} {y}");
        }
    }
}
