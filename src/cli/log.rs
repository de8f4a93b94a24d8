//! `log`: what a log holds before it is believed: its columns, its segments, what adds up and what does not.

use std::fmt::Write as _;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{CAUTION, Done, Failure, Format, settings, words};
use crate::logs::account::{Account, AccountCheck, REST, Segment, StretchKind};
use crate::logs::joined::{Joined, LogFile};
use crate::logs::read::{
    ColumnSetting, CurrentSign, DateOrder, HowKnown, Layout, Meaning, Profile, Profiles, ReadSettings, Role,
    RowFilter, SignSetting, Slot, check_name, parse_state,
};
use crate::logs::series::Series;
use crate::record::save;
use crate::units::{self, Dimension, terminal};

/// Segments that are shown.
const SHOWN: usize = 40;
/// Of two charges or discharges this much alike neither is the largest.
const ALIKE: f64 = 0.03;
/// Characters of the picture.
const WIDTH: usize = 64;

#[derive(Debug, clap::Args)]
#[command(after_help = help())]
pub(super) struct Log {
    /// Logs of loads, chargers, meters or a BMS
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// What a column is, as in the record; may be given several times
    #[arg(long, value_name = "COLUMN = MEANING")]
    column: Vec<String>,
    /// Which way the current counts, as in the record
    #[arg(long, value_name = "SIGN")]
    sign: Option<String>,
    /// Time from row to row of a log without a clock
    #[arg(long, value_name = "TIME")]
    interval: Option<String>,
    /// The sheet of a workbook
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// Lines at the top that are passed over
    #[arg(long, value_name = "LINES", default_value_t = 0)]
    skip: u64,
    /// The rows that are read, where there are several kinds
    #[arg(long, value_name = "COLUMN = TEXT")]
    rows: Option<String>,
    /// A word or code in the column of states, and charge, discharge or rest; may be given several times
    #[arg(long, value_name = "WORD = STATE")]
    state: Vec<String>,
    /// Which of day and month comes first in a date
    #[arg(long, value_name = "day first | month first")]
    dates: Option<String>,
    /// Added to the log's clock to get the right time of day
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    clock_offset: Option<String>,
    /// Keep what is said here in a profile of this name, for later logs with the same header; or use the profile
    #[arg(long, value_name = "NAME")]
    profile: Option<String>,
    /// How to print; json prints one line for each log
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

fn help() -> String {
    format!(
        "Examples:\n  underlid log logs/capacity.csv\n  underlid log logs/export.txt --column \"CH2 = current in mA\" --sign \
         \"discharge negative\"\n  underlid log logs/probe.txt --column \"#2 = temperature of cell\" --interval \"3 s\" --profile \
         tabs-no-clock-3s\n\n{CAUTION}"
    )
}

/// What `log --format json` prints, a line for each log.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct LogTold {
    /// The log as named on the command line; several that their clocks join have a line more.
    files: Vec<String>,
    /// What was recognised, in words.
    form: String,
    /// The profile by which it was read.
    #[serde(skip_serializing_if = "Option::is_none")]
    profile: Option<String>,
    /// The sheet of the workbook.
    #[serde(skip_serializing_if = "Option::is_none")]
    sheet: Option<String>,
    /// Its columns.
    columns: Vec<ColumnTold>,
    /// Its temperatures.
    temperatures: Vec<TemperatureTold>,
    /// Its charges, rests and discharges, with the pauses inside them.
    segments: Vec<SegmentTold>,
    /// Stretches of one direction beyond those that are kept.
    not_kept: u64,
    /// What does not add up, or is not known.
    clashes: Vec<String>,
    /// What adds up.
    agrees: Vec<String>,
    /// What could not be checked.
    not_compared: Vec<String>,
    /// What was skipped or repaired.
    skipped: Vec<String>,
    /// Lines for the record.
    record: String,
    #[serde(skip)]
    picture: String,
}

