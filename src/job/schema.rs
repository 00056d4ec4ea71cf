//! The published schema of a job file, from the types of [`super::raw`].
use super::raw::RawJob;
use schemars::SchemaGenerator;
use serde_json::{Map, Value, json};

/// The JSON Schema (draft 2020-12) of a job file.
///
/// It says what a well-formed file is; that names agree and outlines do not cross only [`super::read`] can tell.
pub fn schema() -> Value {
    let mut schema = SchemaGenerator::default()
        .into_root_schema_for::<RawJob>()
        .to_value();
    tidy(&mut schema);
    schema
}

/// Makes the generated schema say what the format means: a key is left out instead of null, a choice is one list.
fn tidy(schema: &mut Value) {
    match schema {
        Value::Array(items) => items.iter_mut().for_each(tidy),
        Value::Object(object) => {
            tidy_null(object);
            tidy_choice(object);
            tidy_names(object);
            object.values_mut().for_each(tidy);
        }
        _ => {}
    }
}

fn tidy_null(object: &mut Map<String, Value>) {
    if let Some(Value::Array(types)) = object.get_mut("type") {
        types.retain(|t| t != "null");
        if let [one] = types.as_slice() {
            let one = one.clone();
            object.insert("type".to_owned(), one);
        }
    }
    if object.get("default") == Some(&Value::Null) {
        object.remove("default");
    }
    if object.get("format").is_some_and(|f| f == "double") {
        object.remove("format");
    }
    let is_optional = matches!(object.get("anyOf"), Some(Value::Array(any)) if any.contains(&json!({ "type": "null" })));
    if is_optional
        && let Some(Value::Array(any)) = object.remove("anyOf")
        && let Some(Value::Object(inner)) = any.into_iter().next()
    {
        for (key, value) in inner {
            object.entry(key).or_insert(value);
        }
    }
}

fn tidy_choice(object: &mut Map<String, Value>) {
    let Some(Value::Array(choices)) = object.get("oneOf") else {
        return;
    };
    let Some(constants) = choices
        .iter()
        .map(|c| c.get("const").cloned())
        .collect::<Option<Vec<Value>>>()
    else {
        return;
    };
    let meanings: Vec<String> = choices
        .iter()
        .filter_map(|c| Some((c.get("const")?.as_str()?, c.get("description")?.as_str()?)))
        .map(|(word, meaning)| format!("\"{word}\": {meaning}"))
        .collect();
    let heading = object
        .get("description")
        .and_then(Value::as_str)
        .unwrap_or_default();
    let description = format!("{heading} {}", meanings.join(" "))
        .trim()
        .to_owned();
    object.remove("oneOf");
    object.insert("description".to_owned(), description.into());
    object.insert("type".to_owned(), "string".into());
    object.insert("enum".to_owned(), constants.into());
}

/// The names of our Rust types are no part of the format.
fn tidy_names(object: &mut Map<String, Value>) {
    if let Some(Value::String(reference)) = object.get_mut("$ref") {
        *reference = reference.replace("#/$defs/Raw", "#/$defs/");
    }
    if let Some(Value::Object(definitions)) = object.get_mut("$defs") {
        *definitions = std::mem::take(definitions)
            .into_iter()
            .map(|(name, schema)| (name.trim_start_matches("Raw").to_owned(), schema))
            .collect();
    }
}

/// The part of the schema that holds for the value at a pointer, given by its steps.
pub(super) fn part_at(root: &Value, steps: impl Iterator<Item = String>) -> Option<&Value> {
    let mut part = followed(root, root)?;
    for step in steps {
        part = part
            .get("properties")
            .and_then(|p| p.get(&step))
            .or_else(|| part.get("items"))?;
        part = followed(root, part)?;
    }
    Some(part)
}

/// A part of the schema, or the one that it refers to.
pub(super) fn followed<'a>(root: &'a Value, part: &'a Value) -> Option<&'a Value> {
    match part.get("$ref").and_then(Value::as_str) {
        Some(reference) => root.pointer(reference.trim_start_matches('#')),
        None => Some(part),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_of_the_format_is_described() {
        fn walk(at: &str, value: &Value) {
            if let Some(Value::Object(properties)) = value.get("properties") {
                for (key, part) in properties {
                    assert!(part.get("description").is_some(), "{at}/{key} has no words");
                }
            }
            match value {
                Value::Object(o) => o.iter().for_each(|(k, v)| walk(&format!("{at}/{k}"), v)),
                Value::Array(a) => a.iter().for_each(|v| walk(at, v)),
                _ => {}
            }
        }
        let schema = schema();
        assert_eq!(
            schema["$schema"],
            "https://json-schema.org/draft/2020-12/schema"
        );
        assert_eq!(schema["title"], "tickstrip job");
        walk("", &schema);
    }

    #[test]
    fn null_and_rust_names_do_not_show() {
        let text = schema().to_string();
        assert!(!text.contains("null") && !text.contains("Raw"), "{text}");
    }
}
