//! Joints: how tight a bolt is, which metals do not go together.

use uom::si::f64::Torque;
use uom::si::torque::newton_meter;

use super::Method;
use super::material::Material;

/// The method, for working and explanations.
pub const METHOD: Method = Method {
    name: "joint resistance from a millivolt reading",
    formula: "R = U / I;  P = I² · R",
    source: "Ohm's law",
    range: "current 0.1 A to 100 kA, drop 0 V to 10 V",
};

/// Usual tightening torque of a steel bolt, property class 8.8, dry thread (friction 0.14; usual workshop tables
/// after VDI 2230, from memory). Electrical joints follow the maker of the terminal first.
#[must_use]
pub fn usual_torque(thread: &str) -> Option<Torque> {
    let newton_metres = match thread.trim().to_ascii_uppercase().as_str() {
        "M4" => 2.8,
        "M5" => 5.5,
        "M6" => 9.5,
        "M8" => 23.0,
        "M10" => 46.0,
        "M12" => 79.0,
        _ => return None,
    };
    Some(Torque::new::<newton_meter>(newton_metres))
}

/// Difference of the anodic indices of two metals, V: the drive of galvanic corrosion.
#[must_use]
pub fn galvanic_difference(one: Material, other: Material) -> f64 {
    (one.anodic_index() - other.anodic_index()).abs()
}
