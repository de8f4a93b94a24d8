//! What stands in for a number that nobody recorded: a range with a basis, never one value.
//!
//! Sources are named as they were read; "no source" says that the range is a judgement, wide enough to hold what is
//! usual, and that measuring the quantity narrows the answer.

use crate::record::parts::{Finish, Material};

/// A range that stands in, SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::judge::facts) struct StandIn {
    /// What it is of; one name is one quantity, however many elements it is in.
    pub name: &'static str,
    /// Its ends.
    pub ends: (f64, f64),
    /// Why these.
    pub basis: &'static str,
}

const fn stand_in(name: &'static str, low: f64, high: f64, basis: &'static str) -> StandIn {
    StandIn { name, ends: (low, high), basis }
}

/// Film of a surface inside the closed case, W/(m²·K).
pub(super) const FILM_INSIDE: StandIn = stand_in(
    "film of the air inside the case",
    2.0,
    8.0,
    "teaching texts give 2 to 25 W/(m²·K) for free convection in gases; a small closed case lies at the lower end",
);
/// The same where foam or potting fills the case, W/(m²·K).
pub(super) const FILM_IN_FOAM: StandIn = stand_in(
    "film of a surface in foam or potting",
    0.3,
    3.0,
    "no source: 5 to 50 mm of a material of 0.03 to 0.2 W/(m·K)",
);
/// The same where nobody recorded whether foam fills the case, W/(m²·K).
pub(super) const FILM_NOT_KNOWN: StandIn = stand_in(
    "film of a surface, as it is not recorded what holds the cells",
    FILM_IN_FOAM.ends.0,
    FILM_INSIDE.ends.1,
    "from foam to air",
);
/// Film of a surface with the lid off, W/(m²·K).
pub(super) const FILM_OPEN: StandIn = stand_in(
    "film of a surface with the lid off",
    3.0,
    12.0,
    "teaching texts give 2 to 25 W/(m²·K) for free convection in gases",
);
/// Film outside the case, without radiation, W/(m²·K).
pub(super) const FILM_OUTSIDE: StandIn = stand_in(
    "film outside the case",
    3.0,
    10.0,
    "teaching texts give 2 to 25 W/(m²·K) for free convection in gases",
);
/// Part of the case's surface that gives heat to the room.
pub(super) const FREE_SURFACE: StandIn = stand_in(
    "part of the case's surface that is free",
    0.6,
    0.95,
    "no source: a case stands on its bottom, and on a shelf with its back to a wall",
);
/// Outer surface of the case over that of a cube that holds the cells' energy at 220 Wh/L.
pub(super) const CASE_SURFACE: StandIn = stand_in(
    "outer surface of the case",
    0.5,
    1.2,
    "no source: 150 to 400 Wh per litre of case, whose larger faces are not all free",
);
/// Conductance between a post and its cell, W/K.
pub(super) const POST_CONDUCTANCE: StandIn = stand_in(
    "conductance between a post and its cell",
    0.2,
    1.0,
    "no source: current collectors of a large prismatic cell, 1 to 5 K/W",
);
/// Resistance of a post, Ω.
pub(super) const POST_RESISTANCE: StandIn =
    stand_in("resistance of a post", 5e-6, 30e-6, "no source: a part of the cell's resistance");
