//! The command line: one file per command.
//!
//! Exit status: 0 nothing critical or major falls short, 1 something does, 2 the input or the call is wrong.

mod calc;
mod check;
#[cfg(feature = "fill")]
mod checklist;
#[cfg(feature = "collection")]
mod collection;
#[cfg(feature = "compare")]
mod compare;
mod completions;
mod decode;
mod explain;
#[cfg(feature = "fill")]
mod fill;
mod log;
#[cfg(feature = "measuring")]
mod measure_photo;
mod migrate;
mod new;
mod next;
#[cfg(feature = "signatures")]
mod password;
#[cfg(feature = "fill")]
mod photos;
mod plan;
mod progress;
mod report;
#[cfg(feature = "measuring")]
mod scale_sheet;
mod schema;
mod seal;
mod settings;
mod verify;
#[cfg(feature = "video")]
mod video_kit;

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

use crate::judge::inspection::{self, Inspection, OpenError, RECORD, WORKER_STACK};
use crate::logs::read::ProfileError;
use crate::record::open::Refused;
use crate::record::problem::Problems;
use crate::record::renamed::{Place, new_word};
use crate::render::OWN_WORDS;
use crate::units::terminal;
use crate::units::words::CAUTION;

#[derive(Debug, Parser)]
#[command(
    name = "underlid",
    version,
    about = "Says, with evidence, whether the build of an opened battery pack supports its nameplate",
    after_help = CAUTION,
    max_term_width = 100
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Start an inspection: make a folder with a commented record that you fill in
    New(new::New),
    /// Plan the bench session from the claims, and check the test rig before full load
    Plan(plan::Plan),
    /// Fill the record in at the bench: in the terminal, or on a page for a phone
    #[cfg(feature = "fill")]
    Fill(fill::Fill),
    /// Show what a card or folder of pictures holds, and take pictures into an inspection
    #[cfg(feature = "fill")]
    Photos(photos::Photos),
    /// Write a sheet to print that gives a photo its scale
    #[cfg(feature = "measuring")]
    ScaleSheet(scale_sheet::ScaleSheet),
    /// Measure a length in a photo that shows a scale sheet or a plastic card
    #[cfg(feature = "measuring")]
    MeasurePhoto(measure_photo::MeasurePhoto),
    /// Print a checklist as a paper form, or check a house checklist
    #[cfg(feature = "fill")]
    Checklist(checklist::Checklist),
    /// Show what a log holds: columns, charges and discharges, and what does not add up
    Log(log::Log),
    /// Judge a record against the rated continuous current and show the working
    Check(check::Check),
    /// Say which facts to look at next, what each decides, and how to get it safely
    Next(next::Next),
    /// Explain a rule, or list the rule book
    Explain(explain::Explain),
    /// Write the hashes of record, photos and logs; sign them, pack them as a bag
    Seal(seal::Seal),
    /// Compare a folder or a bag with its seal, and say who sealed it
    Verify(verify::Verify),
    /// Write the inspection write-up: report/report.md and report/report.html
    Report(report::Report),
    /// Compare inspections part by part: what changed, and what explains a changed rating
    #[cfg(feature = "compare")]
    Compare(compare::Compare),
    /// Write description, chapters, captions and still cards for a video into video-kit/
    #[cfg(feature = "video")]
    VideoKit(video_kit::VideoKit),
    /// Make a static site and data files of many inspections
    #[cfg(feature = "collection")]
    Collection(collection::Collection),
    /// Work out bars, cables, fuses, short circuits, joints and packs without a record
    Calc(Box<calc::Calc>),
    /// Say what open standards make of cell markings and scanned codes
    Decode(decode::Decode),
    /// Rewrite the record of an earlier schema for this program, and keep a copy
    Migrate(migrate::Migrate),
    /// Print the JSON Schema of the record, or of what a command prints
    Schema(schema::Schema),
    /// Print completions for a shell
    Completions(completions::Completions),
}

/// How results are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people.
    Text,
    /// For machines; the shape is described in templates/README.md.
    Json,
}

/// What a command ends with when it does not fail.
pub(crate) enum Done {
    /// Nothing critical or major falls short.
    Well,
    /// Something critical or major falls short, or the evidence does not match.
    FallsShort,
}

/// Why a command cannot be carried out.
#[derive(Debug)]
pub(crate) enum Failure {
    /// A file is wrong at known places.
    Problems(Problems),
    /// Anything else, in words.
    Words(String),
    /// Nobody reads our output any more.
    BrokenPipe,
}

