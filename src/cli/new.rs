//! `tickstrip new`: starts a job file from two images.
use super::{
    Status,
    messages::{Action, Failure, Terminal, shown_path},
    scale::PlainUnit,
};
use crate::{
    images::{self, Limits},
    job::{self, MarkedOn, ReferenceKind, StarterModel, StarterOf},
    meshes,
    pipeline::{self, There},
    units::ScaleRatio,
};
use serde_json::json;
use std::{
    io,
    path::{Component, Path, PathBuf},
};

/// Start a job file from a render and a reference, or from a reference alone
///
/// The file has placeholder marks and a placeholder length, each named so: replace them with your own, for as they stand they
/// are refused. From one image, the reference, it has none: mark what is to be measured before there is a model. With the mesh of the
/// model, it is marked on the photo and on the drawn model, and the drawn model is the render. It notes which content each image has, so that
/// marks are not taken for those of another picture.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip new fire-pump-demo/side-render.png fire-pump-demo/side-screen.jpg --out own.json
  tickstrip new fire-pump-demo/plan-old.png --out plan.json
  tickstrip new fire-pump-demo/side-screen.jpg --model fire-pump-demo/pump.obj --unit mm --out drawn.json")]
pub(super) struct Arguments {
    /// Image of the model; the only image named is the reference
    #[arg(value_name = "IMAGE")]
    first: PathBuf,
    /// Image of the full-size object
    #[arg(value_name = "REFERENCE")]
    second: Option<PathBuf>,
    /// Mesh of the model (STL, OBJ, PLY, glTF, GLB or 3MF), on which the only image is marked
    #[arg(long, value_name = "MESH", conflicts_with = "second")]
    model: Option<PathBuf>,
    /// Unit of the mesh's lengths: has to be stated for STL, OBJ and PLY, which have none
    #[arg(long, value_enum, requires = "model")]
    unit: Option<PlainUnit>,
    /// Scale of the model, such as 1:35; left out, 1:24 stands in the job to be changed
    #[arg(long, value_parser = ScaleRatio::parse)]
    scale: Option<ScaleRatio>,
    /// What sort of picture the reference is
    #[arg(long, value_enum, default_value = "photo")]
    kind: Kind,
    /// The job file to write; one that is there is not overwritten
    #[arg(long, value_name = "FILE", default_value = "job.json")]
    out: PathBuf,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
}

/// Sorts of references.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Kind {
    /// A photograph, also of a screen
    Photo,
    /// A drawing with lines, to scale
    Plan,
    /// A screenshot of an earlier version
    Screenshot,
    /// A drawing by hand
    Sketch,
}

impl From<Kind> for ReferenceKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Photo => Self::Photo,
            Kind::Plan => Self::Plan,
            Kind::Screenshot => Self::Screenshot,
            Kind::Sketch => Self::Sketch,
        }
    }
}

/// Of a job whose scale is not stated.
const SCALE: f64 = 24.0;

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    // How large an image may be is asked when it is compared.
    let unlimited = Limits {
        max_pixels: u64::MAX,
    };
    let image = |image: &Path| {
        let content = images::content(image, &unlimited)?;
        Ok::<_, Failure>((from_job(&arguments.out, image)?, content))
    };
    let first = image(&arguments.first)?;
    let second = arguments.second.as_deref().map(image).transpose()?;
    let (render, reference) = match second {
        Some(reference) => (Some(first), reference),
        None => (None, first),
    };
    let model = arguments.model.as_deref();
    let model = model
        .map(|mesh| starter_model(arguments, mesh))
        .transpose()?;
    let of = StarterOf {
        scale: arguments
            .scale
            .unwrap_or(ScaleRatio::one_to(SCALE).expect("a scale")),
        kind: arguments.kind.into(),
    };
    let shown = (reference.0.as_path(), &reference.1);
    let text = match (&render, &model) {
        (Some((render, content)), _) => job::starter(render, shown.0, [content, shown.1], of),
        (None, Some(model)) => job::starter_on_model(model, shown, of),
        (None, None) => job::starter_without_render(shown, of),
    };
    write_new(&arguments.out, text.as_bytes(), "name another with --out")?;
    if arguments.json {
        let image = |(named, content): &(PathBuf, MarkedOn)| json!({ "image": named, "size": content.size, "blake3": content.blake3 });
        let value = json!({
            "job": arguments.out,
            "model": model.as_ref().map(|model| &model.file),
            "render": render.as_ref().map(image),
            "reference": image(&reference),
        });
        terminal.json(&format!("{value:#}\n"))?;
        return Ok(Status::NothingOut);
    }
    let out = shown_path(&arguments.out);
    let then = match render {
        Some(_) => {
            format!("or replace the placeholders in it by hand, then run: tickstrip check {out}")
        }
        None if model.is_some() => {
            format!("then: tickstrip camera {out}, tickstrip compare {out}")
        }
        None => format!("then: tickstrip measure {out}"),
    };
    let scale = match arguments.scale {
        Some(_) => String::new(),
        None => format!(
            "The scale in it is 1:{SCALE}: change it to that of your model (or begin with --scale).\n"
        ),
    };
    terminal.result(&format!(
        "wrote {out}\n{scale}Next: tickstrip mark {out}\n{then}\n"
    ))?;
    Ok(Status::NothingOut)
}

