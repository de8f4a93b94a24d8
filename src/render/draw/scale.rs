//! An axis: its range, its ticks, and how their numbers are written.

/// What may lie beyond the last tick without a further one, as a part of the range: less than the width of a line.
const SLACK: f64 = 0.005;
/// More ticks than this are never drawn.
const MOST: usize = 24;

/// An axis from its lowest to its highest tick, on a stretch of the picture.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scale {
    /// Lowest value.
    pub from: f64,
    /// Highest value.
    pub to: f64,
    /// Between ticks.
    step: f64,
    /// Place of the lowest value.
    pub low: f64,
    /// Place of the highest value.
    pub high: f64,
}

impl Scale {
    /// An axis that holds these values, with about `wanted` ticks.
    pub fn of(values: impl Iterator<Item = f64>, wanted: f64, low: f64, high: f64) -> Self {
        let (least, most) = range(values);
        let step = round_step(most - least, wanted);
        let slack = SLACK * (most - least);
        let from = ((least + slack) / step).floor() * step;
        let to = ((most - slack) / step).ceil() * step;
        Self { from, to: if to > from { to } else { from + step }, step, low, high }
    }

    /// The same axis, ending at `most` instead of at a tick.
    pub fn ending_at(self, least: f64, most: f64) -> Self {
        Self { from: least, to: if most > least { most } else { least + self.step }, ..self }
    }

    /// The same axis with ticks at whole numbers only, for what is counted.
    pub fn in_whole_steps(self) -> Self {
        let step = self.step.max(1.0);
        Self { from: (self.from / step).floor() * step, to: (self.to / step).ceil() * step, step, ..self }
    }

    /// Place of a value; one beyond the axis lies at its end.
    pub fn at(&self, value: f64) -> f64 {
        let share = (value - self.from) / (self.to - self.from);
        self.low + (self.high - self.low) * share.clamp(0.0, 1.0)
    }

    /// Values of the ticks.
    pub fn ticks(&self) -> Vec<f64> {
        let first = (self.from / self.step - 1e-6).ceil();
        let mut ticks = Vec::new();
        for number in 0..MOST {
            #[expect(clippy::cast_precision_loss, reason = "a count of ticks")]
            let at = (first + number as f64) * self.step;
            if at > self.to + self.step * 1e-6 {
                break;
            }
            ticks.push(at);
        }
        ticks
    }

    /// A tick's number with as many decimals as the step needs: 26.40 beside 26.45.
    pub fn number(&self, value: f64) -> String {
        // The exponent is far inside i32 for every finite f64.
        #[expect(clippy::cast_possible_truncation, reason = "log10 of a finite f64 is below 400")]
        let exponent = self.step.log10().floor() as i32;
        if !(-6..9).contains(&exponent) {
            return crate::units::significant(value, 4);
        }
        let decimals = usize::try_from(-exponent).unwrap_or(0);
        let text = format!("{value:.decimals$}");
        // No negative zero.
        if text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.')) {
            return text.trim_start_matches('-').to_owned();
        }
        text.replace('-', "−")
    }
}

/// A round step, 1, 2 or 5 times a power of ten, that divides a range into at most so many parts; 1 where the range
/// cannot be divided.
pub(crate) fn round_step(range: f64, parts: f64) -> f64 {
    let raw = range / parts;
    let power = 10_f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|step| *step >= raw);
    step.filter(|step| step.is_finite() && *step > 0.0).unwrap_or(1.0)
}

/// Lowest and highest value; a range of its own for none or one.
pub(super) fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values
        // The length of an axis must be finite as well.
        .filter(|value| value.abs() < 1e300)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    if !(low.is_finite() && high.is_finite()) {
        return (0.0, 1.0);
    }
    // A range lost in the last digits of its values cannot be divided.
    if high - low > 1e-9 * low.abs().max(high.abs()) { (low, high) } else { (low - 0.5, high + 0.5) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_and_their_numbers() {
        let cases: [(&[f64], &[&str]); 6] = [
            (&[26.31, 26.49], &["26.30", "26.35", "26.40", "26.45", "26.50"]),
            (&[-0.05, 151.5], &["0", "50", "100", "150", "200"]),
            (&[20.0, 27.4], &["20", "22", "24", "26", "28"]),
            (&[0.0, 0.00012], &["0.00000", "0.00005", "0.00010", "0.00015"]),
            (&[5.0, 5.0], &["4.4", "4.6", "4.8", "5.0", "5.2", "5.4", "5.6"]),
            (&[-6.4, 3.0], &["−8", "−6", "−4", "−2", "0", "2", "4"]),
        ];
        for (values, wanted) in cases {
            let scale = Scale::of(values.iter().copied(), 5.0, 0.0, 1.0);
            let ticks: Vec<String> = scale.ticks().into_iter().map(|tick| scale.number(tick)).collect();
            assert!(ticks.len() <= MOST);
            assert!(scale.from <= values[0] + 0.6 && scale.to >= values[1] - 0.6, "{values:?}");
            if wanted[0] == "4.4" {
                assert!(ticks.len() >= 3, "{ticks:?}");
            } else {
                assert_eq!(ticks, wanted, "{values:?}");
            }
        }
    }

    #[test]
    fn ugly_ranges_end() {
        for values in [
            vec![],
            vec![f64::NAN],
            vec![1e300, -1e300],
            vec![1e-300, 2e-300],
            vec![1e15, 1e15 + 1.0],
            vec![f64::INFINITY, 0.0],
        ] {
            let scale = Scale::of(values.iter().copied(), 5.0, 0.0, 100.0);
            assert!(scale.ticks().len() <= MOST);
            for value in &values {
                assert!(value.is_nan() || scale.at(*value).is_finite(), "{values:?}");
            }
            for tick in scale.ticks() {
                assert!(scale.number(tick).len() < 40);
            }
        }
    }
}
