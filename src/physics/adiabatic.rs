//! How long a conductor withstands a short-circuit current while no heat leaves it.
//!
//! All the heat stays in the metal, whose resistance rises with it: I²t = k²S². The factor k of a table row is the heat
//! that the metal takes up between two temperatures; [`METHOD`] takes the row for insulation of the PVC kind, from 70 °C to
//! 160 °C. [`factor`] gives k for any two temperatures, for a lead that is hotter when the fault begins, and for the way to the
//! melting point. Heat that leaves, and the heat of melting itself, are left out: the true time is longer.

use uom::si::area::square_millimeter;
use uom::si::electric_current::ampere;
use uom::si::f64::{Area, ElectricCurrent, ThermodynamicTemperature, Time};
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::material::Material;
use super::{Method, Refusal, ZERO_CELSIUS, within, within_temperature};

/// The method, for working and explanations.
pub const METHOD: Method = Method {
    name: "adiabatic short-circuit withstand",
    formula: "t = (k · S / I)²",
    source: "IEC 60364-4-43, 434.5.2 and table 43A (from memory): k = 115 copper in PVC, 143 copper in XLPE, 76 aluminium in PVC",
    range: "up to 5 s",
};

/// Temperature of the conductor from which the tabled k of insulation of the PVC kind starts, °C (IEC 60364-4-43, table 43A,
/// from memory).
pub const STARTS_AT: f64 = 70.0;
/// Temperature at which that insulation is spoiled, °C (IEC 60364-4-43, table 43A, from memory).
pub const ENDS_AT: f64 = 160.0;

/// The heat balance between two temperatures.
pub const HEATING: Method = Method {
    name: "adiabatic heating",
    formula: "k = K · sqrt(ln((θ2 + β) / (θ1 + β)))",
    source: "IEC 60949, clause 3, and its table I (from memory): K = 226 A·s^½/mm², β = 234.5 °C copper; K = 148, β = 228 °C aluminium; other metals: K² = c · ρm · (β + 20 °C) / ρ20, β = 1/α − 20 °C, the same heat balance",
    range: "up to the melting point, without the heat of melting",
};

/// K in A·s^½/mm² and β in °C (IEC 60949, table I, from memory), or both from the constants of the metal.
fn constants(material: Material) -> (f64, f64) {
    match material {
        Material::Copper => (226.0, 234.5),
        Material::Aluminium => (148.0, 228.0),
        other => {
            let beta = 1.0 / other.temperature_coefficient() - 20.0;
            let heat = other.specific_heat() * other.density().value;
            ((heat * (beta + 20.0) / other.resistivity().value).sqrt() * 1e-6, beta)
        }
    }
}

/// Melting point: of the elements, and where an alloy begins to melt; of clad aluminium that of its core (handbook values,
/// from memory).
pub fn melting_point(material: Material) -> ThermodynamicTemperature {
    let celsius = match material {
        Material::Copper => 1084.6,
        Material::Aluminium | Material::CopperCladAluminium => 660.3,
        Material::Brass => 900.0,
        Material::Nickel => 1455.0,
        Material::NickelPlatedSteel => 1480.0,
    };
    ThermodynamicTemperature::new::<kelvin>(celsius + ZERO_CELSIUS)
}

/// k in A·s^½/mm² for the heat that a conductor takes up between two temperatures, see [`HEATING`].
///
/// # Errors
/// Refuses an end that is not above the start, and anything past the melting point.
pub fn factor(
    material: Material,
    from: ThermodynamicTemperature,
    to: ThermodynamicTemperature,
) -> Result<f64, Refusal> {
    let (large_k, beta) = constants(material);
    let (lowest, highest) = (ZERO_CELSIUS - 55.0, melting_point(material).get::<kelvin>());
    let to = within_temperature("the final temperature", to.get::<kelvin>(), lowest, highest)?;
    let from = within_temperature("the temperature at the start", from.get::<kelvin>(), lowest, to)?;
    Ok(large_k * ((to - ZERO_CELSIUS + beta) / (from - ZERO_CELSIUS + beta)).ln().sqrt())
}

/// k in A·s^½/mm². Copper and aluminium in PVC: IEC 60364-4-43, table 43A (from memory). The others follow from
/// the same heat balance by the square root of heat capacity over resistivity, scaled to copper.
pub fn k(material: Material) -> f64 {
    const COPPER_PVC: f64 = 115.0;
    const ALUMINIUM_PVC: f64 = 76.0;
    match material {
        Material::Copper => COPPER_PVC,
        Material::Aluminium => ALUMINIUM_PVC,
        other => {
            let merit = |m: Material| m.specific_heat() * m.density().value / m.resistivity().value;
            COPPER_PVC * (merit(other) / merit(Material::Copper)).sqrt()
        }
    }
}

