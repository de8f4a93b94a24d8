//! What `calc` works out: for each subject a table from its arguments to the keys of a record.
//!
//! A subject says which key of a record each argument fills, and which facts are shown. The record of it is derived and
//! judged like any other: there is no arithmetic here. A new subject is one more entry of [`SUBJECTS`].

use crate::judge::facts::network::{LINK_ENDS, LINK_FILM};
use crate::physics::{self, Method};
use crate::units::Dimension;

/// Where an argument goes.
#[derive(Debug, Clone, Copy)]
pub(super) enum To {
    /// A key of the record: a table of it, `element` or `conductor` for an element of the path, and the key.
    Key(&'static str),
    /// A fact that is given in the place of what would be derived.
    Fact(&'static str, Dimension),
    /// The highest temperature of a bar, told as a rise above the air around it.
    Rise,
    /// The kind of a fuse; a thermal cut-off is told apart, as a kind of element of its own.
    Fuse,
    /// A layer of the heat path.
    Layer,
}

/// An argument.
#[derive(Debug)]
pub(super) struct Flag {
    /// Its name; in capitals where it has no dashes.
    pub(super) name: &'static str,
    pub(super) to: To,
    pub(super) about: &'static str,
    pub(super) required: bool,
}

const fn flag(name: &'static str, to: To, about: &'static str) -> Flag {
    Flag { name, to, about, required: false }
}

const fn key(name: &'static str, to: &'static str, about: &'static str) -> Flag {
    flag(name, To::Key(to), about)
}

impl Flag {
    const fn required(self) -> Self {
        Self { required: true, ..self }
    }

    /// The fact or the key that it fills, as a rule would name it.
    pub(super) const fn fills(&self) -> &'static str {
        match self.to {
            To::Key(name) | To::Fact(name, _) => name,
            To::Rise => "element.allowed_temperature",
            To::Fuse => "element.fuse",
            To::Layer => "bms.layer",
        }
    }
}

/// What is worked out.
#[derive(Debug)]
pub(super) struct Subject {
    pub(super) name: &'static str,
    pub(super) about: &'static str,
    pub(super) title: &'static str,
    pub(super) example: &'static str,
    /// Keys that go without saying: the table that brings each of them in, its key and its value.
    pub(super) fixed: &'static [(&'static str, &'static str, &'static str)],
    pub(super) flags: &'static [Flag],
    /// The facts that are shown, the answer first.
    pub(super) facts: &'static [&'static str],
    /// True where its elements are one network with the cells between them, and not each by itself in open air.
    pub(super) network: bool,
    /// True where its answer is what opens before what harms, as a picture of time over current.
    pub(super) protects: bool,
    pub(super) methods: &'static [&'static Method],
    pub(super) notes: &'static [&'static str],
    pub(super) caution: &'static str,
}

const CAUTION: &str = "a calculation is no inspection and never says that a part or a pack is safe. What the maker prints \
and what local codes and licensed practice ask for come first.";

const FUSE_CAUTION: &str = "a fuse that cannot interrupt the prospective short-circuit current, or has no DC rating for the \
pack's voltage, can burst and keep an arc. Never take a rating from the look of a part: read it. A calculation never \
says that a part or a pack is safe; local codes and licensed practice come first.";

const SHORT_CAUTION: &str = "never try this out: a bridged pack feeds thousands of amperes into whatever bridges it. The \
figure leaves out what the cells do when they get hot. It chooses a fuse; it never says that a pack is \
safe. Local codes and licensed practice come first.";

const AMBIENT: Flag =
    key("ambient", "inspection.inner_ambient", "Temperature of the air around it, inside the closed pack");
const CURRENT: Flag = key("current", "claims.continuous_current", "Continuous current that it has to carry");

/// The network, in words.
const NETWORK: Method = Method {
    name: "electro-thermal network",
    formula: "k·A·T″ + I²·ρ(T)/A = (h + hᵣ)·p·(T − Tair) along each bar;  C·dT/dt = heat in − heat out at each point",
    source: "Fourier's law, film and radiation; what is not given is a range (common practice, no source), decided at 2.5 % and 97.5 %",
    range: "direct current; bars whose width and thickness are small against their length",
};

