//! `tickstrip scale`: converts lengths between full size, models and units, and proposes a scale.
use super::{
    Status,
    messages::{Action, Failure, Terminal},
};
use crate::{
    job,
    printable::{on_one_line, shortened},
    report::{Feature, FeatureTable, LengthAnswer, LengthAtScale, Printer, WantedScale},
    units::{
        FullSizeMm, LengthError, ModelMm, ScaleRatio, Unit, length_from_number, nearest_scales,
        parse_length,
    },
};
use clap::ValueEnum;
use std::path::{Path, PathBuf};

/// Convert a length between full size, model scales and units, or find the scale for a wanted model
///
/// A length is written as drawings have it: 1180mm, "46.5 in", "3' 10 1/2\""; a plain number is in --unit.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:
  tickstrip scale \"3' 10 1/2\\\"\" --to 1:24
  tickstrip scale 49.2mm --from 1:24 --to full --to 1:48
  tickstrip scale 5.8m --wanted \"180 mm\"
  tickstrip scale --features features.csv --to 1:24 --to 1:32 --pixel-mm 0.05 --layer-mm 0.03 --wall-mm 0.8

A table of features has a line each: name, full-size length and, where it is a wall, the word wall:
  railing,35mm
  \"tank, side\",1 1/2in,wall")]
