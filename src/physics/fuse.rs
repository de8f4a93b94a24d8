//! Protective links by what they respond to.
//!
//! A thermal cut-off opens on temperature and gives no overcurrent or short-circuit protection, however many
//! amperes are printed on it (IEC 60691 in general terms): those amperes are what its contacts carry.

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::f64::{ElectricCurrent, ElectricPotential, Time};
use uom::si::time::second;

use super::Method;

/// What a link responds to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RespondsTo {
    /// Overcurrent melts it.
    Current,
    /// Temperature opens it.
    Temperature,
    /// It could not be told.
    Unknown,
}

/// The kinds of link that are told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FuseKind {
    /// Strip fuse-link SF 30 (ISO 8820-5).
    StripSf30,
    /// Strip fuse-link SF 51 (ISO 8820-5).
    StripSf51,
    /// Bolt-down link in the ANL style.
    BoltDown,
    /// Class T (UL 248-15).
    ClassT,
    /// Block fuse on a terminal stud.
    MarineTerminal,
    /// High-speed fuse for semiconductors.
    Semiconductor,
    /// Blade fuse for road vehicles.
    Blade,
    /// A thermal cut-off.
    ThermalCutoff,
    /// The kind could not be told.
    Unknown,
}

/// What a standard or the trade says of a kind of link.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usual {
    /// Rated voltage that the kind's standard fixes.
    pub voltage: Option<ElectricPotential>,
    /// Interrupting rating that the kind's standard fixes.
    pub interrupting: Option<ElectricCurrent>,
    /// Source, or what must be read from the part.
    pub source: &'static str,
}

/// The rule behind the choice of a rating.
pub const METHOD: Method = Method {
    name: "fuse rating",
    formula: "rating ≥ 1.25 · continuous current;  rating ≤ ampacity of every conductor it protects",
    source: "NEC 210.20(A) and 690.9(B), from memory",
    range: "links that respond to current",
};

impl FuseKind {
    /// The kind of a record's word for the kind of fuse.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Some(match word {
            "strip SF30" => Self::StripSf30,
            "strip SF51" => Self::StripSf51,
            "bolt-down" => Self::BoltDown,
            "class T" => Self::ClassT,
            "marine terminal" => Self::MarineTerminal,
            "semiconductor" => Self::Semiconductor,
            "blade" => Self::Blade,
            "unknown" => Self::Unknown,
            _ => return None,
        })
    }

    /// What it responds to.
    #[must_use]
    pub const fn responds_to(self) -> RespondsTo {
        match self {
            Self::ThermalCutoff => RespondsTo::Temperature,
            Self::Unknown => RespondsTo::Unknown,
            _ => RespondsTo::Current,
        }
    }

    /// What its standard fixes.
    #[must_use]
    pub fn usual(self) -> Usual {
        let unfixed = |source| Usual { voltage: None, interrupting: None, source };
        match self {
            Self::StripSf30 | Self::StripSf51 => Usual {
                voltage: Some(ElectricPotential::new::<volt>(32.0)),
                interrupting: Some(ElectricCurrent::new::<ampere>(2000.0)),
                source: "ISO 8820-5:2015, scope: 32 V, breaking capacity 2 000 A",
            },
            Self::ClassT => unfixed(
                "UL 248-15: 200 kA AC; a DC rating is optional and must be read from the fuse (often 20 kA, from memory)",
            ),
            Self::ThermalCutoff => unfixed("IEC 60691: opens on temperature; not a short-circuit protection"),
            _ => unfixed("no standard fixes it: read it from the fuse or its data sheet"),
        }
    }

    /// Time within which a standard says the link opens at a multiple of its rating: shortest, longest.
    ///
    /// UL 248-1 for class T: opens at 135 % within 60 min up to 60 A and within 120 min up to 600 A, carries 110 %
    /// (times from memory). Other kinds have no gate here: `None`.
    #[must_use]
    pub fn clearing_gate(self, rating: ElectricCurrent, multiple: f64) -> Option<(Time, Time)> {
        let minutes = if rating.get::<ampere>() <= 60.0 { 60.0 } else { 120.0 };
        (self == Self::ClassT && multiple >= 1.35 && rating.get::<ampere>() <= 600.0)
            .then(|| (Time::new::<second>(0.0), Time::new::<second>(minutes * 60.0)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thermal_cutoff_is_no_fuse() {
        assert_eq!(FuseKind::ThermalCutoff.responds_to(), RespondsTo::Temperature);
        assert_eq!(FuseKind::ThermalCutoff.usual().interrupting, None);
        assert_eq!(FuseKind::Unknown.responds_to(), RespondsTo::Unknown);
    }
}
