//! Ampacity of single insulated copper cables.
//!
//! One table (33 CFR 183.425, table 5) with corrections for ambient and bundling. Between listed sizes it interpolates
//! on a log-log scale, between listed insulation classes on a straight line; outside the table it refuses, and it knows
//! no aluminium. A regulation's table is no heat balance: it holds for cables in free air, not for a cable packed in foam.

mod awg;

use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::f64::{Area, ElectricCurrent, ThermodynamicTemperature};
use uom::si::thermodynamic_temperature::kelvin;

use super::{Method, Refusal, ZERO_CELSIUS, within, within_temperature};

pub use awg::{awg_area, awg_name};

/// The method, for working and explanations.
pub const METHOD: Method = Method {
    name: "cable ampacity",
    formula: "I = I(size, insulation) · ((Ti − Ta) / (Ti − 30 °C))^0.524 · bundling · conductors in parallel",
    source: "33 CFR 183.425, table 5 (read); exponent set by its factor of 0.85 for 105 °C insulation at 50 °C, which keeps the \
             other classes at or below its factors; bundling factors of its note 2, from memory",
    range: "18 AWG (0.823 mm²) to 4/0 AWG (107.2 mm²), insulation 60 °C to 200 °C, ambient −40 °C to insulation less 5 K",
};

/// Insulation classes of [`TABLE`], °C.
pub const CLASSES: [f64; 7] = [60.0, 75.0, 80.0, 90.0, 105.0, 125.0, 200.0];

/// 33 CFR 183.425, table 5 (read): AWG number and amperes for each of [`CLASSES`], copper, 30 °C ambient, outside
/// engine spaces. 1/0 is number 0, 4/0 is −3.
pub const TABLE: [(i32, [f64; 7]); 15] = [
    (18, [10.0, 10.0, 15.0, 20.0, 20.0, 25.0, 25.0]),
    (16, [15.0, 15.0, 20.0, 25.0, 25.0, 30.0, 35.0]),
    (14, [20.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0]),
    (12, [25.0, 25.0, 35.0, 40.0, 45.0, 50.0, 55.0]),
    (10, [40.0, 40.0, 50.0, 55.0, 60.0, 70.0, 70.0]),
    (8, [55.0, 65.0, 70.0, 70.0, 80.0, 90.0, 100.0]),
    (6, [80.0, 95.0, 100.0, 100.0, 120.0, 125.0, 135.0]),
    (4, [105.0, 125.0, 130.0, 135.0, 160.0, 170.0, 180.0]),
    (3, [120.0, 145.0, 150.0, 155.0, 180.0, 195.0, 210.0]),
    (2, [140.0, 170.0, 175.0, 180.0, 210.0, 225.0, 240.0]),
    (1, [165.0, 195.0, 210.0, 210.0, 245.0, 265.0, 280.0]),
    (0, [195.0, 230.0, 245.0, 245.0, 285.0, 305.0, 325.0]),
    (-1, [225.0, 265.0, 285.0, 285.0, 330.0, 355.0, 370.0]),
    (-2, [260.0, 310.0, 330.0, 330.0, 385.0, 410.0, 430.0]),
    (-3, [300.0, 360.0, 385.0, 385.0, 445.0, 475.0, 510.0]),
];

/// Ambient of [`TABLE`], K.
const TABLE_AMBIENT: f64 = ZERO_CELSIUS + 30.0;

/// The exponent p of (Ti − Ta)^p that gives the regulation's factor of 0.85 for 105 °C insulation at 50 °C exactly. A
/// pure heat balance with a constant film coefficient would give 0.5.
fn exponent() -> f64 {
    0.85_f64.ln() / (55.0_f64 / 75.0).ln()
}

/// An ampacity and the pieces it is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CableRating {
    /// One cable at 30 °C, from the table.
    pub listed: ElectricCurrent,
    /// Factor for the ambient.
    pub ambient_factor: f64,
    /// Factor for the conductors that lie together.
    pub bundling_factor: f64,
    /// Cables in parallel.
    pub parallel: u32,
    /// All cables together.
    pub total: ElectricCurrent,
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
    worked(size, insulation, ambient, parallel, bundled).map(|worked| worked.total)
}

/// As [`ampacity`], with its pieces.
///
/// # Errors
/// Refuses outside the range of [`METHOD`].
pub fn worked(
    size: Area,
    insulation: ThermodynamicTemperature,
    ambient: ThermodynamicTemperature,
    parallel: u32,
    bundled: u32,
) -> Result<CableRating, Refusal> {
    let class = checked_class(insulation)?;
    let listed = listed(size, class - ZERO_CELSIUS)?;
    let ambient_factor = over_30_degrees(class, ambient)?.powf(exponent());
    within("the number of cables in parallel", f64::from(parallel), 1.0, 20.0, 1.0, "")?;
    let bundling_factor = bundling(bundled)?;
    Ok(CableRating {
        listed: ElectricCurrent::new::<ampere>(listed),
        ambient_factor,
        bundling_factor,
        parallel,
        total: ElectricCurrent::new::<ampere>(
            listed * ambient_factor * bundling_factor * f64::from(parallel),
        ),
    })
}

/// Factor for conductors that lie together (33 CFR 183.425, note 2 to table 5, from memory).
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

fn checked_class(insulation: ThermodynamicTemperature) -> Result<f64, Refusal> {
    within_temperature(
        "the insulation's temperature class",
        insulation.get::<kelvin>(),
        ZERO_CELSIUS + 60.0,
        ZERO_CELSIUS + 200.0,
    )
}

