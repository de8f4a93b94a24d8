//! Protective links by what they respond to.
//!
//! A thermal cut-off opens on temperature and gives no overcurrent or short-circuit protection, however many
//! amperes are printed on it: those amperes are what its contacts carry.

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
    /// Interrupting rating that the kind's standard fixes.
    pub interrupting: Option<ElectricCurrent>,
    /// Source, or what must be read from the part.
    pub source: &'static str,
}

/// The rule behind the choice of a rating.
pub const METHOD: Method = Method {
    name: "fuse rating",
    formula: "rating ≥ 1.25 · continuous current;  rating ≤ ampacity of every conductor it protects",
    source: "NEC 210.20(A) (read as quoted by a maker of switchgear): 125 % of the continuous load",
    range: "links that respond to current",
};

/// What a thermal cut-off's standard says of it.
pub const THERMAL_CUTOFF: Usual = Usual {
    interrupting: None,
    source: "a temperature printed on it is what it opens at; no standard for thermal links reaches a main path (IEC 60691 ends at 63 A; read)",
};

impl FuseKind {
    /// What its standard fixes for a link with this voltage printed on it.
    ///
    /// The shape of a strip fuse fixes neither voltage nor interrupting rating: links of the same shapes are sold with 58 V
    /// and 1 kA, and with 70 V and 2.5 kA (shop listings, read second-hand).
    pub fn usual(self, printed: Option<ElectricPotential>) -> Usual {
        let unfixed = |source| Usual { interrupting: None, source };
        match self {
            Self::StripSf30 | Self::StripSf51 => {
                let standard = printed.is_some_and(|v| (v.get::<volt>() - STRIP_VOLTAGE).abs() < 0.5);
                Usual {
                    interrupting: standard.then(|| ElectricCurrent::new::<ampere>(2000.0)),
                    source: "ISO 8820-5:2015, scope: 32 V, breaking capacity 2 000 A; a link with another voltage is outside it",
                }
            }
            Self::ClassT => unfixed(
                "UL 248-15: 200 kA AC; a DC rating is optional and must be read from the fuse (often 20 kA, from memory)",
            ),
            Self::Semiconductor => unfixed(
                "a partial-range link (aR) has a least breaking current as well: read both from its data sheet",
            ),
            Self::BoltDown | Self::MarineTerminal | Self::Blade => {
                unfixed("no standard fixes it: read it from the fuse or its data sheet")
            }
        }
    }

    /// Whether the voltage printed on one is for direct current whatever else stands there: fuse-links for road vehicles
    /// (ISO 8820-1, from memory) and those on a battery's terminal stud (common practice, no source). The others are sold with
    /// a voltage for either.
    pub const fn for_direct_current(self) -> bool {
        match self {
            Self::StripSf30 | Self::StripSf51 | Self::Blade | Self::MarineTerminal => true,
            Self::BoltDown | Self::ClassT | Self::Semiconductor => false,
        }
    }

    /// Whether it is made to clear every current that melts it. One for semiconductor protection clears only a short
    /// circuit (aR, partial range: OPC 40400-1, 7.11.12.2, read), unless it is marked gR.
    pub const fn full_range(self) -> bool {
        !matches!(self, Self::Semiconductor)
    }

    /// Time for which it carries a multiple of its rating for certain.
    ///
    /// UL 248-2 and 248-9, 8.2.3 (read; classes C and K, taken for class T): 1.1 times the rating for at least 15 min up to
    /// 200 A and 30 min up to 600 A. No gate of another kind, and none above, could be read.
    pub fn holds_for(self, rating: ElectricCurrent, multiple: f64) -> Option<Time> {
        let minutes = if rating.get::<ampere>() <= 200.0 { 15.0 } else { 30.0 };
        (self == Self::ClassT && multiple <= HELD && rating.get::<ampere>() <= 600.0)
            .then(|| Time::new::<second>(minutes * 60.0))
    }

    /// Longest time in which it clears a multiple of its rating.
    ///
    /// UL 248-1 for class T: 1.35 times the rating within 60 min up to 60 A and within 120 min up to 600 A (from memory).
    /// What it does at a multiple of ten and more stands in its data sheet alone.
    pub fn clears_within(self, rating: ElectricCurrent, multiple: f64) -> Option<Time> {
        let minutes = if rating.get::<ampere>() <= 60.0 { 60.0 } else { 120.0 };
        (self == Self::ClassT && multiple >= OPENS && rating.get::<ampere>() <= 600.0)
            .then(|| Time::new::<second>(minutes * 60.0))
    }
}

/// Voltage of a strip fuse-link after ISO 8820-5, V.
const STRIP_VOLTAGE: f64 = 32.0;
/// Multiple of its rating that a link after UL 248 holds.
pub const HELD: f64 = 1.1;
/// Multiple of its rating that opens a link after UL 248.
pub const OPENS: f64 = 1.35;

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

    /// ISO 8820-5:2015, scope (read), is for 32 V; a link of the same shape for 58 V is sold with 1 kA (a shop's listing).
    #[test]
    fn the_shape_of_a_strip_fuse_fixes_nothing_but_at_its_voltage() {
        let rating = |volts: Option<f64>| {
            let printed = volts.map(ElectricPotential::new::<volt>);
            FuseKind::StripSf51.usual(printed).interrupting.map(|i| i.get::<ampere>())
        };
        assert_eq!(rating(Some(32.0)), Some(2000.0));
        assert_eq!((rating(Some(58.0)), rating(Some(70.0)), rating(None)), (None, None, None));
    }
}