#[derive(serde::Serialize, schemars::JsonSchema)]
struct ColumnTold {
    /// Its number, from 1.
    number: usize,
    /// Its header, as written.
    header: String,
    /// What it holds.
    holds: String,
    /// Its unit, as written or assumed.
    unit: String,
    /// No unit is written.
    unit_assumed: bool,
    /// What it is of, where it is not of the pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    of: Option<&'static str>,
    /// How that is known: set, header, unit or not.
    known: &'static str,
    /// Whether a figure of the pack rests on it.
    used: bool,
}

#[derive(serde::Serialize, schemars::JsonSchema)]
struct TemperatureTold {
    /// Number of the column, from 1.
    column: usize,
    /// What it is called.
    name: String,
    /// What it is of, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    of: Option<&'static str>,
    /// The lowest and the highest, °C.
    celsius: [f64; 2],
}

#[derive(serde::Serialize, schemars::JsonSchema)]
struct SegmentTold {
    /// What a record calls it, such as "discharge 2".
    name: String,
    /// Charge, rest or discharge.
    kind: String,
    /// Time of its first sample, s.
    from_s: f64,
    /// Time of its last sample, s.
    to_s: f64,
    /// Charge, Ah.
    charge_ah: f64,
    /// Energy, Wh; nothing where the log has no voltage.
    energy_wh: Option<f64>,
    /// The largest current, A.
    largest_a: f64,
    /// First and last voltage, V; nothing where the log has none.
    voltage_v: [Option<f64>; 2],
    /// Pauses inside it, and their time together, s.
    pauses: (u32, f64),
    /// How it came to its end.
    end: String,
    /// In words.
    #[serde(skip)]
    line: String,
}

impl Log {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let known = settings::profiles()?;
        let told = self.told()?;
        let settings = self.with_profile(&told, known)?;
        let mut done = Done::Well;
        let mut header = None;
        let mut out = terminal::out();
        let all: Vec<LogFile> = self.files.iter().map(|path| of_path(path)).collect();
        let each = all.iter().map(std::slice::from_ref);
        // Several are looked at one by one, and then together where their clocks join them.
        for (number, files) in each.chain((all.len() > 1).then_some(all.as_slice())).enumerate() {
            let read = Joined::open(files, &settings).and_then(|mut log| {
                header.get_or_insert_with(|| log.layout().header());
                LogTold::of(files, &mut log, &settings, self.profile.as_deref())
            });
            let told = match read {
                Ok(told) => told,
                Err(why) if files.len() > 1 => {
                    if self.format == Format::Text {
                        writeln!(out, "\nThe logs are not joined by their clocks: {why}")?;
                    }
                    continue;
                }
                Err(error) => return Err(Failure::Words(format!("{}: {error}", named(files)))),
            };
            if !told.clashes.is_empty() {
                done = Done::FallsShort;
            }
            match self.format {
                Format::Json => write!(out, "{}", super::json(&told)?)?,
                Format::Text if number > 0 => writeln!(out, "\n{}", told.text())?,
                Format::Text => writeln!(out, "{}", told.text())?,
            }
        }
        if let (Some(name), true) = (&self.profile, told != ReadSettings::default()) {
            let words = save_profile(name, &header.unwrap_or_default(), &settings)?;
            writeln!(terminal::err(), "{words}")?;
        }
        Ok(done)
    }

    /// What the command line says of the logs.
    fn told(&self) -> Result<ReadSettings, Failure> {
        let columns = self.column.iter().map(|text| ColumnSetting::parse(text).map_err(words));
        let dates = |text: &String| {
            let wrong = || {
                Failure::Words(format!("\"{text}\": write --dates \"day first\" or --dates \"month first\""))
            };
            DateOrder::from_word(text.trim()).ok_or_else(wrong)
        };
        let interval = self.interval.as_deref().map(|text| seconds("--interval", text)).transpose()?;
        if interval.is_some_and(|interval| interval <= 0.0) {
            return Err(Failure::Words(
                "rows follow each other in time: write for example --interval \"3 s\"".to_owned(),
            ));
        }
        Ok(ReadSettings {
            columns: columns.collect::<Result<_, _>>()?,
            sign: self
                .sign
                .as_deref()
                .map(SignSetting::parse)
                .transpose()
                .map_err(Failure::Words)?
                .unwrap_or_default(),
            interval,
            skip: self.skip,
            rows: self.rows.as_deref().map(RowFilter::parse).transpose().map_err(Failure::Words)?,
            states: self
                .state
                .iter()
                .map(|text| parse_state(text).map_err(Failure::Words))
                .collect::<Result<_, _>>()?,
            dates: self.dates.as_ref().map(dates).transpose()?,
            clock_offset: self
                .clock_offset
                .as_deref()
                .map_or(Ok(0.0), |text| seconds("--clock-offset", text))?,
            sheet: self.sheet.clone(),
            ..ReadSettings::default()
        })
    }

    /// Over the profile that is named, where there is one; else a header may choose one.
    fn with_profile(&self, told: &ReadSettings, known: Profiles) -> Result<ReadSettings, Failure> {
        let Some(name) = &self.profile else {
            return Ok(ReadSettings { known: Arc::new(known), ..told.clone() });
        };
        check_name(name).map_err(Failure::Words)?;
        match known.named(name) {
            Ok(profile) => Ok(told.over(&profile.settings)),
            Err(none) if *told == ReadSettings::default() => Err(Failure::Words(none)),
            Err(_) => Ok(told.clone()),
        }
        .map(|settings| ReadSettings { profile: None, ..settings })
    }
}