/// Rise allowed at the ambient, over the rise allowed at 30 °C.
fn over_30_degrees(class: f64, ambient: ThermodynamicTemperature) -> Result<f64, Refusal> {
    let ambient = within_temperature(
        "the ambient temperature",
        ambient.get::<kelvin>(),
        ZERO_CELSIUS - 40.0,
        class - 5.0,
    )?;
    Ok((class - ambient) / (class - TABLE_AMBIENT))
}

/// Value of the table, interpolated, A.
fn listed(size: Area, class: f64) -> Result<f64, Refusal> {
    let size = size.get::<square_meter>();
    let area = |awg: i32| awg_area(awg).get::<square_meter>();
    let [(thinnest, _), .., (thickest, _)] = TABLE;
    // A thousandth of slack lets "107.2 mm²" be 4/0.
    within("the cable's cross-section", size, area(thinnest) * 0.999, area(thickest) * 1.001, 1e6, "mm²")?;
    let mut below = (area(thinnest), 0.0);
    for (awg, amperes) in &TABLE {
        let here = (area(*awg), of_class(amperes, class));
        if (size / here.0 - 1.0).abs() < 1e-9 {
            return Ok(here.1);
        }
        if here.0 > size || *awg == thickest {
            return Ok(between(size, below, here));
        }
        below = here;
    }
    Ok(below.1)
}

/// A straight line on logarithmic scales; the first listed size has nothing below it and stands for itself.
fn between(size: f64, below: (f64, f64), above: (f64, f64)) -> f64 {
    if below.1 == 0.0 {
        return above.1;
    }
    let share = (size / below.0).ln() / (above.0 / below.0).ln();
    below.1 * (above.1 / below.1).powf(share)
}

/// The column of a class, or a straight line between the two it lies between.
fn of_class(amperes: &[f64; 7], class: f64) -> f64 {
    let [mut below, ..] = CLASSES;
    let [mut amperes_below, ..] = *amperes;
    for (here, of_here) in CLASSES.into_iter().zip(*amperes) {
        // A class given in kelvin comes back with a rounding error in its last digit.
        if (class - here).abs() < 1e-9 {
            return of_here;
        }
        if class < here && here > below {
            return amperes_below + (of_here - amperes_below) * (class - below) / (here - below);
        }
        (below, amperes_below) = (here, of_here);
    }
    amperes_below
}

#[cfg(test)]
mod tests {
    use uom::si::area::square_millimeter;
    use uom::si::thermodynamic_temperature::degree_celsius;

    use super::*;

    fn celsius(value: f64) -> ThermodynamicTemperature {
        ThermodynamicTemperature::new::<degree_celsius>(value)
    }

    fn amps(mm2: f64, class: f64, ambient: f64) -> Result<f64, Refusal> {
        ampacity(Area::new::<square_millimeter>(mm2), celsius(class), celsius(ambient), 1, 1).map(|i| i.value)
    }

    #[test]
    fn metric_sizes_lie_between_their_neighbours() {
        let of_35 = amps(35.0, 105.0, 30.0).unwrap();
        assert!(of_35 > 210.0 && of_35 < 245.0, "{of_35}");
        for outside in [0.5, 120.0, 0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(amps(outside, 105.0, 30.0).is_err());
        }
        assert_eq!(amps(107.2, 105.0, 30.0).unwrap().round(), 445.0);
        assert_eq!(amps(0.823, 105.0, 30.0).unwrap().round(), 20.0);
    }

    #[test]
    fn classes_between_the_listed_ones_lie_between_them() {
        let of_70 = amps(35.0, 70.0, 30.0).unwrap();
        assert!(of_70 > amps(35.0, 60.0, 30.0).unwrap() && of_70 < amps(35.0, 75.0, 30.0).unwrap());
        // 180 °C silicone gains little over 125 °C in the regulation, far less than a heat balance would give it.
        let of_180 = amps(107.2, 180.0, 30.0).unwrap();
        assert!(of_180 > 475.0 && of_180 < 510.0, "{of_180}");
        assert!(amps(35.0, 59.0, 20.0).is_err() && amps(35.0, 201.0, 20.0).is_err());
        assert!(amps(35.0, 60.0, 56.0).is_err(), "no margin between ambient and insulation");
    }

    /// 33 CFR 183.425, note 1 to table 5: factors for engine spaces at 50 °C (0.85 read, the others from memory).
    #[test]
    fn never_above_the_regulation_at_50_degrees() {
        let factors = [0.58, 0.75, 0.78, 0.82, 0.85, 0.89, 1.00];
        for (class, factor) in CLASSES.into_iter().zip(factors) {
            let own = amps(35.0, class, 50.0).unwrap() / amps(35.0, class, 30.0).unwrap();
            assert!(own < factor + 1e-9 && own > factor - 0.07, "{class} °C: {own}");
        }
    }

    #[test]
    fn the_pieces_multiply() {
        let size = Area::new::<square_millimeter>(50.0);
        let worked = worked(size, celsius(105.0), celsius(45.0), 3, 3).unwrap();
        let product = worked.listed.value * worked.ambient_factor * worked.bundling_factor * 3.0;
        assert!((worked.total.value - product).abs() < 1e-9);
        assert_eq!(worked.bundling_factor, 0.7);
        assert!(ampacity(size, celsius(105.0), celsius(45.0), 0, 1).is_err());
        assert!(ampacity(size, celsius(105.0), celsius(45.0), 1, 0).is_err());
    }
}
