//! The description of the service for programs, with the schema of the report in it.
use crate::report;
use serde_json::Value;

const DESCRIPTION: &str = include_str!("openapi.json");

/// The description, OpenAPI 3.1.
pub(super) fn description() -> Value {
    let mut description: Value =
        serde_json::from_str(DESCRIPTION).expect("the embedded description is JSON");
    let mut schema = report::schema();
    // Its inner parts become parts of the description, so that every tool finds them.
    let parts = schema.as_object_mut().and_then(|schema| {
        schema.shift_remove("$schema");
        schema.shift_remove("$defs")
    });
    let schemas = &mut description["components"]["schemas"];
    for (name, part) in parts.iter().filter_map(Value::as_object).flatten() {
        schemas[part_name(name)] = moved(part);
    }
    schemas["Report"] = moved(&schema);
    description["info"]["version"] = Value::from(env!("CARGO_PKG_VERSION"));
    description
}

fn part_name(name: &str) -> String {
    format!("Report{name}")
}

/// A schema with its references to inner parts following these to their new place.
fn moved(schema: &Value) -> Value {
    match schema {
        Value::Object(object) => object
            .iter()
            .map(|(key, value)| {
                let part = value
                    .as_str()
                    .and_then(|text| text.strip_prefix("#/$defs/"));
                let value = match (key.as_str(), part) {
                    ("$ref", Some(part)) => {
                        Value::from(format!("#/components/schemas/{}", part_name(part)))
                    }
                    _ => moved(value),
                };
                (key.clone(), value)
            })
            .collect(),
        Value::Array(list) => list.iter().map(moved).collect(),
        other => other.clone(),
    }
}
