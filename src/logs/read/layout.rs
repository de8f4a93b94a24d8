//! What was recognised about a log, for printing and for reading it.

use std::fmt;

use super::chunk::Encoding;
use super::clock::{TimeForm, TimeReader};
use super::column::{Column, HowKnown, Meaning};
use super::number::{DecimalMark, Notation};
use super::sign::{CurrentSign, SignBasis};

/// Place of a value in every sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Slot(pub(super) usize);

/// What is done with one field of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Field {
    /// Nothing.
    Skip,
    /// The time, as a plain number of some unit.
    Number {
        /// The unit in seconds.
        factor: f64,
    },
    /// The time in any other form.
    Time,
    /// The date.
    Date,
    /// A value.
    Value {
        /// Its place.
        slot: usize,
        /// Factor to SI units.
        scale: f64,
        /// Added after scaling.
        offset: f64,
        /// What it holds.
        meaning: Meaning,
        /// The least value that can be.
        low: f64,
        /// The largest value that can be.
        high: f64,
    },
}

/// What was recognised about a log.
#[derive(Debug, Clone)]
pub struct Layout {
    /// Encoding of the file.
    pub encoding: Encoding,
    /// Delimiter of the fields.
    pub delimiter: u8,
    /// Decimal mark.
    pub decimal: DecimalMark,
    /// Line of the header.
    pub header_line: Option<u64>,
    /// Line of the units, where they have a row of their own.
    pub units_line: Option<u64>,
    /// Line of the first row.
    pub first_row: u64,
    /// How the time is written.
    pub time: TimeForm,
    /// Every column.
    pub columns: Vec<Column>,
    /// Columns that could not be read because there are too many of them.
    pub columns_left_out: usize,
    /// The sign of the current in the log, and how it is known.
    pub sign: Option<(CurrentSign, SignBasis)>,
    pub(super) notation: Notation,
    pub(super) header_line_text: Vec<u8>,
    pub(super) time_reader: TimeReader,
    pub(super) time_column: usize,
    pub(super) date_column: Option<usize>,
}

impl Layout {
    /// Columns whose values come with each sample, in the order of their slots.
    pub fn values(&self) -> impl Iterator<Item = (Slot, &Column)> {
        self.columns
            .iter()
            .filter(|column| column.meaning.is_value())
            .enumerate()
            .map(|(slot, column)| (Slot(slot), column))
    }

    /// The column of a meaning that is taken where one is needed: of several the one that stands for the
    /// pack as a whole by its name, else the first; a column of charge current last.
    #[must_use]
    pub fn slot(&self, meaning: Meaning) -> Option<Slot> {
        self.chosen(meaning).map(|(slot, _)| slot)
    }

    fn chosen(&self, meaning: Meaning) -> Option<(Slot, &Column)> {
        let rank = |column: &Column| {
            let label = column.label.to_lowercase();
            let whole = ["total", "pack", "net", "sum", "gesamt", "overall"];
            match column.direction {
                _ if column.known == HowKnown::Set => 0,
                Some(way) if way < 0.0 => 3,
                _ if whole.iter().any(|word| label.split(' ').any(|part| part == *word)) => 1,
                _ => 2,
            }
        };
        self.slots(meaning).min_by_key(|(slot, column)| (rank(column), slot.0))
    }

    /// All columns of a meaning.
    pub fn slots(&self, meaning: Meaning) -> impl Iterator<Item = (Slot, &Column)> {
        self.values().filter(move |(_, column)| column.meaning == meaning)
    }

    pub(super) fn width(&self) -> usize {
        self.values().count()
    }

    /// What to do with each field of a row; ends with the last column that is wanted.
    pub(super) fn plan(&self) -> Vec<Field> {
        let mut slots = 0..;
        let mut plan: Vec<Field> = self
            .columns
            .iter()
            .map(|column| {
                if column.index == self.time_column {
                    self.time_reader.factor().map_or(Field::Time, |factor| Field::Number { factor })
                } else if Some(column.index) == self.date_column {
                    Field::Date
                } else if column.meaning.is_value() {
                    let (low, high) = column.meaning.possible();
                    Field::Value {
                        slot: slots.next().unwrap_or_default(),
                        scale: column.scale,
                        offset: column.offset,
                        meaning: column.meaning,
                        low,
                        high,
                    }
                } else {
                    Field::Skip
                }
            })
            .collect();
        while plan.last() == Some(&Field::Skip) {
            plan.pop();
        }
        plan
    }