pub(super) struct Arguments {
    /// The length
    #[arg(value_parser = text, allow_hyphen_values = true, required_unless_present = "features")]
    length: Option<String>,
    /// A table of features (CSV) instead of one length: how large each becomes, and what the printer cannot show
    #[arg(long, value_name = "FILE", conflicts_with_all = ["length", "wanted", "from"], requires = "to")]
    features: Option<PathBuf>,
    /// Pixel or dot of the printer, millimetres
    #[arg(long, value_name = "MM", requires = "features", value_parser = limit)]
    pixel_mm: Option<f64>,
    /// Height of its layers, millimetres
    #[arg(long, value_name = "MM", requires = "features", value_parser = limit)]
    layer_mm: Option<f64>,
    /// The least wall that holds, millimetres
    #[arg(long, value_name = "MM", requires = "features", value_parser = limit)]
    wall_mm: Option<f64>,
    /// What the length is measured on: full, or the scale of a model or drawing
    #[arg(long, value_name = "SCALE", default_value = "full", value_parser = scale)]
    from: ScaleRatio,
    /// Where the length is wanted: full, or a scale; may be given several times
    #[arg(long, value_name = "SCALE", value_parser = scale)]
    to: Vec<ScaleRatio>,
    /// How long the model is to be; lists the scales in use that come nearest
    #[arg(long, value_name = "LENGTH", value_parser = text, allow_hyphen_values = true)]
    wanted: Option<String>,
    /// How many scales to list
    #[arg(long, value_name = "N", default_value_t = 6, value_parser = clap::value_parser!(u8).range(1..))]
    count: u8,
    /// Unit of plain numbers
    #[arg(long, value_enum, default_value_t = PlainUnit::Mm)]
    unit: PlainUnit,
    /// Print JSON instead of a table
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum PlainUnit {
    /// Millimetre
    Mm,
    /// Centimetre
    Cm,
    /// Metre
    M,
    /// Inch
    In,
    /// Foot
    Ft,
}

impl From<PlainUnit> for Unit {
    fn from(unit: PlainUnit) -> Self {
        match unit {
            PlainUnit::Mm => Self::Millimetre,
            PlainUnit::Cm => Self::Centimetre,
            PlainUnit::M => Self::Metre,
            PlainUnit::In => Self::Inch,
            PlainUnit::Ft => Self::Foot,
        }
    }
}

/// A length is read when its unit is known: here it is only taken.
fn text(text: &str) -> Result<String, std::convert::Infallible> {
    Ok(text.to_owned())
}

/// "full" or a scale.
fn scale(text: &str) -> Result<ScaleRatio, String> {
    if text.eq_ignore_ascii_case("full") {
        return Ok(ScaleRatio::one_to(1.0).expect("1 is above 0"));
    }
    let number = finite_number(text).map(ScaleRatio::from_number);
    let scale = number.unwrap_or_else(|| ScaleRatio::parse(text));
    scale.map_err(|error| format!("{error}; or \"full\""))
}

/// A limit of a printer.
fn limit(text: &str) -> Result<f64, String> {
    match finite_number(text) {
        Some(mm) if (0.001..=100.0).contains(&mm) => Ok(mm),
        _ => Err("it must be a number of millimetres from 0.001 to 100".to_owned()),
    }
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let unit = arguments.unit.into();
    let Some(length) = &arguments.length else {
        return features(arguments, terminal);
    };
    let length = ModelMm(millimetres(length, unit)?);
    let full_size: FullSizeMm = length.full_size(arguments.from);
    let scales = std::iter::once(&arguments.from).chain(&arguments.to);
    let wanted = match &arguments.wanted {
        None => None,
        Some(wanted) => {
            let model_mm = millimetres(wanted, unit)?;
            let nearest = nearest_scales(full_size.0 / model_mm, arguments.count.into());
            Some(WantedScale::new(full_size, model_mm, &nearest))
        }
    };
    let answer = LengthAnswer {
        lengths: scales
            .map(|scale| LengthAtScale::new(full_size, *scale))
            .collect(),
        wanted,
    };
    match arguments.json {
        true => terminal.json(&answer.to_json())?,
        false => terminal.result(&answer.to_text())?,
    }
    Ok(Status::NothingOut)
}

/// A table of features at each scale.
fn features(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let file = arguments.features.as_deref().unwrap_or(Path::new(""));
    let printer = Printer {
        pixel_mm: arguments.pixel_mm,
        layer_mm: arguments.layer_mm,
        wall_mm: arguments.wall_mm,
    };
    let features = read_features(file, arguments.unit.into())?;
    let answer = FeatureTable::new(&features, &arguments.to, printer);
    match arguments.json {
        true => terminal.json(&answer.to_json())?,
        false => terminal.result(&answer.to_text())?,
    }
    Ok(Status::NothingOut)
}

/// Longest table that is read, bytes, and most lines of it.
const MOST_BYTES: u64 = 1 << 20;
const MOST_FEATURES: usize = 1000;

fn read_features(file: &Path, unit: Unit) -> Result<Vec<Feature>, Failure> {
    let bytes = job::read_input(file, MOST_BYTES)
        .map_err(|error| Failure::file(file, Action::Read, error.into()))?;
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .from_reader(bytes.as_slice());
    let mut features = Vec::new();
    let faulty = |line: u64, text: String| Failure::Features {
        path: file.to_owned(),
        line,
        text,
    };
    for record in reader.records() {
        let record = record.map_err(|error| {
            let line = error.position().map_or(0, csv::Position::line);
            faulty(
                line,
                "the line is no text in UTF-8 with its quotes closed".to_owned(),
            )
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        let is_wall = match record.get(2) {
            None | Some("") => false,
            Some(word) if word.eq_ignore_ascii_case("wall") => true,
            Some(word) => {
                let word = shortened(word);
                return Err(faulty(
                    line,
                    format!("found \"{word}\" behind the length; write wall there, or nothing"),
                ));
            }
        };
        let (Some(name), Some(length)) = (record.get(0).filter(|n| !n.is_empty()), record.get(1))
        else {
            return Err(faulty(
                line,
                "a line has a name and a length, such as railing,35mm".to_owned(),
            ));
        };
        let length = millimetres(length, unit).map_err(|error| faulty(line, error.to_string()))?;
        features.push(Feature {
            name: on_one_line(name),
            length: FullSizeMm(length),
            is_wall,
        });
        if features.len() > MOST_FEATURES {
            return Err(faulty(
                line,
                format!("more than {MOST_FEATURES} lines; make two tables of it"),
            ));
        }
    }
    match features.is_empty() {
        true => Err(faulty(
            1,
            "there is no feature in it; write a line each, such as railing,35mm".to_owned(),
        )),
        false => Ok(features),
    }
}

fn millimetres(text: &str, unit: Unit) -> Result<f64, LengthError> {
    match finite_number(text) {
        Some(number) => length_from_number(number, unit),
        None => parse_length(text),
    }
}

/// A plain number; words that Rust reads as numbers, such as `inf`, and what is beyond all numbers are none.
pub(super) fn finite_number(text: &str) -> Option<f64> {
    let number = text.trim().parse::<f64>().ok()?;
    number.is_finite().then_some(number)
}