impl Failure {
    /// Why, in one line.
    pub(crate) fn line(&self) -> String {
        match self {
            Self::Problems(problems) => problems.to_string(),
            Self::Words(words) => words.lines().next().unwrap_or_default().to_owned(),
            Self::BrokenPipe => "nobody reads the output".to_owned(),
        }
    }
}

impl From<OpenError> for Failure {
    fn from(error: OpenError) -> Self {
        match error {
            OpenError::Problems(problems) => Self::Problems(problems),
            OpenError::File(refused) => refused.into(),
        }
    }
}

impl From<ProfileError> for Failure {
    fn from(error: ProfileError) -> Self {
        match error {
            ProfileError::Problems(problems) => Self::Problems(problems),
            ProfileError::File(refused) => refused.into(),
        }
    }
}

impl From<Refused> for Failure {
    fn from(refused: Refused) -> Self {
        match &refused {
            Refused::File(error) if refused.is_gone() && error.path.ends_with(RECORD) => {
                let path = &error.path;
                let folder = path.parent().unwrap_or(path).display();
                Self::Words(format!("{}: there is none; `underlid new {folder}` starts one", path.display()))
            }
            _ => Self::Words(refused.to_string()),
        }
    }
}

impl From<Problems> for Failure {
    fn from(problems: Problems) -> Self {
        Self::Problems(problems)
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            Self::BrokenPipe
        } else {
            Self::Words(error.to_string())
        }
    }
}

/// What a machine reads, on one line.
fn json(of: &impl serde::Serialize) -> Result<String, Failure> {
    serde_json::to_string(of).map(|json| format!("{json}\n")).map_err(words)
}

/// An error that says everything in its words.
pub(crate) fn words(error: impl std::error::Error) -> Failure {
    Failure::Words(error.to_string())
}

/// Commands that need a feature (Cargo.toml says what each is for), and which.
const BY_FEATURE: [(&str, &str); 8] = [
    ("checklist", "fill"),
    ("collection", "collection"),
    ("compare", "compare"),
    ("fill", "fill"),
    ("measure-photo", "measuring"),
    ("photos", "fill"),
    ("scale-sheet", "measuring"),
    ("video-kit", "video"),
];

/// What a program says that was built without a feature that a command needs.
pub(crate) fn left_out(what: &str, feature: &str) -> Failure {
    Failure::Words(left_out_words(&format!("`{what}` needs"), feature))
}

/// Says what a program was built without, and how to build it in.
pub(crate) fn left_out_words(needs: &str, feature: &str) -> String {
    format!(
        "{needs} the feature `{feature}`, which this program was built without; `cargo build --release --locked` \
         builds one with all of them"
    )
}

/// Whose rules judge beside the built-in ones.
#[derive(Debug, clap::Args)]
pub(crate) struct House {
    /// A file or folder of house rules, read after those of your settings; may be given several times
    #[arg(long = "rules", value_name = "FILE")]
    rules: Vec<PathBuf>,
    /// Let the rules, checklists and format profiles that lie in the inspection folder count; without it they are left aside
    #[arg(long)]
    folder_rules: bool,
}

impl House {
    /// With the rules that the user's settings name.
    pub(crate) fn of(&self) -> Result<inspection::House, Failure> {
        Ok(inspection::House { folder_rules: self.folder_rules, ..house(&self.rules)? })
    }

    /// Opens an inspection for the bench.
    pub(crate) fn open(&self, path: &Path) -> Result<Inspection, Failure> {
        Ok(Inspection::open(path, &self.of()?, &OWN_WORDS)?)
    }

    /// Opens an inspection for outputs that leave the bench.
    pub(crate) fn open_to_publish(&self, path: &Path) -> Result<Inspection, Failure> {
        Ok(Inspection::open_to_publish(path, &self.of()?, &OWN_WORDS)?)
    }
}

/// Rules that were named on the command line, after those that the user's settings name.
pub(crate) fn house(named: &[PathBuf]) -> Result<inspection::House, Failure> {
    let mut rules = settings::rules()?;
    rules.extend(named.iter().cloned());
    Ok(inspection::House { rules, folder_rules: false, profiles: settings::profiles()? })
}

