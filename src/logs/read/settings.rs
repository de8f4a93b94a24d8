//! What a caller says about a log: the meaning of columns, the sign of the current.

use std::fmt;
use std::sync::Arc;

use thiserror::Error;

use crate::units::words;

use super::chunk::NumberedLine;
use super::clock::DateOrder;
use super::column::Meaning;
use super::table::names;
use super::unit::{UNITS_EXAMPLES, multiple_of};

/// What is known beforehand.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ReadSettings {
    /// Columns whose meaning is set.
    pub columns: Vec<ColumnSetting>,
    /// The sign of the current.
    pub sign: SignSetting,
    /// A row stands for every so many seconds: the log has no clock, or none that is believed.
    pub interval: Option<f64>,
    /// Lines at the top that are passed over.
    pub skip: u64,
    /// Only rows that hold this are read.
    pub rows: Option<RowFilter>,
    /// Words or codes of the column of states, beyond those that are known.
    pub states: Vec<(String, f64)>,
    /// Which of day and month comes first in a date.
    pub dates: Option<DateOrder>,
    /// Added to the log's clock to get the right time of day, s.
    pub clock_offset: f64,
    /// The sheet of a workbook.
    pub sheet: Option<String>,
    /// The profile that is to be used, or that some of this comes from.
    pub profile: Option<String>,
    /// The profiles there are.
    pub known: Arc<Profiles>,
}

impl ReadSettings {
    /// What a profile says, and over it what these settings say.
    pub fn over(&self, profile: &Self) -> Self {
        let own = self.clone();
        let base = profile.clone();
        Self {
            columns: base.columns.into_iter().chain(own.columns).collect(),
            sign: if own.sign == SignSetting::Detect { base.sign } else { own.sign },
            interval: own.interval.or(base.interval),
            skip: if own.skip == 0 { base.skip } else { own.skip },
            rows: own.rows.or(base.rows),
            states: if own.states.is_empty() { base.states } else { own.states },
            dates: own.dates.or(base.dates),
            clock_offset: if own.clock_offset == 0.0 { base.clock_offset } else { own.clock_offset },
            sheet: own.sheet.or(base.sheet),
            profile: own.profile.or(base.profile),
            known: own.known,
        }
    }

