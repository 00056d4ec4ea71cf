//! `tickstrip scale`: converts lengths between full size, models and units, and proposes a scale.
use super::{
    Status,
    messages::{Failure, Terminal},
};
use crate::{
    report::{LengthAnswer, LengthAtScale, WantedScale},
    units::{
        FullSizeMm, LengthError, ModelMm, ScaleRatio, Unit, length_from_number, nearest_scales,
        parse_length,
    },
};
use clap::ValueEnum;

/// Convert a length between full size, model scales and units, or find the scale for a wanted model
///
/// A length is written as drawings have it: 1180mm, "46.5 in", "3' 10 1/2\""; a plain number is in --unit.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:
  tickstrip scale \"3' 10 1/2\\\"\" --to 1:24
  tickstrip scale 49.2mm --from 1:24 --to full --to 1:48
  tickstrip scale 5.8m --wanted \"180 mm\"")]
pub(super) struct Arguments {
    /// The length
    #[arg(value_parser = text, allow_hyphen_values = true)]
    length: String,
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

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let unit = arguments.unit.into();
    let length = ModelMm(millimetres(&arguments.length, unit)?);
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
