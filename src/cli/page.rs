//! `tickstrip page`: draws a page of a PDF plan.
use super::{
    Status,
    memory::size,
    messages::{Action, Failure, Terminal, shown_path},
    new::write_file,
};
use crate::plan::{Bounds, DrawnPage, Page, Pages, PdfFile, settings::PLAN};
use serde_json::{Value, json};
use std::{
    ffi::OsString,
    fs,
    path::{Path, PathBuf},
};

/// Draw a page of a PDF plan as a picture that jobs can read
///
/// Vector or scan, as the page is seen: cropped and turned as the PDF says, on white, at a stated resolution, which the picture states too.
/// The PDF is read by a process of its own with bounded time and memory.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip sheet fire-pump-demo/pump.json --out sheet.pdf
  tickstrip page sheet.pdf --page 2 --dpi 200 --out plan.png")]
pub(super) struct Arguments {
    /// The PDF
    plan: PathBuf,
    /// The page, counted from 1; left out: the only one there is, or a list of them
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..))]
    page: Option<u64>,
    /// Pixels an inch of the page, 50 to 1200 [default: 300]
    #[arg(long, value_name = "DPI", value_parser = dpi)]
    dpi: Option<u32>,
    /// The PNG file to write [default: the plan's name and the page, in the current folder: plan-2.png]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Overwrite the file if it is there; never the plan itself
    #[arg(long)]
    force: bool,
    /// Longest time to read the PDF and to draw the page, seconds each, for a plan that you trust [default: 60]
    #[arg(long, value_name = "S", value_parser = clap::value_parser!(u64).range(1..=86_400))]
    max_seconds: Option<u64>,
    /// Memory to read and draw it, such as 4GiB, besides that for the file and the picture, for a plan that you trust [default: 2GiB]
    #[arg(long, value_name = "SIZE", value_parser = size)]
    max_memory: Option<u64>,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
}

fn dpi(text: &str) -> Result<u32, String> {
    let [least, most] = [&PLAN.least_dpi, &PLAN.most_dpi].map(|setting| setting.value() as u32);
    match text.parse() {
        Ok(dpi) if (least..=most).contains(&dpi) => Ok(dpi),
        _ => Err(format!("it must be a whole number from {least} to {most}")),
    }
}

const ADVICE: &str = "name another with --out, or say --force";

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    if let Some(out) = &arguments.out {
        can_be_written(out, arguments)?;
    }
    let usual = Bounds::default();
    let bounds = Bounds {
        seconds: arguments.max_seconds.unwrap_or(usual.seconds),
        memory: arguments.max_memory.unwrap_or(usual.memory),
    };
    let program = std::env::current_exe().map_err(|source| Failure::OwnProgram { source })?;
    let plan = PdfFile::open(&arguments.plan, &program, bounds)?;
    let pages = plan.pages(arguments.page)?;
    if pages.count > 1 && arguments.page.is_none() {
        return list(arguments, &pages, terminal);
    }
    let page = &pages.listed[0];
    let out = match &arguments.out {
        Some(out) => out.clone(),
        None => {
            let out = usual_name(&arguments.plan, page.number);
            can_be_written(&out, arguments)?;
            out
        }
    };
    let dpi = arguments.dpi.unwrap_or(PLAN.usual_dpi.get() as u32);
    let drawn = plan.draw(page, dpi)?;
    write_file(&out, &drawn.png, (arguments.force, ADVICE))?;
    let done = Done {
        pages: &pages,
        page,
        dpi,
        drawn: &drawn,
        out: &out,
    };
    if arguments.json {
        terminal.json(&format!("{:#}\n", done.to_json(&arguments.plan)))?;
    } else {
        terminal.result(&done.to_words())?;
    }
    Ok(Status::NothingOut)
}

