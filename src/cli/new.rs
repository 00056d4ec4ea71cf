//! `tickstrip new`: starts a job file from two images.
use super::{
    Status,
    messages::{Action, Failure, Terminal, shown_path},
};
use crate::{
    images::{self, Limits},
    job::{self, MarkedOn},
    pipeline::{self, There},
};
use serde_json::json;
use std::{
    io,
    path::{Component, Path, PathBuf},
};

/// Start a job file from a render and a reference
///
/// The file has placeholder marks and a placeholder length, each named so: replace them with your own, for as they stand they
/// are refused. It notes which content either image has, so that marks are not taken for those of another picture.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip new fire-pump-demo/side-render.png fire-pump-demo/side-screen.jpg --out own.json")]
pub(super) struct Arguments {
    /// Image of the model
    render: PathBuf,
    /// Image of the full-size object
    reference: PathBuf,
    /// The job file to write; one that is there is not overwritten
    #[arg(long, value_name = "FILE", default_value = "job.json")]
    out: PathBuf,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    // How large an image may be is asked when it is compared.
    let unlimited = Limits {
        max_pixels: u64::MAX,
    };
    let render_content = images::content(&arguments.render, &unlimited)?;
    let reference_content = images::content(&arguments.reference, &unlimited)?;
    let render = from_job(&arguments.out, &arguments.render)?;
    let reference = from_job(&arguments.out, &arguments.reference)?;
    let text = job::starter(&render, &reference, &render_content, &reference_content);
    write_new(&arguments.out, text.as_bytes(), "name another with --out")?;
    if arguments.json {
        let image = |named: &Path, content: &MarkedOn| json!({ "image": named, "size": content.size, "blake3": content.blake3 });
        let value = json!({
            "job": arguments.out,
            "render": image(&render, &render_content),
            "reference": image(&reference, &reference_content),
        });
        terminal.json(&format!("{value:#}\n"))?;
        return Ok(Status::NothingOut);
    }
    let out = shown_path(&arguments.out);
    terminal.result(&format!(
        "wrote {out}\nNext: tickstrip mark {out}\nor replace the placeholders in it by hand, then run: tickstrip check {out}\n"
    ))?;
    Ok(Status::NothingOut)
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
