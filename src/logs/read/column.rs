//! What a column means, from its header and its unit.
//!
//! Headers occur as "Voltage (V)", "Current[mA]", "U/V", "Voltage / V" and `voltage_volt` (both kinds of
//! label of the Battery Data Format), as bare symbols, and with the units in a row of their own. A unit
//! that stands apart (in brackets, behind a slash, in its own row) decides over the name; a last word that
//! could be a unit counts only where the name agrees, or "Channel A" would be a current.

mod name;

use std::fmt;

use crate::physics::ZERO_CELSIUS;
use crate::units::{Dimension, Unit};

use super::unit::{AMPERE_SECOND, multiple_of, unit_of};
pub(super) use name::is_of;
use name::{by_name, direction, role, whole_pack};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Meaning {
    /// Time of the sample.
    Time,
    /// Date, beside a clock time.
    Date,
    /// Time since the start of a step: not read.
    StepTime,
    /// Voltage.
    Voltage,
    /// Current.
    Current,
    /// Power.
    Power,
    /// A counter of charge.
    Charge,
    /// A counter of energy.
    Energy,
    /// Temperature.
    Temperature,
    /// State of charge by the pack's own gauge; a ratio.
    StateOfCharge,
    /// Resistance as the instrument found it.
    Resistance,
    /// Number of the step.
    Step,
    /// Number of the cycle.
    Cycle,
    /// What the instrument was doing, in words: 1 for discharge, −1 for charge, 0 for rest.
    State,
    /// A clock beside the one that is used: seconds since its first reading.
    OtherTime,
    /// Time since the instrument began the step, s: tells when between two samples a current came on.
    SinceStep,
    /// The unit of the column before it, row by row.
    UnitBeside,
    /// Not read.
    Ignored,
}

impl Meaning {
    /// The words by which a meaning is set; longer ones before their beginnings.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("time", Self::Time),
        ("date", Self::Date),
        ("voltage", Self::Voltage),
        ("current", Self::Current),
        ("power", Self::Power),
        ("charge", Self::Charge),
        ("energy", Self::Energy),
        ("temperature", Self::Temperature),
        ("state of charge", Self::StateOfCharge),
        ("resistance", Self::Resistance),
        ("step", Self::Step),
        ("cycle", Self::Cycle),
        ("state", Self::State),
        ("ignore", Self::Ignored),
    ];

    fn dimension(self) -> Option<Dimension> {
        Some(match self {
            Self::Time | Self::StepTime | Self::OtherTime | Self::SinceStep => Dimension::TIME,
            Self::Voltage => Dimension::VOLTAGE,
            Self::Current => Dimension::CURRENT,
            Self::Power => Dimension::POWER,
            Self::Charge => Dimension::CHARGE,
            Self::Energy => Dimension::ENERGY,
            Self::Temperature => Dimension::TEMPERATURE,
            Self::StateOfCharge | Self::Step | Self::Cycle => Dimension::NONE,
            Self::Resistance => Dimension::RESISTANCE,
            Self::Date | Self::State | Self::UnitBeside | Self::Ignored => return None,
        })
    }

    /// The unit that is assumed where none is written.
    fn usual_unit(self) -> &'static str {
        match self {
            Self::Time | Self::StepTime | Self::OtherTime | Self::SinceStep => "s",
            Self::Voltage => "V",
            Self::Current => "A",
            Self::Power => "W",
            Self::Charge => "Ah",
            Self::Energy => "Wh",
            Self::Temperature => "°C",
            Self::StateOfCharge => "%",
            Self::Resistance => "ohm",
            Self::Step | Self::Cycle => "1",
            Self::Date | Self::State | Self::UnitBeside | Self::Ignored => "",
        }
    }

    /// Values in SI units beyond which no bench test of a pack goes (common practice, no source): a cell
    /// that says so is broken, not a reading. A temperature below −80 °C or above 500 °C is a code: thermometers write
    /// −127, −273.1, 999.9 or 3276.7 where a sensor is not connected.
    pub(super) fn possible(self) -> (f64, f64) {
        match self {
            Self::Voltage => (-1e4, 1e4),
            Self::Current => (-1e5, 1e5),
            Self::Temperature => (193.15, 773.15),
            Self::StateOfCharge => (-10.0, 10.0),
            _ => (-1e9, 1e9),
        }
    }

    /// Whether values of this meaning are handed over with each sample.
    pub fn is_value(self) -> bool {
        !matches!(self, Self::Time | Self::Date | Self::StepTime | Self::UnitBeside | Self::Ignored)
    }
}

