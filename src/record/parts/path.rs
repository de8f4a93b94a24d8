//! The main current path: one series circuit from the cell stack to both terminals.

use crate::record::field::{
    Area, Count, Current, Kind, Length, Mass, Meaning, Resistance, Section, State, Temperature,
    TemperatureDifference, Text, Torque, Value, Voltage, Word, YesNo, meanings, word,
};
use crate::record::part::part;
use crate::units::words;

/// The kinds of element a current path is made of.
pub const ELEMENT_KINDS: &[Word] = &[
    word("cell-stack", "the cells with the links between them"),
    word("busbar", "a flat bar, alone or stacked"),
    word("cable", "a stranded or solid wire with insulation"),
    word("joint", "a bolted, welded, crimped or soldered connection"),
    word("fuse", "a link that melts on overcurrent"),
    word("thermal-cutoff", "a link or contact that opens on temperature"),
    word("contactor", "a relay or contactor"),
    word("shunt", "a measuring resistor"),
    word("bms", "the BMS board with its switching devices"),
    word("connector", "a connector that can be pulled apart"),
    word("terminal", "the terminal the user connects to"),
];

const LEGS: &[Word] = &[
    word("positive", "between the cell stack and the positive terminal"),
    word("negative", "between the cell stack and the negative terminal"),
    word("stack", "within the cell stack"),
];

const MATERIALS: &[Word] = &[
    word("copper", "bare or plated copper"),
    word("aluminium", "aluminium"),
    word("brass", "brass"),
    word("nickel", "pure nickel"),
    word("nickel-plated steel", "steel with a nickel coat; a magnet sticks to it"),
    word("copper-clad aluminium", "aluminium with a copper skin"),
];

const FINISHES: &[Word] = &[
    word("bright", "bare and bright"),
    word("oxidised", "bare and dull from use"),
    word("heavily oxidised", "bare and dark"),
    word("tin plated", "tin plated"),
    word("nickel plated", "nickel plated"),
    word("sleeved", "painted, sleeved or shrink-wrapped"),
];

const ORIENTATIONS: &[Word] =
    &[word("on edge", "the wide faces stand upright"), word("flat", "the wide faces lie horizontal")];

const FUSE_KINDS: &[Word] = &[
    word("strip SF30", "strip fuse-link type SF 30 for road vehicles (ISO 8820-5)"),
    word("strip SF51", "strip fuse-link type SF 51 for road vehicles (ISO 8820-5)"),
    word("bolt-down", "bolt-down link fuse with a window or a moulded body (ANL style)"),
    word("class T", "class T fuse (UL 248-15)"),
    word("marine terminal", "block fuse that sits on a terminal stud"),
    word("semiconductor", "high-speed fuse for semiconductor protection"),
    word("blade", "blade fuse for road vehicles"),
    word("unknown", "the kind could not be told"),
];

const FASTENINGS: &[Word] = &[
    word("bolted", "bolt and nut, or bolt into a threaded hole"),
    word("welded", "laser, spot or ultrasonic weld"),
    word("crimped", "crimped lug"),
    word("soldered", "soldered"),
    word("clamped", "held by a spring or a clamp"),
];

const LOCKINGS: &[Word] = &[
    word("spring washer", "split or wave spring washer"),
    word("conical washer", "conical (Belleville) washer"),
    word("flange nut", "serrated flange nut or bolt"),
    word("lock nut", "nut with an insert"),
    word("adhesive", "thread-locking adhesive"),
];

meanings! {
    /// The kind of element.
    ElementKind = Kind::Word(ELEMENT_KINDS);
    /// The leg it belongs to.
    Leg = Kind::Word(LEGS);
    /// A conductor's material.
    ConductorMaterial = Kind::Word(MATERIALS);
    /// A conductor's surface.
    Finish = Kind::Word(FINISHES);
    /// How a bar lies.
    Orientation = Kind::Word(ORIENTATIONS);
    /// A fuse's kind.
    FuseType = Kind::Word(FUSE_KINDS);
    /// How a joint is made.
    Fastening = Kind::Word(FASTENINGS);
    /// What keeps a bolt from working loose.
    Locking = Kind::Word(LOCKINGS);
}

part! {
    /// The main current path, from the cell stack to both terminals.
    pub struct CurrentPath {
        /// Whether every element from terminal to terminal is listed. Until this says yes, the lack of a fuse in the list proves nothing.
        complete: YesNo = "yes",
        /// Parallel strings of cells that each need their own overcurrent protection.
        strings: Count = "1",
        ; many {
            /// An element of the path, in the order the current takes from the negative terminal through the cells to the positive terminal.
            element: Element,
        }
    }
}