/// Resistance of a bolted joint that nobody measured, Ω.
pub(in crate::judge::facts) const JOINT: StandIn = stand_in(
    "resistance of a joint that was not measured",
    5e-6,
    60e-6,
    "a typical bolted copper joint has 5 to 15 µΩ (an instrument maker's page); links between cells were found with 15 to 35 µΩ in their two ends",
);
/// Resistance of a link between two cells with its two joints, Ω.
pub(in crate::judge::facts) const LINK: StandIn = stand_in(
    "resistance of a link between two cells with its joints",
    20e-6,
    150e-6,
    "links between cells were found with 60 and 80 µΩ (pages of two sellers)",
);
/// Conductance of a joint through its bolt and faces beside the metallic contact, W/K.
pub(super) const JOINT_CONDUCTANCE: StandIn = stand_in(
    "conductance of a joint beside its contact",
    0.5,
    4.0,
    "no source: a steel bolt and an air gap of some hundredths of a millimetre",
);
/// Direct-current resistance of a cell over the resistance that is recorded.
pub(in crate::judge::facts) const CELL_DIRECT: StandIn = stand_in(
    "direct-current resistance of a cell over the recorded one",
    1.0,
    2.2,
    "a recorded resistance may be that at 1 kHz; a cell library takes 1.5 times it (an estimate), on published data the two differ by up to a factor of two",
);
/// Resistance of a cell times its capacity, where none is recorded, Ω·A·s.
pub(super) const CELL_FROM_CAPACITY: StandIn = stand_in(
    "direct-current resistance of a cell, from its capacity",
    0.05 * 3600.0,
    0.22 * 3600.0,
    "data sheets of 200 Ah to 302 Ah cells give 0.04 to 0.07 Ω·Ah at 1 kHz; direct current up to three times that",
);
/// Change of a cell's resistance with temperature over its value at 25 °C, 1/K.
pub(super) const CELL_SLOPE: StandIn = stand_in(
    "change of a cell's resistance with temperature",
    -0.012,
    -0.004,
    "no source: warm cells conduct better",
);
/// Reversible heat on discharge over current and temperature, V/K.
pub(super) const REVERSIBLE: StandIn = stand_in(
    "reversible heat of a cell",
    -1e-4,
    1e-4,
    "no source: entropy of LFP against graphite, mean of a discharge",
);
/// Specific heat of a cell, J/(kg·K).
pub(super) const CELL_HEAT: StandIn = stand_in(
    "specific heat of a cell",
    900.0,
    1150.0,
    "999 (cell model of an open format's example) to 1,106 J/(kg·K) (measured on a 20 Ah LFP pouch, arXiv)",
);
/// Mass of a cell over its capacity, kg/(A·s).
pub(super) const CELL_MASS: StandIn = stand_in(
    "mass of a cell, from its capacity",
    0.018 / 3600.0,
    0.026 / 3600.0,
    "data sheets of 202 Ah and 280 Ah LFP cells give 19.6 g/Ah; small cells are heavier",
);
/// Conductance from a cell of one kilogram to the case, W/K.
pub(super) const CELL_TO_CASE: StandIn = stand_in(
    "conductance from a cell of 1 kg to the case",
    0.05,
    0.5,
    "no source: 1 to 10 mm of plastic, foam or air over two faces",
);
/// Conductance between neighbouring cells of one kilogram, W/K.
pub(super) const CELL_TO_CELL: StandIn = stand_in(
    "conductance between neighbouring cells of 1 kg",
    0.3,
    3.0,
    "no source: 0.3 to 3 mm of plastic between large faces",
);
/// Part of a bar's length that carries the whole current, where no overlap is recorded.
pub(super) const BETWEEN_ENDS: StandIn = stand_in(
    "part of a bar between its ends, where their overlaps are not recorded",
    0.6,
    1.0,
    "no source: ends of 10 to 25 mm lie on their partners",
);
/// Conductors side by side that carry as if they shared the current evenly, as a part of them.
pub(super) const SIDE_BY_SIDE: StandIn = stand_in(
    "part of conductors side by side that carries the current",
    0.65,
    1.0,
    "no source: one of several carries up to a quarter more than an even share, as their joints differ",
);
/// Cross-section of the leads outside over the current, m²/A.
pub(super) const LEAD: StandIn = stand_in(
    "cross-section of the leads outside over the rated current",
    0.2e-6,
    0.5e-6,
    "no source: leads are chosen for 2 to 5 A/mm²",
);
/// Conductivity of a cable's insulation, W/(m·K).
pub(super) const INSULATION: StandIn =
    stand_in("conductivity of a cable's insulation", 0.15, 0.3, "no source: PVC, rubber and polyethylene");
