//! Bench tests: capacity, full load, charges, protection that is made to act.

use crate::record::field::{
    AnyQuantity, Charge, Count, Current, Day, Energy, Length, List, Rate, Temperature, Text, Time, Voltage,
    YesNo,
};
use crate::record::part::part;
use crate::record::words;

words! {
    /// The kind of bench test.
    pub enum TestKind {
        /// discharge at a set rate down to the cut-off
        Capacity = "capacity",
        /// rated current for a set time
        FullLoad = "full load",
        /// charging while the cells are cold
        ColdCharge = "cold charge",
        /// a full charge, for the round trip
        Charge = "charge",
        /// a load above the overcurrent trip until the BMS opens
        OvercurrentTrip = "overcurrent trip",
        /// a charge on until the BMS stops it
        OverchargeCutOff = "overcharge cut-off",
        /// what the pack does after a trip
        Recovery = "recovery",
        /// what the pack draws from itself at rest
        StandbyDrain = "standby drain",
    }

    /// How a test ended.
    pub enum TestEnd {
        /// the load stopped at its cut-off voltage
        LoadCutOff = "load cut-off",
        /// the BMS opened
        BmsCutOff = "bms cut-off",
        /// the charging current had tapered at the charge voltage
        Taper = "taper",
        /// the set time was over
        Time = "time",
        /// somebody stopped it
        Stopped = "stopped",
    }

    /// What closes a BMS again after a trip.
    pub enum Recovers {
        /// it closes by itself, load or fault still there
        ByItself = "by itself",
        /// it closes once the load is taken off
        LoadOff = "load off",
        /// it closes once a charger is connected
        Charger = "charger",
        /// it closes only by a switch, a button or a command
        Reset = "reset",
        /// it did not close again
        Never = "never",
    }

    /// How the pack was covered during a test.
    pub enum TestLid {
        /// closed as it is used
        On = "on",
        /// open
        Off = "off",
        /// wrapped in something that keeps the heat in
        Wrapped = "wrapped",
    }

    /// How a temperature was taken off a part.
    pub enum SensorFixing {
        /// held down by a screw, a spring or a clamp
        Clamped = "clamped",
        /// soldered or welded on
        Soldered = "soldered",
        /// held by tape
        Taped = "taped",
        /// by infrared on bare metal
        Infrared = "infrared",
        /// by infrared on matt tape or paint
        InfraredMatt = "infrared on a matt patch",
    }

    /// Which way the current of a log counts.
    pub enum LogSign {
        /// current out of the pack is written as positive
        DischargePositive = "discharge positive",
        /// current out of the pack is written as negative
        DischargeNegative = "discharge negative",
        /// the current has no sign, a column of states says charge or discharge
        ByState = "by state",
    }
}

part! {
    /// A bench test: its settings, its log and what was read.
    pub struct BenchTest {
        /// A short name, unique in the record.
        id: Text = "capacity-1",
        /// The kind of test.
        kind: TestKind = "capacity",
        /// The day it was done.
        date: Day = "2026-09-18",
        /// Its log under the inspection folder.
        log: Text = "logs/capacity.csv",
        /// Its logs, where one instrument wrote it into several files: after a night's pause, or because files have an end. They are joined by their clocks.
        logs: List = "logs/day-1.csv, logs/day-2.csv",
        /// Current that was set.
        current: Current = "30 A",
        /// C-rate that was set.
        rate: Rate = "0.2 C",
        /// Cut-off voltage that was set.
        cutoff_voltage: Voltage = "20 V",
        /// Ambient temperature.
        ambient: Temperature = "24 degC",
        /// Whether the pack was closed, open, or wrapped: an open pack runs cooler than it will in use.
        lid: TestLid = "on",
        /// How long it ran.
        duration: Time = "15 min",
        /// Capacity that was read where there is no log; of a charge, what went in.
        capacity: Charge = "148 Ah",
        /// Energy that was read where there is no log; of a charge, what went in.
        energy: Energy = "3790 Wh",
        /// How it ended.
        end: TestEnd = "load cut-off",
        /// Cell temperature at the start.
        cell_temperature: Temperature = "-5 degC",
        /// Whether charge current flowed into the cells while they were cold.
        charged_while_cold: YesNo = "no",
        /// Whether the BMS opened in the test.
        opened: YesNo = "yes",
        /// Current at which the BMS opened.
        trip_current: Current = "310 A",
        /// Time from when that current came on until the BMS opened.
        trip_time: Time = "4.8 s",
        /// Voltage of the pack at which the BMS stopped the charge; where it did not, the highest that was reached.
        trip_voltage: Voltage = "29.6 V",
        /// What closes the BMS again after the trip.
        recovers: Recovers = "load off",
        /// Current that the pack draws from itself at rest.
        drain: Current = "12 mA",
        /// Whether the charger was on while they were cold, set above the voltage of the pack.
        charger_on: YesNo = "yes",
        /// Columns of the log that are not recognised by themselves, as "column = meaning". What the pack's own gauge shows is "of gauge".
        columns: List = "CH2 = current of the second branch",
        /// Which way the log's current counts, where the log does not show it.
        sign: LogSign = "discharge positive",
        /// Time from row to row of its log, where the log has no clock.
        interval: Time = "3 s",
        /// The sheet of its log, where that is a workbook with several.
        sheet: Text = "Record",
        /// The profile by which its log is read, where its header does not choose one.
        profile: Text = "tabs-no-clock-3s",
        /// Time of the log from which on it is read, where it holds more than the test.
        from: Time = "1.5 h",
        /// Time of the log up to which it is read.
        to: Time = "6.5 h",
        /// The part of the log that is the test, as `underlid log` numbers its charges and discharges.
        segment: Text = "discharge 2",
        /// The cycle that is the test, where the log has a column of cycles.
        cycle: Count = "3",
        /// The id of the capacity test that a charge belongs to for the round trip, where there are several.
        capacity_test: Text = "capacity-1",
        ; many {
            /// A reading of one instrument during the test.
            reading: TestReading,
            /// One of several instruments that each see a part of the current.
            branch: TestBranch,
            /// What a temperature column of the log was fixed to.
            sensor: TestSensor,
        }
    }
}

