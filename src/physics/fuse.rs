//! Protective links by what they respond to.
//!
//! A thermal cut-off opens on temperature and gives no overcurrent or short-circuit protection, however many
//! amperes are printed on it (IEC 60691 in general terms): those amperes are what its contacts carry.

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::f64::{ElectricCurrent, ElectricPotential, Time};
use uom::si::time::second;

use super::Method;
pub use crate::record::parts::{FuseKind, Release};
use crate::record::words;

words! {
    /// What makes a protective device open.
    pub enum RespondsTo {
        /// overcurrent opens it
        Current = "current",
        /// temperature opens it; it gives no overcurrent protection
        Temperature = "temperature",
        /// it opens only when it is told to; it gives no overcurrent protection
        Command = "command",
    }
}

impl Release {
    /// What a switch with this release responds to.
    #[must_use]
    pub const fn responds_to(self) -> RespondsTo {
        match self {
            Self::Thermal
            | Self::Magnetic
            | Self::ThermalMagnetic
            | Self::HydraulicMagnetic
            | Self::Electronic => RespondsTo::Current,
            Self::Command => RespondsTo::Command,
        }
    }
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
    source: "NEC 210.20(A) (read), for branch circuits in buildings",
    range: "links that respond to current",
};

/// What a thermal cut-off's standard says of it.
pub const THERMAL_CUTOFF: Usual = Usual {
    voltage: None,
    interrupting: None,
    source: "IEC 60691: opens on temperature; not a short-circuit protection",
};

impl FuseKind {
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
            Self::BoltDown | Self::MarineTerminal | Self::Semiconductor | Self::Blade => {
                unfixed("no standard fixes it: read it from the fuse or its data sheet")
            }
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

    /// IEC 60947-2: a circuit breaker opens by a release; without one it is a switch (from memory).
    #[test]
    fn a_switch_without_a_release_does_not_respond_to_current() {
        for release in Release::ALL {
            assert_eq!(release.responds_to() == RespondsTo::Command, release == Release::Command);
        }
        assert_eq!(THERMAL_CUTOFF.interrupting, None);
    }
}
