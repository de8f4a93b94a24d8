//! What must not leave the bench: fields, literal texts and places on photos that every output for others withholds.

use crate::record::field::{List, Text};
use crate::record::part::part;

part! {
    /// What every output for others withholds: fields, literal texts, places on photos. The record itself is not changed.
    pub struct Withhold {
        /// Keys of the record whose values are withheld, such as inspection.place, or path.element.main-fuse.marking for one element.
        fields: List = "inspection.place",
        /// Texts that appear in no output, wherever they stand: names, serial numbers, places.
        texts: List = "C-118",
        ; many {
            /// A place on a photo that is blacked out in every derived picture.
            area: WithholdArea,
        }
    }
}

part! {
    /// A place on a photo that is blacked out in every derived picture, measured from the top left of the upright picture.
    pub struct WithholdArea {
        /// The photo, as listed in the record.
        photo: Text = "photos/01-label.jpg",
        /// Distance from the left edge, in percent of the width or in pixels of the original.
        left: Text = "12 %",
        /// Distance from the top edge, in percent of the height or in pixels of the original.
        top: Text = "40 %",
        /// Width, in the same unit.
        width: Text = "30 %",
        /// Height, in the same unit.
        height: Text = "8 %",
        /// Why, for whoever edits the record. It is never printed.
        why: Text = "serial number of the pack",
    }
}
