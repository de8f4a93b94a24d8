//! `schema`: the JSON Schema of the record.

use std::io::Write;

use super::{Done, Failure};
use crate::record::schema::record_schema;

pub(super) fn run() -> Result<Done, Failure> {
    let schema = serde_json::to_string_pretty(&record_schema()).map_err(|e| Failure::Words(e.to_string()))?;
    writeln!(std::io::stdout().lock(), "{schema}")?;
    Ok(Done::Well)
}
