//! What is believed of the free quantities: rectangular ranges, narrowed by measurements; and draws from that.
//!
//! Draws are stratified in every quantity (Latin hypercube; McKay, Beckman and Conover, Technometrics 21 (1979) 239)
//! from a fixed seed, so that the same record gives the same answer in every run.

use std::sync::{Arc, Mutex, PoisonError};

use super::network::{Free, FreeId, FreeScope, Network};

/// Number of draws.
pub(super) const DRAWS: usize = 600;
/// Error of the equations themselves, as a part of a rise: what lumped air, posts with one temperature and bars without
/// breadth leave out.
///
/// Basis: of 100 simulated packs in two dimensions, with layered air and cells apart from their cans, the interval without
/// a sensor then holds 94 % (91 % with 6 %), and those of published measurements of a board, a cell, modules and bars
/// hold; tests `long_intervals_of_simulated_packs` and `published_thermal`.
pub(super) const MODEL: f64 = 0.08;
/// The same about what was fitted: half of it has been seen in the readings already.
pub(super) const MODEL_FITTED: f64 = 0.04;
/// Columns of draws that are kept for the next network: 1 MB.
const KEPT: usize = 200;
/// Where the stream of numbers starts.
const SEED: u64 = 0x5eed_1ab5;

/// What is believed of the free quantities of a network.
#[derive(Debug, Clone, PartialEq)]
pub struct Belief {
    /// The quantities, with the ends of their ranges.
    pub frees: Vec<Free>,
    /// Most likely values.
    pub centre: Vec<f64>,
    /// Covariance in units of half ranges, row by row, if measurements narrowed the ranges.
    pub(super) covariance: Option<Vec<f64>>,
    /// Error of the equations themselves, as a part of a rise, even on both sides.
    pub(super) allowance: f64,
}

impl Belief {
    /// The ranges alone.
    pub fn ranges(network: &Network) -> Self {
        Self { frees: network.frees.clone(), centre: network.middle(), covariance: None, allowance: MODEL }
    }

    /// What of this belief holds for another network (the lid put on): quantities of the same name whose scope is
    /// [`FreeScope::Inside`]; all others have the other network's ranges.
    pub fn carried_to(&self, other: &Network) -> Self {
        let mut carried = Self::ranges(other);
        let size = carried.frees.len();
        let from: Vec<Option<usize>> = carried
            .frees
            .iter()
            .map(|free| {
                self.frees.iter().position(|f| {
                    f.name == free.name && f.scope == FreeScope::Inside && f.scope == free.scope
                })
            })
            .collect();
        let mut covariance = vec![0.0; size * size];
        for (i, source) in from.iter().enumerate() {
            covariance[i * size + i] = RECTANGULAR;
            let Some(a) = *source else { continue };
            carried.frees[i] = self.frees[a].clone();
            carried.centre[i] = self.centre[a];
            for (j, other) in from.iter().enumerate() {
                if let (Some(b), Some(known)) = (*other, &self.covariance) {
                    covariance[i * size + j] = known[a * self.frees.len() + b];
                }
            }
        }
        if self.covariance.is_some() && from.iter().any(Option::is_some) {
            carried.covariance = Some(covariance);
        }
        carried
    }

    /// Sets quantities that are known where this belief is to be used, such as the room.
    pub fn reset(&mut self, known: &[(FreeId, f64)]) {
        let size = self.frees.len();
        for &(FreeId(index), value) in known {
            (self.frees[index].low, self.frees[index].high, self.centre[index]) = (value, value, value);
            if let Some(covariance) = &mut self.covariance {
                for other in 0..size {
                    covariance[index * size + other] = 0.0;
                    covariance[other * size + index] = 0.0;
                }
            }
        }
    }

    /// Half the range of a quantity; the unit of its draws.
    pub(super) fn half(&self, index: usize) -> f64 {
        (0.5 * (self.frees[index].high - self.frees[index].low)).max(f64::MIN_POSITIVE)
    }

    /// Ends of a quantity's range as seen from its centre, in half ranges.
    pub(super) fn ends(&self, index: usize) -> (f64, f64) {
        let (free, half) = (&self.frees[index], self.half(index));
        ((free.low - self.centre[index]) / half, (free.high - self.centre[index]) / half)
    }

    /// Standard deviation of a quantity in half ranges.
    pub(super) fn deviation(&self, index: usize) -> f64 {
        let size = self.frees.len();
        self.covariance.as_ref().map_or(RECTANGULAR, |c| c[index * size + index]).max(0.0).sqrt()
    }

