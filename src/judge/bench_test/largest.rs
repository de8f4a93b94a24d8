//! Several comparisons as one amount: the largest of them, with what could not be compared.
//!
//! The largest of what is left is also smaller when the comparison that stands out is taken out of the record. So the
//! working says how many there are, what could not be compared makes the largest a lower bound, and so does one reading
//! alone.

use super::worked;
use crate::judge::facts::{Answer, Bound, Missing, Side, Val};
use crate::logs::instrument::ReadingComparison;
use crate::units::{Amount, Dimension, SourceId, Uncertain, significant};

/// Comparisons that belong together.
#[derive(Debug, Default)]
pub(super) struct Largest {
    lines: Vec<String>,
    open: Vec<Missing>,
    /// Least and most that the largest may be.
    range: Option<(f64, f64)>,
    /// Readings behind the comparisons that say something.
    readings: usize,
}

impl Largest {
    /// Adds an amount between two ends that rests on so many readings.
    pub fn add(&mut self, line: String, low: f64, high: f64, readings: usize) {
        self.lines.push(line);
        self.readings += readings;
        let (a, b) = self.range.unwrap_or((0.0, 0.0));
        self.range = Some((a.max(low), b.max(high)));
    }

    /// Adds the normalised error of a comparison, or why there is none; `widest` is the uncertainty, as a part of the
    /// reading, beyond which a comparison says nothing for the readings.
    pub fn compare(
        &mut self,
        what: &str,
        comparison: Result<ReadingComparison, String>,
        widest: Option<f64>,
        readings: usize,
    ) {
        let comparison = match comparison {
            Ok(comparison) => comparison,
            Err(why) => return self.cannot(what, &why),
        };
        let error = comparison.normalised_error();
        let wide = widest.is_none_or(|widest| comparison.width > widest);
        self.add(
            format!("{what}: normalised error {}", significant(error, 2)),
            error,
            error,
            if wide { 0 } else { readings },
        );
        if wide {
            let what = format!("{what}: a smaller uncertainty; it is so wide that any readings would agree");
            self.open.push(Missing::refused(&what));
        }
    }

    /// Adds what cannot be told.
    pub fn cannot(&mut self, what: &str, why: &str) {
        let line = format!("{what}: {why}");
        self.open.push(Missing::refused(&line));
        self.lines.push(line);
    }

    /// What stands against taking the last one for all of its amount.
    pub fn may_be_more(&mut self, what: &str, why: &str) {
        self.open.push(Missing::refused(&format!("{what}: {why}")));
    }

    /// How many there are.
    pub fn count(&self) -> Answer {
        let count = u32::try_from(self.lines.len()).unwrap_or(u32::MAX);
        Ok(worked(Val::Amount(Amount::exact(f64::from(count), Dimension::NONE)), Vec::new()))
    }

    /// The largest; `nothing` is what is missing where nothing was compared, and from fewer readings than `least` it is a
    /// lower bound.
    pub fn answer(mut self, nothing: &str, least: f64, source: SourceId, dimension: Dimension) -> Answer {
        if self.lines.is_empty() {
            return Err(vec![Missing::refused(nothing)]);
        }
        let Some((low, high)) = self.range else { return Err(self.open) };
        #[expect(clippy::cast_precision_loss, reason = "a count of readings")]
        let few = (self.readings as f64) < least;
        if few && self.open.is_empty() {
            let only = self.lines.first().map_or("", String::as_str);
            let what = format!("a second reading: there is one alone ({only})");
            self.open.push(Missing::refused(&what));
        }
        if self.lines.len() > 1 {
            self.lines.push(format!("the largest of {}", self.lines.len()));
        }
        let number = Uncertain::new((low + high) / 2.0, source, (high - low) / 4.0);
        let mut answer = worked(Val::Amount(Amount { number, dimension }), self.lines);
        if !self.open.is_empty() {
            answer.bound = Some(Bound { side: Side::AtLeast, missing: self.open, by_definition: false });
        }
        Ok(answer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn error(error: f64, width: f64) -> Result<ReadingComparison, String> {
        Ok(ReadingComparison { difference: error, expanded: 1.0, width })
    }

    /// The largest amount, and what makes it a lower bound.
    fn of(comparisons: Vec<Result<ReadingComparison, String>>) -> Result<(f64, String), String> {
        let mut largest = Largest::default();
        for comparison in comparisons {
            largest.compare("a", comparison, Some(0.25), 1);
        }
        let all = |missing: Vec<Missing>| {
            missing.into_iter().map(|missing| missing.what).collect::<Vec<_>>().join("; ")
        };
        match largest.answer("a reading", 2.0, 7, Dimension::NONE) {
            Ok(worked) => Ok((
                worked.value.amount().unwrap().value(),
                all(worked.bound.map_or(Vec::new(), |bound| bound.missing)),
            )),
            Err(missing) => Err(all(missing)),
        }
    }

    #[test]
    fn the_largest_and_what_stands_against_it() {
        let cannot = || Err("why".to_owned());
        assert_eq!(of(Vec::new()).unwrap_err(), "a reading");
        assert_eq!(of(vec![cannot()]).unwrap_err(), "a: why");
        assert_eq!(of(vec![error(0.5, 0.1), error(-0.7, 0.1)]).unwrap(), (0.7, String::new()));
        let (value, missing) = of(vec![error(0.5, 0.1)]).unwrap();
        assert!(value == 0.5 && missing.starts_with("a second reading"), "{missing}");
        assert_eq!(of(vec![error(3.0, 0.1), cannot()]).unwrap(), (3.0, "a: why".to_owned()));
        assert!(of(vec![error(0.1, 0.5), error(0.2, 0.1), error(0.2, 0.1)]).unwrap().1.contains("so wide"));
    }

    #[test]
    fn the_largest_of_ranges() {
        let mut largest = Largest::default();
        largest.add("a".to_owned(), 2.0, 18.0, 1);
        largest.add("b".to_owned(), 11.0, 13.0, 1);
        let answer = largest.answer("", 2.0, 7, Dimension::TEMPERATURE_DIFFERENCE).unwrap();
        let amount = answer.value.amount().unwrap().clone();
        assert_eq!((amount.value(), amount.number.expanded()), (14.5, 3.5), "between 11 K and 18 K");
        assert_eq!(answer.steps, ["a", "b", "the largest of 2"]);
    }
}
