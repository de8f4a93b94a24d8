//! A bank of resistors as a load: which resistance a current needs while the pack's voltage falls.
//!
//! A resistor sets no current. What a bank draws falls with the voltage, so that the resistance has to come down from
//! the full pack to the cut-off for a current to be held. The pack's voltage at rest when full is taken for the start: under
//! load it is lower, so the resistance that is needed then lies inside the range.

use uom::si::electrical_resistance::ohm;
use uom::si::f64::{ElectricCurrent, ElectricPotential, ElectricalResistance, Power};
use uom::si::ratio::ratio;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bank {
    /// Resistance at the start, between the ends of its leads.
    pub full: ElectricalResistance,
    /// Resistance at the cut-off, between the ends of its leads.
    pub cutoff: ElectricalResistance,
    /// Power that the current takes at the start, leads included.
    pub power_full: Power,
    /// Power that the current takes at the cut-off, leads included.
    pub power_cutoff: Power,
    /// Current at the cut-off when the resistance of the start is left as it is.
    pub left_alone: ElectricCurrent,
}

/// The bank for a current in a voltage window, with leads of a known resistance to it and back.
///
/// `None` where the window is none, or where the leads alone have more resistance than the current allows.
pub fn bank(
    current: ElectricCurrent,
    full: ElectricPotential,
    cutoff: ElectricPotential,
    leads: ElectricalResistance,
) -> Option<Bank> {
    let at = |voltage: ElectricPotential| -> Option<ElectricalResistance> {
        let resistance: ElectricalResistance = voltage / current - leads;
        (resistance.get::<ohm>() > 0.0 && resistance.get::<ohm>().is_finite()).then_some(resistance)
    };
    let share: f64 = (cutoff / full).get::<ratio>();
    if !(share > 0.0 && share <= 1.0) {
        return None;
    }
    Some(Bank {
        full: at(full)?,
        cutoff: at(cutoff)?,
        power_full: full * current,
        power_cutoff: cutoff * current,
        left_alone: current * share,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use uom::si::electric_current::ampere;
    use uom::si::electric_potential::volt;
    use uom::si::power::watt;

    fn of(amperes: f64, full: f64, cutoff: f64, leads: f64) -> Option<Bank> {
        bank(
            ElectricCurrent::new::<ampere>(amperes),
            ElectricPotential::new::<volt>(full),
            ElectricPotential::new::<volt>(cutoff),
            ElectricalResistance::new::<ohm>(leads),
        )
    }

    /// Ohm's law: 92 A from 13.6 V down to 10 V (common practice, no source).
    #[test]
    fn ohms_law() {
        for (amperes, full, cutoff, leads, at_full, at_cutoff) in [
            (92.0, 13.6, 10.0, 0.0, 0.147_826, 0.108_696),
            (100.0, 13.6, 10.0, 0.006, 0.13, 0.094),
            (150.0, 27.2, 20.0, 0.0, 0.181_333, 0.133_333),
        ] {
            let bank = of(amperes, full, cutoff, leads).unwrap();
            assert!((bank.full.get::<ohm>() - at_full).abs() < 1e-6, "{bank:?}");
            assert!((bank.cutoff.get::<ohm>() - at_cutoff).abs() < 1e-6, "{bank:?}");
            assert!((bank.power_full.get::<watt>() - full * amperes).abs() < 1e-9);
            assert!((bank.power_cutoff.get::<watt>() - cutoff * amperes).abs() < 1e-9);
            // The resistance of the start, leads included, at the cut-off.
            let left = cutoff / (bank.full.get::<ohm>() + leads);
            assert!((bank.left_alone.get::<ampere>() - left).abs() < 1e-9);
        }
    }

    #[test]
    fn no_bank() {
        for (amperes, full, cutoff, leads) in [
            (100.0, 13.6, 10.0, 0.1),
            (0.0, 13.6, 10.0, 0.0),
            (100.0, 10.0, 13.6, 0.0),
            (100.0, 13.6, 0.0, 0.0),
            (f64::NAN, 13.6, 10.0, 0.0),
            (f64::INFINITY, 13.6, 10.0, 0.0),
        ] {
            assert_eq!(of(amperes, full, cutoff, leads), None);
        }
    }
}
