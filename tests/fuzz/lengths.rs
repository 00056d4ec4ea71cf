//! Lengths and scales as people write them: what is read, printed and read again is the same.
use crate::{
    bytes,
    harness::{Checked, Outcome},
    random::Random,
    words,
};
use tickstrip::units::{
    FullSizeMm, LARGEST_LENGTH_MM, LEAST_LENGTH_MM, LengthError, ScaleError, ScaleRatio, Unit,
    length_from_number, parse_length,
};

/// Longest refusal, bytes.
const MOST_WORDS: usize = 1000;
/// What lengths are made of.
const PIECES: [&str; 42] = [
    "0",
    "1",
    "3",
    "7",
    "10",
    "12",
    "18.25",
    "1180",
    ".5",
    "5.",
    "00",
    "1e3",
    "9999999999",
    "inf",
    "nan",
    "-",
    "+",
    " ",
    "  ",
    "\t",
    "/",
    "1/2",
    "1/0",
    "0/5",
    "½",
    "⅞",
    "'",
    "\"",
    "''",
    "′",
    "″",
    "mm",
    "cm",
    "m",
    "in",
    "ft",
    "inches",
    ",",
    ":",
    ".",
    "x",
    "−",
];

pub fn made(random: &mut Random, corpus: &[Vec<u8>]) -> Vec<u8> {
    if random.one_in(4) {
        return bytes::mutated(random, corpus);
    }
    let mut text = match random.one_in(3) {
        true => String::from_utf8_lossy(random.pick(corpus).as_slice()).into_owned(),
        false => String::new(),
    };
    for _ in 0..=random.below(7) {
        let place = text
            .char_indices()
            .map(|(at, _)| at)
            .nth(random.below(text.len() + 1));
        text.insert_str(place.unwrap_or(text.len()), random.word(&PIECES));
    }
    text.into_bytes()
}

pub fn check(input: &[u8]) -> Checked {
    let text = String::from_utf8_lossy(input);
    let scale = scale(&text)?;
    let length = length(&text)?;
    Ok(match scale == Outcome::Accepted {
        true => scale,
        false => length,
    })
}

fn length(text: &str) -> Checked {
    let millimetres = match parse_length(text) {
        Ok(millimetres) => millimetres,
        Err(error) => return refused(error.code(), &error.to_string()),
    };
    if !(LEAST_LENGTH_MM..=LARGEST_LENGTH_MM).contains(&millimetres) {
        return Err(format!("{text:?} is {millimetres} mm"));
    }
    same(&format!("{millimetres} mm"), millimetres, 0.0)?;
    same(
        &format!("{} in", millimetres / 25.4),
        millimetres,
        1e-12 * millimetres,
    )?;
    // Half of the last place that is printed.
    let nearest = Unit::Inch.millimetres() / 32.0;
    let printed = FullSizeMm(millimetres).feet_and_inches();
    if printed != "0\"" {
        same(
            &printed,
            millimetres,
            nearest * (1.0 + 1e-9) + 1e-12 * millimetres,
        )?;
        let again = parse_length(&printed).map(|mm| FullSizeMm(mm).feet_and_inches());
        if again.as_ref() != Ok(&printed) {
            return Err(format!("{printed} comes back as {again:?}"));
        }
    }
    match length_from_number(millimetres, Unit::Millimetre) {
        Ok(same) if same == millimetres => Ok(Outcome::Accepted),
        other => Err(format!("{millimetres} as a number: {other:?}")),
    }
}

fn same(printed: &str, millimetres: f64, tolerance: f64) -> Result<(), String> {
    match parse_length(printed) {
        Ok(again) if (again - millimetres).abs() <= tolerance => Ok(()),
        // At the limits rounding may lead out.
        Err(LengthError::OutOfRange { .. }) if tolerance > 0.0 => Ok(()),
        other => Err(format!(
            "{millimetres} mm, printed {printed}, comes back as {other:?}"
        )),
    }
}

fn scale(text: &str) -> Checked {
    let scale = match ScaleRatio::parse(text) {
        Ok(scale) => scale,
        Err(error) => return refused(error.code(), &error.to_string()),
    };
    let printed = scale.to_string();
    match ScaleRatio::parse(&printed) {
        Ok(again) if again == scale => Ok(Outcome::Accepted),
        Err(ScaleError::Unreadable { .. }) | Err(_) | Ok(_) => Err(format!(
            "{text:?} is {printed}, which comes back as another"
        )),
    }
}

fn refused(code: &str, text: &str) -> Checked {
    words::check_code(code)?;
    words::check("refusal", text, MOST_WORDS)?;
    Ok(Outcome::Refused)
}
