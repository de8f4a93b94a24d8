//! Bench-test logs: reading, integrating, and the figures that a test verdict rests on.
//!
//! [`read`] turns what an instrument wrote into samples and an account of everything it skipped or
//! repaired; the other modules turn samples into figures with their uncertainty. All of them run in
//! constant memory over logs of any length, and none knows of the record or of rules: limits and claims
//! come in as arguments.
//!
//! Three outcomes everywhere. A test that was still running when the log ended has no capacity, a log
//! without temperatures proves no blocked charge, and both are said with what is missing.
//!
//! Current is positive out of the pack (discharge) once it has been read, whatever the log's own
//! convention. Everything is plain `f64` in SI units.

pub mod account;
pub mod approach;
pub mod capacity;
pub(crate) mod cold_charge;
pub(crate) mod curve;
pub(crate) mod downsample;
pub(crate) mod full_load;
pub mod instrument;
pub mod integrate;
mod intervals;
pub(crate) mod joined;
pub mod load_step;
pub mod read;
pub(crate) mod round_trip;
pub(crate) mod series;
pub mod slope;

/// What is lacking, of pairs that say whether it is.
pub(crate) fn lacking<T>(list: impl IntoIterator<Item = (bool, T)>) -> Vec<T> {
    list.into_iter().filter(|(lacks, _)| *lacks).map(|(_, what)| what).collect()
}

/// The middle one of some values, of two the larger; nothing of none.
fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Takes a value into a range from the lowest to the highest; one that is missing leaves it as it is.
fn widen(range: &mut Option<(f64, f64)>, value: f64) {
    if value.is_finite() {
        let (low, high) = range.unwrap_or((value, value));
        *range = Some((low.min(value), high.max(value)));
    }
}

/// Terminals are dead when their voltage falls below this part of that before (common practice, no source).
const DEAD: f64 = 0.5;
