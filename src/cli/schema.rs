//! `schema`: the JSON Schemas of the record and of everything that commands print for machines.

use std::io::Write;

use clap::ValueEnum;
use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::{Value, json};

use super::{Done, Failure, calc, check, decode, explain, log, next, plan, seal, verify, words};
use crate::logs::read::profile_schema;
use crate::record::schema::record_schema;
use crate::units::terminal;

#[derive(Debug, clap::Args)]
pub(super) struct Schema {
    /// Of what a command prints with `--format json`, or of a line of a collection's JSON Lines; without it, of the record
    #[arg(long, value_enum, value_name = "WHAT")]
    output: Option<Output>,
}

/// What is printed for machines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Output {
    /// `calc`
    Calc,
    /// `check`, one line for each inspection
    Check,
    /// A line of a collection's `collection.jsonl`
    #[cfg(feature = "collection")]
    Collection,
    /// A line of a collection's `elements.jsonl`
    #[cfg(feature = "collection")]
    CollectionElements,
    /// A line of a collection's `findings.jsonl`
    #[cfg(feature = "collection")]
    CollectionFindings,
    /// `compare`
    #[cfg(feature = "compare")]
    Compare,
    /// `decode`
    Decode,
    /// `explain`
    Explain,
    /// `log`, one line for each log
    Log,
    /// `measure-photo`
    #[cfg(feature = "measuring")]
    MeasurePhoto,
    /// `next`
    Next,
    /// `photos`
    #[cfg(feature = "fill")]
    Photos,
    /// `plan`
    Plan,
    /// Of a format profile for logs, which `log --profile` writes
    Profile,
    /// `seal`
    Seal,
    /// `verify`
    Verify,
}

impl Schema {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let schema = self.output.map_or_else(record_schema, Output::schema);
        let text = serde_json::to_string_pretty(&schema).map_err(words)?;
        writeln!(terminal::out(), "{text}")?;
        Ok(Done::Well)
    }
}

impl Output {
    fn schema(self) -> Value {
        #[cfg(feature = "collection")]
        let [packs, findings, elements] = crate::render::collection::json_schemas();
        match self {
            Self::Calc => of::<calc::Sheet>("calc"),
            Self::Check => of::<check::Checked<'_>>("check"),
            #[cfg(feature = "collection")]
            Self::Collection => packs,
            #[cfg(feature = "collection")]
            Self::CollectionElements => elements,
            #[cfg(feature = "collection")]
            Self::CollectionFindings => findings,
            #[cfg(feature = "compare")]
            Self::Compare => of::<crate::render::compare::Comparison>("compare"),
            Self::Decode => of::<decode::Decoded>("decode"),
            Self::Explain => of::<explain::Explained<'_>>("explain"),
            #[cfg(feature = "measuring")]
            Self::MeasurePhoto => of::<super::measure_photo::PhotoMeasured>("measure-photo"),
            Self::Next => of::<next::NextTold<'_>>("next"),
            #[cfg(feature = "fill")]
            Self::Photos => of::<super::photos::PhotosTold<'_>>("photos"),
            Self::Log => of::<log::LogTold>("log"),
            Self::Profile => profile_schema(),
            Self::Plan => of::<plan::Planned<'_>>("plan"),
            Self::Seal => of::<seal::SealDone<'_>>("seal"),
            Self::Verify => of::<verify::Found>("verify"),
        }
    }
}

/// The JSON Schema (draft 2020-12) of what a command prints.
fn of<T: JsonSchema>(command: &str) -> Value {
    let settings = SchemaSettings::draft2020_12().for_serialize();
    let mut schema = settings.into_generator().into_root_schema_for::<T>().to_value();
    if let Some(object) = schema.as_object_mut() {
        object.insert("title".to_owned(), json!(format!("underlid {command} --format json")));
    }
    schema
}