    /// With what a profile says beneath: the one that is named, else the one that has a header among these lines.
    ///
    /// # Errors
    /// There is none of that name, or several have that header.
    pub(super) fn with_profile(&self, lines: &[NumberedLine<'_>]) -> Result<Self, String> {
        let profile = match &self.profile {
            Some(name) => Some(self.known.named(name)?),
            None => self.known.of_lines(lines)?,
        };
        Ok(profile.map_or_else(|| self.clone(), |profile| self.over(&profile.settings)))
    }

    /// What is said, as lines of a profile.
    pub fn lines(&self) -> Vec<String> {
        let list = |items: Vec<String>| {
            let items: Vec<String> = items.iter().map(|item| quoted(item)).collect();
            (!items.is_empty()).then(|| items.join(", "))
        };
        let ways = [(1.0, "discharge"), (-1.0, "charge"), (0.0, "rest")];
        let word = |way: f64| ways.iter().find(|(known, _)| *known == way).map_or("rest", |(_, word)| word);
        let seconds = |time: f64| quoted(&format!("{time} s"));
        let states = self.states.iter().map(|(cell, way)| format!("{cell} = {}", word(*way))).collect();
        let columns = list(self.columns.iter().map(ToString::to_string).collect());
        let rows = self.rows.as_ref().map(|rows| quoted(&format!("{} = {}", rows.column, rows.text)));
        [
            columns.map(|columns| format!("columns = [{columns}]")),
            self.sign.word().map(|sign| format!("sign = {}", quoted(sign))),
            self.interval.map(|interval| format!("interval = {}", seconds(interval))),
            (self.skip > 0).then(|| format!("skip = {}", self.skip)),
            rows.map(|rows| format!("rows = {rows}")),
            list(states).map(|states| format!("states = [{states}]")),
            self.dates.map(|dates| format!("dates = {}", quoted(dates.word()))),
            (self.clock_offset != 0.0).then(|| format!("clock_offset = {}", seconds(self.clock_offset))),
            self.sheet.as_ref().map(|sheet| format!("sheet = {}", quoted(sheet))),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

/// A profile.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Its name.
    pub name: String,
    /// The names of the header, in lower case.
    pub(super) header: Vec<String>,
    /// What it says.
    pub settings: ReadSettings,
}

impl Profile {
    fn is_of(&self, lines: &[NumberedLine<'_>]) -> bool {
        !self.header.is_empty()
            && lines.iter().any(|(_, line)| {
                [b'\t', b';', b',', b'|'].iter().any(|delimiter| names(line, *delimiter) == self.header)
            })
    }
}

/// The profiles that may be used, and the names of those that lie in an inspection folder and are left aside.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Profiles {
    pub(super) all: Vec<Profile>,
    pub(super) aside: Vec<String>,
}

impl Profiles {
    /// The profile of a name.
    ///
    /// # Errors
    /// Says what there is instead.
    pub fn named(&self, name: &str) -> Result<&Profile, String> {
        if let Some(profile) = self.all.iter().find(|profile| profile.name == name) {
            return Ok(profile);
        }
        if self.aside.iter().any(|aside| aside == name) {
            return Err(format!(
                "the profile \"{name}\" lies in the inspection folder, which does not choose how its own logs are read: read it, \
                 then copy it to your settings, or give --folder-rules"
            ));
        }
        let known: Vec<&str> = self.all.iter().map(|profile| profile.name.as_str()).collect();
        Err(match (words::nearest(name, known.iter().copied()), known.is_empty()) {
            (Some(near), _) => format!("you have no profile \"{name}\"; did you mean \"{near}\"?"),
            (None, true) => format!(
                "you have no profile \"{name}\", and none at all: `underlid log FILE --column … --profile {name}` makes one"
            ),
            (None, false) => {
                format!("you have no profile \"{name}\"; you have {}", words::list(&known, "and"))
            }
        })
    }

    /// The one profile whose header stands in these lines.
    pub(super) fn of_lines(&self, lines: &[NumberedLine<'_>]) -> Result<Option<&Profile>, String> {
        let fitting: Vec<&Profile> = self.all.iter().filter(|profile| profile.is_of(lines)).collect();
        match fitting.as_slice() {
            [] => Ok(None),
            [one] => Ok(Some(one)),
            several => {
                let names: Vec<&str> = several.iter().map(|profile| profile.name.as_str()).collect();
                Err(format!(
                    "your profiles {} have the header of this log: name one, for example `profile = \"{}\"`",
                    words::list(&names, "and"),
                    several.first().map_or("", |profile| profile.name.as_str())
                ))
            }
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.all.is_empty()
    }
}

/// A text in TOML.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// The column that `#3` stands for.
pub(super) fn numbered(column: &str) -> Option<usize> {
    column.strip_prefix('#')?.parse::<usize>().ok()?.checked_sub(1)
}

/// Which rows of a table are read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowFilter {
    /// Header text, or `#1` for the first column.
    pub column: String,
    /// What it holds in the rows that are read.
    pub text: String,
}

impl RowFilter {
    /// Reads "column = text".
    ///
    /// # Errors
    /// Says what is missing, with an example.
    pub fn parse(text: &str) -> Result<Self, String> {
        match text.split_once('=').map(|(column, cell)| (column.trim(), cell.trim())) {
            Some((column, cell)) if !column.is_empty() => {
                Ok(Self { column: column.to_owned(), text: cell.to_owned() })
            }
            _ => Err(format!("\"{text}\" names no column and text: write for example \"#1 = DATA\"")),
        }
    }
}

/// Reads "1 = charge": a cell of the column of states, and 1 for discharge, −1 for charge, 0 for rest.
///
/// # Errors
/// Names what would be understood.
pub fn parse_state(text: &str) -> Result<(String, f64), String> {
    let wrong =
        || format!("\"{text}\" says no state: write for example \"1 = charge\" (charge, discharge or rest)");
    let (cell, word) = text.rsplit_once('=').ok_or_else(wrong)?;
    let way = match word.trim().to_lowercase().as_str() {
        "discharge" => 1.0,
        "charge" => -1.0,
        "rest" => 0.0,
        _ => return Err(wrong()),
    };
    if cell.trim().is_empty() { Err(wrong()) } else { Ok((cell.trim().to_owned(), way)) }
}

/// The sign of the current in the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SignSetting {
    /// Found from the headers, or from how the voltage answers to the current.
    #[default]
    Detect,
    /// Discharge is written as positive.
    DischargePositive,
    /// Discharge is written as negative.
    DischargeNegative,
    /// The current has no sign; the column of states says which way it flows.
    ByState,
}

impl SignSetting {
    fn word(self) -> Option<&'static str> {
        Some(match self {
            Self::Detect => return None,
            Self::DischargePositive => "discharge positive",
            Self::DischargeNegative => "discharge negative",
            Self::ByState => "by state",
        })
    }

    /// Reads what a record says.
    ///
    /// # Errors
    /// Names what would be understood.
    pub fn parse(text: &str) -> Result<Self, String> {
        match text.trim().to_lowercase().as_str() {
            "discharge positive" => Ok(Self::DischargePositive),
            "discharge negative" | "charge positive" => Ok(Self::DischargeNegative),
            "by state" => Ok(Self::ByState),
            other => Err(format!(
                "\"{other}\" is no sign of a current: expected \"discharge positive\", \"discharge negative\" or \
                 \"by state\""
            )),
        }
    }
}

/// The meaning of one column, set by hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ColumnSetting {
    /// Header text, or `#3` for the third column.
    pub column: String,
    /// Its meaning.
    pub meaning: Meaning,
    /// What the channel belongs to, such as "second branch".
    pub label: Option<String>,
    /// Its unit, when not the one in the header.
    pub unit: Option<String>,
}

/// A setting that cannot be understood.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("\"{text}\": {problem}; write for example \"CH2 = current of the second branch in mA\"")]
pub struct NotASetting {
    /// What was written.
    pub text: String,
    /// What is wrong with it.
    pub problem: String,
}

impl fmt::Display for ColumnSetting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word =
            Meaning::WORDS.iter().find(|(_, meaning)| *meaning == self.meaning).map_or("", |(word, _)| word);
        write!(f, "{} = {word}", self.column)?;
        if let Some(label) = &self.label {
            write!(f, " of {label}")?;
        }
        match &self.unit {
            Some(unit) => write!(f, " in {unit}"),
            None => Ok(()),
        }
    }
}

