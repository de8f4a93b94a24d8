//! Resistance of a conductor, and its change with temperature.

use uom::si::area::square_meter;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{Area, ElectricalResistance, Length, ThermodynamicTemperature};
use uom::si::length::meter;
use uom::si::thermodynamic_temperature::kelvin;

use super::material::Material;
use super::{Method, REFERENCE, Refusal, ZERO_CELSIUS, within, within_temperature};

/// The method, for working and explanations.
pub const METHOD: Method = Method {
    name: "conductor resistance",
    formula: "R = ρ20 · (1 + α · (T − 20 °C)) · L / A",
    source: "IEC 60028 for copper (from memory); handbook values for other materials",
    range: "−60 °C to 250 °C",
};

/// Resistance of a conductor of uniform cross-section at a temperature.
///
/// # Errors
/// Refuses sizes that are not positive and temperatures outside the range of [`METHOD`].
pub fn of_conductor(
    material: Material,
    length: Length,
    area: Area,
    temperature: ThermodynamicTemperature,
) -> Result<ElectricalResistance, Refusal> {
    let length = within("the length", length.get::<meter>(), 1e-6, 1e4, 1e3, "mm")?;
    let area = within("the cross-section", area.get::<square_meter>(), 1e-10, 1.0, 1e6, "mm²")?;
    let cold = ElectricalResistance::new::<ohm>(material.resistivity().value * length / area);
    at_temperature(material, cold, temperature)
}

/// A resistance known at 20 °C, at another temperature.
///
/// # Errors
/// Refuses temperatures outside the range of [`METHOD`].
pub fn at_temperature(
    material: Material,
    at_20: ElectricalResistance,
    temperature: ThermodynamicTemperature,
) -> Result<ElectricalResistance, Refusal> {
    let temperature = temperature.get::<kelvin>();
    within("the resistance", at_20.get::<ohm>(), 0.0, 1e9, 1e3, "mΩ")?;
    within_temperature("the temperature", temperature, ZERO_CELSIUS - 60.0, ZERO_CELSIUS + 250.0)?;
    Ok(at_20 * (1.0 + material.temperature_coefficient() * (temperature - REFERENCE)))
}

#[cfg(test)]
mod tests {
    use uom::si::area::square_inch;
    use uom::si::length::foot;

    use super::*;

    /// DC resistance column of the CDA busbar table (read): 1/8 × 1 in, 65.8 µΩ/ft at 20 °C.
    #[test]
    fn cda_resistance_column() {
        for (area, microohm_per_foot) in [
            (0.5 / 16.0, 264.0),
            (1.0 / 16.0, 132.0),
            (0.125, 65.8),
            (0.25, 32.9),
            (0.5, 16.5),
            (3.0 / 16.0, 43.8),
        ] {
            let r = of_conductor(
                Material::Copper,
                Length::new::<foot>(1.0),
                Area::new::<square_inch>(area),
                ThermodynamicTemperature::new::<kelvin>(REFERENCE),
            )
            .unwrap();
            let deviation = r.get::<ohm>() * 1e6 / microohm_per_foot - 1.0;
            assert!(deviation.abs() < 0.005, "{area} in²: {deviation}");
        }
    }
}
