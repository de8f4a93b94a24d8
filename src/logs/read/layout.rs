//! What was recognised about a log, for printing and for reading it.

use std::fmt;

use encoding_rs::{Encoding, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::clock::{self, TimeForm, TimeReader};
use super::column::{Column, HowKnown, Meaning, Role};
use super::number::{DecimalMark, Notation};
use super::settings::{RowFilter, numbered};
use super::sign::{CurrentSign, SignBasis};
use super::table::names;

/// Place of a value in every sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Slot(pub(super) usize);

/// What is done with one field of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Field {
    Skip,
    /// The time, as a plain number of some unit.
    Number {
        /// The unit in seconds.
        factor: f64,
    },
    /// The time in any other form.
    Time,
    Date,
    /// What the instrument was doing, in words.
    State {
        /// Its place among the values.
        slot: usize,
    },
    /// The unit of the value before it.
    Unit {
        slot: usize,
    },
    /// A second clock.
    OtherTime {
        /// Its place among the values.
        slot: usize,
    },
    Value {
        slot: usize,
        /// Factor to SI units.
        scale: f64,
        /// Added after scaling.
        offset: f64,
        meaning: Meaning,
        low: f64,
        high: f64,
    },
}

/// What was recognised about a log.
#[derive(Debug, Clone)]
pub struct Layout {
    /// Encoding of the file.
    pub(super) encoding: &'static Encoding,
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
    /// None where a row stands for each interval.
    pub(super) time_column: Option<usize>,
    pub(super) date_column: Option<usize>,
    /// A second clock, which checks the first.
    pub(super) other_time: Option<(usize, TimeReader)>,
    /// When the log's time began by the dates of the second clock, s since 1970, and whether by UTC.
    pub(super) second_zero: Option<(f64, bool)>,
    /// The second clock confirms the unit of the first.
    pub time_confirmed: bool,
    /// The sheet of a workbook that it is.
    pub sheet: Option<String>,
    /// It was a table with a row for each quantity and time; they have been put side by side.
    pub long: bool,
    /// The profile that says how it is read.
    pub profile: Option<String>,
    pub(super) rows: Option<RowFilter>,
    /// Words of the column of states beyond those that are known.
    pub(super) states: Vec<(String, f64)>,
    /// Added to the log's clock to get the right time of day, s.
    pub(super) clock_offset: f64,
}

impl Layout {
    /// Number and header of the clock.
    pub fn time_name(&self) -> String {
        match self.time_column.and_then(|index| self.columns.get(index)) {
            Some(column) => column.called(),
            None => "of the rows".to_owned(),
        }
    }

    /// Whether the unit of the clock is assumed, and nothing confirms it.
    pub fn time_unit_assumed(&self) -> bool {
        !self.time_confirmed
            && matches!(self.time, TimeForm::Number { since_1970: false, .. })
            && self
                .time_column
                .and_then(|index| self.columns.get(index))
                .is_some_and(|column| column.unit_assumed)
    }

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
    pub fn slot(&self, meaning: Meaning) -> Option<Slot> {
        self.chosen(meaning).map(|(slot, _)| slot)
    }

    /// Whether it tells the time that is used.
    pub fn is_clock(&self, column: &Column) -> bool {
        Some(column.index) == self.time_column || Some(column.index) == self.date_column
    }

    /// As [`Layout::slot`], with the column.
    pub fn chosen(&self, meaning: Meaning) -> Option<(Slot, &Column)> {
        self.slots(meaning)
            .filter(|(_, column)| rank(column).is_some())
            .min_by_key(|(slot, column)| (rank(column), slot.0))
    }

    /// The columns of current that make up the current of the pack: those that the caller named, else one; a column of
    /// discharge and one of charge make one current together.
    pub fn currents(&self) -> Vec<(Slot, &Column)> {
        let all: Vec<(Slot, &Column)> = self
            .slots(Meaning::Current)
            .filter(|(_, column)| rank(column).is_some() && !is_gauge(&column.label))
            .collect();
        let set = |column: &Column| column.known == HowKnown::Set;
        let labelled = |column: &Column| set(column) && column.branch;
        let best =
            all.iter().filter(|(_, c)| !labelled(c)).min_by_key(|(slot, c)| (rank(c), slot.0)).copied();
        if all.iter().any(|(_, column)| labelled(column)) {
            // Branches that the caller named, beside the one that is recognised.
            return all
                .into_iter()
                .filter(|(slot, c)| labelled(c) || best.is_some_and(|(best, _)| best == *slot))
                .collect();
        }
        let Some((first, column)) = best else { return Vec::new() };
        let other = column.direction.and_then(|way| {
            all.iter().find(|(_, c)| c.direction == Some(-way) && rank(c) != rank(column).map(|_| 9)).copied()
        });
        [Some((first, column)), other].into_iter().flatten().collect()
    }

