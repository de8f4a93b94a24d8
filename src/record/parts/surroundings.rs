//! The case, how it can be serviced, and what is printed on it.

use crate::record::field::{Energy, Length, Text, YesNo};
use crate::record::part::part;
use crate::record::words;

words! {
    /// What the case is made of.
    pub enum CaseMaterial {
        /// plastic
        Plastic = "plastic",
        /// painted or plated steel
        Steel = "steel",
        /// aluminium
        Aluminium = "aluminium",
        /// no case
        None = "none",
    }

    /// What holds the cells in the case.
    pub enum Retention {
        /// brackets, rods or screws
        Bracket = "bracket",
        /// ribs or pockets of the case
        Moulded = "moulded",
        /// foam all round
        Foam = "foam",
        /// potting or structural adhesive
        Adhesive = "adhesive",
        /// tape only
        Tape = "tape",
        /// nothing holds them
        Loose = "loose",
    }

    /// How dirty and damp it gets between live parts (IEC 60664-1).
    pub enum PollutionDegree {
        /// dry dust, dew now and then: a sealed case
        Two = "2",
        /// damp dust that conducts: a case that lets the air of a boat, a vehicle or a workshop in
        Three = "3",
    }

    /// Group of an insulating material by its tracking index CTI (IEC 60664-1).
    pub enum MaterialGroup {
        /// CTI 600 and above
        One = "I",
        /// CTI 400 to 600
        Two = "II",
        /// CTI below 400
        Three = "III",
    }

    /// What seals the lid.
    pub enum LidSeal {
        /// a gasket between lid and case
        Gasket = "gasket",
        /// a bead of sealant
        Sealant = "sealant",
        /// the lid is welded on
        Welded = "welded",
        /// nothing seals the joint
        None = "none",
    }
}

part! {
    /// The case, and what holds and insulates things in it.
    pub struct Enclosure {
        /// What the case is made of.
        material: CaseMaterial = "plastic",
        /// Whether a sheet insulates the cells from the case on every side.
        insulation_to_case: YesNo = "yes",
        /// What the insulation is.
        insulation: Text = "0.5 mm epoxy glass sheet",
        /// What holds the cells in the case.
        retention: Retention = "bracket",
        /// Whether the BMS board is fixed, and not only held by its wires.
        board_fixed: YesNo = "yes",
        /// What seals the lid.
        seal: LidSeal = "gasket",
        /// Whether cables are relieved from strain where they pass a wall.
        strain_relief: YesNo = "yes",
        /// Whether wires lie on sharp edges.
        sharp_edges: YesNo = "no",
        /// Shortest way along a surface between parts of opposite polarity.
        creepage: Length = "8 mm",
        /// Shortest way through air between parts of opposite polarity.
        clearance: Length = "6 mm",
        /// Pollution degree between live parts; it decides how long creepage and clearance must be.
        pollution_degree: PollutionDegree = "2",
        /// Group of the insulating material between live parts, from its tracking index.
        material_group: MaterialGroup = "III",
        /// Whether gas from a venting cell can leave the case.
        vent_path: YesNo = "yes",
        /// Loose parts, chips or tools left inside.
        foreign_objects: YesNo = "absent",
    }
}

part! {
    /// Whether the pack can be repaired and closed again.
    pub struct Service {
        /// Whether the lid can be closed again as it was.
        lid_recloses: YesNo = "yes",
        /// Whether connectors come apart and go back without damage.
        connectors_reusable: YesNo = "yes",
        /// Whether spare parts can be identified from their markings.
        parts_identifiable: YesNo = "yes",
        /// Whether one cell can be exchanged without cutting welds.
        cell_replaceable: YesNo = "yes",
    }
}

part! {
    /// What is printed on the outside.
    pub struct OutsideMarking {
        /// Energy printed on the outside.
        energy: Energy = "3840 Wh",
        /// Whether the polarity of each terminal is marked.
        polarity: YesNo = "yes",
        /// Whether warnings are printed.
        warnings: YesNo = "yes",
        /// Whether the maker's address is printed.
        maker_address: YesNo = "yes",
        /// Whether a date of manufacture or a lot can be read.
        date_or_lot: YesNo = "yes",
        /// Reference to the UN 38.3 test summary. Write "absent" when you asked and got none.
        un38_3: Text = "test summary no. 11-2",
        /// Whether the required fuse or the largest fault current is stated.
        fuse_stated: YesNo = "no",
    }
}
