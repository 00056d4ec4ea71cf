//! `tickstrip draw`: draws a model from its mesh.
use super::{
    Status,
    compare::PaperSize,
    messages::{Action, Failure, Terminal, shown_path},
    new::write_file,
    scale::PlainUnit,
};
use crate::{
    drawing, images, job,
    meshes::{self, CREASE_DEG, Drawing, Edges, Limits, MOST_PIXELS, Model, Projection},
    printable::listed,
};
use serde_json::json;
use std::{
    fs,
    path::{Path, PathBuf},
};

/// Draw a model from its mesh as a camera sees it, hidden edges left out
///
/// The picture is a render: facets lightly shaded, edges black, transparent where the model is not. STL, OBJ, PLY, glTF, GLB and 3MF
/// files are read.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip draw fire-pump-demo/pump.obj --unit mm --camera fire-pump-demo/pump-camera.json \\
    --size 1200x900 --out drawn.png --svg drawn.svg --pdf drawn.pdf")]
pub(super) struct Arguments {
    /// The mesh
    mesh: PathBuf,
    /// A JSON file {"matrix": [...]}: three rows of four numbers that take model millimetres (x, y, z, 1) to pixels, homogeneous
    #[arg(long, value_name = "FILE", conflicts_with = "job", requires = "size")]
    camera: Option<PathBuf>,
    /// Take the camera from a view of this job, and the size from its render
    #[arg(long, value_name = "JOB", requires = "view")]
    job: Option<PathBuf>,
    /// The view of the job
    #[arg(long, value_name = "NAME", requires = "job")]
    view: Option<String>,
    /// Width and height of the picture, pixels
    #[arg(long, value_name = "WxH", value_parser = size)]
    size: Option<Size>,
    /// Unit of the mesh's lengths: has to be stated for STL, OBJ and PLY, which have none
    #[arg(long, value_enum)]
    unit: Option<PlainUnit>,
    /// Facets that meet at a greater angle than this make an edge, degrees
    #[arg(long, value_name = "DEG", default_value_t = CREASE_DEG, value_parser = crease, allow_negative_numbers = true)]
    crease: f64,
    /// The PNG file to write
    #[arg(long, value_name = "FILE", default_value = "drawn.png")]
    out: PathBuf,
    /// An SVG file with the visible edges as lines
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// A PDF file with the visible edges as lines on a sheet, to scale where the camera shows no perspective
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    /// Paper of the sheet
    #[arg(long, value_enum, default_value_t = PaperSize::A4, requires = "pdf")]
    paper: PaperSize,
    /// Sheet with the short side of the paper up
    #[arg(long, requires = "pdf")]
    portrait: bool,
    /// Overwrite the files if they are there
    #[arg(long)]
    force: bool,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
}

/// Width and height.
#[derive(Clone, Copy, Debug)]
struct Size([u32; 2]);

fn size(text: &str) -> Result<Size, String> {
    let sides = text.split_once(['x', 'X']);
    let sides = sides.and_then(|(w, h)| Some([w.trim().parse().ok()?, h.trim().parse().ok()?]));
    let [width, height]: [u32; 2] = sides.ok_or("write width and height in pixels: 1200x900")?;
    match u64::from(width) * u64::from(height) {
        1..=MOST_PIXELS => Ok(Size([width, height])),
        found => Err(format!("{found} pixels; 1 to {MOST_PIXELS} can be drawn")),
    }
}

