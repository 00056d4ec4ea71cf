//! `tickstrip rectify`: rectifies one picture.
use super::{
    Status,
    memory::Memory,
    messages::{Failure, Terminal, shown_path},
    new::write_file,
    scale::finite_number,
};
use crate::{
    images::Limits,
    job::{
        self, KnownPlane, Rectify,
        raw::{Mark, RawAspect, RawLength, RawPlanePoint, RawRectify},
    },
    pipeline::{self, RectifiedPicture},
    printable,
};
use serde_json::{Value, json};
use std::{
    fs,
    path::{Path, PathBuf},
};

/// Rectify a photo of a screen or of another plane
///
/// Writes the rectified picture, resampled once, and says what was done and what the picture cannot tell.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip rectify fire-pump-demo/side-screen.jpg \\
    --corners \"166,180 1828,79 1809,1125 217,1024\" --aspect 16:9 --out rectified.png
  tickstrip rectify fire-pump-demo/side-screen.jpg \\
    --points \"166,180 at 0,0; 1828,79 at 16,0; 1809,1125 at 16,9; 217,1024 at 0,9\" \\
    --out rectified-2.png
  tickstrip rectify fire-pump-demo/side-screen.jpg \\
    --horizontal \"166,180 1828,79; 217,1024 1809,1125\" \\
    --vertical \"166,180 217,1024; 1828,79 1809,1125\" --mark-sigma 0.3 --out rectified-3.png
  tickstrip rectify --job fire-pump-demo/pump.json --view side --out rectified-4.png")]
pub(super) struct Arguments {
    /// The picture; left out with --job
    #[arg(required_unless_present = "job", conflicts_with = "job")]
    image: Option<PathBuf>,
    /// Corners of a rectangle: top left, top right, bottom right, bottom left, in pixels: "x,y x,y x,y x,y"
    #[arg(long, value_name = "POINTS", conflicts_with = "job", value_parser = four_points, allow_hyphen_values = true)]
    corners: Option<FourPoints>,
    /// Width over height of the rectangle (16:9, 2.39:1, "210 mm x 297 mm"); left out: found from the view
    #[arg(long, value_name = "ASPECT", requires = "corners")]
    aspect: Option<String>,
    /// Four or more places of a known plane figure, x to the right and y down: "x,y at LENGTH,LENGTH; x,y at ..."
    #[arg(long, value_name = "POINTS", conflicts_with = "job", value_parser = plane_points, allow_hyphen_values = true)]
    points: Option<PlanePoints>,
    /// Two or more lines that are horizontal on the plane, by two points each: "x,y x,y; x,y x,y"; with --vertical
    #[arg(long, value_name = "LINES", conflicts_with = "job", value_parser = line_ends, allow_hyphen_values = true)]
    horizontal: Option<Ends>,
    /// Two or more lines at right angles to them: "x,y x,y; x,y x,y"; with --horizontal
    #[arg(long, value_name = "LINES", conflicts_with = "job", value_parser = line_ends, allow_hyphen_values = true)]
    vertical: Option<Ends>,
    /// Three or more points along each of some lines that are straight in reality: "x,y x,y x,y; x,y ..."; they tell the
    /// lens
    #[arg(long, value_name = "LINES", conflicts_with = "job", value_parser = lines, allow_hyphen_values = true)]
    straight_lines: Option<Lines>,
    /// Refine the corners by the edges of the bezel near them
    #[arg(long, requires = "corners")]
    find_bezel: bool,
    /// How well the points were marked, pixels (standard deviation)
    #[arg(long, value_name = "PX", conflicts_with = "job", value_parser = sigma)]
    mark_sigma: Option<f64>,
    /// Take the picture and its rectification from this job
    #[arg(long, value_name = "JOB", requires = "view")]
    job: Option<PathBuf>,
    /// The view of the job
    #[arg(long, value_name = "NAME", requires = "job")]
    view: Option<String>,
    /// The PNG file to write
    #[arg(long, value_name = "FILE", default_value = "rectified.png")]
    out: PathBuf,
    /// Overwrite the file if it is there; never the picture itself
    #[arg(long)]
    force: bool,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    memory: Memory,
}

/// Points of an option, line by line.
#[derive(Clone, Debug)]
struct Lines(Vec<Vec<Mark>>);

/// Lines of an option by their ends.
#[derive(Clone, Debug)]
struct Ends(Vec<[Mark; 2]>);

/// Known places of an option.
#[derive(Clone, Debug)]
struct PlanePoints(Vec<RawPlanePoint>);

/// Exactly four points of an option.
#[derive(Clone, Debug)]
struct FourPoints([Mark; 4]);

/// The parts between semicolons; one after the last may be empty.
fn parts(text: &str) -> impl Iterator<Item = &str> {
    text.split(';').filter(|part| !part.trim().is_empty())
}

