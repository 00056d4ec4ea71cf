//! Lengths that cannot be mixed up: on the model, on the full-size object, and pixels per millimetre; and how people
//! write them: `1180 mm`, `3' 10 1/2"`, a scale of `1:24`.
mod common_scales;
mod mistaken;

pub use common_scales::{CommonScale, ScaleUse, common_scales, nearest_scales};
pub use mistaken::unit_between;

use crate::printable::shortened;

/// Millimetres on the scale model.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct ModelMm(pub f64);

/// Millimetres on the full-size object.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct FullSizeMm(pub f64);

/// A model scale 1:N.
///
/// # Guarantees
/// N is finite and above 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScaleRatio(f64);

impl ScaleRatio {
    /// The scale 1:`denominator`; `None` unless the denominator is finite and above 0.
    pub fn one_to(denominator: f64) -> Option<Self> {
        (denominator.is_finite() && denominator > 0.0).then_some(Self(denominator))
    }

    /// N of 1:N.
    pub fn denominator(self) -> f64 {
        self.0
    }

    /// The scale that a text such as `1:24`, `1/24`, `1:7.2` or `2:1` names.
    ///
    /// The first number belongs to the model, the second to the full-size object.
    ///
    /// # Errors
    /// [`ScaleError::Unreadable`] where it is not two numbers; [`ScaleError::OutOfRange`] where a number is 0 or the
    /// denominator is not between [`LEAST_DENOMINATOR`] and [`LARGEST_DENOMINATOR`].
    pub fn parse(text: &str) -> Result<Self, ScaleError> {
        let unreadable = || ScaleError::Unreadable {
            found: shortened(text),
        };
        let (model, full) = text.split_once([':', '/']).ok_or_else(unreadable)?;
        let model = signed_decimal(model.trim()).ok_or_else(unreadable)?;
        let full = signed_decimal(full.trim()).ok_or_else(unreadable)?;
        let out_of_range = || ScaleError::OutOfRange {
            found: format!("\"{}\"", shortened(text)),
        };
        if model <= 0.0 || full <= 0.0 {
            return Err(out_of_range());
        }
        Self::within_range(full / model).ok_or_else(out_of_range)
    }

    /// The scale 1:`denominator` of a job; a denominator below 1 is an enlargement.
    ///
    /// # Errors
    /// [`ScaleError::OutOfRange`] unless it is between [`LEAST_DENOMINATOR`] and [`LARGEST_DENOMINATOR`].
    pub fn from_number(denominator: f64) -> Result<Self, ScaleError> {
        Self::within_range(denominator).ok_or_else(|| ScaleError::OutOfRange {
            found: denominator.to_string(),
        })
    }

    fn within_range(denominator: f64) -> Option<Self> {
        (LEAST_DENOMINATOR..=LARGEST_DENOMINATOR)
            .contains(&denominator)
            .then_some(Self(denominator))
    }
}

impl std::fmt::Display for ScaleRatio {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "1:{}", self.0)
    }
}

/// Smallest N of 1:N that a job may state: a model a million times the size of the subject.
pub const LEAST_DENOMINATOR: f64 = 1e-6;
/// Largest N of 1:N that a job may state.
pub const LARGEST_DENOMINATOR: f64 = 1e6;

/// Why a scale cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ScaleError {
    /// Not two numbers.
    #[error("the scale \"{found}\" cannot be read; write \"1:24\", \"1/24\" or the number 24")]
    Unreadable {
        /// The text.
        found: String,
    },
    /// 0, negative, or absurdly large or small.
    #[error(
        "the scale is {found}; both numbers must be above 0 and the scale between 1:1000000 and 1000000:1, such as \"1:24\""
    )]
    OutOfRange {
        /// The scale as it is written.
        found: String,
    },
}

impl ScaleError {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Unreadable { .. } => "scale-unreadable",
            Self::OutOfRange { .. } => "scale-out-of-range",
        }
    }
}

impl FullSizeMm {
    /// The same length on a model of this scale.
    pub fn at(self, scale: ScaleRatio) -> ModelMm {
        ModelMm(self.0 / scale.0)
    }

