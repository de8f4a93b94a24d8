//! Instruments, figures with uncertainty, and what follows from comparing them.
//!
//! Accuracies are expanded uncertainties (k = 2), as everywhere in this program. A gain error moves all
//! readings of one instrument together, an offset likewise: over a whole test neither averages out.

use crate::units::COVERAGE;

/// Accuracy of one instrument, expanded (k = 2).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Accuracy {
    /// Part of the reading.
    pub gain: f64,
    /// Fixed part, in SI units.
    pub offset: f64,
}

impl Accuracy {
    /// Standard uncertainty of one reading, SI units.
    pub fn standard(self, value: f64) -> f64 {
        (self.gain * value).hypot(self.offset) / COVERAGE
    }
}

/// Accuracy of the voltage and the current of a log; `None` where it is not known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Accuracies {
    /// Of the voltage.
    pub voltage: Option<Accuracy>,
    /// Of the current.
    pub current: Option<Accuracy>,
}

/// A figure with its standard uncertainty (k = 1), by origin and combined.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The figure, SI units.
    pub value: f64,
    /// From taking samples instead of a record without gaps.
    pub sampling: f64,
    /// From the instruments; `None` where their accuracy is not known.
    pub instrument: Option<f64>,
    /// Combined, of what is known.
    pub standard: f64,
}

impl Estimate {
    /// From its parts, SI units.
    pub fn of(value: f64, sampling: f64, instrument: Option<f64>) -> Self {
        Self { value, sampling, instrument, standard: sampling.hypot(instrument.unwrap_or_default()) }
    }

    /// Expanded uncertainty, k = 2.
    pub fn expanded(&self) -> f64 {
        self.standard * COVERAGE
    }
}

/// Two readings of the same thing, held against each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadingComparison {
    /// The first less the second, SI units.
    pub difference: f64,
    /// Expanded uncertainty (k = 2) of that difference, SI units; never zero.
    pub expanded: f64,
    /// The uncertainty as a part of the larger reading: one that is wide hides any difference that would matter.
    pub width: f64,
}

impl ReadingComparison {
    /// The normalised error, difference over its expanded uncertainty, without its sign (ISO/IEC 17043, from memory):
    /// readings that agree have one of at most 1.
    pub fn normalised_error(&self) -> f64 {
        (self.difference / self.expanded).abs()
    }
}

/// Compares two readings of the same thing, SI values with standard uncertainties.
///
/// # Errors
/// What is missing for a comparison: without an accuracy neither a difference nor equal readings mean anything.
pub fn compare(a: f64, ua: Option<f64>, b: f64, ub: Option<f64>) -> Result<ReadingComparison, &'static str> {
    if !(a.is_finite() && b.is_finite()) {
        return Err("a reading is missing");
    }
    let (Some(ua), Some(ub)) = (ua, ub) else {
        return Err("the accuracy of an instrument is not known");
    };
    let expanded = COVERAGE * ua.hypot(ub);
    if expanded > 0.0 {
        Ok(ReadingComparison { difference: a - b, expanded, width: expanded / a.abs().max(b.abs()) })
    } else {
        Err("neither reading has an uncertainty")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 2 · √(1² + 1²) = 2.83.
    #[test]
    fn comparisons() {
        let near = compare(100.0, Some(1.0), 102.0, Some(1.0)).unwrap();
        assert!((near.difference + 2.0).abs() < 1e-12 && (near.expanded - 8.0_f64.sqrt()).abs() < 1e-12);
        assert!(near.normalised_error() < 1.0 && (near.width - 8.0_f64.sqrt() / 102.0).abs() < 1e-12);
        assert!(compare(100.0, Some(1.0), 103.0, Some(1.0)).unwrap().normalised_error() > 1.0);
        for (a, ua, b, ub, says) in [
            (100.0, None, 100.0, Some(1.0), "accuracy"),
            (f64::NAN, Some(0.5), 1.1, Some(0.5), "a reading is missing"),
            (1.0, Some(0.0), 1.0, Some(0.0), "neither"),
        ] {
            assert!(compare(a, ua, b, ub).unwrap_err().contains(says));
        }
    }
}
