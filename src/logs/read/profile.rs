//! Format profiles: what a user settled once about the logs of an instrument, for all later logs of it.
//!
//! A profile is a TOML file in the user's own settings, named after the shape of the file. One with a `header` is used for
//! every log in which a line holds that header; one without is used where it is named. A profile that lies in an inspection
//! folder says how its logs are read, so it counts only where the user lets the folder's own rules count.

use std::path::Path;

use super::clock::DateOrder;
use super::settings::{
    ColumnSetting, Profile, Profiles, ReadSettings, RowFilter, SignSetting, parse_state, quoted,
};
use crate::record::field::{Count, List, Text, Time};
use crate::record::open::{self, Refused};
use crate::record::part::{Part, document, part};
use crate::record::parts::LogSign;
use crate::record::problem::Problems;

/// Folder of profiles beside the user's settings, and in an inspection folder.
pub const FOLDER: &str = "profiles";
/// Longest name.
const LONGEST: usize = 60;

part! {
    /// How the logs of an instrument are read.
    pub struct ProfileFile {
        /// Version of the format of profiles.
        schema: Count = "1",
        /// The names in the log's header; a log that has this header is read by the profile.
        header: List = "Time",
        /// What columns are, by name or by number, as "column = meaning of what in unit". "of pack", "of cell", "of source", "of load", "of auxiliary", "of ambient" and "of bms" say where it was measured; "of gauge" is what the pack shows itself; anything else names a branch of the current.
        columns: List = "#6 = current in 10 mA",
        /// Which way the current counts.
        sign: LogSign = "discharge negative",
        /// Time from row to row of a log without a clock.
        interval: Time = "3 s",
        /// Lines at the top that are passed over.
        skip: Count = "17",
        /// The rows that are read, where there are several kinds, as "column = text".
        rows: Text = "#1 = DATA",
        /// Words or codes in the column of states, each as "word = charge", "word = discharge" or "word = rest".
        states: List = "1 = charge",
        /// Which of day and month comes first in a date that could be read both ways.
        dates: DateOrder = "day first",
        /// Added to the log's clock to get the right time of day.
        clock_offset: Time = "-1 h",
        /// The sheet of a workbook.
        sheet: Text = "Record",
    }
}

