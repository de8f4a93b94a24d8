//! The record's JSON Schema, made from the declarations of its parts.

use serde_json::{Value as Json, json};

use super::part::Part;
use super::parts::Record;

/// The JSON Schema (draft 2020-12) of a record.
pub fn record_schema() -> Json {
    let mut generator = schemars::generate::SchemaSettings::draft2020_12().into_generator();
    let root = Record::schema(&mut generator);
    let mut json = root.to_value();
    if let Some(object) = json.as_object_mut() {
        object.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
        object.insert(
            "title".to_owned(),
            json!(format!("underlid inspection record, schema version {}", super::SCHEMA)),
        );
        object.insert("required".to_owned(), json!(["schema"]));
        object.insert("$defs".to_owned(), json!(generator.take_definitions(true)));
    }
    json
}
