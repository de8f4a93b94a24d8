//! The main current path: one series circuit from the cell stack to both terminals.

use crate::record::field::{
    Area, Count, Current, Length, List, Mass, Resistance, Section, State, Temperature, TemperatureDifference,
    Text, Time, Torque, Value, Voltage, YesNo,
};
use crate::record::part::part;
use crate::record::words;
use crate::units::words::list;

words! {
    /// The kind of element.
    pub enum ElementKind {
        /// the cells with the links between them
        CellStack = "cell-stack",
        /// a flat bar, alone or stacked
        Busbar = "busbar",
        /// a stranded or solid wire with insulation
        Cable = "cable",
        /// a bolted, welded, crimped or soldered connection
        Joint = "joint",
        /// a link that melts on overcurrent
        Fuse = "fuse",
        /// a switch with a handle or a coil that opens by itself on overcurrent
        CircuitBreaker = "circuit-breaker",
        /// a link or contact that opens on temperature
        ThermalCutoff = "thermal-cutoff",
        /// a relay or contactor
        Contactor = "contactor",
        /// a measuring resistor
        Shunt = "shunt",
        /// the BMS board with its switching devices
        Bms = "bms",
        /// a connector that can be pulled apart
        Connector = "connector",
        /// the terminal the user connects to
        Terminal = "terminal",
    }

    /// The leg it belongs to.
    pub enum Leg {
        /// between the cell stack and the positive terminal
        Positive = "positive",
        /// between the cell stack and the negative terminal
        Negative = "negative",
        /// within the cell stack
        Stack = "stack",
    }

    /// A conductor's material.
    pub enum Material {
        /// bare or plated copper
        Copper = "copper",
        /// aluminium
        Aluminium = "aluminium",
        /// brass
        Brass = "brass",
        /// pure nickel
        Nickel = "nickel",
        /// steel with a nickel coat; a magnet sticks to it
        NickelPlatedSteel = "nickel-plated steel",
        /// aluminium with a copper skin
        CopperCladAluminium = "copper-clad aluminium",
    }

    /// A conductor's surface.
    pub enum Finish {
        /// bare and bright
        Bright = "bright",
        /// bare and dull from use
        Oxidised = "oxidised",
        /// bare and dark
        HeavilyOxidised = "heavily oxidised",
        /// tin plated
        TinPlated = "tin plated",
        /// nickel plated
        NickelPlated = "nickel plated",
        /// painted, sleeved or shrink-wrapped
        Sleeved = "sleeved",
    }

    /// How a bar lies.
    pub enum Orientation {
        /// the wide faces stand upright
        OnEdge = "on edge",
        /// the wide faces lie horizontal
        Flat = "flat",
    }

    /// A fuse's kind.
    pub enum FuseKind {
        /// strip fuse-link type SF 30 for road vehicles (ISO 8820-5)
        StripSf30 = "strip SF30",
        /// strip fuse-link type SF 51 for road vehicles (ISO 8820-5)
        StripSf51 = "strip SF51",
        /// bolt-down link fuse with a window or a moulded body (ANL style)
        BoltDown = "bolt-down",
        /// class T fuse (UL 248-15)
        ClassT = "class T",
        /// block fuse that sits on a terminal stud
        MarineTerminal = "marine terminal",
        /// high-speed fuse for semiconductor protection
        Semiconductor = "semiconductor",
        /// blade fuse for road vehicles
        Blade = "blade",
    }

    /// What kind of current a voltage is for.
    pub enum CurrentKind {
        /// DC, or a straight line
        Direct = "direct current",
        /// AC, or a wave
        Alternating = "alternating current",
        /// both are printed beside the same voltage
        Both = "both",
    }

    /// What makes a switch open by itself.
    pub enum Release {
        /// a bimetal or a wire that the current heats
        Thermal = "thermal",
        /// a coil that opens it at once above a current
        Magnetic = "magnetic",
        /// a bimetal for overload and a coil for short circuit
        ThermalMagnetic = "thermal-magnetic",
        /// a coil whose core moves in oil: slow on overload, at once on short circuit
        HydraulicMagnetic = "hydraulic-magnetic",
        /// electronics in it that measure the current
        Electronic = "electronic",
        /// nothing in it: it opens only when a hand, a coil or the BMS opens it
        Command = "command",
    }

    /// How a joint is made.
    pub enum Fastening {
        /// bolt and nut, or bolt into a threaded hole
        Bolted = "bolted",
        /// laser, spot or ultrasonic weld
        Welded = "welded",
        /// crimped lug
        Crimped = "crimped",
        /// soldered
        Soldered = "soldered",
        /// held by a spring or a clamp
        Clamped = "clamped",
    }

    /// What a joint's bolt is screwed into.
    pub enum ThreadsInto {
        /// a nut on a steel bolt through both parts
        SteelNut = "steel nut",
        /// a threaded hole in a cell's post
        CellPost = "cell post",
        /// a nut on a stud of a cell
        CellStud = "cell stud",
        /// a terminal of the BMS board
        Board = "board terminal",
    }

    /// What keeps a bolt from working loose.
    pub enum Locking {
        /// split or wave spring washer
        SpringWasher = "spring washer",
        /// conical (Belleville) washer
        ConicalWasher = "conical washer",
        /// serrated flange nut or bolt
        FlangeNut = "flange nut",
        /// nut with an insert
        LockNut = "lock nut",
        /// thread-locking adhesive
        Adhesive = "adhesive",
    }
}

