//! How accurate an instrument is: as recorded, else as instruments of its kind are.
//!
//! An accuracy that is not recorded is never zero. The rule book gives one for each kind of instrument and what it reads
//! (limits `accuracy_…`); where the kind is not known, the widest of them. All are limits of a rectangular distribution,
//! so u = limit / √3 (JCGM 100:2008, 4.3.7).

use std::collections::BTreeMap;

use crate::physics::ZERO_CELSIUS;
use crate::record::field::{Found, StatedAccuracy};
use crate::record::parts::{Instrument, InstrumentKind};
use crate::record::{State, Value};
use crate::units::{Amount, Dimension, Quantity};

/// What instruments read, as the names of the limits say it.
const READS: [(&str, Dimension); 9] = [
    ("current", Dimension::CURRENT),
    ("voltage", Dimension::VOLTAGE),
    ("resistance", Dimension::RESISTANCE),
    ("length", Dimension::LENGTH),
    ("temperature", Dimension::TEMPERATURE_DIFFERENCE),
    ("mass", Dimension::MASS),
    ("charge", Dimension::CHARGE),
    ("energy", Dimension::ENERGY),
    ("torque", Dimension::TORQUE),
];

/// Limits of error of a reading: a share of it, and a fixed part in SI units.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct ErrorLimits {
    pub(crate) share: f64,
    pub(crate) fixed: f64,
}

impl ErrorLimits {
    fn widest(self, other: Self) -> Self {
        Self { share: self.share.max(other.share), fixed: self.fixed.max(other.fixed) }
    }
}

/// What the rule book says of instruments whose accuracy is not recorded.
#[derive(Debug, Clone, Default)]
pub(crate) struct Usual {
    of_kinds: Vec<(InstrumentKind, Dimension, ErrorLimits)>,
    /// Last digits that are added.
    digits: f64,
}

impl Usual {
    pub(crate) fn of(limits: &BTreeMap<String, Amount>) -> Self {
        let mut of_kinds = Vec::new();
        for kind in InstrumentKind::ALL {
            for (reads, dimension) in READS {
                let name = format!("accuracy_{}_{reads}", kind.word().replace([' ', '-'], "_"));
                let Some(limit) = limits.get(&name) else { continue };
                let share = limit.dimension == Dimension::NONE;
                let limits = ErrorLimits {
                    share: if share { limit.value() } else { 0.0 },
                    fixed: if share { 0.0 } else { limit.value() },
                };
                of_kinds.push((kind, dimension, limits));
            }
        }
        Self { of_kinds, digits: limits.get("accuracy_digits").map_or(0.0, Amount::value) }
    }

    /// For an instrument of a kind, or of any kind; none where nobody measures such a thing.
    pub(crate) fn limits(&self, kind: Option<InstrumentKind>, dimension: Dimension) -> Option<ErrorLimits> {
        let dimension = Dimension { point: false, ..dimension };
        let all = || self.of_kinds.iter().filter(|(_, of, _)| *of == dimension);
        let own = kind.and_then(|kind| all().find(|(of, ..)| *of == kind)).map(|(.., limits)| *limits);
        own.or_else(|| all().map(|(.., limits)| *limits).reduce(ErrorLimits::widest))
    }
}

/// How large a quantity is on the scale of an instrument, SI units: a step of temperature is a difference, however it was
/// written, and the end of a range is so many degrees Celsius on either side of nought.
pub(crate) fn magnitude(quantity: &Quantity) -> (f64, Dimension) {
    let offset = if quantity.dimension.point { ZERO_CELSIUS } else { 0.0 };
    ((quantity.value - offset).abs(), Dimension { point: false, ..quantity.dimension })
}

/// What an instrument of the record is good for.
#[derive(Debug, Clone)]
pub(crate) struct Accuracy {
    stated: Option<StatedAccuracy>,
    kind: Option<InstrumentKind>,
    /// Value of its last digit, SI units, and what it reads.
    pub(crate) step: Option<(f64, Dimension)>,
    /// End of the range used, SI units, and what it reads.
    pub(crate) range: Option<(f64, Dimension)>,
    /// Some of it is recorded and withheld.
    pub(crate) withheld: bool,
}

impl Accuracy {
    pub(crate) fn of(instrument: &Instrument) -> Self {
        let withheld = |found: &Found| found.state == State::Withheld;
        Self {
            stated: match instrument.accuracy.found().value() {
                Some(Value::Accuracy(accuracy)) => Some(*accuracy),
                _ => None,
            },
            kind: instrument.kind.known(),
            step: instrument.resolution.quantity().map(magnitude),
            range: instrument.range.quantity().map(magnitude),
            withheld: [instrument.accuracy.found(), instrument.resolution.found(), instrument.range.found()]
                .into_iter()
                .any(withheld),
        }
    }

    /// Limits of error as recorded, where they are.
    pub(crate) fn stated_limits(&self, dimension: Dimension) -> Option<ErrorLimits> {
        self.limits(dimension, &Usual::default()).filter(|(_, of_kind)| !of_kind).map(|(limits, _)| limits)
    }

    /// Limits of error of its readings of a dimension, and whether they are those of its kind. What a recorded accuracy
    /// does not tell (digits of an unknown size, a share of an unknown range) is taken from the kind.
    pub(crate) fn limits(&self, dimension: Dimension, usual: &Usual) -> Option<(ErrorLimits, bool)> {
        let dimension = Dimension { point: false, ..dimension };
        let here =
            |part: Option<(f64, Dimension)>| part.filter(|(_, of)| *of == dimension).map(|(value, _)| value);
        let step = here(self.step);
        let of_kind = || {
            let limits = usual.limits(self.kind, dimension)?;
            let digits = usual.digits * step.unwrap_or(0.0);
            Some(ErrorLimits { fixed: limits.fixed + digits, ..limits })
        };
        let Some(stated) = self.stated else { return of_kind().map(|limits| (limits, true)) };
        let needed = [
            (stated.digits > 0.0, stated.digits, step),
            (stated.of_range > 0.0, stated.of_range, here(self.range)),
        ];
        let foreign = stated.fixed.is_some_and(|(_, of)| of != dimension);
        let lacks = foreign || needed.iter().any(|(needed, _, unit)| *needed && unit.is_none());
        let fixed = needed.iter().map(|(_, count, unit)| count * unit.unwrap_or(0.0)).sum::<f64>()
            + here(stated.fixed).unwrap_or(0.0);
        let own = ErrorLimits { share: stated.of_reading, fixed };
        if lacks { of_kind().map(|limits| (limits.widest(own), true)) } else { Some((own, false)) }
    }
}