fn of_path(path: &Path) -> LogFile {
    LogFile { name: path.display().to_string(), path: path.to_owned() }
}

fn named(files: &[LogFile]) -> String {
    units::words::list(&files.iter().map(|file| file.name.as_str()).collect::<Vec<_>>(), "and")
}

fn seconds(option: &str, text: &str) -> Result<f64, Failure> {
    match units::parse(text) {
        Ok(time) if time.dimension == Dimension::TIME => Ok(time.value),
        _ => Err(Failure::Words(format!("\"{text}\" is no time: write for example {option} \"3 s\""))),
    }
}

/// Keeps a profile in the user's settings, and says where.
fn save_profile(name: &str, header: &[String], settings: &ReadSettings) -> Result<String, Failure> {
    let folder = settings::profile_folder().ok_or_else(|| {
        Failure::Words(
            "the profile has no place: UNDERLID_CONFIG is empty; let it name a file of settings".to_owned(),
        )
    })?;
    let file = folder.join(format!("{name}.toml"));
    let failed = |error: std::io::Error| Failure::Words(format!("{}: {error}", file.display()));
    save::real_folder(&folder, "a profile").map_err(failed)?;
    save::replace(&file, Profile::text(header, settings)).map_err(failed)?;
    let used = if header.is_empty() {
        format!("the log has no header, so name it: --profile {name}, or `profile = \"{name}\"` in a test")
    } else {
        "logs with this header are read by it from now on".to_owned()
    };
    Ok(format!("{}: saved; {used}", file.display()))
}

