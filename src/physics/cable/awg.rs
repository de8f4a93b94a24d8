//! American Wire Gauge sizes.
//!
//! A size is a number from 40 (0.08 mm) down to −3, which is written 4/0. Sizes above 4/0 are given in kcmil and are
//! refused here, and so is a cross-section that is no gauge size.

use std::fmt;
use std::str::FromStr;

use uom::si::area::square_millimeter;
use uom::si::f64::{Area, Length};
use uom::si::length::millimeter;

use super::{Method, Refusal, within};

/// An American Wire Gauge size; 1/0 is number 0, 4/0 is −3.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AwgSize(i32);

impl AwgSize {
    /// How sizes are made.
    pub const METHOD: Method = Method {
        name: "American Wire Gauge",
        formula: "diameter = 0.127 mm · 92^((36 − n) / 39); area of the round; 2/0 is n = −1, 4/0 is n = −3",
        source: "ASTM B258 (from memory)",
        range: "4/0 to 40 AWG; of a strand the sum of its wires counts",
    };

    /// The size of a number.
    ///
    /// # Errors
    /// Refuses numbers outside −3 to 40.
    pub fn new(number: i32) -> Result<Self, Refusal> {
        within("the AWG number (4/0 is −3)", f64::from(number), -3.0, 40.0, 1.0, "")?;
        Ok(Self(number))
    }

    /// Its number.
    #[must_use]
    pub const fn number(self) -> i32 {
        self.0
    }

    /// Diameter of the solid round wire.
    #[must_use]
    pub fn diameter(self) -> Length {
        let area = crate::units::awg_square_millimetres(self.0);
        Length::new::<millimeter>((area * 4.0 / std::f64::consts::PI).sqrt())
    }

    /// Cross-section.
    #[must_use]
    pub fn area(self) -> Area {
        awg_area(self.0)
    }

    /// The gauge size of a cross-section, for cables that were measured or sold by the square millimetre.
    ///
    /// # Errors
    /// Refuses a cross-section more than 6 % from the nearest size: neighbouring sizes lie 26 % apart.
    pub fn nearest(area: Area) -> Result<Self, Refusal> {
        let (smallest, largest) = (awg_area(40), awg_area(-3));
        let from = smallest.get::<square_millimeter>() * 0.94;
        let to = largest.get::<square_millimeter>() * 1.06;
        let area = within("the cross-section", area.get::<square_millimeter>(), from, to, 1.0, "mm²")?;
        let mut best: Option<(f64, i32)> = None;
        for number in -3..=40 {
            let off = (area / crate::units::awg_square_millimetres(number)).ln().abs();
            if best.is_none_or(|(least, _)| off < least) {
                best = Some((off, number));
            }
        }
        match best {
            Some((off, number)) if off <= 0.06 => Ok(Self(number)),
            _ => Err(Refusal::NoResult(format!("{} mm² is no AWG size", crate::units::significant(area, 4)))),
        }
    }
}

impl fmt::Display for AwgSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 > 0 { write!(f, "{} AWG", self.0) } else { write!(f, "{}/0 AWG", 1 - self.0) }
    }
}

impl FromStr for AwgSize {
    type Err = Refusal;

    /// Reads `4/0 AWG`, `0000`, `10`, `AWG 10`.
    fn from_str(text: &str) -> Result<Self, Refusal> {
        let wrong = || Refusal::NoResult("an AWG size looks like 10 AWG or 4/0 AWG".to_owned());
        let upper = text.trim().to_ascii_uppercase();
        let bare = upper.strip_prefix("AWG").or_else(|| upper.strip_suffix("AWG")).unwrap_or(&upper).trim();
        if let Some(noughts) = bare.strip_suffix("/0") {
            return match noughts.parse::<i32>() {
                Ok(noughts @ 1..=4) => Ok(Self(1 - noughts)),
                _ => Err(wrong()),
            };
        }
        match bare {
            "0" => Ok(Self(0)),
            "00" => Ok(Self(-1)),
            "000" => Ok(Self(-2)),
            "0000" => Ok(Self(-3)),
            _ if bare.bytes().all(|b| b.is_ascii_digit()) => Self::new(bare.parse().map_err(|_| wrong())?),
            _ => Err(wrong()),
        }
    }
}

/// Cross-section of an American Wire Gauge size; 4/0 is number −3.
#[must_use]
pub fn awg_area(number: i32) -> Area {
    Area::new::<square_millimeter>(crate::units::awg_square_millimetres(number))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ASTM B258 (from memory): 36 AWG is 0.127 mm, 4/0 is 11.684 mm (0.46 in) by definition.
    #[test]
    fn both_ends_of_the_definition() {
        for (number, diameter) in [(36, 0.127), (-3, 11.684), (10, 2.588), (0, 8.251)] {
            let found = AwgSize::new(number).unwrap().diameter().get::<millimeter>();
            assert!((found / diameter - 1.0).abs() < 2e-4, "{number}: {found}");
        }
    }

    #[test]
    fn written_and_read_back() {
        for number in -3..=40 {
            let size = AwgSize::new(number).unwrap();
            assert_eq!(size.to_string().parse::<AwgSize>().unwrap(), size);
            assert_eq!(AwgSize::nearest(size.area()).unwrap(), size);
        }
        assert_eq!("AWG 10".parse::<AwgSize>().unwrap().number(), 10);
        assert_eq!("0000".parse::<AwgSize>().unwrap().to_string(), "4/0 AWG");
        for bad in ["", "AWG", "5/0", "41", "-1", "0/0", "ten", "99999999999", "4/0/0"] {
            assert!(bad.parse::<AwgSize>().is_err(), "{bad}");
        }
        assert!(AwgSize::new(i32::MIN).is_err());
    }

    #[test]
    fn metric_sizes_are_no_gauge_sizes_unless_close() {
        let nearest = |mm2: f64| AwgSize::nearest(Area::new::<square_millimeter>(mm2));
        assert_eq!(nearest(35.0).unwrap().to_string(), "2 AWG");
        assert!(nearest(30.0).is_err() && nearest(f64::NAN).is_err() && nearest(500.0).is_err());
    }
}