impl fmt::Display for Meaning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = match self {
            Self::StepTime => "time within the step",
            Self::OtherTime => "second clock, for checking",
            Self::SinceStep => "time within the step",
            Self::UnitBeside => "unit of the column before it",
            Self::Ignored => "not read",
            known => Self::WORDS.iter().find(|(_, meaning)| meaning == known).map_or("", |(word, _)| word),
        };
        f.write_str(word)
    }
}

/// What a column is of, beside its quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The pack as a whole, by its name.
    Whole,
    /// Nothing else is said.
    Main,
    /// The least since the last sample.
    Least,
    /// The greatest since the last sample.
    Greatest,
    /// One cell; of a temperature the cells.
    Cell,
    /// A voltage or current beside those of the pack.
    Auxiliary,
    /// The supply of the instrument, or what an electronic load calls its input.
    Supply,
    /// Panels or the mains: never the pack.
    Source,
    /// What draws on the pack, where it has a current of its own.
    Load,
    /// The air around.
    Ambient,
    /// The electronics.
    Electronics,
}

impl Role {
    /// The words by which a role is set: "current of source", "temperature of cell".
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("pack", Self::Whole),
        ("cell", Self::Cell),
        ("source", Self::Source),
        ("load", Self::Load),
        ("auxiliary", Self::Auxiliary),
        ("ambient", Self::Ambient),
        ("bms", Self::Electronics),
        ("instrument", Self::Electronics),
    ];

    /// The role of a word, "cell 3" and "cells" among them.
    fn by_word(label: &str) -> Option<Self> {
        let label = label.to_lowercase();
        let bare =
            label.trim_start_matches("the ").trim_end_matches(|c: char| c.is_ascii_digit() || c == ' ');
        let bare = bare.strip_suffix('s').filter(|_| bare != "bms").unwrap_or(bare);
        Self::WORDS.iter().find(|(word, _)| *word == bare).map(|(_, role)| *role)
    }

    /// Why a column of this role is not taken for the pack's, where it is not.
    pub fn describe(self) -> Option<&'static str> {
        Some(match self {
            Self::Whole | Self::Main => return None,
            Self::Least => "least since the last sample",
            Self::Greatest => "greatest since the last sample",
            Self::Cell => "of the cells",
            Self::Auxiliary => "auxiliary",
            Self::Supply => "supply side",
            Self::Source => "panels or mains",
            Self::Load => "load side",
            Self::Ambient => "ambient",
            Self::Electronics => "electronics",
        })
    }
}

/// How the meaning of a column is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HowKnown {
    /// Set by the caller.
    Set,
    /// From its header.
    Header,
    /// From its unit only.
    Unit,
    /// It is not.
    NotKnown,
}

/// One column of a log.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Number from 0.
    pub index: usize,
    /// Header as written, or empty.
    pub header: String,
    /// What it holds.
    pub meaning: Meaning,
    /// What the channel belongs to: the header without unit, or what the caller set.
    pub label: String,
    /// Unit as written, or the one that is assumed.
    pub unit: String,
    /// Whether the unit is assumed because none was written.
    pub unit_assumed: bool,
    /// How the meaning is known.
    pub known: HowKnown,
    /// What it is of.
    pub role: Role,
    /// No cell of the head holds a value.
    pub empty: bool,
    /// The caller named what it belongs to: a branch beside others.
    pub branch: bool,
    /// Factor to SI units, with the sign of the current.
    pub(super) scale: f64,
    /// Added after scaling.
    pub(super) offset: f64,
    /// The header says which way this current counts: 1 for discharge, −1 for charge.
    pub direction: Option<f64>,
}