    /// Further columns of a meaning that stand as well for the pack as the one that is taken.
    pub fn rivals(&self, meaning: Meaning) -> Vec<&Column> {
        let Some((slot, chosen)) = self.chosen(meaning) else { return Vec::new() };
        self.slots(meaning)
            .filter(|(other, column)| {
                *other != slot
                    && rank(column) == rank(chosen)
                    && column.direction == chosen.direction
                    && !is_gauge(&column.label)
            })
            .map(|(_, column)| column)
            .collect()
    }

    /// Why the column that is taken for a meaning is not one of the pack by its name, where nobody said that it is, and what
    /// would settle it.
    pub fn not_of_the_pack(&self, meaning: Meaning) -> Option<String> {
        let (_, column) = self.chosen(meaning)?;
        let doubtful = matches!(column.role, Role::Greatest | Role::Least | Role::Cell);
        let why = column.role.describe().filter(|_| doubtful && column.known != HowKnown::Set)?;
        if !self.rivals(meaning).is_empty() {
            return None;
        }
        Some(format!(
            "\"{0}\" is the only {meaning}, and its name says \"{why}\": write `columns = [\"{0} = {meaning}\"]` where it is that of \
             the pack",
            column.header
        ))
    }

    /// All columns of a meaning.
    pub fn slots(&self, meaning: Meaning) -> impl Iterator<Item = (Slot, &Column)> {
        self.values().filter(move |(_, column)| column.meaning == meaning)
    }

    /// The names of its header, in lower case: what a profile knows it by.
    pub fn header(&self) -> Vec<String> {
        names(&self.header_line_text, self.delimiter)
    }

    /// The units that stand beside values: place of the value, unit of the first row, what the value means.
    pub(super) fn units_beside(&self) -> Vec<(usize, String, Meaning)> {
        let beside = self.columns.iter().filter(|column| column.meaning == Meaning::UnitBeside);
        beside
            .filter_map(|column| {
                let (slot, value) = self.values().find(|(_, value)| value.index + 1 == column.index)?;
                Some((slot.0, column.unit.clone(), value.meaning))
            })
            .collect()
    }

    /// The field by which rows are filtered, and what it must hold.
    pub(super) fn filter(&self) -> Option<(usize, String)> {
        let filter = self.rows.as_ref()?;
        let named = self.columns.iter().find(|column| column.header == filter.column);
        let number = || numbered(&filter.column);
        Some((named.map(|column| column.index).or_else(number)?, filter.text.clone()))
    }

    pub(super) fn width(&self) -> usize {
        self.values().count()
    }