/// The mesh as a job names it; it is read, so that what is wrong with it is said before anything is marked.
fn starter_model(arguments: &Arguments, mesh: &Path) -> Result<StarterModel, Failure> {
    let unit = arguments.unit.map(Into::into);
    meshes::read(mesh, unit, meshes::Limits::default())?;
    Ok(StarterModel {
        file: from_job(&arguments.out, mesh)?,
        unit,
    })
}

/// Writes a file that must not be there yet: whole, or not at all.
pub(super) fn write_new(path: &Path, bytes: &[u8], advice: &'static str) -> Result<(), Failure> {
    pipeline::clear_left(path);
    pipeline::write_whole(path, bytes, There::Stays).map_err(|source| match source.kind() {
        io::ErrorKind::AlreadyExists => Failure::Exists {
            path: path.to_owned(),
            advice,
        },
        _ => Failure::file(path, Action::Written, source),
    })
}

/// Writes a file: in place of what is there only where that is wanted.
pub(super) fn write_file(
    path: &Path,
    bytes: &[u8],
    (is_forced, advice): (bool, &'static str),
) -> Result<(), Failure> {
    if !is_forced {
        return write_new(path, bytes, advice);
    }
    pipeline::clear_left(path);
    pipeline::write_whole(path, bytes, There::IsReplaced)
        .map_err(|source| Failure::file(path, Action::Written, source))
}

/// The path of an image as a job file at `job` names it.
pub(super) fn from_job(job: &Path, image: &Path) -> Result<PathBuf, Failure> {
    let absolute = |path: &Path| {
        std::path::absolute(path).map_err(|source| Failure::file(path, Action::Read, source))
    };
    let job = absolute(job)?;
    let relative = relative(job.parent().unwrap_or(&job), &absolute(image)?);
    match relative.to_str() {
        Some(_) => Ok(relative),
        None => Err(Failure::PathNotUtf8 {
            path: image.to_owned(),
        }),
    }
}

/// The absolute path `to` as seen from the absolute folder `folder`; `to` itself where a `..` in a path does not tell
/// where it leads.
fn relative(folder: &Path, to: &Path) -> PathBuf {
    let is_plain = |path: &Path| path.components().all(|c| c != Component::ParentDir);
    let shared = folder
        .components()
        .zip(to.components())
        .take_while(|(a, b)| a == b)
        .count();
    if shared == 0 || !is_plain(folder) || !is_plain(to) {
        return to.to_owned();
    }
    let up = folder
        .components()
        .skip(shared)
        .map(|_| Component::ParentDir);
    up.chain(to.components().skip(shared)).collect()
}

#[cfg(unix)]
#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn images_are_named_as_seen_from_the_job() {
        let named = |folder: &str, to: &str| relative(Path::new(folder), Path::new(to));
        assert_eq!(named("/a/b", "/a/b/c.png"), Path::new("c.png"));
        assert_eq!(named("/a/b", "/a/d/c.png"), Path::new("../d/c.png"));
        assert_eq!(named("/a/b", "/c.png"), Path::new("../../c.png"));
        assert_eq!(named("/a/../b", "/a/c.png"), Path::new("/a/c.png"));
    }
}