    /// Draws of every quantity, from its centre in half ranges, and of one more that is even from −1 to 1.
    pub(super) fn draws(&self) -> Vec<Vec<f64>> {
        let size = self.frees.len();
        let columns = columns(size + 1);
        let factor = self.covariance.as_ref().map(|covariance| cholesky(covariance, size));
        let of = |i: usize| -> Vec<f64> {
            let (low, high) = self.ends(i);
            let Some(factor) = &factor else {
                return columns[i].even.iter().map(|u| low + u * (high - low)).collect();
            };
            let mut drawn = vec![0.0; DRAWS];
            for (column, &f) in
                columns.iter().zip(&factor[i * size..=i * size + i]).filter(|(_, f)| **f != 0.0)
            {
                drawn.iter_mut().zip(&column.normal).for_each(|(sum, z)| *sum += f * z);
            }
            // Nothing is drawn beyond an end: what would be comes back inside.
            for sum in &mut drawn {
                let folded = if *sum < low {
                    2.0 * low - *sum
                } else if *sum > high {
                    2.0 * high - *sum
                } else {
                    *sum
                };
                *sum = folded.clamp(low, high);
            }
            drawn
        };
        let even = columns[size].even.iter().map(|u| 2.0 * u - 1.0).collect();
        (0..size).map(of).chain([even]).collect()
    }

    /// The quantities at some distances from their centres in half ranges.
    pub(super) fn quantities(&self, distances: &[f64]) -> Vec<f64> {
        (0..self.frees.len()).map(|i| self.centre[i] + distances[i] * self.half(i)).collect()
    }
}

/// Variance of a rectangular distribution in half ranges.
pub(super) const RECTANGULAR: f64 = 1.0 / 3.0;

/// The next number of a stream (SplitMix64; Steele, Lea and Flood 2014).
fn next(stream: &mut u64) -> u64 {
    *stream = stream.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *stream;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// One number from each of as many equal slices of 0 to 1 as there are draws, shuffled; and the quantiles of the standard
/// normal distribution there.
#[derive(Debug)]
struct Stratified {
    even: Vec<f64>,
    normal: Vec<f64>,
}

impl Stratified {
    fn shuffled(stream: &mut u64) -> Arc<Self> {
        let mut even: Vec<f64> = (0..DRAWS).map(|k| (k as f64 + 0.5) / DRAWS as f64).collect();
        for k in (1..DRAWS).rev() {
            even.swap(k, (next(stream) % (k as u64 + 1)) as usize);
        }
        let normal = even.iter().map(|u| normal(*u)).collect();
        Arc::new(Self { even, normal })
    }
}

/// The first columns of draws, which are the same for every network.
fn columns(count: usize) -> Vec<Arc<Stratified>> {
    static DRAWN: Mutex<(u64, Vec<Arc<Stratified>>)> = Mutex::new((SEED, Vec::new()));
    let mut drawn = DRAWN.lock().unwrap_or_else(PoisonError::into_inner);
    let (stream, known) = &mut *drawn;
    while known.len() < count.min(KEPT) {
        known.push(Stratified::shuffled(stream));
    }
    let mut columns = known[..count.min(KEPT)].to_vec();
    let mut stream = *stream;
    drop(drawn);
    columns.extend((KEPT..count).map(|_| Stratified::shuffled(&mut stream)));
    columns
}

/// Quantile of the standard normal distribution, good to 5e-4 (Abramowitz and Stegun 26.2.23; from memory).
fn normal(u: f64) -> f64 {
    let tail = u.min(1.0 - u);
    let t = (-2.0 * tail.ln()).sqrt();
    let z = t
        - (2.515_517 + t * (0.802_853 + t * 0.010_328))
            / (1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308)));
    if u < 0.5 { -z } else { z }
}

/// Lower triangle whose product with itself is a covariance; what is not positive counts as nought.
pub(super) fn cholesky(covariance: &[f64], size: usize) -> Vec<f64> {
    let mut factor = vec![0.0; size * size];
    for i in 0..size {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| factor[i * size + k] * factor[j * size + k]).sum();
            let rest = covariance[i * size + j] - sum;
            factor[i * size + j] = if i == j {
                rest.max(0.0).sqrt()
            } else if factor[j * size + j] > 0.0 {
                rest / factor[j * size + j]
            } else {
                0.0
            };
        }
    }
    factor
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_keep_to_their_ranges() {
        let mut network = Network::new();
        network.free("film", 2.0, 8.0, FreeScope::Surroundings);
        network.free("contact", 1e-6, 9e-6, FreeScope::Inside);
        let even = Belief::ranges(&network);
        let narrowed =
            Belief { centre: vec![7.5, 3e-6], covariance: Some(vec![0.3, 0.1, 0.1, 0.05]), ..even.clone() };
        for belief in [even, narrowed] {
            let draws = belief.draws();
            for (a, b) in draws[0].iter().zip(&draws[1]) {
                let q = belief.quantities(&[*a, *b]);
                assert!((2.0..=8.0).contains(&q[0]) && (1e-6..=9e-6).contains(&q[1]), "{q:?}");
            }
            assert_eq!(draws, belief.draws());
        }
    }

    #[test]
    fn normal_quantiles() {
        for (u, z) in [(0.025, -1.959_964), (0.5, 0.0), (0.841_345, 1.0), (0.999, 3.090_232)] {
            assert!((normal(u) - z).abs() < 5e-4, "{u}");
        }
    }
}
