//! Fewer points for a chart, chosen so that no extreme is lost.
//!
//! [`MinMax`] works on a stream of unknown length in fixed memory: time is divided into buckets, each keeps
//! its first, lowest, highest and last point, and when there are too many buckets neighbours are joined.
//! [`lttb`] (largest triangle three buckets; Steinarsson, *Downsampling Time Series for Visual
//! Representation*, 2013) picks a given number of points from those in memory, for a smooth line.

/// A point: time and value, SI units.
type Point = (f64, f64);

#[derive(Debug, Clone, Copy)]
struct Bucket {
    first: Point,
    low: Point,
    high: Point,
    last: Point,
}

impl Bucket {
    fn join(&mut self, later: &Self) {
        if later.low.1 < self.low.1 {
            self.low = later.low;
        }
        if later.high.1 > self.high.1 {
            self.high = later.high;
        }
        self.last = later.last;
    }
}

/// Minimum and maximum of a stream over buckets of time.
#[derive(Debug, Clone)]
pub struct MinMax {
    limit: usize,
    buckets: Vec<Bucket>,
    /// Samples in a full bucket.
    fill: u64,
    in_last: u64,
}

impl MinMax {
    /// Keeps at most `buckets` buckets (at least 2), four points each.
    pub fn new(buckets: usize) -> Self {
        Self { limit: buckets.max(2), buckets: Vec::new(), fill: 1, in_last: 0 }
    }

    /// Takes a point; one without a value is passed over.
    pub fn push(&mut self, time: f64, value: f64) {
        if !(time.is_finite() && value.is_finite()) {
            return;
        }
        let point = (time, value);
        let one = Bucket { first: point, low: point, high: point, last: point };
        if self.in_last < self.fill
            && let Some(last) = self.buckets.last_mut()
        {
            last.join(&one);
            self.in_last += 1;
            return;
        }
        if self.buckets.len() == self.limit {
            let mut joined = Vec::with_capacity(self.limit);
            for pair in self.buckets.chunks(2) {
                if let Some((first, rest)) = pair.split_first() {
                    let mut bucket = *first;
                    rest.iter().for_each(|later| bucket.join(later));
                    joined.push(bucket);
                }
            }
            // An odd number leaves a last bucket of half the size; it is simply not filled up.
            self.buckets = joined;
            self.fill *= 2;
        }
        self.buckets.push(one);
        self.in_last = 1;
    }

    /// The points kept, in the order of time.
    pub fn points(&self) -> Vec<Point> {
        let mut out: Vec<Point> = Vec::with_capacity(self.buckets.len() * 4);
        for bucket in &self.buckets {
            let mut four = [bucket.first, bucket.low, bucket.high, bucket.last];
            four.sort_by(|a, b| a.0.total_cmp(&b.0));
            for point in four {
                if out.last() != Some(&point) {
                    out.push(point);
                }
            }
        }
        out
    }
}

/// At most `count` of the points (at least 3): first and last, and from each of `count` − 2 buckets the one
/// that spans the largest triangle with its neighbours.
pub fn lttb(points: &[Point], count: usize) -> Vec<Point> {
    let count = count.max(3);
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return Vec::new();
    };
    if points.len() <= count {
        return points.to_vec();
    }
    let inner = points.get(1..points.len() - 1).unwrap_or_default();
    let buckets = count - 2;
    let edge = |bucket: usize| bucket * inner.len() / buckets;
    let mut out = vec![*first];
    let mut chosen = *first;
    for bucket in 0..buckets {
        let here = inner.get(edge(bucket)..edge(bucket + 1)).unwrap_or_default();
        let next = match inner.get(edge(bucket + 1)..edge((bucket + 2).min(buckets))) {
            Some(next) if !next.is_empty() => mean(next),
            _ => *last,
        };
        let area = |point: &Point| {
            ((chosen.0 - next.0) * (point.1 - chosen.1) - (chosen.0 - point.0) * (next.1 - chosen.1)).abs()
        };
        if let Some(best) = here.iter().max_by(|a, b| area(a).total_cmp(&area(b))) {
            chosen = *best;
            out.push(chosen);
        }
    }
    out.push(*last);
    out
}

#[expect(clippy::cast_precision_loss, reason = "a count of points")]
fn mean(points: &[Point]) -> Point {
    let sum = points.iter().fold((0.0, 0.0), |sum, point| (sum.0 + point.0, sum.1 + point.1));
    (sum.0 / points.len() as f64, sum.1 / points.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    proptest::proptest! {
        #[test]
        fn extremes_and_ends_are_kept(values in proptest::collection::vec(-1e3_f64..1e3, 1..2000), buckets in 2_usize..50) {
            let mut stream = MinMax::new(buckets);
            for (t, value) in values.iter().enumerate() {
                stream.push(t as f64, *value);
            }
            let points = stream.points();
            proptest::prop_assert!(points.len() <= 4 * buckets);
            proptest::prop_assert!(points.windows(2).all(|pair| pair[0].0 < pair[1].0));
            let of = |select: fn(f64, f64) -> f64, all: &[f64]| all.iter().copied().fold(all[0], select);
            let kept: Vec<f64> = points.iter().map(|point| point.1).collect();
            proptest::prop_assert_eq!(of(f64::min, &kept), of(f64::min, &values));
            proptest::prop_assert_eq!(of(f64::max, &kept), of(f64::max, &values));
            proptest::prop_assert_eq!(points.first().map(|p| p.1), values.first().copied());
            proptest::prop_assert_eq!(points.last().map(|p| p.1), values.last().copied());
        }

        #[test]
        fn lttb_keeps_its_count(values in proptest::collection::vec(-1e3_f64..1e3, 0..500), count in 0_usize..100) {
            let points: Vec<Point> = values.iter().enumerate().map(|(t, v)| (t as f64, *v)).collect();
            let fewer = lttb(&points, count);
            proptest::prop_assert!(fewer.len() <= count.max(3));
            proptest::prop_assert!(fewer.windows(2).all(|pair| pair[0].0 < pair[1].0));
            proptest::prop_assert_eq!(fewer.first(), points.first());
            proptest::prop_assert_eq!(fewer.last(), points.last());
        }
    }
}
