//! The JSON Schema of a part, made from its declaration.

use std::borrow::Cow;
use std::marker::PhantomData;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Map, Value as Json, json};

use super::{COMMON_KEYS, FieldInfo, Part};
use crate::record::field::{ABSENT, How, Kind, NOT_VISIBLE, UNKNOWN};

/// Lends a part's schema to `schemars`.
pub struct Described<P>(PhantomData<P>);

impl<P: Part> JsonSchema for Described<P> {
    fn schema_name() -> Cow<'static, str> {
        let full = std::any::type_name::<P>();
        Cow::Borrowed(full.rsplit("::").next().unwrap_or(full))
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        P::schema(generator)
    }
}

type Child = (&'static str, fn(&mut SchemaGenerator) -> Schema);

pub(crate) fn part_schema<P: Part>(generator: &mut SchemaGenerator, children: &[Child]) -> Schema {
    let mut properties = Map::new();
    for (name, about) in COMMON_KEYS {
        let schema = match *name {
            "photos" => json!({ "type": ["array", "string"], "items": { "type": "string" } }),
            "how" => json!({ "enum": words(How::WORDS) }),
            _ => json!({ "type": "string" }),
        };
        properties.insert((*name).to_owned(), with_description(schema, about));
    }
    for field in P::SHAPE.fields {
        properties.insert(field.name.to_owned(), field_schema(field));
    }
    for (name, schema) in children {
        properties.insert((*name).to_owned(), schema(generator).to_value());
    }
    json_schema!({
        "type": "object",
        "description": P::SHAPE.about.trim(),
        "properties": properties,
        "additionalProperties": false,
    })
}

fn words(words: &[crate::record::field::Word]) -> Vec<&'static str> {
    words.iter().map(|word| word.word).collect()
}

fn with_description(mut schema: Json, about: &str) -> Json {
    if let Some(object) = schema.as_object_mut() {
        object.insert("description".to_owned(), json!(about.trim()));
    }
    schema
}

fn field_schema(field: &FieldInfo) -> Json {
    let plain = match field.kind {
        Kind::Word(listed) => {
            let mut all = words(listed);
            all.extend([ABSENT, NOT_VISIBLE, UNKNOWN, ""]);
            json!({ "enum": all })
        }
        Kind::YesNo => json!({ "enum": ["yes", "no", true, false, ABSENT, NOT_VISIBLE, ""] }),
        Kind::Count => json!({ "anyOf": [
            { "type": "integer", "minimum": 0 },
            { "enum": [ABSENT, NOT_VISIBLE, ""] },
        ] }),
        Kind::List => json!({ "type": ["array", "string"], "items": { "type": "string" } }),
        Kind::Digest => json!({
            "type": "string",
            "pattern": format!("^([0-9a-fA-F]{{64}}|{ABSENT}|{NOT_VISIBLE}|)$"),
            "examples": [field.example],
        }),
        Kind::Quantity(dimension) if dimension == crate::units::Dimension::NONE => {
            json!({ "type": ["string", "number"], "examples": [field.example] })
        }
        _ => json!({ "type": "string", "examples": [field.example] }),
    };
    if field.name == "schema" {
        return with_description(json!({ "const": super::SCHEMA }), field.about);
    }
    let stated = json!({
        "type": "object",
        "properties": {
            "value": plain,
            "how": { "enum": words(How::WORDS), "description": "How the value came" },
            "with": { "type": "string", "description": "The id of the instrument" },
            "photos": { "type": ["array", "string"], "items": { "type": "string" } },
            "note": { "type": "string" },
            "confirmed": { "enum": [true, false, "yes", "no"], "description": "True where you looked again and stand by a value that is not plausible" },
        },
        "required": ["value"],
        "additionalProperties": false,
    });
    with_description(json!({ "anyOf": [plain, stated] }), field.about)
}
