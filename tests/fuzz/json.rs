//! Changes of JSON that know its structure: most of what comes out is JSON, and much of it a job.
use crate::{bytes, random::Random};
use serde_json::{Map, Number, Value, json};

/// Texts at which words and lists go wrong.
const TEXTS: [&str; 22] = [
    "",
    " ",
    "a",
    "..",
    ".hidden",
    "CON",
    "a/b",
    "..\\..\\a",
    "/etc/passwd",
    "\0",
    "a\nb",
    "\u{1b}[31mred",
    "\u{202e}gnp.a",
    "\u{200b}=1+1",
    "＝1+1",
    "=cmd",
    "<script>",
    "𝕬🙂e\u{301}",
    "\u{feff}",
    "alpha",
    "1:32",
    "3' 10 1/2\"",
];
/// Tokens that a JSON value cannot hold; they are put into the text.
const TOKENS: [&str; 9] = [
    "1e999",
    "-1e999",
    "NaN",
    "1e-400",
    "0.1e1",
    "123456789012345678901234567890",
    "\"\\ud800\"",
    "01",
    "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[",
];
const HOLE: &str = "\u{e000}hole";

/// One document of the corpus with one to six changes, as text.
pub fn mutated(random: &mut Random, corpus: &[Vec<u8>]) -> Vec<u8> {
    if random.one_in(12) {
        return bytes::mutated(random, corpus);
    }
    let mut value = document(random, corpus);
    for _ in 0..=random.below(6) {
        let donor = document(random, corpus);
        change(random, &mut value, &donor);
    }
    let text = value.to_string();
    let token = random.word(&TOKENS);
    text.replacen(&json!(HOLE).to_string(), token, 1)
        .into_bytes()
}

fn document(random: &mut Random, corpus: &[Vec<u8>]) -> Value {
    serde_json::from_slice(random.pick(corpus).as_slice()).expect("the corpus is JSON")
}

/// Changes one place of the document.
fn change(random: &mut Random, document: &mut Value, donor: &Value) {
    let place = random.below(count(document));
    let given = nth(donor, random.below(count(donor))).clone();
    let taken = nth(document, random.below(count(document))).clone();
    let target = nth_mut(document, place);
    match random.below(10) {
        0 => *target = given,
        1 => *target = taken,
        2 => *target = extreme(random),
        3 | 4 => nudge(random, target),
        5 => remove_from(random, target),
        6 => add_to(random, target, given),
        7 => repeat(random, target),
        8 => rename(random, target),
        _ => exchange(random, target),
    }
}

fn parts(value: &Value) -> Vec<&Value> {
    match value {
        Value::Array(items) => items.iter().collect(),
        Value::Object(map) => map.values().collect(),
        _ => Vec::new(),
    }
}

/// How many values there are, the whole and all parts.
fn count(value: &Value) -> usize {
    1 + parts(value).into_iter().map(count).sum::<usize>()
}

/// The value number `place` in the order of the text.
fn nth(value: &Value, mut place: usize) -> &Value {
    if place == 0 {
        return value;
    }
    place -= 1;
    for part in parts(value) {
        let size = count(part);
        if place < size {
            return nth(part, place);
        }
        place -= size;
    }
    value
}

fn nth_mut(value: &mut Value, mut place: usize) -> &mut Value {
    if place == 0 {
        return value;
    }
    place -= 1;
    let sizes: Vec<usize> = parts(value).into_iter().map(count).collect();
    let mut index = 0;
    while place >= sizes[index] {
        place -= sizes[index];
        index += 1;
    }
    let part = match value {
        Value::Array(items) => items.get_mut(index),
        Value::Object(map) => map.values_mut().nth(index),
        _ => None,
    };
    nth_mut(part.expect("the place is inside"), place)
}

/// A number at which computations go wrong.
pub fn extreme_number(random: &mut Random) -> f64 {
    *random.pick(&[
        0.0,
        -0.0,
        1.0,
        -1.0,
        0.5,
        5e-324,
        1e-300,
        1e-9,
        1e5,
        999_999.9,
        1e6,
        1e7,
        1e12,
        1e15,
        9_007_199_254_740_993.0,
        1e100,
        1e154,
        1e300,
        1e308,
        -1e308,
        f64::MAX,
        f64::MIN_POSITIVE,
    ])
}

