//! Single samples, and up to [`RUN`] in a row, far off what lies before and after them.
//!
//! Such a sample may be a false reading (a lost decimal mark, a disturbed line) or a true pulse; the log alone does
//! not tell. So none is dropped: it is counted here, and the integral that it is part of states an uncertainty as
//! wide as the difference it makes. What stays away for longer is a course of its own, and is not judged.
//!
//! Far off means: by more than [`FAR`] of the channel's level, by more than [`TIMES`] the median change
//! between neighbours before it, there at once and back again at once. A level that was reached before is a pattern
//! of pulses, not a spike.

/// Least part of the channel's level.
const FAR: f64 = 0.02;
/// Least multiple of the median change from sample to sample.
const TIMES: f64 = 10.0;
/// What lies before and after differs by at most this part of the way to the spike.
const BACK: f64 = 0.5;
/// Samples that are looked back at.
const RECENT: usize = 64;
/// Samples without which nothing can be said.
const FEWEST: usize = 4;
/// Recent samples of the same kind that make a pattern.
const PATTERN: usize = 2;
/// Samples in a row at most.
pub(in crate::logs) const RUN: usize = 8;

/// Watches one channel.
#[derive(Debug, Clone)]
pub(in crate::logs) struct Spikes {
    recent: [f64; RECENT],
    /// Samples among the recent since the last interruption, at most.
    together: usize,
    seen: usize,
    /// Samples up to the last one that was told: none is told twice.
    told: usize,
    /// The largest magnitude that two neighbours had, so that a spike does not count.
    level: f64,
    before: f64,
}

impl Default for Spikes {
    fn default() -> Self {
        Self { recent: [0.0; RECENT], together: 0, seen: 0, told: 0, level: 0.0, before: f64::NAN }
    }
}

impl Spikes {
    /// What comes next does not follow what was.
    pub fn interrupt(&mut self) {
        self.before = f64::NAN;
        self.together = 0;
    }

    /// Takes the next sample; how many right before it were far off what lies before and after them.
    #[inline]
    pub fn push(&mut self, value: f64) -> usize {
        // Nothing is a jump away from nothing.
        let spikes = if (value - self.before).abs() > FAR * self.level { self.back_from(value) } else { 0 };
        if spikes < 2 {
            // Two false readings in a row are no level either.
            self.level = self.level.max(self.before.abs().min(value.abs()));
        }
        if let Some(place) = self.recent.get_mut(self.seen % RECENT) {
            *place = value;
        }
        self.seen += 1;
        self.together += 1;
        self.before = value;
        spikes
    }

    /// Takes many samples at once where each is near the one before it, which is quicker; takes none where one is not.
    pub fn take_quiet(&mut self, values: impl Iterator<Item = f64> + Clone) -> bool {
        let (mut level, mut before, mut count) = (self.level, self.before, 0);
        for value in values.clone() {
            let near = (value - before).abs() <= FAR * level;
            if !near {
                return false;
            }
            level = level.max(before.abs().min(value.abs()));
            before = value;
            count += 1;
        }
        let seen = self.seen + count;
        for (n, value) in values.enumerate().skip(count.saturating_sub(RECENT)) {
            if let Some(place) = self.recent.get_mut((self.seen + n) % RECENT) {
                *place = value;
            }
        }
        (self.seen, self.together) = (seen, self.together + count);
        (self.level, self.before) = (level, before);
        true
    }

    /// The `n`th sample before the one that is taken, from one.
    fn back(&self, n: usize) -> Option<f64> {
        let place = self.seen.checked_sub(n).filter(|_| n <= self.together.min(RECENT))?;
        self.recent.get(place % RECENT).copied()
    }

    /// How many samples lie far off, where `value` is back from them.
    #[cold]
    fn back_from(&mut self, value: f64) -> usize {
        let least = FAR * self.level;
        let mut way = f64::INFINITY;
        let mut longest = 0;
        for count in 1..=RUN.min(self.seen - self.told) {
            let (Some(spike), Some(before)) = (self.back(count), self.back(count + 1)) else { break };
            way = way.min((spike - value).abs());
            if way <= least {
                break;
            }
            let there = (1..=count).filter_map(|n| self.back(n)).map(|spike| (spike - before).abs());
            let way = there.fold(way, f64::min);
            if way > least && (value - before).abs() <= BACK * way && self.is_spike(count, before, way) {
                longest = count;
            }
        }
        if longest > 0 {
            self.told = self.seen;
        }
        longest
    }

