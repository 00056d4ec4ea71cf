//! `tickstrip carry`: takes the marks of a job over to a new render or reference.
use super::{
    Status,
    messages::{Failure, Terminal, shown_path},
    new::{from_job, write_new},
};
use crate::{
    carry::{CarriedBy, CarriedJob, CarriedMark},
    job::Side,
    pipeline::{self, CarryRequest},
    printable::on_one_line,
};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// Take the marks of a job over to a new render, or a new reference
///
/// Each mark is looked for in the new picture, around where the picture as a whole moved; a part that was changed is followed by its
/// own marks, and its outline goes with them. What cannot be found again is placed by the camera, where landmarks have places on the
/// model ("model_mm") that tell it, or left out and named. A new job file is written; the old one stays. Keep the old picture: the
/// marks are seen on it alone. Without a new picture, the marks go over to all those that were written over since they were marked,
/// from the copies that "mark", "watch" and "compare --carry" keep beside the job.
#[derive(clap::Args, Debug)]
#[command(
    group = clap::ArgGroup::new("new").args(["render", "reference"]),
    after_help = "Example:
  tickstrip demo
  tickstrip carry fire-pump-demo/pump.json --view side --render fire-pump-demo/side-corrected.png"
)]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
    /// The new render
    #[arg(long, value_name = "IMAGE")]
    render: Option<PathBuf>,
    /// The new reference
    #[arg(long, value_name = "IMAGE")]
    reference: Option<PathBuf>,
    /// The view whose picture it is; needed where the job has several
    #[arg(long, value_name = "NAME", requires = "new")]
    view: Option<String>,
    /// The job file to write, in the folder of the old one; left out: the old name with "-carried"
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let out = arguments
        .out
        .clone()
        .unwrap_or_else(|| beside(&arguments.job));
    if out.parent() != arguments.job.parent() {
        return Err(Failure::OtherFolder {
            path: out,
            job: arguments.job.clone(),
        });
    }
    let (side, image) = match (&arguments.render, &arguments.reference) {
        (Some(render), _) => (Side::Render, render),
        (None, Some(reference)) => (Side::Reference, reference),
        (None, None) => return changed_images(arguments, &out, terminal),
    };
    let named = from_job(&out, image)?;
    let request = CarryRequest {
        job: &arguments.job,
        view: arguments.view.as_deref(),
        side,
        image,
        named: named.to_str().expect("checked where it was made"),
    };
    let (text, carried) = pipeline::carry_over(&request, &out)?;
    write_new(&out, text.as_bytes(), "name another with --out")?;
    if arguments.json {
        let document = as_json(&carried, &out);
        terminal.json(&format!("{document:#}\n"))?;
    } else {
        let text = words(&carried, image) + &next(&out);
        terminal.result(&text)?;
    }
    Ok(Status::NothingOut)
}

/// The same for all images that were written over since they were marked.
fn changed_images(
    arguments: &Arguments,
    out: &Path,
    terminal: &Terminal,
) -> Result<Status, Failure> {
    let over = pipeline::carry_changed(&arguments.job)?;
    for not in &over.not_carried {
        terminal.fault(&format!("note: {}", on_one_line(&not.in_words())));
    }
    if over.views.is_empty() {
        let nothing = match over.not_carried.is_empty() {
            true => "no image has changed since it was marked: nothing to carry over\n",
            false => "nothing was carried over\n",
        };
        terminal.result(nothing)?;
        return Ok(Status::NothingOut);
    }
    write_new(out, over.text.as_bytes(), "name another with --out")?;
    if arguments.json {
        let views: Vec<_> = (over.views.iter())
            .map(|of| {
                let mut document = as_json(&of.carried, out);
                document["view"] = json!(of.view);
                document["image"] = json!(of.side.name());
                document
            })
            .collect();
        terminal.json(&format!("{:#}\n", json!({ "job": out, "images": views })))?;
        return Ok(Status::NothingOut);
    }
    let each = over.views.iter().map(|of| words(&of.carried, &of.image));
    let text = each.collect::<Vec<_>>().join("\n\n") + &next(out);
    terminal.result(&text)?;
    Ok(Status::NothingOut)
}

/// `pump.json` gives `pump-carried.json`.
fn beside(job: &Path) -> PathBuf {
    let stem = job.file_stem().unwrap_or_default().to_string_lossy();
    job.with_file_name(format!("{stem}-carried.json"))
}

/// Moves of a mark beside the whole picture that are told: more than carrying is unsure of.
fn went_by_itself(mark: &CarriedMark) -> Option<f64> {
    let deviation = mark.to.ok()?.deviation;
    mark.by_itself_px
        .filter(|px| *px > (4.0 * deviation).max(1.0))
}

fn words(carried: &CarriedJob, image: &Path) -> String {
    let found = carried.found();
    let mut text = format!(
        "{found} of {} landmarks carried over to {}{}\n\n",
        carried.marks.len(),
        shown_path(image),
        carried.placed_in_words()
    );
    let widest = carried.marks.iter().map(|m| m.name.chars().count()).max();
    let width = widest.unwrap_or(0).clamp(8, 40);
    text += &format!(
        "  {:width$}  {:>9}  {:>9}  by itself\n",
        "landmark", "moved px", "±95 % px"
    );
    for mark in &carried.marks {
        let Ok(to) = &mark.to else { continue };
        let moved = (to.place[0] - mark.from[0]).hypot(to.place[1] - mark.from[1]);
        let name = on_one_line(&mark.name);
        let alone = match (to.by, went_by_itself(mark)) {
            (CarriedBy::Camera, _) => "placed by the camera".to_owned(),
            (CarriedBy::Tracking { .. }, Some(px)) => format!("{px:.1} px"),
            (CarriedBy::Tracking { .. }, None) => String::new(),
        };
        let line = format!(
            "  {name:width$}  {moved:>9.1}  {:>9.2}  {alone}",
            1.96 * to.deviation
        );
        text += &format!("{}\n", line.trim_end());
    }
    let lost = carried
        .marks
        .iter()
        .filter_map(|m| Some((&m.name, m.to.err()?)));
    for (name, why) in lost {
        text += &format!("\nleft out: \"{}\": {why}", on_one_line(name));
    }
    for note in &carried.notes {
        text += &format!("\nnote: {}", on_one_line(note));
    }
    text
}

fn next(out: &Path) -> String {
    let out = shown_path(out);
    format!(
        "\nwrote {out}\nNext: look at the marks with: tickstrip mark {out}\nthen: tickstrip compare {out}\n"
    )
}

fn as_json(carried: &CarriedJob, out: &Path) -> Value {
    let marks: Vec<_> = carried
        .marks
        .iter()
        .map(|mark| match &mark.to {
            Ok(to) => json!({
                "name": mark.name, "from": mark.from, "to": to.place, "by": to.by.name(),
                "deviation_px": to.deviation, "likeness": to.likeness(), "by_itself_px": mark.by_itself_px,
            }),
            Err(lost) => {
                json!({ "name": mark.name, "from": mark.from, "to": null, "by": null, "why": lost.to_string() })
            }
        })
        .collect();
    json!({ "job": out, "landmarks": marks, "notes": carried.notes })
}