    /// The length in feet and inches to the nearest 1/16 in, such as `3' 10 1/2"`, as drawings have it.
    ///
    /// Zero and everything that rounds to it is `0"`; a negative length has a leading `-`.
    pub fn feet_and_inches(self) -> String {
        feet_and_inches(self.0, 16)
    }

    /// The length in feet and inches to the fraction that its uncertainty (half-width, millimetres) makes sensible: the
    /// largest of 1, 1/2, 1/4 to 1/64 in that is no more than the uncertainty.
    pub fn feet_and_inches_within(self, uncertainty: f64) -> String {
        feet_and_inches(self.0, sensible_parts(uncertainty))
    }
}

impl ModelMm {
    /// The same length on the full-size object.
    pub fn full_size(self, scale: ScaleRatio) -> FullSizeMm {
        FullSizeMm(self.0 * scale.0)
    }

    /// The length in feet and inches to the nearest 1/16 in, as [`FullSizeMm::feet_and_inches`].
    pub fn feet_and_inches(self) -> String {
        feet_and_inches(self.0, 16)
    }

    /// The length in feet and inches, as [`FullSizeMm::feet_and_inches_within`].
    pub fn feet_and_inches_within(self, uncertainty: f64) -> String {
        feet_and_inches(self.0, sensible_parts(uncertainty))
    }
}

/// Parts of an inch, a power of 2 from 1 to 64.
fn sensible_parts(uncertainty: f64) -> u64 {
    let is_fine = |parts: &u64| Unit::Inch.millimetres() / (*parts as f64) <= uncertainty;
    (0..6).map(|k| 1 << k).find(is_fine).unwrap_or(64)
}

/// The length to the nearest of `parts` parts of an inch, a power of 2.
fn feet_and_inches(millimetres: f64, parts: u64) -> String {
    // The cast saturates, so absurd lengths come out large instead of wrong.
    let all = (millimetres.abs() / Unit::Inch.millimetres() * parts as f64).round() as u64;
    let sign = if millimetres < 0.0 && all > 0 {
        "-"
    } else {
        ""
    };
    let foot = 12 * parts;
    let (feet, inches, part) = (all / foot, all % foot / parts, all % parts);
    let feet = if feet > 0 {
        format!("{feet}' ")
    } else {
        String::new()
    };
    let inches = match (inches, part) {
        (whole, 0) => format!("{whole}\""),
        (0, _) if feet.is_empty() => format!("{}\"", in_lowest_terms(part, parts)),
        (whole, _) => format!("{whole} {}\"", in_lowest_terms(part, parts)),
    };
    format!("{sign}{feet}{inches}")
}

/// `part`/`parts` in lowest terms; `part` from 1 to `parts` - 1, `parts` a power of 2.
fn in_lowest_terms(part: u64, parts: u64) -> String {
    let shared = 1 << part.trailing_zeros();
    format!("{}/{}", part / shared, parts / shared)
}

/// A unit of length.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Unit {
    /// Millimetre.
    #[default]
    Millimetre,
    /// Centimetre.
    Centimetre,
    /// Metre.
    Metre,
    /// International inch, exactly 25.4 mm.
    Inch,
    /// International foot, 12 inches.
    Foot,
}

impl Unit {
    /// Millimetres in one of this unit.
    ///
    /// # Source
    /// International yard and pound agreement, 1959: 1 in = 25.4 mm exactly.
    pub const fn millimetres(self) -> f64 {
        match self {
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Metre => 1000.0,
            Self::Inch => 25.4,
            Self::Foot => 304.8,
        }
    }

    /// The sign of the unit as job files have it: `mm`, `cm`, `m`, `in` or `ft`.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Metre => "m",
            Self::Inch => "in",
            Self::Foot => "ft",
        }
    }

    fn from_word(word: &str) -> Option<Self> {
        Some(match word.to_lowercase().as_str() {
            "mm" => Self::Millimetre,
            "cm" => Self::Centimetre,
            "m" => Self::Metre,
            "in" | "inch" | "inches" | "\"" => Self::Inch,
            "ft" | "foot" | "feet" | "'" => Self::Foot,
            _ => return None,
        })
    }
}

