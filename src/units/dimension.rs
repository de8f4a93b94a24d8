//! Dimensions: exponents of the SI base units, and the names the trade gives to the common ones.

use std::fmt;

/// Exponents of length, mass, time, electric current and temperature.
///
/// `angle` keeps a torque (N·m) apart from an energy (J), which have the same SI base units.
/// `point` marks a temperature on a scale (°C, °F) as opposed to a temperature difference (K).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Dimension {
    /// Exponent of the metre.
    pub length: i8,
    /// Exponent of the kilogram.
    pub mass: i8,
    /// Exponent of the second.
    pub time: i8,
    /// Exponent of the ampere.
    pub current: i8,
    /// Exponent of the kelvin.
    pub temperature: i8,
    /// Exponent of the radian; −1 for a torque.
    pub angle: i8,
    /// True for a temperature on a scale.
    pub point: bool,
}

const fn dim(length: i8, mass: i8, time: i8, current: i8, temperature: i8) -> Dimension {
    Dimension { length, mass, time, current, temperature, angle: 0, point: false }
}

impl Dimension {
    /// A plain number, a count, a ratio or a percentage.
    pub const NONE: Self = dim(0, 0, 0, 0, 0);
    /// Electric current, A.
    pub const CURRENT: Self = dim(0, 0, 0, 1, 0);
    /// Electric potential, V.
    pub const VOLTAGE: Self = dim(2, 1, -3, -1, 0);
    /// Electrical resistance, Ω.
    pub const RESISTANCE: Self = dim(2, 1, -3, -2, 0);
    /// Electric charge (capacity), A·s.
    pub const CHARGE: Self = dim(0, 0, 1, 1, 0);
    /// Energy, J.
    pub const ENERGY: Self = dim(2, 1, -2, 0, 0);
    /// Power, W.
    pub const POWER: Self = dim(2, 1, -3, 0, 0);
    /// Length, m.
    pub const LENGTH: Self = dim(1, 0, 0, 0, 0);
    /// Area, m².
    pub const AREA: Self = dim(2, 0, 0, 0, 0);
    /// Volume, m³.
    pub const VOLUME: Self = dim(3, 0, 0, 0, 0);
    /// Mass, kg.
    pub const MASS: Self = dim(0, 1, 0, 0, 0);
    /// Time, s.
    pub const TIME: Self = dim(0, 0, 1, 0, 0);
    /// A temperature on a scale, K.
    pub const TEMPERATURE: Self = Self { point: true, ..dim(0, 0, 0, 0, 1) };
    /// A temperature difference, K.
    pub const TEMPERATURE_DIFFERENCE: Self = dim(0, 0, 0, 0, 1);
    /// Torque, N·m.
    pub const TORQUE: Self = Self { angle: -1, ..dim(2, 1, -2, 0, 0) };
    /// C-rate: current over capacity, 1/s.
    pub const RATE: Self = dim(0, 0, -1, 0, 0);
    /// Thermal resistance, K/W.
    pub const THERMAL_RESISTANCE: Self = dim(-2, -1, 3, 0, 1);
    /// Film coefficient, W/(m²·K).
    pub const FILM: Self = dim(0, 1, -3, 0, -1);
    /// Thermal conductivity, W/(m·K).
    pub const CONDUCTIVITY: Self = dim(1, 1, -3, 0, -1);
    /// Current density, A/m².
    pub const CURRENT_DENSITY: Self = dim(-2, 0, 0, 1, 0);
    /// Density, kg/m³.
    pub const DENSITY: Self = dim(-3, 1, 0, 0, 0);
    /// Specific energy, J/kg.
    pub const SPECIFIC_ENERGY: Self = dim(2, 0, -2, 0, 0);
    /// Energy density, J/m³.
    pub const ENERGY_DENSITY: Self = dim(-1, 1, -2, 0, 0);
    /// Let-through, A²·s.
    pub const LET_THROUGH: Self = dim(0, 0, 1, 2, 0);

    /// The product of two dimensions, or `None` where a temperature on a scale is multiplied.
    pub fn times(self, other: Self) -> Option<Self> {
        self.combine(other, 1)
    }

    /// The quotient of two dimensions, or `None` where a temperature on a scale is divided.
    pub fn over(self, other: Self) -> Option<Self> {
        self.combine(other, -1)
    }

    fn combine(self, other: Self, sign: i8) -> Option<Self> {
        if self.point || other.point {
            return None;
        }
        let add = |a: i8, b: i8| a.checked_add(b.checked_mul(sign)?);
        Some(Self {
            length: add(self.length, other.length)?,
            mass: add(self.mass, other.mass)?,
            time: add(self.time, other.time)?,
            current: add(self.current, other.current)?,
            temperature: add(self.temperature, other.temperature)?,
            angle: add(self.angle, other.angle)?,
            point: false,
        })
    }

    /// A whole power, or `None` for a temperature on a scale or an exponent out of range.
    pub fn power(self, exponent: i8) -> Option<Self> {
        if self.point {
            return None;
        }
        let mul = |a: i8| a.checked_mul(exponent);
        Some(Self {
            length: mul(self.length)?,
            mass: mul(self.mass)?,
            time: mul(self.time)?,
            current: mul(self.current)?,
            temperature: mul(self.temperature)?,
            angle: mul(self.angle)?,
            point: false,
        })
    }

