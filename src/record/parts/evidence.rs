//! Instruments, photos and checklist answers: what claims and findings rest on.

use crate::record::field::{AccuracySpec, AnyQuantity, Day, Digest, Length, List, Markdown, Text, YesNo};
use crate::record::part::part;
use crate::record::words;

words! {
    /// The kind of instrument: where its accuracy is not recorded, that of its kind is taken.
    pub enum InstrumentKind {
        /// a clamp round the conductor
        ClampMeter = "clamp meter",
        /// a hand meter with test leads
        Multimeter = "multimeter",
        /// an electronic load, a charger or a power supply that reads what it takes or feeds
        ElectronicLoad = "electronic load",
        /// a shunt with its logger
        Shunt = "shunt",
        /// a four-wire resistance meter
        FourWire = "four-wire meter",
        /// a caliper or a micrometer
        Caliper = "caliper",
        /// a rule or a tape
        Rule = "rule",
        /// the display of the pack or of its application
        Display = "display",
        /// a thermometer, a thermocouple or an infrared thermometer
        Thermometer = "thermometer",
        /// a scale
        Scale = "scale",
        /// a torque wrench
        TorqueWrench = "torque wrench",
    }
}

part! {
    /// An instrument that values were measured with. A meter with several functions is listed once per function.
    pub struct Instrument {
        /// A short name, unique in the record.
        id: Text = "clamp",
        /// What it is.
        name: Text = "DC clamp meter",
        /// Its kind. Where no accuracy is recorded, that of its kind is taken.
        kind: InstrumentKind = "clamp meter",
        /// Its accuracy in the range used, as its data sheet says it.
        accuracy: AccuracySpec = "1.5 % + 3 digits",
        /// Upper end of the range used, where the accuracy is a share of it.
        range: AnyQuantity = "600 A",
        /// Value of its last digit in the range used.
        resolution: AnyQuantity = "0.1 A",
        /// Date of its last calibration.
        calibrated: Day = "2026-03-02",
        /// Its serial number.
        serial: Text = "C-118",
    }
}

part! {
    /// A photo, what it shows and what it proves.
    pub struct RecordPhoto {
        /// File name under the inspection folder.
        file: Text = "photos/05-fuse.jpg",
        /// A caption.
        caption: Text = "Strip fuse in the positive leg",
        /// The parts it shows: an element's id, or the name of a part of the record.
        shows: List = "fuse",
        /// What it proves, in the inspector's words.
        proves: Text = "the rating printed on the fuse is 150 A",
        /// When it was taken, where the file does not say.
        taken: Text = "2026-09-19 10:42",
        /// SHA-256 of the file when it arrived, written by the tool; a file that no longer has it was changed.
        sha256: Digest = "2c26b46b68ffc68ff99b453c1d30413413422d706483bfa0f98a5e886266e7ae",
        ; many {
            /// A place on the photo, and what is there.
            pointer: PhotoPointer,
            /// A length that was measured in the photo.
            measurement: PhotoMeasurement,
        }
    }
}

impl RecordPhoto {
    /// The parts that the photo shows: those that are listed, and those that a pointer points to.
    pub fn parts(&self) -> impl Iterator<Item = &str> {
        let listed = self.shows.list();
        let pointed = self.pointer.iter().filter_map(|pointer| pointer.of.text());
        let pointed = pointed.filter(|part| !listed.iter().any(|known| known == part));
        listed.iter().map(String::as_str).chain(pointed)
    }
}

part! {
    /// A place on a photo, and what is there: a point, or an area when it has a width and a height. Measured from the top left of the upright picture.
    pub struct PhotoPointer {
        /// What is there: an element's id, or the name of a part of the record.
        of: Text = "main-fuse",
        /// Distance from the left edge, in percent of the width or in pixels of the original.
        left: Text = "62 %",
        /// Distance from the top edge, in percent of the height or in pixels of the original.
        top: Text = "35 %",
        /// Width of an area, in the same unit.
        width: Text = "12 %",
        /// Height of an area, in the same unit.
        height: Text = "9 %",
        /// A short label; without it the name of what is there.
        label: Text = "strip fuse, 150 A",
    }
}

words! {
    /// What is measured between taps.
    pub enum Measure {
        /// from the first tap to the second
        Length = "length",
        /// from the edge through the first two taps to the third, or to the third and fourth
        Width = "width",
        /// of the circle through three taps or more
        Diameter = "diameter",
        /// from the edge through the first two taps to that through the last two, of two parts that lie on each other
        Overlap = "overlap",
    }

    /// Which side of a section, an overlap or a size was measured.
    pub enum MeasuredSide {
        /// along the part
        Length = "length",
        /// across it
        Width = "width",
        /// through it
        Thickness = "thickness",
        /// upright
        Height = "height",
    }

    /// What gives a photo its scale.
    pub enum ScaleReference {
        /// a printed scale sheet or strip, found by its codes
        Sheet = "sheet",
        /// a plastic card of the size ID-1 of ISO/IEC 7810, 85.60 x 53.98 mm
        Card = "card",
    }
}

part! {
    /// A length that was measured in a photo, with all that is needed to measure it again. Written by `measure-photo`.
    pub struct PhotoMeasurement {
        /// The field that the value was written into.
        of: Text = "path.element[id=main-bar].length",
        /// Which side it is of a field that holds several.
        side: MeasuredSide = "width",
        /// What was measured.
        measure: Measure = "length",
        /// The taps, in pixels of the upright picture, from its left and top edge.
        taps: List = "812.4 440.0",
        /// Standard deviation of a tap, in pixels.
        scatter: Text = "2 px",
        /// Whether the taps were moved onto the edges near them.
        on_edges: YesNo = "yes",
        /// Height of the edges above the sheet or card.
        height: Length = "10 to 12 mm",
        /// Height of the second edge, where it has another one.
        other_height: Length = "4 mm ± 0.5 mm",
        /// The photo, taken from another side, from which together with this one the height was found.
        height_photo: Text = "photos/05-bar.jpg",
        /// The point that was tapped for it, in this photo and in that one, in pixels.
        height_taps: List = "612.0 388.5",
        /// What gave the scale.
        reference: ScaleReference = "sheet",
        /// The corners of the card as they were tapped, in pixels.
        card: List = "120.0 88.5",
        /// The check distance across the sheet, as it was measured on the print.
        print_across: Length = "129.6 mm ± 0.3 mm",
        /// The check distance down the sheet, as it was measured on the print.
        print_down: Length = "199.5 mm ± 0.3 mm",
        /// The length with its expanded uncertainty.
        value: Length = "140.2 mm ± 0.6 mm",
    }
}

part! {
    /// An answer to a checklist item that no other field holds.
    pub struct ItemAnswer {
        /// The item's id in the checklist.
        id: Text = "manual-leaves-out",
        /// The answer.
        answer: Markdown = "The manual gives no torque for the terminals.",
    }
}
