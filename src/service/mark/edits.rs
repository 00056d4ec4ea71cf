//! Changes of a JSON document, place by place, so that what nobody touched stays as it is.
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// One change of a document; places are JSON pointers (RFC 6901).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "op", rename_all = "lowercase", deny_unknown_fields)]
pub(super) enum Edit {
    /// Puts a value at a place: over the one that is there, as a new key, or at the end of a list (`-`).
    Set {
        /// The place.
        at: String,
        /// The value.
        value: Value,
    },
    /// Takes the value at a place away.
    Remove {
        /// The place.
        at: String,
    },
}

/// A place that the document does not have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("there is no place {at:?} in the job; it has been changed meanwhile")]
pub(super) struct NoPlace {
    /// The pointer.
    pub at: String,
}

/// Makes the change.
pub(super) fn apply(document: &mut Value, edit: &Edit) -> Result<(), NoPlace> {
    let (Edit::Set { at, .. } | Edit::Remove { at }) = edit;
    let no_place = || NoPlace { at: at.clone() };
    let Some((parent, key)) = at.rsplit_once('/') else {
        return match edit {
            Edit::Set { value, .. } if at.is_empty() => {
                *document = value.clone();
                Ok(())
            }
            _ => Err(no_place()),
        };
    };
    let key = key.replace("~1", "/").replace("~0", "~");
    let done = match (document.pointer_mut(parent), edit) {
        (Some(Value::Object(object)), Edit::Set { value, .. }) => {
            object.insert(key, value.clone());
            Some(())
        }
        // Not `remove`, which would put the last key in its place.
        (Some(Value::Object(object)), Edit::Remove { .. }) => object.shift_remove(&key).map(|_| ()),
        (Some(Value::Array(list)), Edit::Set { value, .. }) if key == "-" => {
            list.push(value.clone());
            Some(())
        }
        (Some(Value::Array(list)), Edit::Set { value, .. }) => index(&key, list.len())
            .and_then(|i| list.get_mut(i))
            .map(|old| *old = value.clone()),
        (Some(Value::Array(list)), Edit::Remove { .. }) => index(&key, list.len()).map(|i| {
            list.remove(i);
        }),
        _ => None,
    };
    done.ok_or_else(no_place)
}

fn index(key: &str, length: usize) -> Option<usize> {
    key.parse().ok().filter(|i| *i < length)
}

/// The smallest part of a document in which two states of it differ.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Difference {
    /// Where, as a JSON pointer.
    pub at: String,
    /// What was there.
    pub before: Value,
    /// What is there.
    pub after: Value,
}

impl Difference {
    /// `None` where both are the same, the order of keys included.
    pub fn between(before: &Value, after: &Value) -> Option<Self> {
        if same(before, after) {
            return None;
        }
        let mut at = String::new();
        let (mut before, mut after) = (before, after);
        while let Some((key, inner_before, inner_after)) = only_child_that_differs(before, after) {
            at.push('/');
            at.push_str(&key.replace('~', "~0").replace('/', "~1"));
            (before, after) = (inner_before, inner_after);
        }
        Some(Self {
            at,
            before: before.clone(),
            after: after.clone(),
        })
    }

    /// The document as it was before: `document` is as it was after.
    pub fn back(&self, document: &mut Value) -> Result<(), NoPlace> {
        put(document, &self.at, &self.before)
    }

    /// The document as it is after: `document` is as it was before.
    pub fn forth(&self, document: &mut Value) -> Result<(), NoPlace> {
        put(document, &self.at, &self.after)
    }
}

fn put(document: &mut Value, at: &str, value: &Value) -> Result<(), NoPlace> {
    match document.pointer_mut(at) {
        Some(place) => {
            *place = value.clone();
            Ok(())
        }
        None => Err(NoPlace { at: at.to_owned() }),
    }
}

/// Equal, with the keys of objects in the same order.
fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Object(a), Value::Object(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|((k, v), (l, w))| k == l && same(v, w))
        }
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(v, w)| same(v, w))
        }
        _ => a == b,
    }
}

/// The one child in which two containers of the same shape differ.
fn only_child_that_differs<'a>(
    before: &'a Value,
    after: &'a Value,
) -> Option<(String, &'a Value, &'a Value)> {
    let mut differing: Vec<(String, &Value, &Value)> = match (before, after) {
        (Value::Object(a), Value::Object(b)) => {
            if a.len() != b.len() || a.keys().ne(b.keys()) {
                return None;
            }
            let pairs = a.iter().zip(b.values());
            pairs.map(|((k, v), w)| (k.clone(), v, w)).collect()
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            let pairs = a.iter().zip(b).enumerate();
            pairs.map(|(i, (v, w))| (i.to_string(), v, w)).collect()
        }
        _ => return None,
    };
    differing.retain(|(_, v, w)| !same(v, w));
    match differing.len() {
        1 => differing.pop(),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn set(at: &str, value: Value) -> Edit {
        Edit::Set {
            at: at.to_owned(),
            value,
        }
    }

    fn remove(at: &str) -> Edit {
        Edit::Remove { at: at.to_owned() }
    }

    #[test]
    fn edits_change_their_place_and_nothing_else() {
        let mut document = json!({"a": 1, "own/key": {"x": [1, 2]}, "b": 2});
        apply(&mut document, &set("/own~1key/x/1", json!(5))).expect("a place");
        apply(&mut document, &set("/own~1key/x/-", json!(6))).expect("a place");
        apply(&mut document, &remove("/a")).expect("a place");
        apply(&mut document, &set("/c", json!(null))).expect("a place");
        assert_eq!(
            document.to_string(),
            r#"{"own/key":{"x":[1,5,6]},"b":2,"c":null}"#
        );
    }

    #[test]
    fn places_that_are_not_there_are_refused() {
        for edit in [
            set("/x/y", json!(1)),
            set("/list/7", json!(1)),
            set("no slash", json!(1)),
            remove("/gone"),
            remove("/list/2"),
            remove(""),
            remove("/list/-1"),
        ] {
            let mut document = json!({"list": [1, 2]});
            assert!(apply(&mut document, &edit).is_err(), "{edit:?}");
            assert_eq!(document, json!({"list": [1, 2]}));
        }
    }

    #[test]
    fn a_difference_is_small_and_leads_back_and_forth() {
        let before = json!({"a": [{"x": 1.0, "y": 2}, {"x": 3}], "b": {}});
        let mut after = before.clone();
        after["a"][0]["x"] = json!(1.5);
        let difference = Difference::between(&before, &after).expect("they differ");
        assert_eq!(difference.at, "/a/0/x");
        let mut document = after.clone();
        difference.back(&mut document).expect("a place");
        assert_eq!(document, before);
        difference.forth(&mut document).expect("a place");
        assert_eq!(document, after);
        assert_eq!(Difference::between(&before, &before), None);
    }

    #[test]
    fn the_way_back_restores_the_order_of_keys() {
        let before = json!({"job": {"first": 1, "second": 2}});
        let mut after = before.clone();
        apply(&mut after, &remove("/job/first")).expect("a place");
        let difference = Difference::between(&before, &after).expect("they differ");
        difference.back(&mut after).expect("a place");
        assert_eq!(after.to_string(), before.to_string());
        let turned = json!({"job": {"second": 2, "first": 1}});
        assert!(Difference::between(&before, &turned).is_some());
    }
}