impl Column {
    /// A column by its header and the unit from a row of units.
    pub fn recognise(index: usize, header: &str, unit_row: Option<&str>) -> Self {
        let header = header.trim().trim_matches('"').trim().to_owned();
        let split = split_header(&header);
        let row_unit = unit_row
            .map(|unit| unit.trim().trim_matches(['(', ')', '[', ']', '"']).trim())
            .filter(|unit| !unit.is_empty());
        let mut name = split.name.to_owned();
        let mut named = by_name(&name);
        let mut unit = row_unit.or(split.unit).map(str::to_owned);
        if unit.is_none()
            && let Some((before, last)) = header.rsplit_once(['_', ' ', ',', '.'])
            && let Some(found) = unit_of(last)
        {
            // "Pack V" says enough, "Channel A" does not.
            let plain = || of_unit(found.dimension, None).filter(|_| whole_pack(before));
            let meaning = by_name(before).or_else(plain);
            if meaning.is_some_and(|m| fits(m, found.dimension)) {
                before.trim_end_matches([',', ' ', '_']).clone_into(&mut name);
                named = meaning;
                unit = Some(last.to_owned());
            }
        }
        // "ms" and "mA" are unit and name at once; a single letter would be anything.
        // What is spelled as a unit of charge or energy is one, though "Amp-hr" begins like a current.
        let counted = |unit: Unit| matches!(unit.dimension, Dimension::CHARGE | Dimension::ENERGY);
        if unit.is_none()
            && header.chars().count() > 1
            && unit_of(&header)
                .is_some_and(|unit| counted(unit) || named.is_none_or(|named| fits(named, unit.dimension)))
        {
            unit = Some(header.clone());
        }
        let known_unit = unit.as_deref().and_then(unit_of);
        // "Test (Min)" and "Step (Min)" have their quantity in the unit alone.
        if known_unit.is_some_and(|unit| unit.dimension == Dimension::TIME) {
            let first = name.to_lowercase();
            let says = |words: &[&str]| words.iter().any(|word| first.trim() == *word);
            if says(&["step", "schritt"]) {
                named = Some(Meaning::StepTime);
            } else if named.is_none() && says(&["test", "total", "run", "elapsed", "since start"]) {
                named = Some(Meaning::Time);
            }
        }
        let by_unit = known_unit.and_then(|unit| of_unit(unit.dimension, named));
        let (meaning, known) = match (named, by_unit) {
            (Some(Meaning::Ignored), _) => (Meaning::Ignored, HowKnown::Header),
            (Some(named), Some(_)) if known_unit.is_some_and(|u| fits(named, u.dimension)) => {
                (named, HowKnown::Header)
            }
            (_, Some(meaning)) => (meaning, HowKnown::Unit),
            // A unit that fits nothing: the name alone would give wrong numbers.
            (Some(named), None) if known_unit.is_some_and(|u| !fits(named, u.dimension)) => {
                (Meaning::Ignored, HowKnown::NotKnown)
            }
            (Some(named), None) => (named, HowKnown::Header),
            (None, None) => (Meaning::Ignored, HowKnown::NotKnown),
        };
        let mut column = Self {
            index,
            direction: direction(&name, meaning),
            role: role(&name, meaning),
            empty: false,
            branch: false,
            header,
            meaning,
            label: name.trim().to_owned(),
            unit: String::new(),
            unit_assumed: false,
            known,
            scale: 1.0,
            offset: 0.0,
        };
        column.set_unit(unit.as_deref().filter(|unit| unit_of(unit).is_some()));
        column
    }

    /// Its number and its header, for messages.
    pub fn called(&self) -> String {
        let number = format!("#{}", self.index + 1);
        if self.header.is_empty() {
            return number;
        }
        format!("{number} \"{}\"", self.header.chars().take(40).collect::<String>())
    }