    /// The square root, or `None` where an exponent is odd.
    pub fn root(self) -> Option<Self> {
        if self.point {
            return None;
        }
        let half = |a: i8| (a % 2 == 0).then_some(a / 2);
        Some(Self {
            length: half(self.length)?,
            mass: half(self.mass)?,
            time: half(self.time)?,
            current: half(self.current)?,
            temperature: half(self.temperature)?,
            angle: half(self.angle)?,
            point: false,
        })
    }

    /// The dimension of a sum or, with `minus`, of a difference; `None` where they do not go together.
    ///
    /// Two temperatures on a scale have a difference but no sum.
    pub fn plus(self, other: Self, minus: bool) -> Option<Self> {
        let difference = Self::TEMPERATURE_DIFFERENCE;
        match (self == Self::TEMPERATURE, other == Self::TEMPERATURE) {
            (true, true) => minus.then_some(difference),
            (true, false) => (other == difference).then_some(Self::TEMPERATURE),
            (false, true) => (self == difference && !minus).then_some(Self::TEMPERATURE),
            (false, false) => (self == other).then_some(self),
        }
    }

    /// The common name with its article: "a current", "a temperature difference".
    pub fn name(self) -> String {
        NAMES
            .iter()
            .find(|(dimension, ..)| *dimension == self)
            .map_or_else(|| format!("a quantity in {self}"), |(_, name, _)| (*name).to_owned())
    }

    /// A right example for this dimension, as a user would write it.
    pub fn example(self) -> &'static str {
        NAMES.iter().find(|(dimension, ..)| *dimension == self).map_or("12 V", |(_, _, example)| example)
    }
}

/// Dimension, name with article, example.
const NAMES: &[(Dimension, &str, &str)] = &[
    (Dimension::NONE, "a plain number", "1.25"),
    (Dimension::CURRENT, "a current", "250 A"),
    (Dimension::VOLTAGE, "a voltage", "25.6 V"),
    (Dimension::RESISTANCE, "a resistance", "1.8 mΩ"),
    (Dimension::CHARGE, "a capacity", "150 Ah"),
    (Dimension::ENERGY, "an energy", "3840 Wh"),
    (Dimension::POWER, "a power", "120 W"),
    (Dimension::LENGTH, "a length", "25 mm"),
    (Dimension::AREA, "an area", "70 mm2"),
    (Dimension::VOLUME, "a volume", "12 L"),
    (Dimension::MASS, "a mass", "18.4 kg"),
    (Dimension::TIME, "a time", "15 min"),
    (Dimension::TEMPERATURE, "a temperature", "25 degC"),
    (Dimension::TEMPERATURE_DIFFERENCE, "a temperature difference", "30 K"),
    (Dimension::TORQUE, "a torque", "12 N·m"),
    (Dimension::RATE, "a C-rate", "0.5 C"),
    (Dimension::THERMAL_RESISTANCE, "a thermal resistance", "0.8 K/W"),
    (Dimension::CONDUCTIVITY, "a thermal conductivity", "3 W/(m·K)"),
    (Dimension::FILM, "a film coefficient", "5 W/(m²·K)"),
    (Dimension::CURRENT_DENSITY, "a current density", "2 A/mm2"),
    (Dimension::DENSITY, "a density", "8.9 g/cm3"),
    (Dimension::SPECIFIC_ENERGY, "a specific energy", "140 Wh/kg"),
    (Dimension::ENERGY_DENSITY, "an energy density", "280 Wh/L"),
    (Dimension::LET_THROUGH, "a let-through", "90000 A2s"),
];

impl fmt::Display for Dimension {
    /// SI base units, for dimensions that have no name of their own.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bases = [
            ("m", self.length),
            ("kg", self.mass),
            ("s", self.time),
            ("A", self.current),
            ("K", self.temperature),
            ("rad", self.angle),
        ];
        let mut first = true;
        for (symbol, exponent) in bases.into_iter().filter(|(_, exponent)| *exponent != 0) {
            if !first {
                f.write_str("·")?;
            }
            first = false;
            f.write_str(symbol)?;
            if exponent != 1 {
                write!(f, "^{exponent}")?;
            }
        }
        if first { f.write_str("1") } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn temperatures_and_differences_do_not_mix() {
        let (point, difference) = (Dimension::TEMPERATURE, Dimension::TEMPERATURE_DIFFERENCE);
        assert_eq!(point.plus(point, true), Some(difference));
        assert_eq!(point.plus(point, false), None);
        assert_eq!(point.plus(difference, false), Some(point));
        assert_eq!(difference.plus(point, true), None);
        assert_eq!(point.times(Dimension::NONE), None);
    }

    #[test]
    fn ohms_law_holds_for_dimensions() {
        assert_eq!(Dimension::CURRENT.times(Dimension::RESISTANCE), Some(Dimension::VOLTAGE));
        assert_eq!(Dimension::VOLTAGE.times(Dimension::CHARGE), Some(Dimension::ENERGY));
        assert_eq!(Dimension::CURRENT.over(Dimension::CHARGE), Some(Dimension::RATE));
    }

    #[test]
    fn every_example_has_the_dimension_it_stands_for() {
        for (dimension, name, example) in NAMES {
            let read = crate::units::parse(example).unwrap_or_else(|e| panic!("{name}: {e}"));
            assert_eq!(read.dimension, *dimension, "{name}");
        }
    }
}
