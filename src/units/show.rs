//! Showing values: the one place that chooses units and digits.

use super::{Dimension, Unit, find_unit};

/// Preferred units by dimension, smallest first: the value is shown in the last one that does not
/// make it smaller than its threshold.
const PREFERRED: &[(Dimension, &[(&str, f64)])] = &[
    (Dimension::CURRENT, &[("mA", 0.0), ("A", 1.0), ("kA", 10_000.0)]),
    (Dimension::VOLTAGE, &[("mV", 0.0), ("V", 1.0)]),
    (Dimension::RESISTANCE, &[("µΩ", 0.0), ("mΩ", 1e-3), ("Ω", 1.0), ("kΩ", 1e3)]),
    (Dimension::CHARGE, &[("Ah", 0.0)]),
    (Dimension::ENERGY, &[("Wh", 0.0), ("mJ", 1e-9), ("J", 1.0), ("Wh", 36.0), ("kWh", 3.6e7)]),
    (Dimension::POWER, &[("mW", 0.0), ("W", 0.1), ("kW", 1e4)]),
    (Dimension::LENGTH, &[("mm", 0.0), ("m", 2.0)]),
    (Dimension::AREA, &[("mm²", 0.0), ("m²", 0.1)]),
    (Dimension::VOLUME, &[("cm³", 0.0), ("L", 1e-3)]),
    (Dimension::MASS, &[("g", 0.0), ("kg", 1.0)]),
    (Dimension::TIME, &[("ms", 0.0), ("s", 0.1), ("min", 300.0), ("h", 18_000.0), ("days", 345_600.0)]),
    (Dimension::TEMPERATURE, &[("°C", 0.0)]),
    (Dimension::TEMPERATURE_DIFFERENCE, &[("K", 0.0)]),
    (Dimension::TORQUE, &[("N·m", 0.0)]),
    (Dimension::RATE, &[("C", 0.0)]),
    (Dimension::THERMAL_RESISTANCE, &[("K/W", 0.0)]),
    (Dimension::CONDUCTIVITY, &[("W/(m·K)", 0.0)]),
    (Dimension::FILM, &[("W/(m²·K)", 0.0)]),
    (Dimension::CURRENT_DENSITY, &[("A/mm²", 0.0)]),
    (Dimension::DENSITY, &[("g/cm³", 0.0)]),
    (Dimension::SPECIFIC_ENERGY, &[("Wh/kg", 0.0)]),
    (Dimension::ENERGY_DENSITY, &[("Wh/L", 0.0)]),
    (Dimension::LET_THROUGH, &[("A²s", 0.0), ("kA²s", 1e4), ("MA²s", 1e6)]),
];

/// A value with the trade's usual unit and four significant digits at most: `250 A`, `1.8 mΩ`. Ratios, rates, times and
/// powers, which follow from others, have three.
pub fn show(value: f64, dimension: Dimension) -> String {
    let few = [Dimension::NONE, Dimension::RATE, Dimension::TIME, Dimension::POWER];
    show_to(value, if few.contains(&dimension) { 3 } else { 4 }, dimension)
}

/// As [`show`], with so many significant digits at most; an expanded uncertainty has two (JCGM 100:2008, 7.2.6).
pub fn show_to(value: f64, digits: i32, dimension: Dimension) -> String {
    if dimension == Dimension::NONE {
        return minus(significant(value, digits));
    }
    let Some((symbol, unit)) = preferred(value, dimension) else {
        return minus(format!("{} {dimension}", significant(value, digits)));
    };
    let shown = value / unit.factor - unit.offset;
    let digits = if dimension.point { fixed(shown) } else { significant(shown, digits) };
    minus(format!("{digits} {symbol}"))
}

/// A number with the sign that is printed, in place of the hyphen of a keyboard.
fn minus(number: String) -> String {
    match number.strip_prefix('-') {
        Some(rest) => format!("−{rest}"),
        None => number,
    }
}

/// A value with its expanded uncertainty in the same unit, both to the uncertainty's second significant digit
/// (JCGM 100:2008, 7.2.6): `136.4 A ± 0.21 A`. Without uncertainty it is [`show`].
pub fn show_uncertain(value: f64, expanded: f64, dimension: Dimension) -> String {
    if !(expanded > 0.0 && expanded.is_finite()) {
        return show(value, dimension);
    }
    // What is less than its uncertainty has the unit of that.
    let larger = if dimension.point || value.abs() >= expanded { value } else { expanded };
    let (symbol, unit) =
        preferred(larger, dimension).unwrap_or(("", Unit { dimension, factor: 1.0, offset: 0.0 }));
    let half_width = expanded / unit.factor;
    let shown = value / unit.factor - unit.offset;
    let symbol = if symbol.is_empty() { String::new() } else { format!(" {symbol}") };
    // Behind ± a temperature stands for a difference.
    let step = if dimension.point { " K" } else { symbol.as_str() };
    let (shown, known) = (rounded_to(shown, half_width), rounded_to(half_width, half_width));
    format!("{}{symbol} ± {known}{step}", minus(shown))
}

