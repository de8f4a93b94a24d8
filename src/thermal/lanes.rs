//! Numbers of several cases of one circuit side by side: whatever is looked up once serves them all, and the processor takes
//! two and more of them at a time. Each case has the numbers, to the last digit, that it has alone.
//!
//! All that steps them in time is `inline(always)`: only what stands in the body of a `dispatch!` takes the registers it gives.

/// A number for each value of an index.
#[inline(always)]
pub(super) fn each<const N: usize>(of: impl Fn(usize) -> f64) -> [f64; N] {
    let mut numbers = [0.0; N];
    for (index, number) in numbers.iter_mut().enumerate() {
        *number = of(index);
    }
    numbers
}

/// Adds to all.
#[inline(always)]
pub(super) fn add<const N: usize>(to: &mut [f64; N], numbers: [f64; N]) {
    *to = each(|k| to[k] + numbers[k]);
}

/// Takes from all.
#[inline(always)]
pub(super) fn take<const N: usize>(from: &mut [f64; N], numbers: [f64; N]) {
    *from = each(|k| from[k] - numbers[k]);
}
