//! Departures of a job file from the schema, in our own words.
use super::{
    error::{FaultKind, Faults},
    names::nearest,
    schema::{part_at, schema},
};
use crate::printable::shortened;
use jsonschema::{
    JsonType, ValidationError, Validator,
    error::{TypeKind, ValidationErrorKind as Kind},
};
use serde_json::Value;
use std::sync::LazyLock;

static SCHEMA: LazyLock<Value> = LazyLock::new(schema);
static VALIDATOR: LazyLock<Validator> = LazyLock::new(|| {
    jsonschema::draft202012::new(&SCHEMA).expect("the generated schema is a valid schema")
});

/// Collects all departures of `value` from the schema.
pub(super) fn check(value: &Value, faults: &mut Faults) {
    for error in VALIDATOR.iter_errors(value) {
        collect(&error, faults);
    }
}

fn collect(error: &ValidationError<'_>, faults: &mut Faults) {
    let at = error.instance_path().as_str();
    if let Kind::AdditionalProperties { unexpected } = error.kind() {
        for key in unexpected {
            let key = &shortened(key);
            let pointer = format!("{at}/{}", key.replace('~', "~0").replace('/', "~1"));
            let kind = FaultKind::UnknownKey {
                key: key.clone(),
                advice: if faults.is_full() {
                    String::new()
                } else {
                    advice(at, key)
                },
            };
            faults.push(&pointer, kind);
        }
        return;
    }
    faults.push(at, kind_of(error));
}

fn kind_of(error: &ValidationError<'_>) -> FaultKind {
    let found = described(error.instance());
    let limit = |limit: String| FaultKind::OutOfRange {
        found: found.clone(),
        limit,
    };
    match error.kind() {
        Kind::Required { property } => FaultKind::MissingKey {
            key: property.as_str().unwrap_or_default().to_owned(),
        },
        Kind::Type { kind } => FaultKind::WrongType {
            found: found.clone(),
            expected: expected(kind),
        },
        Kind::Enum { options } => FaultKind::NotAllowed {
            found: found.clone(),
            allowed: listed(options),
        },
        Kind::ExclusiveMinimum { limit: least } => limit(format!("be above {least}")),
        Kind::ExclusiveMaximum { limit: most } => limit(format!("be below {most}")),
        Kind::Minimum { limit: least } => limit(format!("be {least} or more")),
        Kind::Maximum { limit: most } => limit(format!("be {most} or less")),
        Kind::MinItems { limit: least } => limit(format!("have {least} or more entries")),
        Kind::MaxItems { limit: most } => limit(format!("have {most} entries or fewer")),
        Kind::MinLength { .. } => limit("not be empty".to_owned()),
        Kind::MaxLength { limit: most } => limit(format!("have {most} characters or fewer")),
        _ => FaultKind::Schema {
            text: error.masked().to_string(),
        },
    }
}

/// What a value is, short enough for a message.
fn described(value: &Value) -> String {
    match value {
        Value::Null => "null".to_owned(),
        Value::Bool(value) => value.to_string(),
        Value::Number(number) => format!("the number {number}"),
        Value::String(text) if text.is_empty() => "an empty text".to_owned(),
        Value::String(text) => format!("the text {:?}", shortened(text)),
        Value::Array(items) => match items.len() {
            0 => "an empty list".to_owned(),
            1 => "a list of 1 entry".to_owned(),
            n => format!("a list of {n} entries"),
        },
        Value::Object(_) => "an object".to_owned(),
    }
}

fn expected(kind: &TypeKind) -> String {
    match kind {
        TypeKind::Single(one) => type_words(*one).to_owned(),
        TypeKind::Multiple(set) => {
            let words: Vec<&str> = set.iter().map(type_words).collect();
            words.join(" or ")
        }
    }
}

fn type_words(json: JsonType) -> &'static str {
    match json {
        JsonType::Null => "null",
        JsonType::Boolean => "true or false",
        JsonType::Integer => "a whole number",
        JsonType::Number => "a number",
        JsonType::String => "a text in quotes",
        JsonType::Array => "a list in [ ]",
        JsonType::Object => "an object in { }",
    }
}

fn listed(options: &Value) -> String {
    let words = options.as_array().map(Vec::as_slice).unwrap_or_default();
    let words: Vec<String> = words.iter().map(Value::to_string).collect();
    words.join(", ")
}

/// Keys of earlier issues of the program, and what they are called now.
const RENAMED: [(&str, &str); 2] = [("straighten", "rectify"), ("find_frame", "find_bezel")];

/// What the key is called now, the nearest known key, or all known ones where none is near.
fn advice(at: &str, key: &str) -> String {
    let steps = at
        .split('/')
        .skip(1)
        .map(|step| step.replace("~1", "/").replace("~0", "~"));
    let known: Vec<&str> = part_at(&SCHEMA, steps)
        .and_then(|part| part.get("properties")?.as_object())
        .map(|properties| properties.keys().map(String::as_str).collect())
        .unwrap_or_default();
    let renamed = RENAMED
        .iter()
        .find(|(before, now)| *before == key && known.contains(now));
    if let Some((_, now)) = renamed {
        return format!("it is called \"{now}\" now");
    }
    match nearest(key, known.iter().copied()).first() {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("known are {}", quoted(&known)),
    }
}

fn quoted(words: &[&str]) -> String {
    let words: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
    words.join(", ")
}