    /// What to do with each field of a row; ends with the last column that is wanted.
    pub(super) fn plan(&self) -> Vec<Field> {
        let mut slots = 0..;
        let mut before = 0;
        let previous_is_value = |index: usize| {
            let previous = index.checked_sub(1).and_then(|index| self.columns.get(index));
            previous.is_some_and(|column| column.meaning.is_value() && !self.is_clock(column))
        };
        let mut plan: Vec<Field> = self
            .columns
            .iter()
            .map(|column| {
                if Some(column.index) == self.time_column {
                    self.time_reader.factor().map_or(Field::Time, |factor| Field::Number { factor })
                } else if Some(column.index) == self.date_column {
                    Field::Date
                } else if column.meaning == Meaning::State {
                    Field::State { slot: slots.next().unwrap_or_default() }
                } else if column.meaning == Meaning::OtherTime {
                    Field::OtherTime { slot: slots.next().unwrap_or_default() }
                } else if column.meaning.is_value() {
                    let (low, high) = column.meaning.possible();
                    before = slots.next().unwrap_or_default();
                    Field::Value {
                        slot: before,
                        scale: column.scale,
                        offset: column.offset,
                        meaning: column.meaning,
                        low,
                        high,
                    }
                } else if column.meaning == Meaning::UnitBeside && previous_is_value(column.index) {
                    Field::Unit { slot: before }
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

    /// The same log with day and month the other way round, where that is possible.
    pub(super) fn other_date_order(&self) -> Option<Self> {
        let turned = match self.time {
            TimeForm::Timestamp { date, ambiguous: true, zoned } => {
                TimeForm::Timestamp { date: clock::other_order(date)?, ambiguous: true, zoned }
            }
            TimeForm::DateAndClock { date, ambiguous: true } => {
                TimeForm::DateAndClock { date: clock::other_order(date)?, ambiguous: true }
            }
            _ => return None,
        };
        let time_reader = self.time_reader.turned(&turned)?;
        Some(Self { time: turned, time_reader, ..self.clone() })
    }

    /// Day and month cannot be the other way round, or it makes no difference.
    pub(super) fn date_order_is_known(&mut self) {
        if let TimeForm::Timestamp { ambiguous, .. } | TimeForm::DateAndClock { ambiguous, .. } =
            &mut self.time
        {
            *ambiguous = false;
        }
    }

    /// Turns currents and powers so that discharge is positive.
    pub(super) fn set_sign(&mut self, found: (CurrentSign, SignBasis)) {
        self.sign = Some(found);
        let turn = match found.0 {
            CurrentSign::DischargePositive | CurrentSign::NotDecided | CurrentSign::ByState => 1.0,
            CurrentSign::DischargeNegative => -1.0,
        };
        for column in &mut self.columns {
            if matches!(column.meaning, Meaning::Current | Meaning::Power) {
                column.scale *= column.direction.unwrap_or(turn);
            }
        }
    }
}

/// How well a column stands for the pack, best first; `None` where it never does.
fn rank(column: &Column) -> Option<u8> {
    let set = column.known == HowKnown::Set;
    if set && matches!(column.role, Role::Main | Role::Whole) {
        return Some(0);
    }
    if column.empty {
        return Some(9);
    }
    Some(match column.role {
        Role::Source => return None,
        // What the user says beside the pack is not the pack's.
        Role::Auxiliary | Role::Cell if set && column.meaning == Meaning::Current => return None,
        _ if is_gauge(&column.label) => 8,
        Role::Whole => 1,
        _ if column.direction.is_some_and(|way| way < 0.0) => 3,
        Role::Main | Role::Ambient | Role::Electronics => 2,
        Role::Greatest | Role::Least => 4,
        Role::Supply => 5,
        Role::Cell => 6,
        Role::Auxiliary | Role::Load => 7,
    })
}

/// Whether a label says that the pack's own gauge shows it.
pub fn is_gauge(label: &str) -> bool {
    label.to_lowercase().split_whitespace().any(|word| word == "gauge")
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
        match &self.sheet {
            Some(sheet) => write!(f, "sheet \"{sheet}\" of a workbook, its rows as lines")?,
            None => {
                // By the names that people know.
                let encoding = match self.encoding {
                    known if known == UTF_16LE => "UTF-16 LE",
                    known if known == UTF_16BE => "UTF-16 BE",
                    known if known == WINDOWS_1252 => "Latin-1",
                    other => other.name(),
                };
                write!(f, "{encoding}, delimiter {delimiter}, decimal {decimal}")?;
            }
        }
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
        if self.long {
            f.write_str("\na row for each quantity and time: put side by side, lines are counted so")?;
        }
        if let Some(profile) = &self.profile {
            write!(f, "\nread by your profile \"{profile}\"")?;
        }
        if let Some(rows) = &self.rows {
            write!(f, "\nonly rows where {} is \"{}\"", rows.column, rows.text)?;
        }
        if let TimeForm::Rows { .. } = self.time {
            write!(f, "\nno clock: {}, as said", self.time)?;
        }
        let name = |column: &Column| match column.header.as_str() {
            "" => String::new(),
            header => format!("\"{header}\""),
        };
        let digits = self.columns.len().to_string().len();
        let width = self.columns.iter().map(|column| name(column).chars().count()).max().unwrap_or_default();
        for column in &self.columns {
            let number = column.index + 1;
            write!(f, "\n#{number:<digits$} {:width$}  ", name(column))?;
            if Some(column.index) == self.time_column {
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
                let dated = column.meaning == Meaning::OtherTime && column.unit_assumed;
                let with_unit = column.meaning.is_value() && !dated;
                if with_unit && !column.unit.is_empty() && column.unit != "1" {
                    let assumed = if column.unit_assumed { " (assumed)" } else { "" };
                    write!(f, " in {}{assumed}", column.unit)?;
                }
                if matches!(column.meaning, Meaning::Current | Meaning::Power) {
                    self.direction(column, f)?;
                }
                if let Some(role) = column.role.describe() {
                    write!(f, ", {role}")?;
                }
                if column.empty {
                    f.write_str(", empty")?;
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
        let voltages = self.slots(Meaning::Voltage).count();
        if let Some((_, column)) = self.chosen(Meaning::Voltage).filter(|_| voltages > 1) {
            write!(f, "\n{voltages} voltages: the pack's is #{} \"{}\"", column.index + 1, column.label)?;
        }
        let currents = self.slots(Meaning::Current).count();
        let used: Vec<String> =
            self.currents().iter().map(|(_, c)| format!("#{} \"{}\"", c.index + 1, c.label)).collect();
        if currents > 1 && !used.is_empty() {
            let sum = if used.len() > 1 { "the sum of " } else { "" };
            write!(f, "\n{currents} currents: the pack's is {sum}{}", used.join(" and "))?;
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
