//! Departures of a job file from the schema, in our own words.
//!
//! The schema is the program's own and uses few words of JSON Schema (draft 2020-12): those in [`WORDS`] are checked, and a test
//! says that it has no others. Another test holds what is found here against a general validator.
use super::{
    error::{FaultKind, Faults},
    names::nearest,
    schema::{followed, part_at, schema},
};
use crate::printable::shortened;
use serde_json::{Map, Value};
use std::sync::LazyLock;

static SCHEMA: LazyLock<Value> = LazyLock::new(schema);

/// The words of JSON Schema that a value is checked by.
#[cfg(test)]
const WORDS: [&str; 12] = [
    "$ref",
    "type",
    "enum",
    "minimum",
    "maximum",
    "minLength",
    "maxLength",
    "minItems",
    "maxItems",
    "items",
    "properties",
    "required",
];

/// Collects all departures of `value` from the schema.
pub(super) fn check(value: &Value, faults: &mut Faults) {
    Departures {
        at: String::new(),
        faults,
    }
    .of_value(&SCHEMA, value);
}

/// What departs from the schema, on the way through a value. No deeper than the value itself, which a reader of JSON bounds.
struct Departures<'f> {
    /// Pointer to the value that is looked at.
    at: String,
    faults: &'f mut Faults,
}

impl Departures<'_> {
    fn of_value(&mut self, part: &Value, value: &Value) {
        if let Some(referred) = followed(&SCHEMA, part).filter(|_| part.get("$ref").is_some()) {
            self.of_value(referred, value);
        }
        if let Some(kind) = departure(part, value) {
            self.faults.push(&self.at, kind);
        }
        match value {
            Value::Object(object) => self.of_object(part, object),
            Value::Array(items) => {
                let of_items = part.get("items");
                for (part, (k, item)) in of_items.into_iter().cycle().zip(items.iter().enumerate())
                {
                    self.inside(&k.to_string(), part, item);
                }
            }
            _ => {}
        }
    }

    fn of_object(&mut self, part: &Value, object: &Map<String, Value>) {
        let nothing = Map::new();
        let known = part.get("properties").and_then(Value::as_object);
        let known = known.unwrap_or(&nothing);
        for key in part
            .get("required")
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
        {
            if let Some(key) = key.as_str().filter(|key| !object.contains_key(*key)) {
                let key = key.to_owned();
                self.faults.push(&self.at, FaultKind::MissingKey { key });
            }
        }
        let is_closed = part.get("additionalProperties") == Some(&Value::Bool(false));
        for (key, value) in object {
            match known.get(key) {
                Some(part) => self.inside(key, part, value),
                None if is_closed => self.unknown(&shortened(key)),
                None => {}
            }
        }
    }

    fn inside(&mut self, step: &str, part: &Value, value: &Value) {
        let before = self.at.len();
        self.at = pointer(&self.at, step);
        self.of_value(part, value);
        self.at.truncate(before);
    }

    fn unknown(&mut self, key: &str) {
        let advice = match self.faults.is_full() {
            true => String::new(),
            false => advice(&self.at, key),
        };
        let key = key.to_owned();
        self.faults.push(
            &pointer(&self.at, &key),
            FaultKind::UnknownKey { key, advice },
        );
    }
}

/// The pointer to what stands at `step` of the value at `at` (RFC 6901).
fn pointer(at: &str, step: &str) -> String {
    format!("{at}/{}", step.replace('~', "~0").replace('/', "~1"))
}

/// Why a value itself, whatever is in it, is not what `part` of the schema asks for; the first reason.
fn departure(part: &Value, value: &Value) -> Option<FaultKind> {
    // What is none of a few words is told these, whatever it is.
    if let Some(options) = part.get("enum").and_then(Value::as_array)
        && !options.contains(value)
    {
        return Some(FaultKind::NotAllowed {
            found: described(value),
            allowed: listed(options),
        });
    }
    let types = types_of(part);
    if !types.is_empty() && !types.iter().any(|name| is_of_type(value, name)) {
        return Some(FaultKind::WrongType {
            found: described(value),
            expected: expected(types),
        });
    }
    let limit = |word: &str| part.get(word);
    let count = |word: &str| limit(word).and_then(Value::as_u64);
    let words = match value {
        Value::Number(number) => {
            let number = number.as_f64()?;
            let bound = |word: &str| Some((limit(word)?, limit(word)?.as_f64()?));
            match (bound("minimum"), bound("maximum")) {
                (Some((least, l)), _) if number < l => format!("be {least} or more"),
                (_, Some((most, m))) if number > m => format!("be {most} or less"),
                _ => return None,
            }
        }
        Value::String(text) => {
            let length = text.chars().count() as u64;
            match (count("minLength"), count("maxLength")) {
                (Some(least), _) if length < least => "not be empty".to_owned(),
                (_, Some(most)) if length > most => format!("have {most} characters or fewer"),
                _ => return None,
            }
        }
        Value::Array(items) => {
            let length = items.len() as u64;
            match (count("minItems"), count("maxItems")) {
                (Some(least), _) if length < least => format!("have {least} or more entries"),
                (_, Some(most)) if length > most => format!("have {most} entries or fewer"),
                _ => return None,
            }
        }
        _ => return None,
    };
    Some(FaultKind::OutOfRange {
        found: described(value),
        limit: words,
    })
}

/// The types that are allowed; none where every one is.
fn types_of(part: &Value) -> Vec<&str> {
    match part.get("type") {
        Some(Value::String(one)) => vec![one],
        Some(Value::Array(several)) => several.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    }
}

