//! The pack's own gauge against reference instruments: its voltage, current and state of charge are
//! readings with an error of their own, never a reference.

use super::instrument::{ReadingComparison, compare};

/// √6: two readings, each rounded to a step, differ with a triangular distribution.
const TRIANGULAR: f64 = 2.449_489_742_783_178;
/// √12: one reading rounded to a step.
const RECTANGULAR: f64 = 3.464_101_615_137_754_6;

/// How far the gauge lies from the reference, SI units.
#[derive(Debug, Clone, PartialEq)]
pub struct Deviation {
    /// Gauge less reference as a part of the reference; `None` where that is zero.
    pub relative: Option<f64>,
    /// Gauge less reference, with the uncertainty of the reference and of the gauge's step of display; or what is
    /// missing for it.
    pub comparison: Result<ReadingComparison, &'static str>,
}

/// Compares a reading of the gauge, shown in steps of `step`, with a reference of standard uncertainty
/// `reference_standard` (`None`: not known).
pub fn deviation(gauge: f64, step: f64, reference: f64, reference_standard: Option<f64>) -> Deviation {
    let display = step.abs() / RECTANGULAR;
    Deviation {
        relative: (reference != 0.0).then(|| (gauge - reference) / reference),
        comparison: compare(gauge, Some(display), reference, reference_standard),
    }
}

/// Charge by the fall of the gauge's state of charge, against charge by counting coulombs.
#[derive(Debug, Clone, PartialEq)]
pub struct FallOfCharge {
    /// What the fall means in charge, C.
    pub by_gauge: f64,
    /// Standard uncertainty from the step of the display, at both readings, C.
    pub by_gauge_standard: f64,
    /// What was counted, C.
    pub counted: f64,
    /// By the gauge less what was counted, with the step and the instruments; or what is missing for it.
    pub comparison: Result<ReadingComparison, &'static str>,
}

/// Compares a fall of the state of charge (both as ratios, shown in steps of `step`) with counted charge.
///
/// `capacity` is what the gauge calls full: the claim, unless it was set otherwise.
pub fn fall_of_charge(
    before: f64,
    after: f64,
    step: f64,
    capacity: f64,
    counted: f64,
    counted_standard: Option<f64>,
) -> FallOfCharge {
    let by_gauge = capacity * (before - after);
    let standard = capacity * (step.abs() / TRIANGULAR);
    FallOfCharge {
        by_gauge,
        by_gauge_standard: standard,
        counted,
        comparison: compare(by_gauge, Some(standard), counted, counted_standard),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 13 points of state of charge on 460 Ah are 59.8 Ah; 250 A for 15 min are 62.5 Ah; they agree within a
    /// gauge of whole percents and instruments of 2 % (common practice, no source).
    #[test]
    fn thirteen_points() {
        let ah = |q: f64| q * 3600.0;
        let fall = |counted: f64| {
            fall_of_charge(0.97, 0.84, 0.01, ah(460.0), ah(counted), Some(ah(counted * 0.02 / 2.0)))
        };
        let close = fall(62.5);
        assert!((close.by_gauge / 3600.0 - 59.8).abs() < 1e-9);
        assert!(close.comparison.unwrap().normalised_error() < 1.0);
        assert!(fall(70.0).comparison.unwrap().normalised_error() > 1.0);
    }

    #[test]
    fn deviations() {
        let found = deviation(26.4, 0.1, 26.31, Some(0.01));
        let compared = found.comparison.unwrap();
        assert!((compared.difference - 0.09).abs() < 1e-12 && compared.normalised_error() > 1.0);
        assert!(deviation(26.4, 0.1, 26.36, Some(0.01)).comparison.unwrap().normalised_error() < 1.0);
        assert!(deviation(26.4, 0.1, 26.36, None).comparison.is_err());
    }
}
