//! Instruments, figures with uncertainty, and what follows from comparing them.
//!
//! Accuracies are expanded uncertainties (k = 2), as everywhere in this program. A gain error moves all
//! readings of one instrument together, an offset likewise: over a whole test neither averages out.

use std::fmt;
use std::ops::Mul;

use crate::units::COVERAGE;

/// What a test says about a claim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// The claim is met, beyond the uncertainty.
    Meets,
    /// It is not, beyond the uncertainty.
    FallsShort,
    /// Neither is shown; each text says what is missing.
    NotDecided(Vec<String>),
}

impl Verdict {
    /// Not decided for one reason.
    #[must_use]
    pub fn missing(reason: impl Into<String>) -> Self {
        Self::NotDecided(vec![reason.into()])
    }
}

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
    #[must_use]
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
pub struct Figure<Q> {
    /// The figure.
    pub value: Q,
    /// From taking samples instead of a record without gaps.
    pub sampling: Q,
    /// From the instruments; `None` where their accuracy is not known.
    pub instrument: Option<Q>,
    /// Combined, of what is known.
    pub standard: Q,
}

impl<Q: Copy + Mul<f64, Output = Q>> Figure<Q> {
    /// From SI values and the quantity's constructor.
    #[must_use]
    pub fn of(value: f64, sampling: f64, instrument: Option<f64>, make: fn(f64) -> Q) -> Self {
        Self {
            value: make(value),
            sampling: make(sampling),
            instrument: instrument.map(make),
            standard: make(sampling.hypot(instrument.unwrap_or_default())),
        }
    }

    /// Expanded uncertainty, k = 2.
    #[must_use]
    pub fn expanded(&self) -> Q {
        self.standard * COVERAGE
    }
}

/// What a comparison of two readings says (k = 2).
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Agreement {
    /// Their difference lies within its uncertainty.
    Agree,
    /// It does not.
    Disagree,
    /// The comparison says nothing; the text says why.
    CannotTell(String),
}

impl fmt::Display for Agreement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Agree => f.write_str("agree"),
            Self::Disagree => f.write_str("disagree"),
            Self::CannotTell(why) => write!(f, "can't tell: {why}"),
        }
    }
}

/// An uncertainty wider than this part of the value hides any difference that would matter.
const TOO_WIDE: f64 = 0.25;

/// Compares two readings of the same thing, SI values with standard uncertainties.
///
/// Agreement is |a − b| ≤ 2 √(ua² + ub²), the normalised error of ISO/IEC 17043 (from memory) at k = 2.
#[must_use]
pub fn compare(a: f64, ua: Option<f64>, b: f64, ub: Option<f64>) -> Agreement {
    if !(a.is_finite() && b.is_finite()) {
        return Agreement::CannotTell("a reading is missing".to_owned());
    }
    // Without the accuracy of both, neither a difference nor equal readings mean anything.
    let (Some(ua), Some(ub)) = (ua, ub) else {
        return Agreement::CannotTell("the accuracy of an instrument is not known".to_owned());
    };
    let limit = COVERAGE * ua.hypot(ub);
    if (a - b).abs() > limit {
        return Agreement::Disagree;
    }
    if limit > TOO_WIDE * a.abs().max(b.abs()) {
        return Agreement::CannotTell("the uncertainty is so wide that any readings would agree".to_owned());
    }
    Agreement::Agree
}

/// Decides `value ≥ limit` with a guard band of the expanded uncertainty (ILAC-G8:09/2019, JCGM 106:2012).
#[must_use]
pub fn at_least(value: f64, standard: f64, limit: f64) -> Verdict {
    let expanded = COVERAGE * standard;
    if value - expanded >= limit {
        Verdict::Meets
    } else if value + expanded < limit {
        Verdict::FallsShort
    } else {
        Verdict::missing("the limit lies inside the measurement uncertainty")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comparisons() {
        assert_eq!(compare(100.0, Some(1.0), 102.0, Some(1.0)), Agreement::Agree);
        assert_eq!(compare(100.0, Some(1.0), 103.0, Some(1.0)), Agreement::Disagree);
        for (a, ua, b, ub) in [
            (100.0, None, 100.0, Some(1.0)),
            (1.0, Some(0.5), 1.1, Some(0.5)),
            (f64::NAN, Some(0.5), 1.1, Some(0.5)),
        ] {
            assert!(matches!(compare(a, ua, b, ub), Agreement::CannotTell(_)));
        }
    }

    #[test]
    fn guard_band() {
        assert_eq!(at_least(103.0, 1.0, 100.0), Verdict::Meets);
        assert!(matches!(at_least(101.0, 1.0, 100.0), Verdict::NotDecided(_)));
        assert_eq!(at_least(97.0, 1.0, 100.0), Verdict::FallsShort);
    }
}