impl LogTold {
    /// Reads a log through.
    fn of(
        files: &[LogFile],
        log: &mut Joined,
        settings: &ReadSettings,
        kept_as: Option<&str>,
    ) -> Result<Self, String> {
        let layout = log.layout().clone();
        let mut account = Account::of(&layout);
        let currents: Vec<Slot> = layout.currents().iter().map(|(slot, _)| *slot).collect();
        let voltage = layout.slot(Meaning::Voltage);
        let thermometers: Vec<_> = layout.slots(Meaning::Temperature).collect();
        let mut ranges = vec![(f64::INFINITY, f64::NEG_INFINITY); thermometers.len()];
        let mut course = Series::new();
        log.for_each(|sample| {
            let current = if currents.is_empty() {
                f64::NAN
            } else {
                currents.iter().map(|slot| sample.get(*slot)).sum()
            };
            let volts = voltage.map_or(f64::NAN, |slot| sample.get(slot));
            course.push(sample.time, current);
            account.push(&sample, volts, current);
            for ((slot, _), (low, high)) in thermometers.iter().zip(&mut ranges) {
                let kelvin = sample.get(*slot);
                (*low, *high) = (low.min(kelvin), high.max(kelvin));
            }
        })?;
        let all = account.segments();
        let checks = account.checks(f64::NEG_INFINITY, f64::INFINITY, 0.0);
        let of = |wanted: fn(&AccountCheck) -> Option<&String>| {
            checks.iter().filter_map(wanted).cloned().collect()
        };
        let flows = all.iter().any(|segment| segment.whole.kind != StretchKind::Rest);
        let mut clashes = unknown(&layout, flows);
        clashes.extend(checks.iter().filter_map(|check| check.clash().map(str::to_owned)));
        let celsius = |kelvin: f64| ((kelvin - crate::physics::ZERO_CELSIUS) * 1e3).round() / 1e3;
        Ok(Self {
            files: files.iter().map(|file| file.name.clone()).collect(),
            form: layout.to_string(),
            profile: layout.profile.clone(),
            sheet: layout.sheet.clone(),
            columns: columns(&layout),
            temperatures: thermometers
                .iter()
                .zip(&ranges)
                .filter(|(_, (low, high))| low <= high)
                .map(|((_, column), (low, high))| TemperatureTold {
                    column: column.index + 1,
                    name: column.label.clone(),
                    of: column.role.describe(),
                    celsius: [celsius(*low), celsius(*high)],
                })
                .collect(),
            segments: all.iter().map(SegmentTold::of).collect(),
            not_kept: account.not_kept(),
            clashes,
            agrees: of(|check| if let AccountCheck::Agrees(_, text) = check { Some(text) } else { None }),
            not_compared: of(
                |check| if let AccountCheck::NotCompared(text) = check { Some(text) } else { None },
            ),
            skipped: log.account().lines().map(str::to_owned).collect(),
            record: for_the_record(files, &layout, settings, &all, kept_as),
            picture: sketch(&course),
        })
    }

    /// For people.
    fn text(&self) -> String {
        let mut text = format!("{}\n{}\n", units::words::list(&self.files, "and"), self.form);
        if !self.segments.is_empty() {
            let _ = writeln!(
                text,
                "\nCurrent over time, out of the pack above and into it below\n{}\n\nSegments",
                self.picture
            );
            for segment in self.segments.iter().take(SHOWN) {
                let _ = writeln!(text, "  {:14}{}", segment.name, segment.line);
            }
            let more = self.segments.len().saturating_sub(SHOWN) as u64 + self.not_kept;
            if more > 0 {
                let _ = writeln!(text, "  … and {more} more");
            }
        }
        let temperatures: Vec<String> = self
            .temperatures
            .iter()
            .map(|TemperatureTold { column, name, of, celsius: [low, high] }| {
                let of = of.map_or(String::new(), |of| format!(", {of}"));
                format!("#{column} \"{name}\"{of}: {low} °C to {high} °C")
            })
            .collect();
        for (title, lines) in [
            ("Temperatures", &temperatures),
            ("Does not add up, or is not known", &self.clashes),
            ("Adds up", &self.agrees),
            ("Could not be checked", &self.not_compared),
            ("Rows, and what was skipped or repaired", &self.skipped),
        ] {
            if !lines.is_empty() {
                let _ = writeln!(text, "\n{title}");
                for line in lines {
                    let _ = writeln!(text, "  - {line}");
                }
            }
        }
        let _ = write!(text, "\nFor the record\n{}", self.record);
        text.trim_end().to_owned()
    }
}