/// Smallest length that can be stated, millimetres.
pub const LEAST_LENGTH_MM: f64 = 1e-6;
/// Largest length that can be stated, millimetres: ten thousand kilometres.
pub const LARGEST_LENGTH_MM: f64 = 1e10;

/// Why a length cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LengthError {
    /// A number without a unit in a text.
    #[error(
        "\"{found}\" has no unit after {number}; write one of mm, cm, m, in, ft, or a plain number in the job's unit"
    )]
    NoUnit {
        /// The text.
        found: String,
        /// The number that lacks its unit.
        number: String,
    },
    /// A unit that is not known.
    #[error("\"{found}\": the unit \"{unit}\" is not known; use mm, cm, m, in, ft, ' or \"")]
    UnknownUnit {
        /// The text.
        found: String,
        /// The unit.
        unit: String,
    },
    /// No number where one must be.
    #[error(
        "\"{found}\" is not a length; write it such as \"1180 mm\", \"46.5 in\" or \"3' 10 1/2\\\"\""
    )]
    Unreadable {
        /// The text.
        found: String,
    },
    /// A decimal comma or a comma between thousands.
    #[error("\"{found}\" has a comma; write a point before decimals and nothing between thousands")]
    Comma {
        /// The text.
        found: String,
    },
    /// A fraction over 0.
    #[error("\"{found}\" has a fraction over 0")]
    ZeroDenominator {
        /// The text.
        found: String,
    },
    /// Parts other than feet and then inches.
    #[error("\"{found}\" mixes units; only feet followed by inches go together")]
    MixedUnits {
        /// The text.
        found: String,
    },
    /// Twelve inches or more beside feet.
    #[error("\"{found}\" has {inches} in beside the feet; they must be fewer than 12")]
    InchesBeyondFoot {
        /// The text.
        found: String,
        /// The inches.
        inches: f64,
    },
    /// Zero, negative or absurd.
    #[error("the length is {found}; it must be above 0 and at most 10000 km")]
    OutOfRange {
        /// The length as it is written.
        found: String,
    },
}

impl LengthError {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NoUnit { .. } => "length-without-unit",
            Self::UnknownUnit { .. } => "length-unit-unknown",
            Self::Unreadable { .. } => "length-unreadable",
            Self::Comma { .. } => "length-with-comma",
            Self::ZeroDenominator { .. } => "length-over-zero",
            Self::MixedUnits { .. } => "length-mixes-units",
            Self::InchesBeyondFoot { .. } => "length-inches-beyond-foot",
            Self::OutOfRange { .. } => "length-out-of-range",
        }
    }
}

/// Millimetres of a plain number in `unit`.
///
/// # Errors
/// [`LengthError::OutOfRange`] unless [`LEAST_LENGTH_MM`] <= length <= [`LARGEST_LENGTH_MM`].
pub fn length_from_number(number: f64, unit: Unit) -> Result<f64, LengthError> {
    length_within_range(number * unit.millimetres(), || {
        format!("{number} {}", unit.symbol())
    })
}

/// Millimetres of a length with its unit: `1180 mm`, `1.2m`, `46.5 in`, `18 1/4 in`, `7/8"`, `4 ft 2 in`,
/// `3' 10 1/2"`, `3'-10½"`. Typographic primes and quotes count as feet and inches.
///
/// ```
/// use tickstrip::units::parse_length;
/// assert_eq!(parse_length("3' 10 1/2\""), Ok(46.5 * 25.4));
/// ```
///
/// # Errors
/// Each [`LengthError`] for the case that it names.
pub fn parse_length(text: &str) -> Result<f64, LengthError> {
    let normal = plain_characters(text);
    let mut rest = normal.trim();
    let found = || shortened(text);
    if rest.starts_with('-') {
        return Err(LengthError::OutOfRange { found: found() });
    }
    let (mut total, mut previous) = (0.0, None::<(Unit, f64)>);
    while previous.is_none() || !rest.is_empty() {
        let (number, after) = split_where(rest, |c| !is_of_number(c));
        let amount = quantity(number.trim(), text)?;
        let (unit, after) = take_unit(after, number.trim(), text)?;
        total = match (previous, unit) {
            (None, _) => amount * unit.millimetres(),
            // By way of inches, so that 3' 10 1/2" and 46.5 in are the same to the last bit.
            (Some((Unit::Foot, feet)), Unit::Inch) if amount < 12.0 => {
                (feet * 12.0 + amount) * unit.millimetres()
            }
            (Some((Unit::Foot, _)), Unit::Inch) => {
                return Err(LengthError::InchesBeyondFoot {
                    found: found(),
                    inches: amount,
                });
            }
            _ => return Err(LengthError::MixedUnits { found: found() }),
        };
        // After inches no further part may follow: only feet are looked at above.
        previous = Some((unit, amount));
        rest = after.trim_start();
        // Drawings join feet and inches with a dash: 3'-10".
        let joined = rest.strip_prefix('-').map(str::trim_start);
        rest = joined.filter(|inches| !inches.is_empty()).unwrap_or(rest);
    }
    length_within_range(total, || format!("\"{}\"", shortened(text)))
}