/// Time for which a conductor withstands a current.
///
/// # Errors
/// Refuses sizes and currents that are not positive.
pub fn withstand(material: Material, area: Area, current: ElectricCurrent) -> Result<Time, Refusal> {
    time(k(material), area, current)
}

/// Time in which a current brings a conductor through the heat of a k, in A·s^½/mm².
///
/// # Errors
/// Refuses sizes and currents that are not positive.
pub fn time(k: f64, area: Area, current: ElectricCurrent) -> Result<Time, Refusal> {
    let area = within("the cross-section", area.get::<square_millimeter>(), 0.01, 1e5, 1.0, "mm²")?;
    let current = within("the current", current.get::<ampere>(), 1e-3, 1e7, 1.0, "A")?;
    Ok(Time::new::<second>((k * area / current).powi(2)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 60364-4-43, table 43A (from memory): 115 and 76 for PVC, 143 and 94 for XLPE and 90 °C rubber.
    #[test]
    fn the_balance_gives_the_rows_of_the_table() {
        let celsius = |value: f64| ThermodynamicTemperature::new::<kelvin>(value + ZERO_CELSIUS);
        for (material, from, to, tabled) in [
            (Material::Copper, STARTS_AT, ENDS_AT, 115.0),
            (Material::Copper, 90.0, 250.0, 143.0),
            (Material::Copper, 85.0, 220.0, 134.0),
            (Material::Aluminium, STARTS_AT, ENDS_AT, 76.0),
            (Material::Aluminium, 90.0, 250.0, 94.0),
            (Material::Aluminium, 85.0, 220.0, 89.0),
        ] {
            let found = factor(material, celsius(from), celsius(to)).unwrap();
            assert!((found - tabled).abs() < 0.6, "{material:?} from {from} to {to}: {found}, {tabled}");
        }
        for (material, from, to) in [
            (Material::Copper, 160.0, 70.0),
            (Material::Copper, 20.0, 1100.0),
            (Material::Aluminium, 20.0, 700.0),
            (Material::Copper, f64::NAN, 160.0),
        ] {
            assert!(factor(material, celsius(from), celsius(to)).is_err(), "{material:?} {from} {to}");
        }
    }

    /// Onderdonk's fusing equation for copper, I = A · sqrt(log10((Tm − Ta) / (234 + Ta) + 1) / (33 t)), A in circular mils
    /// (from memory), from 40 °C: the way to the melting point.
    #[test]
    fn time_to_the_melting_point() {
        let melts = melting_point(Material::Copper);
        let start = ThermodynamicTemperature::new::<kelvin>(40.0 + ZERO_CELSIUS);
        let k = factor(Material::Copper, start, melts).unwrap();
        for (mm2, amperes) in [(1.0_f64, 500.0_f64), (10.0, 5000.0), (50.0, 7000.0)] {
            let area = Area::new::<square_millimeter>(mm2);
            let own = time(k, area, ElectricCurrent::new::<ampere>(amperes)).unwrap().value;
            let circular_mils = mm2 / 5.067e-4;
            let log = ((1084.6 - 40.0) / (234.0 + 40.0) + 1.0_f64).log10();
            let onderdonk = (circular_mils / amperes).powi(2) * log / 33.0;
            assert!((own / onderdonk - 1.0).abs() < 0.02, "{mm2} mm²: {own} s, {onderdonk} s");
        }
    }

    /// The constants of copper and aluminium give the K of IEC 60949, table I (from memory), within 3 %.
    #[test]
    fn constants_of_the_metals_give_the_tabled_k() {
        for material in [Material::Copper, Material::Aluminium] {
            let (tabled, beta) = constants(material);
            let heat = material.specific_heat() * material.density().value;
            let own = (heat * (beta + 20.0) / material.resistivity().value).sqrt() * 1e-6;
            assert!((own / tabled - 1.0).abs() < 0.03, "{material:?}: {own}, {tabled}");
        }
    }

    /// IEC 60364-4-43 table 43A, k = 115 (from memory): 25 mm² copper, 2 875 A, 1 s.
    #[test]
    fn one_second_current() {
        let time = withstand(
            Material::Copper,
            Area::new::<square_millimeter>(25.0),
            ElectricCurrent::new::<ampere>(2875.0),
        );
        assert!((time.unwrap().value - 1.0).abs() < 1e-12);
    }
}
