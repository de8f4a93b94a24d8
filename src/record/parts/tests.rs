//! Bench tests: capacity, full load, cold charge.

use crate::record::field::{
    AnyQuantity, Charge, Current, Day, Energy, Kind, List, Meaning, Rate, Temperature, Text, Time, Voltage,
    Word, YesNo, meanings, word,
};
use crate::record::part::part;

const TEST_KINDS: &[Word] = &[
    word("capacity", "discharge at a set rate down to the cut-off"),
    word("full load", "rated current for a set time"),
    word("cold charge", "charging while the cells are cold"),
    word("charge", "a full charge, for the round trip"),
];

const ENDS: &[Word] = &[
    word("load cut-off", "the load stopped at its cut-off voltage"),
    word("bms cut-off", "the BMS opened"),
    word("time", "the set time was over"),
    word("stopped", "somebody stopped it"),
];

meanings! {
    /// The kind of bench test.
    TestKind = Kind::Word(TEST_KINDS);
    /// How a test ended.
    TestEnd = Kind::Word(ENDS);
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
        /// Current that was set.
        current: Current = "30 A",
        /// C-rate that was set.
        rate: Rate = "0.2 C",
        /// Cut-off voltage that was set.
        cutoff_voltage: Voltage = "20 V",
        /// Ambient temperature.
        ambient: Temperature = "24 degC",
        /// How long it ran.
        duration: Time = "15 min",
        /// Capacity that was read, where there is no log.
        capacity: Charge = "148 Ah",
        /// Energy that was read, where there is no log.
        energy: Energy = "3790 Wh",
        /// How it ended.
        end: TestEnd = "load cut-off",
        /// Cell temperature at the start.
        cell_temperature: Temperature = "-5 degC",
        /// Whether charge current flowed into the cells while they were cold.
        charged_while_cold: YesNo = "no",
        /// Columns of the log that are not recognised by themselves, as "column = meaning".
        columns: List = "CH2 = current of the second branch",
        ; many {
            /// A reading of one instrument during the test.
            reading: Reading,
        }
    }
}

part! {
    /// A reading of one instrument during the test.
    pub struct Reading {
        /// What was read, such as "branch 1" or an element's id.
        of: Text = "branch 1",
        /// Time since the start of the test.
        at: Time = "15 min",
        /// The value.
        value: AnyQuantity = "77 A",
    }
}