words! {
    /// Where the charger is connected.
    pub enum ChargePort {
        /// at the terminals of the load: one path for both currents
        Common = "common",
        /// at terminals or a plug of its own
        Separate = "separate",
    }
}

part! {
    /// The main current path, from the cell stack to both terminals.
    pub struct CurrentPath {
        /// Whether every element from terminal to terminal is listed. Until this says yes, the lack of a fuse in the list proves nothing.
        complete: YesNo = "yes",
        /// Parallel strings of cells that each need their own overcurrent protection.
        strings: Count = "1",
        /// Whether each parallel string has a fuse or a circuit breaker of its own.
        strings_fused: YesNo = "yes",
        /// Whether charge current takes the path listed here, or a port of its own.
        charge_port: ChargePort = "common",
        ; many {
            /// An element of the path, in the order the current takes from the negative terminal through the cells to the positive terminal.
            element: Element,
        }
    }
}

part! {
    /// The path of the charge current from a port of its own.
    pub struct ChargePath {
        /// Whether every part between the charge port and the cells is listed, those shared with the load included.
        complete: YesNo = "yes",
        /// Parts of the main current path that the charge current passes as well, by their ids.
        shares: List = "bms",
        ; many {
            /// A part that only the charge current passes, from the negative contact of the port through the cells to the positive one.
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
        /// What kind of current the printed voltage is for. Where one stands for each, record that for direct current.
        voltage_for: CurrentKind = "direct current",
        /// Resistance of the element, measured with four wires.
        resistance: Resistance = "45 µΩ",
        /// Voltage drop over the element at `drop_current`.
        drop: Voltage = "6.2 mV",
        /// Current at which `drop` was measured.
        drop_current: Current = "100 A",
        /// Temperature rise at `rise_current`, read by hand.
        temperature_rise: TemperatureDifference = "24 K",
        /// Current at which `temperature_rise` was measured.
        rise_current: Current = "150 A",
        /// How long `rise_current` had flowed when `temperature_rise` was read.
        rise_time: Time = "15 min",
        /// Highest temperature the element may reach, from its data sheet.
        allowed_temperature: Temperature = "90 degC",
        /// Equal conductors or parts side by side that share the current.
        count: Count = "1",
        /// Whether it stands once in each of the parallel strings, alike in all, and so carries the current of one.
        in_each_string: YesNo = "yes",
        /// Length along the current.
        length: Length = "180 mm",
        /// Mass of the bare conductor.
        mass: Mass = "120 g",
        /// Width and thickness of one bar.
        section: Section = "25 x 3 mm",
        /// What it is made of.
        material: Material = "copper",
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
        /// What the bolt is screwed into.
        threads_into: ThreadsInto = "cell post",
        /// Number of bolts.
        bolts: Count = "1",
        /// Property class stamped on the bolt.
        bolt_class: Text = "8.8",
        /// Torque found or applied.
        torque: Torque = "12 N·m",
        /// What keeps the bolt from working loose.
        locking: Locking = "spring washer",
        /// Material on the other side of the joint.
        other_material: Material = "aluminium",
        /// Surface on the other side of the joint.
        other_finish: Finish = "nickel plated",
        /// The kind of fuse.
        fuse: FuseKind = "strip SF51",
        /// Rated current of the fuse or circuit breaker, as printed on it.
        rating: Current = "150 A",
        /// What makes a circuit breaker or contactor open by itself.
        release: Release = "thermal-magnetic",
        /// Current at which a circuit breaker opens at once, from its marking or data sheet.
        instantaneous_trip: Current = "1500 A",
        /// Interrupting rating for direct current at `rated_voltage`, from the fuse or circuit breaker or its data sheet.
        interrupting_rating: Current = "2 kA",
        /// Least current that a partial-range fuse clears, from its data sheet.
        least_breaking_current: Current = "1200 A",
        /// Longest time in which it clears the prospective short-circuit current, from the curve of its data sheet.
        clearing_time: Time = "10 ms",
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
            reader.problem(
                self.own.span.clone(),
                "this element has no `kind`".to_owned(),
                "expected a kind",
                &format!("kind = \"busbar\"   # one of: {}", ElementKind::ALL.map(ElementKind::word).join(", ")),
            );
            return;
        }
        let Some(kind) = self.kind() else { return };
        for key in table.keys() {
            let name: &str = key.get_ref();
            let known = <Self as crate::record::Part>::SHAPE.fields.iter().any(|f| f.name == name);
            if known && !kind.takes(name) {
                let kinds = ElementKind::ALL.into_iter().filter(|kind| kind.takes(name));
                let kinds: Vec<&str> = kinds.map(ElementKind::word).collect();
                let kind_word = kind.word();
                reader.problem(
                    key.span(),
                    format!("a {kind_word} has no `{name}`"),
                    &format!("`{name}` belongs to a {}", list(&kinds, "or")),
                    &format!("a {kind_word} takes: {}", kind.keys().join(", ")),
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

words! {
    /// What several kinds of element have in common; a rule or a checklist item names it in `each`.
    pub enum ElementTrait {
        /// it opens by itself on a fault current and is made to interrupt it
        InterruptsFault = "interrupts a fault",
        /// it stands where a fuse belongs: it opens by itself on overcurrent or on temperature
        Protective = "protective",
        /// it has contacts or a link that open the circuit, and so a rated voltage
        OpensCircuit = "opens the circuit",
        /// a length of metal with a cross-section
        Conductor = "conductor",
        /// what it may carry is printed on it or stands in its data sheet
        RatedByMarking = "rated by marking",
        /// it has a highest temperature, against which its own is judged
        LimitedByHeat = "limited by heat",
        /// a test rig may have it
        InRig = "in a rig",
    }
}

impl ElementKind {
    /// What it has in common with other kinds.
    pub const fn traits(self) -> &'static [ElementTrait] {
        use ElementTrait::{
            Conductor, InRig, InterruptsFault, LimitedByHeat, OpensCircuit, Protective, RatedByMarking,
        };
        match self {
            Self::CellStack => &[RatedByMarking, LimitedByHeat],
            Self::Busbar | Self::Cable => &[Conductor, LimitedByHeat, InRig],
            Self::Joint => &[LimitedByHeat, InRig],
            Self::Shunt => &[RatedByMarking, InRig],
            Self::Terminal => &[RatedByMarking, LimitedByHeat, InRig],
            Self::Fuse | Self::CircuitBreaker => {
                &[InterruptsFault, Protective, OpensCircuit, RatedByMarking, InRig]
            }
            Self::ThermalCutoff => &[Protective, OpensCircuit, LimitedByHeat, InRig],
            Self::Contactor | Self::Connector => &[OpensCircuit, RatedByMarking, InRig],
            Self::Bms => &[],
        }
    }

    /// True when it has this in common with other kinds.
    pub fn has(self, wanted: ElementTrait) -> bool {
        self.traits().contains(&wanted)
    }

    /// Every kind that has this in common.
    pub fn with(wanted: ElementTrait) -> impl Iterator<Item = Self> {
        Self::ALL.into_iter().filter(move |kind| kind.has(wanted))
    }

    /// Keys that it takes besides those that all kinds take.
    pub const fn keys(self) -> &'static [&'static str] {
        match self {
            Self::Busbar => {
                &["section", "length", "mass", "material", "finish", "orientation", "magnetic", "stacked"]
            }
            Self::Cable => {
                &["size", "length", "mass", "material", "insulation_temperature", "bundled", "magnetic"]
            }
            Self::Joint => &[
                "fastening",
                "overlap",
                "thickness",
                "bolt",
                "bolts",
                "bolt_class",
                "threads_into",
                "torque",
                "locking",
                "material",
                "finish",
                "other_material",
                "other_finish",
            ],
            Self::Fuse => &[
                "fuse",
                "rating",
                "rated_voltage",
                "voltage_for",
                "interrupting_rating",
                "least_breaking_current",
                "clearing_time",
                "distance_from_cells",
                "replaceable",
                "accessible",
            ],
            Self::CircuitBreaker => &[
                "release",
                "rating",
                "rated_voltage",
                "voltage_for",
                "interrupting_rating",
                "clearing_time",
                "instantaneous_trip",
                "distance_from_cells",
                "replaceable",
                "accessible",
            ],
            Self::ThermalCutoff => &[
                "rated_voltage",
                "voltage_for",
                "trip_temperature",
                "resets",
                "distance_from_cells",
                "replaceable",
                "accessible",
            ],
            Self::Contactor => &["release", "rated_voltage", "voltage_for", "replaceable", "accessible"],
            Self::Connector => &["rated_voltage", "voltage_for", "replaceable", "accessible"],
            Self::Terminal => &["bolt", "bolts", "torque", "material", "locking"],
            Self::Shunt => &["material"],
            Self::CellStack | Self::Bms => &[],
        }
    }

    /// True when an element of this kind has the field.
    pub fn takes(self, field: &str) -> bool {
        COMMON.contains(&field) || self.keys().contains(&field)
    }
}

impl Element {
    /// Its kind; none where nobody could tell.
    pub fn kind(&self) -> Option<ElementKind> {
        self.kind.known()
    }

    /// True when its kind is known and has this in common with others.
    pub fn has(&self, wanted: ElementTrait) -> bool {
        self.kind().is_some_and(|kind| kind.has(wanted))
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
    "rise_time",
    "allowed_temperature",
    "count",
    "in_each_string",
    "surroundings",
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Part;

    /// A key that no kind takes could never be written, and one that is misspelt would be refused.
    #[test]
    fn every_field_belongs_to_a_kind_and_every_key_is_a_field() {
        let fields: Vec<&str> = Element::SHAPE.fields.iter().map(|field| field.name).collect();
        for field in &fields {
            assert!(ElementKind::ALL.iter().any(|kind| kind.takes(field)), "{field}");
        }
        for key in ElementKind::ALL.iter().flat_map(|kind| kind.keys()).chain(COMMON) {
            assert!(fields.contains(key), "{key}");
        }
        for wanted in ElementTrait::ALL {
            assert!(ElementKind::with(wanted).next().is_some(), "{}", wanted.word());
            assert_eq!(ElementKind::from_word(wanted.word()), None, "a trait and a kind share a word");
        }
    }
}
