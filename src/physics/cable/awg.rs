//! American Wire Gauge sizes by number, 4/0 being −3: diameter = 0.127 mm · 92^((36 − n) / 39), area of the round (ASTM B258,
//! from memory). Of a strand the sum of its wires counts.

use uom::si::area::square_millimeter;
use uom::si::f64::Area;

/// Cross-section of an American Wire Gauge size; 4/0 is number −3.
pub fn awg_area(number: i32) -> Area {
    Area::new::<square_millimeter>(crate::units::awg_square_millimetres(number))
}

/// Its name: `10 AWG`, `4/0 AWG`.
pub fn awg_name(number: i32) -> String {
    if number > 0 { format!("{number} AWG") } else { format!("{}/0 AWG", 1 - number) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ASTM B258 (from memory): 36 AWG is 0.127 mm, 4/0 is 11.684 mm (0.46 in) by definition.
    #[test]
    fn both_ends_of_the_definition() {
        for (number, name, diameter) in
            [(36, "36 AWG", 0.127), (-3, "4/0 AWG", 11.684), (10, "10 AWG", 2.588), (0, "1/0 AWG", 8.251)]
        {
            let round = std::f64::consts::FRAC_PI_4 * diameter * diameter;
            let found = awg_area(number).get::<square_millimeter>();
            assert!((found / round - 1.0).abs() < 4e-4, "{number}: {found}");
            assert_eq!(awg_name(number), name);
        }
    }
}
