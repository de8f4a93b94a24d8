//! Prospective short-circuit current: what flows if the terminals are bridged and nothing opens.

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{ElectricCurrent, ElectricPotential, ElectricalResistance};

use super::{Method, Refusal, within};

/// The method, for working and explanations.
pub const METHOD: Method = Method {
    name: "prospective short-circuit current",
    formula: "I = ns · U / (ns · Rc / np + Rp)",
    source: "Ohm's law for a battery of equal cells (IEC 61660-1 treats the rise in time; inductance is left out here)",
    range: "steady value; the DC resistance of the cells gives a lower, the 1 kHz AC resistance a higher figure",
};

/// Prospective short-circuit current of `series` × `parallel` equal cells through a path.
///
/// # Errors
/// Refuses counts of zero and resistances that are not positive.
pub fn prospective(
    cell_voltage: ElectricPotential,
    cell_resistance: ElectricalResistance,
    series: f64,
    parallel: f64,
    path: ElectricalResistance,
) -> Result<ElectricCurrent, Refusal> {
    let voltage = within("the cell voltage", cell_voltage.get::<volt>(), 0.1, 10.0, 1.0, "V")?;
    let cell = within("the cell resistance", cell_resistance.get::<ohm>(), 1e-6, 10.0, 1e3, "mΩ")?;
    let series = within("the number of cells in series", series, 1.0, 1000.0, 1.0, "")?;
    let parallel = within("the number of cells in parallel", parallel, 1.0, 1000.0, 1.0, "")?;
    let path = within("the path resistance", path.get::<ohm>(), 0.0, 100.0, 1e3, "mΩ")?;
    Ok(ElectricCurrent::new::<ampere>(series * voltage / (series * cell / parallel + path)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ohms_law() {
        let current = prospective(
            ElectricPotential::new::<volt>(3.4),
            ElectricalResistance::new::<ohm>(0.5e-3),
            8.0,
            1.0,
            ElectricalResistance::new::<ohm>(1e-3),
        )
        .unwrap();
        assert!((current.get::<ampere>() - 27.2 / 5e-3).abs() < 1e-6);
    }
}