fn crease(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(angle) if (1.0..=180.0).contains(&angle) => Ok(angle),
        _ => Err("it must be a number from 1 to 180".to_owned()),
    }
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let outs = [
        Some(&arguments.out),
        arguments.svg.as_ref(),
        arguments.pdf.as_ref(),
    ];
    let outs: Vec<&Path> = outs.into_iter().flatten().map(PathBuf::as_path).collect();
    if let Some(path) = outs.iter().find(|path| path.exists() && !arguments.force) {
        let path = path.to_path_buf();
        return Err(Failure::Exists {
            path,
            advice: ADVICE,
        });
    }
    let camera = camera(arguments)?;
    spare(&[&arguments.mesh, &camera.file], &outs)?;
    can_be_written(arguments, &outs)?;
    let (matrix, camera_file) = (camera.matrix, camera.file.clone());
    let unit = arguments.unit.map(Into::into);
    let read = meshes::read(&arguments.mesh, unit, Limits::default())?;
    let projection = Projection::new(camera.matrix, &read.model);
    let projection = projection.map_err(|source| Failure::Projection {
        path: camera.file,
        source,
    })?;
    let edges = Edges::of(&read.model, arguments.crease);
    let drawing = meshes::draw(&read.model, &edges, &projection, camera.size)?;
    if drawing.coverage.iter().all(|covered| *covered == 0) {
        return Err(Failure::NothingInPicture {
            mesh: arguments.mesh.clone(),
            size: camera.size,
            place: place_of_middle(&read.model, &projection),
        });
    }
    let how = (arguments.force, ADVICE);
    write_file(&arguments.out, &drawing::model_png(&drawing)?, how)?;
    let mut words = words(&read, &edges, &drawing);
    let doubt = doubt_of_size(&read.model, &projection, camera.size);
    words.extend(doubt.clone());
    words += &format!("wrote {}\n", shown_path(&arguments.out));
    if let Some(svg) = &arguments.svg {
        write_file(svg, drawing::model_svg(&drawing).as_bytes(), how)?;
        words += &format!("wrote {}\n", shown_path(svg));
    }
    if let Some(pdf) = &arguments.pdf {
        let sheet = drawing::ModelSheet {
            title: &name_of(&arguments.mesh),
            seen: &seen_by(arguments, &camera_file),
            paper: arguments.paper.on(arguments.portrait),
            px_per_mm: px_per_mm(&matrix),
        };
        write_file(pdf, &drawing::model_sheet(&drawing, &sheet)?, how)?;
        words += &format!("wrote {}\n", shown_path(pdf));
    }
    if arguments.json {
        let model = &read.model;
        let value = json!({
            "picture": arguments.out,
            "lines": arguments.svg,
            "sheet": arguments.pdf,
            "size": camera.size,
            "parts": model.parts().iter().map(|part| &part.name).collect::<Vec<_>>(),
            "facets": model.facets().len(),
            "doubts": doubt.iter().map(|doubt| doubt.trim_end()).collect::<Vec<_>>(),
        });
        terminal.json(&format!("{value:#}\n"))?;
    } else {
        terminal.result(&words)?;
    }
    Ok(Status::NothingOut)
}

/// Refuses names whose files would not be what they say, and folders that are not there, before anything is written.
fn can_be_written(arguments: &Arguments, outs: &[&Path]) -> Result<(), Failure> {
    for (k, out) in outs.iter().enumerate() {
        if outs[..k].iter().any(|other| is_same(other, out)) {
            let path = out.to_path_buf();
            return Err(Failure::OneFileTwice { path });
        }
    }
    let named = [
        (Some(&arguments.out), "png"),
        (arguments.svg.as_ref(), "svg"),
        (arguments.pdf.as_ref(), "pdf"),
    ];
    for (path, kind) in named
        .into_iter()
        .filter_map(|(path, kind)| Some((path?, kind)))
    {
        let extension = path.extension().and_then(|e| e.to_str());
        if !extension.is_some_and(|e| e.eq_ignore_ascii_case(kind)) {
            let path = path.clone();
            return Err(Failure::OtherKind { path, kind });
        }
    }
    for path in outs {
        let folder = path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty());
        fs::metadata(folder.unwrap_or(Path::new(".")))
            .map_err(|source| Failure::file(path, Action::Written, source))?;
    }
    Ok(())
}

/// Whether two paths lead to one file, as far as its folder tells.
fn is_same(a: &Path, b: &Path) -> bool {
    let real = |path: &Path| {
        fs::canonicalize(path)
            .or_else(|_| std::path::absolute(path))
            .ok()
    };
    real(a) == real(b)
}

/// Below and above these parts of the picture's longer side the model is thought to have another unit (a judgement).
const PLAUSIBLE: [f64; 2] = [0.02, 50.0];

/// A doubt where the model is a speck in the picture, or far larger than it.
fn doubt_of_size(model: &Model, projection: &Projection, size: [u32; 2]) -> Option<String> {
    let bounds = model.model_box();
    let corner = |k: usize| std::array::from_fn(|axis| bounds[k >> axis & 1][axis]);
    let seen: Vec<[f64; 2]> = (0..8).filter_map(|k| projection.pixel(corner(k))).collect();
    let reach = |axis: usize| {
        let values = || seen.iter().map(|p| p[axis]);
        values().fold(f64::NEG_INFINITY, f64::max) - values().fold(f64::INFINITY, f64::min)
    };
    let (model, picture) = (reach(0).max(reach(1)), f64::from(size[0].max(size[1])));
    let share = model / picture;
    (share.is_finite() && !(PLAUSIBLE[0]..=PLAUSIBLE[1]).contains(&share)).then(|| {
        format!(
            "doubtful: the model is {model:.0} px long in a picture of {picture:.0} px; see whether --unit is the unit that it was exported in\n"
        )
    })
}

