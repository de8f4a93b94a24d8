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
    source: "Ohm's law for a battery of equal cells",
    range: "steady value: from the direct-current resistance of the cells (lower) to that at 1 kHz (higher)",
};

/// The method for the feed of packs in parallel.
pub const NEIGHBOURS: Method = Method {
    name: "feed of the neighbours",
    formula: "I = U / ((R + Rl) / (n − 1) + Rf): all other packs in parallel, each through its leads, into a fault in this one",
    source: "Ohm's law",
    range: "equal packs, none of whose BMS opens first",
};

/// The method for the rise of the current and the energy that opening it sets free.
pub const INDUCTANCE: Method = Method {
    name: "rise and energy of a fault current",
    formula: "τ = L / R;  i(t) = I · (1 − exp(−t / τ));  W = ½ · L · i²",
    source: "a circuit of one resistance and one inductance; L of two parallel leads: μ0/π · ln(D / r') a metre",
    range: "until the first device opens",
};

/// Inductance of the current path inside a pack, H: 0.5 m to 1.5 m at 0.54 µH to 1.4 µH a metre (leads of 8 mm with 12 mm and
/// 100 mm between them).
pub const LOOP_INSIDE: (f64, f64) = (0.3e-6, 2.0e-6);
/// Inductance of the leads outside, H: none up to 5 m out and back at 0.73 µH to 0.89 µH a metre of pair (35 mm², a study of a
/// boat's leads, read second-hand) and a little more.
pub const LEADS_OUTSIDE: (f64, f64) = (0.0, 5.0e-6);

/// Current at a time after a short circuit begins, as a share of the steady one.
pub fn share_at(seconds: f64, time_constant: f64) -> f64 {
    if time_constant > 0.0 { 1.0 - (-seconds / time_constant).exp() } else { 1.0 }
}

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

    /// 1 µH and 3 mΩ: 0.3 ms; after one time constant 1 − 1/e of the current flows (any text on circuits).
    #[test]
    fn one_time_constant() {
        assert!((share_at(1e-6 / 3e-3, 1e-6 / 3e-3) - 0.632_120_558_8).abs() < 1e-9);
        assert!((share_at(1.0, 0.0) - 1.0).abs() < 1e-12);
    }

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