/// What is not known of the columns, and what would settle it.
fn unknown(layout: &Layout, flows: bool) -> Vec<String> {
    let mut unknown = Vec::new();
    if layout.currents().is_empty() {
        if layout.slots(Meaning::Temperature).next().is_none() {
            unknown.push(
                "no column of current: no charge can be worked out; name one with `--column`".to_owned(),
            );
        }
    } else if let Some((CurrentSign::NotDecided, basis)) = layout.sign
        && flows
    {
        unknown.push(format!(
            "which way the current counts is not known ({basis}): `sign = \"discharge positive\"` or `\"discharge negative\"`"
        ));
    }
    for meaning in [Meaning::Current, Meaning::Voltage] {
        unknown.extend(layout.not_of_the_pack(meaning));
        unknown.extend(layout.rivals(meaning).iter().map(|column| {
            format!(
                "\"{}\" could be the {meaning} of the pack as well: `columns = [\"{} = {meaning}\"]`",
                column.header, column.header
            )
        }));
    }
    unknown
}

fn columns(layout: &Layout) -> Vec<ColumnTold> {
    let used: Vec<usize> = layout
        .currents()
        .iter()
        .map(|(_, column)| column.index)
        .chain(layout.chosen(Meaning::Voltage).map(|(_, column)| column.index))
        .collect();
    layout
        .columns
        .iter()
        .map(|column| {
            let clock = layout.is_clock(column);
            ColumnTold {
                number: column.index + 1,
                header: column.header.clone(),
                holds: column.meaning.to_string(),
                unit: column.unit.clone(),
                unit_assumed: column.unit_assumed && column.meaning.is_value(),
                of: column.role.describe(),
                known: match column.known {
                    HowKnown::Set => "set",
                    HowKnown::Header => "header",
                    HowKnown::Unit => "unit",
                    HowKnown::NotKnown => "not",
                },
                used: clock || used.contains(&column.index),
            }
        })
        .collect()
}

impl SegmentTold {
    fn of(segment: &Segment) -> Self {
        let finite = |value: f64| Some(value).filter(|value| value.is_finite());
        let whole = &segment.whole;
        Self {
            name: segment.name(),
            kind: whole.kind.to_string(),
            from_s: whole.from,
            to_s: whole.to,
            charge_ah: whole.charge / 3600.0,
            energy_wh: finite(whole.energy / 3600.0),
            largest_a: whole.largest,
            voltage_v: [finite(whole.first_voltage), finite(whole.last_voltage)],
            pauses: segment.pauses,
            end: segment.end.to_string(),
            line: segment.to_string(),
        }
    }
}

/// The lines of a test that has this log.
fn for_the_record(
    files: &[LogFile],
    layout: &Layout,
    settings: &ReadSettings,
    all: &[Segment],
    kept_as: Option<&str>,
) -> String {
    let largest = |kind: StretchKind| {
        let of_kind = all.iter().filter(|segment| segment.whole.kind == kind);
        of_kind.max_by(|a, b| a.whole.charge.abs().total_cmp(&b.whole.charge.abs()))
    };
    let (kind, test) = match (largest(StretchKind::Discharge), largest(StretchKind::Charge)) {
        (Some(discharge), _) => ("\"capacity\"  # or \"full load\"", Some(discharge)),
        (None, Some(charge)) => ("\"charge\"  # or \"cold charge\"", Some(charge)),
        (None, None) => ("\"full load\"", None),
    };
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let logs: Vec<String> = files
        .iter()
        .filter_map(|file| Some(quoted(&format!("logs/{}", file.path.file_name()?.to_string_lossy()))))
        .collect();
    let log = match logs.as_slice() {
        [one] => format!("log = {one}"),
        several => format!("logs = [{}]", several.join(", ")),
    };
    let holds = |meaning: Meaning| layout.slots(meaning).next().is_some();
    if !holds(Meaning::Current) && !holds(Meaning::Voltage) && holds(Meaning::Temperature) {
        let how = how_it_is_read(layout, settings, kept_as, &["columns"]);
        return of_thermometers(layout, &log, &how);
    }
    let mut lines = vec!["[[test]]".to_owned(), format!("kind = {kind}"), log];
    lines.extend(how_it_is_read(layout, settings, kept_as, &["columns", "sign", "interval", "sheet"]));
    let rivals = |test: &Segment| {
        let of_kind =
            all.iter().filter(|other| other.whole.kind == test.whole.kind && other.number != test.number);
        let alike = |other: &&Segment| (other.whole.charge / test.whole.charge - 1.0).abs() < ALIKE;
        (of_kind.clone().count(), of_kind.clone().find(alike).map(Segment::name))
    };
    if let Some((test, (1.., alike))) = test.map(|test| (test, rivals(test))) {
        let why = alike.map_or_else(
            || "the largest; where another is the test, name that".to_owned(),
            |alike| format!("{alike} is as large: name the one that is the test"),
        );
        lines.push(format!("segment = \"{}\"  # {why}", test.name()));
    }
    lines.iter().flat_map(|line| line.lines()).fold(String::new(), |text, line| text + "  " + line + "\n")
}