fn lines(text: &str) -> Result<Lines, String> {
    parts(text).map(points).collect::<Result<_, _>>().map(Lines)
}

fn line_ends(text: &str) -> Result<Ends, String> {
    let ends = |part: &str| {
        let found = points(part)?;
        let count = found.len();
        found.try_into().map_err(|_| {
            format!(
                "{count} points in \"{}\"; each line has two, and a semicolon comes before the next",
                part.trim()
            )
        })
    };
    parts(text).map(ends).collect::<Result<_, _>>().map(Ends)
}

fn plane_points(text: &str) -> Result<PlanePoints, String> {
    parts(text)
        .map(plane_point)
        .collect::<Result<_, _>>()
        .map(PlanePoints)
}

/// A mark and its place: `x,y at LENGTH,LENGTH`.
fn plane_point(text: &str) -> Result<RawPlanePoint, String> {
    let text = text.trim();
    let unreadable = || {
        format!(
            "\"{text}\" is no known place; write \"x,y at LENGTH,LENGTH\", such as \"412,305 at 0,12 in\""
        )
    };
    let (mark, place) = text.split_once(" at ").ok_or_else(unreadable)?;
    let [reference] = points(mark)?[..] else {
        return Err(unreadable());
    };
    let (x, y) = place.split_once(',').ok_or_else(unreadable)?;
    if x.trim().is_empty() || y.trim().is_empty() || y.contains(',') {
        return Err(unreadable());
    }
    Ok(RawPlanePoint {
        reference,
        at: [as_length(x), as_length(y)],
    })
}

/// A plain number is one, as in a job file.
fn as_length(text: &str) -> RawLength {
    match finite_number(text) {
        Some(number) => RawLength::Number(number),
        None => RawLength::Text(text.trim().to_owned()),
    }
}

fn points(text: &str) -> Result<Vec<Mark>, String> {
    text.split_whitespace()
        .map(|part| {
            let (x, y) = part
                .split_once(',')
                .ok_or_else(|| format!("\"{part}\" is no point; write \"x,y\" in pixels"))?;
            let number = |text: &str| match text.trim().parse::<f64>() {
                Ok(number) if number.abs() <= 1e6 => Ok(number),
                _ => Err(format!("\"{text}\" in \"{part}\" is no pixel coordinate")),
            };
            Ok(Mark([number(x)?, number(y)?]))
        })
        .collect()
}

fn four_points(text: &str) -> Result<FourPoints, String> {
    let found = points(text)?;
    let count = found.len();
    found
        .try_into()
        .map(FourPoints)
        .map_err(|_| format!("{count} points; a rectangle has four corners"))
}

fn sigma(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(sigma) if (0.001..=10_000.0).contains(&sigma) => Ok(sigma),
        _ => Err("it must be a number from 0.001 to 10000".to_owned()),
    }
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    if arguments.out.exists() && !arguments.force {
        return Err(Failure::Exists {
            path: arguments.out.clone(),
            advice: ADVICE,
        });
    }
    let asked = match (&arguments.job, &arguments.image) {
        (Some(job), _) => from_job(job, arguments.view.as_deref().unwrap_or_default())?,
        (None, Some(image)) => from_arguments(arguments, image)?,
        (None, None) => unreachable!("clap requires one of them"),
    };
    spare(&asked.image, &arguments.out)?;
    let limits = Limits::default();
    let done = pipeline::rectify_picture(
        &asked.image,
        &asked.rectify,
        asked.mark_sigma,
        (&limits, &arguments.memory.budget()),
    )?;
    write_file(&arguments.out, &done.png, (arguments.force, ADVICE))?;
    if arguments.json {
        terminal.json(&format!("{:#}\n", as_json(arguments, &asked, &done)))?;
    } else {
        let out = shown_path(&arguments.out);
        terminal.result(&format!("{}wrote {out}\n", words(&asked, &done)))?;
    }
    Ok(Status::NothingOut)
}

fn as_json(arguments: &Arguments, asked: &Asked, done: &RectifiedPicture) -> Value {
    let figures = done.rectification.figures();
    let figure = |[value, low, high]: [f64; 3]| json!({ "value": value, "low": low, "high": high });
    let aspect = figures.aspect.map(|m| [m.value(), m.low(), m.high()]);
    let lens = figures.lens.map(|m| [m.value(), m.low(), m.high()]);
    json!({
        "picture": arguments.out,
        "size": [done.size.0, done.size.1],
        "aspect": aspect.map(figure),
        "lens_coefficient": lens.map(figure),
        "rms_px": figures.rms_px,
        "bezel": figures.bezel.as_ref().map(ToString::to_string),
        "notes": done.notes,
        "cannot_tell": untold(asked),
    })
}