impl ColumnSetting {
    /// Reads "column = meaning", "column = meaning of something", "... in unit".
    ///
    /// # Errors
    /// Names the part that is not understood and what would be.
    pub fn parse(text: &str) -> Result<Self, NotASetting> {
        let wrong = |problem: String| NotASetting { text: text.trim().to_owned(), problem };
        let Some((column, rest)) = text.rsplit_once('=') else {
            return Err(wrong("an equals sign is missing".to_owned()));
        };
        let column = column.trim().trim_matches('"').to_owned();
        if column.is_empty() {
            return Err(wrong("the column is missing".to_owned()));
        }
        let (rest, unit) = match rest.trim().rsplit_once(" in ") {
            Some((before, unit)) if multiple_of(unit).is_some() => {
                (before.trim(), Some(unit.trim().to_owned()))
            }
            Some((_, unit)) if !rest.contains(" of ") || unit.starts_with(|c: char| c.is_ascii_digit()) => {
                return Err(wrong(format!(
                    "\"{}\" is no unit of a log, such as {UNITS_EXAMPLES}",
                    unit.trim()
                )));
            }
            _ => (rest.trim(), None),
        };
        // "state of charge" holds an "of" of its own.
        let found = Meaning::WORDS.iter().find_map(|(word, meaning)| {
            let after = rest.strip_prefix(word)?;
            let label = after.trim().strip_prefix("of ").map(str::trim);
            (after.trim().is_empty() || label.is_some()).then(|| (*meaning, label.map(str::to_owned)))
        });
        let Some((meaning, label)) = found else {
            let all: Vec<&str> = Meaning::WORDS.iter().map(|(word, _)| *word).collect();
            let first = rest.split(" of ").next().unwrap_or(rest);
            let near = words::nearest(first, all.iter().copied())
                .map_or(String::new(), |near| format!(" (did you mean \"{near}\"?)"));
            return Err(wrong(format!(
                "\"{first}\" is no meaning{near}: it is one of {}",
                words::list(&all, "or")
            )));
        };
        Ok(Self { column, meaning, label: label.filter(|label| !label.is_empty()), unit })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings() {
        let set = |text: &str| ColumnSetting::parse(text);
        assert_eq!(
            set("CH2 = current of the second branch in mA"),
            Ok(ColumnSetting {
                column: "CH2".to_owned(),
                meaning: Meaning::Current,
                label: Some("the second branch".to_owned()),
                unit: Some("mA".to_owned()),
            })
        );
        assert_eq!(set("#3 = state of charge").unwrap().meaning, Meaning::StateOfCharge);
        assert_eq!(set("a = b = voltage").unwrap().column, "a = b");
        assert_eq!(set("x = ignore").unwrap().meaning, Meaning::Ignored);
        assert_eq!(set("#6 = current in 10 mA").unwrap().unit.as_deref(), Some("10 mA"));
        assert_eq!(parse_state("1 = Charge"), Ok(("1".to_owned(), -1.0)));
        assert_eq!(RowFilter::parse("#1 = DATA").unwrap().text, "DATA");
        for (text, part) in
            [("1 = on", "charge, discharge or rest"), ("= rest", "no state"), ("", "no state")]
        {
            assert!(parse_state(text).unwrap_err().contains(part), "{text}");
        }
        assert!(RowFilter::parse("DATA").is_err() && DateOrder::from_word("year first").is_none());
        for (text, part) in [
            ("CH2", "equals"),
            ("= voltage", "column is missing"),
            ("CH2 = curent", "did you mean \"current\""),
            ("CH2 = current in furlongs", "no unit"),
            ("CH2 = current in 0 mA", "no unit"),
        ] {
            let error = set(text).unwrap_err().to_string();
            assert!(error.contains(part), "{error}");
        }
    }
}