/// Resistance of the parts of the path that nobody measured and whose size is not known, Ω.
pub(in crate::judge::facts) const UNKNOWN_PART: StandIn =
    stand_in("resistance of a part that is not known", 5e-6, 300e-6, "no source: at 200 A 0.2 to 12 W");
/// Rating of a fuse or breaker whose rating nobody read, A, where its resistance is asked for at the most: a small one has
/// the most (no source).
pub(in crate::judge::facts) const SMALLEST_FUSE: f64 = 15.0;
/// As [`UNKNOWN_PART`], where a place is said to become at least so warm: what the part has beyond that only adds to it.
pub(super) const UNKNOWN_PART_AT_LEAST: StandIn = stand_in(
    "resistance that a part that is not known has at least",
    5e-6,
    40e-6,
    "no source: 60 to 100 mm of copper of 200 to 40 mm²",
);
/// Conductance from where a BMS makes its heat to either side, W/K.
pub(super) const BMS_TO_ENDS: StandIn = stand_in(
    "conductance from the switching devices of the BMS to its ends",
    0.1,
    3.0,
    "no source: from devices over 35 µm of copper to devices soldered onto a bar",
);
/// Conductance from where a part makes its heat to either side, W/K.
pub(super) const DEVICE_CONDUCTANCE: StandIn = stand_in(
    "conductance from a device to its ends",
    0.5,
    4.0,
    "no source: copper of 10 to 40 mm² over 10 to 30 mm",
);
/// Conductance from the middle of a fuse or another length of metal to either end, over that which follows from its
/// resistance.
pub(super) const ALONG_METAL: StandIn = stand_in(
    "conductance from a fuse, link or contact to its ends over that of its metal",
    0.8,
    2.5,
    "heat leaves along the metal that carries the current (6·L·T/R to each end, after Wiedemann and Franz); body and filling lead some more",
);
/// Surface of a fuse, a link or a contactor with its holder, m².
pub(super) const BODY: StandIn = stand_in(
    "surface of a fuse, link or contactor with its holder",
    0.001,
    0.015,
    "no source: bodies and holders of 10 to 150 cm²",
);
/// Emissivity of a body of plastic, glass or ceramic times the part of what it faces that is not as warm as itself.
pub(super) const BODY_EMISSIVITY: StandIn = stand_in(
    "emissivity of a body of plastic or ceramic",
    0.4,
    0.95,
    "0.8 to 0.97 for paint and lacquer (tables); half of it where warm parts are faced",
);
/// Heat that the BMS gives to the air inside, where its heat path is not known, W/K.
pub(super) const BMS_TO_AIR: StandIn = stand_in(
    "conductance from the BMS to the air inside",
    0.05,
    1.2,
    "no source: a board of 100 to 300 cm², one or both faces free, with or without a plate that touches in part",
);
/// Factor on the heat path of the BMS that is recorded layer by layer.
pub(super) const HEAT_PATH: StandIn = stand_in(
    "heat path of the BMS over its recorded layers",
    0.8,
    2.2,
    "of a published board the layers gave half of the measured resistance: the sink to the air is most of it",
);
/// Resistance of the BMS beside its switching devices, Ω.
pub(in crate::judge::facts) const BMS_BOARD: StandIn = stand_in(
    "resistance of the BMS beside its switching devices",
    0.03e-3,
    0.25e-3,
    "no source: shunt, board and lugs",
);
/// Change of the BMS's resistance with temperature, 1/K.
pub(super) const BMS_SLOPE: StandIn = stand_in(
    "change of the BMS's resistance with temperature",
    0.002,
    0.008,
    "data sheets of two switching devices: 1.22 times at 85 °C, 1.65 times at 100 °C; the shunt does not change",
);
/// Heat that the switching devices of a BMS and what warms with them hold, J/K.
pub(super) const BMS_HEAT: StandIn = stand_in(
    "heat capacity of the BMS",
    10.0,
    250.0,
    "no source: from eight devices on a thin board to a board on a plate; a published board with its heat sink holds 200 to 240 J/K",
);
/// Resistance of a BMS of which nothing is known, Ω.
pub(in crate::judge::facts) const BMS: StandIn =
    stand_in("resistance of the BMS", 0.1e-3, 1.0e-3, "no source");
