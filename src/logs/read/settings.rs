//! What a caller says about a log: the meaning of columns, the sign of the current.

use thiserror::Error;

use crate::units::words;

use super::column::Meaning;
use super::unit::{UNITS_EXAMPLES, unit_of};

/// What is known beforehand.
#[derive(Debug, Clone, Default)]
pub struct ReadSettings {
    /// Columns whose meaning is set.
    pub columns: Vec<ColumnSetting>,
    /// The sign of the current.
    pub sign: SignSetting,
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
            Some((before, unit)) if unit_of(unit.trim()).is_some() => {
                (before.trim(), Some(unit.trim().to_owned()))
            }
            Some((_, unit)) if !unit.trim().contains(' ') && !rest.contains(" of ") => {
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
        for (text, part) in [
            ("CH2", "equals"),
            ("= voltage", "column is missing"),
            ("CH2 = curent", "did you mean \"current\""),
            ("CH2 = current in furlongs", "no unit"),
        ] {
            let error = set(text).unwrap_err().to_string();
            assert!(error.contains(part), "{error}");
        }
    }
}