    /// The same under the header that stands in the log.
    pub fn renamed(mut self, header: &str) -> Self {
        header.clone_into(&mut self.header);
        header.clone_into(&mut self.label);
        self.known = HowKnown::Unit;
        self
    }

    /// Sets what the caller says.
    pub fn set(&mut self, meaning: Meaning, label: Option<&str>, unit: Option<&str>) {
        let unit = unit.map(str::to_owned).or_else(|| {
            let fitting = unit_of(&self.unit).is_some_and(|u| fits(meaning, u.dimension));
            (fitting && !self.unit_assumed).then(|| self.unit.clone())
        });
        self.meaning = meaning;
        self.known = HowKnown::Set;
        let role = label.and_then(Role::by_word);
        self.role = role.unwrap_or(Role::Main);
        self.empty = false;
        self.direction = None;
        self.branch = label.is_some() && role.is_none();
        if let Some(label) = label {
            label.clone_into(&mut self.label);
        }
        self.set_unit(unit.as_deref());
    }

    /// Takes an assumed unit of time from another clock.
    pub(super) fn as_clock(&mut self, factor: f64) {
        if self.unit_assumed {
            self.scale = factor;
        }
    }

    /// Takes its unit from a column beside it.
    pub(super) fn unit_beside(&mut self, unit: &str) {
        self.set_unit(Some(unit));
    }

    /// Takes the numbers for millivolts, though no unit is written.
    pub(super) fn millivolts(&mut self) {
        self.set_unit(Some("mV"));
        self.unit_assumed = true;
    }

    fn set_unit(&mut self, unit: Option<&str>) {
        self.unit_assumed = unit.is_none();
        let spelling = unit.unwrap_or(self.meaning.usual_unit());
        spelling.clone_into(&mut self.unit);
        let found = match (self.meaning, multiple_of(spelling)) {
            (Meaning::Temperature, Some(unit)) => absolute(spelling, unit),
            // Beside a name that says charge, `C` is the coulomb.
            (Meaning::Charge, Some(unit)) if unit.dimension == Dimension::RATE => AMPERE_SECOND,
            (_, Some(unit)) => unit,
            (_, None) => return,
        };
        self.scale = found.factor;
        self.offset = found.offset * found.factor;
    }
}

/// In a log `K` is a temperature and `C` is Celsius, whatever they are elsewhere.
fn absolute(spelling: &str, unit: Unit) -> Unit {
    let spelling = spelling.trim();
    let (factor, offset) = match spelling {
        "K" => (1.0, 0.0),
        _ if spelling.eq_ignore_ascii_case("kelvin") => (1.0, 0.0),
        "C" => (1.0, ZERO_CELSIUS),
        _ => return unit,
    };
    Unit { dimension: Dimension::TEMPERATURE, factor, offset }
}

pub(super) fn fits(meaning: Meaning, dimension: Dimension) -> bool {
    match meaning.dimension() {
        Some(Dimension::TEMPERATURE) => {
            dimension == Dimension::TEMPERATURE
                || dimension == Dimension::TEMPERATURE_DIFFERENCE
                || dimension == Dimension::RATE
        }
        Some(Dimension::CHARGE) => dimension == Dimension::CHARGE || dimension == Dimension::RATE,
        Some(wanted) => wanted == dimension,
        None => false,
    }
}

/// Whether a cell with a unit of its own can stand in a column of a meaning.
pub(super) fn holds(meaning: Meaning, dimension: Dimension) -> bool {
    fits(meaning, dimension) && dimension != Dimension::RATE
}