/// A value to the second significant digit of an uncertainty; without one to four significant digits.
pub(crate) fn rounded_to(value: f64, uncertainty: f64) -> String {
    if !(uncertainty > 0.0 && uncertainty.is_finite()) {
        return significant(value, 4);
    }
    // The exponent is far inside i32 for every finite f64.
    #[expect(clippy::cast_possible_truncation, reason = "log10 of a finite f64 is below 400")]
    let exponent = uncertainty.log10().floor() as i32 - 1;
    // What rounds up to three digits has one decimal less: 10, not 10.0.
    let exponent = exponent + i32::from((uncertainty / 10.0_f64.powi(exponent)).round() >= 100.0);
    let decimals = usize::try_from(-exponent).unwrap_or(0).min(9);
    let step = 10.0_f64.powi(exponent.clamp(0, 300));
    let value = if exponent > 0 { (value / step).round() * step } else { value };
    format!("{value:.decimals$}")
}

/// A difference with its sign, to the digits that its expanded uncertainty leaves it, and the share that it is of `of`:
/// `−92 A ± 17 A (−46 %)`.
pub fn show_difference(value: f64, expanded: f64, dimension: Dimension, of: Option<f64>) -> String {
    let dimension = Dimension { point: false, ..dimension };
    let known = expanded > 0.0 && expanded.is_finite();
    // A number that is rounded to nought has no sign.
    let nought =
        |text: &str| !text.split(' ').next().is_some_and(|n| n.contains(|c| ('1'..='9').contains(&c)));
    let sign = |text: &str| match value {
        v if nought(text) || v == 0.0 => text.to_owned(),
        v if v > 0.0 => format!("+{text}"),
        _ => format!("−{text}"),
    };
    let mut text = sign(&show_uncertain(value.abs(), expanded, dimension));
    if let Some(of) = of.map(f64::abs).filter(|of| *of > 0.0) {
        let percent = 100.0 * value.abs() / of;
        let percent =
            if known { rounded_to(percent, 100.0 * expanded / of) } else { significant(percent, 3) };
        text.push_str(&format!(" ({} %)", sign(&percent)));
    }
    text
}

/// A range of values of one dimension, to the second significant digit of its width: `63 to 84 °C`.
pub fn show_range(low: f64, high: f64, dimension: Dimension) -> String {
    let wide = high - low;
    let Some((symbol, unit)) = preferred(high, dimension).filter(|_| wide > 0.0 && wide.is_finite()) else {
        return show(high, dimension);
    };
    let at = |value: f64| minus(rounded_to(value / unit.factor - unit.offset, wide / unit.factor));
    format!("{} to {} {symbol}", at(low), at(high))
}

/// The unit a value is shown in.
fn preferred(value: f64, dimension: Dimension) -> Option<(&'static str, Unit)> {
    let (_, units) = PREFERRED.iter().find(|(known, _)| *known == dimension)?;
    // The slack keeps 999.96 mΩ from being shown as "1000 mΩ".
    let magnitude = value.abs() * (1.0 + 5e-5);
    let fitting = units.iter().rev().find(|(_, threshold)| magnitude >= *threshold);
    // A zero is shown in the unit without prefix.
    let plain = units.iter().find(|(u, _)| find_unit(u).is_some_and(|u| u.factor == 1.0));
    let (symbol, _) = if value == 0.0 { plain.or(fitting) } else { fitting }?;
    Some((symbol, find_unit(symbol)?))
}

/// A ratio as a percentage: `103.7 %`.
pub fn show_percent(ratio: f64) -> String {
    format!("{} %", significant(ratio * 100.0, 4))
}

/// A ratio with its expanded uncertainty as a percentage, both in percentage points: `103.7 ± 0.4 %`.
pub fn show_percent_uncertain(ratio: f64, expanded: f64) -> String {
    format!("{} %", show_uncertain(100.0 * ratio, 100.0 * expanded, Dimension::NONE))
}