/// What is to be rectified, and by what.
struct Asked {
    image: PathBuf,
    rectify: Rectify,
    mark_sigma: Option<f64>,
}

fn from_job(path: &Path, name: &str) -> Result<Asked, Failure> {
    let job = job::read(path)?;
    let known = printable::listed(job.views.iter().map(|view| view.name.as_str()));
    let view = job.views.into_iter().find(|view| view.name == name);
    let view = view.ok_or_else(|| Failure::NoSuchView {
        job: path.to_owned(),
        name: name.to_owned(),
        known,
    })?;
    let rectify = view.reference.rectify;
    Ok(Asked {
        rectify: rectify.ok_or_else(|| Failure::NothingToRectify {
            job: path.to_owned(),
            name: name.to_owned(),
        })?,
        image: view.reference.image,
        mark_sigma: view.reference.mark_sigma_px,
    })
}

fn from_arguments(arguments: &Arguments, image: &Path) -> Result<Asked, Failure> {
    let raw = RawRectify {
        corners: arguments.corners.as_ref().map(|c| c.0),
        aspect: arguments.aspect.clone().map(as_aspect),
        find_bezel: arguments.find_bezel,
        points: listed(arguments.points.as_ref().map(|p| &p.0)),
        horizontal: listed(arguments.horizontal.as_ref().map(|h| &h.0)),
        vertical: listed(arguments.vertical.as_ref().map(|v| &v.0)),
        straight_lines: listed(arguments.straight_lines.as_ref().map(|l| &l.0)),
    };
    Ok(Asked {
        image: image.to_owned(),
        rectify: job::rectify(&raw, image)?,
        mark_sigma: arguments.mark_sigma,
    })
}

fn listed<T: Clone>(option: Option<&Vec<T>>) -> Vec<T> {
    option.cloned().unwrap_or_default()
}

/// A plain number is one, as in a job file.
fn as_aspect(text: String) -> RawAspect {
    match finite_number(&text) {
        Some(number) => RawAspect::Number(number),
        None => RawAspect::Text(text),
    }
}

const ADVICE: &str = "name another with --out, or say --force";

/// The picture itself is not overwritten, whatever is said: it cannot be made again.
fn spare(image: &Path, out: &Path) -> Result<(), Failure> {
    let real = |path: &Path| fs::canonicalize(path).ok();
    match real(out) {
        Some(out) if real(image) == Some(out.clone()) => Err(Failure::OwnPicture { path: out }),
        _ => Ok(()),
    }
}

/// What was done, a line each.
fn words(asked: &Asked, done: &RectifiedPicture) -> String {
    let figures = done.rectification.figures();
    let mut lines = vec![format!(
        "size: {} x {} px, resampled once",
        done.size.0, done.size.1
    )];
    lines.extend(done.notes.iter().map(|note| format!("note: {note}")));
    match (&asked.rectify.plane, figures.aspect) {
        (KnownPlane::Rectangle(rectangle), None) => {
            let aspect = rectangle.aspect.unwrap_or_default();
            lines.push(format!("width over height: {aspect:.4}, as stated"));
        }
        (_, Some(found)) => lines.push(format!(
            "width over height: {:.4} (95 %: {:.4} to {:.4}), found from the view",
            found.value(),
            found.low(),
            found.high()
        )),
        (KnownPlane::Figure(_), None) => {
            lines.push("width over height: that of the known points".to_owned());
        }
        (KnownPlane::Lines(_), None) => {
            lines.push("width over height: found from the view".to_owned());
        }
        (KnownPlane::Unknown, None) => {}
    }
    lines.push(match figures.lens {
        Some(lens) => format!(
            "lens: coefficient {:.4} (95 %: {:.4} to {:.4}), from the straight lines",
            lens.value(),
            lens.low(),
            lens.high()
        ),
        None => "lens: taken to bend nothing; mark straight lines (--straight-lines) if it does"
            .to_owned(),
    });
    lines.extend(figures.bezel.map(|bezel| bezel.to_string()));
    lines.extend(
        figures
            .rms_px
            .map(|rms| format!("left over: {rms:.2} px (root mean square of the marks)")),
    );
    lines.extend(untold(asked).map(|text| format!("cannot be told: {text}")));
    lines.iter().map(|line| format!("{line}\n")).collect()
}

/// What the picture does not tell, and the result rests on.
fn untold(asked: &Asked) -> Option<&'static str> {
    match &asked.rectify.plane {
        KnownPlane::Rectangle(rectangle) if rectangle.aspect.is_some() => None,
        KnownPlane::Rectangle(_) | KnownPlane::Lines(_) => Some(
            "whether the picture was cropped; if it was, width over height is wrong (state --aspect if you know it)",
        ),
        KnownPlane::Figure(_) => None,
        KnownPlane::Unknown => Some("how the plane is turned: only the lens was corrected"),
    }
}