fn is_of_type(value: &Value, name: &str) -> bool {
    match name {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        // 2.0 is a whole number too.
        "integer" => value.as_f64().is_some_and(|number| number.fract() == 0.0),
        "number" => value.is_number(),
        "string" => value.is_string(),
        "array" => value.is_array(),
        _ => value.is_object(),
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

fn expected(mut types: Vec<&str>) -> String {
    types.sort_unstable();
    let words: Vec<&str> = types.into_iter().map(type_words).collect();
    words.join(" or ")
}

fn type_words(name: &str) -> &'static str {
    match name {
        "null" => "null",
        "boolean" => "true or false",
        "integer" => "a whole number",
        "number" => "a number",
        "string" => "a text in quotes",
        "array" => "a list in [ ]",
        _ => "an object in { }",
    }
}

fn listed(options: &[Value]) -> String {
    let words: Vec<String> = options.iter().map(Value::to_string).collect();
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::error::FaultKind as Kind;
    use proptest::{prelude::*, sample::Index};
    use serde_json::json;

    #[test]
    fn the_schema_uses_no_word_that_is_not_checked() {
        fn walk(part: &Value) {
            for (word, value) in part.as_object().expect("a part of a schema") {
                match word.as_str() {
                    "properties" | "$defs" => {
                        value.as_object().expect("parts").values().for_each(walk)
                    }
                    "items" => walk(value),
                    "additionalProperties" => assert_eq!(value, &json!(false)),
                    "minLength" => assert_eq!(value, &json!(1), "said as \"not be empty\""),
                    // Words that ask for nothing; whole numbers are bounded by the type that reads them.
                    "description" | "default" | "title" | "$schema" | "format" => {}
                    checked => assert!(WORDS.contains(&checked), "{checked}: {value}"),
                }
            }
        }
        walk(&SCHEMA);
    }

    fn found(value: &Value) -> Vec<(String, &'static str)> {
        let mut faults = Faults::default();
        check(value, &mut faults);
        let name = |kind: &Kind| match kind {
            Kind::UnknownKey { .. } => "additionalProperties",
            Kind::MissingKey { .. } => "required",
            Kind::WrongType { .. } => "type",
            Kind::NotAllowed { .. } => "enum",
            _ => "a limit",
        };
        let list = faults.list().iter();
        let mut found: Vec<_> = list.map(|f| (f.pointer.clone(), name(&f.kind))).collect();
        found.sort();
        found
    }

    /// The same by a general validator.
    fn found_by_validator(
        validator: &jsonschema::Validator,
        value: &Value,
    ) -> Vec<(String, &'static str)> {
        use jsonschema::error::ValidationErrorKind as Kind;
        let mut found = Vec::new();
        for error in validator.iter_errors(value) {
            let at = error.instance_path().as_str();
            match error.kind() {
                Kind::AdditionalProperties { unexpected } => {
                    found.extend(
                        unexpected
                            .iter()
                            .map(|key| (pointer(at, key), "additionalProperties")),
                    );
                }
                Kind::Required { .. } => found.push((at.to_owned(), "required")),
                Kind::Type { .. } => found.push((at.to_owned(), "type")),
                Kind::Enum { .. } => found.push((at.to_owned(), "enum")),
                _ => found.push((at.to_owned(), "a limit")),
            }
        }
        // Here a place has one fault of its own: the words that are allowed rather than that they are words.
        let of_words: Vec<String> = (found.iter().filter(|(_, what)| *what == "enum"))
            .map(|(at, _)| at.clone())
            .collect();
        found.retain(|(at, what)| *what != "type" || !of_words.contains(at));
        found.sort();
        found
    }

    /// Pointers to everything in a value.
    fn places(value: &Value, at: String, into: &mut Vec<String>) {
        match value {
            Value::Object(object) => {
                for (key, inner) in object {
                    places(inner, pointer(&at, key), into);
                }
            }
            Value::Array(items) => {
                for (k, inner) in items.iter().enumerate() {
                    places(inner, pointer(&at, &k.to_string()), into);
                }
            }
            _ => {}
        }
        into.push(at);
    }

    proptest! {
        /// Against the crate jsonschema (draft 2020-12): sound jobs in which one to three places are anything else.
        #[test]
        fn departures_are_those_of_a_general_validator(
            changes in prop::collection::vec((any::<Index>(), any::<Index>()), 1..4),
            is_print in any::<bool>(),
        ) {
            let validator = jsonschema::draft202012::new(&SCHEMA).expect("a schema");
            let text = match is_print {
                true => include_str!("../../fixtures/jobs/print.json"),
                false => include_str!("../../fixtures/jobs/example.json"),
            };
            let mut job: Value = serde_json::from_str(text).expect("JSON");
            let other = [
                json!(null), json!(true), json!(0), json!(-1), json!(2.0), json!(0.5), json!(1e300), json!(""), json!("mm"),
                json!("x".repeat(600)), json!([]), json!([1, "a"]), json!([[1, 2], [3, 4]]), json!({}), json!({"no such/key~": 1}),
                json!({"image": "a.png", "size": 3}),
            ];
            for (place, by) in changes {
                let mut all = Vec::new();
                places(&job, String::new(), &mut all);
                let at = place.get(&all).clone();
                *job.pointer_mut(&at).expect("is there") = by.get(&other).clone();
            }
            prop_assert_eq!(found(&job), found_by_validator(&validator, &job));
        }
    }
}