/// What the record says of how a log is read: a profile, else what there are `keys` for.
fn how_it_is_read(
    layout: &Layout,
    settings: &ReadSettings,
    kept_as: Option<&str>,
    keys: &[&str],
) -> Vec<String> {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    if let Some(profile) = kept_as.or(layout.profile.as_deref()) {
        return vec![format!("profile = {}", quoted(profile))];
    }
    let of_sheet = layout.sheet.as_ref().filter(|_| settings.sheet.is_none());
    let all = settings.lines().into_iter().chain(of_sheet.map(|sheet| format!("sheet = {}", quoted(sheet))));
    let (mut own, other): (Vec<String>, Vec<String>) =
        all.partition(|line| keys.iter().any(|key| line.starts_with(key)));
    if !other.is_empty() {
        own.push("# the rest of what was said goes into a profile: add --profile NAME, then write `profile = \"NAME\"`".to_owned());
    }
    own
}

/// The lines of a log that holds temperatures alone: it stands beside the test's own.
fn of_thermometers(layout: &Layout, log: &str, how: &[String]) -> String {
    let how: String = how.iter().map(|line| format!("  {line}\n")).collect();
    let lines = layout.slots(Meaning::Temperature).map(|(_, column)| {
        let name = toml::Value::String(column.label.clone());
        let part = match column.role {
            Role::Ambient => "ambient",
            Role::Electronics => "bms",
            _ => "cells",
        };
        format!(
            "  [[test.sensor]]  # under the test that it belongs to\n  {log}\n{how}  column = {name}\n  part = \"{part}\"  # or \
             an element's id, \"cells\", \"bms\", \"ambient\", \"inner air\"\n"
        )
    });
    lines.collect()
}

/// Two rows of blocks: discharge above, charge below.
fn sketch(series: &Series) -> String {
    const UP: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let Some((from, to)) = series.span().filter(|(from, to)| to > from) else { return String::new() };
    let mut ends = [(0.0_f64, 0.0_f64); WIDTH];
    let mut before = (0, 0.0_f64);
    for (time, value) in series.points() {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "between 0 and the width"
        )]
        let place = (((time - from) / (to - from)) * (WIDTH as f64 - 1e-6)) as usize;
        // Between two samples flows at least the smaller of their currents.
        let between =
            if before.1 * value > 0.0 { before.1.abs().min(value.abs()) * value.signum() } else { 0.0 };
        for (low, high) in ends.iter_mut().take(place).skip(before.0 + 1) {
            (*low, *high) = (low.min(between), high.max(between));
        }
        if let Some((low, high)) = ends.get_mut(place) {
            (*low, *high) = (low.min(value), high.max(value));
        }
        before = (place, value);
    }
    let largest = ends.iter().map(|(low, high)| high.max(-low)).fold(f64::MIN_POSITIVE, f64::max);
    let block = |value: f64| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 8")]
        let eighths = (8.0 * value.max(0.0) / largest).round() as usize;
        // What is small beside the largest is not nothing.
        let least = usize::from(value > REST * largest);
        UP.get(eighths.clamp(least, 8)).copied().unwrap_or(' ')
    };
    let above: String = ends.iter().map(|(_, high)| block(*high)).collect();
    let below: String = ends.iter().map(|(low, _)| block(-low)).collect();
    format!("  out {}\n  in  {}", above.trim_end(), below.trim_end())
}