fn of_unit(dimension: Dimension, named: Option<Meaning>) -> Option<Meaning> {
    if let Some(named) = named
        && fits(named, dimension)
    {
        return Some(named);
    }
    if dimension == Dimension::NONE {
        // "Charge (%)" is a state of charge; other ratios mean nothing by themselves.
        return (named == Some(Meaning::Charge)).then_some(Meaning::StateOfCharge);
    }
    [
        Meaning::Voltage,
        Meaning::Current,
        Meaning::Power,
        Meaning::Charge,
        Meaning::Energy,
        Meaning::Resistance,
    ]
    .into_iter()
    .find(|meaning| meaning.dimension() == Some(dimension))
    .or((dimension == Dimension::TEMPERATURE).then_some(Meaning::Temperature))
}

/// A header in two.
pub(super) struct Split<'a> {
    pub name: &'a str,
    pub unit: Option<&'a str>,
}

/// Divides a header into name and unit where the unit stands apart.
pub(super) fn split_header(header: &str) -> Split<'_> {
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}'), ('<', '>')] {
        if let Some(inner) = header.trim_end().strip_suffix(close)
            && let Some((name, unit)) = inner.rsplit_once(open)
        {
            let unit = unit.trim();
            return Split {
                name: name.trim(),
                // "Time (h:m:s)" has a form, not a unit.
                unit: unit_of(unit).map(|_| unit),
            };
        }
    }
    for mark in ["/", "#", " in "] {
        if let Some((name, unit)) = header.rsplit_once(mark)
            && unit_of(unit).is_some()
            && !name.trim().is_empty()
        {
            return Split { name: name.trim(), unit: Some(unit.trim()) };
        }
    }
    Split { name: header.trim(), unit: None }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers() {
        use Meaning as M;
        let cases = [
            ("Voltage (V)", M::Voltage, "V"),
            ("Current[mA]", M::Current, "mA"),
            ("U/V", M::Voltage, "V"),
            ("I/A", M::Current, "A"),
            ("Test Time / s", M::Time, "s"),
            ("test_time_second", M::Time, "second"),
            ("voltage_volt", M::Voltage, "volt"),
            ("current_ampere", M::Current, "ampere"),
            ("temperature_t1_celsius", M::Temperature, "celsius"),
            ("Surface Temperature T1 / degC", M::Temperature, "degC"),
            ("discharging_capacity_ah", M::Charge, "ah"),
            ("Discharging Energy / Wh", M::Energy, "Wh"),
            ("Step Count / 1", M::Step, "1"),
            ("unix_time_second", M::Time, "second"),
            ("Time (h:m:s)", M::Time, "s"),
            ("Spannung [mV]", M::Voltage, "mV"),
            ("Strom in A", M::Current, "A"),
            ("T_cell (°F)", M::Temperature, "°F"),
            ("Temp 1", M::Temperature, "°C"),
            ("T2", M::Temperature, "°C"),
            ("t", M::Time, "s"),
            ("VoltageV", M::Voltage, "V"),
            ("Voltage V", M::Voltage, "V"),
            ("Battery SOC (%)", M::StateOfCharge, "%"),
            ("SoC (%)", M::StateOfCharge, "%"),
            ("SoH (%)", M::Ignored, ""),
            ("StepTime(s)", M::StepTime, "s"),
            ("Channel A", M::Ignored, ""),
            ("CH2", M::Ignored, ""),
            ("Set current (A)", M::Ignored, ""),
            ("dV/dt (V/s)", M::Ignored, ""),
            ("cell 3 [V]", M::Voltage, "V"),
            ("Capacity (Wh)", M::Energy, "Wh"),
            ("Charge current (A)", M::Current, "A"),
            ("Ambient Pressure / Pa", M::Ignored, ""),
            ("Discharge capacity [A.h]", M::Charge, "A.h"),
            ("Energy/W.h", M::Energy, "W.h"),
            ("(Q-Qo)/mA.h", M::Charge, "mA.h"),
            ("Cap (Amp-hr)", M::Charge, "Amp-hr"),
            ("Charge (C)", M::Charge, "C"),
            ("Current (kA)", M::Current, "kA"),
            ("CURRENT (MA)", M::Current, "MA"),
            ("voltage#mV", M::Voltage, "mV"),
            ("mV", M::Voltage, "mV"),
            ("millis", M::Time, "millis"),
            ("ms", M::Time, "ms"),
            ("Temp (deg. C)", M::Temperature, "deg. C"),
            ("Temp (deg F)", M::Temperature, "deg F"),
            ("Temp (ºC)", M::Temperature, "ºC"),
            ("Temps (s)", M::Time, "s"),
            ("Pack V", M::Voltage, "V"),
            ("Pack A", M::Current, "A"),
            ("control/V/mA", M::Ignored, ""),
            ("dQdV/Ah/V", M::Ignored, ""),
            ("dQ/mA.h", M::Ignored, ""),
            ("Amp-hr", M::Charge, "Amp-hr"),
            ("Watt-hr", M::Energy, "Watt-hr"),
            ("mAmps", M::Current, "mAmps"),
            ("mAH", M::Charge, "mAH"),
            ("Amp Hours Charge (Ah)", M::Charge, "Ah"),
            ("Amp Hours Charge", M::Charge, "Ah"),
            ("Amphr", M::Charge, "Amphr"),
            ("Test (Min)", M::Time, "Min"),
            ("Step (Min)", M::StepTime, "Min"),
            ("Sample duration (s)", M::StepTime, "s"),
            ("State", M::State, ""),
            ("Sample Index", M::Ignored, ""),
        ];
        for (header, meaning, unit) in cases {
            let column = Column::recognise(0, header, None);
            assert_eq!(column.meaning, meaning, "{header}");
            if meaning != M::Ignored {
                assert_eq!(column.unit, unit, "{header}");
            }
        }
    }

    /// One of each unit as instruments write it, in SI units.
    #[test]
    fn units_as_instruments_write_them() {
        let cases = [
            ("A.h", 3600.0),
            ("A·h", 3600.0),
            ("A h", 3600.0),
            ("mA.h", 3.6),
            ("µAh", 0.0036),
            ("W.h", 3600.0),
            ("mW.h", 3.6),
            ("kW.h", 3.6e6),
            ("MWH", 3.6),
            ("MWh", 3.6e9),
            ("A.s", 1.0),
            ("kA", 1e3),
            ("µA", 1e-6),
            ("MA", 1e-3),
            ("MV", 1e-3),
            ("KV", 1e3),
            ("V DC", 1.0),
            ("mΩ", 1e-3),
            ("mOhm", 1e-3),
            ("MΩ", 1e6),
            ("kJ", 1e3),
            ("µs", 1e-6),
            ("ns", 1e-9),
            ("days", 86_400.0),
        ];
        for (unit, wanted) in cases {
            let factor = unit_of(unit).map(|unit| unit.factor).unwrap_or_default();
            assert!((factor / wanted - 1.0).abs() < 1e-12, "{unit}: {factor}");
        }
        for unit in ["A", "h", "xA", "cell 1", "avg"] {
            assert_eq!(unit_of(unit).is_some(), matches!(unit, "A" | "h"), "{unit}");
        }
    }

    /// 33 °F is 0.6 °C; both scales and kelvin meet (exact conversions).
    #[test]
    fn temperatures_in_three_units() {
        for (header, value) in [("T1 (°F)", 33.0), ("T1 (°C)", 5.0 / 9.0), ("T1 (K)", 273.705_555_555_555_6)]
        {
            let column = Column::recognise(0, header, None);
            let kelvin = value * column.scale + column.offset;
            assert!((kelvin - ZERO_CELSIUS - 5.0 / 9.0).abs() < 1e-9, "{header}: {kelvin}");
        }
    }

    #[test]
    fn directions() {
        let way = |header: &str| Column::recognise(0, header, None).direction;
        assert_eq!(way("Current (A)"), None);
        assert_eq!(way("Discharge current (A)"), Some(1.0));
        assert_eq!(way("Charge current (A)"), Some(-1.0));
        assert_eq!(way("Charge/discharge current (A)"), None);
    }
}