const ADVICE: &str = "name another with --out, --svg or --pdf, or say --force";

fn name_of(path: &Path) -> String {
    let name = path.file_name().unwrap_or(path.as_os_str());
    name.to_string_lossy().into_owned()
}

/// From where the model is seen, for the title block.
fn seen_by(arguments: &Arguments, camera: &Path) -> String {
    match &arguments.view {
        Some(view) => format!("view {view} of {}", name_of(camera)),
        None => format!("camera {}", name_of(camera)),
    }
}

/// Parts of a length by which the two axes of a picture may differ, and lean to each other, and still be of one scale.
const ONE_SCALE: f64 = 1e-4;

/// Pixels a millimetre, where the camera shows every length that is parallel to the picture at one scale: without perspective.
fn px_per_mm(matrix: &[[f64; 4]; 3]) -> Option<f64> {
    let [right, down, [far_x, far_y, far_z, weight]] = *matrix;
    if [far_x, far_y, far_z] != [0.0; 3] || weight == 0.0 {
        return None;
    }
    let [right, down] = [right, down].map(|[x, y, z, _]| [x / weight, y / weight, z / weight]);
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let [across, upright] = [dot(right, right).sqrt(), dot(down, down).sqrt()];
    let is_even = (across - upright).abs() <= ONE_SCALE * across
        && dot(right, down).abs() <= ONE_SCALE * across * upright;
    (is_even && across > 0.0).then_some(across)
}

/// What the model is drawn from.
struct Camera {
    matrix: [[f64; 4]; 3],
    size: [u32; 2],
    /// The file that states the matrix.
    file: PathBuf,
}

fn camera(arguments: &Arguments) -> Result<Camera, Failure> {
    let stated = arguments.size.map(|size| size.0);
    let (Some(job), name) = (
        &arguments.job,
        arguments.view.as_deref().unwrap_or_default(),
    ) else {
        let file = arguments.camera.clone().ok_or(Failure::NoPlaceToLookFrom)?;
        let matrix = job::read_camera(&file)?;
        return Ok(Camera {
            matrix,
            size: stated.unwrap_or_default(),
            file,
        });
    };
    let file = job.clone();
    let views = job::read(job)?.views;
    let no_view = || Failure::NoSuchView {
        job: file.clone(),
        name: name.to_owned(),
        known: listed(views.iter().map(|view| view.name.as_str())),
    };
    let view = views.iter().find(|view| view.name == name);
    let render = &view.ok_or_else(no_view)?.render;
    let no_camera = || Failure::NoCamera {
        job: file.clone(),
        name: name.to_owned(),
    };
    let matrix = render.camera.ok_or_else(no_camera)?;
    let size = match stated {
        Some(size) => size,
        None => match render.image.file() {
            Some(image) => images::dimensions(image)?.into(),
            None => return Err(no_camera()),
        },
    };
    Ok(Camera { matrix, size, file })
}

/// Where the middle of a model that is not in the picture lies.
fn place_of_middle(model: &Model, projection: &Projection) -> String {
    let [least, greatest] = model.model_box();
    let middle = std::array::from_fn(|k| (least[k] + greatest[k]) / 2.0);
    match projection.pixel(middle) {
        Some([x, y]) => format!("at ({x:.0}, {y:.0})"),
        None => "behind the camera".to_owned(),
    }
}

/// Files that are drawn from are not overwritten, nor one picture by the other, whatever is said.
fn spare(sources: &[&Path], outs: &[&Path]) -> Result<(), Failure> {
    let real = |path: &&Path| fs::canonicalize(path).ok();
    let sources: Vec<PathBuf> = sources.iter().filter_map(real).collect();
    match outs
        .iter()
        .filter_map(real)
        .find(|out| sources.contains(out))
    {
        Some(path) => Err(Failure::OwnSource { path }),
        None => Ok(()),
    }
}

/// What was read and drawn, a line each.
fn words(read: &meshes::Read, edges: &Edges, drawing: &Drawing) -> String {
    let model = &read.model;
    let [least, greatest] = model.model_box();
    let [x, y, z] = std::array::from_fn(|k| greatest[k] - least[k]);
    let (width, height) = drawing.picture.dimensions();
    format!(
        "mesh: {} with {} facets, {} edges; {x:.1} x {y:.1} x {z:.1} mm along x, y, z\nparts: {}\n\
         drawn: {width} x {height} px, {} visible lines\n",
        read.format,
        model.facets().len(),
        edges.features(),
        listed(model.parts().iter().map(|part| part.name.as_str())),
        drawing.lines.len(),
    )
}
