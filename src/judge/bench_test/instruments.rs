//! The instruments a test names, and how accurate they are.
//!
//! An instrument's limits are those of a rectangular distribution, u = limit / √3 (JCGM 100:2008, 4.3.7). One
//! that is not listed, or listed without its accuracy, has no known uncertainty: what rests on it cannot be told.

use std::collections::BTreeMap;

use crate::judge::facts::accuracy::{Accuracy as InstrumentAccuracy, ErrorLimits, Usual};
use crate::logs::instrument::{Accuracies, Accuracy};
use crate::physics::ZERO_CELSIUS;
use crate::record::field::WITHHELD;
use crate::record::{Record, reads};
use crate::units::{Amount, COVERAGE, Dimension, Quantity, SourceId};

/// What an instrument of the record is good for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tool {
    /// Expanded accuracy, where it is recorded.
    pub accuracy: Option<Accuracy>,
    /// Value of its last digit, SI units.
    pub step: Option<f64>,
    /// Readings of one instrument share its errors.
    pub source: SourceId,
}

impl Tool {
    /// Standard uncertainty of a reading, SI units. The share of a temperature is one of degrees Celsius.
    pub fn standard(&self, value: f64, dimension: Dimension) -> Option<f64> {
        let of = if dimension.point { value - ZERO_CELSIUS } else { value };
        Some(self.accuracy?.standard(of))
    }
}

/// The instrument among the ids of a `with` that reads this dimension.
pub(super) fn tool(record: &Record, with: Option<&str>, dimension: Dimension) -> Option<Tool> {
    let wanted = Dimension { point: false, ..dimension };
    if with.is_some_and(|with| with.contains(WITHHELD)) {
        reads::note_withheld();
    }
    with?.split(',').map(str::trim).find_map(|id| {
        let (index, instrument) =
            record.instrument.iter().enumerate().find(|(_, i)| i.id.text() == Some(id))?;
        let known = InstrumentAccuracy::of(instrument);
        let (step, of) = known.step?;
        (of == wanted).then_some(())?;
        let accuracy = known.stated_limits(dimension).map(expanded);
        Some(Tool { accuracy, step: Some(step), source: SourceId::try_from(index).unwrap_or(0) + 1 })
    })
}

/// Limits of error as an expanded uncertainty: 2 · limit / √3.
fn expanded(limits: ErrorLimits) -> Accuracy {
    let wide = COVERAGE / 3.0_f64.sqrt();
    Accuracy { gain: limits.share * wide, offset: limits.fixed * wide }
}

/// Accuracy of volts and of amperes by the instruments of a `with`.
pub(super) fn accuracies(record: &Record, with: Option<&str>) -> Accuracies {
    let of = |dimension| tool(record, with, dimension).and_then(|tool| tool.accuracy);
    Accuracies { voltage: of(Dimension::VOLTAGE), current: of(Dimension::CURRENT) }
}

/// The accuracy that is taken where none is recorded: that of the kind of the instruments of a `with`, else the widest.
pub(super) fn usual(
    record: &Record,
    limits: &BTreeMap<String, Amount>,
    with: Option<&str>,
    dimension: Dimension,
) -> Option<Accuracy> {
    let usual = Usual::of(limits);
    let named = with.into_iter().flat_map(|with| with.split(',').map(str::trim));
    let mut known = named.filter_map(|id| record.instrument.iter().find(|i| i.id.text() == Some(id)));
    let of = known.find_map(|instrument| {
        let known = InstrumentAccuracy::of(instrument);
        let reads = known.step.is_none_or(|(_, of)| of == Dimension { point: false, ..dimension });
        known.limits(dimension, &usual).filter(|_| reads)
    });
    of.map(|(limits, _)| limits).or_else(|| usual.limits(None, dimension)).map(expanded)
}

/// Standard uncertainty of a written reading: its own ±, else that of its instrument.
pub(super) fn standard(record: &Record, with: Option<&str>, quantity: &Quantity) -> Option<f64> {
    match quantity.expanded {
        Some(expanded) => Some(expanded / COVERAGE),
        None => tool(record, with, quantity.dimension)?.standard(quantity.value, quantity.dimension),
    }
}

/// Value of the last digit that was written, SI units: `26.4 V` was read in steps of 0.1 V.
pub(super) fn last_digit(quantity: &Quantity) -> Option<f64> {
    let number: String =
        quantity.text.chars().take_while(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+')).collect();
    let written: f64 = number.parse().ok()?;
    let decimals = number.split_once('.').map_or(0, |(_, after)| after.len());
    let step = 10_f64.powi(-i32::try_from(decimals).ok()?);
    // The factor of the unit, without its offset.
    let factor = if quantity.dimension.point {
        1.0
    } else if written == 0.0 {
        if quantity.text.contains('%') { 0.01 } else { 1.0 }
    } else {
        quantity.value / written
    };
    Some((step * factor).abs()).filter(|step| step.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    #[test]
    fn last_digits() {
        for (text, wanted) in [
            ("26.4 V", 0.1),
            ("97 %", 0.01),
            ("0 %", 0.01),
            ("250 A", 1.0),
            ("154.5 A", 0.1),
            ("8.00 V", 0.01),
        ] {
            let step = last_digit(&units::parse(text).unwrap()).unwrap();
            assert!((step - wanted).abs() < 1e-12, "{text}: {step}");
        }
    }

    #[test]
    fn instruments_by_what_they_read() {
        let text = "schema = 2\n[[instrument]]\nid = \"v\"\naccuracy = \"0.1 % + 2 digits\"\nresolution = \"0.01 V\"\n\
                    [[instrument]]\nid = \"i\"\nresolution = \"0.1 A\"\n\
                    [[instrument]]\nid = \"t\"\naccuracy = \"10 digits\"\nresolution = \"0.1 K\"\n";
        let record = crate::record::read("r", text).unwrap();
        let with = Some("v, i, t");
        let v = tool(&record, with, Dimension::VOLTAGE).unwrap();
        assert!(
            (v.standard(20.0, Dimension::VOLTAGE).unwrap() - 0.02_f64.hypot(0.02) / 3.0_f64.sqrt()).abs()
                < 1e-12
        );
        assert_eq!(
            tool(&record, with, Dimension::CURRENT).unwrap().accuracy,
            None,
            "no accuracy is recorded"
        );
        let t = tool(&record, with, Dimension::TEMPERATURE).unwrap();
        assert!((t.standard(300.0, Dimension::TEMPERATURE).unwrap() - 1.0 / 3.0_f64.sqrt()).abs() < 1e-12);
        assert_eq!(tool(&record, Some("x"), Dimension::VOLTAGE), None);
        assert_eq!(tool(&record, None, Dimension::VOLTAGE), None);
    }
}
