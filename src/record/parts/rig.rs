//! The test rig: what takes and feeds the current during the bench tests, and what carries it there.
//!
//! The rig is a current path of its own. Its elements are those of the pack's path, so that the same physics judges
//! both; where several loads share the current, each has the elements that carry only its share.

use std::collections::BTreeSet;

use super::path::{Element, ElementTrait};
use crate::record::field::{
    AnyQuantity, Count, Current, FieldMeaning, Kind, Power, Temperature, Text, Time, Voltage, YesNo, meanings,
};
use crate::record::part::part;
use crate::record::words;
use crate::units::Dimension;
use crate::units::words::did_you_mean;

/// Loads that a rig has at most.
pub const LOADS: usize = 64;

words! {
    /// The kind of load.
    pub enum LoadKind {
        /// holds the current that is set
        ElectronicLoad = "electronic load",
        /// feeds a load of mains voltage; it draws constant power, so its current rises as the voltage falls
        Inverter = "inverter",
        /// its current falls with the voltage
        ResistorBank = "resistor bank",
    }

    /// The kind of source.
    pub enum SourceKind {
        /// follows a charging curve of its own
        Charger = "charger",
        /// voltage and current are set by hand
        PowerSupply = "power supply",
    }

    /// Where the voltage of a test is sensed.
    pub enum Sense {
        /// sense leads of their own, on the pack's terminals
        AtThePack = "at the pack",
        /// the load's own terminals: the drop of the leads is missing from the reading
        AtTheLoad = "at the load",
    }

    /// What an instrument reads.
    pub enum Reads {
        /// the current of the pack
        WholeCurrent = "whole current",
        /// the current of one load
        BranchCurrent = "branch current",
        /// the voltage at the pack's terminals
        PackVoltage = "pack voltage",
        /// a temperature of the pack or the rig
        Temperature = "temperature",
    }
}

meanings! {
    /// What a fuse lets through, I²t.
    LetThrough = Kind::Quantity(Dimension::LET_THROUGH);
}

part! {
    /// The test rig: loads, source, instruments, and the leads, lugs, shunts and fuses between them and the pack. `underlid plan` checks it before full load is applied.
    pub struct Rig {
        /// Whether every element from the pack's terminals to the loads and to the source, and back, is listed. Until this says yes, the rig as a whole is not decided.
        complete: YesNo = "yes",
        /// Air temperature around the leads.
        ambient: Temperature = "25 degC",
        /// Where the voltage is sensed by the load or the logger.
        sense: Sense = "at the pack",
        /// Prospective short-circuit current at the pack's terminals, where it is known otherwise than from this record.
        fault_current: Current = "4 kA",
        ; one {
            /// What charges the pack for the tests.
            source: RigSource,
        }
        ; many {
            /// An element that carries the whole current, in order from the pack. It takes the keys of `[[path.element]]`; `distance_from_cells` counts from the pack's terminal here.
            element: Element,
            /// A load, with the elements that carry only its share.
            load: RigLoad,
            /// What an instrument reads during the tests, and in which range.
            meter: RigMeter,
            /// What the data sheet of a fuse or circuit breaker of the rig says of a short circuit.
            clearing: RigClearing,
        }
    }
    finish(self, _table, reader) {
        let spread = self.load.iter().flat_map(|load| &load.element).chain(&self.source.element);
        for element in self.element.iter().chain(spread) {
            if let Some(kind) = element.kind().filter(|kind| !kind.has(ElementTrait::InRig)) {
                reader.problem(
                    element.own.span.clone(),
                    format!("a test rig has no {}", kind.word()),
                    "this belongs to the pack's own path, `[[path.element]]`",
                    "kind = \"cable\"",
                );
            }
        }
        if let Some(load) = self.load.get(LOADS) {
            let message = format!("more than {LOADS} loads");
            reader.problem(load.own.span.clone(), message, "write equal loads once, with `count`", "count = 4");
        }
        let mut ids: Vec<&str> = Vec::new();
        for load in self.load.iter().take(LOADS) {
            let Some(id) = load.id.text() else { continue };
            if ids.contains(&id) {
                let message = format!("two loads are called `{id}`");
                reader.problem(load.id.found().span.clone(), message, "expected a name of its own", "id = \"load-2\"");
            }
            ids.push(id);
        }
        let elements = self.element.iter().chain(self.load.iter().flat_map(|load| &load.element));
        let fuses: BTreeSet<&str> = elements
            .chain(&self.source.element)
            .filter(|element| element.has(ElementTrait::InterruptsFault))
            .filter_map(|element| element.id.text())
            .collect();
        let mut told = BTreeSet::new();
        for clearing in &self.clearing {
            let found = clearing.of.found();
            let Some(fuse) = clearing.of.text() else {
                let message = "this does not say which fuse it is of".to_owned();
                reader.problem(clearing.own.span.clone(), message, "expected `of`", "of = \"rig-fuse\"");
                continue;
            };
            if !fuses.contains(fuse) {
                let known = fuses.iter().copied().take(LOADS);
                let expected = did_you_mean(fuse, known, "expected the `id` of a fuse of the rig");
                let message = format!("the rig has no fuse `{}`", fuse.chars().take(60).collect::<String>());
                reader.problem(found.span.clone(), message, &expected, "of = \"rig-fuse\"");
            } else if !told.insert(fuse) {
                let message = format!("fuse `{}` is told twice", fuse.chars().take(60).collect::<String>());
                reader.problem(found.span.clone(), message, "expected one [[rig.clearing]] for each fuse", "of = \"rig-fuse-2\"");
            }
        }
        for meter in &self.meter {
            let Some(load) = meter.load.text().filter(|load| !ids.contains(load)) else { continue };
            let expected = did_you_mean(load, ids.iter().copied(), "expected the `id` of a `[[rig.load]]`");
            let message = format!("there is no load `{}`", load.chars().take(60).collect::<String>());
            reader.problem(meter.load.found().span.clone(), message, &expected, "load = \"load-1\"");
        }
    }
}