/// Why a profile cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ProfileError {
    /// The file.
    #[error(transparent)]
    File(#[from] Refused),
    /// What stands in it.
    #[error(transparent)]
    Problems(#[from] Problems),
}

impl Profile {
    /// Reads a profile; `file` is for messages.
    ///
    /// # Errors
    /// Every place that is wrong.
    pub fn parse(name: &str, file: &str, text: &str) -> Result<Self, Problems> {
        let mut settings = ReadSettings { profile: Some(name.to_owned()), ..ReadSettings::default() };
        let mut header = Vec::new();
        document(file, text, |reader, profile: &ProfileFile| {
            let mut wrong = |entry: &crate::record::Found, message: String, example: &str| {
                reader.problem(entry.span.clone(), message, "this is not understood", example);
            };
            for column in profile.columns.list() {
                match ColumnSetting::parse(column) {
                    Ok(setting) => settings.columns.push(setting),
                    Err(error) => {
                        wrong(
                            profile.columns.found(),
                            error.to_string(),
                            "columns = [\"#6 = current in 10 mA\"]",
                        );
                    }
                }
            }
            for state in profile.states.list() {
                match parse_state(state) {
                    Ok(state) => settings.states.push(state),
                    Err(error) => {
                        wrong(profile.states.found(), error, "states = [\"1 = charge\", \"2 = discharge\"]");
                    }
                }
            }
            if let Some(rows) = profile.rows.text() {
                match RowFilter::parse(rows) {
                    Ok(rows) => settings.rows = Some(rows),
                    Err(error) => wrong(profile.rows.found(), error, "rows = \"#1 = DATA\""),
                }
            }
            settings.interval = profile.interval.quantity().map(|q| q.value);
            if settings.interval.is_some_and(|interval| interval <= 0.0) {
                wrong(
                    profile.interval.found(),
                    "rows must follow each other in time".to_owned(),
                    "interval = \"3 s\"",
                );
            }
            settings.sign =
                profile.sign.word().and_then(|word| SignSetting::parse(word).ok()).unwrap_or_default();
            settings.dates = profile.dates.known();
            settings.clock_offset = profile.clock_offset.quantity().map_or(0.0, |q| q.value);
            settings.skip = profile.skip.count().map_or(0, u64::from);
            settings.sheet = profile.sheet.text().map(str::to_owned);
            header = profile.header.list().iter().map(|name| name.to_lowercase()).collect();
        })?;
        Ok(Self { name: name.to_owned(), header, settings })
    }

    /// The text of a profile that is used for logs with this header.
    pub fn text(header: &[String], settings: &ReadSettings) -> String {
        let mut lines = vec![
            "# How logs of this shape are read; `underlid schema --output profile` says what may stand here."
                .to_owned(),
            "schema = 1".to_owned(),
        ];
        if !header.is_empty() {
            lines.push(format!(
                "header = [{}]",
                header.iter().map(|name| quoted(name)).collect::<Vec<_>>().join(", ")
            ));
        }
        lines.extend(settings.lines());
        format!("{}\n", lines.join("\n"))
    }
}

/// The JSON Schema of a profile.
pub fn profile_schema() -> serde_json::Value {
    let mut generator = schemars::generate::SchemaSettings::draft2020_12().into_generator();
    let mut json = ProfileFile::schema(&mut generator).to_value();
    if let Some(object) = json.as_object_mut() {
        object.insert("$schema".to_owned(), "https://json-schema.org/draft/2020-12/schema".into());
        object.insert("title".to_owned(), "underlid format profile, schema version 1".into());
        object.insert("required".to_owned(), serde_json::json!(["schema"]));
        object.insert("$defs".to_owned(), generator.take_definitions(true).into());
    }
    json
}

/// Whether a profile may be called so: it names a file.
///
/// # Errors
/// Says what a name is made of.
pub fn check_name(name: &str) -> Result<(), String> {
    let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if name.is_empty() || name.len() > LONGEST || !name.chars().all(fits) {
        return Err(format!(
            "\"{name}\" is no name of a profile: small letters, digits and hyphens, after the shape of the file, for example \
             \"tabs-no-clock-3s\""
        ));
    }
    Ok(())
}

impl Profiles {
    /// Reads the profiles of a folder, where there is one.
    ///
    /// # Errors
    /// The first file that cannot be read, with every place that is wrong.
    pub fn read(&mut self, folder: &Path) -> Result<(), ProfileError> {
        for (name, file) in files(folder) {
            let profile = Profile::parse(&name, &file.display().to_string(), &open::text(&file)?)?;
            self.all.retain(|known| known.name != name);
            self.all.push(profile);
        }
        Ok(())
    }

    /// Notes the profiles of an inspection folder that are not used.
    pub fn leave_aside(&mut self, folder: &Path) {
        self.aside.extend(files(folder).into_iter().map(|(name, _)| name));
    }
}

/// Name and place of the profiles of a folder.
fn files(folder: &Path) -> Vec<(String, std::path::PathBuf)> {
    let files = open::toml_files(folder).unwrap_or_default();
    let named = files.into_iter().filter_map(|file| Some((file.file_stem()?.to_str()?.to_owned(), file)));
    named.filter(|(name, _)| check_name(name).is_ok()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: &str = "schema = 1\nheader = [\"Time\", \"CH1\", \"\"]\ncolumns = [\"#6 = current of source in 10 mA\", \
        \"CH1 = voltage\"]\nsign = \"discharge negative\"\ninterval = \"3 s\"\nskip = 17\nrows = \"#1 = DATA\"\n\
        states = [\"1 = charge\"]\ndates = \"day first\"\nclock_offset = \"-1 h\"\nsheet = \"Record\"\n";

    #[test]
    fn what_is_saved_is_what_is_read() {
        let profile = Profile::parse("a", "a.toml", ALL).unwrap();
        assert_eq!(profile.settings.interval, Some(3.0));
        let header = ["Time", "CH1", ""].map(str::to_owned);
        let again = Profile::parse("a", "a.toml", &Profile::text(&header, &profile.settings)).unwrap();
        assert_eq!(again, profile);
    }

    #[test]
    fn problems_have_a_place_and_a_right_example() {
        for (text, message, example) in [
            ("schema = 1\nintervall = \"3 s\"\n", "intervall", "interval"),
            ("schema = 1\ninterval = \"-3 s\"\n", "", "s\""),
            ("schema = 1\ncolumns = [\"#6 = curent\"]\n", "did you mean \"current\"", "10 mA"),
            ("schema = 1\nstates = [\"1 = on\"]\n", "says no state", "discharge"),
            ("schema = 1\nrows = \"DATA\"\n", "names no column", "#1 = DATA"),
            ("schema = 1\nsign = \"up\"\n", "up", "discharge positive"),
        ] {
            let problems = Profile::parse("a", "a.toml", text).unwrap_err();
            let first = &problems.list()[0];
            assert!(first.span.start >= "schema = 1\n".len(), "{first:?}");
            let all = format!("{} {} {}", first.message, first.expected, first.example);
            assert!(all.contains(message) && all.contains(example), "{all}");
        }
    }

    #[test]
    fn names() {
        for (name, good) in
            [("tabs-no-clock-3s", true), ("", false), ("../x", false), ("A", false), ("a b", false)]
        {
            assert_eq!(check_name(name).is_ok(), good, "{name}");
        }
        let told = Profiles::default().named("x").unwrap_err();
        assert!(told.contains("none at all") && told.contains("--profile x"), "{told}");
    }
}