fn length_within_range(millimetres: f64, found: impl Fn() -> String) -> Result<f64, LengthError> {
    if (LEAST_LENGTH_MM..=LARGEST_LENGTH_MM).contains(&millimetres) {
        Ok(millimetres)
    } else {
        Err(LengthError::OutOfRange { found: found() })
    }
}

/// Primes, quotes, dashes, spaces and fractions of typography as plain ASCII.
fn plain_characters(text: &str) -> String {
    let mut plain = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '′' | '’' | '‘' | '`' => plain.push('\''),
            '″' | '”' | '“' => plain.push('"'),
            '−' | '–' | '‐' | '‑' => plain.push('-'),
            '⁄' | '∕' => plain.push('/'),
            c if c.is_whitespace() => plain.push(' '),
            c => match vulgar_fraction(c) {
                Some(fraction) => {
                    plain.push(' ');
                    plain.push_str(fraction);
                }
                None => plain.push(c),
            },
        }
    }
    plain.replace("''", "\"")
}

fn vulgar_fraction(c: char) -> Option<&'static str> {
    Some(match c {
        '½' => "1/2",
        '¼' => "1/4",
        '¾' => "3/4",
        '⅛' => "1/8",
        '⅜' => "3/8",
        '⅝' => "5/8",
        '⅞' => "7/8",
        '⅓' => "1/3",
        '⅔' => "2/3",
        _ => return None,
    })
}

fn is_of_number(c: char) -> bool {
    c.is_ascii_digit() || matches!(c, '.' | ',' | '/' | ' ' | '-')
}

fn split_where(text: &str, ends: impl Fn(char) -> bool) -> (&str, &str) {
    text.split_at(text.find(ends).unwrap_or(text.len()))
}

/// The unit at the head of `text`, and what follows it.
fn take_unit<'a>(text: &'a str, number: &str, whole: &str) -> Result<(Unit, &'a str), LengthError> {
    let (word, after) = match text.chars().next() {
        Some('\'' | '"') => text.split_at(1),
        _ => split_where(text, |c| !c.is_alphabetic()),
    };
    if text.is_empty() {
        return Err(LengthError::NoUnit {
            found: shortened(whole),
            number: shortened(number),
        });
    }
    let unit = Unit::from_word(word).ok_or_else(|| LengthError::UnknownUnit {
        found: shortened(whole),
        unit: shortened(if word.is_empty() { text } else { word }),
    })?;
    // "18 in." as an abbreviation.
    Ok((unit, after.strip_prefix('.').unwrap_or(after)))
}

/// A decimal number, a fraction, or a whole number and a fraction.
fn quantity(number: &str, whole: &str) -> Result<f64, LengthError> {
    let found = || shortened(whole);
    if number.contains(',') {
        return Err(LengthError::Comma { found: found() });
    }
    let pieces: Vec<&str> = number.split([' ', '-']).filter(|p| !p.is_empty()).collect();
    let value = match pieces.as_slice() {
        [one] if one.contains('/') => fraction(one),
        [one] => decimal(one),
        [units, part] if part.contains('/') && !units.contains('.') => {
            decimal(units).zip(fraction(part)).map(|(u, p)| u + p)
        }
        _ => None,
    };
    match value {
        Some(value) if value.is_finite() => Ok(value),
        Some(_) if number.contains('/') => Err(LengthError::ZeroDenominator { found: found() }),
        Some(_) => Err(LengthError::OutOfRange { found: found() }),
        None => Err(LengthError::Unreadable { found: found() }),
    }
}

