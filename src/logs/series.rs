//! A channel in memory: a bounded number of points, interpolated at common times.

use super::median;

/// Points that are kept at most.
pub const POINTS: usize = 8192;

/// What comes in an order, thinned evenly by halves when it grows too long; the last is kept.
#[derive(Debug, Clone)]
pub(super) struct Thinned<T> {
    most: usize,
    kept: Vec<T>,
    stride: u64,
    seen: u64,
    last: Option<T>,
}

impl<T: Copy + PartialEq> Thinned<T> {
    pub fn new(most: usize) -> Self {
        Self { most, kept: Vec::new(), stride: 1, seen: 0, last: None }
    }

    pub fn push(&mut self, one: T) {
        self.last = Some(one);
        if self.seen.is_multiple_of(self.stride) {
            self.kept.push(one);
            if self.kept.len() >= self.most {
                let mut keep = false;
                self.kept.retain(|_| {
                    keep = !keep;
                    keep
                });
                self.stride *= 2;
            }
        }
        self.seen += 1;
    }

    /// What is kept, and the last one.
    pub fn all(&self) -> Vec<T> {
        let mut all = self.kept.clone();
        if all.last() != self.last.as_ref() {
            all.extend(self.last);
        }
        all
    }
}

/// A channel over time.
#[derive(Debug, Clone)]
pub struct Series {
    points: Thinned<(f64, f64)>,
}

impl Default for Series {
    fn default() -> Self {
        Self { points: Thinned::new(POINTS) }
    }
}

impl Series {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// From points; those without a value are left out.
    pub fn of(points: impl IntoIterator<Item = (f64, f64)>) -> Self {
        let mut series = Self::new();
        for (time, value) in points {
            series.push(time, value);
        }
        series
    }

    /// Takes a point: time in s, value in SI units. Times must not fall; a point before the last is left out.
    pub fn push(&mut self, time: f64, value: f64) {
        let falls = self.points.last.is_some_and(|(last, _)| time < last);
        if !falls && time.is_finite() && value.is_finite() {
            self.points.push((time, value));
        }
    }

    /// The points kept, and the last one.
    pub fn points(&self) -> Vec<(f64, f64)> {
        self.points.all()
    }

    /// The mean of the points kept from one time to another, each counting once; nothing where there is none.
    pub fn mean_of_points(&self, from: f64, to: f64) -> Option<f64> {
        let points = self.points();
        let values: Vec<f64> =
            points.iter().filter(|(time, _)| (from..=to).contains(time)).map(|(_, value)| *value).collect();
        #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    }

    /// The value at a time between the first and the last point, by linear interpolation.
    pub fn at(&self, time: f64) -> Option<f64> {
        let (last_time, last_value) = self.points.last?;
        let after = self.points.kept.partition_point(|(t, _)| *t < time);
        let (t1, v1) = match self.points.kept.get(after) {
            Some(point) => *point,
            None if time <= last_time => (last_time, last_value),
            None => return None,
        };
        if t1 == time {
            return Some(v1);
        }
        let (t0, v0) = *self.points.kept.get(after.checked_sub(1)?)?;
        Some(v0 + (v1 - v0) * (time - t0) / (t1 - t0))
    }

    /// The points kept at or before a time and after it; twice the same where one is at that time or the last.
    pub fn around(&self, time: f64) -> Option<((f64, f64), (f64, f64))> {
        let after = self.points.kept.partition_point(|(t, _)| *t <= time);
        let before = *self.points.kept.get(after.checked_sub(1)?)?;
        let last = self.points.last.filter(|(t, _)| *t >= time)?;
        let after = self.points.kept.get(after).copied().unwrap_or(last);
        Some((before, if before.0 == time { before } else { after }))
    }

    /// The usual time between points kept, s.
    pub fn usual_step(&self) -> f64 {
        let points = &self.points.kept;
        median(points.iter().zip(points.iter().skip(1)).map(|(a, b)| b.0 - a.0)).unwrap_or(0.0)
    }

    /// First and last time.
    pub fn span(&self) -> Option<(f64, f64)> {
        Some((self.points.kept.first()?.0, self.points.last?.0))
    }

    /// Times of the points kept.
    pub fn times(&self) -> impl Iterator<Item = f64> + '_ {
        self.points.kept.iter().map(|(time, _)| *time)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn interpolation_and_bounds() {
        let mut series = Series::new();
        for t in 0..1_000_000 {
            series.push(f64::from(t), 2.0 * f64::from(t));
        }
        assert!(series.points().len() <= POINTS + 1);
        for t in [0.0, 0.5, 777_777.25, 999_999.0] {
            assert!((series.at(t).unwrap() - 2.0 * t).abs() < 1e-6, "{t}");
        }
        assert_eq!(series.at(-1.0), None);
        assert_eq!(series.at(1e7), None);
        assert_eq!(Series::new().at(0.0), None);
    }
}
