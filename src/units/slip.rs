//! What was probably meant by a quantity that cannot be: the same digits with another unit, or the point elsewhere.

use super::{Dimension, find_unit, parse, significant};

/// Units that are written one for the other, the likeliest first.
const MIXED_UP: &[(Dimension, &[&str])] = &[
    (Dimension::CURRENT, &["A", "mA", "kA"]),
    (Dimension::VOLTAGE, &["V", "mV", "kV"]),
    (Dimension::RESISTANCE, &["mΩ", "µΩ", "Ω"]),
    (Dimension::CHARGE, &["Ah", "mAh"]),
    (Dimension::ENERGY, &["Wh", "kWh", "mWh"]),
    (Dimension::POWER, &["W", "kW", "mW"]),
    (Dimension::LENGTH, &["mm", "cm", "in", "m", "µm"]),
    (Dimension::AREA, &["mm2", "cm2", "m2"]),
    (Dimension::MASS, &["kg", "g", "lb", "mg"]),
    (Dimension::TIME, &["s", "ms", "us", "min", "h"]),
    (Dimension::TEMPERATURE, &["degC", "degF"]),
    (Dimension::TORQUE, &["N·m", "lbf·in"]),
    (Dimension::THERMAL_RESISTANCE, &["K/W", "mK/W"]),
];

/// The text with the slip mended that makes it fit, where one is known. `far` says how far a text is from what is usual,
/// or nothing where it does not fit; of several that fit the nearest is taken.
pub fn likely_meant(text: &str, dimension: Dimension, far: impl Fn(&str) -> Option<f64>) -> Option<String> {
    // "70 mm2": the last digit belongs to the unit.
    let before = if text.ends_with("m2") { text.trim_end_matches('2') } else { text };
    let digits = before.rfind(|c: char| c.is_ascii_digit()).map_or(0, |at| at + 1);
    let (number, unit) = text.split_at(digits);
    let unit = unit.trim();
    let others = MIXED_UP.iter().find(|(of, _)| *of == dimension).map_or(&[][..], |(_, units)| *units);
    let of_unit =
        others.iter().filter(|other| **other != unit).map(|other| format!("{} {other}", number.trim()));
    let read = parse(text).ok().filter(|_| !dimension.point).map(|read| read.value);
    // A wrong unit is likelier than a point that is off by one place, and that than one that is off by two.
    let of_point = [(0.1, 0.5), (10.0, 0.5), (0.01, 2.0), (100.0, 2.0)]
        .iter()
        .filter_map(|(factor, unlikely)| shifted(read? * factor, unit).map(|text| (*unlikely, text)));
    let candidates = of_unit.map(|text| (0.0, text)).chain(of_point);
    let scored = candidates.filter_map(|(unlikely, text)| Some((far(&text)? + unlikely, text)));
    scored.min_by(|one, other| one.0.total_cmp(&other.0)).map(|(_, text)| text)
}

/// The same unit with another number.
fn shifted(value: f64, unit: &str) -> Option<String> {
    Some(format!("{} {unit}", significant(value / find_unit(unit)?.factor, 6)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_likeliest_slip_is_named() {
        let within = |least: f64, most: f64| {
            move |text: &str| {
                let value = parse(text).ok()?.value;
                (least..=most).contains(&value).then(|| (value / (least * most).sqrt()).ln().abs())
            }
        };
        for (text, dimension, least, most, meant) in [
            ("0.35 Ω", Dimension::RESISTANCE, 1e-4, 1e-2, Some("0.35 mΩ")),
            ("100 mA", Dimension::CURRENT, 1.0, 950.0, Some("100 A")),
            ("300 degC", Dimension::TEMPERATURE, 278.0, 333.0, None),
            ("77 degC", Dimension::TEMPERATURE, 278.0, 333.0, Some("77 degF")),
            ("7 mm2", Dimension::AREA, 1e-5, 4e-4, Some("70 mm2")),
            ("70 cm2", Dimension::AREA, 1e-6, 4e-4, Some("70 mm2")),
            ("1500 A", Dimension::CURRENT, 1.0, 950.0, Some("150 A")),
            ("3 m", Dimension::LENGTH, 1e-4, 2e-2, Some("3 mm")),
        ] {
            assert_eq!(likely_meant(text, dimension, within(least, most)).as_deref(), meant, "{text}");
        }
    }
}