fn decimal(text: &str) -> Option<f64> {
    text.chars()
        .all(|c| c.is_ascii_digit() || c == '.')
        .then(|| text.parse().ok())
        .flatten()
}

fn signed_decimal(text: &str) -> Option<f64> {
    match text.strip_prefix('-') {
        Some(rest) => decimal(rest).map(|value| -value),
        None => decimal(text),
    }
}

/// `a/b` of whole numbers; infinite or NaN where b is 0.
fn fraction(text: &str) -> Option<f64> {
    let (above, below) = text.split_once('/')?;
    let is_whole = |part: &str| part.chars().all(|c| c.is_ascii_digit());
    if !is_whole(above) || !is_whole(below) {
        return None;
    }
    Some(above.parse::<f64>().ok()? / below.parse::<f64>().ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_endless_text_is_not_repeated_whole() {
        let endless = "7".repeat(10 << 20);
        let texts = [
            endless.clone(),
            format!("{endless} mm"),
            format!("1,{endless} mm"),
            format!("1 {}", "x".repeat(10 << 20)),
            format!("1/0{endless} x"),
        ];
        for text in texts {
            let words = parse_length(&text).expect_err("no length").to_string();
            assert!(
                words.len() < 600 && words.contains('…'),
                "{} bytes",
                words.len()
            );
        }
        for text in [format!("1:{endless}"), endless] {
            let words = ScaleRatio::parse(&text).expect_err("no scale").to_string();
            assert!(
                words.len() < 600 && words.contains('…'),
                "{} bytes",
                words.len()
            );
        }
    }

    /// Lengths in the tests are short decimals; a few roundings of 1e-16 each may add up.
    fn is_close(a: f64, b: f64) -> bool {
        (a - b).abs() <= 1e-12 * b.abs()
    }

    #[test]
    fn lengths_are_read_as_drawings_write_them() {
        for (text, millimetres) in [
            ("1180 mm", 1180.0),
            ("1.2m", 1200.0),
            ("12 cm", 120.0),
            ("46.5 in", 1181.1),
            ("46.5 in.", 1181.1),
            ("3' 10 1/2\"", 1181.1),
            ("3'-10 1/2\"", 1181.1),
            ("3'10½\"", 1181.1),
            ("3′ 10 1⁄2″", 1181.1),
            ("3’ 10½”", 1181.1),
            ("3' 10 1/2''", 1181.1),
            ("18 1/4 in", 463.55),
            ("18-1/4 IN", 463.55),
            ("4 ft 2 in", 1270.0),
            ("4 feet 2 inches", 1270.0),
            ("3' 0 1/2\"", 927.1),
            ("3' 0\"", 914.4),
            ("7/8 in", 22.225),
            (" .5 m ", 500.0),
            ("5'", 1524.0),
        ] {
            let read = parse_length(text).expect(text);
            assert!(
                is_close(read, millimetres),
                "{text}: {read}, not {millimetres}"
            );
        }
    }

    #[test]
    fn faulty_lengths_say_what_was_found_and_what_is_allowed() {
        for (text, words) in [
            (
                "18 1/4",
                "has no unit after 18 1/4; write one of mm, cm, m, in, ft",
            ),
            ("3' 10", "has no unit after 10"),
            (
                "3 furlongs",
                "the unit \"furlongs\" is not known; use mm, cm, m, in, ft",
            ),
            ("", "is not a length; write it such as \"1180 mm\""),
            ("mm", "is not a length"),
            ("3'-", "is not a length"),
            ("1 2 mm", "is not a length"),
            ("1..2 mm", "is not a length"),
            ("1.5 1/2 in", "is not a length"),
            ("1/2/3 in", "is not a length"),
            ("/ in", "is not a length"),
            ("1,2 m", "has a comma; write a point before decimals"),
            ("1/0 in", "has a fraction over 0"),
            ("0/0 in", "has a fraction over 0"),
            ("4 in 2 ft", "mixes units; only feet followed by inches"),
            ("1 m 20 cm", "mixes units"),
            (
                "3' 14\"",
                "has 14 in beside the feet; they must be fewer than 12",
            ),
            ("0 mm", "it must be above 0"),
            ("-3 mm", "it must be above 0"),
            ("99999999999999 km", "the unit \"km\" is not known"),
            ("99999999999999 m", "at most 10000 km"),
        ] {
            let error = parse_length(text).expect_err(text).to_string();
            assert!(error.contains(words), "{text}: {error}");
        }
    }

    #[test]
    fn a_number_of_four_hundred_digits_is_out_of_range() {
        let text = format!("{} mm", "9".repeat(400));
        assert_eq!(
            parse_length(&text).expect_err("infinite").code(),
            "length-out-of-range"
        );
    }

    #[test]
    fn feet_and_inches_are_written_to_the_nearest_sixteenth() {
        for (inches, text) in [
            (46.5, "3' 10 1/2\""),
            (36.0, "3' 0\""),
            (36.5, "3' 0 1/2\""),
            (0.875, "7/8\""),
            (11.99, "1' 0\""),
            (0.01, "0\""),
            (-0.01, "0\""),
            (-1.0625, "-1 1/16\""),
            (0.0, "0\""),
        ] {
            assert_eq!(FullSizeMm(inches * 25.4).feet_and_inches(), text);
        }
    }

    #[test]
    fn the_uncertainty_of_a_length_chooses_its_fraction() {
        let length = FullSizeMm(46.53 * 25.4);
        for (uncertainty, text) in [
            (60.0, "3' 11\""),
            (25.4, "3' 11\""),
            (13.0, "3' 10 1/2\""),
            (7.0, "3' 10 1/2\""),
            (1.0, "3' 10 17/32\""),
            (0.5, "3' 10 17/32\""),
            (0.0, "3' 10 17/32\""),
        ] {
            assert_eq!(
                length.feet_and_inches_within(uncertainty),
                text,
                "{uncertainty}"
            );
        }
        assert_eq!(ModelMm(1.0).feet_and_inches_within(0.0), "3/64\"");
    }

    proptest::proptest! {
        #[test]
        fn a_written_length_is_read_back(sixteenths in 1_u32..2_000_000, off in -0.49..0.49) {
            let millimetres = (f64::from(sixteenths) + off) / 16.0 * 25.4;
            let read = parse_length(&FullSizeMm(millimetres).feet_and_inches()).expect("written by us");
            // Half a sixteenth of an inch is what rounding may take.
            proptest::prop_assert!((read - millimetres).abs() <= 25.4 / 32.0 + 1e-6);
        }

        #[test]
        fn no_text_makes_the_readers_panic(text in "[0-9 ./,:x'\"′″½⁄−a-z-]{0,12}") {
            let _ = (parse_length(&text), ScaleRatio::parse(&text));
        }
    }

    #[test]
    fn scales_are_read_in_all_their_forms() {
        for (text, denominator) in [
            ("1:32", 32.0),
            ("1/32", 32.0),
            (" 1 : 7.2 ", 7.2),
            ("2:1", 0.5),
            ("1:1", 1.0),
        ] {
            assert_eq!(
                ScaleRatio::parse(text).map(ScaleRatio::denominator),
                Ok(denominator)
            );
        }
        assert_eq!(
            ScaleRatio::from_number(32.0).map(ScaleRatio::denominator),
            Ok(32.0)
        );
    }

    #[test]
    fn faulty_scales_say_what_is_allowed() {
        for (text, words) in [
            (
                "32",
                "cannot be read; write \"1:24\", \"1/24\" or the number 24",
            ),
            ("one:32", "cannot be read"),
            ("1:32:4", "cannot be read"),
            ("1:", "cannot be read"),
            ("1:0", "both numbers must be above 0"),
            ("0:1", "both numbers must be above 0"),
            ("-1:32", "both numbers must be above 0"),
            ("1:99999999", "between 1:1000000 and 1000000:1"),
        ] {
            let error = ScaleRatio::parse(text).expect_err(text).to_string();
            assert!(error.contains(words), "{text}: {error}");
        }
        for number in [0.0, -32.0, f64::NAN, f64::INFINITY] {
            assert!(ScaleRatio::from_number(number).is_err());
        }
    }
}