/// Runs the program.
pub fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return refused(&error),
    };
    let _ = rayon::ThreadPoolBuilder::new().stack_size(WORKER_STACK).build_global();
    let result = match arguments.command {
        Command::New(command) => command.run(),
        Command::Plan(command) => command.run(),
        #[cfg(feature = "fill")]
        Command::Fill(command) => command.run(),
        #[cfg(feature = "fill")]
        Command::Photos(command) => command.run(),
        #[cfg(feature = "measuring")]
        Command::ScaleSheet(command) => command.run(),
        #[cfg(feature = "measuring")]
        Command::MeasurePhoto(command) => command.run(),
        #[cfg(feature = "fill")]
        Command::Checklist(command) => command.run(),
        Command::Log(command) => command.run(),
        Command::Check(command) => command.run(),
        Command::Next(command) => command.run(),
        Command::Explain(command) => command.run(),
        Command::Seal(command) => command.run(),
        Command::Verify(command) => command.run(),
        Command::Report(command) => command.run(),
        #[cfg(feature = "compare")]
        Command::Compare(command) => command.run(),
        #[cfg(feature = "video")]
        Command::VideoKit(command) => command.run(),
        #[cfg(feature = "collection")]
        Command::Collection(command) => command.run(),
        Command::Calc(command) => command.run(),
        Command::Decode(command) => command.run(),
        Command::Migrate(command) => command.run(),
        Command::Schema(command) => command.run(),
        Command::Completions(command) => command.run(),
    };
    match result {
        Ok(Done::Well) | Err(Failure::BrokenPipe) => ExitCode::SUCCESS,
        Ok(Done::FallsShort) => ExitCode::from(1),
        Err(failure) => {
            // When even standard error is gone there is nobody left to tell.
            let _ = tell(&failure);
            ExitCode::from(2)
        }
    }
}

/// Help, version, or a call that is wrong; a command that has another name now, or that this program was built without, is
/// named. What was typed may be the name of a stranger's file.
fn refused(error: &clap::Error) -> ExitCode {
    let given = std::env::args().nth(1).unwrap_or_default();
    let no_command = error.kind() == clap::error::ErrorKind::InvalidSubcommand;
    let renamed = new_word(Place::Command, &given)
        .map(|new| Failure::Words(format!("`underlid {given}` is called `underlid {new}` now")));
    let absent = BY_FEATURE.iter().find(|(command, _)| *command == given);
    let absent = absent.map(|(command, feature)| left_out(command, feature));
    if let Some(failure) = renamed.or(absent).filter(|_| no_command) {
        let _ = tell(&failure);
        return ExitCode::from(2);
    }
    let text = |coloured: bool| {
        let text = error.render();
        if coloured { text.ansi().to_string() } else { text.to_string() }
    };
    // When nobody reads it there is nobody left to tell.
    let _ = if error.use_stderr() {
        terminal::err().styled(&text(colour(&std::io::stderr())))
    } else {
        terminal::out().styled(&text(colour(&std::io::stdout())))
    };
    ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2))
}

fn tell(failure: &Failure) -> std::io::Result<()> {
    let mut out = terminal::err();
    match failure {
        Failure::Problems(problems) => {
            let handler = handler();
            for report in problems.reports() {
                let mut text = String::new();
                if handler.render_report(&mut text, report.as_ref()).is_err() {
                    text = report.to_string();
                }
                out.styled(&text)?;
                writeln!(out)?;
            }
            if problems.not_shown() > 0 {
                writeln!(out, "… and {} more", problems.not_shown())?;
            }
            writeln!(out, "{problems}")
        }
        Failure::Words(words) => writeln!(out, "underlid: {words}"),
        Failure::BrokenPipe => Ok(()),
    }
}

fn handler() -> miette::GraphicalReportHandler {
    let theme = if colour(&std::io::stderr()) {
        miette::GraphicalTheme::unicode()
    } else {
        miette::GraphicalTheme::unicode_nocolor()
    };
    miette::GraphicalReportHandler::new_themed(theme).with_width(100).with_links(false)
}

/// Tells what somebody must look at before an output is handed on: texts that are nearly what is withheld, and photos, because
/// nothing here can read a picture.
pub(crate) fn look_at(inspection: &Inspection) -> std::io::Result<()> {
    let text =
        inspection::record_text(&inspection.folder).map_or_else(|_| String::new(), |(_, _, text)| text);
    for near in inspection.withheld.near_misses(&inspection.record) {
        let line = text.get(..near.span.start).unwrap_or_default().matches('\n').count() + 1;
        let words = format!("{RECORD} line {line}, {}: `{}` is near to {}", near.path, near.text, near.which);
        writeln!(terminal::err(), "underlid: {words}, and is shown; withhold it too if it means the same")?;
    }
    let photos = inspection.withheld.photos_to_look_at();
    if photos.is_empty() {
        return Ok(());
    }
    writeln!(
        terminal::err(),
        "underlid: look at these photos: they are said to show a field that is withheld, and nothing on them is \
         blacked out: {}",
        photos.join(", ")
    )
}

/// True when output to this stream may be coloured.
pub(crate) fn colour(stream: &impl IsTerminal) -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty()) && stream.is_terminal()
}
