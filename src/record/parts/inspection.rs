//! Which pack, who, when, where.

use crate::record::field::{Day, Mass, Size, Temperature, Text, Voltage, YesNo};
use crate::record::part::part;
use crate::record::words;

words! {
    /// The kind of pack.
    pub enum PackKind {
        /// a finished 12 V or 24 V class pack in a case with two terminals
        DropIn = "drop-in",
        /// a finished 48 V class pack for a rack or a wall
        Rack = "rack",
        /// bare cells, or a pack built by its owner
        SelfBuilt = "self-built",
    }
}

part! {
    /// An issue of the write-up, in order: the first one first.
    pub struct Issue {
        /// Day on which it was issued.
        date: Day = "2026-10-01",
        /// What changed since the issue before it.
        changed: Text = "first issue",
    }
}

part! {
    /// Which pack, who, when, where.
    pub struct InspectionHead {
        /// A title for the write-up.
        title: Text = "Harbour 24-150, revision B",
        /// Who made the pack, as printed on it.
        maker: Text = "Marrowby Electric",
        /// The model, as printed on the pack.
        model: Text = "Harbour 24-150",
        /// The revision, where revisions can be told apart.
        revision: Text = "B",
        /// The serial number of the pack.
        serial: Text = "MB-2026-0417",
        /// The kind of pack; it chooses the checklist.
        kind: PackKind = "drop-in",
        /// True for an invented example. The write-up says so on every page.
        invented: YesNo = "yes",
        /// Who inspected.
        inspector: Text = "Bench 2",
        /// Who authorised the write-up.
        authorised_by: Text = "Bench 1",
        /// Day on which the pack came.
        received: Day = "2026-09-14",
        /// How the pack came: from whom, and by which way.
        delivery: Text = "bought in a shop, by post, carton undamaged",
        /// Date of the inspection.
        date: Day = "2026-09-19",
        /// Where.
        place: Text = "workshop",
        /// The video that shows the inspection: a title or an address.
        video: Text = "episode 12",
        /// Why the pack was inspected.
        purpose: Text = "compare with revision A",
        /// Price paid, with its currency code.
        price: Text = "640 EUR",
        /// Date of manufacture, where the pack states it.
        built: Day = "2026-02-01",
        /// Condition on arrival.
        condition: Text = "new, packaging undamaged",
        /// Open-circuit voltage on arrival.
        open_circuit_voltage: Voltage = "26.4 V",
        /// Mass of the whole pack.
        mass: Mass = "27.4 kg",
        /// Outer size of the whole pack.
        size: Size = "360 x 260 x 230 mm",
        /// Ambient temperature outside the pack that the rating is judged at.
        ambient: Temperature = "25 degC",
        /// Air temperature inside the closed pack at rated current, measured or estimated. Parts are judged at this temperature.
        inner_ambient: Temperature = "40 degC",
    }
}
