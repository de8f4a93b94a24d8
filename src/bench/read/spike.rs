//! Single samples far off both their neighbours.
//!
//! Such a sample may be a false reading (a lost decimal mark, a disturbed line) or a true pulse shorter than
//! two intervals; the log alone does not tell. So none is dropped: it is counted here, and the integral
//! that it is part of states an uncertainty as wide as the difference it makes.
//!
//! Far off means: by more than [`FAR`] of the channel's level, by more than [`TIMES`] the median change
//! between neighbours before it, and back again at once. A level that was reached before is a pattern of
//! pulses, not a spike.

/// Least part of the channel's level.
const FAR: f64 = 0.02;
/// Least multiple of the median change from sample to sample.
const TIMES: f64 = 10.0;
/// The neighbours differ by at most this part of the way to the spike.
const BACK: f64 = 0.5;
/// Samples that are looked back at.
const RECENT: usize = 64;
/// Samples without which nothing can be said.
const FEWEST: usize = 4;
/// Recent samples of the same kind that make a pattern.
const PATTERN: usize = 2;

/// Watches one channel.
#[derive(Debug, Clone)]
pub(in crate::bench) struct Spikes {
    recent: [f64; RECENT],
    seen: usize,
    /// The largest magnitude that two neighbours had, so that a spike does not count.
    level: f64,
    two_before: f64,
    before: f64,
}

impl Spikes {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self { recent: [0.0; RECENT], seen: 0, level: 0.0, two_before: f64::NAN, before: f64::NAN }
    }

    /// What comes next does not follow what was.
    pub fn interrupt(&mut self) {
        (self.two_before, self.before) = (f64::NAN, f64::NAN);
    }

    /// Takes the next sample; whether the one before it was far off both its neighbours.
    #[inline]
    pub fn push(&mut self, value: f64) -> bool {
        let there = self.before - self.two_before;
        let back = value - self.before;
        let least = FAR * self.level;
        let far =
            there.abs() > least && back.abs() > least && there.is_sign_negative() != back.is_sign_negative();
        let spike = far && self.is_spike(value);
        self.level = self.level.max(self.before.abs().min(value.abs()));
        if let Some(place) = self.recent.get_mut(self.seen % RECENT) {
            *place = value;
        }
        self.seen += 1;
        (self.two_before, self.before) = (self.before, value);
        spike
    }

    #[cold]
    fn is_spike(&self, value: f64) -> bool {
        let (before, spike) = (self.two_before, self.before);
        let way = (spike - before).abs().min((spike - value).abs());
        // The spike itself is the newest of the recent.
        let count = self.seen.min(RECENT);
        let recent: Vec<f64> = (self.seen - count..self.seen.saturating_sub(1))
            .filter_map(|n| self.recent.get(n % RECENT).copied())
            .collect();
        if recent.len() < FEWEST || (value - before).abs() > BACK * way {
            return false;
        }
        let mut changes: Vec<f64> =
            recent.windows(2).filter_map(|pair| Some((pair.get(1)? - pair.first()?).abs())).collect();
        changes.sort_by(f64::total_cmp);
        let usual = changes.get(changes.len() / 2).copied().unwrap_or_default();
        let half = f64::midpoint(before, spike);
        let alike = recent.iter().filter(|known| (**known > half) == (spike > half)).count();
        way > TIMES * usual && alike < PATTERN
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(values: impl IntoIterator<Item = f64>) -> Vec<usize> {
        let mut spikes = Spikes::new();
        values.into_iter().enumerate().filter(|(_, value)| spikes.push(*value)).map(|(n, _)| n - 1).collect()
    }

    fn noisy(n: usize) -> f64 {
        26.0 - 0.001 * n as f64 + 0.003 * (n * 7919 % 13) as f64
    }

    #[test]
    fn what_is_one_and_what_is_not() {
        let with = |at: &[usize], value: f64| {
            found((0..200).map(|n| if at.contains(&n) { value } else { noisy(n) }))
        };
        assert_eq!(with(&[], 0.0), Vec::<usize>::new());
        assert_eq!(with(&[100], 2.6), [100], "a lost decimal mark");
        assert_eq!(with(&[50, 150], 260.0), [50, 150]);
        assert_eq!(with(&[100, 101], 2.6), Vec::<usize>::new(), "two samples are no single one");
        assert_eq!(with(&[1], 2.6), Vec::<usize>::new(), "too early to tell");
        // A step that stays, and one up and down again.
        assert_eq!(found((0..100).map(|n| if n < 50 { 0.0 } else { 30.0 })), Vec::<usize>::new());
        assert_eq!(
            found((0..100).map(|n| if (40..60).contains(&n) { 30.0 } else { 0.0 })),
            Vec::<usize>::new()
        );
        // Pulses of one sample: the first ones are told, the pattern is not.
        let pulses = found((0..400).map(|n| if n % 10 == 9 { 30.0 } else { 0.5 }));
        assert!(pulses.len() <= 2, "{pulses:?}");
        // Readings of nothing jump about at the last digit.
        assert_eq!(found((0..400).map(|n| f64::from(n * 7919 % 3) * 0.001)), Vec::<usize>::new());
    }
}
