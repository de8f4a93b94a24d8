//! How long a conductor withstands a short-circuit current while no heat leaves it.

use uom::si::area::square_millimeter;
use uom::si::electric_current::ampere;
use uom::si::f64::{Area, ElectricCurrent, Time};
use uom::si::time::second;

use super::material::Material;
use super::{Method, Refusal, within};

/// The method, for working and explanations.
pub const METHOD: Method = Method {
    name: "adiabatic short-circuit withstand",
    formula: "t = (k · S / I)²",
    source: "IEC 60364-4-43, 434.5.2 and table 43A (from memory): k = 115 copper in PVC, 143 copper in XLPE, 76 aluminium in PVC",
    range: "up to 5 s",
};

/// k in A·s^½/mm². Copper and aluminium in PVC: IEC 60364-4-43, table 43A (from memory). The others follow from
/// the same heat balance by the square root of heat capacity over resistivity, scaled to copper.
#[must_use]
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
    let area = within("the cross-section", area.get::<square_millimeter>(), 0.01, 1e5, 1.0, "mm²")?;
    let current = within("the current", current.get::<ampere>(), 1e-3, 1e7, 1.0, "A")?;
    Ok(Time::new::<second>((k(material) * area / current).powi(2)))
}

#[cfg(test)]
mod tests {
    use super::*;

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
