//! Creepage and clearance between live parts: functions of voltage, pollution degree and material group.

use uom::si::electric_potential::volt;
use uom::si::f64::{ElectricPotential, Length};
use uom::si::length::millimeter;

use super::{Method, Refusal, within};
pub use crate::record::parts::{MaterialGroup, PollutionDegree};

/// The method for creepage, for working and explanations.
pub const CREEPAGE: Method = Method {
    name: "creepage",
    formula: "the row of the next higher voltage, by pollution degree and material group",
    source: "DIN EN 60664-1 (VDE 0110-1), table F.4, as printed in a terminal-block maker's catalogue, p. 594 (read 2026-11-26); the same numbers as table F.5 of IEC 60664-1:2020 (second-hand)",
    range: "up to 100 V direct current, pollution degrees 2 and 3, no printed wiring",
};

/// The method for clearance, for working and explanations.
pub const CLEARANCE: Method = Method {
    name: "clearance",
    formula: "impulse voltage by working voltage and overvoltage category II; distance by impulse voltage and pollution degree, inhomogeneous field",
    source: "IEC 60664-1:2020, tables F.1 and F.2 (read second-hand, in the source of a tool for circuit boards)",
    range: "up to 100 V, up to 2 000 m above the sea",
};

/// Creepage in mm by voltage: pollution degree 2 groups I, II, III, then degree 3 groups I, II, III; see [`CREEPAGE`].
const TABLE: [(f64, [f64; 6]); 10] = [
    (12.5, [0.42, 0.42, 0.42, 1.05, 1.05, 1.05]),
    (16.0, [0.45, 0.45, 0.45, 1.10, 1.10, 1.10]),
    (20.0, [0.48, 0.48, 0.48, 1.20, 1.20, 1.20]),
    (25.0, [0.50, 0.50, 0.50, 1.25, 1.25, 1.25]),
    (32.0, [0.53, 0.53, 0.53, 1.30, 1.30, 1.30]),
    (40.0, [0.56, 0.80, 1.10, 1.40, 1.60, 1.80]),
    (50.0, [0.60, 0.85, 1.20, 1.50, 1.70, 1.90]),
    (63.0, [0.63, 0.90, 1.25, 1.60, 1.80, 2.00]),
    (80.0, [0.67, 0.95, 1.30, 1.70, 1.90, 2.10]),
    (100.0, [0.71, 1.00, 1.40, 1.80, 2.00, 2.20]),
];

/// Highest voltage of [`TABLE`], V.
const HIGHEST: f64 = 100.0;

/// Least creepage for a working voltage.
///
/// # Errors
/// Refuses voltages outside the range of [`CREEPAGE`].
pub fn creepage(
    voltage: ElectricPotential,
    degree: PollutionDegree,
    group: MaterialGroup,
) -> Result<Length, Refusal> {
    let voltage = within("the voltage", voltage.get::<volt>(), 0.0, HIGHEST, 1.0, "V")?;
    let column = match degree {
        PollutionDegree::Two => 0,
        PollutionDegree::Three => 3,
    } + match group {
        MaterialGroup::One => 0,
        MaterialGroup::Two => 1,
        MaterialGroup::Three => 2,
    };
    // The last row is the end of the range that was checked.
    let row = TABLE.iter().find(|(upto, _)| voltage <= *upto).map_or([f64::NAN; 6], |(_, row)| *row);
    Ok(Length::new::<millimeter>(row.get(column).copied().unwrap_or(f64::NAN)))
}

/// Least clearance for a working voltage, overvoltage category II: an impulse of 500 V up to 50 V, of 800 V up to 100 V.
///
/// # Errors
/// Refuses voltages outside the range of [`CLEARANCE`].
pub fn clearance(voltage: ElectricPotential, degree: PollutionDegree) -> Result<Length, Refusal> {
    within("the voltage", voltage.get::<volt>(), 0.0, HIGHEST, 1.0, "V")?;
    // Both impulses lie below the first step of table F.2 at which the distance grows.
    Ok(Length::new::<millimeter>(match degree {
        PollutionDegree::Two => 0.2,
        PollutionDegree::Three => 0.8,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of the printed table (see [`CREEPAGE`]): a pack of 4, 8 or 16 cells on its charge voltage.
    #[test]
    fn packs_on_their_charge_voltage() {
        use MaterialGroup::{One, Three};
        use PollutionDegree::{Three as Dirty, Two as Dry};
        for (volts, degree, group, mm) in [
            (14.6, Dirty, Three, 1.1),
            (29.2, Dirty, One, 1.3),
            (58.4, Dirty, Three, 2.0),
            (58.4, Dry, Three, 1.25),
            (58.4, Dry, One, 0.63),
            (50.0, Dirty, One, 1.5),
            (100.0, Dirty, Three, 2.2),
        ] {
            let found = creepage(ElectricPotential::new::<volt>(volts), degree, group).unwrap();
            assert!((found.get::<millimeter>() - mm).abs() < 1e-9, "{volts} V: {found:?}");
        }
        for outside in [100.5, -1.0, f64::NAN] {
            assert!(creepage(ElectricPotential::new::<volt>(outside), Dirty, Three).is_err());
            assert!(clearance(ElectricPotential::new::<volt>(outside), Dirty).is_err());
        }
        let clear = clearance(ElectricPotential::new::<volt>(58.4), Dirty).unwrap();
        assert!((clear.get::<millimeter>() - 0.8).abs() < 1e-9);
    }
}
