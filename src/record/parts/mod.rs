//! The parts of the record, one file per subject. These declarations are the schema.

mod bms;
mod cells;
mod claims;
mod evidence;
mod inspection;
mod path;
mod rig;
mod surroundings;
mod tests;
mod withhold;

pub(crate) use bms::{Bms, Heater};
pub(crate) use cells::{CellReading, Cells, Chemistry};
pub(crate) use claims::{ClaimVerdict, Claims};
pub(crate) use evidence::{Instrument, InstrumentKind, ItemAnswer, Measure, RecordPhoto};
#[cfg(feature = "measuring")]
pub(crate) use evidence::{MeasuredSide, PhotoMeasurement, ScaleReference};
pub(crate) use inspection::{InspectionHead, Issue};
pub(crate) use path::{ChargePath, ChargePort, CurrentPath};
pub use path::{
    CurrentKind, Element, ElementKind, ElementTrait, Finish, FuseKind, Leg, Material, Orientation, Release,
    ThreadsInto,
};
pub(crate) use rig::{LoadKind, Reads, Rig, RigLoad, RigMeter, Sense};
pub(crate) use surroundings::{Enclosure, OutsideMarking, Retention, Service};
pub use surroundings::{MaterialGroup, PollutionDegree};
pub(crate) use tests::{BenchTest, LogSign, SensorFixing, TestEnd, TestKind, TestLid};
pub use tests::{TestBranch, TestReading, TestSensor};
pub(crate) use withhold::{Withhold, WithholdArea};

use super::part::part;

part! {
    /// The record of one inspection: what was claimed, what was found, what was measured.
    pub struct Record {
        /// Version of the record's schema. This program writes and reads version 2.
        schema: super::field::Count = "2",
        /// Free remarks on the whole inspection, in Markdown.
        notes: super::field::Markdown = "Opened on the bench after the capacity test.",
        ; one {
            /// Which pack, who, when, where.
            inspection: InspectionHead,
            /// What the nameplate and the manual say.
            claims: Claims,
            /// The cells and how they are connected.
            cells: Cells,
            /// The main current path, from the cell stack to both terminals.
            path: CurrentPath,
            /// What the charge current passes from a port of its own.
            charge_path: ChargePath,
            /// The battery management system and its board.
            bms: Bms,
            /// The heater for charging in the cold.
            heater: Heater,
            /// The case, and what holds and insulates things in it.
            enclosure: Enclosure,
            /// Whether the pack can be repaired and closed again.
            service: Service,
            /// What is printed on the outside.
            marking: OutsideMarking,
            /// What every output for others withholds: fields, literal texts, places on photos. The record itself is not changed.
            withhold: Withhold,
            /// The test rig: loads, source, instruments, and what carries the current to them.
            rig: Rig,
        }
        ; many {
            /// An instrument that values were measured with.
            instrument: Instrument,
            /// An answer to a checklist item that no other field holds.
            item: ItemAnswer,
            /// A bench test.
            test: BenchTest,
            /// A photo.
            photo: RecordPhoto,
            /// An issue of the write-up.
            issue: Issue,
        }
    }
}
