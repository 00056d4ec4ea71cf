//! The JSON Schema of `report.json`, made from its types.
use super::Report;
use schemars::generate::SchemaSettings;
use serde_json::Value;

/// The JSON Schema (draft 2020-12) that every `report.json` meets.
pub fn schema() -> Value {
    let generator = SchemaSettings::draft2020_12()
        .for_serialize()
        .into_generator();
    let mut schema = generator.into_root_schema_for::<Report>();
    schema.insert("title".to_owned(), Value::from("tickstrip report"));
    schema.to_value()
}