/// The SI unit of a dimension: `A`, `A·s`, `K`; 1 for a plain number.
pub fn si_unit(dimension: Dimension) -> String {
    let named = PREFERRED
        .iter()
        .filter(|(known, _)| *known == Dimension { point: false, ..dimension })
        .flat_map(|(_, units)| *units)
        .find(|(symbol, _)| find_unit(symbol).is_some_and(|unit| unit.factor == 1.0));
    match named {
        Some((symbol, _)) => (*symbol).to_owned(),
        None if dimension == Dimension::CHARGE => "A·s".to_owned(),
        None if dimension == Dimension::ENERGY => "J".to_owned(),
        None => dimension.to_string(),
    }
}

/// Temperatures: one decimal, none when it would be zero.
fn fixed(value: f64) -> String {
    let rounded = (value * 10.0).round() / 10.0;
    if rounded == 0.0 { "0".to_owned() } else { format!("{rounded}") }
}

/// A number with at most `digits` significant digits, never in exponent form unless it is extreme.
pub fn significant(value: f64, digits: i32) -> String {
    if !value.is_finite() {
        return "not a number".to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    // The exponent is far inside i32 for every finite f64.
    #[expect(clippy::cast_possible_truncation, reason = "log10 of a finite f64 is below 400")]
    let exponent = value.abs().log10().floor() as i32;
    if !(-6..12).contains(&exponent) {
        return format!("{value:.3e}");
    }
    let decimals = usize::try_from(digits - 1 - exponent).unwrap_or(0);
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_uncertainty() {
        let cases = [
            (136.4, 0.21, "136.40 A ± 0.21 A"),
            (108.2, 17.4, "108 A ± 17 A"),
            (7624.0, 109.0, "7620 A ± 110 A"),
            (384.0, 0.0, "384 A"),
            (0.0, 3.0, "0.0 A ± 3.0 A"),
        ];
        for (value, expanded, expected) in cases {
            assert_eq!(show_uncertain(value, expanded, Dimension::CURRENT), expected);
        }
        let cases = [
            (-92.46, 17.0, Some(200.0), "−92 A ± 17 A (−46.2 %)"),
            (77.39, 28.0, None, "+77 A ± 28 A"),
            (50.0, 0.0, Some(200.0), "+50 A (+25 %)"),
            (0.0, 0.0, Some(200.0), "0 A (0 %)"),
            (-0.9, 44.0, Some(200.0), "−1 A ± 44 A (0 %)"),
        ];
        for (value, expanded, of, expected) in cases {
            assert_eq!(show_difference(value, expanded, Dimension::CURRENT, of), expected);
        }
        let kelvin = |celsius: f64| celsius + 273.15;
        assert_eq!(show_range(kelvin(63.2), kelvin(84.0), Dimension::TEMPERATURE), "63 to 84 °C");
        assert_eq!(show_range(kelvin(259.8), kelvin(507.6), Dimension::TEMPERATURE), "260 to 510 °C");
        assert_eq!(show_range(kelvin(40.0), kelvin(40.0), Dimension::TEMPERATURE), "40 °C");
    }

    #[test]
    fn usual_units() {
        let cases = [
            (250.0, Dimension::CURRENT, "250 A"),
            (12_400.0, Dimension::CURRENT, "12.4 kA"),
            (2_000.0, Dimension::CURRENT, "2000 A"),
            (0.0123, Dimension::VOLTAGE, "12.3 mV"),
            (25.6, Dimension::VOLTAGE, "25.6 V"),
            (0.000_034_5, Dimension::RESISTANCE, "34.5 µΩ"),
            (0.001_8, Dimension::RESISTANCE, "1.8 mΩ"),
            (540_000.0, Dimension::CHARGE, "150 Ah"),
            (3840.0 * 3600.0, Dimension::ENERGY, "3840 Wh"),
            (273.15 + 61.04, Dimension::TEMPERATURE, "61 °C"),
            (30.0, Dimension::TEMPERATURE_DIFFERENCE, "30 K"),
            (1.0 / 3600.0, Dimension::RATE, "1 C"),
            (900.0, Dimension::TIME, "15 min"),
            (1.25, Dimension::NONE, "1.25"),
            (-3.5, Dimension::CURRENT, "−3.5 A"),
            (273.15 - 5.0, Dimension::TEMPERATURE, "−5 °C"),
            (4.0 / 3.0 / 3600.0, Dimension::RATE, "1.33 C"),
            (4.0 / 3.0, Dimension::POWER, "1.33 W"),
            (0.0, Dimension::CURRENT, "0 A"),
        ];
        for (value, dimension, expected) in cases {
            assert_eq!(show(value, dimension), expected);
        }
    }
}