part! {
    /// A load, with the elements that carry only its share.
    pub struct RigLoad {
        /// A short name, unique in the rig.
        id: Text = "load-1",
        /// The kind of load.
        kind: LoadKind = "electronic load",
        /// A description.
        name: Text = "electronic load, 80 V, 150 A",
        /// Equal loads with equal leads side by side.
        count: Count = "1",
        /// Power that one takes continuously, at its direct-current terminals.
        power: Power = "3000 W",
        /// Current that one takes continuously.
        current: Current = "150 A",
        /// Highest voltage it may be connected to.
        voltage: Voltage = "60 V",
        /// Current to be set in the full-load test, for all of these together. Left out, the plan shares the current out by what each load takes.
        set_current: Current = "77 A",
        ; many {
            /// An element that carries only this load's share, in order from the pack. It takes the keys of `[[path.element]]`.
            element: Element,
        }
    }
    finish(self, _table, reader) {
        let found = self.count.found();
        if self.count.count() == Some(0) {
            reader.problem(
                found.span.clone(),
                "`count` is 0".to_owned(),
                "expected 1 or more; leave the key out for a single load",
                "count = 1",
            );
        }
    }
}

part! {
    /// What the data sheet of a fuse of the rig says of a short circuit. One of the two is enough.
    pub struct RigClearing {
        /// The id of the fuse in the rig.
        of: Text = "rig-fuse",
        /// I²t that it lets through until it has cleared the prospective short-circuit current.
        let_through: LetThrough = "40000 A²s",
        /// Time in which it clears the prospective short-circuit current, from its time-current curve.
        clearing_time: Time = "10 ms",
    }
}

part! {
    /// What charges the pack for the tests.
    pub struct RigSource {
        /// The kind of source.
        kind: SourceKind = "power supply",
        /// A description.
        name: Text = "bench supply, 60 V, 50 A",
        /// Voltage that it is set to, or that it ends its charge with.
        voltage: Voltage = "29.2 V",
        /// Current that it is set to, or that it feeds at most.
        current: Current = "50 A",
        /// Whether it is connected through the elements that carry the whole current of the loads, `[[rig.element]]`, besides those listed here.
        shares_leads: YesNo = "yes",
        ; many {
            /// An element between the pack and the source alone, in order from the pack. It takes the keys of `[[path.element]]`.
            element: Element,
        }
    }
}

part! {
    /// What an instrument reads during the tests, and in which range.
    pub struct RigMeter {
        /// What it reads.
        reads: Reads = "whole current",
        /// The id of the instrument.
        instrument: Text = "clamp",
        /// The load whose current it reads.
        load: Text = "load-1",
        /// Upper end of the range in use.
        range: AnyQuantity = "600 A",
    }
}