/// Series and parallel, in words.
const CELLS: Method = Method {
    name: "series and parallel",
    formula: "U = ns · Ucell;  C = np · Ccell;  E = U · C;  C-rate = I / C",
    source: "Kirchhoff's laws for equal cells; usual voltages of a chemistry: common practice, no source",
    range: "equal cells; capacity is that of a discharge at 0.2 C to cut-off (IEC 61960, IEC 62620; from memory)",
};

/// Rules of thumb for an overlap, with the limits of the rule book.
const OVERLAP: Method = Method {
    name: "bolted overlap",
    formula: "J = I / (length · width);  length over thickness of the thinner bar",
    source: "common practice, no source; the limits are the rule book's",
    range: "flat, clean faces under even pressure",
};

/// The bolt table in words.
const BOLT: Method = Method {
    name: "usual tightening torque",
    formula: "by thread and by what it is screwed into, from a table",
    source: "manuals of an LFP pack, of lead-acid batteries and of an open BMS (read); steel nuts: workshop tables after VDI 2230, property class 8.8, friction 0.14 (from memory)",
    range: "M4 to M12; the maker of the terminal or the cell comes first",
};

/// Everything that `calc` works out.
pub(super) const SUBJECTS: &[Subject] = &[
    Subject {
        name: "busbar",
        about: "What a flat bar carries for a temperature, and how warm it gets at a current",
        title: "Busbar: what it carries, and how warm it gets",
        example: "underlid calc busbar \"25 x 3 mm ± 0.1 mm\" --material copper --finish oxidised --rise \"50 K\" --current \"300 A\"",
        fixed: &[("element", "element.kind", "busbar")],
        flags: &[
            key("SECTION", "element.section", "Width and thickness of one bar, such as \"25 x 3 mm\"").required(),
            key("material", "element.material", "What it is made of").required(),
            // Before the rise, which counts from it.
            AMBIENT,
            flag("rise", To::Rise, "How much warmer than the air around it the bar may get; without it the rule book's limit"),
            CURRENT,
            key("stacked", "element.stacked", "Bars lying on each other; they share one surface and carry far less than the same bars apart"),
            key("count", "element.count", "Equal bars side by side, with air between them"),
            key("finish", "element.finish", "Its surface"),
            flag("emissivity", To::Fact("element.emissivity", Dimension::NONE), "Emissivity of its surface, where it is known better than by a word"),
            key("orientation", "element.orientation", "How it lies: \"on edge\" (wide faces upright) or flat"),
            key("length", "element.length", "Its length, for resistance, drop and heat"),
        ],
        facts: &[
            "element.permissible_current",
            "element.area",
            "element.rise_at_rated",
            "element.temperature_at_rated",
            "element.temperature_limit",
            "element.density",
            "element.resistance_found",
            "element.drop_at_rated",
            "element.heat",
        ],
        network: false,
        protects: false,
        methods: &[&physics::busbar::METHOD, &physics::resistance::METHOD],
        notes: &[
            "the limiting case of a long bar in free air: it applies from about half a metre of bar between its ends, in air that moves freely; a shorter one is as warm as what it is bolted to (`calc link`), one in a closed case is warmer",
        ],
        caution: CAUTION,
    },
    Subject {
        name: "link",
        about: "How warm a short bar gets between two ends at a temperature, or between the posts of two cells",
        title: "Link: how warm it gets between its ends",
        example: "underlid calc link \"20 x 2 mm\" --material copper --length \"60 mm\" --current \"200 A\" --end \"45 degC\" --other-end \"70 degC\"",
        fixed: &[
            ("element", "element.kind", "busbar"),
            ("element", "element.leg", "stack"),
            ("joint", "joint.kind", "joint"),
            ("joint", "joint.leg", "stack"),
            ("cells", "cells.series", "2"),
            ("cells", "cells.parallel", "1"),
            ("cells", "stack.kind", "cell-stack"),
            ("cells", "stack.leg", "stack"),
        ],
        flags: &[
            key("SECTION", "element.section", "Width and thickness, such as \"20 x 2 mm\"").required(),
            key("material", "element.material", "What it is made of").required(),
            key("length", "element.length", "Its length; between two ends at a temperature that between them").required(),
            key("current", "claims.continuous_current", "Current through it").required(),
            key("finish", "element.finish", "Its surface"),
            flag("end", To::Fact(LINK_ENDS[0], Dimension::TEMPERATURE), "Temperature at which an end is held, or both"),
            flag("other-end", To::Fact(LINK_ENDS[1], Dimension::TEMPERATURE), "Temperature of the other end, where it is another: a hot neighbour"),
            AMBIENT,
            flag("film", To::Fact(LINK_FILM, Dimension::FILM), "Film coefficient at its surface without radiation, where it is known better than \"2 to 8 W/(m²·K)\""),
            key("joint", "joint.resistance", "Without --end: resistance of the joint at each post"),
            key("cell-capacity", "cells.capacity", "Without --end: capacity of each of the two cells, discharged once at this current"),
            key("cell-resistance", "cells.resistance", "Without --end: direct-current resistance of a cell"),
        ],
        facts: &[
            "element.temperature_at_rated",
            "element.temperature_steady",
            "element.temperature_limit",
            "joint.temperature_at_rated",
            "joint.temperature_limit",
            "stack.temperature_at_rated",
            "stack.temperature_limit",
            "element.permissible_current",
            "element.permissible_without_end",
            "path.permissible_for_discharge",
            "path.limited_by",
            "element.resistance_found",
            "element.heat",
        ],
        network: true,
        protects: false,
        methods: &[&NETWORK, &physics::resistance::METHOD],
        notes: &["at two ends of a temperature: without end; between two cells: for one full discharge from 25 °C"],
        caution: CAUTION,
    },
    Subject {
        name: "cable",
        about: "What a copper cable carries, and its drop and heat at a current",
        title: "Cable: what it carries",
        example: "underlid calc cable \"35 mm2\" --insulation \"105 degC\" --ambient \"40 degC\" --current \"150 A\" --length \"0.6 m\"",
        fixed: &[("element", "element.kind", "cable"), ("element", "element.material", "copper")],
        flags: &[
            key("SIZE", "element.size", "Wire size of one cable, such as \"35 mm2\" or \"2/0 AWG\"").required(),
            key("insulation", "element.insulation_temperature", "Temperature class printed on the insulation").required(),
            AMBIENT,
            key("parallel", "element.count", "Equal cables in parallel"),
            key("bundled", "element.bundled", "Current-carrying cables that lie together, these included; without it, those in parallel"),
            CURRENT,
            key("length", "element.length", "Length of one cable, for resistance, drop and heat"),
            flag("fault", To::Fact("path.short_circuit_current", Dimension::CURRENT), "Short-circuit current, for the times until the insulation is damaged and the copper melts"),
        ],
        facts: &[
            "element.permissible_current",
            "element.rise_at_rated",
            "element.temperature_at_rated",
            "element.temperature_limit",
            "element.resistance_found",
            "element.drop_at_rated",
            "element.heat",
            "element.insulation_damaged_after",
            "element.melts_after",
        ],
        network: false,
        protects: false,
        methods: &[&physics::cable::METHOD, &physics::resistance::METHOD, &physics::adiabatic::HEATING],
        notes: &["a fuse protects the cable only if its rating is no more than this permissible current"],
        caution: CAUTION,
    },
    Subject {
        name: "fuse",
        about: "What a fuse responds to, whether it suits a load, what its standard fixes",
        title: "Fuse: what it responds to and what it is good for",
        example: "underlid calc fuse \"class T\" --rating \"200 A\" --current \"150 A\" --voltage \"29.2 V\" --prospective \"5.4 kA\"",
        fixed: &[
            ("element", "path.complete", "yes"),
            ("element", "element.voltage_for", "direct current"),
            ("conductor", "conductor.kind", "cable"),
        ],
        flags: &[
            flag("KIND", To::Fuse, "The kind of fuse, or \"thermal cut-off\"").required(),
            key("rating", "element.rating", "Rated current printed on it"),
            CURRENT,
            AMBIENT,
            flag("voltage", To::Fact("pack.string_voltage", Dimension::VOLTAGE), "Highest voltage at the end of charging, of all packs in series"),
            flag("prospective", To::Fact("path.fault_current_in_use", Dimension::CURRENT), "Fault current where the fuse sits, with what packs in parallel feed into it: `calc short-circuit` gives that of one"),
            key("rated-voltage", "element.rated_voltage", "DC voltage rating read from the fuse or its data sheet"),
            key("interrupting", "element.interrupting_rating", "DC interrupting rating read from the fuse or its data sheet"),
            key("trip", "bms.overcurrent_trip", "Current at which the BMS trips"),
            key("trip-delay", "bms.overcurrent_delay", "Time after which it does"),
            flag("ampacity", To::Fact("conductor.permissible_current", Dimension::CURRENT), "Permissible current of the weakest conductor it is to protect, from `calc busbar` or `calc cable`"),
        ],
        facts: &[
            "element.responds_to",
            "element.permissible_current",
            "element.voltage_found",
            "element.interrupting_found",
            "element.holds_for",
            "path.overcurrent_rating",
        ],
        network: false,
        protects: false,
        methods: &[&physics::fuse::METHOD],
        notes: &[],
        caution: FUSE_CAUTION,
    },
    Subject {
        name: "short-circuit",
        about: "What flows if the terminals are bridged and nothing opens",
        title: "Prospective short-circuit current",
        example: "underlid calc short-circuit --chemistry LFP --cell-resistance \"0.25 mΩ ± 0.05 mΩ\" --series 8 --path \"1.2 mΩ\"",
        fixed: &[
            ("cells", "cells.parallel", "1"),
            ("element", "element.kind", "connector"),
            ("element", "path.complete", "yes"),
            ("conductor", "conductor.kind", "cable"),
            ("conductor", "conductor.material", "copper"),
            ("conductor", "conductor.resistance", "0.001 µΩ"),
        ],
        flags: &[
            key("cell-resistance", "cells.resistance", "Resistance of one cell as a meter shows it at 1 kHz: it gives the greatest current").required(),
            key("cell-direct-resistance", "cells.direct_resistance", "Its direct-current resistance, for the least current; without it up to 2.2 times the other"),
            key("series", "cells.series", "Cells, or groups of parallel cells, in series").required(),
            key("parallel", "cells.parallel", "Cells in parallel; without it 1"),
            flag("cell-voltage", To::Fact("pack.cell_rest_voltage", Dimension::VOLTAGE), "Voltage of one cell at rest and fully charged"),
            key("chemistry", "cells.chemistry", "Chemistry, for the usual voltage"),
            key("path", "element.resistance", "Resistance of everything else in the loop: bars, joints, BMS, fuse, cable"),
            key("conductor", "conductor.size", "Cross-section of the thinnest copper conductor, for the time until it melts"),
        ],
        facts: &["path.short_circuit_current", "path.fault_time_constant", "conductor.melts_after"],
        network: false,
        protects: false,
        methods: &[&physics::short_circuit::METHOD, &physics::short_circuit::INDUCTANCE, &physics::adiabatic::HEATING],
        notes: &["the fuse's DC interrupting rating must be no less than this current, at the pack's highest voltage"],
        caution: SHORT_CAUTION,
    },
    Subject {
        name: "heat-path",
        about: "How warm the switching devices get through the layers of their heat path",
        title: "Heat path of the switching devices",
        example: "underlid calc heat-path --layer \"pad: 1.5 mm, 40 cm2, 3 W/(m·K)\" --layer \"heat sink: 1.8 K/W\" \
                  --current \"150 A\" --devices 10 --on-resistance \"1.2 mΩ\" --junction-to-case \"0.5 K/W\" --ambient \"25 degC\"",
        fixed: &[("bms", "bms.switching_devices", "1"), ("bms", "bms.devices_in_series", "1")],
        flags: &[
            flag("layer", To::Layer, "A layer from the devices outwards, once for each: \"1.5 mm, 40 cm2, 3 W/(m·K)\" or \"0.5 K/W\", perhaps with a name and a colon in front").required(),
            flag("power", To::Fact("bms.dissipation", Dimension::POWER), "Heat that goes through the layers, where it is known"),
            key("current", "claims.continuous_current", "Current through all devices together"),
            key("devices", "bms.switching_devices", "Devices in parallel that share the current and the heat path; without it 1"),
            key("in-series", "bms.devices_in_series", "Devices in series in the path of the current; without it 1"),
            key("on-resistance", "bms.device_resistance", "On-resistance of one device at 25 °C, from its data sheet"),
            key("factor", "bms.device_resistance_factor", "On-resistance at the highest junction temperature over that at 25 °C, from the data sheet"),
            key("junction-limit", "bms.device_temperature_limit", "Highest junction temperature of the data sheet"),
            key("junction-to-case", "bms.device_thermal_resistance", "Thermal resistance from junction to case of one device, from the data sheet"),
            key("ambient", "claims.rated_ambient", "Temperature where the last layer ends"),
        ],
        facts: &[
            "bms.heat_path_resistance",
            "bms.device_current",
            "bms.dissipation",
            "bms.surface_temperature",
            "bms.junction_temperature",
            "bms.junction_limit",
        ],
        network: false,
        protects: false,
        methods: &[&physics::heat_path::METHOD],
        notes: &["what is not listed as a layer is not counted: spreading in a plate, the film of air outside"],
        caution: CAUTION,
    },
    Subject {
        name: "joint",
        about: "What a millivolt reading over a joint says, and what an overlap and a bolt are good for",
        title: "Joint: reading, overlap, bolt",
        example: "underlid calc joint --drop \"4.2 mV ± 0.1 mV\" --current \"100 A\" --rated \"150 A\" --overlap \"25 x 20 mm\" --thickness \"3 mm\" --bolt M8",
        fixed: &[("element", "element.kind", "joint"), ("element", "element.fastening", "bolted")],
        flags: &[
            key("drop", "element.drop", "Voltage drop over the joint, measured with four wires"),
            key("current", "element.drop_current", "Current while the drop was measured"),
            key("resistance", "element.resistance", "Resistance of the joint, where it was measured itself"),
            key("rated", "claims.continuous_current", "Continuous current the joint has to carry"),
            key("overlap", "element.overlap", "Length along the current and width of the overlap, such as \"25 x 20 mm\""),
            key("thickness", "element.thickness", "Thickness of the thinner bar or lug"),
            key("bolt", "element.bolt", "Bolt thread, such as M8"),
            key("into", "element.threads_into", "What the bolt is screwed into; without it a range over all"),
            key("torque", "element.torque", "Torque found or applied"),
        ],
        facts: &[
            "element.resistance_found",
            "element.drop_at_rated",
            "element.heat",
            "element.permissible_current",
            "element.overlap_ratio",
            "element.usual_torque",
        ],
        network: false,
        protects: false,
        methods: &[&physics::joint::METHOD, &OVERLAP, &BOLT],
        notes: &[
            "keep the test leads off the current leads: a clip that carries the current adds its own drop",
        ],
        caution: CAUTION,
    },
    Subject {
        name: "protection",
        about: "Whether something opens before a fault current harms insulation or conductor, as a time-current chart",
        title: "Protection: what opens, and what is harmed, over the current",
        example: "underlid calc protection --prospective \"2.4 kA ± 0.4 kA\" --trip \"300 A\" --trip-delay \"5 s\" --fuse \"class T\" --rating \"200 A\" --clearing-time \"20 ms\" --interrupting \"20 kA\" --cable \"35 mm2\" --insulation \"90 degC\" --chart protection.svg",
        fixed: &[
            ("protector", "protector.kind", "fuse"),
            ("protector", "protector.voltage_for", "direct current"),
            ("cable", "cable.kind", "cable"),
            ("cable", "cable.material", "copper"),
            ("bar", "bar.kind", "busbar"),
            ("bar", "bar.material", "copper"),
        ],
        flags: &[
            flag("prospective", To::Fact("path.short_circuit_current", Dimension::CURRENT), "Prospective short-circuit current: `calc short-circuit` gives it").required(),
            flag("time-constant", To::Fact("path.fault_time_constant", Dimension::TIME), "L/R of the loop, for how soon the current rises"),
            key("current", "claims.continuous_current", "Rated continuous current, as a mark"),
            key("trip", "bms.overcurrent_trip", "Current at which the BMS trips"),
            key("trip-delay", "bms.overcurrent_delay", "Time after which it does"),
            key("short-trip", "bms.short_circuit_trip", "Current at which its short-circuit trip acts"),
            key("short-trip-delay", "bms.short_circuit_delay", "Time after which it does"),
            key("fuse", "protector.fuse", "Kind of the fuse"),
            key("rating", "protector.rating", "Rated current of the fuse"),
            key("interrupting", "protector.interrupting_rating", "DC interrupting rating of the fuse: what it cannot interrupt it does not clear"),
            key("clearing-time", "protector.clearing_time", "Time in which its data sheet lets it clear the prospective current"),
            key("cable", "cable.size", "Wire size of the thinnest cable, such as \"35 mm2\""),
            key("insulation", "cable.insulation_temperature", "Temperature class of its insulation"),
            key("bar", "bar.section", "Width and thickness of the thinnest bar, such as \"20 x 3 mm\""),
            key("bar-material", "bar.material", "What it is made of; without it copper"),
        ],
        facts: &[
            "path.short_circuit_current",
            "path.fault_time_constant",
            "path.clears_within",
            "cable.insulation_damaged_after",
            "cable.melts_after",
            "bar.plastics_damaged_after",
            "bar.melts_after",
        ],
        network: false,
        protects: true,
        methods: &[&physics::adiabatic::HEATING],
        notes: &[],
        caution: SHORT_CAUTION,
    },
    Subject {
        name: "pack",
        about: "What series and parallel make of a cell, and how warm bar, joint, fuse and cable get between them",
        title: "Pack: cells in series and parallel, and the path of their current",
        example: "underlid calc pack --series 8 --chemistry LFP --cell-capacity \"150 Ah\" --current \"150 A\" --bar \"20 x 3 mm\" --bar-length \"80 mm\" --joint \"15 µΩ\" --bms \"0.3 mΩ\"",
        fixed: &[
            ("cells", "cells.parallel", "1"),
            ("bar", "bar.kind", "busbar"),
            ("bar", "bar.material", "copper"),
            ("bar", "bar.leg", "positive"),
            ("bar", "stack.kind", "cell-stack"),
            ("joint", "joint.kind", "joint"),
            ("joint", "joint.leg", "positive"),
            ("cable", "cable.kind", "cable"),
            ("cable", "cable.material", "copper"),
            ("cable", "cable.leg", "positive"),
            ("cable", "stack.kind", "cell-stack"),
            ("protector", "protector.kind", "fuse"),
            ("protector", "protector.leg", "positive"),
            ("board", "board.kind", "bms"),
            ("board", "board.leg", "negative"),
        ],
        flags: &[
            key("series", "cells.series", "Cells, or groups of parallel cells, in series").required(),
            key("parallel", "cells.parallel", "Cells in parallel; without it 1"),
            key("cell-capacity", "cells.capacity", "Capacity of one cell").required(),
            key("chemistry", "cells.chemistry", "Chemistry, for the usual voltages"),
            key("cell-voltage", "cells.nominal_voltage", "Nominal voltage of one cell, where it is known"),
            key("cell-rate", "cells.discharge_rate_limit", "Continuous discharge limit of the cell, such as \"1 C\""),
            key("current", "claims.continuous_current", "Continuous current of the pack, for the C-rate"),
            key("charge-voltage", "claims.charge_voltage", "Charge voltage of the pack, to be divided among the cells"),
            key("cutoff-voltage", "claims.cutoff_voltage", "Cut-off voltage of the pack, to be divided among the cells"),
            key("cell-resistance", "cells.resistance", "Resistance of one cell"),
            key("bar", "bar.section", "Width and thickness of the bar at the last cell, such as \"20 x 3 mm\""),
            key("bar-material", "bar.material", "What it is made of; without it copper"),
            key("bar-length", "bar.length", "Its length"),
            key("joint", "joint.resistance", "Resistance of its joint"),
            key("cable", "cable.size", "Wire size of the cable to the terminal, such as \"35 mm2\""),
            key("cable-length", "cable.length", "Its length"),
            key("insulation", "cable.insulation_temperature", "Temperature class of its insulation"),
            key("fuse", "protector.rating", "Rated current of the fuse"),
            key("bms", "board.resistance", "Resistance of the BMS from its one end to the other"),
        ],
        facts: &[
            "pack.nominal_voltage",
            "pack.capacity",
            "pack.energy",
            "pack.highest_voltage",
            "pack.c_rate",
            "pack.c_rate_limit",
            "pack.cell_charge_voltage",
            "pack.cell_charge_limit",
            "pack.cell_cutoff_voltage",
            "pack.cell_discharge_limit",
            "path.permissible_for_discharge",
            "path.permissible_without_end",
            "path.limited_by",
            "path.time_to_limit",
            "board.temperature_at_rated",
            "stack.temperature_at_rated",
            "stack.temperature_limit",
            "bar.temperature_at_rated",
            "bar.temperature_limit",
            "joint.temperature_at_rated",
            "joint.temperature_limit",
            "protector.temperature_at_rated",
            "cable.temperature_at_rated",
            "cable.temperature_limit",
        ],
        network: true,
        protects: false,
        methods: &[&CELLS, &NETWORK],
        notes: &["the cells are taken to share the pack's voltage equally; cells out of balance do not"],
        caution: CAUTION,
    },
];
