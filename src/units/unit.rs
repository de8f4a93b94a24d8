//! Units: their spellings, their dimension and their size in SI.
//!
//! Compound units (`W/(m·K)`, `A/mm²`, `Wh/kg`) are read by a small recursive parser over the simple
//! ones, so that every combination of listed units works without being listed itself.

use std::collections::HashMap;
use std::sync::OnceLock;

use super::Dimension;

/// A unit: SI value = (written value + `offset`) × `factor`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// What kind of quantity it measures.
    pub dimension: Dimension,
    /// Size in SI base units.
    pub factor: f64,
    /// Added before scaling; only the temperature scales have one.
    pub offset: f64,
}

const fn unit(dimension: Dimension, factor: f64) -> Unit {
    Unit { dimension, factor, offset: 0.0 }
}

/// Spellings that may carry a metric prefix.
const PREFIXABLE: &[(&str, Unit)] = &[
    ("A", unit(Dimension::CURRENT, 1.0)),
    ("V", unit(Dimension::VOLTAGE, 1.0)),
    ("Ω", unit(Dimension::RESISTANCE, 1.0)), // U+03A9, Greek capital omega
    ("\u{2126}", unit(Dimension::RESISTANCE, 1.0)), // the ohm sign
    ("ohm", unit(Dimension::RESISTANCE, 1.0)),
    ("ohms", unit(Dimension::RESISTANCE, 1.0)),
    ("Ohm", unit(Dimension::RESISTANCE, 1.0)),
    ("Ah", unit(Dimension::CHARGE, 3600.0)),
    ("Wh", unit(Dimension::ENERGY, 3600.0)),
    ("W", unit(Dimension::POWER, 1.0)),
    ("J", unit(Dimension::ENERGY, 1.0)),
    ("mJ", unit(Dimension::ENERGY, 1e-3)),
    ("m", unit(Dimension::LENGTH, 1.0)),
    ("g", unit(Dimension::MASS, 1e-3)),
    ("s", unit(Dimension::TIME, 1.0)),
    ("L", unit(Dimension::VOLUME, 1e-3)),
    ("l", unit(Dimension::VOLUME, 1e-3)),
];

/// Metric prefixes (BIPM, SI brochure, 9th edition, table 7). Both micro signs and `u` are accepted.
const PREFIXES: &[(&str, f64)] = &[
    ("n", 1e-9),
    ("\u{b5}", 1e-6),
    ("\u{3bc}", 1e-6),
    ("u", 1e-6),
    ("m", 1e-3),
    ("c", 1e-2),
    ("d", 1e-1),
    ("k", 1e3),
    ("M", 1e6),
    ("G", 1e9),
];

/// Kelvin of 0 °C (exact: BIPM, SI brochure) and of 0 °F.
const ZERO_CELSIUS: f64 = 273.15;
const FAHRENHEIT_OFFSET: f64 = 459.67;

const CELSIUS: Unit = Unit { dimension: Dimension::TEMPERATURE, factor: 1.0, offset: ZERO_CELSIUS };
const FAHRENHEIT: Unit =
    Unit { dimension: Dimension::TEMPERATURE, factor: 5.0 / 9.0, offset: FAHRENHEIT_OFFSET };
const KELVIN: Unit = unit(Dimension::TEMPERATURE_DIFFERENCE, 1.0);
const FAHRENHEIT_STEP: Unit = unit(Dimension::TEMPERATURE_DIFFERENCE, 5.0 / 9.0);
const INCH: f64 = 0.0254;
const POUND: f64 = 0.453_592_37;
/// Newton metres of one pound-force inch: 0.453 592 37 kg × 9.806 65 m/s² × 0.0254 m.
const POUND_FORCE_INCH: f64 = POUND * 9.806_65 * INCH;
const CONDUCTIVITY: Unit = unit(Dimension::CONDUCTIVITY, 1.0);