part! {
    /// An element of the path. The kind decides which of the fields apply.
    pub struct Element {
        /// A short name, unique in the path.
        id: Text = "positive-bar",
        /// The kind of element.
        kind: ElementKind = "busbar",
        /// The leg it belongs to.
        leg: Leg = "positive",
        /// A description.
        name: Text = "bar from the last cell to the fuse",
        /// The current printed on the part.
        marked_current: Current = "150 A",
        /// What else is printed on the part.
        marking: Text = "SF 51 150 A 32 V",
        /// The voltage printed on the part.
        rated_voltage: Voltage = "32 V",
        /// Resistance of the element, measured with four wires.
        resistance: Resistance = "45 µΩ",
        /// Voltage drop over the element at `drop_current`.
        drop: Voltage = "6.2 mV",
        /// Current at which `drop` was measured.
        drop_current: Current = "100 A",
        /// Measured temperature rise at `rise_current` when it no longer changed.
        temperature_rise: TemperatureDifference = "24 K",
        /// Current at which `temperature_rise` was measured.
        rise_current: Current = "150 A",
        /// Highest temperature the element may reach, from its data sheet.
        allowed_temperature: Temperature = "90 degC",
        /// Equal conductors or parts side by side that share the current.
        count: Count = "1",
        /// Length along the current.
        length: Length = "180 mm",
        /// Mass of the bare conductor.
        mass: Mass = "120 g",
        /// Width and thickness of one bar.
        section: Section = "25 x 3 mm",
        /// What it is made of.
        material: ConductorMaterial = "copper",
        /// Its surface.
        finish: Finish = "bright",
        /// How the bar lies in the pack.
        orientation: Orientation = "on edge",
        /// Whether a magnet sticks to it.
        magnetic: YesNo = "no",
        /// Bars that lie on each other and so share one surface.
        stacked: Count = "1",
        /// Wire size of one conductor.
        size: Area = "35 mm2",
        /// Temperature class of the insulation.
        insulation_temperature: Temperature = "105 degC",
        /// Current-carrying conductors bundled together, this one included.
        bundled: Count = "1",
        /// How the joint is made.
        fastening: Fastening = "bolted",
        /// Length and width of the overlap that carries the current.
        overlap: Section = "25 x 25 mm",
        /// Thickness of the thinner bar or lug at the joint.
        thickness: Length = "3 mm",
        /// Bolt thread.
        bolt: Text = "M8",
        /// Number of bolts.
        bolts: Count = "1",
        /// Property class stamped on the bolt.
        bolt_class: Text = "8.8",
        /// Torque found or applied.
        torque: Torque = "12 N·m",
        /// What keeps the bolt from working loose.
        locking: Locking = "spring washer",
        /// Material on the other side of the joint.
        other_material: ConductorMaterial = "aluminium",
        /// The kind of fuse.
        fuse: FuseType = "strip SF51",
        /// Rated current of the fuse, as printed on it.
        rating: Current = "150 A",
        /// Interrupting rating, from the fuse or its data sheet.
        interrupting_rating: Current = "2 kA",
        /// Distance along the path from the cell stack.
        distance_from_cells: Length = "120 mm",
        /// Whether it can be replaced without cutting or soldering.
        replaceable: YesNo = "yes",
        /// Whether it can be reached without taking the pack apart.
        accessible: YesNo = "no",
        /// Temperature at which it opens.
        trip_temperature: Temperature = "85 degC",
        /// Whether it closes again by itself.
        resets: YesNo = "yes",
        /// Free text about what the element touches or lies next to.
        surroundings: Text = "lies on the foam",
    }
    finish(self, table, reader) {
        if !self.kind.is_recorded() {
            let words: Vec<&str> = ELEMENT_KINDS.iter().map(|w| w.word).collect();
            reader.problem(
                self.own.span.clone(),
                "this element has no `kind`".to_owned(),
                "expected a kind",
                &format!("kind = \"busbar\"   # one of: {}", words.join(", ")),
            );
            return;
        }
        let Some(kind) = self.kind.word() else { return };
        let allowed = keys_of_kind(kind);
        for key in table.keys() {
            let name: &str = key.get_ref();
            let known = <Self as crate::record::Part>::SHAPE.fields.iter().any(|f| f.name == name);
            if known && !COMMON.contains(&name) && !allowed.contains(&name) {
                let kinds: Vec<&str> = ELEMENT_KINDS
                    .iter()
                    .map(|w| w.word)
                    .filter(|k| keys_of_kind(k).contains(&name))
                    .collect();
                reader.problem(
                    key.span(),
                    format!("a {kind} has no `{name}`"),
                    &format!("`{name}` belongs to a {}", words::list(&kinds, "or")),
                    &format!("a {kind} takes: {}", allowed.join(", ")),
                );
            }
        }
        for (count, name) in [(&self.count, "count"), (&self.stacked, "stacked"), (&self.bundled, "bundled")] {
            if let State::Known(Value::Count(0)) = count.found().state {
                reader.problem(
                    count.found().span.clone(),
                    format!("`{name}` is 0"),
                    "expected 1 or more; leave the key out when nobody counted",
                    &format!("{name} = 1"),
                );
            }
        }
    }
}

/// Keys that every kind of element takes.
const COMMON: &[&str] = &[
    "id",
    "kind",
    "leg",
    "name",
    "marked_current",
    "marking",
    "resistance",
    "drop",
    "drop_current",
    "temperature_rise",
    "rise_current",
    "allowed_temperature",
    "count",
    "surroundings",
];

/// Keys that one kind of element takes besides those that all take.
#[must_use]
pub fn keys_of_kind(kind: &str) -> &'static [&'static str] {
    match kind {
        "busbar" => {
            &["section", "length", "mass", "material", "finish", "orientation", "magnetic", "stacked"]
        }
        "cable" => &["size", "length", "mass", "material", "insulation_temperature", "bundled", "magnetic"],
        "joint" => &[
            "fastening",
            "overlap",
            "thickness",
            "bolt",
            "bolts",
            "bolt_class",
            "torque",
            "locking",
            "material",
            "other_material",
        ],
        "fuse" => &[
            "fuse",
            "rating",
            "rated_voltage",
            "interrupting_rating",
            "distance_from_cells",
            "replaceable",
            "accessible",
        ],
        "thermal-cutoff" => &[
            "rated_voltage",
            "trip_temperature",
            "resets",
            "distance_from_cells",
            "replaceable",
            "accessible",
        ],
        "contactor" | "connector" => &["rated_voltage", "replaceable", "accessible"],
        "terminal" => &["bolt", "bolts", "torque", "material", "locking"],
        "shunt" => &["material"],
        _ => &[],
    }
}