    /// Whether the last `count` samples, `way` off, stand out from those before them.
    fn is_spike(&self, count: usize, before: f64, way: f64) -> bool {
        let first = self.seen.min(RECENT);
        let recent: Vec<f64> = (count + 1..=first)
            .rev()
            .filter_map(|n| self.recent.get(self.seen.checked_sub(n)? % RECENT).copied())
            .collect();
        if recent.len() < FEWEST {
            return false;
        }
        let Some(spike) = self.back(1) else { return false };
        let half = f64::midpoint(before, spike);
        if recent.iter().filter(|known| (**known > half) == (spike > half)).count() >= PATTERN {
            return false;
        }
        let changes = recent.windows(2).filter_map(|pair| Some((pair.get(1)? - pair.first()?).abs()));
        way > TIMES * crate::logs::median(changes).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(values: impl IntoIterator<Item = f64>) -> Vec<usize> {
        let mut spikes = Spikes::default();
        let counts = values.into_iter().enumerate().map(|(n, value)| (n, spikes.push(value)));
        counts.flat_map(|(n, count)| n - count..n).collect()
    }

    fn noisy(n: usize) -> f64 {
        26.0 - 0.001 * n as f64 + 0.003 * (n * 7919 % 13) as f64
    }

    #[test]
    fn many_at_once_are_the_same() {
        let values: Vec<f64> = (0..3000)
            .map(|n| if n % 700 == 650 { 2.6 } else { noisy(n % 900) - if n > 2000 { 9.0 } else { 0.0 } })
            .collect();
        let (mut single, mut quick, mut quiet) = (Spikes::default(), Spikes::default(), 0);
        for chunk in values.chunks(37) {
            let one: Vec<usize> = chunk.iter().map(|value| single.push(*value)).collect();
            let taken = quick.take_quiet(chunk.iter().copied());
            quiet += usize::from(taken);
            let other = chunk.iter().map(|value| if taken { 0 } else { quick.push(*value) });
            assert_eq!(one, other.collect::<Vec<_>>());
        }
        assert!(quiet > 60, "{quiet}");
    }

    #[test]
    fn what_is_one_and_what_is_not() {
        let with = |at: &[usize], value: f64| {
            found((0..200).map(|n| if at.contains(&n) { value } else { noisy(n) }))
        };
        assert_eq!(with(&[], 0.0), Vec::<usize>::new());
        assert_eq!(with(&[100], 2.6), [100], "a lost decimal mark");
        assert_eq!(with(&[50, 150], 260.0), [50, 150]);
        assert_eq!(with(&[100, 101], 2.6), [100, 101], "two in a row");
        assert_eq!(with(&[60, 61, 62, 150], 2600.0), [60, 61, 62, 150]);
        let run: Vec<usize> = (100..108).collect();
        assert_eq!(with(&run, 0.0), run);
        let longer: Vec<usize> = (100..109).collect();
        assert_eq!(with(&longer, 0.0), Vec::<usize>::new(), "a course of its own");
        let absurd = [3000.0, 2500.0, 9999.0];
        let three = (0..200).map(|n| if (90..93).contains(&n) { absurd[n - 90] } else { noisy(n) });
        assert_eq!(found(three), [90, 91, 92], "each off in its own way");
        assert_eq!(with(&[1], 2.6), Vec::<usize>::new(), "too early to tell");
        // A step that stays, and one up and down again.
        assert_eq!(found((0..100).map(|n| if n < 50 { 0.0 } else { 30.0 })), Vec::<usize>::new());
        assert_eq!(
            found((0..100).map(|n| if (40..60).contains(&n) { 30.0 } else { 0.0 })),
            Vec::<usize>::new()
        );
        // A step up, and one on the level that it came to.
        assert_eq!(
            found((0..100).map(|n| if n == 53 {
                300.0
            } else if n < 50 {
                0.0
            } else {
                30.0
            })),
            [53],
            "a step is none, what follows on it is"
        );
        // Pulses of one sample: the first ones are told, the pattern is not.
        let pulses = found((0..400).map(|n| if n % 10 == 9 { 30.0 } else { 0.5 }));
        assert!(pulses.len() <= 2, "{pulses:?}");
        // Readings of nothing jump about at the last digit.
        assert_eq!(found((0..400).map(|n| f64::from(n * 7919 % 3) * 0.001)), Vec::<usize>::new());
    }
}