/// Refuses a name whose file would not be what it says or is there already, and a folder that is not, before anything is read.
fn can_be_written(out: &Path, arguments: &Arguments) -> Result<(), Failure> {
    let path = || out.to_owned();
    let extension = out.extension().and_then(|e| e.to_str());
    if !extension.is_some_and(|e| e.eq_ignore_ascii_case("png")) {
        let kind = "png";
        return Err(Failure::OtherKind { path: path(), kind });
    }
    let real = |path: &Path| fs::canonicalize(path).ok();
    if real(out).is_some_and(|out| real(&arguments.plan) == Some(out)) {
        return Err(Failure::OwnPlan { path: path() });
    }
    if out.exists() && !arguments.force {
        let advice = ADVICE;
        return Err(Failure::Exists {
            path: path(),
            advice,
        });
    }
    let folder = out.parent().filter(|folder| !folder.as_os_str().is_empty());
    fs::metadata(folder.unwrap_or(Path::new(".")))
        .map_err(|source| Failure::file(out, Action::Written, source))?;
    Ok(())
}

/// The plan's name and the page's number, in the current folder.
fn usual_name(plan: &Path, page: u64) -> PathBuf {
    let mut name = plan.file_stem().map_or_else(OsString::new, OsString::from);
    name.push(format!("-{page}.png"));
    PathBuf::from(name)
}

/// Lists the pages, of which one has to be chosen.
fn list(arguments: &Arguments, pages: &Pages, terminal: &Terminal) -> Result<Status, Failure> {
    if arguments.json {
        let listed = pages.listed.iter();
        let listed = listed.map(|page| json!({ "page": page.number, "size_mm": page.size_mm }));
        let value = json!({
            "plan": arguments.plan,
            "pages": pages.count,
            "listed": listed.collect::<Vec<_>>(),
        });
        terminal.json(&format!("{value:#}\n"))?;
    } else {
        for page in &pages.listed {
            terminal.fault(&format!("page {}: {}", page.number, size_in_words(page)));
        }
        let more = pages.count - pages.listed.len() as u64;
        if more > 0 {
            terminal.fault(&format!("and {more} more"));
        }
    }
    Err(Failure::SeveralPages {
        plan: arguments.plan.clone(),
        count: pages.count,
    })
}

fn size_in_words(page: &Page) -> String {
    match page.size_mm {
        Some([width, height]) => format!("{width:.1} x {height:.1} mm"),
        None => "no area".to_owned(),
    }
}

/// What was drawn.
struct Done<'a> {
    pages: &'a Pages,
    page: &'a Page,
    dpi: u32,
    drawn: &'a DrawnPage,
    out: &'a Path,
}

impl Done<'_> {
    fn mm_per_px(&self) -> f64 {
        25.4 / f64::from(self.dpi)
    }

    fn to_words(&self) -> String {
        let [width, height] = self.drawn.size;
        let out = shown_path(self.out);
        let notes = self.drawn.notes.iter();
        let notes: String = notes.map(|note| format!("note: {note}\n")).collect();
        format!(
            "page {} of {}: {}\ndrawn: {width} x {height} px at {} dpi, {:.4} mm of the page a pixel\n{notes}wrote {out}\n\
             Next: tickstrip new RENDER {out}\nor, before there is a render: tickstrip new {out}\n",
            self.page.number,
            self.pages.count,
            size_in_words(self.page),
            self.dpi,
            self.mm_per_px(),
        )
    }

    fn to_json(&self, plan: &Path) -> Value {
        json!({
            "plan": plan,
            "page": self.page.number,
            "pages": self.pages.count,
            "page_mm": self.page.size_mm,
            "picture": self.out,
            "size": self.drawn.size,
            "dpi": self.dpi,
            "mm_per_px": self.mm_per_px(),
            "notes": self.drawn.notes.iter().map(ToString::to_string).collect::<Vec<_>>(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_is_named_by_its_plan_and_page() {
        let name = |plan: &str| usual_name(Path::new(plan), 2);
        assert_eq!(name("plans/side.view.pdf"), Path::new("side.view-2.png"));
        assert_eq!(name("plan"), Path::new("plan-2.png"));
    }

    #[test]
    fn resolutions_are_whole_numbers_within_bounds() {
        assert_eq!(dpi("300"), Ok(300));
        for text in ["49", "1201", "-300", "300.5", "many", ""] {
            let expected = "it must be a whole number from 50 to 1200";
            assert_eq!(dpi(text), Err(expected.to_owned()), "{text}");
        }
    }
}