fn extreme(random: &mut Random) -> Value {
    match random.below(12) {
        0 => Value::Null,
        1 => json!(random.one_in(2)),
        2..=4 => json!(extreme_number(random)),
        5 => json!(*random.pick(&[0, 1, -1, i64::MAX, i64::MIN])),
        6 => json!(u64::MAX),
        7 | 8 => json!(random.word(&TEXTS)),
        9 => json!("x".repeat(random.size(18))),
        10 => nested(random),
        _ => json!(HOLE),
    }
}

/// Lists or objects inside each other, or a long list.
fn nested(random: &mut Random) -> Value {
    let mut value = json!(1);
    let depth = random.size(8);
    match random.below(3) {
        0 => (0..depth).for_each(|_| value = json!([value.take()])),
        1 => (0..depth).for_each(|_| value = json!({ "name": value.take() })),
        _ => value = json!(vec![[0.5; 2]; random.size(12)]),
    }
    value
}

/// A small change that keeps the kind of value.
fn nudge(random: &mut Random, value: &mut Value) {
    match value {
        Value::Number(number) => {
            let old = number.as_f64().unwrap_or_default();
            let new = match random.below(7) {
                0 => old + random.between(-3.0, 3.0),
                1 => -old,
                2 => old * 10_f64.powi(random.below(13) as i32 - 6),
                3 => old + 1e-9,
                4 => old.round(),
                5 => random.between(0.0, 2000.0),
                _ => extreme_number(random),
            };
            *number = Number::from_f64(new).unwrap_or_else(|| 0.into());
        }
        Value::String(text) => match random.below(4) {
            0 => text.push_str(random.word(&TEXTS)),
            1 => text.insert_str(0, random.word(&TEXTS)),
            2 => drop(text.pop()),
            _ if text.len() < 10_000 => *text = text.repeat(1 + random.below(300)),
            _ => text.truncate(0),
        },
        Value::Bool(is) => *is = !*is,
        other => *other = extreme(random),
    }
}

fn remove_from(random: &mut Random, value: &mut Value) {
    let count = parts(value).len();
    match value {
        Value::Array(items) if count > 0 => drop(items.remove(random.below(count))),
        Value::Object(map) if count > 0 => {
            let key = map.keys().nth(random.below(count)).cloned();
            map.remove(&key.expect("there are so many"));
        }
        other => nudge(random, other),
    }
}

fn add_to(random: &mut Random, value: &mut Value, new: Value) {
    match value {
        Value::Array(items) => items.insert(random.below(items.len() + 1), new),
        Value::Object(map) => {
            let key = map.keys().nth(random.below(map.len())).cloned();
            let key = match random.below(3) {
                0 => key.unwrap_or_default(),
                1 => key.unwrap_or_default() + "x",
                _ => random.word(&TEXTS).to_owned(),
            };
            map.insert(key, new);
        }
        other => nudge(random, other),
    }
}

/// Puts an entry of a list there many times, sometimes with a name of its own.
fn repeat(random: &mut Random, value: &mut Value) {
    let Value::Array(items) = value else {
        return nudge(random, value);
    };
    if items.is_empty() || items.len() > 2000 {
        return;
    }
    let part = random.pick(items).clone();
    let is_named = random.one_in(2);
    for n in 0..random.size(11) {
        let mut copy = part.clone();
        if is_named && let Some(name) = copy.get_mut("name") {
            *name = json!(format!("copy {n}"));
        }
        items.push(copy);
    }
}

fn rename(random: &mut Random, value: &mut Value) {
    let Value::Object(map) = value else {
        return nudge(random, value);
    };
    let chosen = random.below(map.len());
    let renamed: Map<String, Value> = std::mem::take(map)
        .into_iter()
        .enumerate()
        .map(|(index, (key, value))| match index == chosen {
            true => (key.to_uppercase() + random.word(&TEXTS), value),
            false => (key, value),
        })
        .collect();
    *map = renamed;
}

fn exchange(random: &mut Random, value: &mut Value) {
    match value {
        Value::Array(items) if items.len() > 1 => {
            let (a, b) = (random.below(items.len()), random.below(items.len()));
            items.swap(a, b);
        }
        other => nudge(random, other),
    }
}