/// Spellings that stand for themselves, without prefix.
const FIXED: &[(&str, Unit)] = &[
    ("", unit(Dimension::NONE, 1.0)),
    ("%", unit(Dimension::NONE, 0.01)),
    ("ppm", unit(Dimension::NONE, 1e-6)),
    ("°C", CELSIUS),
    ("degC", CELSIUS),
    ("\u{2103}", CELSIUS),
    ("°F", FAHRENHEIT),
    ("degF", FAHRENHEIT),
    ("\u{2109}", FAHRENHEIT),
    ("K", KELVIN),
    ("Δ°C", KELVIN),
    ("delta degC", KELVIN),
    ("Δ°F", FAHRENHEIT_STEP),
    ("delta degF", FAHRENHEIT_STEP),
    ("in", unit(Dimension::LENGTH, INCH)),
    ("inch", unit(Dimension::LENGTH, INCH)),
    ("\"", unit(Dimension::LENGTH, INCH)),
    ("\u{2033}", unit(Dimension::LENGTH, INCH)),
    ("ft", unit(Dimension::LENGTH, 12.0 * INCH)),
    ("mil", unit(Dimension::LENGTH, INCH / 1000.0)),
    ("lb", unit(Dimension::MASS, POUND)),
    ("lbs", unit(Dimension::MASS, POUND)),
    ("oz", unit(Dimension::MASS, POUND / 16.0)),
    ("min", unit(Dimension::TIME, 60.0)),
    ("h", unit(Dimension::TIME, 3600.0)),
    ("hr", unit(Dimension::TIME, 3600.0)),
    ("d", unit(Dimension::TIME, 86_400.0)),
    ("day", unit(Dimension::TIME, 86_400.0)),
    ("days", unit(Dimension::TIME, 86_400.0)),
    ("N·m", unit(Dimension::TORQUE, 1.0)),
    ("N*m", unit(Dimension::TORQUE, 1.0)),
    ("N m", unit(Dimension::TORQUE, 1.0)),
    ("Nm", unit(Dimension::TORQUE, 1.0)),
    ("lbf·in", unit(Dimension::TORQUE, POUND_FORCE_INCH)),
    ("lbf in", unit(Dimension::TORQUE, POUND_FORCE_INCH)),
    ("in·lbf", unit(Dimension::TORQUE, POUND_FORCE_INCH)),
    ("lbf·ft", unit(Dimension::TORQUE, 12.0 * POUND_FORCE_INCH)),
    ("lbf ft", unit(Dimension::TORQUE, 12.0 * POUND_FORCE_INCH)),
    ("ft·lbf", unit(Dimension::TORQUE, 12.0 * POUND_FORCE_INCH)),
    // The trade's C-rate: current over capacity, so 1 C is one per hour. The coulomb is not offered.
    ("C", unit(Dimension::RATE, 1.0 / 3600.0)),
    ("A2s", unit(Dimension::LET_THROUGH, 1.0)),
    ("A²s", unit(Dimension::LET_THROUGH, 1.0)),
    ("A²·s", unit(Dimension::LET_THROUGH, 1.0)),
    ("kA²s", unit(Dimension::LET_THROUGH, 1e3)),
    ("MA²s", unit(Dimension::LET_THROUGH, 1e6)),
    // Commonly written without the parentheses that arithmetic would need.
    ("W/mK", CONDUCTIVITY),
    ("W/m·K", CONDUCTIVITY),
    ("W/m/K", CONDUCTIVITY),
    ("°C/W", unit(Dimension::THERMAL_RESISTANCE, 1.0)),
    ("degC/W", unit(Dimension::THERMAL_RESISTANCE, 1.0)),
];

/// The unit of a spelling, simple or compound; `None` when it is not one.
pub fn find_unit(spelling: &str) -> Option<Unit> {
    let spelling = spelling.trim();
    if spelling.len() > 40 {
        return None;
    }
    simple(spelling).or_else(|| {
        let mut rest = Compound { rest: spelling, depth: 0 };
        let found = rest.product()?;
        rest.rest.trim().is_empty().then_some(found)
    })
}

/// All spellings without prefix, for suggestions.
pub fn unit_spellings() -> impl Iterator<Item = &'static str> {
    PREFIXABLE.iter().chain(FIXED).map(|(spelling, _)| *spelling).filter(|s| !s.is_empty())
}

/// Every simple spelling, with every prefix where one may stand: looked up for each value of each record.
fn simple(spelling: &str) -> Option<Unit> {
    static SPELLINGS: OnceLock<HashMap<String, Unit>> = OnceLock::new();
    let spellings = SPELLINGS.get_or_init(|| {
        let mut spellings: HashMap<String, Unit> = HashMap::new();
        for (base, unit) in PREFIXABLE {
            for (prefix, factor) in PREFIXES {
                spellings.insert(format!("{prefix}{base}"), Unit { factor: unit.factor * factor, ..*unit });
            }
        }
        // A spelling that stands for itself goes before one with a prefix: "min" is a minute, not a milli-inch.
        spellings
            .extend(PREFIXABLE.iter().chain(FIXED).map(|(spelling, unit)| ((*spelling).to_owned(), *unit)));
        spellings
    });
    spellings.get(spelling).copied()
}