impl BenchTest {
    /// The names of its own logs, in the order of the record.
    pub fn own_logs(&self) -> impl Iterator<Item = &str> {
        self.log.text().into_iter().chain(self.logs.list().iter().map(String::as_str))
    }

    /// The names of all its logs, those of branches and sensors with them.
    pub fn all_logs(&self) -> impl Iterator<Item = &str> {
        let of_branches = self.branch.iter().filter_map(|branch| branch.log.text());
        let of_sensors = self.sensor.iter().filter_map(|sensor| sensor.log.text());
        self.own_logs().chain(of_branches).chain(of_sensors)
    }
}

part! {
    /// A reading of one instrument during the test.
    pub struct TestReading {
        /// What was read: "gauge" for the pack's own gauge, "terminals" for a reference instrument there, "branch" with a number or name for a branch, or for a temperature an element's id, "bms" or "ambient".
        of: Text = "branch 1",
        /// Time since the load or the charge came on.
        at: Time = "15 min",
        /// The value.
        value: AnyQuantity = "77 A",
        /// Whether a temperature no longer changed.
        steady: YesNo = "yes",
        /// How a temperature was taken off the part. Sensors on live metal need an input that is isolated for the pack's voltage.
        fixed: SensorFixing = "taped",
    }
}

part! {
    /// One of several instruments that each see a part of the current: in a log of its own, or in a column of the test's log.
    pub struct TestBranch {
        /// A short name.
        name: Text = "inverter 1",
        /// Its log under the inspection folder, where it has one of its own.
        log: Text = "logs/branch-1.csv",
        /// The column that holds its current, where there are several.
        column: Text = "Current (A)",
        /// Columns of its log that are not recognised by themselves, as "column = meaning".
        columns: List = "CH1 = current",
        /// The profile by which its log is read, where its header does not choose one.
        profile: Text = "clamp-no-header",
        /// What is added to the times of its log to get those of the test's log; without it the logs are aligned by their dates, or where the load comes on.
        offset: Time = "12 s ± 1 s",
        /// Which way the current of its log counts, where the log does not show it.
        sign: LogSign = "discharge positive",
    }
}

part! {
    /// What a temperature column of the log, or of another instrument's log, was fixed to.
    pub struct TestSensor {
        /// The column, as its header says.
        column: Text = "T1",
        /// The log under the inspection folder that holds it, where another instrument wrote it.
        log: Text = "logs/thermometer.csv",
        /// Columns of that log that are not recognised by themselves, as "column = meaning".
        columns: List = "CH1 = temperature",
        /// The profile by which that log is read, where its header does not choose one.
        profile: Text = "tabs-no-clock-3s",
        /// What is added to the times of that log to get those of the test's log; without it both are aligned by their dates.
        offset: Time = "12 s",
        /// The part: an element's id, "bms", "cells", "ambient" for the air of the room or "inner air" for the air beside the parts.
        part: Text = "positive-bar",
        /// How far along the part it sits, from the end nearer to the cells.
        distance: Length = "40 mm",
        /// How it was fixed to it. Sensors on live metal need an input that is isolated for the pack's voltage.
        fixed: SensorFixing = "taped",
    }
}