    /// Turns currents and powers so that discharge is positive.
    pub(super) fn set_sign(&mut self, found: (CurrentSign, SignBasis)) {
        self.sign = Some(found);
        let turn = match found.0 {
            CurrentSign::DischargePositive | CurrentSign::NotDecided => 1.0,
            CurrentSign::DischargeNegative => -1.0,
        };
        for column in &mut self.columns {
            if matches!(column.meaning, Meaning::Current | Meaning::Power) {
                column.scale *= column.direction.unwrap_or(turn);
            }
        }
    }
}

impl fmt::Display for Layout {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let delimiter = match self.delimiter {
            b'\t' => "tab",
            b',' => "comma",
            b';' => "semicolon",
            b'|' => "|",
            _ => "space",
        };
        let decimal = match self.decimal {
            DecimalMark::Point => "point",
            DecimalMark::Comma => "comma",
        };
        write!(f, "{}, delimiter {delimiter}, decimal {decimal}", self.encoding)?;
        if self.notation.grouped {
            let mark = if self.decimal == DecimalMark::Point { "comma" } else { "point" };
            write!(f, ", thousands {mark}")?;
        }
        if let Some(line) = self.header_line {
            write!(f, ", header in line {line}")?;
        }
        if let Some(line) = self.units_line {
            write!(f, ", units in line {line}")?;
        }
        write!(f, ", first row in line {}", self.first_row)?;
        let name = |column: &Column| format!("\"{}\"", column.header);
        let width = self.columns.iter().map(|column| name(column).chars().count()).max().unwrap_or_default();
        for column in &self.columns {
            let number = column.index + 1;
            write!(f, "\n#{number} {:width$}  ", name(column))?;
            if column.index == self.time_column {
                write!(f, "time, {}", self.time)?;
                if column.unit_assumed && matches!(self.time, TimeForm::Number { since_1970: false, .. }) {
                    f.write_str(" (assumed)")?;
                }
            } else if Some(column.index) == self.date_column {
                f.write_str("date")?;
            } else if column.known == HowKnown::NotKnown {
                f.write_str("not recognised, not read")?;
                continue;
            } else {
                write!(f, "{}", column.meaning)?;
                if column.meaning.is_value() && !column.unit.is_empty() && column.unit != "1" {
                    let assumed = if column.unit_assumed { " (assumed)" } else { "" };
                    write!(f, " in {}{assumed}", column.unit)?;
                }
                if matches!(column.meaning, Meaning::Current | Meaning::Power) {
                    self.direction(column, f)?;
                }
            }
            // A name that was lengthened to tell it from others.
            if column.known != HowKnown::Set
                && column.meaning.is_value()
                && !column.header.to_lowercase().contains(&column.label.to_lowercase())
            {
                write!(f, ", called \"{}\"", column.label)?;
            }
            match column.known {
                HowKnown::Set => f.write_str(", set by hand")?,
                HowKnown::Unit => f.write_str(", by its unit")?,
                HowKnown::Header | HowKnown::NotKnown => {}
            }
        }
        for (meaning, many) in [(Meaning::Voltage, "voltages"), (Meaning::Current, "currents")] {
            let count = self.slots(meaning).count();
            if let Some((_, column)) = self.chosen(meaning).filter(|_| count > 1) {
                let number = column.index + 1;
                write!(f, "\n{count} {many}: where one is needed it is #{number} \"{}\"", column.label)?;
            }
        }
        if self.columns_left_out > 0 {
            write!(f, "\n{} further columns are not read", self.columns_left_out)?;
        }
        Ok(())
    }
}

impl Layout {
    fn direction(&self, column: &Column, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (column.direction, self.sign) {
            (Some(way), _) => {
                let what = if way > 0.0 { "discharge" } else { "charge" };
                write!(f, ", {what} is positive (its header)")
            }
            (None, Some((sign, basis))) => write!(f, ", {sign} ({basis})"),
            (None, None) => Ok(()),
        }
    }
}