struct Compound<'a> {
    rest: &'a str,
    depth: u8,
}

impl Compound<'_> {
    fn product(&mut self) -> Option<Unit> {
        let mut result = self.power()?;
        loop {
            self.rest = self.rest.trim_start();
            let divide = self.rest.starts_with('/');
            let Some(rest) = self.rest.strip_prefix(['/', '·', '*']) else {
                return Some(result);
            };
            self.rest = rest;
            let next = self.power()?;
            result = join(result, next, divide)?;
        }
    }

    fn power(&mut self) -> Option<Unit> {
        self.rest = self.rest.trim_start();
        let base = if let Some(rest) = self.rest.strip_prefix('(') {
            self.depth += 1;
            if self.depth > 4 {
                return None;
            }
            self.rest = rest;
            let inner = self.product()?;
            self.rest = self.rest.trim_start().strip_prefix(')')?;
            inner
        } else {
            let end = self
                .rest
                .find(|c: char| !(c.is_alphabetic() || matches!(c, '°' | '%' | '\u{b5}' | 'Δ')))
                .unwrap_or(self.rest.len());
            let (word, rest) = self.rest.split_at(end);
            if word.is_empty() {
                return None;
            }
            self.rest = rest;
            simple(word)?
        };
        let exponent = self.exponent();
        if exponent == 1 {
            return Some(base);
        }
        if base.offset != 0.0 {
            return None;
        }
        Some(unit(base.dimension.power(exponent)?, base.factor.powi(i32::from(exponent))))
    }

    fn exponent(&mut self) -> i8 {
        for (mark, exponent) in [("²", 2), ("³", 3), ("^2", 2), ("^3", 3), ("2", 2), ("3", 3)] {
            if let Some(rest) = self.rest.strip_prefix(mark) {
                self.rest = rest;
                return exponent;
            }
        }
        1
    }
}

fn join(left: Unit, right: Unit, divide: bool) -> Option<Unit> {
    if left.offset != 0.0 || right.offset != 0.0 {
        return None;
    }
    Some(if divide {
        unit(left.dimension.over(right.dimension)?, left.factor / right.factor)
    } else {
        unit(left.dimension.times(right.dimension)?, left.factor * right.factor)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_of_the_trade() {
        let cases = [
            ("kA", Dimension::CURRENT, 1e3),
            ("mΩ", Dimension::RESISTANCE, 1e-3),
            ("m\u{2126}", Dimension::RESISTANCE, 1e-3),
            ("µΩ", Dimension::RESISTANCE, 1e-6),
            ("\u{3bc}ohm", Dimension::RESISTANCE, 1e-6),
            ("uohm", Dimension::RESISTANCE, 1e-6),
            ("mAh", Dimension::CHARGE, 3.6),
            ("kWh", Dimension::ENERGY, 3.6e6),
            ("mm", Dimension::LENGTH, 1e-3),
            ("cm", Dimension::LENGTH, 1e-2),
            ("mm2", Dimension::AREA, 1e-6),
            ("mm²", Dimension::AREA, 1e-6),
            ("mm^2", Dimension::AREA, 1e-6),
            ("in²", Dimension::AREA, 6.4516e-4),
            ("kg", Dimension::MASS, 1.0),
            ("W/(m·K)", Dimension::CONDUCTIVITY, 1.0),
            ("W/(m*K)", Dimension::CONDUCTIVITY, 1.0),
            ("A/mm2", Dimension::CURRENT_DENSITY, 1e6),
            ("Wh/kg", Dimension::SPECIFIC_ENERGY, 3600.0),
            ("Wh/L", Dimension::ENERGY_DENSITY, 3.6e6),
            ("K/W", Dimension::THERMAL_RESISTANCE, 1.0),
            ("A²·s", Dimension::LET_THROUGH, 1.0),
            ("µΩ/ft", Dimension { length: 1, ..Dimension::RESISTANCE }, 1e-6 / 0.3048),
        ];
        for (spelling, dimension, factor) in cases {
            let found = find_unit(spelling).unwrap_or_else(|| panic!("{spelling} not found"));
            assert_eq!(found.dimension, dimension, "{spelling}");
            assert!((found.factor / factor - 1.0).abs() < 1e-12, "{spelling}: {}", found.factor);
        }
    }

    #[test]
    fn what_is_not_a_unit() {
        for spelling in ["amps", "Kg", "degrees", "mm4", "°C·m", "A//V", "((((((A))))))", "mC"] {
            assert_eq!(find_unit(spelling), None, "{spelling}");
        }
    }
}