/// Drop over a fuse at its rated current, V.
pub(in crate::judge::facts) const FUSE_DROP: StandIn = stand_in(
    "drop over a fuse or breaker at its rated current",
    0.04,
    0.15,
    "no source: usual data sheets of low-voltage fuses",
);
/// Part of its rating that a fuse or breaker loses per kelvin of air warmer than that of its test, 1/K.
pub(in crate::judge::facts) const RATING_LOST: StandIn = stand_in(
    "part of its rating that a fuse or breaker loses per kelvin of warmer air",
    0.0,
    0.006,
    "guides to fuses, read second-hand: 0.2 %/K, 0.5 %/K, 110 % at 25 °C against 100 % at 40 °C; breakers: no source",
);
/// Resistance of a device whose rating is not known either, Ω.
pub(in crate::judge::facts) const DEVICE: StandIn =
    stand_in("resistance of a device that was not measured", 0.03e-3, 0.6e-3, "no source");

/// Emissivity of a finish times the part of what it faces that is not as warm as itself.
pub(super) const fn emissivity(finish: Option<Finish>) -> StandIn {
    match finish {
        Some(Finish::Bright) => stand_in(
            "emissivity of a bright surface",
            0.02,
            0.15,
            "0.02 polished to 0.15 dull (tables); half of it where warm parts are faced",
        ),
        Some(Finish::Oxidised) => {
            stand_in("emissivity of an oxidised surface", 0.1, 0.7, "0.12 dull to 0.7 oxidised (tables)")
        }
        Some(Finish::HeavilyOxidised) => stand_in(
            "emissivity of a heavily oxidised surface",
            0.3,
            0.88,
            "0.6 to 0.88 (tables); half of it where warm parts are faced",
        ),
        Some(Finish::TinPlated) => stand_in(
            "emissivity of a tin-plated surface",
            0.03,
            0.3,
            "no table read; between bright and dull metal",
        ),
        Some(Finish::NickelPlated) => stand_in(
            "emissivity of a nickel-plated surface",
            0.03,
            0.3,
            "no table read; between bright and dull metal",
        ),
        Some(Finish::Sleeved) => stand_in(
            "emissivity of a sleeve",
            0.45,
            0.95,
            "0.8 to 0.97 for paint and lacquer (tables); half of it where warm parts are faced",
        ),
        None => stand_in(
            "emissivity of a surface that is not recorded",
            0.02,
            0.88,
            "polished to black oxidised copper (tables)",
        ),
    }
}

/// Resistivity of a metal as it is sold over that of the pure metal or grade.
pub(super) const fn resistivity(material: Material) -> StandIn {
    match material {
        Material::Copper => stand_in("resistivity of copper", 0.98, 1.03, "97 to 102 % IACS"),
        Material::Aluminium => stand_in("resistivity of aluminium", 0.98, 1.15, "grades of 53 to 62 % IACS"),
        Material::Brass => stand_in("resistivity of brass", 0.8, 1.2, "alloys of 23 to 35 % IACS"),
        Material::Nickel => stand_in("resistivity of nickel", 0.9, 1.15, "purity of strip as it is sold"),
        Material::NickelPlatedSteel => {
            stand_in("resistivity of plated steel", 0.8, 1.4, "low-carbon steels of 0.11 to 0.2 µΩ·m")
        }
        Material::CopperCladAluminium => stand_in(
            "resistivity of copper-clad aluminium",
            0.95,
            1.1,
            "layers of copper and aluminium side by side: from a plating to 20 % of copper",
        ),
    }
}
