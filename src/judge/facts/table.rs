//! The derived facts by name, for the rule language and its documentation.

use super::value::Type;
use crate::physics::fuse::RespondsTo;
use crate::record::field::Word;
use crate::record::parts::TestEnd;
use crate::units::Dimension;

/// A derived fact, described.
#[derive(Debug, Clone, Copy)]
pub struct FactInfo {
    /// Its name in expressions.
    pub name: &'static str,
    /// Its type.
    pub kind: Type,
    /// What it is.
    pub about: &'static str,
}

const CIRCUITS: &[Word] = &[
    Word { word: "whole current", about: "that of the pack" },
    Word { word: "load", about: "the share of a load" },
    Word { word: "source", about: "that of the source" },
];

const fn fact(name: &'static str, dimension: Dimension, about: &'static str) -> FactInfo {
    FactInfo { name, kind: Type::Amount(dimension), about }
}

/// All derived facts.
pub const FACTS: &[FactInfo] = &[
    fact("pack.nominal_voltage", Dimension::VOLTAGE, "cells in series times nominal cell voltage"),
    fact("pack.highest_voltage", Dimension::VOLTAGE, "highest voltage of the pack while charging"),
    fact(
        "pack.string_voltage",
        Dimension::VOLTAGE,
        "highest voltage of as many packs in series as the papers allow; at least that of one where nothing is recorded",
    ),
    fact(
        "pack.strings",
        Dimension::NONE,
        "parallel strings of cells, as recorded; one where no cells are in parallel",
    ),
    fact("pack.capacity", Dimension::CHARGE, "cells in parallel times capacity of one cell"),
    fact("pack.energy", Dimension::ENERGY, "pack capacity times pack nominal voltage, from the cells"),
    fact("pack.c_rate", Dimension::RATE, "rated continuous current over the capacity the cells add up to"),
    fact("pack.c_rate_limit", Dimension::RATE, "continuous discharge limit of the cells as a C-rate"),
    fact(
        "pack.charge_c_rate",
        Dimension::RATE,
        "claimed charge current over the capacity the cells add up to",
    ),
    fact(
        "pack.cold_charge_current",
        Dimension::CURRENT,
        "charge current that the pack allows where its cells are no warmer than `limit.cold_charge_end`",
    ),
    fact("pack.cell_charge_voltage", Dimension::VOLTAGE, "claimed charge voltage over cells in series"),
    fact(
        "pack.cell_charge_limit",
        Dimension::VOLTAGE,
        "highest charge voltage of one cell, recorded or usual for its chemistry",
    ),
    fact("pack.cell_cutoff_voltage", Dimension::VOLTAGE, "claimed cut-off voltage over cells in series"),
    fact(
        "pack.cell_discharge_limit",
        Dimension::VOLTAGE,
        "lowest discharge voltage of one cell, recorded or usual for its chemistry",
    ),
    fact("pack.specific_energy", Dimension::SPECIFIC_ENERGY, "claimed energy over the mass of the pack"),
    fact(
        "pack.energy_density",
        Dimension::ENERGY_DENSITY,
        "claimed energy over the outer volume of the pack",
    ),
    fact("pack.cell_specific_energy", Dimension::SPECIFIC_ENERGY, "energy of one cell over its mass"),
    fact("pack.voltage_spread", Dimension::VOLTAGE, "highest less lowest cell voltage among the readings"),
    fact(
        "pack.resistance_spread",
        Dimension::NONE,
        "highest over lowest cell resistance among the readings, less one",
    ),
    fact("pack.date_spread", Dimension::TIME, "time between the earliest and the latest cell"),
    fact("pack.full_load_tests", Dimension::NONE, "number of full-load tests in the record, done or planned"),
    fact(
        "path.permissible_current",
        Dimension::CURRENT,
        "permissible current of the pack: the least of what its parts may carry and what the heat of the whole allows",
    ),
    fact(
        "path.permissible_for_discharge",
        Dimension::CURRENT,
        "current that brings the first place of the path to its limit by the end of one full discharge at the ambient of the rating",
    ),
    fact(
        "path.permissible_without_end",
        Dimension::CURRENT,
        "current that brings the first place of the path to its limit without end",
    ),
    fact(
        "path.permissible_peak",
        Dimension::CURRENT,
        "current that brings the first place of the path to its limit within the claimed duration of the peak",
    ),
    fact(
        "path.permissible_when_hot",
        Dimension::CURRENT,
        "current that brings the first place of the path to its limit by the end of one full discharge at `limit.hot_ambient`",
    ),
    fact(
        "path.permissible_at_hottest",
        Dimension::CURRENT,
        "current that brings the first place of the path to its limit by the end of one full discharge at the hottest ambient that the maker allows",
    ),
    fact(
        "path.time_to_limit",
        Dimension::TIME,
        "time until the first place comes to its limit at rated continuous current",
    ),
    fact(
        "path.permissible_charge_current",
        Dimension::CURRENT,
        "what the path carries of a charge current: that of the load, or that of a charge port of its own",
    ),
    fact(
        "path.charge_overcurrent_devices",
        Dimension::NONE,
        "parts between a charge port of its own and the cells that open on overcurrent",
    ),
    fact(
        "path.charge_fuse_voltage",
        Dimension::VOLTAGE,
        "rated voltage of the strongest fuse or circuit breaker between a charge port of its own and the cells",
    ),
    fact(
        "path.charge_fuse_interrupting",
        Dimension::CURRENT,
        "interrupting rating of the same fuse or circuit breaker",
    ),
    fact(
        "path.charge_fault_current",
        Dimension::CURRENT,
        "prospective current behind a charge port of its own, with what packs in parallel feed into it",
    ),
    fact(
        "path.air_temperature_at_rated",
        Dimension::TEMPERATURE,
        "temperature of the air inside after one full discharge at rated continuous current",
    ),
    FactInfo {
        name: "path.limited_by",
        kind: Type::Text,
        about: "the place that comes to its limit first in one full discharge",
    },
    fact(
        "path.temperature_readings",
        Dimension::NONE,
        "number of temperatures of parts that bench tests read under load",
    ),
    fact(
        "path.residual",
        Dimension::NONE,
        "largest normalised residual of the measured temperatures against the pack's network after the fit",
    ),
    FactInfo {
        name: "path.weakest",
        kind: Type::Text,
        about: "the weakest element whose permissible current is known",
    },
    fact("path.resistance", Dimension::RESISTANCE, "sum of the known resistances, cells included"),
    fact(
        "path.drop",
        Dimension::VOLTAGE,
        "voltage drop over the known resistances at rated continuous current",
    ),
    fact("path.heat", Dimension::POWER, "heat in the known resistances at rated continuous current"),
    fact(
        "element.carried_current",
        Dimension::CURRENT,
        "current through the element at rated continuous current: all of it, or the share of a string",
    ),
    fact(
        "element.fault_current",
        Dimension::CURRENT,
        "prospective short-circuit current through the element: that of the pack, or what may flow in a string",
    ),
    fact(
        "element.fault_current_in_use",
        Dimension::CURRENT,
        "fault current through the element in the use that is claimed: that of the path, or what may flow in a string",
    ),
    fact(
        "path.short_circuit_current",
        Dimension::CURRENT,
        "prospective short-circuit current of the pack, as a range: from the parts, and at least that of a load step",
    ),
    fact(
        "path.short_circuit_from_parts",
        Dimension::CURRENT,
        "the same from the resistances of cells and path alone",
    ),
    fact(
        "path.short_circuit_from_step",
        Dimension::CURRENT,
        "the same from the pack's resistance within 1 s of a load step; a lower bound",
    ),
    fact(
        "path.fault_current_in_use",
        Dimension::CURRENT,
        "fault current that a device in the path must interrupt, fed by as many packs in parallel as the papers allow; at least that of one where nothing is recorded",
    ),
    fact(
        "path.fault_time_constant",
        Dimension::TIME,
        "time constant L/R with which a fault current rises, without leads outside",
    ),
    fact(
        "path.fault_energy",
        Dimension::ENERGY,
        "energy ½·L·i² in the loop when the BMS opens it on a short circuit, leads outside included",
    ),
    fact(
        "path.clears_within",
        Dimension::TIME,
        "longest time in which a fuse or circuit breaker of the path clears the prospective short-circuit current",
    ),
    fact(
        "path.full_range_devices",
        Dimension::NONE,
        "number of those that clear every current that opens them, and not a short circuit alone",
    ),
    fact(
        "path.short_circuit_steps",
        Dimension::NONE,
        "1 where a bench test shows the pack's resistance within 1 s of a load step, else 0",
    ),
    fact(
        "path.short_circuit_error",
        Dimension::NONE,
        "normalised error of the short-circuit current from a load step against that from the parts; not known where the load step gives less",
    ),
    fact(
        "path.overcurrent_devices",
        Dimension::NONE,
        "number of fuses and circuit breakers in the path that respond to current",
    ),
    FactInfo {
        name: "path.every_string_fused",
        kind: Type::YesNo,
        about: "whether each parallel string has a fuse or circuit breaker of its own, where the recorded path does not say the contrary",
    },
    fact("path.thermal_cutoffs", Dimension::NONE, "number of thermal cut-offs in the path"),
    fact(
        "path.overcurrent_rating",
        Dimension::CURRENT,
        "smallest rating among the fuses and circuit breakers in the path that respond to current",
    ),
    fact(
        "element.permissible_current",
        Dimension::CURRENT,
        "permissible current of the element: of bars, cables and joints what brings them to their limit in one full discharge, of others what is printed on them",
    ),
    fact(
        "element.resistance_found",
        Dimension::RESISTANCE,
        "resistance of the element: recorded, from a drop, or from its size",
    ),
    fact("element.drop_at_rated", Dimension::VOLTAGE, "voltage drop at rated continuous current"),
    fact("element.heat", Dimension::POWER, "heat at rated continuous current"),
    fact("element.area", Dimension::AREA, "cross-section of all conductors side by side and stacked"),
    fact("element.density", Dimension::CURRENT_DENSITY, "rated continuous current over cross-section"),
    fact(
        "element.rise_at_rated",
        Dimension::TEMPERATURE_DIFFERENCE,
        "predicted temperature rise at rated continuous current",
    ),
    fact(
        "element.temperature_at_rated",
        Dimension::TEMPERATURE,
        "predicted temperature after one full discharge at rated continuous current; of a conductor by itself, without end",
    ),
    fact(
        "element.temperature_quarter_hour",
        Dimension::TEMPERATURE,
        "predicted temperature after a quarter of an hour at rated continuous current, in the pack",
    ),
    fact(
        "element.temperature_steady",
        Dimension::TEMPERATURE,
        "predicted temperature at rated continuous current without end, in the pack",
    ),
    fact(
        "element.temperature_limit",
        Dimension::TEMPERATURE,
        "highest temperature that the place may reach: from its data sheet, or that of its kind",
    ),
    fact(
        "element.temperature_readings",
        Dimension::NONE,
        "number of temperatures of the element that bench tests read under load",
    ),
    fact(
        "element.measured_temperature",
        Dimension::TEMPERATURE,
        "highest temperature that a bench test at no more than the rated current shows, brought to the ambient of the rating",
    ),
    fact(
        "element.permissible_without_end",
        Dimension::CURRENT,
        "current that brings a bar, cable or joint to its limit in the pack without end",
    ),
    fact(
        "element.contact_density",
        Dimension::CURRENT_DENSITY,
        "rated continuous current over the area of a joint's overlap",
    ),
    FactInfo {
        name: "element.responds_to",
        kind: Type::Word(RespondsTo::WORDS),
        about: "what makes a fuse, circuit breaker, thermal cut-off or contactor open",
    },
    fact(
        "element.voltage_found",
        Dimension::VOLTAGE,
        "rated voltage as recorded, where it is for direct current",
    ),
    fact(
        "element.interrupting_found",
        Dimension::CURRENT,
        "interrupting rating: recorded, or fixed by the standard of its kind at the voltage printed on it",
    ),
    fact(
        "element.derated_rating",
        Dimension::CURRENT,
        "what the rating of a fuse or a circuit breaker is worth in the air of the pack at rated continuous current",
    ),
    fact(
        "element.holds_for",
        Dimension::TIME,
        "time for which the fuse surely carries the current at which the BMS trips on overcurrent",
    ),
    fact(
        "element.insulation_damaged_after",
        Dimension::TIME,
        "time after which the prospective short-circuit current damages the cable's insulation",
    ),
    fact(
        "element.plastics_damaged_after",
        Dimension::TIME,
        "time after which the prospective short-circuit current makes the bar too hot for plastics that touch it",
    ),
    fact(
        "element.melts_after",
        Dimension::TIME,
        "time after which the prospective short-circuit current melts the conductor",
    ),
    fact(
        "element.temperature_in_heat",
        Dimension::TEMPERATURE,
        "predicted temperature after one full discharge at rated continuous current at the hottest temperature that is claimed for discharging",
    ),
    fact(
        "enclosure.creepage_needed",
        Dimension::LENGTH,
        "creepage that the table asks for at the string's voltage, by pollution degree and material group",
    ),
    fact(
        "enclosure.clearance_needed",
        Dimension::LENGTH,
        "clearance that the table asks for at the string's voltage, by pollution degree",
    ),
    fact(
        "element.overlap_ratio",
        Dimension::NONE,
        "length of the overlap over the thickness of the thinner bar",
    ),
    fact("element.density_found", Dimension::DENSITY, "mass of the conductor over its volume"),
    fact("element.density_expected", Dimension::DENSITY, "density of the recorded material"),
    fact("element.galvanic", Dimension::VOLTAGE, "difference of the anodic indices of the two metals"),
    fact(
        "element.usual_torque",
        Dimension::TORQUE,
        "torque that is usual for the bolt's thread where it is screwed into",
    ),
    fact("element.photos", Dimension::NONE, "number of photos that show the element"),
    fact(
        "bms.carried_current",
        Dimension::CURRENT,
        "current through the BMS at rated continuous current: all of it, or the share of a string",
    ),
    fact(
        "bms.device_current",
        Dimension::CURRENT,
        "current of one switching device at rated continuous current",
    ),
    fact("bms.dissipation", Dimension::POWER, "heat in the switching devices at rated continuous current"),
    fact(
        "bms.heat_path_resistance",
        Dimension::THERMAL_RESISTANCE,
        "thermal resistance of the recorded layers from the devices to the outside",
    ),
    fact(
        "bms.surface_temperature",
        Dimension::TEMPERATURE,
        "temperature where the heat of the switching devices enters the first recorded layer",
    ),
    fact(
        "bms.junction_temperature",
        Dimension::TEMPERATURE,
        "junction temperature at rated continuous current through the recorded heat path",
    ),
    fact(
        "bms.junction_limit",
        Dimension::TEMPERATURE,
        "highest junction temperature: from the data sheet, or usual",
    ),
    fact(
        "test.capacity_found",
        Dimension::CHARGE,
        "capacity that the test shows, by integration of its log or as read off",
    ),
    fact(
        "test.energy_found",
        Dimension::ENERGY,
        "energy that the test shows, by integration of its log or as read off",
    ),
    fact(
        "test.held_for",
        Dimension::TIME,
        "longest time at or above rated current without interruption, by a log or as read off: from what it surely was to what it may have been",
    ),
    fact("test.current_held", Dimension::CURRENT, "mean current under load, by a log or as read off"),
    FactInfo {
        name: "test.ended_by",
        kind: Type::Word(TestEnd::WORDS),
        about: "how a full-load test ended, by a log or as read off",
    },
    fact(
        "test.cold_charge_current",
        Dimension::CURRENT,
        "current into the cells while they were below `limit.charge_temperature`, without what the heater took: from what surely flowed to what may have",
    ),
    fact(
        "test.coldest_cell",
        Dimension::TEMPERATURE,
        "the coldest that the cells were, by a log or as read off",
    ),
    FactInfo {
        name: "test.bms_opened",
        kind: Type::YesNo,
        about: "whether the BMS opened in a test that went far enough to ask it to, by a log or as read off",
    },
    fact(
        "test.trip_current_found",
        Dimension::CURRENT,
        "current at which the BMS opened, by a log or as read off",
    ),
    fact("test.trip_time_found", Dimension::TIME, "time until the BMS opened, by a log or as read off"),
    fact(
        "test.trip_voltage_found",
        Dimension::VOLTAGE,
        "voltage of the pack at which the BMS stopped the charge, by a log or as read off",
    ),
    fact("test.drain_found", Dimension::CURRENT, "current that the pack draws from itself at rest"),
    fact("test.charge_in", Dimension::CHARGE, "charge that went into the pack, by integration of the log"),
    fact("test.energy_in", Dimension::ENERGY, "energy that went into the pack, by integration of the log"),
    fact(
        "test.coulomb_efficiency",
        Dimension::NONE,
        "charge out in the capacity test over charge in, from a full charge and a full discharge",
    ),
    fact(
        "test.energy_efficiency",
        Dimension::NONE,
        "energy out in the capacity test over energy in, from a full charge and a full discharge",
    ),
    fact(
        "test.resistance",
        Dimension::RESISTANCE,
        "resistance of the whole pack within a second of a load step",
    ),
    fact("test.gauge_readings", Dimension::NONE, "number of comparisons with the pack's own gauge"),
    fact(
        "test.gauge_error",
        Dimension::NONE,
        "largest normalised error of the pack's own gauge against the reference, with its step and the instruments (k = 2)",
    ),
    fact("test.branches", Dimension::NONE, "number of instruments that each see a part of the current"),
    fact("test.branch_sum", Dimension::CURRENT, "sum of the currents of the branches"),
    fact(
        "test.branch_error",
        Dimension::NONE,
        "largest normalised error of the sum of the branches against an instrument of the whole current and against the gauge (k = 2)",
    ),
    fact(
        "rig.fault_current",
        Dimension::CURRENT,
        "prospective short-circuit current at the pack's terminals: recorded for the rig, or from the pack",
    ),
    fact(
        "rig.overcurrent_devices",
        Dimension::NONE,
        "number of fuses and circuit breakers that respond to current and carry the whole current",
    ),
    fact("rig.highest_voltage", Dimension::VOLTAGE, "highest voltage of the pack that the session allows"),
    fact(
        "rig.charge_voltage_limit",
        Dimension::VOLTAGE,
        "highest voltage of the pack with the tolerance of its cells",
    ),
    FactInfo { name: "rig.loads_set", kind: Type::YesNo, about: "whether a current is set for every load" },
    fact("rig.set_current", Dimension::CURRENT, "sum of the currents that are set for the loads"),
    fact(
        "rig.needed_current",
        Dimension::CURRENT,
        "rated continuous current and what a reading of it is uncertain by",
    ),
    FactInfo {
        name: "rig.listed",
        kind: Type::YesNo,
        about: "whether the list of elements is said to be complete, and could be",
    },
    FactInfo {
        name: "rig.reads_all",
        kind: Type::YesNo,
        about: "whether instruments read current, voltage and a temperature",
    },
    fact(
        "rig.unsensed_drop",
        Dimension::VOLTAGE,
        "drop in the capacity test between the pack and where its voltage is sensed, for one cell",
    ),
    fact(
        "source.overcurrent_devices",
        Dimension::NONE,
        "number of fuses and circuit breakers that respond to current between source and pack",
    ),
    FactInfo {
        name: "source.listed",
        kind: Type::YesNo,
        about: "whether the leads of the source are told, and said to be all",
    },
    fact("load.share", Dimension::CURRENT, "share of the test current that falls to one such load"),
    fact("load.share_power", Dimension::POWER, "power of that share with the pack full"),
    fact("meter.reading", Dimension::CURRENT, "current that the instrument reads in the full-load test"),
    fact("meter.current_range", Dimension::CURRENT, "range in use, where it is a current"),
    fact("meter.voltage_range", Dimension::VOLTAGE, "range in use, where it is a voltage"),
    FactInfo {
        name: "meter.accuracy_known",
        kind: Type::YesNo,
        about: "whether the accuracy of the instrument is recorded",
    },
    FactInfo { name: "circuit.part", kind: Type::Word(CIRCUITS), about: "whose current the element carries" },
    fact("circuit.current", Dimension::CURRENT, "current that the element carries"),
    fact(
        "circuit.smallest_fuse",
        Dimension::CURRENT,
        "smallest rating of the fuses in series with the element",
    ),
    fact(
        "circuit.let_through",
        Dimension::LET_THROUGH,
        "I²t that passes in a short circuit until a fuse in series has cleared",
    ),
    fact("circuit.withstands", Dimension::LET_THROUGH, "I²t that the conductor withstands, k²S²"),
    fact("evidence.photos", Dimension::NONE, "number of photos in the record"),
    fact("evidence.label_photos", Dimension::NONE, "number of photos that show the label or the claims"),
    fact("evidence.bms_photos", Dimension::NONE, "number of photos that show the BMS"),
    fact("evidence.cells_photos", Dimension::NONE, "number of photos that show the cells"),
    FactInfo {
        name: "statement.evidence_given",
        kind: Type::YesNo,
        about: "whether evidence for the claim is recorded",
    },
];
