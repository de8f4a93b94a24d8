//! The checklist as it stands in a file.

use crate::record::field::{Count, List, Text};
use crate::record::part::part;
use crate::record::parts::Leg;
use crate::record::words;

words! {
    /// Whether a photo belongs to an answer.
    pub enum PhotoWanted {
        /// the finding is worth little without one
        Required = "required",
        /// it helps
        Useful = "useful",
    }

    /// Parts that an answer may add to the record.
    pub enum Adds {
        /// elements of the path: kinds, each with an id if wanted
        Elements = "element",
        /// claims in words
        Statements = "statement",
        /// layers of the heat path
        Layers = "layer",
        /// bench tests
        Tests = "test",
        /// instruments
        Instruments = "instrument",
        /// loads of the test rig: kinds, each with an id if wanted
        Loads = "load",
        /// elements of the test rig; of each load, its own
        RigElements = "rig-element",
        /// what the instruments of the test rig read
        Meters = "meter",
        /// instruments of a bench test that each see a part of the current
        Branches = "branch",
        /// what the temperature columns of a bench test were fixed to
        Sensors = "sensor",
        /// places on photos that are blacked out
        Areas = "area",
    }
}

part! {
    /// A checklist.
    pub struct ListFile {
        /// Version of the checklist's format.
        schema: Count = "1",
        /// The kind of pack it is for.
        kind: Text = "drop-in",
        /// The list it extends; without this key it stands by itself.
        extends: Text = "drop-in",
        /// Its title.
        title: Text = "Drop-in pack, 12 V or 24 V class",
        /// What it is for.
        about: Text = "For a finished pack with two terminals.",
        ; many {
            /// A section: items that are asked together.
            section: SectionEntry,
            /// An item or a section of the extended list that is left out.
            drop: DropEntry,
        }
    }
}

part! {
    /// A section: items that are asked together.
    pub struct SectionEntry {
        /// Its id. A section of the extended list with the same id is changed.
        id: Text = "positive-leg",
        /// Its title.
        title: Text = "Positive leg",
        /// What it is about, and what to do before it.
        about: Text = "From the last cell outwards.",
        /// A caution for all of it.
        caution: Text = "Both ends are live.",
        /// In a list that extends another: the section it comes after.
        after: Text = "lid-off",
        /// Items that several sections share, put after its own: `leg` is what is asked of every element of a leg.
        shared: Text = "leg",
        /// The leg that shared items are about; its word stands before their ids.
        leg: Leg = "negative",
        ; many {
            /// An item: one thing to look at.
            item: ItemEntry,
        }
    }
}

part! {
    /// Items that several sections share.
    pub struct SharedFile {
        /// Version of the checklist's format.
        schema: Count = "1",
        ; many {
            /// An item, its id without the leg's word.
            item: ItemEntry,
        }
    }
}

part! {
    /// An item: one thing to look at. `how` says how its value comes unless the answer says otherwise.
    pub struct ItemEntry {
        /// Its id, unique in the list. An item of the extended list with the same id is replaced.
        id: Text = "fuse-rating",
        /// The question.
        prompt: Text = "Rated current printed on the fuse?",
        /// Why it matters.
        why: Text = "It decides what the conductors must survive.",
        /// How to look or measure.
        look: Text = "Turn the fuse to the light; wipe the print.",
        /// The field it fills. Without this key the answer is kept as a remark of its own.
        field: Text = "element.rating",
        /// Kinds of element, or the list part, that it is asked for each of. `rig-cable` is a cable of the test rig, `load` a
        /// load of it.
        each: List = "fuse",
        /// The leg it is about.
        leg: Leg = "positive",
        /// What the answer adds to the record, in place of filling a field.
        adds: Adds = "element",
        /// Whether a photo belongs to it.
        photo: PhotoWanted = "required",
        /// The part that a photo shows, where the field does not say it.
        shows: Text = "enclosure",
        /// A caution where the user meets danger.
        caution: Text = "The bar is live.",
        /// `yes` where it is seldom wanted, or in the language of the rules when it is not wanted: the walk does not stop
        /// at it, and it is found behind "more of this part", by its number, in the list, and on paper.
        aside: Text = "recorded(test.log)",
        /// What it is read off: items of one part and section with the same words are asked on one screen.
        card: Text = "rating plate",
        /// When it applies, in the language of the rules.
        when: Text = "claims.heater is yes",
        /// In a list that extends another: the item it comes after.
        after: Text = "fuse-kind",
    }
}

part! {
    /// An item or a section of the extended list that is left out.
    pub struct DropEntry {
        /// The item's id.
        item: Text = "manual-gauge",
        /// The section's id.
        section: Text = "gauge",
        /// Why.
        reason: Text = "our packs have no gauge",
    }
}
