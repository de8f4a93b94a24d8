//! Joints: how tight a bolt is, which metals do not go together.

use uom::si::f64::Torque;
use uom::si::torque::newton_meter;

use super::Method;
use super::material::{Finish, Material};
pub use crate::record::parts::ThreadsInto;

/// The method, for working and explanations.
pub const METHOD: Method = Method {
    name: "joint resistance from a millivolt reading",
    formula: "R = U / I;  P = I² · R",
    source: "Ohm's law",
    range: "current 0.1 A to 100 kA, drop 0 V to 10 V",
};

/// Tightening torque of a thread by what it goes into: the least and the greatest that is usual there. A figure of the
/// maker of the part comes first.
///
/// Posts and studs: a user's guide of an LFP pack (M6 hole 2.6 N·m, M8 hole 5.6 N·m) and two manuals of lead-acid batteries
/// (M5 6.2, M6 8.5, M8 12.4 N·m; M6 stud 4.5 to 6.3, M8 stud 6.6 to 8.5, M10 13 to 16 N·m); boards: an open BMS (M5
/// 2.2 N·m). All read. Steel bolts: property class 8.8, dry (friction 0.14; workshop tables after VDI 2230, from memory).
pub fn usual_torque(thread: &str, into: ThreadsInto) -> Option<(Torque, Torque)> {
    let thread = thread.trim().to_ascii_uppercase();
    let (least, most) = match (into, thread.as_str()) {
        (ThreadsInto::CellPost | ThreadsInto::CellStud, "M5") => (2.2, 6.2),
        (ThreadsInto::CellPost, "M6") => (2.6, 8.5),
        (ThreadsInto::CellStud, "M6") => (4.5, 8.5),
        (ThreadsInto::CellPost, "M8") => (5.6, 12.4),
        (ThreadsInto::CellStud, "M8") => (6.6, 12.4),
        (ThreadsInto::CellPost | ThreadsInto::CellStud, "M10") => (13.0, 16.0),
        (ThreadsInto::Board, "M5") => (2.2, 2.2),
        (ThreadsInto::SteelNut, "M4") => (2.8, 2.8),
        (ThreadsInto::SteelNut, "M5") => (5.5, 5.5),
        (ThreadsInto::SteelNut, "M6") => (9.5, 9.5),
        (ThreadsInto::SteelNut, "M8") => (23.0, 23.0),
        (ThreadsInto::SteelNut, "M10") => (46.0, 46.0),
        (ThreadsInto::SteelNut, "M12") => (79.0, 79.0),
        _ => return None,
    };
    Some((Torque::new::<newton_meter>(least), Torque::new::<newton_meter>(most)))
}

/// Anodic index of a surface, V: that of its plating where it has one (galvanic series as for [`Material::anodic_index`]).
/// Aluminium under copper shows at every edge and hole, so a clad or plated one has the index of either.
pub const fn surface_index(material: Material, finish: Option<Finish>) -> (f64, f64) {
    let index = match finish {
        Some(Finish::TinPlated) => 0.65,
        Some(Finish::NickelPlated) => 0.30,
        _ => material.anodic_index(),
    };
    match (material, finish) {
        (Material::CopperCladAluminium, _) => (index, Material::Aluminium.anodic_index()),
        _ => (index, index),
    }
}
