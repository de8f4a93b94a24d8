//! Ampacity of single insulated cables.
//!
//! One table (33 CFR 183.425, table 5) with corrections for ambient, insulation and bundling. Between listed sizes
//! it interpolates on a log-log scale; outside them it refuses.

use uom::si::area::{square_meter, square_millimeter};
use uom::si::electric_current::ampere;
use uom::si::f64::{Area, ElectricCurrent, ThermodynamicTemperature};
use uom::si::thermodynamic_temperature::kelvin;

use super::{Method, Refusal, ZERO_CELSIUS, within, within_temperature};

/// The method, for working and explanations.
pub const METHOD: Method = Method {
    name: "cable ampacity",
    formula: "I = I(size) · ((Ti − Ta) / (105 °C − 30 °C))^0.524 · bundling · conductors in parallel",
    source: "33 CFR 183.425, table 5 (105 °C insulation, 30 °C ambient); exponent set by its factor of 0.85 at 50 °C; \
             bundling factors of the same regulation, from memory; other insulation classes by the same law, from memory",
    range: "10 AWG (5.26 mm²) to 4/0 AWG (107.2 mm²), insulation 60 °C to 200 °C, ambient −40 °C to insulation less 5 K",
};

/// 33 CFR 183.425, table 5, 105 °C insulation, 30 °C ambient (read): AWG number, amperes. 1/0 is 0, 4/0 is −3.
pub const TABLE: &[(i32, f64)] = &[
    (10, 60.0),
    (8, 80.0),
    (6, 120.0),
    (4, 160.0),
    (2, 210.0),
    (1, 245.0),
    (0, 285.0),
    (-1, 330.0),
    (-2, 385.0),
    (-3, 445.0),
];

/// Insulation class of [`TABLE`], K.
const TABLE_INSULATION: f64 = ZERO_CELSIUS + 105.0;
/// Ambient of [`TABLE`], K.
const TABLE_AMBIENT: f64 = ZERO_CELSIUS + 30.0;
/// The exponent p of (Ti − Ta)^p that gives the regulation's factor of 0.85 at 50 °C exactly. A pure heat
/// balance with a constant film coefficient would give 0.5.
fn exponent() -> f64 {
    0.85_f64.ln() / (55.0_f64 / 75.0).ln()
}

/// Cross-section of an American Wire Gauge size; 4/0 is number −3.
#[must_use]
pub fn awg_area(number: i32) -> Area {
    Area::new::<square_millimeter>(crate::quantity::awg_square_millimetres(number))
}

/// Continuous current of `parallel` cables of one size.
///
/// `bundled` counts the current-carrying conductors that lie together.
///
/// # Errors
/// Refuses outside the range of [`METHOD`].
pub fn ampacity(
    size: Area,
    insulation: ThermodynamicTemperature,
    ambient: ThermodynamicTemperature,
    parallel: u32,
    bundled: u32,
) -> Result<ElectricCurrent, Refusal> {
    let base = table_value(size)?;
    let insulation = insulation.get::<kelvin>();
    within_temperature(
        "the insulation's temperature class",
        insulation,
        ZERO_CELSIUS + 60.0,
        ZERO_CELSIUS + 200.0,
    )?;
    let ambient = ambient.get::<kelvin>();
    within_temperature("the ambient temperature", ambient, ZERO_CELSIUS - 40.0, insulation - 5.0)?;
    within("the number of cables in parallel", f64::from(parallel), 1.0, 20.0, 1.0, "")?;
    let correction = ((insulation - ambient) / (TABLE_INSULATION - TABLE_AMBIENT)).powf(exponent());
    Ok(ElectricCurrent::new::<ampere>(base * correction * bundling(bundled)? * f64::from(parallel)))
}

/// Factor for conductors that lie together (33 CFR 183.425, from memory).
///
/// # Errors
/// Refuses zero conductors.
pub fn bundling(conductors: u32) -> Result<f64, Refusal> {
    match conductors {
        0 => Err(Refusal::NoResult("a bundle has at least one conductor".to_owned())),
        1 | 2 => Ok(1.0),
        3 => Ok(0.7),
        4..=6 => Ok(0.6),
        7..=24 => Ok(0.5),
        _ => Ok(0.4),
    }
}

fn table_value(size: Area) -> Result<f64, Refusal> {
    let size = size.get::<square_meter>();
    let areas: Vec<f64> = TABLE.iter().map(|(awg, _)| awg_area(*awg).get::<square_meter>()).collect();
    let (first, last) = (areas[0], areas[areas.len() - 1]);
    // A thousandth of slack lets "107.2 mm²" be 4/0.
    within("the cable's cross-section", size, first * 0.999, last * 1.001, 1e6, "mm²")?;
    for (index, area) in areas.iter().enumerate() {
        if (size / area - 1.0).abs() < 1e-9 {
            return Ok(TABLE[index].1);
        }
    }
    let above = areas.iter().position(|area| *area > size).unwrap_or(areas.len() - 1).max(1);
    let (x0, x1) = (areas[above - 1].ln(), areas[above].ln());
    let (y0, y1) = (TABLE[above - 1].1.ln(), TABLE[above].1.ln());
    Ok((y0 + (y1 - y0) * (size.ln() - x0) / (x1 - x0)).exp())
}

#[cfg(test)]
mod tests {
    use uom::si::thermodynamic_temperature::degree_celsius;

    use super::*;

    fn celsius(value: f64) -> ThermodynamicTemperature {
        ThermodynamicTemperature::new::<degree_celsius>(value)
    }

    /// 33 CFR 183.425, table 5 (read), and its factor of 0.85 for 50 °C.
    #[test]
    fn cable_table_exactly() {
        for (awg, amperes) in TABLE {
            let cool = ampacity(awg_area(*awg), celsius(105.0), celsius(30.0), 1, 1).unwrap();
            assert!((cool.value - amperes).abs() < 1e-9, "{awg} AWG: {}", cool.value);
            let hot = ampacity(awg_area(*awg), celsius(105.0), celsius(50.0), 2, 1).unwrap();
            assert!((hot.value / (2.0 * 0.85 * amperes) - 1.0).abs() < 1e-6, "{awg} AWG: {}", hot.value);
        }
    }

    #[test]
    fn metric_sizes_lie_between_their_neighbours() {
        let amps = |mm2: f64| {
            ampacity(Area::new::<square_millimeter>(mm2), celsius(105.0), celsius(30.0), 1, 1)
                .map(|i| i.value)
        };
        let of_35 = amps(35.0).unwrap();
        assert!(of_35 > 210.0 && of_35 < 245.0, "{of_35}");
        assert!(amps(4.0).is_err() && amps(120.0).is_err() && amps(f64::NAN).is_err());
    }
}
